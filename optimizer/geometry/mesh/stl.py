"""STL files, binary and text. Source of both, from memory: 3D Systems, StereoLithography Interface
Specification, 1989."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.fault import MeshFault, several
from optimizer.geometry.mesh.lines import parsed, points, shown
from optimizer.geometry.mesh.model import RawBody, RawMesh, Vertices

#: A face whose normal is this far from the one the file states is wrong in one of the two [cosine].
NORMAL_AGREES = 0.5

#: A face lower than this share of the size of the mesh has no normal that can be trusted.
LOW_SHARE = 1e-4

#: The words of one facet of a text STL; empty where a number stands.
FACET = (
    *(b"facet", b"normal", b"", b"", b"", b"outer", b"loop"),
    *(b"vertex", b"", b"", b"") * 3,
    *(b"endloop", b"endfacet"),
)

#: Bytes of text that are split into words at once.
BLOCK = 1 << 24

KNOWN = {b"solid", b"endsolid", b"facet", b"outer", b"vertex", b"endloop", b"endfacet"}


def read(data: bytes, name: str) -> RawMesh:
    """Three vertices of its own for every face. Raises MeshFault."""
    notes: list[str] = []
    if _is_text(data):
        corners, normals = _text(data.lower(), notes)
    else:
        corners, normals = _binary(data)
    vertices = corners.reshape(-1, 3)
    _compare_normals(corners.reshape(-1, 3, 3), normals, notes)
    faces = np.arange(len(vertices), dtype=np.int64).reshape(-1, 3)
    return RawMesh(name, (RawBody(name, vertices, faces),), None, tuple(notes))


def _is_text(data: bytes) -> bool:
    """A binary STL must be as long as its face count says; a text one must be finished."""
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if len(data) == 84 + 50 * count:
        return False
    start = data[:1024].lstrip().lower()
    if start.startswith(b"solid"):
        text = data.lower()
        if b"facet" in text or b"endsolid" in text:
            if b"endsolid" not in text:
                raise MeshFault("the text STL has no endsolid: it is cut off")
            return True
    if count < 0:
        raise MeshFault(f"{len(data)} bytes are too few for an STL file")
    raise MeshFault(
        f"the binary STL announces {count} faces, {84 + 50 * count} bytes, but has {len(data)} bytes"
    )


def _binary(data: bytes) -> tuple[Vertices, NDArray[Any]]:
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", 9), ("attribute", "<u2")])
    table = np.frombuffer(data, dtype=record, offset=84)
    with np.errstate(invalid="ignore"):  # numbers that are none are refused later
        return table["corners"].astype(float).reshape(-1, 3), np.array(table["normal"])


def _text(data: bytes, notes: list[str]) -> tuple[Vertices, NDArray[Any] | None]:
    """Positions of all corners and stated normals; the latter None where the facets are not all alike."""
    between = _between_solids(data)
    tables = [np.empty((0, 12))]
    for start, end in between:
        while start < end:
            stop = data.find(b"endfacet", min(start + BLOCK, end), end)
            stop = end if stop < 0 else stop + len(b"endfacet")
            table = _regular(data[start:stop])
            if table is None:
                return _by_line(data, notes), None
            tables.append(table)
            start = stop
    table = np.concatenate(tables)
    return table[:, 3:].reshape(-1, 3), table[:, :3]


def _between_solids(data: bytes) -> list[tuple[int, int]]:
    """Where the text between the lines that begin and end the solids starts and ends."""
    out, start, begun, ended = [], 0, 0, 0
    place = data.find(b"solid")
    while place >= 0:
        left = data.rfind(b"\n", start, place) + 1 or start
        right = data.find(b"\n", place)
        right = len(data) if right < 0 else right
        before = data[left:place].strip()
        if before in (b"", b"end"):
            begun, ended = begun + (not before), ended + (before == b"end")
            out.append((start, left))
            start = right
        place = data.find(b"solid", right)
    out.append((start, len(data)))
    if begun != ended:
        raise MeshFault(f"the text STL has {begun} solid but {ended} endsolid")
    return out


def _regular(block: bytes) -> Vertices | None:
    """(m, 12) normal and corners of the facets, None where a word is not where it belongs."""
    words = block.split()
    count, rest = divmod(len(words), len(FACET))
    if rest:
        return None
    values: list[bytes] = [b""] * (12 * count)
    column = 0
    for place, word in enumerate(FACET):
        given = words[place :: len(FACET)]
        if not word:
            values[column::12] = given
            column += 1
        elif given.count(word) != count:
            return None
    # every corner comes about six times: each spelling is turned into a number once
    different = dict.fromkeys(values)
    numbers = parsed(b" ".join(different), float)
    if numbers is None or len(numbers) != len(different):
        return None
    known = dict(zip(different, numbers.tolist(), strict=True))
    return np.fromiter(map(known.__getitem__, values), float, len(values)).reshape(-1, 12)


def _by_line(data: bytes, notes: list[str]) -> Vertices:
    """Line by line, for what is written in another way or is wrong."""
    rows: list[bytes] = []
    at: list[int] = []
    in_loop, strange, last = 0, 0, 0
    for last, line in enumerate(data.splitlines(), start=1):
        head, *rest = line.split(None, 1) or [b""]
        if head == b"vertex":
            rows.append(rest[0] if rest else b"")
            at.append(last)
            in_loop += 1
        elif head == b"endfacet":
            if in_loop != 3:
                raise MeshFault(f"a facet has {in_loop} vertices, 3 are needed", line=last)
            in_loop = 0
        elif head == b"facet" and in_loop:
            raise MeshFault("a facet begins before the last one has its endfacet", line=last)
        elif head and head not in KNOWN:
            strange += 1
            if b"\0" in line:
                raise MeshFault(f"'{shown(line)}' is not a line of a text STL", line=last)
    if in_loop:
        raise MeshFault("the last facet has no endfacet", line=last)
    if strange:
        notes.append(f"check: {several(strange, 'line')} passed over that no text STL has")
    return points(rows, at)


def _compare_normals(corners: Vertices, stated: NDArray[Any] | None, notes: list[str]) -> None:
    """Notes where the order of the corners does not give the normal that the file states.

    Single precision will do, and halves the time.
    """
    if stated is None or not len(corners):
        return
    with np.errstate(all="ignore"):  # damaged numbers are refused later
        a, b, c = (corners[:, k].astype(np.float32) for k in range(3))
        normal = np.cross(b - a, c - a)
        twice_area = _lengths(normal)
        longest = np.maximum(np.maximum(_lengths(b - a), _lengths(c - a)), _lengths(c - b))
        extent = float((a.max(axis=0) - a.min(axis=0)).max())
        length = _lengths(stated)
        cosine = np.einsum("ij,ij->i", normal, stated) / (twice_area * length)
        telling = (twice_area > LOW_SHARE * extent * longest) & (length > 0)
        against = int(np.count_nonzero(telling & (cosine < -NORMAL_AGREES)))
        other = int(np.count_nonzero(telling & ~(np.abs(cosine) >= NORMAL_AGREES)))
    if against:
        notes.append(f"check: {several(against, 'face')} of {len(corners)} wound against the normals stated")
    if other:
        notes.append(
            f"check: {several(other, 'face')} of {len(corners)} lie across the normals stated: "
            "is the file damaged?"
        )


def _lengths(vectors: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))

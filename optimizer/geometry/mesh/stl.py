"""STL files, binary and text, decoded by trimesh between guards of our own.

trimesh drops the last solid of a text that is cut off, takes a facet of four corners beside one of two, and
tells of a word that is no number without its line. So the words are counted first, and a text that is not
regular is read line by line to say where it is wrong.

Source of the format, from memory: 3D Systems, StereoLithography Interface Specification, 1989.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.fault import MeshFault, decoding, several
from optimizer.geometry.mesh.lines import points, shown
from optimizer.geometry.mesh.model import RawBody, RawMesh, Vertices

#: A face whose normal is this far from the one the file states is wrong in one of the two [cosine].
NORMAL_AGREES = 0.5

#: A face lower than this share of the size of the mesh has no normal that can be trusted.
LOW_SHARE = 1e-4

#: What one facet of a text STL has, and how often: its lines are seven.
FACET = {b"facet normal ": 1, b"outer loop": 1, b"vertex ": 3, b"endloop": 1, b"endfacet": 1, b"\n": 7}

#: Bytes of text that are decoded at once: half of the time and a quarter of the memory of all at once.
BLOCK = 1 << 24

#: Where lines of a facet begin.
LINE = re.compile(rb"\s+(?=(?:facet|outer|vertex|endloop|endfacet|solid|endsolid)\b)")

KNOWN = {b"solid", b"endsolid", b"facet", b"outer", b"vertex", b"endloop", b"endfacet"}


def read(data: bytes, name: str) -> RawMesh:
    """Three vertices of its own for every face. Raises MeshFault."""
    notes: list[str] = []
    text = _as_text(data)
    corners, normals = _binary(data) if text is None else _text(text, notes)
    vertices = corners.reshape(-1, 3)
    _compare_normals(corners.reshape(-1, 3, 3), normals, notes)
    faces = np.arange(len(vertices), dtype=np.int64).reshape(-1, 3)
    return RawMesh(name, (RawBody(name, vertices, faces),), None, tuple(notes))


def _as_text(data: bytes) -> bytes | None:
    """A text STL in small letters; it must be finished. None for a binary one, as long as its count says."""
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if len(data) == 84 + 50 * count:
        return None
    start = data[:1024].lstrip().lower()
    if start.startswith(b"solid"):
        text = data.lower()
        if b"facet" in text or b"endsolid" in text:
            if b"endsolid" not in text:
                raise MeshFault("the text STL has no endsolid: it is cut off")
            return text
    if count < 0:
        raise MeshFault(f"{len(data)} bytes are too few for an STL file")
    raise MeshFault(
        f"the binary STL announces {count} faces, {84 + 50 * count} bytes, but has {len(data)} bytes"
    )


def _binary(data: bytes) -> tuple[Vertices, NDArray[Any] | None]:
    """(3 m, 3) corners and (m, 3) stated normals by trimesh, None where it finds none."""
    from trimesh.exchange.stl import load_stl_binary

    with decoding():
        found = load_stl_binary(io.BytesIO(data))
        if "vertices" not in found:
            return np.empty((0, 3)), None
        return found["vertices"].astype(float), found["face_normals"]


def _text(data: bytes, notes: list[str]) -> tuple[Vertices, NDArray[Any] | None]:
    """Positions of all corners and stated normals; the latter None where the facets are not all alike."""
    if data.count(b"\n") < data.count(b"endfacet"):  # all in one line, or old ends of lines
        data = LINE.sub(b"\n", data)
    corners, normals = [np.empty((0, 3))], [np.empty((0, 3))]
    for block in _blocks(data):
        found = _block(block)
        if found is None:
            return _by_line(data, notes), None
        corners.append(found[0])
        normals.append(found[1])
    return np.concatenate(corners), np.concatenate(normals)


def _block(facets: bytes) -> tuple[Vertices, Vertices] | None:
    """Corners and normals by trimesh; None where the words are not those of facets or one is no number."""
    from trimesh.exchange.stl import load_stl_ascii

    count = facets.count(b"endfacet")
    regular = all(facets.count(word) == times * count for word, times in FACET.items())
    if not regular or not facets.isascii():  # it would guess at the encoding
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # numpy before 2.3 only warns of a word that is no number
            found = load_stl_ascii(io.BytesIO(b"solid\n%bendsolid" % facets))
    except (ValueError, DeprecationWarning):
        return None
    corners, normals = found.get("vertices", ()), found.get("face_normals")
    return None if normals is None or len(corners) != 3 * count else (corners, normals)


def _blocks(data: bytes) -> Iterator[bytes]:
    """The facets of all solids without the lines that begin and end these, some at a time."""
    start, begun, ended, place = 0, 0, 0, data.find(b"solid")
    while place >= 0:
        line = data.rfind(b"\n", start, place) + 1 or start
        before = data[line:place].strip()
        if before in (b"", b"end"):
            yield from _cut(data, start, line)
            begun, ended = begun + (not before), ended + (before == b"end")
            start = data.find(b"\n", place) + 1 or len(data)
        place = data.find(b"solid", max(start, place + 1))
    yield from _cut(data, start, len(data))
    if begun != ended:
        raise MeshFault(f"the text STL has {begun} solid but {ended} endsolid")


def _cut(data: bytes, start: int, end: int) -> Iterator[bytes]:
    """A stretch of text in blocks that end behind a facet."""
    while start < end:
        stop = data.find(b"endfacet", min(start + BLOCK, end), end)
        stop = end if stop < 0 else stop + len(b"endfacet")
        block = data[start:stop].strip()
        if block:
            yield block + b"\n"
        start = stop


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

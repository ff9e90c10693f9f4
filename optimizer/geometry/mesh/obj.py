"""OBJ files: positions, faces, object and group names; everything else is passed over.

Source, from memory: Wavefront Advanced Visualizer manual, appendix B1, Object Files.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh import polygons
from optimizer.geometry.mesh.fault import MeshFault, several
from optimizer.geometry.mesh.lines import integer, parsed, points, shown, word_counts
from optimizer.geometry.mesh.model import Faces, RawBody, RawMesh, Vertices

#: Statements without a face or a position in them.
PASSED_OVER = set(
    b"vt vn vp s mg usemtl mtllib usemap maplib p l deg bmat step cstype parm trim hole scrv sp end con "
    b"bevel c_interp d_interp lod shadow_obj trace_obj ctech stech".split()
)

#: Statements that make a surface which is not drawn with faces.
CURVED = {b"curv", b"curv2", b"surf"}


def read(data: bytes, name: str) -> RawMesh:
    """One body for every object and group that has faces. Raises MeshFault."""
    notes: list[str] = []
    sheet = _sheet(data, notes)
    vertices = points(sheet.positions, sheet.positions_at)
    corners, counts = _corners(sheet)
    faces, polygon = polygons.triangulated(vertices, corners, counts, notes)
    polygons.unused_note(len(vertices), faces, notes)
    return RawMesh(name, _bodies(name, sheet, vertices, faces, polygon), None, tuple(notes))


class _Sheet:
    """The lines of the file by what they say."""

    def __init__(self) -> None:
        self.positions: list[bytes] = []
        self.positions_at: list[int] = []
        self.faces: list[bytes] = []
        self.faces_at: list[int] = []
        self.known: list[int] = []  # positions before each face
        self.owner: list[int] = []  # number of the name of each face
        self.names: dict[str, int] = {}


def _sheet(data: bytes, notes: list[str]) -> _Sheet:
    sheet = _Sheet()
    thing, group, owner, strange = "", "", -1, 0
    for number, line in enumerate(_lines(data), start=1):
        words = line.split(None, 1)
        if not words:
            continue
        head = words[0]
        rest = words[1] if len(words) > 1 else b""
        if head == b"v":
            sheet.positions.append(rest)
            sheet.positions_at.append(number)
        elif head == b"f":
            if owner < 0:
                owner = sheet.names.setdefault("/".join(filter(None, (thing, group))), len(sheet.names))
            sheet.faces.append(rest)
            sheet.faces_at.append(number)
            sheet.known.append(len(sheet.positions))
            sheet.owner.append(owner)
        elif head == b"o":
            thing, group, owner = shown(rest.strip()), "", -1
        elif head == b"g":
            group, owner = shown(b" ".join(rest.split())), -1
            group = "" if group == "default" else group
        elif head in CURVED:
            raise MeshFault("holds curved surfaces, not only faces", "export triangles only", line=number)
        elif head not in PASSED_OVER:
            strange += 1
    if strange:
        notes.append(f"check: {several(strange, 'line')} passed over that no OBJ file has")
    return sheet


def _lines(data: bytes) -> list[bytes]:
    """Lines without comments; one that ends in a backslash is joined with the next, which is left empty."""
    lines = data.splitlines()
    if b"#" in data:
        lines = [line.partition(b"#")[0] for line in lines]
    if b"\\" in data:
        for k in range(len(lines) - 2, -1, -1):
            if lines[k].rstrip().endswith(b"\\"):
                lines[k] = lines[k].rstrip()[:-1] + b" " + lines[k + 1]
                lines[k + 1] = b""
    return lines


def _corners(sheet: _Sheet) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Vertex numbers from 0 of all corners in one row, and corners of each face.

    A corner is 7, 7/1, 7/1/3, 7//3, or -1 for the vertex before.
    """
    counts = word_counts(sheet.faces)
    few = np.flatnonzero(counts < 3)
    if few.size:
        k = int(few[0])
        raise MeshFault(f"a face has {counts[k]} corners, at least 3 are needed", line=sheet.faces_at[k])
    text = b" ".join(sheet.faces)
    if b"/" in text:
        text = re.sub(rb"/[0-9/-]*(?=\s|$)", b"", text)
    numbers = parsed(text, np.int64)
    known = np.repeat(np.array(sheet.known, dtype=np.int64), counts)
    if numbers is None or len(numbers) != counts.sum() or (numbers == 0).any() or (numbers < -known).any():
        numbers = np.array(
            [
                _corner(word, at, before)
                for line, at, before in zip(sheet.faces, sheet.faces_at, sheet.known, strict=True)
                for word in line.split()
            ],
            dtype=np.int64,
        )
    return np.where(numbers > 0, numbers - 1, known + numbers), counts


def _corner(word: bytes, number: int, known: int) -> int:
    index = integer(word.split(b"/", 1)[0], number)
    if index == 0 or index < -known:
        raise MeshFault(f"a face names vertex {index}, but vertices count from 1", line=number)
    return index


def _bodies(
    name: str, sheet: _Sheet, vertices: Vertices, faces: Faces, polygon: NDArray[np.int64]
) -> tuple[RawBody, ...]:
    names = [given or name for given in sheet.names]
    if len(names) < 2:
        return (RawBody(names[0] if names else name, vertices, faces),)
    owner = np.array(sheet.owner, dtype=np.int64)[polygon]
    order = np.argsort(owner, kind="stable")
    groups = np.split(faces[order], np.cumsum(np.bincount(owner, minlength=len(names)))[:-1])
    return tuple(
        polygons.body(given, vertices, own)
        for given, own in zip(polygons.told_apart(names), groups, strict=True)
    )

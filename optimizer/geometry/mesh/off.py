"""OFF files, text. Source, from memory: Geomview manual, section OFF Files."""

from __future__ import annotations

import re

from optimizer.geometry.mesh import polygons
from optimizer.geometry.mesh.fault import DAMAGED, MeshFault
from optimizer.geometry.mesh.lines import counted_polygons, filled, integer, points, shown
from optimizer.geometry.mesh.model import RawBody, RawMesh

#: Texture coordinates, colours and normals may stand behind the position; they are passed over.
HEADER = re.compile(rb"(ST)?(C)?(N)?OFF")


def read(data: bytes, name: str) -> RawMesh:
    """Raises MeshFault."""
    lines, at = filled(data)
    words = lines[0].split() if lines else [b""]
    if not HEADER.fullmatch(words[0]) or b"BINARY" in words:
        raise MeshFault(
            f"begins with '{shown(lines[0].strip() if lines else b'')}', not with OFF",
            f"{DAMAGED} as a text OFF of three coordinates",
        )
    sizes, first = words[1:], 1
    if not sizes:
        sizes, first = (lines[1].split() if len(lines) > 1 else []), 2
    if len(sizes) not in (2, 3):
        raise MeshFault(
            "has no line with the numbers of vertices and faces", line=at[min(first, len(at)) - 1]
        )
    vertices, faces = (integer(word, at[first - 1]) for word in sizes[:2])
    if min(vertices, faces) < 0 or vertices + faces != len(lines) - first:
        raise MeshFault(
            f"announces {vertices} vertices and {faces} faces, but {len(lines) - first} lines follow",
            f"{DAMAGED}, one line for each vertex and each face",
        )
    notes: list[str] = []
    middle = first + vertices
    positions = points(lines[first:middle], at[first:middle])
    corners, counts = counted_polygons(lines[middle:], at[middle:])
    triangles, _ = polygons.triangulated(positions, corners, counts, notes)
    polygons.unused_note(vertices, triangles, notes)
    return RawMesh(name, (RawBody(name, positions, triangles),), None, tuple(notes))

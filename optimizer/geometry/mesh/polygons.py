"""Polygons of a mesh file as triangles, and only the vertices that a body uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.fault import MeshFault, several
from optimizer.geometry.mesh.model import Faces, RawBody, Vertices

#: A triangle of a fan turned against its polygon by more than this share of the polygon's area is a dent.
DENT_SHARE = 1e-6


def triangulated(
    vertices: Vertices, corners: NDArray[np.int64], counts: NDArray[np.int64], notes: list[str]
) -> tuple[Faces, NDArray[np.int64]]:
    """(m, 3) faces and (m,) the number of the polygon of each; polygons are split into fans.

    corners: those of all polygons in one row; counts: corners of each polygon. Right for every polygon that
    its first corner sees whole, which all convex ones are. Raises MeshFault for others.
    """
    check_range(corners, len(vertices))
    if (counts == 3).all():
        return corners.reshape(-1, 3), np.arange(len(counts))
    triangles = counts - 2
    polygon = np.repeat(np.arange(len(counts)), triangles)
    start = (np.cumsum(counts) - counts)[polygon]
    step = np.arange(len(polygon)) - np.repeat(np.cumsum(triangles) - triangles, triangles)
    faces = np.stack([corners[start], corners[start + step + 1], corners[start + step + 2]], axis=1)
    dents = _dents(vertices, faces, polygon)
    if dents:
        raise MeshFault(
            f"{several(dents, 'polygon')} with a dent: it is not said how to split them into triangles",
            "export triangles only",
        )
    notes.append(f"{several(int((counts > 3).sum()), 'polygon')} split into triangles")
    return faces, polygon


def _dents(vertices: Vertices, faces: Faces, polygon: NDArray[np.int64]) -> int:
    """Polygons of which a triangle looks the other way than the whole."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    with np.errstate(all="ignore"):  # damaged coordinates are refused later
        normals = np.cross(b - a, c - a)
        whole = np.stack([np.bincount(polygon, weights=normals[:, k]) for k in range(3)], axis=1)[polygon]
        along = np.einsum("ij,ij->i", normals, whole)
        turned = along < -DENT_SHARE * np.einsum("ij,ij->i", whole, whole)
    return len(np.unique(polygon[turned]))


def check_range(corners: NDArray[np.int64], vertices: int) -> None:
    """Raises MeshFault where a face names a vertex that is not there."""
    wrong = int(np.count_nonzero((corners < 0) | (corners >= vertices)))
    if wrong:
        raise MeshFault(
            f"a face names a vertex that is not in the file ({several(wrong, 'corner')}, "
            f"{several(vertices, 'vertex')})"
        )


def body(name: str, vertices: Vertices, faces: Faces) -> RawBody:
    """A body with only those of the vertices that its faces use."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces.ravel()] = True
    number = np.cumsum(used) - 1
    return RawBody(name, vertices[used], number[faces])


def unused_note(vertices: int, corners: NDArray[np.int64], notes: list[str]) -> None:
    """A vertex without a face is a sign that faces are missing."""
    used = np.zeros(vertices, dtype=bool)
    used[corners.ravel()] = True
    spare = vertices - int(np.count_nonzero(used))
    if spare:
        notes.append(f"check: {several(spare, 'vertex')} used by no face: is the file complete?")


def told_apart(names: list[str]) -> list[str]:
    """The same names, with a number behind those that come again."""
    seen: dict[str, int] = {}
    out = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        out.append(name if seen[name] == 1 else f"{name} {seen[name]}")
    return out

"""Flanges: wall that lies in the plane of an opening, between the room and the edge of the mesh."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Faces, Opening, Vertices
from optimizer.geometry.mesh.triangles import Edges, connected, cross, lengths

#: Openings that are looked at, the largest first.
MOST = 12
#: Faces of a flange are as near to the plane of the opening as this share of its diameter.
_IN_PLANE = 1e-3
#: Cosine between the normals of a flange and of its opening: 3 degrees.
_FLAT = 0.9986


def with_flanges(
    vertices: Vertices, faces: Faces, found: tuple[Opening, ...], shell: NDArray[np.int64]
) -> tuple[Opening, ...]:
    """The openings of one mesh with the areas of their flanges; shell (m,): connected piece of each face."""
    made = [replace(o, flange=_flange(vertices, faces, o, shell)) for o in found[:MOST]]
    return (*made, *found[MOST:])


def _flange(vertices: Vertices, faces: Faces, opening: Opening, shell: NDArray[np.int64]) -> float:
    """Area [m2] of the faces that hang together with the edge of an opening and lie in its plane.

    They look the other way than the opening: a wall that is folded out. One that is folded in, such as the
    land of a neck, looks the same way and ends at the edge of the room.
    """
    flat = np.abs((vertices - opening.centre) @ opening.normal) <= max(
        _IN_PLANE * opening.diameter, opening.flatness
    )
    number = np.flatnonzero(flat[faces].all(axis=1) & (shell == opening.shell))
    if not len(number):
        return 0.0
    double = cross(vertices, faces[number])
    away = -double @ opening.normal
    folded = away > _FLAT * lengths(double)
    number, away = number[folded], away[folded]
    group = connected(len(number), *Edges(faces[number]).pairs.T)
    at_edge = np.isin(faces[number], opening.loop).any(axis=1)
    area = float(away[np.isin(group, group[at_edge])].sum()) / 2
    return area if area < opening.area else 0.0

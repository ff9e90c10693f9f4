"""Vertices that stand out of the surface alone, as where damage to a file has moved one.

A moved vertex keeps a mesh watertight, and a file without a checksum says nothing of it. What can be seen:
the faces round it meet in a needle; each of them bends sharply at all three of its edges, which the facets of
a smooth or edged surface do not; the bends at its edges add up to more than at the corner of a box, while at
hardly any other vertex they do; or, at the mouth of an open mesh, the open edge turns back. A smaller move,
or one among many corners and creases, cannot be told from the shape that was meant.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.triangles import Edges, cross, crossed, lengths, summed
from optimizer.geometry.pieces import Array

#: The angles of the faces round a needle add up to less than this; at the corner of a box to 3 pi / 2.
NEEDLE = math.pi / 2

#: Bend from face to face [rad] that is sharp; CAD programs split round surfaces at 0.1 to 0.5.
SHARP = 0.7

#: Sum of the bends at the edges of a vertex [rad] that is much, where the corner of a box has 3 pi / 2; and
#: how many places may have it before it is a feature of the shape.
MUCH, FEW = math.radians(300), 3

#: An open edge that turns by more than this [rad] turns back; at the corner of a tray by pi / 2.
BACK = math.radians(110)

#: A mesh of fewer vertices, such as a pyramid, has too few facets to tell a tip from damage.
FEWEST = 50


def needles(vertices: Vertices, faces: Faces, edges: Edges | None = None) -> NDArray[np.int64]:
    """(k,) numbers of the vertices that stand out. edges: those of the faces, if they are known already.

    Vertices must be merged; the winding does not matter.
    """
    if len(vertices) < FEWEST:
        return np.empty(0, dtype=np.int64)
    edges = edges or Edges(faces)
    inner = np.zeros(len(vertices), dtype=bool)
    inner[faces.ravel()] = True
    inner[edges.ends[edges.uses != 2]] = False
    bend = _bends(vertices, faces, edges)
    found = inner & (_thin(vertices, faces) | _alone(bend, faces, edges, len(vertices)))
    found[_few(_total(bend, edges, len(vertices)) * inner, edges)] = True
    back = _back(vertices, edges)
    if np.count_nonzero(back) <= FEW:
        found |= back
    return np.flatnonzero(found)


def _bends(vertices: Vertices, faces: Faces, edges: Edges) -> Array:
    """Angle [rad] between the faces at each edge that two share, whichever way they are wound."""
    double = cross(vertices, faces)
    size = lengths(double)
    normal = double / np.where(size > 0, size, 1.0)[:, None]
    cosine = np.einsum("ij,ij->i", normal[edges.pairs[:, 0]], normal[edges.pairs[:, 1]])
    turned = np.where(edges.same_way, -1.0, 1.0)
    return np.asarray(np.arccos(np.clip(cosine * turned, -1.0, 1.0)), dtype=float)


def _thin(vertices: Vertices, faces: Faces) -> NDArray[np.bool_]:
    """Vertices whose faces meet at angles that add up to little."""
    corner = [vertices[faces[:, k]] for k in range(3)]
    side = [corner[(k + 1) % 3] - corner[k] for k in range(3)]
    double = lengths(crossed(side[0], side[1]))
    total = np.zeros(len(vertices))
    for k in range(3):
        angle = np.arctan2(double, -np.einsum("ij,ij->i", side[k], side[k - 1]))
        total += summed(faces[:, k], angle, len(vertices))
    return np.asarray(total < NEEDLE, dtype=bool)


def _alone(bend: Array, faces: Faces, edges: Edges, count: int) -> NDArray[np.bool_]:
    """Vertices of which every face bends sharply at all three edges."""
    smooth = np.ones(len(edges.ends), dtype=bool)
    smooth[edges.shared[bend > SHARP]] = False
    a, b, c = (smooth[edges.of_face[:, k]] for k in range(3))
    sharp = ~(a | b | c)
    out = np.ones(count, dtype=bool)
    out[faces[~sharp].ravel()] = False
    return out


def _total(bend: Array, edges: Edges, count: int) -> Array:
    """Sum of the bends at the edges of each vertex [rad]."""
    ends = edges.ends[edges.shared]
    return summed(ends[:, 0], bend, count) + summed(ends[:, 1], bend, count)


def _few(total: Array, edges: Edges) -> list[int]:
    """The vertices of much bend, if they are few; those beside one of more bend belong to it."""
    left = np.where(total > MUCH, total, 0.0)
    out: list[int] = []
    while left.any():
        if len(out) == FEW:
            return []
        top = int(left.argmax())
        out.append(top)
        left[edges.ends[(edges.ends == top).any(axis=1)]] = 0.0
    return out


def _back(vertices: Vertices, edges: Edges) -> NDArray[np.bool_]:
    """Vertices with two open edges that run nearly the same way from there."""
    rim = edges.ends[edges.uses == 1]
    here, there = np.concatenate([rim, rim[:, ::-1]]).T
    order = np.argsort(here, kind="stable")
    at, first, count = np.unique(here[order], return_index=True, return_counts=True)
    at, first = at[count == 2], first[count == 2]
    one, two = (vertices[there[order[first + k]]] - vertices[at] for k in (0, 1))
    along = np.einsum("ij,ij->i", one, two)
    out = np.zeros(len(vertices), dtype=bool)
    out[at[along > math.cos(math.pi - BACK) * lengths(one) * lengths(two)]] = True
    return out

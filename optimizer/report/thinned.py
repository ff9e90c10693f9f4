"""A mesh made fit for a picture: few faces where it has too many, small ones where they are too long.

Vertices in one cell of a cubic grid become one (vertex clustering; source of the method, from memory: J.
Rossignac and P. Borrel, Multi-resolution 3D approximations for rendering complex scenes, 1993). Only for
looking at: nothing is measured on the outcome.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Mesh

Array = NDArray[np.float64]
Numbers = NDArray[np.int64]

#: Cells of the grid that a surface of one cell's area passes through, about.
_CELLS_PER_AREA = 1.5
#: The longest edge that is drawn whole, as a share of the diagonal.
_LONG = 1.0 / 18.0
#: Weight of a vertex on the edge of an opening against another.
_HOLD = 1e4


@dataclass(frozen=True)
class Shape:
    """vertices (n, 3) [m]; faces (m, 3); normal (m, 3), unit vectors to shade by; value (m,), NaN for none.

    held (n,): on the edge of an opening, not to be drawn away from it. smooth: whether values may be averaged
    (thickness), or are numbers of something (regions).
    """

    vertices: Array
    faces: Numbers
    normal: Array
    value: Array
    held: NDArray[np.bool_]
    smooth: bool


def shape_of(mesh: Mesh, value: Array, smooth: bool, most: int) -> Shape:
    """The mesh with at most ``most`` faces; a coarse one keeps its own, the long ones divided."""
    shape = decimated(mesh, value, smooth, most)
    return _divided(shape, most) if len(mesh.faces) <= most else shape


def decimated(mesh: Mesh, value: Array, smooth: bool, most: int) -> Shape:
    """The mesh with at most ``most`` faces; as it is where it has no more. value (m,): of each face."""
    vertices, faces = mesh.vertices, mesh.faces
    held = np.zeros(len(vertices), dtype=bool)
    for opening in mesh.openings:
        held[opening.loop] = True
    if len(faces) <= most:
        return Shape(vertices, faces, _unit(_cross(vertices, faces)), value, held, smooth)
    # clustering takes its own normals
    shape = Shape(vertices, faces, np.broadcast_to(0.0, faces.shape), value, held, smooth)
    return thinner(shape, most, float(mesh.area.sum()))


def thinner(shape: Shape, most: int, area: float) -> Shape:
    """The shape with at most ``most`` faces, its vertices joined; area [m2]: about that of its faces."""
    cell = float(np.sqrt(2.0 * _CELLS_PER_AREA * area / most))
    while len(shape.faces) > most:
        shape = _clustered(shape, cell)
        cell *= max(1.1, 1.02 * float(np.sqrt(len(shape.faces) / most)))
    return shape


def _cross(vertices: Array, faces: Numbers) -> Array:
    """(m, 3) normals of twice the face area [m2]."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    u, v = b - a, c - a
    out = np.empty_like(u)
    for k in range(3):  # several times faster than numpy's cross over rows
        i, j = (k + 1) % 3, (k + 2) % 3
        out[:, k] = u[:, i] * v[:, j] - u[:, j] * v[:, i]
    return out


def _unit(vectors: Array) -> Array:
    length = np.linalg.norm(vectors, axis=1)
    return np.asarray(vectors / np.where(length > 0.0, length, 1.0)[:, None], dtype=float)


def _clustered(shape: Shape, cell: float) -> Shape:
    """Vertices in one cell with about one direction of the surface become one, at their mean.

    The direction keeps apart the two faces of a thin wall and the two sides of a sharp edge.
    """
    vertices, faces = shape.vertices, shape.faces
    weighted = _cross(vertices, faces)
    around = _on_vertices(faces, weighted, len(vertices))
    direction = _unit(around)
    place = np.floor((vertices - vertices.min(axis=0)) / cell).astype(np.int64)
    turn = np.rint(direction).astype(np.int64) + 1
    parts = np.concatenate([place, turn], axis=1)
    key = np.zeros(len(vertices), dtype=np.int64)
    for column in parts.T:
        key = key * (int(column.max()) + 1) + column
    _, number = np.unique(key, return_inverse=True)
    number = number.reshape(-1).astype(np.int64)
    count = int(number.max()) + 1
    weight = np.where(shape.held, _HOLD, 1.0)
    share = np.bincount(number, weight, count)[:, None]
    middle = np.stack([np.bincount(number, x * weight, count) for x in vertices.T], axis=1) / share
    joined = number[faces]
    kept = _proper(joined, count)
    fewer = joined[kept]
    normals = _unit(np.stack([np.bincount(number, x, count) for x in around.T], axis=1))
    shade = _unit(normals[fewer].sum(axis=1))
    held = np.bincount(number, shape.held, count) > 0
    return Shape(middle, fewer, shade, _values(shape, joined, kept, weighted, count), held, shape.smooth)


def _on_vertices(faces: Numbers, vectors: Array, count: int) -> Array:
    """(count, k) sums over the faces round each vertex."""
    flat = faces.reshape(-1)
    return np.stack([np.bincount(flat, np.repeat(x, 3), count) for x in vectors.T], axis=1)


def _proper(faces: Numbers, count: int) -> Numbers:
    """Numbers of the faces with three different corners, the first of each set."""
    a, b, c = np.sort(faces, axis=1).T
    proper = np.flatnonzero((a != b) & (b != c))
    key = (a[proper] * count + b[proper]) * count + c[proper]
    _, first = np.unique(key, return_index=True)
    return np.asarray(proper[first], dtype=np.int64)


def _values(shape: Shape, joined: Numbers, kept: Numbers, weighted: Array, count: int) -> Array:
    """Of the faces that stay: the mean round their corners by area, or just their own."""
    known = np.isfinite(shape.value)
    if not shape.smooth or not known.any():
        return shape.value[kept]
    weight = np.where(known, np.linalg.norm(weighted, axis=1), 0.0)
    pair = np.stack([np.where(known, shape.value, 0.0) * weight, weight], axis=1)
    total = _on_vertices(joined, pair, count)[joined[kept]].sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(total[:, 1] > 0.0, total[:, 0] / total[:, 1], np.nan)


def _divided(shape: Shape, most: int) -> Shape:
    """Faces with a long edge are halved across it: faces of about one size can be sorted by their depth."""
    vertices, faces = shape.vertices, shape.faces
    origin = np.arange(len(faces))
    used = vertices[faces.reshape(-1)]
    long = _LONG * float(np.linalg.norm(used.max(axis=0) - used.min(axis=0)))
    while True:
        corners = vertices[faces]
        edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        worst = edges.argmax(axis=1)
        chosen = np.flatnonzero(edges.max(axis=1) > long)
        if not len(chosen) or len(faces) + len(chosen) > most:
            held = np.zeros(len(vertices), dtype=bool)
            return Shape(vertices, faces, shape.normal[origin], shape.value[origin], held, shape.smooth)
        k = worst[chosen]
        first, second, third = (faces[chosen, (k + i) % 3] for i in range(3))
        middle = np.arange(len(chosen)) + len(vertices)
        vertices = np.concatenate([vertices, (vertices[first] + vertices[second]) / 2.0])
        one, two = np.stack([first, middle, third], axis=1), np.stack([middle, second, third], axis=1)
        rest = np.ones(len(faces), dtype=bool)
        rest[chosen] = False
        faces = np.concatenate([faces[rest], one, two])
        origin = np.concatenate([origin[rest], origin[chosen], origin[chosen]])

"""Faces cut along planes, so that the border of a region runs along edges and areas on each side are
exact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh import triangles as tri
from optimizer.geometry.mesh.model import Faces, Mesh, Vertices
from optimizer.geometry.pieces import Array

#: A vertex closer to a plane than this share of the size of the mesh lies in it: no slivers.
_TOUCH = 1e-7


def cut_at(mesh: Mesh, planes: list[tuple[Array, float]]) -> Mesh:
    """The same surface with every face that a plane crosses cut in two or three.

    planes: unit normals (3,) and distances from the origin [m]. Vertices keep their numbers, new ones come
    after them.
    """
    vertices, faces, origin = mesh.vertices, mesh.faces, np.arange(len(mesh.faces))
    low, high = tri.box(vertices)
    touch = _TOUCH * float(np.linalg.norm(high - low))
    for normal, offset in planes:
        away = vertices @ normal - offset
        away[np.abs(away) < touch] = 0.0
        vertices, faces, part_of = _cut(vertices, faces, away)
        origin = origin[part_of]
    return _divided(mesh, vertices, faces, origin)


def finer(mesh: Mesh, longest: float) -> Mesh:
    """The same surface with no edge above ``longest`` [m]: such edges are halved until none is left.

    A local thickness is taken at the centre of each face. A mesh from a drawing has faces as tall as a
    straight wall, which would see the thickness at two heights only. Vertices keep their numbers.
    """
    vertices, faces, origin = mesh.vertices, mesh.faces, np.arange(len(mesh.faces))
    # a long edge is one of both its faces, so that faces without one are done; they are most of a mesh
    long_face = _has_longer(vertices, faces, longest)
    done, done_origin = [faces[~long_face]], [origin[~long_face]]
    faces, origin = faces[long_face], origin[long_face]
    while len(faces):
        edges = tri.Edges(faces)
        ends = vertices[edges.ends]
        long = tri.lengths(ends[:, 1] - ends[:, 0]) > longest
        number = np.where(long, len(vertices) + np.cumsum(long) - 1, -1)
        vertices = np.concatenate([vertices, ends[long].mean(axis=1)])
        faces, part_of = _halved(vertices, faces, number[edges.of_face])
        origin = origin[part_of]
        long_face = _has_longer(vertices, faces, longest)
        done.append(faces[~long_face])
        done_origin.append(origin[~long_face])
        faces, origin = faces[long_face], origin[long_face]
    return _divided(mesh, vertices, np.concatenate(done), np.concatenate(done_origin))


def _has_longer(vertices: Vertices, faces: Faces, longest: float) -> NDArray[np.bool_]:
    """(m,) whether a face has an edge above ``longest`` [m]."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    one, two, three = (tri.lengths(side) > longest for side in (b - a, c - b, a - c))
    return np.asarray(one | two | three)


def _divided(mesh: Mesh, vertices: Vertices, faces: Faces, origin: Faces) -> Mesh:
    """The mesh with other faces; origin (m,): the face of the mesh that each is part of."""
    if len(faces) == len(mesh.faces):
        return mesh
    size = tri.areas(vertices, faces)
    whole = np.bincount(origin, size, len(mesh.faces))[origin]
    share = np.where(whole > 0, size / np.where(whole > 0, whole, 1.0), 0.0)
    return replace(
        mesh,
        vertices=vertices,
        faces=faces,
        body=mesh.body[origin],
        shell=mesh.shell[origin],
        area=share * mesh.area[origin],
        slope=share * mesh.slope[origin],
        curvature=share * mesh.curvature[origin],
    )


def _halved(vertices: Vertices, faces: Faces, middle: Faces) -> tuple[Faces, Faces]:
    """Faces and the one each is part of; middle (m, 3): vertex in the middle of each edge, -1 for none."""
    count = (middle >= 0).sum(axis=1)
    # the corner from which the edges are counted: the halved one first, or the one that is whole last
    first = np.where(count == 1, (middle >= 0).argmax(axis=1), ((middle < 0).argmax(axis=1) + 1) % 3)
    turn = (first[:, None] + np.arange(3)) % 3
    row = np.arange(len(faces))[:, None]
    table = np.concatenate([faces[row, turn], middle[row, turn], row], axis=1)
    one, two, three = (table[count == k].T for k in (1, 2, 3))
    diagonal = [tri.lengths(vertices[two[i]] - vertices[two[k]]) for i, k in ((0, 4), (3, 2))]
    near, far = two[:, diagonal[0] <= diagonal[1]], two[:, diagonal[0] > diagonal[1]]
    # columns: corners 0 to 2, middles 3 to 5 of the edges 0-1, 1-2, 2-0, and the face
    parts = [(table[count == 0].T, (0, 1, 2))]
    parts += [(one, (0, 3, 2)), (one, (3, 1, 2))]
    parts += [(two, (3, 1, 4)), (near, (0, 3, 4)), (near, (0, 4, 2)), (far, (0, 3, 2)), (far, (3, 4, 2))]
    parts += [(three, (0, 3, 5)), (three, (3, 1, 4)), (three, (5, 4, 2)), (three, (3, 4, 5))]
    rows = np.concatenate([np.stack([t[k] for k in (*corners, 6)], axis=1) for t, corners in parts])
    return rows[:, :3], rows[:, 3]


def _cut(vertices: Vertices, faces: Faces, away: Array) -> tuple[Vertices, Faces, Faces]:
    """Vertices, faces and the face each is part of; away (n,): signed distances of the vertices."""
    side = np.sign(away).astype(np.int8)[faces]
    a, b, c = side.T
    crossed = ((a < 0) | (b < 0) | (c < 0)) & ((a > 0) | (b > 0) | (c > 0))
    if not crossed.any():
        return vertices, faces, np.arange(len(faces))
    number = np.flatnonzero(crossed)
    # the corner that is alone comes first: the one in the plane, or the only one on its side of it
    alone = np.where((side[number] == 0).any(axis=1), 0, -np.sign(side[number].sum(axis=1)))
    first = (side[number] == alone[:, None]).argmax(axis=1)
    a, b, c = faces[number[:, None], (first[:, None] + np.arange(3)) % 3].T
    through = alone == 0
    tip = ~through
    # edges that the plane crosses: b-c of a face with a corner in the plane, a-b and a-c of the others
    start = np.concatenate([b[through], a[tip], a[tip]])
    end = np.concatenate([c[through], b[tip], c[tip]])
    points, new = _crossings(vertices, away, start, end)
    new += len(vertices)
    count = int(through.sum())
    bc, ab, ac = new[:count], new[count : count + int(tip.sum())], new[count + int(tip.sum()) :]
    parts = (
        (a[through], b[through], bc, number[through]),
        (a[through], bc, c[through], number[through]),
        (a[tip], ab, ac, number[tip]),
        (ab, b[tip], c[tip], number[tip]),
        (ab, c[tip], ac, number[tip]),
    )
    rows = np.concatenate([np.stack(part, axis=1) for part in parts])
    kept = np.flatnonzero(~crossed)
    return (
        np.concatenate([vertices, points]),
        np.concatenate([faces[kept], rows[:, :3]]),
        np.concatenate([kept, rows[:, 3]]),
    )


def _crossings(vertices: Vertices, away: Array, start: Faces, end: Faces) -> tuple[Vertices, Faces]:
    """Points in the plane, one for each edge, and the number of that of each (start, end)."""
    low, high = np.minimum(start, end), np.maximum(start, end)
    keys, number = np.unique(low * len(vertices) + high, return_inverse=True)
    one, two = np.divmod(keys, len(vertices))
    along = away[one] / (away[one] - away[two])
    points = vertices[one] + along[:, None] * (vertices[two] - vertices[one])
    return points, np.asarray(number, dtype=np.int64).reshape(-1)

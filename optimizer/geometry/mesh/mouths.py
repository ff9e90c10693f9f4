"""The mouth of a solid wall: the loop within the flat rim that joins its outer face to its inner one.

A solid has no open edge, so its mouth is looked for among its flat rings of faces. The rim is the ring
without which the solid falls into two pieces of about the same area, the two faces of the wall, of which the
one within the ring looks into a room. A ring to stand on parts it less evenly, and through that of a shoulder
the inner face of the wall passes. Of a sleeve both rims are taken away at once. A rounded rim is not found.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Faces, Opening, Vertices
from optimizer.geometry.mesh.triangles import Edges, connected, cross, crossed, lengths, summed
from optimizer.geometry.pieces import Array

#: Faces whose normals are closer than this cosine lie in one plane.
FLAT = 0.9999
#: The smaller face of a wall has at least this share of the area of the larger one.
FACE_SHARE = 0.6
#: Flat rings that are tried, the widest first.
_TRIED = 8
#: Faces that a ring has at least.
_FEWEST = 6
#: What is nearer to the plane of a hole than this share of its diameter lies in it.
_TOUCH = 1e-6
#: Euler's number of the surface of a solid that nothing goes through.
_VESSEL = 2

_Numbers = NDArray[np.int64]


def mouths(
    vertices: Vertices, faces: Faces, chosen: NDArray[np.bool_], body: str, shell: int
) -> tuple[tuple[Opening, ...], float | None]:
    """Mouths of the closed solid that some faces are, and the room within [m3]; none, None where not found.

    body, shell: those of the solid.
    """
    faces = faces[chosen]
    edges = Edges(faces)
    double = cross(vertices, faces)
    area = lengths(double) / 2
    rings = _rings(vertices, faces, edges, double)
    holes = [_opening(vertices, faces, double, ring, body, shell) for ring in rings]
    best = FACE_SHARE
    found: tuple[Opening, ...] = ()
    volume = None
    sleeve = int(np.count_nonzero(np.bincount(faces.reshape(-1)))) - len(edges.ends) + len(faces) < _VESSEL
    for trial in _trials(len(rings), sleeve):
        if found and len(trial) > 1:
            break
        tried = tuple(holes[k] for k in trial)
        inner, share = _inner_face(faces, edges, area, [rings[k] for k in trial], tried)
        room = _room(vertices, faces[inner], tried) if share > best else 0.0
        if room > 0 and all(_free(vertices, edges, hole) for hole in tried):
            best, found, volume = share, tried, room
    return found, volume


def _room(vertices: Vertices, faces: Faces, holes: tuple[Opening, ...]) -> float:
    """Volume [m3] within faces that look into it and the caps of holes; negative if they look out of it."""
    origin = holes[0].centre
    a, b, c = (vertices[faces[:, k]] - origin for k in range(3))
    # the cap of the first hole lies in the plane of the origin
    within = -float(np.einsum("ij,ij->i", a, crossed(b, c)).sum()) / 6
    for hole in holes[1:]:
        edge, middle = vertices[hole.loop] - origin, hole.centre - origin
        within += float((crossed(edge, np.roll(edge, -1, axis=0)) @ middle).sum()) / 6
    return within


def _free(vertices: Vertices, edges: Edges, hole: Opening) -> bool:
    """Whether no edge of the solid passes through a hole, as the neck within a shoulder does."""
    away = (vertices - hole.centre) @ hole.normal
    touch = _TOUCH * hole.diameter
    one, two = edges.ends.T
    through = (np.minimum(away[one], away[two]) < -touch) & (np.maximum(away[one], away[two]) > touch)
    one, two = one[through], two[through]
    share = away[one] / (away[one] - away[two])
    points = vertices[one] + share[:, None] * (vertices[two] - vertices[one])
    # seen along the axis that is nearest to the normal
    plane = [axis for axis in range(3) if axis != int(np.abs(hole.normal).argmax())]
    corners = vertices[hole.loop][:, plane]
    inside = np.zeros(len(points), dtype=bool)
    for (x, y), (u, v) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        at = points[:, plane[0]], points[:, plane[1]]
        spans = (y > at[1]) != (v > at[1])
        if y != v:
            inside ^= spans & (at[0] < x + (at[1] - y) * (u - x) / (v - y))
    return not inside.any()


def _rings(vertices: Vertices, faces: Faces, edges: Edges, double: Array) -> list[_Numbers]:
    """Faces of each flat ring, those with the longest edges first."""
    size = lengths(double)
    normal = double / np.where(size > 0, size, 1.0)[:, None]
    one, two = edges.pairs.T
    flat = np.einsum("ij,ij->i", normal[one], normal[two]) > FLAT
    group = connected(len(faces), one[flat], two[flat])
    # a ring has six faces or more; most faces of a curved wall lie alone in their plane
    some = np.flatnonzero(np.bincount(group)[group] >= _FEWEST)
    if not len(some):
        return []
    group = np.unique(group[some], return_inverse=True)[1].reshape(-1)
    count = int(group.max()) + 1
    corners = _distinct(group[:, None] * len(vertices) + faces[some])
    sides = _distinct(group[:, None] * len(edges.ends) + edges.of_face[some])
    # Euler's number of a ring is 0, that of a patch without holes 1
    euler = np.bincount(corners // len(vertices), minlength=count) + np.bincount(group, minlength=count)
    euler -= np.bincount(sides // len(edges.ends), minlength=count)
    vector = np.stack([summed(group, double[some, k], count) for k in range(3)], axis=1)
    plane = lengths(vector) > FLAT * summed(group, size[some], count)
    number = np.flatnonzero((euler == 0) & plane)
    around = lengths(vertices[edges.ends[:, 1]] - vertices[edges.ends[:, 0]])[edges.of_face[some]].sum(axis=1)
    widest = number[np.argsort(-summed(group, around, count)[number], kind="stable")]
    rings = [some[group == k] for k in widest[:_TRIED]]
    return [ring for ring in rings if len(list(_loops(faces[ring]))) == 2]


def _distinct(keys: _Numbers) -> _Numbers:
    """Sorted, each once; several times faster than numpy's general way, which hashes them."""
    ordered = np.sort(keys.reshape(-1))
    return ordered[np.diff(ordered, prepend=-1) > 0]


def _inner_face(
    faces: Faces, edges: Edges, area: Array, rings: list[_Numbers], holes: tuple[Opening, ...]
) -> tuple[_Numbers, float]:
    """Faces (k,) of the piece within the holes of some rings where these part a solid in two, and the share
    that the smaller piece has of the area of the other; none and 0 where they do not."""
    kept = np.ones(len(area), dtype=bool)
    kept[np.concatenate(rings)] = False
    one, two = edges.pairs[kept[edges.pairs].all(axis=1)].T
    # faces of the rings stay alone, and are not looked at
    label = np.unique(connected(len(area), one, two)[kept], return_inverse=True)[1].reshape(-1)
    halves = np.bincount(label, area[kept])
    number = np.flatnonzero(kept)
    beside = [np.unique(label[np.isin(faces[number], hole.loop).any(axis=1)]) for hole in holes]
    if len(halves) != 2 or len({tuple(x.tolist()) for x in beside}) != 1 or len(beside[0]) != 1:
        return np.empty(0, dtype=np.int64), 0.0
    return number[label == beside[0][0]], float(halves.min() / halves.max())


def _trials(count: int, sleeve: bool) -> Iterator[list[int]]:
    """Numbers of one ring, then, for what may be a sleeve, of each two."""
    yield from ([k] for k in range(count))
    if sleeve:
        yield from ([i, k] for i in range(count) for k in range(i))


def _opening(
    vertices: Vertices, faces: Faces, double: Array, ring: _Numbers, body: str, shell: int
) -> Opening:
    """Within a flat ring of faces."""
    normal = double[ring].sum(axis=0)
    normal /= np.linalg.norm(normal)
    loops = list(_loops(faces[ring]))
    vectors = [_vector(vertices[loop]) for loop in loops]
    # the faces run round a hole clockwise
    loop = loops[int(np.argmin([v @ normal for v in vectors]))][::-1]
    points = vertices[loop]
    way = np.roll(points, -1, axis=0) - points
    area = float(np.linalg.norm(_vector(points)))
    middle = points.mean(axis=0)
    weight = crossed(points - middle, np.roll(points, -1, axis=0) - middle) @ normal
    third = (points + np.roll(points, -1, axis=0) + middle) / 3
    centre = (weight[:, None] * third).sum(axis=0) / weight.sum()
    flatness = float(np.abs((points - centre) @ normal).max())
    return Opening(1, area, float(lengths(way).sum()), centre, normal, flatness, loop, body, shell)


def _loops(ring: Faces) -> Iterator[_Numbers]:
    """Vertices round the edges of a ring of faces, the way its faces run."""
    start, end = ring.reshape(-1).tolist(), ring[:, [1, 2, 0]].reshape(-1).tolist()
    inside = set(zip(end, start, strict=True))
    after = {a: b for a, b in zip(start, end, strict=True) if (a, b) not in inside}
    while after:
        first, here = after.popitem()
        loop = [first]
        while here != first and here in after:
            loop.append(here)
            here = after.pop(here)
        yield np.array(loop, dtype=np.int64)


def _vector(points: Array) -> Array:
    """(3,) area vector of a polygon [m2]."""
    around = points - points[0]
    return np.asarray(crossed(around, np.roll(around, -1, axis=0)).sum(axis=0) / 2, dtype=float)


def numbered(found: list[Opening]) -> tuple[Opening, ...]:
    """Openings, the largest first, with their numbers."""
    found.sort(key=lambda o: -o.area)
    return tuple(replace(o, number=k) for k, o in enumerate(found, start=1))

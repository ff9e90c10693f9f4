"""The open edges of a mesh: joined to rims, told apart as openings, missing facets and edges of sheets.

An opening (an open neck, the rim of a tray) is a rim that lies in a plane and does not look like missing
facets. Facets are missing where

* the rim leaves its plane by more than ``FLATNESS`` of its diameter, or
* it has no more than ``FEW_EDGES`` edges and along one of them the wall would go on smoothly into the hole:
  the normal of the face there and that of the cap are closer than ``SMOOTH``. A neck ends across its wall;
  the hole that a facet leaves lies in the wall, or
* the wall goes on smoothly all round and the rim is jagged: some of its corners point inward, or
* the wall goes on smoothly at one edge and is folded back at another, or the rim is small with few edges and
  folded back all round, as where a face lies askew; that of a flange is large.

A hole in a wall that goes on round it, and has neither few edges nor inward corners, is an opening (the land
of a neck, a drilled hole), with a warning if it has corners.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Faces, Opening, Vertices
from optimizer.geometry.mesh.triangles import Edges, connected, cross, crossed, lengths, summed
from optimizer.geometry.pieces import Array

#: Farthest that the edge of an opening may leave its plane, as a share of its diameter.
FLATNESS = 0.01

#: Rims of so many edges are what one or a few missing facets leave.
FEW_EDGES = 8

#: Cosine of the angle up to which a wall goes on smoothly: the facets of an icosahedron meet at 42 degrees.
SMOOTH = math.cos(math.radians(44))

#: A rim of few edges round a flange has at least this share of the area of its piece.
FLANGE = 0.1

#: A corner of a rim turns by more than this [rad]; a circle of 13 edges or more has none.
CORNER = math.radians(30)

#: A rim narrower than this share of its length is a crack and has no plane of its own.
CRACK = 1e-5


@dataclass(frozen=True)
class Rims:
    """The rims of a mesh. start, end, face (b,): vertices of each open edge, in the direction in which its
    face runs along it, and that face; rim (b,): number of its rim, from 0.

    Of each rim (r,): piece: the connected piece of faces it belongs to; edges; perimeter [m]; closed: whether
    it comes back to where it began; centre (r, 3) [m]; vector (r, 3) [m2]: area vector of the flat cap, out
    of the package if the faces are wound so; span [m2]: area of the fan from the centre, at least that of the
    cap; flatness [m]; least and most smooth: cosine of the angle between the cap and the faces at its edges.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    face: NDArray[np.int64]
    rim: NDArray[np.int64]
    piece: NDArray[np.int64]
    edges: NDArray[np.int64]
    perimeter: Array
    closed: NDArray[np.bool_]
    centre: Array
    vector: Array
    span: Array
    flatness: Array
    least_smooth: Array
    most_smooth: Array

    def __len__(self) -> int:
        return len(self.edges)

    @property
    def area(self) -> Array:
        """(r,) of the flat cap [m2]."""
        return lengths(self.vector)

    def turned(self, which: NDArray[np.bool_]) -> Rims:
        """With the rims of some pieces (by number of the piece) as they are once their faces are turned."""
        rims = which[self.piece]
        swap = rims[self.rim]
        return replace(
            self,
            start=np.where(swap, self.end, self.start),
            end=np.where(swap, self.start, self.end),
            vector=np.where(rims[:, None], -self.vector, self.vector),
        )


def trace(vertices: Vertices, faces: Faces, edges: Edges, piece: NDArray[np.int64]) -> Rims:
    """The rims of consistently wound faces; ``piece`` (m,): the connected piece of each face."""
    face, place = np.nonzero(edges.uses[edges.of_face] == 1)
    ends = edges.ends[edges.of_face[face, place]]
    # forward where the face runs from the first end to the second
    after = np.stack([faces[face][:, [0, 1, 2]], faces[face][:, [1, 2, 0]]])
    forward = ((after[0] == ends[:, :1]) & (after[1] == ends[:, 1:])).any(axis=1)
    start = np.where(forward, ends[:, 0], ends[:, 1])
    end = np.where(forward, ends[:, 1], ends[:, 0])
    tail, head = _fans(faces, edges, face, start, end)
    rim = connected(int(max(tail.max(initial=-1), head.max(initial=-1))) + 1, tail, head)
    rim = _simple(start, end, tail, head, rim[tail])
    return _measured(vertices, faces, piece, (start, end, face, rim, tail, head))


def _fans(
    faces: Faces, edges: Edges, face: NDArray[np.int64], start: NDArray[np.int64], end: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Ends of the open edges as numbers of fans: faces round a vertex that hang together there. Two rims that
    meet in a vertex only belong to two fans, and so stay apart."""
    on_rim = np.zeros(int(faces.max(initial=-1)) + 1, dtype=bool)
    on_rim[start] = on_rim[end] = True
    corner = np.full(faces.shape, -1, dtype=np.int64)
    touch = on_rim[faces]
    corner[touch] = np.arange(np.count_nonzero(touch))
    ends = edges.ends[edges.shared]
    near, at = np.nonzero(on_rim[ends])
    vertex = ends[near, at]
    one, two = (_corner_of(faces, corner, edges.pairs[near, k], vertex) for k in range(2))
    fan = connected(int(corner.max(initial=-1)) + 1, one, two)
    return fan[_corner_of(faces, corner, face, start)], fan[_corner_of(faces, corner, face, end)]


def _simple(
    start: NDArray[np.int64],
    end: NDArray[np.int64],
    tail: NDArray[np.int64],
    head: NDArray[np.int64],
    rim: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Rims numbered from 0; one that passes a vertex twice, as where two holes meet, is parted there."""
    number = np.unique(rim, return_inverse=True)[1].reshape(-1)
    passed = np.stack([number, start], axis=1)
    passed = passed[np.lexsort(passed.T)]
    twice = np.unique(passed[1:][(passed[1:] == passed[:-1]).all(axis=1), 0])
    fresh = int(number.max(initial=-1)) + 1
    for old in twice.tolist():
        mine = np.flatnonzero(number == old)
        after = dict(zip(tail[mine].tolist(), mine.tolist(), strict=True))
        edge = int(mine[0])
        walk: list[int] = []
        place = {int(start[edge]): 0}
        for _ in range(len(mine)):
            walk.append(edge)
            here = int(end[edge])
            if here in place:  # a round is complete
                number[walk[place[here] :]] = fresh
                fresh += 1
                for done in walk[place[here] + 1 :]:
                    del place[int(start[done])]
                del walk[place[here] :]
            else:
                place[here] = len(walk)
            if int(head[edge]) not in after:
                break  # it ends at an edge of more than two faces
            edge = after[int(head[edge])]
    return np.unique(number, return_inverse=True)[1].reshape(-1)


def _corner_of(
    faces: Faces, corner: NDArray[np.int64], face: NDArray[np.int64], vertex: NDArray[np.int64]
) -> NDArray[np.int64]:
    place = (faces[face] == vertex[:, None]).argmax(axis=1)
    return np.asarray(corner[face, place], dtype=np.int64)


def _measured(
    vertices: Vertices, faces: Faces, piece: NDArray[np.int64], traced: tuple[NDArray[np.int64], ...]
) -> Rims:
    start, end, face, rim, tail, head = traced
    count = int(rim.max(initial=-1)) + 1
    a, b = vertices[start], vertices[end]
    step = lengths(b - a)
    edge_count = np.bincount(rim, minlength=count)
    perimeter = summed(rim, step, count)
    # the middle of the edge is the same for any number of points along a straight side
    middle = _sums(rim, (a + b) / 2 * step[:, None], count) / np.where(perimeter > 0, perimeter, 1.0)[:, None]
    double = crossed(b - middle[rim], a - middle[rim])
    vector = _sums(rim, double / 2, count)
    area = lengths(vector)
    normal = vector / np.where(area > 0, area, 1.0)[:, None]
    weight = np.einsum("ij,ij->i", double, normal[rim]) / 2
    wide = area > CRACK * perimeter**2
    centre = _sums(rim, weight[:, None] * (a + b + middle[rim]) / 3, count)
    centre = np.where(wide[:, None], centre / np.where(wide, area, 1.0)[:, None], middle)
    away = np.abs(np.einsum("ij,ij->i", a - middle[rim], normal[rim]))
    flatness = np.zeros(count)
    np.maximum.at(flatness, rim, away)
    out = cross(vertices, faces[face])
    size = lengths(out)
    smooth = np.einsum("ij,ij->i", out, normal[rim]) / np.where(size > 0, size, 1.0)
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(least, rim, smooth)
    np.maximum.at(most, rim, smooth)
    closed = np.ones(count, dtype=bool)
    fans = max(int(tail.max(initial=-1)), int(head.max(initial=-1))) + 1
    uneven = np.bincount(tail, minlength=fans) != np.bincount(head, minlength=fans)
    closed[rim[uneven[tail] | uneven[head]]] = False
    of_piece = np.zeros(count, dtype=np.int64)
    of_piece[rim] = piece[face]
    span = summed(rim, lengths(double) / 2, count)
    return Rims(
        start,
        end,
        face,
        rim,
        of_piece,
        edge_count,
        perimeter,
        closed,
        centre,
        vector,
        span,
        flatness,
        least,
        most,
    )


def _sums(label: NDArray[np.int64], values: Array, count: int) -> Array:
    """Rows of (n, 3) added up by label."""
    return np.stack([summed(label, values[:, k], count) for k in range(3)], axis=1)


def cap_volumes(vertices: Vertices, rims: Rims, origin: Array) -> Array:
    """(r,) signed volume [m3] between the cap of each rim and ``origin`` (3,)."""
    a, b = vertices[rims.end] - origin, vertices[rims.start] - origin
    parts = np.einsum("ij,ij->i", rims.centre[rims.rim] - origin, crossed(a, b)) / 6
    return summed(rims.rim, parts, len(rims))


def caps(vertices: Vertices, rims: Rims, which: NDArray[np.bool_]) -> Array:
    """(k, 3, 3) corners of the caps of some rims, wound as the faces."""
    use = which[rims.rim]
    return np.stack([vertices[rims.end[use]], vertices[rims.start[use]], rims.centre[rims.rim[use]]], axis=1)


def planar(rims: Rims) -> NDArray[np.bool_]:
    """(r,) whether a rim lies in a plane and is no crack."""
    area = rims.area
    flat = rims.flatness <= FLATNESS * 2 * np.sqrt(area / math.pi)
    kept: NDArray[np.bool_] = rims.closed & flat & (area > CRACK * rims.perimeter**2)
    return kept


def torn(vertices: Vertices, rims: Rims, piece_area: Array) -> NDArray[np.bool_]:
    """(r,) which rims are those of missing facets, see the top of this module; piece_area (s,) [m2]."""
    few = (rims.edges <= FEW_EDGES) & (rims.most_smooth > SMOOTH)
    in_wall = (rims.least_smooth > SMOOTH) & (rims.edges > FEW_EDGES)
    small = (rims.edges <= FEW_EDGES) & (rims.span < FLANGE * piece_area[rims.piece])
    back = small & (rims.most_smooth < -SMOOTH)
    folded = back | ((rims.most_smooth > SMOOTH) & (rims.least_smooth < -SMOOTH))
    missing = ~planar(rims) | few | folded
    for number in np.flatnonzero(in_wall & ~missing):
        missing[number] = _corners(vertices, rims, int(number)).min() < -CORNER / 2
    return missing


def cornered(vertices: Vertices, rims: Rims, numbers: NDArray[np.int64]) -> list[int]:
    """Those rims that lie in a wall that goes on all round, and have corners."""
    return [
        int(n)
        for n in numbers
        if rims.least_smooth[n] > SMOOTH and _corners(vertices, rims, int(n)).max() > CORNER
    ]


def _corners(vertices: Vertices, rims: Rims, number: int) -> Array:
    """(k,) angles by which a planar rim turns at its vertices, positive where it is convex [rad]."""
    points = vertices[_loop(rims, number)]
    way = np.roll(points, -1, axis=0) - points
    before = np.roll(way, 1, axis=0)
    normal = rims.vector[number] / np.linalg.norm(rims.vector[number])
    sine = crossed(before, way) @ normal
    return np.asarray(np.arctan2(sine, np.einsum("ij,ij->i", before, way)), dtype=float)


def _loop(rims: Rims, number: int) -> NDArray[np.int64]:
    """Vertices round a closed rim, anticlockwise seen from outside."""
    mine = np.flatnonzero(rims.rim == number)
    # the cap runs along an edge against the way of the face
    after = dict(zip(rims.end[mine].tolist(), rims.start[mine].tolist(), strict=True))
    first = here = int(rims.end[mine[0]])
    loop = [first]
    while (here := after[here]) != first and len(loop) < len(mine):
        loop.append(here)
    return np.array(loop, dtype=np.int64)


def openings(
    rims: Rims, numbers: NDArray[np.int64], body: NDArray[np.int64], names: tuple[str, ...]
) -> tuple[Opening, ...]:
    """The given rims as openings, largest first; body (m,): number of the body of each face, into names."""
    area = rims.area
    ordered = sorted(numbers.tolist(), key=lambda n: (-area[n], n))
    return tuple(
        Opening(
            place,
            float(area[n]),
            float(rims.perimeter[n]),
            rims.centre[n],
            rims.vector[n] / area[n],
            float(rims.flatness[n]),
            _loop(rims, n),
            names[int(np.bincount(body[rims.face[rims.rim == n]]).argmax())],
            int(rims.piece[n]),
        )
        for place, n in enumerate(ordered, start=1)
    )

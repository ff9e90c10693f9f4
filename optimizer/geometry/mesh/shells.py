"""The connected pieces of a mesh: which enclose a room, which lie inside another, are the same or cross.

A wall may be drawn with both its faces: as two shells, one inside the other, or as one closed solid. Each
face then stands for half of its area.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh import openings as rims_of
from optimizer.geometry.mesh.casting import Scene
from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.openings import Rims
from optimizer.geometry.mesh.triangles import Edges, crossed, face_volumes, lengths, summed
from optimizer.geometry.pieces import Array

#: A piece whose volume is below this share of its area**1.5 is a flat sheet; the share is 0.094 for a sphere.
FLAT = 1e-6

#: A piece open along an edge in no plane, whose span is above this share of its area, is a curved sheet.
SHEET = 0.25

#: A hole in a wall that goes on all round, narrower than this share of its piece, may be one of a solid.
SMALL_HOLE = 0.1

#: Two pieces are the same where box and area agree to this share, if they have more of the area than SMALL.
SAME = 1e-5
SMALL = 0.005

#: Directions in which the convex hull is sampled.
_DIRECTIONS = 400

#: Faces of a piece whose centres are tried for being inside another.
_TRIES = 7

#: Two pieces of so many faces together are tried for crossing from both sides.
_SMALL_PAIR = 100_000

#: A crossing is real where an edge passes a face by more than this share of the size of the mesh.
_TOUCH = 1e-6


@dataclass(frozen=True)
class Shells:
    """Of each connected piece (s,): its area [m2]; volume [m3] with its rims capped, signed; flat: whether it
    encloses nothing; sheet: whether it is open along an edge in no plane; low and high (s, 3) corners of its
    box [m]; faces: how many; necked: whether it ends at an opening, which the solid of a wall never does."""

    area: Array
    volume: Array
    flat: NDArray[np.bool_]
    sheet: NDArray[np.bool_]
    low: Array
    high: Array
    faces: NDArray[np.int64]
    necked: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.area)

    @property
    def encloses(self) -> NDArray[np.bool_]:
        return ~(self.flat | self.sheet)


def measured(
    vertices: Vertices,
    faces: Faces,
    face_area: Array,
    piece: NDArray[np.int64],
    rims: Rims,
    missing: NDArray[np.bool_],
) -> Shells:
    """What the pieces are, their faces wound consistently; ``missing`` (r,): rims of missing facets."""
    count = int(piece.max()) + 1
    area = summed(piece, face_area, count)
    middle = vertices.mean(axis=0)
    volume = summed(piece, face_volumes(vertices, faces, middle), count)
    volume += summed(rims.piece, rims_of.cap_volumes(vertices, rims, middle), count)
    wide = np.zeros(count)
    np.maximum.at(wide, rims.piece, rims.span)
    neck = np.bincount(rims.piece[~missing], minlength=count) > 0
    low, high = boxes(vertices, faces, piece, count)
    return Shells(
        area,
        volume,
        np.abs(volume) <= FLAT * area**1.5,
        ~neck & (wide > SHEET * area),
        low,
        high,
        np.bincount(piece, minlength=count),
        _necked(rims, missing, lengths(high - low)),
    )


def _necked(rims: Rims, missing: NDArray[np.bool_], size: Array) -> NDArray[np.bool_]:
    """(s,) whether a piece ends at an opening; a small hole within a face is none. size (s,) [m]."""
    wide = 2 * np.sqrt(rims.area / np.pi) > SMALL_HOLE * size[rims.piece]
    ends = ~missing & (wide | (rims.least_smooth <= rims_of.SMOOTH))
    return np.bincount(rims.piece[ends], minlength=len(size)) > 0


def boxes(vertices: Vertices, faces: Faces, piece: NDArray[np.int64], count: int) -> tuple[Array, Array]:
    """Lowest and highest corner (count, 3) [m] of each piece; every vertex must belong to some face."""
    if count == 1:
        return vertices.min(axis=0, keepdims=True), vertices.max(axis=0, keepdims=True)
    # pieces have no edge in common but may share a vertex, so the corners of faces are what is sorted
    order = np.argsort(piece, kind="stable")
    start = np.searchsorted(piece[order], np.arange(count))
    low, high = np.empty((count, 3)), np.empty((count, 3))
    for axis in range(3):
        a, b, c = (vertices[faces[order, k], axis] for k in range(3))
        low[:, axis] = np.minimum.reduceat(np.minimum(np.minimum(a, b), c), start)
        high[:, axis] = np.maximum.reduceat(np.maximum(np.maximum(a, b), c), start)
    return low, high


def same(area: Array, low: Array, high: Array) -> list[tuple[int, int]]:
    """Pairs of pieces (s,) that are one piece listed twice, with whatever triangles: of equal area [m2], in
    the same box from ``low`` to ``high`` (s, 3) [m]. Small ones do not matter and are passed over."""
    size = lengths(high - low)
    found = []
    for one in np.flatnonzero(area > SMALL * area.sum()):
        rest = slice(one + 1, None)
        alike = np.abs(area[rest] / area[one] - 1) < SAME
        for corner in (low, high):
            alike &= (np.abs(corner[rest] - corner[one]) <= SAME * size[one]).all(axis=1)
        found += [(int(one), int(one) + 1 + int(k)) for k in np.flatnonzero(alike)]
    return found


def near_pairs(shells: Shells) -> list[tuple[int, int]]:
    """Pairs of pieces whose boxes overlap, the smaller box first."""
    size = lengths(shells.high - shells.low)
    found = []
    for one in range(len(shells) - 1):
        low = np.maximum(shells.low[one + 1 :], shells.low[one])
        high = np.minimum(shells.high[one + 1 :], shells.high[one])
        others = one + 1 + np.flatnonzero((low <= high).all(axis=1))
        found += [(one, int(k)) if size[one] <= size[k] else (int(k), one) for k in others]
    return found


def inside(
    vertices: Vertices, faces: Faces, piece: NDArray[np.int64], rims: Rims, pair: tuple[int, int]
) -> float:
    """Share of some faces of the first piece whose centres lie inside the second, its rims capped.

    By the winding number, the sum of the solid angles of all triangles over 4 pi: A. Van Oosterom,
    J. Strackee, The solid angle of a plane triangle, IEEE Trans. Biomed. Eng. 30 (1983) 125 (from memory).
    """
    mine = np.flatnonzero(piece == pair[0])
    mine = mine[np.linspace(0, len(mine) - 1, min(_TRIES, len(mine))).astype(int)]
    other = vertices[faces[piece == pair[1]]]
    corners = np.concatenate([other, rims_of.caps(vertices, rims, rims.piece == pair[1])])
    return float(
        np.mean([abs(_winding(corners - point)) > 0.5 for point in vertices[faces[mine]].mean(axis=1)])
    )


def _winding(corners: Array) -> float:
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    la, lb, lc = lengths(a), lengths(b), lengths(c)
    ab, bc, ca = (np.einsum("ij,ij->i", *pair) for pair in ((a, b), (b, c), (c, a)))
    triple = np.einsum("ij,ij->i", a, crossed(b, c))
    return float(np.arctan2(triple, la * lb * lc + ab * lc + bc * la + ca * lb).sum() / (2 * np.pi))


def cross_at(
    vertices: Vertices,
    faces: Faces,
    edges: Edges,
    piece: NDArray[np.int64],
    shells: Shells,
    pair: tuple[int, int],
) -> Array | None:
    """A point (3,) [m] where an edge of one piece passes through a face of the other; None where none does.

    Of large pieces only the edges of the one with the smaller faces are tried: the other's pass through a
    face without any of these doing so only where it is thinner than that face. Raises GeometryError for large
    meshes where embreex is not installed.
    """
    low = np.maximum(*(shells.low[k] for k in pair))
    high = np.minimum(*(shells.high[k] for k in pair))
    of_edge = np.empty(len(edges.ends), dtype=np.int64)
    of_edge[edges.of_face] = piece[:, None]
    size = float(lengths((shells.high - shells.low)[list(pair)]).max())
    fine, coarse = sorted(pair, key=lambda k: shells.area[k] / shells.faces[k])
    ways = [(fine, coarse), (coarse, fine)]
    for mine, other in ways if shells.faces[list(pair)].sum() <= _SMALL_PAIR else ways[:1]:
        segments = vertices[_near(vertices, edges.ends[of_edge == mine], low, high)]
        met = _near(vertices, faces[piece == other], low, high)
        if len(segments) and len(met):
            point = _pierced(segments, vertices, met, _TOUCH * size)
            if point is not None:
                return point
    return None


def _near(vertices: Vertices, rows: NDArray[np.int64], low: Array, high: Array) -> NDArray[np.int64]:
    """Those edges (n, 2) or faces (n, 3) whose boxes meet a box."""
    near = np.ones(len(rows), dtype=bool)
    for axis in range(3):
        values = [vertices[rows[:, k], axis] for k in range(rows.shape[1])]
        near &= (np.minimum.reduce(values) <= high[axis]) & (np.maximum.reduce(values) >= low[axis])
    return rows[near]


def _pierced(edges: Array, vertices: Vertices, faces: Faces, touch: float) -> Array | None:
    """Where the first of the edges (e, 2, 3) passes through faces (k, 3), and not just touches."""
    way = edges[:, 1] - edges[:, 0]
    length = lengths(way)
    long = length > 2 * touch
    way = way[long] / length[long, None]
    # both ends a little short: an edge that begins on the other surface does not cross it
    start, reach = edges[long, 0] + touch * way, length[long] - 2 * touch
    hit, distance = Scene((vertices * 1000, faces)).first(start * 1000, way, reach=reach * 1000)
    use = np.flatnonzero((hit >= 0) & (distance > 0) & (distance < reach * 1000))
    if not len(use):
        return None
    base, one, two = (vertices[faces[hit[use], k]] for k in range(3))
    normal = crossed(one - base, two - base)
    normal /= lengths(normal)[:, None]
    before = np.einsum("ij,ij->i", start[use] - base, normal)
    after = np.einsum("ij,ij->i", start[use] + reach[use, None] * way[use] - base, normal)
    real = use[(before * after < 0) & (np.minimum(np.abs(before), np.abs(after)) > touch)]
    if not len(real):
        return None
    first = int(real[0])
    return np.asarray(start[first] + way[first] * distance[first] / 1000, dtype=float)


def hull_volume(points: Vertices) -> float:
    """Volume [m3] of the convex hull, from the points farthest out in many directions; 0 for flat ones."""
    from scipy.spatial import ConvexHull, QhullError

    low, high = points.min(axis=0), points.max(axis=0)
    if not (high > low).all():
        return 0.0
    # directions spread evenly over the sphere by the golden angle
    z = 1 - (2 * np.arange(_DIRECTIONS) + 1) / _DIRECTIONS
    turn = np.arange(_DIRECTIONS) * np.pi * (3 - np.sqrt(5))
    ways = np.stack([np.sqrt(1 - z * z) * np.cos(turn), np.sqrt(1 - z * z) * np.sin(turn), z], axis=1)
    # stretched to a cube, or the directions would miss the middle of a flat pouch
    thinned = (points[:: max(1, len(points) // 20_000)] - low) / (high - low) - 0.5
    columns = np.ascontiguousarray(thinned.T)
    far = np.unique(np.concatenate([(part @ columns).argmax(axis=1) for part in np.array_split(ways, 20)]))
    try:
        return float(ConvexHull(thinned[far]).volume * np.prod(high - low))
    except QhullError:  # too flat for a hull
        return 0.0


def depths(shells: Shells, contained: list[tuple[int, int]]) -> NDArray[np.int64]:
    """(s,) in how many others each piece lies; ``contained``: pairs of an inner and an outer one."""
    inner = np.array([pair[0] for pair in contained], dtype=np.int64)
    return np.bincount(inner, minlength=len(shells))

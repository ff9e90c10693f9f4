"""Arithmetic on a triangle mesh: area, volume, edges, connected pieces, winding.

vertices: (n, 3) float array [m]; faces: (m, 3) integer array of vertex numbers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.pieces import Array


def cross(vertices: Vertices, faces: Faces) -> Vertices:
    """(m, 3) normals of twice the face area [m2]."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return crossed(b - a, c - a)


def crossed(one: Array, two: Array) -> Array:
    """(m, 3) cross products; several times faster than numpy's general one."""
    (x, y, z), (u, v, w) = one.T, two.T
    out = np.empty_like(one)
    out[:, 0], out[:, 1], out[:, 2] = y * w - z * v, z * u - x * w, x * v - y * u
    return out


def lengths(vectors: Array) -> Array:
    """(m,) of (m, 3)."""
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)), dtype=float)


def centres(vertices: Vertices, faces: Faces) -> Vertices:
    """(m, 3) middles of the corners [m]; by columns, for numpy is slow along an axis of three."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return (a + b + c) / 3


def box(vertices: Vertices) -> tuple[Array, Array]:
    """Lowest and highest corner (3,) [m]; by columns, as ``centres``."""
    return np.array([x.min() for x in vertices.T]), np.array([x.max() for x in vertices.T])


def summed(label: NDArray[np.int64], values: Array, count: int) -> Array:
    """(count,) values added up by label."""
    return np.asarray(np.bincount(label, values, count), dtype=float)


def areas(vertices: Vertices, faces: Faces) -> Array:
    """(m,) areas of the faces [m2]."""
    return lengths(cross(vertices, faces)) / 2


def face_volumes(vertices: Vertices, faces: Faces, middle: Array) -> Array:
    """(m,) signed volumes [m3] between each face and ``middle`` (3,); summed, that of a closed body."""
    a, b, c = (vertices[faces[:, k]] - middle for k in range(3))
    return np.asarray(np.einsum("ij,ij->i", a, crossed(b, c)) / 6, dtype=float)


class Edges:
    """The edges of a mesh; turning faces round leaves all but ``same_way`` as it is.

    ends: (e, 2) vertex numbers, smaller first; uses: (e,) how many faces use each. of_face: (m, 3) the three
    edges of each face. pairs: (p, 2) the two faces on each edge that exactly two faces use; shared: (p,) the
    number of that edge; same_way: (p,) whether both faces run along it in the same direction, which
    consistent winding forbids.
    """

    def __init__(self, faces: Faces) -> None:
        start, end = faces.reshape(-1), faces[:, [1, 2, 0]].reshape(-1)
        base = int(faces.max(initial=0)) + 1
        keys = np.minimum(start, end) * base + np.maximum(start, end)
        order = np.argsort(keys, kind="stable")
        keys = keys[order]
        fresh = np.ones(len(keys), dtype=bool)
        fresh[1:] = keys[1:] != keys[:-1]
        first = np.flatnonzero(fresh)
        number = np.empty(len(keys), dtype=np.int64)
        number[order] = np.cumsum(fresh) - 1
        self.of_face = number.reshape(-1, 3)
        self.ends = np.stack(np.divmod(keys[first], base), axis=1)
        self.uses = np.diff(first, append=len(keys))
        self.shared = np.flatnonzero(self.uses == 2)
        one, two = order[first[self.shared]], order[first[self.shared] + 1]
        self.pairs = np.stack([one // 3, two // 3], axis=1)
        forward = start < end
        self.same_way = forward[one] == forward[two]

    @property
    def closed(self) -> bool:
        """Whether every edge has exactly two faces."""
        return bool(np.all(self.uses == 2))

    @property
    def open_count(self) -> int:
        """How many edges have one face only."""
        return int(np.count_nonzero(self.uses == 1))

    def may_repeat(self) -> bool:
        """Whether a face may be listed twice; False, found in a fraction of the time of a search, is sure."""
        if self.uses.max(initial=0) > 2:
            return True
        # a face that is repeated has the other one beyond each of its edges
        both = np.zeros(len(self.uses), dtype=np.int64)
        both[self.shared] = self.pairs[:, 0] + self.pairs[:, 1] + 1
        a, b, c = (both[self.of_face[:, k]] for k in range(3))
        return bool(((a > 0) & (a == b) & (b == c)).any())


def connected(count: int, one: NDArray[np.int64], two: NDArray[np.int64]) -> NDArray[np.int64]:
    """(count,) number from 0 of the connected piece of each node; ``one`` and ``two`` (k,) are joined."""
    if not len(one):
        return np.arange(count)
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(one), dtype=np.int8), (one, two)), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def connected_faces(count: int, edges: Edges) -> NDArray[np.int64]:
    """(count,) number of the connected piece of each face, from 0, joined across edges of two faces."""
    return connected(count, edges.pairs[:, 0], edges.pairs[:, 1])


def turns(count: int, edges: Edges, piece: NDArray[np.int64]) -> NDArray[np.bool_] | None:
    """(count,) which faces to turn so that neighbours run the same way round; None for a one-sided surface.

    The first face of each piece keeps its way; whether that is outward is for the caller to see.
    """
    if not edges.same_way.any():
        return np.zeros(count, dtype=bool)
    # each face stands twice, as it is and turned; a joint links the two that agree there
    one, two = edges.pairs.T
    crossing = np.where(edges.same_way, count, 0)
    link = connected(
        2 * count,
        np.concatenate([one, one + count]),
        np.concatenate([two + crossing, two + count - crossing]),
    )
    if (link[:count] == link[count:]).any():
        return None
    first = np.unique(piece, return_index=True)[1]
    turned: NDArray[np.bool_] = link[:count] != link[first][piece]
    return turned


def turned(faces: Faces, which: NDArray[np.bool_]) -> Faces:
    """Faces with some of them wound the other way round, their first vertex kept."""
    out = faces.copy()
    out[which, 1], out[which, 2] = faces[which, 2], faces[which, 1]
    return out

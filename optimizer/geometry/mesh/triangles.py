"""Arithmetic on a triangle mesh: cleaning, winding, bodies, area, volume, bending of the surface. Numpy only.

vertices: (n, 3) float array [m]; faces: (m, 3) integer array of vertex numbers.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

Vertices = NDArray[np.float64]
Faces = NDArray[np.int64]


def merge(vertices: Vertices, faces: Faces, tolerance: float = 0.0) -> tuple[Vertices, Faces]:
    """Vertices that are equal, or that round to the same multiple of ``tolerance`` [m], become one."""
    keys = np.round(vertices / tolerance) if tolerance else vertices
    # sorting by column is several times faster than numpy's unique over rows
    order = np.lexsort(keys.T)
    fresh = np.concatenate([[True], (np.diff(keys[order], axis=0) != 0).any(axis=1)])
    number = np.empty(len(keys), dtype=np.int64)
    number[order] = np.cumsum(fresh) - 1
    return vertices[order[fresh]], number[faces]


def drop_degenerate(faces: Faces) -> Faces:
    """Without the faces that use a vertex twice."""
    a, b, c = faces.T
    kept: Faces = faces[(a != b) & (b != c) & (c != a)]
    return kept


def drop_duplicates(faces: Faces) -> Faces:
    """Without repeated faces, whichever way round they are listed; the first of each stays."""
    low, middle, high = np.sort(faces, axis=1).T
    order = np.lexsort((high, middle, low))
    rows = np.stack([low, middle, high], axis=1)[order]
    fresh = np.concatenate([[True], (np.diff(rows, axis=0) != 0).any(axis=1)])[: len(faces)]
    kept: Faces = faces[np.sort(order[fresh])]
    return kept


def cross(vertices: Vertices, faces: Faces) -> Vertices:
    """(m, 3) normals of twice the face area [m2]."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.asarray(np.cross(b - a, c - a), dtype=float)


def area(vertices: Vertices, faces: Faces) -> float:
    """Sum of the face areas [m2]."""
    return float(np.linalg.norm(cross(vertices, faces), axis=1).sum() / 2)


def face_volumes(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """(m,) signed volumes [m3] between each face and the middle of the mesh; summed, that of a body."""
    middle = vertices.mean(axis=0)
    a, b, c = (vertices[faces[:, k]] - middle for k in range(3))
    return np.asarray(np.einsum("ij,ij->i", a, np.cross(b, c)) / 6, dtype=float)


class Edges:
    """The edges of a mesh.

    ends: (e, 2) vertex numbers, smaller first; uses: (e,) how many faces use each. pairs: (p, 2) the two
    faces on each edge that exactly two faces use; shared: (p,) the number of that edge; same_way: (p,)
    whether both faces run along it in the same direction, which consistent winding forbids.
    """

    def __init__(self, faces: Faces) -> None:
        directed = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        forward = directed[:, 0] < directed[:, 1]
        low, high = np.sort(directed, axis=1).T
        base = int(faces.max(initial=0)) + 1
        keys, number = np.unique(low * base + high, return_inverse=True)
        number = number.reshape(-1)
        self.ends = np.stack(np.divmod(keys, base), axis=1)
        self.uses = np.bincount(number, minlength=len(keys))
        order = np.argsort(number, kind="stable")
        start = np.concatenate([[0], np.cumsum(self.uses)[:-1]])[self.uses == 2]
        one, two = order[start], order[start + 1]
        self.pairs = np.stack([one // 3, two // 3], axis=1)
        self.shared = np.flatnonzero(self.uses == 2)
        self.same_way = forward[one] == forward[two]

    @property
    def closed(self) -> bool:
        """Whether every edge has exactly two faces."""
        return bool(np.all(self.uses == 2))


def bodies(count: int, edges: Edges) -> NDArray[np.int64]:
    """(count,) number of the connected body of each face, from 0."""
    label = np.arange(count)
    one, two = edges.pairs.T
    while True:
        low = np.minimum(label[one], label[two])
        new = label.copy()
        # the label is itself a face: lowering it too lets long chains collapse in few rounds
        for faces in (one, two, label[one], label[two]):
            np.minimum.at(new, faces, low)
        new = new[new]
        if np.array_equal(new, label):
            return np.unique(label, return_inverse=True)[1].reshape(-1)
        label = new


def unify_winding(faces: Faces, edges: Edges) -> Faces | None:
    """Faces turned so that neighbours run the same way round; None for a one-sided surface.

    The first face of each body keeps its way; whether that is outward is for the caller to see.
    """
    if not edges.same_way.any():
        return faces
    neighbours: list[list[tuple[int, bool]]] = [[] for _ in range(len(faces))]
    for (one, two), same in zip(edges.pairs.tolist(), edges.same_way.tolist(), strict=True):
        neighbours[one].append((two, same))
        neighbours[two].append((one, same))
    turned: list[bool | None] = [None] * len(faces)
    for seed in range(len(faces)):
        if turned[seed] is not None:
            continue
        turned[seed] = False
        queue = deque([seed])
        while queue:
            here = queue.popleft()
            for there, same in neighbours[here]:
                want = turned[here] != same
                if turned[there] is None:
                    turned[there] = want
                    queue.append(there)
                elif turned[there] != want:
                    return None
    flip = np.array(turned, dtype=bool)
    out = faces.copy()
    out[flip] = out[flip][:, ::-1]
    return out


def bending(vertices: Vertices, faces: Faces, edges: Edges) -> float:
    """Twice the integrated mean curvature [m] of a consistently wound surface: sum of edge length * angle.

    The angle is that between the normals of the two faces, positive where the surface is convex seen from the
    side its normals point to. It is the first-order change of area per metre that the surface moves that way:
    Steiner's formula A(e) = A + e * sum(length * angle) + 2 pi chi e**2 for a closed polyhedron of Euler
    number chi. Source: J. Steiner, Ueber parallele Flaechen, 1840 (from memory); checked against sphere,
    cylinder and torus.
    """
    normal = _normals(vertices, faces, edges)
    one, two = edges.pairs.T
    ends = vertices[edges.ends[edges.shared]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    turn = np.linalg.norm(np.cross(normal[one], normal[two]), axis=1)
    angle = np.arctan2(turn, np.einsum("ij,ij->i", normal[one], normal[two]))
    # convex where the second face falls below the plane of the first
    apex = faces[two].sum(axis=1) - edges.ends[edges.shared].sum(axis=1)
    below = np.einsum("ij,ij->i", normal[one], vertices[apex] - ends[:, 0])
    return float(np.sum(length * np.where(below > 0, -angle, angle)))


def _normals(vertices: Vertices, faces: Faces, edges: Edges) -> Vertices:
    """Unit normals; a face of no area takes that of the neighbour across its longest edge, where it lies."""
    double = cross(vertices, faces)
    size = np.linalg.norm(double, axis=1)
    flat = size == 0
    normal = double / np.where(flat, 1.0, size)[:, None]
    if flat.any():
        ends = vertices[edges.ends[edges.shared]]
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        for pair in edges.pairs[np.argsort(length)]:
            for here, there in (pair, pair[::-1]):
                if flat[here] and not flat[there]:
                    normal[here] = normal[there]
    return normal

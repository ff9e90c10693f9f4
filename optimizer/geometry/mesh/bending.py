"""How the area of each face changes as a surface moves along its normals: Steiner's formula, face by face.

A(e) = A + e * sum(length * angle) + e**2 * sum(angle defects) for a polyhedron whose edges and vertices are
rounded as it grows. Over a closed one of Euler number chi the defects add up to 2 pi chi. Source: J. Steiner,
Ueber parallele Flaechen, 1840, and Descartes' theorem on the defects (both from memory); checked against
sphere, cylinder, torus and a box.
"""

from __future__ import annotations

import math

import numpy as np

from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.triangles import Edges, cross, crossed, lengths, summed
from optimizer.geometry.pieces import Array

#: Rounds in which faces of no area take a normal from a neighbour: as many slivers may lie side by side.
_ROUNDS = 20


def steiner(vertices: Vertices, faces: Faces, edges: Edges) -> tuple[Array, Array]:
    """Slope (m,) [m] and curvature (m,) [-] of a consistently wound surface, positive where it is convex.

    Half of an edge's length * angle goes to each of its two faces; a vertex's angle defect is shared by its
    faces as their angles there. Edges and vertices at the rim of an open mesh give nothing.
    """
    return _slopes(vertices, faces, edges), _curvatures(vertices, faces, edges)


def _slopes(vertices: Vertices, faces: Faces, edges: Edges) -> Array:
    normal = _normals(vertices, faces, edges)
    one, two = edges.pairs.T
    ends = edges.ends[edges.shared]
    start = vertices[ends[:, 0]]
    length = lengths(vertices[ends[:, 1]] - start)
    here, there = normal[one], normal[two]
    angle = np.arctan2(lengths(crossed(here, there)), np.einsum("ij,ij->i", here, there))
    # convex where the second face falls below the plane of the first
    apex = (faces[:, 0] + faces[:, 1] + faces[:, 2])[two] - ends[:, 0] - ends[:, 1]
    below = np.einsum("ij,ij->i", here, vertices[apex] - start)
    half = length * np.where(below > 0, -angle, angle) / 2
    count = len(faces)
    return summed(one, half, count) + summed(two, half, count)


def _curvatures(vertices: Vertices, faces: Faces, edges: Edges) -> Array:
    corner = [vertices[faces[:, k]] for k in range(3)]
    side = [corner[(k + 1) % 3] - corner[k] for k in range(3)]
    double = lengths(crossed(side[0], side[1]))
    angle = [np.arctan2(double, -np.einsum("ij,ij->i", side[k], side[k - 1])) for k in range(3)]
    total = np.zeros(len(vertices))
    for k in range(3):
        total += summed(faces[:, k], angle[k], len(vertices))
    inner = np.ones(len(vertices), dtype=bool)
    inner[edges.ends[edges.uses != 2]] = False
    share = np.zeros(len(vertices))
    round_it = inner & (total > 0)
    share[round_it] = 2 * math.pi / total[round_it] - 1
    return np.asarray(sum(angle[k] * share[faces[:, k]] for k in range(3)), dtype=float)


def _normals(vertices: Vertices, faces: Faces, edges: Edges) -> Vertices:
    """Unit normals; a face of no area takes that of the neighbour across its longest edge that has one."""
    double = cross(vertices, faces)
    size = lengths(double)
    known = size > 0
    normal = double / np.where(known, size, 1.0)[:, None]
    if known.all():
        return normal
    both = np.concatenate([edges.pairs, edges.pairs[:, ::-1]])
    ends = vertices[edges.ends[edges.shared]]
    length = np.tile(lengths(ends[:, 1] - ends[:, 0]), 2)
    for _ in range(_ROUNDS):
        use = np.flatnonzero(~known[both[:, 0]] & known[both[:, 1]])
        if not len(use):
            break
        use = use[np.argsort(length[use])]  # the longest is written last and stays
        normal[both[use, 0]] = normal[both[use, 1]]
        known[both[use, 0]] = True
    return normal

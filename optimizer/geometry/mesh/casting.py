"""Rays against triangles: embreex where it is installed, plain numpy for small meshes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.triangles import box, cross, crossed
from optimizer.geometry.pieces import Array

Numbers = NDArray[np.int64]

#: Largest mesh that plain numpy takes on: every ray is tried on every triangle.
NUMPY_FACES = 5000
#: Start of a ray above its own face, as a share of the size of the mesh; embree works in single precision.
_LIFT = 2e-6
#: Further starts, for rays that still meet the face they left.
_RETRIES = 3
#: A ray is followed so much farther than asked, for single precision.
_MARGIN = 1.01
#: Pairs of ray and triangle that numpy works on at once.
_CHUNK = 400_000


class Scene:
    """Triangles in millimetres that rays can be sent against: vertices (n, 3) and faces (m, 3) of a mesh.

    In metres embree's single precision rounds thin walls away. Raises GeometryError for more than
    ``NUMPY_FACES`` triangles where embreex is not installed.
    """

    def __init__(self, triangles: tuple[Vertices, Faces]) -> None:
        vertices, faces = triangles
        low, high = box(vertices)
        self._middle = (low + high) / 2
        self._size = float(np.linalg.norm(high - low))
        self._vertices, self._faces = vertices - self._middle, faces
        self._normal = cross(self._vertices, faces)
        self._embree = _embree_scene((self._vertices, faces))
        if self._embree is None and len(faces) > NUMPY_FACES:
            raise GeometryError(
                f"rays through a mesh of {len(faces)} faces need embreex ({NUMPY_FACES} without it)",
                field="mesh",
                hint='pip install "layerwright[mesh]"',
            )

    def first(
        self, origins: Array, directions: Array, own: Numbers | None = None, reach: Array | None = None
    ) -> tuple[Numbers, Array]:
        """The first triangle that each ray meets, or -1, and the distance to it [mm], or infinity.

        origins (k, 3) [mm]; directions (k, 3), unit vectors; own (k,): the triangle on which each ray starts,
        which it does not meet. reach (k,) [mm]: how far rays need to be followed, which saves time; what lies
        beyond may be met or not.
        """
        start = origins - self._middle
        hit = np.full(len(start), -1, dtype=np.int64)
        open_rays = np.arange(len(start))
        lift = _LIFT * self._size if own is not None else 0.0
        for _ in range(_RETRIES + 1):
            ways = directions[open_rays]
            limit = None if reach is None else reach[open_rays]
            hit[open_rays] = self._cast(start[open_rays] + lift * ways, ways, limit)
            if own is None:
                break
            open_rays = open_rays[hit[open_rays] == own[open_rays]]
            if not len(open_rays):
                break
            lift *= 8
        else:
            hit[open_rays] = -1
        return hit, self._distance(start, directions, hit)

    def _cast(self, origins: Array, directions: Array, reach: Array | None) -> Numbers:
        if self._embree is None:
            return _numpy_cast(self._vertices[self._faces], origins, directions)
        limit = None if reach is None else (reach * _MARGIN).astype(np.float32)
        found = self._embree.run(origins.astype(np.float32), directions.astype(np.float32), limit)
        return np.asarray(found, dtype=np.int64)

    def _distance(self, origins: Array, directions: Array, hit: Numbers) -> Array:
        """To the plane of the triangle, in double precision."""
        normal = self._normal[hit]
        along = np.einsum("ij,ij->i", normal, directions)
        away = np.einsum("ij,ij->i", normal, self._vertices[self._faces[hit, 0]] - origins)
        met = (hit >= 0) & (along != 0)
        return np.where(met, away / np.where(met, along, 1.0), np.inf)


def _embree_scene(triangles: tuple[Vertices, Faces]) -> Any:
    """None without embreex. Vertices that faces have in common take a third of the time."""
    try:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene
    except ImportError:
        return None
    scene = EmbreeScene()
    vertices, faces = triangles
    TriangleMesh(scene, vertices.astype(np.float32), faces.astype(np.int32))
    return scene


def _numpy_cast(corners: Array, origins: Array, directions: Array) -> Numbers:
    """Every ray against every triangle. Source: T. Moeller, B. Trumbore, Fast, minimum storage ray-triangle
    intersection, J. Graphics Tools 2 (1997) 21-28."""
    base = corners[:, 0]
    one, two = corners[:, 1] - base, corners[:, 2] - base
    normal = crossed(one, two)
    hit = np.full(len(origins), -1, dtype=np.int64)
    step = max(1, _CHUNK // max(len(corners), 1))
    for first in range(0, len(origins), step):
        ways = directions[first : first + step]
        # dot products with each triangle's fixed vectors need no (rays, triangles, 3) array:
        # o.n and d.n for the plane, and (o - base) x d against the two edges for the place in it
        moment = crossed(origins[first : first + step], ways)
        along = -(ways @ normal.T)
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = (
                origins[first : first + step] @ normal.T - np.einsum("ij,ij->i", base, normal)
            ) / along
            u = (moment @ two.T - ways @ crossed(two, base).T) / along
            v = -(moment @ one.T - ways @ crossed(one, base).T) / along
            met = (u >= -1e-12) & (v >= -1e-12) & (u + v <= 1 + 1e-12) & (distance > 0)
        distance = np.where(met, distance, np.inf)
        nearest = distance.argmin(axis=1)
        some = np.isfinite(distance[np.arange(len(nearest)), nearest])
        hit[first : first + step] = np.where(some, nearest, -1)
    return hit

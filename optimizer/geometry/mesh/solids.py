"""What a closed piece of a mesh shows: one face of a wall, the solid of a wall with both its faces, or
neither for sure.

In the material of a wall a ray from a face reaches the other face after the thickness of the wall, which is
about 2 V / A of its solid; where the wall is even, most rays do. Rays through the room of a vessel are two to
three times as long as 2 V / A: 2 for a tube, 3 for a sphere and a cube. A flat pouch has rays of about
2 V / A too, but of all lengths, down to zero at its seams, and it fills its convex hull; a wall does not.

The bounds are a judgement, without a source: they were set on some 40 invented meshes. Of 17 further forms
that had no part in that, 13 were told right, 4 were in doubt (a base three times as thick as the wall,
a plug, a vessel of eight lobes, a flat box) and none was taken wrongly without a word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.casting import Scene
from optimizer.geometry.mesh.merging import compact
from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.shells import hull_volume
from optimizer.geometry.mesh.triangles import centres, cross, lengths
from optimizer.geometry.pieces import Array

#: What a piece is. "doubt": it counts as one face of the wall, and that is to be said.
Seen = Literal["vessel", "solid", "doubt"]

#: What the user may say of a mesh.
Shows = Literal["one face", "both faces"]

#: Median of the rays over 2 V / A in the material of an even wall.
WALL_RAY = 0.8, 1.3
#: In an even wall a tenth of the area has rays below the first, and a quarter rays above the second, in
#: medians. The longest look along the wall: from rims, and from the strips outside of its corners.
EVEN = 0.6, 1.6
#: Above this median over 2 V / A the rays cross a room.
ROOM_RAY = 1.6
#: A wall fills less of its convex hull than this.
WALL_FILLS = 0.5
#: With less than this, and rays that cross no room, it is a wall however uneven.
SPARSE = 0.25
#: A vessel fills more of its hull than this.
VESSEL_FILLS = 0.55
#: Of a pouch a tenth of the area has rays shorter than this share of the median; a plate has none.
TAPERED = 0.5
#: A piece that fills half of its box, and whose 2 V / A is so much of its smallest side, is a vessel and
#: needs no closer look: the share is 0.33 for a sphere and a cube, 0.5 for a long tube; 1 for a plate.
ROUND = 0.3, 0.55
#: 2 V / A of a wall over the smallest side, where there are no rays to tell.
THIN = 0.08

#: The gap between two shells is that of a wall where 95 % of the area is within so many times the narrowest
#: 5 %, and where it is in the mean below this share of the smallest side.
GAP_SPREAD, GAP_WIDE = 3.0, 0.05

#: Faces from which rays are sent.
_RAYS = 1000
_MM = 1e3


def seen(vertices: Vertices, faces: Faces, area: float, volume: float, sides: Array) -> Seen:
    """What a closed piece is, its faces wound outward; volume [m3] > 0; ``sides`` (3,) [m] of its box."""
    usual = 2 * volume / area
    if volume >= WALL_FILLS * sides.prod() and ROUND[0] <= usual / sides.min() <= ROUND[1]:
        return "vessel"
    points, own = compact(vertices, faces)
    try:
        rays = _rays((points, own), (points, own), inward=True)
    except GeometryError:  # a large mesh without embreex
        return _without_rays(_fills(points, volume), usual < THIN * sides.min())
    if rays is None:
        return "doubt"
    relative = rays[0] / (usual * _MM), rays[1]
    if shares_below(*relative, [0.5])[0] >= ROOM_RAY:
        return "vessel"
    return _judged(relative, _fills(points, volume))


def _fills(points: Vertices, volume: float) -> float:
    """Share of its convex hull that a piece fills."""
    whole = hull_volume(points)
    return volume / whole if whole > 0 else 1.0


def _without_rays(fills: float, thin: bool) -> Seen:
    if fills >= VESSEL_FILLS:
        return "vessel"
    return "solid" if fills < SPARSE and thin else "doubt"


def _judged(rays: tuple[Array, Array], fills: float) -> Seen:
    """rays: lengths over 2 V / A, and the weight of each; fills: share of the hull."""
    low, median, high = shares_below(*rays, [0.1, 0.5, 0.75])
    of_wall = WALL_RAY[0] <= median <= WALL_RAY[1]
    even = low > EVEN[0] * median and high < EVEN[1] * median
    if of_wall and fills < WALL_FILLS and even:
        return "solid"
    if fills < SPARSE and median < WALL_RAY[1]:
        return "solid"
    return "vessel" if fills >= VESSEL_FILLS and not (of_wall and low > TAPERED * median) else "doubt"


@dataclass(frozen=True)
class Gap:
    """Between two nested shells: mean width and the widths that 5 and 95 % of the inner one are below [m]."""

    mean: float
    low: float
    high: float

    def is_wall(self, smallest: float) -> bool:
        """Whether it looks like the material of a wall; smallest side [m] of the outer shell."""
        return self.high <= GAP_SPREAD * self.low and self.mean <= GAP_WIDE * smallest


def gap(vertices: Vertices, inner: Faces, outer: Faces) -> Gap | None:
    """Between two shells, both wound away from their room; None where no ray from the inner one meets the
    outer one, or where rays need embreex."""
    try:
        rays = _rays((vertices, inner), compact(vertices, outer), inward=False)
    except GeometryError:
        return None
    if rays is None:
        return None
    low, high = shares_below(*rays, [0.05, 0.95])
    return Gap(float(np.average(rays[0], weights=rays[1])) / _MM, low / _MM, high / _MM)


def _rays(
    source: tuple[Vertices, Faces], target: tuple[Vertices, Faces], *, inward: bool
) -> tuple[Array, Array] | None:
    """Lengths (k,) [mm] of rays square from some faces of one surface to the first face of the other, and
    the area of each; inward: into the piece, whose faces are the target too. None without any."""
    vertices, faces = source
    chosen = _some(len(faces))
    normal = cross(vertices, faces[chosen])
    double = lengths(normal)
    normal /= np.where(double > 0, double, 1.0)[:, None]
    scene = Scene((target[0] * _MM, target[1]))
    start = centres(vertices, faces[chosen]) * _MM
    _, length = scene.first(start, -normal if inward else normal, chosen if inward else None)
    met = np.isfinite(length) & (length > 0) & (double > 0)
    return (length[met], double[met]) if met.any() else None


def _some(count: int) -> NDArray[np.int64]:
    """Numbers of the faces that are tried; at random, for faces are listed in rows."""
    if count <= _RAYS:
        return np.arange(count)
    return np.sort(np.random.default_rng(0).choice(count, _RAYS, replace=False))


def shares_below(values: Array, weights: Array, shares: list[float]) -> list[float]:
    """The values below which the given shares of the weight lie."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    at = np.searchsorted(reached, np.array(shares) * reached[-1])
    return [float(x) for x in values[order[np.minimum(at, len(order) - 1)]]]

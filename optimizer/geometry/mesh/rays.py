"""Wall thickness between the two faces of a wall, by rays from one through the material to the other.

A ray leaves the centre of each face against its normal and runs d to the far face, which it meets at the
angle phi to that face's normal. Where the faces are not parallel d is too long: gas crosses square to both.
Between two planes at the angle phi it runs along circles about their common line, each of length r * phi,
where d = r * tan(phi); hence the thickness is d * phi / tan(phi). This is exact for a wedge (whose
conductance is ln(r2 / r1) / phi per length) and for walls between parallel or concentric faces, and leaves an
error of second order in thickness over radius for others.

Some faces look along the wall and not through it. The rim of an open solid is no wall: its faces are left out
(``LocalThickness.counted`` is False, the thickness NaN). A face that goes on smoothly into the wall, such as
the strip outside of a corner, takes the thickness of the nearest face beside it; that makes the mass of a
square corner exact, and lets it pass 0.46 t of wall per length of edge too much (shape factor 0.54 of an edge
where two walls meet, F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass Transfer, table 4.1, from
memory). A solid rib counts as a wall of its own thickness.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import triangles as tri
from optimizer.geometry.mesh.casting import Numbers, Scene
from optimizer.geometry.mesh.findings import percent
from optimizer.geometry.mesh.model import Faces, Mesh
from optimizer.geometry.mesh.walls import Walls, walls_of
from optimizer.geometry.pieces import Array, LocalThickness
from optimizer.units.figures import figure

Mask = NDArray[np.bool_]

METHOD = "between the faces of the mesh"
#: A ray that runs so many times the usual thickness may run along the wall.
_LONG = 3.0
#: Farthest that a ray is followed along the wall, in usual thicknesses.
_REACH = 12.0
#: Least cosine at the far face for a ray that surely crosses the wall; the correction is held beyond.
_STEEP = 0.5
#: Faces whose normals differ by less than this cosine go on smoothly into each other.
_SMOOTH = 0.766
#: Share by which jumps from face to face may raise the answer before it is said.
_UNEVEN = 0.01
_MM = 1e3


def between_faces(mesh: Mesh, inner: Mesh | None = None) -> LocalThickness:
    """Thickness at each face of ``mesh`` (m,) [m]: of the wall that it has both faces of, or to ``inner``.

    Raises GeometryError with field "thickness" or "inner" where there is one face of the wall only, where the
    inner face does not lie inside, where no ray finds a far face, and for large meshes without embreex.
    """
    walls = walls_of(mesh, inner)
    thickness, straight = _crossed(walls)
    area = walls.area[: walls.asked]
    valid = np.isfinite(thickness)
    if not area[valid].sum() > 0:
        raise GeometryError(
            f"{mesh.name}: no ray from one face of the wall finds the other",
            field="thickness" if inner is None else "inner",
            hint="the mesh must have both faces of the wall, with their normals out of the material",
        )
    usual = float(_quantiles(thickness[valid], area[valid], [0.5])[0])
    along = _along_the_wall(walls, straight, usual)
    links = _smooth_links(mesh.faces, walls.into[: walls.asked])
    rim = _rims(links, area, along)
    thickness[along] = np.nan
    uneven = _jumps(links, thickness, area)
    beside = along & ~rim
    _take_nearest(walls.centre[: walls.asked], thickness, beside)
    local = _told(thickness / _MM, area, rim, beside, uneven)
    return replace(local, warnings=(*walls.warnings, *local.warnings))


def _crossed(walls: Walls) -> tuple[Array, Array]:
    """Thickness (asked,) [mm], NaN without a far face, and the straight distance [mm], infinite without."""
    count = walls.asked
    into = walls.into[:count]
    hit, straight = walls.scene.first(walls.centre[:count], into, np.arange(count))
    # what shuts an open neck is no face
    hit[hit >= len(walls.area)] = -1
    straight[hit < 0] = np.inf
    cosine = -np.einsum("ij,ij->i", into, walls.into[hit])
    facing = (hit >= 0) & (cosine > 0) & (straight > 0) & (walls.area[:count] > 0)
    if walls.across:
        facing &= hit >= count
    angle = np.arccos(np.clip(cosine, _STEEP, 1.0))
    shorter = np.where(angle > 0, angle / np.tan(np.where(angle > 0, angle, 1.0)), 1.0)
    thickness = np.where(facing, np.where(facing, straight, 1.0) * shorter, np.nan)
    # a ray that comes in too flat is looked at as if it had gone on for ever
    return thickness, np.where(facing & (cosine > _STEEP), straight, np.inf)


def _along_the_wall(walls: Walls, straight: Array, usual: float) -> Mask:
    """Which faces (asked,) look along the wall: on the way of their ray the material is much narrower."""
    along = np.zeros(walls.asked, dtype=bool)
    doubtful = np.flatnonzero((straight > _LONG * usual) & (walls.area[: walls.asked] > 0))
    if not len(doubtful):
        return along
    start, way = walls.centre[doubtful], walls.into[doubtful]
    reach = _REACH * usual
    length = np.where(np.isfinite(straight[doubtful]), straight[doubtful], reach)
    for depth in (np.full(len(doubtful), _LONG / 2 * usual), np.minimum(length, reach) / 2):
        width = _width(walls.scene, start + depth[:, None] * way, way)
        along[doubtful] |= width < length / 2
    return along


def _width(scene: Scene, points: Array, ways: Array) -> Array:
    """Smallest width (k,) [mm] of the material at some points, across a way through it."""
    # any unit vector that is not along the way will do to build two that are square to it
    other = np.eye(3)[np.abs(ways).argmin(axis=1)]
    one = tri.crossed(ways, other)
    one /= tri.lengths(one)[:, None]
    two = tri.crossed(ways, one)
    width = np.full(len(points), np.inf)
    for side in (one, two, (one + two) / np.sqrt(2), (one - two) / np.sqrt(2)):
        width = np.minimum(width, scene.first(points, side)[1] + scene.first(points, -side)[1])
    return width


def _smooth_links(faces: Faces, normal: Array) -> Numbers:
    """(k, 2) pairs of faces with a common edge that is not sharp."""
    pairs = tri.Edges(faces).pairs
    smooth: Numbers = pairs[np.einsum("ij,ij->i", *(normal[side] for side in pairs.T)) > _SMOOTH]
    return smooth


def _rims(links: Numbers, area: Array, along: Mask) -> Mask:
    """Which faces are a rim: bounded by sharp edges all round, and most of that looks along the wall."""
    if not along.any():
        return along
    group = tri.connected(len(area), *links.T)
    share = np.bincount(group, area * along) / np.maximum(np.bincount(group, area), np.finfo(float).tiny)
    rim: Mask = along & (share[group] > 0.5)
    return rim


def _jumps(links: Numbers, thickness: Array, area: Array) -> float:
    """By what share jumps of the thickness from face to face raise the mean of its inverse.

    Half the mean square of the relative jump: half of that is the variance of the thickness, and its square
    over that of the mean is the first term of the mean inverse.
    """
    known = np.isfinite(thickness)
    one, two = links[known[links[:, 0]] & known[links[:, 1]]].T
    weight = area[one] + area[two]
    if not weight.sum() > 0:
        return 0.0
    jump = 2 * (thickness[one] - thickness[two]) / (thickness[one] + thickness[two])
    return float((weight * jump**2).sum() / weight.sum() / 2)


def _take_nearest(centre: Array, thickness: Array, wanted: Mask) -> None:
    """Gives some faces the thickness of the nearest other one that has one, in place."""
    known = np.isfinite(thickness)
    if wanted.any() and known.any():
        from scipy.spatial import cKDTree

        # few faces ask: a tree that is quick to build will do
        tree = cKDTree(centre[known], balanced_tree=False, compact_nodes=False)
        _, nearest = tree.query(centre[wanted])
        thickness[wanted] = thickness[known][nearest]


def _told(thickness: Array, area: Array, rim: Mask, beside: Mask, uneven: float) -> LocalThickness:
    """The answer with its spread, and what was left out or missed, in words."""
    known = np.isfinite(thickness)
    counted = ~rim
    total = float(area.sum())
    low, high = _MM * _quantiles(thickness[known], area[known], [0.05, 0.95])
    mean = _MM * float((thickness[known] * area[known]).sum() / area[known].sum())
    span = f"5 to 95 % of the area {figure(low)} to {figure(high)} mm"
    notes = [f"thickness {METHOD}: mean {figure(mean)} mm, {span}"]
    if rim.any():
        notes.append(
            f"{_share(area, rim, total)} of the area of the faces is rim, along the wall, and is left out"
        )
    if beside.any():
        notes.append(
            f"{_share(area, beside, total)} of the area looks along the wall (corners) and "
            "takes the thickness beside it"
        )
    missed = counted & ~known & (area > 0)
    warnings = []
    if missed.any():
        warnings.append(
            f"{np.count_nonzero(missed)} of {len(area)} faces ({_share(area, missed, total)} of the area) "
            "found no far face of the wall"
        )
    if uneven > _UNEVEN:
        warnings.append(
            "the thickness jumps from face to face, as where facets are coarse and not side by side: what "
            f"passes the wall may come out {figure(100 * uneven, 2)} % too high; export the mesh with finer "
            "facets"
        )
    return LocalThickness(
        thickness, METHOD, False, tuple(notes), tuple(warnings), counted if rim.any() else None
    )


def _share(area: Array, part: Mask, total: float) -> str:
    return percent(float(area[part].sum()) / total)


def _quantiles(values: Array, weights: Array, shares: list[float]) -> Array:
    """Values below which the given shares of the weight lie."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    place = np.searchsorted(reached, np.array(shares) * reached[-1])
    return np.asarray(values[order[np.minimum(place, len(values) - 1)]], dtype=float)

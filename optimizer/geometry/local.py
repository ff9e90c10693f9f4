"""Wall thickness at each piece of a surface from a table of measurements."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.pieces import Array, LocalThickness, Pieces
from optimizer.geometry.scattered import interpolated
from optimizer.geometry.words import figure, mm, percent

Mask = NDArray[np.bool_]

#: Share of the height and of the area that a table must reach without a warning.
_COVERED = 0.9
#: Share of the height of a part by which a table may go on beyond it: its pieces are known by their centres.
_BEYOND = 0.05
#: A table written to a few digits ends at the end of the part when it misses it by this share of the height.
_ROUNDED = 1e-3
#: Measurements in rings: so many at each height on average.
_RING = 3
#: Angles at which the thickness round a band is taken.
_ROUND = 180
#: A measured point may lie so far from the surface [m], or so much of the size of the part.
_OFF, _OFF_SHARE = 2e-3, 0.02
#: A piece farther than this share of the size of the part from every measured point is far from it.
_FAR = 0.2
#: With more than this share of the points off the surface the table is not that of this mesh.
_MOST_OFF = 0.5
_MM = 1e3


def by_height(
    pieces: Pieces, heights: Array, thickness: Array, whole: Pieces | None = None
) -> LocalThickness:
    """From thicknesses (k,) [m] at heights (k,) [m] over the lowest point of the part, as of a section cut.

    Linear between the heights, constant beyond the first and the last. whole: all pieces of the part, where
    ``pieces`` are some of them: with its ends the table is compared. Raises GeometryError for fewer than
    two heights, and for values that are not finite or no thickness.
    """
    places, values, notes = _table(np.asarray(heights, dtype=float)[:, None], thickness, 2, "height")
    rows = places[:, 0]
    said, warnings = _reach(pieces, rows, whole)
    return LocalThickness(
        np.interp(pieces.height, rows, values),
        "table of thickness by height",
        notes=(*notes, *said),
        warnings=warnings,
    )


def by_height_and_angle(
    pieces: Pieces, heights: Array, angles: Array, thickness: Array, whole: Pieces | None = None
) -> LocalThickness:
    """From thicknesses (k,) [m] at heights (k,) [m] and angles (k,) [rad] about the axis of the part.

    Measured in rings (several angles at each of a few heights): linear in the angle round each ring, and
    linear between rings. Otherwise interpolated on the unrolled surface. A band that runs all round has the
    thickness that lets as much through as the wall round it does (the harmonic mean), which is a little less
    than the mean by mass. whole: as in ``by_height``. Raises GeometryError for fewer than three places, and
    for values that are not finite or no thickness.
    """
    angles = np.asarray(angles, dtype=float)
    turned = np.stack([np.asarray(heights, dtype=float), np.mod(angles, 2 * np.pi).round(9)], axis=1)
    # a hair below a full turn is the angle zero
    turned[2 * np.pi - turned[:, 1] < 1e-9, 1] = 0.0
    places, values, notes = _table(turned, thickness, 3, "height and angle")
    rows = np.unique(places[:, 0])
    said, warnings = _reach(pieces, rows, whole)
    if len(places) >= _RING * len(rows):
        field, gap = _rings(places, values), _largest_gap(places)
        if gap > np.pi * 1.01:
            warnings += (
                f"the measurements leave {np.degrees(gap):.0f} degrees without a value at some height: "
                "the thickness there is drawn from both sides of the gap",
            )
    else:
        field = _unrolled(places, values, float(np.average(pieces.radius, weights=pieces.area)))
    bands = np.isnan(pieces.angle)
    told = np.empty(len(pieces))
    told[~bands] = field(pieces.height[~bands], pieces.angle[~bands])
    if bands.any():
        turn = 2 * np.pi * (np.arange(_ROUND) + 0.5) / _ROUND
        height = np.repeat(pieces.height[bands], _ROUND)
        round_it = field(height, np.tile(turn, int(bands.sum()))).reshape(-1, _ROUND)
        told[bands] = 1.0 / (1.0 / round_it).mean(axis=1)
        said += ("bands that run all round have the harmonic mean of the thickness round them",)
    return LocalThickness(
        told, "table of thickness by height and angle", notes=(*notes, *said), warnings=warnings
    )


def by_points(pieces: Pieces, points: Array, thickness: Array, whole: Pieces | None = None) -> LocalThickness:
    """From thicknesses (k,) [m] measured at points (k, 3) [m] in the coordinates of the mesh.

    Interpolated from the nearest points, see ``scattered.interpolated``; distances are straight, so that both
    sides of a flat pouch want points of their own, closer than the pouch is thick. whole: as in
    ``by_height``. Raises GeometryError for fewer than three places, for values that are not finite or no
    thickness, where the part is no mesh, and where most points lie off its surface.
    """
    whole = pieces if whole is None else whole
    if pieces.centre is None or whole.centre is None:
        raise GeometryError(
            "thickness at points x, y, z needs a mesh: this part has a simple shape",
            field="thickness",
            hint="give thickness by height, or by height and angle",
        )
    places, values, notes = _table(np.asarray(points, dtype=float), thickness, 3, "point")
    told, away = interpolated(places, values, pieces.centre)
    size = float(np.linalg.norm(np.ptp(whole.centre, axis=0)))
    return LocalThickness(
        told,
        "table of thickness at points",
        notes=notes,
        warnings=(*_off_surface(whole, places, size), *_far_pieces(pieces, away, size)),
    )


def _table(places: Array, thickness: Array, least: int, what: str) -> tuple[Array, Array, tuple[str, ...]]:
    """Different places (k, d) in order, the thickness at each, and what was joined, in words."""
    values = np.asarray(thickness, dtype=float)
    faults = []
    for bad, fault in (
        (~np.isfinite(places).all(axis=1), f"no {what}"),
        (~(np.isfinite(values) & (values > 0)), "no thickness above zero"),
    ):
        if bad.any():
            rows = ", ".join(str(row + 1) for row in np.flatnonzero(bad)[:5])
            more = f" and {np.count_nonzero(bad) - 5} more" if np.count_nonzero(bad) > 5 else ""
            faults.append(f"{fault} in row {rows}{more}")
    if faults:
        raise GeometryError(
            f"table of local thickness: {'; '.join(faults)}",
            field="thickness",
            hint="every value must be a number, and every thickness above zero",
        )
    unique, number, count = np.unique(places, axis=0, return_inverse=True, return_counts=True)
    if len(unique) < least:
        raise GeometryError(
            f"table of local thickness: too few different places by {what} ({len(unique)}, at least {least})",
            field="thickness",
            hint="give the thickness at more places, or one thickness for all",
        )
    number = number.reshape(-1)
    mean = np.bincount(number, values) / count
    differ = np.unique(number[np.abs(values - mean[number]) > 1e-9 * mean[number]])
    joined = f"several thicknesses at one place of the table, {len(differ)} times: their mean is taken"
    return unique, mean, (joined,) if len(differ) else ()


def _ends(pieces: Pieces) -> tuple[float, float]:
    """Lowest and highest point [m]."""
    ends = pieces.height[:, None] if pieces.span is None else pieces.span
    return float(ends.min()), float(ends.max())


def _reach(pieces: Pieces, rows: Array, whole: Pieces | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Notes and warnings on how the heights of a table (k,), in order, fit those of the part."""
    low, high = _ends(pieces)
    bottom, top = (low, high) if whole is None else _ends(whole)
    first, last = float(rows[0]), float(rows[-1])
    span = f"the table has heights of {figure(_MM * first, 4)} to {mm(last, 4)}"
    warnings: tuple[str, ...] = ()
    slack = _BEYOND * max(top, top - bottom)
    if first < -slack or last > top + slack:
        warnings = (f"{span}, and the part ends at {mm(top, 4)}: is the unit right, and which way is up?",)
    rounded = _ROUNDED * max(top, top - bottom)
    beyond = (pieces.height < first - rounded) | (pieces.height > last + rounded)
    share = float(pieces.area[beyond].sum() / pieces.area.sum())
    covered = max(min(last, high) - max(first, low), 0.0) / (high - low) if high > low else 1.0
    if not share > 0:
        return (), warnings
    text = (
        f"{span}, and the part of {figure(_MM * low, 4)} to {mm(high, 4)}: {percent(share)} of the area, "
        "beyond the table, has the thickness of its nearest end"
    )
    if covered < _COVERED or share > 1.0 - _COVERED:
        return (), (*warnings, text)
    return (text,), warnings


def _rings(places: Array, values: Array) -> Callable[[Array, Array], Array]:
    """Thickness by height and angle from rings of measurements; places (k, 2), in order."""
    rows, start = np.unique(places[:, 0], return_index=True)
    rings = [
        (places[first:end, 1], values[first:end])
        for first, end in zip(start, [*start[1:], len(places)], strict=True)
    ]

    def field(height: Array, angle: Array) -> Array:
        at = np.clip(height, rows[0], rows[-1])
        below = np.clip(np.searchsorted(rows, at, side="right") - 1, 0, max(len(rows) - 2, 0))
        ends = np.empty((2, len(height)))
        for side in (0, 1):
            ring = np.minimum(below + side, len(rows) - 1)
            for k, (turn, value) in enumerate(rings):
                here = ring == k
                ends[side, here] = np.interp(angle[here], turn, value, period=2 * np.pi)
        if len(rows) == 1:
            return np.asarray(ends[0], dtype=float)
        share = (at - rows[below]) / (rows[below + 1] - rows[below])
        return np.asarray(ends[0] + share * (ends[1] - ends[0]), dtype=float)

    return field


def _largest_gap(places: Array) -> float:
    """Largest angle [rad] without a measurement in a ring; places (k, 2), in order."""
    gaps = []
    for row in np.unique(places[:, 0]):
        turn = places[places[:, 0] == row, 1]
        gaps.append(float(np.diff(np.append(turn, turn[0] + 2 * np.pi)).max()))
    return max(gaps)


def _unrolled(places: Array, values: Array, radius: float) -> Callable[[Array, Array], Array]:
    """Thickness by height and angle from scattered measurements, on a cylinder of the mean radius,
    unrolled."""
    turn = np.concatenate([places[:, 1] + shift for shift in (-2 * np.pi, 0.0, 2 * np.pi)])
    points = np.stack([np.tile(places[:, 0], 3), radius * turn], axis=1)
    wide = np.tile(values, 3)

    def field(height: Array, angle: Array) -> Array:
        at = np.stack([height, radius * np.mod(angle, 2 * np.pi)], axis=1)
        return interpolated(points, wide, at)[0]

    return field


def _off_surface(pieces: Pieces, points: Array, size: float) -> tuple[str, ...]:
    """A warning where measured points do not lie on the surface; raises GeometryError where most do not."""
    from scipy.spatial import cKDTree

    away, nearest = cKDTree(pieces.centre).query(points)
    # a piece is known by its centre only, and reaches about as far as a square of its area
    off = away - 2 * np.sqrt(pieces.area[nearest])
    bad = off > max(_OFF, _OFF_SHARE * size)
    if not bad.any():
        return ()
    ask = "have table and mesh the same coordinates and unit?"
    said = (
        f"{np.count_nonzero(bad)} of {len(points)} measured points lie off the surface, up to "
        f"{mm(float(away[bad].max()))}"
    )
    if np.count_nonzero(bad) > _MOST_OFF * len(points):
        raise GeometryError(said, field="thickness", hint=ask)
    return (f"{said}: {ask}",)


def _far_pieces(pieces: Pieces, away: Array, size: float) -> tuple[str, ...]:
    """A warning where parts of the surface are far from every measured point."""
    far = away > _FAR * size
    if not far.any():
        return ()
    share = float(pieces.area[far].sum() / pieces.area.sum())
    return (
        f"{percent(share)} of the area is farther than {mm(_FAR * size)} from any measured "
        f"point, up to {mm(float(away.max()))}",
    )

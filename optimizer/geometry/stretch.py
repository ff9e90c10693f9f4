"""First estimate of the wall of a blown bottle: the volume of parison or preform, stretched over the mould.

Nothing here is measured and nothing is fitted: the material keeps its volume, and where it goes follows from
one simple rule for each process:

* preform (stretch blow moulding): stretched evenly along its length, so that every length of the bottle's
  meridian gets the same volume; round the axis it goes as far as the mould: t = t0 / (axial * hoop ratio).
* parison (extrusion blow moulding): every slice stays at its height, so that a height dz of the bottle gets
  the volume of dz of the parison: t = t0 (d0 / 2 r) cos(angle between wall and axis).

Both are volume balances. A preform or parison is never pressed together: within its own radius the hoop ratio
is 1. Walls that lie flat across the axis get nothing from their own height; they share with the wall beside
them (``_pools``). The ranges in the warnings are common practice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.checks import Checks
from optimizer.geometry.meridian import (
    Meridian,
    flat_pieces,
    is_open_below,
    meridian_of,
    spans,
    spread,
    too_tall,
    total_height,
)
from optimizer.geometry.pieces import Array, LocalThickness, Pieces
from optimizer.geometry.words import figure, mm, percent, um

Table = Sequence[tuple[float, float]]

#: Stretch ratios beyond these are unusual in the trade (common practice, from memory).
USUAL_PLANAR, USUAL_HOOP, USUAL_AXIAL, USUAL_BLOW_UP = 14.0, 5.0, 3.0, 4.0
#: A wall that turns this far from the axis (cosine) gets too little from its own height alone.
STEEP = 0.5


@dataclass(frozen=True)
class _Tube:
    """Preform or parison: outside diameter [m], (height, thickness) rows [m], length [m] of a preform."""

    diameter: float
    rows: Array
    length: float | None

    def thickness(self, height: Array) -> Array:
        return np.asarray(np.interp(height, self.rows[:, 0], self.rows[:, 1]))

    @property
    def radius(self) -> float:
        """Of the middle of the wall [m], at the mean thickness."""
        return (self.diameter - float(self.rows[:, 1].mean())) / 2

    def volume_to(self, height: Array) -> Array:
        """Volume [m3] of a parison from height 0 to each height."""
        fine = np.union1d(np.union1d(np.linspace(0.0, float(height.max()), 2001), self.rows[:, 0]), height)
        fine = fine[fine >= 0.0]
        wall = self.thickness(fine)
        section = math.pi * wall * (self.diameter - wall)
        filled = np.concatenate([[0.0], np.cumsum(np.diff(fine) * (section[1:] + section[:-1]) / 2)])
        return np.asarray(np.interp(height, fine, filled))

    def preform_volume(self) -> float:
        """Of a tube with a round end (half a hollow sphere), ``length`` long over all [m3]."""
        assert self.length is not None
        outer, wall = self.diameter / 2, float(self.rows[0, 1])
        end = 2.0 / 3.0 * math.pi * (outer**3 - (outer - wall) ** 3)
        return (self.length - outer) * math.pi * wall * (self.diameter - wall) + end


def stretched(
    pieces: Pieces,
    *,
    thickness: float | Table,
    diameter: float,
    length: float | None = None,
    support_ring: float | None = None,
    mass: float | None = None,
    density: float | None = None,
) -> LocalThickness:
    """Thickness of each piece of a bottle blown from a preform (``length`` given) or from a parison.

    pieces: of the whole part, finish and base with it. thickness [m]: of the preform, or of the parison, for
    this also as rows of (height in the mould, thickness). diameter [m]: outside, of preform or parison.
    length [m]: of the preform from the support ring to its closed, round end. support_ring [m]: its height on
    the bottle; what is above keeps the thickness it had. mass [kg] and density [kg/m3] of what is blown: the
    thicknesses are scaled to them. The volume of the material, mid-wall area times thickness, is kept.
    Raises GeometryError.
    """
    tube, remarks = _checked(thickness, diameter, length, support_ring, mass, density)
    blown = np.ones(len(pieces), bool) if support_ring is None else pieces.height < support_ring
    if not blown.any():
        raise GeometryError(
            f"nothing of the part lies below the support ring at {1000 * (support_ring or 0):g} mm",
            field="support_ring",
            hint="it is a height above the lowest point of the part",
        )
    part = pieces.take(blown)
    top = min(total_height(pieces), math.inf if support_ring is None else support_ring)
    if top <= 0:
        raise GeometryError(
            "the part is flat: there is nothing to blow up",
            field="stretch",
            hint="stretch is for bottles and jars that stand along their axis",
        )
    if length is None:
        shape, volume, more = _parison(part, tube, top)
    else:
        shape, volume, more = 1.0 / np.maximum(part.radius, tube.radius), tube.preform_volume(), ()
    if mass is not None and density is not None:
        volume = mass / density
    found = tube.thickness(pieces.height)
    found[blown] = scaled_to(part, shape, volume, "thickness")
    notes, warnings = _said(part, found[blown], tube, top, volume, support_ring)
    notes += more
    if support_ring is not None and not blown.all():
        notes += (f"above the support ring the thickness of the {_name(tube)} is kept",)
    method = f"stretched from a {_name(tube)}: volume kept"
    return LocalThickness(found, method, True, (*remarks, *notes), warnings)


def scaled_to(pieces: Pieces, shape: Array, volume: float, field: str) -> Array:
    """``shape`` (n,) times the factor that makes the sum of mid-wall area times thickness the volume [m3].

    Raises GeometryError, with its ``field``, where no wall holds as much.
    """
    coefficients = (pieces.area, pieces.slope, pieces.curvature)
    terms = [float((c * shape**power).sum()) for power, c in enumerate(coefficients, start=1)]
    cubic = np.array([terms[2], terms[1], terms[0], 0.0])
    rate = np.polyder(cubic)
    factor = volume / terms[0]
    for _ in range(60):
        step = (volume - float(np.polyval(cubic, factor))) / float(np.polyval(rate, factor))
        factor += step
        if abs(step) <= 1e-14 * abs(factor):
            break
    # up to there every bit of thickness has to add volume: no wall is thicker than its radius
    if factor > 0 and (np.polyval(rate, np.linspace(0.0, factor, 101)) > 0).all():
        return factor * shape
    raise GeometryError(
        f"{figure(volume * 1e6)} cm3 of material are more than the wall of this body can hold",
        field=field,
        hint="check the thickness and the unit of the mesh",
    )


def _parison(part: Pieces, tube: _Tube, top: float) -> tuple[Array, float, tuple[str, ...]]:
    """Thickness of each piece before the last scaling, volume of the parison that stays, and what does not.

    Where a body is narrower than the parison, the parison is pinched: the wall has its thickness and no more.
    """
    meridian = meridian_of(part)
    edges = np.minimum(meridian.edges, top)
    edges[-1] = top
    given = np.diff(tube.volume_to(edges))
    far = np.maximum(part.radius, tube.radius)
    (taking,) = spread(part, meridian.edges, part.area / far)
    pool = _pools(meridian)
    supply = np.bincount(pool, given) / np.maximum(np.bincount(pool, taking), 1e-300)
    total = float(given.sum())
    blown = scaled_to(part, _mean_over(part, meridian.edges, supply[pool]) / far, total, "thickness")
    kept = np.minimum(blown, tube.thickness(part.height))
    flash = 1.0 - material(part, kept) / total
    if flash < 1e-6:
        return blown, total, ()
    note = f"{percent(flash)} of the parison is pinched off as flash where the body is narrower than it"
    return kept, total * (1.0 - flash), (note,)


def material(pieces: Pieces, thickness: Array) -> float:
    """Volume [m3] of a wall: mid-wall area times thickness."""
    area = pieces.area + (pieces.slope + pieces.curvature * thickness) * thickness
    return float((area * thickness).sum())


def _pools(meridian: Meridian) -> NDArray[np.intp]:
    """Number of the pool of each row: rows in one pool share what the parison gives to their heights.

    A run of flat or nearly flat rows shares with as much wall on either side of it, measured along the
    meridian; so does a row without any surface.
    """
    arc, rise = meridian.arc, meridian.rise
    ends = np.concatenate([[0.0], np.cumsum(arc)])
    steep = (rise < STEEP * arc) | (meridian.area <= 0.0)
    joined = np.zeros(len(arc), bool)  # whether a row shares with the one above it
    starts = np.flatnonzero(np.diff(np.concatenate([[False], steep]).astype(int)) == 1)
    stops = np.flatnonzero(np.diff(np.concatenate([steep, [False]]).astype(int)) == -1)
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        wide = max(ends[stop + 1] - ends[start], float(rise[start]))
        low = np.searchsorted(ends, ends[start] - wide, side="left")
        high = np.searchsorted(ends, ends[stop + 1] + wide, side="right") - 1
        first, last = max(min(int(low), start - 1), 0), min(max(int(high), stop + 2), len(arc)) - 1
        joined[first:last] = True
    return np.concatenate([[0], np.cumsum(~joined[:-1])]).astype(np.intp)


def _mean_over(pieces: Pieces, edges: Array, values: Array) -> Array:
    """Mean of a value per row over the heights that each piece spans."""
    row = np.clip(np.searchsorted(edges, pieces.height, side="right") - 1, 0, len(values) - 1)
    low, high = (np.clip(v, edges[0], edges[-1]) for v in spans(pieces))
    sums = np.concatenate([[0.0], np.cumsum(values * np.diff(edges))])
    rise = high - low
    tall = rise > 1e-3 * (edges[1] - edges[0])
    found = values[row]
    found[tall] = ((np.interp(high, edges, sums) - np.interp(low, edges, sums))[tall]) / rise[tall]
    return found


def _name(tube: _Tube) -> str:
    return "parison" if tube.length is None else "preform"


def _said(
    part: Pieces, thickness: Array, tube: _Tube, top: float, volume: float, ring: float | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Mean and least thickness and the stretch ratios in words, and what is out of the usual."""
    thinnest = int(thickness.argmin())
    mean = volume / float((part.area + (part.slope + part.curvature * thickness) * thickness).sum())
    least, place = float(thickness[thinnest]), float(part.height[thinnest])
    below = "" if ring is None else f"below the support ring at {mm(ring)}: "
    first = (
        f"{below}{figure(volume * 1e6)} cm3 of material, mean thickness {um(mean)}, thinnest "
        f"{um(least)} at {mm(place)} above the lowest point"
    )
    upright = part.radius[~flat_pieces(part)]
    hoop = float((upright if len(upright) else part.radius).max()) / tube.radius
    notes, warnings = _blow_up(tube, hoop, top) if tube.length is None else _ratios(part, tube, hoop)
    return (first, *notes), (*warnings, *_no_base(part, top), *too_tall(part))


def _no_base(part: Pieces, top: float) -> tuple[str, ...]:
    """A warning where the lower end is open: a parison may be, a bottle is not."""
    lower = part.height < top / 2
    if not lower.any() or not is_open_below(part.take(lower), meridian_of(part)):
        return ()
    return (
        "the part has no base: all of the material is in its wall, also what a base would take "
        "(a profile with 'bottom: true', or a mesh, has one)",
    )


def _blow_up(tube: _Tube, hoop: float, top: float) -> tuple[list[str], list[str]]:
    notes = [f"blow-up ratio {hoop:.2f} (widest radius over that of the parison)"]
    if len(tube.rows) > 1 and (tube.rows[0, 0] > 0 or tube.rows[-1, 0] < 0.99 * top):
        notes.append("beyond its first and last row the programmed thickness stays as it is there")
    if hoop <= USUAL_BLOW_UP:
        return notes, []
    return notes, [f"blow-up ratio {figure(hoop)}: more than {USUAL_BLOW_UP:g} is unusual (common practice)"]


def _ratios(part: Pieces, tube: _Tube, hoop: float) -> tuple[list[str], list[str]]:
    assert tube.length is not None
    near_axis = np.maximum(part.radius, 1e-9)
    axial = float((part.area / (2.0 * math.pi * near_axis)).sum()) / tube.length
    notes = [
        f"stretch ratios: axial {axial:.2f} (meridian over length of the preform), hoop {hoop:.2f} (at the "
        f"widest radius), planar {axial * hoop:.2f}"
    ]
    warnings = [
        f"{what} stretch ratio {figure(value)}: more than {usual:g} is unusual for PET (common practice)"
        for what, value, usual in (
            ("planar", axial * hoop, USUAL_PLANAR),
            ("hoop", hoop, USUAL_HOOP),
            ("axial", axial, USUAL_AXIAL),
        )
        if value > usual
    ]
    if axial < 1:
        warnings.append(f"the preform is longer than the meridian of the bottle (axial ratio {axial:.2f})")
    return notes, warnings


def _checked(
    thickness: float | Table,
    diameter: float,
    length: float | None,
    support_ring: float | None,
    mass: float | None,
    density: float | None,
) -> tuple[_Tube, tuple[str, ...]]:
    check = Checks()
    optional = {"length": length, "support_ring": support_ring}
    check.positive(diameter=diameter, **{k: v for k, v in optional.items() if v is not None})
    if isinstance(thickness, int | float):
        check.positive(thickness=thickness)
        rows = np.array([[0.0, thickness]])
    else:
        rows = _rows(thickness, check)
        if length is not None:
            check.fault(
                "rows of thickness are given for a preform",
                field="thickness",
                hint="a preform has one thickness; leave length out for a programmed parison",
            )
    _check_mass(mass, density, check)
    if not check.errors:
        _check_room(float(rows[:, 1].max()), diameter, length, check)
    remarks = check.finish()
    return _Tube(diameter, rows, length), remarks


def _check_mass(mass: float | None, density: float | None, check: Checks) -> None:
    for name, value, other, fellow in (
        ("mass", mass, "density", density),
        ("density", density, "mass", mass),
    ):
        if value is None and fellow is not None:
            check.fault(f"{other} is given without {name}", field=name, hint="give both or neither")
        elif value is not None and not (math.isfinite(value) and value > 0):
            check.fault(
                f"{name} is {value:g}", field=name, hint="it must be a finite number larger than zero"
            )


def _check_room(thickest: float, diameter: float, length: float | None, check: Checks) -> None:
    if 2 * thickest >= diameter:
        check.fault(
            f"two walls of {1000 * thickest:g} mm leave no room in a diameter of {1000 * diameter:g} mm",
            field="thickness",
            hint="diameter is the outside diameter of preform or parison",
        )
    if length is not None and length <= diameter / 2:
        check.fault(
            f"length is {1000 * length:g} mm, less than the round end of {1000 * diameter / 2:g} mm",
            field="length",
            hint="length is that of the preform from the support ring to its closed end",
        )


def _rows(table: Table, check: Checks) -> Array:
    """(height, thickness) rows as an array; faults go to ``check``."""
    hint = "give at least two rows of height and thickness, heights increasing"
    if len(table) < 2 or any(len(row) != 2 for row in table):
        check.fault("the rows of thickness are not a table of two columns", field="thickness", hint=hint)
        return np.array([[0.0, 1.0]])
    rows = np.array(table, float)
    if not np.isfinite(rows).all() or (rows[:, 1] <= 0).any() or (rows[:, 0] < 0).any():
        check.fault("the rows of thickness hold a value that is not above zero", field="thickness", hint=hint)
    elif (np.diff(rows[:, 0]) <= 0).any():
        check.fault("the heights of the rows of thickness do not increase", field="thickness", hint=hint)
    return rows

"""First estimate of the wall of a thermoformed tray or cup: a sheet drawn into a cavity, its volume kept.

The sheet sticks where it touches the cold mould. What does not touch it yet is the free sheet, evenly thick;
it gives dV = t dC for every area dC of mould that it covers. With F the area of the free sheet, V = t F and
so

    dt / t = -(dC + dF) / F.

The model follows the free sheet from the rim to the last corner. Two forms of it:

* dome: a cap that leaves the wall in the wall's own direction (area 2 A / (1 + sin a) over a section A whose
  wall leans by a from the axis), until it touches the base; then an arc that touches wall and base and closes
  into the corner. In a cone this is the formula of the textbooks on thermoforming (from memory):
  t / t0 = (1 + cos b) / 2 * (1 - s sin b / h) ** (1 / cos b - 1), b the angle of the wall to the opening.
* flat: straight across the section, as in front of a flat plug: in a cylinder t = t0 exp(-4 z / d).

Sections that are not round are taken as round ones of the same hydraulic radius W = 2 A / P, their areas
multiplied by P**2 / (4 pi A).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.checks import Checks
from optimizer.geometry.meridian import (
    SECTORS,
    Meridian,
    flat_pieces,
    grain,
    is_open_below,
    meridian_of,
    too_tall,
)
from optimizer.geometry.pieces import Array, LocalThickness, Pieces
from optimizer.geometry.stretch import scaled_to
from optimizer.geometry.words import figure, mm, percent, um

FREE_SHEETS = ("dome", "flat")
#: Steps down the wall, across the base and into the corner.
STEPS = 600
#: A sharp corner is followed until this part of its first size is left, or this many pieces.
CORNER_END, CORNER_PIECES = 0.01, 2.0
#: What lies flat below this part of the depth is the base, above the rest of it the flange.
FLOOR = 0.02
#: A section larger than this times that of the rim is no undercut that a sheet could be drawn past.
UNDERCUT = 1.2
#: The outline of a section is known to this part of its radius.
BLUR = 0.05
#: A free sheet reaches this deep, in widths of the opening, before a plug is usual (common practice).
USUAL_DEPTH = 1.0
#: Thinner than this part of the sheet is rarely made on purpose (common practice, from memory).
USUAL_THINNEST = 0.1


@dataclass(frozen=True)
class _Body:
    """The cavity as a round body. radius: W at each of ``heights``, from the base up; scale: P**2 / (4 A), pi
    for a circle; sine: of the wall's lean; all (k,). rim [m2]: section at the rim.
    """

    heights: Array
    radius: Array
    scale: Array
    sine: Array
    rim: float

    @property
    def depth(self) -> float:
        """From rim to base [m]."""
        return float(self.heights[-1])


@dataclass(frozen=True)
class _Course:
    """Area of the free sheet ``free`` (m,) [m2] as ``step`` (m,) [m] increases: the depth of the rim of the
    sheet (of a shallow body the radius of the base that is covered), then the way into the corner.

    wall_end [m]: height at which the sheet touches the base; corner [m]: distance from the corner, along wall
    or base, at which the arc leaves them then, 0 where no corner is followed; base [m]: radius of the base;
    scale: that of the body there; cosine: of the lean of the wall.
    """

    step: Array
    free: Array
    wall_end: float
    corner: float
    base: float
    scale: float
    cosine: float


def drawn(
    pieces: Pieces,
    *,
    sheet: float,
    opening_area: float | None = None,
    free_sheet: str = "dome",
    corner_radius: float = 0.0,
    plug_assist: float = 0.0,
) -> LocalThickness:
    """Thickness of each piece of a tray or cup formed into a cavity from a flat sheet.

    pieces: of the whole part, open side up. sheet [m]: thickness before forming. opening_area [m2]: sheet
    that is drawn in; the section at the rim if None. free_sheet: ``dome`` or ``flat``. corner_radius [m]:
    between wall and base, where the pieces have a sharp corner. plug_assist: from 0 (none) to 1 (an even
    wall), common practice. A flange, flat at the height of the rim, keeps the thickness of the sheet. The
    volume of the material, mid-wall area times thickness, is kept. Raises GeometryError.
    """
    remarks = _checked(sheet, opening_area, free_sheet, corner_radius, plug_assist)
    meridian = meridian_of(pieces)
    flat = flat_pieces(pieces)
    flange = flat & (pieces.height > (1.0 - FLOOR) * meridian.total)
    body = _body(meridian, pieces.take(flange))
    opening = body.rim if opening_area is None else opening_area
    formed = pieces.take(~flange)
    if is_open_below(formed, meridian):
        raise GeometryError(
            "the part has no base, and a sheet drawn into it would have one",
            field="draw-down",
            hint="write it as profile with 'bottom: true', as a tray, or as a mesh with its base",
        )
    course = _dome(body, corner_radius, grain(formed)) if free_sheet == "dome" else _flat(body)
    steps = _touched(formed, flat[~flange], meridian, body, course)
    volume = sheet * opening
    thinned = _thinned(formed.area, flat[~flange], steps, course, opening)
    drawn_out = scaled_to(formed, thinned, volume, "sheet")
    mixed = (1.0 - plug_assist) * drawn_out + plug_assist * volume / float(formed.area.sum())
    found = np.full(len(pieces), sheet)
    found[~flange] = scaled_to(formed, mixed, volume, "sheet")
    notes, warnings = _said(formed, found[~flange], sheet, opening, body, plug_assist)
    free = "domed" if free_sheet == "dome" else "flat"
    method = f"draw-down of a sheet, {free} while free: volume kept"
    return LocalThickness(found, method, True, (*remarks, *notes), warnings)


def _body(meridian: Meridian, flange: Pieces) -> _Body:
    """Raises GeometryError for what no sheet can be drawn into."""
    if not meridian.wall.any():
        raise _refused("the part is flat: there is nothing to draw into")
    known = (meridian.wall > 0) & (meridian.section > 0) & (meridian.perimeter > 0)
    heights = np.concatenate([[0.0], meridian.height, [meridian.total]])
    at = meridian.height[known]
    section, perimeter, lean = meridian.section[known], meridian.perimeter[known], meridian.lean[known]
    radius = _ends(heights, at, 2.0 * section / perimeter)
    scale = _ends(heights, at, perimeter**2 / (4.0 * section))
    # a wall that leans inward on its way up (an undercut) is taken as upright
    sine = np.clip(_ends(heights, at, lean), 0.0, 0.999)
    body = _Body(heights, radius, scale, sine, float(_ends(heights, at, np.sqrt(section))[-1] ** 2))
    if section.max() > UNDERCUT * body.rim:
        raise _refused("the part is wider below its rim than at it: no sheet can be drawn into it")
    if flange.area[flange.radius < 0.5 * math.sqrt(body.rim / math.pi)].any():
        raise _refused("the part is closed at its upper end: no sheet can be drawn into it")
    return body


def _refused(message: str) -> GeometryError:
    hint = "draw-down is for trays and cups with walls, open side up"
    return GeometryError(message, field="draw-down", hint=hint)


def _ends(at: Array, heights: Array, values: Array) -> Array:
    """Linear between the heights, and on to the two ends."""
    found = np.interp(at, heights, values)
    if len(heights) > 3:
        for i, (near, far) in ((0, (0, 2)), (-1, (-1, -3))):
            rate = (values[near] - values[far]) / (heights[near] - heights[far])
            found[i] = values[near] + rate * (at[i] - heights[near])
    return found


def _cap(radius: Array, rho: Array, turn: Array | float) -> Array:
    """Area over pi of an arc of radius ``rho`` that rises by ``turn`` from the rim of a flat disc."""
    return np.asarray(2.0 * rho * (radius * turn + rho * (1.0 - np.cos(turn))))


def _flat(body: _Body) -> _Course:
    heights = np.linspace(body.depth, 0.0, STEPS)
    radius, scale = (np.interp(heights, body.heights, v) for v in (body.radius, body.scale))
    return _Course(
        body.depth - heights, scale * radius**2, 0.0, 0.0, float(radius[-1]), float(scale[-1]), 1.0
    )


def _dome(body: _Body, corner_radius: float, piece: float) -> _Course:
    """Down the wall as a cap, over the base, and into the corner.

    There it ends at ``corner_radius`` [m], or where little more than a ``piece`` [m] is left.
    """
    heights = np.linspace(body.depth, 0.0, 4 * STEPS)
    radius, scale, sine = (np.interp(heights, body.heights, v) for v in (body.radius, body.scale, body.sine))
    touching = radius * (1.0 - sine) / np.sqrt(1.0 - sine**2) >= heights
    last = int(np.flatnonzero(touching)[0])
    end = float(heights[last])
    wide, factor, lean = float(radius[last]), float(scale[last]), float(sine[last])
    cosine = math.sqrt(1.0 - lean**2)
    base, start = wide - end * lean / cosine, end / cosine
    if last > 0:  # deep: the cap comes down the wall until it touches the base
        steps = body.depth - heights[: last + 1]
        free = (2.0 * scale * radius**2 / (1.0 + sine))[: last + 1]
    else:  # shallow: the middle touches the base while the rim still holds the sheet
        steps = np.linspace(0.0, max(base - start, 0.0), STEPS)
        turn = 2.0 * np.arctan2(body.depth, wide - steps)
        free = factor * _cap(steps, ((wide - steps) ** 2 + body.depth**2) / (2.0 * body.depth), turn)
    course = _Course(steps, free, end, start, base, factor, cosine)
    return course if start == 0 else _into_corner(course, math.acos(lean), corner_radius, piece)


def _into_corner(course: _Course, turn: float, corner_radius: float, piece: float) -> _Course:
    """The course with the arc that closes into the corner; its first state is the last one of the course."""
    half = math.tan(turn / 2.0)
    least = max(CORNER_END * course.corner, CORNER_PIECES * piece, corner_radius * half)
    size = np.geomspace(course.corner, min(least, course.corner), STEPS)[1:]
    free = course.scale * _cap(np.maximum(course.base - size, 0.0), size / half, turn)
    steps = course.step[-1] + (course.corner - size)
    return replace(course, step=np.append(course.step, steps), free=np.append(course.free, free))


def _touched(
    formed: Pieces, flat: NDArray[np.bool_], meridian: Meridian, body: _Body, course: _Course
) -> Array:
    """The step at which the sheet touches each piece (n,), infinite for the base under a flat sheet."""
    down = body.depth - formed.height
    if course.corner == 0.0:
        return np.where(flat & (formed.height < FLOOR * body.depth), math.inf, down)
    # distance from the corner, along base or wall, whichever is farther: the arc comes to it in this order
    inward = course.base - _across(formed, meridian, course.base, course.scale)
    inward[~flat & (inward < BLUR * course.base)] = 0.0
    away = np.maximum(inward, formed.height / course.cosine)
    if course.wall_end < body.depth:
        in_corner = body.depth - course.wall_end + np.maximum(course.corner - away, 0.0)
        return np.where(formed.height >= course.wall_end, down, in_corner)
    # shallow: the steps are first the radius of the base that is covered, then go on into the corner
    return course.base - away


def _across(pieces: Pieces, meridian: Meridian, base: float, scale: float) -> Array:
    """Distance of each piece from the axis, on the round body in the place of the real one [m]."""
    if meridian.outline is None:
        return np.minimum(pieces.radius, base)
    at = (pieces.angle + math.pi) / (2.0 * math.pi) * SECTORS - 0.5
    edge = np.interp(at, np.arange(SECTORS), meridian.outline, period=SECTORS)
    return np.minimum(pieces.radius / edge * math.sqrt(math.pi / scale), base)


def _thinned(area: Array, flat: NDArray[np.bool_], steps: Array, course: _Course, opening: float) -> Array:
    """Thickness over that of the sheet at each piece (n,), from the balance of the free sheet."""
    # base and wall apart: their pieces would come in an uneven order together
    base, wall = (_covered(area[part], steps[part], course.step) for part in (flat, ~flat))
    covered = base + wall
    left = float(area.sum()) - covered
    # a rounded corner is filled at once: when the free sheet is as large as what is left to cover
    filled = course.free >= left * (1.0 - 1e-6)
    filled[-1] = True
    stop = int(np.flatnonzero(filled)[0])
    free = course.free[: stop + 1]
    lost = (np.diff(covered[: stop + 1]) + np.diff(free)) / ((free[1:] + free[:-1]) / 2)
    sheet = opening / free[0] * np.exp(-np.concatenate([[0.0], np.cumsum(lost)]))
    # pieces are touched one after the other: between two of them the balance would thicken the sheet a little
    sheet = np.minimum.accumulate(sheet)
    found = np.interp(steps, course.step[: stop + 1], sheet)
    rest = steps > course.step[stop]
    if rest.any():
        found[rest] = min(sheet[stop] * free[stop] / float(area[rest].sum()), sheet[stop])
    return found


def _covered(area: Array, steps: Array, at: Array) -> Array:
    """Area that the sheet has touched at each step of ``at``, each piece taken at its middle."""
    within = np.isfinite(steps)
    if not within.any():
        return np.zeros(len(at))
    places, which = np.unique(steps[within], return_inverse=True)
    sums = np.bincount(which, area[within])
    first, last = (places[1] - places[0], places[-1] - places[-2]) if len(places) > 1 else (0.0, 0.0)
    known = np.concatenate([[places[0] - first / 2], places, [places[-1] + last / 2]])
    halves = np.concatenate([[0.0], np.cumsum(sums) - sums / 2, [sums.sum()]])
    return np.asarray(np.interp(at, known, halves))


def _said(
    formed: Pieces, thickness: Array, sheet: float, opening: float, body: _Body, plug: float
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Draw ratio, mean and thinnest in words, and what is out of the usual."""
    area = float(formed.area.sum())
    thinnest = int(thickness.argmin())
    least, place = float(thickness[thinnest]), float(formed.height[thinnest])
    notes = [
        f"areal draw ratio {area / opening:.2f} (formed area over {figure(opening * 1e4)} cm2 of sheet), "
        f"mean thickness {um(sheet * opening / area)}, thinnest {um(least)} at {mm(place)} above the lowest "
        "point",
        "where two walls and the base meet, the wall is thinner than this model says",
    ]
    if plug:
        notes.append(
            f"plug assist {percent(plug)}: that share of the wall is taken as even (common practice)"
        )
    warnings = []
    deep = body.depth / (2.0 * float(body.radius[-1]))
    if deep > USUAL_DEPTH and not plug:
        warnings.append(
            f"depth {figure(deep, 2)} times the width of the opening, without plug assist: unusual (common "
            "practice)"
        )
    if least < USUAL_THINNEST * sheet:
        warnings.append(
            f"the thinnest place has {percent(least / sheet)} of the sheet: hardly formed so (common "
            "practice)"
        )
    if area < opening:
        warnings.append("the formed area is less than that of the sheet drawn in: check opening_area")
    return tuple(notes), (*warnings, *too_tall(formed))


def _checked(
    sheet: float, opening_area: float | None, free_sheet: str, corner_radius: float, plug_assist: float
) -> tuple[str, ...]:
    check = Checks()
    check.positive(sheet=sheet)
    check.not_negative(corner_radius=corner_radius)
    check.share(plug_assist=plug_assist)
    if opening_area is not None and not (math.isfinite(opening_area) and opening_area > 0):
        check.fault(
            f"opening_area is {opening_area:g} m2",
            field="opening_area",
            hint="it must be a finite number larger than zero",
        )
    if free_sheet not in FREE_SHEETS:
        check.fault(f"free_sheet is '{free_sheet}'", field="free_sheet", hint="write dome or flat")
    return check.finish()

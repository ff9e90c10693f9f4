"""What a surface looks like from height to height: areas, radius, section and perimeter of its rows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.pieces import Array, Pieces
from optimizer.geometry.words import percent

#: Most rows along the axis, fewest, and pieces that one row has to span.
ROWS, FEWEST, PIECES_A_ROW = 200, 10, 2.5
#: Directions in which a section that is not round is looked at.
SECTORS = 144
#: A piece whose rise is less than this times its size lies flat across the axis.
FLAT = 1e-3
#: A piece taller than this share of the whole is coarse.
TALL = 0.1
#: A hole round the axis with less than this share of the part's radius, or with as much of a base beside it
#: as half of the lowest section, is none.
HOLE, HALF_A_BASE = 0.3, 0.5
#: What lies flat below this share of the height is the base.
LOWEST = 0.02


@dataclass(frozen=True)
class Meridian:
    """Rows of a surface along its axis, lowest first.

    edges (k + 1,) [m]: heights between which the rows lie; the last is the height of the whole. area (k,)
    [m2]: of all pieces; wall (k,) [m2]: without those that lie flat. radius (k,) [m]: mean by area of the
    wall, NaN where a row has none. arc (k,) [m]: length of the meridian, flat faces with it. section (k,)
    [m2]: what the wall encloses at the middle of the row; perimeter (k,) [m] of the section; lean (k,) [-]:
    sine of the angle between wall and axis, positive where the body widens upward. outline (SECTORS,) [-]:
    radius in each direction from -pi over that of the circle of the same area, of a section at a third of the
    height, or None where sections are round.
    """

    edges: Array
    area: Array
    wall: Array
    radius: Array
    arc: Array
    section: Array
    perimeter: Array
    lean: Array
    outline: Array | None = None

    @property
    def height(self) -> Array:
        """Middle of each row [m]."""
        return (self.edges[:-1] + self.edges[1:]) / 2

    @property
    def rise(self) -> Array:
        """Height of each row [m]."""
        return np.diff(self.edges)

    @property
    def total(self) -> float:
        """Height of the whole [m]."""
        return float(self.edges[-1])


def spans(pieces: Pieces) -> tuple[Array, Array]:
    """Lowest and highest point [m] of each piece; where they are not known, its centre for both."""
    if pieces.span is None:
        return pieces.height, pieces.height
    return pieces.span[:, 0], pieces.span[:, 1]


def flat_pieces(pieces: Pieces) -> NDArray[np.bool_]:
    """Which pieces lie flat across the axis: a base, a flange. None where the spans are not known."""
    low, high = spans(pieces)
    return (high - low <= FLAT * np.sqrt(pieces.area)) & (pieces.span is not None)


def total_height(pieces: Pieces) -> float:
    """Height [m] of the whole; without spans the highest centre lies as far from the top as the lowest from
    0."""
    if pieces.span is not None:
        return float(pieces.span[:, 1].max())
    return float(pieces.height.max() + max(pieces.height.min(), 0.0))


def too_tall(pieces: Pieces) -> tuple[str, ...]:
    """A warning where many pieces are tall against the whole: one thickness each cannot follow the height."""
    low, high = spans(pieces)
    share = float(pieces.area[high - low > TALL * total_height(pieces)].sum() / pieces.area.sum())
    if share < 0.05:
        return ()
    return (
        f"{percent(share)} of the area lies on faces taller than {percent(TALL)} of the part, each with one "
        "thickness: a finer mesh would tell more",
    )


def is_open_below(pieces: Pieces, meridian: Meridian) -> bool:
    """Whether the wall has no base: nothing crosses the axis, and next to nothing lies flat at the lower end.

    pieces: those of the whole part that could be its base; meridian: of the whole part.
    """
    known = (meridian.section > 0) & (meridian.perimeter > 0)
    if not known.any():
        return False
    # of a long section the axis is near the long sides: the hydraulic radius is as near
    wide = float((2.0 * meridian.section[known] / meridian.perimeter[known]).max())
    if float(pieces.radius.min()) < HOLE * wide:
        return False
    base = flat_pieces(pieces) & (pieces.height < LOWEST * meridian.total)
    return float(pieces.area[base].sum()) < HALF_A_BASE * float(meridian.section[known][0])


def grain(pieces: Pieces) -> float:
    """Size of the pieces [m] along the wall."""
    flat = flat_pieces(pieces)
    if pieces.span is None or flat.all():
        return float(np.median(np.sqrt(pieces.area)))
    return float(np.median((pieces.span[:, 1] - pieces.span[:, 0])[~flat]))


def meridian_of(pieces: Pieces, rows: int | None = None) -> Meridian:
    """Rows of equal height, by default as many as the pieces allow; a piece is spread evenly over its span.

    Sections are those of the polygon through the mean points in ``SECTORS`` directions, or the circle of the
    mean radius where bands run all round. Exact for bodies of revolution in the limit of small pieces, good
    to a few 1e-3 on a fine mesh; pieces that are tall against a row blur it. ``pieces`` has to be the whole
    part.
    """
    total = total_height(pieces)
    if rows is None:
        rows = int(np.clip(total / (PIECES_A_ROW * grain(pieces)), FEWEST, ROWS))
    edges = np.linspace(0.0, total, rows + 1)
    flat = flat_pieces(pieces)
    wall_area = np.where(flat, 0.0, pieces.area)
    near_axis = np.maximum(pieces.radius, 1e-9 * total)
    columns = (pieces.area, wall_area, wall_area * pieces.radius, pieces.area / (2.0 * math.pi * near_axis))
    area, wall, moment, arc = spread(pieces, edges, *columns)
    with np.errstate(invalid="ignore", divide="ignore"):
        radius = np.where(wall > 1e-9 * area.sum() / rows, moment / wall, np.nan)
    section, outline = _sections(pieces.take(~flat), edges, radius)
    growth = np.gradient(section, edge_order=2) * rows / max(total, 1e-12)
    per_height = wall * rows / max(total, 1e-12)
    # homothetic sections: growth = P tan(angle) and wall per height = P / cos(angle)
    lean = np.clip(growth / np.maximum(per_height, 1e-300), -0.999, 0.999)
    return Meridian(
        edges, area, wall, radius, arc, section, per_height * np.sqrt(1.0 - lean**2), lean, outline
    )


def spread(pieces: Pieces, edges: Array, *weights: Array) -> list[Array]:
    """Sum of each weight (n,) in the rows between ``edges``, every piece spread evenly over its span."""
    low, high = (np.clip(v, edges[0], edges[-1]) for v in spans(pieces))
    thin = high - low <= 1e-3 * (edges[-1] - edges[0]) / (len(edges) - 1)
    row = np.clip(np.searchsorted(edges, pieces.height[thin], side="right") - 1, 0, len(edges) - 2)
    low, high = low[~thin], high[~thin]
    by_low, by_high = np.argsort(low), np.argsort(high)
    started, ended = (np.searchsorted(v[o], edges) for v, o in ((low, by_low), (high, by_high)))
    found: list[Array] = []
    for weight in weights:
        rate = weight[~thin] / (high - low)
        below = np.zeros(len(edges))
        for place, order, upto, sign in ((low, by_low, started, 1.0), (high, by_high, ended, -1.0)):
            sums = _from_zero(rate[order])[upto], _from_zero((rate * place)[order])[upto]
            below += sign * (edges * sums[0] - sums[1])
        flat = np.bincount(row, weight[thin], minlength=len(edges) - 1).astype(float)
        found.append(np.maximum(np.diff(below), 0.0) + flat)
    return found


def _from_zero(values: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(values)])


def _sections(wall: Pieces, edges: Array, radius: Array) -> tuple[Array, Array | None]:
    """Area enclosed by the wall at the middle of each row, and the lowest outline where it is not round."""
    middle = (edges[:-1] + edges[1:]) / 2
    known = np.isfinite(radius)
    if not known.any():
        return np.zeros(len(middle)), None
    round_one = np.interp(middle, middle[known], math.pi * radius[known] ** 2)
    if len(wall) == 0 or not np.isfinite(wall.angle).all():
        return round_one, None
    # rows coarse enough to have two pieces in every direction
    rows = int(np.clip(len(wall) // (2 * SECTORS), 1, len(middle)))
    sector = np.minimum(((wall.angle + math.pi) / (2.0 * math.pi) * SECTORS).astype(int), SECTORS - 1)
    row = np.minimum((wall.height / edges[-1] * rows).astype(int), rows - 1)
    cell = row * SECTORS + sector
    sums = [
        np.bincount(cell, wall.area * v, minlength=rows * SECTORS).reshape(rows, SECTORS)
        for v in (
            np.ones(len(wall)),
            wall.radius * np.cos(wall.angle),
            wall.radius * np.sin(wall.angle),
            wall.height,
        )
    ]
    heights, areas, outlines = [], [], []
    for size, x, y, up in zip(*sums, strict=True):
        full = size > 0
        if full.sum() < 8:
            continue
        corner_x, corner_y = x[full] / size[full], y[full] / size[full]
        enclosed = _shoelace(corner_x, corner_y)
        heights.append(float(up.sum() / size.sum()))
        areas.append(enclosed)
        radii = np.hypot(corner_x, corner_y) / math.sqrt(enclosed / math.pi)
        at = np.arange(SECTORS)
        outlines.append(np.interp(at, at[full], radii, period=SECTORS))
    if not heights:
        return round_one, None
    chosen = int(np.abs(np.array(heights) - edges[-1] / 3).argmin())
    return _along(middle, np.array(heights), np.array(areas)), outlines[chosen]


def _shoelace(x: Array, y: Array) -> float:
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def _along(at: Array, heights: Array, values: Array) -> Array:
    """Linear between the heights and beyond the first and last of them, never below zero."""
    if len(heights) < 2:
        return np.full(len(at), values[0])
    found = np.interp(at, heights, values)
    for first, second, outside in ((0, 1, at < heights[0]), (-1, -2, at > heights[-1])):
        rate = (values[first] - values[second]) / (heights[first] - heights[second])
        found[outside] = values[first] + rate * (at[outside] - heights[first])
    return np.maximum(found, 0.0)

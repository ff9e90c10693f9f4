"""From a field of wall thickness to the patches that stand for it, and what the field does to the answer."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.bearing import too_thick
from optimizer.geometry.classes import Classes, classes_of, dot
from optimizer.geometry.pieces import LocalThickness, Pieces
from optimizer.geometry.surface import Patch, Surface, Unevenness
from optimizer.geometry.words import percent

Array = NDArray[np.float64]

#: Share of the area that must have a thickness.
LEAST_ACCOUNTED = 0.99
#: Cells of height in which the thinnest places are looked for.
_CELLS = 40
#: Ratios closer than this are one thickness.
_EVEN = 1e-9


def field_surface(
    pieces: Pieces,
    local: LocalThickness,
    nominal: float,
    *,
    volume: float | None,
    volume_rate: float = 0.0,
    largest_thickness: float = math.inf,
    notes: tuple[str, ...] = (),
    warnings: tuple[str, ...] = (),
) -> Surface:
    """The surface of a part whose wall is ``local`` thick where ``nominal`` [m] is the sum of its layers.

    volume [m3], volume_rate [m2], largest_thickness [m]: as ``Surface`` has them, the last two for a wall of
    even thickness. Pieces without a thickness share that of the others, up to 1 % of the area; raises
    GeometryError beyond that, and for a thickness that is not above zero.
    """
    used = pieces if local.counted is None else pieces.take(local.counted)
    thickness = local.thickness if local.counted is None else local.thickness[local.counted]
    known = np.isfinite(thickness)
    total = float(used.area.sum())
    if not total > 0:
        raise GeometryError(
            "no area is left to have a thickness", field="thickness", hint="check the part and its regions"
        )
    accounted = float(used.area[known].sum()) / total
    if accounted < LEAST_ACCOUNTED:
        raise GeometryError(
            f"only {100 * accounted:.1f} % of the area has a thickness ({local.method})",
            field="thickness",
            hint="at least 99 % of the area must have one: complete the table, or repair the mesh",
        )
    if not np.all(thickness[known] > 0):
        raise GeometryError(
            f"a wall thickness is not above zero ({local.method})",
            field="thickness",
            hint="every thickness must be above zero",
        )
    remarks = list(warnings) + list(local.warnings)
    if accounted < 1.0:
        remarks.append(
            f"{percent(1 - accounted)} of the area has no thickness ({local.method}) and is taken to be as "
            "thick as the rest"
        )
    if not known.all():
        used, thickness = used.take(known), thickness[known]
    remarks += too_thick(used, thickness)
    ratio, share = thickness / nominal, 1.0 / accounted
    classes = classes_of(ratio, share * used.area)
    patches = _patches(classes, used, ratio, share)
    return Surface(
        patches,
        volume,
        volume_rate * sum(p.area * p.ratio for p in patches) / sum(p.area for p in patches),
        (*notes, *local.notes),
        largest_thickness / float(ratio.max()),
        tuple(remarks),
        unevenness_of(used, ratio, classes, local),
    )


def _patches(classes: Classes, pieces: Pieces, ratio: Array, share: float) -> tuple[Patch, ...]:
    """One patch for each class; together they keep how area, conductance and mass change with thickness."""
    # a piece's area changes by slope * t and curvature * t**2, with t its own thickness
    slope = _spread(classes, share * pieces.slope, ratio, (0, 1, 2))
    curvature = _spread(classes, share * pieces.curvature, ratio, (1, 2, 3))
    return tuple(
        Patch(float(a), float(r), float(s), float(c))
        for a, r, s, c in zip(classes.area, classes.ratio, slope, curvature, strict=True)
    )


def _spread(classes: Classes, amount: Array, ratio: Array, powers: tuple[int, ...]) -> Array:
    """An amount of every piece (n,) dealt out to the classes so that sums of amount * ratio**power stay."""
    if len(classes.ratio) == 1:
        return np.array([amount.sum()])
    kept = powers[: len(classes.ratio)]
    basis = np.stack([classes.area * classes.ratio**k for k in range(len(kept))], axis=1)
    moments = np.stack([classes.ratio**p for p in kept]) @ basis
    wanted = []
    moment = amount * ratio ** kept[0]
    for _ in kept:  # powers one above the other, without the slow general power
        wanted.append(moment.sum())
        moment = moment * ratio
    dealt: Array = basis @ np.linalg.lstsq(moments, np.array(wanted), rcond=None)[0]
    return dealt


def unevenness_of(pieces: Pieces, ratio: Array, classes: Classes, local: LocalThickness) -> Unevenness | None:
    """How uneven the wall is; None where it has one thickness that was not estimated."""
    if float(ratio.max() - ratio.min()) <= _EVEN * float(ratio.max()) and not local.estimate:
        return None
    order = np.argsort(ratio, kind="stable")
    area, r = pieces.area[order], ratio[order]
    total, flow = float(area.sum()), float((area / r).sum())
    reached = np.cumsum(area) / total
    mean = dot(area, r) / total
    tenth = np.searchsorted(reached, 0.1) + 1
    # the piece in which the tenth ends counts in part
    over = max(float(reached[tenth - 1]) - 0.1, 0.0) * total / float(r[tenth - 1])
    worst = max(float((area[:tenth] / r[:tenth]).sum()) - over, 0.0) / flow
    return Unevenness(
        mean=mean,
        least=float(r[0]),
        most=float(r[-1]),
        p05=float(r[np.searchsorted(reached, 0.05)]),
        p95=float(r[min(int(np.searchsorted(reached, 0.95)), len(r) - 1)]),
        spread=math.sqrt(max(dot(area, (r - mean) ** 2) / total, 0.0)) / mean,
        flattery=1.0 - total / mean / flow,
        worst_share=worst,
        worst_place=_place(pieces.height, order[:tenth], area[:tenth]),
        classes=len(classes.ratio),
        class_error=classes.error,
        method=local.method,
        estimate=local.estimate,
    )


def _place(heights: Array, some: NDArray[np.intp], area: Array) -> str:
    """Heights at which some of the pieces lie, in words: the bands that hold nine tenths of their area."""
    low, high, height = float(heights.min()), float(heights.max()), heights[some]
    if high - low < 1e-9:
        return f"at a height of {_mm(low)} mm"
    cells = np.minimum(((height - low) / (high - low) * _CELLS).astype(int), _CELLS - 1)
    held = np.bincount(cells, area, _CELLS)
    # the fullest cells that together hold nine tenths, joined over gaps of a tenth of the height
    fullest = np.argsort(held)[::-1]
    count = int(np.searchsorted(np.cumsum(held[fullest]), 0.9 * held.sum())) + 1
    bands: list[list[int]] = []
    for cell in sorted(fullest[:count].tolist()):
        if bands and cell - bands[-1][1] <= _CELLS // 10:
            bands[-1][1] = cell
        else:
            bands.append([cell, cell])
    said = []
    for first, last in bands:
        own = height[(cells >= first) & (cells <= last)]
        ends = _mm(float(own.min())), _mm(float(own.max()))
        said.append(ends[0] if ends[0] == ends[1] else " to ".join(ends))
    return f"at heights of {' and '.join((', '.join(said[:-1]), said[-1])) if len(said) > 1 else said[0]} mm"


def _mm(metres: float) -> str:
    """A height to the millimetre, or to a tenth below 10 mm."""
    return f"{1e3 * metres:.1f}" if metres < 0.00995 else f"{1e3 * metres:.0f}"

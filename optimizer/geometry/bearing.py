"""Whether a surface is flat enough for its wall: in the middle of one too thick hardly any area is left."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.pieces import Array, Pieces
from optimizer.geometry.words import figure, mm, percent

#: The middle of a wall with less than this share of the area of the surface as given. In a tube given by its
#: outside it is reached when a fifth of the radius is left inside; from there the mid-wall area over the
#: thickness is 20 % above the exact conductance 2 pi / ln(r2/r1).
LEAST_LEFT = 0.6
#: Height up and down over which the area is summed, in thicknesses: a sharp edge of 90 degrees takes away the
#: middle of half a thickness on either side of it, and of so much height it leaves two thirds.
_REACH = 1.5
#: A wall of more than this share of the distance from the axis is not thick beside an edge alone.
_ROUND = 0.6
#: So much of the area may have it.
_FEW = 1e-3


def too_thick(pieces: Pieces, thickness: Array) -> tuple[str, ...]:
    """A warning where the wall (n,) [m] is thicker than the curvature of the surface bears."""
    middle = pieces.area + (pieces.slope + pieces.curvature * thickness) * thickness
    round_it = (middle < LEAST_LEFT * pieces.area) & (thickness > _ROUND * pieces.radius)
    bad = round_it | (_left(pieces, middle, thickness) < LEAST_LEFT)
    share = float(pieces.area[bad].sum() / pieces.area.sum())
    if share < _FEW:
        return ()
    height = pieces.height[bad]
    return (
        f"{percent(share)} of the area, at heights of {figure(1e3 * float(height.min()))} to "
        f"{mm(float(height.max()))}, is bent more than its wall bears: in the middle of up to "
        f"{mm(float(thickness[bad].max()))} less than {percent(LEAST_LEFT)} of the area is left; are the "
        "units of part and thickness right?",
    )


def _left(pieces: Pieces, middle: Array, thickness: Array) -> Array:
    """Middle over area (n,), summed over some height round each piece."""
    order = np.argsort(pieces.height, kind="stable")
    height, reach = pieces.height[order], _REACH * thickness[order]
    low = np.searchsorted(height, height - reach, side="left")
    high = np.searchsorted(height, height + reach, side="right")
    found = np.empty(len(order))
    found[order] = _between(middle[order], low, high) / _between(pieces.area[order], low, high)
    return found


def _between(values: Array, low: NDArray[np.intp], high: NDArray[np.intp]) -> Array:
    sums = np.concatenate([[0.0], np.cumsum(values)])
    found: Array = sums[high] - sums[low]
    return found

"""What the colours of a picture say: one colour, a quantity from place to place, or names of regions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.report.thinned import Array

#: A surface of which nothing is said.
PLAIN = "#c3d0dc"
#: Where a thickness is not known, or that no region takes.
UNKNOWN = "#a9adb1"
#: From thin to thick: red warns, and red and blue are told apart by most who see few colours.
_THICKNESS = ("#b5322a", "#e2703f", "#f2b866", "#f3e3b3", "#b7d3de", "#6fa3c7", "#2f6699")
#: From low to high of any quantity: every step is darker than the one before, so that the order is seen
#: without telling hues apart, and in black and white.
SEQUENCE = ("#f6e8ae", "#f3c273", "#ea965f", "#d46868", "#ac4c7e", "#7e3d86", "#54327c")
_STEPS = 18
#: Told apart by most who see few colours. Source: M. Okabe and K. Ito, Color Universal Design, 2008.
_NAMED = ("#56b4e9", "#e69f00", "#009e73", "#f0e442", "#cc79a7", "#0072b2", "#d55e00", "#999999")


@dataclass(frozen=True)
class Colours:
    """value (m,): of each face, NaN where there is none; smooth: a quantity, else numbers into ``names``.

    palette: '#rrggbb'; the last one is that of a face without value. low, high: the values of the first and
    the last colour but one. title: of the legend, with the unit; shown: factor from values to that unit.
    """

    value: Array
    smooth: bool
    palette: tuple[str, ...]
    title: str = ""
    names: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 0.0
    shown: float = 1.0

    def of(self, value: Array) -> NDArray[np.int64]:
        """Number into ``palette`` of each value."""
        last = len(self.palette) - 1
        known = np.isfinite(value)
        if not last:
            return np.zeros(len(value), dtype=np.int64)
        if self.smooth:
            share = (np.where(known, value, self.low) - self.low) / (self.high - self.low)
            number = np.floor(np.clip(share, 0.0, 1.0) * last).astype(np.int64)
            number = np.minimum(number, last - 1)
        else:
            number = np.where(known, value, 0.0).astype(np.int64) % last
        return np.where(known, number, last)


def plain_colours(faces: int) -> Colours:
    """One colour for so many faces."""
    return Colours(np.full(faces, np.nan), True, (PLAIN,))


def thickness_colours(thickness: Array, title: str = "wall thickness, um") -> Colours:
    """Colours of a thickness at each face (m,) [m], NaN where it is not known; none known: one colour."""
    return quantity_colours(thickness, title, 1e6, _THICKNESS)


def quantity_colours(
    value: Array,
    title: str,
    shown: float = 1.0,
    ramp: Sequence[str] = SEQUENCE,
    span: tuple[float, float] | None = None,
) -> Colours:
    """Colours of a quantity at each face (m,), NaN where it has none; none at all: one colour.

    title: of the legend, with the unit; shown: factor from values to that unit. The range leaves out the
    lowest and the highest hundredth of the faces, which take the end colours; span: another range.
    """
    known = value[np.isfinite(value)]
    if not len(known):
        return plain_colours(len(value))
    low, high = span or (float(x) for x in np.percentile(known, [1.0, 99.0]))
    if not high - low > 1e-6 * high:
        low, high = 0.99 * low, 1.01 * high
    if not high > low:  # all are zero
        high = low + 1.0
    return Colours(value, True, (*_steps(ramp), UNKNOWN), title, (), low, high, shown)


def region_colours(region: NDArray[np.int64], names: Sequence[str], title: str = "regions") -> Colours:
    """Colours of the region of each face (m,), a number into ``names``, -1 for none."""
    palette = tuple(_NAMED[k % len(_NAMED)] for k in range(len(names)))
    value = np.where(region >= 0, region.astype(float), np.nan)
    return Colours(value, False, (*palette, UNKNOWN), title, tuple(names))


def _steps(ramp: Sequence[str]) -> list[str]:
    """``_STEPS`` colours between those of a ramp, evenly spread."""
    stops = np.array([[int(c[k : k + 2], 16) for k in (1, 3, 5)] for c in ramp], dtype=float)
    at = np.linspace(0.0, len(ramp) - 1.0, _STEPS)
    rgb = np.stack([np.interp(at, np.arange(len(ramp)), stops[:, k]) for k in range(3)], axis=1)
    return ["#" + "".join(f"{round(x):02x}" for x in row) for row in rgb.tolist()]

"""The scale of the designed walls' conductances at which a limit is just met."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Scales of the designed walls between which the critical one is looked for, and the step outwards.
_LEAST_SCALE, _LARGEST_SCALE, _OUTWARD = 1e-6, 1e6, 8.0
_NEAR = np.geomspace(0.6, 1.7, 13)


def critical_scale(excess: Callable[[Array], Array]) -> float:
    """Scale at which the limit is just met: 0 if no scale meets it, inf if every scale does.

    Looks near 1 first, where a reference that was designed lies, then outwards step by step.
    """
    grid = _NEAR
    values = excess(grid)
    while values[0] > 0:
        if grid[0] < _LEAST_SCALE:
            return 0.0
        grid = np.geomspace(grid[0] / _OUTWARD, grid[0], 8)
        values = excess(grid)
    while not np.any(values > 0):
        if grid[-1] > _LARGEST_SCALE:
            return np.inf
        grid = np.geomspace(grid[-1], _OUTWARD * grid[-1], 8)
        values = excess(grid)
    for rounds_left in reversed(range(3)):
        first = int(np.argmax(values > 0))
        low, high = float(grid[first - 1]), float(grid[first])
        fraction = float(values[first - 1] / (values[first - 1] - values[first]))
        if rounds_left == 0 or high / low < 1.0002:
            break
        # a narrow grid around the straight-line guess, with the bracket's ends kept
        middle = low + fraction * (high - low)
        width = (high - low) * 0.05
        inner = np.linspace(max(low, middle - width), min(high, middle + width), 9)
        grid = np.unique(np.concatenate([[low], inner, [high]]))
        values = excess(grid)
        if values[0] > 0:
            return low
    return low + fraction * (high - low)

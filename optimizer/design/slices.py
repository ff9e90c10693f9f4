"""Slices of time in nearly the same surroundings, taken together where there are thousands (hourly weather).

The simulation keeps every slice. Together are only the slices whose weight in a linearised row is asked for:
the row then holds at one representative environment for each group, with the weight that makes it exact for
the reference structure.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Group = NDArray[np.intp]

#: Up to so many slices each is a group of its own; more are put into ``GROUPS`` groups.
MOST_SLICES, GROUPS = 60, 48
#: Differences of temperature [K] and water activity [-] that change a permeability about as much.
_KELVIN, _ACTIVITY = 5.0, 0.1


def group_slices(temperature: Array, inside: Array, outside: Array, duration: Array) -> list[Group]:
    """Indices of the slices in each group. All arrays (S,): temperature [K], water activities [-], weight.

    The group whose slices differ most, by weight, is cut at its mean until there are ``GROUPS``.
    """
    count = len(temperature)
    if count <= MOST_SLICES:
        return [np.array([s]) for s in range(count)]
    points = np.stack([temperature / _KELVIN, inside / _ACTIVITY, outside / _ACTIVITY], axis=1)
    groups = [np.arange(count)]
    while len(groups) < GROUPS:
        spreads = [_spread(points[g], duration[g]) for g in groups]
        worst = int(np.argmax([s.max() for s in spreads]))
        if spreads[worst].max() <= 1e-12:
            break
        axis = int(np.argmax(spreads[worst]))
        group = groups.pop(worst)
        values = points[group, axis]
        high = values > np.average(values, weights=duration[group])
        groups[worst:worst] = [group[~high], group[high]]
    return groups


def _spread(points: Array, weight: Array) -> Array:
    """Sum of weight times squared distance from the mean, along each axis."""
    mean = np.average(points, axis=0, weights=weight)
    spread: Array = weight @ (points - mean) ** 2
    return spread

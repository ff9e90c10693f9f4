"""Holes of different sizes: a lognormal distribution as a few sizes that let through as much."""

from __future__ import annotations

import math

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray

from optimizer.physics.leaks import DIFFUSIVITY_IN_AIR, hole_conductance

Array = NDArray[np.float64]

#: Largest geometric standard deviation: beyond it a few huge holes decide, which nobody would call pinholes.
WIDEST_SPREAD = 3.0
#: The few sizes let through as much as the whole distribution to this share.
ACCURACY = 1e-6
#: Sizes of the reference, and temperatures [K] at which both are compared.
_MANY, _TEMPERATURES = 80, (243.15, 296.15, 353.15)


def sizes_of(median: float, spread: float, count: float, length: float) -> tuple[tuple[float, float], ...]:
    """(diameter [m], count) of a few sizes that stand for ``count`` holes with lognormal diameters.

    median: of the diameters by number [m]; spread: geometric standard deviation, from 1 (all the same) to
    ``WIDEST_SPREAD``; length of the holes [m]. The conductance of all is that of the distribution to
    ``ACCURACY``, for every gas (Gauss-Hermite quadrature in the logarithm of the diameter).

    Raises ValueError for a spread out of range."""
    if not 1.0 <= spread <= WIDEST_SPREAD:
        raise ValueError(f"the spread must lie between 1 and {WIDEST_SPREAD:g}")
    if spread == 1.0:
        return ((median, count),)
    whole = _total(*_rule(median, spread, _MANY), length)
    for points in range(1, _MANY):
        diameters, shares = _rule(median, spread, points)
        if np.all(np.abs(_total(diameters, shares, length) / whole - 1.0) < 0.5 * ACCURACY):
            break
    rows = zip(diameters.tolist(), shares.tolist(), strict=True)
    return tuple((diameter, count * share) for diameter, share in rows)


def _rule(median: float, spread: float, points: int) -> tuple[Array, Array]:
    """Diameters [m] and shares of the number of holes (points,)."""
    nodes, weights = hermegauss(points)
    return median * np.exp(math.log(spread) * nodes), weights / weights.sum()


def _total(diameters: Array, shares: Array, length: float) -> Array:
    """Mean conductance of a hole, by gas and temperature."""
    total = np.zeros((len(DIFFUSIVITY_IN_AIR), len(_TEMPERATURES)))
    for diameter, share in zip(diameters.tolist(), shares.tolist(), strict=True):
        for row, gas in zip(total, DIFFUSIVITY_IN_AIR, strict=True):
            row += share * hole_conductance(gas, diameter, length, _TEMPERATURES)
    return total

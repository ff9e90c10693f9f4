"""Air that changes by the hour: what a warehouse makes of the weather, and one temperature for a climate."""

from __future__ import annotations

import math
from itertools import accumulate
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import GAS_CONSTANT
from optimizer.physics.water import saturation_pressure

Array = NDArray[np.float64]


class Air(NamedTuple):
    """temperature [K] and humidity (water activity) [-], both (N,); capped: steps at which the humidity would
    have been above 1."""

    temperature: Array
    humidity: Array
    capped: int


def lagged(outside: ArrayLike, step: float, constant: float) -> Array:
    """Mean in every step of x with dx/dt = (outside - x) / constant, ``outside`` (N,) held over each step.

    step, constant [s]. The outside repeats for ever, and x is the periodic answer, so its mean over all steps
    is that of the outside. Exact: x = outside + (x0 - outside) exp(-t / constant) within a step.
    """
    values = np.asarray(outside, dtype=float)
    keep = float(np.exp(-step / constant))
    gain = -float(np.expm1(-step / constant))
    driven = list(accumulate(values.tolist(), lambda x, u: keep * x + gain * u, initial=0.0))
    # from x0 = 0 the last is what one period adds; the periodic state adds the same to keep^N of itself
    first = driven[-1] / -float(np.expm1(-step * len(values) / constant))
    opening = np.array(driven[:-1]) + first * np.exp(-step / constant * np.arange(len(values)))
    mean_of_decay = gain * constant / step
    mean: Array = values + (opening - values) * mean_of_decay
    return mean


def damped(temperature: ArrayLike, humidity: ArrayLike, step: float, constant: float) -> Air:
    """Air in a building that follows the weather with a first-order time ``constant`` [s].

    temperature [K], humidity [-] outside, both (N,), every ``step`` [s]. Temperature and vapour pressure
    follow with the same constant; the humidity is the one over the other's saturation pressure, at most 1.
    """
    outside = np.asarray(temperature, dtype=float)
    # rounding must not take it beyond what was outside
    inside = np.clip(lagged(outside, step, constant), outside.min(), outside.max())
    vapour = lagged(np.asarray(humidity, dtype=float) * saturation_pressure(outside), step, constant)
    share = vapour / saturation_pressure(inside)
    return Air(inside, np.minimum(share, 1.0), int(np.count_nonzero(share > 1.0 + 1e-9)))


def effective_temperature(temperature: ArrayLike, energy: float, weight: ArrayLike | None = None) -> float:
    """Constant temperature [K] with the same mean of exp(-energy / (R T)) as ``temperature`` (N,) [K].

    energy [J/mol], not 0; weight (N,): durations, default equal. With 83.14472 kJ/mol this is the mean
    kinetic temperature of pharmaceutical storage (Haynes 1971, from memory); permeation has its own energy,
    30 to 45 kJ/mol for most polymers.
    """
    t = np.asarray(temperature, dtype=float)
    coldest = float(t.min())
    share = np.ones_like(t) if weight is None else np.asarray(weight, dtype=float)
    rate = float(np.exp(energy / GAS_CONSTANT * (1.0 / coldest - 1.0 / t)) @ share) / float(share.sum())
    return 1.0 / (1.0 / coldest - GAS_CONSTANT / energy * math.log(rate))

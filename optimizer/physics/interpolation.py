"""Monotone, shape-preserving interpolation (no overshoot between measured points).

Source: Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300: harmonic mean of neighbouring slopes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def pchip_slopes(x: Array, y: Array) -> Array:
    """Slopes at the knots ``x`` (n,) increasing, values ``y`` (n,); monotone wherever the data are."""
    h = np.diff(x)
    delta = np.diff(y) / h
    if len(x) == 2:
        return np.array([delta[0], delta[0]])
    slope = np.zeros_like(y)
    same_sign = delta[:-1] * delta[1:] > 0
    w1 = 2 * h[1:] + h[:-1]
    w2 = h[1:] + 2 * h[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        harmonic = (w1 + w2) / (w1 / delta[:-1] + w2 / delta[1:])
    slope[1:-1] = np.where(same_sign, harmonic, 0.0)
    slope[0] = _end_slope(h[0], h[1], delta[0], delta[1])
    slope[-1] = _end_slope(h[-1], h[-2], delta[-1], delta[-2])
    return slope


def _end_slope(h0: float, h1: float, d0: float, d1: float) -> float:
    """Three-point end slope, limited so that it keeps the sign and at most three times the end chord."""
    slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    if np.sign(slope) != np.sign(d0):
        return 0.0
    if np.sign(d0) != np.sign(d1) and abs(slope) > 3 * abs(d0):
        return float(3 * d0)
    return float(slope)


def pchip(x: ArrayLike, y: ArrayLike, at: ArrayLike) -> Array:
    """Interpolate ``y`` (n,) over ``x`` (n,) at any points ``at``; held flat outside the knots."""
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    points = np.asarray(at, dtype=float)
    if len(xs) == 1:
        return np.full(points.shape, ys[0])
    slope = pchip_slopes(xs, ys)
    p = np.clip(points, xs[0], xs[-1])
    k = np.clip(np.searchsorted(xs, p, side="right") - 1, 0, len(xs) - 2)
    h = xs[k + 1] - xs[k]
    t = (p - xs[k]) / h
    h00 = (1 + 2 * t) * (1 - t) ** 2
    h10 = t * (1 - t) ** 2
    h01 = t * t * (3 - 2 * t)
    h11 = t * t * (t - 1)
    value: Array = h00 * ys[k] + h10 * h * slope[k] + h01 * ys[k + 1] + h11 * h * slope[k + 1]
    return value

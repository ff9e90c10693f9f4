"""Where a function that is negative at 0 and not negative at ``end`` is zero, for floats and arrays.

A first guess from the cubic Hermite polynomial over 0..1, then secants, held inside the bracket. Functions
are costly to call: each call repeats part of a step.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: A move this small ends the search: the next would be smaller by orders.
_CLOSE = 1e-7
_CALLS = 80


def root_float(
    f: Callable[[float], float], m0: float, m1: float, s0: float, s1: float, end: float = 1.0
) -> float:
    """Zero of ``f`` in 0..end. m0 < 0, m1: values at 0 and 1; s0, s1: slopes there, for the guess."""
    lo, hi = 0.0, end
    t = min(m0 / (m0 - m1), 1.0) * end if m1 > m0 else 0.5 * end
    slope = m1 - m0
    for _ in range(4):
        one = 1.0 - t
        value = (1.0 + 2.0 * t) * one * one * m0 + t * t * (3.0 - 2.0 * t) * m1
        value += t * one * (one * s0 - t * s1)
        slope = 6.0 * t * one * (m1 - m0) + one * (1.0 - 3.0 * t) * s0 + t * (3.0 * t - 2.0) * s1
        new = t - value / slope if slope > 0.0 else -1.0
        if not lo < new < hi:
            break
        t = new
    t_last = m_last = 0.0
    for call in range(_CALLS):
        m = f(t)
        if m < 0.0:
            lo = t
        else:
            hi = t
        if m == 0.0 or hi - lo < 1e-13:
            break
        if call:
            slope = (m - m_last) / (t - t_last)
        new = t - m / slope if slope > 0.0 else -1.0
        # every fourth call halves the bracket, whatever the secants do
        inside = lo < new < hi and call % 4 != 3
        if not inside:
            new = 0.5 * (lo + hi)
        t_last, m_last, t = t, m, new
        if inside and abs(t - t_last) < _CLOSE:
            break
    return t


def root_array(
    f: Callable[[Array], Array],
    m0: Array,
    m1: Array,
    s0: Array,
    s1: Array,
    end: Array,
    wanted: NDArray[np.bool_],
) -> Array:
    """The same for every place of an array (B,) where ``wanted``; elsewhere ``end``."""
    lo, hi = np.zeros_like(m0), end.copy()
    rise = m1 - m0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        t = np.clip(np.nan_to_num(-m0 / rise, nan=0.5), 0.0, 1.0) * end
        slope = rise
        for _ in range(4):
            one = 1.0 - t
            value = (1.0 + 2.0 * t) * one * one * m0 + t * t * (3.0 - 2.0 * t) * m1
            value += t * one * (one * s0 - t * s1)
            slope = 6.0 * t * one * rise + one * (1.0 - 3.0 * t) * s0 + t * (3.0 * t - 2.0) * s1
            new = t - value / slope
            t = np.where((slope > 0.0) & (new > lo) & (new < hi), new, t)
        t = np.where(wanted, t, end)
        t_last, m_last = t, m0
        open_: NDArray[np.bool_] = wanted.astype(bool)
        for call in range(_CALLS):
            m = f(t)
            below = m < 0.0
            lo, hi = np.where(open_ & below, t, lo), np.where(open_ & ~below, t, hi)
            open_ = open_ & (m != 0.0) & (hi - lo > 1e-13)
            if call:
                slope = np.where(open_, (m - m_last) / (t - t_last), slope)
            new = t - m / slope
            inside = (slope > 0.0) & (new > lo) & (new < hi) & (call % 4 != 3)
            new = np.where(open_, np.where(inside, new, 0.5 * (lo + hi)), t)
            t_last, m_last, t = t, m, new
            open_ = open_ & ~(inside & (np.abs(t - t_last) < _CLOSE))
            if not open_.any():
                break
    return t

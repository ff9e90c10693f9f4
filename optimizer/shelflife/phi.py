"""The functions phi_1 to phi_5 of the exponential integrators.

phi_k(z) = integral over s from 0 to 1 of exp((1 - s) z) s^(k - 1) / (k - 1)! ds, so that
phi_k(z) = z phi_(k+1)(z) + 1/k!. Near zero phi_5 by its series and the others by that recurrence downwards,
elsewhere upwards from exp(z): the recurrence, on which the mole balance rests, holds to rounding either way.
Source: Hochbruck and Ostermann, Acta Numerica 19 (2010) 209, section 2.1.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, factorial
from typing import Any

import numpy as np

Value = Any
Phi = Callable[[Value], tuple[Value, Value, Value, Value, Value]]

_NEAR = 0.5
#: Terms of the series of phi_5, highest power first; the first one left out is below 1e-15 at 0.5.
_SERIES = tuple(1.0 / factorial(k + 5) for k in range(9, -1, -1))
_SIXTH, _TWENTY_FOURTH = 1.0 / 6.0, 1.0 / 24.0
#: Exponents are held below this: a step that would grow so far is refused by its error anyway.
_HIGHEST = 200.0


def phi_float(z: float) -> tuple[float, float, float, float, float]:
    """phi_1 to phi_5 of one number."""
    if -_NEAR < z < _NEAR:
        return _near_zero(z)  # type: ignore[return-value]
    inverse = 1.0 / z
    p1 = (exp(z if z < _HIGHEST else _HIGHEST) - 1.0) * inverse
    p2 = (p1 - 1.0) * inverse
    p3 = (p2 - 0.5) * inverse
    p4 = (p3 - _SIXTH) * inverse
    return p1, p2, p3, p4, (p4 - _TWENTY_FOURTH) * inverse


def phi_array(z: Value) -> tuple[Value, Value, Value, Value, Value]:
    """phi_1 to phi_5 of an array, each of its shape."""
    near = np.abs(z) < _NEAR
    if near.all():
        return _near_zero(z)
    if near.any():
        inner, outer = _near_zero(np.where(near, z, 0.0)), _far(np.where(near, -1.0, z))
        p1, p2, p3, p4, p5 = (np.where(near, a, b) for a, b in zip(inner, outer, strict=True))
        return p1, p2, p3, p4, p5
    return _far(z)


def _far(z: Value) -> tuple[Value, Value, Value, Value, Value]:
    inverse = 1.0 / z
    p1 = np.minimum(z, _HIGHEST)
    np.exp(p1, out=p1)
    p1 -= 1.0
    p1 *= inverse
    rows = [p1]
    for less in (1.0, 0.5, _SIXTH, _TWENTY_FOURTH):
        p = rows[-1] - less
        p *= inverse
        rows.append(p)
    return rows[0], rows[1], rows[2], rows[3], rows[4]


def _near_zero(z: Value) -> tuple[Value, Value, Value, Value, Value]:
    c9, c8, c7, c6, c5, c4, c3, c2, c1, c0 = _SERIES
    p5 = c0 + z * (
        c1 + z * (c2 + z * (c3 + z * (c4 + z * (c5 + z * (c6 + z * (c7 + z * (c8 + z * c9)))))))
    )
    p4 = _TWENTY_FOURTH + z * p5
    p3 = _SIXTH + z * p4
    p2 = 0.5 + z * p3
    return 1.0 + z * p2, p2, p3, p4, p5

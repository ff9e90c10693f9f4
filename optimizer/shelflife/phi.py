"""The functions phi_1 to phi_5 of the exponential integrators.

phi_k(z) = integral over s from 0 to 1 of exp((1 - s) z) s^(k - 1) / (k - 1)! ds, so that
phi_k(z) = z phi_(k+1)(z) + 1/k!. Near zero phi_5 by its series and the others by that recurrence downwards,
elsewhere upwards from exp(z): the recurrence, on which the mole balance rests, holds to rounding either way.
Source: Hochbruck and Ostermann, Acta Numerica 19 (2010) 209, section 2.1.
"""

from __future__ import annotations

from math import exp, factorial
from typing import Any

import numpy as np

Value = Any
Five = tuple[Value, Value, Value, Value, Value]
Six = tuple[Value, Value, Value, Value, Value, Value]

_NEAR = 0.5
#: Terms of the series of phi_5 and phi_3, lowest power first; left out is less than 1e-13 and,
#: in phi_3, which only serves the stages, 1e-11.
_F0, _F1, _F2, _F3, _F4, _F5, _F6, _F7, _F8 = (1.0 / factorial(k + 5) for k in range(9))
_T0, _T1, _T2, _T3, _T4, _T5, _T6, _T7, _T8 = (1.0 / factorial(k + 3) for k in range(9))
_SIXTH, _TWENTY_FOURTH = 1.0 / 6.0, 1.0 / 24.0
#: Exponents are held below this: a step that would grow so far is refused by its error anyway.
_HIGHEST = 200.0


def phi_float(z: float) -> tuple[float, float, float, float, float]:
    """phi_1 to phi_5 of one number."""
    if -_NEAR < z < _NEAR:
        p5 = _F0 + z * (_F1 + z * (_F2 + z * (_F3 + z * (_F4 + z * (_F5 + z * (_F6 + z * (_F7 + z * _F8)))))))
        p4 = _TWENTY_FOURTH + z * p5
        p3 = _SIXTH + z * p4
        p2 = 0.5 + z * p3
        return 1.0 + z * p2, p2, p3, p4, p5
    i = 1.0 / z
    p1 = (exp(z if z < _HIGHEST else _HIGHEST) - 1.0) * i
    p2 = (p1 - 1.0) * i
    p3 = (p2 - 0.5) * i
    p4 = (p3 - _SIXTH) * i
    return p1, p2, p3, p4, (p4 - _TWENTY_FOURTH) * i


def stages_float(z: float) -> tuple[float, float, float, float, float, float]:
    """phi_1 to phi_3 of z / 2, then of 0.9 z."""
    x, y = 0.5 * z, 0.9 * z
    if -_NEAR < y < _NEAR:
        q3 = _T0 + x * (_T1 + x * (_T2 + x * (_T3 + x * (_T4 + x * (_T5 + x * (_T6 + x * (_T7 + x * _T8)))))))
        s3 = _T0 + y * (_T1 + y * (_T2 + y * (_T3 + y * (_T4 + y * (_T5 + y * (_T6 + y * (_T7 + y * _T8)))))))
        q2, s2 = 0.5 + x * q3, 0.5 + y * s3
        return 1.0 + x * q2, q2, q3, 1.0 + y * s2, s2, s3
    i = 1.0 / x
    q1 = (exp(x if x < _HIGHEST else _HIGHEST) - 1.0) * i
    q2 = (q1 - 1.0) * i
    j = 1.0 / y
    s1 = (exp(y if y < _HIGHEST else _HIGHEST) - 1.0) * j
    s2 = (s1 - 1.0) * j
    return q1, q2, (q2 - 0.5) * i, s1, s2, (s2 - 0.5) * j


def phi_array(z: Value) -> Five:
    """phi_1 to phi_5 of an array, each of its shape; a number where all samples share one."""
    if np.ndim(z) == 0:
        return phi_float(float(z))
    near = np.abs(z) < _NEAR
    if near.all():
        return _five_near(z)
    if not near.any():
        return _five_far(z)
    inner, outer = _five_near(np.where(near, z, 0.0)), _five_far(np.where(near, -1.0, z))
    p1, p2, p3, p4, p5 = (np.where(near, a, b) for a, b in zip(inner, outer, strict=True))
    return p1, p2, p3, p4, p5


def stages_array(z: Value) -> Six:
    """phi_1 to phi_3 of z / 2, then of 0.9 z, each of the shape of ``z``."""
    if np.ndim(z) == 0:
        return stages_float(float(z))
    near = np.abs(z) < _NEAR
    if near.all():
        return (*_three_near(0.5 * z), *_three_near(0.9 * z))
    if not near.any():
        return (*_three_far(0.5 * z), *_three_far(0.9 * z))
    inner, outer = np.where(near, z, 0.0), np.where(near, -1.0, z)
    low = (*_three_near(0.5 * inner), *_three_near(0.9 * inner))
    high = (*_three_far(0.5 * outer), *_three_far(0.9 * outer))
    q1, q2, q3, s1, s2, s3 = (np.where(near, a, b) for a, b in zip(low, high, strict=True))
    return q1, q2, q3, s1, s2, s3


def _horner(z: Value, terms: tuple[float, ...]) -> Value:
    """Sum of terms[k] z^k, in place."""
    total = z * terms[-1]
    for term in terms[-2:0:-1]:
        total += term
        total *= z
    total += terms[0]
    return total


def _upwards(z: Value, start: Value, terms: tuple[float, ...]) -> list[Value]:
    """start, then z times the one before plus the next of ``terms``."""
    rows = [start]
    for term in terms:
        p = rows[-1] * z
        p += term
        rows.append(p)
    return rows


def _five_near(z: Value) -> Five:
    p5 = _horner(z, (_F0, _F1, _F2, _F3, _F4, _F5, _F6, _F7, _F8))
    _, p4, p3, p2, p1 = _upwards(z, p5, (_TWENTY_FOURTH, _SIXTH, 0.5, 1.0))
    return p1, p2, p3, p4, p5


def _three_near(z: Value) -> tuple[Value, Value, Value]:
    p3 = _horner(z, (_T0, _T1, _T2, _T3, _T4, _T5, _T6, _T7, _T8))
    _, p2, p1 = _upwards(z, p3, (0.5, 1.0))
    return p1, p2, p3


def _far(z: Value, terms: tuple[float, ...]) -> list[Value]:
    inverse = 1.0 / z
    p = np.minimum(z, _HIGHEST)
    np.exp(p, out=p)
    rows = []
    for term in terms:
        p = p - term
        p *= inverse
        rows.append(p)
    return rows


def _five_far(z: Value) -> Five:
    p1, p2, p3, p4, p5 = _far(z, (1.0, 1.0, 0.5, _SIXTH, _TWENTY_FOURTH))
    return p1, p2, p3, p4, p5


def _three_far(z: Value) -> tuple[Value, Value, Value]:
    p1, p2, p3 = _far(z, (1.0, 1.0, 0.5))
    return p1, p2, p3

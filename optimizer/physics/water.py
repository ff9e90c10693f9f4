"""Saturation pressure of water vapour.

Source: IAPWS-IF97, region 4 (saturation line), equation 30; R7-97(2012), table 34 for the coefficients.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

#: Range in which the equation is used here [K]; below 0 degC it is an extrapolation over supercooled water.
VALID_FROM, VALID_TO = 243.15, 647.0


def saturation_pressure(temperature: ArrayLike) -> NDArray[np.float64]:
    """Saturation pressure of water [Pa] at ``temperature`` [K], any shape.

    Valid from 0 degC up; between -30 and 0 degC it extrapolates over supercooled water, which callers must
    warn about. Raises ValueError outside 243.15 to 647 K.
    """
    t = np.asarray(temperature, dtype=float)
    if np.any(t < VALID_FROM) or np.any(t > VALID_TO):
        raise ValueError("temperature outside the range of the saturation equation, 243.15 to 647 K")
    theta = t + _N[8] / (t - _N[9])
    a = theta * theta + _N[0] * theta + _N[1]
    b = _N[2] * theta * theta + _N[3] * theta + _N[4]
    c = _N[5] * theta * theta + _N[6] * theta + _N[7]
    result: NDArray[np.float64] = (2.0 * c / (-b + np.sqrt(b * b - 4.0 * a * c))) ** 4 * 1e6
    return result

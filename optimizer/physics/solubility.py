"""Solubility of gases in products: Henry's law, amount dissolved per volume and partial pressure [mol/(m3
Pa)].

* O2 in water: Benson and Krause, Limnol. Oceanogr. 29 (1984) 620: concentration in water saturated with humid
  air at 1 atm, divided by the oxygen partial pressure of that air. Range 0 to 40 degC.
* CO2 and N2 in water: Sander, Atmos. Chem. Phys. 23 (2023) 10901: H at 298.15 K and d ln H / d(1/T).
* O2 in oil: 5.5 times water at 25 degC, at every temperature: an estimate of the trade.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import ATMOSPHERE, DRY_AIR, MOLAR_MASS
from optimizer.physics.water import saturation_pressure

Array = NDArray[np.float64]

#: Range of the Benson and Krause equation [K]; outside it the equation is an extrapolation.
OXYGEN_VALID = (273.15, 313.15)
#: O2 in edible oil over O2 in water, both at 25 degC [-]: 5 to 6 (Heiss, as used in food technology).
OIL_FACTOR = 5.5

#: ln DO [mg/L] = sum c_n / T^n
BENSON_KRAUSE = (-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11)
#: gas -> (H at 298.15 K [mol/(m3 Pa)], d ln H / d(1/T) [K])
SANDER: Mapping[str, tuple[float, float]] = {"CO2": (3.3e-4, 2400.0), "N2": (6.4e-6, 1300.0)}


def oxygen_saturation(temperature: ArrayLike) -> Array:
    """Dissolved O2 in fresh water under humid air at 1 atm [kg/m3], any shape of ``temperature`` [K]."""
    t = np.asarray(temperature, dtype=float)
    log = sum(c / t**n for n, c in enumerate(BENSON_KRAUSE))
    value: Array = np.exp(log) * 1e-3
    return value


def henry_water(gas: str, temperature: ArrayLike) -> Array:
    """Solubility of O2, CO2 or N2 in water [mol/(m3 Pa)] at ``temperature`` [K], same shape."""
    t = np.asarray(temperature, dtype=float)
    if gas == "O2":
        pressure = DRY_AIR["O2"] * (ATMOSPHERE - saturation_pressure(t))
        oxygen: Array = oxygen_saturation(t) / MOLAR_MASS["O2"] / pressure
        return oxygen
    h, slope = SANDER[gas]
    value: Array = h * np.exp(slope * (1.0 / t - 1.0 / 298.15))
    return value


def henry_oil(gas: str, temperature: ArrayLike) -> Array:
    """Solubility in edible oil [mol/(m3 Pa)]: for O2 an estimate without temperature dependence, others 0."""
    shape = np.shape(temperature)
    if gas != "O2":
        return np.zeros(shape)
    return np.full(shape, OIL_FACTOR * _oxygen_in_water_at_25())


@lru_cache(maxsize=1)
def _oxygen_in_water_at_25() -> float:
    return float(henry_water("O2", 298.15))

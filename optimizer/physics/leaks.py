"""Leaks: diffusion of gases and water vapour through round holes and channels filled with air.

The molecular and the Knudsen resistance are in series, 1/D = 1/D_molecular + 1/D_Knudsen with
D_Knudsen = d v / 3 and v the mean molecular speed. The length is extended by one hole radius in all for the
two
ends; that choice fitted measurements on micro-perforated films (Ghosh and Anantheswaran, 2000).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import ATMOSPHERE, GAS_CONSTANT, MOLAR_MASS, ZERO_CELSIUS

Array = NDArray[np.float64]

#: Diffusivity in air at 0 degC and 1 atm [m2/s]; from memory; N2 taken as O2.
DIFFUSIVITY_IN_AIR = {"O2": 0.178e-4, "N2": 0.178e-4, "CO2": 0.138e-4, "H2O": 0.219e-4}


def diffusivity_in_air(gas: str, temperature: ArrayLike, pressure: ArrayLike = ATMOSPHERE) -> Array:
    """Molecular diffusivity in air [m2/s]; temperature [K] to the power 1.75 (Fuller), pressure [Pa];
    broadcast."""
    t = np.asarray(temperature, dtype=float)
    value: Array = DIFFUSIVITY_IN_AIR[gas] * (t / ZERO_CELSIUS) ** 1.75 * (ATMOSPHERE / np.asarray(pressure))
    return value


def mean_speed(gas: str, temperature: ArrayLike) -> Array:
    """Mean molecular speed sqrt(8 R T / (pi M)) [m/s] at ``temperature`` [K]."""
    t = np.asarray(temperature, dtype=float)
    value: Array = np.sqrt(8.0 * GAS_CONSTANT * t / (math.pi * MOLAR_MASS[gas]))
    return value


def hole_conductance(
    gas: str,
    diameter: float,
    length: float,
    temperature: ArrayLike,
    pressure: ArrayLike = ATMOSPHERE,
    *,
    knudsen: bool = True,
    end_radii: float = 1.0,
) -> Array:
    """Conductance of one round hole [mol/(s Pa)] per Pa of partial pressure; shape of temperature and
    pressure.

    gas: O2, CO2, N2 or H2O; diameter and length [m]; temperature [K]; total pressure [Pa]. ``knudsen`` False
    leaves out the collisions with the wall; ``end_radii`` hole radii are added to the length.
    """
    if not (diameter > 0 and length >= 0):
        raise ValueError("a hole needs a positive diameter and a length that is not negative")
    t = np.asarray(temperature, dtype=float)
    resistance = 1.0 / diffusivity_in_air(gas, t, pressure)
    if knudsen:
        resistance = resistance + 3.0 / (diameter * mean_speed(gas, t))
    area = 0.25 * math.pi * diameter * diameter
    path = length + end_radii * 0.5 * diameter
    value: Array = area / (resistance * path * GAS_CONSTANT * t)
    return value

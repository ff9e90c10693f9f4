"""Laws of the layers in a form that is quick to evaluate, for floats (one sample) and arrays (B,) alike.

A layer without a diffusivity stores next to nothing: it is given the storage that makes it settle within
``SETTLING`` seconds, so that it acts as a resistance at every moment.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from functools import lru_cache
from typing import Any

import numpy as np

from optimizer.constants import GAS_CONSTANT
from optimizer.physics.interpolation import pchip
from optimizer.physics.material import Material
from optimizer.physics.permeability import BLOCKED, GasLaw, WaterLaw

Value = Any

#: length^2 / D of a layer whose diffusivity is not known [s].
SETTLING = 1e-5
#: Cells of the table of a gas law over activity; linear in log P between its points.
_CELLS = 2048


def arrhenius_of(energy: float, temperature: Value, at: float) -> Value:
    """exp(-E/R (1/T - 1/T0)), a float for a float."""
    x = -energy / GAS_CONSTANT * (1.0 / temperature - 1.0 / at)
    return math.exp(x) if isinstance(x, float) else np.exp(x)


class Response:
    """P(a) / P(driest point) of a humidity-sensitive gas law."""

    def __init__(self, law: GasLaw) -> None:
        grid = np.linspace(0.0, 1.0, _CELLS + 1)
        self.table = pchip(law.activity, np.log(law.permeability), grid) - math.log(law.permeability[0])
        self._list = self.table.tolist()

    def __call__(self, activity: Value) -> Value:
        if isinstance(activity, float):
            x = activity * _CELLS
            if x <= 0.0:
                return math.exp(self._list[0])
            k = int(x) if x < _CELLS else _CELLS - 1
            low = self._list[k]
            return math.exp(low + min(x - k, 1.0) * (self._list[k + 1] - low))
        x = np.clip(activity, 0.0, 1.0) * _CELLS
        k = np.minimum(x.astype(np.intp), _CELLS - 1)
        low = self.table[k]
        return np.exp(low + (x - k) * (self.table[k + 1] - low))


@lru_cache(maxsize=256)
def response_of(law: GasLaw) -> Response | None:
    """None where humidity does not matter."""
    return Response(law) if law.humidity_sensitive else None


class Potential:
    """Phi(a) of a water law, its slope P_w and its inverse, at the reference temperature."""

    def __init__(self, law: WaterLaw) -> None:
        slopes = law.slopes
        self.knots = np.asarray(law.activity, dtype=float)
        self.slopes = np.asarray(slopes, dtype=float)
        self.levels = np.concatenate([[0.0], np.cumsum(self.slopes * np.diff(self.knots))])
        self.straight = len(self.slopes) == 1 or not law.humidity_sensitive
        self._a, self._s, self._p = self.knots.tolist(), self.slopes.tolist(), self.levels.tolist()
        self._inner = (self._a[1:-1], self._p[1:-1])

    def at(self, activity: Value) -> tuple[Value, Value]:
        """Phi and its slope."""
        if self.straight:
            return activity * self._s[0], self._s[0]
        if isinstance(activity, float):
            k = bisect_right(self._inner[0], activity)
            s = self._s[k]
            return self._p[k] + s * (activity - self._a[k]), s
        j = np.searchsorted(self.knots[1:-1], activity, side="right")
        s = self.slopes[j]
        return self.levels[j] + s * (activity - self.knots[j]), s

    def activity(self, phi: Value) -> Value:
        if self.straight:
            return phi / self._s[0]
        if isinstance(phi, float):
            k = bisect_right(self._inner[1], phi)
            return self._a[k] + (phi - self._p[k]) / self._s[k]
        j = np.searchsorted(self.levels[1:-1], phi, side="right")
        return self.knots[j] + (phi - self.levels[j]) / self.slopes[j]


@lru_cache(maxsize=256)
def potential_of(law: WaterLaw) -> Potential:
    return Potential(law)


def gas_permeability(material: Material, gas: str, temperature: Value) -> Value:
    """P at the driest point of the law [mol m/(m2 s Pa)]; next to nothing for a layer that blocks."""
    law = material.gas_law(gas)
    if law.blocks:
        return 1.0 / BLOCKED
    return law.permeability[0] * arrhenius_of(law.activation_energy, temperature, law.temperature)


def diffusivity(material: Material, gas: str, temperature: Value) -> Value | None:
    """D [m2/s], or None where it is not known (or nothing passes)."""
    law = material.diffusivity.get(gas)
    blocks = material.gases[gas].blocks if gas in material.gases else False
    if law is None or blocks:
        return None
    return law.diffusivity * arrhenius_of(law.activation_energy, temperature, law.temperature)


def storage_of(permeability: Value, diffusivity: Value | None, length: Value) -> Value:
    """S = P / D [mol/(m3 Pa)] (for water: per activity times psat), next to nothing without D."""
    if diffusivity is None:
        return permeability * SETTLING / (length * length)
    return permeability / diffusivity

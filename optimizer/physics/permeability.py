"""Permeability of one material to one gas, and to water, as laws of temperature and humidity.

* Gas: P(T, a) = P(T0, a) * exp(-E/R (1/T - 1/T0)); log P(T0, a) is a monotone interpolation over the measured
  water activities, held flat outside them.
* Water: the driving variable is the water activity a. Phi(a) = integral of P_w da from 0 to a is piecewise
  linear between measured activities, because a rate measured from humidity h to a dry side is Phi(h) psat / l
  itself. Beyond the last point the slope is kept.

With x = position and J the water flux, dx = P_w da / J, so the mean gas resistivity of a layer whose faces
have the activities a1 and a2 is  integral of P_w/P_gas da / integral of P_w da, which is exact and needs no
mesh.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import GAS_CONSTANT
from optimizer.physics.interpolation import pchip

Array = NDArray[np.float64]

#: Resistivity given to a layer that lets nothing through (P = 0), [m2 s Pa/(mol m)]; finite so that sums
#: stay finite.
BLOCKED = 1e36
#: Activity steps of the table behind the integrals; the error of a mean resistivity is below 1e-5.
_CELLS = 2048
#: Activity difference below which a layer is taken to be at one activity.
_POINT = 1e-9


def arrhenius(activation_energy: float, temperature: ArrayLike, reference: float) -> Array:
    """exp(-E/R (1/T - 1/T0)) with E [J/mol], T and T0 [K]; shape of ``temperature``."""
    t = np.asarray(temperature, dtype=float)
    factor: Array = np.exp(-activation_energy / GAS_CONSTANT * (1.0 / t - 1.0 / reference))
    return factor


@dataclass(frozen=True)
class GasLaw:
    """Permeability of a material to one gas.

    temperature: where ``permeability`` holds [K]. activity: water activities of the points, increasing [-];
    one point means that humidity does not matter. permeability: at those points [mol m/(m2 s Pa)], all
    positive, or the single value 0 for a layer that blocks. activation_energy [J/mol]. measured_*: ranges
    for warnings.
    """

    gas: str
    temperature: float
    activity: tuple[float, ...]
    permeability: tuple[float, ...]
    activation_energy: float
    measured_temperature: tuple[float, float] = (0.0, 1e9)
    energy_assumed: bool = False

    def __post_init__(self) -> None:
        if len(self.activity) != len(self.permeability) or not self.activity:
            raise ValueError("a gas law needs as many activities as permeabilities, at least one")
        if any(b <= a for a, b in zip(self.activity, self.activity[1:], strict=False)):
            raise ValueError("activities of a gas law must increase")
        if self.blocks and len(self.permeability) > 1:
            raise ValueError("a permeability of zero must be the only point")
        if any(p < 0 or not np.isfinite(p) for p in self.permeability):
            raise ValueError("permeabilities must be finite and not negative")

    @cached_property
    def blocks(self) -> bool:
        return min(self.permeability) == 0.0

    @cached_property
    def humidity_sensitive(self) -> bool:
        return max(self.permeability) > min(self.permeability)

    def factor(self, temperature: ArrayLike) -> Array:
        """P(T)/P(T0), shape of ``temperature`` [K]."""
        return arrhenius(self.activation_energy, temperature, self.temperature)

    def at(self, temperature: ArrayLike, activity: ArrayLike) -> Array:
        """Permeability [mol m/(m2 s Pa)] at ``temperature`` [K] and ``activity`` [-], broadcast."""
        factor = self.factor(temperature)
        if self.blocks:
            return np.zeros(np.broadcast(factor, np.asarray(activity)).shape)
        value: Array = np.exp(pchip(self.activity, np.log(self.permeability), activity)) * factor
        return value


@dataclass(frozen=True)
class WaterLaw:
    """Permeability of a material to water, as Phi(a) = integral of P_w over activity.

    temperature [K]; activity: knots, starting at 0, increasing [-]; phi: Phi at the knots, starting at 0 and
    increasing [mol m/(m2 s Pa)] (per Pa of saturation pressure); activation_energy [J/mol] of P_w.
    A constant P_w is the two points (0, 0), (1, P_w); a blocking layer has phi = (0, 0).
    """

    temperature: float
    activity: tuple[float, ...]
    phi: tuple[float, ...]
    activation_energy: float
    measured_temperature: tuple[float, float] = (0.0, 1e9)
    energy_assumed: bool = False

    def __post_init__(self) -> None:
        if len(self.activity) != len(self.phi) or len(self.activity) < 2:
            raise ValueError("a water law needs at least two points")
        if self.activity[0] != 0.0 or self.phi[0] != 0.0:
            raise ValueError("a water law starts at activity 0 with Phi = 0")
        if any(b <= a for a, b in zip(self.activity, self.activity[1:], strict=False)):
            raise ValueError("activities of a water law must increase")
        slopes = np.diff(self.phi) / np.diff(self.activity)
        if not self.blocks and np.any(slopes <= 0):
            raise ValueError("Phi must increase with activity")

    @staticmethod
    def constant(
        temperature: float, permeability: float, activation_energy: float, **ranges: object
    ) -> WaterLaw:
        """Law with one permeability [mol m/(m2 s Pa)] at every activity."""
        return WaterLaw(temperature, (0.0, 1.0), (0.0, permeability), activation_energy, **ranges)  # type: ignore[arg-type]

    @cached_property
    def blocks(self) -> bool:
        return max(self.phi) == 0.0

    @cached_property
    def slopes(self) -> Array:
        """P_w of each interval between knots at the reference temperature [mol m/(m2 s Pa)]."""
        if self.blocks:
            return np.full(len(self.activity) - 1, 1.0 / BLOCKED)
        slopes: Array = np.diff(self.phi) / np.diff(self.activity)
        return slopes

    @cached_property
    def humidity_sensitive(self) -> bool:
        s = self.slopes
        return bool(np.ptp(s) > 1e-12 * s.max())

    def factor(self, temperature: ArrayLike) -> Array:
        """P_w(T)/P_w(T0), shape of ``temperature`` [K]."""
        return arrhenius(self.activation_energy, temperature, self.temperature)

    def potential(self, activity: ArrayLike) -> Array:
        """Phi(a) at the reference temperature; slopes continue outside the knots (also below 0)."""
        a = np.asarray(activity, dtype=float)
        knots, phi = self._knots
        k = self._interval(knots, a)
        value: Array = phi[k] + self.slopes[k] * (a - knots[k])
        return value

    def activity_of(self, potential: ArrayLike) -> Array:
        """Inverse of ``potential``."""
        p = np.asarray(potential, dtype=float)
        knots, phi = self._knots
        k = self._interval(phi, p)
        value: Array = knots[k] + (p - phi[k]) / self.slopes[k]
        return value

    def slope_at(self, activity: ArrayLike) -> Array:
        """P_w(a) at the reference temperature [mol m/(m2 s Pa)]."""
        value: Array = self.slopes[self._interval(self._knots[0], np.asarray(activity, dtype=float))]
        return value

    @cached_property
    def _knots(self) -> tuple[Array, Array]:
        knots = np.asarray(self.activity)
        return knots, np.concatenate([[0.0], np.cumsum(self.slopes * np.diff(knots))])

    def _interval(self, edges: Array, at: Array) -> NDArray[np.intp]:
        """Index of the interval that holds each point; the end intervals reach to infinity."""
        k: NDArray[np.intp] = np.searchsorted(edges[1:-1], at, side="right")
        return k


@dataclass(frozen=True)
class ResistivityTable:
    """Psi(a) = integral of P_w / P_gas da and Phi(a) at the reference temperatures, for one material and
    gas."""

    grid: Array
    log_resistivity: Array
    slope: Array
    weight: Array
    phi: Array
    psi: Array

    def resistivity(self, activity: ArrayLike) -> Array:
        """1/P_gas at one activity, reference temperature [m2 s Pa/(mol m)]."""
        a = np.clip(np.asarray(activity, dtype=float), 0.0, 1.0)
        k = np.clip(np.searchsorted(self.grid, a, side="right") - 1, 0, len(self.slope) - 1)
        value: Array = np.exp(self.log_resistivity[k] + self.slope[k] * (a - self.grid[k]))
        return value

    def integrals(self, activity: Array) -> tuple[Array, Array]:
        """Psi and Phi from 0 to each activity, at the reference temperatures."""
        a = np.clip(activity, 0.0, 1.0)
        k = np.clip(np.searchsorted(self.grid, a, side="right") - 1, 0, len(self.slope) - 1)
        da = a - self.grid[k]
        x = self.slope[k] * da
        small = np.abs(x) < 1e-8
        ratio = np.where(small, 1.0 + 0.5 * x, np.expm1(x) / np.where(small, 1.0, x))
        psi = self.psi[k] + self.weight[k] * np.exp(self.log_resistivity[k]) * da * ratio
        return psi, self.phi[k] + self.weight[k] * da

    def mean(self, first: ArrayLike, second: ArrayLike) -> Array:
        """Mean 1/P_gas over a layer between two face activities, reference temperature; order does not
        matter."""
        a1, a2 = np.broadcast_arrays(np.asarray(first, dtype=float), np.asarray(second, dtype=float))
        psi1, phi1 = self.integrals(a1)
        psi2, phi2 = self.integrals(a2)
        flat = np.abs(np.clip(a1, 0, 1) - np.clip(a2, 0, 1)) < _POINT
        value: Array = np.where(
            flat, self.resistivity(0.5 * (a1 + a2)), (psi1 - psi2) / np.where(flat, 1.0, phi1 - phi2)
        )
        return value


@lru_cache(maxsize=4096)
def resistivity_table(gas: GasLaw, water: WaterLaw) -> ResistivityTable:
    """Table for a humidity-sensitive gas law weighted by its material's own water law."""
    knots = [a for a in (*gas.activity, *water.activity) if 0.0 < a < 1.0]
    grid = np.unique(np.concatenate([np.linspace(0.0, 1.0, _CELLS + 1), knots]))
    log_r = -pchip(gas.activity, np.log(gas.permeability), grid)
    width = np.diff(grid)
    slope = np.diff(log_r) / width
    weight = water.slope_at(0.5 * (grid[:-1] + grid[1:]))
    x = slope * width
    small = np.abs(x) < 1e-8
    ratio = np.where(small, 1.0 + 0.5 * x, np.expm1(x) / np.where(small, 1.0, x))
    psi = np.concatenate([[0.0], np.cumsum(weight * np.exp(log_r[:-1]) * width * ratio)])
    phi = np.concatenate([[0.0], np.cumsum(weight * width)])
    return ResistivityTable(grid, log_r, slope, weight, phi, psi)

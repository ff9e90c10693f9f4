"""What is inside at closing: amounts of gas and water, and how much the product dissolves.

Headspace and product are in equilibrium at all times. Gas dissolves by Henry's law: every gas in a liquid,
only
oxygen in an oil or where a solubility of its own is given.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import ATMOSPHERE, GAS_CONSTANT, MOLAR_MASS, STP_MOLES_PER_M3
from optimizer.errors import InputError, Problem
from optimizer.physics.solubility import henry_oil, henry_water
from optimizer.physics.sorption import Isotherm
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.package import Product

Array = NDArray[np.float64]

#: Order in which gases stand in the state.
ORDER = ("O2", "N2", "CO2")
#: Dry air as two gases, for a headspace that nothing is said about.
AIR = {"O2": 0.2095, "N2": 0.7905}


def is_liquid(product: Product) -> bool:
    """Whether the product dissolves gases as water does."""
    return product.carbonation is not None or product.oxygen.dissolves_like == "water"


def inside_activity(product: Product) -> float:
    """Water activity inside at closing: of the moisture model, as given, else 1 for a liquid and 0.5
    otherwise."""
    if product.moisture is not None:
        return product.moisture.initial_activity
    if product.water_activity is not None:
        return product.water_activity
    return 1.0 if is_liquid(product) else 0.5


def activity_range(product: Product, humidity: Array) -> tuple[float, float]:
    """Least and greatest inside water activity that can be met: it only ever moves towards the outside."""
    start = inside_activity(product)
    low, high = min(start, float(humidity.min())), max(start, float(humidity.max()))
    margin = 1e-3 * (high - low) + 1e-4
    return low - margin, high + margin


def limit_names(product: Product) -> set[str]:
    return {limit.name for limit in product.limits}


def water_matters(product: Product) -> bool:
    """Whether the water flow must be known: the product's moisture moves, or a limit is on water."""
    return product.moisture is not None or any(n.startswith("water_") for n in limit_names(product))


def simulated_gases(product: Product) -> tuple[str, ...]:
    """Gases that the product's limits need followed, in the order of the state.

    The others come in where they share the headspace with a limited one: in a flexible package through its
    volume, and in a limit on the share of oxygen.
    """
    names = limit_names(product)
    wanted = set()
    if names & {"oxygen_gain", "headspace_oxygen"}:
        wanted.add("O2")
    if "co2_loss" in names:
        wanted.add("CO2")
    shared = "headspace_oxygen" in names or (not product.headspace.rigid and bool(wanted))
    if shared:
        wanted |= {"O2", "N2"}
        if product.carbonation is not None or headspace_gas(product).get("CO2", 0.0) > 0:
            wanted.add("CO2")
    return tuple(g for g in ORDER if g in wanted)


def headspace_gas(product: Product) -> Mapping[str, float]:
    """Dry mole shares at closing; where none are given, air, or no air over a carbonated liquid.

    CO2 over a carbonated liquid is not among them: it is that in equilibrium with the liquid, whatever share
    of it is given, and ``carbonation_amount`` counts it.
    """
    if product.carbonation is None:
        return product.headspace.gas or AIR
    return {gas: share for gas, share in product.headspace.gas.items() if gas != "CO2"}


def solubility(product: Product, gas: str, temperature: ArrayLike) -> Array:
    """Henry solubility of ``gas`` in the product [mol/(m3 Pa)], shape of ``temperature`` [K]."""
    model = product.oxygen
    if gas == "O2" and model.solubility is not None:
        return np.full(np.shape(temperature), model.factor * model.solubility)
    if gas == "O2" and model.dissolves_like == "oil":
        return model.factor * henry_oil(gas, temperature)
    if is_liquid(product) and not (gas == "O2" and model.dissolves_like == "nothing"):
        return model.factor * henry_water(gas, temperature)
    return np.zeros(np.shape(temperature))


@dataclass(frozen=True)
class Contents:
    """Closing state. gases: those in the state, in order; amounts: moles of each in headspace and product;
    dissolved_oxygen: moles of O2 in the product at closing; tracks_water: water is the first component of the
    state; water: moles of water in the product (0 where only the net flow is followed); reacts: the last
    component is the oxygen used up [mol]."""

    product: Product
    gases: tuple[str, ...]
    amounts: Mapping[str, float]
    dissolved_oxygen: float
    tracks_water: bool
    water: float
    reacts: bool

    @property
    def isotherm(self) -> Isotherm | None:
        return None if self.product.moisture is None else self.product.moisture.isotherm

    @property
    def first_gas(self) -> int:
        """Index of the first gas in the state."""
        return 1 if self.tracks_water else 0

    def start(self) -> list[float]:
        """State at closing."""
        head = [self.water] if self.tracks_water else []
        return head + [self.amounts[g] for g in self.gases] + ([0.0] if self.reacts else [])

    def scales(self) -> list[float]:
        """Typical size of each component of the state [mol], for error tolerances."""
        p = self.product
        room = p.headspace.volume / (GAS_CONSTANT * p.closing_temperature)
        gas = []
        for g in self.gases:
            capacity = room + p.volume * float(solubility(p, g, p.closing_temperature))
            gas.append(max(self.amounts[g], capacity * 2000.0))
        water = [max(self.water, p.mass / MOLAR_MASS["H2O"] * 0.01)] if self.tracks_water else []
        # oxygen used up is judged on the scale of its limit, or of the oxygen that air would bring
        reacted = []
        if self.reacts:
            limits = [x.value * p.mass / MOLAR_MASS["O2"] for x in p.limits if x.name == "oxygen_gain"]
            reacted = [max([*limits, gas[self.gases.index("O2")] * 1e-3])]
        return water + gas + reacted


def contents_of(product: Product, gases: tuple[str, ...], tracks_water: bool) -> Contents:
    """Amounts at closing (see the module and the assumptions of ``predict``)."""
    closing = product.closing_temperature
    head = product.headspace
    vapour = inside_activity(product) * float(saturation_pressure(closing))
    dry = max(ATMOSPHERE - vapour, 0.0)
    shares = headspace_gas(product)
    amounts: dict[str, float] = {}
    dissolves = float(solubility(product, "O2", closing)) > 0
    dissolved_oxygen = product.oxygen.dissolved_at_closing * product.volume if dissolves else 0.0
    for gas in gases:
        pressure = shares.get(gas, 0.0) * dry
        room = head.volume / (GAS_CONSTANT * closing)
        amount = pressure * room
        if gas == "O2":
            amount += dissolved_oxygen
        elif gas == "CO2" and product.carbonation is not None:
            amount += carbonation_amount(product)
        else:
            amount += pressure * product.volume * float(solubility(product, gas, closing))
        amounts[gas] = amount
    if "co2_loss" in limit_names(product) and "CO2" in amounts and not amounts["CO2"] > 0:
        raise InputError(
            Problem(
                "a limit on CO2 loss needs CO2 in the package at closing",
                field="product.limits.co2_loss",
                hint="give product.carbonation, or CO2 in product.headspace.gas",
            )
        )
    water = 0.0
    if product.moisture is not None:
        m = product.moisture
        water = m.dry_mass * float(m.isotherm.content(float(m.initial_activity))) / MOLAR_MASS["H2O"]
    reacts = "O2" in gases and product.oxygen.consumption is not None
    return Contents(product, gases, amounts, dissolved_oxygen, tracks_water, water, reacts)


def carbonation_amount(product: Product) -> float:
    """CO2 at closing in the liquid and, at the pressure in equilibrium with it, in the headspace [mol]."""
    c = product.carbonation
    if c is None:
        return 0.0
    concentration = c.volumes * STP_MOLES_PER_M3
    pressure = carbonation_pressure(product)
    room = product.headspace.volume / (GAS_CONSTANT * product.closing_temperature)
    return concentration * product.volume + pressure * room


def carbonation_pressure(product: Product) -> float:
    """CO2 pressure in equilibrium with the liquid at the carbonation temperature [Pa]; 0 without
    carbonation."""
    c = product.carbonation
    if c is None:
        return 0.0
    return c.volumes * STP_MOLES_PER_M3 / float(solubility(product, "CO2", c.temperature))

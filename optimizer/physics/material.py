"""A material as the physics and the optimiser see it: SI numbers and laws, no text to parse."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.errors import MaterialError
from optimizer.physics.permeability import BLOCKED, GasLaw, WaterLaw, arrhenius, resistivity_table

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SourceNote:
    """Where one number came from. ``value`` and ``unit`` are as printed; ``grade`` is measured, handbook,
    producer, estimate, memory or user."""

    material: str
    gas: str
    value: str
    unit: str
    source: str
    grade: str


@dataclass(frozen=True)
class DiffusionLaw:
    """Diffusivity [m2/s] at ``temperature`` [K] with ``activation_energy`` [J/mol]."""

    temperature: float
    diffusivity: float
    activation_energy: float

    def at(self, temperature: ArrayLike) -> Array:
        return self.diffusivity * arrhenius(self.activation_energy, temperature, self.temperature)


@dataclass(frozen=True)
class Band:
    """How uncertain a property is: relative standard deviation [-] of a lognormal factor with median 1;
    source: key that properties measured together share; origin: in words, for example "band of the table"."""

    spread: float
    source: str
    origin: str


@dataclass(frozen=True)
class Scavenger:
    """Use of ``gas`` inside a material, at the rate k c s [mol/(m3 s)]: k = ``rate`` [1/s] at ``temperature``
    [K] with ``activation_energy`` [J/mol], c the dissolved gas [mol/m3], s the share of the capacity that is
    left. capacity [mol/m3 of material]; None never runs out (s = 1)."""

    gas: str
    rate: float
    temperature: float
    activation_energy: float = 0.0
    capacity: float | None = None


@dataclass(frozen=True, eq=False)
class Material:
    """Compared by identity, so that tables can be cached per material.

    density [kg/m3]; price [currency/kg] or None; gauge: least and most one layer may have [m];
    roles: seal, print, core, barrier, bond, coating; gases: law by gas name; water: law or None if unknown;
    glass_transition [K] or None, for warnings.

    gauges: thicknesses in which a web is bought [m], empty where any within ``gauge`` will do; web: name of
    the material of which this is one gauge, else empty. pass_cost: of one layer [currency/m2], for a pass
    through the machine. recycled_content: share of its mass [-]. food_contact: whether it is listed as a
    layer that touches food, None if nothing is said. contains: of foil, metallising, halogen; None if
    unknown. carrier: families that a coating lies on, empty for other layers; carrier_side: the side of the
    coating on which its carrier lies, inside or outside, empty where that is open.

    bands: uncertainty by what it is of: a gas or H2O (permeability), or "O2 diffusivity" and so on.
    scavenger: what it uses up of a gas, or None."""

    name: str
    family: str
    density: float
    gases: Mapping[str, GasLaw]
    water: WaterLaw | None
    price: float | None = None
    currency: str = ""
    gauge: tuple[float, float] = (1e-6, 5e-3)
    roles: frozenset[str] = frozenset()
    diffusivity: Mapping[str, DiffusionLaw] = field(default_factory=dict)
    glass_transition: float | None = None
    sources: tuple[SourceNote, ...] = ()
    notes: tuple[str, ...] = ()
    recycling_family: str = ""
    gauges: tuple[float, ...] = ()
    web: str = ""
    pass_cost: float = 0.0
    recycled_content: float = 0.0
    food_contact: bool | None = None
    contains: frozenset[str] | None = None
    carrier: frozenset[str] = frozenset()
    carrier_side: str = ""
    bands: Mapping[str, Band] = field(default_factory=dict)
    scavenger: Scavenger | None = None

    @property
    def fixed_gauge(self) -> bool:
        """True when a layer of it has one thickness only."""
        return self.gauge[0] == self.gauge[1]

    def in_gauge(self, gauge: float) -> Material:
        """The web in one of its gauges [m], under a name that says so."""
        name = f"{self.name} {gauge * 1e6:g} um"
        return replace(self, name=name, web=self.name, gauge=(gauge, gauge), gauges=())

    @property
    def polymers(self) -> frozenset[str]:
        """Families that its mass counts for: its own, its recycling family, and the polymer that a tie resin
        is made of or that a coated web consists of."""
        plain = self.family.removeprefix("coated ").removeprefix("tie ")
        return frozenset({self.family, self.recycling_family, plain}) - {""}

    def known_as(self, name: str) -> bool:
        """Whether ``name`` is its name or that of the web of which it is one gauge."""
        return bool(name) and name in (self.name, self.web)

    @property
    def humidity_sensitive(self) -> bool:
        """True when any of its permeabilities depends on water activity."""
        gas = any(law.humidity_sensitive for law in self.gases.values())
        return gas or (self.water is not None and self.water.humidity_sensitive)

    def gas_law(self, gas: str) -> GasLaw:
        """Law for ``gas``; raises MaterialError when the material has none."""
        try:
            return self.gases[gas]
        except KeyError:
            raise MaterialError(f"material {self.name!r} has no {gas} permeability") from None

    def solubility(self, gas: str, temperature: ArrayLike) -> Array | None:
        """Gas dissolved per volume and partial pressure [mol/(m3 Pa)], shape of ``temperature`` [K]; None
        where no diffusivity is known. S = P / D with P at the driest point of its law: humidity changes how
        quickly the gas moves, not how much the material holds."""
        law, diffusion = self.gases.get(gas), self.diffusivity.get(gas)
        if law is None or diffusion is None:
            return None
        value: Array = law.permeability[0] * law.factor(temperature) / diffusion.at(temperature)
        return value

    def uses_up(self, gas: str) -> bool:
        """Whether a layer of it uses ``gas`` up: the gas must be able to move there."""
        s, law = self.scavenger, self.gases.get(gas)
        moves = gas in self.diffusivity and law is not None and not law.blocks
        return s is not None and s.gas == gas and moves

    def water_law(self) -> WaterLaw:
        if self.water is None:
            raise MaterialError(f"material {self.name!r} has no H2O permeability")
        return self.water

    def mean_resistivity(
        self, gas: str, temperature: ArrayLike, first: ArrayLike, second: ArrayLike
    ) -> Array:
        """Mean of 1/P [m2 s Pa/(mol m)] over a layer whose faces have the water activities first and second.

        All arguments broadcast; exact for the law of the material (see ``permeability``).
        """
        law = self.gas_law(gas)
        if law.blocks:
            shape = np.broadcast(np.asarray(temperature), np.asarray(first), np.asarray(second)).shape
            return np.full(shape, BLOCKED)
        if not law.humidity_sensitive:
            flat = 1.0 / (law.permeability[0] * law.factor(temperature))
            shape = np.broadcast(flat, np.asarray(first), np.asarray(second)).shape
            return np.broadcast_to(flat, shape)
        table = resistivity_table(law, self.water_law())
        value: Array = table.mean(first, second) / law.factor(temperature)
        return value

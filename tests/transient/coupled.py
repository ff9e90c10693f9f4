"""Invented packages for the transient engine: the case of the benchmark and simpler ones.

All materials, walls, products and climates are invented; the sizes of permeability and diffusivity are those
of polyolefins, EVOH and PET. ``reference.json`` holds values of what the solvers of this folder find for
them; ``write_references.py`` makes it.
"""

from __future__ import annotations

import math
from dataclasses import replace

from shelflife.builders import BARRIER_UNIT, T23, gas, seasons, water_rate

from optimizer.constants import DAY, STP_MOLES_PER_M3
from optimizer.geometry.surface import Patch
from optimizer.physics.material import DiffusionLaw, Material, Scavenger
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.physics.sorption import GAB
from optimizer.shelflife.package import (
    Carbonation,
    Case,
    Consumption,
    Headspace,
    Layer,
    Limit,
    MoistureModel,
    OxygenModel,
    Package,
    Product,
    Stage,
    Surroundings,
    Wall,
    WallPart,
)

HOUR = 3600.0


def _diffusion(energy: float, **values: float) -> dict[str, DiffusionLaw]:
    return {name: DiffusionLaw(T23, d, energy) for name, d in values.items()}


def skin() -> Material:
    """A polyolefin, 950 kg/m3."""
    gases = {"O2": gas("O2", 150.0), "N2": gas("N2", 40.0), "CO2": gas("CO2", 500.0, 36e3)}
    moves = _diffusion(45e3, O2=1.0e-11, N2=8e-12, CO2=9e-12, H2O=5e-12)
    return Material("skin", "PP", 905.0, gases, water_rate(0.4, 34e3), diffusivity=moves)


def tie() -> Material:
    gases = {"O2": gas("O2", 300.0), "N2": gas("N2", 80.0), "CO2": gas("CO2", 900.0, 36e3)}
    moves = _diffusion(42e3, O2=2.0e-11, N2=1.5e-11, CO2=1.8e-11, H2O=6e-12)
    return Material("tie", "tie PP", 900.0, gases, water_rate(0.8, 34e3), diffusivity=moves)


def barrier() -> Material:
    """Permeability to oxygen and to water depends on humidity."""
    activity = (0.0, 0.6, 0.8, 0.9, 1.0)
    oxygen = tuple(x * BARRIER_UNIT for x in (0.015, 0.025, 0.23, 2.5, 9.0))
    gases = {
        "O2": GasLaw("O2", T23, activity, oxygen, 55e3),
        "N2": GasLaw("N2", T23, activity, tuple(0.2 * p for p in oxygen), 55e3),
    }
    flux = water_rate(2.0).phi[1]
    water = WaterLaw(T23, (0.0, 0.6, 1.0), (0.0, 0.6 * flux, 2.4 * flux), 40e3)
    moves = _diffusion(50e3, O2=1.0e-15, N2=8e-16, H2O=1e-13)
    return Material("barrier", "EVOH", 1180.0, gases, water, diffusivity=moves)


def foil() -> Material:
    """Lets nothing through."""
    gases = {g: GasLaw(g, T23, (0.0,), (0.0,), 0.0) for g in ("O2", "N2", "CO2")}
    return Material("foil", "Al", 2700.0, gases, WaterLaw(T23, (0.0, 1.0), (0.0, 0.0), 0.0))


def pet(**more: object) -> Material:
    gases = {"O2": gas("O2", 4.0, 32e3), "N2": gas("N2", 1.0, 34e3), "CO2": gas("CO2", 20.0, 28e3)}
    moves = _diffusion(48e3, O2=5e-13, N2=3e-13, CO2=1e-13, H2O=3e-12)
    return Material("pet", "PET", 1350.0, gases, water_rate(1.5, 5e3), diffusivity=moves, **more)


def package(*layers: tuple[Material, float], patches: tuple[Patch, ...] = (Patch(0.06),)) -> Package:
    """One wall from (material, thickness [um]), inside to outside."""
    wall = Wall("wall", tuple(Layer(m, 1e-6 * um) for m, um in layers))
    return Package((WallPart("body", "wall", patches),), {"wall": wall})


def barrier_package() -> Package:
    return package((skin(), 400.0), (tie(), 15.0), (barrier(), 20.0), (tie(), 15.0), (skin(), 300.0))


def powder(limits: tuple[Limit, ...], *, dissolves: str = "oil") -> Product:
    """Takes up water (GAB) and uses oxygen (Michaelis-Menten) dissolved in its fat, or of the headspace."""
    return Product(
        mass=0.25,
        volume=2.5e-4,
        headspace=Headspace(1e-4, True, {"O2": 0.02, "N2": 0.98}),
        oxygen=OxygenModel(dissolves, consumption=Consumption("michaelis-menten", 3e-11, T23, 60e3, 300.0)),
        moisture=MoistureModel(0.2, GAB(0.045, 12.0, 0.93), 0.15),
        limits=limits,
    )


def coupled(dissolves: str = "oil") -> Case:
    """The case of the benchmark: five layers, water and oxygen, 12 stages over two years."""
    storage = seasons()
    total = sum(s.duration for s in storage)
    limits = (Limit("oxygen_gain", 25e-6), Limit("water_activity_max", 0.19))
    return Case(
        "coupled (invented)", powder(limits, dissolves=dissolves), barrier_package(), storage, None, total
    )


def hourly(case: Case, years: float = 2.0) -> Case:
    """The case in an hourly climate of sines: a year, a day and a five-day wave of weather."""
    stages = []
    for k in range(round(8760 * years)):
        day = 2 * math.pi * k / 24
        year, front = day / 365, day / 5
        celsius = 15.0 - 9.0 * math.cos(year) - 5.0 * math.cos(day - 0.9) + 3.0 * math.sin(front)
        moist = 0.60 + 0.08 * math.cos(year) + 0.12 * math.cos(day - 0.7) + 0.06 * math.sin(front + 1.0)
        stages.append(Stage("weather", HOUR, 273.15 + celsius, moist))
    return replace(
        case, title="hourly (invented)", storage=tuple(stages), horizon=sum(s.duration for s in stages)
    )


def _still(days: float, celsius: float = 23.0, humidity: float = 0.5) -> tuple[Stage, ...]:
    return (Stage("store", days * DAY, 273.15 + celsius, humidity),)


def flushed_bottle() -> Case:
    """Plain PET flushed with nitrogen: the wall, stored in air, gives off its oxygen. Uneven wall."""
    patches = (Patch(0.04, 1.0), Patch(0.015, 0.7))
    product = Product(
        0.5,
        5e-4,
        Headspace(2.5e-5, True, {"N2": 1.0}),
        1.0,
        OxygenModel("water"),
        limits=(Limit("oxygen_gain", 1e-6), Limit("water_loss", 0.01)),
    )
    storage = (
        Stage("line", 5 * DAY, 293.15, 0.5),
        Stage("truck", 10 * DAY, 308.15, 0.3),
        Stage("shop", 105 * DAY, 296.15, 0.6),
    )
    case = Case(
        "flushed bottle (invented)", product, package((pet(), 300.0), patches=patches), storage, None, 0
    )
    return replace(case, horizon=120 * DAY)


def carbonated_bottle(creep: bool = False) -> Case:
    """Carbonated water in PET: the wall takes up CO2 first."""
    growth = ((0.0, 0.0), (14 * DAY, 0.015), (60 * DAY, 0.025)) if creep else ()
    product = Product(
        0.5,
        5e-4,
        Headspace(2.5e-5, True, {}, growth),
        1.0,
        carbonation=Carbonation(4.0, 277.15),
        closing_temperature=288.15,
        limits=(Limit("co2_loss", 0.15),),
    )
    storage = (*_still(30), Stage("cellar", 60 * DAY, 285.15, 0.7))
    return Case("carbonated bottle (invented)", product, package((pet(), 330.0)), storage, None, 90 * DAY)


def pouch() -> Case:
    """A flexible pouch: the gases share a volume that follows."""
    product = Product(
        0.2,
        2e-4,
        Headspace(1.5e-4, False, {"O2": 0.01, "N2": 0.79, "CO2": 0.20}),
        0.4,
        limits=(Limit("headspace_oxygen", 0.02), Limit("oxygen_gain", 50e-6)),
    )
    storage = (Stage("cold", 20 * DAY, 278.15, 0.8), Stage("shop", 100 * DAY, 296.15, 0.5))
    wall = package((skin(), 60.0), (pet(), 40.0), (skin(), 20.0))
    return Case(
        "pouch (invented)", product, wall, storage, None, 120 * DAY, before=Surroundings(humidity=0.3)
    )


def scavenging(capacity: float | None = 0.02) -> Case:
    """A PET closure that uses oxygen up until its capacity [cm3(STP)/g] is spent, beside a plain wall."""
    held = None if capacity is None else capacity * 1e-6 * STP_MOLES_PER_M3 / 1e-3 * 1350.0
    liner = replace(pet(scavenger=Scavenger("O2", 2e-5, T23, 50e3, held)), name="liner")
    body = Wall("body", (Layer(pet(), 350e-6),))
    cap = Wall("cap", (Layer(liner, 400e-6), Layer(pet(), 600e-6)))
    parts = (WallPart("bottle", "body", (Patch(0.05),)), WallPart("cap", "cap", (Patch(8e-4),)))
    product = Product(
        0.5,
        5e-4,
        Headspace(2e-5, True, {"O2": 0.01, "N2": 0.99}),
        1.0,
        OxygenModel("water"),
        limits=(Limit("oxygen_gain", 2e-6),),
    )
    storage = (*_still(60), Stage("warm", 60 * DAY, 303.15, 0.5))
    return Case(
        "scavenging closure (invented)",
        product,
        Package(parts, {"body": body, "cap": cap}),
        storage,
        None,
        120 * DAY,
    )


def linear(
    *layers: tuple[Material, float],
    volume: float,
    inside: float = 0.0,
    wall: float = 0.2095,
    days: float = 60.0,
    area: float = 0.05,
) -> Case:
    """Oxygen only, one temperature, dry, nothing dissolves: what closed forms describe. inside and wall:
    share of oxygen in the vessel of ``volume`` [m3] and in the surroundings that the wall comes from;
    outside is dry air."""
    product = Product(
        1.0,
        1e-9,
        Headspace(volume, True, {"O2": inside, "N2": 1.0 - inside}),
        0.0,
        closing_temperature=T23,
        limits=(Limit("oxygen_gain", 1.0),),
    )
    before = Surroundings(0.0, {"O2": wall, "N2": 1.0 - wall})
    packed = package(*layers, patches=(Patch(area),))
    return Case(
        "linear (invented)", product, packed, _still(days, 23.0, 0.0), None, days * DAY, before=before
    )


#: name -> case; ``reference_times`` has the times at which the references hold.
CASES = {
    "coupled": coupled,
    "coupled headspace": lambda: coupled("nothing"),
    "flushed bottle": flushed_bottle,
    "carbonated bottle": carbonated_bottle,
    "carbonated bottle with creep": lambda: carbonated_bottle(True),
    "pouch": pouch,
    "scavenging": scavenging,
    "scavenging without end": lambda: scavenging(None),
    "ten days of weather": lambda: hourly(coupled(), 240 / 8760),
}


def reference_times(case: Case) -> list[float]:
    """Early, in between and at the end [s]. At the end of a stage the values are those before the step."""
    return [f * case.horizon for f in (1 / 240, 1 / 24, 0.2, 0.45, 0.7, 1.0)]

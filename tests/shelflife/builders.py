"""Invented packages and products for the tests of shelf life."""

from __future__ import annotations

from dataclasses import replace

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLES_PER_M3
from optimizer.geometry.surface import Patch
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.physics.sorption import GAB
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.package import (
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
    Wall,
    WallPart,
)

MIL, HUNDRED_IN2 = 25.4e-6, 100 * 0.0254**2
#: cm3(STP) mil / (100 in2 day atm) in mol m/(m2 s Pa)
BARRIER_UNIT = 1e-6 * STP_MOLES_PER_M3 * MIL / (HUNDRED_IN2 * DAY * ATMOSPHERE)
T23, T38 = 296.15, 311.15


def gas(name: str, value: float, energy: float = 40e3, temperature: float = T23) -> GasLaw:
    """Law from cm3(STP) mil/(100 in2 day atm), whatever the humidity."""
    return GasLaw(name, temperature, (0.0,), (value * BARRIER_UNIT,), energy)


def water_rate(value: float, energy: float = 0.0) -> WaterLaw:
    """Law from g mil/(100 in2 day) at 38 degC, 90 %RH against 0."""
    flux = value * 1e-3 / MOLAR_MASS["H2O"] * MIL / (HUNDRED_IN2 * DAY)
    return WaterLaw.constant(T38, flux / (0.9 * float(saturation_pressure(T38))), energy)


def polyolefin() -> Material:
    gases = {"O2": gas("O2", 150.0), "N2": gas("N2", 40.0), "CO2": gas("CO2", 500.0, 36e3)}
    return Material("skin", "PE", 950.0, gases, water_rate(0.4, 34e3), price=1.3, currency="EUR")


def sensitive() -> Material:
    """A barrier whose permeability to oxygen and water depends on humidity."""
    activity = (0.0, 0.6, 0.8, 0.9, 1.0)
    oxygen = tuple(x * BARRIER_UNIT for x in (0.015, 0.025, 0.23, 2.5, 9.0))
    gases = {
        "O2": GasLaw("O2", T23, activity, oxygen, 55e3),
        "N2": GasLaw("N2", T23, activity, tuple(0.2 * p for p in oxygen), 55e3),
        "CO2": GasLaw("CO2", T23, activity, tuple(4 * p for p in oxygen), 50e3),
    }
    flux = water_rate(2.0).phi[1]
    water = WaterLaw(T23, (0.0, 0.6, 1.0), (0.0, 0.6 * flux, 2.4 * flux), 40e3)
    return Material("barrier", "EVOH", 1180.0, gases, water, price=6.0, currency="EUR")


def plain(name: str = "plain", oxygen: float = 5.0, water: float = 1.5, energy: float = 0.0) -> Material:
    gases = {
        "O2": gas("O2", oxygen, energy),
        "N2": gas("N2", 0.25 * oxygen, energy),
        "CO2": gas("CO2", 4 * oxygen, energy),
    }
    return Material(name, "PET", 1350.0, gases, water_rate(water, energy), price=1.5, currency="EUR")


def one_wall(material: Material, thickness: float, area: float) -> Package:
    wall = Wall("wall", (Layer(material, thickness),))
    return Package((WallPart("body", "wall", (Patch(area),)),), {"wall": wall})


def barrier_wall(area: float = 0.06) -> Package:
    skin, core = polyolefin(), sensitive()
    wall = Wall("wall", (Layer(skin, 60e-6), Layer(core, 10e-6), Layer(skin, 30e-6)))
    return Package((WallPart("body", "wall", (Patch(area),)),), {"wall": wall})


def still(temperature: float = T23, humidity: float = 0.5, duration: float = 365 * DAY) -> tuple[Stage, ...]:
    return (Stage("store", duration, temperature, humidity),)


def seasons(count: int = 12, each: float = 61 * DAY) -> tuple[Stage, ...]:
    """Stages whose temperature and humidity go up and down."""
    warm = (12, 18, 25, 30, 24, 15, 8, 10, 19, 28, 33, 21)
    moist = (0.45, 0.5, 0.62, 0.7, 0.65, 0.5, 0.4, 0.42, 0.55, 0.72, 0.78, 0.6)
    return tuple(Stage(f"stage {k}", each, 273.15 + warm[k % 12], moist[k % 12]) for k in range(count))


def dry_powder(
    limits: tuple[Limit, ...], *, rigid: bool = True, order: int | str = "michaelis-menten"
) -> Product:
    """A fatty powder that takes up water and uses oxygen."""
    rate = 0.02 / DAY if order == 1 else 3e-11
    return Product(
        mass=0.25,
        volume=2.5e-4,
        headspace=Headspace(1e-4, rigid, {"O2": 0.02, "N2": 0.98}),
        oxygen=OxygenModel("oil", consumption=Consumption(order, rate, T23, 60e3, 300.0)),
        moisture=MoistureModel(0.2, GAB(0.045, 12.0, 0.93), 0.15),
        limits=limits,
    )


def case_of(
    product: Product,
    package: Package,
    storage: tuple[Stage, ...],
    *,
    target: float | None = None,
    horizon: float | None = None,
) -> Case:
    total = sum(s.duration for s in storage)
    return Case("test", product, package, storage, target, horizon or total)


def thicker(package: Package, factor: float, layer: int = 0) -> Package:
    wall = package.walls["wall"]
    layers = [
        replace(x, thickness=x.thickness * factor) if i == layer else x for i, x in enumerate(wall.layers)
    ]
    return package.with_walls({"wall": replace(wall, layers=tuple(layers))})

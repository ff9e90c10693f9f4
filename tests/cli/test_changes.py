"""What differs between two packages, in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.constants import DAY
from optimizer.geometry.surface import Patch
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.results import Change
from optimizer.shelflife.changes import changed_walls, changes
from optimizer.shelflife.package import (
    Case,
    ClosurePart,
    Consumption,
    GivenConductance,
    Headspace,
    HolePart,
    Layer,
    Limit,
    OxygenModel,
    Package,
    Product,
    Stage,
    Wall,
    WallPart,
)

from .samples import FAILING, PASSING


def polymer(name: str, oxygen: float = 1e-18, price: float | None = 1.3) -> Material:
    return Material(
        name,
        "PE",
        950.0,
        {"O2": GasLaw("O2", 296.15, (0.0,), (oxygen,), 40e3)},
        WaterLaw.constant(311.15, 1e-14, 35e3),
        price=price,
        currency="EUR",
    )


SKIN, CORE = polymer("HDPE"), polymer("EVOH 32", 1e-21)
CASE = Case(
    title="Bottle",
    product=Product(
        mass=1.0,
        volume=1e-3,
        headspace=Headspace(3e-5),
        water_activity=0.99,
        limits=(Limit("oxygen_gain", 5e-6), Limit("water_loss", 0.02)),
    ),
    package=Package(
        (WallPart("body", "bottle", (Patch(0.05),)), HolePart("hole", 2e-5, 3e-4)),
        {
            "bottle": Wall("bottle", (Layer(SKIN, 3e-4), Layer(CORE, 12e-6), Layer(SKIN, 2e-4))),
            "spare": Wall("spare", (Layer(SKIN, 1e-4),)),
        },
    ),
    storage=(Stage("shelf", 270 * DAY, 296.15, 0.5),),
    target=270 * DAY,
    horizon=810 * DAY,
)


def difference(now: Case) -> list[Change]:
    return list(changes(CASE, now, PASSING, PASSING))


def with_wall(*layers: Layer) -> Case:
    return replace(CASE, package=CASE.package.with_walls({"bottle": Wall("bottle", layers)}))


def with_product(**values: object) -> Case:
    return replace(CASE, product=replace(CASE.product, **values))  # type: ignore[arg-type]


def test_nothing_changed_says_nothing() -> None:
    assert difference(replace(CASE)) == []
    assert changed_walls(CASE, CASE) == ()


def test_a_thinner_layer_is_named_with_its_place_and_the_total() -> None:
    now = with_wall(Layer(SKIN, 3e-4), Layer(CORE, 8e-6), Layer(SKIN, 2e-4))
    assert difference(now) == [
        Change("wall bottle, layer 2 EVOH 32", "12 um", "8 um"),
        Change("wall bottle, total", "512 um", "508 um"),
    ]
    assert changed_walls(CASE, now) == ("bottle",)


def test_another_structure_is_shown_whole() -> None:
    now = with_wall(Layer(SKIN, 5e-4))
    assert difference(now) == [
        Change("wall bottle", "HDPE 300 um / EVOH 32 12 um / HDPE 200 um", "HDPE 500 um")
    ]


def test_a_resin_of_the_same_name_with_other_data_is_a_change_of_the_wall() -> None:
    other = polymer("EVOH 32", 2e-21, price=1.1)
    now = with_wall(Layer(SKIN, 3e-4), Layer(other, 12e-6), Layer(SKIN, 2e-4))
    assert [c.what for c in difference(now)] == [
        "material EVOH 32, price",
        "material EVOH 32, O2 permeability",
    ]
    assert changed_walls(CASE, now) == ("bottle",)


def test_a_wall_that_no_part_uses_is_not_a_changed_wall() -> None:
    now = replace(CASE, package=CASE.package.with_walls({"spare": Wall("spare", (Layer(SKIN, 2e-4),))}))
    assert changed_walls(CASE, now) == ()


@pytest.mark.parametrize(
    ("now", "change"),
    [
        (with_product(mass=0.9), Change("product mass", "1000 g", "900 g")),
        (with_product(water_activity=None), Change("product water activity", "0.99", "none")),
        (with_product(headspace=Headspace(4e-5)), Change("headspace volume", "30 mL", "40 mL")),
        (
            with_product(headspace=Headspace(3e-5, rigid=False)),
            Change("headspace walls", "rigid", "flexible"),
        ),
        (
            with_product(headspace=Headspace(3e-5, gas={"O2": 0.01, "N2": 0.99})),
            Change("headspace gas", "O2 20.9 %, N2 79 %", "O2 1 %, N2 99 %"),
        ),
        (
            with_product(limits=(Limit("oxygen_gain", 3e-6), CASE.product.limits[1])),
            Change("limit oxygen gain", "5 mg/kg", "3 mg/kg"),
        ),
        (with_product(limits=CASE.product.limits[:1]), Change("limit water loss", "2 %", "none")),
        (replace(CASE, target=300 * DAY), Change("target shelf life", "8.87 months", "9.86 months")),
        (
            replace(CASE, storage=(Stage("shelf", 270 * DAY, 301.15, 0.5),)),
            Change(
                "storage stage 1",
                "shelf: 8.87 months, 23 degC, 50 %",
                "shelf: 8.87 months, 28 degC, 50 %",
            ),
        ),
        (
            replace(CASE, package=replace(CASE.package, parts=CASE.package.parts[:1])),
            Change("part hole", "hole 20 um wide, 300 um long", "none"),
        ),
        (
            replace(
                CASE,
                package=replace(
                    CASE.package, parts=(WallPart("body", "bottle", (Patch(0.06),)),) + CASE.package.parts[1:]
                ),
            ),
            Change("part body, area", "500 cm2", "600 cm2"),
        ),
        (
            replace(
                CASE,
                package=replace(
                    CASE.package,
                    parts=(WallPart("body", "bottle", (Patch(0.05, 1.4),)),) + CASE.package.parts[1:],
                ),
            ),
            Change("part body, local thickness", "512 um", "716.8 um"),
        ),
    ],
    ids=lambda value: value.what if isinstance(value, Change) else "",
)
def test_each_kind_of_change_is_said_once(now: Case, change: Change) -> None:
    assert difference(now) == [change]


def test_a_changed_oxygen_model_names_the_fields_that_differ() -> None:
    oxygen = OxygenModel("water", consumption=Consumption(1, 5e-7, 296.15))
    (change,) = difference(with_product(oxygen=oxygen))
    assert change.what == "oxygen in the product"
    assert "dissolves like nothing" in change.baseline
    assert "dissolves like water" in change.now
    assert "rate 0.0432 1/day, temperature 23 degC" in change.now  # 5e-7 * 86400


def test_a_price_a_gauge_or_a_role_is_no_change_of_the_wall() -> None:
    dearer = replace(CORE, price=9.0, gauge=(1e-6, 1e-4), roles=frozenset({"barrier"}), notes=("new",))
    now = with_wall(Layer(SKIN, 3e-4), Layer(dearer, 12e-6), Layer(SKIN, 2e-4))
    assert difference(now) == [Change("material EVOH 32, price", "1.3 EUR/kg", "9 EUR/kg")]
    assert changed_walls(CASE, now) == ()


@pytest.mark.parametrize("density", [950.0, 960.0])
def test_another_density_is_a_change_of_the_wall(density: float) -> None:
    now = with_wall(Layer(SKIN, 3e-4), Layer(replace(CORE, density=density), 12e-6), Layer(SKIN, 2e-4))
    assert changed_walls(CASE, now) == (() if density == 950.0 else ("bottle",))
    assert bool(difference(now)) is (density != 950.0)


def test_another_activation_energy_is_shown_where_the_printed_values_are_the_same() -> None:
    law = replace(CORE.gases["O2"], activation_energy=50e3)
    other = replace(CORE, gases={"O2": law})
    (change,) = difference(with_wall(Layer(SKIN, 3e-4), Layer(other, 12e-6), Layer(SKIN, 2e-4)))
    assert change.baseline.endswith("40 kJ/mol") and change.now.endswith("50 kJ/mol")


def test_mass_and_cost_come_last() -> None:
    found = changes(CASE, CASE, PASSING, replace(FAILING, mass_g=25.0, cost_per_package=None))
    assert found == (
        Change("mass of the package", "28.42 g", "25 g"),
        Change("cost of the package", "0.05235 EUR", "none"),
    )


def test_a_closure_is_told_in_trade_units() -> None:
    # 0.01 cm3(STP)/(day atm) is 0.01e-6 m3 / 0.0224140 m3/mol / 86400 s / 101325 Pa
    oxygen = GivenConductance(0.01e-6 / 0.022413970 / 86400 / 101325, 296.15, 4e4)
    # 1 g/(day kPa) is 1/18.0153 mol / 86400 s / 1000 Pa
    water = GivenConductance(1 / 18.0153 / 86400 / 1000, 296.15, 35e3)
    parts = (*CASE.package.parts, ClosurePart("cap", {"O2": oxygen, "H2O": water}))
    (change,) = difference(replace(CASE, package=replace(CASE.package, parts=parts)))
    assert change == Change("part cap", "none", "closure: O2 0.01 cm3/(day*atm), H2O 1 g/(day*kPa)")

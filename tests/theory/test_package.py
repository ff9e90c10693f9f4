"""Laws of whole packages, through the same door that users take: project file in, prediction out."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shelflife.builders import barrier_wall, case_of, dry_powder, one_wall, plain, seasons, still, thicker

import optimizer
from optimizer.constants import DAY
from optimizer.results import PredictResult
from optimizer.shelflife.package import Headspace, Limit, Product
from optimizer.shelflife.predict import predict

LIMITS = (Limit("oxygen_gain", 60e-6), Limit("water_activity_max", 0.40))


def bottle(area: float, thickness: float, limit: float = 0.01) -> PredictResult:
    product = Product(0.5, 5e-4, Headspace(2e-5), 1.0, limits=(Limit("water_loss", limit),))
    return predict(case_of(product, one_wall(plain(), thickness, area), still(), horizon=1e5 * DAY))


def life(result: PredictResult) -> float:
    assert result.shelf_life_days is not None
    return result.shelf_life_days


@given(st.floats(0.005, 0.2), st.floats(1e-4, 1e-3), st.floats(1.1, 5.0))
@settings(deadline=None, max_examples=25)
def test_where_loss_is_steady_life_goes_as_thickness_over_area(
    area: float, thickness: float, factor: float
) -> None:
    base = life(bottle(area, thickness))
    assert factor * life(bottle(factor * area, thickness)) == pytest.approx(base, rel=1e-7)
    assert life(bottle(area, factor * thickness)) == pytest.approx(factor * base, rel=1e-7)
    assert life(bottle(area, thickness, 0.01 * factor)) == pytest.approx(factor * base, rel=1e-7)


@given(st.floats(0.01, 0.99))
@settings(deadline=None, max_examples=10)
def test_one_part_in_two_pieces_is_the_same_package(share: float) -> None:
    from dataclasses import replace

    from optimizer.geometry.surface import Patch

    case = case_of(dry_powder(LIMITS), barrier_wall(), seasons(), target=300 * DAY)
    whole = case.package.parts[0]
    (patch,) = whole.patches  # type: ignore[union-attr]
    pieces = tuple(
        replace(whole, name=name, patches=(Patch(x * patch.area),))  # type: ignore[type-var]
        for name, x in (("one", share), ("two", 1 - share))
    )
    base = predict(case)
    split = predict(replace(case, package=replace(case.package, parts=pieces)))
    assert life(split) == pytest.approx(life(base), rel=1e-7)
    assert split.mass_g == pytest.approx(base.mass_g, rel=1e-12)
    for gas in ("O2", "H2O"):
        for stage in {x.stage for x in base.transmission}:

            def total(result: PredictResult, stage: str = stage, gas: str = gas) -> float:
                return sum(x.value for x in result.transmission if (x.stage, x.gas) == (stage, gas))

            assert total(split) == pytest.approx(total(base), rel=1e-9)


@pytest.mark.parametrize("factor", [1.5, 3.0])
def test_a_longer_stage_of_the_same_conditions_is_the_same_as_two(factor: float) -> None:
    product = dry_powder(LIMITS)
    one = case_of(product, barrier_wall(), still(duration=300 * DAY))
    two = case_of(
        product,
        barrier_wall(),
        (*still(duration=300 * DAY / factor), *still(duration=300 * DAY)),
        horizon=300 * DAY,
    )
    for key in ("oxygen_gain_mg_per_kg", "water_activity"):
        assert predict(two).time_series[key] == pytest.approx(predict(one).time_series[key], rel=2e-5)


def test_moisture_ends_at_the_humidity_of_the_room() -> None:
    product = dry_powder((Limit("water_activity_max", 0.99),))
    for humidity in (0.05, 0.3, 0.62):
        case = case_of(product, barrier_wall(5.0), still(humidity=humidity, duration=3000 * DAY))
        assert predict(case).time_series["water_activity"][-1] == pytest.approx(humidity, abs=1e-5)


def test_a_barrier_twice_as_thick_passes_a_later_target() -> None:
    case = case_of(dry_powder(LIMITS), barrier_wall(), seasons(), horizon=4000 * DAY)
    doubled = case_of(
        dry_powder(LIMITS), thicker(barrier_wall(), 2.0, layer=0), seasons(), horizon=4000 * DAY
    )
    assert life(predict(doubled)) > life(predict(case))


# --- the units of the input do not matter -----------------------------------------------------------------
#: One project twice; every value of the right column is the left one by exact definition: 1 in = 25.4 mm,
#: 1 lb = 453.59237 g, 1 atm = 101325 Pa, 1 kcal = 4184 J, degF = 1.8 degC + 32.
VALUES = {
    "mass": ("453.59237 g", "1 lb"),
    "volume": ("473.176473 mL", "28.875 in3"),
    "headspace": ("16.387064 mL", "1 in3"),
    "rate": ("0.01 1/day", "0.07 1/week"),
    "at": ("25 degC", "77 degF"),
    "energy": ("41.84 kJ/mol", "10 kcal/mol"),
    "gain": ("20 mg/kg", "20 ppm"),
    "diameter": ("63.5 mm", "2.5 in"),
    "height": ("152.4 mm", "6 in"),
    "area": ("64.516 cm2", "10 in2"),
    "leak": ("2 cm3/(package*day*atm)", "2 cc/(pack*24h*atm)"),
    "hole": ("25.4 um", "1 mil"),
    "skin": ("508 um", "20 mil"),
    "core": ("0.0254 mm", "1 mil"),
    "oxygen": ("100 cm3*mm/(m2*day*atm)", "254 cm3*mil/(100 in2*day*atm)"),
    "vapour": ("0.2 g*mm/(m2*day)", "0.508 g*mil/(100 in2*day)"),
    "tight": ("0.5 cm3*mm/(m2*day*atm)", "1.27 cc*mil/(100 in2*24h*atm)"),
    "density": ("950 kg/m3", "0.950 g/cm3"),
    "warm": ("38 degC", "100.4 degF"),
    "cool": ("10 degC", "50 degF"),
    "pressure": ("101.325 kPa", "1 atm"),
    "long": ("182 days", "26 weeks"),
    "short": ("14 days", "336 h"),
}
PROJECT = """
format: 1
title: the same package (invented)
materials:
  - name: skin
    density: {density}
    family: PE
    permeability:
      - {{gas: O2, value: "{oxygen}", temperature: {at}, humidity: 0 %, activation_energy: {energy}}}
      - {{gas: N2, value: "{oxygen}", temperature: {at}, humidity: 0 %, activation_energy: {energy}}}
      - {{gas: H2O, value: "{vapour}", temperature: {warm}, humidity: 90 %, activation_energy: {energy}}}
  - name: core
    density: {density}
    family: EVOH
    permeability:
      - {{gas: O2, value: "{tight}", temperature: {at}, humidity: 0 %, activation_energy: {energy}}}
      - {{gas: N2, value: "{tight}", temperature: {at}, humidity: 0 %, activation_energy: {energy}}}
      - {{gas: H2O, value: "{vapour}", temperature: {warm}, humidity: 90 %, activation_energy: {energy}}}
product:
  mass: {mass}
  volume: {volume}
  water_activity: 0.99
  headspace: {{volume: {headspace}, gas: {{O2: 2 %, N2: 98 %}}}}
  oxygen:
    dissolves_like: water
    consumption: {{order: 1, rate: {rate}, temperature: {at}, activation_energy: {energy}}}
  limits: {{oxygen_gain: {gain}, water_loss: 1 %}}
package:
  parts:
    body: {{shape: cylinder, diameter: {diameter}, height: {height}, wall: bottle}}
    base: {{area: {area}, wall: bottle, thickness_ratio: 1.5}}
    cap: {{transmission: [{{gas: O2, value: "{leak}", temperature: {at}, activation_energy: {energy}}}]}}
    hole: {{pinhole: {{diameter: {hole}, length: {skin}}}}}
walls:
  bottle: {{layers: [{{material: skin, thickness: {skin}}}, {{material: core, thickness: {core}}}]}}
storage:
  - {{duration: {short}, temperature: {warm}, humidity: 70 %, pressure: {pressure}}}
  - {{duration: {long}, temperature: {cool}, humidity: 50 %}}
target: {{shelf_life: {long}}}
"""


def predicted(folder: Path, name: str, values: dict[str, str]) -> PredictResult:
    path = folder / f"{name}.yaml"
    path.write_text(PROJECT.format(**values), encoding="utf-8")
    return optimizer.predict(path)


def same(one: PredictResult, two: PredictResult) -> None:
    assert life(one) == pytest.approx(life(two), rel=1e-9)
    assert one.limited_by == two.limited_by
    assert one.mass_g == pytest.approx(two.mass_g, rel=1e-12)
    for a, b in zip(one.transmission, two.transmission, strict=True):
        assert (a.stage, a.part, a.gas, a.unit) == (b.stage, b.part, b.gas, b.unit)
        assert a.value == pytest.approx(b.value, rel=1e-9)
    for key, values in one.time_series.items():
        assert values == pytest.approx(two.time_series[key], rel=1e-7, abs=1e-12)


def test_a_project_in_american_units_is_the_same_package(tmp_path: Path) -> None:
    metric = predicted(tmp_path, "metric", {k: v[0] for k, v in VALUES.items()})
    american = predicted(tmp_path, "american", {k: v[1] for k, v in VALUES.items()})
    same(metric, american)


@given(st.sets(st.sampled_from(sorted(VALUES))))
@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_mixture_of_units_is_the_same_package(tmp_path: Path, swapped: set[str]) -> None:
    metric = predicted(tmp_path, "metric", {k: v[0] for k, v in VALUES.items()})
    mixed = predicted(tmp_path, "mixed", {k: v[k in swapped] for k, v in VALUES.items()})
    same(metric, mixed)

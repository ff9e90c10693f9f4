"""The answer of predict: tables, judgement, warnings."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import ATMOSPHERE, DAY, GAS_CONSTANT, MOLAR_MASS
from optimizer.errors import InputError, MaterialError
from optimizer.geometry.surface import Patch
from optimizer.physics.material import DiffusionLaw, Material, SourceNote
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.breakdown import named_stages
from optimizer.shelflife.lag import wall_memory
from optimizer.shelflife.package import (
    Carbonation,
    Case,
    ClosurePart,
    GivenConductance,
    Headspace,
    HolePart,
    Layer,
    Limit,
    OxygenModel,
    Package,
    Product,
    Stage,
    TransmissionLimit,
    Wall,
    WallPart,
)
from optimizer.shelflife.predict import predict
from shelflife.builders import (
    BARRIER_UNIT,
    T23,
    T38,
    barrier_wall,
    case_of,
    dry_powder,
    one_wall,
    plain,
    seasons,
    still,
    water_rate,
)

POWDER = (Limit("oxygen_gain", 30e-6), Limit("water_activity_max", 0.19))


def bottle(
    limits: tuple[Limit, ...] = (Limit("water_loss", 0.01),), target: float | None = 180 * DAY
) -> Case:
    product = Product(0.5, 5e-4, Headspace(2e-5), 1.0, limits=limits)
    return case_of(
        product, one_wall(plain(), 300e-6, 0.04), still(T23, 0.5), target=target, horizon=365 * DAY
    )


def test_the_bottle_passes_half_a_year_and_ends_by_water_loss_after_269_7_days() -> None:
    # 0.018540 g/day, 1 % of 500 g: worked example computed by hand from the test rate
    result = predict(bottle(), version="1", inputs_sha256="x")
    assert result.passes
    assert result.limited_by == "water_loss"
    assert result.shelf_life_days == pytest.approx(269.7, abs=0.05)
    limit = result.limits[0]
    assert (limit.limit, limit.unit, limit.status) == (1.0, "%", "reached")
    assert limit.at_target == pytest.approx(0.018540 * 180 / 5, rel=1e-4)
    assert limit.margin_pct == pytest.approx(100 * (1 - 180 / 269.7), abs=0.02)
    water = next(x for x in result.transmission if x.gas == "H2O")
    assert (water.value, water.unit) == (pytest.approx(0.018540, abs=1e-6), "g/(package*day)")


def test_a_later_target_fails() -> None:
    result = predict(bottle(target=300 * DAY), version="1", inputs_sha256="x")
    assert not result.passes
    assert result.limits[0].at_target == pytest.approx(0.018540 * 300 / 5, rel=1e-4)
    assert result.limits[0].margin_pct is not None
    assert result.limits[0].margin_pct < 0


def test_a_limit_that_is_never_reached_gives_no_shelf_life() -> None:
    result = predict(bottle((Limit("water_loss", 0.5),)), version="1", inputs_sha256="x")
    assert result.shelf_life_days is None
    assert result.limited_by is None
    assert result.limits[0].status == "not reached"


def test_exceeded_at_closing_is_said_and_fails() -> None:
    case = case_of(
        dry_powder((Limit("headspace_oxygen", 1e-4),)), barrier_wall(), seasons(), target=100 * DAY
    )
    result = predict(case, version="1", inputs_sha256="x")
    assert result.limits[0].status == "exceeded at closing"
    assert result.shelf_life_days == 0.0
    assert not result.passes


def test_film_transmission_at_the_test_condition_is_the_material_value() -> None:
    # 5 cm3 mil/(100 in2 day atm) through 1 mil: 5 * 15.500031 cm3/(m2 day atm); 1.5 g mil/(100 in2 day)
    # likewise
    case = replace(bottle(), package=one_wall(plain(), 25.4e-6, 0.04), storage=still(T38, 0.0))
    case = replace(case, product=replace(case.product, water_activity=0.9))
    films = {x.gas: x for x in predict(case, version="1", inputs_sha256="x").film_transmission}
    assert films["O2"].value == pytest.approx(5 * 15.500031, rel=1e-7)
    assert films["O2"].unit == "cm3(STP)/(m2*day*atm)"
    assert films["H2O"].value == pytest.approx(1.5 * 15.500031, rel=1e-7)
    assert films["H2O"].unit == "g/(m2*day)"


def test_shares_of_the_parts_add_up_for_every_stage_and_gas() -> None:
    package = one_wall(plain(), 300e-6, 0.04)
    cap = ClosurePart(
        "cap", {"O2": GivenConductance(1e-17, T23, 30e3), "H2O": GivenConductance(1e-14, T23, 30e3)}
    )
    package = Package((*package.parts, cap, HolePart("hole", 10e-6, 3e-4)), package.walls)
    case = replace(bottle(), package=package, storage=seasons(3))
    result = predict(case, version="1", inputs_sha256="x")
    sums: dict[tuple[str, str], float] = {}
    for row in result.transmission:
        sums[row.stage, row.gas] = sums.get((row.stage, row.gas), 0.0) + row.share
    assert len(sums) == 9
    assert list(sums.values()) == pytest.approx([1.0] * 9)
    assert any("cap" in w and "H2O" not in w for w in result.warnings) is False


def test_a_closure_without_a_needed_gas_is_taken_as_zero_with_a_warning() -> None:
    package = one_wall(plain(), 300e-6, 0.04)
    package = Package((*package.parts, ClosurePart("cap", {})), package.walls)
    result = predict(replace(bottle(), package=package), version="1", inputs_sha256="x")
    assert any("cap: no transmission given for H2O; taken as zero" in w for w in result.warnings)


def test_layers_show_the_humidity_of_the_two_sided_example() -> None:
    # skins of one polymer, inside 100 %, outside 50 %, inner 20 um, outer 60 um: barrier at 87.5 %RH;
    # swapped 62.5 %
    skin = plain("skin", water=0.4)
    core = plain("core", oxygen=0.05, water=4000.0)
    product = Product(0.5, 5e-4, Headspace(2e-5), 1.0, limits=(Limit("oxygen_gain", 1e-6),))
    for inner, outer, humidity in ((20e-6, 60e-6, 87.5), (60e-6, 20e-6, 62.5)):
        wall = Wall("wall", (Layer(skin, inner), Layer(core, 5e-6), Layer(skin, outer)))
        package = Package((WallPart("body", "wall", (Patch(0.04),)),), {"wall": wall})
        result = predict(case_of(product, package, still(T23, 0.5)), version="1", inputs_sha256="x")
        middle = result.layers[1]
        assert middle.humidity_mid_pct == pytest.approx(humidity, abs=0.01)
        assert middle.humidity_inside_face_pct >= middle.humidity_mid_pct >= middle.humidity_outside_face_pct
        assert sum(x.resistance_share_pct["O2"] for x in result.layers) == pytest.approx(100.0)


def test_specification_limits_are_judged_at_their_own_condition() -> None:
    unit_rate = 15.500031 * 1e-3 / DAY  # g/(m2 day) of 1 g/(100 in2 day), in kg/(m2 s)
    oxygen = 5 * BARRIER_UNIT / 300e-6
    specs = (
        TransmissionLimit("O2", oxygen * 1.01, "wall", T23, 0.5),
        TransmissionLimit("O2", oxygen * 0.04 * 0.99, None, T23, 0.5, text="2 cm3/(package*day)"),
        TransmissionLimit("H2O", 1.5 * unit_rate * 25.4 / 300 * 1.01, "wall", T38, 0.9),
        TransmissionLimit(
            "H2O", 1.5 * unit_rate * 25.4 / 300 * 0.04 * (0.4 / 0.9) * 0.99, None, T38, 0.9, 0.5
        ),
    )
    result = predict(replace(bottle(), transmission_limits=specs), version="1", inputs_sha256="x")
    rows = result.limits[1:]
    assert [x.passes for x in rows] == [True, False, True, False]
    assert [x.name for x in rows] == ["transmission O2"] * 2 + ["transmission H2O"] * 2
    assert rows[0].wall == "wall"
    assert rows[0].at_target == pytest.approx(5 * 15.500031 * 25.4 / 300, rel=1e-6)
    assert rows[2].at_target == pytest.approx(1.5 * 15.500031 * 25.4 / 300, rel=1e-6)
    assert rows[1].unit == "cm3(STP)/(package*day*atm)"
    assert not result.passes


def test_mass_and_cost_are_area_times_thickness_times_density_times_price() -> None:
    result = predict(bottle(), version="1", inputs_sha256="x")
    mass = 0.04 * 300e-6 * 1350.0
    assert result.mass_g == pytest.approx(1e3 * mass)
    assert result.cost_per_package == pytest.approx(1.5 * mass)
    assert result.currency == "EUR"


def test_a_missing_price_or_two_currencies_give_no_cost_and_a_warning() -> None:
    for other, text in (
        (replace(plain("b"), price=None), "no price for b"),
        (replace(plain("b"), currency="USD"), "EUR, USD"),
    ):
        wall = Wall("wall", (Layer(plain("a"), 1e-4), Layer(other, 1e-4)))
        package = Package((WallPart("body", "wall", (Patch(0.04),)),), {"wall": wall})
        result = predict(replace(bottle(), package=package), version="1", inputs_sha256="x")
        assert result.cost_per_package is None
        assert any(text in w for w in result.warnings)


def test_result_is_plain_json_and_the_series_starts_at_closing() -> None:
    case = case_of(dry_powder(POWDER), barrier_wall(), seasons(), target=400 * DAY)
    result = predict(case, version="1", inputs_sha256="x")
    data = json.loads(json.dumps(result.as_dict(), allow_nan=False))
    series = data["time_series"]
    assert series["days"][0] == 0.0
    assert series["days"][-1] == pytest.approx(732.0)
    assert any(d == pytest.approx(400.0) for d in series["days"])
    assert series["water_activity"][0] == pytest.approx(0.15)
    assert all(len(v) == len(series["days"]) for v in series.values())
    assert data["shelf_life_days"] == pytest.approx(min(x["reached_after_days"] for x in data["limits"]))


def test_sources_and_notes_of_the_materials_in_use_are_carried() -> None:
    note = SourceNote("plain", "O2", "5", "cm3*mil/(100 in2*day*atm)", "invented", "user")
    material = replace(
        plain(), sources=(note,), notes=("energy assumed", "CO2: from memory", "H2O: estimated")
    )
    result = predict(
        replace(bottle(), package=one_wall(material, 3e-4, 0.04)), version="1", inputs_sha256="x"
    )
    assert result.sources[0]["source"] == "invented"
    assert "plain: energy assumed" in result.warnings
    assert "plain: H2O: estimated" in result.warnings
    assert not any("CO2" in w for w in result.warnings)


def test_leaving_the_measured_range_warns() -> None:
    cold = replace(
        plain(), water=replace(water_rate(1.5), measured_temperature=(T38, T38)), glass_transition=305.0
    )
    result = predict(replace(bottle(), package=one_wall(cold, 3e-4, 0.04)), version="1", inputs_sha256="x")
    assert any("more than 10 K outside" in w for w in result.warnings)
    assert any("glass transition" in w for w in result.warnings)
    assert not any("more than 10 K" in w for w in predict(bottle(), version="1", inputs_sha256="x").warnings)


def test_humidity_outside_the_measured_range_of_a_barrier_warns() -> None:
    law = GasLaw("O2", T23, (0.3, 0.6), (1e-20, 3e-20), 50e3)
    material = Material("core", "EVOH", 1180.0, {"O2": law}, WaterLaw.constant(T23, 1e-15, 4e4), 6.0, "EUR")
    product = Product(0.5, 5e-4, Headspace(2e-5), 1.0, limits=(Limit("oxygen_gain", 1e-6),))
    result = predict(
        case_of(product, one_wall(material, 1e-4, 0.04), still(T23, 0.5)), version="1", inputs_sha256="x"
    )
    assert any("held flat outside" in w and "30 to 60 %RH" in w for w in result.warnings)


def test_nitrogen_is_a_quarter_of_oxygen_only_with_a_warning() -> None:
    material = plain()
    material = replace(material, gases={g: v for g, v in material.gases.items() if g != "N2"})
    case = replace(bottle((Limit("headspace_oxygen", 0.5),)), package=one_wall(material, 3e-4, 0.04))
    result = predict(case, version="1", inputs_sha256="x")
    same = predict(replace(case, package=one_wall(plain(), 3e-4, 0.04)), version="1", inputs_sha256="x")
    assert any("quarter of O2 for plain" in w for w in result.warnings)
    assert result.time_series["headspace_oxygen_pct"] == pytest.approx(
        same.time_series["headspace_oxygen_pct"], rel=1e-9
    )


def test_a_gas_that_a_limit_needs_and_a_material_lacks_is_an_error() -> None:
    material = replace(plain(), gases={"N2": plain().gases["N2"]})
    case = replace(bottle((Limit("oxygen_gain", 1e-6),)), package=one_wall(material, 3e-4, 0.04))
    with pytest.raises(MaterialError, match="'plain' has no O2"):
        predict(case, version="1", inputs_sha256="x")


def test_lag_of_a_laminate_is_that_of_the_worked_two_layer_example() -> None:
    # two layers (l, D, S) = (1, 1, 1) and (0.5, 0.1, 2): lag 1.05952381 either way (Ash, Barrer and
    # Palmer's result)
    def layer(length: float, d: float, s: float) -> Layer:
        law = GasLaw("O2", 300.0, (0.0,), (d * s,), 0.0)
        return Layer(
            Material("m", "x", 1.0, {"O2": law}, None, diffusivity={"O2": DiffusionLaw(300.0, d, 0.0)}),
            length,
        )

    a, b = layer(1.0, 1.0, 1.0), layer(0.5, 0.1, 2.0)
    for layers in ((a, b), (b, a)):
        resistance = np.array([x.thickness / x.material.gases["O2"].permeability[0] for x in layers])
        assert wall_memory(Wall("w", layers), "O2", 300.0, resistance).lag == pytest.approx(
            1.05952381, abs=5e-9
        )
    slab = wall_memory(Wall("w", (a,)), "O2", 300.0, np.array([1.0]))
    assert (slab.lag, slab.stored) == (pytest.approx(1 / 6), pytest.approx(1 / 3))


@pytest.mark.parametrize("diffusivity", [5e-13, 5e-9])
def test_gas_stored_in_the_wall_is_warned_about_where_it_matters(diffusivity: float) -> None:
    # PET bottles stored in air release about 0.1 ppm of their own oxygen into beer; the limit here is 1 ppm
    material = replace(plain(), diffusivity={"O2": DiffusionLaw(T23, diffusivity, 40e3)})
    product = Product(
        0.5,
        5e-4,
        Headspace(2e-5, True, {"N2": 1.0}),
        1.0,
        OxygenModel("water"),
        limits=(Limit("oxygen_gain", 1e-6),),
    )
    case = case_of(product, one_wall(material, 3e-4, 0.04), still(T23, 0.5), target=60 * DAY)
    decided = predict(case, version="1", inputs_sha256="x")
    assert decided.wall_model == ("transient" if diffusivity < 1e-12 else "steady")
    steady = predict(replace(case, wall="steady"), version="1", inputs_sha256="x")
    warned = [w for w in steady.warnings if "The wall itself releases" in w]
    assert bool(warned) is (diffusivity < 1e-12)
    if warned:
        released = 0.2095 * ATMOSPHERE * 5 * BARRIER_UNIT / diffusivity * 3e-4 * 0.04 / 3
        share = 100 * released * MOLAR_MASS["O2"] / (1e-6 * 0.5)
        assert f"{share:.0f} % of what the limit allows" in warned[0]
        assert 0.03 < released * MOLAR_MASS["O2"] / 0.5 * 1e6 < 0.3


def test_unknown_diffusivity_is_one_note() -> None:
    case = case_of(dry_powder(POWDER), barrier_wall(), seasons())
    notes = [w for w in predict(case, version="1", inputs_sha256="x").warnings if "could not be judged" in w]
    assert len(notes) == 1
    assert "skin, barrier" in notes[0]


def test_carbonated_bottle_warns_of_ideal_gas_and_pressure() -> None:
    product = Product(
        0.5,
        5e-4,
        Headspace(2e-5, True, {}),
        1.0,
        carbonation=Carbonation(4.0, 277.15),
        closing_temperature=277.15,
        limits=(Limit("co2_loss", 0.15),),
    )
    case = case_of(product, one_wall(plain(), 3e-4, 0.04), still(T23, 0.5), target=60 * DAY)
    result = predict(case, version="1", inputs_sha256="x")
    assert any("ideal gas" in w for w in result.warnings)
    assert any("burst" in c for c in result.cautions)
    assert any("only CO2 assumed" in a for a in result.assumptions)


def test_low_oxygen_moist_packs_are_cautioned_and_dry_ones_are_not() -> None:
    limits = (Limit("headspace_oxygen", 0.05),)
    moist = Product(0.2, 2e-4, Headspace(2e-4, False, {"N2": 0.7, "CO2": 0.3}), 0.98, limits=limits)
    dry = replace(moist, water_activity=0.3)
    texts = [
        " ".join(
            predict(
                case_of(p, one_wall(plain(), 1e-4, 0.05), still()), version="1", inputs_sha256="x"
            ).cautions
        )
        for p in (moist, dry)
    ]
    assert "Clostridium botulinum" in texts[0]
    assert "Clostridium" not in texts[1]


def test_boiling_in_a_flexible_pack_is_refused_in_words() -> None:
    product = Product(
        0.2, 2e-4, Headspace(2e-4, False, {"N2": 1.0}), 1.0, limits=(Limit("headspace_oxygen", 0.05),)
    )
    with pytest.raises(InputError, match="inflate without end"):
        predict(
            case_of(product, one_wall(plain(), 1e-4, 0.05), still(380.0, 0.1)), version="1", inputs_sha256="x"
        )


def test_hourly_stages_of_one_name_are_averaged_by_conductance_not_by_temperature() -> None:
    hours = (Stage("w", 100.0, 283.15, 0.5), Stage("w", 300.0, 303.15, 0.5))
    stage = named_stages(hours)[0]
    assert stage.weight.tolist() == [0.25, 0.75]
    material = plain(energy=40e3)
    case = replace(bottle(), package=one_wall(material, 3e-4, 0.04), storage=hours, target=None, horizon=DAY)
    value = next(
        x.value for x in predict(case, version="1", inputs_sha256="x").film_transmission if x.gas == "O2"
    )
    at_23 = 5 * 15.500031 * 25.4 / 300
    expected = at_23 * sum(
        w * math.exp(-40e3 / GAS_CONSTANT * (1 / t - 1 / T23)) for w, t in ((0.25, 283.15), (0.75, 303.15))
    )
    assert value == pytest.approx(expected, rel=1e-7)


def test_foil_leaves_only_the_closure() -> None:
    foil = Material(
        "foil",
        "Al",
        2700.0,
        {g: GasLaw(g, T23, (0.0,), (0.0,), 0.0) for g in ("O2", "N2", "CO2")},
        WaterLaw(T23, (0.0, 1.0), (0.0, 0.0), 0.0),
        4.0,
        "EUR",
    )
    wall = Wall("wall", (Layer(plain(), 50e-6), Layer(foil, 9e-6), Layer(plain(), 50e-6)))
    cap = ClosurePart(
        "cap", {"O2": GivenConductance(1e-17, T23, 0.0), "H2O": GivenConductance(1e-14, T23, 0.0)}
    )
    package = Package((WallPart("body", "wall", (Patch(0.04),)), cap), {"wall": wall})
    limits = (Limit("oxygen_gain", 1e-5), Limit("water_loss", 0.01))
    result = predict(replace(bottle(limits), package=package), version="1", inputs_sha256="x")
    shares = {(x.part, x.gas): x.share for x in result.transmission}
    assert shares["cap", "O2"] == pytest.approx(1.0, abs=1e-9)
    assert shares["cap", "H2O"] == pytest.approx(1.0, abs=1e-9)
    loss = 1e-14 * 0.5 * float(saturation_pressure(T23)) * MOLAR_MASS["H2O"] * 180 * DAY / 0.5
    assert result.limits[1].at_target == pytest.approx(100 * loss, rel=1e-9)


def test_without_limits_on_the_product_only_the_specification_is_judged() -> None:
    specification = TransmissionLimit("O2", 1.0, "wall", T23, 0.5)
    case = replace(bottle(()), transmission_limits=(specification,))
    result = predict(case, version="1", inputs_sha256="x")
    assert result.passes
    assert result.shelf_life_days is None
    assert [x.name for x in result.limits] == ["transmission O2"]
    assert list(result.time_series) == ["days"]


def test_a_limit_on_co2_loss_without_co2_is_refused() -> None:
    with pytest.raises(InputError, match="needs CO2"):
        predict(bottle((Limit("co2_loss", 0.1),)), version="1", inputs_sha256="x")

"""What a prediction warns about and assumes: only what matters to the case, once, in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLES_PER_M3
from optimizer.geometry.surface import Patch, Unevenness
from optimizer.physics.material import DiffusionLaw
from optimizer.results import PredictResult
from optimizer.shelflife.package import (
    Carbonation,
    Case,
    ClosurePart,
    GivenConductance,
    Headspace,
    Layer,
    Limit,
    OxygenModel,
    Package,
    Product,
    TransmissionLimit,
    Wall,
    WallPart,
)
from optimizer.shelflife.predict import predict
from optimizer.shelflife.words import amount, in_words, sentence, span

from .builders import T23, case_of, dry_powder, one_wall, plain, sensitive, still

DRINK = Product(
    0.5,
    5e-4,
    Headspace(2e-5, True, {"N2": 1.0}),
    1.0,
    OxygenModel("water"),
    limits=(Limit("oxygen_gain", 3e-6),),
)


def run(case: Case) -> PredictResult:
    return predict(case, version="1", inputs_sha256="x")


def warnings(case: Case, words: str) -> list[str]:
    return [w for w in run(case).warnings if words in w]


@pytest.mark.parametrize(("area", "warned"), [(0.001, False), (0.04, True)])
def test_the_lag_of_a_wall_counts_only_with_its_share_of_the_flow(area: float, warned: bool) -> None:
    slow = replace(plain("slow"), diffusivity={"O2": DiffusionLaw(T23, 1e-13, 40e3)})
    quick = replace(plain("quick"), diffusivity={"O2": DiffusionLaw(T23, 5e-9, 40e3)})
    # lag l2/(6 D): 2 mm of the slow one 77 days, in a wall that carries area/2 mm of 0.04/0.3 mm
    walls = {
        "body": Wall("body", (Layer(quick, 3e-4),)),
        "finish": Wall("finish", (Layer(slow, 2e-3),)),
    }
    parts = (WallPart("b", "body", (Patch(0.04),)), WallPart("f", "finish", (Patch(area),)))
    case = case_of(DRINK, Package(parts, walls), still(), target=90 * DAY)
    found = warnings(replace(case, wall="steady"), "time lag (")
    assert bool(found) is warned
    if warned:
        share = (0.04 / 2e-3) / (0.04 / 2e-3 + 0.04 / 3e-4)
        assert f"'finish', {100 * share:.0f} % of the O2 flow: the time lag (77.2 days)" in found[0]


def closed(transmission: dict[str, GivenConductance], limits: tuple[Limit, ...]) -> Case:
    package = one_wall(plain(), 3e-4, 0.04)
    package = Package((*package.parts, ClosurePart("cap", transmission)), package.walls)
    return case_of(replace(DRINK, limits=limits), package, still(), target=90 * DAY)


OXYGEN = GivenConductance(1e-15, T23, 30e3)


def test_nitrogen_through_a_closure_is_a_quarter_of_its_oxygen() -> None:
    limits = (Limit("headspace_oxygen", 0.2),)
    assumed = run(closed({"O2": OXYGEN}, limits))
    given = run(closed({"O2": OXYGEN, "N2": replace(OXYGEN, conductance=0.25e-15)}, limits))
    assert [w for w in assumed.warnings if "N2" in w] == [
        "N2 assumed a quarter of O2 for cap (common practice, no source)"
    ]
    assert not any("N2" in w for w in given.warnings)
    assert assumed.time_series == given.time_series


def test_a_closure_is_warned_about_only_for_gases_that_a_limit_needs() -> None:
    oxygen, water = (Limit("oxygen_gain", 3e-6),), (Limit("water_loss", 0.02),)
    assert not warnings(closed({"O2": OXYGEN}, oxygen), "cap")
    assert warnings(closed({"O2": OXYGEN}, water), "no transmission given for H2O")
    assert warnings(closed({}, oxygen), "no transmission given for O2; taken as zero")
    said = [a for a in run(closed({"O2": OXYGEN}, oxygen)).assumptions if "'cap'" in a]
    assert said == ["No transmission of 'cap' given for H2O, which no limit follows: the tables count zero."]


def test_an_oxygen_gain_beyond_the_balance_with_air_cannot_be_reached() -> None:
    # 100 mL of headspace without oxygen; air at 23 degC, dry: 0.2095 * 101325 Pa * 1e-4 m3 / (R T) mol
    package = one_wall(plain(), 3e-4, 0.04)
    product = Product(0.1, 1e-4, Headspace(1e-4, True, {"N2": 1.0}), 0.0, limits=(Limit("oxygen_gain", 1.0),))
    balance = 0.2095 * ATMOSPHERE * 1e-4 / (8.314462618 * T23) * MOLAR_MASS["O2"] / 0.1
    case = case_of(product, package, still(T23, 0.0))
    for share, warned in ((1.05, True), (0.95, False)):
        limited = replace(product, limits=(Limit("oxygen_gain", share * balance),))
        found = warnings(replace(case, product=limited), "cannot be reached")
        assert bool(found) is warned
        if warned:
            assert f"{balance * 1e6:.0f} mg/kg more, in balance with air" in found[0]
    flexible = replace(product, headspace=replace(product.headspace, rigid=False))
    assert not warnings(replace(case, product=flexible), "cannot be reached")


def test_a_drink_cannot_take_up_more_oxygen_than_air_saturated_water_holds() -> None:
    # 8.6 mg/L at 23 degC (Benson and Krause 1984), 8.58 after other tables
    case = case_of(
        replace(DRINK, limits=(Limit("oxygen_gain", 9e-6),)), one_wall(plain(), 3e-4, 0.04), still(T23, 1.0)
    )
    (found,) = warnings(case, "cannot be reached")
    assert "dissolves at most 8.5" in found or "dissolves at most 8.6" in found
    assert not warnings(replace(case, product=DRINK), "cannot be reached")


def test_a_humidity_range_of_one_number_is_one_number() -> None:
    dry = replace(sensitive(), gases={"O2": replace(sensitive().gases["O2"])})
    law = replace(dry.gases["O2"], activity=(0.6, 0.7, 0.8, 0.9, 1.0))
    material = replace(dry, gases={"O2": law})
    product = replace(DRINK, water_activity=0.5)
    (found,) = warnings(case_of(product, one_wall(material, 2e-5, 0.04), still(T23, 0.5)), "held flat")
    assert "is at 50 %RH in stage" in found


def test_medicines_are_spoken_of_only_for_dry_products() -> None:
    package = one_wall(plain(), 3e-4, 0.04)
    drink = run(case_of(replace(DRINK, limits=(Limit("water_loss", 0.02),)), package, still()))
    powder = run(case_of(dry_powder((Limit("water_gain", 0.02),)), package, still()))
    assert not any("medicine" in c for c in drink.cautions)
    assert any("medicine" in c for c in powder.cautions)


def test_assumptions_are_sentences_and_each_is_said_once() -> None:
    product = replace(
        DRINK,
        carbonation=Carbonation(4.0, 277.15),
        limits=(Limit("co2_loss", 0.1), Limit("oxygen_gain", 1e-6)),
        headspace=Headspace(2e-5, True, {}),
    )
    case = case_of(product, one_wall(plain(), 3e-4, 0.04), still())
    said = run(replace(case, assumptions=("the lid is tight",))).assumptions
    assert "The lid is tight." in said
    assert len([a for a in said if "eadspace gas" in a]) == 1
    for text in said:
        assert text == sentence(text) and text[0].isupper() and text.endswith("."), text


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("2 cm3/(m2*day*atm)", ""),
        ("2 mL/(m2 day atm)", ""),
        ("", ""),
        ("1.974 cm3/(m2*day*bar)", "; written as 1.974 cm3/(m2*day*bar)"),
    ],
)
def test_a_limit_is_quoted_only_where_it_was_written_in_another_unit(text: str, note: str) -> None:
    value = 2e-6 * STP_MOLES_PER_M3 / (DAY * ATMOSPHERE)
    limit = TransmissionLimit("O2", value, "wall", T23, 0.5, text=text)
    case = replace(case_of(DRINK, one_wall(plain(), 3e-4, 0.04), still()), transmission_limits=(limit,))
    assert run(case).limits[-1].note == f"at 23 degC, 50 %RH on both faces{note}"


def test_amounts_ranges_and_names_in_words() -> None:
    assert [amount(x) for x in (1.03e-3, 2e-4, 5e-5, 2.5, 3e-9)] == [
        "1.03 mmol",
        "0.2 mmol",
        "50 umol",
        "2.5 mol",
        "0.003 umol",
    ]
    assert span(12.0, 12.0, "um") == "12 um" and span(3.0, 150.0, "um") == "3 to 150 um"
    assert in_words("oxygen_gain, co2_loss and co2 loss") == "oxygen gain, CO2 loss and CO2 loss"
    assert in_words("my_oxygen_gains") == "my_oxygen_gains"


@pytest.mark.parametrize(
    ("model", "error", "told"), [("steady", 5e-3, 0), ("transient", 5e-3, 1), ("transient", 5e-4, 0)]
)
def test_thickness_classes_that_are_not_exact_over_time_are_told(model: str, error: float, told: int) -> None:
    slow = replace(plain("slow"), diffusivity={"O2": DiffusionLaw(T23, 1e-12, 40e3)})
    uneven = Unevenness(1.0, 0.5, 1.5, 0.5, 1.5, 0.5, 0.25, 0.2, "", 2, error, "a table")
    patches = (Patch(0.02, 0.5), Patch(0.02, 1.5))
    wall = Wall("body", (Layer(slow, 3e-4),))
    package = Package((WallPart("b", "body", patches, uneven),), {"body": wall})
    case = replace(case_of(DRINK, package, still(duration=30 * DAY)), wall=model)
    found = warnings(case, "simulated as 2 thicknesses")
    assert len(found) == told and all("off by 0.5 % of the steady transmission" in w for w in found)

"""The keys of transient walls and of uncertainty as the simulation gets them, in SI worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.catalog import load_catalog
from optimizer.constants import DRY_AIR
from optimizer.project import load_project
from optimizer.shelflife.package import Case, Surroundings, Uncertainty

DAY = 86400.0
TEXT = """\
format: 1
title: Tub with a closure (invented)
materials:
  - name: HDPE
    density: 950 kg/m3
    aliases: [bottle grade]
    diffusivity: [{gas: O2, value: 1.7e-11 m2/s, temperature: 25 degC, activation_energy: 37 kJ/mol}]
  - {name: PET web, density: 1.4 g/cm3, gauges: [12 um, 23 um], family: PET, permeability: [
      {gas: O2, value: 1.6 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %},
      {gas: N2, value: 0.4 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}]}
product:
  mass: 200 g
  volume: 220 mL
  water_activity: 0.6
  headspace: {volume: 40 mL<headspace>}
  limits: {oxygen_gain: 20 mg/kg}
package:
  parts:
    body: {area: 150 cm2, wall: tub}
    base: {area: 40 cm2, wall: tub}
    panel: {area: 10 cm2, wall: lid}
    cap:
      transmission:
        - {gas: O2, value: 0.01 cm3/(day*atm), temperature: 23 degC, activation_energy: 40 kJ/mol<row>}
        - {gas: N2, value: 0.01 cm3/(day*atm), temperature: 23 degC, activation_energy: 40 kJ/mol}
walls:
  tub: {layers: [{material: HDPE, thickness: 300 um}, {material: bottle grade, thickness: 300 um}]}
  lid: {layers: [{material: HDPE, thickness: 60 um}, {material: PET web 12 um, thickness: 12 um}]}
storage:
  - {duration: 3 months, temperature: 23 degC, humidity: 50 %}
  - {name: shop, duration: 3 months, temperature: 20 degC, humidity: 50 %}
"""

PLAIN = TEXT.replace("<headspace>", "").replace("<row>", "")


def case(folder: Path, more: str = "", *, headspace: str = "", row: str = "", scavenger: str = "") -> Case:
    text = TEXT.replace("<headspace>", headspace).replace("<row>", row) + more
    if scavenger:
        text = text.replace("    aliases:", f"    scavenger: {scavenger}\n    aliases:")
    path = folder / "project.yaml"
    path.write_text(text, encoding="utf-8")
    return load_project(path).case


def uncertain(folder: Path, section: str) -> Uncertainty:
    return case(folder, f"uncertainty: {section}\n").uncertainty


# -- walls ---------------------------------------------------------------------------------------------------


def test_a_project_without_the_new_keys_is_as_before(tmp_path: Path) -> None:
    plain = case(tmp_path)
    assert (plain.wall, plain.before, plain.uncertainty) == ("auto", Surroundings(), Uncertainty())
    assert plain.product.headspace.creep == ()
    assert not any("before closing" in text for text in plain.assumptions)


@pytest.mark.parametrize("mode", ["auto", "steady", "transient"])
def test_the_wall_model_is_the_one_asked_for(tmp_path: Path, mode: str) -> None:
    assert case(tmp_path, f"wall: {mode}\n").wall == mode


def test_the_walls_were_stored_in_what_is_given(tmp_path: Path) -> None:
    before = case(tmp_path, "before_closing: {humidity: 40 %, gas: {O2: 20.95 %, N2: 79.05 %}}\n").before
    assert before.humidity == pytest.approx(0.4)
    assert before.gas == pytest.approx({"O2": 0.2095, "N2": 0.7905})


def test_shares_before_closing_that_nearly_add_up_are_scaled_to_it(tmp_path: Path) -> None:
    before = case(tmp_path, "before_closing: {gas: {O2: 1 %, N2: 98.8 %}}\n").before
    assert before.gas == pytest.approx({"O2": 1.0 / 99.8, "N2": 98.8 / 99.8})


def test_what_is_left_open_before_closing_is_said(tmp_path: Path) -> None:
    humid = case(tmp_path, "before_closing: {humidity: 40 %}\n")
    assert humid.before.gas == DRY_AIR
    assert "Gas around the walls before closing not given: air taken." in humid.assumptions
    dry = case(tmp_path, "before_closing: {gas: {N2: 100 %}}\n")
    assert dry.before.humidity is None
    said = "Humidity around the walls before closing not given: that of the first stage taken."
    assert said in dry.assumptions and said not in humid.assumptions
    asked = case(tmp_path, "wall: transient\n").assumptions
    assert sum("before closing not given" in text for text in asked) == 2


def test_creep_comes_in_seconds_and_shares_and_starts_at_closing(tmp_path: Path) -> None:
    creep = ", creep: [[14 days, 1.5 %], [90 days, 2.5 %]]"
    points = case(tmp_path, headspace=creep).product.headspace.creep
    expected = [(0.0, 0.0), (14 * DAY, 0.015), (90 * DAY, 0.025)]
    assert [pytest.approx(p) for p in expected] == list(points)
    from_zero = case(tmp_path, headspace=creep.replace("[[", "[[0 days, 0 %], [")).product.headspace.creep
    assert from_zero == points


def test_creep_may_stand_still_but_not_fall(tmp_path: Path) -> None:
    """The refusal of a fall is in data/projects/bad/185."""
    points = case(tmp_path, headspace=", creep: [[1 day, 1 %], [2 days, 1 %]]").product.headspace.creep
    assert [growth for _, growth in points] == pytest.approx([0.0, 0.01, 0.01])


# -- scavenger -----------------------------------------------------------------------------------------------

FULL = "{gas: O2, rate: 0.002 1/s, temperature: 23 degC, activation_energy: 50 kJ/mol, capacity: %s}"


@pytest.mark.parametrize(
    ("capacity", "moles_per_kg"),
    [
        # the molar volume of an ideal gas at 0 degC and 1 atm is 22413.97 cm3/mol (CODATA 2018)
        ("3 cm3/g", 3e3 / 22413.969),
        ("3 cm3(STP)/g", 3e3 / 22413.969),
        # O2 is 31.998 g/mol (IUPAC 2021)
        ("4 mg/g", 4.0 / 31.998),
        ("0.1 mol/kg", 0.1),
    ],
)
def test_the_capacity_is_per_volume_of_the_material(
    tmp_path: Path, capacity: str, moles_per_kg: float
) -> None:
    used = case(tmp_path, scavenger=FULL % capacity).package.walls["tub"].layers[0].material.scavenger
    assert used is not None and (used.gas, used.rate) == ("O2", pytest.approx(0.002))
    assert (used.temperature, used.activation_energy) == (pytest.approx(296.15), pytest.approx(50e3))
    assert used.capacity == pytest.approx(moles_per_kg * 950.0, rel=1e-6)


def test_what_a_scavenger_leaves_open_is_warned(tmp_path: Path) -> None:
    loaded = case(tmp_path, scavenger="{gas: CO2, rate: 7.2 1/h, temperature: 23 degC}")
    material = loaded.package.walls["tub"].layers[0].material
    assert material.scavenger is not None and material.scavenger.capacity is None
    assert material.scavenger.rate == pytest.approx(0.002) and material.scavenger.activation_energy == 0.0
    said = [note for note in material.notes if note.startswith("CO2 scavenger")]
    assert any("the same rate at every temperature" in note for note in said)
    assert any("it never runs out" in note for note in said)


@pytest.mark.parametrize(
    ("polymer", "gas", "lacking"),
    [("HDPE", "O2", ""), ("PVOH", "O2", "no O2 diffusivity is known"), ("PVOH", "CO2", "no CO2 diffusivity")],
)
def test_a_scavenger_needs_the_diffusivity_of_its_gas_or_is_warned(
    polymer: str, gas: str, lacking: str
) -> None:
    """The table has diffusivities in HDPE (from memory), and none in PVOH."""
    uses = {"gas": gas, "rate": "0.002 1/s", "temperature": "23 degC", "capacity": "3 cm3/g"}
    notes = load_catalog(inline=[{"name": polymer, "scavenger": uses}]).material(polymer).notes
    said = [note for note in notes if "cannot be followed" in note]
    assert [lacking in note for note in said] == ([True] if lacking else [])


# -- uncertainty ---------------------------------------------------------------------------------------------


def test_every_key_of_the_uncertainty_comes_in_si(tmp_path: Path) -> None:
    section = (
        "{thickness: {tub: 8 %, base: 5 %}, durations: {shop: 20 %, stage 1: 10 %}, "
        "limits: {oxygen_gain: 10 %}, "
        "temperature: 1.8 degF, humidity: 3 %, consumption: 20 %, isotherm: 5 %, headspace_oxygen: 10 %, "
        "properties: 15 %, correlation: 40 %, confidence: 95 %, samples: 1000, seed: 7}"
    )
    assert uncertain(tmp_path, section) == Uncertainty(
        thickness={"tub": pytest.approx(0.08), "base": pytest.approx(0.05)},
        durations={"shop": pytest.approx(0.2), "stage 1": pytest.approx(0.1)},
        limits={"oxygen_gain": pytest.approx(0.1)},
        temperature=pytest.approx(1.0),
        humidity=pytest.approx(0.03),
        consumption=pytest.approx(0.2),
        isotherm=pytest.approx(0.05),
        headspace_oxygen=pytest.approx(0.1),
        properties=pytest.approx(0.15),
        correlation=pytest.approx(0.4),
        confidence=pytest.approx(0.95),
        samples=1000,
        seed=7,
    )


def test_one_thickness_is_that_of_every_wall_and_one_duration_that_of_every_stage(tmp_path: Path) -> None:
    found = uncertain(tmp_path, "{thickness: 8 %, durations: 10 %}")
    assert found.thickness == {"tub": pytest.approx(0.08), "lid": pytest.approx(0.08)}
    assert found.durations == {"stage 1": pytest.approx(0.1), "shop": pytest.approx(0.1)}


@pytest.mark.parametrize(
    ("named", "layers"),
    [
        ("HDPE", {("tub", "HDPE"), ("lid", "HDPE")}),
        ("hdpe", {("tub", "HDPE"), ("lid", "HDPE")}),
        ("bottle grade", {("tub", "HDPE"), ("lid", "HDPE")}),
        ("PET web", {("lid", "PET web")}),
        ("PET web 12 um", {("lid", "PET web 12 um")}),
    ],
)
def test_layers_are_found_in_every_wall_under_every_name(
    tmp_path: Path, named: str, layers: set[tuple[str, str]]
) -> None:
    assert uncertain(tmp_path, f'{{layers: {{"{named}": 15 %}}}}').layers == {
        key: pytest.approx(0.15) for key in layers
    }


def test_the_spread_of_a_closure_is_noted_by_closure_and_gas(tmp_path: Path) -> None:
    assert case(tmp_path, row=", spread: 20 %").uncertainty == Uncertainty(
        transmission={("cap", "O2"): pytest.approx(0.2)}
    )


@pytest.mark.parametrize("key", ["consumption", "isotherm"])
def test_a_spread_of_what_the_product_does_not_do_is_warned(tmp_path: Path, key: str) -> None:
    warned = case(tmp_path, f"uncertainty: {{{key}: 10 %, headspace_oxygen: 10 %}}\n").warnings
    assert [f"uncertainty.{key} has no effect" in text for text in warned] == [True]
    flushed = case(
        tmp_path, "uncertainty: {headspace_oxygen: 10 %}\n", headspace=", gas: {N2: 100 %}"
    ).warnings
    assert any("no oxygen in the headspace" in text for text in flushed)


def test_a_name_of_both_a_wall_and_a_part_is_warned(tmp_path: Path) -> None:
    text = PLAIN.replace("panel:", "lid:") + "uncertainty: {thickness: {lid: 8 %, body: 2 %}}\n"
    path = tmp_path / "both.yaml"
    path.write_text(text, encoding="utf-8")
    said = [w for w in load_project(path).case.warnings if "a wall and a part" in w]
    assert len(said) == 1 and "'lid'" in said[0]


def test_auto_walls_take_what_steady_walls_are_refused_for(tmp_path: Path) -> None:
    """The refusals are in data/projects/bad/193 and 194."""
    loaded = case(tmp_path, "wall: auto\n", headspace=", creep: [[9 days, 1 %]]", scavenger=FULL % "3 cm3/g")
    assert loaded.wall == "auto"


def test_steady_walls_may_stand_beside_a_scavenger_that_no_layer_has(tmp_path: Path) -> None:
    unused = f"materials:\n  - {{name: PP, scavenger: {FULL % '3 cm3/g'}}}\n"
    path = tmp_path / "other.yaml"
    path.write_text(PLAIN.replace("materials:\n", unused) + "wall: steady\n", encoding="utf-8")
    assert load_project(path).case.wall == "steady"

"""The rules under ``design`` as the optimiser gets them; a project that is invented and not solved."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.design.options import DesignOptions, ShareRule
from optimizer.errors import InputError
from optimizer.project import Project, load_project

TEXT = """\
format: 1
title: Soup sachet (invented)
materials:
  - {name: PET, price: 2.30 EUR/kg, gauges: [12 um, 15 um]}
  - {name: LDPE, price: 1.50 EUR/kg, recycled_content: 20 %}
  - {name: HDPE, price: 1.40 EUR/kg}
  - {name: PU adhesive, price: 5.50 EUR/kg, coat_weight: 2.8 g/m2, pass_cost: 0.02 EUR/m2}
  - name: oxide coating
    carrier: [PET]
    density: 3 g/cm3
    gauge: 0.1 um
    price: 0.02 EUR/m2
    permeance:
      - {gas: O2, value: 1 cm3/(m2*day*bar), temperature: 23 degC, humidity: 50 %}
      - {gas: N2, value: 1 cm3/(m2*day*bar), temperature: 23 degC, humidity: 50 %}
      - {gas: H2O, value: 1 g/(m2*day), temperature: 38 degC, humidity: 90 %}
product:
  mass: 50 g
  volume: 80 mL
  water_activity: 0.3
  headspace: {volume: 40 mL, walls: flexible}
  limits: {water_gain: 1 %}
package: {parts: {panels: {area: 300 cm2, wall: film}}}
walls:
  film:
    layers:
      - {material: LDPE, thickness: 50 um}
      - {material: PU adhesive, thickness: 2.5 um}
      - {material: oxide coating, thickness: 0.1 um}
      - {material: PET, thickness: 15 um}
storage: [{duration: 9 months, temperature: 23 degC, humidity: 60 %}]
target: {shelf_life: 9 months}
design:
  walls: [film]
  choose_from: [PET, LDPE, HDPE, PU adhesive, oxide coating]
  rules:
    max_layers: 5
"""


def project(folder: Path, *rules: str) -> Project:
    text = TEXT + "".join(f"    {rule}\n" for rule in rules)
    path = folder / "project.yaml"
    path.write_text(text, encoding="utf-8")
    return load_project(path)


def options(folder: Path, *rules: str) -> DesignOptions:
    design = project(folder, *rules).design
    assert design is not None
    return design


def named(design: DesignOptions) -> list[str]:
    return [m.name for m in design.candidates]


def test_a_web_is_a_candidate_in_each_gauge_and_a_coating_on_either_side(tmp_path: Path) -> None:
    design = options(tmp_path)
    expected = ["PET 12 um", "PET 15 um", "LDPE", "HDPE", "PU adhesive", "oxide coating", "oxide coating"]
    assert named(design) == expected
    assert [m.carrier_side for m in design.candidates[-2:]] == ["inside", "outside"]


def test_without_the_new_rules_nothing_is_asked_for(tmp_path: Path) -> None:
    design = options(tmp_path)
    assert design.shares == () and design.inner_only == () and design.existing is None
    assert (design.grammage, design.mass) == ((None, None), (None, None))
    assert (design.scrap, design.max_resins, design.changes) == (0.0, None, None)
    assert not (design.foil_free or design.metal_free or design.halogen_free or design.food_contact)


def test_every_rule_arrives_in_si_units(tmp_path: Path) -> None:
    design = options(
        tmp_path,
        "total_mass: {min: 60 g/m2, max: 3 g}",
        "share: {PET: {max: 40 %}}",
        "mono_material: {family: PE, min: 55 %}",
        "recycled_content: {min: 10 %}",
        "food_contact: listed",
        "max_resins: 4",
        "scrap: 8 %",
        "regrind: {of: HDPE, share: {max: 30 %}, price: 0.2 EUR/kg}",
    )
    assert design.grammage == (pytest.approx(0.060), None) and design.mass == (None, pytest.approx(0.003))
    assert design.shares == (
        ShareRule("PET", 0.0, 0.4),
        ShareRule("PE (mono-material)", pytest.approx(0.55), counts="polymer", of="PE"),
        ShareRule("recycled content", pytest.approx(0.1), counts="recycled"),
        ShareRule("HDPE regrind", 0.0, pytest.approx(0.3)),
    )
    assert design.food_contact and design.max_resins == 4 and design.scrap == pytest.approx(0.08)
    regrind = design.candidates[-1]
    assert (regrind.name, regrind.roles, regrind.price) == ("HDPE regrind", {"core"}, pytest.approx(0.2))
    assert design.inner_only == ("HDPE regrind",) and regrind.recycled_content == 0.0
    assert regrind.gases == design.candidates[3].gases and regrind.density == design.candidates[3].density


@pytest.mark.parametrize("rule", ["foil_free", "metal_free"])
def test_free_of_something_needs_to_know_what_the_coating_is_made_of(tmp_path: Path, rule: str) -> None:
    with pytest.raises(InputError, match="nothing says whether 'oxide coating' contains"):
        options(tmp_path, f"{rule}: true")


def test_todays_layers_are_found_among_the_candidates(tmp_path: Path) -> None:
    design = options(tmp_path, "change_at_most: 2")
    assert design.changes == 2 and design.existing is not None
    layers = [design.candidates[i] for i in design.existing["film"]]
    assert [m.name for m in layers] == ["LDPE", "PU adhesive", "oxide coating", "PET 15 um"]
    assert layers[2].carrier_side == "outside"
    without = options(tmp_path, "change_at_most: 2", "avoid: [PU adhesive]")
    assert without.existing is not None and without.existing["film"][1] == -1


def test_todays_materials_are_candidates_where_few_layers_may_change(tmp_path: Path) -> None:
    text = TEXT.replace("[PET, LDPE, HDPE, PU adhesive, oxide coating]", "[HDPE]")
    path = tmp_path / "project.yaml"
    path.write_text(text, encoding="utf-8")
    before = load_project(path).design
    path.write_text(text + "    change_at_most: 1\n", encoding="utf-8")
    after = load_project(path).design
    assert before is not None and after is not None
    assert named(before) == ["HDPE"]
    assert set(named(after)) == {"HDPE", "LDPE", "PU adhesive", "oxide coating", "PET 12 um", "PET 15 um"}


def test_avoid_and_keep_take_a_web_or_one_of_its_gauges(tmp_path: Path) -> None:
    assert "PET 12 um" not in named(options(tmp_path, "avoid: [PET 12 um]"))
    assert "PET 15 um" in named(options(tmp_path, "avoid: [PET 12 um]"))
    assert not any(n.startswith("PET") for n in named(options(tmp_path, "avoid: [PET]")))
    assert options(tmp_path, "keep: [PET]").keep == ("PET",)
    assert named(options(tmp_path, "keep: [PET 12 um]")).count("PET 12 um") == 1


def test_a_coat_weight_written_with_three_digits_is_within_its_gauge(tmp_path: Path) -> None:
    assert project(tmp_path).case.warnings == ()
    text = TEXT.replace("PU adhesive, thickness: 2.5 um", "PU adhesive, thickness: 3 um")
    (tmp_path / "other.yaml").write_text(text, encoding="utf-8")
    assert any("outside the gauge" in w for w in load_project(tmp_path / "other.yaml").case.warnings)


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("", "one pass for each layer of PU adhesive"),
        ("scrap: 8 %", "1.087 times"),
        ("food_contact: listed", "declaration of compliance"),
        ("recycled_content: {min: 10 %}", "ISO 14021"),
        ("mono_material: {family: PE, min: 55 %}", "guideline decides"),
        ("change_at_most: 1", "another gauge of a web does"),
        ("max_resins: 3", "extruder of its own"),
        ("regrind: {of: HDPE, price: 0.2 EUR/kg}", "on the safe side"),
    ],
)
def test_an_answer_says_what_a_rule_takes_for_granted(tmp_path: Path, rule: str, words: str) -> None:
    said = options(tmp_path, *filter(None, [rule])).assumptions
    assert sum(words in text for text in said) == 1

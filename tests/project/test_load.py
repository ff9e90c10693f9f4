"""What a good project file becomes. Expected numbers are worked out from the definitions of the units."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.project import Project, load_project
from optimizer.shelflife.package import ClosurePart, HolePart, WallPart
from optimizer.shelflife.predict import predict

GOOD = Path(__file__).parent.parent / "data" / "projects" / "good"
#: mol in 1 cm3 at 0 degC and 1 atm: the molar volume of an ideal gas is 22413.97 cm3/mol (CODATA 2018).
MOL_PER_CM3 = 1 / 22413.969
DAY, ATM = 86400.0, 101325.0


@pytest.fixture(scope="module")
def oat() -> Project:
    return load_project(GOOD / "oat_drink.yaml")


def edited(tmp_path: Path, *changes: tuple[str, str], name: str = "tub.yaml") -> Path:
    text = (GOOD / name).read_text("utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    path = tmp_path / name
    path.write_text(text, "utf-8")
    shutil.copy(GOOD / "resin-quotes.csv", tmp_path)
    return path


@pytest.mark.parametrize("path", sorted(GOOD.glob("*.yaml")), ids=lambda p: p.stem)
def test_good_projects_load(path: Path) -> None:
    project = load_project(path)
    assert project.case.package.parts and project.case.storage
    assert project.case.title != path.stem


def test_the_product_comes_in_si(oat: Project) -> None:
    product = oat.case.product
    assert product.mass == pytest.approx(1.03)
    assert product.headspace.volume == pytest.approx(30e-6)
    assert product.headspace.gas == pytest.approx({"O2": 0.01, "N2": 0.99})
    # 0.3 mg/L of O2, 31.998 g/mol
    assert product.oxygen.dissolved_at_closing == pytest.approx(0.3 / 31.998)
    consumption = product.oxygen.consumption
    assert consumption and consumption.order == 1
    assert consumption.rate == pytest.approx(0.05 / DAY)
    assert {limit.name: limit.value for limit in product.limits} == pytest.approx(
        {"oxygen_gain": 5e-6, "headspace_oxygen": 0.02, "water_loss": 0.02}
    )


def test_the_parts_come_in_order_and_in_si(oat: Project) -> None:
    body, base, neck, cap, hole = oat.case.package.parts
    assert isinstance(body, WallPart) and body.permeation_area(0.0) == pytest.approx(math.pi * 0.075 * 0.21)
    # a disc 1.4 times as thick: conductance by area / ratio, mass by area * ratio
    disc = math.pi / 4 * 0.075**2
    assert isinstance(base, WallPart)
    assert base.permeation_area(0.0) == pytest.approx(disc / 1.4)
    assert base.mass_area(0.0) == pytest.approx(disc * 1.4)
    assert isinstance(neck, WallPart) and neck.area(548e-6) == pytest.approx(18e-4)
    assert isinstance(cap, ClosurePart)
    assert cap.transmission["O2"].conductance == pytest.approx(
        0.0012 * MOL_PER_CM3 / DAY / (0.2095 * ATM), rel=1e-6
    )
    assert isinstance(hole, HolePart)
    assert (hole.diameter, hole.length, hole.count) == pytest.approx((20e-6, 300e-6, 1))


def test_the_wall_keeps_its_order_from_inside_to_outside(oat: Project) -> None:
    layers = oat.case.package.walls["bottle"].layers
    assert [layer.material.name for layer in layers] == ["HDPE", "tie PE", "EVOH 32", "tie PE", "HDPE"]
    assert [layer.thickness for layer in layers] == pytest.approx([320e-6, 8e-6, 12e-6, 8e-6, 200e-6])


def test_storage_and_target_use_months_of_30_4375_days(oat: Project) -> None:
    first, truck, _ = oat.case.storage
    assert first.duration == pytest.approx(4 * 30.4375 * DAY)
    assert truck.temperature == pytest.approx(311.15) and truck.humidity == pytest.approx(0.75)
    assert oat.case.target == pytest.approx(9 * 30.4375 * DAY)
    assert oat.case.horizon == pytest.approx(27 * 30.4375 * DAY)


def test_specification_limits_come_in_si(oat: Project) -> None:
    oxygen, water = oat.case.transmission_limits
    assert oxygen.maximum == pytest.approx(2 * MOL_PER_CM3 / DAY / ATM, rel=1e-6)
    assert water.maximum == pytest.approx(8e-3 / DAY)
    assert (water.humidity, water.humidity_far, water.text) == (0.9, 0.0, "8 g/(m2*day)")


def test_the_design_section_becomes_options(oat: Project) -> None:
    design = oat.design
    assert design is not None and design.walls == ("bottle",) and design.minimise == "cost"
    assert [m.name for m in design.candidates] == ["HDPE", "PP", "tie PE", "EVOH 32", "PA6"]
    assert design.total_thickness == pytest.approx((400e-6, 900e-6))
    assert design.gauge_step == pytest.approx(1e-6)
    assert [(s.family, s.least, s.most) for s in design.shares] == [("EVOH", 0.0, 0.05)]
    assert design.keep == ("HDPE",) and design.reserve == pytest.approx(0.1)


def test_only_pairs_of_the_bonding_table_may_touch(oat: Project) -> None:
    touching = oat.design.touching if oat.design else None
    assert touching is not None
    assert ("HDPE", "tie PE") in touching and ("tie PE", "EVOH 32") in touching
    assert ("EVOH 32", "tie PE") in touching
    assert ("HDPE", "EVOH 32") not in touching and ("HDPE", "PP") not in touching


def test_any_bonding_leaves_every_pair(tmp_path: Path) -> None:
    path = edited(tmp_path, ("bonding: table", "bonding: any"), name="oat_drink.yaml")
    design = load_project(path).design
    assert design is not None and design.touching is None


def test_a_material_of_the_project_file_wins_over_the_table(oat: Project) -> None:
    hdpe = oat.catalog.material("HDPE")
    assert hdpe.price == pytest.approx(1.25) and hdpe.currency == "EUR"
    skin = oat.catalog.material("PE skin")
    assert skin.density == 920 and skin.gauge == pytest.approx((8e-6, 300e-6))


def test_the_digest_follows_the_project_file_and_every_file_it_names(tmp_path: Path) -> None:
    table = tmp_path / "quotes.csv"
    table.write_text("name,price\nHDPE,1.30 EUR/kg\n", "utf-8")
    path = edited(tmp_path, ("product:", "materials: [{table: quotes.csv}]\nproduct:"))
    first = load_project(path)
    assert first.files == (path, table)
    assert load_project(path).sha256 == first.sha256
    table.write_text("name,price\nHDPE,1.31 EUR/kg\n", "utf-8")
    second = load_project(path)
    assert second.sha256 != first.sha256
    assert second.catalog.material("HDPE").price == pytest.approx(1.31)


def test_a_closure_for_water_is_divided_by_the_vapour_pressure_difference_of_its_test(tmp_path: Path) -> None:
    row = "{gas: H2O, value: 2 mg/day, temperature: 38 degC, humidity: 90 %, activation_energy: 40 kJ/mol}"
    path = edited(tmp_path, ("    base:", f"    lid: {{transmission: [{row}]}}\n    base:"))
    lid = next(p for p in load_project(path).case.package.parts if p.name == "lid")
    assert isinstance(lid, ClosurePart)
    # saturation pressure at 38 degC 6.632 kPa: IAPWS-IF97 (from memory of the steam tables, 4 digits)
    assert lid.transmission["H2O"].conductance == pytest.approx(
        2e-6 / DAY / 0.018015 / (0.9 * 6632.0), rel=1e-3
    )


def test_mole_shares_near_100_percent_are_scaled_to_it(tmp_path: Path) -> None:
    path = edited(tmp_path, ("{volume: 40 mL}", "{volume: 40 mL, gas: {O2: 0.5 %, N2: 99.2 %}}"))
    gas = load_project(path).case.product.headspace.gas
    assert sum(gas.values()) == pytest.approx(1.0) and gas["O2"] == pytest.approx(0.5 / 99.7)


def test_an_uptake_rate_per_mass_is_taken_for_the_whole_product(tmp_path: Path) -> None:
    uptake = "{order: 0, rate: 0.5 mg/(kg*day), temperature: 23 degC, activation_energy: 50 kJ/mol}"
    path = edited(
        tmp_path, ("  limits:", f"  oxygen:\n    dissolves_like: oil\n    consumption: {uptake}\n  limits:")
    )
    consumption = load_project(path).case.product.oxygen.consumption
    assert consumption and consumption.rate == pytest.approx(0.5e-6 * 0.2 / 0.031998 / DAY)


@pytest.mark.parametrize(
    ("isotherm", "content", "activity"),
    [
        # closed forms: GAB, Oswin and the modified Henderson equation solved by hand for the water content
        (
            "{model: GAB, monolayer: 0.05, c: 10, k: 0.9}",
            0.05 * 10 * 0.9 * 0.3 / ((1 - 0.27) * (1 - 0.27 + 2.7)),
            0.3,
        ),
        ("{model: Oswin, a: 0.12, b: 0.4}", 0.12 * (0.3 / 0.7) ** 0.4, 0.3),
        (
            "{model: Henderson, k: 0.0001, n: 2, c: 50, temperature: 25 degC}",
            0.01 * (-math.log(0.7) / (0.0001 * 75)) ** 0.5,
            0.3,
        ),
        ("{table: [[0.1, 0.02], [0.3, 0.05], [0.8, 0.2]]}", 0.05, 0.3),
    ],
)
def test_the_initial_state_may_be_a_content_or_an_activity(
    tmp_path: Path, isotherm: str, content: float, activity: float
) -> None:
    for initial in (f"content: {content!r}", f"water_activity: {activity}"):
        moisture = f"  moisture:\n    dry_mass: 190 g\n    isotherm: {isotherm}\n    initial: {{{initial}}}"
        model = load_project(edited(tmp_path, ("  water_activity: 0.6", moisture))).case.product.moisture
        assert model is not None and model.initial_activity == pytest.approx(activity, rel=1e-9)
        assert float(model.isotherm.content(activity)) == pytest.approx(content, rel=1e-9)


def test_a_carbonated_product_is_closed_at_its_own_temperature_without_air(tmp_path: Path) -> None:
    path = edited(
        tmp_path,
        ("  water_activity: 0.6", "  carbonation: {volumes: 4.0, temperature: 4 degC}"),
        ("oxygen_gain: 20 mg/kg", "co2_loss: 15 %"),
    )
    case = load_project(path).case
    assert case.product.closing_temperature == pytest.approx(277.15)
    assert case.product.headspace.gas == {} and case.product.water_activity == 1.0
    said = [
        text for text in predict(case, version="", inputs_sha256="").assumptions if "eadspace gas" in text
    ]
    assert said == ["Headspace gas not given: no air, only CO2 assumed."]


@pytest.mark.parametrize(("volumes", "warned"), [("4.0", False), ("0.8", True)])
def test_co2_in_the_headspace_is_that_of_the_carbonation_and_warned_of_where_it_is_more(
    tmp_path: Path, volumes: str, warned: bool
) -> None:
    """One volume is dissolved at about 0.7 atm at 4 degC (Henry's law, constants of Sander 2023)."""
    limited = ("oxygen_gain: 20 mg/kg", "co2_loss: 15 %")
    carbonated = ("  water_activity: 0.6", f"  carbonation: {{volumes: {volumes}, temperature: 4 degC}}")
    plain = load_project(edited(tmp_path, carbonated, limited)).case
    gas = ("{volume: 40 mL}", "{volume: 40 mL, gas: {CO2: 100 %}}")
    flushed = load_project(edited(tmp_path, carbonated, limited, gas)).case
    plainly, answer = (predict(c, version="", inputs_sha256="") for c in (plain, flushed))
    assert answer.shelf_life_days == plainly.shelf_life_days is not None
    said = [w for w in flushed.warnings if "product.carbonation" in w]
    assert bool(said) == warned and not [w for w in plain.warnings if "product.carbonation" in w]
    assert any(t.endswith("its share in headspace.gas adds none.") for t in answer.assumptions)
    assert not any("1 atm including" in t for t in answer.assumptions)


def test_a_wall_far_from_its_gauge_warns_but_loads(tmp_path: Path) -> None:
    case = load_project(edited(tmp_path, ("600 um", "6 um"))).case
    assert any("outside the gauge of 'HDPE'" in text for text in case.warnings)


def test_room_and_contents_that_differ_by_a_fifth_warn_but_load(tmp_path: Path) -> None:
    case = load_project(edited(tmp_path, ("volume: 220 mL", "volume: 270 mL"))).case
    assert any("the parts hold" in text for text in case.warnings)


def test_room_is_not_compared_where_the_parts_do_not_tell_it(tmp_path: Path) -> None:
    pouch = "body: {shape: pouch, width: 70 mm, height: 70 mm, seal_width: 5 mm, wall: tub}"
    path = edited(tmp_path, ("body: {shape: cylinder, diameter: 70 mm, height: 70 mm, wall: tub}", pouch))
    assert not any("the parts hold" in text for text in load_project(path).case.warnings)


def test_one_thickness_of_a_part_is_a_ratio_to_the_wall(tmp_path: Path) -> None:
    path = edited(
        tmp_path,
        ("diameter: 70 mm, wall: tub}\nwalls", "diameter: 70 mm, thickness: 900 um, wall: tub}\nwalls"),
    )
    base = load_project(path).case.package.parts[1]
    assert isinstance(base, WallPart) and base.patches[0].ratio == pytest.approx(1.5)


def test_a_mesh_part_has_the_area_of_its_mesh(tmp_path: Path) -> None:
    # a square of 40 mm x 40 mm as two triangles
    corners = [(0, 0), (40, 0), (40, 40), (0, 40)]
    faces = [(0, 1, 2), (0, 2, 3)]
    text = "".join(f"v {x} {y} 0\n" for x, y in corners) + "".join(
        f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in faces
    )
    (tmp_path / "panel.obj").write_text(text)
    path = edited(
        tmp_path,
        ("    base:", "    panel: {mesh: panel.obj, unit: mm, dimensions: middle, wall: tub}\n    base:"),
    )
    project = load_project(path)
    panel = project.case.package.parts[1]
    assert isinstance(panel, WallPart) and panel.area(600e-6) == pytest.approx(16e-4, rel=1e-6)
    assert project.files[1].name == "panel.obj"


def test_a_shape_may_be_given_by_the_other_name_of_a_key(tmp_path: Path) -> None:
    cone = "body: {shape: cone, diameter: 70 mm, top_diameter: 70 mm, height: 70 mm, wall: tub}"
    path = edited(tmp_path, ("body: {shape: cylinder, diameter: 70 mm, height: 70 mm, wall: tub}", cone))
    body = load_project(path).case.package.parts[0]
    assert isinstance(body, WallPart) and body.area(0.0) == pytest.approx(math.pi * 0.07**2)
    both = path.read_text("utf-8").replace("top_diameter", "diameter_top: 70 mm, top_diameter")
    path.write_text(both, "utf-8")
    with pytest.raises(InputError, match="says the same as 'diameter_top'"):
        load_project(path)


def test_a_flux_with_its_partial_pressure_is_a_permeance(tmp_path: Path) -> None:
    row = (
        "{gas: O2, max: 2 cm3/(m2*day), partial_pressure: 1 atm, wall: tub, temperature: 23 degC, "
        "humidity: 50 %}"
    )
    path = edited(tmp_path, ("target:", f"target:\n  transmission: [{row}]"))
    (limit,) = load_project(path).case.transmission_limits
    assert limit.maximum == pytest.approx(2 * MOL_PER_CM3 / DAY / ATM, rel=1e-6)


def test_a_project_can_be_read_from_any_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copy(GOOD / "tub.yaml", tmp_path / "tub.yaml")
    monkeypatch.chdir(tmp_path)
    assert load_project("tub.yaml").case.title == "Invented tub"

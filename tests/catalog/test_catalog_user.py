"""The user's own rows: nearest wins, and every mistake is shown at its place, all at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optimizer.catalog import load_catalog
from optimizer.catalog.lint import lint_tables
from optimizer.catalog.tables import Spot
from optimizer.errors import InputError, MaterialError

HEAD = "material,gas,value,unit,thickness,temperature,humidity,grade,source\n"
O2_UNIT = "cm3*mm/(m2*day*atm)"


def table(folder: Path, text: str, name: str = "mine.csv") -> Path:
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def level(catalog: Any, name: str = "LDPE") -> float:
    return float(catalog.material(name).gas_law("O2").permeability[0])


def problems(*args: Any, **kwargs: Any) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_catalog(*args, **kwargs)
    return [str(p) for p in caught.value.problems]


def inline(value: float = 30.0, **more: Any) -> dict[str, Any]:
    row = {"gas": "O2", "value": f"{value} {O2_UNIT}", "temperature": "23 degC", "humidity": "0 %"}
    return {"name": "LDPE", "permeability": [row]} | more


def test_nearest_wins_inline_over_later_table_over_earlier_table_over_ours(tmp_path: Path) -> None:
    first = table(tmp_path, HEAD + f"LDPE,O2,10,{O2_UNIT},,23 degC,0 %,,a\n", "first.csv")
    second = table(tmp_path, HEAD + f"LDPE,O2,20,{O2_UNIT},,23 degC,0 %,,b\n", "second.csv")
    ours = level(load_catalog())
    one = level(load_catalog([first])) / 10
    assert ours / one == pytest.approx(178.0 * 1.01325, rel=1e-6)
    assert level(load_catalog([first, second])) == pytest.approx(20 * one)
    assert level(load_catalog([second, first])) == pytest.approx(10 * one)
    assert level(load_catalog([first, second], [inline(30)])) == pytest.approx(30 * one)


def test_rows_of_different_distance_are_never_mixed(tmp_path: Path) -> None:
    """One dry row of the user's replaces all three humidity points of the shipped table."""
    mine = table(tmp_path, HEAD + f"EVOH 32,O2,0.01,{O2_UNIT},,23 degC,0 %,,a\n")
    material = load_catalog([mine]).material("EVOH 32")
    assert len(material.gas_law("O2").activity) == 1
    assert any("known at 0 %RH only" in n for n in material.notes)
    assert len(material.gas_law("CO2").activity) == 3


def test_an_alias_in_a_table_means_its_material(tmp_path: Path) -> None:
    mine = table(tmp_path, HEAD + f"pe-ld,O2,10,{O2_UNIT},,23 degC,0 %,,a\n")
    catalog = load_catalog([mine])
    assert level(catalog, "LDPE") < level(load_catalog(), "LDPE") / 10
    assert [c.rank for c in catalog.candidates("LDPE", "O2")].count(1) == 1


def test_a_price_list_adds_prices_and_leaves_the_rest(tmp_path: Path) -> None:
    mine = table(tmp_path, "name,price\nHDPE,1.30 EUR/kg\nLDPE,1450 USD/t\n")
    catalog = load_catalog([mine])
    hdpe, ours = catalog.material("HDPE"), load_catalog().material("HDPE")
    assert (hdpe.price, hdpe.currency) == (pytest.approx(1.30), "EUR")
    assert (catalog.material("LDPE").price, catalog.material("LDPE").currency) == (pytest.approx(1.45), "USD")
    assert hdpe.density == ours.density and hdpe.gases == ours.gases and hdpe.roles == ours.roles


def test_the_users_density_is_noted_as_the_users(tmp_path: Path) -> None:
    mine = table(tmp_path, "name,density\nHDPE,0.948 g/cm3\n")
    note = next(s for s in load_catalog([mine]).material("HDPE").sources if s.gas == "density")
    assert (note.value, note.grade) == ("0.948", "user") and note.source.endswith("mine.csv:2")


def test_semicolons_tabs_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    for delimiter in (";", "\t"):
        text = "\ufeff" + (HEAD + f"LDPE,O2,10,{O2_UNIT},,23 degC,0 %,,a\n").replace(",", delimiter)
        assert level(load_catalog([table(tmp_path, text)])) < level(load_catalog()) / 10


def test_the_unit_may_stand_in_the_value_cell(tmp_path: Path) -> None:
    a = table(tmp_path, "material,gas,value,temperature\nLDPE,O2,10 cm3*mm/(m2*day*atm),23 degC\n", "a.csv")
    b = table(tmp_path, HEAD + f"LDPE,O2,10,{O2_UNIT},,23 degC,0 %,,a\n", "b.csv")
    material = load_catalog([a]).material("LDPE")
    assert level(load_catalog([a])) == level(load_catalog([b]))
    assert "O2: humidity of the test not given, taken as dry" in material.notes


def test_a_row_of_diffusivity_is_known_by_its_unit(tmp_path: Path) -> None:
    text = HEAD + f"LDPE,O2,10,{O2_UNIT},,23 degC,0 %,,a\nLDPE,O2,4.5e-11,m2/s,,23 degC,,,a\n"
    material = load_catalog([table(tmp_path, text)]).material("LDPE")
    assert material.diffusivity["O2"].diffusivity == 4.5e-11
    assert level(load_catalog()) / material.gas_law("O2").permeability[0] == pytest.approx(18.036, rel=1e-3)


def test_paths_are_relative_to_the_base(tmp_path: Path) -> None:
    table(tmp_path, "name,price\nHDPE,1.30 EUR/kg\n")
    assert load_catalog(["mine.csv"], base_dir=tmp_path).material("HDPE").price == pytest.approx(1.3)


def test_a_new_inline_material_has_everything_it_states() -> None:
    """The entry of the documentation of the project file."""
    o2 = {
        "gas": "O2",
        "value": "450 cm3*mil/(100 in2*day*atm)",
        "temperature": "23 degC",
        "humidity": "0 %",
        "activation_energy": "40 kJ/mol",
    }
    vapour = {
        "gas": "H2O",
        "value": "1.5 g*mil/(100 in2*day)",
        "temperature": "38 degC",
        "humidity": "90 %",
        "activation_energy": "34 kJ/mol",
    }
    diffusion = {
        "gas": "O2",
        "value": "4.5e-11 m2/s",
        "temperature": "23 degC",
        "activation_energy": "40 kJ/mol",
    }
    entry = {
        "name": "PE skin",
        "density": "920 kg/m3",
        "price": "1.30 EUR/kg",
        "gauge": {"min": "8 um", "max": "300 um"},
        "roles": ["seal", "print", "core"],
        "family": "PE",
        "permeability": [o2, vapour],
        "diffusivity": [diffusion],
    }
    catalog = load_catalog(inline=[entry])
    skin = catalog.material("pe  SKIN")
    assert (skin.density, skin.price, skin.currency, skin.family) == (920, pytest.approx(1.3), "EUR", "PE")
    assert skin.gauge == pytest.approx((8e-6, 300e-6)) and skin.roles == {"seal", "print", "core"}
    # exact definitions: mil 25.4 um, 100 in2 0.064516 m2, 1 cm3(STP) 4.461503e-5 mol
    assert level(catalog, "PE skin") == pytest.approx(450 * 2.006398e-18, rel=1e-6)
    assert skin.gas_law("O2").activation_energy == 40e3 and skin.water_law().activation_energy == 34e3
    assert skin.diffusivity["O2"].activation_energy == 40e3
    assert catalog.names()[-1] == "PE skin" and catalog.is_user("PE skin") and not catalog.is_user("HDPE")
    with pytest.raises(MaterialError, match="no CO2"):
        skin.gas_law("CO2")


def test_a_material_without_family_gets_a_note() -> None:
    material = load_catalog(inline=[{"name": "new", "density": "1 g/cm3"}]).material("new")
    assert any("no family given" in n for n in material.notes) and material.water is None


@pytest.mark.parametrize(
    ("wrong", "right"),
    [("HDEP", "HDPE"), ("EVOH 33", "EVOH 32"), ("tie PEE", "tie PE"), ("alumnium foil", "aluminium foil")],
)
def test_an_unknown_name_brings_near_ones(wrong: str, right: str) -> None:
    with pytest.raises(MaterialError) as caught:
        load_catalog().material(wrong)
    assert right in caught.value.hint and wrong in caught.value.message


def test_names_do_not_mind_case_and_blanks() -> None:
    catalog = load_catalog()
    assert catalog.material(" evoh  32 MOL% ") is catalog.material("EVOH 32")


def test_all_problems_of_a_table_are_shown_with_line_and_column(tmp_path: Path) -> None:
    text = (
        HEAD
        + "LDPE,O2,10,cm3*mm/(m2*day),,23 degC,0 %,,a\n"
        + f"LDPE,XE,10,{O2_UNIT},,23 degC,0 %,,a\n"
        + f'LDPE,O2,"1,5",{O2_UNIT},,23 degC,0 %,,a\n'
        + f"LDPE,O2,10,{O2_UNIT},,23,0 %,good,a\n"
        + "LDPE,O2,10,cm3/(m2*day*atm),,23 degC,0 %,,a\n"
        + "LDPE,H2O,10,g*mm/(m2*day),,38 degC,,,a\n"
        + f"LDPE,O2,,{O2_UNIT},,23 degC,0 %,,a\n"
        + f"LDPE,O2,10,{O2_UNIT},,,0 %,,a\n"
        + f"LDPE,O2,-3,{O2_UNIT},,23 degC,20 %,,a\n"
        + f"LDPE,O2,3,{O2_UNIT},,23 degC,120 %,,a\n"
    )
    found = problems([table(tmp_path, text)])
    places = [f.split("mine.csv:")[1].split(" ")[0] for f in found]
    lines = text.splitlines()
    assert f"2:{lines[1].index('cm3') + 1}:" in places  # no pressure in the unit
    assert f"3:{lines[2].index('XE') + 1}:" in places
    assert f"4:{lines[3].index('1,5') + 2}:" in places  # at the comma of 1,5
    assert {p.split(":")[0] for p in places} == {str(n) for n in range(2, 12)}
    assert f"5:{lines[4].index('23,') + 3}:" in places and f"5:{lines[4].index('good') + 1}:" in places
    by_line = {n: " ".join(f for f in found if f"mine.csv:{n}:" in f) for n in range(2, 12)}
    assert "pressure" in by_line[2] and "not a gas" in by_line[3] and "grade" in by_line[5]
    assert "thickness is needed" in by_line[6] and "humidity of its test" in by_line[7]
    assert "no value" in by_line[8] and "temperature of the test is missing" in by_line[9]
    assert "must be positive" in by_line[10] and "between 0 % and 100 %" in by_line[11]


def test_an_unknown_column_is_named_once_with_the_likely_one(tmp_path: Path) -> None:
    text = "material,gas,value,unit,temprature,humidity\n" + f"LDPE,O2,1,{O2_UNIT},23 degC,0 %\n" * 3
    found = problems([table(tmp_path, text)])
    assert sum("temprature" in f for f in found) == 1
    assert "mine.csv:1:25: temprature: there is no such column (did you mean 'temperature'?)" in "\n".join(
        found
    )


def test_too_many_cells_and_a_missing_file_and_a_strange_table_are_told(tmp_path: Path) -> None:
    many = table(tmp_path, HEAD + "LDPE,O2,1,x,,23 degC,0 %,,a,b,c\n", "many.csv")
    strange = table(tmp_path, "supplier,town\na,b\n", "strange.csv")
    empty = table(tmp_path, "# nothing: here\n", "empty.csv")
    found = "\n".join(problems([many, strange, empty, tmp_path / "none.csv"]))
    assert "many.csv:2:" in found and "11 cells for 9 columns" in found
    assert "strange.csv:1: this is not a property table" in found
    assert "empty.csv: the table is empty" in found
    assert "none.csv: there is no such file" in found


def test_a_table_that_names_an_unknown_material_asks_for_it(tmp_path: Path) -> None:
    mine = table(tmp_path, HEAD + f"LDPP,O2,1,{O2_UNIT},,23 degC,0 %,,a\n")
    (only,) = problems([mine])
    assert "mine.csv:2:1: material: there is no material 'LDPP'" in only and "did you mean LDPE" in only


def test_inline_problems_point_into_the_project_file() -> None:
    entry = {
        "name": "skin", "densty": "920 kg/m3", "gauge": {"min": "8", "most": "9 um"}, "roles": ["seel"],
        "permeability": [{"gas": "O2", "value": "450 cm3*mil/(100 in2*day)", "temperature": "23 degC"}, "O2"],
    }  # fmt: skip
    marks = {
        (0,): (3, 5), (0, "densty"): (4, 5), (0, "gauge", "min"): (5, 18), (0, "gauge", "most"): (5, 26),
        (0, "roles"): (6, 12), (0, "permeability", 0, "value"): (8, 20), (0, "permeability", 1): (9, 9),
    }  # fmt: skip
    found = problems(inline=[entry], file="pack.yaml", locate=lambda path: Spot(*marks.get(path, (1, 1))))
    text = "\n".join(found)
    assert "pack.yaml:4:5: densty: there is no key 'densty' (did you mean density?)" in text
    assert "pack.yaml:5:19: gauge_min: a unit is missing" in text and "pack.yaml:5:26: gauge.most" in text
    assert "pack.yaml:6:12: roles: 'seel' is not a role" in text
    assert "pack.yaml:8:24: value" in text and "the pressure is missing" in text  # at the unit, behind "450 "
    assert "pack.yaml:9:9" in text


def test_a_new_inline_material_without_density_is_told_where() -> None:
    (only,) = problems(
        inline=[{"name": "skin", "family": "PE"}], file="pack.yaml", locate=lambda _: Spot(7, 3)
    )
    assert only.startswith("pack.yaml:7:3: density: the new material 'skin' needs a density")


@pytest.mark.parametrize(
    "entry", [{}, {"name": ""}, {"name": None}, {"density": "1 g/cm3"}, "HDPE", {"name": ["a"]}]
)
def test_entries_without_a_usable_name_are_refused(entry: Any) -> None:
    assert problems(inline=[entry])


_CELLS = st.sampled_from(
    [
        "",
        "0",
        "-1",
        "1",
        "nan",
        "inf",
        "1e999",
        "1,5",
        '"',
        "LDPE",
        "foil",
        "new",
        "O2",
        "H2O",
        "o2",
        "0 %",
        "90 %",
        "101 %",
        "23 degC",
        "-300 degC",
        "38",
        "900 K",
        "12 um",
        "0 um",
        "5 %",
        "cm3*mm/(m2*day*atm)",
        "g/(m2*day)",
        "g*mm/(m2*day*kPa)",
        "m2/s",
        "cm3/(m2*day*atm)",
        "40 kJ/mol",
        "user",
        "#",
        "\x00",
        "é",
        "1 g/cm3",
        "1 EUR/kg",
        "seal/x",
        "family:PE",
    ]
)
_COLUMNS = st.lists(
    st.sampled_from(
        [
            "material",
            "gas",
            "value",
            "value_low",
            "value_high",
            "unit",
            "thickness",
            "temperature",
            "humidity",
            "humidity_far",
            "activation_energy",
            "grade",
            "name",
            "density",
            "price",
            "roles",
            "family",
            "solubility",
        ]
    ),
    min_size=1,
    unique=True,
)
_KEYS = st.sampled_from(
    [
        "name",
        "density",
        "gauge",
        "min",
        "roles",
        "permeability",
        "diffusivity",
        "gas",
        "value",
        "temperature",
        "humidity",
        "price",
        "family",
        "odd",
    ]
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(_COLUMNS, st.lists(st.lists(_CELLS, min_size=1, max_size=12), max_size=4))
def test_any_table_is_read_or_refused_but_never_breaks(
    tmp_path: Path, columns: list[str], rows: list[list[str]]
) -> None:
    text = "\n".join(",".join(line) for line in [columns, *rows])
    path = table(tmp_path, text)
    lint_tables([path])
    try:
        catalog = load_catalog([path])
    except InputError as error:
        assert error.problems and all(p.file.endswith("mine.csv") for p in error.problems)
        return
    for name in catalog.names():
        if catalog.is_user(name) or catalog.candidates(name, "O2"):
            catalog.material(name)


@settings(max_examples=150, deadline=None)
@given(
    st.recursive(
        st.one_of(_CELLS, st.none(), st.booleans(), st.floats(), st.integers()),
        lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_KEYS, inner, max_size=5)),
        max_leaves=12,
    )
)
def test_any_inline_entry_is_read_or_refused_but_never_breaks(entry: Any) -> None:
    try:
        catalog = load_catalog(inline=[entry], file="pack.yaml", locate=lambda _: Spot(2, 3))
    except InputError as error:
        assert all(p.file == "pack.yaml" and p.line == 2 for p in error.problems)
        return
    for name in catalog.names()[-1:]:
        catalog.material(name)


def test_one_name_in_two_entries_is_refused_and_not_merged() -> None:
    entries = [{"name": "HDPE", "price": "1.3 EUR/kg"}, {"name": " HDPE ", "price": "9 EUR/kg"}]
    with pytest.raises(InputError, match="the material 'HDPE' stands here twice; the first is entry 1"):
        load_catalog(inline=entries)


@pytest.mark.parametrize(("humidity", "warned"), [("0 %", True), ("", True), ("65 %", False)])
def test_a_dry_value_for_a_barrier_that_responds_to_humidity_may_overstate_it_and_says_so(
    humidity: str, warned: bool
) -> None:
    """EVOH lets more oxygen through the moister it is (the shipped rows: 100 times from 60 to 90 %RH)."""
    row = {"gas": "O2", "value": "0.5 cm3*20um/(m2*day*atm)", "temperature": "23 degC"}
    row |= {"humidity": humidity} if humidity else {}
    catalog = load_catalog(inline=[{"name": "EVOH 32", "permeability": [row]}])
    notes = [n for n in catalog.material("EVOH 32").notes if "may overstate the barrier in use" in n]
    said = "O2: a test at 0 %RH may overstate the barrier in use; ask for a value at 65 %RH, "
    assert notes == ([f"{said}or near the humidity in use"] if warned else [])

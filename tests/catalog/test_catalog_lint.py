"""Each planted fault is found, at its place; a clean table is clean."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from optimizer.catalog.lint import Finding, lint_shipped, lint_tables
from optimizer.catalog.load import find_materials

HEAD = "material,gas,value,unit,thickness,temperature,humidity,humidity_far,source\n"
GOOD = "LDPE,O2,180,cm3*mm/(m2*day*atm),,23 degC,0 %,,data sheet of March\n"


def lint(folder: Path, text: str) -> list[Finding]:
    path = folder / "mine.csv"
    path.write_text(text, "utf-8")
    return lint_tables([path])


def only(found: list[Finding]) -> Finding:
    assert len(found) == 1, [str(f) for f in found]
    return found[0]


def test_a_good_table_has_no_finding(tmp_path: Path) -> None:
    assert lint(tmp_path, HEAD + GOOD + "LDPE,H2O,0.5,g*mm/(m2*day),,38 degC,90 %,,sheet\n") == []
    assert lint(tmp_path, "name,density,family,price\nskin,0.92 g/cm3,PE,1.3 EUR/kg\n") == []


@pytest.mark.parametrize(
    ("row", "severity", "field", "words"),
    [
        ("LDPE,O2,180,cm3*mm/(m2*day*furlong),,23 degC,0 %,,s", "error", "unit", "furlong"),
        ("LDPE,O2,180,g/(m2*day),,23 degC,0 %,,s", "error", "unit", "vapour"),
        ("LDPE,H2O,1,cm3*mm/(m2*day),,38 degC,90 %,,s", "error", "unit", "unit of"),
        ("LDPE,O2,7000,cm3/(m2*day*atm),,23 degC,0 %,,s", "error", "thickness", "thickness is needed"),
        ("LDPE,H2O,0.5,g*mm/(m2*day),,38 degC,,,s", "error", "humidity", "humidity of its test"),
        (
            "LDPE,H2O,0.5,g*mm/(m2*day),,,90 %,,s",
            "error",
            "temperature",
            "temperature of the test is missing",
        ),
        ("LDPE,H2O,0.5,g*mm/(m2*day),,38 degC,50 %,60 %,s", "error", "humidity", "wetter than humidity_far"),
        ("LDPE,O2,180,cm3*mm/(m2*day*atm),,23 degC,,,s", "warning", "humidity", "taken as dry"),
        ("LDPE,O2,180,cm3*mm/(m2*day*atm),,23 degC,0 %,,", "warning", "source", "no source"),
        ("LDPE,O2,19000,cm3*mm/(m2*day*atm),,23 degC,0 %,,s", "warning", "value", "times above every row"),
        ("LDPE,O2,0.18,cm3*mm/(m2*day*atm),,23 degC,0 %,,s", "warning", "value", "times below every row"),
        ("HDPE,H2O,0.0007,g*mm/(m2*day),,38 degC,90 %,,s", "warning", "value", "times below every row"),
        ("LDPE,O2,0,cm3*mm/(m2*day*atm),,23 degC,0 %,,s", "warning", "value", "impermeable"),
        ("LDPF,O2,180,cm3*mm/(m2*day*atm),,23 degC,0 %,,s", "error", "material", "no material 'LDPF'"),
        ("LDPE,O2,180,cm3*mm/(m2*day*atm),,230 degC,0 %,,s", "error", "temperature", "outside -23 to 127"),
    ],
)
def test_a_planted_fault_is_found(tmp_path: Path, row: str, severity: str, field: str, words: str) -> None:
    found = only(lint(tmp_path, HEAD + row + "\n"))
    assert found.severity == severity and found.problem.field == field
    assert words in str(found) and found.problem.file.endswith("mine.csv") and found.problem.line == 2


def test_an_energy_in_the_wrong_unit_is_found(tmp_path: Path) -> None:
    head = "material,gas,value,unit,temperature,humidity,activation_energy,source\n"
    row = "LDPE,O2,180,cm3*mm/(m2*day*atm),23 degC,0 %,{},sheet\n"
    assert "outside -50 to 200" in str(only(lint(tmp_path, head + row.format("40 MJ/mol"))))
    assert lint(tmp_path, head + row.format("40 kJ/mol")) == []


def test_nine_times_outside_the_family_is_let_pass(tmp_path: Path) -> None:
    """The LDPE rows go up to 236 (textbook); ten times that is the limit."""
    assert lint(tmp_path, HEAD + GOOD.replace("180", "2100")) == []


def test_unknown_columns_bring_the_likely_one(tmp_path: Path) -> None:
    found = only(lint(tmp_path, HEAD.replace("thickness", "thicknes") + GOOD))
    assert found.severity == "error" and "did you mean 'thickness'?" in str(found)
    assert (found.problem.line, found.problem.column) == (1, 25)


def test_duplicate_rows_are_found(tmp_path: Path) -> None:
    found = only(lint(tmp_path, HEAD + GOOD + GOOD.replace("180", "190")))
    assert "conditions as line 2" in str(found) and found.problem.line == 3
    found = only(lint(tmp_path, "name,price\nHDPE,1 EUR/kg\nhdpe,2 EUR/kg\n"))
    assert "stands already in line 2" in str(found)


def test_humidity_points_that_fall_are_found(tmp_path: Path) -> None:
    rows = "".join(
        f"EVOH 32,O2,{v},cm3*mm/(m2*day*atm),,23 degC,{h} %,,s\n"
        for h, v in ((60, 0.01), (80, 0.09), (90, 0.05))
    )
    found = only(lint(tmp_path, HEAD + rows))
    assert found.severity == "warning" and "lower at 90 %RH than at 80 %RH" in str(found)
    rising = rows.replace("0.05,", "0.5,")
    assert lint(tmp_path, HEAD + rising) == []


def test_less_water_from_a_wetter_side_is_found(tmp_path: Path) -> None:
    rows = "".join(f"PA6,H2O,{v},g*mm/(m2*day),,38 degC,{h} %,,s\n" for h, v in ((50, 4), (90, 3)))
    assert "less water passes at 90 % than at 50 %" in str(only(lint(tmp_path, HEAD + rows)))


@pytest.mark.parametrize(
    ("row", "severity", "words"),
    [
        ("skin,0.092 g/cm3,PE,,", "error", "no packaging material has such a density"),
        ("skin,0.5 g/cm3,PE,,", "warning", "unusual"),
        ("skin,7.8 g/cm3,foil,,", "warning", "unusual"),
        ("skin,0.92 g/cm3,polyethylene,,", "warning", "no family 'polyethylene'"),
        ("skin,0.92,PE,,", "error", "unit is missing"),
        ("skin,0.92 g/cm3,PE,30 um,8 um", "error", "below the smallest"),
        ("skin,,PE,,", "error", "needs a density"),
    ],
)
def test_a_fault_in_a_list_of_materials_is_found(tmp_path: Path, row: str, severity: str, words: str) -> None:
    found = lint(tmp_path, f"name,density,family,gauge_min,gauge_max\n{row}\n")
    assert any(f.severity == severity and words in str(f) for f in found), [str(f) for f in found]


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("permeability/bao_2006.csv", ",Barrer,", ",Barrrer,", "Barrrer"),
        (
            "permeability/bao_2006.csv",
            "# source: bao_2006",
            "# source: bao_2007",
            "differs from the file name",
        ),
        ("permeability/bao_2006.csv", "# conversion:", "# converted:", "'# conversion:' is missing"),
        ("permeability/bao_2006.csv", "PLA,N2", "PLLA,N2", "no material 'PLLA'"),
        ("polymers.csv", "plastic_density_table", "density_table", "no key 'density_table'"),
        ("polymers.csv", "HDPE,PE-HD|high-density polyethylene,PE", "HDPE,PE-HD,PEE", "no family 'PEE'"),
        ("polymers.csv", "0.955 g/cm3", "1.955 g/cm3", "density outside its band"),
        ("activation.csv", "moyls_1998", "moyls_1999", "no key 'moyls_1999'"),
        ("activation.csv", "LDPE,N2", "LDPP,N2", "neither a material nor a family"),
        ("bonding.csv", "PE,EVOH,tie,tie PE", "PE,EVOH,tie,", "name the family that ties"),
        ("bonding.csv", "PE,EVOH,tie,tie PE", "PE,EVOH,maybe,tie PE", "bonds"),
        ("defaults.csv", "pocas_lecture_2020", "pocas_lecture_2021", "no key 'pocas_lecture_2021'"),
        ("references.csv", "bao_2006,", "bao_06,", "no such key in references.csv"),
        ("recycling.csv", ",not compatible", ",bad", "verdict"),
        ("families.csv", "EVOH,yes", "EVOH,often", "humidity_sensitive"),
        (
            "permeability/mxd6_producer_gas_barrier.csv",
            "EVOH 32,O2,4.5",
            "EVOH 32,O2,0.45",
            "lower at 80 %RH",
        ),
        ("permeability/mxd6_producer_gas_barrier.csv", "23 degC,80 %", "23 degC,60 %", "same material, gas"),
    ],
)
def test_a_fault_planted_in_the_shipped_table_is_found(
    tmp_path: Path, file: str, old: str, new: str, words: str
) -> None:
    folder = tmp_path / "materials"
    shutil.copytree(find_materials(), folder)
    text = (folder / file).read_text("utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), "utf-8")
    assert any(words in str(f) for f in lint_shipped(folder)), [str(f) for f in lint_shipped(folder)]

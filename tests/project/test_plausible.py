"""Absurd numbers, well written, are refused at their place; no number makes the program fall over."""

from __future__ import annotations

import math
import re
import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

from optimizer import load_project, predict
from optimizer.catalog.offers import read_offers
from optimizer.errors import InputError
from optimizer.physics.sorption import Henderson as HendersonIsotherm
from optimizer.project.offers import read_rates
from optimizer.project.schema_mesh import corners
from optimizer.project.schema_package import points
from optimizer.project.schema_product import Henderson
from optimizer.project.schema_thickness import Heights
from optimizer.project.thickness_table import read_thickness
from tests.project.books import changed, put, said

ROOT = Path(__file__).parents[2]
OAT = ROOT / "examples/oat_drink_bottle/project.yaml"
TUB = ROOT / "tests/data/projects/good/tub.yaml"
BISCUIT = ROOT / "tests/data/projects/good/dry_biscuit.yaml"
_NUMBER = re.compile(r"(?<![\w.#-])\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w.])")


def problems(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_project(path)
    assert all(p.line and p.column for p in caught.value.problems)
    return [str(p) for p in caught.value.problems]


@pytest.mark.parametrize(
    ("old", "new", "bounds"),
    [
        ("headspace:\n    volume: 30 mL", "headspace:\n    volume: 1e-300 mL", "1e-6 and 1e12 mL"),
        ("{shape: disc, diameter: 80 mm", "{shape: disc, diameter: 1e300 mm", "1e-9 and 1e6 mm"),
        ("[187 mm, 40 mm]", "[187 mm, 1e300 mm]", "-1e6 and 1e6 mm"),
        ("value: 0.0012 cm3/day", "value: 1e300 cm3/day", "cm3/day"),
        ("duration: 4 months", "duration: 1e300 weeks", "1.653e-9 and 52180 weeks"),
        ("mass: 1.03 kg", "mass: 1e-30 kg", "1e-9 and 1e9 kg"),
        ("price: 1.30 EUR/kg", "price: 1e200 EUR/kg", "1e-9 and 1e15 EUR/kg"),
        ("min: 60 um", "min: 1e-30 um", "1e-6 and 1e9 um"),
        ("thickness_ratio: 1.1", "thickness_ratio: 1e300", "1e-15 and 1e9"),
        ("rate: 0.05 1/day", "rate: 1e-290 1/day", "1/day"),
    ],
)
def test_an_absurd_number_is_refused_at_its_place(old: str, new: str, bounds: str, tmp_path: Path) -> None:
    text = OAT.read_text(encoding="utf-8")
    assert old in text
    changed_text = text.replace(old, new, 1)
    path = tmp_path / "p.yaml"
    path.write_text(changed_text, encoding="utf-8")
    (message,) = problems(path)
    line = changed_text[: changed_text.index(new) + len(new)].count("\n") + 1
    assert re.search(r"\.yaml:(\d+)", message)[1] == str(line), message  # type: ignore[index]
    assert "must be between" in message and bounds in message


def test_a_permeability_of_the_project_has_bounds(tmp_path: Path) -> None:
    row = "{gas: O2, value: 1e-300 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}"
    path = tmp_path / "p.yaml"
    entry = f"materials:\n  - {{name: mine, density: 0.92 g/cm3, permeability: [{row}]}}\n"
    path.write_text(TUB.read_text(encoding="utf-8") + entry, encoding="utf-8")
    (message,) = problems(path)
    assert "materials[0].permeability[0].value" in message and "must be between" in message


def test_rows_that_make_an_absurd_activation_energy_are_refused(tmp_path: Path) -> None:
    # ln(1e19) R / (1/296.15 - 1/298.15 K) = 1.6e7 J/mol, by hand
    row = "{{gas: O2, value: {}e{} cm3*mm/(m2*day*atm), temperature: {} degC, humidity: 0 %}}"
    rows = ", ".join([row.format(1, -10, 23), row.format(1, 9, 25)])
    path = tmp_path / "p.yaml"
    text = TUB.read_text(encoding="utf-8") + f"materials:\n  - {{name: HDPE, permeability: [{rows}]}}\n"
    path.write_text(text, encoding="utf-8")
    (message,) = problems(path)
    assert "activation energy of 1.6" in message and "kJ/mol" in message


def test_a_table_of_materials_has_bounds(tmp_path: Path) -> None:
    head = "material,gas,value,unit,temperature,humidity\n"
    (tmp_path / "mine.csv").write_text(head + "HDPE,O2,1e300,cm3*mm/(m2*day*atm),23 degC,0 %\n")
    path = tmp_path / "p.yaml"
    path.write_text(TUB.read_text(encoding="utf-8") + "materials: [{table: mine.csv}]\n", encoding="utf-8")
    (message,) = problems(path)
    assert "mine.csv:2:9" in message and "must be between" in message


def test_an_offer_has_bounds(tmp_path: Path) -> None:
    sheet = tmp_path / "offers.csv"
    sheet.write_text("supplier,material,price\nA,HDPE,1e300 EUR/kg\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"offers\.csv:2:8.*must be between 1e-9 and 1e15 EUR/kg"):
        read_offers(sheet)


def test_a_rate_of_exchange_has_a_bound() -> None:
    with pytest.raises(InputError, match="is no exchange rate"):
        read_rates(["USD=" + "9" * 400 + " EUR"])


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("10,1e300", r"t\.csv:2:4.*'1e300' must be between 1e-6 and 1e9"),
        ("1e300,10", r"t\.csv:2:1.*'1e300' must be between 0 and 1e6 \("),
        ("1.001e6,10", r"'1\.001e6' must be between"),
        ("10,0.9e-6", r"'0\.9e-6' must be between 1e-6 and 1e9"),
    ],
)
def test_a_table_of_thickness_has_bounds(row: str, said: str, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text(f"height mm,thickness um\n{row}\n20,10\n30,10\n", encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read_thickness(table)


def test_the_noise_of_a_drawing_is_no_absurd_coordinate(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("x mm,y mm,z mm,thickness um\n2.4e-15,-1e-13,0,1.1e-6\n0,0,0.999e6,10\n1,2,3,10\n")
    assert read_thickness(table).places[0].tolist() == [0.0, 0.0, 0.0]
    table.write_text("x mm,y mm,z mm,thickness um\n0,0,0,1\n0,0,-1.001e6,10\n1,2,3,10\n")
    with pytest.raises(InputError, match=r"'-1\.001e6' must be between -1e6 and 1e6"):
        read_thickness(table)
    table.write_text("height mm,thickness um\n2.4e-15,10\n20,10\n")
    assert read_thickness(table).places[0].tolist() == [0.0]
    assert points([["0 mm", "30 mm"], ["20 mm", "2.4e-15 mm"]]) == ((0.0, 0.03), (0.02, 0.0))
    assert corners([["-3e-14 mm", "0 mm", "0 mm"], ["1 mm", "1 mm", "1 mm"]])[0] == (0.0, 0.0, 0.0)
    heights = {"heights": [["1e-14 mm", "600 um"], ["20 mm", "350 um"]]}
    rows = Heights.model_validate(heights)
    assert rows.heights[0] == (0.0, pytest.approx(600e-6))


def test_the_steep_power_of_a_modified_henderson_isotherm_can_have_a_small_constant() -> None:
    """1 - a = exp(-k (t + c) M^n), M in per cent (ASAE D245.5): 2e-10 (23 + 37) 100^4 = 1.2."""
    given = {"model": "Henderson", "k": 2e-10, "n": 4, "c": 37, "temperature": "23 degC"}
    read = Henderson.model_validate(given)
    isotherm = HendersonIsotherm(read.k, read.n, read.c, read.temperature.value - 273.15)
    assert float(isotherm.content(1.0 - math.exp(-1.2))) == pytest.approx(1.0)


def test_a_cell_of_a_workbook_has_bounds(tmp_path: Path) -> None:
    (message,) = said(changed(tmp_path, put("Layers", 5, thickness=1e300)))
    assert "Layers!" in message and "must be between 1e-6 and 1e9 um" in message


def mutants(text: str, factors: tuple[object, ...], each: int) -> Iterator[str]:
    """The file with one number changed; of the factors ``each`` for each number, in turn."""
    turn = 0
    for number, line in enumerate(text.split("\n")):
        for found in () if line.lstrip().startswith("#") else _NUMBER.finditer(line.split(" #")[0]):
            for _ in range(each):
                factor = factors[turn % len(factors)]
                turn += 1
                new = factor if isinstance(factor, str) else repr(float(found[0]) * float(str(factor)))
                lines = text.split("\n")
                lines[number] = line[: found.start()] + new + line[found.end() :]
                yield "\n".join(lines)


def survives(path: Path) -> None:
    """It loads and is simulated, or says where it is wrong; no other error, no warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            predict(load_project(path))
        except InputError as error:
            assert all(p.line for p in error.problems), error


@pytest.mark.parametrize("path", [TUB, BISCUIT], ids=lambda p: p.stem)
def test_whatever_a_number_is_made_of_nothing_falls_over(path: Path, tmp_path: Path) -> None:
    factors = (1e-300, 1e300, "nan", 1e30, 1e-30, "inf", -1, 1e6, 1e-12)
    target = tmp_path / path.name
    for text in mutants(path.read_text(encoding="utf-8"), factors, each=1):
        target.write_text(text, encoding="utf-8")
        survives(target)


@pytest.mark.slow
@pytest.mark.parametrize(
    "path",
    sorted(ROOT.glob("examples/*/[!bu]*.yaml")),
    ids=lambda p: f"{p.parent.name}/{p.stem}",
)
def test_no_number_of_an_example_makes_it_fall_over(path: Path, tmp_path: Path) -> None:
    for file in path.parent.iterdir():
        if file.is_file():
            shutil.copy(file, tmp_path / file.name)
    factors = (1e-300, 1e12, 1e300, "nan", 1e-6, 1e30, 0, 1e6, 1e-30, "inf", -1, 1e-12, 1e3)
    target = tmp_path / path.name
    for text in mutants(path.read_text(encoding="utf-8"), factors, each=1):
        target.write_text(text, encoding="utf-8")
        survives(target)

"""The materials commands on the shipped table."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from optimizer.catalog import load_catalog

Invoke = Callable[..., int]


def test_the_list_has_every_material_with_its_grade(
    invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("materials", "list") == 0
    out = capsys.readouterr().out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert invoke("materials", "list", "--json", "-") == 0
    record = json.loads(capsys.readouterr().out)
    names = [m["name"] for m in record["materials"]]
    assert names == list(load_catalog().names())
    assert all(m["grade"] for m in record["materials"])
    flat = " ".join(out.split())
    assert all(" ".join(name.split()[:2]) in flat for name in names)


def test_show_lists_every_row_and_marks_the_used_ones(
    invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    catalog = load_catalog()
    assert invoke("materials", "show", "PET", "--json", "-") == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    for gas in ("O2", "CO2"):
        used = [r for r in rows if r["gas"] == gas and r["used"]]
        selection = catalog.selection("PET", gas)
        assert selection is not None
        assert len(used) == len(selection.chosen) > 0
        assert len([r for r in rows if r["gas"] == gas]) >= len(catalog.candidates("PET", gas))
    assert invoke("materials", "show", "PET") == 0
    out = capsys.readouterr().out
    assert "Used because:" in out and "Sources" in out
    assert max(len(line) for line in out.splitlines()) <= 80


@pytest.mark.parametrize("name", load_catalog().names())
def test_every_material_can_be_shown_in_80_columns(name: str) -> None:
    from optimizer.report.materials import show_page, show_record
    from optimizer.report.record import dump

    catalog = load_catalog()
    assert max(len(line) for line in show_page(catalog, name).text().splitlines()) <= 80
    assert json.loads(dump(show_record(catalog, name)))["name"] == name


def test_an_alias_finds_its_material(invoke: Invoke, capsys: pytest.CaptureFixture[str]) -> None:
    assert invoke("materials", "show", "PE-LD") == 0
    assert capsys.readouterr().out.startswith("LDPE, family PE\n")


def test_an_unknown_name_suggests_near_ones(invoke: Invoke, capsys: pytest.CaptureFixture[str]) -> None:
    assert invoke("materials", "show", "HDEP") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "there is no material 'HDEP'" in err and "did you mean" in err


def test_a_good_table_is_good(invoke: Invoke, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "good.csv"
    table.write_text(
        "material,gas,value,unit,temperature,humidity\nLDPE,O2,190,cm3*mm/(m2*day*atm),23 degC,0 %\n",
        encoding="utf-8",
    )
    assert invoke("materials", "lint", str(table)) == 0
    assert capsys.readouterr().out.startswith(("GOOD", "USABLE"))


def test_a_wrong_table_ends_with_two_and_names_each_cell(
    invoke: Invoke, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "wrong.csv"
    table.write_text(
        "material,gas,value,unit,temperature,humidity\n"
        "LDPE,O2,190,cm3*mm/(m2*day*furlong),23 degC,0 %\n"
        "LDPE,XE,190,cm3*mm/(m2*day*atm),23 degC,0 %\n",
        encoding="utf-8",
    )
    assert invoke("materials", "lint", str(table)) == 2
    out = capsys.readouterr().out
    assert out.startswith("WRONG: 2 problems")
    places = [line.split()[0] for line in out.splitlines() if line.startswith(f"  {table}:")]
    assert [place.split(":")[-3] for place in places] == ["2", "3"]


def test_a_missing_table_is_wrong_input(
    invoke: Invoke, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("materials", "lint", str(tmp_path / "none.csv")) == 2
    assert "none.csv" in capsys.readouterr().err


def test_lint_as_json_holds_the_problems(
    invoke: Invoke, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "wrong.csv"
    table.write_text("material,gas,value,unit,temperature\nLDPE,XE,1,m,23 degC\n", encoding="utf-8")
    assert invoke("materials", "lint", str(table), "--json", "-") == 2
    record = json.loads(capsys.readouterr().out)
    assert record["passes"] is False
    assert record["problems"][0]["line"] == 2


def test_a_name_of_several_words_needs_no_quotation_marks(
    invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = []
    for words in (["EVOH 32"], ["EVOH", "32"]):
        assert invoke("materials", "show", *words) == 0
        shown.append(capsys.readouterr().out)
    assert shown[0] == shown[1]
    assert shown[0].startswith("EVOH 32, family")


def test_lint_judges_the_materials_of_a_project_in_either_form(
    invoke: Invoke, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A thousand times the slip of a unit: the table's HDPE is within ten times of every grade in it."""
    text = (
        Path("examples/oat_drink_bottle/project.yaml")
        .read_text(encoding="utf-8")
        .replace(
            "materials:\n",
            "materials:\n  - {name: HDPE grade, family: HDPE, density: 9050 kg/m3, permeability: [{gas: O2, "
            'value: "75000 cm3*mm/(m2*day*atm)", temperature: 23 degC, humidity: 0 %, source: slip}]}\n',
            1,
        )
    )
    file = tmp_path / "slip.yaml"
    file.write_text(text, encoding="utf-8")
    assert invoke("materials", "lint", str(file), "--json", "-") == 0
    record = json.loads(capsys.readouterr().out)
    assert any("9050" in json.dumps(w) or "density" in json.dumps(w) for w in record["warnings"])
    assert invoke("template", str(tmp_path / "slip.xlsx"), "--from", str(file)) == 0
    capsys.readouterr()
    assert invoke("materials", "lint", str(tmp_path / "slip.xlsx"), "--json", "-") == 0
    cells = json.dumps(json.loads(capsys.readouterr().out)["warnings"])
    assert "slip.xlsx!Materials!" in cells

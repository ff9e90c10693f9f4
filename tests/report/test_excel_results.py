"""Answers as workbooks: every number and every sentence is there, typed, with its unit.

Reading back is by openpyxl and by LibreOffice (slow tests), both independent of the code under test as far
as values go. What a sheet should have: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from optimizer.report.compare import compare_page
from optimizer.report.excel.cells import Share
from optimizer.report.excel.results import results_workbook
from optimizer.report.excel.table import heading_of, said_facts
from optimizer.report.excel.tables import results_tables
from optimizer.report.predict import verdict
from optimizer.results import Alternative

from . import samples, stress
from .excel_books import CREATED, FULL, RESULTS, SERIES, book_of, data_of, each, opened
from .office import as_csv, resaved

#: Numbers of these are counted or are an order: they have no unit.
COUNTS = {"no.", "layer", "rank", "change no.", "faces", "ties at", "ties at, +-", "price"}


def numbers(value: Any) -> Iterator[float]:
    if isinstance(value, Mapping):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for item in value:
            yield from numbers(item)
    elif isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        yield float(value)


def in_book(book: openpyxl.Workbook, kind: type | tuple[type, ...]) -> set[Any]:
    return {c.value for sheet in book for row in sheet.iter_rows() for c in row if isinstance(c.value, kind)}


def answers(sheet: Worksheet) -> dict[str, tuple[Any, Any, Any]]:
    rows = sheet.iter_rows(min_row=2, values_only=True)
    return {str(row[0]): (row[1], row[2], row[3]) for row in rows}


# -- contents ------------------------------------------------------------------------------------------------


@each
def test_every_number_of_the_json_is_in_the_workbook_with_all_its_digits(name: str) -> None:
    book = book_of(name)
    there = {float(v) for v in in_book(book, (int, float))}
    assert set(numbers(RESULTS[name].as_dict())) <= there


@each
def test_every_warning_assumption_caution_and_source_is_in_the_workbook_in_full(name: str) -> None:
    texts = in_book(book_of(name), str)
    record = RESULTS[name].as_dict()
    for key in ("warnings", "assumptions", "cautions"):
        assert set(record.get(key, [])) <= texts
    for row in record.get("sources", []):
        assert {row["material"], row["unit"], row["source"], row["grade"]} <= texts


@each
def test_every_first_sheet_opens_with_the_title_and_closes_with_what_tells_it_from_others(name: str) -> None:
    result = RESULTS[name]
    items = list(answers(book_of(name)["Answer"]).items())
    assert (items[0][0], items[0][1][0]) == ("title", result.title)
    own = [(what, row[0]) for what, row in items if not what.startswith("sheet: ")]
    told = [
        ("command", result.command),
        ("version", result.version),
        ("input checksum (SHA-256)", result.inputs_sha256),
    ]
    at = own.index(told[0])
    assert own[at : at + 3] == told
    assert [what for what, _ in own[at + 3 :]][-1] == "date"
    assert len(own[at + 3 :]) <= 2  # a check has the checksum of its baseline, too


def test_the_first_sheet_says_the_verdict_in_words_with_version_checksum_and_date() -> None:
    book = book_of("predict")
    assert book.sheetnames[0] == "Answer"
    found = answers(book["Answer"])
    assert found["title"][0] == FULL.title
    assert found["answer"][0] == verdict(FULL)
    assert found["passes"][0] == "yes"
    assert found["shelf life"][:2] == (FULL.shelf_life_days, "days")
    assert found["mass of one package"][:2] == (FULL.mass_g, "g")
    assert found["material cost of one package"][:2] == (FULL.cost_per_package, "EUR")
    assert found["version"][0] == FULL.version
    assert found["input checksum (SHA-256)"][0] == FULL.inputs_sha256
    assert found["date"][:2] == (CREATED, "UTC")
    assert book.properties.created == CREATED
    assert FULL.inputs_sha256 in book.properties.description


@pytest.mark.parametrize(
    ("name", "start"),
    [
        ("design", "OPTIMAL: mass 1235 g"),
        ("design, infeasible", "INFEASIBLE: "),
        ("design, out of time", "TIME LIMIT: "),
        ("check, plain", "FAILS: "),
        ("compare", "CHEAPEST: "),
        ("tradeoff", "FRONTIER: 4 points"),
    ],
)
def test_the_verdict_of_each_command_is_that_of_its_page(name: str, start: str) -> None:
    assert answers(book_of(name)["Answer"])["answer"][0].startswith(start)


def test_the_sentences_beside_the_verdict_are_those_before_the_first_heading_of_the_page() -> None:
    rows = list(said_facts(compare_page(stress.comparison("cost"))))
    assert [row["item"] for row in rows[:3]] == ["title", "answer", "in words"]
    assert all(row["value"] for row in rows)


def test_a_life_that_no_limit_ends_is_an_empty_cell_with_a_remark() -> None:
    found = answers(opened(replace(FULL, shelf_life_days=None))["Answer"])
    assert found["shelf life"] == (None, "days", "no limit is reached within the time looked at")


def test_sheets_hold_what_their_names_say() -> None:
    named = {name: set(results_tables(result)) for name, result in RESULTS.items()}
    common = {"Answer", "Limits", "Transmission", "Film transmission", "Layers", "Time series"}
    samples_of = {"Uncertainty", "Percentiles", "What ends it", "Influences", "Spreads", "Sample lives"}
    for name in ("predict", "design"):
        assert common | samples_of | {"Storage", "Structure", "Outer pack", "Parts", "Sources"} <= named[name]
    assert {"Alternatives", "Binding", "Relaxed structures", "Confidence", "Solver"} <= named["design"]
    assert (
        common | samples_of | {"Side by side", "Changes", "Lightest", "Lightest structure", "Thickness"}
        <= named["check"]
    )
    assert {"Offers", "Prices", "Pairs", "Structure", "Conflict", "Exchange rates"} <= named["compare"]
    assert {"Frontier", "Changes", "Structure", "Limits"} <= named["tradeoff"]
    assert {"Openings", "Bodies", "Wall thickness", "Repairs", "Project file"} <= named["geometry"]
    assert {"Answer", "Conflict"} <= named["design, infeasible"]


def test_columns_on_layers_that_nothing_is_known_for_are_left_out() -> None:
    bare = replace(samples.DESIGNED, alternatives=(Alternative(samples.STRUCTURE, 0.0541, 3.4),))
    table = results_tables(bare)["Alternatives"]
    assert table.headings[-3:] == ("layer", "material", "thickness")
    assert set(table.units) <= set(table.headings)
    assert "mass" in results_tables(stress.DESIGNED)["Alternatives"].headings


def test_yes_and_no_are_words() -> None:
    sheet = book_of("predict")["Limits"]
    heads = [c.value for c in sheet[1]]
    assert {c.value for c in sheet[openpyxl.utils.get_column_letter(heads.index("passes") + 1)][1:]} == {
        "yes",
        "no",
    }


def test_a_number_that_is_not_finite_is_empty_and_told_in_a_remark() -> None:
    sheet = book_of("predict")["Limits"]
    heads = [str(c.value) for c in sheet[1]]
    row = next(r for r in sheet.iter_rows(min_row=2, values_only=True) if r[0] == "lowest water activity")
    assert row[heads.index("at target")] is None
    assert row[heads.index("remark")] == "at target: not a number"


def test_differences_of_a_check_are_those_of_its_numbers() -> None:
    rows = results_tables(samples.CHECKED)["Side by side"].rows
    life = next(row for row in rows if row["quantity"] == "shelf life")
    # 8.997 against 14.2 months: 100 (8.997 / 14.2 - 1)
    assert life["difference (%)"] == pytest.approx(-36.6408, abs=1e-4)
    oxygen = next(row for row in rows if str(row["quantity"]).startswith("O2 transmission"))
    assert oxygen["baseline"] == pytest.approx(2.1 * (0.0123 + 0.0075))  # body and cap in the truck


# -- units ---------------------------------------------------------------------------------------------------


@each
def test_every_number_has_a_unit_in_its_row_or_in_its_heading(name: str) -> None:
    for title, table in results_tables(RESULTS[name]).items():
        for row in table.rows:
            for heading, value in row.items():
                if not isinstance(value, float) or isinstance(value, Share):
                    continue
                told = table.units.get(heading) or row.get("unit") or row.get("price unit")
                of_a_record = "item" in row or title in ("Confidence", "Solver")
                assert told or of_a_record or heading in COUNTS or "(%)" in heading, (title, heading)


def test_quantities_of_the_answer_carry_their_units() -> None:
    found = answers(book_of("tradeoff")["Answer"])
    assert [found[x][1] for x in ("target of the project", "longest shelf life")] == ["days", "days"]
    mesh = answers(book_of("geometry")["Answer"])
    units = [mesh[x][1] for x in ("size along x", "area of the wall", "volume inside", "area used")]
    assert units == ["mm", "cm2", "mL", "%"]


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("days", ("time", "days")),
        ("oxygen_gain_mg_per_kg", ("oxygen gain", "mg/kg")),
        ("headspace_oxygen_pct", ("oxygen in the headspace", "%")),
        ("O2_pressure_kPa", ("O2 pressure", "kPa")),
        ("mean_thickness_um", ("mean thickness", "um")),
        ("outer_pack_humidity_pct", ("outer pack humidity", "%")),
        ("area_cm2", ("area", "cm2")),
        ("mass_g", ("mass", "g")),
        ("water_activity", ("water activity", "")),
    ],
)
def test_the_unit_at_the_end_of_a_key_is_told_apart_from_its_name(key: str, told: tuple[str, str]) -> None:
    assert heading_of(key) == told


def test_a_wide_table_has_its_units_in_the_headings_and_nothing_between_them_and_the_data() -> None:
    sheet = book_of("predict")["Time series"]
    rows = list(sheet.iter_rows(values_only=True))
    assert rows[0] == ("time (days)", "oxygen gain (mg/kg)", "water activity", "O2 pressure (kPa)")
    assert rows[1:] == list(zip(*SERIES.values(), strict=True))


# -- another spreadsheet program -----------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("name", ["predict", "design", "check", "compare", "tradeoff", "geometry"])
def test_a_spreadsheet_program_works_it_out_anew_and_keeps_every_value(name: str, tmp_path: Path) -> None:
    data = data_of(name)
    mine = book_of(name)
    theirs = openpyxl.load_workbook(resaved(data, tmp_path))
    assert theirs.sheetnames == mine.sheetnames
    for sheet in mine:
        other = theirs[sheet.title]
        for row in sheet.iter_rows():
            for cell in row:
                found = other[cell.coordinate].value
                if isinstance(cell.value, float):
                    # the program writes 15 to 17 digits
                    assert found == pytest.approx(cell.value, rel=1e-14), (sheet.title, cell.coordinate)
                else:
                    assert found == cell.value, (sheet.title, cell.coordinate)
        assert other.print_title_rows == sheet.print_title_rows


@pytest.mark.slow
def test_a_spreadsheet_program_exports_numbers_as_numbers(tmp_path: Path) -> None:
    rows = as_csv(results_workbook(FULL, CREATED), tmp_path)["Time series"]
    assert rows[0] == ["time (days)", "oxygen gain (mg/kg)", "water activity", "O2 pressure (kPa)"]
    assert [float(x) for x in rows[2]] == [values[1] for values in SERIES.values()]

"""Workbooks are ready to read and to print, have nothing that acts, and are the same for the same answer.

Reading back is by openpyxl. What a sheet should look like: common practice, no source.
"""

from __future__ import annotations

import io
import math
import subprocess
import sys
import zipfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import openpyxl
import pytest

from optimizer.report.excel.cells import even_pattern, pattern
from optimizer.report.excel.results import results_workbook
from optimizer.report.excel.style import Column, add_sheet, add_table, new_book, saved
from optimizer.report.excel.tables import results_tables

from . import samples
from .excel_books import CREATED, FULL, RESULTS, book_of, data_of, each, opened

# -- look and print ------------------------------------------------------------------------------------------


@each
def test_every_sheet_is_ready_to_read_and_to_print(name: str) -> None:
    book = book_of(name)
    tables = results_tables(RESULTS[name])
    assert book.sheetnames == list(tables)
    for sheet in book:
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref == f"A1:{sheet.dimensions.split(':')[1]}"
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.print_area.replace("$", "").endswith(f"!{sheet.dimensions}")
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.fitToWidth == 1
        assert sheet.page_setup.fitToHeight == (1 if sheet.title == "Answer" else 0)
        assert sheet.oddHeader.right.text == sheet.title
        assert sheet.oddFooter.right.text == "Page &P of &N"
        assert not sheet.merged_cells.ranges
        for letter, dimension in sheet.column_dimensions.items():
            assert 5.0 <= dimension.width <= 125.0, (sheet.title, letter)


@each
def test_no_cell_is_a_formula_and_nothing_points_outside(name: str) -> None:
    data = data_of(name)
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        names = parts.namelist()
        assert not [n for n in names if "vba" in n.lower() or "external" in n.lower()]
        assert not [n for n in names if b'TargetMode="External"' in parts.read(n)]
    book = book_of(name)
    assert {c.data_type for s in book for row in s.iter_rows() for c in row} <= {"s", "n", "d"}
    links = [c.hyperlink for row in book["Answer"].iter_rows() for c in row if c.hyperlink]
    assert {link.location.split("!")[0].strip("'") for link in links} == set(book.sheetnames) - {"Answer"}


def test_numbers_show_four_digits_and_keep_all() -> None:
    cell = next(c for c in book_of("predict")["Answer"]["B"] if c.value == FULL.shelf_life_days)
    assert cell.number_format == "0.0"  # 432.2125 is shown as 432.2
    assert cell.value == 14.2 * samples.MONTH


@pytest.mark.parametrize(
    ("value", "format_"),
    [
        (0.0, "0"),
        (360.0, "0"),
        (1.5020181572, "0.0##"),
        (130.85787, "0.0"),
        (8121.8125, "0"),
        (0.0778804, "0.0####"),
        (8.2e-16, "0.000E+00"),
        (1.23e12, "0.000E+00"),
        (-93.532, "0.0#"),
    ],
)
def test_a_number_format_has_four_significant_digits(value: float, format_: str) -> None:
    assert pattern(value) == format_


def test_a_column_of_a_time_series_has_one_number_format() -> None:
    assert even_pattern([0.0, 0.123, 9.9]) == "0.000"
    assert even_pattern([0.0, 821.8]) == "0.0"
    assert even_pattern([0.0, 2.0, 10.0]) == "0"
    assert even_pattern([]) == "0"
    sheet = book_of("predict")["Time series"]
    assert len({c.number_format for c in sheet["B"][2:]}) == 1


def test_shares_are_shown_in_per_cent_and_held_as_they_are() -> None:
    cells = book_of("predict, plain")["Transmission"]["F"][1:]
    assert [c.value for c in cells[:2]] == [0.62, 0.38]
    assert {c.number_format for c in cells} == {"0.00%"}


def test_rows_of_long_texts_are_tall_enough() -> None:
    sheet = opened(samples.DESIGNED)["Assumptions"]
    text = str(sheet["B2"].value)
    width = sheet.column_dimensions["B"].width
    assert sheet.row_dimensions[2].height >= 15.0 * math.ceil(len(text) / width)
    assert sheet["B2"].alignment.wrap_text


# -- bytes ---------------------------------------------------------------------------------------------------


@each
def test_the_same_answer_with_the_same_date_gives_the_same_bytes(name: str) -> None:
    assert results_workbook(RESULTS[name], CREATED) == data_of(name)


def test_another_date_changes_the_dates_only() -> None:
    def parts(created: datetime) -> dict[str, bytes]:
        with zipfile.ZipFile(io.BytesIO(results_workbook(samples.PASSING, created))) as book:
            assert {i.date_time[:3] for i in book.infolist()} == {(created.year, created.month, created.day)}
            return {name: book.read(name) for name in book.namelist()}

    one, two = parts(CREATED), parts(CREATED + timedelta(hours=1))
    assert {name for name in one if one[name] != two[name]} == {
        "docProps/core.xml",
        "xl/worksheets/sheet1.xml",
    }


def test_a_date_with_a_zone_is_told_in_utc() -> None:
    there = CREATED.replace(tzinfo=UTC).astimezone(timezone(timedelta(hours=5, minutes=30)))
    assert results_workbook(samples.PASSING, there) == results_workbook(samples.PASSING, CREATED)


def test_a_book_is_dated_now_unless_a_date_is_given() -> None:
    before = datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    assert before <= new_book().properties.created <= before + timedelta(minutes=1)


def test_a_table_may_start_below_other_rows() -> None:
    book = new_book(CREATED)
    sheet = add_sheet(book, "Materials")
    last = add_table(sheet, [Column("name"), Column("price", width=20.0)], [["PET", 1.2]], top=4)
    sheet = openpyxl.load_workbook(io.BytesIO(saved(book)))["Materials"]
    assert (last, sheet.freeze_panes, sheet.auto_filter.ref) == (5, "A5", "A4:B5")
    assert (sheet.print_title_rows, sheet.column_dimensions["B"].width) == ("$4:$4", 20.0)


def test_two_sheets_of_one_name_are_refused() -> None:
    book = new_book(CREATED)
    add_sheet(book, "Materials")
    with pytest.raises(ValueError, match="exists already"):
        add_sheet(book, "Materials")


def test_what_is_no_answer_is_refused() -> None:
    with pytest.raises(TypeError, match="no sheets are known for str"):
        results_tables("text")  # type: ignore[arg-type]


def test_the_tables_load_no_spreadsheet_library() -> None:
    code = "import sys, optimizer.report.excel.results; sys.exit('openpyxl' in sys.modules)"
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0

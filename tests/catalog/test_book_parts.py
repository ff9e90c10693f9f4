"""What is looked at before a workbook is opened: nothing in a small file may take long.

The parts of .xlsx are those of ISO/IEC 29500; the last cell of a sheet is XFD1048576 there.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest

from optimizer.catalog.book_parts import look_at_the_parts, sheet_rows
from optimizer.catalog.offers import read_offers
from optimizer.catalog.workbook import is_filled, open_workbook
from optimizer.errors import InputError
from optimizer.project.load import load_project
from tests.project.books import changed

SHEET, STYLES = "xl/worksheets/sheet1.xml", "xl/styles.xml"
SVG = b'<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'


def book(change: Callable[[dict[str, bytes]], None] = lambda parts: None) -> bytes:
    """A workbook with one filled cell in the sheet 'offers', its parts changed."""
    made = openpyxl.Workbook()
    made.active.title = "offers"
    made.active.append(["a"])
    out = BytesIO()
    made.save(out)
    with zipfile.ZipFile(out) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    change(parts)
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in parts.items():
            file.writestr(name, data)
    return out.getvalue()


def behind_the_cells(xml: bytes) -> Callable[[dict[str, bytes]], None]:
    return lambda parts: parts.update({SHEET: parts[SHEET].replace(b"</sheetData>", b"</sheetData>" + xml)})


def among_the_cells(xml: bytes) -> Callable[[dict[str, bytes]], None]:
    return lambda parts: parts.update({SHEET: parts[SHEET].replace(b"</sheetData>", xml + b"</sheetData>")})


def before_the_root(name: str, xml: str, encoding: str = "utf-8") -> Callable[[dict[str, bytes]], None]:
    def change(parts: dict[str, bytes]) -> None:
        root = parts[SHEET].decode().partition("?>")[2] or parts[SHEET].decode()
        parts[name] = (f'<?xml version="1.0" encoding="{encoding}"?>{xml}{root}').encode(encoding)

    return change


CELLS = "more than 150000 cells, formatted and merged ones among them"
LARGE = {
    "merged to the end": (
        behind_the_cells(b'<mergeCells><mergeCell ref="B2:XFD1048576"/></mergeCells>'),
        CELLS,
    ),
    "merged columns": (behind_the_cells(b'<mergeCells><mergeCell ref="$B:$C"/></mergeCells>'), CELLS),
    "merged rows": (behind_the_cells(b'<mergeCells><mergeCell ref="2:20"/></mergeCells>'), CELLS),
    "a link over everything": (
        behind_the_cells(b'<hyperlinks><hyperlink ref="A1:XFD1048576" location="a"/></hyperlinks>'),
        CELLS,
    ),
    "empty cells": (among_the_cells(b"<row>" + b"<c/>" * 150_000 + b"</row>"), CELLS),
    "blanks": (among_the_cells(b" " * 20_000_000), "20 MB of XML"),
    "rules": (
        behind_the_cells(b"<dataValidations>" + b"<dataValidation/>" * 200_000 + b"</dataValidations>"),
        "more than 200000 styles, links and rules",
    ),
}


@pytest.mark.parametrize("case", LARGE)
def test_what_would_take_long_to_open_is_refused_and_names_the_sheet(case: str) -> None:
    change, much = LARGE[case]
    with pytest.raises(InputError) as caught:
        look_at_the_parts(book(change), "b.xlsx")
    (problem,) = caught.value.problems
    assert problem.file == "b.xlsx!offers"
    assert problem.message == f"is too large to be such a workbook: {much}"


def test_merged_cells_and_links_of_a_usual_size_are_let_in() -> None:
    xml = b'<mergeCells><mergeCell ref="A2:XFD2"/></mergeCells>'
    links = b'<hyperlinks><hyperlink ref="A1:B9"/><hyperlink ref="C4"/></hyperlinks>'
    look_at_the_parts(book(behind_the_cells(xml + links)), "b.xlsx")


TYPES = {
    "as it is": before_the_root(SHEET, "<!DOCTYPE worksheet>"),
    "in sixteen bits": before_the_root(SHEET, "<!DOCTYPE worksheet>", "utf-16"),
    "behind a long remark": before_the_root(SHEET, f"<!--{'-a' * 50_000}--><!DOCTYPE worksheet>"),
    "in a part of another name": before_the_root("xl/worksheets/sheet1.dat", "<!DOCTYPE worksheet>"),
    "as of a drawing, with an entity": before_the_root(SHEET, '<!DOCTYPE svg [<!ENTITY a "b">]>'),
}


@pytest.mark.parametrize("case", TYPES)
def test_a_document_type_is_found_wherever_it_stands(case: str) -> None:
    with pytest.raises(InputError, match="its XML declares a document type"):
        look_at_the_parts(book(TYPES[case]), "b.xlsx")


def test_drawings_and_pictures_are_let_in() -> None:
    def change(parts: dict[str, bytes]) -> None:
        parts["xl/media/image1.svg"] = SVG + b'<svg xmlns="http://www.w3.org/2000/svg"/>'
        parts["xl/media/image2.png"] = b"\x89PNG\r\n\x1a\n<!DOCTYPE a>"

    look_at_the_parts(book(change), "b.xlsx")


@pytest.mark.parametrize("place", ["Z1048576", "XFD1048576"])
def test_an_empty_cell_with_a_format_at_the_end_of_a_sheet_does_not_matter(
    place: str, tmp_path: Path
) -> None:
    def formatted(made: openpyxl.Workbook) -> None:
        made["Layers"][place].number_format = made.create_sheet("Mine")[place].number_format = "0.00"

    path = changed(tmp_path, formatted)
    assert load_project(path).case.title
    sheet = open_workbook(path, "b.xlsx").formulas["Mine"]
    assert not is_filled(sheet)
    assert len(sheet._cells) == 1  # none was made by looking
    made = openpyxl.Workbook()
    for row in (("supplier", "material", "price"), ("Alder", "LDPE", "1.3 EUR/kg")):
        made.active.append(row)
    formatted_too = made.create_sheet("Sheet2")
    made.active[place].number_format = formatted_too[place].number_format = "0.00"
    made.save(tmp_path / "offers.xlsx")
    assert [offer.supplier for offer in read_offers(tmp_path / "offers.xlsx")] == ["Alder"]


def test_cells_merged_below_the_last_filled_one_belong_to_it(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    made.active.append(["a"])
    made.active.merge_cells("A1:A3")
    made.save(tmp_path / "b.xlsx")
    cells = open_workbook(tmp_path / "b.xlsx", "b.xlsx").cells("Sheet")
    assert [[cell and cell.value for cell in row] for row in cells.rows()] == [["a"]] * 3


def test_rows_are_read_without_the_library_as_with_it() -> None:
    made = openpyxl.Workbook()
    rows = [["a", 1.5, None, "b"], [None, "\u00e4<&", "a"]]
    for row in rows:
        made.active.append(row)
    out = BytesIO()
    made.save(out)
    (sheet,) = (list(sheet) for sheet in sheet_rows(out.getvalue(), ""))
    assert sheet == [{"A": "a", "B": "1.5", "D": "b"}, {"B": "\u00e4<&", "C": "a"}]

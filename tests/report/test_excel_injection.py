"""Texts of the user in a workbook stay texts: no formula, no link, no broken file.

What opens a formula in a spreadsheet program: OWASP, "CSV Injection" (= + - @, tab, carriage return, and
their full-width forms). Characters that XML 1.0 (fifth edition, production 2) does not allow; 32,767
characters in a cell: Excel specifications and limits, from memory.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
import pytest

from optimizer.report.excel.cells import LONGEST, header_text, is_risky, safe_text, stored_text
from optimizer.report.excel.results import results_workbook
from optimizer.report.excel.style import Column, add_sheet, add_table, new_book, saved
from optimizer.results import PredictResult

from .excel_books import RESULTS
from .office import as_csv, resaved
from .samples import PASSING

CREATED = datetime(2026, 1, 1)
FORMULAS = (
    '=HYPERLINK("http://x","y")',
    "@SUM(1)",
    "+1",
    "-2",
    "\t=1",
    "=1+1",
    "=cmd|' /C calc'!A0",
    " =1+1",
    "\uff1d1+1",
)
#: Codes of heads and feet, what XML does not allow, what is too long, what ends a section of XML.
BREAKING = ("&[Path]&P", "a\x00\x0b\x1f\ud800\uffffb", "x" * 40_000, "]]><!--")
#: In every name of the answers of ``stress``.
_NAMED = "heat-stabilised"
#: What openpyxl or a spreadsheet program would take for an error value, a bool, a date or a number.
GUESSES = ("#N/A", "#REF!", "TRUE", "1e5", "2026-01-01", "12 %", "0012")


def book_of(texts: tuple[str, ...]) -> bytes:
    book = new_book(CREATED, title=texts[0])
    add_table(add_sheet(book, "Layers", title=texts[0]), [Column("text")], [[t] for t in texts])
    return saved(book)


def column(data: bytes) -> list[Any]:
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Layers"]
    return [row[0] for row in sheet.iter_rows(min_row=2)]


def hostile(text: str) -> PredictResult:
    """An answer in which every text of the user is the hostile one."""
    return replace(
        PASSING,
        title=text,
        warnings=(text,),
        assumptions=(text,),
        cautions=(text,),
        sources=tuple(dict.fromkeys(row, text) for row in PASSING.sources),
        layers=tuple(replace(x, material=text, wall=text, stage=text) for x in PASSING.layers),
        transmission=tuple(replace(x, part=text, stage=text) for x in PASSING.transmission),
        film_transmission=tuple(replace(x, wall=text, stage=text) for x in PASSING.film_transmission),
        mass_by_material_g={text: 1.0},
        time_series={"days": (0.0,), text: (1.5,)},
        geometry=({"part": text, "wall": text, text: 1.0},),
        currency=text,
        wall_reason=text,
    )


@pytest.mark.parametrize("text", FORMULAS)
def test_what_opens_a_formula_is_written_as_a_text_with_the_quote_prefix(text: str) -> None:
    (cell,) = column(book_of((text,)))
    assert (cell.value, cell.data_type, bool(cell.quotePrefix)) == (text, "s", True)


@pytest.mark.parametrize("text", GUESSES)
def test_a_text_that_looks_like_another_value_stays_a_text(text: str) -> None:
    (cell,) = column(book_of((text,)))
    assert (cell.value, cell.data_type) == (text, "s")


def poisoned(value: Any, text: str) -> Any:
    """The answer with every name in it (materials, walls, parts, stages, offers) made the hostile text."""
    if hasattr(value, "__dataclass_fields__"):
        return replace(value, **{k: poisoned(v, text) for k, v in value.__dict__.items()})
    if isinstance(value, Mapping):
        return {poisoned(k, text): poisoned(v, text) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return type(value)(poisoned(v, text) for v in value)
    return text if isinstance(value, str) and _NAMED in value else value


def check_harmless(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        for name in parts.namelist():
            tree = ElementTree.fromstring(parts.read(name))  # well-formed, whatever the text was
            tags = {element.tag.rpartition("}")[2] for element in tree.iter()}
            assert not {"f", "externalLink", "vbaProject", "mergeCell"} & tags, name
            assert "TargetMode" not in {key for element in tree.iter() for key in element.attrib}, name
    for sheet in openpyxl.load_workbook(io.BytesIO(data)):
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type in ("s", "n", "d")
                if isinstance(cell.value, str) and is_risky(cell.value):
                    assert cell.quotePrefix, f"{sheet.title}!{cell.coordinate}"


@pytest.mark.parametrize(
    "text", [*FORMULAS, "&[Path]&P", "a\x00\x0b\x1f\ud800\uffffb", "x" * 40_000, "]]><!--"]
)
def test_an_answer_full_of_hostile_texts_has_no_formula_and_no_outside_link(text: str) -> None:
    check_harmless(results_workbook(hostile(text), CREATED))


@pytest.mark.parametrize("name", [name for name in RESULTS if _NAMED in repr(RESULTS[name])])
def test_hostile_names_are_harmless_in_the_answers_of_all_commands(name: str) -> None:
    result = poisoned(RESULTS[name], FORMULAS[0])
    data = results_workbook(result, CREATED)
    check_harmless(data)
    book = openpyxl.load_workbook(io.BytesIO(data))
    texts = {cell.value for sheet in book for row in sheet.iter_rows() for cell in row}
    assert FORMULAS[0] in texts


def test_names_of_sheets_do_not_depend_on_the_texts_of_the_user() -> None:
    def names(result: PredictResult) -> list[str]:
        return list(openpyxl.load_workbook(io.BytesIO(results_workbook(result, CREATED))).sheetnames)

    assert names(hostile("'[x]!A1:*?/\\")) == names(hostile("harmless"))


def test_characters_that_xml_does_not_allow_are_replaced_and_the_others_kept() -> None:
    assert safe_text("a\x00\x0bb\ud800\ufffe") == "a\ufffd\ufffdb\ufffd\ufffd"
    kept = "\ttab, line\nend, caf\u00e9 \u03bcm \u4e2d \U0001f600"
    (cell,) = column(book_of((kept,)))
    assert cell.value == kept


def test_a_carriage_return_becomes_the_line_end_of_a_cell() -> None:
    # XML 1.0, 2.11: a reader would make a line feed of it anyway
    assert safe_text("a\r\nb\rc") == "a\nb\nc"


def test_a_text_longer_than_a_cell_is_shortened_and_says_so() -> None:
    (cell,) = column(book_of(("y" * 40_000,)))
    assert len(cell.value) <= LONGEST == 32767
    assert cell.value.startswith("yyy") and cell.value.endswith("[shortened: 40,000 characters in all]")
    assert safe_text("y" * LONGEST) == "y" * LONGEST


def test_an_escape_of_the_file_format_in_a_text_is_itself_escaped() -> None:
    # ISO/IEC 29500-1, 22.9.2.19: _x0041_ in the file is read as 'A', and _x005F_ as '_'
    assert stored_text("_x0041_") == "_x005F_x0041_"
    assert stored_text("a_x and _y0041_") == "a_x and _y0041_"
    assert len(stored_text("_x0041_" * 5000)) <= LONGEST


def test_an_ampersand_in_a_title_is_no_code_of_the_printed_head() -> None:
    # ISO/IEC 29500-1, 18.3.1.46: '&' starts a code in heads and feet, '&&' is the sign itself
    assert header_text("R&D bottle & cap") == "R&&D bottle && cap"
    assert header_text("a\n\x00b\tc") == "a b c"
    assert len(header_text("z" * 500)) <= 90
    with zipfile.ZipFile(io.BytesIO(book_of(("R&D &P &[Path]",)))) as parts:
        tree = ElementTree.fromstring(parts.read("xl/worksheets/sheet1.xml"))
    (head,) = [e.text for e in tree.iter() if e.tag.endswith("oddHeader")]
    assert head == "&LR&&D &&P && [Path]&RLayers"


@pytest.mark.slow
def test_a_spreadsheet_program_shows_hostile_texts_as_they_were_written(tmp_path: Path) -> None:
    texts = (*FORMULAS, *GUESSES, "_x0041_", "a\x00\x0bb", "line\nend", "z" * 40_000)
    rows = as_csv(book_of(texts), tmp_path)["Layers"]
    assert [row[0] for row in rows[1:]] == [safe_text(t) for t in texts]


@pytest.mark.slow
def test_hostile_texts_are_still_texts_after_a_spreadsheet_program_saved_them(tmp_path: Path) -> None:
    path = resaved(book_of(FORMULAS), tmp_path)
    cells = column(path.read_bytes())
    assert [c.value for c in cells] == list(FORMULAS)
    assert {c.data_type for c in cells} == {"s"}


@pytest.mark.slow
@pytest.mark.parametrize("text", [FORMULAS[0], "\x00\x0b", "x" * 40_000])
def test_a_spreadsheet_program_opens_an_answer_full_of_hostile_texts(text: str, tmp_path: Path) -> None:
    sheets = as_csv(results_workbook(hostile(text), CREATED), tmp_path)
    assert sheets["Warnings"][1] == ["1", safe_text(text)]
    assert sheets["Layers"][2][0] == safe_text(text)

"""An answer as a workbook (.xlsx): ``results_workbook``. Metric units throughout, as in the JSON."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from optimizer.report.excel.cells import utc
from optimizer.report.excel.style import (
    BAD,
    FONT,
    GOOD,
    LINE,
    SIZE,
    TALLEST,
    Column,
    add_sheet,
    add_table,
    lines_in,
    link_to,
    new_book,
    saved,
)
from optimizer.report.excel.table import Row, Table, fact
from optimizer.report.excel.tables import Result, results_tables

#: Significant digits shown of a value as its source prints it.
_PRINTED_DIGITS = 8
_ANSWER, _SHEET = "Answer", "sheet: "
_ANSWER_WIDTHS = {"item": 34.0, "value": 74.0, "unit": 14.0, "remark": 44.0}
#: Rows of the answer that are still legible on one printed page.
_ONE_PAGE = 64
#: Sentences, one below the other.
_PROSE_WIDTHS = {"no.": 9.0, "text": 120.0, "line": 100.0}


def results_workbook(result: Result, created: datetime | None = None) -> bytes:
    """The workbook of an answer, as the bytes of a file.

    created: its date, now unless given; without a zone it is UTC. The same answer with the same date gives
    the same bytes. Raises TypeError for anything that is no answer of a command.
    """
    moment = utc(created or datetime.now(UTC))
    tables = results_tables(result)
    about = f"layerwright {result.command}, inputs {result.inputs_sha256}"
    book = new_book(moment, title=result.title, version=result.version, about=about)
    foot = f"layerwright {result.version}, inputs {result.inputs_sha256[:12]}, {moment:%Y-%m-%d}"
    for name, table in tables.items():
        if name == _ANSWER:
            table = Table(table.about, (*table.rows, *_ending(tables, moment)))
        sheet = add_sheet(book, name, title=result.title, foot=foot)
        _fill(sheet, table, _ANSWER_WIDTHS if name == _ANSWER else _PROSE_WIDTHS)
        if name == _ANSWER:
            _finish_answer(sheet, table)
    return saved(book)


def _ending(tables: Mapping[str, Table], moment: datetime) -> list[Row]:
    """Date, and what the other sheets hold."""
    contents = [fact(f"{_SHEET}{name}", table.about) for name, table in tables.items() if name != _ANSWER]
    return [fact("date", moment, "UTC"), *contents]


def _fill(sheet: Any, table: Table, widths: Mapping[str, float]) -> None:
    headings = table.headings
    columns = [
        Column(
            _with_unit(heading, table.units.get(heading, "")),
            width=widths.get(heading),
            digits=_PRINTED_DIGITS if sheet.title == "Sources" else 4,
            even=table.even,
        )
        for heading in headings
    ]
    rows = [[row.get(heading) for heading in headings] for row in table.rows]
    add_table(sheet, columns, rows)


def _with_unit(heading: str, unit: str) -> str:
    """'mass (g)'; a pure number stands alone."""
    return heading if unit in ("", "1", "-") else f"{heading} ({unit})"


def _finish_answer(sheet: Any, table: Table) -> None:
    """Values to the left, the verdict bold and in its colour, links to the sheets."""
    from openpyxl.styles import Alignment, Font

    passes = next((row["value"] for row in table.rows if row["item"] == "passes"), None)
    colour = {True: GOOD, False: BAD}.get(passes) if isinstance(passes, bool) else None
    heads = {"title": (14, None), "answer": (12, colour)}
    width = _ANSWER_WIDTHS["value"]
    if len(table.rows) <= _ONE_PAGE:
        sheet.page_setup.fitToHeight = 1
    for r, row in enumerate(table.rows, 2):
        what, cell = str(row["item"]), sheet.cell(r, 2)
        cell.alignment = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
        if what in heads:
            size, hue = heads[what]
            cell.font = Font(name=FONT, bold=True, size=size, color=hue)
            lines = lines_in(str(row["value"]), width * SIZE / size / 1.1)  # bold is wider
            sheet.row_dimensions[r].height = min(lines * LINE * size / SIZE + 4.0, TALLEST)
        elif what.startswith(_SHEET):
            link_to(sheet.cell(r, 1), what.removeprefix(_SHEET))

"""Workbooks for the tests: the shipped one, changed as somebody might change it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl

from optimizer.errors import InputError
from optimizer.project.load import load_project
from optimizer.report.excel.template import template_workbook

CREATED = datetime(2026, 1, 2, tzinfo=UTC)
#: Row of the headings, and the first one below them.
HEAD, FIRST = 3, 4


@cache
def shipped() -> bytes:
    """The workbook that everybody starts from."""
    return template_workbook(created=CREATED)


@cache
def bare() -> bytes:
    """The same cells without looks, lists and remarks, which takes a tenth of the time to change and read."""
    full = openpyxl.load_workbook(BytesIO(shipped()))
    book = openpyxl.Workbook()
    book.remove(book.active)
    for sheet in full.worksheets:
        if sheet.title not in ("Start", "Units", "Lists"):
            copy = book.create_sheet(sheet.title)
            for cell in (cell for row in sheet.iter_rows() for cell in row):
                if cell.value is not None or (cell.row < FIRST + 6 and cell.number_format != "General"):
                    copy.cell(cell.row, cell.column, cell.value).number_format = cell.number_format
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def opened() -> Any:
    return openpyxl.load_workbook(BytesIO(bare()))


def changed(folder: Path, change: Callable[[Any], None], name: str = "book.xlsx") -> Path:
    """The workbook that everybody starts from, bare, with ``change`` applied to it."""
    book = opened()
    change(book)
    path = folder / name
    book.save(path)
    return path


def cell_of(sheet: Any, row: str | int, title: str) -> Any:
    """The cell of a heading in a row: its number, or what stands in its first column."""
    columns = {cell.value: cell.column for cell in sheet[HEAD]}
    if isinstance(row, str):
        row = next(n for n in range(FIRST, sheet.max_row + 1) if sheet.cell(n, 1).value == row)
    return sheet.cell(row, columns[title])


def put(sheet: str, row: str | int, **cells: object) -> Callable[[Any], None]:
    """A change: other values in a row; '_' in a name stands for the blank in the heading."""

    def change(book: Any) -> None:
        for title, value in cells.items():
            cell_of(book[sheet], row, title.replace("_", " ")).value = value

    return change


def formatted(
    sheet: str, row: str | int, title: str, value: object, number_format: str
) -> Callable[[Any], None]:
    """A change: another value in a cell, with its number format."""

    def change(book: Any) -> None:
        cell = cell_of(book[sheet], row, title)
        cell.value, cell.number_format = value, number_format

    return change


def said(path: Path) -> list[str]:
    """Every problem of a workbook as it is printed, without the folder."""
    try:
        load_project(path)
    except InputError as error:
        return [str(problem).replace(f"{path.parent}/", "") for problem in error.problems]
    return []

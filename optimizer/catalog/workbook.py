"""Cells of a workbook (.xlsx): what a person sees in them, each with its place, and what cannot be read.

``open_workbook`` opens a file without trusting it: its parts are looked at first (``book_parts``), macros and
links are never followed. Formulas give the values that were stored with them.
"""

from __future__ import annotations

import importlib
import re
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from io import BytesIO
from pathlib import Path
from typing import Any

from optimizer.catalog.book_parts import first_line, look_at_the_parts, unreadable
from optimizer.errors import InputError, Problem

WORKBOOKS = (".xlsx", ".xlsm")
#: Letters that some spreadsheet programs read as one character (ISO/IEC 29500-1, 22.9.2.19, ST_Xstring).
ESCAPE = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
#: Files of spreadsheet programs that are not read, with the advice for each.
OTHER_BOOKS = {
    ".xls": "an old workbook",
    ".ods": "a workbook of another format",
    ".numbers": "a workbook of another format",
}
#: Rows of a sheet that are looked at; more than any list of offers has.
MOST_ROWS = 20_000
#: Cells of a sheet that are looked at, empty ones among them.
_MOST_CELLS = 1_000_000
#: XFD (ISO/IEC 29500-1, 18.3.1.13): a file may name columns behind it.
_LAST_COLUMN = 16_384
#: A number with one comma in it, at the start of a cell.
_COMMA = re.compile(r"(\s*[+-]?)(\d+),(\d+)(?![\d.,])")
#: Number formats with a fixed number of decimals, such as 0.00.
_DECIMALS = re.compile(r"#?,?#*0(?:\.(0+))?")
#: A comma behind the last digit: what is shown is a thousandth of the number (ISO/IEC 29500-1, 18.8.31).
_SCALED = re.compile(r"[0#?],+(?![0#?,])")
#: The sign of a currency in a number format: [$€-407], or as it is.
_MONEY = re.compile(r"\[\$([^\]-]+)|([€£¥$])(?![^\[]*\])")
#: Letters of a number format that are shown as they are (ISO/IEC 29500-1, 18.8.31).
_SHOWN = re.compile(r'"([^"]*)"|\\(.)')


@dataclass(frozen=True, slots=True)
class Cell:
    """A filled cell. row and column count from 1. format: its number format."""

    value: str | int | float | bool
    row: int
    column: int
    format: str = "General"

    @property
    def percent(self) -> bool:
        """Whether a number is shown as a percentage: not where % is only a letter behind it."""
        return isinstance(self.value, int | float) and "%" in _SHOWN.sub("", self.format)

    @property
    def behind(self) -> str:
        """What the number format shows beside the number: 'mm' for 0.0 "mm"."""
        return "".join(a or b for a, b in _SHOWN.findall(self.format.partition(";")[0])).strip()

    @property
    def in_thousands(self) -> bool:
        """Whether the number format shows 8 for 8000."""
        return bool(_SCALED.search(_SHOWN.sub("", self.format.partition(";")[0])))

    @property
    def money(self) -> str:
        """Sign or code of a currency in the number format, '' for none."""
        found = _MONEY.search(self.format.partition(";")[0])
        return (found[1] or found[2]).strip() if found else ""

    def number(self) -> str:
        """A number as text, to the last digit: 1.30 where the cell shows all its digits as 1.30, and '50 %'
        for 0.5 shown as a percentage."""
        if self.percent:
            hundred = Decimal(repr(self.value)) * 100
            return f"{hundred.normalize():f} %"
        found = _DECIMALS.fullmatch(self.format)
        if found and found[1]:
            fixed = f"{float(self.value):.{len(found[1])}f}"
            if float(fixed) == float(self.value):
                return fixed
        return repr(self.value)


def letters(column: int) -> str:
    """'A' from 1, 'AA' from 27."""
    text = ""
    while column > 0:
        column, rest = divmod(column - 1, 26)
        text = chr(ord("A") + rest) + text
    return text or "A"


def without_comma(text: str) -> tuple[str, str]:
    """``text`` with a decimal comma at its start made a point, and '' ; or what is unclear about it.

    A comma with three digits behind it may also group thousands.
    """
    match = _COMMA.match(text)
    if match is None:
        return text, ""
    sign, whole, part = match.groups()
    if len(part) == 3 and whole.strip("0"):
        return "", f"'{match[0].strip()}' may be {whole}.{part} or {whole}{part}"
    return f"{sign}{whole}.{part}{text[match.end() :]}", ""


#: What to do about a comma that is unclear.
COMMA_HINT = "write a decimal point, and nothing between thousands"


class Workbook:
    """An open file. shown: its name in messages. formulas: its sheets as they were written; values: the same
    with the stored values of formulas, opened when somebody asks."""

    def __init__(self, content: bytes, shown: str) -> None:
        self.content, self.shown = content, shown
        self.formulas = _opened(content, shown, data_only=False)

    @cached_property
    def values(self) -> Any:
        return _opened(self.content, self.shown, data_only=True)

    def cells(self, title: str) -> SheetCells:
        """The cells of the sheet with this title."""
        return SheetCells(self.formulas[title], lambda: self.values[title], f"{self.shown}!{title}")


def refuse_other_books(path: Path, shown: str) -> None:
    """InputError for a file of a spreadsheet program that is not read."""
    other = OTHER_BOOKS.get(path.suffix.lower())
    if other:
        raise InputError(Problem(f"is {other}", shown, hint="save it as .xlsx, or as CSV UTF-8"))


def open_workbook(path: Path, shown: str, *, read: Callable[[Path], bytes] = Path.read_bytes) -> Workbook:
    """Open ``path``; ``shown`` is its name in messages, ``read`` gives its bytes. Raises InputError for what
    is no workbook, is damaged, protected by a password, or holds more than any workbook of ours has."""
    try:
        content = read(path)
    except OSError as error:
        raise InputError(Problem(f"cannot be read: {error.strerror}", shown)) from None
    return opened_workbook(content, shown)


def opened_workbook(content: bytes, shown: str) -> Workbook:
    """``open_workbook`` for contents in memory."""
    look_at_the_parts(content, shown)
    return Workbook(content, shown)


def _opened(content: bytes, shown: str, data_only: bool) -> Any:
    openpyxl = importlib.import_module("openpyxl")  # only now: nobody else needs it
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about decorations that are not read
            return openpyxl.load_workbook(BytesIO(content), data_only=data_only)
    except Exception as error:  # the library lets every kind through on damaged files
        raise unreadable(first_line(error), shown) from None


def _filled(sheet: Any) -> Iterator[tuple[int, int]]:
    """Row and column of each cell with something in it. Asked for its rows, the library would make every cell
    up to the last, which may be a formatted one at the end of the sheet."""
    return (at for at, cell in sheet._cells.items() if cell.value is not None)


def is_filled(sheet: Any) -> bool:
    """Whether anything stands in the sheet."""
    return next(_filled(sheet), None) is not None


def _hides(shape: Any) -> bool:
    """Whether a row or column is hidden; one of a group that is folded has a sign that tells of it."""
    return bool(shape.hidden and not shape.outlineLevel)


class SheetCells:
    """The cells of a sheet as far as what a person sees is certain; ``problems``: what is not; ``unread``:
    row and column of the cells that could not be read."""

    def __init__(self, sheet: Any, values: Callable[[], Any], book: str) -> None:
        self.sheet, self.values, self.book = sheet, values, book
        self.problems: list[Problem] = []
        self.unread: set[tuple[int, int]] = set()
        self._told_hidden = False
        self._first: dict[tuple[int, int], tuple[int, int]] = {}
        self._last: dict[tuple[int, int], int] = {}
        self._wide: list[Any] = []
        shapes = [shape for shape in sheet.column_dimensions.values() if _hides(shape)]
        self._hidden = {n for s in shapes for n in range(s.min or 0, min(s.max or 0, _LAST_COLUMN) + 1)}
        for span in sheet.merged_cells.ranges:
            if span.min_col != span.max_col:
                self._wide.append(span)
            self._last[span.min_row, span.min_col] = span.max_row
            for row in range(span.min_row, min(span.max_row, MOST_ROWS) + 1):
                self._first[row, span.min_col] = span.min_row, span.min_col

    def refuse_wide_merges(self, top: int = 1) -> None:
        """Cells merged across columns from row ``top`` on are problems."""
        for span in self._wide:
            if span.max_row >= top:
                place = f"{self.book}!{letters(span.min_col)}{span.min_row}"
                hint = "split them; the first row with text names the columns"
                self.refuse(place, "cells are merged across columns", hint)

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns up to the last with something in it; (0, 0), and a problem, where there are too
        many."""
        filled = list(_filled(self.sheet))
        rows = max((self._last.get(at, at[0]) for at in filled), default=0)
        columns = max((column for _, column in filled), default=0)
        if rows > MOST_ROWS:
            self.refuse(self.book, f"the sheet has {rows} rows", "delete the empty rows below")
        elif rows * columns > _MOST_CELLS:
            self.refuse(
                self.book, f"the sheet has {columns} columns", "delete the empty columns at the right"
            )
        else:
            return rows, columns
        return 0, 0

    def rows(self) -> Iterator[list[Cell | None]]:
        """Every row from the first on."""
        rows, columns = self.size
        for row in range(1, rows + 1):
            yield [self.cell(row, column) for column in range(1, columns + 1)]

    def cell(self, row: int, column: int) -> Cell | None:
        """The cell, or the first of those merged with it down the column; None for an empty one and for one
        that cannot be read, which is a problem then."""
        home = self._first.get((row, column), (row, column))
        cell = self.sheet._cells.get(home)
        if cell is None:
            return None
        is_formula = cell.data_type == "f"
        if is_formula:
            cell = self.values().cell(*home)
        value = cell.value
        if value is None and (not is_formula or cell.data_type == "str"):
            return None  # of a formula: an empty text, as of IF(A1="","",A1)
        if isinstance(value, str | int | float) and cell.data_type != "e":
            return Cell(value, row, column, str(cell.number_format))
        said = "a date or time where text or a number belongs"
        hint = "format the cell as text and type it again"
        if value is None:
            said, hint = "a formula without a stored value", "save the file in a spreadsheet program"
        elif cell.data_type == "e":
            said, hint = f"the formula ends in the error {value}", "correct it"
        self.unread.add((row, column))
        self.refuse(f"{self.book}!{letters(home[1])}{home[0]}", said, hint)
        return None

    def refuse_hidden(self, row: int, column: int) -> None:
        """A cell with something in it in a hidden row or column is a problem, the first one of a sheet."""
        rows = self.sheet.row_dimensions
        what = "row" if row in rows and _hides(rows[row]) else "column" if column in self._hidden else ""
        if what and not self._told_hidden:
            self._told_hidden = True
            hint = "show what is hidden, and clear the filter if there is one; or delete what is in it"
            place = f"{self.book}!{letters(column)}{row}"
            self.refuse(place, f"the {what} is hidden, and something stands in it", hint)

    def text(self, cell: Cell | None) -> str:
        """The cell as text; a logical value is a problem."""
        if cell is None:
            return ""
        if isinstance(cell.value, bool):
            self.refuse_logical(cell)
            return ""
        if isinstance(cell.value, str):
            return " ".join(cell.value.split())
        return f"{100 * cell.value:.12g} %" if cell.percent else f"{cell.value:.15g}"

    def refuse_logical(self, cell: Cell) -> None:
        what = f"the logical value {str(cell.value).upper()} where text or a number belongs"
        self.refuse(f"{self.book}!{letters(cell.column)}{cell.row}", what, "")

    def refuse(self, place: str, message: str, hint: str) -> None:
        problem = Problem(message, place, hint=hint)
        if problem not in self.problems:
            self.problems.append(problem)

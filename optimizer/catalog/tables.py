"""Rows of text with their place: from CSV files and from entries written in the project file.

A table file is UTF-8 text: lines that start with ``#`` carry ``key: value`` facts about the whole file, then
one line of column names, then one row per line. Comma, semicolon and tab are accepted as separators
(spreadsheets write all three).
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from optimizer.errors import InputError, Problem

#: field name -> (line, column), both from 1, 0 when unknown
Place = Callable[[str], tuple[int, int]]


class Spot(NamedTuple):
    """Where something stands: line and column, both from 1, 0 when unknown; ``cell``: what it is called in a
    workbook, 'book.xlsx!Materials!C7', empty elsewhere."""

    line: int
    column: int
    cell: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: ``cells`` by column name (text, stripped), and how to point at a cell. start: the cell where
    it begins, of a workbook, 'book.xlsx!Materials!C7'."""

    cells: Mapping[str, str]
    file: str
    line: int
    place: Place = field(compare=False)
    start: str = ""

    def get(self, name: str) -> str:
        return self.cells.get(name, "")

    def problem(self, name: str, message: str, *, hint: str = "", offset: int = 0) -> Problem:
        """A problem at the cell ``name``; ``offset`` moves the column into the text of the cell."""
        line, column = self.place(name)
        return Problem(message, self.file, line, column + offset if column else 0, name, hint)

    @property
    def where(self) -> str:
        return self.start or (f"{self.file}:{self.line}" if self.line else self.file)

    @property
    def told(self) -> str:
        """The same, for whoever knows the file: 'line 7', 'Materials!C7'."""
        return self.start.removeprefix(f"{self.file}!") or f"line {self.line}"


@dataclass(frozen=True)
class Table:
    """A file: ``header`` facts (a key may repeat), ``head`` the line of column names, rows."""

    file: str
    header: tuple[tuple[str, str], ...]
    head: Row
    rows: tuple[Row, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(self.head.cells)

    def fact(self, key: str) -> str:
        """First header value of ``key``, empty when absent."""
        return next((value for name, value in self.header if name == key), "")


def read_table(path: Path, shown_as: str = "", *, read: Callable[[Path], bytes] = Path.read_bytes) -> Table:
    """Read one table file, whose bytes ``read`` gives; raises InputError with every malformed line."""
    name = shown_as or str(path)
    try:
        text = read(path).decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(Problem("there is no such file", file=name)) from None
    except UnicodeDecodeError:
        raise InputError(
            Problem("the file is not UTF-8 text", file=name, hint="save it as CSV UTF-8")
        ) from None
    except OSError as error:
        raise InputError(Problem(f"cannot be read: {error.strerror}", file=name)) from None
    return parse_table(text, name)


def parse_table(text: str, name: str) -> Table:
    """``read_table`` for text that is already in memory."""
    header: list[tuple[str, str]] = []
    columns: list[str] = []
    head: Row | None = None
    rows: list[Row] = []
    problems: list[Problem] = []
    delimiter = ","
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("#"):
            key, _, value = line.lstrip("# ").partition(":")
            header.append((key.strip(), value.strip()))
            continue
        if not line.strip(" ,;\t"):
            continue
        if not columns:
            delimiter = max(",;\t", key=line.count)
            columns = [cell.strip() for cell in _cells(line, delimiter)]
            problems += _column_problems(columns, line, delimiter, name, number)
            place = _csv_place(line, delimiter, columns, number)
            head = Row({column: column for column in columns}, name, number, place)
            continue
        cells = [cell.strip() for cell in _cells(line, delimiter)]
        extra = [cell for cell in cells[len(columns) :] if cell]
        if extra:
            problems.append(
                Problem(
                    f"{len(cells)} cells for {len(columns)} columns",
                    file=name,
                    line=number,
                    # a stray quotation mark can hide a delimiter
                    column=[*cell_starts(line, delimiter), 1][: len(columns) + 1][-1],
                    hint=f'put a cell that holds a "{delimiter}" in double quotes',
                )
            )
            continue
        place = _csv_place(line, delimiter, columns, number)
        rows.append(Row(dict(zip(columns, cells, strict=False)), name, number, place))
    if head is None:
        raise InputError(Problem("the table is empty", file=name, hint="the first line names the columns"))
    if problems:
        raise InputError(problems)
    return Table(name, tuple(header), head, tuple(rows))


def _cells(line: str, delimiter: str) -> list[str]:
    if '"' not in line:
        return line.split(delimiter)
    return next(csv.reader([line], delimiter=delimiter))


def _column_problems(columns: list[str], line: str, delimiter: str, name: str, number: int) -> list[Problem]:
    starts = cell_starts(line, delimiter)
    problems = []
    for i, column in enumerate(columns):
        if not column:
            problems.append(Problem("a column has no name", file=name, line=number, column=starts[i]))
        elif column in columns[:i]:
            problems.append(
                Problem(f"the column {column!r} stands twice", file=name, line=number, column=starts[i])
            )
    return problems


def cell_starts(line: str, delimiter: str) -> list[int]:
    """Column (from 1) at which the text of each cell starts; behind an opening quote and leading blanks."""
    starts = []
    quoted, fresh = False, True
    for i, char in enumerate(line):
        if fresh and not char.isspace():
            starts.append(i + 2 if char == '"' else i + 1)
            fresh = False
        if char == '"':
            quoted = not quoted
        elif char == delimiter and not quoted:
            if fresh:
                starts.append(i + 1)
            fresh = True
    if fresh:
        starts.append(len(line) + 1)
    return starts


def _csv_place(line: str, delimiter: str, columns: list[str], number: int) -> Place:
    def place(name: str) -> tuple[int, int]:
        starts = cell_starts(line, delimiter)
        if name in columns and columns.index(name) < len(starts):
            return number, starts[columns.index(name)]
        return number, 1

    return place

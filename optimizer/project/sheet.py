"""A CSV file as rows of cells with their places, and what is wrong with it: for weather and for thickness."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, field

from optimizer.catalog.tables import cell_starts
from optimizer.errors import Problem


@dataclass
class Findings:
    """Problems of one file; those of one kind in one column are one message with their number."""

    file: str
    found: dict[tuple[str, str], list[Problem]] = field(default_factory=dict)

    def add(
        self, kind: str, message: str, line: int = 0, column: int = 0, title: str = "", hint: str = ""
    ) -> None:
        problem = Problem(message, self.file, line, column, title, hint)
        self.found.setdefault((kind, title), []).append(problem)

    def problems(self) -> list[Problem]:
        """One for each kind and column, at its first place."""
        listed = []
        for first, *others in self.found.values():
            more = f"; {len(others)} more row{'s' if len(others) > 1 else ''} likewise" if others else ""
            listed.append(
                Problem(first.message + more, self.file, first.line, first.column, first.field, first.hint)
            )
        return listed


@dataclass(frozen=True)
class Sheet:
    """lines: of the file; head: line number of the headings; headings; numbers: line number of every row;
    rows: their cells, as many as headings or empty ones more."""

    lines: Sequence[str]
    delimiter: str
    head: int
    headings: list[str]
    numbers: list[int]
    rows: list[list[str]]

    def column(self, line: int, index: int) -> int:
        """Where a cell begins in its line, from 1; with a stray quotation mark the line itself."""
        starts = cell_starts(self.lines[line - 1], self.delimiter)
        return starts[index] if index < len(starts) else 1


def read_sheet(lines: Sequence[str], findings: Findings, first: int = 1) -> Sheet | None:
    """Rows and headings from line ``first`` on, None for an empty file.

    Lines that begin with '#' are remarks; comma, semicolon or tab between cells; rows of a wrong length are
    left out and told.
    """
    filled = [
        (n, line) for n, line in enumerate(lines, 1) if n >= first and line.strip(" ,;\t") and line[0] != "#"
    ]
    if not filled:
        findings.add("empty", "the file is empty", hint="the first line names the columns")
        return None
    head, heading = filled[0]
    delimiter = max(",;\t", key=heading.count)
    headings = _cells(heading, delimiter)
    while len(headings) > 1 and not headings[-1]:  # a spreadsheet may end its lines with separators
        headings.pop()
    sheet = Sheet(lines, delimiter, head, headings, [], [])
    for n, line in filled[1:]:
        cells = _cells(line, delimiter)
        if any(cells[len(headings) :]) or len(cells) < len(headings):
            said = f"{len(cells)} cell{'s' if len(cells) > 1 else ''} for {len(headings)} columns"
            hint = f"one '{delimiter}' between cells, and a decimal point: 12.5"
            findings.add("cells", said, n, 1, hint=hint)
        else:
            sheet.numbers.append(n)
            sheet.rows.append(cells)
    if len(filled) == 1:
        findings.add("rows", "has no rows below its headings", head)
    return sheet


def _cells(line: str, delimiter: str) -> list[str]:
    if '"' in line:
        try:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]
        except csv.Error:  # a cell longer than any number
            pass
    return [cell.strip() for cell in line.split(delimiter)]

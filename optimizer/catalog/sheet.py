"""A sheet that somebody filled in by hand: CSV or a workbook (.xlsx), as rows of text with their places.

Both give the same rows. In a CSV file a place is line and column of the text, in a workbook the name of the
cell (``offers.xlsx!Sheet!C7``). Column names are compared without case, blanks count as ``_``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from optimizer.catalog.tables import Row, Table, parse_table
from optimizer.catalog.workbook import (
    COMMA_HINT,
    WORKBOOKS,
    Workbook,
    is_filled,
    letters,
    open_workbook,
    refuse_other_books,
    without_comma,
)
from optimizer.errors import InputError, Problem


@dataclass(frozen=True, slots=True)
class SheetRow(Row):
    """A row that points at its cells by name where it comes from a workbook (``book``: 'file!sheet').

    titles: column name -> heading as written.
    """

    titles: Mapping[str, str] = field(default_factory=dict)
    book: str = ""

    def problem(self, name: str, message: str, *, hint: str = "", offset: int = 0) -> Problem:
        line, column = self.place(name)
        shown = self.titles.get(name, name)
        if self.book:
            return Problem(message, f"{self.book}!{letters(column)}{line}", field=shown, hint=hint)
        return Problem(message, self.file, line, column + offset if column else 0, shown, hint)


def read_sheet(
    path: Path,
    columns: Sequence[str],
    aliases: Mapping[str, str],
    name: str = "",
    *,
    read: Callable[[Path], bytes] = Path.read_bytes,
) -> tuple[tuple[SheetRow, ...], list[Problem]]:
    """Rows of the file with the columns ``columns`` (``aliases``: other headings for them), and what is
    wrong with the headings. ``name``: of the sheet looked for in a workbook with several; ``read``
    gives the bytes of the file.

    Raises InputError for a file that is no such sheet, with every cell that cannot be read.
    """
    shown = str(path)
    if path.is_dir():
        raise InputError(Problem("is a folder, not a sheet", shown, hint="give a .csv or .xlsx file"))
    if not path.exists():
        raise InputError(Problem("there is no such file", shown))
    refuse_other_books(path, shown)
    if path.suffix.lower() in WORKBOOKS:
        table, book = _workbook(path, shown, name, read)
    else:
        table, book = parse_table(_text(path, shown, read), shown), ""
    return _named(table, book, columns, aliases)


def decimal_point(row: SheetRow, names: Sequence[str], problems: list[Problem]) -> SheetRow:
    """The row with a decimal comma at the start of the named cells made a point.

    A comma with three digits behind it may also group thousands: then the cell is a problem.
    """
    cells = dict(row.cells)
    for name in (n for n in names if n in cells):
        cells[name], unclear = without_comma(cells[name])
        if unclear:
            problems.append(row.problem(name, unclear, hint=COMMA_HINT))
    return replace(row, cells=cells)


def _named(
    table: Table, book: str, columns: Sequence[str], aliases: Mapping[str, str]
) -> tuple[tuple[SheetRow, ...], list[Problem]]:
    """The rows under the names of ``columns``, and each heading that is none of them or comes twice."""
    problems: list[Problem] = []
    titles: dict[str, str] = {}
    known = [*columns, *aliases]
    head = SheetRow(table.head.cells, table.file, table.head.line, table.head.place, book=book)
    for heading in table.columns:
        plain = "_".join(heading.lower().split())
        name = aliases.get(plain, plain)
        if name not in columns:
            close = get_close_matches(plain, known, n=1, cutoff=0.6)
            hint = f"did you mean '{close[0]}'?" if close else "columns: " + ", ".join(columns)
            problems.append(head.problem(heading, "there is no such column", hint=hint))
        elif name in titles:
            problems.append(
                head.problem(heading, f"means the same as the column '{titles[name]}'", hint="keep one")
            )
        else:
            titles[name] = heading
    rows = []
    for row in table.rows:
        cells = {name: " ".join(row.get(heading).split()) for name, heading in titles.items()}
        start = f"{book}!A{row.line}" if book else ""
        rows.append(SheetRow(cells, row.file, row.line, _place(row, titles), start, titles, book))
    return tuple(rows), problems


def _place(row: Row, titles: Mapping[str, str]) -> Callable[[str], tuple[int, int]]:
    return lambda name: row.place(titles.get(name, ""))


# -- CSV -----------------------------------------------------------------------------------------------------


def _text(path: Path, shown: str, read: Callable[[Path], bytes]) -> str:
    """The text of a CSV file, made such that ``parse_table`` takes it; line numbers stay."""
    try:
        text = read(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        hint = "save it as 'CSV UTF-8', or give the .xlsx file"
        raise InputError(Problem("the file is not UTF-8 text", shown, hint=hint)) from None
    except OSError as error:
        raise InputError(Problem(f"cannot be read: {error.strerror}", shown)) from None
    lines = text.splitlines()
    problems = []
    headed = False
    for i, line in enumerate(lines):
        if line.startswith(("#", '"#')):
            lines[i] = ""
            continue
        if not headed and re.fullmatch(r'"?sep=.?"?', line.strip(), re.IGNORECASE):
            lines[i] = ""  # spreadsheets write this line to say what separates the cells
        elif not headed and line.strip(" ,;\t"):
            lines[i] = line.rstrip(" ,;\t")
            headed = True
        if line.count('"') % 2:
            problems.append(
                Problem(
                    "a quotation mark is not closed on its line",
                    shown,
                    i + 1,
                    line.index('"') + 1,
                    hint="a cell must not hold a line break",
                )
            )
            break  # what follows may be the rest of the cell
    if problems:
        raise InputError(problems)
    return "\n".join(lines)


# -- workbooks -----------------------------------------------------------------------------------------------


def _workbook(path: Path, shown: str, wanted: str, read: Callable[[Path], bytes]) -> tuple[Table, str]:
    """The sheet of a workbook as a table, and 'file!sheet'."""
    opened = open_workbook(path, shown, read=read)
    reader = opened.cells(_the_sheet(opened, wanted).title)
    reader.refuse_wide_merges()
    book = reader.book
    texts_of = ([reader.text(cell) for cell in row] for row in reader.rows())
    rows = [(n, texts) for n, texts in enumerate(texts_of, 1) if any(texts) and not _comment(texts)]
    if reader.problems:
        raise InputError(reader.problems)
    if not rows:
        raise InputError(Problem("the sheet is empty", book, hint="the first row names the columns"))
    (number, heading), *rest = rows
    columns: dict[str, int] = {}
    for i, text in enumerate(heading):
        if text:
            columns.setdefault(text, i)
    problems = [
        Problem(f"the column '{text}' stands twice", f"{book}!{letters(i + 1)}{number}")
        for i, text in enumerate(heading)
        if text and columns[text] != i
    ]
    for line, texts in rest:
        problems += [
            Problem("a cell without a column name above it", f"{book}!{letters(i + 1)}{line}")
            for i, text in enumerate(texts)
            if text and (i >= len(heading) or not heading[i])
        ]
        for i, text in enumerate(texts):
            if text:
                reader.refuse_hidden(line, i + 1)
    problems += reader.problems
    if problems:
        raise InputError(problems)
    head = Row({text: text for text in columns}, shown, number, _cell(number, columns))
    made = [
        Row(
            {text: texts[i] if i < len(texts) else "" for text, i in columns.items()},
            shown,
            line,
            _cell(line, columns),
        )
        for line, texts in rest
    ]
    return Table(shown, (), head, tuple(made)), book


def _comment(texts: Sequence[str]) -> bool:
    return next(filter(None, texts)).startswith("#")


def _cell(line: int, columns: Mapping[str, int]) -> Callable[[str], tuple[int, int]]:
    return lambda name: (line, columns.get(name, 0) + 1)


def _the_sheet(book: Workbook, wanted: str) -> Any:
    filled = [s for s in book.values.worksheets if s.sheet_state == "visible" and is_filled(s)]
    named = [s for s in filled if s.title.strip().lower() == wanted.lower()]
    if not filled:
        raise InputError(Problem("the workbook has no visible sheet with anything in it", book.shown))
    if len(filled) > 1 and not named:
        names = ", ".join(f"'{s.title}'" for s in filled)
        message = f"the workbook has several sheets: {names}"
        raise InputError(Problem(message, book.shown, hint=f"call the one to read '{wanted}'"))
    return (named or filled)[0]

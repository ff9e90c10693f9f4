"""A project as a workbook (.xlsx): read into the same ``Source`` as a YAML file, with cells for lines.

The sheets and columns are those of ``book_sheets``; ``layerwright template`` writes such a workbook.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from optimizer.catalog.workbook import (
    Cell,
    SheetCells,
    Workbook,
    is_filled,
    letters,
    opened_workbook,
    refuse_other_books,
)
from optimizer.errors import InputError, Problem
from optimizer.project.book_build import UNREAD, Line, Page, assemble
from optimizer.project.book_cells import clean
from optimizer.project.book_kind import ANSWER, OFFERS, other_than_project
from optimizer.project.book_layout import KEY, KEY_COLUMNS, NOT_READ, REMARKS, Column, KeySheet, TableSheet
from optimizer.project.book_sheets import SHEETS
from optimizer.project.source import Source
from optimizer.project.suggest import did_you_mean, nearest

#: Larger files are no project [bytes].
_MOST_BYTES = 20_000_000
#: Rows in which the headings are looked for.
_TOP = 30
#: What programs and people add to the name of a copy.
_COPY = re.compile(r"\s*(\(?\d+\)?|copy( \d+)?)$")
_BY_NAME = {sheet.name.lower(): sheet for sheet in SHEETS}
_TEMPLATE = "'layerwright template project.xlsx' writes one to start from"


def read_book(
    path: Path, shown: str | None = None, *, read: Callable[[Path], bytes] = Path.read_bytes
) -> Source:
    """Read the workbook at ``path``; ``shown`` is its name in messages, ``read`` gives its bytes.

    Raises InputError for a file that is no workbook or has no sheet of a project; what is wrong in its cells
    is listed in ``problems``, to be reported together with everything else.
    """
    name = shown if shown is not None else str(path)
    raw = _bytes(path, name, read)
    refuse_other_books(path, name)
    book = opened_workbook(raw, name)
    _refuse_others(book, name)
    source = Source(name, path, {}, hashlib.sha256(raw).hexdigest())
    pages = [page for sheet in _sheets(book, source) if (page := _page(book, *sheet, source)) is not None]
    if not pages:  # what is missing has no place then, and goes without saying
        empty = Problem("has no sheet of a project with anything in it", name, hint=_TEMPLATE)
        raise InputError(source.problems or empty)
    assemble(pages, source)
    return source


def _bytes(path: Path, name: str, read: Callable[[Path], bytes]) -> bytes:
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise InputError(Problem("is a folder, not a project file", name))
        if size > _MOST_BYTES:
            raise InputError(Problem(f"is {size} bytes long, too long for a project file", name))
        return read(path)
    except FileNotFoundError:
        raise InputError(Problem("there is no such file", name)) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(Problem(f"cannot be read: {reason}", name)) from None


def _refuse_others(book: Workbook, name: str) -> None:
    """One word about a workbook that is plainly something else, instead of one about each of its sheets."""
    kind = other_than_project(sheet.title for sheet in book.formulas.worksheets)
    if kind == ANSWER:
        hint = "give the project that it answers"
        raise InputError(Problem("is an answer written with --excel, not a project", name, hint=hint))
    if kind == OFFERS:
        raise InputError(Problem("is a sheet of offers, not a project", name, hint="give it to --offers"))


def _sheets(book: Workbook, source: Source) -> list[tuple[Any, KeySheet | TableSheet]]:
    """The sheets that are read, in the order of the layout; others are problems."""
    found: dict[str, tuple[Any, KeySheet | TableSheet]] = {}
    titles = [clean(sheet.title).lower() for sheet in book.formulas.worksheets]
    for sheet, title in zip(book.formulas.worksheets, titles, strict=True):
        if title in NOT_READ or title.startswith("#") or not is_filled(sheet):
            continue
        layout, said, hint = _layout_of(title, titles, sheet.sheet_state == "visible")
        if layout is not None and layout.name in found:
            said, hint = f"the sheet '{layout.name}' is there twice", "keep one"
        if said:
            source.problems.append(Problem(said, f"{source.file}!{sheet.title}", hint=hint))
        if layout is not None:
            found.setdefault(layout.name, (sheet, layout))
    return [found[s.name] for s in SHEETS if s.name in found]


def _layout_of(title: str, titles: list[str], visible: bool) -> tuple[KeySheet | TableSheet | None, str, str]:
    """What a sheet is by its title, or was meant to be; what is wrong with it, and what would be right."""
    layout = _BY_NAME.get(title)
    if layout is not None:
        hidden = "" if visible else "the sheet is hidden, and something stands in it"
        return layout, hidden, "show it, or delete what is in it"
    if not visible:
        return None, "", ""
    near = [
        name
        for name in get_close_matches(_COPY.sub("", title), _BY_NAME, n=1, cutoff=0.8)
        if name not in titles
    ]
    meant = _BY_NAME[near[0]] if near else None
    known = f"did you mean '{meant.name}'?" if meant else "sheets: " + ", ".join(s.name for s in SHEETS)
    hint = f"{known}; the name of a sheet of your own begins with #"
    return meant, "is not a sheet of a project", hint


def _page(book: Workbook, sheet: Any, layout: KeySheet | TableSheet, source: Source) -> Page | None:
    """The rows of a sheet below its headings; None, and a problem, where there are no headings."""
    cells = book.cells(sheet.title)
    columns = KEY_COLUMNS if isinstance(layout, KeySheet) else layout.columns
    rows, width = cells.size
    # what stands above the headings is not read, and cannot be wrong
    top = next((n for n in range(1, min(rows, _TOP) + 1) if _is_head(sheet, n, width, columns)), 0)
    if not top:
        known = ", ".join(column.title for column in columns[:6])
        hint = f"a row with the headings {known}, ..."
        source.problems += cells.problems or [Problem("the headings are missing", cells.book, hint=hint)]
        return None
    cells.refuse_wide_merges(top)
    # keys and units wait in rows of the template for what is not given; a filter may hide these
    telling = [c.title for c in columns if c.kind not in ("unit", "remark") and c.title != KEY]
    titles, misnamed = _titles(cells, top, width, columns)
    lines = []
    for row in range(top + 1, rows + 1):
        read = _filled(cells, row, width, misnamed)
        if read and not str(read[0].value).startswith("#"):
            lines.append(_line(cells, row, read, titles))
            for title, cell in lines[-1].cells.items():
                if title in telling:
                    cells.refuse_hidden(row, cell.column)
    source.problems += cells.problems
    numbers = {title: number for number, title in titles.items() if title}
    return Page(layout, sheet.title, top, numbers, tuple(line for line in lines if line.cells))


def _filled(cells: SheetCells, row: int, width: int, misnamed: set[int]) -> list[Cell]:
    """The cells of a row with something in them; those that cannot be read, or stand in columns with a wrong
    name, among them."""
    found = []
    for column in range(1, width + 1):
        cell = cells.cell(row, column)
        if (row, column) in cells.unread or (cell is not None and column in misnamed):
            found.append(Cell(UNREAD, row, column))
        elif cell is not None and (not isinstance(cell.value, str) or clean(cell.value)):
            found.append(cell)
    return found


def _plain(heading: object) -> str:
    return " ".join(clean(str(heading)).lower().replace("_", " ").split())


def _is_head(sheet: Any, row: int, width: int, columns: Sequence[Column]) -> bool:
    """Whether the row has headings: the first one or two of the table, and no more strange ones than
    known."""
    texts = [_plain(v) for v in (sheet.cell(row, i).value for i in range(1, width + 1)) if v is not None]
    known = sum(text in [column.title for column in columns] for text in texts)
    return known >= 2 and 2 * known >= len(texts)


def _titles(
    cells: SheetCells, row: int, width: int, columns: Sequence[Column]
) -> tuple[dict[int, str], set[int]]:
    """Title of each column by its number, '' for one that is not read; others are problems. Those of them
    that were meant for a column that is missing are the second answer."""
    titles: dict[int, str] = {}
    strange: dict[int, str] = {}
    known = [column.title for column in columns]
    for number in range(1, width + 1):
        cell = cells.cell(row, number)
        text = "" if cell is None else _plain(cell.value)
        if not text:
            continue
        place = f"{cells.book}!{letters(number)}{row}"
        if text in known and text not in titles.values():
            titles[number] = text
        elif text in known:
            cells.refuse(place, f"the column '{text}' stands twice", "keep one")
            titles[number] = ""
        elif text in REMARKS or text.startswith("#"):
            titles[number] = ""
        else:
            hint = did_you_mean(text, known, "columns") + "; a column of your own begins with #"
            cells.refuse(place, f"there is no column '{text}'", hint)
            strange[number] = text
    for number, text in strange.items():  # what it was meant to be is not missing
        meant = nearest(text, [title for title in known if title not in titles.values()], 1)
        titles[number] = meant[0] if meant else ""
    return titles, {number for number in strange if titles[number]}


def _line(cells: SheetCells, row: int, read: list[Cell], titles: dict[int, str]) -> Line:
    """The cells of a row by their titles; one without a heading above it is a problem."""
    line: dict[str, Cell] = {}
    for cell in read:
        if cell.column not in titles:
            if not str(cell.value).startswith("#"):
                place = f"{cells.book}!{letters(cell.column)}{row}"
                cells.refuse(
                    place,
                    "a cell without a heading above it",
                    "begin a remark with #, or write '# notes' above it",
                )
                titles[cell.column] = ""  # once for each column is enough
        elif titles[cell.column]:
            line[titles[cell.column]] = cell
    return Line(row, line)

"""Workbooks as spreadsheet people want them: the look, safe texts, tables, print settings, and the bytes.

    book = new_book(created, title="Bottle")         # no sheet yet
    sheet = add_sheet(book, "Layers", title="Bottle")  # print settings, head and foot of the page
    add_table(sheet, [Column("material"), Column("thickness (um)")], [["PET", 300.0]])
    data = saved(book)                               # the same bytes for the same contents and ``created``

Every text goes through ``put_text`` (or ``put``, which takes any value): it never becomes a formula, an
error value or a link. A CSV file cannot carry the mark that ensures this: a text that starts with = and is
exported to CSV is a formula again to a program that opens it there. The names of sheets are ours; never make
one from a text of the user. openpyxl is imported inside the functions: it takes a third of a second.
"""

from __future__ import annotations

import io
import textwrap
import zipfile
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from optimizer.catalog.workbook import letters
from optimizer.report.excel.cells import (
    Share,
    Value,
    even_pattern,
    finite,
    header_text,
    is_risky,
    pattern,
    plain_value,
    remark,
    safe_text,
    stored_text,
    utc,
)
from optimizer.report.figures import palette
from optimizer.report.figures.palette import opaque

#: Colours of headings, cells to fill in, lines, quiet words and the ground.
ACCENT, PALE, RULE, QUIET = map(
    opaque, (palette.ACCENT, palette.SHEET_PALE, palette.SHEET_LINE, palette.SHEET_SOFT)
)
GOOD, BAD, PAPER = map(opaque, (palette.GOOD, palette.BAD, palette.PAPER))
DATE, PER_CENT = "yyyy-mm-dd hh:mm", "0.00%"
#: Widths of columns, in characters.
NARROWEST, NUMBERS, WIDEST = 9.0, 12.0, 60.0
#: Width of all columns together that is still legible on one page.
LEGIBLE = 180.0
#: Font, its size and the height of a line of it, and the tallest row that programs allow [points].
FONT, SIZE, LINE, TALLEST = "Calibri", 11, 15.0, 409.0
_MAKER = "layerwright"
_CORE = "docProps/core.xml"


@dataclass(frozen=True)
class Column:
    """Heading of a table column. width [characters]: from the contents unless given. digits: significant
    digits that the number format shows. even: one number format for all of the column."""

    title: str
    width: float | None = None
    digits: int = 4
    even: bool = False


# -- book and sheets -----------------------------------------------------------------------------------------


def new_book(created: datetime | None = None, *, title: str = "", version: str = "", about: str = "") -> Any:
    """A workbook without a sheet. created: its date (now unless given; without a zone it is UTC); title,
    version and about go to its properties."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    found = book.properties
    found.created = found.modified = utc(created or datetime.now(UTC))
    found.creator = found.lastModifiedBy = f"{_MAKER} {version}".strip()
    found.title = safe_text(title)[:255] or None
    found.description = safe_text(about)[:255] or None
    return book


def add_sheet(book: Any, name: str, *, title: str = "", foot: str = "", landscape: bool = True) -> Any:
    """A sheet that prints one page wide on A4, with title and name at the head of the page, ``foot`` and the
    page number at its foot. name: ours, at most 31 characters; raises ValueError for one already used."""
    if name in book.sheetnames:
        raise ValueError(f"the sheet {name!r} exists already")
    sheet = book.create_sheet(name)
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    margins = sheet.page_margins
    margins.left = margins.right = 0.5
    margins.top = margins.bottom = 0.75
    sheet.oddHeader.left.text = header_text(title) or None
    sheet.oddHeader.right.text = header_text(name)
    sheet.oddFooter.left.text = header_text(foot) or None
    sheet.oddFooter.right.text = "Page &P of &N"
    return sheet


# -- cells ---------------------------------------------------------------------------------------------------


def put(cell: Any, value: Any, *, digits: int = 4, number_format: str = "") -> None:
    """Any value: text, number, time, yes or no for a bool; nothing for None and for what is not finite."""
    value = finite(plain_value(value))
    if value is None:
        return
    if isinstance(value, bool):
        put_text(cell, "yes" if value else "no")
    elif isinstance(value, str):
        put_text(cell, value)
    elif isinstance(value, datetime):
        cell.value, cell.number_format = value, number_format or DATE
    elif isinstance(value, Share):
        _put_number(cell, float(value), PER_CENT)
    else:
        _put_number(cell, value, number_format or pattern(value, digits))


def put_text(cell: Any, text: str) -> None:
    """A text that stays one: whatever it starts with, also after the cell was edited (quote prefix).
    The empty text leaves the cell empty."""
    if not text:
        return
    cell.value = stored_text(text)
    cell.data_type = "s"  # the library guesses formulas and error values from the text
    if is_risky(text):
        cell.quotePrefix = True


def _put_number(cell: Any, value: float, number_format: str) -> None:
    cell.value, cell.number_format = value, number_format
    if isinstance(value, float) and float(f"{value:.16g}") != value:
        # the library writes 16 digits; 17 may be needed to read the same number back
        cell.value, cell.data_type = repr(value), "n"


def link_to(cell: Any, name: str) -> None:
    """Makes the text of a cell lead to the sheet ``name`` of the same workbook; no address is stored."""
    from openpyxl.styles import Font
    from openpyxl.worksheet.hyperlink import Hyperlink

    text = str(cell.value)
    cell.hyperlink = Hyperlink(ref=cell.coordinate, location=f"'{name}'!A1", display=name)
    put_text(cell, text)
    cell.font = Font(name=FONT, size=SIZE, underline="single", color=ACCENT)


# -- tables --------------------------------------------------------------------------------------------------


def add_table(
    sheet: Any,
    columns: Sequence[Column],
    rows: Sequence[Sequence[Any]],
    *,
    top: int = 1,
) -> int:
    """A table whose headings stand in row ``top``, units with them in brackets or in a column, so that
    nothing stands between the headings and the data (a pivot table needs that). Returns the number of its
    last row.

    Headings stay in sight and are repeated on every page, and the columns can be filtered. A number that is
    not finite leaves its cell empty, and a column ``remark`` at the end says what it was. One table a sheet.
    """
    columns, rows = _with_remarks(columns, rows)
    held = [[row[i] for row in rows] for i in range(len(columns))]
    widths = _widths(columns, held)
    formats = [_even(column, values) for column, values in zip(columns, held, strict=True)]
    looks = _Looks(sheet)
    for c, (column, values) in enumerate(zip(columns, held, strict=True), 1):
        sheet.column_dimensions[letters(c)].width = widths[c - 1]
        looks.head(sheet.cell(top, c), column.title, _are_numbers(values))
    for r, row in enumerate(rows, top + 1):
        for c, (value, column) in enumerate(zip(row, columns, strict=True), 1):
            looks.fill(sheet.cell(r, c), value, column.digits, formats[c - 1])
        _set_height(sheet, r, row, widths)
    # headings are bold and share their cell with the button of the filter
    _set_height(sheet, top, [c.title for c in columns], [w / 1.1 - 3.0 for w in widths])
    last, letter = top + len(rows), letters(len(columns))
    sheet.freeze_panes = f"A{top + 1}"
    sheet.auto_filter.ref = f"A{top}:{letter}{last}"
    sheet.print_title_rows = f"{top}:{top}"
    sheet.print_area = f"A1:{letter}{last}"
    return last


def fitting(title: str, values: Sequence[Value] = (), widest: float = WIDEST) -> float:
    """Width of a column [characters]: its longest word in the heading (with the filter's button), its texts
    up to ``widest``, numbers as they are shown."""
    texts = [line for v in values if isinstance(v, str) for line in v.splitlines()]
    longest = max((len(text) for text in texts), default=0)
    dates = any(isinstance(v, datetime) for v in values)
    words = max((len(word) for word in title.split()), default=0)
    # a heading may wrap, but not into more than about three lines
    heading = max(min(words, 30) * 1.1 + 4, len(title) / 3 + 5)
    least = 18.0 if dates else NUMBERS if any(isinstance(v, float) for v in values) else NARROWEST
    return max(least, heading, min(longest * 1.1 + 2, widest))


def lines_in(text: str, width: float) -> int:
    """Lines that a text takes in a cell of that width [characters]."""
    fit = max(int(width - 1.0), 4)
    return sum(max(1, len(textwrap.wrap(line, fit))) for line in text.splitlines()) or 1


class _Looks:
    """Styles of the cells of a table: each is made once in the workbook and then copied, which is quick."""

    def __init__(self, sheet: Any) -> None:
        from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

        self._made: dict[tuple[str, bool], Any] = {}
        self._rule = Border(bottom=Side("thin", color=RULE))
        # texts stand off the numbers of the column before
        self._text = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
        self._number = Alignment(horizontal="right", vertical="top")
        self._fonts = {
            "heading": Font(name=FONT, size=SIZE, bold=True, color=PAPER),
        }
        self._fills = {
            "heading": PatternFill("solid", fgColor=ACCENT),
        }
        self._left = Alignment(horizontal="left", vertical="center", wrap_text=True, indent=1)
        # clear of the filter's button, which covers the right end of its cell
        self._beside = Alignment(horizontal="right", vertical="center", wrap_text=True, indent=2)

    def head(self, cell: Any, title: str, right: bool) -> None:
        """A heading with the button of the filter, over numbers to the right."""
        if title:
            put_text(cell, title)
        cell.font, cell.fill = self._fonts["heading"], self._fills["heading"]
        cell.alignment = self._beside if right else self._left

    def fill(self, cell: Any, value: Any, digits: int, number_format: str) -> None:
        put(cell, value, digits=digits, number_format=number_format)
        is_text = cell.data_type == "s"
        key = ("@text" if is_text else cell.number_format, is_text and bool(cell.quotePrefix))
        if key not in self._made:
            cell.border = self._rule
            cell.alignment = self._text if is_text else self._number
            self._made[key] = copy(cell._style)
        cell._style = copy(self._made[key])


def _with_remarks(
    columns: Sequence[Column], rows: Sequence[Sequence[Any]]
) -> tuple[list[Column], list[list[Any]]]:
    """The table with a column for what numbers that are not finite were, where there are any."""
    plain = [[plain_value(v) for v in row] for row in rows]
    found = []
    for row in plain:
        told = [(c.title, remark(v)) for c, v in zip(columns, row, strict=True)]
        found.append("; ".join(f"{title}: {what}" for title, what in told if what))
    if not any(found):
        return list(columns), plain
    return [*columns, Column("remark")], [
        [*row, text or None] for row, text in zip(plain, found, strict=True)
    ]


def _widths(columns: Sequence[Column], held: Sequence[Sequence[Value]]) -> list[float]:
    """Of all columns; texts wrap earlier where the table would be too wide to read when it is printed."""
    for widest in (WIDEST, 0.6 * WIDEST, 0.4 * WIDEST):
        widths = [c.width or fitting(c.title, v, widest) for c, v in zip(columns, held, strict=True)]
        if sum(widths) <= LEGIBLE:
            break
    return widths


def _are_numbers(values: Sequence[Value]) -> bool:
    """Whether a column holds numbers, and no text or time."""
    told = [v for v in values if v is not None]
    return bool(told) and all(isinstance(v, int | float) and not isinstance(v, bool) for v in told)


def _even(column: Column, values: Sequence[Value]) -> str:
    if not column.even:
        return ""
    numbers = [float(v) for v in values if isinstance(v, int | float) and not isinstance(v, bool)]
    return even_pattern(numbers, column.digits)


def _set_height(sheet: Any, row: int, values: Sequence[Value], widths: Sequence[float]) -> None:
    """Height for texts that wrap: not every program works it out when it opens the file."""
    lines = max(
        (lines_in(v, w) for v, w in zip(values, widths, strict=True) if isinstance(v, str)), default=1
    )
    if lines > 1:
        sheet.row_dimensions[row].height = min(lines * LINE, TALLEST)


# -- bytes ---------------------------------------------------------------------------------------------------


def saved(book: Any) -> bytes:
    """The workbook as the bytes of an .xlsx file: the same whenever contents and ``created`` are the same."""
    created = book.properties.created
    draft = io.BytesIO()
    book.save(draft)
    book.properties.modified = created  # saving sets it to now
    from openpyxl.xml.functions import tostring

    stamp = max(created, datetime(1980, 1, 1)).timetuple()[:6]  # the first day that a zip file can tell
    out = io.BytesIO()
    with zipfile.ZipFile(draft) as parts, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as fixed:
        for name in parts.namelist():
            data = tostring(book.properties.to_tree()) if name == _CORE else parts.read(name)
            entry = zipfile.ZipInfo(name, stamp)
            entry.compress_type = zipfile.ZIP_DEFLATED
            fixed.writestr(entry, data)
    return out.getvalue()

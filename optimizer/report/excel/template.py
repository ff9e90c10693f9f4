"""The workbook that a project starts from, or that a project is written to: ``template_workbook``.

Sheets, columns and keys are those of ``project/book_sheets``; ``project/book`` reads it back without loss.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from optimizer.catalog.workbook import letters
from optimizer.project.book_cells import Written
from optimizer.project.book_layout import (
    KEY,
    KEY_COLUMNS,
    MEANING,
    UNIT,
    UNIT_LISTS,
    VALUE,
    Column,
    Item,
    KeySheet,
    TableSheet,
)
from optimizer.project.book_path import path_text, read_path
from optimizer.project.book_sheets import SHEETS
from optimizer.project.book_write import Row, book_rows
from optimizer.project.starting import HEAD, starting_data
from optimizer.report.excel.lists import NAME as LISTS
from optimizer.report.excel.lists import OWN_LISTS, Lists
from optimizer.report.excel.style import (
    ACCENT,
    PALE,
    PAPER,
    QUIET,
    RULE,
    add_sheet,
    new_book,
    put_text,
    saved,
)
from optimizer.report.excel.template_notes import start_lines, unit_rows

#: Row of the headings of each sheet; above them its name and what it is for.
HEAD_ROW = 3
#: Empty rows below the last filled one of a table, with their lists and number formats.
_SPARE = 25
#: Of these so many are printed.
_PRINTED = 5
_FONT = "Calibri"
_WIDTHS = {KEY: 46.0, VALUE: 30.0, UNIT: 16.0, MEANING: 70.0}


def template_workbook(data: Mapping[str, Any] | None = None, *, created: datetime | None = None) -> bytes:
    """A project as the bytes of an .xlsx file, which ``load_project`` reads.

    data: plain contents of a project file (``Project.data``); None for the shipped example to start from,
    which is invented. created: the date of the file, now unless given.
    """
    given = starting_data() if data is None else data
    title = str(given.get("title", "Project"))
    book = new_book(created or datetime.now(UTC), title=title, about=HEAD if data is None else "")
    _start(book, title, example=data is None)
    lists = Lists(book, _shipped())
    heads = {sheet.name: sheet for sheet in SHEETS}
    for name, (sheet, heading) in OWN_LISTS.items():
        table = heads[sheet]
        assert isinstance(table, TableSheet)
        lists.names_are_in(name, sheet, letters(_titles(table.columns).index(heading) + 1), HEAD_ROW + 1)
    rows = book_rows(given)
    for layout in SHEETS:
        if isinstance(layout, KeySheet):
            _KeyWriter(book, layout, title, lists).write(rows[layout.name])
        else:
            _TableWriter(book, layout, title, lists).write(rows[layout.name])
    _units(book, title)
    book.move_sheet(LISTS, len(book.sheetnames))
    return saved(book)


def _shipped() -> list[str]:
    """Names of the materials of the shipped table."""
    from optimizer.catalog import load_catalog

    return sorted(load_catalog().names(), key=str.casefold)


def _titles(columns: Sequence[Column]) -> list[str]:
    return [column.title for column in columns]


class _Writer:
    """What both kinds of sheets share: headings with their remarks, cells, lists, print settings."""

    def __init__(self, book: Any, layout: Any, title: str, lists: Lists) -> None:
        from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

        self.layout, self.lists = layout, lists
        self.columns: tuple[Column, ...] = KEY_COLUMNS if isinstance(layout, KeySheet) else layout.columns
        self.numbers = {name: i for i, name in enumerate(_titles(self.columns), 1)}
        self.sheet = add_sheet(book, layout.name, title=title)
        rule = Border(bottom=Side("hair", color=RULE))
        left = Alignment(horizontal="left", vertical="top", wrap_text=True)
        self.looks: dict[str, dict[str, Any]] = {
            "head": {
                "font": Font(name=_FONT, bold=True, color=PAPER),
                "fill": PatternFill("solid", fgColor=ACCENT),
                "alignment": Alignment(horizontal="left", vertical="center", wrap_text=True),
            },
            "name": {"font": Font(name=_FONT, bold=True, size=14, color=ACCENT)},
            "about": {"font": Font(name=_FONT, italic=True, color=QUIET)},
            "text": {"border": rule, "alignment": left},
            "unit": {"border": rule, "alignment": Alignment(horizontal="left", vertical="top", indent=1)},
            "number": {"border": rule, "alignment": Alignment(horizontal="right", vertical="top")},
            "quiet": {"border": rule, "alignment": left, "font": Font(name=_FONT, color=QUIET)},
            "input": {"fill": PatternFill("solid", fgColor=PALE)},
        }
        self.heading()

    def look(self, cell: Any, *names: str) -> None:
        for name in names:
            for what, value in self.looks[name].items():
                setattr(cell, what, value)

    def heading(self) -> None:
        from openpyxl.comments import Comment

        put_text(self.sheet.cell(1, 1), self.layout.name)
        put_text(self.sheet.cell(2, 1), self.layout.about)
        self.look(self.sheet.cell(1, 1), "name")
        self.look(self.sheet.cell(2, 1), "about")
        for number, column in enumerate(self.columns, 1):
            cell = self.sheet.cell(HEAD_ROW, number)
            put_text(cell, column.title)
            self.look(cell, "head")
            if column.meaning:
                cell.comment = Comment(column.meaning, "layerwright", height=70, width=260)
        self.sheet.row_dimensions[HEAD_ROW].height = 46
        self.sheet.print_title_rows = f"{HEAD_ROW}:{HEAD_ROW}"

    def put(self, row: int, title: str, written: Written) -> None:
        cell = self.sheet.cell(row, self.numbers[title])
        if isinstance(written.value, str):
            put_text(cell, written.value)
            self.look(cell, "unit" if self.columns[self.numbers[title] - 1].kind == "unit" else "text")
        else:
            cell.value = written.value
            self.look(cell, "number")
        if written.format != "General":
            cell.number_format = written.format

    def offer(self, name: str, cells: str) -> None:
        """A drop-down list; what is not in it may be typed all the same."""
        from openpyxl.worksheet.datavalidation import DataValidation

        rule = DataValidation("list", formula1=self.lists.formula(name), allow_blank=True)
        rule.showErrorMessage = False
        rule.add(cells)
        self.sheet.add_data_validation(rule)

    def finish(self, last: int, frozen: str) -> None:
        self.sheet.freeze_panes = frozen
        # as wide as the table, and as the line above it
        wide, room = 0, 1.1 * len(self.layout.about)
        while wide < len(self.columns) or room > 0.0:
            wide += 1
            shape = self.sheet.column_dimensions[letters(wide)]
            room -= 0.0 if shape.hidden else shape.width
        self.sheet.print_area = f"A1:{letters(wide)}{last}"


class _KeyWriter(_Writer):
    """One row for each key: those given, and empty ones for all others that the sheet knows."""

    layout: KeySheet

    def write(self, rows: list[Row]) -> None:
        number = HEAD_ROW
        for row, item in self.listed(rows):
            number += 1
            self.row(number, row, item)
        for title, width in _WIDTHS.items():
            self.sheet.column_dimensions[letters(self.numbers[title])].width = width
        last = number
        for spare in range(number + 1, number + 1 + _SPARE if not self.layout.items else number + 1):
            for title in (KEY, VALUE, UNIT):
                self.look(self.sheet.cell(spare, self.numbers[title]), "text")
            last = number + _PRINTED
        self.finish(last, f"C{HEAD_ROW + 1}")

    def listed(self, rows: list[Row]) -> list[tuple[Row, Item | None]]:
        """The rows in the order of the sheet, with empty ones between them; others at the end."""
        waiting = [(row, self.item(row)) for row in rows]
        found: list[tuple[Row, Item | None]] = []
        for item in self.layout.items:
            own = [(row, its) for row, its in waiting if its is item]
            found += own
            given = {str(row[KEY].value) for row, _ in own}
            if "*" in item.path:
                names = [".".join(name if s == "*" else s for s in item.path) for name in item.names]
            else:
                names = [".".join(item.path)] * (1 if item.several or not own else 0)
            found += [(self.empty(name, item), item) for name in names if item.several or name not in given]
        return found + [(row, None) for row, its in waiting if its is None]

    def item(self, row: Row) -> Item | None:
        path = read_path(str(row[KEY].value))
        return None if path is None else self.layout.item((*self.layout.prefix, *path))

    @staticmethod
    def empty(name: str, item: Item) -> Row:
        row = {KEY: Written(path_text(read_path(name) or ()))}
        if item.units:
            row[UNIT] = Written(UNIT_LISTS[item.units][0])
        return row

    def row(self, number: int, row: Row, item: Item | None) -> None:
        for title, written in row.items():
            self.put(number, title, written)
        if item is not None:
            self.put(number, MEANING, Written(item.meaning))
        value, unit = (self.sheet.cell(number, self.numbers[title]) for title in (VALUE, UNIT))
        self.look(self.sheet.cell(number, self.numbers[KEY]), "text")
        self.look(self.sheet.cell(number, self.numbers[MEANING]), "quiet")
        self.look(unit, *(() if VALUE in row else ("quiet",)), "unit")
        self.look(value, "input", "text")
        if item is None:
            return
        if item.kind == "text":
            value.number_format = "@"
        for name, cell in ((item.words, value), (item.units, unit)):
            if name:
                self.offer("own materials" if name == "materials" else name, cell.coordinate)


class _TableWriter(_Writer):
    """One row for each thing, and spare rows below."""

    layout: TableSheet

    def write(self, rows: list[Row]) -> None:
        for number, row in enumerate(rows, HEAD_ROW + 1):
            for title, written in row.items():
                self.put(number, title, written)
        filled = HEAD_ROW + len(rows)
        used = {title for row in rows for title in row}
        for column in self.columns:
            self.column(column, rows, filled, column.title in used)
            if column.title in self.layout.rare and column.title not in used:
                shape = self.sheet.column_dimensions[letters(self.numbers[column.title])]
                shape.outlineLevel, shape.hidden = 1, True
        self.finish(filled + _PRINTED, f"B{HEAD_ROW + 1}")

    def column(self, column: Column, rows: list[Row], filled: int, used: bool) -> None:
        number = self.numbers[column.title]
        letter, last = letters(number), filled + _SPARE
        common = self.usual_unit(column, rows) if used else ""
        for row in range(HEAD_ROW + 1, last + 1):
            cell = self.sheet.cell(row, number)
            if cell.value is None:
                self.look(cell, *(("quiet", "unit") if common else ("text",)))
                if common and row > filled:
                    put_text(cell, common)
            if column.kind == "text":
                cell.number_format = "@"
            elif column.kind == "percent" and cell.value is None:
                cell.number_format = "0%"
        name = column.units or column.words
        if name == "materials" and self.layout.name != "Materials":
            name = "own materials"
        if name:
            self.offer(name, f"{letter}{HEAD_ROW + 1}:{letter}{last}")
        texts = [str(row[column.title].value) for row in rows if column.title in row]
        words = max(len(word) for word in column.title.split())
        longest = max([words + 2, len(column.title) / 2 + 2, *(min(len(text), 34) + 2 for text in texts)])
        self.sheet.column_dimensions[letter].width = max(9.5, longest)

    @staticmethod
    def usual_unit(column: Column, rows: list[Row]) -> str:
        """The unit that most rows have, for the spare ones; they count only where a number is beside it."""
        units = [str(row[column.title].value) for row in rows if column.title in row]
        return max(dict.fromkeys(units), key=units.count) if column.kind == "unit" else ""


def _start(book: Any, title: str, example: bool) -> None:
    from openpyxl.styles import Alignment, Font

    sheet = add_sheet(book, "Start", title=title, landscape=False)
    sheet.column_dimensions["A"].width = 22
    sheet.column_dimensions["B"].width = 78
    for number, (name, text) in enumerate(start_lines(title, HEAD if example else ""), 1):
        first, second = sheet.cell(number, 1), sheet.cell(number, 2)
        if name:
            put_text(first, name)
        if text:
            put_text(second, text)
        first.font = Font(name=_FONT, bold=True, color=ACCENT, size=16 if number == 1 else 11)
        first.alignment = Alignment(vertical="top", wrap_text=number > 1)
        second.alignment = Alignment(vertical="top", wrap_text=True)
        # programs that only read the file do not fit the height to the text
        sheet.row_dimensions[number].height = 22.0 if number == 1 else 15.0 * (len(text) // 78 + 1)
    sheet.sheet_view.showGridLines = False
    sheet.print_area = f"A1:B{number}"


def _units(book: Any, title: str) -> None:
    from optimizer.report.excel.style import Column as Heading
    from optimizer.report.excel.style import add_table

    sheet = add_sheet(book, "Units", title=title)
    headings = [Heading("kind", 34), Heading("units", 58), Heading("examples", 60), Heading("remark", 44)]
    add_table(sheet, headings, unit_rows())

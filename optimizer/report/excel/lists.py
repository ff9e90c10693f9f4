"""The hidden sheet of a project workbook that its drop-down lists come from."""

from __future__ import annotations

from typing import Any

from optimizer.catalog.workbook import letters
from optimizer.project.book_layout import UNIT_LISTS, WORD_LISTS
from optimizer.report.excel.style import put_text

NAME = "Lists"
#: Rows of the workbook's own materials, walls and parts that are listed.
_OWN = 60
#: Names of the workbook: list -> (sheet, heading of the column with them).
OWN_LISTS = {
    "walls": ("Layers", "wall"),
    "parts": ("Parts", "part"),
    "own materials": ("Materials", "material"),
}


class Lists:
    """The sheet, filled column by column as lists are asked for. heads: row of the headings by sheet."""

    def __init__(self, book: Any, shipped: list[str]) -> None:
        self.sheet = book.create_sheet(NAME)
        self.sheet.sheet_state = "hidden"
        self.shipped = shipped
        self.own: dict[str, tuple[str, str, int]] = {}
        self._made: dict[str, str] = {}
        self._column = 0

    def names_are_in(self, name: str, sheet: str, letter: str, first: int) -> None:
        """Where the workbook has its own names: in a column of a sheet, from the row ``first`` on."""
        self.own[name] = (sheet, letter, first)

    def formula(self, name: str) -> str:
        """The range of a list, as a drop-down list takes it."""
        if name not in self._made:
            self._made[name] = self._make(name)
        return self._made[name]

    def _make(self, name: str) -> str:
        if name in self.own:
            return self._own_names(name)
        if name == "materials":
            return self._fixed(name, self.shipped)
        return self._fixed(name, list(UNIT_LISTS.get(name) or WORD_LISTS[name]))

    def _next(self, heading: str) -> tuple[int, str]:
        self._column += 1
        put_text(self.sheet.cell(1, self._column), heading)
        return self._column, letters(self._column)

    def _fixed(self, name: str, words: list[str]) -> str:
        column, letter = self._next(name)
        for row, word in enumerate(words, 2):
            put_text(self.sheet.cell(row, column), word)
        return f"{NAME}!${letter}$2:${letter}${len(words) + 1}"

    def _own_names(self, name: str) -> str:
        """Each name once, in its order, by two columns of formulas: its number, and the names by number.

        The shipped materials follow those of the workbook."""
        sheet, source, first = self.own[name]
        numbers, n = self._next(f"{name}: number")
        names, letter = self._next(name)
        last = first + _OWN - 1
        for row in range(2, _OWN + 2):
            here = f"{sheet}!${source}${first + row - 2}"
            above = f"{sheet}!${source}${first}:{source}${first + row - 2}"
            self.sheet.cell(
                row, numbers
            ).value = f'=IF({here}="","",IF(COUNTIF({above},{here})>1,"",MAX(${n}$1:{n}{row - 1})+1))'
            match = f"MATCH(ROW()-1,${n}$2:${n}${_OWN + 1},0)"
            self.sheet.cell(
                row, names
            ).value = f'=IFERROR(INDEX({sheet}!${source}${first}:${source}${last},{match}),"")'
        return f"{NAME}!${letter}$2:${letter}${_OWN + 1}"

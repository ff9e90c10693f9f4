"""A page of terminal text, built block by block and laid out at the end."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

INDENT = 2


@dataclass(frozen=True)
class Column:
    """Heading of a table column; numbers stand to the right; ``keep`` columns are not wrapped."""

    title: str
    number: bool = False
    keep: bool = False


def number(title: str) -> Column:
    return Column(title, number=True, keep=True)


def word(title: str) -> Column:
    return Column(title, keep=True)


class Page:
    """Lines, headings, lists and tables in order; ``text`` lays them out."""

    def __init__(self) -> None:
        self._blocks: list[Text | Padding] = []

    def line(self, text: str = "", style: str = "") -> Page:
        self._blocks.append(Text(text, style=style))
        return self

    def indented(self, text: str) -> Page:
        self._blocks.append(Padding(Text(text), (0, 0, 0, INDENT)))
        return self

    def raw(self, text: str) -> Page:
        """A line that is never wrapped, for places in files that editors jump to."""
        self._blocks.append(Text(text, no_wrap=True, overflow="ignore"))
        return self

    def verdict(self, text: str, good: bool) -> Page:
        """The answer in one sentence; the first word says yes or no also without colour."""
        return self.line(text, "bold green" if good else "bold red")

    def heading(self, text: str) -> Page:
        return self.line().line(text, "bold")

    def bullets(self, title: str, items: Iterable[str]) -> Page:
        """A titled list, or nothing when there is nothing to list."""
        items = list(items)
        if items:
            self.heading(title)
        for item in items:
            self.hanging("-", item)
        return self

    def hanging(self, mark: str, text: str) -> Page:
        """A mark with the text beside it, also where the text takes several lines."""
        grid = Table.grid(padding=0)
        grid.add_column(width=len(mark) + 1)
        grid.add_column(overflow="fold")
        grid.add_row(Text(mark), Text(text))
        self._blocks.append(Padding(grid, (0, 0, 0, INDENT)))
        return self

    def table(self, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> Page:
        """Columns that hold nothing in any row are left out."""
        rows = [list(row) for row in rows]
        used = [i for i in range(len(columns)) if any(row[i] for row in rows)]
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        for i in used:
            column = columns[i]
            table.add_column(
                Text(column.title),
                justify="right" if column.number else "left",
                no_wrap=column.keep,
                overflow="fold",
            )
        for row in rows:
            table.add_row(*(Text(row[i]) for i in used))
        self._blocks.append(Padding(table, (0, 0, 0, INDENT)))
        return self

    def text(self, width: int = 80, colour: bool = False) -> str:
        """The page as text of at most ``width`` columns; ``colour`` adds terminal styles."""
        out = io.StringIO()
        console = Console(
            file=out,
            width=width,
            force_terminal=colour,
            color_system="standard" if colour else None,
            no_color=not colour,
            highlight=False,
            markup=False,
            emoji=False,
            legacy_windows=False,
            _environ={},
        )
        for block in self._blocks:
            console.print(block, soft_wrap=isinstance(block, Text) and bool(block.no_wrap))
        return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"

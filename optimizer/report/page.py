"""A page of an answer, block by block: laid out as terminal text here, and as HTML in ``report.html``."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.padding import Padding
    from rich.text import Text

INDENT = 2
#: Blanks between two columns, and the least width of a column whose texts are wrapped.
_GAP, _LEAST = 2, 10


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


@dataclass(frozen=True)
class Line:
    """A paragraph; the empty text is an empty line. style: '' or 'bold'."""

    text: str
    style: str = ""


@dataclass(frozen=True)
class Verdict:
    """The answer in one sentence, and whether it is a yes."""

    text: str
    good: bool


@dataclass(frozen=True)
class Heading:
    text: str


@dataclass(frozen=True)
class Indented:
    """A note to what stands above it."""

    text: str


@dataclass(frozen=True)
class Raw:
    """A line that is never wrapped: a place in a file that editors jump to, or lines of such a file."""

    text: str


@dataclass(frozen=True)
class Item:
    """A mark with the text beside it."""

    mark: str
    text: str


@dataclass(frozen=True)
class Rows:
    """A table; columns that hold nothing in any row are not in it."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


Block = Line | Verdict | Heading | Indented | Raw | Item | Rows


class Page:
    """Lines, headings, lists and tables in order; ``text`` lays them out for a terminal."""

    def __init__(self, blocks: Iterable[Block] = ()) -> None:
        self._blocks = list(blocks)

    @property
    def blocks(self) -> tuple[Block, ...]:
        return tuple(self._blocks)

    def line(self, text: str = "", style: str = "") -> Page:
        self._blocks.append(Line(text, style))
        return self

    def indented(self, text: str) -> Page:
        self._blocks.append(Indented(text))
        return self

    def raw(self, text: str) -> Page:
        """A line that is never wrapped, for places in files that editors jump to."""
        self._blocks.append(Raw(text))
        return self

    def verdict(self, text: str, good: bool) -> Page:
        """The answer in one sentence; the first word says yes or no also without colour."""
        self._blocks.append(Verdict(text, good))
        return self

    def heading(self, text: str) -> Page:
        self._blocks.append(Heading(text))
        return self

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
        self._blocks.append(Item(mark, text))
        return self

    def table(self, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> Page:
        """Columns that hold nothing in any row are left out."""
        rows = [tuple(row) for row in rows]
        used = [i for i in range(len(columns)) if any(row[i] for row in rows)]
        kept = tuple(tuple(row[i] for i in used) for row in rows)
        self._blocks.append(Rows(tuple(columns[i] for i in used), kept))
        return self

    def text(self, width: int = 80, colour: bool = False) -> str:
        """The page as text of at most ``width`` columns; ``colour`` adds terminal styles."""
        from rich.console import Console

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
            if isinstance(block, Heading):
                console.print()
            for part in _listed(block, width) if isinstance(block, Rows) else (block,):
                console.print(_laid_out(part), soft_wrap=isinstance(part, Raw))
        return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def _listed(table: Rows, width: int) -> tuple[Block, ...]:
    """The table; where it does not fit its rows as items, for a column that is squeezed out is lost."""
    from rich.cells import cell_len

    least = 0
    for place, column in enumerate(table.columns):
        cells = [column.title, *(row[place] for row in table.rows)]
        parts = cells if column.keep else [word for cell in cells for word in cell.split()]
        longest = max(map(cell_len, parts), default=0)
        least += longest if column.keep else min(longest, _LEAST)
    if INDENT + least + _GAP * (len(table.columns) - 1) <= width:
        return (table,)
    titles = [f"{column.title}: " if column.title else "" for column in table.columns]
    rows = [[title + cell for title, cell in zip(titles, row, strict=True) if cell] for row in table.rows]
    return tuple(Item("-", "; ".join(row)) for row in rows)


def _laid_out(block: Block) -> Text | Padding:
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    if isinstance(block, Line):
        return Text(block.text, style=block.style)
    if isinstance(block, Verdict):
        return Text(block.text, style="bold green" if block.good else "bold red")
    if isinstance(block, Heading):
        return Text(block.text, style="bold")
    if isinstance(block, Raw):
        return Text(block.text, no_wrap=True, overflow="ignore")
    if isinstance(block, Indented):
        return Padding(Text(block.text), (0, 0, 0, INDENT))
    if isinstance(block, Item):
        table = Table.grid(padding=0)
        table.add_column(width=len(block.mark) + 1)
        table.add_column(overflow="fold")
        table.add_row(Text(block.mark), Text(block.text))
        return Padding(table, (0, 0, 0, INDENT))
    table = Table(box=None, pad_edge=False, padding=(0, _GAP, 0, 0), header_style="dim")
    for column in block.columns:
        table.add_column(
            Text(column.title),
            justify="right" if column.number else "left",
            no_wrap=column.keep,
            overflow="fold",
        )
    for row in block.rows:
        table.add_row(*(Text(cell) for cell in row))
    return Padding(table, (0, 0, 0, INDENT))

"""How much paper words take, so that the first page of a report fits one sheet with no script to measure it.

The sizes are those of ``@media print`` in templates/report.css. Widths of letters are those of a wide font,
so with other fonts a page is less full.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from optimizer.report.figures.lettering import width

#: Printable on both A4 and US letter with the margins of report.css [mm], less a line for rounding.
SHEET_WIDTH, SHEET_HEIGHT = 180.0, 252.0
_POINT = 25.4 / 72.0


@dataclass(frozen=True)
class Type:
    """A size of letters [pt], the width of its lines and the distance between them [mm]."""

    size: float
    room: float
    bold: bool = False
    leading: float = 1.3

    @property
    def line(self) -> float:
        return self.size * _POINT * self.leading


def lines(text: str, kind: Type) -> int:
    """Lines that a paragraph takes, at least one; long words break anywhere."""
    count, filled = 1, 0.0
    blank = _millimetres(" ", kind)
    for word in text.split():
        own = _millimetres(word, kind)
        if filled and filled + blank + own > kind.room:
            count, filled = count + 1, 0.0
        filled += own + (blank if filled else 0.0)
        while filled > kind.room:
            count, filled = count + 1, filled - 0.95 * kind.room
    return count


def cut(text: str, kind: Type, most: int) -> str:
    """The text, or its beginning and '...' if it takes more than ``most`` lines."""
    text = " ".join(text.split())
    if lines(text, kind) <= most:
        return text
    low, high = 0, len(text)
    while low < high - 1:
        middle = (low + high) // 2
        low, high = (middle, high) if lines(f"{text[:middle]}...", kind) <= most else (low, middle)
    return f"{text[:low].rstrip(' ,;:')}..."


def first_of(items: Iterable[str], kind: Type, most: int, each: int) -> tuple[tuple[str, ...], int]:
    """Items from the first on that take at most ``most`` lines in all and ``each`` lines one, and how many
    are left out; what says so takes a line too. At least one is shown."""
    short = [cut(item, kind, each) for item in items]
    need = [lines(item, kind) for item in short]
    shown = fitting(need, most)
    return tuple(short[:shown]), len(short) - shown


def fitting(need: Sequence[float], room: float, more: float = 1.0) -> int:
    """How many of the first fit in ``room``, where ``more`` says that some are left out; never 0."""
    if sum(need) <= room:
        return len(need)
    shown, filled = 0, more
    for own in need:
        filled += own
        if filled > room:
            break
        shown += 1
    return min(max(shown, 1), len(need))


def _millimetres(text: str, kind: Type) -> float:
    return width(text, kind.size * _POINT, kind.bold)

"""Keys below a plot: what its lines, hatches and numbers stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.report import svg
from optimizer.report.figures import palette
from optimizer.report.figures.canvas import LINE, WIDTH, lines, words
from optimizer.report.figures.lettering import SMALL, width

_SAMPLE, _GAP = 34.0, 18.0
_LEFT = 8.0


@dataclass(frozen=True)
class Entry:
    """sample: drawn with its left end at 0 and its middle at height 0, 28 wide; '' for a number: it is
    written as ``lead``."""

    name: str
    sample: str = ""
    lead: str = ""


def key(entries: Sequence[Entry], top: float, left: float = _LEFT) -> tuple[str, float]:
    """Entries side by side, as many in a row as fit; and the height they take."""
    drawn, x, y = "", left, top
    for entry in entries:
        lead = _SAMPLE if entry.sample else width(entry.lead, SMALL, bold=True) + 7.0
        wide = lead + min(width(entry.name, SMALL), WIDTH - left - lead - 8.0)
        if x > left and x + wide > WIDTH - 8.0:
            x, y = left, y + LINE + 2
        drawn += _entry(entry, x, y + 13, lead, WIDTH - 8.0 - x - lead)
        x += wide + _GAP
    return drawn, (y - top + LINE + 4.0 if entries else 0.0)


def _entry(entry: Entry, x: float, y: float, lead: float, room: float) -> str:
    if entry.sample:
        shift = f"translate({svg.number(x)} {svg.number(y - 4)})"
        first = svg.element("g", entry.sample, transform=shift)
    else:
        first = words(x, y, entry.lead, lead, bold=True, size=SMALL)
    return first + words(x + lead, y, entry.name, room, size=SMALL)


def remarks(texts: Sequence[str], top: float) -> tuple[str, float]:
    """Sentences below each other, two lines at most for each; and the height they take."""
    drawn, y = "", top
    for text in texts:
        part, after = lines(_LEFT, y + 13, text, WIDTH - 2 * _LEFT, 2, fill=palette.SOFT)
        drawn, y = drawn + part, after - 13 + 2
    return drawn, (y - top + 2.0 if texts else 0.0)

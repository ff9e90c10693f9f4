"""Where words go so that none covers another, a mark or a line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Box:
    """A rectangle [px], y downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def within(self, other: Box) -> bool:
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.top >= other.top
            and self.bottom <= other.bottom
        )


@dataclass
class Taken:
    """What is already on the sheet: boxes that words must not meet, and points of lines they had better not.
    Filled while a figure is drawn."""

    frame: Box
    boxes: list[Box] = field(default_factory=list)
    points: list[tuple[float, float]] = field(default_factory=list)

    def free(self, candidates: Iterable[Box], clear: bool) -> Box | None:
        """The candidate with the fewest points of lines under it among those that meet no box; None for none.
        clear: none of those with a point under it either."""
        best: tuple[int, Box] | None = None
        for box in candidates:
            if not box.within(self.frame) or any(box.meets(x) for x in self.boxes):
                continue
            under = sum(
                1 for x, y in self.points if box.left <= x <= box.right and box.top <= y <= box.bottom
            )
            if under == 0:
                return box
            if not clear and (best is None or under < best[0]):
                best = under, box
        return best[1] if best else None


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Middles of things of those sizes along a line from low to high, in the order of ``wanted`` (ascending),
    as near to the wanted middles as goes without one upon another (least squares, by pooling adjacent
    violators). Where they do not fit they run beyond ``high``."""
    offset, total = [], 0.0
    for size in sizes:
        offset.append(total + size / 2)
        total += size
    blocks: list[list[float]] = []  # sum of starts, number
    for want, shift in zip(wanted, offset, strict=True):
        blocks.append([want - shift, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            value, number = blocks.pop()
            blocks[-1][0] += value
            blocks[-1][1] += number
    starts = [value / number for value, number in blocks for _ in range(int(number))]
    last = max(low, high - total)
    return [min(max(start, low), last) + shift for start, shift in zip(starts, offset, strict=True)]


@dataclass(frozen=True)
class Flag:
    """Words at the top of an upright line: row 0 is nearest to the plot."""

    row: int
    left: float
    right: float


def flags(places: Sequence[float], widths: Sequence[float], low: float, high: float) -> list[Flag]:
    """Rows for the words of upright lines at ``places`` [px], so that no words meet and no line goes through
    the words of another, where that can be. Words stand right of their line, left of it near ``high``."""
    found: dict[int, Flag] = {}
    turned = [x + w + 5.0 > high for x, w in zip(places, widths, strict=True)]
    right_first = sorted((k for k in range(len(places)) if not turned[k]), key=lambda k: -places[k])
    left_first = sorted((k for k in range(len(places)) if turned[k]), key=lambda k: places[k])
    for k in [*right_first, *left_first]:
        left = max(low, places[k] - widths[k] - 5.0) if turned[k] else places[k] + 5.0
        span = left, left + widths[k]
        rows = range(len(places) + 1)
        clear = (r for r in rows if _clear(r, places[k], span, found, places))
        apart = (r for r in rows if _apart(r, span, found))
        row = next(clear, None)
        found[k] = Flag(next(apart) if row is None else row, *span)
    return [found[k] for k in range(len(places))]


def _apart(row: int, span: tuple[float, float], found: dict[int, Flag]) -> bool:
    return not any(
        f.row == row and span[0] < f.right + 8.0 and f.left < span[1] + 8.0 for f in found.values()
    )


def _clear(
    row: int, place: float, span: tuple[float, float], found: dict[int, Flag], places: Sequence[float]
) -> bool:
    """Whether words in that row meet no words, no line of others, and their line no words of others."""
    if not _apart(row, span, found):
        return False
    for k, flag in found.items():
        if flag.row >= row and span[0] - 3.0 < places[k] < span[1] + 3.0:
            return False
        if flag.row <= row and flag.left - 3.0 < place < flag.right + 3.0:
            return False
    return True

"""Shaded stretches of the x axis with their names in a strip at the top of the plot."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count

from optimizer.report import svg
from optimizer.report.figures import palette
from optimizer.report.figures.axes import Plot
from optimizer.report.figures.canvas import titled, words
from optimizer.report.figures.legend import Entry
from optimizer.report.figures.lettering import SMALL, width
from optimizer.report.figures.model import Band
from optimizer.report.figures.placing import spread
from optimizer.report.figures.ticks import Scale

#: Height of the strip of names [px].
STRIP = 18.0
#: Narrowest stretch with a number of its own, and most numbers in a strip.
_NARROW, _MOST = 16.0, 24
_GAP = 8.0
_LETTER = re.compile(r"([A-Z]{1,2}): (?=\S)")


@dataclass(frozen=True)
class Stretch:
    """A band as drawn, or several that are too narrow to be told apart. start, end [px]."""

    names: tuple[str, ...]
    start: float
    end: float

    @property
    def name(self) -> str:
        """In words; of many the first few."""
        different = list(dict.fromkeys(self.names))
        if len(self.names) == 1:
            return self.names[0]
        first = ", ".join(different[:4]) + (
            f", and {len(different) - 4} more names" if len(different) > 4 else ""
        )
        return f"{len(self.names)} in turn: {first}"

    @property
    def wide(self) -> float:
        return self.end - self.start


@dataclass(frozen=True)
class Banded:
    """ground: drawn below everything; names: over the plot; entries: key of the numbers."""

    ground: str
    names: str
    entries: tuple[Entry, ...]


def stretches(bands: Sequence[Band], scale: Scale) -> list[Stretch]:
    """What of the bands lies on the axis: those of one name that touch joined, the narrow ones as well where
    there are too many to be numbered."""
    found: list[Stretch] = []
    for band in sorted((b for b in bands if b.start == b.start and b.end == b.end), key=lambda b: b.start):
        start, end = (min(max(scale.at(x), scale.start), scale.end) for x in (band.start, band.end))
        if end <= start:
            continue
        last = found[-1] if found else None
        if last and last.names == (band.name,) and start - last.end < 0.5:
            found[-1] = replace(last, end=end)
        else:
            found.append(Stretch((band.name,), start, end))
    if len(found) > _MOST or sum(x.wide < _NARROW for x in found) > 6:
        found = _fused(found, _NARROW)
    return _fused(found, scale.end - scale.start) if len(found) > _MOST else found


def _fused(found: Sequence[Stretch], narrow: float) -> list[Stretch]:
    """Neighbours that are all narrower than that as one."""
    fused: list[Stretch] = []
    run = False
    for part in found:
        thin = part.wide < narrow
        if run and thin and part.start - fused[-1].end < 0.5:
            fused[-1] = Stretch(fused[-1].names + part.names, fused[-1].start, part.end)
        else:
            fused.append(part)
        run = thin
    return fused


@dataclass(frozen=True)
class Labels:
    """What stands in the strip for each stretch, the middle [px] and width of it; numbers: of the names that
    have one, in order; of 'B: PE / PA' the letter, which the figure and its tables have already."""

    shown: tuple[str, ...]
    middles: tuple[float, ...]
    widths: tuple[float, ...]
    numbers: Mapping[str, str]


def labelled(
    found: Sequence[Stretch], start: float, end: float, lines: Sequence[float] = (), scaled: float = 1.0
) -> Labels:
    """Names where they fit into their stretch, numbers elsewhere, none upon another. scaled: how much
    narrower than in ``found`` the strip is at its narrowest; places are for that."""
    own = [replace(x, start=x.start * scaled, end=x.end * scaled) for x in found]
    fits = [width(x.name, SMALL) + _GAP <= x.wide for x in own]
    numbered = list(dict.fromkeys(x.name for x, fit in zip(own, fits, strict=True) if not fit))
    letters = [_letter(name) for name in numbered]
    own_letter = [x if letters.count(x) == 1 else "" for x in letters]
    counted = count(1)
    numbers = {name: x or str(next(counted)) for name, x in zip(numbered, own_letter, strict=True)}
    # a name that has a number somewhere has it everywhere
    shown = [numbers.get(x.name, x.name) for x in own]
    wide = [width(x, SMALL, bold=x in numbers.values()) + 4.0 for x in shown]
    wanted = [_middle(x, w, [line * scaled for line in lines]) for x, w in zip(own, wide, strict=True)]
    middles = spread(wanted, wide, start * scaled, end * scaled)
    return Labels(tuple(shown), tuple(middles), tuple(wide), numbers)


def banded(bands: Sequence[Band], plot: Plot, top: float, lines: Sequence[float] = ()) -> Banded:
    """top: of the strip of names, ``STRIP`` above the plot; lines: places of upright lines, which names keep
    clear of where they can."""
    found = stretches(bands, plot.x)
    at = labelled(found, plot.x.start, plot.x.end, lines)
    names = "".join(
        words(x, top + 13, name, w + 1, size=SMALL, text_anchor="middle", bold=name in at.numbers.values())
        for x, name, w in zip(at.middles, at.shown, at.widths, strict=True)
    )
    ground = "".join(_ground(k, x, plot, top) for k, x in enumerate(found))
    return Banded(
        ground,
        names,
        tuple(Entry(explained(name, number), lead=number) for name, number in at.numbers.items()),
    )


def _letter(name: str) -> str:
    """'B' of 'B: PE / PA'; '' where a name has no letter of its own."""
    head = _LETTER.match(name)
    return head[1] if head else ""


def explained(name: str, lead: str) -> str:
    """What the key says of a name: without its letter where that leads."""
    return name.removeprefix(f"{lead}: ")


def _middle(part: Stretch, wide: float, lines: Sequence[float]) -> float:
    """Where its name stands: in the middle, or beside it if a line goes through there."""
    middle, free = (part.start + part.end) / 2, max((part.wide - wide) / 2 - 2.0, 0.0)
    for step in (0.0, -0.25, 0.25, -0.5, 0.5, -0.75, 0.75, -1.0, 1.0):
        at = middle + step * free
        if all(abs(x - at) > wide / 2 + 2.0 for x in lines):
            return at
    return middle


def _ground(number: int, part: Stretch, plot: Plot, top: float) -> str:
    """The tint, with fine lines at both ends that show in black and white."""
    drawn = svg.element(
        "rect", x=part.start, y=top, width=part.wide, height=plot.box.bottom - top,
        fill=palette.BANDS[number % 2], class_="band", data_name=part.name,
    )  # fmt: skip
    ends = "".join(
        svg.line(x, top, x, plot.box.bottom, stroke=palette.AXIS, stroke_width=0.6)
        for x in (part.start, part.end)
    )
    return titled(drawn + ends, part.name)

"""The frame of a plot: grid, ticks with their numbers, titles of the axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.report import svg
from optimizer.report.figures import palette
from optimizer.report.figures.canvas import LINE, WIDTH, words
from optimizer.report.figures.lettering import SMALL, width, wrapped
from optimizer.report.figures.placing import Box
from optimizer.report.figures.ticks import Scale, Tick, minor, ticks

#: Least space between the numbers of two ticks [px].
_BETWEEN = 14.0
#: Height taken by the numbers below a plot [px].
BELOW = 22.0


@dataclass(frozen=True)
class Plot:
    """x runs to the right, y upwards."""

    x: Scale
    y: Scale

    @property
    def box(self) -> Box:
        return Box(self.x.start, self.y.end, self.x.end, self.y.start)


def x_ticks(scale: Scale) -> list[Tick]:
    """As many as stand beside each other without touching."""
    room = abs(scale.end - scale.start)
    for most in (10, 8, 6, 5, 4, 3, 2, 1):
        found = ticks(scale, most)
        if _apart(scale, found, room):
            return found
    return found[:1]


def _apart(scale: Scale, found: Sequence[Tick], room: float) -> bool:
    ends = [(scale.at(x.value), width(x.text, SMALL) / 2) for x in found]
    pairs = zip(ends, ends[1:], strict=False)
    return len(found) <= room / 30.0 and all(b - a >= u + v + _BETWEEN for (a, u), (b, v) in pairs)


def y_ticks(scale: Scale) -> list[Tick]:
    return ticks(scale, max(2, int(abs(scale.end - scale.start) / 44.0)))


def widest(found: Sequence[Tick]) -> float:
    """Of the numbers of an axis [px]."""
    return max((width(x.text, SMALL) for x in found), default=0.0)


def below(plot: Plot, grid: bool = True) -> str:
    """Numbers of the x axis and its lines."""
    box = plot.box
    drawn = _upright(minor(plot.x), plot, 0.5) if grid else ""
    for tick in x_ticks(plot.x):
        place = plot.x.at(tick.value)
        drawn += _upright([tick.value], plot, 1.0) if grid else ""
        drawn += svg.line(place, box.bottom, place, box.bottom + 4, stroke=palette.AXIS, stroke_width=1.0)
        half = width(tick.text, SMALL) / 2
        drawn += _number(tick, "x", min(max(place, half + 2), WIDTH - half - 2), box.bottom + 17, "middle")
    return drawn + svg.line(
        box.left, box.bottom, box.right, box.bottom, stroke=palette.AXIS, stroke_width=1.2
    )


def _upright(values: Sequence[float], plot: Plot, wide: float) -> str:
    box = plot.box
    return "".join(
        svg.line(plot.x.at(x), box.top, plot.x.at(x), box.bottom, stroke=palette.GRID, stroke_width=wide)
        for x in values
    )


def beside(plot: Plot) -> str:
    """Numbers of the y axis and its lines."""
    box = plot.box
    drawn = "".join(_lying(plot, x, 0.5) for x in minor(plot.y))
    for tick in y_ticks(plot.y):
        drawn += _lying(plot, tick.value, 1.0)
        drawn += _number(tick, "y", box.left - 7, plot.y.at(tick.value) + 4, "end")
    return drawn + svg.line(box.left, box.top, box.left, box.bottom, stroke=palette.AXIS, stroke_width=1.2)


def _lying(plot: Plot, value: float, wide: float) -> str:
    place = plot.y.at(value)
    return svg.line(plot.box.left, place, plot.box.right, place, stroke=palette.GRID, stroke_width=wide)


def _number(tick: Tick, axis: str, x: float, y: float, anchor: str) -> str:
    return svg.text(
        x, y, tick.text, class_="tick", data_axis=axis, data_value=repr(tick.value), text_anchor=anchor,
        font_size=SMALL, fill=palette.SOFT,
    )  # fmt: skip


def y_title(label: str) -> tuple[str, float]:
    """The title of the y axis, lying at the top of the figure where it is read without turning the head, and
    the height it takes."""
    broken = wrapped(label, WIDTH - 16.0, 2)
    drawn = "".join(_title(8.0, 14.0 + k * LINE, line, "start", "y") for k, line in enumerate(broken))
    return drawn, LINE * len(broken) + 11.0


def x_title(label: str, plot: Plot, top: float) -> tuple[str, float]:
    """The title of the x axis below ``top``, and the height it takes."""
    middle = (plot.x.start + plot.x.end) / 2
    room = 2 * min(middle, WIDTH - middle) - 16.0
    broken = wrapped(label, room, 2)
    drawn = "".join(_title(middle, top + 13 + k * LINE, line, "middle", "x") for k, line in enumerate(broken))
    return drawn, LINE * len(broken) + 4.0


def _title(x: float, y: float, line: str, anchor: str, axis: str) -> str:
    return words(x, y, line, WIDTH - 16.0, class_="axis-label", data_axis=axis, text_anchor=anchor)

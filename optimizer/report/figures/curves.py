"""Curves of a line chart: their lines, marks, and the names at their ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from optimizer.report import svg
from optimizer.report.figures import palette
from optimizer.report.figures.axes import Plot
from optimizer.report.figures.canvas import WIDTH, titled, words
from optimizer.report.figures.legend import Entry
from optimizer.report.figures.lettering import SMALL, width, wrapped
from optimizer.report.figures.marks import RADIUS, mark, stroke
from optimizer.report.figures.model import Curve
from optimizer.report.figures.placing import Box, Taken, spread

Point = tuple[float, float]
#: Most names at the ends of curves, their widest line, and height of a line [px].
_MOST_NAMES, WIDEST_NAME, _LINE = 8, 150.0, 14.0
#: Leader between a curve and its name [px].
_LEADER = 16.0
#: Points of a curve beyond which only the outline of those in one column of pixels is drawn.
_MANY = 1500


@dataclass(frozen=True)
class Trace:
    """A curve on the sheet. number: of its colour; runs: stretches between gaps [px]; points: all of them
    with their place in the curve."""

    curve: Curve
    number: int
    runs: tuple[tuple[Point, ...], ...]
    points: tuple[tuple[int, Point], ...]


def traces(curves: Sequence[Curve], plot: Plot) -> list[Trace]:
    return [_trace(curve, k, plot) for k, curve in enumerate(curves)]


def _trace(curve: Curve, number: int, plot: Plot) -> Trace:
    runs: list[list[Point]] = [[]]
    points: list[tuple[int, Point]] = []
    for k, (x, y) in enumerate(zip(curve.x, curve.y, strict=False)):
        if x is None or y is None or not (plot.x.has(x) and plot.y.has(y)):
            runs.append([])
            continue
        point = (plot.x.at(x), plot.y.at(y))
        runs[-1].append(point)
        points.append((k, point))
    return Trace(curve, number, tuple(_outline(r) for r in runs if r), tuple(points))


def _outline(run: list[Point]) -> tuple[Point, ...]:
    """The run with at most first, lowest, highest and last point of each half pixel across."""
    if len(run) <= _MANY:
        return tuple(run)
    columns: dict[int, list[Point]] = {}
    for point in run:
        columns.setdefault(round(2 * point[0]), []).append(point)
    kept: list[Point] = []
    for column in columns.values():
        low, high = min(column, key=lambda p: p[1]), max(column, key=lambda p: p[1])
        middle = sorted((low, high), key=column.index)
        kept += dict.fromkeys((column[0], *middle, column[-1]))
    return tuple(kept)


def along(trace: Trace, step: float = 4.0) -> list[Point]:
    """Points on the lines at most a step apart, for words to keep clear of."""
    found: list[Point] = []
    for run in trace.runs:
        found += run[:1]
        for (x, y), (u, v) in pairwise(run):
            number = min(500, 1 + int(max(abs(u - x), abs(v - y)) / step))
            found += [(x + (u - x) * k / number, y + (v - y) * k / number) for k in range(1, number + 1)]
    return found


def drawn(trace: Trace, clip: str) -> str:
    """The line, clipped to the plot, and its marks."""
    path = "".join(
        "M" + "L".join(f"{svg.number(x)} {svg.number(y)}" for x, y in run)
        for run in trace.runs
        if len(run) > 1
    )
    look = stroke(trace.number, trace.curve.dashed)
    line = svg.element(
        "path", d=path, class_="curve", data_name=trace.curve.name, clip_path=f"url(#{clip})", **look
    )
    return titled(line if path else "", trace.curve.name) + marks(trace)


def marked(trace: Trace) -> list[tuple[int, Point]]:
    """Points that have a mark: all where the curve asks for it, else those that no line reaches."""
    if trace.curve.marks or trace.curve.words:
        return list(trace.points)
    alone = {run[0] for run in trace.runs if len(run) == 1}
    return [(k, point) for k, point in trace.points if point in alone]


def marks(trace: Trace) -> str:
    """Marks with what is said of each point."""
    said = trace.curve.words
    shape, colour = palette.mark(trace.number), palette.series(trace.number)
    return "".join(
        svg.element(
            "g",
            svg.element("title", svg.escaped(said[k] if k < len(said) and said[k] else trace.curve.name))
            + mark(x, y, shape, colour),
            class_="mark",
            data_x=svg.number(x),
            data_y=svg.number(y),
        )
        for k, (x, y) in marked(trace)
    )


def sample(trace: Trace) -> str:
    """Its line and mark for a key."""
    line = (
        svg.line(0, 0, 28, 0, **stroke(trace.number, trace.curve.dashed))
        if any(len(run) > 1 for run in trace.runs)
        else ""
    )
    shown = bool(marked(trace))
    return line + (mark(14, 0, palette.mark(trace.number), palette.series(trace.number)) if shown else "")


def legend(found: Sequence[Trace]) -> list[Entry]:
    return [Entry(t.curve.name, sample(t)) for t in found if t.curve.name.strip() and t.points]


@dataclass(frozen=True)
class _Name:
    trace: Trace
    broken: tuple[str, ...]
    place: float


def room_for_names(curves: Sequence[Curve]) -> float | None:
    """Width that names at the right ends of the curves take; None where a key below the plot is better."""
    named = [c.name for c in curves if c.name.strip()]
    if not 0 < len(curves) <= _MOST_NAMES or len(named) < len(curves):
        return None
    broken = [wrapped(name, WIDEST_NAME, 2, SMALL, bold=True) for name in named]
    if any(
        "..." in line and "..." not in name
        for lines, name in zip(broken, named, strict=True)
        for line in lines
    ):
        return None
    return _LEADER + 4.0 + max(width(line, SMALL, bold=True) for lines in broken for line in lines)


def names_at_ends(found: Sequence[Trace], plot: Plot) -> str | None:
    """Names right of the plot beside the ends of their curves; None where an end lies elsewhere or they
    have no room below each other."""
    box = plot.box
    names = []
    for trace in found:
        if not trace.points or trace.points[-1][1][0] < box.right - 6.0:
            return None
        place = min(max(trace.points[-1][1][1], box.top), box.bottom)
        names.append(_Name(trace, tuple(wrapped(trace.curve.name, WIDEST_NAME, 2, SMALL, bold=True)), place))
    names.sort(key=lambda n: n.place)
    sizes = [_LINE * len(n.broken) + 3.0 for n in names]
    if sum(sizes) > box.bottom - box.top + 16.0:
        return None
    middles = spread([n.place for n in names], sizes, box.top - 8.0, box.bottom + 8.0)
    return "".join(_name(n, middle, box) for n, middle in zip(names, middles, strict=True))


def _name(name: _Name, middle: float, box: Box) -> str:
    """A leader from the end of the curve, and the words."""
    number = name.trace.number
    bends = ((2.0, name.place), (5.0, name.place), (_LEADER - 4.0, middle), (_LEADER - 2.0, middle))
    leader = svg.polyline(
        [(box.right + x, y) for x, y in bends],
        closed=False,
        stroke=palette.series(number),
        stroke_width=1.0,
        fill="none",
    )
    first = middle + 4.0 - _LINE * (len(name.broken) - 1) / 2
    return leader + "".join(
        words(
            box.right + _LEADER + 1, first + _LINE * k, line, WIDTH, bold=True, size=SMALL,
            fill=palette.series_text(number),
        )
        for k, line in enumerate(name.broken)
    )  # fmt: skip


def keep_clear(found: Sequence[Trace], taken: Taken) -> None:
    """Writes lines and marks into ``taken``."""
    for trace in found:
        taken.points += along(trace)
        taken.boxes += [
            Box(x - RADIUS - 1, y - RADIUS - 1, x + RADIUS + 1, y + RADIUS + 1) for _, (x, y) in marked(trace)
        ]

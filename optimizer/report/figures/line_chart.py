"""A LineChart as static SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.report import svg
from optimizer.report.figures import axes, curves, legend, rules
from optimizer.report.figures.axes import Plot
from optimizer.report.figures.bands import STRIP, banded
from optimizer.report.figures.canvas import WIDTH, document, empty
from optimizer.report.figures.model import Axis, LineChart, Rule
from optimizer.report.figures.placing import Box, Taken
from optimizer.report.figures.point_words import point_words
from optimizer.report.figures.ticks import Scale, extent, rounded_out, sound

#: Height of the plot itself [px].
_HIGH = 260.0
_RIGHT = 22.0
#: Least part of the height that the curves keep where a limit lies far from them.
_LEAST_PART = 0.04


@dataclass(frozen=True)
class Ranges:
    """Of both axes; far: rules that do not fit in without flattening the curves."""

    x: tuple[float, float]
    y: tuple[float, float]
    near: tuple[Rule, ...]
    far: tuple[Rule, ...]


def line_chart(chart: LineChart, uid: str) -> str:
    found = ranges_of(chart)
    if found is None:
        return empty(uid, chart.title, chart.description, "There is no value to draw.")
    names = curves.room_for_names(chart.curves)
    if names is not None:
        drawn = _drawn(chart, uid, found, names)
        if drawn is not None:
            return drawn
    return _drawn(chart, uid, found, None) or ""


def ranges_of(chart: LineChart) -> Ranges | None:
    """What of the axes is drawn; None where there is nothing to draw."""
    points = [
        (x, y)
        for c in chart.curves
        for x, y in zip(c.x, c.y, strict=False)
        if sound([x], chart.x.log) and sound([y], chart.y.log)
    ]
    ends = sound([v for b in chart.bands for v in (b.start, b.end)], chart.x.log)
    if not points and not ends:
        return None
    near, far = _near([p[1] for p in points], chart)
    across = [p[0] for p in points] or ends
    upright = sound([r.value for r in near if r.axis == "x"], chart.x.log)
    x = extent([*across, *upright], log=chart.x.log, zero=chart.x.zero)
    levels = [p[1] for p in points] + [r.value for r in near if r.axis == "y"]
    y = extent(levels, log=chart.y.log, zero=chart.y.zero)
    if any(c.words for c in chart.curves):
        x, y = _padded(x, chart.x), _padded(y, chart.y)
    if min(across) == max(across):
        x = rounded_out(*x, 8, chart.x.log)
    return Ranges(x, rounded_out(*y, 6, chart.y.log), near, far)


def _padded(ends: tuple[float, float], axis: Axis) -> tuple[float, float]:
    """Room for marks at the edges, and for words beside them; 0 stays the end of an axis."""
    low, high = ends
    if axis.log:
        part = (high / low) ** 0.05
        return low / part, high * part
    pad = 0.05 * (high - low)
    return low if low == 0.0 else low - pad, high if high == 0.0 else high + pad


def _near(values: Sequence[float], chart: LineChart) -> tuple[tuple[Rule, ...], tuple[Rule, ...]]:
    """Rules that are drawn, and those so far from the curves that these would be flat."""
    drawable = [r for r in chart.rules if sound([r.value], (chart.y if r.axis == "y" else chart.x).log)]
    if not values or chart.y.log:
        return tuple(drawable), ()
    low, high = extent(values, zero=chart.y.zero)
    reach = (high - low) / _LEAST_PART
    far = [r for r in drawable if r.axis == "y" and not high - reach <= r.value <= low + reach]
    return tuple(r for r in drawable if r not in far), tuple(far)


def _drawn(chart: LineChart, uid: str, found: Ranges, names: float | None) -> str | None:
    """names: room right of the plot for the names of the curves, None for a key below; None returned where
    they do not fit there."""
    title, head = axes.y_title(chart.y.label)
    right = WIDTH - (names if names is not None else _RIGHT)
    y = Scale(*found.y, _HIGH, 0.0, chart.y.log)
    left = 8.0 + axes.widest(axes.y_ticks(y)) + 10.0
    x = Scale(*found.x, max(left, 34.0), right, chart.x.log)
    across = rules.joined([r for r in found.near if r.axis == "x"], chart.x)
    rows, flags = rules.flagged(across, x.start, WIDTH - 6.0, [x.at(r.value) for r in across])
    top = head + flags + (STRIP if chart.bands else 0.0)
    plot = Plot(x, Scale(*found.y, top + _HIGH, top, chart.y.log))
    traced = curves.traces(chart.curves, plot)
    ends = curves.names_at_ends(traced, plot) if names is not None else ""
    if ends is None:
        return None
    banding = banded(chart.bands, plot, head + flags, [x.at(r.value) for r in across])
    taken = Taken(Box(plot.box.left, top, WIDTH - 4.0 if names is None else right, plot.box.bottom))
    curves.keep_clear(traced, taken)
    level = rules.lying(rules.joined([r for r in found.near if r.axis == "y"], chart.y), plot, taken)
    texts, numbered = point_words(traced, taken, sum(x.lead.isdigit() for x in banding.entries))
    clip = svg.element(
        "clipPath",
        svg.element("rect", x=plot.box.left, y=top - 1.5, width=right - plot.box.left, height=_HIGH + 3.0),
        id=f"{uid}-plot",
    )
    upright = rules.upright(across, rows, plot, head + flags)
    keys = [curves.legend(traced) if names is None else [], list(banding.entries), numbered]
    below, height = _below(chart, plot, keys, _unplaced(chart, found, level.left))
    lines = "".join(curves.drawn(t, f"{uid}-plot") for t in traced)
    body = [title, banding.ground, axes.below(plot), axes.beside(plot), banding.names, lines, level.drawn]
    body += [upright, texts, ends, below]
    return document(uid, chart.title, chart.description, height, [b for b in body if b], [clip])


def _unplaced(chart: LineChart, found: Ranges, left: Sequence[str]) -> list[str]:
    """Sentences on rules that are not drawn or have no room for their words."""
    unsaid = [f"Lines without words: {'; '.join(left)}"] if left else []
    return unsaid + beyond(chart, found)


def beyond(chart: LineChart, found: Ranges) -> list[str]:
    """Sentences on rules too far from the curves to be drawn."""
    high = found.y[1]
    far = rules.joined(found.far, chart.y)
    over, under = ([r.name for r in far if (r.value > high) is up] for up in (True, False))
    return [
        text + "; ".join(names)
        for text, names in (
            ("Above this chart: ", over),
            ("Below this chart: ", under),
        )
        if names
    ]


def _below(
    chart: LineChart, plot: Plot, keys: Sequence[Sequence[legend.Entry]], remarks: Sequence[str]
) -> tuple[str, float]:
    """Title of the x axis, keys and remarks; and the height of the figure."""
    y = plot.box.bottom + axes.BELOW
    drawn, height = axes.x_title(chart.x.label, plot, y)
    y += height
    for entries in keys:
        part, height = legend.key(entries, y + 2.0)
        drawn, y = drawn + part, y + height + (2.0 if entries else 0.0)
    part, height = legend.remarks(remarks, y)
    return drawn + part, y + height + 6.0

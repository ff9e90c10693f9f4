"""A Distribution as static SVG: a histogram, the lines that matter, and which side passes."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.report import svg
from optimizer.report.figures import axes, legend, palette, rules
from optimizer.report.figures.axes import Plot
from optimizer.report.figures.canvas import WIDTH, document, empty, titled, words
from optimizer.report.figures.lettering import SMALL, width
from optimizer.report.figures.marks import hatch
from optimizer.report.figures.model import Distribution
from optimizer.report.figures.ticks import Scale, extent, rounded_out, sound
from optimizer.units.figures import figure

_HIGH = 230.0
#: Height of the strip that says which side passes.
_STRIP = 20.0


@dataclass(frozen=True)
class _Bin:
    """share: of the samples; level: what is drawn, the share or, for bins of unlike width, the share for each
    unit of x."""

    low: float
    high: float
    share: float
    level: float


def distribution(chart: Distribution, uid: str) -> str:
    bins, dense = _bins(chart)
    if not bins:
        return empty(uid, chart.title, chart.description, "There is no sample to draw.")
    spans = [v for b in bins for v in (b.low, b.high)]
    drawable = [r for r in chart.rules if sound([r.value], chart.x.log)]
    low, high = extent(spans, log=chart.x.log)
    reach = high - low
    near = [r for r in drawable if low - reach <= r.value <= high + reach]
    x_range = extent([*spans, *(r.value for r in near)], log=chart.x.log, zero=chart.x.zero)
    y_range = rounded_out(*extent([b.level for b in bins], zero=True), 5)
    per = f"share of the samples, % for each {chart.x.unit or 'unit'}" if dense else "share of the samples, %"
    title, head = axes.y_title(per)
    left = 18.0 + axes.widest(axes.y_ticks(Scale(*y_range, _HIGH, 0.0)))
    x = Scale(*x_range, max(left, 34.0), WIDTH - 24.0, chart.x.log)
    lines = rules.joined(near, chart.x)
    rows, flagged = rules.flagged(lines, x.start, WIDTH - 6.0, [x.at(r.value) for r in lines])
    side = _side(chart, x)
    top = head + flagged + (_STRIP if side else 0.0)
    plot = Plot(x, Scale(*y_range, top + _HIGH, top))
    body = [title, _tinted(side, plot, head + flagged, uid), axes.below(plot, grid=False), axes.beside(plot)]
    body += [_bar(chart, b, plot) for b in bins]
    body += [rules.upright(lines, rows, plot, head + flagged, rimmed=True)]
    bottom, height = axes.x_title(chart.x.label, plot, plot.box.bottom + axes.BELOW)
    y = plot.box.bottom + axes.BELOW + height
    far = [rules.said(r, chart.x) for r in drawable if r not in near]
    said = [*_beyond(chart), *(["Outside this chart: " + "; ".join(far)] if far else [])]
    remarks, more = legend.remarks(said, y)
    patterns = [hatch(f"{uid}-fails", "/", palette.PAPER, palette.GRID, 7.0)] if side else []
    body += [bottom, remarks]
    return document(uid, chart.title, chart.description, y + more + 6.0, [b for b in body if b], patterns)


def _bins(chart: Distribution) -> tuple[list[_Bin], bool]:
    """Those that can be drawn, and whether they differ in width. Levels in %."""
    found = [
        (low, high, share)
        for low, high, share in zip(chart.edges, chart.edges[1:], chart.shares, strict=False)
        if len(sound([low, high], chart.x.log)) == 2
        and high > low
        and len(sound([share])) == 1
        and share >= 0.0
    ]
    widths = [high - low for low, high, _ in found]
    # on a log axis the bins are even where their ratios are: they are drawn as they are
    dense = bool(widths) and not chart.x.log and max(widths) > 1.01 * min(widths)
    return [
        _Bin(low, high, share, 100.0 * share / (high - low if dense else 1.0)) for low, high, share in found
    ], dense


def _bar(chart: Distribution, one: _Bin, plot: Plot) -> str:
    left, right, top = plot.x.at(one.low), plot.x.at(one.high), plot.y.at(one.level)
    said = f"{figure(one.low, 4)} to {figure(one.high, 4)} {chart.x.unit}".rstrip()
    rect = svg.element(
        "rect", x=left, y=top, width=right - left, height=plot.box.bottom - top, fill=palette.series(0),
        stroke=palette.PAPER, stroke_width=0.8, class_="bar", data_share=repr(float(one.share)),
    )  # fmt: skip
    return titled(rect, f"{said}: {figure(100.0 * one.share, 3)} % of the samples")


@dataclass(frozen=True)
class _Side:
    """place of the target [px]; above: whether values above it pass."""

    place: float
    above: bool


def _side(chart: Distribution, x: Scale) -> _Side | None:
    targets = [r.value for r in chart.rules if r.kind == "target" and x.inside(r.value)]
    return _Side(x.at(targets[0]), chart.good == "above") if targets and chart.good else None


def _tinted(side: _Side | None, plot: Plot, top: float, uid: str) -> str:
    """The side that passes tinted and the other hatched, both in words."""
    if side is None:
        return ""
    box, drawn = plot.box, ""
    for left, right, passes in (
        (box.left, side.place, not side.above),
        (side.place, box.right, side.above),
    ):
        ground = palette.GOOD_TINT if passes else f"url(#{uid}-fails)"
        drawn += svg.element("rect", x=left, y=top, width=right - left, height=box.bottom - top, fill=ground)
        drawn += svg.element(
            "rect",
            x=left,
            y=top,
            width=right - left,
            height=_STRIP,
            fill=palette.GOOD_TINT if passes else palette.BAD_TINT,
        )
        mark = "✓ passes" if passes else "✗ fails"
        if right - left > width(mark, SMALL, bold=True) + 10.0:
            drawn += words(
                (left + right) / 2, top + 14, mark, right - left, size=SMALL, bold=True, text_anchor="middle",
                fill=palette.GOOD if passes else palette.BAD, class_="side",
            )  # fmt: skip
    return drawn


def _beyond(chart: Distribution) -> list[str]:
    """What the last edge leaves out."""
    if not (sound([chart.beyond]) and chart.beyond > 0.0 and chart.edges):
        return []
    edge = f"{figure(chart.edges[-1], 4)} {chart.x.unit}".rstrip()
    return [f"{figure(100.0 * chart.beyond, 3)} % of the samples lie beyond {edge} and are not drawn."]

"""A BarChart as static SVG: lying bars, made of parts that differ by colour and hatch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.report import svg
from optimizer.report.figures import axes, legend, palette, rules
from optimizer.report.figures.axes import Plot
from optimizer.report.figures.canvas import WIDTH, document, empty, titled, words
from optimizer.report.figures.lettering import SIZE, SMALL, plain, width, wrapped
from optimizer.report.figures.marks import hatch
from optimizer.report.figures.model import BarChart
from optimizer.report.figures.ticks import Scale, extent, rounded_out, sound
from optimizer.units.figures import figure

#: Widest names of rows, and heights of a bar and between bars [px].
_NAMES = 220.0
_BAR, _SPACE = 22.0, 12.0
_THIN_BAR, _THIN_SPACE, _MANY = 15.0, 7.0, 20
_LINE = 14.0
#: Most room for what is said at the ends of the bars.
_LABELS = 260.0


@dataclass(frozen=True)
class _Piece:
    """Of a bar: number of its part and where it starts and ends, as values."""

    part: int
    start: float
    end: float


@dataclass(frozen=True)
class _Row:
    """name broken into lines; end: where the bar ends; low, high: of its whisker, None for none."""

    name: str
    broken: tuple[str, ...]
    pieces: tuple[_Piece, ...]
    end: float
    whisker: tuple[float, float] | None
    label: str


def bar_chart(chart: BarChart, uid: str) -> str:
    if not chart.rows:
        return empty(uid, chart.title, chart.description, "There is nothing to compare.")
    rows = [_row(chart, k) for k in range(len(chart.rows))]
    scale = _scale(chart, rows)
    drawn = rules.joined([r for r in chart.rules if scale.inside(r.value)], chart.x)
    flags, flagged = rules.flagged(drawn, scale.start, WIDTH - 6.0, [scale.at(r.value) for r in drawn])
    keys = [
        legend.Entry(part.name, _swatch(uid, k)) for k, part in enumerate(chart.parts) if len(chart.parts) > 1
    ]
    key, head = legend.key(keys, 0.0)
    top = head + flagged + 6.0
    bar, space = (_BAR, _SPACE) if len(rows) <= _MANY else (_THIN_BAR, _THIN_SPACE)
    steps = [max(bar, _LINE * len(row.broken)) + space for row in rows]
    plot = Plot(scale, Scale(0.0, 1.0, top + sum(steps), top))
    title, height = axes.x_title(chart.x.label, plot, plot.box.bottom + axes.BELOW)
    body = [key, axes.below(plot)]
    y = top
    for row, step in zip(rows, steps, strict=True):
        body.append(_bar(chart, row, scale, y + step / 2, bar, uid))
        y += step
    body += [_base(scale, plot), rules.upright(drawn, flags, plot, top, rimmed=True), title]
    lines = [scale.at(r.value) for r in drawn]
    body += [_label(row, scale, lines, y) for row, y in zip(rows, _middles(steps, top), strict=True)]
    patterns = [
        hatch(f"{uid}-p{k}", palette.hatch(k), palette.series(k), palette.PAPER)
        for k in range(len(chart.parts))
    ]
    whole = plot.box.bottom + axes.BELOW + height + 6.0
    return document(uid, chart.title, chart.description, whole, [b for b in body if b], patterns)


def _middles(steps: Sequence[float], top: float) -> list[float]:
    return [top + sum(steps[:k]) + step / 2 for k, step in enumerate(steps)]


def _row(chart: BarChart, number: int) -> _Row:
    """Parts above 0 follow each other to the right, those below 0 to the left."""
    up, down, pieces = 0.0, 0.0, list[_Piece]()
    for k, part in enumerate(chart.parts):
        value = (sound(part.values[number : number + 1]) or [0.0])[0]
        if value > 0.0:
            pieces.append(_Piece(k, up, up + value))
            up += value
        elif value < 0.0:
            pieces.append(_Piece(k, down, down + value))
            down += value
    end = up if up > 0.0 else down
    half = sound(chart.whisker[number : number + 1])
    name = chart.rows[number]
    label = chart.labels[number] if number < len(chart.labels) else ""
    whisker = (end - abs(half[0]), end + abs(half[0])) if half else None
    return _Row(name, tuple(wrapped(name, _NAMES, 2)) or ("",), tuple(pieces), end, whisker, label)


def _scale(chart: BarChart, rows: Sequence[_Row]) -> Scale:
    """From 0 (log: from below the least bar) to the longest bar, room left for names and labels."""
    ends = [v for r in rows for p in r.pieces for v in (p.start, p.end)] + [r.end for r in rows]
    ends += [v for r in rows if r.whisker for v in r.whisker]
    values = sound(ends, chart.x.log)
    low, high = extent(values, log=chart.x.log, zero=not chart.x.log)
    reach = 4.0 * (high - low)
    values += [r.value for r in chart.rules if sound([r.value], chart.x.log) and r.value <= high + reach]
    low, high = rounded_out(*extent(values, log=chart.x.log, zero=not chart.x.log), 8, chart.x.log)
    if chart.x.log and any(low >= r.end for r in rows if r.end > 0.0):
        low /= 10.0
    names = max((width(line) for r in rows for line in r.broken), default=0.0)
    labels = min(max((width(r.label, SMALL, bold=True) for r in rows), default=0.0), _LABELS)
    return Scale(low, high, 8.0 + names + 12.0, WIDTH - max(labels + 12.0, 24.0), chart.x.log)


def _swatch(uid: str, number: int) -> str:
    return svg.element(
        "rect",
        x=0,
        y=-6,
        width=28,
        height=12,
        fill=f"url(#{uid}-p{number})",
        stroke=palette.INK,
        stroke_width=0.7,
    )


def _bar(chart: BarChart, row: _Row, scale: Scale, middle: float, high: float, uid: str) -> str:
    """The parts of a bar and its whisker."""
    drawn = ""
    for piece in row.pieces:
        a, b = _place(scale, piece.start), _place(scale, piece.end)
        part = chart.parts[piece.part]
        said = f"{row.name}, {part.name}: {figure(abs(piece.end - piece.start), 4)} {chart.x.unit}".rstrip()
        drawn += titled(
            svg.element(
                "rect", x=min(a, b), y=middle - high / 2, width=abs(b - a), height=high,
                fill=f"url(#{uid}-p{piece.part})", stroke=palette.INK, stroke_width=0.7, class_="bar",
                data_row=row.name, data_part=part.name,
            ),
            said,
        )  # fmt: skip
    return drawn + (_whisker(scale, row.whisker, middle) if row.whisker else "")


def _place(scale: Scale, value: float) -> float:
    return scale.at(value) if scale.has(value) else scale.start


def _whisker(scale: Scale, ends: tuple[float, float], middle: float) -> str:
    a, b = (min(max(_place(scale, x), scale.start), scale.end) for x in ends)
    bars = [(a, middle, b, middle), (a, middle - 5, a, middle + 5), (b, middle - 5, b, middle + 5)]
    under = "".join(svg.line(*x, stroke=palette.PAPER, stroke_width=4.0) for x in bars)
    over = "".join(svg.line(*x, stroke=palette.INK, stroke_width=1.5) for x in bars)
    return svg.element("g", under + over, class_="whisker")


def _label(row: _Row, scale: Scale, lines: Sequence[float], middle: float) -> str:
    """Name left of the bar, and what is said at its end, behind the upright ``lines`` that would cross it."""
    first = middle + 4.5 - _LINE * (len(row.broken) - 1) / 2
    names = "".join(
        words(scale.start - 10, first + _LINE * k, line, _NAMES + 2, text_anchor="end", size=SIZE)
        for k, line in enumerate(row.broken)
    )
    if "".join(row.broken).replace(" ", "") != plain(row.name).replace(" ", ""):
        names = titled(names, row.name)
    # right of the base line for a bar that runs to the left
    ends = [0.0, row.end, *(row.whisker or ()), *(p.end for p in row.pieces)]
    right = min(max(_place(scale, x) for x in ends), scale.end)
    long = width(row.label, SMALL, bold=True)
    for place in sorted(lines):
        if right < place < right + 9 + long and place + 9 + long < WIDTH:
            right = place
    label = words(
        right + 7, middle + 4, row.label, WIDTH - right - 10, size=SMALL, bold=True, paint_order="stroke",
        stroke=palette.PAPER, stroke_width="3",
    )  # fmt: skip
    return names + (label if row.label else "")


def _base(scale: Scale, plot: Plot) -> str:
    """The line that the bars stand on."""
    place = _place(scale, 0.0)
    return svg.line(place, plot.box.top, place, plot.box.bottom, stroke=palette.INK, stroke_width=1.2)

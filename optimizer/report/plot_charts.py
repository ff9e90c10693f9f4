"""Charts of lines, bars and distributions as plotly draws them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate

from optimizer.report.figures import palette
from optimizer.report.figures.bands import STRIP
from optimizer.report.figures.line_chart import Ranges, beyond, ranges_of
from optimizer.report.figures.model import Axis, BarChart, Curve, Distribution, LineChart, Rule
from optimizer.report.plot_bands import grounds, names
from optimizer.report.plot_rules import upright_names
from optimizer.report.plot_style import (
    LONGEST,
    Chart,
    axis_of,
    dashed,
    finite,
    ground,
    layout_of,
    lines_of,
    plain,
    rules_of,
    said,
)
from optimizer.report.wording import figure as digits

#: Share of a level line that its name may take.
_THIRD = 1 / 3
#: A rule in this share of the height from the top has its words under it.
_NEAR_TOP = 0.06
#: Least height of a chart of bars without its rows, and of each row [px].
_LEAST, _ROW = 150, 36
#: Width of a letter of a label, as a share of the axis of a chart of bars, and the most that labels take.
_LETTER, _MOST_LABEL = 0.018, 0.5
#: Room above the columns of a distribution, for the words that say what passes.
_HEADROOM = 1.15
#: Between the end of a bar and its label: blanks that are kept.
_APART = "\u00a0\u00a0"
#: Name of a note that stands above all else over the plot.
_ABOVE = "above"


def line_chart(chart: LineChart) -> Chart:
    marks = [_curve(number, curve, chart) for number, curve in enumerate(chart.curves)]
    known = [x for curve in chart.curves for x in curve.x if finite(x, chart.x) is not None]
    known += [x for band in chart.bands for x in (band.start, band.end) if finite(x, chart.x) is not None]
    span = (min(known), max(known)) if known else (1.0, 10.0)
    found = ranges_of(chart)
    near = chart.rules if found is None else found.near
    top = math.inf if found is None else found.y[1] - _NEAR_TOP * (found.y[1] - found.y[0])
    layout = layout_of(
        xaxis=axis_of(chart.x, known, **_range(chart.x, None if found is None else found.x)),
        yaxis=axis_of(
            chart.y,
            [y for curve in chart.curves for y in curve.y],
            **_range(chart.y, None if found is None else found.y),
        ),
        shapes=[
            *grounds(chart.bands, span, chart.x),
            *rules_of(near, chart.x, chart.y, top, lambda rule: _freer_end(rule, chart, span)),
        ],
        showlegend=len(chart.curves) > 1,
    )
    if found is not None:
        layout["annotations"] = [_beyond(chart, found)] if found.far else []
        if chart.bands:
            _name_bands(layout, chart, found)
        _name_rules(layout, near, found.x, chart.x, STRIP if chart.bands else 0.0)
    return {"data": marks, "layout": layout}


def _freer_end(rule: Rule, chart: LineChart, span: tuple[float, float]) -> str:
    """The end of a level line from which the curves keep farther away; the last third and the first are
    looked at."""
    place = math.log10 if chart.x.log else float
    low, high = (place(x) for x in span)
    room = {"start": math.inf, "end": math.inf}
    for curve in chart.curves:
        for x, y in zip(curve.x, curve.y, strict=True):
            if finite(x, chart.x) is None or finite(y, chart.y) is None or high <= low:
                continue
            part = (place(x) - low) / (high - low)
            for end, within in (("start", part <= _THIRD), ("end", part >= 1.0 - _THIRD)):
                if within:
                    room[end] = min(room[end], abs(y - rule.value))
    return "start" if room["start"] > room["end"] else "end"


def _name_bands(layout: Chart, chart: LineChart, found: Ranges) -> None:
    """Writes the names of the bands above the plot, and their key below the title of the axis."""
    shown, key = names(chart.bands, found.x, chart.x)
    _raise(layout, STRIP, shown)
    title = layout["xaxis"]["title"]
    title["text"] = "<br>".join([title["text"], *key])


def _name_rules(
    layout: Chart, rules: Sequence[Rule], ends: tuple[float, float], axis: Axis, over: float = 0.0
) -> None:
    """Writes the names of upright lines above the plot. over [px]: what stands there already."""
    shown, height = upright_names(rules, ends, axis, over)
    _raise(layout, height, shown)


def _raise(layout: Chart, height: float, shown: Sequence[Chart]) -> None:
    """Makes room above the plot [px] for what is shown there; what is above moves up."""
    margin = layout["margin"]
    layout["margin"] = margin | {"t": margin["t"] + height}
    above = [
        note | {"yshift": note.get("yshift", 0.0) + height} if note.get("name") == _ABOVE else note
        for note in layout.get("annotations", ())
    ]
    layout["annotations"] = [*above, *shown]


def _range(axis: Axis, ends: tuple[float, float] | None) -> Chart:
    """The same stretch of the axis as in the drawing."""
    if ends is None:
        return {}
    return {"range": [math.log10(end) if axis.log else end for end in ends]}


def _beyond(chart: LineChart, found: Ranges) -> Chart:
    """What lies too far from the curves to be drawn, in words over the plot."""
    return {
        "name": _ABOVE,
        "text": plain("; ".join(beyond(chart, found))),
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": 1,
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 12, "color": palette.SOFT},
    }


def _curve(number: int, curve: Curve, chart: LineChart) -> Chart:
    colour = palette.series(number)
    words = curve.words or ("",) * len(curve.x)
    told = [
        "<br>".join(
            part for part in (plain(curve.name), said(chart.x, x), said(chart.y, y), plain(word)) if part
        )
        for x, y, word in zip(curve.x, curve.y, words, strict=True)
    ]
    dash = palette.BESIDE if curve.dashed else palette.dash(number)
    marked = curve.marks or len(curve.x) == 1
    return {
        "type": "scatter",
        "mode": "lines+markers" if marked else "lines",
        "name": plain(curve.name, LONGEST),
        "x": [finite(x, chart.x) for x in curve.x],
        "y": [finite(y, chart.y) for y in curve.y],
        "line": {"color": colour, "width": 2, "dash": dashed(dash)},
        "marker": {"color": colour, "size": 8, "symbol": palette.mark(number)},
        "hovertext": told,
        "hoverinfo": "text",
    }


def bar_chart(chart: BarChart) -> Chart:
    """Rows have numbers on their axis, so that two with the same name stay two."""
    places = list(range(len(chart.rows)))
    data = [_part(number, chart, places) for number in range(len(chart.parts))]
    ends = [sum(part.values[row] for part in chart.parts) for row in places]
    half = [w if w is not None and math.isfinite(w) else None for w in chart.whisker] or [None] * len(places)
    if any(half):
        data.append(_whiskers(chart, ends, half))
    if chart.labels:
        tips = [end + (w or 0.0) for end, w in zip(ends, half, strict=True)]
        data.append(
            {
                "type": "scatter",
                "mode": "text",
                "x": [finite(tip, chart.x) for tip in tips],
                "y": places,
                "text": [f"{_APART}{plain(label, LONGEST)}" for label in chart.labels],
                "textposition": "middle right",
                "cliponaxis": False,
                "hoverinfo": "skip",
                "showlegend": False,
            }
        )
    rows = {
        "type": "linear",
        "tickmode": "array",
        "tickvals": places,
        "ticktext": [lines_of(row) for row in chart.rows],
        "range": [len(places) - 0.5, -0.5],
        "automargin": True,
        "zeroline": False,
        "showgrid": False,
    }
    layout = layout_of(
        xaxis=axis_of(chart.x, **_room(chart, ends, half)),
        yaxis=rows,
        barmode="relative",
        bargap=0.35,
        shapes=rules_of(chart.rules, chart.x, None),
        showlegend=len(chart.parts) > 1,
        # a chart of few rows is not stretched to the height of others
        meta={"least": _LEAST + _ROW * len(places)},
    )
    high = max([0.0, *filter(math.isfinite, ends)])
    _name_rules(layout, chart.rules, tuple(layout["xaxis"].get("range", (0.0, high))), chart.x)
    return {"data": data, "layout": layout}


def _room(chart: BarChart, ends: Sequence[float], half: Sequence[float | None]) -> Chart:
    """A range with room for the labels beside the bars, which plotly itself cuts at the edge."""
    if not chart.labels or chart.x.log or not all(map(math.isfinite, ends)):
        return {}
    wide = [w or 0.0 for w in half]
    values = [0.0, *ends, *(v for part in chart.parts for v in part.values if math.isfinite(v))]
    low = min(values + [end - w for end, w in zip(ends, wide, strict=True)])
    tips = [end + w for end, w in zip(ends, wide, strict=True)]
    marks = [rule.value for rule in chart.rules if rule.axis == "x" and math.isfinite(rule.value)]
    low, high = min([low, *marks]), max([*values, *tips, *marks])
    if high <= low:
        return {}
    for tip, label in zip(tips, chart.labels, strict=True):
        part = min(_LETTER * (len(plain(label, LONGEST)) + 2), _MOST_LABEL)
        # the label takes that part of the whole axis, so the axis grows until it fits behind its bar
        high = max(high, low + (tip - low) / (1.0 - part))
    return {"range": [low - (0.03 * (high - low) if low < 0.0 else 0.0), high]}


def _part(number: int, chart: BarChart, places: Sequence[int]) -> Chart:
    part = chart.parts[number]
    told = [
        f"{lines_of(row, 40)}<br>{plain(part.name)}<br>{said(chart.x, value)}"
        for row, value in zip(chart.rows, part.values, strict=True)
    ]
    return {
        "type": "bar",
        "orientation": "h",
        "name": plain(part.name, LONGEST),
        "y": list(places),
        "x": [finite(value) for value in part.values],
        "marker": _hatched(palette.series(number), palette.hatch(number)),
        "hovertext": told,
        "hoverinfo": "text",
        "textposition": "none",
    }


def _hatched(colour: str, hatch: str) -> Chart:
    return {
        "color": colour,
        "line": {"color": palette.PAPER, "width": 1},
        "pattern": {"shape": hatch, "bgcolor": colour, "fgcolor": palette.PAPER, "size": 8, "solidity": 0.25},
    }


def _whiskers(chart: BarChart, ends: Sequence[float], half: Sequence[float | None]) -> Chart:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [finite(end, chart.x) for end in ends],
        "y": list(range(len(ends))),
        "marker": {"size": 1, "color": palette.INK},
        "error_x": {
            "type": "data",
            "array": [w or 0.0 for w in half],
            "color": palette.INK,
            "thickness": 1.5,
            "width": 5,
        },
        "hoverinfo": "skip",
        "showlegend": False,
    }


def distribution(chart: Distribution) -> Chart:
    """Columns between the edges, over grounds for those that pass and that fail."""
    highest = max(chart.shares, default=0.0) or 1.0
    marks = [r.value for r in chart.rules if r.axis == "x" and finite(r.value, chart.x) is not None]
    ends = (min([*chart.edges, *marks]), max([*chart.edges, *marks]))
    layout = layout_of(
        xaxis=axis_of(chart.x, chart.edges, **_range(chart.x, ends)),
        yaxis=axis_of(Axis("Share of the samples", "%", zero=True), range=[0.0, 100.0 * _HEADROOM * highest]),
        bargap=0.0,
        shapes=[*_sides(chart), *rules_of(chart.rules, chart.x, None)],
        showlegend=False,
    )
    if chart.beyond > 0.0:
        layout["annotations"] = [
            {
                "text": f"{digits(100.0 * chart.beyond, 2)} % beyond",
                "xref": "paper",
                "yref": "paper",
                "x": 1,
                "y": 0.5,
                "xanchor": "right",
                "showarrow": False,
                "font": {"color": palette.SOFT},
            }
        ]
    _name_rules(layout, chart.rules, ends, chart.x)
    return {"data": [_columns(chart)], "layout": layout}


def _columns(chart: Distribution) -> Chart:
    pairs = list(zip(chart.edges, chart.edges[1:], strict=False))
    unit = "" if chart.x.unit in ("", "1", "-") else f" {chart.x.unit}"
    told = [
        f"{plain(f'{digits(low, 4)} to {digits(high, 4)}{unit}')}<br>{digits(100.0 * share, 3)} % of the "
        f"samples<br>{digits(100.0 * below, 3)} % up to here"
        for (low, high), share, below in zip(pairs, chart.shares, accumulate(chart.shares), strict=True)
    ]
    return {
        "type": "bar",
        "x": [0.5 * (low + high) for low, high in pairs],
        "width": [high - low for low, high in pairs],
        "y": [100.0 * share for share in chart.shares],
        "marker": _hatched(palette.series(0), ""),
        "hovertext": told,
        "hoverinfo": "text",
        "textposition": "none",
    }


def _sides(chart: Distribution) -> list[Chart]:
    """Named grounds on both sides of the target."""
    target = next((rule.value for rule in chart.rules if rule.kind == "target"), None)
    if not chart.good or target is None or not chart.edges[0] < target < chart.edges[-1]:
        return []
    ends = (chart.edges[0], target, chart.edges[-1])
    passing = (chart.good == "below", chart.good == "above")
    return [_side(ends[k], ends[k + 1], passes) for k, passes in enumerate(passing)]


def _side(start: float, end: float, passes: bool) -> Chart:
    label = {
        "text": "passes" if passes else "fails",
        "textposition": "top center",
        "font": {"size": 12, "color": palette.GOOD if passes else palette.BAD},
    }
    fill = palette.GOOD_TINT if passes else palette.BAD_TINT
    return ground(start, end, fill, {"width": 0}, label=label)

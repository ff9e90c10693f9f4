"""What all charts of plotly have in common: look, axes, rules, and texts without marks of HTML."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from textwrap import wrap
from typing import Any

from optimizer.report.figures import palette
from optimizer.report.figures.model import Axis, Rule
from optimizer.report.svg import escaped, shortened
from optimizer.report.wording import figure as digits

Chart = dict[str, Any]
#: Names of rows and curves are cut here, and those of rows broken into lines of the second length.
LONGEST, _WRAPPED = 60, 26
#: Longest line of the title of an axis [letters].
_TITLE = 34
#: Width of the plot in a page of 400 px, the narrowest that is looked after [px].
NARROWEST = 270.0
#: Signs that turn the direction of the text around them.
TURNING = re.compile("[\u202a-\u202e\u2066-\u2069]")


def layout_of(**own: Any) -> Chart:
    return {
        "paper_bgcolor": palette.PAPER,
        "plot_bgcolor": palette.PAPER,
        "font": {"family": palette.FONT.replace("'", '"'), "size": 13, "color": palette.INK},
        "margin": {"l": 64, "r": 24, "t": 34, "b": 52},
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": palette.PAPER,
            "bordercolor": palette.AXIS,
            "align": "left",
            "namelength": -1,
        },
        "modebar": {"bgcolor": "rgba(255,255,255,0)", "color": palette.SOFT, "activecolor": palette.ACCENT},
        "legend": {
            "orientation": "h",
            "x": 0,
            "xanchor": "left",
            "y": 0,
            "yref": "container",
            "yanchor": "bottom",
        },
        "dragmode": "zoom",
        **own,
    }


def ground(start: float, end: float, fill: str, line: Chart, **own: Any) -> Chart:
    """A shaded stretch of the x axis over the whole height, behind everything."""
    return {
        "type": "rect",
        "xref": "x",
        "yref": "paper",
        "x0": start,
        "x1": end,
        "y0": 0,
        "y1": 1,
        "layer": "below",
        "line": line,
        "fillcolor": fill,
        **own,
    }


def axis_of(axis: Axis, values: Iterable[float] = (), **own: Any) -> Chart:
    """The type is always said, lest plotly guesses dates. values: on a log axis of more than a decade of them
    only 1, 2 and 5 are numbered."""
    known = [value for value in values if finite(value, axis) is not None] if axis.log else []
    wide = bool(known) and max(known) > 10.0 * min(known)
    return {
        "type": "log" if axis.log else "linear",
        "title": {"text": lines_of(axis.label, _TITLE), "font": {"size": 13}, "standoff": 8},
        "rangemode": "tozero" if axis.zero and not axis.log else "normal",
        "showline": True,
        "linecolor": palette.AXIS,
        "gridcolor": palette.GRID,
        "ticks": "outside",
        "tickcolor": palette.AXIS,
        "zeroline": False,
        "automargin": True,
        "exponentformat": "none" if axis.log else "power",
        **({"dtick": "D2"} if wide else {}),
        **own,
    }


def plain(text: str, longest: int = 200) -> str:
    """Text of a user as plotly shows it, mark by mark."""
    words = escaped(shortened(" ".join(TURNING.sub("", text).split()), longest))
    # two dollar signs would be read as mathematics
    return words.replace("&quot;", chr(34)).replace("$", "&#36;")


def lines_of(text: str, width: int = _WRAPPED) -> str:
    """The same in lines."""
    return "<br>".join(plain(part) for part in wrap(shortened(" ".join(text.split()), LONGEST), width)) or " "


def finite(value: float, axis: Axis | None = None) -> float | None:
    """None is a gap: for what is not finite, and for what a log axis cannot show."""
    fits = math.isfinite(value) and not (axis is not None and axis.log and value <= 0.0)
    return value if fits else None


def said(axis: Axis, value: float) -> str:
    """'Time: 90 days'."""
    unit = "" if axis.unit in ("", "1", "-") else f" {axis.unit}"
    return plain(f"{axis.title}: {digits(value, 4)}{unit}")


def dashed(text: str) -> str:
    """'9 4' of SVG as plotly takes it."""
    return ",".join(f"{length}px" for length in text.split()) or "solid"


def rules_of(
    rules: Sequence[Rule],
    x: Axis,
    y: Axis | None,
    top: float = math.inf,
    end: Callable[[Rule], str] = lambda _: "end",
) -> list[Chart]:
    """Straight lines, the level ones with their names; those of upright lines stand over the plot
    (``plot_rules``). y None: the axis of rows, on which no rule stands. top: level lines from there have
    their name under them, where it is not cut off. end: 'start' or 'end' of a level line, where its name
    stands."""
    shapes = []
    for rule in rules:
        axis = x if rule.axis == "x" else y
        if axis is None or finite(rule.value, axis) is None:
            continue
        upright = rule.axis == "x"
        along = {"x0": rule.value, "x1": rule.value, "y0": 0, "y1": 1, "xref": "x", "yref": "paper"}
        across = {"x0": 0, "x1": 1, "y0": rule.value, "y1": rule.value, "xref": "paper", "yref": "y"}
        colour = palette.RULE_COLOURS[rule.kind]
        label = {
            "text": plain(rule.name, LONGEST),
            "textposition": end(rule),
            "xanchor": "right" if end(rule) == "end" else "left",
            "yanchor": "top" if rule.value >= top else "bottom",
            "font": {"size": 12, "color": colour},
        }
        shapes.append(
            {
                "type": "line",
                "name": plain(rule.name),
                **(along if upright else across),
                "line": {"color": colour, "width": 2, "dash": dashed(palette.RULES[rule.kind])},
                **({} if upright else {"label": label}),
            }
        )
    return shapes

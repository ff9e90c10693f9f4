"""Names of upright lines over the plot, as plotly draws them: in rows, as in the drawing, so that none covers
another, a curve or a column, on the narrowest page as well."""

from __future__ import annotations

import math
from collections.abc import Sequence

from optimizer.report.figures import palette
from optimizer.report.figures.canvas import LINE
from optimizer.report.figures.lettering import SMALL
from optimizer.report.figures.model import Axis, Rule
from optimizer.report.figures.placing import Flag
from optimizer.report.figures.rules import flagged, joined
from optimizer.report.figures.ticks import Scale
from optimizer.report.plot_style import LONGEST, NARROWEST, Chart, finite, plain

#: Words may stand so far beyond the right end of the plot; those farther than the second from their line were
#: pushed; the least length of a line above the plot [px].
_BEYOND, _BESIDE, _RISE = 20.0, 8.0, 2.0


def upright_names(
    rules: Sequence[Rule], ends: tuple[float, float], axis: Axis, over: float = 0.0
) -> tuple[list[Chart], float]:
    """Names of the rules of the x axis, and the height that they take above the plot [px]. ends: of the axis
    (or below); over [px]: what stands between them and the plot."""
    if not ends[0] < ends[1]:
        return [], 0.0
    across = joined([r for r in rules if r.axis == "x" and finite(r.value, axis) is not None], axis)
    scale = Scale(*ends, 0.0, NARROWEST, axis.log)
    across = [r for r in across if scale.inside(r.value)]
    places = [scale.at(r.value) for r in across]
    rows, height = flagged(across, 0.0, NARROWEST + _BEYOND, places)
    lines = [_line(rule, over + LINE * flag.row, axis) for rule, flag in zip(across, rows, strict=True)]
    names = [_name(*x, axis, over) for x in zip(across, rows, places, strict=True)]
    # the words last: they cover a line that has to go through them
    return [*lines, *names], height


def _at(rule: Rule, axis: Axis) -> Chart:
    """The upper end of its line; on a log axis plotly takes the power of ten."""
    place = math.log10(rule.value) if axis.log else rule.value
    return {"xref": "x", "x": place, "yref": "paper", "y": 1, "yanchor": "bottom", "borderpad": 0}


def _line(rule: Rule, height: float, axis: Axis) -> Chart:
    """Goes on above the plot, up to the words."""
    return {
        **_at(rule, axis),
        "text": " ",
        "showarrow": True,
        "arrowhead": 0,
        "arrowwidth": 1.6,
        "arrowcolor": palette.RULE_COLOURS[rule.kind],
        "ax": 0,
        "ay": -height - _RISE,
    }


def _name(rule: Rule, flag: Flag, place: float, axis: Axis, over: float) -> Chart:
    """At the end of its line; where it has to be pushed to stay on the page, as far from it as there."""
    right = flag.left > place
    beside = right or abs(flag.right - place) <= _BESIDE
    return {
        **_at(rule, axis),
        "text": plain(rule.name, LONGEST),
        "xanchor": "left" if right or not beside else "right",
        "xshift": 0.0 if beside else round(flag.left - place, 1),
        "yshift": over + LINE * flag.row + _RISE,
        "showarrow": False,
        "bgcolor": palette.PAPER,
        "font": {"size": SMALL, "color": palette.RULE_COLOURS[rule.kind]},
    }

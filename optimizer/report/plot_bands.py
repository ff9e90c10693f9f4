"""Named stretches of the x axis as plotly draws them: grounds, names above the plot, and a key of the narrow.

The names are those of the drawing, but chosen for the narrowest page: a name stands there only if it fits its
stretch even then, and the others have numbers. Each is moved by so many pixels as keeps numbers apart there;
on a wider page they only come to stand farther from each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from optimizer.report.figures import palette
from optimizer.report.figures.bands import STRIP, Stretch, explained, labelled, stretches
from optimizer.report.figures.lettering import SMALL, width
from optimizer.report.figures.model import Axis, Band
from optimizer.report.figures.ticks import Scale
from optimizer.report.plot_style import NARROWEST, Chart, finite, ground, plain

#: Width of the plot in the drawing, which says what is too narrow to be told apart [px].
_WIDE = 600.0
#: Longest name in the key [letters], and widest line of it [px].
_LONGEST, _LINE = 60, 300.0
_BETWEEN = "&nbsp;&nbsp;&nbsp; "


def grounds(bands: Sequence[Band], ends: tuple[float, float], axis: Axis) -> list[Chart]:
    """A shaded stretch for each band; ends: of what is known, for those without one of their own."""
    return [_ground(number, band, ends, axis) for number, band in enumerate(bands)]


def _ground(number: int, band: Band, ends: tuple[float, float], axis: Axis) -> Chart:
    start, end = (ends[k] if finite(x, axis) is None else x for k, x in enumerate((band.start, band.end)))
    fill = palette.BANDS[number % len(palette.BANDS)]
    return ground(start, end, fill, {"width": 0.6, "color": palette.AXIS}, name=plain(band.name))


def names(bands: Sequence[Band], ends: tuple[float, float], axis: Axis) -> tuple[list[Chart], list[str]]:
    """Names and numbers over the plot, and the lines of the key of the numbers. ends: of the x axis."""
    found = stretches(bands, Scale(*ends, 0.0, _WIDE, axis.log))
    scaled = NARROWEST / _WIDE
    at = labelled(found, 0.0, _WIDE, scaled=scaled)
    shown = [
        _name(part, text, middle - scaled * (part.start + part.end) / 2, ends, axis)
        for part, text, middle in zip(found, at.shown, at.middles, strict=True)
    ]
    return shown, _key([(number, explained(name, number)) for name, number in at.numbers.items()])


def _name(part: Stretch, text: str, shift: float, ends: tuple[float, float], axis: Axis) -> Chart:
    """shift [px]: from the middle of its stretch."""
    low, high = (math.log10(x) if axis.log else x for x in ends)
    return {
        "text": plain(text) if text == part.name else f"<b>{text}</b>",
        "hovertext": plain(part.name),
        "xref": "x",
        # on a log axis plotly takes the power of ten
        "x": low + (high - low) * (part.start + part.end) / 2 / _WIDE,
        "xshift": round(shift, 1),
        "yref": "paper",
        "y": 1,
        "xanchor": "center",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": SMALL, "color": palette.INK},
        "height": STRIP - 4.0,
    }


def _key(entries: Sequence[tuple[str, str]]) -> list[str]:
    """'1 truck   2 shelf', in lines that fit the narrowest page."""
    lines: list[tuple[float, list[str]]] = []
    for number, name in entries:
        wide = width(f"{number} {name}    ")
        told = f"<b>{number}</b> {plain(name, _LONGEST)}"
        if lines and lines[-1][0] + wide <= _LINE:
            lines[-1] = lines[-1][0] + wide, [*lines[-1][1], told]
        else:
            lines.append((wide, [told]))
    return [_BETWEEN.join(told) for _, told in lines]

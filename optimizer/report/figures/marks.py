"""Marks of points, lines of series and hatches of areas."""

from __future__ import annotations

import math
from collections.abc import Mapping

from optimizer.report import svg
from optimizer.report.figures import palette

#: Half of the size of a mark [px].
RADIUS = 4.2
_STAR = [
    (math.sin(math.pi * k / 5) * r, -math.cos(math.pi * k / 5) * r)
    for k in range(10)
    for r in ((1.35, 0.6)[k % 2],)
]
#: Corners of each mark about its middle, in radii; the circle is none of them.
_SHAPES: Mapping[str, list[tuple[float, float]]] = {
    "square": [(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)],
    "diamond": [(0, -1.3), (1.3, 0), (0, 1.3), (-1.3, 0)],
    "triangle-up": [(0, -1.25), (1.15, 0.9), (-1.15, 0.9)],
    "triangle-down": [(0, 1.25), (1.15, -0.9), (-1.15, -0.9)],
    "star": _STAR,
}
#: Strokes of those that are only lines.
_STROKES = {
    "x": [(-0.95, -0.95, 0.95, 0.95), (-0.95, 0.95, 0.95, -0.95)],
    "cross": [(-1.2, 0, 1.2, 0), (0, -1.2, 0, 1.2)],
}


def mark(x: float, y: float, shape: str, colour: str, radius: float = RADIUS) -> str:
    """A mark about (x, y), with a white rim that parts it from lines below it."""
    if shape in _STROKES:
        path = "".join(
            f"M{svg.number(x + a * radius)} {svg.number(y + b * radius)}L{svg.number(x + c * radius)} "
            f"{svg.number(y + d * radius)}"
            for a, b, c, d in _STROKES[shape]
        )
        return svg.element("path", d=path, stroke=colour, stroke_width=2.4, fill="none")
    rim: dict[str, str | float] = {"fill": colour, "stroke": palette.PAPER, "stroke_width": 1.0}
    if shape in _SHAPES:
        corners = [(x + a * radius, y + b * radius) for a, b in _SHAPES[shape]]
        return svg.polyline(corners, closed=True, **rim)
    return svg.element("circle", cx=x, cy=y, r=radius, **rim)


def stroke(number: int, dashed: bool) -> dict[str, str | float]:
    """How the line of a series is drawn. dashed: a bound or a baseline, thinner and in its own dash."""
    dash = palette.BESIDES[number % 3] if dashed else palette.dash(number)
    drawn: dict[str, str | float] = {
        "stroke": palette.series(number),
        "stroke_width": 1.6 if dashed else 2.2,
        "fill": "none",
        "stroke_linejoin": "round",
    }
    return {**drawn, "stroke_dasharray": dash} if dash else drawn


def hatch(name: str, kind: str, ground: str, ink: str, size: float = 8.0) -> str:
    """A <pattern> with that id. kind: one of ``palette.HATCHES``, or '~' for waves."""
    half = size / 2
    # strokes run on past the corners of the tile, so that they join
    slope = [(-2.0, 2.0, 2.0, -2.0), (0.0, size, size, 0.0), (size - 2, size + 2, size + 2, size - 2)]
    back = [(size - x, y, size - u, v) for x, y, u, v in slope]
    level, upright = (0.0, half, size, half), (half, 0.0, half, size)
    strokes = {"/": slope, "\\": back, "x": slope + back, "-": [level], "|": [upright], "+": [level, upright]}
    path = "".join(
        f"M{svg.number(x)} {svg.number(y)}L{svg.number(u)} {svg.number(v)}"
        for x, y, u, v in strokes.get(kind, ())
    )
    if kind == "~":
        a, b, c = (svg.number(x) for x in (size / 4, half, size))
        path = f"M0 {b}Q{a} 0 {b} {b}T{c} {b}"
    lines = svg.element("path", d=path, stroke=ink, stroke_width=1.1, fill="none") if path else ""
    dots = svg.element("circle", cx=half, cy=half, r=1.3, fill=ink) if kind == "." else ""
    tile = svg.element("rect", width=size, height=size, fill=ground)
    return svg.element(
        "pattern", tile + lines + dots, id=name, width=size, height=size, patternUnits="userSpaceOnUse"
    )

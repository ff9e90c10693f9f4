"""What stands round the views of a picture: captions, dimension lines, openings, legend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.geometry.mesh.model import Mesh, Opening
from optimizer.report import svg
from optimizer.report.colours import Colours
from optimizer.report.painter import View
from optimizer.report.thinned import Array
from optimizer.report.wording import figure, with_unit
from optimizer.units.systems import SI, System

#: Openings that are outlined and listed; the text of the command lists all.
MOST_OPENINGS = 10
_LOOP_POINTS = 160
_MOST_NAMES = 12
#: Letters of a legend's title that fit on one line.
_TITLE = 36
LINE = 19.0
_BADGE = 8.5
#: How far a dimension line and the number of an opening stand off.
_OFF, _OUT = 30.0, 15.0
#: Sine of the angle above which an opening faces away from the eye.
_AWAY = 0.05


@dataclass(frozen=True)
class Placed:
    """A view on the sheet: ``scale`` [units/m]; x, y: where the point (0, 0, 0) of the mesh lies on it; left,
    top, right, bottom of the mesh."""

    name: str
    view: View
    scale: float
    x: float
    y: float
    left: float
    top: float
    right: float
    bottom: float

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the mesh in this view [m]."""
        return (self.right - self.left) / self.scale, (self.bottom - self.top) / self.scale

    def at(self, points: Array) -> list[tuple[float, float]]:
        """Points (n, 3) [m] on the sheet."""
        seen = self.view.seen(points)
        return [(self.x + self.scale * r, self.y - self.scale * u) for r, u in seen[:, :2].tolist()]


def holes(place: Placed, mesh: Mesh) -> str:
    """Ground for the openings that face the eye: a thinned mesh does not reach their edges everywhere."""
    facing = [x for x in mesh.openings[:MOST_OPENINGS] if float(x.normal @ place.view.towards) > _AWAY]
    return "".join(svg.polyline(_loop(place, x, mesh), closed=True, class_="hole") for x in facing)


def _loop(place: Placed, opening: Opening, mesh: Mesh) -> list[tuple[float, float]]:
    step = max(1, -(-len(opening.loop) // _LOOP_POINTS))
    return place.at(mesh.vertices[opening.loop[::step]])


def openings(place: Placed, mesh: Mesh) -> str:
    """Edges and numbers of the openings; dashed where they face away."""
    edges, badges = [], []
    used: list[tuple[float, float]] = []
    for opening in mesh.openings[:MOST_OPENINGS]:
        loop = _loop(place, opening, mesh)
        away = float(opening.normal @ place.view.towards) < -_AWAY
        edges.append(svg.polyline(loop, closed=True, class_="edge far" if away else "edge"))
        x, y = _clear(_badge_at(place, opening), used)
        used.append((x, y))
        badges.append(
            svg.element("circle", class_="badge", cx=x, cy=y, r=_BADGE)
            + svg.text(x, y + 4.0, str(opening.number), class_="on", text_anchor="middle")
        )
    return "".join(edges + badges)


def _badge_at(place: Placed, opening: Opening) -> tuple[float, float]:
    """Outside of an opening that is seen from its side, in the middle of one that faces the eye."""
    [(x, y)] = place.at(opening.centre[None, :])
    right, up = (float(opening.normal @ axis) for axis in (place.view.right, place.view.up))
    return x + _OUT * right, y - _OUT * up


def _clear(at: tuple[float, float], used: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Moved to the right until it covers no other number."""
    x, y = at
    while any(abs(x - a) < 2.2 * _BADGE and abs(y - b) < 2.2 * _BADGE for a, b in used):
        x += 2.0 * _BADGE
    return x, y


def caption(place: Placed) -> str:
    return svg.text(place.left, place.top - 28.0, place.name, class_="soft")


def across(place: Placed, units: System = SI) -> str:
    """Dimension line below a view."""
    left, right, bottom = place.left, place.right, place.bottom
    y = bottom + _OFF
    middle = (left + right) / 2.0
    return (
        _ends(left, y, right, y, 0.0, 5.0)
        + svg.line(left, bottom + 6.0, left, y, class_="dim thin")
        + svg.line(right, bottom + 6.0, right, y, class_="dim thin")
        + svg.text(middle, y + 17.0, _length(place.size[0], units), text_anchor="middle")
    )


def upright(place: Placed, units: System = SI) -> str:
    """Dimension line left of a view."""
    left, top, bottom = place.left, place.top, place.bottom
    x = left - _OFF
    middle = (top + bottom) / 2.0
    turned = f"rotate(-90 {svg.number(x - 8.0)} {svg.number(middle)})"
    return (
        _ends(x, top, x, bottom, 5.0, 0.0)
        + svg.line(x, top, left - 6.0, top, class_="dim thin")
        + svg.line(x, bottom, left - 6.0, bottom, class_="dim thin")
        + svg.text(x - 8.0, middle, _length(place.size[1], units), text_anchor="middle", transform=turned)
    )


def _ends(x1: float, y1: float, x2: float, y2: float, dx: float, dy: float) -> str:
    """A line with a stroke across each end."""
    ends = (svg.line(x - dx, y - dy, x + dx, y + dy, class_="dim") for x, y in ((x1, y1), (x2, y2)))
    return svg.line(x1, y1, x2, y2, class_="dim") + "".join(ends)


def _length(metres: float, units: System) -> str:
    return with_unit(metres * 1e3, "mm", 4, units)


def squared(text: str) -> str:
    """'3.2 cm2' with its small two raised."""
    return f"{text[:-1]}\u00b2" if text.endswith("2") else text


def side_lines(mesh: Mesh, colours: Colours) -> int:
    """How many lines ``side`` takes."""
    shown = min(len(mesh.openings), MOST_OPENINGS)
    lines = 1 + shown + (len(mesh.openings) > shown)
    if colours.names:
        lines += 2 + min(len(colours.names), _MOST_NAMES) + (len(colours.names) > _MOST_NAMES)
    elif colours.title:
        lines += 3 + len(_title_lines(colours.title))
    return lines


def _title_lines(title: str) -> list[str]:
    """The title of a legend, its unit on a line of its own where both are too long for one."""
    what, comma, unit = title.rpartition(", ")
    lines = [title] if len(title) <= _TITLE or not comma else [what, unit]
    return [svg.shortened(x, _TITLE) for x in lines]


def side(mesh: Mesh, colours: Colours, x: float, y: float, units: System = SI) -> str:
    """Legend of the colours and list of the openings, the first line at height ``y``."""
    parts: list[str] = []
    if colours.names:
        parts.append(svg.text(x, y, colours.title, class_="head"))
        for name, colour in zip(colours.names[:_MOST_NAMES], colours.palette, strict=False):
            y += LINE
            parts.append(svg.element("rect", x=x, y=y - 10.0, width=14, height=11, rx=2, fill=colour))
            parts.append(svg.text(x + 22.0, y, svg.shortened(name, 36)))
        y = _more(parts, len(colours.names) - _MOST_NAMES, x, y) + 2.0 * LINE
    elif colours.title:
        for line in _title_lines(colours.title):
            parts.append(svg.text(x, y, line, class_="head"))
            y += LINE
        parts.append(_ramp(colours, x, y - LINE + 9.0))
        y += 3.0 * LINE
    title = "openings" if mesh.openings else "no openings"
    parts.append(svg.text(x, y, title, class_="head"))
    for opening in mesh.openings[:MOST_OPENINGS]:
        y += LINE
        parts.append(svg.element("circle", class_="badge", cx=x + 8.0, cy=y - 4.5, r=_BADGE))
        parts.append(svg.text(x + 8.0, y - 0.5, str(opening.number), class_="on", text_anchor="middle"))
        area = squared(with_unit(opening.area * 1e4, "cm2", 3, units))
        words = f"\u00d8 {with_unit(opening.diameter * 1e3, 'mm', 3, units)}, {area}"
        parts.append(svg.text(x + 24.0, y, words))
    _more(parts, len(mesh.openings) - MOST_OPENINGS, x, y)
    return "".join(parts)


def _more(parts: list[str], count: int, x: float, y: float) -> float:
    if count <= 0:
        return y
    parts.append(svg.text(x, y + LINE, f"and {count} more", class_="soft"))
    return y + LINE


def _ramp(colours: Colours, x: float, y: float) -> str:
    """Bar of the colours of a quantity, with the values of its ends and its middle."""
    steps = colours.palette[:-1]
    width = 264.0 / len(steps)
    bar = "".join(
        svg.element("rect", x=x + k * width, y=y, width=width + 0.4, height=12, fill=colour)
        for k, colour in enumerate(steps)
    )
    ends = [figure(v * colours.shown, 3) for v in (colours.low, colours.high)]
    middle = figure((colours.low + colours.high) / 2.0 * colours.shown, 3)
    below = y + 12.0 + 16.0
    labels = svg.text(x, below, f"\u2264 {ends[0]}")
    labels += svg.text(x + 132.0, below, middle, text_anchor="middle")
    labels += svg.text(x + 264.0, below, f"\u2265 {ends[1]}", text_anchor="end")
    return bar + labels

"""A picture of a mesh, as SVG: from the front, the right, above and a corner, with its sizes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.geometry.mesh.model import Mesh, Opening, Upright
from optimizer.report import sheet, svg
from optimizer.report.colours import Colours, plain_colours
from optimizer.report.painter import Painted, View, classes, painted
from optimizer.report.sheet import Placed
from optimizer.report.thinned import Array, shape_of, thinner
from optimizer.report.wording import in_units, listed, with_unit
from optimizer.units.systems import SI, System

#: Most faces in one view, and in the mesh that the views are painted from: about half of it faces away.
MOST_FACES = 8000
_MOST_IN_ALL = 7600

_WIDTH = 1080.0
_MARGIN = 28.0
_TOP = 122.0
#: Room for a dimension left of and below a view, between views, and for the three views together.
_DIMENSION, _BETWEEN, _BLOCK = 58.0, 64.0, 580.0
_LEAST_HEIGHT = 520.0
#: Narrowest that the oblique view may get.
_LEAST_PANEL = 290.0

_STYLE = (
    "text{font-family:system-ui,sans-serif;font-size:13px;fill:#26323c}"
    "text.title{font-size:19px;font-weight:600}text.head{font-weight:600}text.soft{fill:#5c6b78}"
    "text.on{fill:#fff;font-size:10.5px;font-weight:600}.bg{fill:#fff}"
    ".dim{stroke:#7a8894;stroke-width:1;fill:none}.thin{stroke-width:.6}"
    ".edge{fill:none;stroke:#b4361f;stroke-width:1.8;stroke-linejoin:round}"
    ".far{stroke-dasharray:4 3}.hole{fill:#78828b}.badge{fill:#b4361f;stroke:#fff;stroke-width:1.2}"
    ".faces path{stroke-width:9;stroke-linejoin:round}"
    "@media (prefers-color-scheme:dark){text{fill:#e3e9ee}text.soft{fill:#9fadb9}.bg{fill:#161c22}"
    ".dim{stroke:#8795a1}.edge{stroke:#ff8a6b}.badge{fill:#d9573a;stroke:#161c22}}"
)


def picture(mesh: Mesh, upright: Upright, colours: Colours | None = None, *, units: System = SI) -> str:
    """The whole picture, below 1.5 MB whatever the size of the mesh.

    colours: what those of the faces say (``thickness_colours``, ``region_colours``); one colour without.
    """
    colours = colours or plain_colours(len(mesh.faces))
    lines = sheet.LINE * sheet.side_lines(mesh, colours)
    placed, room, height = _arranged(_views(upright), _points(mesh), lines)
    drawn = _paint(mesh, placed, colours)
    front, side, _, corner = placed
    body = [
        *_head(mesh, [front.size[0], side.size[0], front.size[1]], units),
        *(_view(place, paint, mesh) for place, paint in zip(placed, drawn, strict=True)),
        sheet.upright(front, units),
        sheet.across(front, units),
        sheet.across(side, units),
        sheet.side(mesh, colours, room, height - _MARGIN - lines + sheet.LINE, units),
    ]
    used = frozenset[int]().union(*(x.used for x in drawn))
    width = max(room + _LEAST_PANEL, corner.right) + _MARGIN
    return _document(body, _STYLE + classes(colours.palette, used), width, height)


def _points(mesh: Mesh) -> Array:
    """The vertices that faces use."""
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.faces.reshape(-1)] = True
    return mesh.vertices if used.all() else mesh.vertices[used]


def _document(body: Sequence[str], style: str, width: float, height: float) -> str:
    ground = svg.element("rect", class_="bg", width=width, height=height)
    return (
        svg.element(
            "svg",
            "\n".join(["", *body[:2], svg.element("style", style), ground, *body[2:], ""]),
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {svg.number(width)} {svg.number(height)}",
            width=width,
            height=height,
            role="img",
            aria_labelledby="title desc",
        )
        + "\n"
    )


def _head(mesh: Mesh, size: Sequence[float], units: System) -> list[str]:
    """Title and description for those who cannot see it, then the lines at the top."""
    sides = " \u00d7 ".join(in_units(x * 1e3, "mm", units, 4) for x in size) + f" {units.unit('mm')}"
    described = (
        f"{mesh.name} from the front, from the right, from above and from a corner. Width, depth and height "
        f"{sides}; {_openings_said(mesh.openings, units)}."
    )
    volume = "" if mesh.volume is None else f" \u00b7 volume {with_unit(mesh.volume * 1e6, 'mL', 4, units)}"
    area = "area " + sheet.squared(with_unit(mesh.facts.area * 1e4, "cm2", 4, units))
    return [
        svg.element("title", svg.escaped(f"Geometry of {mesh.name}"), id="title"),
        svg.element("desc", svg.escaped(described), id="desc"),
        svg.text(_MARGIN, 42, svg.shortened(mesh.name, 70), class_="title"),
        svg.text(
            _MARGIN, 64, f"{sides} \u00b7 {area}{volume} \u00b7 {mesh.facts.faces} faces", class_="soft"
        ),
    ]


def _openings_said(openings: Sequence[Opening], units: System) -> str:
    if not openings:
        return "no openings"
    return "openings: " + listed(
        [f"{x.number}, diameter {with_unit(x.diameter * 1e3, 'mm', 3, units)}" for x in openings]
    )


def _views(upright: Upright) -> tuple[View, View, View, View]:
    """Front, right, above, oblique. The first of the other two coordinate axes runs to the right."""
    up, right = np.zeros(3), np.zeros(3)
    up[upright.axis] = upright.sign
    right[0 if upright.axis else 1] = 1.0
    away = np.cross(up, right)
    turn, lift = np.radians(32.0), np.radians(24.0)
    eye = np.cos(lift) * (np.sin(turn) * right - np.cos(turn) * away) + np.sin(lift) * up
    across = np.cross(up, eye) / np.cos(lift)
    return (
        View(right, up, -away),
        View(away, up, right),
        View(right, away, up),
        View(across, np.cross(eye, across), eye),
    )


def _arranged(views: Sequence[View], points: Array, lines: float) -> tuple[list[Placed], float, float]:
    """The views on the sheet, the left edge of the panel at the right, and the height of the sheet.

    Third-angle projection (ISO 5456-2): the view from the right stands right of the front and the one from
    above over it, all to one scale. lines: height of what stands below the oblique view.
    """
    boxes = [_box(view, points) for view in views]
    front, side, above, corner = boxes
    wide, deep, high = (float(np.ptp(b[:, k])) for b, k in ((front, 0), (side, 0), (front, 1)))
    scale = (_BLOCK - _BETWEEN) / max(wide + deep, deep + high)
    left = _MARGIN + _DIMENSION
    second = _TOP + scale * deep + _BETWEEN
    right_of = left + scale * wide + _BETWEEN
    panel = min(right_of + scale * deep + _BETWEEN, _WIDTH - _MARGIN - _LEAST_PANEL)
    bottom = max(second + scale * high + _DIMENSION, _LEAST_HEIGHT, _TOP + lines + 260.0)
    room, tall = _WIDTH - _MARGIN - panel, bottom - _TOP - lines - 2.0 * sheet.LINE
    size = np.ptp(corner, axis=0).tolist()
    own = min(room / size[0], tall / size[1], 2.0 * scale)
    placed = [
        _placed("front", views[0], scale, left, second, front),
        _placed("from the right", views[1], scale, right_of, second, side),
        _placed("from above", views[2], scale, left, _TOP, above),
        _placed("from a corner", views[3], own, panel, _TOP, corner),
    ]
    return placed, panel, bottom + _MARGIN


def _placed(name: str, view: View, scale: float, left: float, top: float, box: Array) -> Placed:
    """A view with its upper left corner there."""
    (low, down), (high, up) = box.tolist()
    right, bottom = left + scale * (high - low), top + scale * (up - down)
    return Placed(name, view, scale, left - scale * low, top + scale * up, left, top, right, bottom)


def _box(view: View, points: Array) -> Array:
    """(2, 2): least and largest right and up of the points [m]."""
    right, up, _ = view.seen(points).T  # by columns, for numpy is slow across rows of three
    return np.array([[right.min(), up.min()], [right.max(), up.max()]])


def _paint(mesh: Mesh, placed: Sequence[Placed], colours: Colours) -> list[Painted]:
    """Each view with as many faces as it may have: of a mesh thinned more where too many can be seen."""
    both = bool(mesh.openings) or mesh.facts.open_edges > 0
    most = _MOST_IN_ALL
    shape = shape_of(mesh, colours.value, colours.smooth, most)
    while True:
        number = colours.of(shape.value)
        drawn = [painted(shape, place.view, place.scale, number, both) for place in placed]
        largest = max(x.faces for x in drawn)
        if largest <= MOST_FACES:
            return drawn
        most = int(0.9 * most * MOST_FACES / largest)
        if len(mesh.faces) <= most:
            shape = shape_of(mesh, colours.value, colours.smooth, most)
        else:
            shape = thinner(shape, most, float(mesh.area.sum()))


def _view(place: Placed, paint: Painted, mesh: Mesh) -> str:
    """Caption, faces and openings of a view."""
    shift = f"translate({svg.number(place.x)} {svg.number(place.y)}) scale(.1)"
    faces = svg.element("g", paint.paths, class_="faces", transform=shift)
    return svg.element(
        "g", sheet.caption(place) + sheet.holes(place, mesh) + faces + sheet.openings(place, mesh)
    )

"""A SectionDrawing as static SVG: the wall cut open, drawn as an engineer draws a laminate.

Layers lie upon each other from inside (top) to outside, to scale. What cannot be to scale is broken as in
ISO 128-2 (zigzag lines), and said to be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.report import svg
from optimizer.report.figures import legend, palette
from optimizer.report.figures.canvas import LINE, WIDTH, document, empty, titled, words
from optimizer.report.figures.lettering import SIZE, SMALL, plain, width, wrapped
from optimizer.report.figures.model import SectionDrawing, SectionLayer
from optimizer.report.figures.placing import spread
from optimizer.report.figures.section_looks import looks, pattern
from optimizer.report.figures.section_scale import Kind, Layout, bar_length, layout
from optimizer.report.figures.ticks import sound
from optimizer.units.figures import figure

#: Left and right edge of the wall, and where words begin [px].
_LEFT, _RIGHT, _WORDS = 96.0, 336.0, 390.0
#: Least height of a wall, and for each layer [px].
_HIGH, _EACH = 76.0, 15.0
#: Height of the spaces inside and outside of it.
_SPACE = 24.0
#: Between a name and the note after it.
_BETWEEN = 10.0


@dataclass(frozen=True)
class _Words:
    """Of a layer, broken into lines; beside: the note goes on after the name."""

    name: tuple[str, ...]
    note: tuple[str, ...]
    beside: bool

    @property
    def height(self) -> float:
        return LINE * (len(self.name) + (0 if self.beside else len(self.note))) + 3.0


@dataclass(frozen=True)
class _Drawn:
    """A layer on the sheet: top and bottom [px], which look it has, and its words."""

    layer: SectionLayer
    kind: Kind
    top: float
    bottom: float
    look: int
    words: _Words

    @property
    def middle(self) -> float:
        return (self.top + self.bottom) / 2

    @property
    def pointed(self) -> float:
        """Where its leader begins: the middle, but not in the gap of a layer that is cut."""
        return self.top + 0.2 * (self.bottom - self.top) if self.kind == "cut" else self.middle


def section(drawing: SectionDrawing, uid: str) -> str:
    if not drawing.layers:
        return empty(uid, drawing.title, drawing.description, "There is no layer to draw.")
    layers = drawing.layers
    found = layout([x.thickness for x in layers], _HIGH + _EACH * len(layers))
    column = _WORDS + max(width(_thick(x, drawing.unit), SIZE, bold=True) for x in layers) + 14.0
    texts = [_broken(x, WIDTH - column - 10.0) for x in layers]
    wall, text = sum(found.heights), sum(x.height for x in texts)
    top = max(_SPACE, (text - wall) / 2 + 6.0)
    bottom = top + wall
    drawn = _layers(layers, found, texts, top)
    middles = spread(
        [x.pointed for x in drawn], [x.height for x in texts], 4.0, max(bottom + _SPACE, text + 8.0)
    )
    body = [_spaces(drawing, top, bottom)]
    body += [_layer(x, uid, drawing.unit) for x in drawn]
    body += [_leader(x, y) for x, y in zip(drawn, middles, strict=True)]
    body += [_words(x, y, drawing.unit, column) for x, y in zip(drawn, middles, strict=True)]
    body.append(_measure(found, drawing.unit, top, bottom))
    end = max(bottom + _SPACE, max(y + x.height / 2 for x, y in zip(texts, middles, strict=True)))
    remarks, more = legend.remarks(_remarks(drawing, found), end + 4.0)
    patterns = [pattern(uid, look) for look in sorted({x.look for x in drawn})]
    return document(uid, drawing.title, drawing.description, end + more + 8.0, [*body, remarks], patterns)


def _layers(
    layers: Sequence[SectionLayer], found: Layout, texts: Sequence[_Words], top: float
) -> list[_Drawn]:
    look = looks([x.name for x in layers])
    placed = []
    for layer, high, kind, text in zip(layers, found.heights, found.kinds, texts, strict=True):
        placed.append(_Drawn(layer, kind, top, top + high, look[layer.name], text))
        top += high
    return placed


def _broken(layer: SectionLayer, room: float) -> _Words:
    name = tuple(wrapped(layer.name, room, 2, SIZE, bold=True)) or ("",)
    alone = width(name[0], SIZE, bold=True) + _BETWEEN + width(plain(layer.note), SMALL)
    if layer.note and len(name) == 1 and alone <= room:
        return _Words(name, (plain(layer.note),), beside=True)
    return _Words(name, tuple(wrapped(layer.note, room, 2, SMALL)), beside=False)


def _thick(layer: SectionLayer, unit: str) -> str:
    return f"{figure(layer.thickness, 4)} {unit}".strip()


def _spaces(drawing: SectionDrawing, top: float, bottom: float) -> str:
    """What lies on both sides of the wall."""
    middle = (_LEFT + _RIGHT) / 2
    room = _RIGHT - _LEFT
    return "".join(
        words(
            middle,
            y,
            text,
            room,
            size=SMALL,
            text_anchor="middle",
            fill=palette.ACCENT,
            bold=True,
            class_="side",
        )
        for y, text in ((top - 8.0, drawing.inside), (bottom + 16.0, drawing.outside))
    )


def _layer(drawn: _Drawn, uid: str, unit: str) -> str:
    """The layer as a strip, its ends cut off, with its break marks."""
    layer, high = drawn.layer, drawn.bottom - drawn.top
    rect = svg.element(
        "rect", x=_LEFT, y=drawn.top, width=_RIGHT - _LEFT, height=high, fill=f"url(#{uid}-m{drawn.look})",
        stroke=palette.INK, stroke_width=0.9, class_="layer", data_name=layer.name, data_kind=drawn.kind,
        data_thickness=repr(float(layer.thickness)),
    )  # fmt: skip
    if drawn.kind == "cut":
        rect += _cut(drawn.middle)
    if drawn.kind == "wider":
        rect += _zigzag(_LEFT, drawn, -1.0) + _zigzag(_RIGHT, drawn, 1.0)
    said = ", ".join(x for x in (layer.name, _thick(layer, unit), layer.note) if x)
    return titled(rect, f"{said}{_SAID[drawn.kind]}")


_SAID = {"scale": "", "wider": " (drawn wider than to scale)", "cut": " (cut: thicker than drawn)"}


def _cut(middle: float) -> str:
    """A gap across the layer between two zigzag lines."""
    edges = []
    for y in (middle - 4.0, middle + 4.0):
        points = [(_LEFT - 8.0, y)]
        for k in range(1, 4):
            x = _LEFT + (_RIGHT - _LEFT) * k / 4
            points += [(x - 7.0, y), (x - 2.5, y - 6.0), (x + 2.5, y + 6.0), (x + 7.0, y)]
        edges.append([*points, (_RIGHT + 8.0, y)])
    gap = svg.polyline([*edges[0], *edges[1][::-1]], closed=True, fill=palette.PAPER, stroke="none")
    lines = "".join(
        svg.polyline(e, closed=False, fill="none", stroke=palette.INK, stroke_width=1.0) for e in edges
    )
    return svg.element("g", gap + lines, class_="break")


def _zigzag(x: float, drawn: _Drawn, out: float) -> str:
    """A small zigzag at an end of a layer that is drawn wider."""
    y, step = drawn.middle, 3.0
    points = [
        (x + out * 2.0, y),
        (x + out * 4.0, y - step),
        (x + out * 7.0, y + step),
        (x + out * 9.0, y),
        (x + out * 12.0, y),
    ]
    line = svg.polyline(points, closed=False, fill="none", stroke=palette.INK, stroke_width=1.1)
    return svg.element("g", line, class_="break")


def _leader(drawn: _Drawn, y: float) -> str:
    """From a dot in the layer to its words, or on from its break mark. Layers and words stand in one order,
    so leaders do not cross."""
    first, at = _first(drawn, y), drawn.pointed
    start = _RIGHT + 12.0 if drawn.kind == "wider" else _RIGHT - 9.0
    bends = [(_RIGHT + 16.0, at), (_WORDS - 20.0, first), (_WORDS - 6.0, first)]
    line = svg.polyline(
        [(start, at), *bends], closed=False, fill="none", stroke=palette.SOFT, stroke_width=0.8,
        class_="leader",
    )  # fmt: skip
    if drawn.kind == "wider":
        return line
    return line + svg.element(
        "circle", cx=start, cy=at, r=2.4, fill=palette.INK, stroke=palette.PAPER, stroke_width=1.0
    )


def _first(drawn: _Drawn, y: float) -> float:
    """Middle of the first line of the words that stand about ``y``."""
    return y - (drawn.words.height - 3.0) / 2 + LINE / 2


def _words(drawn: _Drawn, y: float, unit: str, column: float) -> str:
    """Thickness, name and note."""
    base = _first(drawn, y) + 4.5
    thick = _thick(drawn.layer, unit)
    text = words(column - 14.0, base, thick, column - _WORDS, bold=True, text_anchor="end")
    name, note = drawn.words.name, drawn.words.note
    if drawn.words.beside:
        after = svg.element(
            "tspan", svg.escaped(note[0]), dx=_BETWEEN, font_weight="400", font_size=SMALL, fill=palette.SOFT
        )
        text += svg.element("text", svg.escaped(name[0]) + after, x=column, y=base, font_weight="600")
        return text
    for k, line in enumerate(name):
        text += words(column, base + LINE * k, line, WIDTH - column - 4.0, bold=True)
    for k, line in enumerate(note):
        down = base + LINE * (k + len(name))
        text += words(column, down, line, WIDTH - column - 4.0, size=SMALL, fill=palette.SOFT)
    if "".join((*name, *note)).replace(" ", "") == plain(drawn.layer.name + drawn.layer.note).replace(
        " ", ""
    ):
        return text
    return titled(text, f"{drawn.layer.name}. {drawn.layer.note}")


def _measure(found: Layout, unit: str, top: float, bottom: float) -> str:
    """The scale bar, upright beside the wall: it measures layers that are not broken."""
    if found.scale is None:
        return ""
    length = bar_length(found.scale, min(100.0, bottom - top))
    high, x = length * found.scale, _LEFT / 2 - 6.0
    base = (top + bottom + high) / 2
    ends = [(-5.0, 0.0), (5.0, 0.0), (0.0, 0.0), (0.0, high), (-5.0, high), (5.0, high)]
    bar = svg.polyline(
        [(x + a, base - b) for a, b in ends], closed=False, fill="none", stroke=palette.INK,
        stroke_width=1.4, class_="scale-bar", data_length=repr(length),
    )  # fmt: skip
    said = f"{figure(length, 4)} {unit}".strip()
    return bar + words(x, base + 15, said, 2 * x - 4, size=SMALL, text_anchor="middle")


def _remarks(drawing: SectionDrawing, found: Layout) -> list[str]:
    """What is not to scale."""
    said = []
    for kind, lead in (("wider", "Drawn wider than to scale: "), ("cut", "Cut, thicker than drawn: ")):
        layers = [x for x, k in zip(drawing.layers, found.kinds, strict=True) if k == kind]
        others = {x.name for x, k in zip(drawing.layers, found.kinds, strict=True) if k != kind}
        # which of two layers of one material is meant, its thickness says
        names = [f"{x.name} {_thick(x, drawing.unit)}" if x.name in others else x.name for x in layers]
        if names:
            said.append(lead + ", ".join(_counted(names)) + ".")
    total = (
        sum(x.thickness for x in drawing.layers)
        if all(sound([x.thickness]) for x in drawing.layers)
        else None
    )
    if total is not None and len(drawing.layers) > 1:
        said.insert(0, f"{figure(total, 4)} {drawing.unit} in all{'' if said else ', all layers to scale'}.")
    return said


def _counted(names: Sequence[str]) -> list[str]:
    """'tie (2 layers)' for a name that comes twice."""
    return [
        name if names.count(name) == 1 else f"{name} ({names.count(name)} layers)"
        for name in dict.fromkeys(names)
    ]

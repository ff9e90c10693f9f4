"""Simple shapes cut into fine bands along their axis, so that a wall may differ from height to height."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

import optimizer.geometry.build as build
from optimizer.geometry.checks import MIDDLE_OFFSET, Checks
from optimizer.geometry.flat import tray_areas
from optimizer.geometry.pieces import Array, Pieces
from optimizer.geometry.round import mitre
from optimizer.geometry.shapes import SHAPES
from optimizer.geometry.surface import Patch, Surface

Vector = tuple[float, float]

#: Bands along a body of revolution: a height table up to second order is met to 1e-6 at its middle heights.
BANDS = 1000
#: A tray or a box: bands up its walls, rings on a flat face, columns along each wall (finer at the corners).
WALL_BANDS, RINGS, COLUMNS = 200, 40, 24

#: Keys of a tray that say what a thickness field says.
TRAY_RATIOS = {"corner_ratio": 1.0, "corner_share": 0.0, "base_ratio": 1.0, "wall_ratio": 1.0}


def bands_of(shape: str, sizes: Mapping[str, Any], dimensions: str) -> Pieces | None:
    """The surface of a shape in fine bands, or None where it has no height (disc, area, pouch).

    shape: a name of ``shapes.SHAPES``; sizes: what its function takes by keyword, in SI, without dimensions.
    Areas, slopes and curvatures add up to those of the Surface that the function returns. Heights count from
    the lowest point: of a tray from its base, of a profile from its first row. Tray and box come with angles
    (0 along the length), round shapes without. Raises GeometryError as the function does, and for a tray
    with ratios of its own.
    """
    surface = SHAPES[shape].function(**sizes, dimensions=dimensions)
    middle = MIDDLE_OFFSET[dimensions]
    if shape in ("sphere", "hemisphere"):
        return _ball(surface, sizes["diameter"] / 2, whole=shape == "sphere")
    if shape == "tray":
        return _tray(sizes, middle)
    if shape == "box":
        return _box(surface, sizes)
    line = _polyline(shape, sizes)
    return None if line is None else _revolved(line, middle)


def _polyline(shape: str, sizes: Mapping[str, Any]) -> list[Vector] | None:
    """(radius, height) from point to point of a round shape with straight pieces, lowest first."""
    if shape in ("cylinder", "tube"):
        radius = sizes["diameter"] / 2
        return [(radius, 0.0), (radius, sizes["height" if shape == "cylinder" else "length"])]
    if shape == "cone":
        return [(sizes["diameter"] / 2, 0.0), (sizes.get("diameter_top", 0.0) / 2, sizes["height"])]
    if shape != "profile":
        return None
    points: Sequence[Vector] = sizes["points"]
    line = [(float(radius), float(height - points[0][0])) for height, radius in points]
    if sizes.get("closed_bottom") and line[0][0] > 0:
        line.insert(0, (0.0, line[0][1]))
    if sizes.get("closed_top") and line[-1][0] > 0:
        line.append((0.0, line[-1][1]))
    return line


def _revolved(line: list[Vector], middle: float) -> Pieces:
    """Bands of the polyline turned about the axis, each moved with the mitred corners of
    ``round.profile``."""
    points = np.array(line)
    along = np.diff(points, axis=0)
    lengths = np.hypot(along[:, 0], along[:, 1])
    along /= lengths[:, None]
    normals = [(float(z), float(-r)) for r, z in along]
    moves = np.array(
        [mitre(p, normals[max(i - 1, 0)], normals[min(i, len(lengths) - 1)]) for i, p in enumerate(line)]
    )
    counts = np.maximum(np.ceil(BANDS * lengths / lengths.sum()), 4).astype(int)
    parts = []
    for i, count in enumerate(counts):
        edges = np.linspace(0.0, 1.0, count + 1)
        at = points[i] + edges[:, None] * (points[i + 1] - points[i])
        move = moves[i] + edges[:, None] * (moves[i + 1] - moves[i])
        longer = float((moves[i + 1] - moves[i]) @ along[i]) / count
        parts.append(_bands(at, move[:, 0], float(lengths[i]) / count, longer, middle))
    return _joined(parts)


def _bands(at: Array, move: Array, length: float, longer: float, middle: float) -> Pieces:
    """Frusta between the points ``at`` (n + 1, 2), each ``length`` long, moved outward by ``middle``."""
    double, moved = at[:-1, 0] + at[1:, 0], move[:-1] + move[1:]
    area = math.pi * double * length
    slope = math.pi * (double * longer + moved * length) * middle
    curvature = math.pi * moved * longer * middle**2
    # the middle of the area of a frustum lies nearer to its wider end
    centre = 0.5 + (at[1:, 0] - at[:-1, 0]) / (6.0 * double)
    place = at[:-1] + centre[:, None] * (at[1:] - at[:-1])
    nowhere = np.full(len(area), np.nan)
    return Pieces(
        area, slope, curvature, place[:, 1], place[:, 0], nowhere, span=_span(at[:-1, 1], at[1:, 1])
    )


def _ball(surface: Surface, radius: float, whole: bool) -> Pieces:
    """Bands of equal angle; between parallel planes the area of a sphere goes with the height (Archimedes).

    A hemisphere stands on its rim.
    """
    turn = np.linspace(0.0 if whole else math.pi / 2, math.pi, BANDS + 1)
    edges = radius * (float(whole) - np.cos(turn))
    share = np.diff(edges) / (edges[-1] - edges[0])
    height = (edges[:-1] + edges[1:]) / 2
    patch = surface.patches[0]
    across = np.sqrt(np.maximum(radius**2 - (height - (radius if whole else 0.0)) ** 2, 0.0))
    nowhere = np.full(BANDS, np.nan)
    return Pieces(
        share * patch.area,
        share * patch.slope,
        share * patch.curvature,
        height,
        across,
        nowhere,
        span=_span(edges[:-1], edges[1:]),
    )


def _tray(sizes: Mapping[str, Any], middle: float) -> Pieces:
    check = Checks()
    for name, plain in TRAY_RATIOS.items():
        if sizes.get(name, plain) != plain:
            check.fault(
                f"{name} and a local thickness are given together",
                field=name,
                hint="both say how thick the tray is from place to place: leave one of them out",
            )
    check.finish()
    length, width, depth = sizes["length"], sizes["width"], sizes["depth"]
    top = sizes.get("top_length") or length, sizes.get("top_width") or width
    base, walls = (build.patch(a, middle) for a in tray_areas(length, width, depth, *top))
    floor, sides = _flat_face((length, width), 0.0), _walls((length, width), top, depth)
    return _joined([_with_steiner(floor, base), _with_steiner(sides, walls)])


def _box(surface: Surface, sizes: Mapping[str, Any]) -> Pieces:
    ends, height = (sizes["length"], sizes["width"]), sizes["height"]
    faces = [_flat_face(ends, 0.0), _walls(ends, ends, height), _flat_face(ends, height)]
    return _with_steiner(_joined(faces), surface.patches[0])


def _with_steiner(pieces: Pieces, whole: Patch) -> Pieces:
    """Slope and curvature of the whole face shared out by area."""
    share = pieces.area / pieces.area.sum()
    return Pieces(
        share * whole.area,
        share * whole.slope,
        share * whole.curvature,
        pieces.height,
        pieces.radius,
        pieces.angle,
        span=pieces.span,
    )


def _columns() -> tuple[Array, Array]:
    """Middle and share of each column along a wall from -1 to 1."""
    edges = -np.cos(np.linspace(0.0, math.pi, COLUMNS + 1))
    return (edges[:-1] + edges[1:]) / 2, np.diff(edges) / 2


def _walls(bottom: Vector, top: Vector, depth: float) -> Pieces:
    """The four walls of a tray, in bands and columns."""
    edges = np.linspace(0.0, 1.0, WALL_BANDS + 1)
    middle, share = _columns()
    parts = []
    for along, across in ((0, 1), (1, 0)):
        wide = bottom[along] + edges * (top[along] - bottom[along])
        slant = math.hypot(depth, (top[across] - bottom[across]) / 2) / WALL_BANDS
        area = (wide[:-1] + wide[1:]) / 2 * slant
        centre = edges[:-1] + (0.5 + (wide[1:] - wide[:-1]) / (6.0 * (wide[:-1] + wide[1:]))) / WALL_BANDS
        half = [(bottom[k] + centre * (top[k] - bottom[k])) / 2 for k in (0, 1)]
        # a wall along the length leans with the draft of the width, and the other way round
        for sign in (1.0, -1.0):
            place = np.empty((2, WALL_BANDS, COLUMNS))
            place[along] = half[along][:, None] * middle
            place[across] = sign * half[across][:, None]
            level, low, high = (np.repeat(v * depth, COLUMNS) for v in (centre, edges[:-1], edges[1:]))
            parts.append(_cells(area[:, None] * share, level, low, high, place))
    return _joined(parts)


def _flat_face(size: Vector, height: float) -> Pieces:
    """A rectangle across the axis, in rings of its own form and columns along each side."""
    # narrow rings at the edge, where a drawn wall is thinnest
    edges = 1.0 - np.linspace(1.0, 0.0, RINGS + 1) ** 2
    middle, share = _columns()
    area = (edges[1:] ** 2 - edges[:-1] ** 2)[:, None] * share * size[0] * size[1] / 4
    # the middle of the area of a ring, as part of the way from the centre to the side
    out = (2.0 / 3.0) * (edges[1:] ** 3 - edges[:-1] ** 3) / (edges[1:] ** 2 - edges[:-1] ** 2)
    level = np.full(area.size, height)
    parts = []
    for along, across in ((0, 1), (1, 0)):
        for sign in (1.0, -1.0):
            place = np.empty((2, RINGS, COLUMNS))
            place[along] = out[:, None] * middle * size[along] / 2
            place[across] = sign * out[:, None] * size[across] / 2
            parts.append(_cells(area, level, level, level, place))
    return _joined(parts)


def _cells(area: Array, height: Array, low: Array, high: Array, place: Array) -> Pieces:
    x, y = place[0].ravel(), place[1].ravel()
    none = np.zeros(area.size)
    return Pieces(
        area.ravel(), none, none, height, np.hypot(x, y), np.arctan2(y, x), span=np.column_stack([low, high])
    )


def _span(one: Array, other: Array) -> Array:
    return np.column_stack([np.minimum(one, other), np.maximum(one, other)])


def _joined(parts: Sequence[Pieces]) -> Pieces:
    def all_of(name: str) -> Array:
        return np.concatenate([getattr(p, name) for p in parts])

    return Pieces(
        all_of("area"),
        all_of("slope"),
        all_of("curvature"),
        all_of("height"),
        all_of("radius"),
        all_of("angle"),
        span=all_of("span"),
    )

"""A mesh seen from one side as SVG paths: faces from far to near, the near ones painted over the far ones.

Orthographic. Faces that are surely hidden are left out, so that the file stays small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.report.thinned import Array, Shape

#: Steps between shadow and light.
LEVELS = 24
#: Direction towards the light: right, up, towards the eye.
_LIGHT = np.array([-0.42, 0.58, 0.70])
#: Brightness in the shadow, and of the side that faces the contents against the other.
_SHADOW, _INSIDE = 0.52, 0.72
#: Coordinates in a path are whole tenths of a unit.
TENTHS = 10.0
#: Twice the area [square units] below which a face is not drawn.
_SMALLEST = 0.02

#: Squares along the longer side of a view, in which it is tried which faces are hidden.
_MOST_SQUARES = 300
#: Corners' shares at the points where it is tried whether a face can be seen.
_SPLIT = 6
_TRIED = (
    np.array(
        [(i + 1 / 3, j + 1 / 3, _SPLIT - i - j - 2 / 3) for i in range(_SPLIT) for j in range(_SPLIT - i)]
    )
    / _SPLIT
)


@dataclass(frozen=True)
class View:
    """right, up, towards: unit vectors (3,) of the picture, the last one towards the eye."""

    right: Array
    up: Array
    towards: Array

    def seen(self, points: Array) -> Array:
        """(n, 3) of points (n, 3): right, up, towards the eye [m]."""
        return np.asarray(points @ np.stack([self.right, self.up, self.towards], axis=1), dtype=float)


@dataclass(frozen=True)
class Painted:
    """paths: SVG path elements, far to near; used: numbers of the classes in them; faces: how many."""

    paths: str
    used: frozenset[int]
    faces: int


def classes(colours: Sequence[str], used: frozenset[int]) -> str:
    """Style rules of the classes in use; ``colours``: '#rrggbb' of each colour number."""
    rules = []
    for number in sorted(used):
        colour, level = divmod(number, LEVELS)
        shade = (_SHADOW + (1.0 - _SHADOW) * level / (LEVELS - 1)) * (_INSIDE if colour % 2 else 1.0)
        own = colours[colour // 2]
        dark = "".join(f"{round(int(own[k : k + 2], 16) * shade):02x}" for k in (1, 3, 5))
        rules.append(f".c{number}{{fill:#{dark};stroke:#{dark}}}")
    return "".join(rules)


def painted(shape: Shape, view: View, scale: float, colour: NDArray[np.int64], both: bool) -> Painted:
    """The faces that can be seen, ``scale`` units to the metre, y downward.

    colour (m,): number of each face's colour. both: paint also the sides that face the contents, which an
    open mesh shows. A class number is (2 * colour + inside) * LEVELS + level.
    """
    seen = view.seen(shape.vertices) * scale
    flat = seen[:, :2]
    a, b, c = (flat[shape.faces[:, k]] for k in range(3))
    twice = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    normal = view.seen(shape.normal)
    # thinning turns some faces over: the normals that they had before say which side is seen
    inside = normal[:, 2] < 0.0
    kept = np.flatnonzero((np.abs(twice) > _SMALLEST) & (both | ~inside | (twice > 0.0)))
    kept = kept[_visible(seen[shape.faces[kept]])]
    corners, inside = seen[shape.faces[kept]], inside[kept]
    normal = normal[kept] * np.where(inside, -1.0, 1.0)[:, None]
    light = np.clip(normal @ (_LIGHT / np.linalg.norm(_LIGHT)), 0.0, 1.0)
    level = np.rint(light * (LEVELS - 1)).astype(np.int64)
    number = (2 * colour[kept] + inside) * LEVELS + level
    # at an outline both sides lie at one depth: the outer one is nearer
    depth = corners[:, :, 2].mean(axis=1) - inside * np.ptp(corners[:, :, 2], axis=1)
    order = np.argsort(depth, kind="stable")
    whole = np.rint(corners[order][:, :, :2] * TENTHS * np.array([1.0, -1.0])).astype(np.int64)
    return Painted(_paths(whole, number[order]), frozenset(number.tolist()), len(kept))


def _visible(corners: Array) -> NDArray[np.intp]:
    """Numbers of the faces that are not surely hidden; corners (m, 3, 3).

    Points of every face go into squares narrower than a face; each square keeps its nearest point. A face
    stays when one of its points is hardly farther than what is nearest in its square, or in one beside it:
    of some faces no more than an edge can be seen.
    """
    if not len(corners):
        return np.arange(0)
    points = np.einsum("pk,mkx->mpx", _TRIED, corners)
    span = np.ptp(corners, axis=1)
    low, high = points[:, :, :2].min(axis=(0, 1)), points[:, :, :2].max(axis=(0, 1))
    usual = float(np.percentile(span[:, :2].max(axis=1), 75.0))
    width = max(usual / 4.0, float((high - low).max()) / _MOST_SQUARES, 1e-9)
    square = np.floor((points[:, :, :2] - low) / width).astype(np.int64) + 1
    column, row = square[:, :, 0], square[:, :, 1]
    near = np.full((int(column.max()) + 2, int(row.max()) + 2), -np.inf)
    np.maximum.at(near, (column.reshape(-1), row.reshape(-1)), points[:, :, 2].reshape(-1))
    for axis in (0, 1):
        near = np.minimum(near, np.minimum(np.roll(near, 1, axis), np.roll(near, -1, axis)))
    slack = 2.0 * width + span[:, 2]
    return np.flatnonzero((points[:, :, 2] >= near[column, row] - slack[:, None]).any(axis=1))


def _paths(corners: NDArray[np.int64], number: NDArray[np.int64]) -> str:
    """One path for each run of faces of one class; corners (m, 3, 2) in whole tenths."""
    if not len(number):
        return ""
    start = corners[:, 0].tolist()
    steps = np.diff(corners, axis=1).reshape(-1, 4).tolist()
    faces = [f"M{x} {y}l{a} {b} {c} {d}z" for (x, y), (a, b, c, d) in zip(start, steps, strict=True)]
    cuts = [0, *(np.flatnonzero(np.diff(number)) + 1).tolist(), len(number)]
    return "".join(
        f'<path class="c{number[i]}" d="{"".join(faces[i:j])}"/>'
        for i, j in zip(cuts, cuts[1:], strict=False)
    )

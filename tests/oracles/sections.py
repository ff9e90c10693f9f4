"""Invented contours and shells of uneven wall, as maps for finite elements and as meshes; lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from optimizer.geometry.fields import field_surface
from optimizer.geometry.mesh import load, pieces_of, upright
from optimizer.geometry.mesh.rays import between_faces
from optimizer.geometry.surface import Surface

Array = NDArray[np.float64]
#: mm in m; nominal thickness of the walls [m].
MM, NOMINAL = 1e3, 4e-4


def conductance(surface: Surface, nominal: float = NOMINAL) -> float:
    """Sum of area over local thickness [mm]."""
    return MM * sum(p.area_at(nominal) / p.ratio for p in surface.patches) / nominal


@dataclass(frozen=True)
class Contour:
    """Outer line of a body of revolution from the middle of its base up, and the wall within.

    legs: (length, curvature), bent to the left where it is above zero; knots: (way along the line,
    thickness), between them cubic and without overshoot.
    """

    legs: Sequence[tuple[float, float]]
    knots: Sequence[tuple[float, float]]

    @property
    def ends(self) -> Array:
        return np.concatenate([[0.0], np.cumsum([length for length, _ in self.legs])])

    def outer(self, s: Array) -> tuple[Array, Array, Array, Array]:
        """Radius, height, and the normal out of the body."""
        r, z, heading = np.empty_like(s), np.empty_like(s), np.empty_like(s)
        at, turn = np.zeros(2), 0.0
        for begin, (length, bend) in zip(self.ends, self.legs, strict=False):
            here = s >= begin - 1e-9
            heading[here] = turn + bend * (s[here] - begin)
            r[here], z[here] = at[:, None] + self._leg(s[here] - begin, bend, turn)
            at = at + self._leg(np.array([length]), bend, turn)[:, 0]
            turn += bend * length
        return r, z, np.sin(heading), -np.cos(heading)

    @staticmethod
    def _leg(way: Array, bend: float, turn: float) -> Array:
        if not bend:
            return np.outer([math.cos(turn), math.sin(turn)], way)
        end = turn + bend * way
        return np.stack([np.sin(end) - math.sin(turn), math.cos(turn) - np.cos(end)]) / bend

    def place(self, s: Array, e: Array) -> tuple[Array, Array]:
        """Radius and height at the share ``e`` of the thickness outward of the inner face."""
        places, values = np.transpose(self.knots)
        r, z, out, up = self.outer(s)
        depth = (1.0 - e) * PchipInterpolator(places, values)(s)
        return r - depth * out, z - depth * up

    def along(self, per_mm: int) -> Array:
        """Ways along the line, with its ends and knots among them."""
        cuts = np.unique(np.concatenate([self.ends, [s for s, _ in self.knots]]).round(9))
        parts = [
            np.linspace(a, b, math.ceil(per_mm * (b - a)) + 1) for a, b in zip(cuts, cuts[1:], strict=False)
        ]
        return np.unique(np.concatenate(parts))

    def solid(self, per_mm: int, sides: int) -> Any:
        """The wall as a solid with ``sides`` facets round it, open above with a rim."""
        s = self.along(per_mm)
        lines = [np.stack(self.place(s, np.full_like(s, e)), axis=1) for e in (1.0, 0.0)]
        for line in lines:
            line[0, 0] = 0.0
        return trimesh.creation.revolve(np.concatenate([lines[0], lines[1][::-1]]), sections=sides)


_HEEL = (8.0 * math.pi / 2, 1 / 8)
#: Base, heel of 8 mm and a wall; from a thick base to the wall within the heel.
HEEL = Contour(((26.0, 0.0), _HEEL, (30.0, 0.0)), ((0, 1.8), (26, 1.8), (38, 0.35), (68.5, 0.35)))
#: Base, heel, straight body, shoulder and neck.
BOTTLE = Contour(
    ((26.0, 0.0), _HEEL, (80.0, 0.0), (20.0, 1 / 20), (14.0, -1 / 14), (18.0, 0.0)),
    (
        (0, 1.6), (18, 1.5), (34, 0.7), (46, 0.36), (100, 0.3), (125, 0.4), (150, 0.9), (162, 1.4),
        (170.5, 1.4),
    ),
)  # fmt: skip

#: Half axes of the tray with its lid, a body sum |x / a|**POWER = 1, and its thickness in the middle.
AXES, POWER, MIDDLE = np.array([80.0, 60.0, 25.0]), 4, 0.5


def octant(steps: int) -> tuple[Array, Array]:
    """Outer and inner face (3, n + 1, n + 1, 3) of an eighth of a tray with its lid, thinned to half at its
    corners, in three patches."""
    side = np.sin(np.linspace(0.0, math.pi / 2, steps + 1))
    u, v = np.meshgrid(side, side, indexing="ij")
    cube = np.empty((3, steps + 1, steps + 1, 3))
    for i in range(3):
        cube[i, ..., i], cube[i, ..., (i + 1) % 3], cube[i, ..., (i + 2) % 3] = 1.0, u, v
    unit = cube / (cube**POWER).sum(axis=-1, keepdims=True) ** (1 / POWER)
    normal = unit ** (POWER - 1) / AXES
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    # 1 in the corner, 0 on the planes of symmetry
    corner = np.prod(unit, axis=-1) / 3 ** (-3 / POWER)
    thickness = MIDDLE * (1.0 - 0.5 * corner**2)
    return unit * AXES, unit * AXES - thickness[..., None] * normal


def hexahedra(steps: int, layers: int) -> tuple[Array, NDArray[np.int64], Array, Array]:
    """Points, cells, and which points lie on the inner and on the outer face of ``octant``."""
    outer, inner = octant(steps)
    share = np.linspace(0.0, 1.0, layers + 1)[:, None]
    grid = inner[..., None, :] + (outer - inner)[..., None, :] * share
    points, number = np.unique(grid.reshape(-1, 3).round(9), axis=0, return_inverse=True)
    number = number.reshape(grid.shape[:-1])
    corners = ((0, 0, 0), (0, 0, 1), (0, 1, 0), (1, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 0), (1, 1, 1))
    cells = [number[:, i : i + steps, j : j + steps, k : k + layers].ravel() for i, j, k in corners]
    sides = [np.isin(np.arange(len(points)), number[..., k]) for k in (0, -1)]
    return points.T.copy(), np.stack(cells), sides[0], sides[1]


def shells(steps: int) -> Any:
    """Both faces of the whole body as triangles."""
    parts = []
    for face in octant(steps):
        a, b, c, d = face[:, :-1, :-1], face[:, 1:, :-1], face[:, 1:, 1:], face[:, :-1, 1:]
        eighth = np.concatenate([np.stack(x, axis=-2).reshape(-1, 3, 3) for x in ((a, b, c), (a, c, d))])
        for sign in np.stack(np.meshgrid(*[[1, -1]] * 3), axis=-1).reshape(-1, 3):
            parts.append((eighth * sign)[:, :: int(np.prod(sign))])
    corners = np.concatenate(parts).reshape(-1, 3)
    return trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)


def measured(folder: Path, mesh: Any) -> Surface:
    """Written to STL, read back and measured between its faces."""
    mesh.export(folder / "wall.stl")
    found = load(folder / "wall.stl", 1.0 / MM)
    assert found.kind == "walls"
    pieces = pieces_of(found, upright(found), "middle")
    return field_surface(pieces, between_faces(found), NOMINAL, volume=found.volume)


def as_function(function: Callable[[Array], Array]) -> Callable[[Array, Array], tuple[Array, Array]]:
    """A wall on a flat inner face, ``function`` thick."""
    return lambda s, e: (s, e * function(s))

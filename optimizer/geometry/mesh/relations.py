"""How the bodies of a mesh stand to each other: side by side, one inside the other, or not at all usable."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.findings import Findings, percent
from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.openings import Rims
from optimizer.geometry.mesh.shells import (
    Shells,
    cross_at,
    depths,
    inside,
    near_pairs,
    same,
    solid_wall,
)
from optimizer.geometry.mesh.triangles import Edges
from optimizer.geometry.pieces import Array

#: Bodies that are not drawn as walls may have this share of the area beside others that are.
MOST_MIXED = 0.01

#: An inner shell with less of the area of the outer one than this may not be the other face of its wall.
FACE_SHARE = 0.6


@dataclass(frozen=True)
class Relations:
    """Of each piece (s,): inner: it lies inside another; outer: another lies inside it; solid: it is the
    closed solid of a wall."""

    inner: NDArray[np.bool_]
    outer: NDArray[np.bool_]
    solid: NDArray[np.bool_]

    @property
    def nested(self) -> bool:
        return bool(self.inner.any())

    @property
    def walls(self) -> bool:
        """Whether the mesh has both faces of the wall."""
        return self.nested or bool(self.solid.any())

    def room(self, shells: Shells) -> float | None:
        """Volume of the inside [m3], None where there is none or none can be told."""
        rooms = self.inner if self.nested else shells.encloses & ~self.solid
        return float(np.abs(shells.volume[rooms]).sum()) if rooms.any() and not self.solid.any() else None

    def material(self, shells: Shells) -> float | None:
        """Volume of the solid of a wall [m3]."""
        return float(np.abs(shells.volume[self.solid]).sum()) if self.solid.any() else None


def relations_of(
    vertices: Vertices,
    faces: Faces,
    edges: Edges,
    piece: NDArray[np.int64],
    rims: Rims,
    shells: Shells,
    findings: Findings,
) -> Relations:
    """Find nested shells and solids of walls; refuse bodies that repeat, cross or nest too deep."""
    contained = _contained(vertices, faces, edges, piece, rims, shells, findings)
    depth = depths(shells, contained)
    if depth.max() > 1:
        raise findings.fault(
            f"shells lie {int(depth.max()) + 1} deep inside each other",
            "a wall has two faces: give each wall as a part and a mesh of its own",
        )
    inner = depth == 1
    outer = np.zeros(len(shells), dtype=bool)
    outer[[pair[1] for pair in contained]] = True
    solid = np.zeros(len(shells), dtype=bool)
    for k in np.flatnonzero(shells.encloses & ~inner & ~outer):
        smallest = float((shells.high - shells.low)[k].min())
        solid[k] = solid_wall(
            vertices, faces[piece == k], float(shells.area[k]), float(abs(shells.volume[k])), smallest
        )
    drawn = Relations(inner, outer, solid)
    if drawn.walls:
        _check_mixed(drawn, shells, findings)
        _say_walls(drawn, shells, findings)
    return drawn


def _contained(
    vertices: Vertices,
    faces: Faces,
    edges: Edges,
    piece: NDArray[np.int64],
    rims: Rims,
    shells: Shells,
    findings: Findings,
) -> list[tuple[int, int]]:
    """Pairs of an inner and an outer piece."""
    refuse_same(shells.area, shells.low, shells.high, findings)
    found = []
    for pair in near_pairs(shells):
        if not shells.encloses[list(pair)].all():
            continue
        try:
            point = cross_at(vertices, faces, edges, piece, shells, pair)
        except GeometryError:
            findings.warnings.append(
                "whether bodies cross was not checked: for a mesh of this size that needs embreex"
            )
            point = None
        if point is not None:
            place = ", ".join(f"{1000 * x:.4g}" for x in point)
            raise findings.fault(
                f"two bodies cross each other, at {place} mm for one",
                "unite them in the CAD program, or move them apart if they are parts of their own",
            )
        if inside(vertices, faces, piece, rims, pair) > 0.5:
            found.append(pair)
    return found


def refuse_same(area: Array, low: Array, high: Array, findings: Findings) -> None:
    """Raises GeometryError where one piece is listed twice; see ``shells.same``."""
    twice = same(area, low, high)
    if twice:
        share = percent(float(area[twice[0][1]] / area.sum()))
        raise findings.fault(
            f"a body with {share} of the area is there twice, in the same place",
            "take the copy out of the file, or its wall would be counted twice",
        )


def _check_mixed(drawn: Relations, shells: Shells, findings: Findings) -> None:
    other = ~(drawn.inner | drawn.outer | drawn.solid)
    share = float(shells.area[other].sum() / shells.area.sum())
    if share > MOST_MIXED:
        raise findings.fault(
            "some bodies show both faces of their wall and others one, "
            f"so that {100 * share:.2g} % of the area would be halved wrongly",
            "give them as parts with a mesh each, or export one face of every wall",
        )


def _say_walls(drawn: Relations, shells: Shells, findings: Findings) -> None:
    if drawn.solid.any():
        area, volume = shells.area[drawn.solid].sum(), np.abs(shells.volume[drawn.solid]).sum()
        findings.notes.append(
            f"the mesh is the solid of a wall about {2000 * volume / area:.2g} mm thick: each of its two "
            "faces counts half, and the room inside cannot be told from it"
        )
    if drawn.nested:
        between = np.abs(shells.volume[drawn.outer]).sum() - np.abs(shells.volume[drawn.inner]).sum()
        outer, inner = float(shells.area[drawn.outer].sum()), float(shells.area[drawn.inner].sum())
        findings.notes.append(
            "one body lies inside another: they are the two faces of a wall about "
            f"{2000 * between / (outer + inner):.2g} mm thick, and each counts half"
        )
        if inner < FACE_SHARE * outer:
            findings.warnings.append(
                f"the inner body has {100 * inner / outer:.2g} % of the area of the outer one: is it the "
                "other face of the wall?"
            )

"""How the bodies of a mesh stand to each other: side by side, one inside the other, or not at all usable."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.findings import Findings, cm2, percent, place
from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.openings import Rims
from optimizer.geometry.mesh.shells import (
    Shells,
    cross_at,
    depths,
    inside,
    near_pairs,
    same,
)
from optimizer.geometry.mesh.solids import Gap, Shows, gap, seen
from optimizer.geometry.mesh.triangles import Edges
from optimizer.geometry.pieces import Array
from optimizer.units.figures import figure

#: Bodies that are not drawn as walls may have this share of the area beside others that are.
MOST_MIXED = 0.01

#: How the user decides what a mesh shows.
ONE, BOTH = "shows: one face", "shows: both faces"

#: An inner shell with less of the area of the outer one than this may not be the other face of its wall.
FACE_SHARE = 0.6


@dataclass(frozen=True)
class Relations:
    """Of each piece (s,): inner: it lies inside another; outer: another lies inside it; solid: it is the
    closed solid of a wall. pairs: the numbers of an inner piece and of the one that it lies in."""

    inner: NDArray[np.bool_]
    outer: NDArray[np.bool_]
    solid: NDArray[np.bool_]
    pairs: tuple[tuple[int, int], ...] = ()

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

    def thickness(self, shells: Shells) -> float | None:
        """Mean of the wall that is drawn [m]: material over half the area of both; None for one
        face."""
        both = self.inner | self.outer | self.solid
        if not both.any():
            return None
        volume = np.abs(shells.volume)
        material = volume[self.outer | self.solid].sum() - volume[self.inner].sum()
        return float(2 * material / shells.area[both].sum())


def relations_of(
    vertices: Vertices,
    faces: Faces,
    edges: Edges,
    piece: NDArray[np.int64],
    rims: Rims,
    shells: Shells,
    findings: Findings,
    names: tuple[str, ...],
    shows: Shows | None,
) -> Relations:
    """Find nested shells and solids of walls; refuse bodies that repeat, cross or nest too deep.

    names (s,): that of the body that each piece belongs to; shows: what the user says, None to find it out.
    """
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
    for pair in contained:
        _check_pair(vertices, [faces[piece == k] for k in pair], shells, pair, findings, names, shows)
    solid = _solids(vertices, faces, piece, shells, shells.encloses & ~inner & ~outer, findings, shows)
    drawn = Relations(inner, outer, solid, tuple(contained))
    if shows == "both faces" and not drawn.walls:
        raise findings.fault(
            "shows both faces of the wall, as it is said, but no piece of it encloses anything",
            f"write '{ONE}', or export the solid of the wall",
        )
    if drawn.walls:
        _check_mixed(drawn, shells, findings)
        _say_walls(drawn, shells, findings)
    return drawn


def _solids(
    vertices: Vertices,
    faces: Faces,
    piece: NDArray[np.int64],
    shells: Shells,
    asked: NDArray[np.bool_],
    findings: Findings,
    shows: Shows | None,
) -> NDArray[np.bool_]:
    """(s,) which of the pieces ``asked`` (s,) are solids of a wall: as said, or as they look."""
    if shows == "one face":
        return np.zeros(len(shells), dtype=bool)
    if shows == "both faces":
        if (asked & shells.necked).any():
            raise findings.fault(
                "shows both faces of the wall, as it is said, but it ends at an opening with one face only",
                f"write '{ONE}', or export the closed solid of the wall, with its rim",
            )
        return asked
    solid = np.zeros(len(shells), dtype=bool)
    doubt = solid.copy()
    for k in np.flatnonzero(asked & ~shells.necked):
        sides = shells.high[k] - shells.low[k]
        found = seen(vertices, faces[piece == k], float(shells.area[k]), float(abs(shells.volume[k])), sides)
        solid[k], doubt[k] = found == "solid", found == "doubt"
    if doubt.any():
        area, volume = float(shells.area[doubt].sum()), float(np.abs(shells.volume[doubt]).sum())
        findings.warnings.append(
            f"is this one face of the wall, or the solid of a wall about {_mm(2 * volume / area)} thick? It "
            f"is taken as one face, with its whole area of {cm2(area)}; write '{BOTH}' if it has both, and "
            f"'{ONE}' if not"
        )
    return solid


def _check_pair(
    vertices: Vertices,
    both: list[Faces],
    shells: Shells,
    pair: tuple[int, int],
    findings: Findings,
    names: tuple[str, ...],
    shows: Shows | None,
) -> None:
    """Two nested pieces are the two faces of a wall, unless it is said or looks otherwise.

    both: faces of the inner and of the outer one. Raises GeometryError for bodies of two names that lie too
    far or too unevenly apart, and where every piece is said to be one face.
    """
    if shows == "both faces":
        return
    inner, outer = (names[k] for k in pair)
    what = f"the body '{inner}' lies inside '{outer}'" if inner != outer else "one body lies inside another"
    if shows == "one face":
        raise findings.fault(
            f"{what}: as one face each they would be two walls one behind the other, and not side by side",
            f"give them in files of their own, the outer one under 'outer' of the package; or write '{BOTH}'",
        )
    between = gap(vertices, *both)
    if between is None or between.is_wall(float((shells.high[pair[1]] - shells.low[pair[1]]).min())):
        return
    if inner != outer:
        raise findings.fault(
            f"{what}, {_widths(between)} apart: are they the two faces of one wall?",
            f"if so, write '{BOTH}'; else give them in files of their own, the outer one under 'outer' of "
            "the package",
        )
    findings.warnings.append(
        f"{what}, {_widths(between)} apart: is it the other face of the wall? If so, write '{BOTH}'; else "
        "take it out of the file"
    )


def _widths(between: Gap) -> str:
    low, high = (figure(1000 * x, 2) for x in (between.low, between.high))
    return f"{low} to {high} mm" if low != high else f"{low} mm"


def _mm(length: float) -> str:
    return f"{figure(1000 * length, 2)} mm"


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
            raise findings.fault(
                f"two bodies cross each other, at {place(point)} for one",
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
            f"so that {percent(share)} of the area would be halved wrongly",
            "give them as parts with a mesh each, or export one face of every wall; if all of them show one "
            f"face, write '{ONE}'",
        )


def _say_walls(drawn: Relations, shells: Shells, findings: Findings) -> None:
    if drawn.solid.any():
        area, volume = shells.area[drawn.solid].sum(), np.abs(shells.volume[drawn.solid]).sum()
        findings.notes.append(
            f"the mesh is the solid of a wall about {_mm(2 * volume / area)} thick: each of its two "
            "faces counts half"
        )
    if drawn.nested:
        between = np.abs(shells.volume[drawn.outer]).sum() - np.abs(shells.volume[drawn.inner]).sum()
        outer, inner = float(shells.area[drawn.outer].sum()), float(shells.area[drawn.inner].sum())
        findings.notes.append(
            "one body lies inside another: they are the two faces of a wall about "
            f"{_mm(2 * between / (outer + inner))} thick, and each counts half"
        )
        if inner < FACE_SHARE * outer:
            findings.warnings.append(
                f"the inner body has {percent(inner / outer)} of the area of the outer one: is it the "
                "other face of the wall?"
            )

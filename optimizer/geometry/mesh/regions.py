"""Regions of a mesh: which faces belong to which part of a package."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import triangles as tri
from optimizer.geometry.mesh.cutting import cut_at
from optimizer.geometry.mesh.findings import in_mm
from optimizer.geometry.mesh.model import Mesh, Opening, Upright
from optimizer.geometry.pieces import Array, Pieces

Mask = NDArray[np.bool_]
Point = tuple[float, float, float]

#: Openings belong together where their planes are parallel to this cosine: both faces of a wall end at a
#: neck.
_PARALLEL = 0.9


@dataclass(frozen=True)
class Rule:
    """Which faces a region takes: those that meet all the conditions that are given, by their centres.

    above, below [m]: heights over the lowest point of the part. box: two opposite corners [m] in the
    coordinates of the mesh. body: name of a body of the mesh. from_opening [m]: how far the region reaches
    from the plane of an opening into the package, measured square to that plane as the height of a neck
    finish is; it holds what hangs together with the edge of the opening without leaving that depth on either
    side, so that neither a handle beside a neck nor the rest of a cap belongs to it. opening: number of that
    opening; None takes the largest, of the body if one is named, and else not the open side of a cover.
    """

    name: str
    above: float | None = None
    below: float | None = None
    box: tuple[Point, Point] | None = None
    body: str | None = None
    from_opening: float | None = None
    opening: int | None = None


def mouth_of(mesh: Mesh, rule: Rule) -> Opening | None:
    """The opening from which a rule measures; None where the mesh has no such opening."""
    if rule.opening is not None:
        return next((o for o in mesh.openings if o.number == rule.opening), None)
    own = [o for o in mesh.openings if o.body in ("", rule.body)] if rule.body else list(mesh.openings)
    return min(own, key=lambda o: (o.of_cover, o.number), default=None)


def cut_for(mesh: Mesh, upright: Upright, rules: tuple[Rule, ...]) -> Mesh:
    """The mesh with its faces cut along the borders of some regions, so that ``assign`` halves no face.

    To be done before the pieces of the mesh are made.
    """
    planes: list[tuple[Array, float]] = []
    up = np.zeros(3)
    up[upright.axis] = upright.sign
    lowest = float((mesh.vertices[:, upright.axis] * upright.sign).min())
    for rule in rules:
        planes += [(up, lowest + height) for height in (rule.above, rule.below) if height is not None]
        if rule.box is not None:
            planes += [(np.eye(3)[axis], corner[axis]) for corner in rule.box for axis in range(3)]
        mouth = mouth_of(mesh, rule) if rule.from_opening is not None else None
        if rule.from_opening is not None and mouth is not None:
            middle = float(mouth.normal @ mouth.centre)
            planes += [(mouth.normal, middle + way * rule.from_opening) for way in (-1, 1)]
    return cut_at(mesh, planes)


def assign(mesh: Mesh, pieces: Pieces, rules: tuple[Rule, ...]) -> NDArray[np.int64]:
    """(m,) number of the first rule that takes each face, -1 for none.

    pieces: those of the faces of the mesh. Raises GeometryError that names every rule without a face, and
    what there is instead.
    """
    region = np.full(len(mesh.faces), -1, dtype=np.int64)
    faults = []
    for number, rule in enumerate(rules):
        conditions = _conditions(mesh, pieces, rule)
        taken = np.logical_and.reduce([mask for mask, _ in conditions]) if conditions else None
        if taken is None:
            faults.append(f"region {rule.name}: has no condition")
        elif not taken.any():
            faults += [f"region {rule.name}: {fault}" for fault in _why_empty(conditions)]
        elif not (taken & (region < 0)).any():
            earlier = ", ".join(rules[k].name for k in np.unique(region[taken]))
            faults.append(f"region {rule.name}: all that it takes belongs to a region before it ({earlier})")
        else:
            region[taken & (region < 0)] = number
    if faults:
        raise GeometryError(
            "; ".join(faults), field="regions", hint="every region must take a piece of the surface"
        )
    return region


def _conditions(mesh: Mesh, pieces: Pieces, rule: Rule) -> list[tuple[Mask, str]]:
    """For each condition of a rule the faces that meet it, and what to say if none does."""
    centre = tri.centres(mesh.vertices, mesh.faces) if pieces.centre is None else pieces.centre
    height = pieces.height
    span = f"the part has heights of {in_mm(height.min())} to {in_mm(height.max())} mm"
    found: list[tuple[Mask, str]] = []
    if rule.above is not None:
        found.append((height >= rule.above, f"nothing lies above {in_mm(rule.above)} mm: {span}"))
    if rule.below is not None:
        found.append((height < rule.below, f"nothing lies below {in_mm(rule.below)} mm: {span}"))
    if rule.box is not None:
        low, high = np.sort(np.array(rule.box), axis=0)
        inside = ((centre >= low) & (centre <= high)).all(axis=1)
        found.append((inside, f"nothing lies in its box: the mesh goes {_box(centre)}"))
    if rule.body is not None:
        named = np.array([name == rule.body for name in mesh.bodies])[mesh.body]
        found.append((named, f"no body is named {rule.body!r}; there is {', '.join(mesh.bodies)}"))
    if rule.from_opening is not None:
        found.append(_near_opening(mesh, centre, rule, rule.from_opening))
    return found


def _why_empty(conditions: list[tuple[Mask, str]]) -> list[str]:
    alone = [fault for mask, fault in conditions if not mask.any()]
    return alone or ["no face meets all of its conditions at once"]


def _near_opening(mesh: Mesh, centre: Array, rule: Rule, distance: float) -> tuple[Mask, str]:
    mouth = mouth_of(mesh, rule)
    if mouth is None:
        return np.zeros(len(centre), dtype=bool), _no_mouth(mesh, rule)
    depth = (mouth.centre - centre) @ mouth.normal
    band = np.flatnonzero(np.abs(depth) <= distance)
    group = tri.connected(len(band), *tri.Edges(mesh.faces[band]).pairs.T)
    at_edge = np.zeros(len(mesh.vertices), dtype=bool)
    at_edge[mouth.loop] = True
    # the other face of the wall ends there too; a cap over a neck does so only by chance
    for rim in (*mesh.rims, *(o for o in mesh.openings if mesh.kind == "walls")):
        if _beside(rim, mouth, distance):
            at_edge[rim.loop] = True
    start = np.logical_or.reduce([at_edge[mesh.faces[band, k]] for k in range(3)])
    taken = np.zeros(len(centre), dtype=bool)
    taken[band] = np.isin(group, group[start])
    return taken, f"nothing lies within {in_mm(distance)} mm of the opening"


def _no_mouth(mesh: Mesh, rule: Rule) -> str:
    if not mesh.openings:
        return "from_opening needs an opening, and the mesh has none: give heights"
    there = ", ".join(f"{o.number} ({in_mm(o.diameter, 3)} mm across)" for o in mesh.openings[:6])
    which = f"opening {rule.opening}" if rule.opening is not None else f"opening of the body {rule.body!r}"
    return f"the mesh has no {which}; it has {there}"


def _beside(opening: Opening, mouth: Opening, distance: float) -> bool:
    """Whether an opening is the mouth itself or the edge of the other face of the wall there."""
    apart = opening.centre - mouth.centre
    depth = float(apart @ mouth.normal)
    aside = float(np.linalg.norm(apart - depth * mouth.normal))
    parallel = abs(float(opening.normal @ mouth.normal)) > _PARALLEL
    return parallel and abs(depth) <= distance and aside < mouth.diameter / 2


def _box(centre: Array) -> str:
    return ", ".join(
        f"from {axis} = {in_mm(low)} to {in_mm(high)} mm"
        for axis, low, high in zip("xyz", centre.min(axis=0), centre.max(axis=0), strict=True)
    )

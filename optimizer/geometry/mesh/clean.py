"""From a mesh as read to one that can be trusted, each step resting on the one before: finite numbers, one
vertex where there is one point, no face twice, one way of winding, outward, closed or open in planes, bodies
that neither cross nor repeat, a plausible size, and all of the area accounted for.

Repairs that cannot change what is meant are made and said. What cannot be repaired is refused in a sentence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import merging
from optimizer.geometry.mesh.bending import steiner
from optimizer.geometry.mesh.fault import several
from optimizer.geometry.mesh.findings import Findings, percent
from optimizer.geometry.mesh.holes import Holes
from optimizer.geometry.mesh.model import Faces, Mesh, MeshFacts, RawMesh, Vertices
from optimizer.geometry.mesh.openings import openings, torn, trace
from optimizer.geometry.mesh.relations import Relations, refuse_same, relations_of
from optimizer.geometry.mesh.shells import Shells, boxes, measured
from optimizer.geometry.mesh.spikes import needles
from optimizer.geometry.mesh.triangles import Edges, areas, connected_faces, summed, turned, turns
from optimizer.geometry.pieces import Array

#: A coordinate beyond this [m] is damage, and its square could overflow.
LARGEST_NUMBER = 1e30

#: A package whose largest side is outside this range [m] is usually a wrong unit.
PLAUSIBLE_SIZE = 1e-3, 5.0

#: Vertices closer than this share of the diagonal are one where exact merging leaves gaps: text files round.
MERGE_SHARE = 1e-6

#: Share of the area that may lie at edges of more than two faces.
MOST_CROSSING = 0.01

#: A mesh of more connected pieces than this has fallen apart.
MOST_PIECES = 500

#: A unit that the file states is the same as the given one up to this.
SAME_UNIT = 1e-3

#: From this share of its faces on, a piece is listed twice.
ALL = 0.99

_Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Table:
    """A mesh on the way: its tables and edges, and body (m,) of each face. listed (l, 3), listed_body (l,):
    the faces with those that are listed again; repeats: which these are."""

    vertices: Vertices
    faces: Faces
    body: _Numbers
    edges: Edges
    repeats: merging.Repeats
    listed: Faces
    listed_body: _Numbers


def clean(raw: RawMesh, unit: float) -> Mesh:
    """Check, repair and measure a mesh in which one unit of length is ``unit`` [m].

    Raises GeometryError, with a hint, for what cannot be repaired without guessing.
    """
    check_unit(unit)
    findings = Findings(raw.name)
    for said in raw.notes:
        check = said.startswith("check: ")
        (findings.warnings if check else findings.notes).append(said.removeprefix("check: "))
    vertices, faces, body = _stacked(raw, unit, findings)
    before = len(faces)
    used = int(np.count_nonzero(merging.in_use(len(vertices), faces)))
    table = _tidied(vertices, faces, body, findings)
    dropped = before - len(table.faces)
    area = areas(table.vertices, table.faces)
    if not area.sum() > 0:
        raise findings.fault(
            "the mesh has no area", "its faces are points or lines: export the surface again"
        )
    _check_size(table.vertices, raw.stated_unit, unit, findings)
    _check_crossing(table.edges, area, findings)
    piece = connected_faces(len(table.faces), table.edges)
    _check_pieces(raw, table, piece, findings)
    _check_needles(table, findings)
    wound = _wound(table, area, piece, findings)
    return _assembled(raw, table, area, wound, (dropped, used - len(table.vertices)), findings)


def check_unit(unit: float) -> None:
    """Raises GeometryError for a unit [m] that is no length."""
    if not (math.isfinite(unit) and unit > 0):
        raise GeometryError(
            f"the unit of the mesh is {unit:g} m",
            field="unit",
            hint="one unit of the mesh must be a length larger than zero, such as 1 mm",
        )


def _stacked(raw: RawMesh, unit: float, findings: Findings) -> tuple[Vertices, Faces, _Numbers]:
    """All bodies in one table, in metres."""
    starts = np.cumsum([0, *(len(b.vertices) for b in raw.bodies)])
    vertices = np.concatenate([np.empty((0, 3)), *(b.vertices for b in raw.bodies)]) * unit
    faces = np.concatenate(
        [np.empty((0, 3), dtype=np.int64), *(b.faces + k for b, k in zip(raw.bodies, starts, strict=False))]
    )
    if not len(faces):
        raise findings.fault("holds no faces", "export a surface of triangles, not points or lines")
    good = np.abs(vertices) < LARGEST_NUMBER
    if not good.all():
        bad = int(np.count_nonzero(~good.all(axis=1)))
        raise findings.fault(
            f"{bad} vertices are not finite numbers of a sensible size",
            "the file is damaged: copy or export it again",
        )
    body = np.repeat(np.arange(len(raw.bodies)), [len(b.faces) for b in raw.bodies])
    return vertices, faces, body


def _tidied(vertices: Vertices, faces: Faces, body: _Numbers, findings: Findings) -> Table:
    """Vertices merged, exactly or where that leaves gaps nearly; degenerate and repeated faces dropped."""
    before = len(faces)
    vertices, faces = merging.merge(vertices, faces)
    table = _without_repeats(vertices, faces, body)
    if table.edges.open_count:
        reach = MERGE_SHARE * float(np.linalg.norm(np.ptp(vertices, axis=0)))
        rim = np.flatnonzero(merging.in_use(len(table.vertices), table.edges.ends[table.edges.uses == 1]))
        joined = merging.join_near(table.vertices, table.listed, rim, reach)
        if joined is not table.listed:
            nearer = _without_repeats(table.vertices, joined, table.listed_body)
            if nearer.edges.open_count < table.edges.open_count:
                _check_same(table, findings)  # copies that would merge
                findings.repairs.append(
                    f"vertices closer than {reach * 1e6:.2g} um were joined to close gaps "
                    f"({table.edges.open_count} open edges became {nearer.edges.open_count})"
                )
                table = nearer
    if before > len(table.faces):
        findings.repairs.append(f"{before - len(table.faces)} degenerate or repeated faces were left out")
    return table


def _check_same(table: Table, findings: Findings) -> None:
    piece = connected_faces(len(table.faces), table.edges)
    count = int(piece.max()) + 1
    if 1 < count <= MOST_PIECES:
        area = summed(piece, areas(table.vertices, table.faces), count)
        refuse_same(area, *boxes(table.vertices, table.faces, piece, count), findings)


def _without_repeats(vertices: Vertices, faces: Faces, body: _Numbers) -> Table:
    proper = merging.proper(faces)
    vertices, faces = merging.compact(vertices, faces[proper])
    body = body[proper]
    repeats = merging.repeats(faces)
    kept = faces[repeats.kept]
    return Table(vertices, kept, body[repeats.kept], Edges(kept), repeats, faces, body)


def _check_size(vertices: Vertices, stated: float | None, unit: float, findings: Findings) -> None:
    size = np.ptp(vertices, axis=0)
    if not PLAUSIBLE_SIZE[0] <= size.max() <= PLAUSIBLE_SIZE[1]:
        sides = " x ".join(f"{side * 1000:.4g}" for side in size)
        findings.warnings.append(f"the mesh is {sides} mm in size: is the unit right?")
    if stated is not None and abs(stated / unit - 1) > SAME_UNIT:
        findings.warnings.append(
            f"the file says that its unit is {_length(stated)}, but the unit given is {_length(unit)}: the "
            "given one is used; compare the size of the mesh with the drawing"
        )


def _length(metres: float) -> str:
    return f"{metres:g} m" if metres >= 1 else f"{metres * 1000:g} mm"


def _check_crossing(edges: Edges, area: Array, findings: Findings) -> None:
    crossing = int(np.count_nonzero(edges.uses > 2))
    if not crossing:
        return
    share = float(area[(edges.uses[edges.of_face] > 2).any(axis=1)].sum() / area.sum())
    said = f"{several(crossing, 'edge')} with more than two faces, at which {percent(share)} of the area lies"
    if share > MOST_CROSSING:
        raise findings.fault(
            f"{said}: no inside and outside can be told",
            "unite the bodies in the CAD program, take inner walls out, and export the outer surface only",
        )
    findings.warnings.append(said)


def _check_pieces(raw: RawMesh, table: Table, piece: _Numbers, findings: Findings) -> None:
    """Refuse a mesh that has fallen apart, and pieces that are listed twice."""
    count = int(piece.max()) + 1
    if count > MOST_PIECES:
        raise findings.fault(
            f"the mesh falls into {count} pieces that do not hang together",
            "its faces must share their vertices: join them in the CAD program and export again",
        )
    repeats = table.repeats
    if not len(repeats.extra):
        return
    faces = np.bincount(piece, minlength=count)
    whose = piece[repeats.of]
    again = np.bincount(whose, minlength=count)
    extra_body = table.listed_body[repeats.extra]
    alike = repeats.same_way | (extra_body != table.body[repeats.of])
    doubled = again >= ALL * faces
    twice = doubled & (np.bincount(whose[alike], minlength=count) > (1 - ALL) * faces)
    if twice.any():
        first = int(np.argmax(np.isin(whose, np.flatnonzero(twice))))
        one, two = raw.bodies[table.body[repeats.of[first]]].name, raw.bodies[extra_body[first]].name
        names = f"the bodies '{one}' and '{two}' are the same" if one != two else "a body is there twice"
        raise findings.fault(
            f"{names}: {int(again[twice].sum())} faces are listed more than once",
            "take the copy out of the file, or its wall would be counted twice",
        )
    if doubled.any():
        findings.notes.append("the surface is drawn from both sides, each face twice: it is counted once")


def _check_needles(table: Table, findings: Findings) -> None:
    found = needles(table.vertices, table.faces, table.edges)
    if len(found):
        place = ", ".join(f"{1000 * x:.4g}" for x in table.vertices[found[0]])
        what = (
            "1 vertex stands out like a needle"
            if len(found) == 1
            else f"{len(found)} vertices stand out like needles"
        )
        findings.warnings.append(f"{what} (the first at {place} mm): is the file damaged?")


@dataclass(frozen=True)
class Wound:
    """A table with its faces wound outward: faces (m, 3), flip (m,) which of them were turned for that, piece
    (m,) the connected piece of each, what these are, and the rims."""

    faces: Faces
    flip: NDArray[np.bool_]
    piece: _Numbers
    shells: Shells
    holes: Holes


def _wound(table: Table, area: Array, piece: _Numbers, findings: Findings) -> Wound:
    """Neighbours wound the same way, and each piece so that its volume, rims capped, is positive."""
    vertices = table.vertices
    flip = turns(len(table.faces), table.edges, piece)
    if flip is None:
        raise findings.fault(
            "the mesh is a one-sided surface: it has no inside and no outside",
            "export the outer or the inner face of the wall as one closed surface",
        )
    faces = turned(table.faces, flip) if flip.any() else table.faces
    rims = trace(vertices, faces, table.edges, piece)
    missing = torn(vertices, rims, summed(piece, area, int(piece.max()) + 1))
    shells = measured(vertices, faces, area, piece, rims, missing)
    inward = ~shells.flat & (shells.volume < 0)
    if inward.any():
        faces, flip, rims = turned(faces, inward[piece]), flip ^ inward[piece], rims.turned(inward)
    return Wound(faces, flip, piece, shells, Holes(rims, missing))


def _assembled(
    raw: RawMesh, table: Table, area: Array, wound: Wound, counts: tuple[int, int], findings: Findings
) -> Mesh:
    """Find holes, openings and walls, and put the mesh together; counts: faces dropped, vertices merged."""
    vertices, faces, shells, holes = table.vertices, wound.faces, wound.shells, wound.holes
    drawn = relations_of(vertices, faces, table.edges, wound.piece, holes.rims, shells, findings)
    accounted = holes.accounted(shells, drawn.solid, findings)
    turned_count = _count_turned(wound, drawn, findings)
    found = openings(holes.rims, holes.necks(shells, drawn.inner if drawn.nested else ~drawn.solid))
    holes.say(vertices, found, findings)
    volume = drawn.room(shells)
    _say_bodies(shells, drawn, volume, findings)
    slope, curvature = steiner(vertices, faces, table.edges)
    still = 0.0 if drawn.walls else 1.0
    size = np.ptp(vertices, axis=0)
    facts = MeshFacts(
        size=(float(size[0]), float(size[1]), float(size[2])),
        area=float(area.sum()),
        volume=drawn.material(shells) if drawn.solid.any() else volume,
        faces=len(faces),
        vertices=len(vertices),
        bodies=len(shells),
        closed=table.edges.closed,
        open_edges=table.edges.open_count,
        dropped=counts[0],
        turned=turned_count,
        merged=counts[1],
        accounted=accounted,
    )
    return Mesh(
        name=raw.name,
        vertices=vertices,
        faces=faces,
        kind="walls" if drawn.walls else "surface",
        bodies=tuple(body.name for body in raw.bodies),
        body=table.body,
        shell=wound.piece,
        area=area,
        slope=slope * still,
        curvature=curvature * still,
        openings=found,
        volume=volume,
        facts=facts,
        repairs=tuple(findings.repairs),
        notes=tuple(findings.notes),
        warnings=tuple(findings.warnings),
    )


def _count_turned(wound: Wound, drawn: Relations, findings: Findings) -> int:
    """How many faces were turned. The inner face of a solid wall points into its room: that was no fault."""
    count = np.bincount(wound.piece[wound.flip], minlength=len(wound.shells))
    total = int(np.where(drawn.inner, np.minimum(count, wound.shells.faces - count), count).sum())
    if total:
        whole = total == len(wound.faces)
        why = "they pointed inward" if whole else "they did not point the way of the others, or inward"
        findings.repairs.append(f"the winding of {total} of {len(wound.faces)} faces was repaired: {why}")
    return total


def _say_bodies(shells: Shells, drawn: Relations, volume: float | None, findings: Findings) -> None:
    if volume is None and not drawn.walls:
        if shells.flat.all() and len(shells) == 1:
            findings.notes.append("the mesh is flat: it has an area but encloses no volume")
        elif shells.sheet.any():
            findings.warnings.append(
                "the mesh is open along an edge that lies in no plane: it has an area but no volume"
            )
    if len(shells) == 1:
        return
    if not drawn.walls:
        findings.notes.append(f"the mesh has {len(shells)} separate bodies; their areas are added")
    loose = ~shells.encloses
    if loose.any() and (shells.encloses.any() or np.count_nonzero(loose) > 1):
        share = float(shells.area[loose].sum() / shells.area.sum())
        findings.warnings.append(
            f"{np.count_nonzero(loose)} of {len(shells)} bodies are open sheets that enclose nothing, "
            f"{percent(share)} of the area: do their edges meet the rest?"
        )

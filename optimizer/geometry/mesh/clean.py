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
from optimizer.geometry.mesh.doubled import MOST_PIECES, check_count, drawn_twice, strays
from optimizer.geometry.mesh.fault import several
from optimizer.geometry.mesh.findings import Findings, cm2, percent, place, sides
from optimizer.geometry.mesh.holes import Holes
from optimizer.geometry.mesh.looked_at import looked_at
from optimizer.geometry.mesh.model import Faces, Mesh, MeshFacts, RawMesh, Vertices
from optimizer.geometry.mesh.openings import openings, torn, trace
from optimizer.geometry.mesh.relations import Relations, refuse_same, relations_of
from optimizer.geometry.mesh.shells import Shells, boxes, measured
from optimizer.geometry.mesh.solids import Shows
from optimizer.geometry.mesh.spikes import needles
from optimizer.geometry.mesh.triangles import Edges, areas, box, connected_faces, summed, turned, turns
from optimizer.geometry.pieces import Array
from optimizer.units.figures import figure

#: A coordinate beyond this [m] is damage, and its square could overflow.
LARGEST_NUMBER = 1e30

#: A package whose largest side is outside this range [m] is usually a wrong unit.
PLAUSIBLE_SIZE = 1e-3, 5.0

#: Vertices closer than this share of the diagonal are one where exact merging leaves gaps: text files round.
MERGE_SHARE = 1e-6

#: Share of the area that may lie at edges of more than two faces.
MOST_CROSSING = 0.01

#: A unit that the file states is the same as the given one up to this.
SAME_UNIT = 1e-3

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


def clean(raw: RawMesh, unit: float, shows: Shows | None = None) -> Mesh:
    """Check, repair and measure a mesh in which one unit of length is ``unit`` [m].

    shows: "one face" or "both faces" of the wall, where the user says which; None to find it out.

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
    area = areas(table.vertices, table.faces)
    if not area.sum() > 0:
        raise findings.fault(
            "the mesh has no area", "its faces are points or lines: export the surface again"
        )
    _check_size(table.vertices, raw.stated_unit, unit, findings)
    _check_crossing(table.edges, area, findings)
    table, piece = _without_strays(raw, table, area, findings)
    dropped = before - len(table.faces)
    area = areas(table.vertices, table.faces)
    _say_crossing(table.edges, area, findings)
    _check_needles(table, findings)
    wound = _wound(table, area, piece, findings)
    return _assembled(raw, table, area, wound, (dropped, used - len(table.vertices)), findings, shows)


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
    vertices = np.concatenate([np.empty((0, 3)), *(b.vertices for b in raw.bodies)])
    vertices *= unit
    faces = np.concatenate(
        [np.empty((0, 3), dtype=np.int64), *(b.faces + k for b, k in zip(raw.bodies, starts, strict=False))]
    )
    if not len(faces):
        raise findings.fault("holds no faces", "export a surface of triangles, not points or lines")
    if not (vertices.max() < LARGEST_NUMBER and vertices.min() > -LARGEST_NUMBER):
        bad = int(np.count_nonzero(~(np.abs(vertices) < LARGEST_NUMBER).all(axis=1)))
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
                    f"vertices closer than {figure(reach * 1e6, 2)} um were joined to close gaps "
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
    edges = Edges(faces)
    if not edges.may_repeat():
        return Table(vertices, faces, body, edges, merging.no_repeats(len(faces)), faces, body)
    repeats = merging.repeats(faces)
    kept = faces[repeats.kept]
    return Table(vertices, kept, body[repeats.kept], Edges(kept), repeats, faces, body)


def _check_size(vertices: Vertices, stated: float | None, unit: float, findings: Findings) -> None:
    low, high = box(vertices)
    size = high - low
    if not PLAUSIBLE_SIZE[0] <= size.max() <= PLAUSIBLE_SIZE[1]:
        findings.warnings.append(f"the mesh is {sides(size)} in size: is the unit right?")
    if stated is not None and abs(stated / unit - 1) > SAME_UNIT:
        findings.warnings.append(
            f"the file says that its unit is {_length(stated)}, but the unit given is {_length(unit)}: the "
            "given one is used; compare the size of the mesh with the drawing"
        )


def _length(metres: float) -> str:
    return f"{figure(metres, 6)} m" if metres >= 1 else f"{figure(metres * 1000, 6)} mm"


def _check_crossing(edges: Edges, area: Array, findings: Findings) -> None:
    said, share = _crossing(edges, area)
    if share > MOST_CROSSING:
        raise findings.fault(
            f"{said}: no inside and outside can be told",
            "unite the bodies in the CAD program, take inner walls out, and export the outer surface only",
        )


def _say_crossing(edges: Edges, area: Array, findings: Findings) -> None:
    said, share = _crossing(edges, area)
    if share > 0:
        findings.warnings.append(said)


def _crossing(edges: Edges, area: Array) -> tuple[str, float]:
    """Edges of more than two faces in words, and the share of the area that lies at them."""
    crossing = int(np.count_nonzero(edges.uses > 2))
    if not crossing:
        return "", 0.0
    share = float(area[(edges.uses[edges.of_face] > 2).any(axis=1)].sum() / area.sum())
    said = f"{several(crossing, 'edge')} with more than two faces, at which {percent(share)} of the area lies"
    return said, share


def _without_strays(raw: RawMesh, table: Table, area: Array, findings: Findings) -> tuple[Table, _Numbers]:
    """The table, without pieces that are drawn from both sides and as good as nothing, and the connected
    piece (m,) of each face."""
    piece = connected_faces(len(table.faces), table.edges)
    check_count(piece, findings)
    if not len(table.repeats.extra):
        return table, piece
    names = tuple(body.name for body in raw.bodies)
    doubled = drawn_twice(piece, table.repeats, (table.body, table.listed_body, names), findings)
    stray = strays(table.vertices, table.faces, area, piece, doubled, findings)
    if not stray.any():
        return table, piece
    table = _without_repeats(table.vertices, table.faces[~stray], table.body[~stray])
    return table, connected_faces(len(table.faces), table.edges)


def _check_needles(table: Table, findings: Findings) -> None:
    found = needles(table.vertices, table.faces, table.edges)
    if len(found):
        what = (
            "1 vertex stands out like a needle"
            if len(found) == 1
            else f"{len(found)} vertices stand out like needles"
        )
        first = place(table.vertices[found[0]])
        findings.warnings.append(f"{what} (the first at {first}): is the file damaged?")


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
    raw: RawMesh,
    table: Table,
    area: Array,
    wound: Wound,
    counts: tuple[int, int],
    findings: Findings,
    shows: Shows | None,
) -> Mesh:
    """Find holes, openings and walls, and put the mesh together; counts: faces dropped, vertices merged."""
    vertices, faces, shells, holes = table.vertices, wound.faces, wound.shells, wound.holes
    names = tuple(body.name for body in raw.bodies)
    owner = np.zeros(len(shells), dtype=np.int64)
    owner[wound.piece] = table.body
    named = tuple(names[k] for k in owner)
    drawn = relations_of(
        vertices, faces, table.edges, wound.piece, holes.rims, shells, findings, named, shows
    )
    accounted = holes.accounted(shells, drawn.solid, findings)
    turned_count = _count_turned(wound, drawn, findings)
    found = openings(
        holes.rims, holes.necks(shells, drawn.inner if drawn.nested else ~drawn.solid), table.body, names
    )
    outer = openings(holes.rims, holes.necks(shells, drawn.outer), table.body, names)
    holes.say(vertices, found, findings)
    found, room = looked_at(vertices, faces, found, (wound.piece, table.body, names), drawn.solid, findings)
    volume = drawn.room(shells) if room is None else room
    _say_bodies(shells, drawn, volume, table.edges.closed, findings)
    slope = curvature = np.zeros(len(faces))
    if not drawn.walls:
        slope, curvature = steiner(vertices, faces, table.edges)
    low, high = box(vertices)
    size = high - low
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
        wall=drawn.thickness(shells),
    )
    return Mesh(
        name=raw.name,
        vertices=vertices,
        faces=faces,
        kind="walls" if drawn.walls else "surface",
        bodies=names,
        body=table.body,
        shell=wound.piece,
        area=area,
        slope=slope,
        curvature=curvature,
        openings=found,
        volume=volume,
        facts=facts,
        nested=drawn.pairs,
        repairs=tuple(findings.repairs),
        notes=tuple(findings.notes),
        warnings=tuple(findings.warnings),
        rims=outer,
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


def _say_bodies(
    shells: Shells, drawn: Relations, volume: float | None, closed: bool, findings: Findings
) -> None:
    if volume is None and not drawn.walls:
        if shells.flat.all() and closed:
            both = float(shells.area.sum())
            findings.warnings.append(
                f"the mesh is flat and closed: two films on each other, with {cm2(both)} together; if it is "
                f"one film, drawn from both sides, give the part 'area: {cm2(both / 2)}' instead of a mesh"
            )
        elif shells.flat.all() and len(shells) == 1:
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

"""The report of ``geometry``: what was found in a mesh, and lines for the project file."""

from __future__ import annotations

from datetime import datetime

from optimizer.geometry.mesh.model import Mesh, Upright
from optimizer.geometry.pieces import LocalThickness
from optimizer.report.figures.mesh_drawn import bodies_view, mesh_still, thickness_view
from optimizer.report.figures.model import Figure, Still
from optimizer.report.geometry import geometry_page
from optimizer.report.html.chunks import chunks_of, page_of, starting
from optimizer.report.html.model import Fact, Report, Section, filled
from optimizer.report.html.taken import basis_on_page
from optimizer.report.wording import figure, in_units, percent, with_unit
from optimizer.results_geometry import GeometryResult
from optimizer.units.systems import SI, System

_ELSE = {"surface": "both faces", "walls": "one face"}
_SHOWS = {"surface": "one face of the wall", "walls": "both faces of the wall"}


def geometry_report(
    result: GeometryResult,
    mesh: Mesh | None = None,
    upright: Upright | None = None,
    local: LocalThickness | None = None,
    *,
    units: System = SI,
    created: datetime,
) -> Report:
    """Everything that is shown of a mesh. mesh, upright: that the answer is of, without them nothing is
    drawn; local: wall thickness at each of its faces, if it is known."""
    chunks = chunks_of(geometry_page(result, units=units))
    drawings: tuple[Still, ...] = ()
    views: tuple[Figure, ...] = ()
    bodies: Still | None = None
    if mesh is not None and upright is not None:
        drawings = (mesh_still(result, mesh, upright, local, units),)
        views = (thickness_view(result, mesh, upright, local, units),)
        bodies = bodies_view(result, mesh, upright, units)
    sections = [
        Section("mesh", "The mesh", views, page_of(starting(chunks, "Wall thickness", "Openings"))),
        Section(
            "bodies",
            "Named bodies",
            () if bodies is None else (bodies,),
            page_of(starting(chunks, "Named bodies")),
        ),
        Section("repairs", "What was repaired", (), page_of(starting(chunks, "Repaired"), "Repaired")),
        Section(
            "project",
            "For the project file",
            (),
            page_of(starting(chunks, "For the project"), "For the project file"),
        ),
    ]
    return Report(
        command=result.command,
        question="What is in the mesh, and how does it go into a project?",
        title=result.title,
        verdict=_verdict(result, units),
        good=None,
        facts=_facts(result, units),
        limits=(),
        drawings=drawings,
        basis=basis_on_page(chunks, result.sources),
        sections=filled(*sections),
        version=result.version,
        inputs_sha256=result.inputs_sha256,
        created=created,
    )


def _verdict(result: GeometryResult, units: System) -> str:
    closed = "closed" if result.closed else f"{result.open_edges} open edges"
    openings = len(result.openings)
    many = "no opening" if not openings else "1 opening" if openings == 1 else f"{openings} openings"
    holds = "what it holds cannot be told"
    if result.volume_ml is not None:
        holds = f"holds {with_unit(result.volume_ml, 'mL', 4, units)}"
    high = with_unit(result.height_mm, "mm", 4, units)
    return f"{_SHOWS[result.kind].capitalize()}, {high} high; {holds}; {many}, {closed}."


def _facts(result: GeometryResult, units: System) -> tuple[Fact, ...]:
    sides = " x ".join(in_units(x, "mm", units, 4) for x in result.size_mm)
    facts = [
        Fact("Size", f"{sides} {units.unit('mm')}", f"x, y, z; one unit of the file as 1 {result.unit}"),
        Fact("Up", result.up, result.up_reason.removeprefix("up is ")),
        Fact(
            "Shows",
            _SHOWS[result.kind],
            "as given" if result.shows_given else f'as it looks; else --shows "{_ELSE[result.kind]}"',
        ),
        Fact("Area of the wall", with_unit(result.wall_area_cm2, "cm2", 4, units)),
    ]
    if result.volume_ml is not None:
        capped = "openings closed by flat lids" if result.openings else ""
        facts.append(Fact("Volume", with_unit(result.volume_ml, "mL", 4, units), capped))
    widest = max(result.openings, key=lambda x: x.area_cm2, default=None)
    if widest is not None:
        wide = f"the widest {with_unit(widest.diameter_mm, 'mm', 4, units)} across"
        facts.append(Fact("Openings", str(len(result.openings)), wide))
    found = result.wall_thickness
    if found is not None:
        mean = with_unit(found.mean_um, "um", 4, units)
        facts.append(Fact("Wall thickness", mean, f"mean; least {with_unit(found.least_um, 'um', 4, units)}"))
    used = "" if result.used_pct >= 99.995 else f"{percent(result.used_pct, 4)} of the area is used"
    facts.append(Fact("Faces", figure(result.faces, 9), used))
    return tuple(facts)

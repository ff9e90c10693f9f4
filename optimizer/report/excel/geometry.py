"""Sheets of a survey of a mesh: sizes, openings, bodies, thickness, repairs, lines for the project file."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.report.excel.table import (
    Row,
    Table,
    fact,
    facts_of,
    listing,
    whole,
)
from optimizer.report.geometry import geometry_page
from optimizer.results_geometry import GeometryResult, OpeningFound

_SHOWS = {"surface": "one face of the wall", "walls": "both faces of the wall"}


def geometry_tables(result: GeometryResult) -> dict[str, Table]:
    """All sheets of ``geometry``."""
    thickness = result.wall_thickness
    own = {
        "Openings": Table(
            "Holes with an even edge; height: of the centre above the lowest point.",
            tuple(_opening(x) for x in result.openings),
            {
                "area": "cm2",
                "diameter": "mm",
                "perimeter": "mm",
                "height": "mm",
                "centre x": "mm",
                "centre y": "mm",
                "centre z": "mm",
                "off axis": "deg",
                "unevenness": "um",
            },
        ),
        "Bodies": Table(
            "Named bodies of the file.",
            tuple(
                {"body": b.name, "faces": b.faces, "area": b.area_cm2, "unit": "cm2"} for b in result.bodies
            ),
        ),
        "Wall thickness": Table(
            "Wall thickness by area: 5 % and 95 % of the area are thinner than p05 and p95.",
            tuple(facts_of(thickness.__dict__)) if thickness else (),
        ),
        "Repairs": listing(result.repairs, "What was mended."),
        "Project file": Table(
            "Lines for the project file (YAML).",
            tuple({"line": line} for line in result.project.splitlines() if line),
        ),
    }
    return whole(result, geometry_page(result), _facts(result), own, about="What was found.")


def _facts(result: GeometryResult) -> Iterator[Row]:
    yield fact("one unit of the file", result.unit)
    for axis, size in zip("xyz", result.size_mm, strict=True):
        yield fact(f"size along {axis}", size, "mm")
    yield fact("height", result.height_mm, "mm", f"along {result.up}: {result.up_reason}")
    given = "as given" if result.shows_given else "as it looks"
    yield fact("the mesh shows", _SHOWS.get(result.kind, result.kind), remark=given)
    yield fact("area of all faces", result.area_cm2, "cm2")
    yield fact("area of the wall", result.wall_area_cm2, "cm2")
    closed = "openings closed by flat lids" if result.openings else ""
    volume = result.volume_ml
    yield fact("volume inside", volume, "mL", "cannot be told" if volume is None else closed)
    if result.room_ml is not None:
        yield fact("room inside the inner mesh", result.room_ml, "mL")
    yield fact("faces", result.faces)
    yield fact("vertices", result.vertices)
    yield fact("separate pieces", result.pieces)
    yield fact("closed", result.closed)
    yield fact("open edges", result.open_edges)
    yield fact("merged vertices", result.merged_vertices)
    yield fact("dropped faces", result.dropped_faces)
    yield fact("turned faces", result.turned_faces)
    yield fact("area used", result.used_pct, "%")
    yield fact("openings", len(result.openings))
    if result.picture is not None:
        yield fact("picture", result.picture)


def _opening(x: OpeningFound) -> Row:
    return {
        "no.": x.number,
        "area": x.area_cm2,
        "diameter": x.diameter_mm,
        "perimeter": x.perimeter_mm,
        "height": x.height_mm,
        **{f"centre {axis}": value for axis, value in zip("xyz", x.centre_mm, strict=True)},
        "faces": x.faces,
        "off axis": x.off_axis_deg,
        "unevenness": x.unevenness_um,
    }

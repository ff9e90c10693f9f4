"""Text of ``geometry``: what was found in a mesh, what was mended, and lines for the project file."""

from __future__ import annotations

from optimizer.report.basis import basis
from optimizer.report.page import Column, Page, number
from optimizer.report.wording import figure, in_units, percent, with_unit
from optimizer.results_geometry import GeometryResult, OpeningFound, ThicknessFound
from optimizer.units.systems import SI, System

#: kind of a mesh -> what it shows, and what the user would write to overrule it
SHOWS = {"surface": "one face of the wall", "walls": "both faces of the wall"}
OTHERWISE = {"surface": "both faces", "walls": "one face"}
#: An opening farther off a coordinate axis than this [deg] is said to be.
_TURNED = 1.0


def geometry_page(result: GeometryResult, *, units: System = SI) -> Page:
    """The whole answer of ``geometry``. units: that numbers are shown in."""
    page = Page().line(result.title, "bold").line()
    facts = _facts(result, units)
    width = max(len(what) for what, _ in facts) + 1
    for what, text in facts:
        page.hanging(what.ljust(width), text)
    _openings(page, result.openings, units)
    _bodies(page, result, units)
    if result.wall_thickness is not None:
        _thickness(page, result.wall_thickness, units)
    page.bullets("Repaired", result.repairs)
    basis(page, warnings=result.warnings)
    page.bullets("Notes", result.assumptions)
    page.heading("For the project file" if units.name == SI.name else "For the project file, in metric units")
    for row in result.project.splitlines():
        page.raw(f"  {row}")
    if result.picture is not None:
        page.line().line(f"Picture: {result.picture}")
    return page


def _facts(result: GeometryResult, units: System) -> list[tuple[str, str]]:
    sides = " x ".join(in_units(x, "mm", units, 4) for x in result.size_mm) + f" {units.unit('mm')}"
    high = with_unit(result.height_mm, "mm", 4, units)
    rows = [
        (
            "bounding box",
            f"{sides} (x, y, z), with one unit of the file as 1 {result.unit}",
        ),
        ("up", f"{result.up_reason.removeprefix('up is ')}; {high} high"),
        ("shows", _shows(result)),
        ("area", _area(result, units)),
        ("volume", _volume(result, units)),
        ("faces", f"{result.faces}, vertices {result.vertices}, {_pieces(result)}"),
    ]
    if result.room_ml is not None:
        rows.append(("room inside", f"{with_unit(result.room_ml, 'mL', 4, units)}, within the inner mesh"))
    if result.used_pct < 99.995:
        rows.append(("area used", percent(result.used_pct, 4)))
    return rows


def _shows(result: GeometryResult) -> str:
    said = SHOWS[result.kind] + (": each counts for half of its area" if result.kind == "walls" else "")
    if result.shows_given:
        return f"{said}, as given"
    return f'{said}, as it looks (else: --shows "{OTHERWISE[result.kind]}")'


def _area(result: GeometryResult, units: System) -> str:
    both = with_unit(result.area_cm2, "cm2", 4, units)
    if result.kind != "walls":
        return both
    return f"{both} of both faces, {with_unit(result.wall_area_cm2, 'cm2', 4, units)} of wall"


def _volume(result: GeometryResult, units: System) -> str:
    if result.volume_ml is None:
        return "cannot be told"
    inside = with_unit(result.volume_ml, "mL", 4, units)
    return f"{inside}, openings closed by flat lids" if result.openings else inside


def _pieces(result: GeometryResult) -> str:
    pieces = "in one piece" if result.pieces == 1 else f"in {result.pieces} separate pieces"
    return f"{pieces}, {'closed' if result.closed else f'{result.open_edges} open edges'}"


def _openings(page: Page, openings: tuple[OpeningFound, ...], units: System) -> None:
    if not openings:
        page.heading("Openings").indented("none")
        return
    page.heading(f"Openings: {len(openings)}")
    length, area = units.unit("mm"), units.unit("cm2")
    sizes = (number(f"diameter {length}"), number(f"area {area}"), number(f"height {length}"))
    page.table([number("no."), *sizes, Column("faces")], [_opening_row(x, units) for x in openings])
    page.indented("diameter: of the circle of the same area; height: of its centre above the lowest point")


def _opening_row(x: OpeningFound, units: System) -> list[str]:
    turned = f", {figure(x.off_axis_deg, 2)} deg off" if x.off_axis_deg > _TURNED else ""
    found = ((x.diameter_mm, "mm"), (x.area_cm2, "cm2"), (x.height_mm, "mm"))
    sizes = [in_units(value, unit, units, 4) for value, unit in found]
    return [str(x.number), *sizes, f"{x.faces}{turned}"]


def _bodies(page: Page, result: GeometryResult, units: System) -> None:
    if len(result.bodies) < 2:
        return
    page.heading(f"Named bodies: {len(result.bodies)}")
    page.table(
        [Column("body"), number("faces"), number(f"area {units.unit('cm2')}")],
        [[x.name, str(x.faces), in_units(x.area_cm2, "cm2", units, 4)] for x in result.bodies],
    )


def _thickness(page: Page, found: ThicknessFound, units: System) -> None:
    page.heading(f"Wall thickness, {units.unit('um')}")
    page.table(
        [number("mean"), number("least"), number("5 %"), number("half"), number("95 %"), number("most")],
        [
            [
                in_units(v, "um", units, 4)
                for v in (
                    found.mean_um,
                    found.least_um,
                    found.p05_um,
                    found.p50_um,
                    found.p95_um,
                    found.most_um,
                )
            ]
        ],
    )
    unknown = f"; unknown on {percent(found.unknown_pct)} of the area" if found.unknown_pct > 0.005 else ""
    page.indented(f"By area: 5 % of it is thinner than the value at 5 %. Found {found.method}{unknown}.")

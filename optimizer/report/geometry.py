"""Text of ``geometry``: what was found in a mesh, what was mended, and lines for the project file."""

from __future__ import annotations

from optimizer.report.basis import basis
from optimizer.report.page import Column, Page, number
from optimizer.report.wording import figure, percent, with_unit
from optimizer.results_geometry import GeometryResult, OpeningFound, ThicknessFound

#: kind -> what the mesh shows, and what the user would write to overrule it
_KINDS = {
    "surface": ("one face of the wall", "both faces"),
    "walls": ("both faces of the wall: each counts for half of its area", "one face"),
}
#: An opening farther off a coordinate axis than this [deg] is said to be.
_TURNED = 1.0


def geometry_page(result: GeometryResult) -> Page:
    """The whole answer of ``geometry``."""
    page = Page().line(result.title, "bold").line()
    facts = _facts(result)
    width = max(len(what) for what, _ in facts) + 1
    for what, text in facts:
        page.hanging(what.ljust(width), text)
    _openings(page, result.openings)
    _bodies(page, result)
    if result.wall_thickness is not None:
        _thickness(page, result.wall_thickness)
    page.bullets("Repaired", result.repairs)
    basis(page, warnings=result.warnings)
    page.bullets("Notes", result.assumptions)
    page.heading("For the project file")
    for row in result.project.splitlines():
        page.raw(f"  {row}")
    if result.picture is not None:
        page.line().line(f"Picture: {result.picture}")
    return page


def _facts(result: GeometryResult) -> list[tuple[str, str]]:
    sides = " x ".join(figure(x, 4) for x in result.size_mm)
    rows = [
        ("bounding box", f"{sides} mm (x, y, z), with one unit of the file as 1 {result.unit}"),
        ("up", f"{result.up_reason.removeprefix('up is ')}; {figure(result.height_mm, 4)} mm high"),
        ("shows", _shows(result)),
        ("area", _area(result)),
        ("volume", _volume(result)),
        ("faces", f"{result.faces}, vertices {result.vertices}, {_pieces(result)}"),
    ]
    if result.room_ml is not None:
        rows.append(("room inside", f"{with_unit(result.room_ml, 'mL', 4)}, within the inner mesh"))
    if result.used_pct < 99.995:
        rows.append(("area used", percent(result.used_pct, 4)))
    return rows


def _shows(result: GeometryResult) -> str:
    said, other = _KINDS[result.kind]
    return f"{said}, as given" if result.shows_given else f'{said}, as it looks (else: --shows "{other}")'


def _area(result: GeometryResult) -> str:
    both = with_unit(result.area_cm2, "cm2", 4)
    if result.kind != "walls":
        return both
    return f"{both} of both faces, {with_unit(result.wall_area_cm2, 'cm2', 4)} of wall"


def _volume(result: GeometryResult) -> str:
    if result.volume_ml is None:
        return "cannot be told"
    inside = with_unit(result.volume_ml, "mL", 4)
    return f"{inside}, openings closed by flat lids" if result.openings else inside


def _pieces(result: GeometryResult) -> str:
    pieces = "in one piece" if result.pieces == 1 else f"in {result.pieces} separate pieces"
    return f"{pieces}, {'closed' if result.closed else f'{result.open_edges} open edges'}"


def _openings(page: Page, openings: tuple[OpeningFound, ...]) -> None:
    if not openings:
        page.heading("Openings").indented("none")
        return
    page.heading(f"Openings: {len(openings)}")
    columns = [number("no."), number("diameter mm"), number("area cm2"), number("height mm"), Column("faces")]
    page.table(columns, [_opening_row(x) for x in openings])
    page.indented("diameter: of the circle of the same area; height: of its centre above the lowest point")


def _opening_row(x: OpeningFound) -> list[str]:
    turned = f", {figure(x.off_axis_deg, 2)} deg off" if x.off_axis_deg > _TURNED else ""
    sizes = [figure(v, 4) for v in (x.diameter_mm, x.area_cm2, x.height_mm)]
    return [str(x.number), *sizes, f"{x.faces}{turned}"]


def _bodies(page: Page, result: GeometryResult) -> None:
    if len(result.bodies) < 2:
        return
    page.heading(f"Named bodies: {len(result.bodies)}")
    page.table(
        [Column("body"), number("faces"), number("area cm2")],
        [[x.name, str(x.faces), figure(x.area_cm2, 4)] for x in result.bodies],
    )


def _thickness(page: Page, found: ThicknessFound) -> None:
    page.heading("Wall thickness, um")
    page.table(
        [number("mean"), number("least"), number("5 %"), number("half"), number("95 %"), number("most")],
        [
            [
                figure(v, 4)
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

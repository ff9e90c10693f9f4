"""The report of a mesh: sizes against formulas, lines for the project, pictures; shapes invented."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from xml.etree import ElementTree

import numpy as np
import pytest

from optimizer.geometry.mesh.model import Mesh
from optimizer.geometry.pieces import LocalThickness
from optimizer.geometry.survey import survey
from optimizer.report.figures.model import MeshView, Still
from optimizer.report.html.geometry import geometry_report
from optimizer.report.html.model import Report
from optimizer.report.html.one_sheet import first_page
from optimizer.report.page import Raw
from optimizer.report.snippet import project_lines
from optimizer.results_geometry import GeometryResult
from optimizer.units.systems import SI, US, System

from .test_picture import UP_Z, cup

NOW = datetime(2026, 11, 28, 10, 0)
HOSTILE = '<script>alert("1")</script> & </svg>.stl'


def surveyed(mesh: Mesh, local: LocalThickness | None = None) -> GeometryResult:
    lines = project_lines(mesh, UP_Z, path=mesh.name, unit="mm", inner=None, given_up=True)
    return survey(mesh, UP_Z, local, unit="mm", project=lines, version="0.0.0", inputs_sha256="ab" * 32)


def made(mesh: Mesh, local: LocalThickness | None = None, units: System = SI) -> Report:
    return geometry_report(surveyed(mesh, local), mesh, UP_Z, local, units=units, created=NOW)


def texts(svg: str) -> list[str]:
    return ["".join(x.itertext()) for x in ElementTree.fromstring(svg).iter() if x.tag.endswith("text")]


def test_the_facts_are_size_area_and_openings() -> None:
    """A cup of 60 mm and 100 mm height, a polygon of n = 48 sides: perimeter 2 n r sin(pi/n), base
    n r2 sin(2 pi/n) / 2."""
    facts = {f.name: (f.value, f.remark) for f in made(cup()).facts}
    assert facts["Size"] == ("60 x 60 x 100 mm", "x, y, z; one unit of the file as 1 mm")
    area = (96 * 3 * math.sin(math.pi / 48)) * 10 + 24 * 9 * math.sin(2 * math.pi / 48)
    assert facts["Area of the wall"][0] == f"{area:.1f} cm2"
    assert facts["Openings"] == ("1", "the widest 60 mm across")
    assert facts["Faces"][0] == "144"


def test_the_volume_is_told_where_it_is_known() -> None:
    mesh = replace(cup(), volume=2.5e-4)
    report = made(mesh)
    facts = {f.name: (f.value, f.remark) for f in report.facts}
    assert facts["Volume"] == ("250 mL", "openings closed by flat lids")
    assert "holds 250 mL" in report.verdict
    assert "what it holds cannot be told" in made(cup()).verdict


def test_the_first_page_has_the_picture_with_its_sizes_and_says_how_the_file_was_read() -> None:
    report = made(cup())
    (drawing,) = report.drawings
    assert isinstance(drawing, Still)
    assert {"60 mm", "100 mm"} <= set(texts(drawing.svg))
    assert "60 x 60 x 100 mm" in drawing.description
    facts = {f.name: (f.value, f.remark) for f in report.facts}
    assert facts["Up"][0] == "z"
    assert facts["Shows"] == ("one face of the wall", 'as it looks; else --shows "both faces"')
    assert report.good is None and report.limits == ()


def test_the_lines_for_the_project_file_are_never_wrapped() -> None:
    sections = {s.key: s for s in made(cup()).sections}
    page = sections["project"].page
    assert page is not None
    raw = [b.text.strip() for b in page.blocks if isinstance(b, Raw)]
    assert raw[0] == "package:" and "mesh: cup.stl" in raw


def test_without_thickness_no_face_has_a_value() -> None:
    (view,) = next(s for s in made(cup()).sections if s.key == "mesh").figures
    assert isinstance(view, MeshView)
    assert np.isnan(view.value).all() and "not known" in view.description
    assert np.ptp(view.vertices, axis=0) == pytest.approx([60, 60, 100])


def test_the_faces_have_their_thickness_in_the_units_asked_for() -> None:
    mesh = cup()
    thickness = np.where(np.arange(len(mesh.faces)) < 96, 4e-4, 8e-4)  # sides, then the floor
    local = LocalThickness(thickness, "between the faces of the mesh")
    for units, factor in ((SI, 1.0), (US, 1 / 25.4)):  # 1 mil is 25.4 um by definition
        report = made(mesh, local, units)
        (view,) = next(s for s in report.sections if s.key == "mesh").figures
        assert isinstance(view, MeshView)
        assert view.value == pytest.approx(thickness * 1e6 * factor)
        assert view.legend == f"wall thickness, {units.unit('um')}"
        assert view.legend in texts(view.still)
        assert "Wall thickness" in {f.name for f in report.facts}


def test_named_bodies_have_a_colour_each() -> None:
    mesh = cup()
    body = (np.arange(len(mesh.faces)) >= 96).astype(np.int64)
    report = made(replace(mesh, body=body, bodies=("sides", "floor")))
    (view,) = next(s for s in report.sections if s.key == "bodies").figures
    assert isinstance(view, Still) and {"bodies", "sides", "floor"} <= set(texts(view.svg))
    assert "sides 188 and floor 28.2" in view.description  # cm2, as above
    assert "bodies" not in {s.key for s in made(mesh).sections}


def test_a_hostile_file_name_is_escaped_in_the_pictures() -> None:
    report = made(replace(cup(), name=HOSTILE))
    assert report.title == HOSTILE
    (drawing,) = report.drawings
    assert isinstance(drawing, Still) and "<script" not in drawing.svg
    assert any("<script>" in t for t in texts(drawing.svg))


def test_without_its_mesh_an_answer_has_words_only() -> None:
    report = geometry_report(surveyed(cup()), created=NOW)
    assert report.drawings == () and not any(s.figures for s in report.sections)
    assert report.facts and report.verdict


def test_in_american_units_the_picture_has_inches() -> None:
    report = made(cup(), units=US)
    (drawing,) = report.drawings
    assert isinstance(drawing, Still)
    assert {"2.362 in", "3.937 in"} <= set(texts(drawing.svg))  # 60 and 100 mm over 25.4
    assert {f.name: f.value for f in report.facts}["Size"] == "2.362 x 2.362 x 3.937 in"


def test_the_picture_stands_on_the_first_page_where_nothing_else_needs_the_room() -> None:
    """A bottle is drawn about as high as wide; half of the first sheet was empty, the picture on the next."""
    assert first_page(made(cup()), (1.0,)).drawings == 1

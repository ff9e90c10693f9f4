"""Parts drawn with one face of their wall or both: ``shows``, what is drawn against what is listed, the room.

Areas and volumes are those of the polygons that the meshes are made of, worked out in ``mesh_files``.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest
import trimesh

from .mesh_files import AROUND, BASE, HEIGHT, RADIUS, ROOM, SIDE, beaker, read, said, save, walls

MESH = "mesh: beaker.stl, unit: mm, wall: side"
LID = "lid: {opening_of: body, wall: side}"
END = "end: {shape: disc, diameter: 60 mm, wall: side}"
DRAWN = "the wall is drawn"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    save(tmp_path, beaker())
    return tmp_path


def plate() -> Any:
    """A disc of 60 mm, 1 mm thick: a flat vessel or the solid of a lid."""
    return trimesh.creation.cylinder(RADIUS, 1.0, sections=96)


def nested(gap: float) -> Any:
    """Two closed shells, the inner one ``gap`` mm inside the outer one on all sides, by name."""
    outer = trimesh.creation.cylinder(RADIUS, HEIGHT, sections=96)
    inner = trimesh.creation.cylinder(RADIUS - gap, HEIGHT - 2 * gap, sections=96)
    return trimesh.Scene({"outside": outer, "inside": inner})


def test_shows_decides_whether_a_plate_counts_once_or_half(tmp_path: Path) -> None:
    save(tmp_path, plate(), "plate.stl")
    part = "flat: {mesh: plate.stl, unit: mm, wall: side, dimensions: middle%s}"
    both_sides = 2 * BASE + AROUND * 1.0
    for shows, area, asked in (
        ("", both_sides, True),
        (", shows: one face", both_sides, False),
        (", shows: both faces", both_sides / 2, False),
    ):
        project = read(tmp_path, part % shows, "body: {area: 200 cm2, wall: side}")
        assert walls(project)["flat"].area(0.0) * 1e6 == pytest.approx(area, rel=1e-6), shows
        assert any("is this one face of the wall" in w for w in project.case.warnings) is asked


def test_a_plate_said_to_have_both_faces_can_be_measured_between_them(tmp_path: Path) -> None:
    save(tmp_path, plate(), "plate.stl")
    part = "flat: {mesh: plate.stl, unit: mm, wall: other, thickness: between faces%s}"
    (problem,) = said(tmp_path, part % "", "body: {area: 200 cm2, wall: side}")
    assert "write 'shows: both faces'" in problem
    project = read(tmp_path, part % ", shows: both faces", "body: {area: 200 cm2, wall: side}")
    flat = walls(project)["flat"]
    assert 1e6 * flat.permeation_area(1e-3) == pytest.approx(BASE, rel=0.03)


def test_another_word_for_what_a_mesh_shows_is_refused_with_those_there_are(folder: Path) -> None:
    (problem,) = said(folder, f"body: {{{MESH}, shows: both}}", LID)
    assert "parts.body.shows: 'both' is not known here" in problem
    assert "one face" in problem or "both faces" in problem


def test_both_faces_said_of_an_open_surface_is_refused_at_the_mesh(folder: Path) -> None:
    (problem,) = said(folder, f"body: {{{MESH}, shows: both faces}}", END)
    assert "parts.body.mesh: beaker.stl: shows both faces" in problem and "shows: one face" in problem


def test_a_body_in_another_with_no_wall_between_asks_what_it_is(tmp_path: Path) -> None:
    nested(12.0).export(tmp_path / "nested.glb")
    part = "body: {mesh: nested.glb, unit: mm, wall: side%s}"
    (problem,) = said(tmp_path, part % "")
    assert "'inside' lies inside 'outside', 12 mm apart: are they the two faces" in problem
    room = f"{math.pi * 0.999 * 18**2 * 76 / 1e3 - 10:.0f} mL"
    assert walls(read(tmp_path, part % ", shows: both faces", volume=room))


@pytest.mark.parametrize(("gap", "warned"), [(0.4, False), (0.45, False), (0.8, True), (0.3, True)])
def test_a_wall_drawn_more_than_a_fifth_off_its_layers_is_a_warning(
    tmp_path: Path, gap: float, warned: bool
) -> None:
    """The wall as listed is 0.4 mm; between the flats of two prisms of 96 sides lies 0.9995 of the gap."""
    nested(gap).export(tmp_path / "nested.glb")
    project = read(tmp_path, "body: {mesh: nested.glb, unit: mm, wall: side}")
    found = [w for w in project.case.warnings if DRAWN in w]
    assert bool(found) is warned
    if warned:
        assert f"drawn {gap:g} mm thick, and given as {SIDE:g} mm" in found[0]
        assert "thickness: between faces" in found[0]


@pytest.mark.parametrize("keys", ["thickness: between faces", "thickness: 0.8 mm", "thickness_ratio: 2"])
def test_a_wall_drawn_as_thick_as_it_is_given_is_no_warning(tmp_path: Path, keys: str) -> None:
    nested(0.8).export(tmp_path / "nested.glb")
    project = read(tmp_path, f"body: {{mesh: nested.glb, unit: mm, wall: side, {keys}}}")
    assert not [w for w in project.case.warnings if DRAWN in w]


def test_a_region_with_one_face_of_a_wall_is_a_warning_and_one_with_both_is_none(tmp_path: Path) -> None:
    nested(0.4).export(tmp_path / "nested.glb")
    part = "body: {mesh: nested.glb, unit: mm, wall: side, up: z, regions: {skin: {%s, thickness_ratio: 2}}}"
    for rule, warned in (("body: outside", True), ("below: 30 mm", False)):
        warnings = read(tmp_path, part % rule).case.warnings
        assert any("'skin' takes one face of the wall only" in w for w in warnings) is warned


def test_the_room_of_a_part_with_an_inner_face_is_that_of_the_inner_mesh(folder: Path) -> None:
    """The inner beaker is 0.8 mm smaller in radius and begins 0.8 mm higher."""
    save(folder, beaker(radius=RADIUS - 0.8, base=0.8), "inside.stl")
    (problem,) = said(folder, f"body: {{{MESH}, inner: inside.stl}}", LID, volume="2 L")
    room = BASE * (1 - 0.8 / RADIUS) ** 2 * (HEIGHT - 0.8) / 1e6
    told = re.search(r"the parts hold ([0-9.]+) L", problem)
    assert told and float(told[1]) == pytest.approx(room, rel=5e-4)
    assert room < 0.95 * ROOM / 1e3

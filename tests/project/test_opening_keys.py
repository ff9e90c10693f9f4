"""Openings of meshes in a project: which one a region counts from, covers, flanges, seals.

Expected areas are those of the polygons that the meshes are made of, worked out in ``mesh_files``.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import trimesh

from optimizer.project import Project
from optimizer.shelflife.changes import changes
from optimizer.shelflife.covered import expand
from optimizer.shelflife.package import WallPart
from optimizer.shelflife.predict import predict

from .mesh_files import BASE, HEIGHT, RADIUS, SIDE, SIDES, beaker, oxygen, read, ring_mesh, said, save, walls

#: Area of the polygon in a circle of radius 1 [mm2].
CIRCLE = BASE / RADIUS**2
FLANGE = 10.0
CAP_RADIUS, CAP_LOW = 32.0, 90.0
CAP_AROUND = 2 * SIDES * CAP_RADIUS * math.sin(math.pi / SIDES)
MESH = "mesh: {}, unit: mm, wall: side, dimensions: middle"
BODY = f"body: {{{MESH.format('beaker.stl')}}}"
LID = "lid: {opening_of: body, wall: side}"


def solid_of_revolution(radii: list[float], heights: list[float]) -> trimesh.Trimesh:
    mesh = trimesh.Trimesh(*ring_mesh(np.array(radii), np.array(heights)), process=False)
    mesh.merge_vertices()
    mesh.update_faces(mesh.nondegenerate_faces())
    return mesh


def cap() -> trimesh.Trimesh:
    return solid_of_revolution([CAP_RADIUS, CAP_RADIUS, 0.0], [CAP_LOW, HEIGHT + 2.0, HEIGHT + 2.0])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    save(tmp_path, beaker())
    save(tmp_path, cap(), "cap.stl")
    scene = trimesh.Scene()
    scene.add_geometry(beaker(), node_name="bottle", geom_name="bottle")
    scene.add_geometry(cap(), node_name="cap", geom_name="cap")
    scene.export(tmp_path / "pack.glb")
    edge = RADIUS + FLANGE
    save(tmp_path, solid_of_revolution([0, RADIUS, RADIUS, edge], [0, 0, HEIGHT, HEIGHT]), "tray.stl")
    radii = [0, RADIUS + 1, RADIUS + 1, RADIUS, RADIUS, 0]
    save(tmp_path, solid_of_revolution(radii, [0, 0, HEIGHT, HEIGHT, 1, 1]), "jar.stl")
    return tmp_path


def told(project: Project) -> list[str]:
    """What is said of openings, as warnings."""
    return [text for text in project.case.warnings if "opening" in text]


def mass(project: Project) -> float:
    """Of the whole package [g]."""
    return predict(project.case).mass_g


# -- regions from an opening ---------------------------------------------------------------------------------


def test_a_neck_under_a_cap_of_the_same_file_is_taken_from_its_own_opening(folder: Path) -> None:
    regions = "{neck: {from_opening: 15 mm, thickness: 2 mm}, cap: {body: cap}}"
    project = read(folder, f"body: {{{MESH.format('pack.glb')}, regions: {regions}}}")
    around = 2 * SIDES * RADIUS * math.sin(math.pi / SIDES)
    assert walls(project)["neck"].area(0.0) * 1e6 == pytest.approx(around * 15, rel=1e-6)
    assert [t for t in project.case.assumptions if "region 'neck' counts from opening 2 of 'bottle'" in t]


def test_the_number_of_the_opening_can_be_given(folder: Path) -> None:
    regions = "{skirt: {from_opening: 5 mm, opening: 1, thickness: 2 mm}}"
    project = read(folder, f"body: {{{MESH.format('pack.glb')}, regions: {regions}}}")
    assert walls(project)["skirt"].area(0.0) * 1e6 == pytest.approx(CAP_AROUND * 5, rel=1e-6)


@pytest.mark.parametrize(
    ("region", "expected"),
    [
        ("{opening: 1, below: 20 mm}", "names opening 1 but no distance from it (add 'from_opening: 15 mm')"),
        ("{from_opening: 15 mm, opening: 7}", "the mesh has no opening 7; it has 1 ("),
        ("{from_opening: 15 mm, opening: 0}", "from 1 to 1000"),
        ("{from_opening: 15 mm, sealed: maybe}", "'maybe' is not known here (true or false)"),
        ("{from_opening: 15 mm, sealed: true, wall: other}", "lies under a seal and has a wall of its own"),
        ("{above: 0 mm, sealed: true}", "its part has no other wall that it belongs to"),
    ],
)
def test_mistakes_in_openings_and_seals_of_regions_are_told(folder: Path, region: str, expected: str) -> None:
    (problem,) = said(folder, f"body: {{{MESH.format('beaker.stl')}, regions: {{neck: {region}}}}}", LID)
    assert expected in problem and "package.parts.body.regions.neck" in problem


@pytest.mark.parametrize("rule", ["below: 20 m", "below: 2000 mm", "from_opening: 500 mm"])
def test_a_region_far_beyond_its_part_is_asked_about(folder: Path, rule: str) -> None:
    project = read(folder, f"body: {{{MESH.format('beaker.stl')}, regions: {{a: {{{rule}}}}}}}", LID)
    assert [t for t in project.case.warnings if "far beyond the part" in t and "is its unit right?" in t]
    near = read(folder, f"body: {{{MESH.format('beaker.stl')}, regions: {{a: {{below: 101 mm}}}}}}", LID)
    assert not [t for t in near.case.warnings if "far beyond" in t]


# -- covers --------------------------------------------------------------------------------------------------


def test_a_cap_that_is_a_body_of_the_mesh_covers_its_opening(folder: Path) -> None:
    part = f"body: {{{MESH.format('pack.glb')}, regions: {{cap: {{body: cap, wall: other}}}}}}"
    assert told(read(folder, part)) == []
    (warning,) = told(read(folder, part, "lid: {opening_of: body, opening: 2, wall: side}"))
    assert "over its opening 2 lie 'lid' and 'cap' of the same mesh" in warning


def test_a_cap_that_is_a_mesh_of_its_own_covers_the_opening_below_it(folder: Path) -> None:
    part = f"cap: {{{MESH.format('cap.stl')}}}"
    project = read(folder, BODY, part)
    assert told(project) == []
    assert "Part 'body': its opening 1 is covered by the mesh of 'cap'." in project.case.assumptions
    (warning,) = told(read(folder, BODY, part, LID))
    assert "over its opening 1 lie 'lid' and the mesh of 'cap'" in warning


def test_a_cap_drawn_elsewhere_covers_nothing_and_the_way_out_is_told(folder: Path) -> None:
    aside = cap()
    aside.apply_translation((200, 0, 0))
    save(folder, aside, "cap.stl")
    warnings = told(read(folder, BODY, f"cap: {{{MESH.format('cap.stl')}}}"))
    assert len(warnings) == 2
    assert all("covers it where both are drawn in the same coordinates" in text for text in warnings)


def test_two_parts_over_one_opening_are_warned_of_for_they_count_side_by_side(folder: Path) -> None:
    (warning,) = told(read(folder, BODY, LID, "foil: {opening_of: body, wall: other}"))
    assert warning.startswith("Part 'body': over its opening 1 lie 'lid' and 'foil': gas is taken to pass")
    assert told(read(folder, BODY, LID)) == []


def test_the_mouth_of_a_solid_is_an_opening_like_any_other(folder: Path) -> None:
    part = "body: {mesh: jar.stl, unit: mm, wall: side}"
    (warning,) = told(read(folder, part))
    assert "its opening 1 of 28.3 cm2 is taken as tight" in warning
    project = read(folder, part, LID)
    assert told(project) == []
    assert walls(project)["lid"].area(0.0) * 1e6 == pytest.approx(BASE, rel=1e-6)


def test_a_solid_whose_mouth_is_not_found_is_warned_of_unless_something_covers_it(folder: Path) -> None:
    turn = np.linspace(0, math.pi, 9)
    radii = [0, *(RADIUS + 0.5 + 0.5 * np.cos(turn)), 0]
    heights = [0, *(HEIGHT + 0.5 * np.sin(turn)), 1]
    radii[1:1], heights[1:1] = [RADIUS + 1], [0]
    radii[-1:-1], heights[-1:-1] = [RADIUS], [1]
    save(folder, solid_of_revolution(radii, heights), "round.stl")
    part = "body: {mesh: round.stl, unit: mm, wall: side}"
    assert [t for t in read(folder, part).case.warnings if "no mouth was found in round.stl" in t]
    covered = read(folder, part, "end: {area: 28 cm2, wall: side}")
    assert not [t for t in covered.case.warnings if "no mouth" in t]


# -- flanges and seals ---------------------------------------------------------------------------------------

TRAY = MESH.format("tray.stl")
SEALED = f"body: {{{TRAY}, regions: {{flange: {{from_opening: 0.1 mm, sealed: true}}}}}}"
#: Area of the flange [mm2].
RING = CIRCLE * ((RADIUS + FLANGE) ** 2 - RADIUS**2)


def test_gas_passes_a_lid_within_the_flange_but_all_of_it_weighs(folder: Path) -> None:
    project = read(folder, f"body: {{{TRAY}}}", LID)
    assert oxygen(project)["lid"] == pytest.approx(BASE / SIDE, rel=1e-6)
    lid = walls(project)["lid"]
    assert lid.mass_area(SIDE * 1e-3) * 1e6 == pytest.approx(BASE + RING, rel=1e-6)
    (note,) = [t for t in project.case.assumptions if t.startswith("Part 'lid'")]
    assert "gas passes the 28.25 cm2 within the flange only" in note
    assert "'flange: {from_opening: 0.1 mm, sealed: true}'" in note


def test_a_flange_under_a_seal_weighs_and_lets_nothing_through(folder: Path) -> None:
    open_one, sealed = read(folder, f"body: {{{TRAY}}}", LID), read(folder, SEALED, LID)
    assert mass(sealed) == pytest.approx(mass(open_one), rel=1e-9)
    # the tenth of a millimetre of wall below the flange is taken too
    around = 2 * SIDES * RADIUS * math.sin(math.pi / SIDES)
    less = oxygen(open_one)["body"] - oxygen(sealed)["body"]
    assert less == pytest.approx((RING + 0.1 * around) / SIDE, rel=1e-6)
    assert list(walls(sealed)) == ["body", "lid"]
    told_area = f"its region 'flange', {(RING + 0.1 * around) / 100:.4g} cm2, lies under the seal"
    assert [t for t in sealed.case.assumptions if told_area in t]


def test_a_flange_under_a_seal_may_have_a_thickness_of_its_own(folder: Path) -> None:
    thick = SEALED.replace("sealed: true", "sealed: true, thickness: 0.8 mm")
    a, b = walls(read(folder, SEALED, LID))["body"], walls(read(folder, thick, LID))["body"]
    under = sum(p.area for p in a.sealed)
    assert b.mass_area(SIDE * 1e-3) - a.mass_area(SIDE * 1e-3) == pytest.approx(under, rel=1e-9)
    assert a.permeation_area(SIDE * 1e-3) == b.permeation_area(SIDE * 1e-3)


def test_a_region_that_is_not_sealed_stays_a_part(folder: Path) -> None:
    part = SEALED.replace("true", "false")
    assert list(walls(read(folder, part, LID))) == ["body", "flange", "lid"]


@pytest.mark.parametrize("way", ["steady", "transient"])
def test_a_label_over_all_of_a_part_leaves_what_lies_under_its_seal(folder: Path, way: str) -> None:
    label = "labels: {all: {on: body, share: 100 %, layers: [{material: plain stuff, thickness: 50 um}]}}"
    walls_below = {"walls:": f"  {label}\nwalls:", "wall: steady": f"wall: {way}"}
    diffusive = {
        "temperature: 23 degC, humidity: 90 %}": "temperature: 23 degC, humidity: 90 %}\n    diffusivity:\n"
        "      - {gas: O2, value: 1e-12 m2/s, temperature: 23 degC}\n"
        "      - {gas: N2, value: 1e-12 m2/s, temperature: 23 degC}\n"
        "      - {gas: H2O, value: 1e-12 m2/s, temperature: 23 degC}"
    }
    texts = walls_below | (diffusive if way == "transient" else {})
    plain = predict(read(folder, f"body: {{{TRAY}}}", LID, **texts).case)
    sealed = predict(read(folder, SEALED, LID, **texts).case)
    around = 2 * SIDES * RADIUS * math.sin(math.pi / SIDES)
    # the label is not on the flange: so much less of it [mm3 of 1 g/mL]
    assert plain.mass_g - sealed.mass_g == pytest.approx((RING + 0.1 * around) * 0.05e-3, rel=1e-6)


def test_what_lies_under_a_seal_leaves_the_thickness_told_of_a_part_as_it_is(folder: Path) -> None:
    """Its mass over its open area would be 440 um."""
    package = expand(read(folder, SEALED, LID).case.package)
    parts = {part.name: part for part in package.parts if isinstance(part, WallPart)}
    for name in ("body", "lid"):
        nominal = package.walls[parts[name].wall].thickness
        assert nominal * parts[name].mean_ratio(nominal) == pytest.approx(400e-6, rel=1e-9)


def test_a_comparison_tells_that_a_region_went_under_the_seal(folder: Path) -> None:
    open_one, sealed = read(folder, f"body: {{{TRAY}}}", LID).case, read(folder, SEALED, LID).case
    answers = predict(open_one), predict(sealed)
    (change,) = [c for c in changes(open_one, sealed, *answers) if "under the seal" in c.what]
    assert change.now == "22.16 cm2"

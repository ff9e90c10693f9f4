"""Parts drawn as a mesh: regions, openings, which way is up, and every mistake with its place.

Expected areas are those of the polygons that the meshes are made of, worked out in ``mesh_files``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
import trimesh

import optimizer
from optimizer.errors import InputError
from optimizer.project import load_project
from optimizer.shelflife.check import walls_to_scale

from .mesh_files import (
    AROUND,
    BASE,
    HEIGHT,
    OTHER,
    RADIUS,
    ROOM,
    SIDE,
    beaker,
    oxygen,
    read,
    said,
    save,
    walls,
    write,
)

MESH = "mesh: beaker.stl, unit: mm, wall: side, dimensions: middle"
LID = "lid: {opening_of: body, wall: side}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    save(tmp_path, beaker())
    return tmp_path


# -- regions -------------------------------------------------------------------------------------------------


def test_a_mesh_without_regions_is_one_patch_of_its_area(folder: Path) -> None:
    part = walls(read(folder, f"body: {{{MESH}}}", LID))["body"]
    assert len(part.patches) == 1 and part.unevenness is None
    assert part.area(0.0) == pytest.approx((BASE + AROUND * HEIGHT) * 1e-6, rel=1e-6)


def test_regions_are_parts_whose_areas_add_up_to_that_of_the_mesh(folder: Path) -> None:
    regions = "{foot: {below: 20 mm, thickness_ratio: 1.4}, rim: {above: 90 mm, wall: other}}"
    parts = walls(read(folder, f"body: {{{MESH}, regions: {regions}}}", LID))
    assert list(parts) == ["body", "foot", "rim", "lid"]
    assert {name: part.wall for name, part in parts.items()} == {
        "body": "side",
        "foot": "side",
        "rim": "other",
        "lid": "side",
    }
    areas = {name: part.area(0.0) * 1e6 for name, part in parts.items()}
    assert areas["foot"] == pytest.approx(BASE + AROUND * 20, rel=1e-6)
    assert areas["rim"] == pytest.approx(AROUND * 10, rel=1e-6)
    assert areas["body"] == pytest.approx(AROUND * 70, rel=1e-6)


def test_a_region_lets_through_what_its_own_wall_and_thickness_do(folder: Path) -> None:
    regions = (
        "{foot: {below: 20 mm, thickness_ratio: 1.4}, rim: {above: 90 mm, wall: other}, "
        "band: {above: 50 mm, below: 60 mm, thickness: 250 um}}"
    )
    project = read(folder, f"body: {{{MESH}, regions: {regions}}}", LID)
    expected = {
        "body": AROUND * 60 / SIDE,
        "foot": (BASE + AROUND * 20) / (1.4 * SIDE),
        "rim": AROUND * 10 / OTHER,
        "band": AROUND * 10 / 0.25,
        "lid": BASE / SIDE,
    }
    assert oxygen(project) == pytest.approx(expected, rel=1e-6)


def test_a_region_takes_the_thickness_of_its_part_but_not_for_another_wall(folder: Path) -> None:
    regions = "{foot: {below: 20 mm}, rim: {above: 90 mm, wall: other}}"
    parts = walls(read(folder, f"body: {{{MESH}, thickness_ratio: 2, regions: {regions}}}", LID))
    assert [parts[n].patches[0].ratio for n in ("body", "foot", "rim")] == pytest.approx([2, 2, 1])


def test_the_first_region_that_takes_a_face_keeps_it(folder: Path) -> None:
    regions = "{foot: {below: 20 mm}, more: {below: 50 mm}}"
    parts = walls(read(folder, f"body: {{{MESH}, regions: {regions}}}", LID))
    assert parts["more"].area(0.0) * 1e6 == pytest.approx(AROUND * 30, rel=1e-6)


def test_a_region_is_a_box_a_distance_from_the_opening_or_a_named_body(tmp_path: Path) -> None:
    low, high = beaker(rings=50, height=50.0), beaker(rings=50)
    high.update_faces(high.triangles_center[:, 2] > 50.0)
    scene = trimesh.Scene({"lower": low, "upper": high})
    scene.export(tmp_path / "beaker.glb")
    mesh = MESH.replace("beaker.stl", "beaker.glb")
    regions = (
        "{neck: {from_opening: 10 mm}, base: {box: [[-40 mm, -40 mm, -1 mm], [40 mm, 40 mm, 0.1 mm]]}, "
        "top: {body: upper}}"
    )
    parts = walls(read(tmp_path, f"body: {{{mesh}, up: z, regions: {regions}}}", LID))
    areas = {name: part.area(0.0) * 1e6 for name, part in parts.items()}
    assert areas["base"] == pytest.approx(BASE + AROUND * 0.1, rel=1e-6)
    assert areas["neck"] == pytest.approx(AROUND * 10, rel=1e-6)
    assert areas["top"] == pytest.approx(AROUND * 40, rel=1e-6)
    assert areas["body"] == pytest.approx(AROUND * 49.9, rel=1e-6)


def test_where_regions_take_the_whole_mesh_no_part_is_left_and_the_room_is_still_known(folder: Path) -> None:
    regions = "{low: {below: 50 mm}, high: {above: 50 mm}}"
    project = read(folder, f"body: {{{MESH}, regions: {regions}}}", LID)
    assert list(walls(project)) == ["low", "high", "lid"]
    assert any("take the whole mesh" in text for text in project.case.assumptions)
    wrong = said(folder, f"body: {{{MESH}, regions: {regions}}}", LID, volume="2 L")
    assert len(wrong) == 1 and "the parts hold 0.278" in wrong[0]


@pytest.mark.parametrize(
    ("wall", "regions", "thicker"),
    [
        ("side", "", 0.0),
        ("side", "{foot: {below: 20 mm}, rim: {above: 20 mm, wall: other}}", 80 * AROUND),
        ("other", "{rim: {above: 20 mm, wall: side}}", BASE + 20 * AROUND),
        ("side", "{rim: {above: 20 mm, thickness: {heights: [[0 mm, 1 mm], [99 mm, 1 mm]]}}}", 80 * AROUND),
        ("other", "{low: {below: 50 mm, wall: side}, top: {above: 50 mm, wall: side}}", 0.0),
    ],
)
def test_every_region_takes_room_for_its_own_wall(
    folder: Path, wall: str, regions: str, thicker: float
) -> None:
    """To first order the room shrinks by the area times the thickness of the wall on it."""
    mesh = f"mesh: beaker.stl, unit: mm, wall: {wall}, dimensions: outside"
    mesh += f", regions: {regions}" if regions else ""
    (problem,) = said(folder, f"body: {{{mesh}}}", LID, volume="2 L")
    assert problem.startswith("project.yaml:18:3: package.parts: product and headspace take 2.01 L, and")
    held = float(problem.partition("the parts hold ")[2].partition(" L")[0])
    area = BASE + AROUND * HEIGHT
    expected = ROOM * 1e-3 - 1e-6 * (SIDE * area + (OTHER - SIDE) * thicker)
    assert held == pytest.approx(expected, abs=6e-5)


def test_which_way_is_up_can_be_said(folder: Path) -> None:
    mesh = beaker()
    mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0]))
    save(folder, mesh)  # the open top now faces along +x
    foot = "regions: {foot: {below: 20 mm}}"
    areas = {}
    for up in ("", "up: x, ", "up: -x, "):
        project = read(folder, f"body: {{{MESH}, {up}{foot}}}", LID)
        areas[up] = walls(project)["foot"].area(0.0) * 1e6
        told = [text for text in project.case.assumptions if "up is taken as x" in text]
        assert len(told) == (up == "")
    assert areas[""] == areas["up: x, "] == pytest.approx(BASE + AROUND * 20, rel=1e-6)
    assert areas["up: -x, "] == pytest.approx(AROUND * 20, rel=1e-6)


def test_a_region_may_be_named_under_uncertainty_like_any_part(folder: Path) -> None:
    path = write(folder, f"body: {{{MESH}, regions: {{foot: {{below: 20 mm}}}}}}", LID)
    text = path.read_text("utf-8") + "uncertainty: {thickness: {foot: 5 %, fot: 5 %}}\n"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError, match="there is no wall or part 'fot' .did you mean 'foot'") as caught:
        load_project(path)
    assert len(caught.value.problems) == 1


# -- openings ------------------------------------------------------------------------------------------------


def test_a_part_over_an_opening_has_its_area_and_its_own_thickness(folder: Path) -> None:
    project = read(
        folder, f"body: {{{MESH}}}", "lid: {opening_of: body, opening: 1, wall: other, thickness_ratio: 0.5}"
    )
    lid = walls(project)["lid"]
    assert lid.wall == "other" and lid.area(0.0) * 1e6 == pytest.approx(BASE, rel=1e-6)
    assert oxygen(project)["lid"] == pytest.approx(BASE / (0.5 * OTHER), rel=1e-6)
    assert any("flat over opening 1 of 'body', 28.2" in text for text in project.case.assumptions)


@pytest.mark.parametrize(
    ("now", "wanted"),
    [
        ("thickness_ratio: 0.9, regions: {rim: {above: 90 mm, wall: other}}", ("side",)),
        ("thickness_ratio: 1, regions: {rim: {above: 90 mm, wall: other}}", ("side",)),
        ("thickness_ratio: 1, regions: {rim: {above: 90 mm, wall: other, thickness_ratio: 0.9}}", ("other",)),
    ],
)
def test_a_check_thins_the_body_and_no_rim_or_lid_that_was_left_as_it_is(
    folder: Path, now: str, wanted: tuple[str, ...]
) -> None:
    """Neck finish and cap are fixed by the closure that they fit (common practice, no source)."""
    lid = "lid: {opening_of: body, wall: other}"
    rim = "regions: {rim: {above: 90 mm, wall: other}}"
    before = read(folder, f"body: {{{MESH}, thickness_ratio: 1, {rim}}}", lid).case
    case = read(folder, f"body: {{{MESH}, {now}}}", lid).case
    assert walls_to_scale(before, case) == wanted
    # a wall whose own layers differ is thinned, whatever it is of, and 'design' says which are free
    thick = {"thickness: 1 mm": "thickness: 2 mm"}
    other = read(folder, f"body: {{{MESH}, {now}}}", lid, **thick).case
    assert "other" in walls_to_scale(before, other)
    assert walls_to_scale(case, case, ("other",)) == ("other",)


def test_where_no_wall_differs_a_check_thins_what_a_design_may_change(folder: Path) -> None:
    rim = "regions: {rim: {above: 90 mm, wall: other}}"
    text = "design: {walls: [other], choose_from: [plain stuff], rules: {inside: any, outside: any}}"
    design = {"wall: steady": f"wall: steady\n{text}", "headspace_oxygen: 5 %": "headspace_oxygen: 50 %"}
    lid = "lid: {opening_of: body, wall: side}"
    project = read(folder, f"body: {{{MESH}, {rim}}}", lid, **design)
    light = optimizer.check(project, project).lightest_passing
    assert light is not None and list(light["walls"]) == ["other"]
    assert "wall side kept as it is." in light["note"]


def test_a_part_over_an_opening_may_stand_before_its_mesh(folder: Path) -> None:
    assert list(walls(read(folder, LID, f"body: {{{MESH}}}"))) == ["lid", "body"]


def test_an_opening_that_nothing_covers_is_told_with_the_line_to_add(folder: Path) -> None:
    project = read(folder, f"body: {{{MESH}}}")
    (warning,) = [w for w in project.case.warnings if "opening" in w]
    assert warning == (
        "Part 'body': its opening 1 of 28.3 cm2 is taken as tight, for no part covers it: add a part such as "
        "'lid: {opening_of: body, wall: side}', or a closure with its transmission"
    )


@pytest.mark.parametrize(
    "cover",
    [
        LID,
        "cap: {transmission: [{gas: O2, value: 0.01 cm3/(day*atm), temperature: 23 degC}]}",
        "end: {shape: disc, diameter: 60 mm, wall: side}",
        "end: {area: 28 cm2, wall: side}",
    ],
)
def test_an_opening_is_covered_by_a_lid_a_closure_or_an_end(folder: Path, cover: str) -> None:
    warnings = read(folder, f"body: {{{MESH}}}", cover).case.warnings
    assert not [text for text in warnings if "opening" in text]


def test_a_hole_covers_no_opening(folder: Path) -> None:
    hole = "seal: {pinhole: {diameter: 10 um, length: 2 mm}}"
    assert any("opening 1" in w for w in read(folder, f"body: {{{MESH}}}", hole).case.warnings)


@pytest.mark.parametrize("cover", [LID, "end: {shape: disc, diameter: 60 mm, wall: side}"])
def test_of_two_openings_the_one_that_is_left_is_told(tmp_path: Path, cover: str) -> None:
    tube = beaker()
    tube.update_faces(tube.triangles_center[:, 2] > 1e-6)
    tube.vertices[tube.vertices[:, 2] > 99.9, :2] *= 0.5  # a narrower end at the top
    save(tmp_path, tube)
    (warning,) = [w for w in read(tmp_path, f"body: {{{MESH}}}", cover).case.warnings if "opening" in w]
    assert "its opening 2 of 7.0" in warning and "{opening_of: body, opening: 2, wall: side}" in warning


# -- files ---------------------------------------------------------------------------------------------------


def test_the_hash_of_a_project_covers_meshes_and_tables(folder: Path) -> None:
    save(folder, beaker(rings=10))
    save(folder, beaker(rings=10, radius=RADIUS - 0.4, base=0.4), "inside.stl")
    (folder / "local.csv").write_text("height mm,thickness um\n0,400\n100,380\n")
    parts = (
        f"body: {{{MESH}, inner: inside.stl, thickness: 400 um, "
        "regions: {foot: {below: 20 mm, thickness: local.csv}}}",
        LID,
    )
    before = read(folder, *parts)
    assert [f.name for f in before.files] == ["project.yaml", "beaker.stl", "inside.stl", "local.csv"]
    for name in ("beaker.stl", "inside.stl", "local.csv"):
        content = (folder / name).read_bytes()
        (folder / name).write_bytes(content.replace(b"\n100,380", b"\n100,381") + b"\0" * (name[0] != "l"))
        if name != "local.csv":  # one byte more is no STL: only the sum counts here
            (folder / name).write_bytes(_moved(content))
        assert read(folder, *parts).sha256 != before.sha256, name
        (folder / name).write_bytes(content)
    assert read(folder, *parts).sha256 == before.sha256


def _moved(stl: bytes) -> bytes:
    """The same binary STL with another text in its header."""
    return b"another header".ljust(80) + stl[80:]


def test_what_was_mended_in_a_mesh_is_an_assumption_with_the_name_of_the_part(tmp_path: Path) -> None:
    mesh = beaker()
    mesh.faces = np.concatenate([mesh.faces, mesh.faces[:3]])
    save(tmp_path, mesh)
    assumed = read(tmp_path, f"body: {{{MESH}}}", LID).case.assumptions
    assert any(a.startswith("Part 'body': ") and "3 " in a and "repeated" in a for a in assumed)


def test_two_hundred_thousand_faces_with_a_table_of_heights_load_fast(tmp_path: Path) -> None:
    mesh = beaker(rings=1042)
    assert len(mesh.faces) > 200_000
    save(tmp_path, mesh)
    rows = "".join(f"{h},{400 - h}\n" for h in range(0, 101, 5))
    (tmp_path / "local.csv").write_text("height mm,thickness um\n" + rows)
    path = write(tmp_path, f"body: {{{MESH}, thickness: local.csv}}", LID)
    load_project(path)
    begin = time.process_time()
    load_project(path)
    # about 1 s here; ten times that for a slow machine
    assert time.process_time() - begin < 10.0

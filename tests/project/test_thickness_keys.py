"""The key ``thickness`` from place to place: what it lets through, against sums of area over thickness.

Closed forms: over a height with a thickness straight from a to b, the mean of 1/t is ln(b/a) / (b - a); round
an axis with t = a + b cos(angle) it is 1/sqrt(a^2 - b^2) (integral tables). Blown and drawn walls keep their
volume.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import trimesh

from optimizer.errors import InputError
from optimizer.project import load_project
from optimizer.shelflife.changes import changes
from optimizer.shelflife.predict import predict

from .mesh_files import (
    AROUND,
    BASE,
    HEIGHT,
    OTHER,
    RADIUS,
    SIDE,
    SIDES,
    beaker,
    conductance,
    oxygen,
    read,
    ring_mesh,
    said,
    save,
    walls,
    write,
)

MESH = "mesh: beaker.stl, unit: mm, wall: side, dimensions: middle"
LID = "lid: {opening_of: body, wall: side}"
CAN = "shape: cylinder, diameter: 60 mm, height: 100 mm, wall: side, dimensions: middle"
END = "end: {shape: disc, diameter: 60 mm, wall: side}"
TABLE = "height mm,thickness um\n0,500\n100,300\n"
#: Mean of 1/t [1/mm] where t runs straight from 0.5 to 0.3 mm.
SLOPED = math.log(0.5 / 0.3) / 0.2
ROUND = math.pi * 2 * RADIUS
WHERE = "project.yaml:19:"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    save(tmp_path, beaker())
    (tmp_path / "local.csv").write_text(TABLE)
    return tmp_path


def body(keys: str) -> str:
    return f"body: {{{keys}}}"


# -- tables --------------------------------------------------------------------------------------------------


def test_a_mesh_with_a_table_of_heights_lets_through_the_sum_of_area_over_thickness(folder: Path) -> None:
    project = read(folder, body(f"{MESH}, thickness: local.csv"), LID)
    expected = BASE / 0.5 + AROUND * HEIGHT * SLOPED
    assert oxygen(project)["body"] == pytest.approx(expected, rel=1e-4)
    part = walls(project)["body"]
    assert 1 < len(part.patches) < 20
    assert part.unevenness is not None and "local.csv" in part.unevenness.method
    assert part.unevenness.least == pytest.approx(0.3 / SIDE, rel=0.01)
    assert part.unevenness.most == pytest.approx(0.5 / SIDE, rel=1e-6)
    # mass: sum of area times thickness, mean thickness of the side 0.4 mm
    assert 1e9 * part.mass_area(SIDE * 1e-3) * SIDE * 1e-3 == pytest.approx(
        BASE * 0.5 + AROUND * HEIGHT * 0.4, rel=1e-4
    )


def test_a_mesh_with_faces_as_tall_as_its_wall_is_followed_all_the_same(folder: Path) -> None:
    save(folder, beaker(rings=1))
    project = read(folder, body(f"{MESH}, thickness: local.csv"), LID)
    expected = BASE / 0.5 + AROUND * HEIGHT * SLOPED
    assert oxygen(project)["body"] == pytest.approx(expected, rel=1e-3)


def test_a_round_shape_with_a_table_of_heights_lets_through_the_same_sum(folder: Path) -> None:
    project = read(folder, body(f"{CAN}, thickness: local.csv"), END)
    assert oxygen(project)["body"] == pytest.approx(ROUND * HEIGHT * SLOPED, rel=1e-4)
    assert walls(project)["body"].unevenness is not None


def test_rows_of_heights_in_the_project_file_are_such_a_table(folder: Path) -> None:
    rows = "{heights: [[0 mm, 500 um], [100 mm, 300 um]]}"
    for keys in (CAN, MESH):
        by_rows, by_file = (
            walls(read(folder, body(f"{keys}, thickness: {given}"), END))["body"]
            for given in (rows, "local.csv")
        )
        assert by_rows.patches == by_file.patches
    profile = "shape: profile, points: [[0 mm, 30 mm], [100 mm, 30 mm]], wall: side, dimensions: middle"
    part = walls(read(folder, body(f"{profile}, thickness: {rows}"), END))["body"]
    assert conductance(part) == pytest.approx(ROUND * HEIGHT * SLOPED, rel=1e-4)


def test_rows_of_heights_may_stand_upside_down(folder: Path) -> None:
    up, down = (
        walls(read(folder, body(f"{CAN}, thickness: {{heights: {rows}}}"), END))["body"]
        for rows in (
            "[[0 mm, 500 um], [40 mm, 300 um], [100 mm, 350 um]]",
            "[[100 mm, 350 um], [40 mm, 300 um], [0 mm, 500 um]]",
        )
    )
    assert up.patches == down.patches


def test_a_table_of_heights_and_angles_is_followed_round_the_axis(folder: Path) -> None:
    angles = np.arange(0, 360, 5)
    rows = [f"{h},{a},{400 + 150 * math.cos(math.radians(a)):.6f}" for h in (0, 100) for a in angles]
    (folder / "local.csv").write_text("\n".join(["height mm,angle deg,thickness um", *rows]))
    regions = "regions: {base: {below: 1 um, thickness_ratio: 1}}"
    project = read(folder, body(f"{MESH}, thickness: local.csv, up: z, {regions}"), LID)
    assert oxygen(project)["body"] == pytest.approx(AROUND * HEIGHT / math.sqrt(0.4**2 - 0.15**2), rel=2e-3)
    assert (
        "Part 'body': angles turn from x (0 degrees) to y (90 degrees) about the axis through the centre of "
        "the opening." in project.case.assumptions
    )


def test_a_table_of_the_whole_part_is_no_surprise_where_a_region_has_a_thickness_of_its_own(
    folder: Path,
) -> None:
    own = "regions: {rim: {from_opening: 40 mm, thickness: 2 mm}}"
    band = "regions: {band: {above: 40 mm, below: 60 mm, thickness: local.csv}}"
    for keys in (f"{MESH}, thickness: local.csv, {own}", f"{MESH}, {band}"):
        project = read(folder, body(keys), LID)
        assert not [w for w in project.case.warnings if "is the unit right" in w]
    round_it = ((RADIUS, 0), (0, RADIUS), (-RADIUS, 0), (0, -RADIUS))
    rows = [f"{x},{y},{z},400\n" for z in range(0, 101, 10) for x, y in round_it]
    (folder / "local.csv").write_text("x mm,y mm,z mm,thickness um\n" + "".join(rows))
    project = read(folder, body(f"{MESH}, {band}"), LID)
    assert not [w for w in project.case.warnings if "off the surface" in w]


def test_a_table_of_points_is_followed_in_the_coordinates_of_the_mesh(folder: Path) -> None:
    rows = [
        f"{RADIUS * math.cos(a):.4f},{RADIUS * math.sin(a):.4f},{z},{500 - 2 * z}"
        for z in range(0, 101, 5)
        for a in np.linspace(0, 2 * math.pi, 24, endpoint=False)
    ]
    (folder / "local.csv").write_text("\n".join(["x mm,y mm,z mm,thickness um", *rows]))
    regions = "regions: {base: {below: 1 um, thickness_ratio: 1}}"
    project = read(folder, body(f"{MESH}, thickness: local.csv, {regions}"), LID)
    assert oxygen(project)["body"] == pytest.approx(AROUND * HEIGHT * SLOPED, rel=0.01)


def test_a_region_may_have_a_table_of_its_own_or_follow_that_of_its_part(folder: Path) -> None:
    (folder / "rim.csv").write_text("height mm,thickness um\n80,900\n100,700\n")
    regions = (
        "{rim: {above: 80 mm, wall: other, thickness: rim.csv}, band: {above: 40 mm, below: 60 mm}, "
        "foot: {below: 10 mm, thickness: 1 mm}}"
    )
    project = read(folder, body(f"{MESH}, thickness: local.csv, regions: {regions}"), LID)
    through = oxygen(project)
    assert through["rim"] == pytest.approx(AROUND * 20 * math.log(0.9 / 0.7) / 0.2, rel=1e-4)
    assert through["band"] == pytest.approx(AROUND * 20 * math.log(0.42 / 0.38) / 0.04, rel=1e-4)
    assert through["foot"] == pytest.approx((BASE + AROUND * 10) / 1.0, rel=1e-4)
    left = AROUND * 30 * math.log(0.48 / 0.42) / 0.06 + AROUND * 20 * math.log(0.38 / 0.34) / 0.04
    assert through["body"] == pytest.approx(left, rel=1e-4)


def test_a_region_of_another_wall_still_has_the_thickness_that_was_measured_there(folder: Path) -> None:
    regions = "{rim: {above: 80 mm, wall: other}}"
    project = read(folder, body(f"{MESH}, thickness: local.csv, regions: {regions}"), LID)
    expected = AROUND * 20 * math.log(0.34 / 0.3) / 0.04
    assert oxygen(project)["rim"] == pytest.approx(expected, rel=1e-4)
    assert conductance(walls(project)["rim"], OTHER) == pytest.approx(expected, rel=1e-4)


def test_columns_that_are_not_used_are_an_assumption(folder: Path) -> None:
    (folder / "local.csv").write_text("no,height mm,thickness um\n1,0,500\n2,100,300\n")
    assumed = read(folder, body(f"{MESH}, thickness: local.csv"), LID).case.assumptions
    assert "local.csv: columns that are not used: 'no'." in [a[:1].lower() + a[1:] for a in assumed]


# -- both faces of a wall ------------------------------------------------------------------------------------


def solid() -> trimesh.Trimesh:
    """The wall of the beaker as one solid, 0.4 mm thick, between a polygon and a smaller one."""
    outer = [(0.0, 0.0), (15.0, 0.0), *((RADIUS, z) for z in np.linspace(0, HEIGHT, 51))]
    inner = [(RADIUS - 0.4, z) for z in np.linspace(HEIGHT, 0.4, 51)] + [(15.0, 0.4), (0.0, 0.4)]
    line = np.array(outer + inner)
    vertices, faces = ring_mesh(line[:, 0], line[:, 1])
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    mesh.merge_vertices()
    mesh.update_faces(mesh.nondegenerate_faces())
    return mesh


def test_thickness_between_the_faces_of_a_solid_wall(folder: Path) -> None:
    save(folder, solid())
    part = walls(read(folder, body(f"{MESH}, thickness: between faces"), END))["body"]
    # the polygons lie cos(pi/n) nearer than their circles
    thickness = 0.4 * math.cos(math.pi / SIDES)
    expected = BASE * (1 - 0.2 / RADIUS) ** 2 / 0.4 + AROUND * (1 - 0.2 / RADIUS) * (HEIGHT - 0.2) / thickness
    assert conductance(part) == pytest.approx(expected, rel=0.01)
    assert part.unevenness is not None and not part.unevenness.estimate


def test_a_second_file_with_the_inner_face_is_enough_to_tell_the_thickness(folder: Path) -> None:
    save(folder, beaker(rings=20))
    save(folder, beaker(rings=20, radius=RADIUS - 0.8, base=0.8), "inside.stl")
    outside = MESH.replace("middle", "outside")
    implied, said_so = (
        walls(read(folder, body(f"{outside}, inner: inside.stl{more}"), LID))["body"]
        for more in ("", ", thickness: between faces")
    )
    assert implied == said_so
    # mid-wall area of a wall of 0.8 mm whose outer face is given
    middle = (BASE * (1 - 0.4 / RADIUS) ** 2 + AROUND * (1 - 0.4 / RADIUS) * HEIGHT) / 0.8
    assert conductance(implied) == pytest.approx(middle, rel=0.02)


def test_an_inner_face_that_is_not_needed_is_told(folder: Path) -> None:
    save(folder, beaker(radius=RADIUS - 0.4, base=0.4), "inside.stl")
    warnings = read(folder, body(f"{MESH}, inner: inside.stl, thickness: 400 um"), LID).case.warnings
    assert any(w.startswith("Part 'body': inside.stl is not used") for w in warnings)


# -- processes -----------------------------------------------------------------------------------------------


def test_a_blown_body_keeps_the_volume_of_its_parison_and_is_an_estimate(folder: Path) -> None:
    project = read(folder, body(f"{CAN}, thickness: {{stretch: {{diameter: 30 mm, thickness: 1 mm}}}}"), END)
    part = walls(project)["body"]
    assert part.unevenness is not None and part.unevenness.estimate
    volume = math.pi * 1.0 * (30 - 1.0) * HEIGHT  # of a tube 30 mm across and 1 mm thick [mm3]
    assert 1e9 * part.mass_area(SIDE * 1e-3) * SIDE * 1e-3 == pytest.approx(volume, rel=0.02)
    assert conductance(part) == pytest.approx((ROUND * HEIGHT) ** 2 / volume, rel=0.02)


def test_a_preform_has_all_its_keys(folder: Path) -> None:
    keys = (
        "diameter: 22 mm, thickness: 3 mm, length: 60 mm, support_ring: 90 mm, mass: 9 g, density: 1.0 g/cm3"
    )
    part = walls(read(folder, body(f"{MESH}, thickness: {{stretch: {{{keys}}}}}"), LID))["body"]
    assert part.unevenness is not None and part.unevenness.estimate
    # 9 g below the ring at 1 g/cm3, and 10 mm of neck that stay as thick as the preform
    volume = 9e3 + AROUND * 10 * 3.0
    assert 1e9 * part.mass_area(SIDE * 1e-3) * SIDE * 1e-3 == pytest.approx(volume, rel=0.03)


def test_a_drawn_tray_keeps_the_volume_of_its_sheet(folder: Path) -> None:
    tray = "shape: tray, length: 60 mm, width: 60 mm, depth: 30 mm, wall: side, dimensions: middle"
    given = "{draw-down: {sheet: 1 mm, free_sheet: flat, corner_radius: 3 mm, plug_assist: 0 %}}"
    project = read(
        folder, body(f"{tray}, thickness: {given}"), "end: {area: 36 cm2, wall: side}", volume="90 mL"
    )
    part = walls(project)["body"]
    assert part.unevenness is not None and part.unevenness.estimate
    assert 1e9 * part.mass_area(SIDE * 1e-3) * SIDE * 1e-3 == pytest.approx(60 * 60 * 1.0, rel=0.02)


def test_an_uneven_wall_takes_as_much_room_as_an_even_one_of_its_mean(folder: Path) -> None:
    for keys in (CAN, MESH):
        outside = keys.replace("middle", "outside")
        rows = "{heights: [[0 mm, 4.4 mm], [100 mm, 3.6 mm]]}"
        even, uneven = (
            said(folder, body(f"{outside}, thickness: {given}"), END, volume="2 L")[0]
            for given in ("4 mm", rows)
        )
        held = [float(text.partition("the parts hold ")[2].partition(" L")[0]) for text in (even, uneven)]
        # to first order the room shrinks by outer area times thickness; the base of the mesh is thicker
        area = math.pi * RADIUS * 2 * HEIGHT + (keys == MESH) * BASE
        assert held[0] == pytest.approx(math.pi * RADIUS**2 * HEIGHT * 1e-6 - area * 4e-6, rel=2e-3)
        assert held[1] == pytest.approx(held[0], rel=0.02 if keys == MESH else 1e-3)


@pytest.mark.parametrize(
    ("thickness", "told"),
    [("10 mm", False), ("27 mm", True), ("{heights: [[0 mm, 27 mm], [100 mm, 26 mm]]}", True)],
)
def test_a_wall_too_thick_for_the_curvature_of_its_part_is_told(
    folder: Path, thickness: str, told: bool
) -> None:
    """A can of 30 mm radius by its outside: the middle of 27 mm of wall has 1 - 27 / 60 of the area."""
    # most of the surface is of no known room
    end = "end: {area: 800 cm2, wall: side}"
    project = read(folder, body(f"{CAN.replace('middle', 'outside')}, thickness: {thickness}"), end)
    assert len([w for w in project.case.warnings if "middle" in w and "units" in w]) == told


# -- the wall as listed --------------------------------------------------------------------------------------


def test_a_mean_far_from_the_wall_as_listed_is_told(folder: Path) -> None:
    near = read(folder, body(f"{CAN}, thickness: local.csv"), END)
    assert not [w for w in near.case.warnings if "as listed" in w]
    (folder / "local.csv").write_text("height mm,thickness um\n0,300\n100,300\n")
    (warning,) = [
        w for w in read(folder, body(f"{CAN}, thickness: local.csv"), END).case.warnings if "as listed" in w
    ]
    assert warning.startswith("Part 'body': the mean of the local thickness (")
    assert warning.endswith(
        "local.csv) is 0.3 mm, and the wall 'side' as listed is 0.4 mm: every layer is scaled, by 0.75 in "
        "the mean"
    )


def test_a_region_that_borrows_a_table_far_from_its_wall_is_told_what_to_do_once(folder: Path) -> None:
    regions = "{foot: {below: 30 mm, wall: other}, rim: {above: 60 mm, wall: other}}"
    project = read(folder, body(f"{MESH}, thickness: local.csv, regions: {regions}"), LID)
    told = [w for w in project.case.warnings if "as listed" in w]
    assert [w.split(":")[0] for w in told] == ["Part 'foot'", "Part 'rim'"]
    hint = "(if the table is not meant for this part, give it a thickness of its own)"
    assert [hint in w for w in told] == [True, False]
    # a process is no table
    blown = "{stretch: {thickness: 1 mm, diameter: 30 mm}}"
    project = read(folder, body(f"{MESH}, thickness: {blown}, regions: {regions}"), LID)
    told = [w for w in project.case.warnings if "as listed" in w]
    assert told and not [w for w in told if "table" in w]


def test_a_mean_in_another_unit_than_the_wall_is_refused(folder: Path) -> None:
    (folder / "local.csv").write_text("height mm,thickness mm\n0,500\n100,300\n")
    (problem,) = said(folder, body(f"{CAN}, thickness: local.csv"), END)
    assert problem.startswith(WHERE) and "package.parts.body.thickness: the mean of the local" in problem
    assert "is 400 mm" in problem and problem.endswith("(check the units of both)")


def test_a_wall_too_thick_for_its_part_is_refused_at_its_thickest(folder: Path) -> None:
    (folder / "local.csv").write_text("height mm,thickness mm\n0,1\n90,1\n100,31\n")
    (problem,) = said(folder, body(f"{CAN.replace('middle', 'outside')}, thickness: local.csv"), END)
    assert "package.parts.body: a wall of 30." in problem and "leaves no room inside" in problem


def test_a_designed_wall_with_a_measured_thickness_says_what_is_kept(folder: Path) -> None:
    rules = "rules: {inside: any, outside: any}"
    design = f"design: {{walls: [side], minimise: cost, choose_from: [plain stuff], {rules}}}\n"
    part = body(f"{MESH}, thickness: local.csv")
    path = write(folder, part, LID)
    path.write_text(path.read_text("utf-8") + design, "utf-8")
    assumed = load_project(path).case.assumptions
    said_of = [a for a in assumed if "layer fractions are kept" in a]
    assert said_of == [
        "Where the design changes the wall 'side', the thickness of body is scaled with it everywhere, and "
        "layer fractions are kept."
    ]


def test_another_table_of_thickness_is_a_change(folder: Path) -> None:
    part = body(f"{MESH}, thickness: local.csv")
    before = read(folder, part, LID)
    (folder / "local.csv").write_text(TABLE.replace("300", "320"))
    after = read(folder, part, LID)
    assert before.sha256 != after.sha256
    found = changes(before.case, after.case, predict(before.case), predict(after.case))
    assert any(change.what.startswith("part body") for change in found)
    assert not list(changes(before.case, before.case, predict(before.case), predict(before.case)))


# -- mistakes ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        (
            f"{MESH}, thickness: between faces",
            "thickness: 'between faces' needs both faces of the wall, and beaker.stl is one surface "
            "(add 'inner: FILE' with the inner face, or export the solid of the wall; if it is one, write "
            "'shows: both faces')",
        ),
        (
            f"{MESH}, thickness: gone.csv",
            "thickness: there is no such file (paths are relative to the project file)",
        ),
        (
            f"{MESH}, thickness: local.csv, thickness_ratio: 2",
            "thickness: cannot stand beside thickness_ratio (keep one of them)",
        ),
        (
            f"{MESH}, thickness: thin",
            "thickness: 'thin' is no thickness (such as '480 um', a table 'local.csv', 'between faces', or "
            "{heights: [[0 mm, 600 um], ...]})",
        ),
        (
            f"{MESH}, thickness: betwen faces",
            "thickness: 'betwen faces' is no thickness (did you mean 'between faces'?)",
        ),
        (
            f"{MESH}, thickness: {{}}",
            "thickness: does not say how thick the wall is (a group here has one of: heights, stretch, "
            "draw-down)",
        ),
        (
            f"{MESH}, thickness: {{hights: []}}",
            "thickness: does not say how thick the wall is (a group here has one of: heights, stretch, "
            "draw-down; 'hights': did you mean 'heights'?)",
        ),
        (
            f"{MESH}, thickness: {{heights: [[0 mm, 1 mm]]}}",
            "thickness.heights: a table of at least two rows is expected here "
            "(for example [[0 mm, 600 um], [20 mm, 350 um]]: height, thickness)",
        ),
        (
            f"{MESH}, thickness: {{heights: [[0 mm, 1 mm], [10 mm, 0 mm]]}}",
            "thickness.heights: row 2: '0 mm' is out of range (more than 0)",
        ),
        (
            f"{MESH}, thickness: {{heights: [[10 mm, 1 mm], [10 mm, 2 mm]]}}",
            "thickness.heights: row 2 is not above the row before it "
            "(heights increase from row to row, or they decrease)",
        ),
        (
            f"{MESH}, thickness: {{heights: [[20 mm, 1 mm], [10 mm, 2 mm], [15 mm, 2 mm]]}}",
            "thickness.heights: row 3 is not below the row before it "
            "(heights increase from row to row, or they decrease)",
        ),
        (
            f"{MESH}, thickness: {{heights: [[0 mm, 1 mm], [10 mm]]}}",
            "thickness.heights: row 2 is not a height and a thickness "
            "(for example [[0 mm, 600 um], [20 mm, 350 um]]: height, thickness)",
        ),
        (
            f"{MESH}, thickness: {{stretch: {{diameter: 22 mm}}}}",
            "thickness.stretch.thickness: is missing (for example 'thickness: 3.6 mm')",
        ),
        (
            f"{MESH}, thickness: {{draw-down: {{sheet: 1 mm, free_sheet: bubble}}}}",
            "thickness.draw-down.free_sheet: 'bubble' is not known here (one of: dome, flat)",
        ),
        (
            f"{CAN}, thickness: between faces",
            "thickness: the shape 'cylinder' has no faces to measure between ('between faces' is for a mesh)",
        ),
        (
            f"{CAN}, thickness: points.csv",
            "thickness: points.csv has places x, y, z, and the shape 'cylinder' has only heights "
            "(give a table by height, or by height and angle, or draw the part as a mesh)",
        ),
        (
            f"{CAN}, thickness: {{draw-down: {{sheet: 1 mm}}}}",
            "thickness.draw-down: the part has no base, and a sheet drawn into it would have one (write it "
            "as profile with 'bottom: true', as a tray, or as a mesh with its base)",
        ),
        (
            "shape: disc, diameter: 60 mm, wall: side, thickness: local.csv",
            "thickness: the shape 'disc' has no height, so it has one thickness "
            "(such as '480 um', or thickness_ratio)",
        ),
        (
            "area: 200 cm2, wall: side, thickness: local.csv",
            "thickness: a plain area has no height, so it has one thickness "
            "(such as '480 um', or thickness_ratio)",
        ),
    ],
)
def test_a_mistake_is_told_with_its_place(folder: Path, keys: str, expected: str) -> None:
    rows = "0,0,0,400\n10,0,0,400\n0,10,0,400\n"
    (folder / "points.csv").write_text("x mm,y mm,z mm,thickness um\n" + rows)
    problems = said(folder, body(keys), END)
    assert len(problems) == 1
    place, _, text = problems[0].partition(": package.parts.body.")
    assert text == expected and place.startswith(WHERE)
    line = (folder / "project.yaml").read_text("utf-8").splitlines()[18]
    key = expected.partition(": ")[0].split(".")
    least = line.index(f"{key[0]}: ") + 1
    assert int(place.split(":")[2]) >= least


def test_sizes_of_a_process_that_cannot_be_are_told_at_their_key(folder: Path) -> None:
    keys = f"{CAN}, thickness: {{stretch: {{diameter: 2 mm, thickness: 3 mm}}}}"
    (problem,) = said(folder, body(keys), END)
    assert problem.startswith(WHERE) and "package.parts.body.thickness.stretch." in problem


def test_a_table_that_leaves_faces_without_a_thickness_is_refused(folder: Path) -> None:
    (folder / "bad.csv").write_text("height mm,thickness um\n0,500\n100,-1\n50,x\n")
    with pytest.raises(InputError) as caught:
        read(folder, body(f"{MESH}, thickness: bad.csv"), LID)
    assert [(p.file.rpartition("/")[2], p.line, p.column, p.field) for p in caught.value.problems] == [
        ("bad.csv", 3, 5, "thickness um"),
        ("bad.csv", 4, 4, "thickness um"),
    ]

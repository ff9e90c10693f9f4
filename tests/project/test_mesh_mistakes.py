"""Parts drawn as a mesh: every mistake with its place, all at once, whatever is done to the file."""

from __future__ import annotations

import copy
import shutil
from pathlib import Path
from typing import Any

import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from optimizer.errors import InputError
from optimizer.project import load_project

from .mesh_files import beaker, conductance, said, save, walls, write

MESH = "mesh: beaker.stl, unit: mm, wall: side, dimensions: middle"
LID = "lid: {opening_of: body, wall: side}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    save(tmp_path, beaker())
    return tmp_path


@pytest.mark.parametrize(
    ("body", "lid", "expected"),
    [
        (
            f"{MESH}, regions: {{}}",
            LID,
            ["package.parts.body.regions: needs at least one region"],
        ),
        (
            f"{MESH}, regions: {{foot: {{thickness_ratio: 1.4}}}}",
            LID,
            [
                "package.parts.body.regions.foot: does not say which faces of the mesh belong to it "
                "(a region has one or more of: above, below, from_opening, body, box)"
            ],
        ),
        (
            f"{MESH}, regions: {{foot: {{belo: 20 mm}}}}",
            LID,
            [
                "package.parts.body.regions.foot: does not say which faces of the mesh belong to it "
                "(a region has one or more of: above, below, from_opening, body, box; 'belo': did you mean "
                "'below'?)"
            ],
        ),
        (
            f"{MESH}, regions: {{foot: {{below: 20}}}}",
            LID,
            ["package.parts.body.regions.foot.below: '20' has no unit (for example '20 mm')"],
        ),
        (
            f"{MESH}, regions: {{foot: {{above: 50 mm, below: 20 mm}}}}",
            LID,
            [
                "package.parts.body.regions.foot: lies above 50 mm and below 20 mm, where nothing is "
                "(exchange the two)"
            ],
        ),
        (
            f"{MESH}, regions: {{foot: {{box: [[0 mm, 0 mm], [1 mm, 1 mm, 1 mm]]}}}}",
            LID,
            [
                "package.parts.body.regions.foot.box: corner 1 is not three lengths "
                "(two corners, for example [[0 mm, 0 mm, 60 mm], [20 mm, 20 mm, 90 mm]])"
            ],
        ),
        (
            f"{MESH}, regions: {{foot: {{box: [[0 mm, 0 mm, 1 mm], [1 mm, 1 mm, 1 mm]]}}}}",
            LID,
            [
                "package.parts.body.regions.foot.box: the box has no extent along z "
                "(two corners, for example [[0 mm, 0 mm, 60 mm], [20 mm, 20 mm, 90 mm]])"
            ],
        ),
        (
            f"{MESH}, regions: {{foot: {{below: 20 mm, thickness: 1 mm, thickness_ratio: 2}}}}",
            LID,
            [
                "package.parts.body.regions.foot.thickness: cannot stand beside thickness_ratio "
                "(keep one of them)"
            ],
        ),
        (
            f"{MESH}, regions: {{foot: {{below: 20 mm, wall: sde}}}}",
            LID,
            ["package.parts.body.regions.foot.wall: the wall 'sde' is not defined (did you mean 'side'?)"],
        ),
        (
            f"{MESH}, regions: {{lid: {{below: 20 mm}}}}",
            LID,
            [
                "package.parts.body.regions.lid: the region 'lid' of 'body' has the name of the part 'lid' "
                "(call it otherwise: regions become parts)"
            ],
        ),
        (
            f"{MESH}, up: w",
            LID,
            ["package.parts.body.up: 'w' is not known here (one of: x, y, z, -x, -y, -z)"],
        ),
        (
            f"{MESH}, inner: gone.stl",
            LID,
            ["package.parts.body.inner: there is no such file (paths are relative to the project file)"],
        ),
        (
            MESH,
            "lid: {opening_of: body, opening: 3, wall: side}",
            ["package.parts.lid.opening: 'body' has no opening 3 (beaker.stl has opening 1 (28.3 cm2))"],
        ),
        (
            MESH,
            "lid: {opening_of: body, opening: 0, wall: side}",
            ["package.parts.lid.opening: '0' is out of range (from 1 to 1000)"],
        ),
        (
            MESH,
            "lid: {opening_of: boby, wall: side}",
            ["package.parts.lid.opening_of: there is no part 'boby' (did you mean 'body'?)"],
        ),
        (
            f"{MESH}, regions: {{foot: {{below: 20 mm}}}}",
            "lid: {opening_of: foot, wall: side}",
            ["package.parts.lid.opening_of: 'foot' is a region of 'body' (write 'opening_of: body')"],
        ),
        (
            MESH,
            "lid: {opening_of: lid, wall: side}",
            ["package.parts.lid.opening_of: the part 'lid' is no mesh (parts with a mesh: body)"],
        ),
        (
            MESH,
            "lid: {opening_of: body, wall: side, thickness: local.csv}",
            ["package.parts.lid.thickness: a flat piece has one thickness (such as '480 um')"],
        ),
    ],
)
def test_a_mistake_is_told_with_its_place(folder: Path, body: str, lid: str, expected: list[str]) -> None:
    problems = said(folder, f"body: {{{body}}}", lid)
    assert len(problems) == len(expected)
    for problem, wanted in zip(problems, expected, strict=True):
        place, _, text = problem.partition(": ")
        assert text == wanted
        name, line, column = place.split(":")
        line_text = (folder / name).read_text("utf-8").splitlines()[int(line) - 1]
        key = text.partition(": ")[0].rpartition(".")[2]
        # the column points at the value of the key, or at the key
        at = line_text.rindex(f"{key}: ") + 1
        assert int(column) in (at, at + len(key) + 2)


def test_a_region_that_takes_nothing_is_refused_at_the_region(folder: Path) -> None:
    regions = "{foot: {below: 20 mm}, cloud: {above: 500 mm}}"
    (problem,) = said(folder, f"body: {{{MESH}, regions: {regions}}}", LID)
    assert problem.startswith("project.yaml:19:") and "package.parts.body.regions.cloud: " in problem
    assert "nothing lies above 500 mm: the part has heights of 0 to" in problem
    (problem,) = said(folder, f"body: {{{MESH}, regions: {{a: {{below: 20 mm}}, b: {{below: 20 mm}}}}}}", LID)
    assert "package.parts.body.regions: region b: all that it takes belongs to a region before" in problem
    (problem,) = said(folder, f"body: {{{MESH}, regions: {{grip: {{body: handle}}}}}}", LID)
    assert "package.parts.body.regions.grip" in problem and "handle" in problem


def test_an_inner_face_that_does_not_lie_inside_is_refused_at_its_key(folder: Path) -> None:
    for more in ("", ", thickness: between faces"):
        (problem,) = said(folder, f"body: {{{MESH}, inner: beaker.stl{more}}}", LID)
        assert "package.parts.body.inner: " in problem and "is the same surface as beaker.stl" in problem


def test_a_lid_over_a_closed_mesh_is_refused(tmp_path: Path) -> None:
    save(tmp_path, trimesh.creation.icosphere(3, 40.0))
    (problem,) = said(tmp_path, f"body: {{{MESH}}}", LID, volume="250 mL")
    assert problem.endswith(
        "package.parts.lid.opening_of: beaker.stl is closed (give the piece as an area or a disc of its own)"
    )


def test_regions_of_two_meshes_cannot_have_one_name(folder: Path) -> None:
    shutil.copy(folder / "beaker.stl", folder / "second.stl")
    other = MESH.replace("beaker", "second")
    foot = "regions: {foot: {below: 20 mm}}"
    (problem,) = said(folder, f"body: {{{MESH}, {foot}}}", f"more: {{{other}, {foot}}}", LID, volume="560 mL")
    assert "the region 'foot' of 'more' has the name of a region of 'body'" in problem


def test_a_bad_mesh_does_not_hide_the_mistakes_of_other_parts(folder: Path) -> None:
    (folder / "bad.stl").write_bytes(b"\0" * 200)
    (folder / "bad.csv").write_text("height mm,thickness um\n0,x\n1,2\n")
    problems = said(
        folder,
        "one: {mesh: bad.stl, unit: mm, wall: side, thickness: gone.csv}",
        "two: {mesh: beaker.stl, unit: mm, wall: side, thickness: bad.csv}",
        "three: {shape: cylinder, diameter: -5 mm, height: 10 mm, wall: side}",
        "four: {opening_of: two, opening: 7, wall: side}",
    )
    assert len(problems) == 5
    assert problems[0].startswith("bad.csv:2:3: thickness um: 'x' is not a number")
    assert ["bad.stl" in problems[1], "gone" in problems[2]] == [True, False]
    assert [p.split(": ")[1] for p in problems[1:]] == [
        "package.parts.one.mesh",
        "package.parts.one.thickness",
        "package.parts.three.diameter",
        "package.parts.four.opening",
    ]


# -- whatever is done to a project ---------------------------------------------------------------------------

VALUES = st.one_of(
    st.sampled_from([None, True, 0, -1, 1, 2, 0.5, 1e308, [], {}, [[]], "", "x", "z", "beaker.stl", "foot"]),
    st.sampled_from(
        ["20 mm", "-5 mm", "0 mm", "1e300 m", "5 %", "side", "body", "between faces", "local.csv"]
    ),
    st.sampled_from([[["0 mm", "400 um"], ["50 mm", "300 um"]], {"heights": []}, {"stretch": {}}, {"a": 1}]),
    st.text(max_size=5),
)
KEYS = st.sampled_from(
    ["thickness", "regions", "inner", "up", "body", "box", "above", "below", "from_opening", "opening_of",
     "opening", "wall", "thickness_ratio", "mesh", "unit", "heights", "stretch", "draw-down", ""]
)  # fmt: skip


def _groups(node: Any) -> list[dict[str, Any]]:
    below = node.values() if isinstance(node, dict) else node if isinstance(node, list) else []
    found = [node] if isinstance(node, dict) else []
    return found + [g for item in below for g in _groups(item)]


@pytest.fixture(scope="module")
def damaged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("damaged")
    save(folder, beaker(rings=10))
    (folder / "local.csv").write_text("height mm,thickness um\n0,400\n100,380\n")
    regions = (
        "{foot: {below: 20 mm, thickness: {heights: [[0 mm, 500 um], [20 mm, 400 um]]}}, "
        "rim: {from_opening: 12 mm, wall: other}}"
    )
    path = write(folder, f"body: {{{MESH}, up: z, thickness: local.csv, regions: {regions}}}", LID)
    load_project(path)
    data: dict[str, Any] = YAML(typ="safe").load(path.read_text("utf-8"))
    return path, data


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(draw=st.data())
def test_a_damaged_project_loads_or_says_what_is_wrong(
    damaged: tuple[Path, dict[str, Any]], draw: st.DataObject
) -> None:
    path, good = damaged
    data = copy.deepcopy(good)
    for _ in range(draw.draw(st.integers(1, 2))):
        group = draw.draw(st.sampled_from(_groups(data["package"])))
        key = draw.draw(st.one_of(KEYS, st.sampled_from(sorted(group)) if group else KEYS))
        if draw.draw(st.booleans()):
            group.pop(key, None)
        else:
            group[key] = copy.deepcopy(draw.draw(VALUES))
    with path.open("w", encoding="utf-8") as file:
        YAML().dump(data, file)
    try:
        project = load_project(path)
    except InputError as error:
        assert error.problems and all(p.message and p.file for p in error.problems)
    else:
        assert all(conductance(part) > 0 for part in walls(project).values())

"""``layerwright geometry`` as users run it, on bodies whose measures are known in closed form."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh
from ruamel.yaml import YAML

import optimizer

from .projects import SLAB

Invoke = Callable[..., int]
#: Corners round the can of the tests; its measures are those of this prism, exactly.
SIDES = 64
RADIUS, HEIGHT = 30.0, 100.0  # mm


def ring_area(radius: float) -> float:
    """Area of a regular polygon of ``SIDES`` corners."""
    return SIDES / 2 * radius**2 * math.sin(2 * math.pi / SIDES)


def can(radius: float, floor: float, height: float) -> trimesh.Trimesh:
    """A can without its top, in mm."""
    turn = 2 * np.pi * np.arange(SIDES) / SIDES
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full(SIDES, floor)], axis=1)
    vertices = np.vstack([ring, ring + [0, 0, height - floor], [[0, 0, floor]]])
    i = np.arange(SIDES)
    j = (i + 1) % SIDES
    sides = [np.stack([i, j, j + SIDES], 1), np.stack([i, j + SIDES, i + SIDES], 1)]
    return trimesh.Trimesh(
        vertices, np.vstack([*sides, np.stack([j, i, np.full(SIDES, 2 * SIDES)], 1)]), process=False
    )


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, with a can and the inner face of its wall."""
    monkeypatch.chdir(tmp_path)
    can(RADIUS, 0.0, HEIGHT).export("can.stl")
    can(RADIUS - 0.5, 0.5, HEIGHT).export("inside.stl")
    return tmp_path


def answer(invoke: Invoke, capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert invoke("geometry", *arguments, "--json", "-") == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


def refused(invoke: Invoke, capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """What is said on standard error; nothing is printed and no file is written."""
    before = sorted(Path.cwd().iterdir())
    assert invoke("geometry", *arguments) == 2
    out, err = capsys.readouterr()
    assert out == "" and "Traceback" not in err
    assert sorted(Path.cwd().iterdir()) == before
    return err


def test_an_open_can_has_the_measures_of_its_prism(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    told = answer(invoke, capsys, "can.stl", "--unit", "mm")
    side = 2 * RADIUS * math.sin(math.pi / SIDES)
    base = ring_area(RADIUS)
    assert told["size_mm"] == pytest.approx([60, 60, 100], rel=1e-6)
    assert told["area_cm2"] == pytest.approx((SIDES * side * HEIGHT + base) / 100, rel=1e-6)
    assert told["volume_ml"] == pytest.approx(base * HEIGHT / 1000, rel=1e-6)
    assert (told["kind"], told["closed"], told["open_edges"], told["faces"]) == ("surface", False, 64, 192)
    [opening] = told["openings"]
    assert opening["area_cm2"] == pytest.approx(base / 100, rel=1e-6)
    assert opening["diameter_mm"] == pytest.approx(2 * math.sqrt(base / math.pi), rel=1e-6)
    assert opening["perimeter_mm"] == pytest.approx(SIDES * side, rel=1e-6)
    assert opening["height_mm"] == pytest.approx(100, rel=1e-6)
    assert (opening["faces"], told["up"], told["height_mm"]) == ("up", "z", pytest.approx(100))


def test_the_unit_scales_everything(folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]) -> None:
    one, other = (answer(invoke, capsys, "can.stl", "--unit", u, "--no-picture") for u in ("mm", "in"))
    assert other["height_mm"] == pytest.approx(25.4 * one["height_mm"])
    assert other["area_cm2"] == pytest.approx(25.4**2 * one["area_cm2"])
    assert other["volume_ml"] == pytest.approx(25.4**3 * one["volume_ml"])
    assert other["openings"][0]["diameter_mm"] == pytest.approx(25.4 * one["openings"][0]["diameter_mm"])


def test_what_is_up_is_as_given(folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]) -> None:
    down = answer(invoke, capsys, "can.stl", "--unit", "mm", "--up", "-z")
    assert (down["up"], down["openings"][0]["faces"]) == ("-z", "down")
    assert down["openings"][0]["height_mm"] == pytest.approx(0, abs=1e-6)
    across = answer(invoke, capsys, "can.stl", "--unit", "mm", "--up", "x")
    assert (across["up"], across["openings"][0]["faces"]) == ("x", "z")
    assert across["height_mm"] == pytest.approx(60)
    assert "up: -z" in down["project"] and "up: x" in across["project"]


def test_the_thickness_to_an_inner_mesh_is_the_gap_between_the_two(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    """The floor is 500 um thick; between the flats of two prisms lies 500 um * cos(pi / 64)."""
    found = answer(invoke, capsys, "can.stl", "--unit", "mm", "--inner", "inside.stl")["wall_thickness"]
    side = 500 * math.cos(math.pi / SIDES)
    assert found["least_um"] == pytest.approx(side, rel=1e-3)
    assert found["most_um"] == pytest.approx(500, rel=1e-3)
    assert found["p05_um"] <= found["p50_um"] <= found["mean_um"] <= found["p95_um"]
    assert found["unknown_pct"] == pytest.approx(0, abs=1)


def test_the_solid_of_a_wall_counts_half_of_both_faces(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    trimesh.creation.annulus(29.0, 30.0, 80.0, sections=SIDES).export("tube.ply")
    told = answer(invoke, capsys, "tube.ply", "--unit", "mm")
    assert told["kind"] == "walls"
    assert told["wall_area_cm2"] == pytest.approx(told["area_cm2"] / 2)
    assert told["wall_thickness"]["mean_um"] == pytest.approx(1000 * math.cos(math.pi / SIDES), rel=2e-3)
    assert "thickness: between faces" in told["project"]


def test_what_a_mesh_shows_is_found_said_and_overruled(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    trimesh.creation.annulus(29.0, 30.0, 80.0, sections=SIDES).export("tube.ply")
    for given, kind, said, line in (
        ((), "walls", 'as it looks (else: --shows "one face")', "shows: both faces"),
        (("--shows", "one face"), "surface", "one face of the wall, as given", "shows: one face"),
    ):
        call = ("tube.ply", "--unit", "mm", "--no-picture", *given)
        told = answer(invoke, capsys, *call)
        assert told["kind"] == kind and told["shows_given"] is bool(given)
        assert line in told["project"]
        assert invoke("geometry", *call) == 0
        assert said in " ".join(capsys.readouterr().out.split())


def test_the_room_inside_an_inner_mesh_is_told(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    told = answer(invoke, capsys, "can.stl", "--unit", "mm", "--inner", "inside.stl")
    assert told["room_ml"] == pytest.approx(ring_area(RADIUS - 0.5) * (HEIGHT - 0.5) / 1000, rel=1e-6)
    assert answer(invoke, capsys, "can.stl", "--unit", "mm")["room_ml"] is None


def test_the_same_file_as_inner_mesh_and_unknown_words_are_refused_together(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    said = refused(invoke, capsys, "can.stl", "--unit", "mm", "--inner", "can.stl", "--shows", "both")
    assert "--inner: is the same file as the mesh" in said
    assert "--shows: 'both' is not known here (write 'one face' or 'both faces')" in said


def test_the_text_says_what_the_json_says(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("geometry", "can.stl", "--unit", "mm", "--inner", "inside.stl") == 0
    text = capsys.readouterr().out
    said = " ".join(text.split())
    assert "60 x 60 x 100 mm (x, y, z), with one unit of the file as 1 mm" in said
    assert "up taken as z: the only opening faces that way; 100 mm high" in said
    assert "volume 282.3 mL, openings closed by flat lids" in said  # 64/2 * 3^2 * sin(2 pi/64) * 10 = 282.3
    assert "Openings: 1" in said and "Wall thickness, um" in said
    assert "Picture: can-geometry.svg" in said
    assert all(len(row) <= 80 for row in text.splitlines() if "dimensions:" not in row)


def test_repairs_and_warnings_are_printed(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    """A face listed twice is left out, and said to be; a can of 100 m is hardly a package."""
    body = can(RADIUS, 0.0, HEIGHT)
    trimesh.Trimesh(body.vertices, np.vstack([body.faces, body.faces[:1]]), process=False).export("twice.stl")
    told = answer(invoke, capsys, "twice.stl", "--unit", "m")
    assert told["dropped_faces"] == 1 and told["repairs"] and told["warnings"]
    assert invoke("geometry", "twice.stl", "--unit", "m") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert all(each in said for each in told["repairs"])
    assert "Repaired" in said and "Warnings" in said


def test_the_picture_is_written_where_asked(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    assert answer(invoke, capsys, "can.stl", "--unit", "mm")["picture"] == "can-geometry.svg"
    assert answer(invoke, capsys, "can.stl", "--unit", "mm", "--picture", "own.svg")["picture"] == "own.svg"
    assert answer(invoke, capsys, "can.stl", "--unit", "mm", "--no-picture")["picture"] is None
    names = {p.name for p in folder.iterdir()}
    assert names == {"can.stl", "inside.stl", "can-geometry.svg", "own.svg"}
    for name in ("can-geometry.svg", "own.svg"):
        texts = ["".join(x.itertext()) for x in ElementTree.parse(name).iter() if x.tag.endswith("text")]
        assert {"100 mm", "60 mm"} <= set(texts)


def test_the_picture_goes_to_the_folder_one_works_in(
    folder: Path, invoke: Invoke, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "work").mkdir()
    monkeypatch.chdir(folder / "work")
    assert invoke("geometry", "../can.stl", "--unit", "mm") == 0
    assert (folder / "work" / "can-geometry.svg").is_file()
    assert not (folder / "can-geometry.svg").exists()


def test_the_lines_for_the_project_file_are_yaml_of_the_parts(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    name = "New can: #2.stl"
    (folder / "can.stl").rename(name)
    told = answer(invoke, capsys, name, "--unit", "mm")
    parts = YAML(typ="safe").load(told["project"])["package"]["parts"]
    assert parts["new_can_2"] == {
        "mesh": name,
        "unit": "mm",
        "wall": "new_can_2",
        "shows": "one face",
        "dimensions": "outside",
    }
    assert parts["cover"] == {"opening_of": "new_can_2", "opening": 1, "wall": "cover"}


def test_the_lines_for_the_project_file_load_as_its_parts(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    told = answer(invoke, capsys, "can.stl", "--unit", "mm", "--inner", "inside.stl")
    text = SLAB.replace("package:\n  parts:\n    panel: {area: 400 cm2, wall: film}\n", told["project"])
    text = text.replace("film:", "can: {layers: [{material: slab, thickness: 500 um}]}\n  cover:")
    Path("project.yaml").write_text(text.replace("wall: film", "wall: cover"), encoding="utf-8")
    body, cover = optimizer.predict("project.yaml").geometry
    assert (body["part"], cover["part"]) == ("can", "cover")
    assert cover["area_cm2"] == pytest.approx(told["openings"][0]["area_cm2"])
    assert body["mean_thickness_um"] == pytest.approx(told["wall_thickness"]["mean_um"], rel=1e-3)


@pytest.mark.parametrize(
    ("file", "name"),
    [
        ("On.stl", "body"),
        ("500 mL.obj", "body"),
        ("cover.stl", "cover"),
        ("B\u00f6ttle.ply", "b_ttle"),
        (".stl", "body"),
    ],
)
def test_names_of_parts_are_words(file: str, name: str) -> None:
    from optimizer.report.snippet import part_name

    assert part_name(file) == name


def test_a_missing_unit_is_refused_with_the_sizes_that_it_would_make(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    said = refused(invoke, capsys, "can.stl")
    assert "--unit is missing" in said and said.startswith("1 problem in can.stl:")
    assert "mm for 60 x 60 x 100 mm, cm for 600 x 600 x 1000 mm, m for 60 x 60 x 100 m" in said
    assert "in for 1524 x 1524 x 2540 mm" in said


def test_a_file_that_states_its_unit_is_quoted_and_not_obeyed(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    """glTF 2.0, section 3.4 (from memory): the unit of all distances is the metre."""
    can(RADIUS, 0.0, HEIGHT).export("can.glb")
    assert "the file itself says that its unit is 1000 mm" in refused(invoke, capsys, "can.glb")
    told = answer(invoke, capsys, "can.glb", "--unit", "mm")
    assert told["size_mm"] == pytest.approx([60, 60, 100], rel=1e-6)
    assert any("unit" in warning for warning in told["warnings"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nothing.stl", "--unit", "mm"], "no such file"),
        ([".", "--unit", "mm"], "is a folder"),
        (["can.stl", "--unit", "10 mm"], "not the unit of a length"),
        (["can.stl", "--unit", "bar"], "not the unit of a length"),
        (["can.stl", "--unit", ""], "not the unit of a length"),
        (["can.stl", "--unit", "mm", "--inner", "nothing.stl"], "no such file"),
        (["can.stl", "--unit", "mm", "--up", "upward"], "--up"),
        (["can.stl", "--unit", "mm", "--picture", "can.png"], "SVG"),
        (["can.stl", "--unit", "mm", "--picture", "-"], "SVG"),
        (["can.stl", "--unit", "mm", "--picture", "nowhere/can.svg"], "does not exist"),
        (["can.stl", "--unit", "mm", "--picture", "a.svg", "--no-picture"], "--no-picture"),
        (["can.stl", "--unit", "mm", "--picture", "a.svg", "--json", "a.svg"], "different files"),
        (["can.stl", "--unit", "mm", "--json", "can.stl"], "written over"),
        (["can.stl", "--unit", "mm", "--json", "nowhere/a.json"], "does not exist"),
        (["words.stl", "--unit", "mm"], "words.stl"),
        (["part.step", "--unit", "mm"], "part.step"),
        (["empty.stl", "--unit", "mm"], "empty"),
        (["inside.stl", "--unit", "mm", "--inner", "can.stl"], "inside.stl"),
    ],
    ids=lambda x: " ".join(x) if isinstance(x, list) else None,
)
def test_wrong_calls_end_with_two_and_one_message(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    Path("words.stl").write_text("these are only words")
    Path("part.step").write_text("ISO-10303-21;")
    Path("empty.stl").write_bytes(b"")
    text = refused(invoke, capsys, *arguments)
    assert said in text
    lines = text.splitlines()
    assert len(lines) == 1 or (lines[0].startswith("1 problem") and len(lines) == 2), text


def test_everything_wrong_with_a_call_is_told_at_once(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    call = ["no.stl", "--unit", "3", "--up", "w", "--picture", "a.png", "--inner", "none.stl"]
    text = refused(invoke, capsys, *call)
    assert text.startswith("5 problems")
    assert all(each in text for each in ("no.stl", "none.stl", "--unit", "--up", "--picture"))


def test_an_input_is_never_written_over(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "can.svg").symlink_to(folder / "can.stl")
    before = (folder / "can.stl").read_bytes()
    assert "written over" in refused(invoke, capsys, "can.stl", "--unit", "mm", "--picture", "can.svg")
    assert (folder / "can.stl").read_bytes() == before


def test_the_keys_of_the_answer_are_stable(
    folder: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    told = answer(invoke, capsys, "can.stl", "--unit", "mm", "--inner", "inside.stl")
    assert list(told)[:7] == [
        "command", "title", "version", "inputs_sha256", "warnings", "assumptions", "sources"
    ]  # fmt: skip
    assert told["command"] == "geometry" and told["title"] == "can.stl" and len(told["inputs_sha256"]) == 64
    assert set(told) >= {
        "unit", "size_mm", "height_mm", "up", "up_reason", "area_cm2", "wall_area_cm2", "volume_ml", "kind",
        "faces", "vertices", "pieces", "closed", "open_edges", "merged_vertices", "dropped_faces",
        "turned_faces", "used_pct", "openings", "bodies", "wall_thickness", "repairs", "project", "picture",
    }  # fmt: skip


def test_help_names_every_option(invoke: Invoke, capsys: pytest.CaptureFixture[str]) -> None:
    assert invoke("geometry", "--help") == 0
    told = capsys.readouterr().out
    assert all(len(row) <= 80 for row in told.splitlines())
    options = ("--unit", "--inner", "--up", "--picture", "--no-picture", "--json FILE", "--debug")
    assert all(option in told for option in options)


def test_beside_a_report_no_picture_is_left_unless_asked_for(folder: Path, invoke: Invoke) -> None:
    assert invoke("geometry", "can.stl", "--unit", "mm", "--report", "can.html") == 0
    assert not Path("can-geometry.svg").exists() and Path("can.html").exists()
    assert invoke("geometry", "can.stl", "--unit", "mm", "--report", "can.html", "--picture", "a.svg") == 0
    assert Path("a.svg").exists()

"""Damaged, empty and foreign mesh files: one clear sentence each, never the reader's own error."""

from __future__ import annotations

import struct
import subprocess
import sys

import numpy as np
import pytest
import trimesh

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import load, load_surface, whole_surface

MM = 1e-3
BOX = trimesh.creation.box((100, 80, 60))
STL = BOX.export(file_type="stl")
STL_TEXT = BOX.export(file_type="stl_ascii").encode()
OBJ = BOX.export(file_type="obj").encode()
PLY = BOX.export(file_type="ply")
PLY_TEXT = BOX.export(file_type="ply", encoding="ascii")
POINTS = b"v 0 0 0\nv 1 0 0\nv 0 1 0\n"
NAN_STL = STL[:84] + STL[84:96] + struct.pack("<f", float("nan")) + STL[100:]


def ply(body: str, vertices: int, faces: int) -> bytes:
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {vertices}\n"
        "property float x\nproperty float y\nproperty float z\n"
        f"element face {faces}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    return (head + body).encode()


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("empty.stl", b"", "empty"),
        ("blank.obj", b" \n \n", "empty"),
        ("cut.stl", STL[:-70], "announces 12 faces, 684 bytes, but has 614 bytes"),
        ("long.stl", STL + b"\0" * 50, "announces 12 faces"),
        ("head.stl", STL[:60], "too few"),
        ("none.stl", STL[:80] + struct.pack("<I", 0), "no faces"),
        ("cut_text.stl", STL_TEXT[: len(STL_TEXT) // 2], "cut off"),
        ("text.stl", b"solid nothing\nendsolid nothing\n", "no faces"),
        (
            "facet.stl",
            STL_TEXT.replace(b"endloop", b"vertex 1 1 1\nendloop", 1),
            ":9: a facet has 4 vertices",
        ),
        ("loop.stl", b"solid a\nfacet\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendsolid a", "no endfacet"),
        (
            "garbled.stl",
            STL_TEXT.replace(b"vertex 50.0", b"vertex 5O.x"),
            ":[0-9]+: .* are not three numbers",
        ),
        ("nan.stl", NAN_STL, "not finite"),
        ("nan.obj", POINTS + b"v nan 0 0\nf 1 2 3\nf 1 2 4\n", "1 vertices are not finite"),
        ("letter.obj", POINTS + b"v 0 0 x\nf 1 2 3\n", ":4: '0 0 x' are not three numbers"),
        ("short.obj", POINTS + b"v 0 0\nf 1 2 3\n", ":4: a vertex has 2 numbers"),
        ("corners.obj", POINTS + b"f 1 2\n", ":4: a face has 2 corners"),
        ("word.obj", POINTS + b"f 1 2 c/1\n", ":4: 'c' is not a vertex number"),
        (
            "large.obj",
            POINTS + b"f 1 2 99999999999999999999\n",
            "a face names a vertex that is not in the file",
        ),
        ("huge.obj", POINTS + b"v 1e200 0 0\nf 1 2 4\n", "1 vertices are not finite"),
        ("zero.obj", POINTS + b"f 0 1 2\n", ":4: a face names vertex 0"),
        ("before.obj", POINTS + b"f -4 -2 -1\n", ":4: a face names vertex -4"),
        ("inf.ply", ply("0 0 0\n1 0 0\n0 inf 0\n3 0 1 2\n", 3, 1), "not finite"),
        ("points.obj", POINTS, "no faces"),
        ("missing.obj", POINTS + b"f 1 2 9\n", "not in the file"),
        ("missing.ply", ply("0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n", 3, 1), "cannot be read|not in the file"),
        ("prose.obj", b"this is a letter, not a mesh\n", "no faces"),
        ("prose.ply", b"this is a letter, not a mesh\n", "header"),
        ("cut.ply", PLY[:-40], "ends after 8 of 12 face records"),
        ("cut_text.ply", PLY_TEXT[:-60], "announces 20 lines of data, but"),
        ("cut_points.ply", ply("0 0 0\n1 0 0\n", 3, 1), "announces 4 lines of data, but 2"),
        ("line.obj", b"v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\n", "no area"),
        ("point.obj", b"v 1 1 1\nv 1 1 1\nv 1 1 1\nf 1 2 3\n", "no area"),
        ("part.step", b"ISO-10303-21;", "export the surface as STL, OBJ, PLY"),
        ("part.3mf", b"PK", "cannot be unpacked"),
        ("part", STL, "export the surface as STL, OBJ, PLY"),
    ],
)
def test_unusable_files_are_refused_in_one_sentence(tmp_path, name, data, message):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(GeometryError, match=message) as caught:
        load(path, MM)
    assert str(caught.value).startswith(name)
    assert "\n" not in str(caught.value)
    assert caught.value.hint
    assert caught.value.field == "mesh"


def test_missing_file_and_folder_are_refused(tmp_path):
    with pytest.raises(GeometryError, match="no such file"):
        load(tmp_path / "none.stl", MM)
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(GeometryError, match="cannot be read"):
        load(tmp_path / "folder.stl", MM)


@pytest.mark.parametrize("unit", [0.0, -1e-3, float("nan"), float("inf")])
def test_impossible_units_are_refused(tmp_path, unit):
    with pytest.raises(GeometryError, match="unit of the mesh") as caught:
        load(tmp_path / "any.stl", unit)
    assert caught.value.field == "unit"


def test_unknown_place_of_measurement_is_refused(tmp_path):
    with pytest.raises(GeometryError, match="outside, inside or middle") as caught:
        load_surface(tmp_path / "any.stl", MM, "outer")
    assert caught.value.field == "dimensions"


@pytest.mark.parametrize("step", range(0, len(STL), 37))
def test_binary_stl_cut_anywhere_is_refused(tmp_path, step):
    path = tmp_path / "cut.stl"
    path.write_bytes(STL[:step])
    with pytest.raises(GeometryError):
        load(path, MM)


def test_obj_with_extra_text_comments_polygons_and_relative_numbers_is_read(tmp_path):
    text = """# made by hand
mtllib nowhere.mtl
o box
v 0 0 0 1 0 0
v 10 0 0 0 1 0
v 10 10 0 0 0 1
v 0 10 0 1 1 1
vt 0 0
vn 0 0 1
g front
usemtl paint
s off
f 1/1/1 2//1 \\
  3/1 4  # a square
something the reader does not know 1 2 3
"""
    path = tmp_path / "plate.obj"
    path.write_text(text)
    assert load(path, MM).facts.area == pytest.approx(1e-4, rel=1e-9)
    path.write_text("v 0 0 0\nv 10 0 0\nv 0 10 0\nf -3 -2 -1\n")
    assert load(path, MM).facts.area == pytest.approx(5e-5, rel=1e-9)


def test_binary_stl_whose_header_says_solid_is_read(tmp_path):
    path = tmp_path / "solid.stl"
    path.write_bytes(b"solid facet endsolid".ljust(80) + STL[80:])
    assert load(path, MM).facts.volume == pytest.approx(0.00048, rel=1e-6)


def test_text_stl_with_odd_names_capitals_and_several_solids_is_read(tmp_path):
    path = tmp_path / "odd.stl"
    moved = BOX.copy()
    moved.apply_translation((200, 0, 0))
    second = moved.export(file_type="stl_ascii").encode()
    odd = STL_TEXT.replace(b"solid", b"solid vertex part", 1)
    path.write_bytes(odd + second.upper().replace(b"\n", b"\r\n"))
    body = load(path, MM)
    assert body.facts.bodies == 2
    assert body.facts.volume == pytest.approx(2 * 0.00048, rel=1e-6)


def test_ply_with_texture_coordinates_is_read(tmp_path):
    path = tmp_path / "textured.ply"
    corners = "0 0 0 0 0\n10 0 0 1 0\n10 10 0 1 1\n0 10 0 0 1\n4 0 1 2 3\n"
    path.write_bytes(
        ply(corners, 4, 1).replace(b"float z\n", b"float z\nproperty float s\nproperty float t\n")
    )
    assert load(path, MM).facts.area == pytest.approx(1e-4, rel=1e-9)


def test_sheet_drawn_from_both_sides_encloses_nothing(tmp_path):
    # a square split along one diagonal in front and along the other at the back: closed, but flat
    path = tmp_path / "sheet.obj"
    path.write_text("v 0 0 0\nv 10 0 0\nv 10 10 0\nv 0 10 0\nf 1 2 3\nf 1 3 4\nf 4 2 1\nf 4 3 2\n")
    body = load(path, MM)
    assert body.facts.closed
    assert body.volume is None
    assert whole_surface(body, "middle").area(1e-4) == pytest.approx(2e-4)
    (warning,) = body.warnings  # two films, or one from both sides: both areas are told
    assert "flat and closed" in warning and "2 cm2 together" in warning and "'area: 1 cm2'" in warning


def test_reader_is_quiet_about_damage(tmp_path, caplog):
    path = tmp_path / "odd.ply"
    # no room for the points that the header announces: trimesh logs this, and here it is an error
    path.write_bytes(PLY.replace(b"element vertex 8", b"element vertex 9"))
    with pytest.raises(GeometryError):
        load(path, MM)
    path.write_bytes(PLY[: PLY.index(b"end_header") + 30])
    with pytest.raises(GeometryError):
        load(path, MM)
    assert caplog.records == []


def test_binary_ply_of_mixed_polygons_is_read(tmp_path):
    # one triangle and one square: lists of unequal length
    head = ply("", 5, 2).replace(b"format ascii", b"format binary_little_endian")
    points = struct.pack("<15f", 0, 0, 0, 10, 0, 0, 10, 10, 0, 0, 10, 0, 5, 15, 0)
    faces = struct.pack("<B4iB3i", 4, 0, 1, 2, 3, 3, 3, 2, 4)
    path = tmp_path / "mixed.ply"
    path.write_bytes(head + points + faces)
    # a square of 10 mm and a triangle of 10 mm by 5 mm on it
    assert load(path, MM).facts.area == pytest.approx(125e-6, rel=1e-6)


def test_unused_vertices_do_not_enlarge_the_body(tmp_path):
    path = tmp_path / "stray.ply"
    vertices = np.vstack([BOX.vertices, [[1e4, 0, 0]]])
    path.write_bytes(trimesh.Trimesh(vertices, BOX.faces, process=False).export(file_type="ply"))
    body = load(path, MM)
    assert body.facts.size == pytest.approx((0.1, 0.08, 0.06))
    assert body.facts.vertices == 8
    assert body.facts.volume == pytest.approx(0.00048, rel=1e-6)


def test_one_sided_surface_is_refused(tmp_path):
    # the projective plane on six vertices: every edge has two faces, and no consistent winding exists
    path = tmp_path / "one_sided.obj"
    points = np.random.default_rng(3).random((6, 3)) * 100
    faces = (123, 134, 145, 156, 126, 235, 346, 452, 563, 624)
    lines = ["v " + " ".join(map(str, p)) for p in points] + ["f " + " ".join(str(f)) for f in faces]
    path.write_text("\n".join(lines))
    with pytest.raises(GeometryError, match="one-sided"):
        load(path, MM)


def test_importing_geometry_does_not_import_the_mesh_library():
    code = (
        "import sys; import optimizer.geometry.mesh, optimizer.geometry.shapes;"
        "sys.exit(any(m in sys.modules for m in ('trimesh', 'scipy', 'pandas')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("part", ["ascii", "binary"])
def test_ply_cut_anywhere_is_refused(tmp_path, part):
    data = PLY_TEXT.rstrip() if part == "ascii" else PLY
    path = tmp_path / "cut.ply"
    for length in range(0, len(data) - 2, 17):
        path.write_bytes(data[:length])
        with pytest.raises(GeometryError):
            load(path, MM)

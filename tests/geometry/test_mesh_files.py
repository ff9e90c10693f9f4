"""Mesh files of six formats against trimesh, a general library, which writes them and measures what it wrote,
and against the export of a general CAD modeller where there is one."""

from __future__ import annotations

import struct
import warnings

import pytest
import trimesh

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.files import read

BOX = trimesh.creation.box((100, 80, 60))
TORUS = trimesh.creation.torus(40, 12, 40, 24)


@pytest.fixture
def given(tmp_path):
    """A file of the given name and content."""

    def do(name, data):
        path = tmp_path / name
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        return path

    return do


def measured(body):
    """Area and volume by trimesh."""
    mesh = trimesh.Trimesh(body.vertices, body.faces, process=False)
    return mesh.area, mesh.volume


def area(raw):
    """Of a flat body, of which trimesh cannot tell the volume."""
    (body,) = raw.bodies
    return trimesh.triangles.area(body.vertices[body.faces]).sum()


def refused(path, message):
    with pytest.raises(GeometryError, match=message) as caught:
        read(path)
    assert str(caught.value).startswith(path.name)
    assert "\n" not in str(caught.value)
    assert caught.value.hint
    assert caught.value.field == "mesh"


# --- every format, written by trimesh


@pytest.mark.parametrize("mesh", [BOX, TORUS], ids=["box", "torus"])
@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("a.stl", {"file_type": "stl"}),
        ("a.STL", {"file_type": "stl_ascii"}),
        ("a.obj", {"file_type": "obj"}),
        ("a.ply", {"file_type": "ply"}),
        ("a.Ply", {"file_type": "ply", "encoding": "ascii"}),
        ("a.off", {"file_type": "off"}),
        ("a.glb", {"file_type": "glb"}),
        ("a.3mf", {"file_type": "3mf"}),
    ],
)
def test_every_format_gives_back_what_was_written(given, mesh, name, options):
    raw = read(given(name, mesh.export(**options)))
    (body,) = raw.bodies
    assert raw.name == "a"
    assert len(body.faces) == len(mesh.faces)
    assert measured(body) == pytest.approx((mesh.area, mesh.volume), rel=1e-6)
    assert raw.notes == ()
    assert raw.stated_unit == {"glb": 1.0, "3mf": 1e-3}.get(name[2:])


@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "off"])
def test_lone_body_has_the_name_of_the_file(given, kind):
    assert read(given(f"my bottle.v2.{kind}", BOX.export(file_type=kind))).bodies[0].name == "my bottle.v2"


@pytest.mark.slow
def test_cad_export_is_read_with_its_area_and_volume(given, tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the modeller's own dependencies
        cadquery = pytest.importorskip("cadquery")
        solid = cadquery.Workplane().circle(30).extrude(80).faces(">Z").circle(15).extrude(20)
        for name in ("a.stl", "a.3mf"):
            cadquery.exporters.export(solid, str(tmp_path / name), tolerance=0.002, angularTolerance=0.05)
    exact = solid.val().Area(), solid.val().Volume()  # of the curved body: facets lie inside
    for name in ("a.stl", "a.3mf"):
        raw = read(tmp_path / name)
        assert measured(raw.bodies[0]) == pytest.approx(exact, rel=2e-4), name
        assert raw.notes == ()


def test_obj_objects_and_groups_are_bodies(given):
    points = "v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\n"
    text = points + "o pack\ng side\nf 1 2 3\ng end\nf 1 2 4\no cap\nf 2 3 4\ng\nf 1 3 4\n"
    raw = read(given("a.obj", text))
    assert [(body.name, len(body.faces)) for body in raw.bodies] == [
        ("pack/side", 1),
        ("pack/end", 1),
        ("cap", 2),
    ]
    assert raw.bodies[1].vertices.tolist() == [[0, 0, 0], [1, 0, 0], [0, 0, 1]]
    text = "o a\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\no b\nv 0 0 5\nv 1 0 5\nv 0 1 5\nf -3 -2 -1\n"
    raw = read(given("b.obj", text))
    assert [body.vertices[:, 2].tolist() for body in raw.bodies] == [[0, 0, 0], [5, 5, 5]]


def test_unused_vertices_and_unknown_lines_are_said(given):
    triangle = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
    assert "1 vertex used by no face" in read(given("a.obj", triangle + "v 1 1 1\n")).notes[0]
    assert "1 line passed over" in read(given("b.obj", triangle + "w 1 1 1\n")).notes[0]


SQUARE = "0 0 0\n4 0 0\n4 4 0\n0 4 0\n"
ARROW = "0 0 0\n4 0 0\n0 4 0\n1 1 0\n"  # its first corner does not see all of it


@pytest.mark.parametrize(
    ("name", "head", "face"),
    [
        ("a.obj", "{v}", "f {one}\n"),
        ("a.off", "OFF\n4 1 0\n{p}", "4 {zero}\n"),
        (
            "a.ply",
            "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
            "element face 1\nproperty list uchar int vertex_index\nend_header\n{p}",
            "4 {zero}\n",
        ),
    ],
)
def test_polygons_are_split_unless_they_have_a_dent(given, name, head, face):
    def written(points, order):
        rows = "".join(f"v {line}\n" for line in points.splitlines())
        return (head + face).format(
            v=rows, p=points, one=" ".join(str(k + 1) for k in order), zero=" ".join(map(str, order))
        )

    raw = read(given(name, written(SQUARE, (0, 1, 2, 3))))
    assert area(raw) == pytest.approx(16)
    assert raw.notes == ("1 polygon split into triangles",)
    refused(given(name, written(ARROW, (0, 1, 2, 3))), "with a dent")
    # the second corner does: half of 4 x 4 without the dent, half of 4 x 1
    assert area(read(given(name, written(ARROW, (3, 0, 1, 2))))) == pytest.approx(6)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n", "announces 3 vertices and 1 faces, but 3 lines"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n3 0 1 2\n", "but 5 lines follow"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 3\n", "not in the file"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1\n", ":6: a face of 3 corners names only 2"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 b\n", ":6: 'b' is not a vertex number"),
        ("OFF\n3 1 0\n0 0 0\n1 x 0\n0 1 0\n3 0 1 2\n", ":4: '1 x 0' are not three numbers"),
        ("OFF\n3 1 0\n0 0 0\n1 0\n0 1 0\n3 0 1 2\n", ":4: a vertex has 2 numbers"),
        ("OFF\n3 1 0\n0 0 0\n1_0 0 0\n0 1 0\n3 0 1 2\n", ":4: '1_0 0 0' are not three numbers"),
        ("OFF\n3\n", "numbers of vertices and faces"),
        ("OFF\n", "numbers of vertices and faces"),
        ("OFF BINARY\n3 1 0\n", "not with OFF"),
        ("4OFF\n3 1 0\n", "not with OFF"),
        ("a letter\n", "not with OFF"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 \0\n3 0 1 2\n", "zero bytes"),
    ],
)
def test_unusable_off_is_refused_in_one_sentence(given, text, message):
    refused(given("a.off", text), message)


def test_off_with_comments_colours_and_counts_behind_the_first_word_is_read(given):
    raw = read(given("a.off", "COFF 3 1 0 # plate\n\n0 0 0 9 9\n1 0 0 9 9\n0 1 0 9 9\n3 0 1 2 255 0 0\n"))
    assert area(raw) == pytest.approx(0.5)


def ply_binary(order, face_properties, faces, vertices=5, count=2, extra=""):
    name = {"<": "little", ">": "big"}[order]
    head = (
        f"ply\nformat binary_{name}_endian 1.0\ncomment by hand\nelement vertex {vertices}\n"
        "property uchar red\nproperty double x\nproperty double y\nproperty double z\n"
        f"element face {count}\n{face_properties}{extra}end_header\n"
    )
    points = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0), (5, 15, 0)]
    return head.encode() + b"".join(struct.pack(order + "B3d", 7, *p) for p in points) + faces


LIST = "property list uchar int vertex_indices\n"


@pytest.mark.parametrize("order", "<>")
def test_binary_ply_of_either_byte_order_and_mixed_polygons_is_read(given, order):
    mixed = struct.pack(order + "B4iB3i", 4, 0, 1, 2, 3, 3, 3, 2, 4)
    assert area(read(given("a.ply", ply_binary(order, LIST, mixed)))) == pytest.approx(125)
    extra = "property float quality\nproperty list uchar float texcoord\n"
    rows = [((0, 1, 2), 1), ((0, 2, 3), 2)]
    faces = b"".join(struct.pack(order + "B3ifB2f", 3, *row, 1.0, 2, 0.5, 0.5) for row, _ in rows)
    raw = read(given("b.ply", ply_binary(order, LIST + extra, faces)))
    assert area(raw) == pytest.approx(100)
    assert "1 vertex used by no face" in raw.notes[0]


def test_binary_ply_of_squares_is_split(given):
    raw = read(given("a.ply", ply_binary("<", LIST, struct.pack("<B4i", 4, 0, 1, 2, 3), vertices=5, count=1)))
    assert area(raw) == pytest.approx(100)
    assert raw.notes[0] == "1 polygon split into triangles"


TRIANGLES = struct.pack("<B3iB3i", 3, 0, 1, 2, 3, 0, 2, 3)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (ply_binary("<", LIST, TRIANGLES[:-1]), "ends after 1 of 2 face"),
        (ply_binary("<", LIST, TRIANGLES + b"\0"), "1 byte of data too many"),
        (ply_binary("<", LIST, TRIANGLES, count=1), "13 bytes of data too many"),
        # a list told to be longer than the first, in a file of the right length
        (ply_binary("<", LIST, TRIANGLES[:13] + b"\4" + TRIANGLES[14:]), "ends after 1 of 2 face"),
        (ply_binary("<", LIST, TRIANGLES, vertices=6), "do not fit|ends after|not in the file|corners"),
        (ply_binary("<", LIST, TRIANGLES, vertices=10**9), "ends after"),
        (ply_binary("<", LIST, TRIANGLES, count=10**9), "do not fit"),
        (ply_binary("<", LIST, struct.pack("<B3iB2i", 3, 0, 1, 2, 2, 0, 2)), "face 2 has 2 corners"),
        (ply_binary("<", "property int vertex_indices\n", b"\0" * 8), "not in lists"),
        (ply_binary("<", "property list uchar int corner\n", TRIANGLES), "no property vertex_ind"),
        (
            ply_binary("<", "property list float int vertex_indices\n", TRIANGLES),
            ":10: .* not a line of a PLY",
        ),
        (ply_binary("<", LIST, TRIANGLES, extra="element tristrips 1\n"), "strips"),
        (ply_binary("<", LIST, TRIANGLES).replace(b"1.0", b"1.1", 1), ":2: .*not a line of a PLY header"),
    ],
)
def test_unusable_binary_ply_is_refused_in_one_sentence(given, data, message):
    refused(given("a.ply", data), message)


def test_text_stl_in_one_line_and_indented_is_read(given):
    text = BOX.export(file_type="stl_ascii")
    indented = "  " + text.replace("\n", "\n\t ").upper()
    for changed_text in (*(text.replace("\n", end) for end in ("\r\n", "\r", " ")), indented):
        raw = read(given("a.stl", changed_text))
        assert measured(raw.bodies[0]) == pytest.approx((BOX.area, BOX.volume))
        assert raw.notes == ()


def test_text_stl_whose_lines_ran_into_one_another_is_refused_with_the_line(given):
    text = BOX.export(file_type="stl_ascii").replace("30.0\nvertex", "30.01vertex", 1)
    refused(given("a.stl", text), ":7: a facet has 2 vertices")


def test_text_stl_of_many_blocks_and_solids_is_read_whole(given, monkeypatch):
    monkeypatch.setattr("optimizer.geometry.mesh.stl.BLOCK", 1000)
    one = TORUS.export(file_type="stl_ascii")
    two = BOX.export(file_type="stl_ascii").replace("solid", "solid a vertex of a facet", 1)
    (body,) = read(given("a.stl", one + "\n" * 300 + two)).bodies
    assert len(body.faces) == len(TORUS.faces) + len(BOX.faces)
    assert measured(body) == pytest.approx((TORUS.area + BOX.area, TORUS.volume + BOX.volume))


def test_stl_faces_that_deny_their_normals_are_said(given):
    data = bytearray(BOX.export(file_type="stl"))
    first, second = data[84 + 12 : 84 + 24], data[84 + 24 : 84 + 36]
    data[84 + 12 : 84 + 36] = second + first
    assert "1 face of 12 wound against the normals" in read(given("a.stl", bytes(data))).notes[0]
    text = BOX.export(file_type="stl_ascii").replace("vertex -50.0 40.0 30.0", "vertex 250.0 40.0 30.0", 1)
    assert "across the normals" in read(given("b.stl", text)).notes[0]


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("part.step", "mesh export"),
        ("part.igs", "mesh export"),
        ("part.gltf", "GLB"),
        ("part.dwg", "STL, OBJ, PLY, OFF, GLB or 3MF"),
        ("part", "STL, OBJ, PLY, OFF, GLB or 3MF"),
    ],
)
def test_files_of_other_kinds_are_told_what_to_export(given, name, hint):
    with pytest.raises(GeometryError, match="not a triangle mesh that can be read") as caught:
        read(given(name, b"anything"))
    assert hint in caught.value.hint


@pytest.mark.slow
@pytest.mark.parametrize(("name", "seconds"), [("a.stl", 8), ("a.ply", 6), ("a.glb", 6), ("a.obj", 25)])
def test_a_million_faces_are_read_in_seconds(given, name, seconds):
    # several times the processor time measured, for slow machines
    import time

    path = given(name, trimesh.creation.uv_sphere(40, count=(355, 710)).export(file_type=name[2:]))
    start = time.process_time()
    raw = read(path)
    assert time.process_time() - start < seconds
    assert len(raw.bodies[0].faces) > 1_000_000

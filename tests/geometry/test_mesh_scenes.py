"""Scenes in GLB and 3MF files: transforms, names and units, against hand-made files of known answer and
against trimesh, a general library, which writes them and measures what it wrote."""

from __future__ import annotations

import io
import json
import math
import struct
import zipfile

import numpy as np
import pytest
import trimesh

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.files import read

BOX = trimesh.creation.box((100, 80, 60))
TORUS = trimesh.creation.torus(40, 12, 40, 24)

# the 3MF core specification, table of units; 1 inch = 25.4 mm, 1 foot = 12 inch (exact by definition)
UNITS_3MF = {
    "micron": 1e-6,
    "millimeter": 1e-3,
    "centimeter": 1e-2,
    "inch": 0.0254,
    "foot": 0.3048,
    "meter": 1.0,
}


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


def refused(path, message):
    with pytest.raises(GeometryError, match=message) as caught:
        read(path)
    assert str(caught.value).startswith(path.name)
    assert "\n" not in str(caught.value)
    assert caught.value.hint
    assert caught.value.field == "mesh"


# --- GLB


def glb(document, binary=b""):
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    if binary:
        chunks += struct.pack("<II", len(binary), 0x004E4942) + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def box_document(nodes, **more):
    """A document with one box, 2 x 3 x 4, as mesh 0."""
    box = trimesh.creation.box((2, 3, 4))
    points, corners = box.vertices.astype("<f4").tobytes(), box.faces.astype("<u2").tobytes()
    views = [
        {"buffer": 0, "byteOffset": 0, "byteLength": len(points)},
        {"buffer": 0, "byteOffset": len(points), "byteLength": len(corners)},
    ]
    accessors = [
        {"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3"}
        | {"min": [-1, -1.5, -2], "max": [1, 1.5, 2]},
        {"bufferView": 1, "componentType": 5123, "count": 36, "type": "SCALAR"},
    ]
    mesh = {"name": "box", "primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}
    document = {"asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": nodes}
    document |= {"meshes": [mesh], "accessors": accessors, "bufferViews": views}
    document |= {"buffers": [{"byteLength": len(points) + len(corners)}]}
    return document | more, points + corners


def test_glb_nodes_are_turned_scaled_and_moved_with_those_above_them(given):
    half = math.sqrt(0.5)
    nodes = [
        {"name": "pack", "children": [1], "translation": [10, 0, 0]},
        {
            "name": "cap",
            "mesh": 0,
            "rotation": [0, 0, half, half],
            "scale": [2, 1, 1],
            "translation": [0, 5, 0],
        },
    ]
    raw = read(given("a.glb", glb(*box_document(nodes))))
    (body,) = raw.bodies
    assert body.name == "cap"
    # scaled along x to 4 x 3 x 4, turned by 90 degrees about z to 3 x 4 x 4, then moved
    assert body.vertices.min(axis=0) == pytest.approx([10 - 1.5, 5 - 2, -2], abs=1e-6)
    assert body.vertices.max(axis=0) == pytest.approx([10 + 1.5, 5 + 2, 2], abs=1e-6)
    assert measured(body) == pytest.approx((2 * (12 + 12 + 16), 48), rel=1e-6)


def test_glb_matrix_is_listed_by_columns_and_mirroring_keeps_the_faces_outward(given):
    matrix = [-1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 7, 8, 9, 1]
    (body,) = read(given("a.glb", glb(*box_document([{"mesh": 0, "matrix": matrix}])))).bodies
    assert body.name == "box"
    assert (body.vertices.min(axis=0) + body.vertices.max(axis=0)) / 2 == pytest.approx([7, 8, 9])
    assert measured(body)[1] == pytest.approx(24, rel=1e-6)


def test_glb_mesh_shown_twice_is_two_bodies(given):
    nodes = [{"children": [1, 2]}, {"mesh": 0}, {"mesh": 0, "translation": [9, 0, 0]}]
    raw = read(given("a.glb", glb(*box_document(nodes))))
    assert [body.name for body in raw.bodies] == ["box", "box 2"]
    assert raw.bodies[1].vertices.mean(axis=0) == pytest.approx([9, 0, 0])


def test_glb_scene_written_by_trimesh_keeps_names_and_places(given):
    scene = trimesh.Scene()
    mirror = np.diag([1.0, 1.0, -1.0, 1.0])
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3]) @ trimesh.transformations.scale_matrix(2)
    scene.add_geometry(BOX, node_name="bottle", transform=turn)
    scene.add_geometry(TORUS, node_name="handle", transform=mirror)
    raw = read(given("a.glb", scene.export(file_type="glb")))
    by_name = {body.name: measured(body) for body in raw.bodies}
    assert by_name["bottle"] == pytest.approx((4 * BOX.area, 8 * BOX.volume), rel=1e-5)
    assert by_name["handle"] == pytest.approx((TORUS.area, TORUS.volume), rel=1e-5)


def test_glb_object_outside_the_scene_is_left_out_and_said(given):
    raw = read(given("a.glb", glb(*box_document([{"mesh": 0}, {"mesh": 0}]))))
    assert len(raw.bodies) == 1
    assert "1 object in no scene" in raw.notes[0]


def test_glb_without_scenes_shows_the_nodes_that_hang_in_none(given):
    document, binary = box_document([{"mesh": 0}, {"children": [0], "translation": [5, 0, 0]}])
    del document["scenes"], document["scene"]
    (body,) = read(given("a.glb", glb(document, binary))).bodies
    assert body.vertices.mean(axis=0) == pytest.approx([5, 0, 0])


def test_glb_node_below_a_camera_is_placed(given):
    lens = {"type": "perspective", "perspective": {"yfov": 1, "znear": 1, "aspectRatio": 1}}
    nodes = [{"camera": 0, "children": [1], "translation": [5, 0, 0]}, {"mesh": 0}]
    (body,) = read(given("a.glb", glb(*box_document(nodes, cameras=[lens])))).bodies
    assert body.vertices.mean(axis=0) == pytest.approx([5, 0, 0])


def test_glb_primitives_on_the_same_positions_are_one_body_that_shares_them(given):
    document, binary = box_document([{"mesh": 0}])
    first, second = document["accessors"][1] | {"count": 18}, document["accessors"][1] | {"count": 18}
    document["accessors"][1:] = [first, second | {"byteOffset": 36}]
    document["meshes"][0]["primitives"] = [{"attributes": {"POSITION": 0}, "indices": k} for k in (1, 2)]
    raw = read(given("a.glb", glb(document, binary)))
    assert len(raw.bodies[0].vertices) == 8
    assert measured(raw.bodies[0]) == pytest.approx((52, 24), rel=1e-6)
    assert raw.notes == ()


def test_glb_positions_between_other_values_are_read(given):
    document, binary = box_document([{"mesh": 0}])
    points = np.frombuffer(binary, "<f4", 24).reshape(8, 3)
    strided = np.hstack([points, np.full((8, 2), 9, "<f4")]).tobytes()
    document["bufferViews"][0] |= {"byteLength": len(strided), "byteStride": 20}
    document["bufferViews"][1]["byteOffset"] = len(strided)
    raw = read(given("a.glb", glb(document, strided + binary[96:])))
    assert measured(raw.bodies[0]) == pytest.approx((52, 24), rel=1e-6)


def test_failure_of_the_mesh_library_is_told_as_one_of_the_file(given, monkeypatch):
    def fail(*_, **__):
        raise KeyError("of a kind\nnot foreseen")

    path = given("a.glb", glb(*box_document([{"mesh": 0}])))
    monkeypatch.setattr(trimesh, "load_scene", fail)
    refused(path, "a.glb: cannot be decoded .*not foreseen")


def changed(path, value):
    """The box document with one entry replaced."""
    document, binary = box_document([{"mesh": 0}])
    place = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return glb(document, binary)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (glb(*box_document([{"mesh": 0}]))[:-4], "announces"),
        (glb(*box_document([{"mesh": 0}])) + b"\0\0\0\0", "announces"),
        (b"glTF" + struct.pack("<II", 1, 20) + bytes(8), "version 1"),
        (
            glb(*box_document([{"mesh": 0}], extensionsRequired=["KHR_draco_mesh_compression"])),
            "needs KHR_draco",
        ),
        (
            glb(*box_document([{"mesh": 0}], extensionsRequired=["KHR_mesh_quantization"])),
            "needs KHR_mesh_quant",
        ),
        (changed(["buffers", 0, "uri"], "a.bin"), "another file"),
        (changed(["accessors", 0, "componentType"], 5122), "not plain"),
        (changed(["accessors", 0, "count"], 99), "past the end"),
        (changed(["accessors", 1, "count"], 35), "multiple of 3"),
        (changed(["accessors", 0, "count"], -3), "whole numbers"),
        (changed(["accessors", 0, "sparse"], {}), "sparse"),
        (changed(["accessors", 0, "max"], [1, 1.5, 3]), "not within the limits"),
        (changed(["bufferViews", 0, "byteLength"], 10), "past the end"),
        (changed(["meshes", 0, "primitives", 0, "mode"], 5), "strips"),
        (changed(["meshes", 0, "primitives", 0, "mode"], 1), "no faces"),
        (changed(["meshes", 0, "primitives", 0, "attributes"], {}), "without positions"),
        (changed(["nodes", 0, "mesh"], 4), "refers to meshes 4"),
        (changed(["nodes", 0, "scale"], [1, 0, 1]), "flattens"),
        (changed(["nodes", 0, "scale"], [1, 2]), "not 3 numbers"),
        (changed(["nodes", 0, "rotation"], [1, 1, 1, 1]), "unit quaternion"),
        (changed(["nodes", 0, "children"], [0]), "hangs in itself"),
        (changed(["nodes"], 3), "not a list"),
        (glb({"asset": {}}), "no faces"),
    ],
)
def test_unusable_glb_is_refused_in_one_sentence(given, data, message):
    refused(given("a.glb", data), message)


# --- 3MF

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
RELS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="r" Target="/3D/a.model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def mesh_xml(mesh):
    points = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.vertices.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist())
    return f"<mesh><vertices>{points}</vertices><triangles>{faces}</triangles></mesh>"


def model_xml(resources, build, unit=' unit="millimeter"'):
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><model{unit} xmlns="{CORE}" xmlns:p="{PRODUCTION}">'
        f"<resources>{resources}</resources><build>{build}</build></model>"
    )


SMALL = trimesh.creation.box((2, 3, 4))
ONE = f'<object id="1" name="jar">{mesh_xml(SMALL)}</object>'
ITEM = '<item objectid="1"/>'


def package(model, **parts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("_rels/.rels", RELS)
        archive.writestr("3D/a.model", model)
        for name, text in parts.items():
            archive.writestr(f"3D/{name}.model", text)
    return out.getvalue()


@pytest.mark.parametrize(("unit", "metres"), UNITS_3MF.items())
def test_3mf_unit_is_told_in_metres(given, unit, metres):
    raw = read(given("a.3mf", package(model_xml(ONE, ITEM, f' unit="{unit}"'))))
    assert raw.stated_unit == metres
    assert np.ptp(raw.bodies[0].vertices, axis=0) == pytest.approx([2, 3, 4])  # of the file, not metres


def test_3mf_without_a_unit_is_in_millimetres(given):
    assert read(given("a.3mf", package(model_xml(ONE, ITEM, "")))).stated_unit == 1e-3


def test_3mf_transforms_of_components_come_before_those_of_items(given):
    # rows of the file: where the x, y and z axes go, then the shift
    turn = "0 1 0 -1 0 0 0 0 1 5 0 0"  # x to y, y to -x, then 5 along x
    mirrored = "2 0 0 0 1 0 0 0 -1 0 0 100"  # twice as long in x, z turned over
    resources = (
        ONE + f'<object id="2"><components><component objectid="1" transform="{turn}"/></components></object>'
    )
    raw = read(given("a.3mf", package(model_xml(resources, f'<item objectid="2" transform="{mirrored}"/>'))))
    (body,) = raw.bodies
    assert body.name == "jar"
    # 2 x 3 x 4 is turned to 3 x 2 x 4 about x = 5, then 6 x 2 x 4 about x = 10, z = 100
    assert body.vertices.min(axis=0) == pytest.approx([7, -1, 98])
    assert body.vertices.max(axis=0) == pytest.approx([13, 1, 102])
    assert measured(body) == pytest.approx((2 * (12 + 24 + 8), 48))


def test_3mf_object_placed_twice_is_two_bodies_and_support_is_left_out(given):
    support = ONE.replace('id="1" name="jar"', 'id="3" type="support"')
    build = ITEM + '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 50 0 0"/><item objectid="3"/>'
    raw = read(given("a.3mf", package(model_xml(ONE + support, build))))
    assert [body.name for body in raw.bodies] == ["jar", "jar 2"]
    assert raw.bodies[1].vertices.mean(axis=0) == pytest.approx([50, 0, 0])
    assert raw.notes == ("1 support for printing left out",)


def test_3mf_objects_in_other_models_of_the_archive_are_followed(given):
    build = '<item objectid="1" p:path="/3D/b.model"/>'
    raw = read(given("a.3mf", package(model_xml("", build), b=model_xml(ONE, ""))))
    assert raw.bodies[0].name == "jar"
    assert measured(raw.bodies[0])[1] == pytest.approx(24)
    inches = model_xml(ONE, "", ' unit="inch"')
    refused(given("b.3mf", package(model_xml("", build), b=inches)), "another unit")


def test_3mf_scene_written_by_trimesh_keeps_its_places(given):
    scene = trimesh.Scene()
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])
    turn[:3, 3] = 10, 20, 30
    scene.add_geometry(BOX, geom_name="bottle", node_name="bottle", transform=turn)
    scene.add_geometry(TORUS, geom_name="handle", node_name="handle")
    raw = read(given("a.3mf", scene.export(file_type="3mf")))
    by_name = {body.name: body for body in raw.bodies}
    assert by_name["bottle"].vertices.mean(axis=0) == pytest.approx([10, 20, 30], abs=1e-5)
    assert measured(by_name["bottle"]) == pytest.approx((BOX.area, BOX.volume), rel=1e-6)
    assert measured(by_name["handle"]) == pytest.approx((TORUS.area, TORUS.volume), rel=1e-6)


def nested(levels):
    """Each object places the next one twice: 2 ** levels meshes."""
    return ONE + "".join(
        f'<object id="{k + 2}"><components>'
        + 2 * f'<component objectid="{k + 1}"/>'
        + "</components></object>"
        for k in range(levels)
    )


def flipped_in_archive():
    data = bytearray(package(model_xml(ONE, ITEM)))
    data[data.index(b"3D/a.model") + 60] ^= 16
    return bytes(data)


ENTITY = '<!DOCTYPE model [<!ENTITY a "b">]>'


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (package(model_xml(ONE, ITEM))[:-30], "cannot be unpacked"),
        (b"PK\3\4 not an archive", "cannot be unpacked"),
        (flipped_in_archive(), "cannot be unpacked"),
        (package(model_xml(ONE, ITEM, ' unit="cubit"')), "unit 'cubit'"),
        (package(model_xml(ONE, "")), "no faces"),
        (package(model_xml(ONE, '<item objectid="7"/>')), "object '7' is placed but not in the file"),
        (package(model_xml(ONE, '<item objectid="1" transform="1 0 0"/>')), "3 numbers, 12 are needed"),
        (package(model_xml(ONE, '<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>')), "flattens"),
        (package(model_xml(ONE.replace('v1="1"', 'v1="8"', 1), ITEM)), "not in the file"),
        (package(model_xml(ONE.replace(' v1="1"', "", 1), ITEM)), "has no 'v1'"),
        (package(model_xml(ONE.replace('x="1.0"', 'x="one"', 1), ITEM)), "not numbers"),
        (package(model_xml(ONE.replace('x="1.0"', 'x="nan"', 1), ITEM)), "not finite"),
        (package(model_xml(ONE, ITEM)[:-40]), "cannot be read"),
        (package(model_xml(ONE + ONE, ITEM)), "two objects '1'"),
        (package(model_xml(nested(25), '<item objectid="26"/>')), "without end"),
        (
            package(model_xml(nested(2).replace('objectid="1"', 'objectid="3"'), '<item objectid="3"/>')),
            "without",
        ),
        (package("<a/>"), "not a 3MF model"),
        (package(model_xml(ONE, ITEM).replace("?>", "?>" + ENTITY, 1)), "document type"),
        (package(model_xml("", '<item objectid="1" p:path="/3D/b.model"/>')), "no part '3D/b.model'"),
    ],
)
def test_unusable_3mf_is_refused_in_one_sentence(given, data, message):
    refused(given("a.3mf", data), message)


def test_3mf_that_unpacks_to_fill_the_memory_is_refused_before_it_does(given, monkeypatch):
    monkeypatch.setattr("optimizer.geometry.mesh.package3mf.LARGEST_PART", 5_000_000)
    data = package(model_xml(ONE, ITEM) + " " * 6_000_000)
    assert len(data) < 20_000
    refused(given("a.3mf", data), "more than is read")

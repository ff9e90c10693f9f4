"""Meshes against closed forms and against trimesh's own measures as a general reference library."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from optimizer.geometry import shapes
from optimizer.geometry.mesh import load, load_surface, whole_surface
from optimizer.geometry.mesh.bending import steiner
from optimizer.geometry.mesh.triangles import Edges

PI = math.pi
MM = 1e-3


@pytest.fixture
def write(tmp_path):
    """Write a trimesh in a format, and return the path."""

    def do(mesh, name="body.stl", kind=None):
        path = tmp_path / name
        path.write_bytes(_bytes(mesh.export(file_type=kind or path.suffix[1:])))
        return path

    return do


def _bytes(data):
    return data.encode() if isinstance(data, str) else data


def bending(mesh):
    """Sum of edge length * angle."""
    faces = np.asarray(mesh.faces, dtype=np.int64)
    return steiner(np.asarray(mesh.vertices), faces, Edges(faces))[0].sum()


def open_cylinder(radius, height, sections=64):
    """Side wall only, without ends."""
    full = trimesh.creation.cylinder(radius, height, sections=sections)
    side = np.abs(full.face_normals[:, 2]) < 0.5
    return trimesh.Trimesh(full.vertices, full.faces[side], process=True)


@pytest.mark.parametrize(
    ("name", "kind"), [("a.stl", "stl"), ("a.STL", "stl_ascii"), ("a.obj", "obj"), ("a.ply", "ply")]
)
def test_every_format_gives_the_box_exactly(write, name, kind):
    body = load(write(trimesh.creation.box((100, 80, 60)), name, kind), MM)
    assert body.facts.area == pytest.approx(2 * (0.008 + 0.006 + 0.0048), rel=1e-7)
    assert body.facts.volume == pytest.approx(0.1 * 0.08 * 0.06, rel=1e-7)
    assert body.facts.size == pytest.approx((0.1, 0.08, 0.06), rel=1e-7)
    assert (body.facts.faces, body.facts.vertices, body.facts.bodies) == (12, 8, 1)
    assert body.facts.closed
    assert whole_surface(body, "outside").notes == ()


@pytest.mark.parametrize(("unit", "factor"), [(1.0, 1000), (1e-2, 10), (1e-3, 1), (0.0254, 25.4)])
def test_the_stated_unit_scales_length_area_and_volume(write, unit, factor):
    path = write(trimesh.creation.box((4, 3, 2)))
    facts = load(path, unit).facts
    assert facts.size == pytest.approx([4e-3 * factor, 3e-3 * factor, 2e-3 * factor])
    assert facts.area == pytest.approx(52e-6 * factor**2)
    assert facts.volume == pytest.approx(24e-9 * factor**3)


@pytest.mark.parametrize(
    ("make", "area", "volume"),
    [
        (lambda n: trimesh.creation.uv_sphere(1.0, count=(n, 2 * n)), 4 * PI, 4 / 3 * PI),
        (lambda n: trimesh.creation.cylinder(1.0, 2.0, sections=n), 6 * PI, 2 * PI),
        # torus: 4 pi^2 R r and 2 pi^2 R r^2
        (lambda n: trimesh.creation.torus(1.0, 0.4, n, n), 4 * PI**2 * 0.4, 2 * PI**2 * 0.16),
        # cone, radius 3, height 4: pi r (r + slant), pi r^2 h / 3
        (lambda n: trimesh.creation.cone(3.0, 4.0, sections=n), PI * 3 * 8, PI * 12),
    ],
    ids=["sphere", "cylinder", "torus", "cone"],
)
def test_faceted_bodies_converge_at_second_order(write, make, area, volume):
    def errors(n):
        facts = load(write(make(n), "body.ply"), 0.1).facts
        return abs(facts.area * 100 - area), abs(facts.volume * 1000 - volume)

    coarse, fine = errors(24), errors(48)
    for before, after in zip(coarse, fine, strict=True):
        assert math.log2(before / after) == pytest.approx(2.0, abs=0.15)
    assert fine[0] / area < 0.01


@pytest.mark.parametrize(
    ("make", "slope"),
    [
        # area of the parallel surface: sphere 4 pi (r + e)^2, torus 4 pi^2 R (r + e)
        (lambda n: trimesh.creation.uv_sphere(1.0, count=(n, 2 * n)), 8 * PI),
        (lambda n: trimesh.creation.torus(1.0, 0.4, n, n), 4 * PI**2),
    ],
    ids=["sphere", "torus"],
)
def test_bending_converges_to_the_change_of_area_of_smooth_bodies(make, slope):
    def error(n):
        mesh = make(n)
        return abs(bending(mesh) - slope)

    assert error(64) / slope < 0.003
    assert math.log2(error(32) / error(64)) == pytest.approx(2.0, abs=0.15)


def test_bending_of_a_box_is_steiners_and_agrees_with_the_reference_library():
    # Steiner for a convex polyhedron: sum of edge length * exterior angle = (4 (a + b + c)) * pi/2
    mesh = trimesh.creation.box((3, 2, 1))
    found = bending(mesh)
    assert found == pytest.approx(24 * PI / 2, rel=1e-12)
    # trimesh defines its integral mean curvature as half the sum of angle * edge length
    assert found == pytest.approx(2 * mesh.integral_mean_curvature, rel=1e-9)


def test_bending_is_negative_on_the_hollow_side():
    bowl = trimesh.creation.icosphere(3, radius=1.0)
    bowl.invert()
    assert bending(bowl) == pytest.approx(-8 * PI, rel=5e-3)


def test_mid_wall_area_of_a_sphere_mesh_follows_the_wall(write):
    path = write(trimesh.creation.icosphere(4, radius=40.0))
    t = 1e-3
    for dimensions, radius in (("outside", 39.5e-3), ("middle", 40e-3), ("inside", 40.5e-3)):
        surface = load_surface(path, MM, dimensions)
        assert surface.area(t) == pytest.approx(4 * PI * radius**2, rel=2e-3)
        ratio = surface.area(t) / surface.area(0)
        assert ratio == pytest.approx((radius / 40e-3) ** 2, rel=1e-4)
    assert load_surface(path, MM).interior_volume(1e-6) == pytest.approx(
        load_surface(path, MM).volume * (1 - 3e-6 / 40e-3), rel=5e-7
    )


def test_mesh_and_shape_of_a_round_box_agree(write):
    mesh = load_surface(write(trimesh.creation.cylinder(37.5, 210, sections=256)), MM)
    shape = shapes.profile([(0, 0.0375), (0.21, 0.0375)], closed_bottom=True, closed_top=True)
    assert mesh.area(0) == pytest.approx(shape.area(0), rel=1e-4)
    assert mesh.volume == pytest.approx(shape.volume, rel=3e-4)
    # at its sharp rims Steiner rounds (pi/2) where the shape mitres (2): a fifth of a small correction
    assert mesh.area(5e-4) == pytest.approx(shape.area(5e-4), rel=2e-3)


def test_open_cylinder_is_capped_at_both_ends_and_its_mid_wall_area_follows_the_wall(write):
    path = write(open_cylinder(37.5, 210, 256))
    body = load(path, MM)
    assert body.facts.area == pytest.approx(PI * 0.075 * 0.21, rel=1e-4)
    assert body.volume == pytest.approx(PI * 0.0375**2 * 0.21, rel=2e-4)
    assert [o.area for o in body.openings] == pytest.approx([PI * 0.0375**2] * 2, rel=2e-4)
    assert not body.facts.closed
    assert body.facts.open_edges == 512
    assert "2 openings, capped for the volume" in body.notes[0]
    t = 1e-3
    for dimensions, radius in (("outside", 0.037), ("middle", 0.0375), ("inside", 0.038)):
        surface = load_surface(path, MM, dimensions)
        assert surface.area(t) == pytest.approx(2 * PI * radius * 0.21, rel=1e-4)


@pytest.mark.parametrize("share", [0.3, 0.7, 1.0])
def test_flipped_faces_are_turned_and_reported(write, share):
    mesh = trimesh.creation.icosphere(2, radius=40.0)
    right = load(write(mesh, "right.ply"), MM)
    flip = np.random.default_rng(1).random(len(mesh.faces)) < share
    faces = mesh.faces.copy()
    faces[flip] = faces[flip][:, ::-1]
    body = load(write(trimesh.Trimesh(mesh.vertices, faces, process=False), "wrong.ply"), MM)
    assert body.facts.volume == pytest.approx(right.facts.volume, rel=1e-12)
    assert body.slope.sum() == pytest.approx(right.slope.sum(), rel=1e-12)
    assert body.facts.turned == flip.sum()
    assert any(
        f"winding of {flip.sum()} of 320 faces was repaired" in note
        for note in whole_surface(body, "outside").notes
    )
    assert right.facts.turned == 0


def test_duplicate_and_degenerate_faces_do_not_count(write):
    mesh = trimesh.creation.box((100, 80, 60))
    twice = np.vstack([mesh.faces, mesh.faces[:, ::-1], [[0, 0, 1], [2, 3, 3]]])
    body = load(write(trimesh.Trimesh(mesh.vertices, twice, process=False), "b.ply"), MM)
    assert body.facts.area == pytest.approx(0.0376, rel=1e-7)
    assert body.facts.volume == pytest.approx(0.00048, rel=1e-7)
    assert body.facts.dropped == 14
    assert "14 degenerate or repeated faces were left out" in whole_surface(body, "outside").notes


def test_gaps_of_rounded_coordinates_are_joined(write):
    mesh = trimesh.creation.icosphere(3, radius=40.0)
    soup = mesh.vertices[mesh.faces].reshape(-1, 3)
    soup = soup + np.random.default_rng(2).normal(0, 2e-7, soup.shape)
    faces = np.arange(len(soup)).reshape(-1, 3)
    body = load(write(trimesh.Trimesh(soup, faces, process=False), "soup.obj"), MM)
    assert body.facts.closed
    assert body.facts.vertices == len(mesh.vertices)
    assert body.volume == pytest.approx(mesh.volume * 1e-9, rel=1e-7)
    assert any("joined to close gaps (3840 open edges became 0)" in repair for repair in body.repairs)


def test_sliver_without_area_keeps_the_body_closed_and_its_bending_right(write):
    # a cube with a vertex halfway along an edge that only one face there uses, and a sliver between
    mesh = trimesh.creation.box((2, 2, 2))
    faces = np.asarray(mesh.faces, dtype=np.int64)
    a, b, c = faces[0]
    middle = (mesh.vertices[a] + mesh.vertices[b]) / 2
    vertices = np.vstack([mesh.vertices, middle])
    new = np.vstack([faces[1:], [[a, 8, c], [8, b, c], [a, b, 8]]])
    body = load(write(trimesh.Trimesh(vertices, new, process=False), "sliver.ply"), 0.05)
    assert body.facts.closed
    assert body.facts.area == pytest.approx(24 * 0.05**2, rel=1e-6)
    # 24 m * pi/2 at a scale of 0.05
    assert body.slope.sum() == pytest.approx(24 * PI / 2 * 0.05, rel=1e-6)


def test_solid_of_a_thin_wall_counts_each_face_half(write):
    body = load(write(trimesh.creation.annulus(37.0, 37.5, 210, sections=256)), MM)
    assert body.kind == "walls"
    assert any("solid of a wall about 0.5 mm thick" in note for note in body.notes)
    # pi (R^2 - r^2) h of material is a fact of the mesh; pi r^2 h is the room for a product
    assert body.facts.volume == pytest.approx(PI * (37.5**2 - 37**2) * 210e-9, rel=3e-4)
    surface = whole_surface(body, "outside")
    assert surface.volume == pytest.approx(PI * 37**2 * 210e-9, rel=3e-4)
    # the middle of the wall, and half of the two rims
    assert surface.area(5e-4) == pytest.approx(2 * PI * 37.25e-3 * (0.21 + 5e-4), rel=1e-4)
    # a flat pouch is thin as a whole and is not taken for a wall
    pouch = load(write(trimesh.creation.box((160, 240, 6))), MM)
    assert pouch.kind == "surface" and whole_surface(pouch, "outside").notes == ()


def test_separate_bodies_add_up(write):
    boxes = [trimesh.creation.box((20, 20, 20)), trimesh.creation.box((20, 20, 20))]
    boxes[1].apply_translation((100, 0, 0))
    boxes[1].invert()
    body = load(write(trimesh.util.concatenate(boxes)), MM)
    assert body.facts.bodies == 2
    assert body.facts.volume == pytest.approx(2 * 8e-6)
    assert any("2 separate bodies" in note for note in whole_surface(body, "outside").notes)


@pytest.mark.parametrize("unit", [1.0, 1e-6])
def test_size_that_suggests_a_wrong_unit_is_remarked(write, unit):
    (warning,) = load_surface(write(trimesh.creation.box((75, 75, 210))), unit).warnings
    assert "is the unit right?" in warning


def test_small_units_do_not_merge_what_is_apart(write):
    # a mesh written in metres must give what the same mesh in millimetres gives
    mesh = trimesh.creation.icosphere(3, radius=1.0)
    big = load(write(mesh, "big.ply"), 0.01).facts
    mesh.apply_scale(1e-6)
    small = load(write(mesh, "small.ply"), 1e4).facts
    assert small.vertices == big.vertices
    assert small.area == pytest.approx(big.area, rel=1e-5)

"""What meshes of real exports do wrong: repaired and said, or refused in a sentence, never silently taken."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_builders import box, line, revolved, sphere, turned
from mesh_raw import centres, cleaned, joined, moebius, moved, raw, soup, without

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import clean, pieces_of, relations, upright, whole_surface
from optimizer.geometry.mesh.casting import Scene

PI = math.pi
BALL = sphere(0.04, 24, 48)
CUP = revolved(np.concatenate([line((0, 0), (0.03, 0), 8), line((0.03, 0), (0.035, 0.1), 20)[1:]]), 48)


def flipped(shell, share, seed=1):
    """With a random share of the faces turned, and which."""
    which = np.random.default_rng(seed).random(len(shell[1])) < share
    faces = shell[1].copy()
    faces[which] = faces[which][:, ::-1]
    return (shell[0], faces), which


def test_half_flipped_faces_are_watertight_to_the_reference_library_but_are_repaired_here():
    shell, which = flipped(BALL, 0.5)
    fooled = trimesh.Trimesh(*shell, process=False)
    assert fooled.is_watertight and abs(fooled.volume) < 0.2 * cleaned(BALL).volume
    mesh = cleaned(shell)
    assert mesh.volume == pytest.approx(trimesh.Trimesh(*BALL, process=False).volume, rel=1e-12)
    assert mesh.facts.turned == which.sum()
    assert f"the winding of {which.sum()} of {len(which)} faces was repaired" in mesh.repairs[0]
    assert mesh.slope.sum() == pytest.approx(cleaned(BALL).slope.sum(), rel=1e-12)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e31])
def test_vertices_that_are_not_numbers_are_refused_with_their_count(bad):
    vertices = BALL[0].copy()
    vertices[[3, 70], 1] = bad
    with pytest.raises(GeometryError, match="made.stl: 2 vertices are not finite numbers"):
        cleaned((vertices, BALL[1]))


def test_an_inside_out_body_is_turned_and_said():
    mesh = cleaned(turned(BALL))
    assert mesh.volume == pytest.approx(cleaned(BALL).volume, rel=1e-12)
    assert mesh.repairs == (
        f"the winding of {len(BALL[1])} of {len(BALL[1])} faces was repaired: they pointed inward",
    )
    out = np.einsum(
        "ij,ij->i",
        trimesh.Trimesh(mesh.vertices, mesh.faces).face_normals,
        centres((mesh.vertices, mesh.faces)),
    )
    assert (out > 0).all()


@pytest.mark.parametrize("one_body", [True, False])
def test_a_body_listed_twice_is_refused(one_body):
    assert trimesh.Trimesh(*joined(BALL, BALL), process=False).is_watertight
    shells = [joined(BALL, BALL)] if one_body else [BALL, BALL]
    with pytest.raises(
        GeometryError, match="there twice" if one_body else "'body 1' and 'body 2' are the same"
    ):
        cleaned(*shells)


def test_a_body_listed_twice_with_other_triangles_or_rounded_numbers_is_refused():
    other = (BALL[0] * [1, 1, -1], BALL[1][:, ::-1])  # the diagonals of its squares run the other way
    with pytest.raises(GeometryError, match="more than two faces"):
        cleaned(BALL, other)
    with pytest.raises(GeometryError, match="there twice, in the same place"):
        cleaned(BALL, moved(other, (1e-8, 2e-8, 3e-8)))


def test_an_open_body_listed_twice_with_rounded_numbers_is_refused_before_its_rims_are_joined():
    with pytest.raises(GeometryError, match="50 % of the area is there twice"):
        cleaned(joined(CUP, moved(CUP, (1e-9, -1e-9, 1e-9))))


def test_a_surface_drawn_from_both_sides_is_counted_once():
    mesh = cleaned(joined(BALL, turned(BALL)))
    assert mesh.facts.area == cleaned(BALL).facts.area
    assert mesh.facts.dropped == len(BALL[1])
    assert any("from both sides" in note for note in mesh.notes)


def test_some_repeated_and_degenerate_faces_are_left_out_and_said():
    faces = np.vstack([BALL[1], BALL[1][:7], BALL[1][9:10, ::-1], [[5, 5, 9]]])
    mesh = cleaned((BALL[0], faces))
    assert mesh.facts.dropped == 9
    assert mesh.volume == cleaned(BALL).volume
    assert mesh.repairs == ("9 degenerate or repeated faces were left out",)


@pytest.mark.parametrize("shift", [(0.01, 0, 0), (0.079, 0, 0), (0.03, 0.03, 0.03)])
def test_bodies_that_cross_are_refused_with_a_place(shift):
    with pytest.raises(GeometryError, match="two bodies cross each other, at .* mm"):
        cleaned(BALL, moved(BALL, shift))


def test_bodies_that_cross_without_a_vertex_inside_the_other_are_refused():
    one, two = (
        box((-0.05, -0.002, -0.002), (0.05, 0.002, 0.002)),
        box((-0.003, -0.05, -0.003), (0.003, 0.05, 0.003)),
    )
    with pytest.raises(GeometryError, match="two bodies cross"):
        cleaned(one, two)


def test_bodies_side_by_side_and_touching_boxes_of_space_are_allowed_and_said():
    mesh = cleaned(BALL, moved(turned(BALL), (0.06, 0.06, 0)))
    assert mesh.facts.bodies == 2
    assert mesh.volume == pytest.approx(2 * cleaned(BALL).volume, rel=1e-12)
    assert "the mesh has 2 separate bodies; their areas are added" in mesh.notes
    assert np.bincount(mesh.body).tolist() == [len(BALL[1])] * 2
    assert mesh.bodies == ("body 1", "body 2")


def test_the_check_for_crossing_says_so_where_it_cannot_be_made(monkeypatch):
    def none(*_):
        raise GeometryError("rays need embreex")

    monkeypatch.setattr(relations, "cross_at", none)
    mesh = cleaned(BALL, moved(BALL, (0.06, 0.06, 0)))
    assert any("needs embreex" in warning for warning in mesh.warnings)


def test_two_nested_shells_are_the_two_faces_of_a_wall():
    inner = sphere(0.0395, 24, 48)
    for second in (inner, turned(inner)):
        mesh = cleaned(BALL, second)
        assert mesh.kind == "walls" and mesh.weight == 0.5
        assert mesh.volume == pytest.approx(trimesh.Trimesh(*inner, process=False).volume, rel=1e-12)
        assert not mesh.slope.any() and not mesh.curvature.any()
        # (40 mm)^2 and (39.5 mm)^2: half of both is the middle, but for (0.25 mm)^2
        surface = whole_surface(mesh, "outside")
        assert surface.area(5e-4) == pytest.approx(
            cleaned(BALL).facts.area * (39.75**2 + 0.25**2) / 1600, rel=1e-9
        )
        assert surface.interior_volume(5e-4) == mesh.volume
        assert any("two faces of a wall about 0.5 mm thick" in note for note in mesh.notes)
        assert mesh.facts.turned == 0


def test_two_open_nested_cups_are_a_wall_whose_opening_is_that_of_the_inner_one():
    inner = CUP[0] * [0.98, 0.98, 0.98] + [0, 0, 0.002]
    mesh = cleaned(CUP, (inner, CUP[1]))
    assert mesh.kind == "walls"
    (opening,) = mesh.openings
    assert opening.area == pytest.approx(48 / 2 * math.sin(2 * PI / 48) * (0.98 * 0.035) ** 2, rel=1e-9)
    assert mesh.volume == pytest.approx(0.98**3 * cleaned(CUP).volume, rel=1e-9)


def test_a_small_body_inside_a_large_one_is_questioned():
    mesh = cleaned(joined(BALL, sphere(0.01, 12, 24)))
    assert any("is it the other face of the wall?" in warning for warning in mesh.warnings)


def test_shells_nested_three_deep_are_refused():
    with pytest.raises(GeometryError, match="3 deep"):
        cleaned(BALL, sphere(0.03, 24, 48), sphere(0.02, 24, 48))


def test_a_wall_with_both_faces_beside_a_body_with_one_is_refused():
    with pytest.raises(GeometryError, match="both faces of their wall and others one"):
        cleaned(BALL, sphere(0.0395, 24, 48), moved(BALL, (0.2, 0, 0)))


def jar(wall):
    """The closed solid of a jar, 50 mm wide and 60 mm high: outer face, rim, inner face."""
    corners = [(0, 0), (0.025, 0), (0.025, 0.06), (0.025 - wall, 0.06), (0.025 - wall, wall), (0, wall)]
    profile = [line(a, b, 12)[1:] for a, b in pairwise(np.array(corners))]
    return revolved(np.concatenate([[(0, 0)], *profile]), 96)


@pytest.mark.parametrize("wall", [0.0005, 0.002, 0.005])
def test_the_closed_solid_of_a_jar_is_taken_for_a_wall_however_thick(wall):
    mesh = cleaned(jar(wall))
    assert mesh.facts.closed
    assert mesh.kind == "walls"
    # its material: a disc and a tube, in circles of 96 corners
    circle = 48 * math.sin(2 * PI / 96)
    material = circle * (0.025**2 * wall + (0.025**2 - (0.025 - wall) ** 2) * (0.06 - wall))
    assert mesh.facts.volume == pytest.approx(material, rel=1e-9)
    assert any("solid of a wall" in note for note in mesh.notes)


def test_a_hole_in_the_solid_of_a_wall_is_no_opening_but_its_mouth_is():
    full = jar(0.002)
    middle = centres(full)
    bottom = (middle[:, 2] < 1e-9) & (np.hypot(middle[:, 0], middle[:, 1]) < 0.002)
    assert bottom.sum() >= 96
    mesh = cleaned(without(full, bottom))
    assert mesh.kind == "walls"
    assert [o.centre[2] for o in mesh.openings] == pytest.approx([0.06])
    assert any("1 hole in the wall" in warning for warning in mesh.warnings)


@pytest.mark.parametrize(
    "make",
    [
        lambda: trimesh.creation.torus(0.1, 0.004, 48, 24),
        lambda: trimesh.creation.box((0.16, 0.24, 0.006)),
        lambda: trimesh.creation.cylinder(0.02, 0.2, sections=32),
        lambda: trimesh.creation.cone(0.03, 0.04, sections=32),
        lambda: trimesh.creation.capsule(0.1, 0.02),
    ],
    ids=["thin torus", "flat pouch", "cylinder", "cone", "capsule"],
)
def test_bodies_that_are_no_walls_are_not_taken_for_walls(make):
    mesh = make()
    assert cleaned((mesh.vertices, mesh.faces)).kind == "surface"


def test_a_one_sided_surface_is_refused():
    with pytest.raises(GeometryError, match="one-sided"):
        cleaned(moebius())


def test_a_flat_sheet_has_an_area_and_no_volume_however_it_lies():
    grid = box((0, 0, 0), (0.1, 0.1, 0.1), 4)
    sheet = without(grid, centres(grid)[:, 2] > 1e-9)
    tilt = trimesh.transformations.rotation_matrix(0.7, (1, 2, 3))[:3, :3]
    for vertices in (sheet[0], (sheet[0] @ tilt).astype(np.float32)):
        mesh = cleaned((vertices, sheet[1]))
        assert mesh.volume is None and mesh.openings == ()
        assert mesh.facts.area == pytest.approx(0.01, rel=1e-6)
        assert any("flat" in note for note in mesh.notes)


def test_a_curved_sheet_has_an_area_and_no_volume_and_says_so():
    tube = revolved(line((0.03, 0), (0.03, 0.1), 10), 48)
    label = without(tube, centres(tube)[:, 0] < 0)
    mesh = cleaned(label)
    assert mesh.volume is None and mesh.openings == ()
    assert any("open along an edge that lies in no plane" in warning for warning in mesh.warnings)


def test_edges_of_more_than_two_faces_are_refused_where_much_of_the_area_lies_at_them():
    stacked = [box((0, 0, k * 0.03), (0.05, 0.04, (k + 1) * 0.03), 2) for k in (0, 1)]
    with pytest.raises(GeometryError, match="edges with more than two faces"):
        cleaned(*stacked)


def test_a_fin_on_an_edge_is_remarked():
    tip = BALL[0][BALL[1][500]].mean(axis=0) * 1.02
    faces = np.vstack([BALL[1], [[BALL[1][500, 0], BALL[1][500, 1], len(BALL[0])]]])
    mesh = cleaned((np.vstack([BALL[0], tip]), faces))
    assert any("1 edge with more than two faces" in warning for warning in mesh.warnings)
    assert mesh.volume == pytest.approx(cleaned(BALL).volume, rel=1e-12)


def test_a_mesh_whose_faces_share_no_vertices_falls_apart():
    points, faces = soup(BALL)
    away = np.random.default_rng(3).normal(0, 2e-5, points.shape)
    with pytest.raises(GeometryError, match="falls into .* pieces"):
        cleaned((points + away, faces))


@pytest.mark.parametrize("seed", range(30))
def test_a_corner_of_a_face_put_elsewhere_is_never_taken_silently(seed):
    random = np.random.default_rng(seed)
    shell = (BALL, CUP, box((0, 0, 0), (0.1, 0.08, 0.05), 6))[seed % 3]
    faces = shell[1].copy()
    face = random.integers(len(faces))
    others = np.setdiff1d(np.arange(len(shell[0])), faces[face])
    faces[face, random.integers(3)] = random.choice(others)
    try:
        assert cleaned((shell[0], faces)).warnings
    except GeometryError as refused:
        assert refused.hint


def test_loose_pieces_are_remarked():
    mesh = cleaned(joined(BALL, ([[1.0, 0, 0], [1.001, 0, 0], [1, 0.001, 0]], [[0, 1, 2]])))
    assert any("1 of 2 bodies are open sheets that enclose nothing" in warning for warning in mesh.warnings)
    assert mesh.volume == pytest.approx(cleaned(BALL).volume, rel=1e-12)


def test_a_vertex_far_out_is_remarked():
    vertices = BALL[0].copy()
    vertices[500] *= 3
    mesh = cleaned((vertices, BALL[1]))
    assert any("stands out like a needle" in warning for warning in mesh.warnings)
    assert cleaned(BALL).warnings == ()


@pytest.mark.parametrize(("unit", "doubt"), [(1.0, True), (1e-3, False), (0.0254, True), (1e-6, True)])
def test_a_unit_that_makes_no_package_of_a_bottle_of_210_mm_is_questioned(unit, doubt):
    bottle = CUP[0] * 2100, CUP[1]
    mesh = cleaned(bottle, unit=unit)
    assert any("is the unit right?" in warning for warning in mesh.warnings) == doubt
    assert max(mesh.facts.size) == pytest.approx(210 * unit)


@pytest.mark.parametrize(("stated", "said"), [(0.0254, "25.4 mm"), (1.0, "1 m"), (1e-3, None), (None, None)])
def test_a_unit_in_the_file_that_is_not_the_given_one_is_warned_of_with_both(stated, said):
    warnings = cleaned((CUP[0] * 1000, CUP[1]), unit=1e-3, stated=stated).warnings
    if said is None:
        assert warnings == ()
    else:
        assert f"its unit is {said}, but the unit given is 1 mm" in warnings[0]


def test_what_the_reader_said_is_passed_on():
    mesh = cleaned(BALL, notes=("read in part", "check: the normals disagree"))
    assert mesh.notes == ("read in part",)
    assert mesh.warnings == ("the normals disagree",)


@pytest.mark.parametrize(
    ("shells", "message"),
    [
        ([], "holds no faces"),
        ([(np.empty((0, 3)), np.empty((0, 3)))], "holds no faces"),
        ([([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]])], "no area"),
        ([([[1, 1, 1]] * 3, [[0, 1, 2]])], "no area"),
    ],
)
def test_meshes_of_nothing_are_refused(shells, message):
    with pytest.raises(GeometryError, match=message) as caught:
        cleaned(*shells)
    assert caught.value.hint and caught.value.field == "mesh"


@pytest.mark.parametrize("unit", [0.0, -1e-3, math.nan, math.inf])
def test_a_unit_that_is_no_length_is_refused(unit):
    with pytest.raises(GeometryError, match="unit of the mesh"):
        cleaned(BALL, unit=unit)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), share=st.floats(0, 1))
def test_nothing_changes_with_place_order_or_winding(seed, share):
    random = np.random.default_rng(seed)
    turn = trimesh.transformations.random_rotation_matrix(random.random(3))[:3, :3]
    order = random.permutation(len(CUP[0]))
    vertices = np.empty_like(CUP[0])
    vertices[order] = CUP[0] @ turn.T + random.normal(0, 1, 3)
    (_, faces), _ = flipped((CUP[0], CUP[1]), share, seed)
    faces = np.array([np.roll(face, random.integers(3)) for face in order[faces]])[
        random.permutation(len(faces))
    ]
    mesh, right = cleaned((vertices, faces)), cleaned(CUP)
    assert mesh.facts.area == pytest.approx(right.facts.area, rel=1e-11)
    assert mesh.volume == pytest.approx(right.volume, rel=1e-9)
    assert mesh.slope.sum() == pytest.approx(right.slope.sum(), rel=1e-9)
    assert mesh.curvature.sum() == pytest.approx(right.curvature.sum(), rel=1e-9)
    assert mesh.openings[0].area == pytest.approx(right.openings[0].area, rel=1e-9)
    assert mesh.openings[0].normal == pytest.approx(turn @ [0, 0, 1], abs=1e-9)


def test_separate_vertices_give_the_same_mesh_as_shared_ones():
    mesh, right = cleaned(soup(CUP)), cleaned(CUP)
    assert mesh.facts == replace(right.facts, merged=len(soup(CUP)[0]) - len(CUP[0]))
    assert mesh.volume == right.volume


def test_gaps_are_joined_where_degenerate_and_repeated_faces_have_vertices_of_their_own():
    points, faces = soup(BALL)
    points = points + np.random.default_rng(5).normal(0, 1e-9, points.shape)
    lone = np.array([[0.0, 0, 0], [0.01, 0, 0]])
    faces = np.vstack([[[0, 1, 1]], faces + 2, faces[40:42] + 2])
    mesh = cleaned((np.vstack([lone, points]), faces))
    assert mesh.facts.closed
    assert mesh.facts.dropped == 3
    assert mesh.facts.vertices == len(BALL[0])
    assert mesh.volume == pytest.approx(cleaned(BALL).volume, rel=1e-6)


def test_a_crossing_is_found_with_numpy_alone(monkeypatch):
    plain = Scene.__init__

    def without_embree(self, corners):
        plain(self, corners)
        self._embree = None

    monkeypatch.setattr(Scene, "__init__", without_embree)
    with pytest.raises(GeometryError, match="two bodies cross"):
        cleaned(box((0, 0, 0), (0.1, 0.1, 0.1)), box((0.05, 0.05, 0.05), (0.2, 0.2, 0.2)))


def test_pieces_of_a_raw_mesh_are_the_faces_of_the_clean_one():
    mesh = clean(raw(CUP), 1.0)
    pieces = pieces_of(mesh, upright(mesh), "outside")
    assert pieces.area.sum() == pytest.approx(mesh.facts.area)
    assert len(pieces) == mesh.facts.faces

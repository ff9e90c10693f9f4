"""Thickness between the two faces of a wall, against closed forms of conductance."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_builders import as_mesh, box, conductance, line, opening, revolved, sphere, turned

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import casting
from optimizer.geometry.mesh.rays import between_faces

PI = math.pi


def walls(*shells):
    return as_mesh(shells, "walls")


def tube(radius, height, n, shift=0.0):
    return revolved(line((radius, 0), (radius, height), 2 * n), 24 * n, shift=(shift, 0))


def cone(angle, n, near=0.05, far=0.15):
    """Part of a cone about z with its tip at the origin, from one distance from the tip to another."""
    way = np.array([math.sin(angle), math.cos(angle)])
    return revolved(line(near * way, far * way, 8 * n), 24 * n)


def torus(ring, radius, n):
    turn = np.linspace(0, 2 * PI, 12 * n + 1)[:-1]
    profile = np.stack([ring + radius * np.cos(turn), radius * np.sin(turn)], 1)
    return revolved(profile, 24 * n, closed=True)


def cup_profile(n, radius=0.03, height=0.08, wall=0.0005, base=0.001):
    """Outer face from the middle of the base to the rim, and inner face from the rim back; [m]."""
    outer = np.concatenate(
        [line((0, 0), (radius, 0), 6 * n)[:-1], line((radius, 0), (radius, height), 16 * n)]
    )
    r = radius - wall
    inner = np.concatenate([line((r, height), (r, base), 16 * n), line((r, base), (0, base), 6 * n)[1:]])
    return outer, inner


def cup(n, **sizes):
    return walls(revolved(np.concatenate(cup_profile(n, **sizes)), 32 * n))


A, B, H = 0.0396, 0.04, 0.1
SHIFT = 0.0002
#: Name, both faces at refinement n, conductance [m] per unit permeability. Shape factors of heat conduction
#: between concentric spheres, between coaxial and eccentric cylinders and between two cones with one tip are
#: textbook solutions of Laplace's equation (F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass
#: Transfer, table 4.1, for all but the cones, from memory; the cones by integrating d theta / sin theta).
CLOSED_FORMS = {
    "spheres": (
        lambda n: walls(sphere(B, 8 * n, 16 * n), sphere(A, 8 * n, 16 * n)),
        4 * PI * A * B / (B - A),
    ),
    "coaxial cylinders": (lambda n: walls(tube(B, H, n), tube(A, H, n)), 2 * PI * H / math.log(B / A)),
    "eccentric cylinders": (
        lambda n: walls(tube(B, H, n), tube(A, H, n, SHIFT)),
        2 * PI * H / math.acosh((A * A + B * B - SHIFT**2) / (2 * A * B)),
    ),
    "cones": (
        lambda n: walls(cone(0.41, n), cone(0.4, n)),
        2 * PI * 0.1 / math.log(math.tan(0.205) / math.tan(0.2)),
    ),
    # a frustum shell of even thickness: area of its middle over thickness, as cones that are moved along z
    "frustum": (
        lambda n: walls(
            revolved(line((0.03, 0), (0.05, 0.1), 2 * n), 24 * n),
            revolved(line((0.0296, 0), (0.0496, 0.1), 2 * n), 24 * n),
        ),
        PI * (0.0298 + 0.0498) * math.hypot(0.02, 0.1) / (0.0004 * 0.1 / math.hypot(0.02, 0.1)),
    ),
    # area of the middle surface over thickness; Pappus for the area
    "torus": (
        lambda n: walls(torus(0.05, 0.012, n), torus(0.05, 0.0118, n)),
        4 * PI**2 * 0.05 * 0.0119 / 0.0002,
    ),
}


@pytest.mark.parametrize("name", CLOSED_FORMS)
def test_the_conductance_converges_to_the_closed_form_with_second_order(name):
    make, exact = CLOSED_FORMS[name]
    error = []
    for n in (1, 2, 4):
        mesh = make(n)
        local = between_faces(mesh)
        accounted = mesh.area[np.isfinite(local.thickness)].sum() / mesh.area.sum()
        assert accounted > 0.99
        error.append(abs(conductance(mesh, local) / accounted / exact - 1))
    assert error[2] < 2.5e-3
    # the middle area in place of the logarithmic one leaves (t / R)**2 / 12, here below 1e-4
    assert error[1] < error[0] / 3 + 1e-4
    assert error[2] < error[1] / 3 + 1e-4


def wedge(angle, near, far, n):
    """A block between two planes that meet at the y axis, 1 m wide; [m]."""
    low = box((near, -0.5, 0), (far, 0.5, 1), n)
    x, y, z = low[0].T
    return np.stack([x * np.cos(angle * z), y, x * np.sin(angle * z)], 1), low[1]


def test_in_a_wedge_the_thickness_is_the_arc_between_its_planes():
    """Exact: the potential between two planes that meet depends on the angle alone."""
    angle = 0.15
    mesh = walls(wedge(angle, 0.05, 0.3, 20))
    local = between_faces(mesh)
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    r, turn = np.hypot(centre[:, 0], centre[:, 2]), np.arctan2(centre[:, 2], centre[:, 0])
    on_planes = (np.abs(turn) < 1e-9) | (np.abs(turn - angle) < 1e-9)
    middle = on_planes & (r > 0.06) & (r < 0.28) & (np.abs(centre[:, 1]) < 0.45)
    assert middle.sum() > 500
    # float: the straight ray is longer by angle**2 / 3, 0.75 %
    assert local.thickness[middle] == pytest.approx(angle * r[middle], rel=1e-9)


def test_a_film_of_20_um_round_a_large_drum_is_measured_to_a_thousandth():
    mesh = walls(sphere(0.3, 40, 80), sphere(0.3 - 20e-6, 40, 80))
    facet = 0.3 * (1 - math.cos(PI / 80) * math.cos(PI / 80))
    assert facet > 20e-6, "facets are coarser than the wall, but lie side by side"
    local = between_faces(mesh)
    assert not local.warnings
    assert np.average(local.thickness, weights=mesh.area) == pytest.approx(20e-6, rel=3e-3)


@pytest.mark.parametrize("flip", [(0, 0), (0, 1), (1, 0), (1, 1)])
def test_two_shells_give_the_same_thickness_whichever_way_their_normals_point(flip):
    shells = [sphere(0.04, 12, 24), sphere(0.038, 12, 24)]
    plain = between_faces(walls(*shells)).thickness
    other = walls(*(turned(s) if f else s for s, f in zip(shells, flip, strict=True)))
    assert between_faces(other).thickness == pytest.approx(plain, rel=1e-9)
    assert plain == pytest.approx(0.002, rel=0.02)


def test_a_hollow_thinner_than_its_wall_is_still_the_hollow():
    hollow = box((0.03, 0.03, 0.045), (0.07, 0.07, 0.055), 4)
    mesh = walls(box((0, 0, 0), (0.1, 0.1, 0.1), 10), hollow)
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    lid = (mesh.shell == 1) & (np.abs(centre[:, 2] - 0.055) < 1e-9)
    assert between_faces(mesh).thickness[lid] == pytest.approx(0.045)


def test_a_solid_that_stands_in_a_cup_is_no_hollow():
    profile = np.concatenate(cup_profile(2))
    mesh = walls(revolved(profile, 64), box((-0.005, -0.005, 0.02), (0.005, 0.005, 0.03), 2))
    assert between_faces(mesh).thickness[mesh.shell == 1] == pytest.approx(0.01)


def test_the_rim_of_a_cup_is_left_out_and_the_rest_of_it_counts():
    mesh = cup(2)
    local = between_faces(mesh)
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    rim = centre[:, 2] > 0.08 - 1e-9
    assert np.array_equal(local.counted, ~rim)
    assert np.isnan(local.thickness[rim]).all()
    assert np.isfinite(local.thickness[~rim]).all()
    share = mesh.area[rim].sum() / mesh.area.sum()
    assert f"{100 * share:.2g} %" in " ".join(local.notes)
    assert not local.warnings
    # side and base by hand, half of each face
    side = PI * (0.03 * 0.08 + 0.0295 * 0.079) / 0.0005
    base = PI * (0.03**2 + 0.0295**2) / 2 / 0.001
    assert conductance(mesh, local) == pytest.approx(side + base, rel=3e-3)


def test_the_strip_outside_of_a_corner_takes_the_thickness_beside_it():
    mesh = walls(box((0, 0, 0), (0.1,) * 3, 60), box((0.002,) * 3, (0.098,) * 3, 60))
    local = between_faces(mesh)
    assert local.thickness == pytest.approx(0.002)
    assert local.counted is None
    # shape factors (Incropera, table 4.1, from memory): wall A / t, edge 0.54 L, corner 0.15 t
    exact = 6 * 0.096**2 / 0.002 + 12 * 0.54 * 0.096 + 8 * 0.15 * 0.002
    assert conductance(mesh, local) == pytest.approx(exact + 12 * 0.46 * 0.096, rel=1e-3)


def test_a_thick_base_is_not_taken_for_a_rim():
    mesh = cup(3, base=0.006)
    local = between_faces(mesh)
    assert np.nanmax(local.thickness) == pytest.approx(0.006)
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    base = (np.hypot(centre[:, 0], centre[:, 1]) < 0.028) & (centre[:, 2] < 0.0061)
    assert local.thickness[base] == pytest.approx(0.006)


def two_files(n=2, lift=0.0, side=0.0, scale=1.0):
    outer, inner = (revolved(p, 32 * n) for p in (cup_profile(n)[0], cup_profile(n)[1][::-1]))
    inner = (inner[0] * scale + [side, 0, lift], inner[1])
    return (
        as_mesh([outer], openings=[opening(outer, 0.08)], name="cup.stl"),
        as_mesh([inner], openings=[opening(inner, 0.08 * scale + lift)], name="inside.stl"),
    )


def test_two_files_give_the_wall_between_them():
    mesh, inner = two_files()
    local = between_faces(mesh, inner)
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    side = np.hypot(centre[:, 0], centre[:, 1]) > 0.0298
    above = centre[:, 2] > 0.001
    assert len(local.thickness) == len(mesh.faces)
    assert local.thickness[side & above] == pytest.approx(0.0005, rel=2e-3)
    assert local.thickness[~side] == pytest.approx(0.001, rel=1e-6)
    assert not local.warnings


@pytest.mark.parametrize(
    ("moved", "words"),
    [
        ({"side": 0.0008}, "pokes through"),
        ({"lift": -0.0011}, "pokes through"),
        ({"scale": 25.4}, "beyond"),
        ({"side": 0.5}, "along x"),
    ],
)
def test_an_inner_face_that_does_not_lie_inside_is_refused(moved, words):
    with pytest.raises(GeometryError, match=words) as caught:
        between_faces(*two_files(**moved))
    assert caught.value.field == "inner"
    assert "inside.stl" in caught.value.message
    assert caught.value.hint


def test_a_spike_of_the_inner_face_is_found_though_no_ray_of_the_outer_face_meets_it():
    mesh, inner = two_files(4)
    vertices = inner.vertices.copy()
    spike = np.argmin(np.abs(vertices - [0.0295, 0, 0.04]).sum(axis=1))
    vertices[spike] = [0.0306, 0, 0.0401]
    inner = replace(inner, vertices=vertices)
    with pytest.raises(GeometryError, match=r"pokes through cup.stl.* mm"):
        between_faces(mesh, inner)


def test_a_poke_of_no_size_is_told_and_not_refused(monkeypatch):
    mesh, inner = two_files(4)
    vertices = inner.vertices.copy()
    spike = np.argmin(np.abs(vertices - [0.0295, 0, 0.04]).sum(axis=1))
    vertices[spike] = [0.0306, 0, 0.0401]
    monkeypatch.setattr("optimizer.geometry.mesh.walls._POKING", 1e-2)
    local = between_faces(mesh, replace(inner, vertices=vertices))
    assert any("pokes through" in warning for warning in local.warnings)


def test_a_handle_over_an_open_bucket_is_not_taken_for_a_wall_that_pokes_through():
    mesh, inner = two_files()
    arch = box((-0.025, -0.005, 0.09), (0.025, 0.005, 0.095), 8)
    shells = [(mesh.vertices, mesh.faces), arch]
    with_arch = as_mesh(shells, openings=mesh.openings, name="bucket.stl")
    local = between_faces(with_arch, inner)
    bucket = with_arch.shell == 0
    assert np.isfinite(local.thickness[bucket]).all()


def test_a_mesh_with_one_face_of_the_wall_is_refused_with_the_ways_out():
    mesh, inner = two_files()
    with pytest.raises(GeometryError, match="one face of the wall only") as caught:
        between_faces(mesh)
    assert caught.value.field == "thickness" and "inner" in caught.value.hint
    with pytest.raises(GeometryError, match="both faces of the wall already"):
        between_faces(cup(1), inner)


def test_faces_without_a_far_face_have_no_thickness_and_are_told():
    shells = [sphere(0.04, 20, 40), sphere(0.038, 20, 40)]
    centre = shells[1][0][shells[1][1]].mean(axis=1)
    shells[1] = (shells[1][0], shells[1][1][centre[:, 2] < 0.034])
    mesh = walls(*shells)
    local = between_faces(mesh)
    missed = np.isnan(local.thickness)
    assert 0.005 < mesh.area[missed].sum() / mesh.area.sum() < 0.1
    assert f"{missed.sum()} of {len(mesh.faces)} faces" in local.warnings[0]
    assert local.counted is None


def test_coarse_facets_that_do_not_lie_side_by_side_are_told_with_what_they_do():
    exact = 4 * PI * 0.04 * 0.0397 / 0.0003
    mesh = walls(sphere(0.04, 16, 32), sphere(0.0397, 16, 32, 0.03))
    local = between_faces(mesh)
    over = conductance(mesh, local) / exact - 1
    assert over > 0.01
    assert "jumps from face to face" in local.warnings[0]
    fine = walls(sphere(0.04, 64, 128), sphere(0.0397, 64, 128, 0.03))
    assert not between_faces(fine).warnings


def test_numpy_without_embreex_finds_the_same_and_refuses_large_meshes(monkeypatch):
    round_cup = walls(revolved(np.concatenate(cup_profile(1)), 12))
    meshes = walls(sphere(0.04, 8, 16), sphere(0.038, 8, 16)), round_cup
    with_embree = [between_faces(mesh).thickness for mesh in meshes]
    monkeypatch.setattr(casting, "_embree_scene", lambda corners: None)
    for mesh, known in zip(meshes, with_embree, strict=True):
        assert between_faces(mesh).thickness == pytest.approx(known, rel=1e-9, nan_ok=True)
    with pytest.raises(GeometryError, match="need embreex") as caught:
        between_faces(walls(sphere(0.04, 40, 80), sphere(0.038, 40, 80)))
    assert caught.value.hint == 'pip install "layerwright[mesh]"'


@settings(max_examples=20, deadline=None)
@given(
    scale=st.floats(0.05, 20),
    turn=st.floats(0, 6.3),
    move=st.tuples(*[st.floats(-0.5, 0.5)] * 3),
)
def test_thickness_grows_with_the_mesh_and_does_not_mind_where_it_stands(scale, turn, move):
    shells = [sphere(0.04, 10, 20), sphere(0.038, 10, 20, 0.1)]
    plain = between_faces(walls(*shells)).thickness
    c, s = math.cos(turn), math.sin(turn)
    matrix = np.array([[1, 0, 0], [0, c, -s], [0, s, c]]) @ np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
    moved = walls(*((scale * v @ matrix.T + move, f) for v, f in shells))
    assert between_faces(moved).thickness == pytest.approx(scale * plain, rel=1e-6)


def test_200_000_faces_take_about_a_second():
    import time

    mesh = walls(sphere(0.04, 225, 225), sphere(0.039, 225, 225))
    assert len(mesh.faces) > 200_000
    between_faces(as_mesh([sphere(0.04, 8, 8), sphere(0.039, 8, 8)], "walls"))
    start = time.process_time()
    between_faces(mesh)
    # 0.8 s when measured; ten times that for a slow machine
    assert time.process_time() - start < 8.0

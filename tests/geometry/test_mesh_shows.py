"""What a mesh shows: one face of the wall or both, found from its form or as the user says.

Areas and volumes are those of the polygons that the meshes are made of.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from mesh_builders import box, line, revolved, sphere, turned
from mesh_raw import joined, moved, raw, without

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import clean, solids
from optimizer.geometry.mesh.shells import hull_volume
from optimizer.geometry.mesh.solids import shares_below

BALL = sphere(0.04, 24, 48)
#: A circle of 96 corners, over that of its radius squared.
CIRCLE = 48 * math.sin(2 * math.pi / 96)


def shown(*shells, says=None, **more):
    return clean(raw(*shells, **more), 1.0, says)


def body(corners, steps=8, sections=96):
    """A closed body of revolution through corners of radius and height [m]."""
    profile = [line(a, b, steps)[1:] for a, b in pairwise(np.array(corners, dtype=float))]
    return revolved(np.concatenate([[corners[0]], *profile]), sections)


def cap(wall):
    """The solid of a screw cap, 34 mm wide and 16 mm high, open below."""
    out, top = 0.017, 0.016
    return body([(0, top - wall), (out - wall, top - wall), (out - wall, 0), (out, 0), (out, top), (0, top)])


def tray(sides, wall):
    """The solid of a tray: a box with a smaller one taken out of its top."""
    x, y, z = sides
    outer, inner = box((0, 0, 0), (x, y, z), 8), box((wall, wall, wall), (x - wall, y - wall, z), 8)
    tops = [shell[0][shell[1]].mean(axis=1)[:, 2] > z - 1e-9 for shell in (outer, inner)]
    faces = joined(without(outer, tops[0]), turned(without(inner, tops[1])))
    low, high = np.array([[0, 0], [x, y]]), np.array([[wall, wall], [x - wall, y - wall]])
    corners = [
        np.array([(r[i, 0], r[j, 1]) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))]) for r in (low, high)
    ]
    grid, rim = np.linspace(0, 1, 9)[:-1], []
    for k in range(4):
        a, b = corners[0][k], corners[0][(k + 1) % 4]
        c, d = corners[1][k], corners[1][(k + 1) % 4]
        for t in grid:
            p, q = a + t * (b - a), a + (t + 1 / 8) * (b - a)
            r, s = c + t * (d - c), c + (t + 1 / 8) * (d - c)
            rim += [[p, q, s], [p, s, r]]
    points = np.array(rim).reshape(-1, 2)
    ring = np.column_stack([points, np.full(len(points), z)]), np.arange(len(points)).reshape(-1, 3)
    return joined(faces, ring)


def bellows(top):
    """The outer face of a bellows, 40 mm and 15 mm in radius, in 24 folds; ``top``: whether it is closed."""
    folds = [(0.04 if k % 2 else 0.015, 0.002 + 0.002 * k) for k in range(48)]
    corners = [(0, 0), (0.03, 0), *folds, (0.014, 0.1)]
    return body([*corners, (0, 0.1)] if top else corners, steps=2)


def plate():
    mesh = trimesh.creation.cylinder(0.04, 0.001, sections=96)
    return mesh.vertices, mesh.faces


@pytest.mark.parametrize("wall", [0.001, 0.0015, 0.002, 0.003])
def test_the_solid_of_a_screw_cap_has_both_faces_of_its_wall(wall):
    mesh = shown(cap(wall))
    assert mesh.kind == "walls" and not mesh.warnings
    inner = 0.017 - wall
    assert mesh.facts.volume == pytest.approx(
        CIRCLE * (0.017**2 * 0.016 - inner**2 * (0.016 - wall)), rel=1e-9
    )
    assert mesh.facts.wall == pytest.approx(2 * mesh.facts.volume / mesh.facts.area)


@pytest.mark.parametrize("depth", [0.004, 0.006, 0.04])
def test_the_solid_of_a_shallow_tray_has_both_faces_of_its_wall(depth):
    mesh = shown(tray((0.15, 0.1, depth), 0.0005))
    assert mesh.kind == "walls" and mesh.facts.closed
    assert mesh.facts.volume == pytest.approx(0.15 * 0.1 * depth - 0.149 * 0.099 * (depth - 0.0005), rel=1e-9)


@pytest.mark.parametrize(
    ("make", "wall_if_both"),
    [(plate, "0.98 mm"), (lambda: bellows(True), None), (lambda: tray((0.08, 0.08, 0.08), 0.015), None)],
    ids=["plate", "bellows", "very thick box"],
)
def test_a_form_that_can_be_either_counts_as_one_face_with_a_warning(make, wall_if_both):
    mesh = shown(make())
    assert mesh.kind == "surface"
    (warning,) = mesh.warnings
    assert "is this one face of the wall, or the solid of a wall" in warning
    assert "shows: both faces" in warning and f"{1e4 * mesh.facts.area:.4g} cm2" in warning
    assert wall_if_both is None or f"about {wall_if_both} thick" in warning


@pytest.mark.parametrize(
    "make",
    [
        lambda: trimesh.creation.torus(0.04, 0.01),
        lambda: trimesh.creation.capsule(0.1, 0.02),
        lambda: trimesh.creation.box((0.06, 0.06, 0.2)),
        lambda: trimesh.creation.box((0.06, 0.06, 0.06)).subdivide().subdivide(),
        lambda: trimesh.creation.cone(0.03, 0.1, sections=48).subdivide().subdivide(),
    ],
    ids=["torus", "capsule", "carton", "cube", "cone"],
)
def test_vessels_are_one_face_without_a_question(make):
    made = make()
    mesh = shown((made.vertices, made.faces))
    assert mesh.kind == "surface"
    assert not any("shows:" in warning for warning in mesh.warnings)


def test_a_flat_pouch_is_one_face_without_a_question():
    grid = box((-0.075, -0.1, -1), (0.075, 0.1, 1), 40)
    x, y, z = (grid[0][:, k] for k in range(3))
    fill = 0.008 * np.maximum(np.cos(np.pi * x / 0.15) * np.cos(np.pi * y / 0.2), 0) ** 0.5
    faces = grid[1][np.ptp(z[grid[1]], axis=1) < 1e-9]  # the two large sides, meeting in one seam
    mesh = shown((np.column_stack([x, y, np.sign(z) * fill]), faces))
    assert mesh.facts.closed and mesh.kind == "surface" and not mesh.warnings


def test_a_surface_that_ends_at_an_opening_is_never_the_solid_of_a_wall():
    """Its folds lie as close as the faces of a wall do."""
    mesh = shown(bellows(False))
    assert mesh.kind == "surface" and len(mesh.openings) == 1
    assert mesh.volume is not None and not mesh.warnings


def test_without_rays_only_thin_and_sparse_pieces_are_solids(monkeypatch):
    """A large mesh where embreex is missing."""

    def none(*_):
        raise GeometryError("no rays", field="mesh")

    monkeypatch.setattr(solids, "Scene", none)
    assert shown(tray((0.15, 0.1, 0.04), 0.0005)).kind == "walls"
    assert shown(BALL).kind == "surface" and not shown(BALL).warnings
    (warning,) = shown(cap(0.002)).warnings
    assert "is this one face" in warning


def test_what_the_user_says_decides():
    assert shown(plate(), says="both faces").kind == "walls"
    assert shown(plate(), says="one face").warnings == ()
    one = shown(cap(0.002), says="one face")
    assert one.kind == "surface" and one.facts.wall is None
    assert one.weight * one.area.sum() == pytest.approx(2 * 0.5 * shown(cap(0.002)).area.sum())


def test_both_faces_cannot_be_said_of_a_surface_that_has_one():
    with pytest.raises(GeometryError, match="ends at an opening with one face only") as caught:
        shown(bellows(False), says="both faces")
    assert "shows: one face" in caught.value.hint
    sheet = without(box((0, 0, 0), (0.1, 0.1, 0.1), 4), slice(32, None))
    with pytest.raises(GeometryError, match="no piece of it encloses anything"):
        shown(sheet, says="both faces")


CARTON = box((-0.05, -0.05, -0.06), (0.05, 0.05, 0.06), 12)


def test_a_bottle_in_a_carton_is_not_taken_for_a_wall():
    """Rays from the ball to the box: from 10 mm to the length to a corner."""
    with pytest.raises(
        GeometryError, match="'bottle' lies inside 'carton', .* are they the two faces"
    ) as caught:
        shown(BALL, CARTON, names=["bottle", "carton"])
    assert "shows: both faces" in caught.value.hint and "outer" in caught.value.hint
    assert shown(BALL, CARTON, names=["bottle", "carton"], says="both faces").kind == "walls"
    with pytest.raises(GeometryError, match="two walls one behind the other"):
        shown(BALL, CARTON, names=["bottle", "carton"], says="one face")


def test_bodies_without_names_of_their_own_that_nest_widely_are_questioned():
    mesh = shown(joined(BALL, CARTON))
    assert mesh.kind == "walls"
    assert any("is it the other face of the wall?" in warning for warning in mesh.warnings)


def test_two_named_shells_at_an_even_and_narrow_gap_are_a_wall():
    mesh = shown(sphere(0.039, 24, 48), BALL, names=["inside", "outside"])
    assert mesh.kind == "walls" and not mesh.warnings and mesh.nested == ((0, 1),)
    # the volume between over half the area of both, whatever the facets
    shell = shown(BALL)
    assert mesh.facts.wall == pytest.approx(
        2 * shell.volume * (1 - 0.975**3) / (shell.facts.area * (1 + 0.975**2)), rel=1e-9
    )


def test_the_gap_of_two_spheres_is_the_difference_of_their_radii():
    inner = sphere(0.03, 48, 96)
    points, faces = joined(inner, sphere(0.04, 48, 96))
    found = solids.gap(points, faces[: len(inner[1])], faces[len(inner[1]) :])
    assert (found.low, found.mean, found.high) == pytest.approx((0.01,) * 3, rel=2e-3)
    assert not found.is_wall(0.08) and found.is_wall(0.21)


@pytest.mark.parametrize(
    ("make", "share"),
    [
        (lambda: trimesh.creation.icosphere(4, radius=0.04), 3),  # 2 V / A is 2 r / 3, a ray 2 r
        (lambda: trimesh.creation.box((0.06, 0.06, 0.06)).subdivide().subdivide(), 3),  # a / 3, and a
        (lambda: trimesh.creation.torus(0.04, 0.01, 96, 96), 2),  # r, and 2 r
    ],
    ids=["sphere", "cube", "torus"],
)
def test_rays_through_a_room_are_two_or_three_times_2_volumes_over_the_area(make, share, monkeypatch):
    made = make()
    looked_at = []
    monkeypatch.setattr(solids, "ROUND", (0.0, 0.0))
    monkeypatch.setattr(solids, "ROOM_RAY", np.inf)
    monkeypatch.setattr(solids, "_judged", lambda rays, fills: looked_at.append(rays) or "vessel")
    shown((made.vertices, made.faces))
    ((rays, weights),) = looked_at
    assert shares_below(rays, weights, [0.5])[0] == pytest.approx(share, rel=0.02)


def test_the_hull_of_a_box_has_its_volume():
    assert hull_volume(CARTON[0]) == pytest.approx(0.1 * 0.1 * 0.12)


# -- surfaces drawn from both sides -----------------------------------------------------------------------


def flat_bag():
    grid = box((0, 0, 0), (0.15, 0.2, 1), 10)
    film = grid[0], grid[1][grid[0][grid[1]][:, :, 2].max(axis=1) < 1e-9]
    return joined(film, turned(film))


def test_a_flat_bag_tells_the_area_of_one_film_and_of_two():
    mesh = shown(flat_bag())
    assert mesh.facts.area == pytest.approx(0.03)
    (warning,) = mesh.warnings
    assert "as 300 cm2" in warning and "have 600 cm2" in warning and "'area: 600 cm2'" in warning


def test_a_curved_surface_drawn_from_both_sides_counts_once_and_says_its_share():
    beside = moved(BALL, (0.2, 0, 0))
    for shells, said in (
        ((joined(BALL, turned(BALL)),), "each face is drawn from both sides: it is counted once"),
        ((joined(BALL, turned(BALL), beside),), "each face of 50 % of the area is drawn from both sides"),
    ):
        mesh = shown(*shells)
        assert any(said in note for note in mesh.notes) and not mesh.warnings


def test_a_stray_piece_drawn_from_both_sides_is_left_out_and_said():
    """Two facets at the seam of a pouch must not make a note on the whole surface."""
    facet = np.array([[0.05, 0, 0], [0.051, 0, 0], [0.05, 0.001, 0]]), np.array([[0, 1, 2], [0, 2, 1]])
    mesh = shown(joined(BALL, facet))
    assert mesh.facts.bodies == 1 and mesh.facts.area == pytest.approx(shown(BALL).facts.area)
    assert mesh.facts.dropped == 2 and not mesh.warnings
    (note,) = mesh.notes
    # half a square millimetre of 201 cm2: 4 pi r2 of a ball of 40 mm, in facets
    assert note == "1 stray piece with 0.0025 % of the area, each face drawn from both sides: left out"


# -- numbers in words --------------------------------------------------------------------------------------


def test_sizes_and_places_are_told_without_exponents():
    """64 m are 64000 mm, and what rounding leaves of zero is 0."""
    mesh = clean(raw(sphere(1.0, 12, 24)), 32.0)
    assert any("64000 x " in warning and "e+" not in warning for warning in mesh.warnings)
    full = body([(0, 0), (0.025, 0), (0.025, 0.06), (0.023, 0.06), (0.023, 0.002), (0, 0.002)], steps=12)
    middle = full[0][full[1]].mean(axis=1)
    hole = (middle[:, 2] < 1e-9) & (np.hypot(middle[:, 0], middle[:, 1]) < 0.002)
    warnings = " ".join(clean(raw(without(full, hole)), 1.0).warnings)
    assert "at 0, 0, 0 mm" in warnings and "e-" not in warnings

"""What is known of openings beyond their edges: mouths of solids, flanges, and bodies that lie over them.

Expected areas and volumes are those of prisms and frusta over regular polygons, worked out here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from mesh_builders import box, line, revolved, turned
from mesh_raw import cleaned, joined, moved

from optimizer.geometry.mesh import upright
from optimizer.report.snippet import project_lines

PI = math.pi
N = 96
#: Area of a regular polygon of N corners in a circle of radius 1.
CIRCLE = N / 2 * math.sin(2 * PI / N)


def solid(corners, sections=N):
    """The closed solid of a wall whose section has these corners (radius, height)."""
    points = [line(a, b, 8)[1:] for a, b in zip(corners, corners[1:], strict=False)]
    return revolved(np.concatenate([[corners[0]], *points]), sections)


JAR = [(0, 0), (0.04, 0), (0.04, 0.1), (0.038, 0.1), (0.038, 0.002), (0, 0.002)]


@pytest.mark.parametrize("way", [1, -1])
def test_the_mouth_of_a_solid_jar_is_the_loop_within_its_rim(way):
    vertices, faces = solid(JAR)
    mesh = cleaned((way * vertices, faces if way > 0 else faces[:, ::-1]))
    (mouth,) = mesh.openings
    assert mesh.kind == "walls"
    assert mouth.area == pytest.approx(CIRCLE * 0.038**2, rel=1e-9)
    assert mouth.perimeter == pytest.approx(2 * N * 0.038 * math.sin(PI / N), rel=1e-9)
    assert mouth.centre == pytest.approx([0, 0, way * 0.1], abs=1e-12)
    assert mouth.normal == pytest.approx([0, 0, way], abs=1e-12)
    assert mesh.volume == pytest.approx(CIRCLE * 0.038**2 * 0.098, rel=1e-9)
    assert (upright(mesh, None).axis, upright(mesh, None).sign) == (2, way)


def test_the_loop_of_a_mouth_runs_anticlockwise_seen_from_outside():
    mesh = cleaned(solid(JAR))
    edge = mesh.vertices[mesh.openings[0].loop]
    turn = np.cross(edge, np.roll(edge, -1, axis=0)).sum(axis=0) @ mesh.openings[0].normal
    assert turn / 2 == pytest.approx(mesh.openings[0].area, rel=1e-9)


def test_a_foot_ring_and_steps_of_the_wall_are_no_mouths():
    """All of them are flat rings too; the neck of the bottle is 15 mm wide inside."""
    outer = [(0, 0.004), (0.02, 0.004), (0.02, 0), (0.03, 0), (0.03, 0.1), (0.01, 0.1), (0.01, 0.14)]
    inner = [(0.0075, 0.14), (0.0075, 0.098), (0.028, 0.098), (0.028, 0.006), (0, 0.006)]
    mesh = cleaned(solid(outer + inner))
    (mouth,) = mesh.openings
    assert mesh.kind == "walls"
    assert mouth.area == pytest.approx(CIRCLE * 0.0075**2, rel=1e-9)
    assert mesh.volume == pytest.approx(CIRCLE * (0.028**2 * 0.092 + 0.0075**2 * 0.042), rel=1e-9)


def test_a_solid_tray_with_a_flange_is_open_within_the_top_of_the_flange():
    half = 0.05 * math.sqrt(2)
    corners = [(0, 0), (half, 0), (half, 0.03), (half + 0.01, 0.03), (half + 0.01, 0.031)]
    corners += [(half - 0.001, 0.031), (half - 0.001, 0.001), (0, 0.001)]
    mesh = cleaned(solid(corners, 4))
    inside = 2 * (half - 0.001) ** 2
    assert [o.area for o in mesh.openings] == pytest.approx([inside], rel=1e-9)
    assert mesh.openings[0].normal == pytest.approx([0, 0, 1], abs=1e-12)
    assert mesh.volume == pytest.approx(inside * 0.03, rel=1e-9)


def test_a_sleeve_has_two_mouths_and_the_room_between_them():
    mesh = cleaned(revolved([(0.037, 0), (0.0375, 0), (0.0375, 0.21), (0.037, 0.21)], N, closed=True))
    assert [o.area for o in mesh.openings] == pytest.approx([CIRCLE * 0.037**2] * 2, rel=1e-9)
    assert sorted(o.normal[2] for o in mesh.openings) == pytest.approx([-1, 1])
    assert mesh.volume == pytest.approx(CIRCLE * 0.037**2 * 0.21, rel=1e-9)


def test_a_solid_with_a_rounded_rim_is_said_to_have_no_known_mouth():
    turn = np.linspace(0, PI, 13)[1:-1]
    rim = np.stack([0.039 + 0.001 * np.cos(turn), 0.1 + 0.001 * np.sin(turn)], axis=1)
    profile = np.concatenate([JAR[:2], [(0.04, 0.1)], rim, JAR[3:]])
    mesh = cleaned(revolved(profile, N))
    assert mesh.kind == "walls" and mesh.openings == () and mesh.volume is None
    assert any("its mouth, if it has one, and the room inside cannot be told" in note for note in mesh.notes)


@pytest.mark.parametrize(
    "make",
    [lambda: trimesh.creation.box((0.3, 0.2, 0.002)), lambda: trimesh.creation.torus(0.1, 0.004, 48, 24)],
)
def test_solids_that_are_no_vessel_have_no_mouth(make):
    body = make()
    mesh = cleaned((body.vertices, body.faces))
    assert mesh.openings == ()


# -- flanges -------------------------------------------------------------------------------------------------


def tray(flange):
    corners = [(0, 0), (0.04, 0), (0.05, 0.03), (0.05 + flange, 0.03)]
    return revolved(
        np.concatenate(
            [line(a, b, 5)[:-1] for a, b in zip(corners, corners[1:], strict=False)] + [corners[-1:]]
        ),
        N,
    )


@pytest.mark.parametrize("scale", [1.0, -1.0])
def test_gas_passes_a_cover_within_the_flange_only(scale):
    vertices, faces = tray(0.01)
    mesh = cleaned((scale * vertices, faces))
    (opening,) = mesh.openings
    assert opening.area == pytest.approx(CIRCLE * 0.06**2, rel=1e-9)
    assert opening.clear == pytest.approx(CIRCLE * 0.05**2, rel=1e-9)
    assert any("flange of 34.53 cm2" in note for note in mesh.notes)  # pi (6^2 - 5^2) of 96 corners


def test_without_a_flange_or_with_a_land_the_whole_opening_is_clear():
    """A land is folded inward: the opening ends at its inner edge already."""
    land = revolved([(0, 0), (0.03, 0), (0.03, 0.1), (0.02, 0.1)], N)
    for shell in (revolved([(0, 0), (0.04, 0), (0.05, 0.03)], N), land):
        (opening,) = cleaned(shell).openings
        assert opening.flange == 0.0


def test_a_flange_that_slopes_is_wall_and_no_flange():
    (opening,) = cleaned(revolved([(0, 0), (0.04, 0), (0.05, 0.03), (0.06, 0.032)], N)).openings
    assert opening.flange == 0.0


# -- covers --------------------------------------------------------------------------------------------------

BOTTLE = revolved([(0, 0), (0.03, 0), (0.03, 0.14), (0.012, 0.16), (0.012, 0.2)], 64)
CAP = revolved([(0.014, 0.185), (0.014, 0.203), (0, 0.203)], 64)


def covers(*shells, names):
    return {o.body: (o.covered_by, o.of_cover) for o in cleaned(*shells, names=names).openings}


def test_a_cap_covers_the_neck_and_its_own_open_side_needs_no_cover():
    found = covers(BOTTLE, CAP, names=["bottle", "cap"])
    assert found == {"bottle": ("cap", False), "cap": ("bottle", True)}
    # whichever way the pack is drawn
    tilted = [(v[:, [2, 0, 1]], f) for v, f in (CAP, BOTTLE)]
    assert covers(*tilted, names=["cap", "bottle"]) == found


def test_a_cap_in_the_same_body_of_the_file_covers_the_neck_too():
    mesh = cleaned(joined(BOTTLE, CAP))
    assert [o.covered_by for o in mesh.openings] == ["another piece"] * 2


def test_a_flat_lid_covers_a_cup():
    cup = revolved([(0, 0), (0.03, 0), (0.04, 0.08)], 64)
    lid = moved(
        turned(revolved([(0, 0), (0.02, 0), (0.041, 0), (0.041, 0.001), (0, 0.001)], 48)), (0, 0, 0.0802)
    )
    assert covers(cup, lid, names=["cup", "lid"])["cup"] == ("lid", False)


@pytest.mark.parametrize(
    "other",
    [
        moved(CAP, (0.05, 0, 0)),  # beside
        moved(CAP, (0.01, 0, 0.02)),  # over half of it
        moved(CAP, (0, 0, 0.1)),  # farther than the neck is wide
        revolved([(0.014, 0.185), (0.014, 0.203), (0.003, 0.203)], 64),  # with a hole in its middle
        box((-0.1, -0.1, -0.3), (0.1, 0.1, -0.2)),  # behind
    ],
)
def test_what_leaves_the_opening_free_is_no_cover(other):
    assert covers(BOTTLE, other, names=["bottle", "other"])["bottle"][0] == ""


def test_the_lines_for_the_project_file_ask_for_no_second_cover():
    lines = {}
    for key, shells in (("alone", [BOTTLE]), ("capped", [BOTTLE, CAP])):
        mesh = cleaned(*shells)
        lines[key] = project_lines(
            mesh, upright(mesh, None), path="a.stl", unit="mm", inner=None, given_up=False
        )
    assert "opening_of" in lines["alone"] and "opening_of" not in lines["capped"]

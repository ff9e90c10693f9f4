"""Openings: planar rims found, capped and measured; missing facets told apart from them."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from mesh_builders import box, line, revolved, sphere
from mesh_raw import centres, cleaned, joined, moved, without

from optimizer.errors import GeometryError
from optimizer.geometry.checks import MIDDLE_OFFSET
from optimizer.geometry.mesh import pieces_of, upright, whole_surface
from optimizer.geometry.mesh.pieces import turning

PI = math.pi


def polygon(sections):
    """Area of a regular polygon in a circle of radius 1, and its perimeter."""
    return sections / 2 * math.sin(2 * PI / sections), 2 * sections * math.sin(PI / sections)


#: A bottle: base, body, shoulder, neck with a vertical end, open at 0.2 m with a radius of 0.014 m.
BOTTLE = revolved(
    np.concatenate(
        [
            line((0, 0), (0.03, 0), 6),
            line((0.03, 0), (0.03, 0.15), 30)[1:],
            line((0.03, 0.15), (0.014, 0.18), 10)[1:],
            line((0.014, 0.18), (0.014, 0.2), 5)[1:],
        ]
    ),
    64,
)
BALL = sphere(0.04, 24, 48)


def bottle_volume(sections):
    """Cylinder, frustum, cylinder (pi replaced by that of the polygon)."""
    shoulder = 0.03 / 3 * (0.03**2 + 0.03 * 0.014 + 0.014**2)
    return polygon(sections)[0] * (0.03**2 * 0.15 + shoulder + 0.014**2 * 0.02)


def test_an_open_neck_is_capped_with_its_area_and_the_volume_is_that_of_the_bottle():
    mesh = cleaned(BOTTLE)
    (opening,) = mesh.openings
    area, perimeter = polygon(64)
    assert opening.area == pytest.approx(area * 0.014**2, rel=1e-12)
    assert opening.perimeter == pytest.approx(perimeter * 0.014, rel=1e-12)
    assert opening.centre == pytest.approx([0, 0, 0.2], abs=1e-12)
    assert opening.normal == pytest.approx([0, 0, 1], abs=1e-12)
    assert opening.flatness < 1e-12
    assert len(set(opening.loop.tolist())) == 64
    assert mesh.vertices[opening.loop][:, 2] == pytest.approx(0.2)
    assert mesh.volume == pytest.approx(bottle_volume(64), rel=1e-12)
    assert not mesh.facts.closed and mesh.facts.open_edges == 64
    assert mesh.warnings == ()
    assert "1 opening, capped for the volume and not part of the area: 6.148 cm2 (28 mm across)" in mesh.notes


def test_the_reference_library_gives_the_same_volume_once_the_neck_is_filled():
    vertices, faces = BOTTLE
    ring = np.flatnonzero(vertices[:, 2] > 0.2 - 1e-9)
    ring = ring[np.argsort(np.arctan2(vertices[ring, 1], vertices[ring, 0]))]
    fan = np.stack([np.full(62, ring[0]), ring[1:-1], ring[2:]], 1)
    filled = trimesh.Trimesh(vertices, np.vstack([faces, fan]), process=False)
    assert filled.is_watertight
    mesh = cleaned(BOTTLE)
    assert mesh.volume == pytest.approx(filled.volume, rel=1e-12)
    assert mesh.facts.area + mesh.openings[0].area == pytest.approx(filled.area, rel=1e-12)


def test_loops_run_anticlockwise_seen_from_outside_also_when_the_mesh_was_inside_out():
    for faces in (BOTTLE[1], BOTTLE[1][:, ::-1]):
        mesh = cleaned((BOTTLE[0], faces))
        loop = mesh.vertices[mesh.openings[0].loop]
        around = np.cross(loop, np.roll(loop, -1, axis=0)).sum(axis=0) / 2
        assert around[2] == pytest.approx(mesh.openings[0].area, rel=1e-9)
        assert mesh.openings[0].normal[2] == pytest.approx(1)


def test_openings_are_numbered_by_size():
    tube = revolved(line((0.03, 0), (0.01, 0.1), 10), 48)
    mesh = cleaned(tube)
    assert [o.number for o in mesh.openings] == [1, 2]
    assert [round(o.centre[2], 6) for o in mesh.openings] == [0, 0.1]
    assert mesh.openings[0].normal == pytest.approx([0, 0, -1], abs=1e-12)
    assert mesh.openings[0].diameter == pytest.approx(0.06 * math.sqrt(polygon(48)[0] / PI), rel=1e-12)
    # frustum: pi h / 3 (R^2 + R r + r^2)
    assert mesh.volume == pytest.approx(polygon(48)[0] * 0.1 / 3 * (0.0009 + 0.0003 + 0.0001), rel=1e-12)


def test_a_box_without_its_top_is_a_tray_with_one_large_opening():
    full = box((0, 0, 0), (0.1, 0.08, 0.03))
    mesh = cleaned(without(full, centres(full)[:, 2] > 0.03 - 1e-9))
    (opening,) = mesh.openings
    assert opening.area == pytest.approx(0.008, rel=1e-12)
    assert mesh.volume == pytest.approx(0.1 * 0.08 * 0.03, rel=1e-12)
    assert mesh.facts.area == pytest.approx(0.008 + 2 * 0.18 * 0.03, rel=1e-12)
    assert mesh.warnings == ()


def test_a_flange_round_a_tray_is_part_of_the_wall_and_its_outer_edge_is_the_opening():
    rim = [(0.05, 0.03), (0.06, 0.03)]
    tray = revolved(
        np.concatenate([line((0, 0), (0.04, 0), 5), line((0.04, 0), (0.05, 0.03), 5)[1:], rim[1:]]), 48
    )
    mesh = cleaned(tray)
    assert mesh.openings[0].area == pytest.approx(polygon(48)[0] * 0.06**2, rel=1e-12)
    assert mesh.warnings == ()


def test_the_land_of_a_neck_leaves_the_opening_within_it():
    bottle = revolved(
        np.concatenate([line((0, 0), (0.03, 0), 6), line((0.03, 0), (0.03, 0.1), 20)[1:], [(0.02, 0.1)]]), 48
    )
    mesh = cleaned(bottle)
    assert mesh.openings[0].area == pytest.approx(polygon(48)[0] * 0.02**2, rel=1e-12)
    assert mesh.warnings == ()


def test_a_square_hole_in_a_flat_wall_of_many_facets_is_an_opening_to_be_looked_at():
    full = box((0, 0, 0), (0.12, 0.12, 0.12), 12)
    middle = centres(full)
    hole = (middle[:, 2] > 0.12 - 1e-9) & (np.abs(middle[:, :2] - 0.06) < 0.03).all(axis=1)
    mesh = cleaned(without(full, hole))
    assert mesh.openings[0].area == pytest.approx(0.06**2, rel=1e-9)
    assert any("1 opening with corners in a wall that goes on" in warning for warning in mesh.warnings)


def test_a_missing_facet_is_warned_of_with_its_place_and_share():
    number = 700
    mesh = cleaned(without(BALL, [number]))
    lost = cleaned(BALL).area[number]
    assert mesh.openings == ()
    assert mesh.facts.accounted == pytest.approx(1 - lost / cleaned(BALL).facts.area, rel=1e-9)
    x, y, z = 1000 * centres(BALL)[number]
    assert any(
        f"the largest at {x:.4g}, {y:.4g}, {z:.4g} mm" in warning
        and f"{100 * (1 - mesh.facts.accounted):.2g} % of the area is missing" in warning
        for warning in mesh.warnings
    )
    # three points span the hole, so the volume is that of the whole ball
    assert mesh.volume == pytest.approx(cleaned(BALL).volume, rel=1e-12)


@pytest.mark.parametrize("count", [2, 3, 5, 9])
def test_several_missing_facets_anywhere_are_each_found(count):
    chosen = np.random.default_rng(count).choice(len(BALL[1]), count, replace=False)
    mesh = cleaned(without(BALL, chosen))
    assert mesh.openings == ()
    assert 1 - mesh.facts.accounted == pytest.approx(
        cleaned(BALL).area[chosen].sum() / cleaned(BALL).facts.area, rel=0.05
    )


@pytest.mark.parametrize("other", [555, 603, 604])
def test_two_missing_facets_that_meet_in_a_point_are_two_holes(other):
    assert len(set(BALL[1][700]) & set(BALL[1][other])) == 1
    mesh = cleaned(without(BALL, [700, other]))
    assert any("2 holes in the wall" in warning for warning in mesh.warnings)
    lost = cleaned(BALL).area[[700, other]].sum()
    assert mesh.facts.accounted == pytest.approx(1 - lost / cleaned(BALL).facts.area, rel=1e-12)


def test_one_missing_facet_of_a_plain_box_is_refused_for_its_share():
    with pytest.raises(GeometryError, match=r"1 hole in the wall .* 8.3 % of the area is missing") as caught:
        cleaned(without(box((0, 0, 0), (0.1, 0.1, 0.1)), [0]))
    assert "1 % may be" in caught.value.message
    assert "close the holes" in caught.value.hint


def test_a_missing_strip_of_a_cylinder_is_no_opening():
    can = trimesh.creation.cylinder(0.03, 0.1, sections=48)
    side = np.abs(can.face_normals[:, 2]) < 0.5
    angle = np.arctan2(can.face_normals[:, 1], can.face_normals[:, 0])
    strip = side & (np.abs(angle - angle[side][0]) < 1e-6)
    assert strip.sum() == 2
    with pytest.raises(GeometryError, match="1 hole in the wall"):
        cleaned(without((can.vertices, can.faces), strip))


@pytest.mark.parametrize(("share", "refused"), [(0.008, False), (0.012, True)])
def test_one_per_cent_of_missing_area_is_the_limit(share, refused):
    # single facets taken from the flat side of a fine box, none next to another
    full = box((0, 0, 0), (0.1, 0.1, 0.1), 24)
    lone = np.flatnonzero(np.arange(len(full[1])) % 37 == 5)[: round(share * len(full[1]))]
    if refused:
        with pytest.raises(GeometryError, match="holes in the wall"):
            cleaned(without(full, lone))
    else:
        mesh = cleaned(without(full, lone))
        assert mesh.facts.accounted == pytest.approx(1 - share, abs=2e-4)


def test_a_jagged_tear_is_refused_and_an_edge_in_a_plane_is_not():
    torn = centres(BALL)[:, 2] + 0.004 * np.sin(9 * np.arctan2(*centres(BALL)[:, :2].T)) > 0.035
    with pytest.raises(GeometryError, match="1 hole in the wall"):
        cleaned(without(BALL, torn))
    cut = without(BALL, centres(BALL)[:, 2] > 0.0375)
    assert len(cleaned(cut).openings) == 1


def test_a_slightly_warped_neck_is_an_opening_and_a_bent_one_is_not():
    ring = BOTTLE[0][:, 2] > 0.2 - 1e-9
    angle = np.arctan2(BOTTLE[0][:, 1], BOTTLE[0][:, 0])
    for wave, found in ((1e-4, True), (2e-3, False)):
        vertices = BOTTLE[0].copy()
        vertices[ring, 2] += wave * np.cos(2 * angle[ring])
        if found:
            assert cleaned((vertices, BOTTLE[1])).openings[0].flatness == pytest.approx(wave, rel=1e-3)
        else:
            with pytest.raises(GeometryError, match="an opening that is meant must end in a plane"):
                cleaned((vertices, BOTTLE[1]))


def test_a_crack_along_which_edges_do_not_meet_is_warned_of():
    # a vertex halfway along an edge that only one of its two faces has
    a, b, c = BALL[1][700]
    vertices = np.vstack([BALL[0], (BALL[0][a] + BALL[0][b]) / 2])
    new = len(BALL[0])
    faces = np.vstack([np.delete(BALL[1], 700, axis=0), [[a, new, c], [new, b, c]]])
    mesh = cleaned((vertices, faces))
    assert mesh.facts.accounted == pytest.approx(1, abs=1e-9)
    assert any("edges that do not meet" in warning for warning in mesh.warnings)
    assert mesh.volume == pytest.approx(cleaned(BALL).volume, rel=1e-9)


@pytest.mark.parametrize("word", ["x", "y", "z", "-x", "-y", "-z"])
def test_the_way_up_is_as_given_or_where_the_only_opening_faces(word):
    axis, sign = "xyz".index(word[-1]), -1 if word[0] == "-" else 1
    to = np.zeros(3)
    to[axis] = sign
    turn = trimesh.geometry.align_vectors([0, 0, 1], to)[:3, :3]
    mesh = cleaned((BOTTLE[0] @ turn.T + 0.3, BOTTLE[1]))
    found, given = upright(mesh), upright(mesh, word)
    assert (found.axis, found.sign) == (given.axis, given.sign) == (axis, sign)
    assert found.said == f"up is taken as {word}: the only opening faces that way"
    pieces = pieces_of(mesh, found, "outside")
    base = pieces.height < 1e-9
    assert pieces.area[base].sum() == pytest.approx(polygon(64)[0] * 0.03**2, rel=1e-9)
    assert pieces.height.max() < 0.2
    # the body stands 30 mm from the axis: the facets' centres lie between the polygon's circles
    body = (pieces.height > 0.01) & (pieces.height < 0.14)
    assert pieces.radius[body] == pytest.approx(0.03, rel=3e-3)


def test_without_one_opening_z_is_up():
    assert upright(cleaned(BALL)).said == "up is taken as z: the mesh has no opening to go by"
    both = cleaned(revolved(line((0.03, 0), (0.03, 0.1), 4), 24))
    assert upright(both).said == "up is taken as z: the mesh has 2 openings to go by"
    assert upright(both).axis == 2


@pytest.mark.parametrize("word", ["", "up", "w", "--x", "+z", "xy"])
def test_a_way_up_that_is_no_axis_is_refused(word):
    with pytest.raises(GeometryError, match="write x, y, z") as caught:
        upright(cleaned(BALL), word)
    assert caught.value.field == "up"


@pytest.mark.parametrize(("word", "first", "second"), [("x", 1, 2), ("-y", 0, 2), ("z", 0, 1)])
def test_angles_count_from_the_first_of_the_other_two_axes(word, first, second):
    mesh = cleaned(moved(BALL, (0.01, 0.02, 0.03)))
    pieces = pieces_of(mesh, upright(mesh, word), "middle")
    across = pieces.centre - [0.01, 0.02, 0.03]
    assert np.cos(pieces.angle) * pieces.radius == pytest.approx(across[:, first], abs=1e-12)
    assert np.sin(pieces.angle) * pieces.radius == pytest.approx(across[:, second], abs=1e-12)


def test_a_handle_does_not_move_the_axis_from_the_neck():
    handle = box((0.035, -0.005, 0.05), (0.055, 0.005, 0.15), 6)
    mesh = cleaned(joined(BOTTLE, handle))
    way = upright(mesh)
    pieces = pieces_of(mesh, way, "outside")
    body = (mesh.body == mesh.body[0]) & (pieces.height > 0.01) & (pieces.height < 0.14)
    body &= np.hypot(*pieces.centre[:, :2].T) < 0.031
    assert pieces.radius[body] == pytest.approx(0.03, rel=3e-3)
    assert turning(mesh, way) == (
        "angles turn from x (0 degrees) to y (90 degrees) about the axis through the centre of the opening"
    )
    # on its side the opening tells nothing about the axis
    side = upright(mesh, "x")
    middle = (mesh.area * pieces.centre[:, 2]).sum() / mesh.area.sum()
    lying = pieces_of(mesh, side, "outside")
    assert np.sin(lying.angle) * lying.radius == pytest.approx(pieces.centre[:, 2] - middle, abs=1e-12)
    assert turning(mesh, side).startswith("angles turn from y (0 degrees) to z (90 degrees)")
    assert turning(mesh, side).endswith("the middle of the part")


@pytest.mark.parametrize("dimensions", list(MIDDLE_OFFSET))
def test_pieces_add_up_to_the_whole_surface(dimensions):
    for mesh in (cleaned(BOTTLE), cleaned(BALL), cleaned(BALL, sphere(0.0395, 24, 48))):
        pieces, whole = pieces_of(mesh, upright(mesh), dimensions), whole_surface(mesh, dimensions)
        t = 5e-4
        total = (pieces.area + pieces.slope * t + pieces.curvature * t * t).sum()
        assert total == pytest.approx(whole.area(t), rel=1e-12)


def test_an_unknown_face_of_the_wall_is_refused():
    mesh = cleaned(BALL)
    for ask in (lambda: pieces_of(mesh, upright(mesh), "outer"), lambda: whole_surface(mesh, "outer")):
        with pytest.raises(GeometryError, match="outside, inside or middle"):
            ask()


def test_the_volume_inside_follows_the_wall_and_ends_where_no_room_is_left():
    surface = whole_surface(cleaned(BOTTLE), "outside")
    assert surface.volume_slope == pytest.approx(-cleaned(BOTTLE).facts.area)
    assert surface.largest_thickness == pytest.approx(0.03)
    inside = whole_surface(cleaned(BOTTLE), "inside")
    assert inside.volume_slope == 0 and inside.largest_thickness == math.inf


def test_a_body_beside_an_open_one_keeps_the_opening_of_the_first():
    mesh = cleaned(joined(BOTTLE, moved(BALL, (0.2, 0, 0))))
    assert len(mesh.openings) == 1
    assert mesh.volume == pytest.approx(cleaned(BOTTLE).volume + cleaned(BALL).volume, rel=1e-12)

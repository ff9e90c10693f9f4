"""Regions of a mesh and faces cut along their borders, against areas by hand."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_builders import as_mesh, box, line, opening, pieces_of, revolved, sphere, turned
from mesh_raw import cleaned

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.cutting import cut_at, finer
from optimizer.geometry.mesh.doubts import far_reaching
from optimizer.geometry.mesh.model import Upright
from optimizer.geometry.mesh.regions import Rule, assign, cut_for
from optimizer.geometry.mesh.triangles import Edges, areas, cross, lengths

UP = Upright(2, 1, "z")
PI = math.pi


def split(mesh, *rules):
    """Cut mesh, region of each face, area of each region and of the rest last."""
    cut = cut_for(mesh, UP, rules)
    region = assign(cut, pieces_of(cut), rules)
    return cut, region, [cut.area[region == k].sum() for k in (*range(len(rules)), -1)]


def bottle(handle=False):
    """Round, open at the top at 0.2 m: body of 0.03 m radius to 0.14 m, neck of 0.012 m from 0.16 m."""
    profile = [[0, 0], [0.03, 0], [0.03, 0.07], [0.03, 0.14], [0.012, 0.16], [0.012, 0.2]]
    shell = revolved(profile, 60)
    shells = [shell, box((0.02, -0.005, 0.15), (0.028, 0.005, 0.21))] if handle else [shell]
    return as_mesh(
        shells,
        openings=[opening(shell, 0.2)],
        bodies=("bottle", "handle"),
        body=np.repeat([0, 1], [len(s[1]) for s in shells] if handle else [len(shell[1]), 0]),
    )


def test_height_bands_of_a_cylinder_have_their_share_of_its_area_though_no_edge_lies_there():
    mesh = as_mesh([revolved([[0.03, 0], [0.03, 0.1]], 40)])
    girth = 40 * 2 * 0.03 * math.sin(PI / 40)
    _, _, area = split(mesh, Rule("base", below=0.0123), Rule("panel", above=0.03, below=0.07))
    assert area == pytest.approx([girth * 0.0123, girth * 0.04, girth * (0.1 - 0.0123 - 0.04)], rel=1e-9)


def test_zones_of_a_sphere_converge_to_the_closed_form_with_second_order():
    """A zone of a sphere has the area 2 pi R h (Archimedes)."""
    error = []
    for n in (10, 20, 40):
        _, _, area = split(as_mesh([sphere(0.05, n, 2 * n)]), Rule("zone", above=0.013, below=0.0541))
        error.append(abs(area[0] / (2 * PI * 0.05 * 0.0411) - 1))
    assert error[2] < 1e-3
    assert error[1] < error[0] / 3.3 and error[2] < error[1] / 3.3


def test_a_box_takes_the_area_inside_it_exactly():
    mesh = as_mesh([box((0, 0, 0), (0.06, 0.08, 0.1))])
    window = Rule("window", box=((0.05, 0.02, 0.03), (0.07, 0.05, 0.09)))
    _, _, area = split(mesh, window)
    assert area[0] == pytest.approx(0.03 * 0.06, rel=1e-9)
    backwards = Rule("window", box=((0.07, 0.02, 0.09), (0.05, 0.05, 0.03)))
    assert split(mesh, backwards)[2] == pytest.approx(area)


def test_the_neck_reaches_so_far_down_from_the_plane_of_the_opening():
    _, _, area = split(bottle(), Rule("neck", from_opening=0.015))
    girth = 60 * 2 * 0.012 * math.sin(PI / 60)
    assert area[0] == pytest.approx(girth * 0.015, rel=1e-9)


def test_a_handle_beside_the_neck_does_not_belong_to_it():
    plain = split(bottle(), Rule("neck", from_opening=0.015))[2][0]
    cut, region, area = split(bottle(handle=True), Rule("neck", from_opening=0.015))
    assert area[0] == pytest.approx(plain)
    assert (region[cut.body == 1] == -1).all()


def test_both_faces_of_a_neck_belong_to_it():
    shells = [revolved([[r, 0], [r, 0.1]], 40) for r in (0.03, 0.029)]
    mouths = [opening(shell, 0.1) for shell in shells]
    mouths[1].loop[:] += len(shells[0][0])
    mesh = as_mesh([shells[0], turned(shells[1])], "walls", openings=mouths)
    _, _, area = split(mesh, Rule("neck", from_opening=0.02))
    assert area[0] == pytest.approx(40 * 2 * 0.059 * math.sin(PI / 40) * 0.02, rel=1e-9)


def capped_bottle():
    """The bottle with a cap over its neck: top at 0.203 m, skirt of 0.014 m radius down to 0.185 m."""
    shell = bottle()
    neck = revolved([[0, 0], [0.03, 0], [0.03, 0.07], [0.03, 0.14], [0.012, 0.16], [0.012, 0.2]], 60)
    cap = revolved([[0.014, 0.185], [0.014, 0.203], [0, 0.203]], 60)
    rim = opening(cap, 0.185, 1)
    rim.loop[:] += len(neck[0])
    rim.normal[:] *= -1
    mouth = replace(opening(neck, 0.2, 2), body="bottle", covered_by="cap")
    rim = replace(rim, body="cap", covered_by="bottle", of_cover=True)
    body = np.repeat([0, 1], [len(neck[1]), len(cap[1])])
    assert len(shell.faces) == len(neck[1])
    return as_mesh([neck, cap], openings=[rim, mouth], bodies=("bottle", "cap"), body=body)


@pytest.mark.parametrize("more", [{}, {"opening": 2}, {"body": "bottle"}])
def test_the_neck_under_a_cap_is_measured_from_its_own_opening(more):
    """The rim of the cap is the larger opening, and its top lies beyond the plane of the neck."""
    _, _, area = split(capped_bottle(), Rule("neck", from_opening=0.015, **more))
    assert area[0] == pytest.approx(60 * 2 * 0.012 * math.sin(PI / 60) * 0.015, rel=1e-9)


@pytest.mark.parametrize("more", [{"opening": 1}, {"body": "cap"}])
def test_a_region_from_the_rim_of_a_cap_ends_at_its_depth_and_leaves_the_neck(more):
    mesh = capped_bottle()
    cut, region, area = split(mesh, Rule("skirt", from_opening=0.01, **more))
    assert area[0] == pytest.approx(60 * 2 * 0.014 * math.sin(PI / 60) * 0.01, rel=1e-9)
    assert (cut.body[region == 0] == 1).all()


def test_a_region_ends_on_both_sides_of_the_plane_of_its_opening():
    """A cone that goes on beyond the edge of a hole: as a cap whose rim is joined to the neck."""
    shell = revolved([[0.03, 0], [0.03, 0.05], [0.03, 0.1]], 40)
    mouth = replace(opening(shell, 0.05), normal=np.array([0.0, 0, 1]))
    _, _, area = split(as_mesh([shell], openings=[mouth]), Rule("band", from_opening=0.01))
    assert area[0] == pytest.approx(40 * 2 * 0.03 * math.sin(PI / 40) * 0.02, rel=1e-9)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"opening": 3}, "the mesh has no opening 3; it has 1 (28 mm across), 2 (24 mm across)"),
        ({"body": "lid"}, "the mesh has no opening of the body 'lid'"),
    ],
)
def test_an_opening_that_is_not_there_is_refused_with_those_that_are(more, said):
    mesh = capped_bottle()
    rule = Rule("neck", from_opening=0.015, **more)
    with pytest.raises(GeometryError, match=re.escape(said)):
        assign(cut_for(mesh, UP, (rule,)), pieces_of(mesh), (rule,))


def test_the_outer_edge_of_a_wall_of_two_shells_starts_its_neck_too():
    """Only the inner shell's edge is an opening, and the outer one would else be left out: half the area."""
    jar = [(0, 0), (0.04, 0), (0.04, 0.1)], [(0, 0.002), (0.038, 0.002), (0.038, 0.1)]
    shells = [revolved(np.concatenate([line(*p, 20) for p in pairwise(np.array(c))]), 96) for c in jar]
    mesh = cleaned(*shells)
    assert mesh.kind == "walls" and len(mesh.openings) == 1
    _, _, area = split(mesh, Rule("neck", from_opening=0.02))
    assert mesh.weight * area[0] == pytest.approx(96 * 2 * 0.039 * math.sin(PI / 96) * 0.02, rel=1e-9)


def test_lengths_far_beyond_the_part_are_asked_about():
    mesh = bottle()
    pieces = pieces_of(mesh)
    fine = Rule("a", below=0.21), Rule("b", above=0.1), Rule("c", from_opening=0.2)
    assert far_reaching(mesh, pieces, fine) == ()
    wrong = Rule("a", below=20.0), Rule("b", from_opening=0.5)
    first, second = far_reaching(mesh, pieces, wrong)
    assert first.startswith("region 'a': 'below' is 20000 mm, far beyond the part") and "?" in first
    assert second.startswith("region 'b': 'from_opening' is 500 mm, far beyond the part")
    assert "which reaches over 200 mm" in second


def test_a_named_body_is_a_region():
    mesh = bottle(handle=True)
    cut, region, area = split(mesh, Rule("grip", body="handle"))
    assert cut is mesh
    assert np.array_equal(region == 0, mesh.body == 1)
    assert area[0] == pytest.approx(2 * (0.008 * 0.01 + 0.008 * 0.06 + 0.01 * 0.06))


def test_all_conditions_of_a_rule_hold_at_once():
    mesh = bottle(handle=True)
    cut, region, _ = split(mesh, Rule("tip", body="handle", above=0.2))
    centre = cut.vertices[cut.faces].mean(axis=1)
    assert np.array_equal(region == 0, (cut.body == 1) & (centre[:, 2] > 0.2))


def test_the_first_rule_that_takes_a_face_keeps_it():
    girth = 60 * 2 * 0.03 * math.sin(PI / 60)
    rules = Rule("panel", above=0.02, below=0.1), Rule("low", above=0, below=0.05)
    floor = 60 / 2 * 0.03**2 * math.sin(2 * PI / 60)
    assert split(bottle(), *rules)[2][:2] == pytest.approx([girth * 0.08, girth * 0.02 + floor], rel=1e-6)
    assert split(bottle(), *rules[::-1])[2][:2] == pytest.approx(
        [girth * 0.05 + floor, girth * 0.05], rel=1e-6
    )


def test_height_is_measured_along_the_way_up_that_is_given():
    mesh = as_mesh([revolved([[0.03, 0.5], [0.03, 0.6]], 40)])
    rules = (Rule("base", below=0.02),)
    cut = cut_for(mesh, Upright(2, -1, "-z"), rules)
    z = cut.vertices[cut.faces][:, :, 2]
    assert ((z.min(axis=1) >= 0.58 - 1e-9) | (z.max(axis=1) <= 0.58 + 1e-9)).all()
    assert len(cut.faces) > len(mesh.faces)


@settings(max_examples=50, deadline=None)
@given(
    cuts=st.lists(st.tuples(st.floats(0, 0.1), st.floats(0.001, 0.1)), min_size=1, max_size=4),
    corner=st.tuples(*[st.floats(-0.06, 0.06)] * 3),
    side=st.floats(0.02, 0.12),
)
def test_every_face_belongs_to_one_region_and_areas_slopes_and_volume_add_up(cuts, corner, side):
    mesh = as_mesh([sphere(0.05, 9, 16)])
    rules = tuple(Rule(f"r{k}", above=a, below=a + d) for k, (a, d) in enumerate(cuts))
    rules += (Rule("box", box=(corner, tuple(x + side for x in corner))),)
    cut = cut_for(mesh, UP, rules)
    try:
        region = assign(cut, pieces_of(cut), rules)
    except GeometryError:  # a region without a face
        region = np.full(len(cut.faces), -1)
    assert region.min() >= -1 and region.max() < len(rules)
    sums = np.bincount(region + 1, cut.area)
    assert sums.sum() == pytest.approx(mesh.area.sum(), rel=1e-12)
    assert cut.area == pytest.approx(areas(cut.vertices, cut.faces), abs=1e-13)
    assert cut.slope.sum() == pytest.approx(mesh.slope.sum())
    assert cut.curvature.sum() == pytest.approx(mesh.curvature.sum())
    assert Edges(cut.faces).closed, "cutting leaves no gaps"

    def volume(m):
        return np.einsum("ij,ij->", m.vertices[m.faces[:, 0]], cross(m.vertices, m.faces)) / 6

    assert volume(cut) == pytest.approx(volume(mesh), rel=1e-9)


def test_a_plane_along_edges_or_vertices_cuts_nothing_there():
    mesh = as_mesh([box((0, 0, 0), (1, 1, 1), 4)])
    z = np.array([0.0, 0, 1])
    assert cut_at(mesh, [(z, 0.25), (z, 0.0), (z, 1.0), (z, 0.5 + 1e-9)]) is mesh
    once = cut_at(mesh, [(z, 0.3)])
    assert cut_at(once, [(z, 0.3)]) is once


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (Rule("neck", above=0.3), "region neck: nothing lies above 300 mm: the part has heights of 0 to"),
        (Rule("foot", below=-0.1), "region foot: nothing lies below -100 mm"),
        (Rule("grip", body="Handle"), "no body is named 'Handle'; there is bottle, handle"),
        (Rule("window", box=((1, 1, 1), (2, 2, 2))), r"nothing lies in its box: the mesh goes from x = "),
        (Rule("none"), "region none: has no condition"),
        (Rule("odd", above=0.1, below=0.05), "no face meets all of its conditions at once"),
        (Rule("rim", from_opening=-0.001), "nothing lies within -1 mm of the opening"),
    ],
)
def test_a_region_without_a_face_is_refused_with_what_there_is(rule, words):
    with pytest.raises(GeometryError, match=words) as caught:
        split(bottle(), rule)
    assert caught.value.field == "regions"


def test_all_regions_without_a_face_are_named_at_once():
    rules = Rule("a", below=0.1), Rule("b", below=0.05), Rule("c", above=9)
    with pytest.raises(GeometryError) as caught:
        split(bottle(), *rules)
    assert re.search(r"region b: .* before it \(a\); region c: nothing", caught.value.message)


def test_from_opening_is_refused_where_there_is_none():
    with pytest.raises(GeometryError, match="needs an opening, and the mesh has none"):
        split(as_mesh([sphere(0.05, 8, 16)]), Rule("neck", from_opening=0.01))


@settings(max_examples=30, deadline=None)
@given(longest=st.floats(0.004, 0.2), sides=st.tuples(*[st.floats(0.01, 0.1)] * 3))
def test_no_edge_of_a_finer_mesh_is_too_long_and_its_sums_stay(longest, sides):
    mesh = as_mesh([box((0, 0, 0), sides)])
    fine = finer(mesh, longest)
    ends = fine.vertices[Edges(fine.faces).ends]
    assert lengths(ends[:, 1] - ends[:, 0]).max() <= longest
    assert Edges(fine.faces).closed
    assert fine.area == pytest.approx(areas(fine.vertices, fine.faces), abs=1e-13)
    for kept in ("area", "slope", "curvature"):
        assert getattr(fine, kept).sum() == pytest.approx(getattr(mesh, kept).sum())
    assert (fine is mesh) == (longest >= np.hypot(*sorted(sides)[1:]))
    normal = cross(fine.vertices, fine.faces)
    outward = fine.vertices[fine.faces].mean(axis=1) - np.array(sides) / 2
    assert (np.einsum("ij,ij->i", normal, outward) > 0).all(), "no face is turned round"


def test_tall_faces_made_small_see_a_thickness_that_changes_with_height():
    """Cylinder of full-height facets, thickness from 0.2 to 1 mm in a line: integral of dz / l by hand."""
    mesh = as_mesh([revolved([[0.03, 0], [0.03, 0.1]], 40)])
    exact = 40 * 2 * 0.03 * math.sin(PI / 40) * 0.1 * math.log(5) / 0.0008
    error = []
    for longest in (0.05, 0.0125, 0.00625):
        fine = finer(mesh, longest)
        height = pieces_of(fine).height
        error.append(abs((fine.area / (0.0002 + 0.008 * height)).sum() / exact - 1))
    assert error[0] > 0.01 and error[2] < 1e-3 and error[2] < error[1] / 3


def test_a_large_mesh_is_cut_and_assigned_quickly():
    import time

    mesh = as_mesh([revolved(line((0.03, 0), (0.03, 0.2), 400), 250)])
    start = time.process_time()
    split(
        mesh, Rule("base", below=0.0101), Rule("top", above=0.1501), Rule("panel", above=0.02, below=0.0903)
    )
    # 0.3 s when measured for 200,000 faces; ten times that for a slow machine
    assert time.process_time() - start < 3.0

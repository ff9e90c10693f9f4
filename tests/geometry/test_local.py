"""Thickness from tables of measurements: closed integrals, exactness at the measurements, what is told."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from mesh_builders import as_mesh, line, pieces_of, revolved, sphere

from optimizer.errors import GeometryError
from optimizer.geometry.local import by_height, by_height_and_angle, by_points
from optimizer.geometry.pieces import Pieces

PI = math.pi
THIN = st.floats(2e-5, 5e-3)


def at(height, angle=None, centre=None, area=None, radius=0.03):
    """Pieces at some places, 1 cm2 each."""
    height = np.asarray(height, dtype=float)
    one = np.ones(len(height))
    return Pieces(
        1e-4 * one if area is None else area, 0 * one, 0 * one, height, radius * one,
        np.nan * one if angle is None else np.asarray(angle, float), centre,
    )  # fmt: skip


def ball(n, radius=0.05):
    return pieces_of(as_mesh([sphere(radius, n, 2 * n)]))


def passed(pieces, local):
    """Sum of area over thickness [m]."""
    return float((pieces.area / local.thickness).sum())


# by height


def test_thickness_is_linear_between_heights_and_constant_beyond():
    local = by_height(at([0, 0.01, 0.015, 0.03, 0.05]), [0.01, 0.02, 0.04], [6e-4, 4e-4, 8e-4])
    assert local.thickness == pytest.approx([6e-4, 6e-4, 5e-4, 6e-4, 8e-4])
    assert not local.estimate and local.counted is None


def test_a_graded_sphere_passes_the_closed_integral_with_second_order():
    """A zone of a sphere has 2 pi R dz, so the sum is 2 pi R times the integral of dz / l."""
    exact = 2 * PI * 0.05 * 0.1 * math.log(4) / 0.0006
    error = []
    for n in (12, 24, 48):
        pieces = ball(n)
        error.append(abs(passed(pieces, by_height(pieces, [0, 0.1], [0.0002, 0.0008])) / exact - 1))
    assert error[2] < 2e-3
    assert error[1] < error[0] / 3.5 and error[2] < error[1] / 3.5


def test_rows_may_come_in_any_order():
    pieces = at(np.linspace(0, 0.1, 20))
    one = by_height(pieces, [0, 0.05, 0.1], [3e-4, 2e-4, 4e-4]).thickness
    assert by_height(pieces, [0.1, 0, 0.05], [4e-4, 3e-4, 2e-4]).thickness == pytest.approx(one)


@given(rows=st.lists(st.tuples(st.floats(0, 0.3), THIN), min_size=2, max_size=12))
def test_a_monotone_table_stays_monotone_and_within_its_range(rows):
    heights, thickness = (np.array(x) for x in zip(*sorted(rows), strict=True))
    assume(len(np.unique(heights)) == len(heights))
    thickness = np.sort(thickness)
    told = by_height(at(np.linspace(0, 0.3, 100)), heights, thickness).thickness
    assert (np.diff(told) >= -1e-15).all()
    assert told.min() >= thickness[0] * (1 - 1e-12) and told.max() <= thickness[-1] * (1 + 1e-12)


def test_a_table_that_ends_a_little_early_is_noted_and_one_that_ends_far_too_early_is_warned_of():
    pieces = at(np.linspace(0, 0.2, 101))
    full = by_height(pieces, [0, 0.2], [3e-4, 3e-4])
    assert full.notes == () and full.warnings == ()
    little = by_height(pieces, [0.004, 0.196], [3e-4, 3e-4])
    assert "4 % of the area" in little.notes[0] and little.warnings == ()
    short = by_height(pieces, [0.0, 0.12], [3e-4, 3e-4])
    assert short.notes == ()
    assert "heights of 0 to 120 mm" in short.warnings[0] and "0 to 200 mm" in short.warnings[0]


def test_heights_in_another_unit_are_warned_of():
    local = by_height(at(np.linspace(0, 0.2, 50)), [0.0, 200.0], [3e-4, 3e-4])
    assert "is the unit right" in local.warnings[0]
    below = by_height(at(np.linspace(0, 0.2, 50)), [-0.1, 0.1], [3e-4, 3e-4])
    assert "is the unit right" in below.warnings[0]


def test_a_table_to_the_ends_of_a_part_of_few_tall_pieces_is_not_taken_for_another_unit():
    pieces = replace(at([0.05, 0.15]), span=np.array([[0, 0.1], [0.1, 0.2]]))
    assert by_height(pieces, [0, 0.2], [3e-4, 3e-4]).warnings == ()


def test_several_thicknesses_at_one_height_are_averaged_and_told():
    local = by_height(at([0, 0.05, 0.1]), [0, 0.05, 0.05, 0.1], [3e-4, 2e-4, 4e-4, 3e-4])
    assert local.thickness == pytest.approx(3e-4)
    assert local.notes == ("several thicknesses at one place of the table, 1 times: their mean is taken",)
    assert by_height(at([0, 0.1]), [0, 0.1, 0.1], [3e-4] * 3).notes == ()


@pytest.mark.parametrize(
    ("heights", "thickness", "words"),
    [
        ([0, 0.1], [3e-4, 0.0], "no thickness above zero in row 2"),
        ([0, 0.1], [-3e-4, 3e-4], "no thickness above zero in row 1"),
        ([0, 0.1], [3e-4, math.nan], "no thickness above zero in row 2"),
        ([0, math.inf], [3e-4, 3e-4], "no height in row 2"),
        ([math.nan, 1], [3e-4, -1], "no height in row 1; no thickness above zero in row 2"),
        ([0] * 9, [0.0] * 9, "in row 1, 2, 3, 4, 5 and 4 more"),
        ([0.1], [3e-4], r"too few different places by height \(1, at least 2\)"),
        ([0.1, 0.1], [3e-4, 4e-4], r"too few different places by height \(1, at least 2\)"),
        ([], [], r"too few different places by height \(0, at least 2\)"),
    ],
)
def test_a_table_that_tells_no_thickness_is_refused(heights, thickness, words):
    with pytest.raises(GeometryError, match=words) as caught:
        by_height(at([0, 0.1]), np.array(heights, float), np.array(thickness, float))
    assert caught.value.field == "thickness" and caught.value.hint


# by height and angle


def rings(rows, count, field, shift=0.0):
    turn = shift + 2 * PI * np.arange(count) / count
    height, angle = np.repeat(rows, count), np.tile(turn, len(rows))
    return height, angle, field(height, angle)


def test_thickness_is_linear_round_a_ring_across_the_seam_and_between_rings():
    table = rings([0.0, 0.1], 4, lambda h, a: 3e-4 + 1e-3 * h + 1e-4 * np.round(2 * a / PI))
    local = by_height_and_angle(at([0, 0, 0.05, 0, 0], [0.0, PI / 4, PI / 2, -PI / 4, 9 * PI / 4]), *table)
    assert local.thickness == pytest.approx([3e-4, 3.5e-4, 4.5e-4, 4.5e-4, 3.5e-4])


@pytest.mark.parametrize("banded", [False, True])
def test_a_wall_thin_on_one_side_passes_the_closed_integral(banded):
    """The mean of 1 / (1 + e cos x) round a circle is 1 / sqrt(1 - e**2)."""
    table = rings([0.0, 0.05, 0.1], 72, lambda h, a: 4e-4 * (1 + 0.6 * np.cos(a)))
    if banded:
        pieces = at(np.linspace(0.001, 0.099, 50))
    else:
        pieces = pieces_of(as_mesh([revolved(line((0.03, 0), (0.03, 0.1), 10), 90)]))
    exact = pieces.area.sum() / 4e-4 / math.sqrt(1 - 0.36)
    local = by_height_and_angle(pieces, *table)
    assert passed(pieces, local) == pytest.approx(exact, rel=2e-3)
    assert any("harmonic mean" in note for note in local.notes) == banded


def test_rings_converge_to_a_smooth_field_with_second_order():
    def field(h, a):
        return 4e-4 * (1 + 0.3 * np.cos(a) * np.cos(20 * h) + 0.1 * np.sin(2 * a))

    rng = np.random.default_rng(5)
    height, angle = rng.uniform(0, 0.2, 4000), rng.uniform(-PI, PI, 4000)
    error = []
    for n in (6, 12, 24):
        told = by_height_and_angle(at(height, angle), *rings(np.linspace(0, 0.2, n + 1), 2 * n, field))
        error.append(np.abs(told.thickness / field(height, angle) - 1).max())
    assert error[2] < 0.005
    assert error[1] < error[0] / 3 and error[2] < error[1] / 3


def test_scattered_measurements_by_height_and_angle_agree_with_the_field_they_were_taken_from():
    def field(h, a):
        return 4e-4 * (1 + 0.2 * np.cos(a) + h)

    rng = np.random.default_rng(6)
    height, angle = rng.uniform(0, 0.2, 600), rng.uniform(-PI, PI, 600)
    places = rng.uniform(0, 0.2, 500), rng.uniform(-PI, PI, 500)
    told = by_height_and_angle(at(*places), height, angle, field(height, angle)).thickness
    assert told == pytest.approx(field(*places), rel=0.03)
    assert np.sqrt(np.mean((told / field(*places) - 1) ** 2)) < 0.004


@settings(deadline=None)
@given(turn=st.floats(-7, 7), scattered=st.booleans(), seed=st.integers(0, 99))
def test_it_does_not_matter_where_the_angle_zero_lies(turn, scattered, seed):
    rng = np.random.default_rng(seed)
    height = rng.uniform(0, 0.1, 12) if scattered else np.repeat([0, 0.05, 0.1], 4)
    angle, thickness = rng.uniform(0, 2 * PI, 12), rng.uniform(2e-4, 6e-4, 12)
    places = rng.uniform(0, 0.1, 40), rng.uniform(-PI, PI, 40)
    one = by_height_and_angle(at(*places), height, angle, thickness).thickness
    other = by_height_and_angle(at(places[0], places[1] + turn), height, angle + turn, thickness).thickness
    assert other == pytest.approx(one, rel=1e-5)


def test_one_ring_alone_holds_for_all_heights_with_a_warning():
    local = by_height_and_angle(at([0.0, 0.1], [0.0, PI]), *rings([0.05], 4, lambda h, a: 3e-4 + 1e-5 * a))
    assert local.thickness == pytest.approx([3e-4, 3e-4 + 1e-5 * PI])
    assert "beyond the table" in local.warnings[0]


def test_a_ring_measured_on_one_side_only_is_warned_of():
    height, angle = np.repeat([0, 0.1], 4), np.tile([0, 0.3, 0.6, 0.9], 2)
    local = by_height_and_angle(at([0, 0.1], [0, 1]), height, angle, np.full(8, 3e-4))
    assert "308 degrees without a value" in local.warnings[0]


# by points


def on_ball(count, seed=1, radius=0.05):
    points = np.random.default_rng(seed).normal(size=(count, 3))
    return radius * points / np.linalg.norm(points, axis=1)[:, None]


def smooth(points):
    return 1e-3 * (1 + 6 * points[:, 0] + 100 * points[:, 2] ** 2)


@settings(max_examples=30, deadline=None)
@given(count=st.integers(3, 60), seed=st.integers(0, 1000), constant=THIN)
def test_a_constant_stays_and_no_value_leaves_the_measured_range(count, seed, constant):
    points, pieces = on_ball(count, seed), ball(8)
    assert by_points(pieces, points, np.full(count, constant)).thickness == pytest.approx(constant, rel=1e-9)
    thickness = np.random.default_rng(seed).uniform(1e-4, 2e-3, count)
    told = by_points(pieces, points, thickness).thickness
    assert told.min() >= thickness.min() and told.max() <= thickness.max()


@settings(max_examples=30, deadline=None)
@given(count=st.integers(3, 60), seed=st.integers(0, 1000))
def test_a_measured_point_keeps_its_thickness_and_its_neighbourhood_has_nearly_it(count, seed):
    points = on_ball(count, seed)
    thickness = np.random.default_rng(seed).uniform(1e-4, 2e-3, count)
    one = np.full(count, 1e-6)
    there = at(points[:, 2], centre=points, area=one)
    assert by_points(there, points, thickness).thickness == pytest.approx(thickness, rel=1e-9)
    apart = np.linalg.norm(points[:, None] - points[None], axis=2) + np.eye(count)
    beside = points + 1e-4 * apart.min(axis=1)[:, None] * np.array([0.6, 0.0, 0.8])
    near = by_points(at(beside[:, 2], centre=beside, area=one), points, thickness).thickness
    assert near == pytest.approx(thickness, rel=0.02)


def test_a_field_linear_in_place_is_told_right_inside_the_points():
    x, y = (g.ravel() for g in np.meshgrid(np.linspace(0, 0.1, 8), np.linspace(0, 0.06, 6)))
    points = np.stack([x, y, 0 * x], 1)
    rng = np.random.default_rng(2)
    centre = np.stack([rng.uniform(0.02, 0.08, 300), rng.uniform(0.02, 0.04, 300), np.zeros(300)], 1)

    def field(p):
        return 3e-4 + 2e-3 * p[:, 0] - 1e-3 * p[:, 1]

    told = by_points(at(0 * centre[:, 0], centre=centre), points, field(points)).thickness
    assert told == pytest.approx(field(centre), rel=1e-4)


def test_what_passes_converges_as_points_are_added():
    pieces = ball(40)
    exact = float((pieces.area / smooth(pieces.centre)).sum())
    spread, total = [], []
    for count in (100, 400, 1600):
        points = on_ball(count)
        local = by_points(pieces, points, smooth(points))
        error = local.thickness / smooth(pieces.centre) - 1
        spread.append(np.sqrt(np.average(error**2, weights=pieces.area)))
        total.append(abs(passed(pieces, local) / exact - 1))
    # twice as close: at least 2.4 times better
    assert spread[1] < spread[0] / 2.4 and spread[2] < spread[1] / 2.4
    assert total[0] < 5e-3 and total[2] < 5e-4


def test_points_along_one_line_give_a_thickness_by_that_line():
    points = np.stack([np.full(11, 0.05), np.zeros(11), np.linspace(-0.05, 0.05, 11)], 1)
    pieces = ball(12)
    told = by_points(pieces, points, np.linspace(2e-4, 8e-4, 11)).thickness
    near = np.abs(pieces.angle) < 0.3
    assert np.corrcoef(told[near], pieces.height[near])[0, 1] > 0.97


def test_points_off_the_surface_are_warned_of_and_where_most_are_the_table_is_refused():
    points = on_ball(50)
    thickness = np.full(50, 3e-4)
    assert by_points(ball(12), points, thickness).warnings == ()
    some = np.where(np.arange(50)[:, None] < 25, 1.5, 1.0) * points
    off = by_points(ball(12), some, thickness).warnings[0]
    assert off.startswith("25 of 50 measured points lie off the surface, up to 2")
    assert off.endswith(" mm: have table and mesh the same coordinates and unit?")
    for wrong in (points * 25.4, points / 25.4, points + [0, 0, 0.1]):
        with pytest.raises(GeometryError, match=r"of 50 measured points lie off the surface") as caught:
            by_points(ball(12), wrong, thickness)
        assert caught.value.field == "thickness" and "same coordinates and unit" in caught.value.hint
    with pytest.raises(GeometryError, match=r"up to 1\d\d\d mm "):  # no powers of ten
        by_points(ball(12), points * 25.4, thickness)


def test_a_table_is_compared_with_the_whole_part_and_not_with_some_of_its_pieces():
    pieces = ball(12)
    low = pieces.take(pieces.height < 0.04)
    rows = ([0.0, 0.1], [3e-4, 3e-4])
    assert any("is the unit right" in w for w in by_height(low, *rows).warnings)
    assert by_height(low, *rows, whole=pieces).warnings == ()
    # another unit is told all the same, and a table that ends within the pieces too
    assert "ends at 98." in by_height(low, [0.0, 100.0], rows[1], whole=pieces).warnings[0]
    assert "beyond the table" in by_height(low, [0.0, 0.02], rows[1], whole=pieces).warnings[0]
    points, thickness = on_ball(200), np.full(200, 3e-4)
    assert any("off the surface" in w for w in by_points(low, points, thickness).warnings)
    assert by_points(low, points, thickness, whole=pieces).warnings == ()


def test_a_table_rounded_to_the_millimetre_reaches_the_ends_of_the_part():
    pieces = at(np.linspace(0, 0.10004, 101))
    told = by_height(pieces, [0, 0.1], [3e-4, 3e-4])
    assert told.notes == () and told.warnings == ()


def test_a_surface_that_was_measured_on_one_side_only_is_warned_of():
    points = on_ball(80)
    local = by_points(ball(12), points[points[:, 0] > 0], np.full((points[:, 0] > 0).sum(), 3e-4))
    assert "from any measured point" in local.warnings[0]


def test_points_need_a_mesh_and_three_places():
    with pytest.raises(GeometryError, match="needs a mesh"):
        by_points(at([0, 0.1]), on_ball(5), np.full(5, 3e-4))
    with pytest.raises(GeometryError, match=r"too few different places by point \(2, at least 3\)"):
        by_points(ball(4), on_ball(2), np.full(2, 3e-4))
    with pytest.raises(GeometryError, match="no point in row 2"):
        by_points(ball(4), np.array([[0, 0, 1], [0, math.nan, 0], [1, 0, 0.0]]), np.full(3, 3e-4))
    with pytest.raises(GeometryError, match=r"height and angle \(2, at least 3\)"):
        by_height_and_angle(at([0, 0.1]), [0, 0.1, 0.1], [0, 1, 1 + 2 * PI], [3e-4, 3e-4, 3e-4])


def test_200_000_faces_and_500_points_take_half_a_second():
    import time

    pieces = ball(320)
    assert len(pieces) > 200_000
    points = on_ball(500)
    by_points(ball(4), points, smooth(points))
    start = time.process_time()
    by_points(pieces, points, smooth(points))
    # 0.4 s on the clock when measured, on two cores
    assert time.process_time() - start < 5.0

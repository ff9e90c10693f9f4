"""Shapes against closed forms and published geometry."""

from __future__ import annotations

import math

import pytest

from optimizer.geometry import shapes
from optimizer.geometry.build import scaled
from optimizer.shelflife.package import WallPart

PI = math.pi


def effective(surface, thickness=0.0):
    """sum(area / ratio), as the wall part uses it."""
    return WallPart("part", "wall", surface.patches).permeation_area(thickness)


# Euclidean mensuration, as in any table of mathematical formulae (from memory).
@pytest.mark.parametrize(
    ("surface", "area", "volume"),
    [
        (shapes.cylinder(0.075, 0.21), PI * 0.075 * 0.21, PI / 4 * 0.075**2 * 0.21),
        (shapes.tube(0.02, 0.3), PI * 0.02 * 0.3, PI / 4 * 0.02**2 * 0.3),
        (shapes.disc(0.075), PI / 4 * 0.075**2, 0.0),
        (shapes.sphere(0.1), PI * 0.1**2, PI / 6 * 0.1**3),
        (shapes.hemisphere(0.1), PI / 2 * 0.1**2, PI / 12 * 0.1**3),
        (shapes.cone(0.06, 0.04), PI * 0.03 * 0.05, PI / 3 * 0.03**2 * 0.04),
        # radii 30 and 10 mm, height 15 mm: slant 25 mm
        (shapes.cone(0.06, 0.015, 0.02), PI * 0.04 * 0.025, PI / 3 * 0.015 * 1e-6 * (900 + 300 + 100)),
        (shapes.box(0.1, 0.08, 0.06), 2 * (0.008 + 0.006 + 0.0048), 0.1 * 0.08 * 0.06),
        (shapes.tray(0.15, 0.1, 0.05), 0.015 + 0.5 * 0.05, 0.15 * 0.1 * 0.05),
        (shapes.plain(18e-4), 18e-4, 0.0),
    ],
)
def test_area_and_volume_are_the_closed_forms(surface, area, volume):
    assert surface.area() == pytest.approx(area, rel=1e-14)
    assert surface.interior_volume() == pytest.approx(volume, rel=1e-14, abs=1e-30)


def test_drafted_tray_is_the_frustum_of_a_pyramid():
    # square frustum, base 60 mm, opening 120 mm, depth 40 mm: slant height 50 mm
    # lateral area = half the sum of the perimeters * slant height; V = h/3 (A1 + A2 + sqrt(A1 A2))
    tray = shapes.tray(0.06, 0.06, 0.04, top_length=0.12, top_width=0.12)
    assert tray.area() == pytest.approx(0.06**2 + (0.24 + 0.48) / 2 * 0.05, rel=1e-14)
    assert tray.interior_volume() == pytest.approx(0.04 / 3 * (0.0036 + 0.0144 + 0.0072), rel=1e-14)


def test_pouch_area_is_panels_inside_the_seals_plus_gusset():
    # 160 x 240 mm flat, 8 mm seals, 80 mm gusset: 2 * 144 * 224 + 80 * 144 mm2
    pouch = shapes.pouch(0.16, 0.24, gusset=0.08, seal_width=0.008)
    assert pouch.area() == pytest.approx((2 * 144 * 224 + 80 * 144) * 1e-6, rel=1e-14)
    assert pouch.interior_volume() is None


def test_profile_of_two_points_is_the_cone_and_of_a_rectangle_the_closed_cylinder():
    frustum = shapes.profile([(0.0, 0.03), (0.015, 0.01)])
    cone = shapes.cone(0.06, 0.015, 0.02)
    assert frustum == cone
    can = shapes.profile([(0.0, 0.0375), (0.21, 0.0375)], closed_bottom=True, closed_top=True)
    assert can.area() == pytest.approx(PI * 0.075 * 0.21 + PI / 2 * 0.075**2, rel=1e-14)
    assert can.interior_volume() == pytest.approx(PI / 4 * 0.075**2 * 0.21, rel=1e-14)


def ball_of_frusta(pieces):
    points = [(-math.cos(PI * i / pieces), math.sin(PI * i / pieces)) for i in range(pieces + 1)]
    points[0], points[-1] = (-1.0, 0.0), (1.0, 0.0)
    return shapes.profile(points)


@pytest.mark.parametrize("what", ["area", "volume"])
def test_profile_of_a_sphere_converges_at_second_order(what):
    def error(pieces):
        ball = ball_of_frusta(pieces)
        return abs({"area": ball.area() - 4 * PI, "volume": ball.volume - 4 / 3 * PI}[what])

    order = math.log2(error(24) / error(48))
    assert order == pytest.approx(2.0, abs=0.05)
    assert error(48) < 0.01


def test_mid_wall_of_a_profiled_sphere_is_the_polyline_about_the_smaller_sphere():
    # the frusta touch a sphere of radius rho = cos(pi/2n) from outside: the moved body is similar to them
    t, pieces = 0.02, 24
    ball = ball_of_frusta(pieces)
    rho = math.cos(PI / (2 * pieces))
    assert ball.area(t) == pytest.approx(ball.area() * ((rho - t / 2) / rho) ** 2, rel=1e-12)


# The parallel body is known exactly for these: the mid-wall surface has each dimension less (or plus) t.
@pytest.mark.parametrize(("dimensions", "sign"), [("outside", -1), ("middle", 0), ("inside", 1)])
def test_mid_wall_area_is_that_of_the_body_half_a_wall_further(dimensions, sign):
    t = 0.7e-3
    e = sign * t
    d, h = 0.075, 0.21
    side = shapes.cylinder(d, h, dimensions=dimensions)
    assert side.area(t) == pytest.approx(PI * (d + e) * h, rel=1e-13)
    assert shapes.sphere(d, dimensions=dimensions).area(t) == pytest.approx(PI * (d + e) ** 2, rel=1e-13)
    assert shapes.disc(d, dimensions=dimensions).area(t) == pytest.approx(PI / 4 * (d + e) ** 2, rel=1e-13)
    a, b, c = 0.1 + e, 0.08 + e, 0.06 + e
    box = shapes.box(0.1, 0.08, 0.06, dimensions=dimensions)
    assert box.area(t) == pytest.approx(2 * (a * b + a * c + b * c), rel=1e-13)
    tray = shapes.tray(0.1, 0.08, 0.06, dimensions=dimensions)
    assert tray.area(t) == pytest.approx(a * b + 2 * (a + b) * (0.06 + e / 2), rel=1e-13)
    can = shapes.profile([(0, d / 2), (h, d / 2)], closed_bottom=True, closed_top=True, dimensions=dimensions)
    assert can.area(t) == pytest.approx(PI * (d + e) * (h + e) + PI / 2 * (d + e) ** 2, rel=1e-13)


def test_mid_wall_area_of_a_full_cone_is_that_of_the_similar_cone_cut_square():
    # moved by e the apex goes e/sin(half angle) along the axis, and the rim, cut square, e * cos inward
    r, h, t = 0.03, 0.04, 0.5e-3
    slant = 0.05
    e = -t / 2
    base = r + e * h / slant
    assert shapes.cone(2 * r, h).area(t) == pytest.approx(PI * base * base / (r / slant), rel=1e-12)


def test_interior_volume_follows_the_inner_face():
    # outside cylinder: pi/4 (d - 2t)^2 h, first order in t
    t = 1e-6
    for dimensions, lost in (("outside", 2), ("middle", 1), ("inside", 0)):
        side = shapes.cylinder(0.075, 0.21, dimensions=dimensions)
        exact = PI / 4 * (0.075 - lost * t) ** 2 * 0.21
        assert side.interior_volume(t) == pytest.approx(exact, rel=1e-8)
        if lost:
            assert side.interior_volume(t) != pytest.approx(side.interior_volume(0), rel=1e-6)
    tray = shapes.tray(0.15, 0.1, 0.05)
    exact = (0.15 - 2 * t) * (0.1 - 2 * t) * (0.05 - t)
    assert tray.interior_volume(t) == pytest.approx(exact, rel=1e-8)


def test_flat_wall_with_mid_wall_area_is_the_cylinder_to_one_part_in_1e5():
    # Cylindrical shell: flow = 2 pi P h / ln(b/a) (Crank, Mathematics of Diffusion, chapter 5, from memory).
    # Inner radius 32.5 mm, wall 0.3 mm: over flat with inner area 1.0046083, with mid-wall area 0.9999930,
    a, t, h = 32.5e-3, 0.3e-3, 0.2
    exact = 2 * PI * h / math.log((a + t) / a)
    side = shapes.cylinder(2 * a, h, dimensions="inside")
    assert exact / (side.area() / t) == pytest.approx(1.0046083, abs=5e-8)
    assert exact / (side.area(t) / t) == pytest.approx(0.9999930, abs=5e-8)
    outside = shapes.cylinder(2 * (a + t), h)
    assert outside.area(t) == pytest.approx(side.area(t), rel=1e-13)


def test_square_bottle_has_1_128_times_the_side_wall_of_a_round_one():
    # Equal volume and height: 2/sqrt(pi) = 1.128379; printed as 1.128 in a plastics-education article.
    d, h = 0.075, 0.2
    side = d * math.sqrt(PI) / 2
    square = shapes.box(side, side, h)
    round_bottle = shapes.cylinder(d, h)
    assert square.volume == pytest.approx(round_bottle.volume, rel=1e-14)
    walls = square.area() - 2 * side * side
    assert walls / round_bottle.area() == pytest.approx(1.128379, abs=5e-7)


@pytest.mark.parametrize(("litres", "more"), [(1.0, 0.26), (0.5, 0.59)])
def test_smaller_bottles_have_26_and_59_percent_more_area_per_volume_than_two_litres(litres, more):
    # University course problem on bottles: 26 % and 59 % for 1 L and 0.5 L against 2 L, similar shapes.
    def per_volume(volume):
        d = (volume * 4 / PI / 2.8) ** (1 / 3)
        bottle = shapes.cylinder(d, 2.8 * d)
        return (bottle.area() + 2 * shapes.disc(d).area()) / bottle.volume

    assert per_volume(litres) / per_volume(2.0) - 1 == pytest.approx(more, abs=0.005)


def test_uneven_tray_passes_1_224_times_what_its_mean_thickness_suggests():
    # 120 cm2 at 0.35 mm, 180 cm2 at 0.20 mm, 40 cm2 at 0.08 mm: sum(A/l) * sum(A l) / sum(A)^2 = 1.224221
    areas, microns = (120, 180, 40), (350, 200, 80)
    by_hand = (
        sum(a / m for a, m in zip(areas, microns, strict=True))
        * sum(a * m for a, m in zip(areas, microns, strict=True))
        / sum(areas) ** 2
    )
    assert by_hand == pytest.approx(1.224221, abs=5e-7)
    # the same shares as a tray: base to walls as 120 to 180, so a square base of side s has depth 3/8 s
    share = 40 / 340
    tray = shapes.tray(
        0.1, 0.1, 0.0375, corner_share=share, corner_ratio=0.4, base_ratio=1.75, wall_ratio=1.0
    )
    part = WallPart("tray", "wall", tray.patches)
    assert part.permeation_area(0) * part.mass_area(0) / part.area(0) ** 2 == pytest.approx(
        1.224221, abs=5e-7
    )


@pytest.mark.parametrize("cv", [0.05, 0.1, 0.2, 0.3])
def test_lognormal_thickness_passes_one_plus_cv_squared(cv):
    # E[1/l] E[l] = 1 + cv^2 for a lognormal, exact (moments of the lognormal distribution)
    from statistics import NormalDist

    from optimizer.geometry.surface import Patch, Surface

    sigma = math.sqrt(math.log(1 + cv * cv))
    count = 4000
    quantiles = [NormalDist(0, sigma).inv_cdf((i + 0.5) / count) for i in range(count)]
    wall = Surface(tuple(Patch(1 / count, math.exp(q)) for q in quantiles))
    part = WallPart("wall", "wall", wall.patches)
    assert part.permeation_area(0) * part.mass_area(0) == pytest.approx(1 + cv * cv, rel=2e-4)


def test_ratios_of_one_give_the_plain_tray():
    plain = shapes.tray(0.15, 0.1, 0.05)
    split = shapes.tray(0.15, 0.1, 0.05, corner_share=0.3, corner_ratio=1.0)
    assert len(split.patches) == 3
    for t in (0.0, 5e-4):
        assert split.area(t) == pytest.approx(plain.area(t), rel=1e-14)
        assert effective(split, t) == pytest.approx(effective(plain, t), rel=1e-14)


def test_scaling_the_thickness_scales_ratio_volume_and_limit():
    side = shapes.cylinder(0.075, 0.21)
    thick = scaled(side, 2.0)
    t = 0.4e-3
    assert thick.area(t) == pytest.approx(side.area(2 * t), rel=1e-14)
    assert thick.interior_volume(t) == pytest.approx(side.interior_volume(2 * t), rel=1e-14)
    assert effective(thick, t) == pytest.approx(side.area(2 * t) / 2, rel=1e-14)
    assert thick.largest_thickness == side.largest_thickness / 2 == 0.0375 / 2


def test_a_wall_as_thick_as_the_radius_leaves_no_room():
    assert shapes.cylinder(0.06, 0.2).largest_thickness == pytest.approx(0.03)
    assert shapes.cylinder(0.06, 0.2, dimensions="middle").largest_thickness == pytest.approx(0.06)
    assert shapes.cylinder(0.06, 0.2, dimensions="inside").largest_thickness == math.inf
    assert shapes.pouch(0.1, 0.1).largest_thickness == math.inf


def test_nearly_flat_shoulder_does_not_upset_the_mid_wall_area():
    # a shoulder that climbs 0.1 mm over 20 mm of radius: area at 0.5 mm wall within a few percent
    bottle = shapes.profile([(0, 0.035), (0.15, 0.035), (0.1501, 0.015), (0.18, 0.015)])
    assert bottle.area(5e-4) == pytest.approx(bottle.area(), rel=0.02)


def hull_of_tray(length, width, depth, top_length, top_width, e):
    """Mid-wall area of a tray from its planes moved outward by e, rim kept: a hull measured by trimesh."""
    trimesh = pytest.importorskip("trimesh")
    corners = []
    for z in (-e, depth):
        half = []
        for bottom, top in ((length, top_length), (width, top_width)):
            # the wall as a line x = bottom/2 + k z, moved square to itself
            k = (top - bottom) / 2 / depth
            half.append(bottom / 2 + k * z + e * math.hypot(1, k))
        corners += [(sx * half[0], sy * half[1], z) for sx in (-1, 1) for sy in (-1, 1)]
    rim = 4 * half[0] * half[1]
    scale = 1000.0
    hull = trimesh.convex.convex_hull([[scale * v for v in corner] for corner in corners])
    return hull.area / scale**2 - rim, hull.volume / scale**3


@pytest.mark.parametrize("dimensions", ["outside", "inside"])
def test_tray_with_unequal_drafts_is_the_hull_of_its_planes(dimensions):
    size = (0.15, 0.1, 0.05, 0.19, 0.11)
    t = 2e-3
    tray = shapes.tray(*size, dimensions=dimensions)
    assert tray.area() == pytest.approx(hull_of_tray(*size, 0.0)[0], rel=1e-9)
    assert tray.volume == pytest.approx(hull_of_tray(*size, 0.0)[1], rel=1e-9)
    e = {"outside": -t / 2, "inside": t / 2}[dimensions]
    assert tray.area(t) == pytest.approx(hull_of_tray(*size, e)[0], rel=1e-9)


def test_room_in_a_tray_follows_the_local_thickness():
    # base twice as thick takes its area times 2 t off the room, first order in t
    t = 1e-7
    tray = shapes.tray(0.15, 0.1, 0.05, base_ratio=2.0, wall_ratio=0.5)
    exact = (0.15 - t) * (0.1 - t) * (0.05 - 2 * t)
    assert tray.volume_slope == pytest.approx((exact - tray.volume) / t, rel=1e-4)

"""Thermoformed trays and cups: the volume of the sheet is kept, and the plain cases are closed forms.

The closed forms follow from dt / t = -(dC + dF) / F, done beside each test; that of the cone with a dome is
in textbooks on thermoforming (from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from mesh_builders import box, revolved
from scipy.integrate import solve_ivp
from test_meridian import faces_of, fine

from optimizer.errors import GeometryError
from optimizer.geometry.bands import bands_of
from optimizer.geometry.checks import each
from optimizer.geometry.drawdown import drawn

PI = math.pi
SHEET = 0.8e-3
TRAY = {"length": 0.19, "width": 0.14, "depth": 0.05, "top_length": 0.2, "top_width": 0.15}


def material(pieces, thickness):
    return float(
        (pieces.area * thickness + pieces.slope * thickness**2 + pieces.curvature * thickness**3).sum()
    )


def cup(radius, depth, dimensions="middle"):
    """A straight cup, flat base, open top."""
    points = [(0.0, radius), (depth, radius)]
    return bands_of("profile", {"points": points, "closed_bottom": True}, dimensions)


def cone(radius, depth):
    return bands_of("cone", {"diameter": 1e-9, "height": depth, "diameter_top": 2 * radius}, "middle")


BODIES = {
    "straight cup": cup(0.035, 0.05),
    "deep cup, outside": cup(0.035, 0.1, "outside"),
    "shallow dish": cup(0.06, 0.01),
    "cone": cone(0.03, 0.05),
    "tray": bands_of("tray", TRAY, "outside"),
    "tray, inside": bands_of("tray", {"length": 0.12, "width": 0.12, "depth": 0.08}, "inside"),
}
FORMS = [{}, {"free_sheet": "flat"}, {"corner_radius": 5e-3}, {"plug_assist": 0.4}, {"opening_area": 0.01}]


@pytest.mark.parametrize("given", FORMS, ids=str)
@pytest.mark.parametrize("name", BODIES)
def test_part_holds_the_volume_of_the_sheet_over_its_opening(name, given):
    opening = {
        "straight cup": PI * 0.035**2,
        "deep cup, outside": PI * 0.035**2,
        "shallow dish": PI * 0.06**2,
        "cone": PI * 0.03**2,
        "tray": 0.2 * 0.15,
        "tray, inside": 0.12**2,
    }[name]
    area = given.get("opening_area", opening)
    local = drawn(BODIES[name], sheet=SHEET, **given)
    # the section at a rim that is not round is that of a polygon
    rel = 1e-5 if "tray" not in name or "opening_area" in given else 2e-3
    assert material(BODIES[name], local.thickness) == pytest.approx(SHEET * area, rel=rel)
    assert (local.thickness > 0).all() and local.estimate


@pytest.mark.parametrize("given", FORMS[:3], ids=str)
@pytest.mark.parametrize("name", BODIES)
def test_wall_gets_thinner_all_the_way_down(name, given):
    pieces = BODIES[name]
    wall = np.flatnonzero(pieces.height > 0)
    order = wall[np.argsort(-pieces.height[wall], kind="stable")]
    down = drawn(pieces, sheet=SHEET, **given).thickness[order]
    assert (np.diff(down) <= 1e-9 * SHEET).all()
    assert down[0] > 1.3 * down[-1] or name == "shallow dish"


def test_flat_sheet_in_a_cylinder_thins_exponentially():
    # dt / t = -P ds / A = -4 dz / d: t = t0 exp(-4 z / d), and the base is what is left
    pieces = cup(0.035, 0.05)
    local = drawn(pieces, sheet=SHEET, free_sheet="flat")
    exact = SHEET * np.exp(-4 * (0.05 - pieces.height) / 0.07)
    assert local.thickness == pytest.approx(exact, rel=1e-5)


def test_flat_sheet_in_a_square_tray_thins_with_perimeter_over_area():
    # P / A = 4 / a for a square of side a
    pieces = bands_of("tray", {"length": 0.1, "width": 0.1, "depth": 0.04}, "middle")
    local = drawn(pieces, sheet=SHEET, free_sheet="flat")
    exact = SHEET * np.exp(-4 * (0.04 - pieces.height) / 0.1)
    assert local.thickness == pytest.approx(exact, rel=3e-3)


def test_flat_sheet_in_a_cone_thins_by_a_power_of_the_radius():
    # dA = 2 pi r dr, dC = 2 pi r ds, ds = -dr / sin a: t = t0 (r / R) ** (2 (1 - sin a) / sin a)
    pieces = cone(0.03, 0.05)
    sine = 0.03 / math.hypot(0.03, 0.05)
    local = drawn(pieces, sheet=SHEET, free_sheet="flat")
    exact = SHEET * (pieces.height / 0.05) ** (2 * (1 - sine) / sine)
    upper = pieces.height > 0.005
    assert local.thickness[upper] == pytest.approx(exact[upper], rel=1e-3)


@pytest.mark.parametrize("depth", [0.03, 0.05, 0.09])
def test_dome_in_a_cone_is_the_formula_of_the_textbooks(depth):
    # t / t0 = (1 + cos b) / 2 * (1 - s sin b / h) ** (1 / cos b - 1), s along the wall from the rim
    radius = 0.04
    pieces = cone(radius, depth)
    b = math.atan2(depth, radius)
    s = (depth - pieces.height) / math.sin(b)
    left = 1 - s * math.sin(b) / depth
    exact = SHEET * (1 + math.cos(b)) / 2 * left ** (1 / math.cos(b) - 1)
    # it keeps the volume of the sheet, so it may serve as a check
    assert (pieces.area * exact).sum() == pytest.approx(SHEET * PI * radius**2, rel=1e-4)
    upper = pieces.height > 0.1 * depth
    assert drawn(pieces, sheet=SHEET).thickness[upper] == pytest.approx(exact[upper], rel=2e-3)


def test_dome_in_a_deep_cylinder_thins_exponentially_from_half_the_sheet():
    # half a sphere has twice the area of the section: t0 / 2 at the rim, dt / t = -2 pi r dz / (2 pi r^2)
    pieces = cup(0.035, 0.12)
    local = drawn(pieces, sheet=SHEET)
    upper = pieces.height > 0.036
    exact = SHEET / 2 * np.exp(-2 * (0.12 - pieces.height) / 0.07)
    assert local.thickness[upper] == pytest.approx(exact[upper], rel=1e-3)


def test_corner_of_a_deep_cup_is_the_balance_integrated_by_another_integrator():
    # Pappus: quarter turn of radius T from base radius R - T to the wall: F = 2 pi T ((R - T) pi/2 + T);
    # covered: wall 2 pi R dT and base 2 pi (R - T) dT. Starts as half a sphere at t0/2 exp(-(H - R) 2 / d).
    radius, depth = 0.035, 0.12

    def rate(size, log_t):
        free = 2 * PI * size * ((radius - size) * PI / 2 + size)
        growth = 2 * PI * ((radius - size) * PI / 2 + size) + 2 * PI * size * (1 - PI / 2)
        return [(2 * PI * radius + 2 * PI * (radius - size) - growth) / free]

    start = math.log(SHEET / 2) - 2 * (depth - radius) / (2 * radius)
    found = solve_ivp(rate, (radius, 0.03 * radius), [start], rtol=1e-10, atol=1e-12, dense_output=True)
    pieces = cup(radius, depth)
    local = drawn(pieces, sheet=SHEET)
    for size in (0.8 * radius, 0.4 * radius, 0.15 * radius, 0.05 * radius):
        exact = math.exp(found.sol(size)[0])
        wall = pieces.height > 0
        assert np.interp(size, pieces.height[wall], local.thickness[wall]) == pytest.approx(exact, rel=0.01)
        base = ~wall
        across = np.interp(radius - size, pieces.radius[base], local.thickness[base])
        assert across == pytest.approx(exact, rel=0.01)


def test_sharp_corner_thins_with_the_known_power_of_its_radius():
    # plane corner of 90 degrees: dt / t = (2 - pi/2) / (pi/2) dT / T, t ~ T ** (4 / pi - 1); a very wide cup
    pieces = cup(1.0, 0.05)
    local = drawn(pieces, sheet=SHEET)
    wall = pieces.height > 0
    thin, thick = np.interp([0.005, 0.04], pieces.height[wall], local.thickness[wall])
    assert math.log(thick / thin) / math.log(8) == pytest.approx(4 / PI - 1, rel=0.02)


def test_sheet_over_a_dish_that_is_itself_a_cap_has_one_thickness():
    # a spherical cap is formed freely: t = t0 * opening / cap = t0 pi a^2 / (pi (a^2 + h^2))
    a, h = 0.05, 0.02
    radius = (a * a + h * h) / (2 * h)
    turn = np.linspace(0.0, math.asin(a / radius), 300)
    points = [(float(radius * (1 - math.cos(x))), float(radius * math.sin(x))) for x in turn]
    pieces = bands_of("profile", {"points": points}, "middle")
    local = drawn(pieces, sheet=SHEET)
    assert local.thickness == pytest.approx(np.full(len(pieces), SHEET * a * a / (a * a + h * h)), rel=2e-3)


def test_dome_leaves_more_in_the_base_than_a_flat_sheet_and_less_in_the_wall():
    pieces = BODIES["tray"]
    dome, flat = (drawn(pieces, sheet=SHEET, free_sheet=form).thickness for form in ("dome", "flat"))
    base, rim = pieces.height == 0, pieces.height > 0.048
    assert (pieces.area * dome)[base].sum() > 1.2 * (pieces.area * flat)[base].sum()
    assert dome[rim].mean() < flat[rim].mean()


def test_lower_edge_of_a_tray_is_its_thinnest_place_and_a_corner_radius_mends_it():
    pieces = BODIES["tray"]
    sharp, rounded = (drawn(pieces, sheet=SHEET, corner_radius=r).thickness for r in (0.0, 8e-3))
    edge = (pieces.height > 0) & (pieces.height < 1e-3)
    assert sharp.min() == sharp[edge].min()
    assert rounded[edge].min() > 1.2 * sharp[edge].min()


def test_plug_assist_brings_the_wall_toward_its_mean():
    pieces = BODIES["straight cup"]
    mean = SHEET * PI * 0.035**2 / pieces.area.sum()
    even = drawn(pieces, sheet=SHEET, plug_assist=1.0).thickness
    assert even == pytest.approx(np.full(len(pieces), mean), rel=1e-9)
    without, half = (drawn(pieces, sheet=SHEET, plug_assist=share).thickness for share in (0.0, 0.5))
    assert half == pytest.approx((without + mean) / 2, rel=1e-9)


def test_flange_keeps_the_thickness_of_the_sheet():
    line = [(0.0, 0.0), (0.03, 0.0), (0.04, 0.04), (0.05, 0.04)]
    faces = faces_of(revolved(fine([(z, r) for r, z in line], 1e-3), 120))
    local = drawn(faces, sheet=SHEET)
    flange = faces.radius > 0.0401
    assert (local.thickness[flange] == SHEET).all()
    formed = faces.take(~flange)
    assert material(formed, local.thickness[~flange]) == pytest.approx(SHEET * PI * 0.04**2, rel=5e-3)


@pytest.mark.parametrize("form", ["dome", "flat"])
def test_mesh_and_bands_of_one_cup_agree(form):
    points = [(0.0, 0.03), (0.05, 0.04)]
    bands = bands_of("profile", {"points": points, "closed_bottom": True}, "middle")
    faces = faces_of(revolved(fine(points, 5e-4, True), 240))
    one, other = (drawn(p, sheet=SHEET, free_sheet=form).thickness for p in (bands, faces))
    assert (faces.area / other).sum() == pytest.approx((bands.area / one).sum(), rel=0.02)
    wall = (faces.height > 5e-3) & (faces.height < 0.045)
    assert other[wall] == pytest.approx(np.interp(faces.height[wall], *_upward(bands, one)), rel=0.02)


def _upward(pieces, thickness):
    wall = np.flatnonzero(pieces.height > 0)
    return pieces.height[wall], thickness[wall]


def test_notes_say_draw_ratio_mean_and_thinnest_place():
    # straight cup, 35 mm radius, 50 mm deep: (R^2 + 2 R H) / R^2 = 1 + 100 / 35
    notes = " ".join(drawn(BODIES["straight cup"], sheet=SHEET).notes)
    assert "areal draw ratio 3.86" in notes
    assert "mean thickness 207 um" in notes
    assert "thinnest" in notes and "two walls and the base meet" in notes


def test_hard_draws_are_warned_of_and_plain_ones_are_not():
    assert drawn(BODIES["tray"], sheet=SHEET, corner_radius=5e-3).warnings == ()
    deep = drawn(cup(0.03, 0.1), sheet=SHEET).warnings
    assert any("depth 1.7 times" in w for w in deep) and any("of the sheet" in w for w in deep)
    assert any("opening_area" in w for w in drawn(BODIES["cone"], sheet=SHEET, opening_area=0.05).warnings)


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"sheet": -1e-3}, "sheet", "sheet is -0.001 m"),
        ({"opening_area": 0.0}, "opening_area", "opening_area is 0 m2"),
        ({"free_sheet": "bubble"}, "free_sheet", "free_sheet is 'bubble'"),
        ({"corner_radius": -1e-3}, "corner_radius", "corner_radius is -0.001 m"),
        ({"plug_assist": 1.5}, "plug_assist", "plug_assist is 1.5"),
    ],
)
def test_bad_parameters_are_refused_with_the_key_at_fault(given, field, words):
    with pytest.raises(GeometryError, match=words) as caught:
        drawn(BODIES["tray"], **{"sheet": SHEET, **given})
    assert caught.value.field == field


def test_all_faults_come_at_once():
    with pytest.raises(GeometryError) as caught:
        drawn(BODIES["tray"], sheet=0.0, free_sheet="x", plug_assist=-1.0)
    assert [e.field for e in each(caught.value)] == ["sheet", "plug_assist", "free_sheet"]


#: Of 200 by 30 mm and 50 mm high: its axis is near its long sides.
LONG_BOX = faces_of(box((-0.1, -0.015, 0), (0.1, 0.015, 0.05), 20))


def profiled(*points, **ends):
    return bands_of("profile", {"points": points, **ends}, "middle")


@pytest.mark.parametrize(
    "part",
    [
        bands_of("cylinder", {"diameter": 0.06, "height": 0.04}, "middle"),
        bands_of("cone", {"diameter": 0.04, "height": 0.04, "diameter_top": 0.06}, "outside"),
        profiled((0.0, 0.03), (0.05, 0.03)),
        faces_of(revolved(fine([(0.0, 0.03), (0.05, 0.04)], 1e-3), 90)),
        LONG_BOX.take(np.ptp(LONG_BOX.span, axis=1) > 1e-9),
    ],
    ids=["cylinder", "cone", "profile", "mesh", "long box"],
)
def test_a_body_without_a_base_is_refused(part):
    """The material of the base would end up in the wall."""
    for form in ("dome", "flat"):
        with pytest.raises(GeometryError, match="no base") as caught:
            drawn(part, sheet=SHEET, free_sheet=form)
        assert caught.value.field == "draw-down" and "bottom: true" in caught.value.hint


@pytest.mark.parametrize(
    "line",
    [
        [(0.0, 0.03), (0.05, 0.04)],
        [(0.006, 0.0), (0.0, 0.02), (0.0, 0.03), (0.05, 0.04)],  # a base that is pushed in
        [(0.0, 0.0), (0.002, 0.03), (0.05, 0.04)],  # and out
        [(0.0, 0.003), (0.0, 0.03), (0.05, 0.04)],  # with a small hole
    ],
)
def test_whatever_the_base_looks_like_it_is_one(line):
    flat = line[0] == (0.0, 0.03)
    faces = faces_of(revolved(fine(line, 1e-3, flat), 90))
    assert drawn(faces, sheet=SHEET).estimate


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (BODIES["tray"].take(BODIES["tray"].height == 0), "the part is flat"),
        (profiled((0.0, 0.04), (0.05, 0.03), closed_bottom=True), "wider below its rim"),
        (bands_of("hemisphere", {"diameter": 0.1}, "outside"), "wider below its rim"),
        (profiled((0.0, 0.03), (0.05, 0.03), closed_bottom=True, closed_top=True), "closed at its upper end"),
        (bands_of("box", {"length": 0.1, "width": 0.1, "height": 0.1}, "outside"), "closed at its upper end"),
    ],
)
def test_what_no_sheet_can_be_drawn_into_is_refused(part, words):
    with pytest.raises(GeometryError, match=words) as caught:
        drawn(part, sheet=SHEET)
    assert caught.value.field == "draw-down"


def test_figures_have_no_powers_of_ten_and_a_space_before_the_unit():
    local = drawn(cup(0.3, 0.5), sheet=8e-3, plug_assist=0.4)
    said = " ".join((*local.notes, *local.warnings, *drawn(cup(0.03, 0.1), sheet=SHEET).warnings))
    # (R^2 + 2 R H) / R^2 = 1 + 1000 / 300
    assert "over 2827 cm2 of sheet" in said and "mean thickness 1846 um" in said
    assert "plug assist 40 %" in said and " % of the sheet" in said and "e+0" not in said


def test_a_thousand_times_too_much_sheet_is_refused():
    with pytest.raises(GeometryError, match="more than the wall of this body can hold") as caught:
        drawn(cup(0.03, 0.05, "outside"), sheet=SHEET, opening_area=3.0)
    assert caught.value.field == "sheet"


def test_corner_that_a_mesh_has_of_its_own_is_filled_at_once():
    # cup of 40 mm radius and 50 mm depth with a 10 mm corner: the arc that is left has one thickness
    turn = np.linspace(0, PI / 2, 30)
    corner = [(float(0.01 - 0.01 * math.cos(a)), float(0.03 + 0.01 * math.sin(a))) for a in turn]
    line = fine([(0.0, 0.0), *corner, (0.05, 0.04)], 5e-4)
    faces = faces_of(revolved(line, 200))
    thickness = drawn(faces, sheet=SHEET).thickness
    # Pappus: arc of 10 mm about its centroid 2 r / pi beyond the 30 mm
    free = 2 * PI * (0.03 + 0.02 / PI) * PI / 2 * 0.01
    rest = thickness < 1.001 * thickness.min()
    assert faces.area[rest].sum() == pytest.approx(free, rel=0.1)
    assert thickness.min() > 0.2 * SHEET

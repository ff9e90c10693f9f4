"""Blown bottles: the volume of preform or parison is kept, and the plain cases are those done by hand.

The closed forms are volume balances of an incompressible material, done beside each test.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from mesh_builders import box, revolved
from test_meridian import BOTTLE, faces_of, fine

from optimizer.errors import GeometryError
from optimizer.geometry.bands import bands_of
from optimizer.geometry.checks import each
from optimizer.geometry.stretch import stretched

PI = math.pi
PREFORM = {"thickness": 3.6e-3, "diameter": 22e-3, "length": 85e-3}


def bottle(dimensions="outside", **more):
    return bands_of("profile", {"points": BOTTLE, "closed_bottom": True, **more}, dimensions)


def material(pieces, thickness):
    """Mid-wall area times thickness."""
    return float(
        (pieces.area * thickness + pieces.slope * thickness**2 + pieces.curvature * thickness**3).sum()
    )


def preform_volume(thickness, diameter, length):
    """Outer less inner volume of a tube with a round end, both spheres about one centre."""
    outer, inner = diameter / 2, diameter / 2 - thickness
    tube = length - outer
    return PI * tube * (outer**2 - inner**2) + 2 / 3 * PI * (outer**3 - inner**3)


@pytest.mark.parametrize("dimensions", ["outside", "middle", "inside"])
def test_bottle_holds_the_volume_of_its_preform(dimensions):
    pieces = bottle(dimensions)
    local = stretched(pieces, **PREFORM)
    assert material(pieces, local.thickness) == pytest.approx(preform_volume(**PREFORM), rel=1e-9)
    assert local.estimate


@pytest.mark.parametrize("wall", [2.2e-3, [(0.0, 2.4e-3), (0.1, 1.6e-3), (0.22, 2.0e-3)]])
def test_bottle_holds_the_volume_of_its_parison(wall):
    pieces = bottle()
    local = stretched(pieces, thickness=wall, diameter=22e-3)
    # annulus pi t (D - t), summed along the parison
    height = np.linspace(0, 0.22, 200_001)
    t = np.interp(height, *zip(*wall, strict=True)) if isinstance(wall, list) else np.full(200_001, wall)
    ring = PI * t * (22e-3 - t)
    assert material(pieces, local.thickness) == pytest.approx(np.trapezoid(ring, height), rel=1e-6)


def test_mass_as_weighed_sets_the_volume():
    pieces = bottle()
    local = stretched(pieces, **PREFORM, mass=24e-3, density=1370.0)
    assert material(pieces, local.thickness) * 1370.0 == pytest.approx(24e-3, rel=1e-9)
    nominal = stretched(pieces, **PREFORM)
    # the same pattern: only the Steiner terms bend it
    ratio = local.thickness / nominal.thickness
    assert ratio == pytest.approx(np.full(len(pieces), ratio[0]), rel=1e-12)


def test_preform_blown_to_a_cylinder_thins_by_both_stretch_ratios():
    # Body only: 120 mm long, 60 mm mid-wall diameter, from a preform of 20 mm and 60 mm. Mid-wall area of a
    # tube with a half sphere for an end is pi d L (Archimedes), L to the middle of the end's wall.
    t0, d0, length = 3e-3, 23e-3, 61.5e-3
    pieces = bands_of("cylinder", {"diameter": 0.06, "height": 0.12}, "middle")
    local = stretched(pieces, thickness=t0, diameter=d0, length=length)
    assert local.thickness == pytest.approx(np.full(len(pieces), t0 / (2.0 * 3.0)), rel=3e-3)
    assert any("hoop 3.00" in note and "axial 1.95" in note for note in local.notes)


def test_parison_blown_to_a_cylinder_thins_by_the_diameter_alone():
    # t d0 mean = t0 d0: 2 mm at 28 mm mid-wall diameter to 70 mm: 0.8 mm, at any height
    pieces = bands_of("cylinder", {"diameter": 0.07, "height": 0.2}, "middle")
    local = stretched(pieces, thickness=2e-3, diameter=30e-3)
    assert local.thickness == pytest.approx(np.full(len(pieces), 0.8e-3), rel=1e-6)
    assert any("blow-up ratio 2.50" in note for note in local.notes)


def test_parison_blown_to_a_cone_thins_by_radius_and_slope():
    # t 2 pi r ds = t0 pi d0 dz: t = t0 d0 / (2 r) * cos(slope); radii 20 to 40 mm over 100 mm
    pieces = bands_of("cone", {"diameter": 0.04, "height": 0.1, "diameter_top": 0.08}, "middle")
    local = stretched(pieces, thickness=2e-3, diameter=30e-3)
    exact = 2e-3 * 14e-3 / (0.02 + 0.2 * pieces.height) / math.hypot(1, 0.2)
    assert local.thickness == pytest.approx(exact, rel=2e-3)


def test_neck_narrower_than_the_parison_has_its_thickness_and_the_rest_is_flash():
    # parison of 28 mm mid-wall diameter; 60 mm of body with 35 mm radius, 40 mm of neck with 7 mm
    points = [(0.0, 0.035), (0.06, 0.035), (0.0601, 0.007), (0.1, 0.007)]
    pieces = bands_of("profile", {"points": points}, "middle")
    local = stretched(pieces, thickness=2e-3, diameter=30e-3)
    neck = pieces.height > 0.095
    assert local.thickness[neck] == pytest.approx(np.full(neck.sum(), 2e-3), rel=1e-9)
    assert any("pinched off as flash" in note for note in local.notes)
    weighed = stretched(pieces, thickness=2e-3, diameter=30e-3, mass=8e-3, density=950.0)
    assert material(pieces, weighed.thickness) == pytest.approx(8e-3 / 950.0, rel=1e-9)


def test_programmed_parison_shows_in_the_wall_height_by_height():
    pieces = bands_of("cylinder", {"diameter": 0.07, "height": 0.2}, "middle")
    local = stretched(pieces, thickness=[(0.0, 3e-3), (0.2, 1e-3)], diameter=30e-3)
    t0 = np.interp(pieces.height, [0.0, 0.2], [3e-3, 1e-3])
    assert local.thickness == pytest.approx(t0 * (30e-3 - t0) / 0.07, rel=5e-3)


def test_base_of_a_parison_bottle_is_fed_by_the_wall_beside_it():
    # A flat base of R = 35 mm shares with 35 mm of wall: volume pi d0 t0 R on both. The hoop ratio is 1
    # within the parison's 14 mm, so the base counts as 21 + 7 mm: t = 0.8 mm * 35 / (28 + 35); beyond, the
    # plain ratio.
    pieces = bands_of("profile", {"points": [(0.0, 0.035), (0.2, 0.035)], "closed_bottom": True}, "middle")
    local = stretched(pieces, thickness=2e-3, diameter=30e-3)
    low, high = (pieces.height > 1e-3) & (pieces.height < 0.033), pieces.height > 0.037
    assert local.thickness[high] == pytest.approx(np.full(high.sum(), 0.8e-3), rel=1e-3)
    assert local.thickness[low] == pytest.approx(np.full(low.sum(), 0.8e-3 * 35 / 63), rel=0.02)
    base = pieces.height == 0
    assert (np.diff(local.thickness[base]) <= 1e-12).all(), "the base is thinnest at its edge"
    assert local.thickness[base].max() < 2e-3


def test_what_is_above_the_support_ring_keeps_the_thickness_of_the_preform():
    pieces = bottle()
    local = stretched(pieces, **PREFORM, support_ring=0.2)
    blown = pieces.height < 0.2
    assert (local.thickness[~blown] == 3.6e-3).all()
    assert material(pieces.take(blown), local.thickness[blown]) == pytest.approx(
        preform_volume(**PREFORM), rel=1e-9
    )
    assert any("above the support ring" in note for note in local.notes)


@pytest.mark.parametrize("kind", ["preform", "parison"])
def test_mesh_and_bands_of_one_bottle_agree(kind):
    given = PREFORM if kind == "preform" else {"thickness": 2e-3, "diameter": 30e-3}
    bands = bottle("middle")
    faces = faces_of(revolved(fine(BOTTLE, 1e-3, True), 180))
    one, other = stretched(bands, **given), stretched(faces, **given)
    assert (faces.area / other.thickness).sum() == pytest.approx((bands.area / one.thickness).sum(), rel=0.01)
    wall = (faces.height > 0.06) & (faces.height < 0.14)
    expected = np.interp(faces.height[wall], bands.height, one.thickness)
    assert other.thickness[wall] == pytest.approx(expected, rel=5e-3)


def test_corners_of_a_square_jar_are_thinner_than_its_sides():
    # common practice, no source: the corner is farther from the parison and stretched more
    faces = faces_of(box((-0.03, -0.03, 0), (0.03, 0.03, 0.12), steps=30))
    local = stretched(faces, thickness=2e-3, diameter=30e-3)
    wall = (faces.height > 0.05) & (faces.height < 0.07)
    near = local.thickness[wall & (faces.radius < 0.031)].mean()
    far = local.thickness[wall & (faces.radius > 0.041)].mean()
    # at the same height the hoop ratio goes with the distance from the axis
    assert near / far == pytest.approx(math.sqrt(2), rel=0.04)
    assert material(faces, local.thickness) == pytest.approx(PI * 2e-3 * 28e-3 * 0.12, rel=1e-9)


def test_unusual_stretch_is_warned_of_and_usual_stretch_is_not():
    pieces = bottle()
    assert stretched(pieces, **PREFORM, support_ring=0.2).warnings == ()
    far = stretched(pieces, thickness=3e-3, diameter=14e-3, length=60e-3)
    assert any("planar stretch ratio" in w and "common practice" in w for w in far.warnings)
    wide = stretched(pieces, thickness=1e-3, diameter=15e-3)
    assert any("blow-up ratio" in w for w in wide.warnings)
    long = stretched(pieces, thickness=2e-3, diameter=22e-3, length=0.5)
    assert any("longer than the meridian" in w for w in long.warnings)


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"diameter": -0.02}, "diameter", "diameter is -0.02 m"),
        ({"thickness": 0.0}, "thickness", "thickness is 0 m"),
        ({"thickness": 12e-3}, "thickness", "leave no room"),
        ({"length": 5e-3}, "length", "less than the round end"),
        ({"mass": 0.02}, "density", "mass is given without density"),
        ({"density": 1370.0}, "mass", "density is given without mass"),
        ({"mass": -1.0, "density": 1370.0}, "mass", "mass is -1"),
        ({"thickness": [(0.0, 2e-3), (0.1, 1e-3)]}, "thickness", "rows of thickness are given for a preform"),
        ({"thickness": [(0.0, 2e-3)], "length": None}, "thickness", "not a table"),
        ({"thickness": [(0.1, 2e-3), (0.0, 1e-3)], "length": None}, "thickness", "do not increase"),
        ({"thickness": [(0.0, 2e-3), (0.1, -1e-3)], "length": None}, "thickness", "not above zero"),
        ({"mass": 50.0, "density": 1.0}, "thickness", "more than the wall of this body can hold"),
    ],
)
def test_bad_parameters_are_refused_with_the_key_at_fault(given, field, words):
    with pytest.raises(GeometryError, match=words) as caught:
        stretched(bottle(), **{**PREFORM, **given})
    assert caught.value.field == field


def test_all_faults_come_at_once():
    with pytest.raises(GeometryError) as caught:
        stretched(bottle(), thickness=-1e-3, diameter=0.0, length=0.1, mass=0.02)
    assert {e.field for e in each(caught.value)} == {"thickness", "diameter", "density"}


def test_a_body_without_a_base_is_warned_of():
    """A parison may be open at its lower end; a bottle is not."""
    wall = {"thickness": 2.2e-3, "diameter": 22e-3}
    for given in (PREFORM, wall):
        for ends, told in (({}, True), ({"closed_bottom": True}, False)):
            pieces = bands_of("profile", {"points": BOTTLE, **ends}, "outside")
            assert any("no base" in w for w in stretched(pieces, **given).warnings) == told
            faces = faces_of(revolved(fine(BOTTLE, 1e-3, bool(ends)), 90))
            assert any("no base" in w for w in stretched(faces, **given).warnings) == told


def test_the_mean_is_that_of_the_middle_of_the_wall_and_says_where_a_ring_ends_it():
    tube = bands_of("cylinder", {"diameter": 0.06, "height": 0.15}, "outside")
    (note, *_) = stretched(tube, **PREFORM).notes
    # one thickness all over: mean and thinnest are the same
    assert re.search(r"^[\d.]+ cm3 of material, mean thickness (\d+ um), thinnest \1 at", note)
    (note, *_) = stretched(tube, **PREFORM, support_ring=0.12).notes
    assert note.startswith("below the support ring at 120 mm: ")


def test_a_support_ring_below_the_part_is_refused():
    with pytest.raises(GeometryError, match="nothing of the part lies below"):
        stretched(bottle().take(bottle().height > 0.1), **PREFORM, support_ring=0.05)

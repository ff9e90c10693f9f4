"""Fields of wall thickness: transmission is the sum over pieces of area over thickness, and mass is kept."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import GeometryError
from optimizer.geometry.fields import field_surface
from optimizer.geometry.pieces import Array, LocalThickness, Pieces
from optimizer.geometry.surface import Surface

NOMINAL = 400e-6


def pieces_of(area: Array, height: Array | None = None, slope: float = 0.0, curvature: float = 0.0) -> Pieces:
    n = len(area)
    high = np.linspace(0.0, 0.2, n) if height is None else height
    return Pieces(area, slope * area, curvature * area, high, np.full(n, 0.03), np.zeros(n))


def surface(pieces: Pieces, thickness: Array) -> Surface:
    return field_surface(pieces, LocalThickness(thickness, "a test"), NOMINAL, volume=None)


def conductance(body: Surface, nominal: float) -> float:
    """Per permeability: sum of area over local thickness [m]."""
    return sum(p.area_at(nominal) / (p.ratio * nominal) for p in body.patches)


def test_conductance_and_mass_are_the_sums_over_the_pieces_at_any_nominal_thickness() -> None:
    rng = np.random.default_rng(5)
    area = rng.uniform(0.5, 2.0, 4000) * 1e-5
    pieces = pieces_of(area, slope=-12.0, curvature=40.0)
    thickness = NOMINAL * np.exp(0.5 * rng.standard_normal(4000))
    body = surface(pieces, thickness)
    for change in (0.5, 1.0, 1.7):
        t = change * thickness
        middle = area * (1 - 12.0 * t + 40.0 * t * t)
        assert conductance(body, change * NOMINAL) == pytest.approx(float((middle / t).sum()), rel=1e-10)
        mass = sum(p.area_at(change * NOMINAL) * p.ratio * change * NOMINAL for p in body.patches)
        assert mass == pytest.approx(float((middle * t).sum()), rel=1e-10)


def test_a_graded_sphere_agrees_with_its_closed_integral() -> None:
    """Thickness a + b cos(polar angle) on a sphere of radius R: the integral of dA / t over the sphere is
    2 pi R**2 / b * ln((a + b) / (a - b)), elementary calculus."""
    radius, a, b = 0.04, 400e-6, 250e-6
    errors = []
    for n in (50, 100, 200):
        edge = np.linspace(0.0, math.pi, n + 1)
        middle = 0.5 * (edge[1:] + edge[:-1])
        area = 2 * math.pi * radius**2 * np.sin(middle) * np.diff(edge)
        found = conductance(surface(pieces_of(area), a + b * np.cos(middle)), NOMINAL)
        exact = 2 * math.pi * radius**2 / b * math.log((a + b) / (a - b))
        errors.append(abs(found / exact - 1))
    assert errors[-1] < 1e-4
    assert math.log2(errors[1] / errors[2]) == pytest.approx(2.0, abs=0.05)


def test_the_answer_says_how_much_the_mean_thickness_would_have_flattered() -> None:
    """Half of the area at half the mean and half at one and a half: 1/0.5 + 1/1.5 = 8/3 against 2."""
    thickness = np.repeat([0.5 * NOMINAL, 1.5 * NOMINAL], 100)
    found = surface(pieces_of(np.ones(200) * 1e-4), thickness).unevenness
    assert found is not None
    assert found.mean == pytest.approx(1.0)
    assert found.flattery == pytest.approx(1 - 2 / (8 / 3))
    assert (found.least, found.most, found.p05, found.p95) == pytest.approx((0.5, 1.5, 0.5, 1.5))
    # the thinnest tenth of the area at twice the permeance: 0.1 * 2 of (0.5 * 2 + 0.5 / 1.5)
    assert found.worst_share == pytest.approx(0.2 / (4 / 3))
    assert found.spread == pytest.approx(0.5)


def test_the_worst_tenth_is_where_the_wall_is_thin() -> None:
    height = np.linspace(0.0, 0.2, 2001)
    thickness = np.where((height > 0.05) & (height < 0.08), 200e-6, 400e-6)
    found = surface(pieces_of(np.ones(2001), height), thickness).unevenness
    assert found is not None
    low, high = (
        float(x) for x in found.worst_place.split("heights of ")[1].removesuffix(" mm").split(" to ")
    )
    assert 50 <= low < 56
    assert 65 < high <= 80


def test_an_even_wall_has_nothing_to_say() -> None:
    body = surface(pieces_of(np.ones(50)), np.full(50, 300e-6))
    assert body.unevenness is None
    assert [p.ratio for p in body.patches] == [pytest.approx(0.75)]


def test_pieces_left_out_on_purpose_do_not_count_and_are_not_missed() -> None:
    thickness = np.full(100, 300e-6)
    thickness[:40] = np.nan
    counted = np.arange(100) >= 40
    body = field_surface(
        pieces_of(np.ones(100)), LocalThickness(thickness, "a test", counted=counted), NOMINAL, volume=None
    )
    assert body.area() == pytest.approx(60.0)
    assert body.warnings == ()


def test_a_few_pieces_without_a_thickness_are_as_thick_as_the_rest_with_a_warning() -> None:
    thickness = np.full(1000, 300e-6)
    thickness[:5] = np.nan
    body = surface(pieces_of(np.ones(1000)), thickness)
    assert body.area() == pytest.approx(1000.0)
    assert "0.5 % of the area" in body.warnings[0]


def test_more_than_one_percent_without_a_thickness_is_refused() -> None:
    thickness = np.full(1000, 300e-6)
    thickness[:11] = np.nan
    with pytest.raises(GeometryError, match=r"98.9 % of the area") as caught:
        surface(pieces_of(np.ones(1000)), thickness)
    assert "99 %" in str(caught.value.hint)


@pytest.mark.parametrize("bad", [0.0, -1e-6])
def test_a_thickness_that_is_not_above_zero_is_refused(bad: float) -> None:
    with pytest.raises(GeometryError, match="not above zero"):
        surface(pieces_of(np.ones(3)), np.array([1e-4, bad, 1e-4]))


@pytest.mark.parametrize(("thickness", "told"), [(0.5e-3, False), (1.0e-3, False), (1.9e-3, True)])
def test_a_wall_thicker_than_its_curvature_bears_is_warned_of(thickness: float, told: bool) -> None:
    """A straw of 2 mm radius outside: the middle of the wall has 1 - t / (2 R) of its area (geometry)."""
    area, height = np.full(500, 1e-6), np.linspace(0.0, 0.1, 500)
    straw = replace(pieces_of(area, height, slope=-1 / (2 * 2e-3)), radius=np.full(500, 2e-3))
    warnings = surface(straw, np.where(height < 0.09, 0.9, 1.0) * thickness).warnings
    assert bool(warnings) == told
    if told:  # 1 - 1.9 / 4 = 52.5 %; where it is 1.71 mm 57 %
        assert warnings[0].startswith("100 % of the area, at heights of 0 to 100 mm, is bent more than")
        assert "up to 1.9 mm" in warnings[0] and "units" in warnings[0]


def test_a_short_neck_with_a_wall_thicker_than_itself_is_warned_of() -> None:
    """20 mm on the last 10 mm of a neck of 14 mm radius: a slip in one row of a table."""
    height = np.linspace(0.0, 0.18, 1801)
    radius = np.where(height < 0.16, 0.03, 0.014)
    area = 2 * math.pi * radius * 1e-4
    neck = replace(pieces_of(area, height), slope=-area / (2 * radius), radius=radius)
    (warning,) = surface(neck, np.interp(height, [0.16, 0.17], [1e-3, 20e-3])).warnings
    assert " to 180 mm, is bent" in warning and "up to 20 mm" in warning


def test_a_sharp_edge_of_a_fine_mesh_is_no_wall_too_thick() -> None:
    """At an edge all of the bend lies on the few faces beside it."""
    area, height = np.full(1000, 1e-6), np.linspace(0.0, 0.1, 1000)
    pieces = replace(pieces_of(area, height), slope=np.where(np.abs(height - 0.05) < 2e-4, -2e-3, 0.0))
    thickness = np.linspace(0.9e-3, 1.1e-3, 1000)
    beside = pieces.area + pieces.slope * thickness < 0
    assert beside.any() and surface(pieces, thickness).warnings == ()


def test_the_room_inside_shrinks_by_what_the_wall_takes() -> None:
    """Dimensions outside: the inner face moves inward by the local thickness, so dV = -sum(A t)."""
    area = np.ones(300) * 1e-4
    thickness = NOMINAL * np.linspace(0.5, 2.0, 300)
    body = field_surface(
        pieces_of(area),
        LocalThickness(thickness, "a test"),
        NOMINAL,
        volume=1e-3,
        volume_rate=-float(area.sum()),
    )
    room = body.interior_volume(NOMINAL)
    assert room == pytest.approx(1e-3 - float((area * thickness).sum()), rel=1e-9)


def test_an_estimate_says_so_even_where_it_is_even() -> None:
    local = LocalThickness(np.full(10, 300e-6), "a model", estimate=True)
    found = field_surface(pieces_of(np.ones(10)), local, NOMINAL, volume=None).unevenness
    assert found is not None and found.estimate
    assert replace(found, estimate=False) != found

"""Fine bands of the simple shapes: they add up to the shape and integrate a wall that changes with height."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.errors import GeometryError
from optimizer.geometry import shapes
from optimizer.geometry.bands import bands_of

PI = math.pi
BOTTLE = [(0.01, 0.030), (0.014, 0.0325), (0.15, 0.0325), (0.19, 0.013), (0.22, 0.0125)]
CASES = [
    ("cylinder", {"diameter": 0.07, "height": 0.2}),
    ("tube", {"diameter": 0.02, "length": 0.3}),
    ("cone", {"diameter": 0.07, "height": 0.1}),
    ("cone", {"diameter": 0.03, "height": 0.1, "diameter_top": 0.07}),
    ("sphere", {"diameter": 0.1}),
    ("hemisphere", {"diameter": 0.1}),
    ("profile", {"points": BOTTLE}),
    ("profile", {"points": BOTTLE, "closed_bottom": True, "closed_top": True}),
    ("profile", {"points": [(0.0, 0.0), (0.02, 0.03), (0.05, 0.0)]}),
    ("tray", {"length": 0.19, "width": 0.14, "depth": 0.05}),
    ("tray", {"length": 0.15, "width": 0.1, "depth": 0.05, "top_length": 0.19, "top_width": 0.11}),
    ("box", {"length": 0.1, "width": 0.08, "height": 0.06}),
]


def integral(pieces, function):
    return float((pieces.area * function(pieces.height)).sum())


@pytest.mark.parametrize("dimensions", ["outside", "middle", "inside"])
@pytest.mark.parametrize(("shape", "sizes"), CASES)
def test_bands_add_up_to_the_surface_of_the_shape(shape, sizes, dimensions):
    pieces = bands_of(shape, sizes, dimensions)
    surface = shapes.SHAPES[shape].function(**sizes, dimensions=dimensions)
    for t in (0.0, 0.4e-3, 2e-3):
        bands = pieces.area.sum() + pieces.slope.sum() * t + pieces.curvature.sum() * t * t
        assert bands == pytest.approx(surface.area(t), rel=1e-12)
    assert (pieces.area > 0).all()


@pytest.mark.parametrize(("shape", "sizes"), CASES)
def test_bands_span_the_height_of_the_shape_from_zero(shape, sizes):
    pieces = bands_of(shape, sizes, "outside")
    tall = {"tube": 0.3, "sphere": 0.1, "hemisphere": 0.05}.get(shape) or sizes.get(
        "height", sizes.get("depth")
    )
    if shape == "profile":
        tall = sizes["points"][-1][0] - sizes["points"][0][0]
    assert pieces.span[:, 0].min() == pytest.approx(0.0, abs=1e-15)
    assert pieces.span[:, 1].max() == pytest.approx(tall, rel=1e-12)
    inside = (pieces.span[:, 0] <= pieces.height + 1e-15) & (pieces.height <= pieces.span[:, 1] + 1e-15)
    assert inside.all()


# Closed integrals of a + b z + c z**2 over each surface (mensuration, from memory).
A, B, C = 400e-6, 2e-3, -0.01


def quadratic(z):
    return A + B * z + C * z * z


def moments(h):
    """Integral of the quadratic over 0..h, and of z times it."""
    return A * h + B * h**2 / 2 + C * h**3 / 3, A * h**2 / 2 + B * h**3 / 3 + C * h**4 / 4


def test_quadratic_height_table_integrates_over_the_cylinder():
    pieces = bands_of("cylinder", {"diameter": 0.07, "height": 0.2}, "outside")
    assert integral(pieces, quadratic) == pytest.approx(PI * 0.07 * moments(0.2)[0], rel=1e-6)


def test_quadratic_height_table_integrates_over_the_sphere():
    # zones of equal height have equal area: 2 pi R dz (Archimedes)
    pieces = bands_of("sphere", {"diameter": 0.1}, "outside")
    assert integral(pieces, quadratic) == pytest.approx(PI * 0.1 * moments(0.1)[0], rel=1e-6)
    dome = bands_of("hemisphere", {"diameter": 0.1}, "outside")
    assert integral(dome, quadratic) == pytest.approx(PI * 0.1 * moments(0.05)[0], rel=1e-6)


def test_quadratic_height_table_integrates_over_the_frustum():
    # 2 pi r ds with r = r0 + k z, ds = dz * sqrt(1 + k^2)
    k = (0.035 - 0.015) / 0.1
    pieces = bands_of("cone", {"diameter": 0.03, "height": 0.1, "diameter_top": 0.07}, "outside")
    flat, first = moments(0.1)
    exact = 2 * PI * math.hypot(1, k) * (0.015 * flat + k * first)
    assert integral(pieces, quadratic) == pytest.approx(exact, rel=1e-6)


def test_quadratic_height_table_integrates_over_the_tray():
    # square frustum 60 to 120 mm over 40 mm depth: perimeter 4 (0.06 + 1.5 z), slant 1.25
    sizes = {"length": 0.06, "width": 0.06, "depth": 0.04, "top_length": 0.12, "top_width": 0.12}
    pieces = bands_of("tray", sizes, "outside")
    flat, first = moments(0.04)
    exact = 0.06**2 * A + 4 * 1.25 * (0.06 * flat + 1.5 * first)
    assert integral(pieces, quadratic) == pytest.approx(exact, rel=1e-6)


def test_conductance_of_a_sphere_with_a_linear_wall_is_the_closed_logarithm():
    # integral of 2 pi R dz / (a + b z) over 0..2R = 2 pi R / b * ln(1 + 2 R b / a)
    a, b, radius = 300e-6, 4e-3, 0.05
    pieces = bands_of("sphere", {"diameter": 2 * radius}, "outside")
    exact = 2 * PI * radius / b * math.log(1 + 2 * radius * b / a)
    assert integral(pieces, lambda z: 1 / (a + b * z)) == pytest.approx(exact, rel=1e-6)


def test_flat_ends_of_a_profile_lie_at_their_heights_with_every_radius():
    pieces = bands_of("profile", {"points": BOTTLE, "closed_bottom": True, "closed_top": True}, "outside")
    base, top = pieces.height == 0.0, pieces.height >= 0.21 * (1 - 1e-12)
    assert pieces.area[base].sum() == pytest.approx(PI * 0.030**2, rel=1e-12)
    assert base.sum() > 50 and pieces.radius[base].max() < 0.030
    assert pieces.area[top].sum() == pytest.approx(PI * 0.0125**2, rel=1e-9)


def test_angles_of_a_tray_count_from_the_long_axis():
    pieces = bands_of("tray", {"length": 0.2, "width": 0.1, "depth": 0.05}, "outside")
    wall = pieces.height > 0
    ahead = wall & (np.abs(pieces.angle) < 0.05)
    aside = wall & (np.abs(pieces.angle - PI / 2) < 0.05)
    assert pieces.radius[ahead] == pytest.approx(np.full(ahead.sum(), 0.1), rel=2e-3)
    assert pieces.radius[aside] == pytest.approx(np.full(aside.sum(), 0.05), rel=2e-3)
    # both short walls, seen within the angle of their corners, have their share of the wall's area
    short = wall & ((np.abs(pieces.angle) < math.atan(0.5)) | (np.abs(pieces.angle) > PI - math.atan(0.5)))
    assert pieces.area[short].sum() == pytest.approx(2 * 0.1 * 0.05, rel=1e-12)


def test_shapes_without_a_height_have_no_bands():
    assert bands_of("disc", {"diameter": 0.07}, "outside") is None
    assert bands_of("area", {"area": 0.01}, "outside") is None
    assert bands_of("pouch", {"width": 0.1, "height": 0.2}, "outside") is None


def test_every_shape_of_the_registry_is_bands_or_none():
    known = {shape for shape, _ in CASES} | {"disc", "area", "pouch"}
    assert known == set(shapes.SHAPES)


@pytest.mark.parametrize("name", ["corner_ratio", "corner_share", "base_ratio", "wall_ratio"])
def test_tray_with_ratios_of_its_own_takes_no_thickness_field(name):
    with pytest.raises(GeometryError, match=f"{name} and a local thickness") as caught:
        bands_of("tray", {"length": 0.2, "width": 0.1, "depth": 0.05, name: 0.5}, "outside")
    assert caught.value.field == name


def test_bad_sizes_are_refused_as_the_shape_refuses_them():
    with pytest.raises(GeometryError, match="diameter is -0.07"):
        bands_of("cylinder", {"diameter": -0.07, "height": 0.2}, "outside")

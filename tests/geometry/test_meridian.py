"""Rows of a surface along its axis, from faces of a mesh and from bands."""

from __future__ import annotations

import math

import numpy as np
import pytest
from mesh_builders import box, revolved

from optimizer.geometry.bands import bands_of
from optimizer.geometry.meridian import flat_pieces, meridian_of, spread, too_tall, total_height
from optimizer.geometry.pieces import Pieces

PI = math.pi
BOTTLE = [(0.0, 0.030), (0.004, 0.0325), (0.15, 0.0325), (0.19, 0.013), (0.22, 0.0125)]


def faces_of(shell, span=True):
    """Pieces of the triangles of (vertices, faces) about the z axis."""
    corners = shell[0][shell[1]]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    centre, level = corners.mean(axis=1), corners[:, :, 2] - shell[0][:, 2].min()
    return Pieces(
        area,
        0 * area,
        0 * area,
        level.mean(axis=1),
        np.hypot(centre[:, 0], centre[:, 1]),
        np.arctan2(centre[:, 1], centre[:, 0]),
        centre,
        np.column_stack([level.min(axis=1), level.max(axis=1)]) if span else None,
    )


def fine(points, step, closed_bottom=False):
    """(radius, height) from point to point in steps of at most ``step``."""
    line = [(r, z) for z, r in points]
    if closed_bottom:
        line = [(0.0, line[0][1]), *line]
    rows = [np.array(line[:1])]
    for a, b in zip(line, line[1:], strict=False):
        count = max(int(math.dist(a, b) / step), 1)
        rows.append(np.linspace(a, b, count + 1)[1:])
    return np.concatenate(rows)


def test_fine_mesh_of_a_bottle_has_the_rows_of_its_profile():
    mesh = meridian_of(faces_of(revolved(fine(BOTTLE, 1e-3, True), 180)), rows=100)
    bands = meridian_of(bands_of("profile", {"points": BOTTLE, "closed_bottom": True}, "outside"), rows=100)
    assert mesh.total == pytest.approx(bands.total, rel=1e-12)
    assert mesh.area.sum() == pytest.approx(bands.area.sum(), rel=1e-3)
    # rows away from the corners of the profile
    away = np.min(np.abs(mesh.height[:, None] - np.array([z for z, _ in BOTTLE])), axis=1) > 4e-3
    for name in ("area", "wall", "radius", "section", "perimeter", "arc"):
        assert getattr(mesh, name)[away] == pytest.approx(getattr(bands, name)[away], rel=4e-3), name
    assert mesh.lean[away] == pytest.approx(bands.lean[away], abs=0.02)


def test_rows_of_bands_are_those_of_the_cone():
    # radii 15 to 35 mm over 100 mm: sine of the lean = 0.2 / sqrt(1.04), section pi r^2, perimeter 2 pi r
    sizes = {"diameter": 0.03, "height": 0.1, "diameter_top": 0.07}
    cone = meridian_of(bands_of("cone", sizes, "outside"))
    radius = 0.015 + 0.2 * cone.height
    assert cone.lean == pytest.approx(np.full(200, 0.2 / math.sqrt(1.04)), rel=1e-4)
    assert cone.section == pytest.approx(PI * radius**2, rel=1e-4)
    assert cone.perimeter == pytest.approx(2 * PI * radius, rel=1e-4)
    assert cone.arc.sum() == pytest.approx(0.1 * math.sqrt(1.04), rel=1e-6)


def test_meridian_of_a_sphere_is_half_its_great_circle():
    sphere = meridian_of(bands_of("sphere", {"diameter": 0.1}, "outside"))
    assert sphere.arc.sum() == pytest.approx(PI * 0.05, rel=2e-3)
    assert (sphere.section * sphere.rise).sum() == pytest.approx(PI / 6 * 0.1**3, rel=1e-3)


def test_section_of_a_rectangle_is_length_times_width_and_its_perimeter_is_true():
    pieces = faces_of(box((-0.05, -0.03, 0), (0.05, 0.03, 0.08), steps=40))
    rows = meridian_of(pieces)
    assert rows.section == pytest.approx(np.full(len(rows.section), 0.1 * 0.06), rel=5e-3)
    assert rows.perimeter == pytest.approx(np.full(len(rows.section), 0.32), rel=1e-3)
    assert len(rows.section) >= 10


def test_flat_faces_are_told_from_walls():
    pieces = faces_of(box((0, 0, 0), (0.1, 0.1, 0.1), steps=4))
    assert pieces.area[flat_pieces(pieces)].sum() == pytest.approx(2 * 0.1**2, rel=1e-12)
    assert not flat_pieces(faces_of(box((0, 0, 0), (1, 1, 1)), span=False)).any()


def test_tall_faces_are_spread_over_the_heights_that_they_span():
    # a cylinder of 64 sides drawn with triangles as tall as itself still has the same area in every row
    side = faces_of(revolved([(0.03, 0.0), (0.03, 0.2)], 64))
    (area,) = spread(side, np.linspace(0, 0.2, 51), side.area)
    assert area == pytest.approx(np.full(50, side.area.sum() / 50), rel=1e-9)
    assert too_tall(side) and "100 %" in too_tall(side)[0]
    assert too_tall(faces_of(revolved(fine([(0.0, 0.03), (0.2, 0.03)], 2e-3), 64))) == ()


def test_total_height_without_spans_is_that_of_the_mesh_to_a_face():
    shell = revolved(fine([(0.0, 0.03), (0.2, 0.03)], 1e-3), 64)
    assert total_height(faces_of(shell)) == pytest.approx(0.2, rel=1e-12)
    assert total_height(faces_of(shell, span=False)) == pytest.approx(0.2, abs=1e-3)

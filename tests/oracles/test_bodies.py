"""Shapes against bodies of revolution meshed by trimesh."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.geometry import shapes

#: Height and radius of an invented bottle [m].
BOTTLE = [(0.0, 0.0375), (0.15, 0.0375), (0.18, 0.02), (0.2, 0.015)]


def test_a_bottle_from_its_profile_has_the_area_and_volume_of_its_mesh() -> None:
    trimesh = pytest.importorskip("trimesh")
    line = np.array([(0.0, 0.0), *((r, h) for h, r in BOTTLE), (0.0, 0.2)]) * 1e3
    sections = 720
    mesh = trimesh.creation.revolve(line, sections=sections)
    assert mesh.is_watertight
    body = shapes.profile(BOTTLE, closed_bottom=True, closed_top=True)
    # a circle of n chords has (pi/n)^2 / 1.5 less area; both converge to the body
    short = (np.pi / sections) ** 2
    assert body.area() == pytest.approx(mesh.area * 1e-6, rel=short)
    assert body.volume == pytest.approx(abs(mesh.volume) * 1e-9, rel=short)

"""Thickness classes: a Gauss rule of the field keeps conductance, area and mass, and the response in time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.geometry.classes import Gauss, classes_of, response

positive = st.floats(0.05, 20.0)


@given(st.lists(st.tuples(positive, positive), min_size=1, max_size=60))
@settings(max_examples=200, deadline=None)
def test_conductance_area_and_mass_of_any_field_are_kept(pairs: list[tuple[float, float]]) -> None:
    ratio, area = (np.array(x) for x in zip(*pairs, strict=True))
    found = classes_of(ratio, area)
    for power in (-1, 0, 1):
        kept = float(found.area @ found.ratio**power)
        assert kept == pytest.approx(float(area @ ratio**power), rel=1e-9)
    assert np.all(found.ratio > ratio.min() * (1 - 1e-9)) and np.all(found.ratio < ratio.max() * (1 + 1e-9))
    assert np.all(found.area > 0)


def test_an_even_wall_is_one_class() -> None:
    found = classes_of(np.full(1000, 1.3), np.linspace(1, 2, 1000))
    assert found.ratio.tolist() == [pytest.approx(1.3)] and found.error == 0
    assert found.area.sum() == pytest.approx(1500)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_a_few_thicknesses_are_their_own_classes(count: int) -> None:
    ratio = np.repeat(np.linspace(0.5, 3.0, count), 7)
    found = classes_of(ratio, np.ones(len(ratio)), tolerance=0.0)
    assert found.ratio == pytest.approx(np.unique(ratio), rel=1e-9)
    assert found.area == pytest.approx(np.full(count, 7.0), rel=1e-9)


@pytest.mark.parametrize("count", [2, 3, 5, 8])
def test_the_rule_of_an_even_spread_of_points_is_that_of_gauss_and_legendre(count: int) -> None:
    """numpy.polynomial.legendre.leggauss is an independent source of the same nodes."""
    points = (np.arange(400_000) + 0.5) / 200_000 - 1
    nodes, weights = Gauss(points, np.full(len(points), 2 / len(points)), 12).of(count)
    known, shares = np.polynomial.legendre.leggauss(count)
    assert nodes == pytest.approx(known, abs=1e-8)
    assert weights == pytest.approx(shares, abs=1e-8)


def _slab_from_crank(tau: float) -> tuple[float, float]:
    """J. Crank, The Mathematics of Diffusion, 2nd ed., eqs. 4.24 (flow through a plane sheet, started empty)
    and 4.18 with concentration zero at both faces (formulas from memory), summed to 400 terms."""
    through = 1 + 2 * sum((-1) ** n * math.exp(-(n**2) * math.pi**2 * tau) for n in range(1, 400))
    left = sum(
        8 / math.pi**2 / (2 * n + 1) ** 2 * math.exp(-((2 * n + 1) ** 2) * math.pi**2 * tau)
        for n in range(400)
    )
    return through, left


@pytest.mark.parametrize("tau", [0.004, 0.006, 0.02, 0.1, 0.139, 0.5, 2.0])
def test_the_response_of_one_slab_is_the_published_one(tau: float) -> None:
    through, left = response(np.array([1.0]), np.array([1.0]), np.array([tau]))[:, 0]
    known = _slab_from_crank(tau)
    assert through == pytest.approx(known[0], abs=2e-8)
    assert left == pytest.approx(known[1], abs=2e-8)


FIELDS = {
    "measured": lambda rng, h: np.exp(0.2 * rng.standard_normal(len(h))),
    "bottle": lambda rng, h: (
        np.where(h < 0.08, 2.2, np.where(h > 0.93, 3.5, 0.8 + 0.3 * np.cos(9 * h)))
        * np.exp(0.05 * rng.standard_normal(len(h)))
    ),
    "tray": lambda rng, h: np.exp(-1.6 * h),
}


@pytest.mark.parametrize("name", FIELDS)
def test_few_classes_stand_for_a_large_field_in_time_too(name: str) -> None:
    """Against the response of every single piece, at times that the reduction did not look at."""
    rng = np.random.default_rng(7)
    ratio = FIELDS[name](rng, rng.random(20_000))
    found = classes_of(ratio, np.ones(len(ratio)))
    assert len(found.ratio) <= 10
    assert found.error <= 1e-4
    times = np.geomspace(0.013, 40.0, 37)
    whole = response(ratio, 1 / ratio, times)
    few = response(found.ratio, found.area / found.ratio, times)
    assert np.abs(few - whole).max() < 1.2e-4


def test_more_classes_are_ever_closer() -> None:
    ratio = np.exp(0.4 * np.random.default_rng(3).standard_normal(5000))
    errors = [classes_of(ratio, np.ones(5000), tolerance=0.0, most=n).error for n in (2, 4, 6, 8)]
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < errors[0] / 50


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_thickness_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        classes_of(np.array([1.0, bad]), np.ones(2))

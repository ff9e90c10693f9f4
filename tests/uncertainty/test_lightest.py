"""The lightest wall at a confidence, against the closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

import pytest

from optimizer.constants import DAY
from optimizer.errors import GeometryError
from optimizer.shelflife.package import Case
from optimizer.uncertainty.lightest import SCALE_TOLERANCE, THICKEST, THINNEST, lightest
from tests.uncertainty.closed import LIFE, SIGMA, case, product_of_factors
from tests.uncertainty.test_run import plain_error, scaled


def at(target: float, thickest: float = math.inf) -> Callable[[float], Case]:
    def case_at(scale: float) -> Case:
        if scale > thickest:
            raise GeometryError("the wall is thicker than the package is wide")
        return scaled(case(target), scale)

    return case_at


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95])
@pytest.mark.parametrize("days", [40.0, 80.0, 130.0])
def test_the_lightest_wall_is_that_of_the_closed_form(confidence: float, days: float) -> None:
    """scale = target / LIFE * exp(z_confidence sigma)."""
    found = lightest(at(days * DAY), confidence, samples=4096, simulate=product_of_factors)
    exact = days * DAY / LIFE * math.exp(NormalDist().inv_cdf(confidence) * SIGMA)
    assert found.scale == pytest.approx(exact, rel=2 * plain_error(SIGMA, confidence, 4096))
    assert found.note == ""
    assert found.passing is not None and found.fresh is not None
    assert found.passing.probability >= confidence
    assert found.fresh != found.passing  # other numbers
    assert abs(found.fresh.probability - confidence) < 5 * found.fresh.error + 0.002


def test_it_passes_and_a_wall_thinner_by_the_tolerance_does_not() -> None:
    from optimizer.uncertainty.run import probability_of_passing

    found = lightest(at(80 * DAY), 0.95, samples=1024, simulate=product_of_factors)
    assert found.scale is not None
    here, thinner = (
        probability_of_passing(at(80 * DAY)(s), samples=1024, simulate=product_of_factors).probability
        for s in (found.scale, found.scale * (1 - 1.01 * SCALE_TOLERANCE))
    )
    assert here >= 0.95 > thinner


def test_more_confidence_never_takes_less_wall() -> None:
    scales = [
        lightest(at(80 * DAY), c, samples=256, simulate=product_of_factors).scale
        for c in (0.5, 0.8, 0.95, 0.99)
    ]
    assert all(s is not None for s in scales)
    assert scales == sorted(s for s in scales if s is not None)


def test_where_no_thicker_wall_fits_that_is_said() -> None:
    found = lightest(at(300 * DAY, thickest=2.0), 0.95, samples=64, simulate=product_of_factors)
    assert found.scale is None and found.passing is None
    assert "no thicker wall fits" in found.note and "95 %" in found.note


def test_where_no_wall_is_thick_enough_or_any_will_do_that_is_said() -> None:
    never = lightest(at(THICKEST * LIFE * 3), 0.95, samples=64, simulate=product_of_factors)
    assert never.scale is None and "not even 20 times" in never.note
    always = lightest(at(0.2 * THINNEST * LIFE), 0.95, samples=64, simulate=product_of_factors)
    assert always.scale == THINNEST and "does not decide" in always.note


def test_every_trial_is_told() -> None:
    told: list[str] = []
    lightest(at(80 * DAY), 0.95, samples=64, simulate=product_of_factors, say=told.append)
    assert len(told) > 5 and all("95 %" in t for t in told)

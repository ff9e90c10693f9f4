"""``predicted`` and ``checked`` with samples, on a package whose shelf life is a product of lognormals.

Hardly anything builds up inside it, so that the simulation gives the closed form as well (see ``closed``)."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import pytest

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS
from optimizer.errors import InputError
from optimizer.results_uncertainty import UncertaintyResult
from optimizer.shelflife.check import POINT_ESTIMATES
from optimizer.shelflife.check import check as point_check
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import Case, Headspace, Limit, TransmissionLimit
from optimizer.shelflife.variation import Outcomes, Variation
from optimizer.uncertainty.asked import Asked, Counting
from optimizer.uncertainty.checked import COMMON_NUMBERS, checked
from optimizer.uncertainty.predicted import predicted
from tests.shelflife.builders import still
from tests.uncertainty.closed import LIFE, SIGMA, case, product_of_factors
from tests.uncertainty.test_run import scaled

NORMAL = NormalDist()
SAMPLES = 256
#: Of a probability from that many samples, at most: four times the plain error at one half.
ERROR = 4 * 0.5 / math.sqrt(SAMPLES)


def constant_flow(target: float | None = 80 * DAY, **given: Any) -> Case:
    """The case of ``closed``, whose nominal life is LIFE: limit / (P p A / thickness)."""
    base = case(target, **given)
    base = replace(base, product=replace(base.product, headspace=Headspace(1.0, True, {"N2": 1.0})))
    flow = float(exchange_of(base).conductance["O2"].ravel()[0]) * 0.2095 * ATMOSPHERE  # the air is dry
    limit = flow * LIFE * MOLAR_MASS["O2"] / base.product.mass
    product = replace(base.product, limits=(Limit("oxygen_gain", limit),))
    return replace(base, product=product, storage=still(humidity=0.0), wall="steady")


def chance(life: float, target: float = 80 * DAY) -> float:
    return NORMAL.cdf(math.log(life / target) / SIGMA)


def uncertainty(found: UncertaintyResult | None) -> UncertaintyResult:
    assert found is not None
    return found


def test_a_prediction_without_samples_is_the_plain_one() -> None:
    found = predicted(constant_flow(confidence=0.9), Asked())
    assert found.uncertainty is None and found.confidence_asked is None and found.passes


def test_the_chance_of_a_prediction_is_that_of_the_closed_form() -> None:
    found = predicted(constant_flow(), Asked(SAMPLES, 1))
    assert found.shelf_life_days == pytest.approx(LIFE / DAY, rel=1e-3)
    assert uncertainty(found.uncertainty).probability == pytest.approx(chance(LIFE), abs=ERROR / 4)
    assert uncertainty(found.uncertainty).wall == found.wall_model == "steady"


@pytest.mark.parametrize(("confidence", "passes"), [(0.8, True), (0.95, False)])
def test_a_prediction_passes_where_its_chance_reaches_the_confidence(confidence: float, passes: bool) -> None:
    """Phi(ln(100 / 80) / sigma) = 0.87."""
    assert 0.85 < chance(LIFE) < 0.89
    found = predicted(constant_flow(confidence=confidence), Asked(SAMPLES))
    assert found.passes is passes
    assert found.confidence_asked == confidence
    assert all(limit.passes for limit in found.limits)


def test_a_chance_within_its_error_of_the_confidence_is_said() -> None:
    near = predicted(constant_flow(), Asked(SAMPLES))
    probability = uncertainty(near.uncertainty).probability
    assert probability is not None
    close = predicted(constant_flow(confidence=probability), Asked(SAMPLES))
    assert any("within twice its sampling error" in text for text in close.warnings)
    assert not any("sampling error" in text for text in predicted(constant_flow(), Asked(SAMPLES)).warnings)


def test_samples_use_the_walls_of_the_prediction() -> None:
    seen = []

    def simulate(case: Case, variation: Variation, *, wall: str) -> Outcomes:
        seen.append(wall)
        return product_of_factors(case, variation, wall=wall)

    found = predicted(replace(constant_flow(), wall="auto"), Asked(64), simulate=simulate)
    assert set(seen) == {found.wall_model}
    assert uncertainty(found.uncertainty).wall == found.wall_model


def test_a_check_that_asks_for_nothing_is_the_one_of_point_estimates() -> None:
    now, before = constant_flow(), scaled(constant_flow(), 1.1)
    assert checked(now, before, Asked()) == point_check(now, before)


def test_a_check_holds_both_packages_against_the_same_numbers() -> None:
    """With numbers of its own for each, a wall thicker by 2 % would last longer in a little over half."""
    found = checked(scaled(constant_flow(), 1.02), constant_flow(), Asked(SAMPLES, 2))
    assert found.at_least_as_long == 1.0
    assert found.at_least_as_long_error == pytest.approx(1 / SAMPLES)
    now, before = uncertainty(found.changed.uncertainty), uncertainty(found.baseline.uncertainty)
    for key, life in now.shelf_life_days.items():
        assert life == pytest.approx(1.02 * (before.shelf_life_days[key] or 0.0), rel=1e-3)
    assert found.confidence == now.probability == pytest.approx(chance(1.02 * LIFE), abs=ERROR)
    assert found.shelf_life_days == {k: now.shelf_life_days[k] for k in ("p05", "p50", "p95")}
    assert {row.limited_by for row in now.percentiles} == {"oxygen_gain"}
    assert COMMON_NUMBERS in found.assumptions and POINT_ESTIMATES not in found.assumptions


@pytest.mark.parametrize("confidence", [0.6, 0.9, 0.99])
def test_the_lightest_at_a_confidence_is_that_of_the_closed_form(confidence: float) -> None:
    """target / LIFE * exp(z_confidence sigma)."""
    found = checked(constant_flow(), constant_flow(), Asked(1024, 1, confidence), simulate=product_of_factors)
    exact = 80 * DAY / LIFE * math.exp(NORMAL.inv_cdf(confidence) * SIGMA)
    lightest = found.lightest_passing
    assert lightest is not None and lightest["confidence"] == confidence
    assert lightest["scale"] == pytest.approx(exact, rel=0.02)
    assert lightest["probability"] >= confidence
    (layer,) = lightest["walls"]["wall"]
    assert layer["thickness_um"] == pytest.approx(100 * lightest["scale"])
    assert found.passes is (chance(LIFE) >= confidence)
    assert found.changed.passes is found.passes


def test_the_lightest_keeps_the_transmission_limit_that_the_chance_leaves_out() -> None:
    """A limit that a wall of 90 um just meets; for the chance a quarter of the thickness would do."""
    base = constant_flow(20 * DAY)
    law = base.package.walls["wall"].layers[0].material.gases["O2"]
    maximum = law.permeability[0] / 90e-6
    asked = (TransmissionLimit("O2", maximum, "wall", law.temperature, 0.0),)
    found = checked(
        replace(base, transmission_limits=asked), base, Asked(64, 1, 0.9), simulate=product_of_factors
    )
    lightest = found.lightest_passing
    assert lightest is not None
    assert lightest["scale"] == pytest.approx(0.9, rel=2e-3)
    assert "transmission" in lightest["note"]
    assert lightest["probability"] == 1.0


def test_where_no_wall_reaches_the_confidence_that_is_said() -> None:
    """No wall helps the limits that every other sample draws at a tenth: the wall does not decide them."""

    def hopeless(case: Case, variation: Variation, *, wall: str) -> Outcomes:
        found = product_of_factors(case, variation, wall=wall)
        crossing = found.crossing.copy()
        crossing[::2] = 1.0
        return Outcomes(crossing, found.extreme, found.excess)

    found = checked(constant_flow(), constant_flow(), Asked(64, 1, 0.9), simulate=hopeless)
    lightest = found.lightest_passing
    assert lightest is not None and lightest["scale"] is None
    assert lightest["confidence"] == 0.9 and "90 %" in lightest["note"]


def test_the_confidence_of_the_project_counts_unless_another_is_asked_for() -> None:
    project = constant_flow(confidence=0.6, samples=64)
    found = checked(project, project, Asked(), simulate=product_of_factors)
    assert found.confidence_asked == 0.6 and uncertainty(found.changed.uncertainty).samples == 64
    found = checked(project, project, Asked(confidence=0.9), simulate=product_of_factors)
    assert found.confidence_asked == 0.9


def test_other_spreads_than_those_of_the_baseline_are_said() -> None:
    other = constant_flow(thickness={"wall": 0.2})
    found = checked(other, constant_flow(), Asked(64), simulate=product_of_factors)
    assert [c.what for c in found.changes] == ["spread of thickness of wall"]
    assert any("different spreads" in text for text in found.warnings)
    found = checked(constant_flow(), constant_flow(), Asked(64), simulate=product_of_factors)
    assert not any("different spreads" in text for text in found.warnings)


def test_the_same_seed_gives_the_same_check() -> None:
    def found(seed: int) -> dict[str, Any]:
        return checked(scaled(constant_flow(), 1.1), constant_flow(), Asked(64, seed, 0.9)).as_dict()

    assert found(1) == found(1)
    assert found(1)["shelf_life_days"] != found(2)["shelf_life_days"]


@pytest.mark.parametrize(
    ("asked", "count"),
    [(Asked(15), 1), (Asked(64, -1), 1), (Asked(64, 1, 0.5), 1), (Asked(0, -1, 1.0), 3)],
)
def test_everything_that_cannot_be_asked_for_is_refused_at_once(asked: Asked, count: int) -> None:
    with pytest.raises(InputError) as error:
        checked(constant_flow(), constant_flow(), asked)
    assert len(error.value.problems) == count
    with pytest.raises(InputError, match="needs a target"):
        checked(constant_flow(None), constant_flow(), Asked(confidence=0.9))


def test_progress_names_the_package_that_is_sampled() -> None:
    told: list[str] = []
    checked(constant_flow(), constant_flow(), Asked(64), say=told.append)
    assert "64 of 64 samples of the changed package simulated" in told
    assert "64 of 64 samples of the baseline simulated" in told
    assert told.index("predicting the baseline") < told.index("64 samples of the baseline simulated")


def test_counting_starts_again_with_the_next_package() -> None:
    told: list[str] = []
    counting = Counting(told.append, (" of one", " of two"))
    variation = Variation(64)
    for _ in range(2):
        counting.simulate(constant_flow(), variation, wall="steady")
        counting.progress(64, 64)
    assert told == [
        "64 samples of one simulated",
        "64 of 64 samples of one simulated",
        "64 samples of two simulated",
        "64 of 64 samples of two simulated",
    ]

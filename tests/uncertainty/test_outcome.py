"""Numbers from outcomes, against small samples worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.constants import DAY
from optimizer.shelflife.package import Limit
from optimizer.shelflife.variation import Outcomes
from optimizer.uncertainty import outcome

LIMITS = (Limit("oxygen_gain", 1e-6), Limit("water_gain", 0.02))


def outcomes(*days: tuple[float, float]) -> Outcomes:
    crossing = np.array(days) * DAY
    return Outcomes(crossing, np.zeros_like(crossing), 50 * DAY / crossing - 1.0)


def ramp(count: int = 100) -> Outcomes:
    """Lives 1..count days; the first half ended by oxygen, the second by water."""
    half = count // 2
    return outcomes(*((k, math.inf) if k <= half else (math.inf, k) for k in range(1, count + 1)))


def test_percentiles_of_a_ramp_lie_between_the_middles_of_the_ranks() -> None:
    """Hazen's plotting position (Hyndman and Fan 1996, type 5): the p-quantile of 1..n is n p + 1/2."""
    found = {r.percentile: r for r in outcome.percentiles(ramp(), LIMITS)}
    for p in outcome.PERCENTILES:
        assert found[p].shelf_life_days == pytest.approx(p + 0.5, rel=1e-12)
    assert found[5].limited_by == found[25].limited_by == "oxygen_gain"
    assert found[75].limited_by == found[95].limited_by == "water_gain"


def test_percentiles_agree_with_numpy() -> None:
    values = np.sort(np.random.default_rng(3).lognormal(size=257))
    for share in (0.0, 0.001, 0.05, 0.5, 0.77, 0.999, 1.0):
        assert outcome.percentile(values, share) == pytest.approx(
            float(np.quantile(values, share, method="hazen")), rel=1e-13
        )


def test_a_percentile_beyond_the_time_looked_at_is_none() -> None:
    found = outcome.percentiles(outcomes(*[(10.0, math.inf)] * 70, *[(math.inf, math.inf)] * 30), LIMITS)
    days = {r.percentile: (r.shelf_life_days, r.limited_by) for r in found}
    assert days[50] == (10.0, "oxygen_gain")
    assert days[75] == days[95] == (None, None)


def test_ended_by_shares_sum_to_one() -> None:
    found = outcome.ended_by(
        outcomes(*[(5.0, 6.0)] * 3, *[(9.0, 8.0)] * 4, *[(math.inf, math.inf)] * 1), LIMITS
    )
    assert found == {"oxygen_gain": 0.375, "water_gain": 0.5, "none": 0.125}


def test_a_sample_passes_when_no_limit_is_reached_before_the_target() -> None:
    found = outcome.passing(
        outcomes((49.9, math.inf), (50.0, 70.0), (math.inf, math.inf), (80.0, 12.0)), 50 * DAY
    )
    assert found.tolist() == [False, True, True, False]


def test_a_limit_exceeded_at_closing_fails() -> None:
    crossing = np.array([[0.0], [math.inf]])
    assert outcome.passing(Outcomes(crossing, crossing, crossing), 0.0).tolist() == [False, True]


def test_the_error_is_the_scatter_of_the_replicates() -> None:
    """By hand: four replicates of 10 with 10, 9, 8, 9 passes: mean 0.9, deviation sqrt(0.02 / 3), over 2."""
    holds = np.concatenate([np.arange(10) < k for k in (10, 9, 8, 9)])
    found = outcome.share_of(holds, replicates=4)
    assert found.probability == pytest.approx(0.9)
    assert found.error == pytest.approx(math.sqrt(0.02 / 3) / 2)


def test_the_error_never_falls_below_one_sample() -> None:
    assert outcome.share_of(np.ones(4096, dtype=bool)) == (1.0, 1 / 4096)


def test_the_thinned_distribution_leaves_out_what_was_not_reached() -> None:
    few = outcome.thinned(outcomes((3.0, math.inf), (1.0, math.inf), (math.inf, math.inf)))
    assert few == pytest.approx((1.0, 3.0))
    many = outcome.thinned(ramp(2048))
    assert len(many) == 512 and list(many) == sorted(many)
    assert many[0] == pytest.approx(2.5) and many[-1] == pytest.approx(2046.5)


def test_the_worst_excess_at_a_confidence_is_zero_where_just_that_share_passes() -> None:
    """Lives 1..100 days against 50 days: 51 % pass."""
    assert outcome.worst_excess(ramp(), 0.51) == pytest.approx(0.0)
    assert outcome.worst_excess(ramp(), 0.52) == pytest.approx(50 / 49 - 1)
    assert outcome.worst_excess(ramp(), 0.5) < 0.0
    none = Outcomes(np.zeros((4, 0)), np.zeros((4, 0)), np.zeros((4, 0)))
    assert outcome.worst_excess(none, 0.95) == -math.inf


def test_a_package_without_limits_passes() -> None:
    none = Outcomes(np.zeros((64, 0)), np.zeros((64, 0)), np.zeros((64, 0)))
    assert outcome.passing(none, DAY).all()
    assert outcome.ended_by(none, ()) == {"none": 1.0}
    assert outcome.thinned(none) == ()

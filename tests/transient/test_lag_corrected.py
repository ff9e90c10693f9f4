"""Lag-corrected walls against walls in transient, on the invented packages of ``coupled``."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from optimizer.shelflife.package import Case
from optimizer.shelflife.samples import simulate_samples
from optimizer.shelflife.transient.run import simulate_walls
from optimizer.shelflife.variation import Variation

from .coupled import carbonated_bottle, coupled, flushed_bottle, pouch


@pytest.mark.parametrize("make", [coupled, flushed_bottle, carbonated_bottle, pouch])
def test_the_lag_correction_takes_nearly_all_of_the_error_of_steady_walls_away(
    make: Callable[[], Case],
) -> None:
    case = make()
    exact = simulate_walls(case).crossing[0, 0]

    def off(wall: str) -> float:
        found = simulate_samples(case, Variation(1), wall=wall, engine="numpy", rtol=1e-5)
        return abs(float(found.crossing[0, 0]) / float(exact) - 1.0)

    assert off("steady") > 0.03
    assert off("lag-corrected") < 1e-3

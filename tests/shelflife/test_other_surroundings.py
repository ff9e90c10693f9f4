"""Gas around a package that is not air: every way to simulate takes it alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import DAY, DRY_AIR
from optimizer.shelflife.package import Case, Limit, Stage
from optimizer.shelflife.predict import predict
from optimizer.shelflife.samples import simulate_samples
from optimizer.shelflife.variation import Variation
from tests.shelflife.builders import T23, case_of, dry_powder, one_wall, plain

RICH = {"O2": 0.6, "N2": 0.4}


def case(gas: dict[str, float] | None, wall: str = "steady") -> Case:
    storage = (Stage("a", 90 * DAY, T23, 0.5, gas=gas), Stage("b", 200 * DAY, 303.15, 0.6, gas=gas))
    powder = dry_powder((Limit("oxygen_gain", 2e-4),))
    return replace(case_of(powder, one_wall(plain(), 80e-6, 0.06), storage, target=200 * DAY), wall=wall)


@pytest.mark.parametrize("wall", ["steady", "transient"])
def test_air_given_as_a_gas_is_air(wall: str) -> None:
    given, air = predict(case(dict(DRY_AIR), wall)), predict(case(None, wall))
    assert given.limits[0].at_target == pytest.approx(air.limits[0].at_target, rel=1e-9)
    assert predict(case(RICH, wall)).limits[0].at_target > 1.5 * given.limits[0].at_target  # type: ignore[operator]


@pytest.mark.parametrize("mode", ["steady", "lag-corrected"])
def test_samples_take_the_gas_around_as_one_prediction_does(mode: str) -> None:
    rich = case(RICH)
    found = simulate_samples(rich, Variation(3), wall=mode).crossing[:, 0]
    alone = predict(rich).shelf_life_days
    assert alone is not None
    assert found == pytest.approx(np.full(3, alone * DAY), rel=1e-4)
    air = predict(case(None)).shelf_life_days
    assert air is None or alone < 0.6 * air

"""Slices of hourly weather are taken together in the rows of the optimiser, and change next to nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import DAY
from optimizer.design import slices
from optimizer.design.slices import GROUPS, MOST_SLICES, group_slices
from optimizer.shelflife.package import Case, Stage

from .cases import BARRIER, case_of, juice, scaled, wall_of
from .test_demands import built, critical_factor, value


def weather(count: int = 120, step: float = 1.5 * DAY) -> tuple[Stage, ...]:
    """A year's and a day's wave as formulas of no place."""
    k = np.arange(count)
    t = 288.15 + 8 * np.sin(2 * np.pi * k / count) + 5 * np.sin(2.4 * k)
    a = 0.65 + 0.2 * np.sin(2.4 * k + 2)
    return tuple(Stage("yard", step, float(x), float(y)) for x, y in zip(t, a, strict=True))


def case() -> Case:
    made = case_of(juice(oxygen_gain=5e-6), BARRIER, months=5.9)
    return replace(made, storage=weather())


def test_few_slices_stay_by_themselves() -> None:
    t = np.linspace(280, 300, MOST_SLICES)
    groups = group_slices(t, 0 * t + 0.5, 0 * t + 0.5, 0 * t + 1)
    assert [g.tolist() for g in groups] == [[i] for i in range(MOST_SLICES)]


def test_many_slices_become_a_few_groups_and_none_is_lost() -> None:
    rng = np.random.default_rng(3)
    t, a = rng.normal(288, 8, 5000), rng.uniform(0.3, 1, 5000)
    groups = group_slices(t, 0 * t + 0.9, a, rng.uniform(1, 2, 5000))
    assert len(groups) == GROUPS
    assert sorted(np.concatenate(groups)) == list(range(5000))
    spread = max(np.ptp(t[g]) for g in groups)
    assert spread < 0.5 * np.ptp(t)


def test_like_slices_are_never_parted() -> None:
    t = np.tile([280.0, 290.0, 300.0], 500)
    groups = group_slices(t, 0 * t, 0 * t, 0 * t + 1)
    assert sorted(len(g) for g in groups) == [500, 500, 500]


def test_the_row_of_many_slices_is_one_at_the_critical_scale() -> None:
    made = case()
    wall = made.package.walls["film"]
    critical = scaled(wall, critical_factor(made, wall))
    demands = built(made, wall)
    assert len(demands.problem.environments) <= GROUPS
    assert value(demands, critical) == pytest.approx([1.0], abs=8e-5)


def test_other_walls_are_judged_as_with_every_slice_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    made = case()
    wall = made.package.walls["film"]
    grouped = built(made, wall)
    monkeypatch.setattr(slices, "MOST_SLICES", 10**6)
    single = built(made, wall)
    assert len(single.problem.environments) == 120
    for other in (
        wall_of(("HDPE", 300), ("tie", 5), ("EVOH 32", 4), ("tie", 5), ("LDPE", 30)),
        wall_of(("HDPE", 900), ("tie", 5), ("PET", 200)),
    ):
        assert value(grouped, other) == pytest.approx(value(single, other), rel=5e-3)

"""Two engines, one answer: the search by priced walks and the mixed-integer models of HiGHS.

Their lower bounds share no code (walks and multipliers here, boxes per rank in one Pyomo model there), so
each is the other's oracle: no bound of one may lie above a design of the other.
"""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.design.problem import Problem
from optimizer.design.ranked import RankedSearch
from optimizer.design.search import Search

from .enumeration import demands_of, rules_broken
from .instances import random_problem

GAP = 1e-3

MENUS = {
    "barriers": ("HDPE,LDPE,tie,EVOH 32,EVOH 44,PVDC", "HDPE,tie,EVOH 32,tie,LDPE"),
    "polyamides around the barrier": ("HDPE,tie,EVOH 32,EVOH 44,PA6", "HDPE,tie,PA6,EVOH 32,PA6"),
    "films and foil": ("HDPE,PP,tie,PET,PVDC,foil", "HDPE,tie,PVDC,tie,PET"),
    "everything": ("HDPE,LDPE,PP,tie,EVOH 32,PA6,PET,PVDC,foil", "HDPE,tie,EVOH 32,tie,LDPE"),
}


def drawn(seed: int, *, layers: int | None = None) -> Problem:
    rng = np.random.default_rng([7, seed])
    names, reference = list(MENUS.values())[seed % len(MENUS)]
    return random_problem(
        seed,
        names,
        layers=layers or int(rng.integers(5, 7)),
        reference=reference,
        stages=int(rng.integers(1, 4)),
        gases=("O2", "O2 H2O", "O2 H2O CO2")[int(rng.integers(3))],
        wet=("inside", "outside")[int(rng.integers(2))],
        water_varies=bool(rng.integers(2)),
        evoh_share=0.06 if rng.integers(2) else None,
        factor=float(rng.choice([1.0, 1.5])),
    )


def compare(problem: Problem, seconds: float) -> None:
    first = Search(problem).run(gap=GAP, time_limit=600.0)
    second = RankedSearch(problem).run(gap=GAP, time_limit=seconds)
    assert first.status != "time_limit"
    if first.best is None or second.best is None:
        # one engine may have run out of time without a design, but neither may deny one that exists
        assert first.best is None or second.status == "time_limit"
        assert second.best is None or first.status == "time_limit"
        return
    assert first.bound <= second.best.objective * (1 + 1e-7)
    assert second.bound <= first.best.objective * (1 + 1e-7)
    for choice in (first.best, second.best):
        x = choice.flat[None, :] / 1e-6
        assert demands_of(problem, choice.sequences, x).max() <= 1 + 1e-9
        assert rules_broken(problem, choice.sequences, x)[0] <= 1e-7


@pytest.mark.parametrize("seed", range(3))
def test_the_engines_agree(seed: int) -> None:
    compare(drawn(seed, layers=4 if seed % 2 else 5), 3.0)


@pytest.mark.slow
@pytest.mark.parametrize("seed", (*range(3, 8), *range(100, 200)))
def test_the_engines_agree_again(seed: int) -> None:
    compare(drawn(seed), 4.0)


def test_three_sensitive_layers_are_found_where_they_are_best() -> None:
    problem = random_problem(
        2, "HDPE,tie,EVOH 32,PA6", layers=5, reference="HDPE,tie,PA6,EVOH 32,PA6", stages=2, evoh_share=0.06
    )
    found = Search(problem).run(gap=GAP)
    assert found.status == "optimal" and found.best is not None
    compare(problem, 20.0)

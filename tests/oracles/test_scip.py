"""The certified search against SCIP, a general global solver, on the same problems.

The model given to SCIP is written independently of the search (``benchmarks.scip_rival``); it takes the
resistivity in the middle of a humidity-sensitive layer where the search takes the mean over it, so SCIP's
bound is compared with allowance for that difference, and its designs after polishing in the exact model.
"""

from __future__ import annotations

from typing import Any

import pytest

pytest.importorskip("pyscipopt")

from benchmarks.family import family
from benchmarks.scip_rival import Answer, excess, solve
from design.instances import random_problem

from optimizer.design.exact import ExactModel
from optimizer.design.problem import Problem
from optimizer.design.search import Outcome, Search

GAP = 1e-3
BARRIER = "HDPE,tie,EVOH 32,tie,LDPE"


def both(problem: Problem) -> tuple[Outcome, Answer]:
    return Search(problem).run(gap=GAP, time_limit=600.0), solve(problem, gap=GAP, seconds=600.0)


def agree(problem: Problem) -> None:
    outcome, answer = both(problem)
    assert outcome.status == answer.status == "optimal"
    assert outcome.best is not None and answer.choice is not None
    # neither has a design that the other's proof excludes
    assert outcome.best.objective <= answer.objective * (1 + 1.1 * GAP)
    assert answer.objective <= outcome.best.objective * (1 + 2 * GAP)
    assert outcome.bound <= answer.objective * (1 + 1e-6)
    # our design with all thicknesses times its excess keeps the demands of SCIP's model
    allowance = max(1.0, excess(problem, outcome.best)) * (1 + 1e-5)
    assert answer.bound <= outcome.best.objective * allowance
    # the two models describe the same walls
    for choice in (outcome.best, answer.choice):
        exact = ExactModel(problem).demand_values(choice.sequences, choice.flat[None, :]).max()
        assert excess(problem, choice) == pytest.approx(exact, rel=1e-2, abs=2e-3)
    assert answer.primal == pytest.approx(answer.objective, rel=5e-3)


@pytest.mark.parametrize(("name", "seed"), [("5/8/1/1", 2), ("5/8/1/1", 3), ("5/12/1/2", 102)])
def test_scip_finds_the_same_optimum_in_the_smallest_of_the_family(name: str, seed: int) -> None:
    agree(family(name, seed))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "seed"),
    [
        *(("5/8/1/1", s) for s in (1, 101, 102, 103)),
        *(("5/12/1/2", s) for s in (1, 2, 3, 101, 103)),
        *(("5/10 polyamide and EVOH", s) for s in (1, 101)),
        ("7/10 polyamide and EVOH", 1),
        ("7/15/4/2", 101),
    ],
)
def test_scip_finds_the_same_optimum_in_the_family(name: str, seed: int) -> None:
    agree(family(name, seed))


def drawn(seed: int, names: str, reference: str, **settings: Any) -> Problem:
    return random_problem(seed, names, reference=reference, **settings)


RANDOM: dict[str, tuple[str, str, dict[str, Any]]] = {
    "one gas": ("HDPE,LDPE,tie,EVOH 32", BARRIER, {"stages": 1, "gases": "O2", "layers": 5}),
    "two stages, a share": ("HDPE,LDPE,tie,EVOH 32,PET", BARRIER, {"layers": 5, "evoh_share": 0.06}),
    "wet outside": ("HDPE,tie,EVOH 32,PA6", "HDPE,tie,EVOH 32,tie,HDPE", {"layers": 5, "wet": "outside"}),
    "three gases": (
        *("PP,tie,EVOH 44,PET,PVDC", "PP,tie,EVOH 44,tie,PP"),
        {"layers": 5, "gases": "O2 H2O CO2", "stages": 3},
    ),
    "foil is there": ("LDPE,tie,foil,EVOH 44,PET", "LDPE,tie,EVOH 44,tie,PET", {"layers": 5}),
    "least and largest total": (
        *("HDPE,LDPE,tie,EVOH 32", BARRIER),
        {"layers": 5, "thickness": (60e-6, 400e-6), "keep": "LDPE"},
    ),
    "polyamide on both sides": (
        *("HDPE,tie,EVOH 32,EVOH 44,PA6", "HDPE,tie,PA6,EVOH 32,PA6"),
        {"layers": 5, "stages": 1},
    ),
    "two walls share one budget": (
        *("HDPE,PET,EVOH 44", "HDPE,EVOH 44,PET"),
        {"layers": 3, "anything": True, "areas": (0.05, 0.02)},
    ),
}


#: Take SCIP more than a few seconds.
LONG = ("two walls share one budget", "polyamide on both sides")


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        pytest.param(k, s, marks=[pytest.mark.slow] if s == 2 or k in LONG else [])
        for k in RANDOM
        for s in (1, 2)
    ],
)
def test_scip_finds_the_same_optimum_of_random_problems(kind: str, seed: int) -> None:
    names, reference, settings = RANDOM[kind]
    agree(drawn(seed, names, reference, **settings))


def test_scip_finds_no_wall_either_where_there_is_none() -> None:
    problem = drawn(1, "HDPE,LDPE,tie,EVOH 32", BARRIER, layers=5, factor=1e4, evoh_share=0.06)
    outcome, answer = both(problem)
    assert outcome.status == answer.status == "infeasible"
    assert answer.choice is None


def test_a_design_offered_as_a_start_is_not_lost() -> None:
    problem = family("5/12/1/2", 3)
    best = Search(problem).run(gap=GAP).best
    assert best is not None
    answer = solve(problem, gap=GAP, seconds=60.0, start=best)
    assert answer.objective <= best.objective * (1 + 1e-6)


def test_what_the_rival_does_not_model_is_refused() -> None:
    with pytest.raises(ValueError, match="does not model"):
        solve(family("7/10 water by activity", 1))

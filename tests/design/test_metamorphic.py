"""Relations between the answers of two projects that must hold whatever the numbers are.

Searches are proved to ``GAP``: where the optimum cannot rise, the design found cannot rise by more than that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from optimizer.design.optimise import Optimum, optimise
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Demand, Problem, Share, WallRules
from optimizer.design.search import Outcome, Search
from optimizer.shelflife.package import Case, Stage

from .cases import CASES, MONTH, options_of
from .instances import random_problem

GAP = 1e-4
ROOM = 1.0 + 2.0 * GAP
#: the limits are linearised anew for every project, and kept with a guard
SETTLED = 1.0 + 5e-4
SEEDS = range(24)
QUICK = (0, 1)
seeds = pytest.mark.parametrize(
    "seed", [s if s in QUICK else pytest.param(s, marks=pytest.mark.slow) for s in SEEDS]
)


#: candidates, and the wall that sets the limits
MENUS = (
    ("HDPE, tie, EVOH 32", "HDPE, tie, EVOH 32, tie, HDPE"),
    ("HDPE, LDPE, tie, PA6", "HDPE, tie, PA6"),
    ("PP, tie, EVOH 44, PET", "PP, tie, EVOH 44, tie, PET"),
    ("HDPE, tie, EVOH 32, PA6", "HDPE, tie, EVOH 32, PA6"),
)


def drawn(seed: int) -> Problem:
    """A wall of some of the materials, with a rule or two."""
    rng = np.random.default_rng(seed)
    names, reference = MENUS[seed % 4]
    return random_problem(
        seed,
        names,
        layers=5,
        gases=["O2", "O2 H2O"][seed % 2],
        wet=["inside", "outside"][seed // 2 % 2],
        water_varies=bool(rng.random() < 0.3),
        reference=reference,
        evoh_share=float(rng.uniform(0.1, 0.3)) if rng.random() < 0.5 else None,
        step=5e-6 if rng.random() < 0.2 else None,
        symmetric=bool(rng.random() < 0.2),
    )


def solved(problem: Problem, gap: float = GAP) -> Outcome:
    found = Search(problem).run(gap=gap, time_limit=600.0)
    assert found.status == "optimal" or (found.status == "infeasible" and found.best is None)
    return found


def cost(found: Outcome) -> float:
    return np.inf if found.best is None else found.best.objective


def walls(problem: Problem, change: Callable[[WallRules], WallRules]) -> Problem:
    return problem.with_walls(tuple(change(w) for w in problem.walls))


# -- problems ------------------------------------------------------------------------------------------------


@seeds
def test_a_cheaper_resin_never_raises_the_cost(seed: int) -> None:
    problem = drawn(seed)
    rng = np.random.default_rng(100 + seed)
    price = np.ones(len(problem.materials))
    price[rng.integers(len(price))] = rng.uniform(0.3, 0.95)
    cheaper = walls(problem, lambda w: replace(w, rate=w.rate * price))
    assert cost(solved(cheaper)) <= cost(solved(problem)) * ROOM


@seeds
def test_twice_the_prices_are_twice_the_cost_and_the_same_bound(seed: int) -> None:
    problem = drawn(seed)
    once, twice = solved(problem), solved(walls(problem, lambda w: replace(w, rate=2.0 * w.rate)))
    assert cost(twice) == pytest.approx(2.0 * cost(once), rel=2 * GAP)
    assert twice.bound <= 2.0 * cost(once) * (1 + 1e-9)
    assert once.bound <= 0.5 * cost(twice) * (1 + 1e-9)


def _shares(wall: WallRules) -> WallRules:
    return replace(wall, shares=tuple(replace(s, most=min(1.0, s.most + 0.05)) for s in wall.shares))


def _free(wall: WallRules) -> WallRules:
    return replace(wall, touching=~np.eye(len(wall.touching), dtype=bool))


LOOSER: dict[str, Callable[[Problem], Problem]] = {
    "one layer more": lambda p: walls(p, lambda w: replace(w, max_layers=w.max_layers + 1)),
    "smaller gauges": lambda p: walls(p, lambda w: replace(w, least=0.7 * w.least, step=None)),
    "larger gauges": lambda p: walls(p, lambda w: replace(w, most=1.3 * w.most)),
    "any pair may touch": lambda p: walls(p, _free),
    "any material inside": lambda p: walls(p, lambda w: replace(w, start=np.ones_like(w.start))),
    "any material outside": lambda p: walls(p, lambda w: replace(w, end=np.ones_like(w.end))),
    "a larger share": lambda p: walls(p, _shares),
    "no steps": lambda p: walls(p, lambda w: replace(w, step=None)),
    "no mirror": lambda p: walls(p, lambda w: replace(w, symmetric=False)),
    "limits 10 % looser": lambda p: p.weighted(1 / 1.1),
    "one limit less": lambda p: replace(p, demands=p.demands[1:]),
}


@pytest.mark.parametrize("name", LOOSER)
@pytest.mark.parametrize("seed", [0, *(pytest.param(s, marks=pytest.mark.slow) for s in range(1, 12))])
def test_a_rule_relaxed_never_raises_the_cost(name: str, seed: int) -> None:
    problem = drawn(seed)
    assert cost(solved(LOOSER[name](problem))) <= cost(solved(problem)) * ROOM


@seeds
def test_names_and_the_order_of_the_candidates_change_nothing(seed: int) -> None:
    problem = drawn(seed)
    order = np.random.default_rng(200 + seed).permutation(len(problem.materials))
    place = np.argsort(order)

    def moved(wall: WallRules) -> WallRules:
        return replace(
            wall,
            start=wall.start[order],
            end=wall.end[order],
            touching=wall.touching[np.ix_(order, order)],
            least=wall.least[order],
            most=wall.most[order],
            rate=wall.rate[order],
            shares=tuple(
                Share(s.name, tuple(s.content[m] for m in order), s.least, s.most) for s in wall.shares
            ),
            keep=tuple(int(place[k]) for k in wall.keep),
        )

    shuffled = replace(
        problem,
        materials=tuple(replace(problem.materials[m], name=f"resin {m}") for m in order),
        walls=tuple(moved(w) for w in problem.walls),
    )
    assert cost(solved(shuffled)) == pytest.approx(cost(solved(problem)), rel=GAP)


@seeds
def test_surroundings_split_in_two_equal_halves_change_nothing(seed: int) -> None:
    problem = drawn(seed)
    count = len(problem.environments)

    def halves(demand: Demand) -> Demand:
        once = [replace(t, weight=0.5 * t.weight) for t in demand.terms]
        again = [replace(t, environment=t.environment + count) for t in once]
        return replace(demand, terms=(*once, *again))

    split = replace(
        problem,
        environments=problem.environments * 2,
        demands=tuple(halves(d) for d in problem.demands),
    )
    assert cost(solved(split)) == pytest.approx(cost(solved(problem)), rel=GAP)


# -- projects ------------------------------------------------------------------------------------------------

NAMES = (
    "carbon dioxide loss",
    *(
        pytest.param(n, marks=pytest.mark.slow)
        for n in (
            "oxygen gain of a drink",
            "headspace oxygen of a pouch",
            "water loss of a drink",
            "oxygen gain beside a cap",
        )
    ),
)
cases = pytest.mark.parametrize("name", NAMES)
FEW = options_of("HDPE", "tie", "EVOH 32", max_layers=5)


def designed(case: Case, options: DesignOptions = FEW) -> Optimum:
    found = optimise(case, options, gap=GAP, explaining=False)
    assert found.status in ("optimal", "infeasible")
    return found


@pytest.mark.parametrize("months", [(-2, 1), pytest.param((-2, 0, 1), marks=pytest.mark.slow)])
@cases
def test_a_longer_target_never_lowers_the_cost(name: str, months: tuple[int, ...]) -> None:
    case = CASES[name]()
    assert case.target is not None
    costs = [designed(replace(case, target=case.target + k * MONTH)).objective for k in months]
    assert all(a <= b * SETTLED for a, b in pairwise(costs))


@cases
def test_a_stage_split_in_two_equal_halves_changes_nothing(name: str) -> None:
    case = CASES[name]()

    def halves(stage: Stage) -> tuple[Stage, Stage]:
        half = replace(stage, duration=0.5 * stage.duration)
        return replace(half, name=f"{stage.name}, first half"), replace(
            half, name=f"{stage.name}, second half"
        )

    split = replace(case, storage=tuple(h for stage in case.storage for h in halves(stage)))
    assert designed(split).objective == pytest.approx(designed(case).objective, rel=SETTLED - 1)


@cases
def test_names_prices_and_order_of_the_candidates_count_as_they_should(name: str) -> None:
    """Other names and another order change nothing, twice the prices double the cost."""
    case = CASES[name]()
    other = replace(
        FEW,
        candidates=tuple(
            replace(m, name=f"resin {k}", price=2.0 * (m.price or 0.0))
            for k, m in enumerate(reversed(FEW.candidates))
        ),
    )
    assert designed(case, other).objective == pytest.approx(2.0 * designed(case).objective, rel=SETTLED - 1)

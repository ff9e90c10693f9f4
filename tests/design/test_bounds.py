"""Bounds of single nodes of the search against real structures that lie in them.

A structure is drawn, its node is built around it (its barriers as singles, boxes around their places in the
exact model), multipliers are drawn as well: whatever they are, the bound may not exceed the objective of the
structure, because the structure meets every row of the node.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.design.boxes import Box
from optimizer.design.curves import GasCurves, WaterCurves
from optimizer.design.frame import Key, Zoning
from optimizer.design.problem import Problem
from optimizer.design.relax import Relaxation
from optimizer.design.rows import Multipliers
from optimizer.design.search import Search

from .enumeration import cost_of, demands_of, rules_broken, sequences_of
from .instances import random_problem

Array = NDArray[np.float64]
UM = 1e-6


def drawn(seed: int) -> Problem:
    rng = np.random.default_rng([3, seed])
    return random_problem(
        seed,
        "HDPE,LDPE,tie,EVOH 32,EVOH 44,PA6",
        layers=5,
        reference="HDPE,tie,EVOH 32,PA6",
        stages=3,
        gases="O2 H2O CO2",
        wet=("inside", "outside")[int(rng.integers(2))],
        water_varies=bool(rng.integers(2)),
        evoh_share=0.3,
        factor=0.2,
    )


def places(search: Search, sequence: tuple[int, ...], x: Array, c: int) -> Array:
    """(layers, 2): place and own share of every layer in a position class, by the exact model."""
    exact, cls = search.closing.exact, search.closing.classes[c]
    profile = exact.profile(cls.wall, sequence, x[None, :] * UM)
    faces = profile.faces[0, exact.used[cls.wall].index.index(cls.environments[0])]
    share = (faces[0] - faces) / (faces[0] - faces[-1])
    return np.stack([0.5 * (share[:-1] + share[1:]), np.diff(share)], axis=1)


@pytest.mark.parametrize("seed", range(12))
def test_no_multipliers_lift_a_bound_above_a_structure_of_the_node(seed: int) -> None:
    problem = drawn(seed)
    search = Search(problem)
    (wall,) = problem.walls
    (frame,) = search.frames
    rng = np.random.default_rng(seed)
    everything = tuple(range(len(problem.materials)))
    possible = sequences_of(wall)
    # multipliers of the right size: those of the root's own programme
    root = Relaxation(
        search.frames, search.rules, search.tangents, search.closing.solver, [Zoning((everything,))], {}
    )
    good = root.solve([], np.inf, search.unit).multipliers
    assert good is not None
    looked = 0
    while looked < 12:
        sequence = possible[int(rng.integers(len(possible)))]
        least, most = wall.least[list(sequence)] / UM, wall.most[list(sequence)] / UM
        x = least * (most / least) ** rng.uniform(0, 1, len(sequence)) ** 1.5
        one = (sequence,)
        if demands_of(problem, one, x[None]).max() > 1 or rules_broken(problem, one, x[None])[0] > 1e-9:
            continue
        looked += 1
        objective = float(cost_of(problem, one) @ x)
        walk = list(reversed(range(len(sequence)))) if frame.inward else list(range(len(sequence)))
        singles = [i for i in walk if problem.sensitive[sequence[i]]]
        members: list[tuple[int, ...]] = [everything]
        for i in singles:
            family = [
                m for m in everything if problem.materials[m].family == problem.materials[sequence[i]].family
            ]
            members += [tuple(family), everything]
        boxes: dict[Key, Box] = {}
        for c in range(len(search.closing.classes)):
            found = places(search, sequence, x, c)
            for j, i in enumerate(singles):
                f, s = found[i]
                wide = rng.uniform(0, 0.1, 4)
                boxes[0, j, c] = Box(
                    float(max(0, f - wide[0])),
                    float(min(1, f + wide[1])),
                    float(max(0, s - wide[2])),
                    float(min(1, s + wide[3])),
                )
        node = Relaxation(
            search.frames,
            search.rules,
            search.tangents,
            search.closing.solver,
            [Zoning(tuple(members))],
            boxes,
        )
        own = node.solve([good], np.inf, search.unit)
        trials = [good, *([own.multipliers] if own.multipliers else [])]
        for u in list(trials):
            for _ in range(4):
                trials.append(
                    Multipliers(
                        tuple((q, v * float(rng.lognormal(0, 1))) for q, v in u.tangents),
                        tuple(v * float(rng.lognormal(0, 1)) for v in u.rules),
                        tuple(
                            (k, float(rng.lognormal(0, 2)) * objective)
                            for k in node.places
                            if rng.integers(2)
                        ),
                    )
                )
        _, _, bounds = node.walks(trials)
        assert bounds.max() <= objective * (1 + 1e-9)
        assert own.bound <= objective * (1 + 1e-9)


@pytest.mark.parametrize("name", ["EVOH 32", "PA6"])
@pytest.mark.parametrize("water_varies", [False, True])
def test_resistivity_in_a_box_is_never_below_that_of_a_layer_in_it(name: str, water_varies: bool) -> None:
    problem = random_problem(
        4, f"HDPE,tie,{name}", layers=3, reference="HDPE", stages=3, water_varies=water_varies
    )
    material = problem.materials[2]
    gas, water = material.gas_law("O2"), material.water_law()
    inside = np.array([e.inside for e in problem.environments] + [0.1, 0.95])
    outside = np.array([e.outside for e in problem.environments] + [0.9, 0.2])
    curves = GasCurves([(gas, water)], inside, outside)
    waters = WaterCurves([water], inside, outside)
    rng = np.random.default_rng(1)
    for _ in range(200):
        # in layers thinner still the exact mean itself loses digits (a difference of two near integrals)
        s = float(rng.uniform(0.1, 1) ** 3)
        f = float(rng.uniform(s / 2, 1 - s / 2))
        a, b = rng.uniform(0, 0.2, 2)
        box = Box(max(0.0, f - a), min(1.0, f + b), max(0.0, s - a / 2), min(1.0, s + b / 2))
        first = inside - (f - s / 2) * (inside - outside)
        second = inside - (f + s / 2) * (inside - outside)
        mean = material.mean_resistivity("O2", gas.temperature, first, second)
        assert np.all(curves.best_mean(0, box) >= mean * (1 - 1e-9))
        assert np.all(curves.ceiling(f - s / 2, f + s / 2)[0] >= mean * (1 - 1e-9))
        slope = (water.potential(first) - water.potential(second)) / np.where(
            first == second, 1.0, first - second
        )
        low, high = waters.mean_slopes(0, box)
        assert np.all((low <= slope * (1 + 1e-9)) & (slope <= high * (1 + 1e-9)))


def test_a_charge_per_layer_enters_bound_and_objective_alike() -> None:
    problem = drawn(1)
    wall = problem.walls[0]
    charged = problem.with_walls((replace(wall, fixed=np.full(len(problem.materials), 1e-3)),))
    plain, dear = (Search(p).run(gap=1e-3) for p in (problem, charged))
    assert plain.best is not None and dear.best is not None
    layers = len(dear.best.sequences[0])
    assert dear.best.objective >= plain.best.objective * (1 - 1e-3) + 1e-3 * layers - 1e-12
    assert dear.bound <= dear.best.objective

"""The optimiser's model of a wall against the physics it stands for, and against sums written by hand."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize

from optimizer.design.exact import ExactModel
from optimizer.design.polish import Polisher, linear_rules
from optimizer.design.problem import Environment, Problem, most_sensitive_layers
from optimizer.physics.laminate import permeance

from .enumeration import UM, all_sequences, cost_of, demands_of, rules_broken, sequences_of
from .instances import random_problem

MIXED = "HDPE,tie,EVOH 32,PA6,PET"


def drawn(seed: int, **changes: object) -> Problem:
    rng = np.random.default_rng(seed)
    settings: dict[str, object] = {
        "layers": 4,
        "gases": "O2 H2O CO2",
        "stages": int(rng.integers(1, 4)),
        "wet": "inside" if rng.integers(2) else "outside",
        "water_varies": bool(rng.integers(2)),
        "reference": "HDPE,tie,EVOH 32,tie,HDPE",
        "anything": True,
    }
    return random_problem(seed, MIXED, **{**settings, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(30))
def test_resistances_of_the_model_are_those_of_the_laminate(seed: int) -> None:
    problem = drawn(seed)
    rng = np.random.default_rng(seed)
    exact = ExactModel(problem)
    options = sequences_of(problem.walls[0])
    sequence = options[rng.integers(len(options))]
    x = rng.uniform(3e-6, 200e-6, (4, len(sequence)))
    found = exact.resistances(0, sequence, x)
    stack = [problem.materials[m] for m in sequence]
    for gas in ("O2", "H2O", "CO2"):
        for column, e in enumerate(exact.used[0].index):
            env = problem.environments[e]
            expected = 1.0 / permeance(stack, x, gas, env.temperature, env.inside, env.outside)
            assert found[gas][:, column] == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("seed", range(20))
def test_demand_values_are_the_weighted_sum_of_permeances_of_every_wall(seed: int) -> None:
    problem = drawn(seed, areas=(0.05, 0.02), layers=3)
    rng = np.random.default_rng(seed)
    options = list(all_sequences(problem))
    sequences = options[rng.integers(len(options))]
    x = rng.uniform(3e-6, 200e-6, (3, sum(len(s) for s in sequences)))
    found = ExactModel(problem).demand_values(sequences, x)
    for d, demand in enumerate(problem.demands):
        for b in range(len(x)):
            total, first = 0.0, 0
            for w, sequence in enumerate(sequences):
                part = x[b, first : first + len(sequence)]
                first += len(sequence)
                for term in demand.terms:
                    if term.wall == w:
                        env = problem.environments[term.environment]
                        stack = [problem.materials[m] for m in sequence]
                        total += term.weight * float(
                            permeance(stack, part, demand.gas, env.temperature, env.inside, env.outside)
                        )
            assert found[b, d] == pytest.approx(total, rel=1e-8)


def test_equal_humidity_on_both_sides_gives_the_permeance_at_that_humidity() -> None:
    problem = drawn(3)
    problem = Problem(
        problem.materials,
        (Environment(300.0, 0.55, 0.55),) * len(problem.environments),
        problem.walls,
        problem.demands,
    )
    sequence, x = (0, 2, 0), np.array([[50e-6, 8e-6, 40e-6]])
    found = ExactModel(problem).resistances(0, sequence, x)
    stack = [problem.materials[m] for m in sequence]
    by_hand = sum(t / float(m.gases["O2"].at(300.0, 0.55)) for m, t in zip(stack, x[0], strict=True))
    assert found["O2"][0, 0] == pytest.approx(by_hand, rel=1e-5)


@pytest.mark.parametrize("seed", range(10))
def test_shares_of_a_demand_add_up_and_point_downhill(seed: int) -> None:
    """The tangent made of the shares touches the demand at its own point and lies above it nowhere else."""
    problem = drawn(seed, water_varies=False, gases="O2", stages=3)
    exact = ExactModel(problem)
    rng = np.random.default_rng(seed)
    sequences = ((0, 1, 0),)  # nothing sensitive: the demand is a convex function of the thicknesses
    here = rng.uniform(20e-6, 300e-6, 3)
    (share,) = exact.shares_of_demand(sequences, list(here))
    assert share.sum() == pytest.approx(1.0, rel=1e-12)
    weight = np.array([t.weight for t in problem.demands[0].terms])
    for point in [here, *rng.uniform(20e-6, 300e-6, (20, 3))]:
        resistance = exact.resistances(0, sequences[0], point[None, :])["O2"][0]
        tangent = float(np.sum(share**2 / weight * resistance))
        value = float(exact.demand_values(sequences, point[None, :])[0, 0])
        assert tangent * value >= 1 - 1e-9
    resistance = exact.resistances(0, sequences[0], here[None, :])["O2"][0]
    assert np.sum(share**2 / weight * resistance) * exact.demand_values(sequences, here[None, :])[
        0, 0
    ] == pytest.approx(1.0)


@pytest.mark.parametrize("seed", range(10))
def test_linear_rules_hold_exactly_where_the_rules_in_words_hold(seed: int) -> None:
    problem = drawn(seed, evoh_share=0.1, thickness=(120e-6, 400e-6), gases="O2")
    sequences = ((0, 1, 2, 0),)
    rng = np.random.default_rng(seed)
    x = np.column_stack(
        [
            rng.uniform(20, 250, 200),
            rng.uniform(3, 20, 200),
            rng.uniform(3, 60, 200),
            rng.uniform(20, 250, 200),
        ]
    )
    rows, low, high = linear_rules(problem, sequences)
    inside = np.all((x @ rows.T >= low - 1e-9) & (x @ rows.T <= high + 1e-9), axis=1)
    expected = rules_broken(problem, sequences, x) <= 1e-12
    assert 10 < expected.sum() < 190
    assert (inside == expected).all()


@pytest.mark.parametrize("seed", range(6))
def test_the_polished_point_meets_every_demand_and_costs_what_it_says(seed: int) -> None:
    problem = drawn(seed, evoh_share=0.2)
    sequences = ((0, 1, 2, 0),)
    choice = Polisher(ExactModel(problem)).best(sequences, [np.array([60.0, 5.0, 10.0, 60.0])])
    assert choice is not None
    x = choice.flat[None, :] / UM
    assert demands_of(problem, sequences, x).max() <= 1.0
    assert rules_broken(problem, sequences, x)[0] <= 1e-7
    assert choice.objective == pytest.approx(float(cost_of(problem, sequences) @ x[0]), rel=1e-12)


@pytest.mark.parametrize("layers", [1, 3, 4, 5])
def test_the_most_sensitive_layers_are_counted_as_in_the_list_of_all_sequences(layers: int) -> None:
    for names in ("HDPE,tie,EVOH 32,PA6", "LDPE,tie,EVOH 44,EVOH 32", "HDPE,PET,EVOH 32"):
        for anything in (False, True):
            problem = random_problem(
                1, names, layers=layers, reference=names.split(",")[0], anything=anything
            )
            wall = problem.walls[0]
            counted = max(sum(problem.sensitive[m] for m in s) for s in sequences_of(wall))
            assert most_sensitive_layers(wall, problem.sensitive) == counted


def test_a_step_of_the_local_solver_a_bit_outside_the_bounds_is_no_warning(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # scipy 1.14 warns of it, later ones do not (optimize/_optimize.py, _check_clip_x)
    def older(*arguments: Any, **options: Any) -> Any:
        warnings.warn("Values in x were outside bounds during a minimize step", RuntimeWarning, stacklevel=2)
        return minimize(*arguments, **options)

    monkeypatch.setattr("optimizer.design.polish.minimize", older)
    problem = drawn(3)
    sequences = next(iter(all_sequences(problem)))
    layers = sum(map(len, sequences))
    Polisher(ExactModel(problem)).continuous(sequences, np.full(layers, 50.0))

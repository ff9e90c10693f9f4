"""First designs: the walls that the project gives, and what a practitioner would try next, each layer or each
material as thick as it may be. They are known before any proof begins, so a project whose own wall passes
never ends without a design."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from optimizer.design.exact import ExactModel
from optimizer.design.lattice import StepPolisher, follows_rules
from optimizer.design.layout import UM, allowed
from optimizer.design.options import DesignOptions
from optimizer.design.polish import Sequences, gauge_steps, gauges, linear_rules
from optimizer.design.problem import Choice, Problem
from optimizer.design.rules import wall_rules
from optimizer.shelflife.package import Case, Wall

Array = NDArray[np.float64]


def sequences_given(problem: Problem, options: DesignOptions, walls: Mapping[str, Wall]) -> Sequences | None:
    """The given walls as candidates; None where a layer is none of them or the rules forbid the order."""
    index = {m.name: k for k, m in enumerate(options.candidates)}
    found = []
    for name, rules in zip(options.walls, problem.walls, strict=True):
        sequence = tuple(index.get(layer.material.name, -1) for layer in walls[name].layers)
        if -1 in sequence or not allowed(rules, sequence):
            return None
        found.append(sequence)
    return tuple(found)


def thicknesses_given(options: DesignOptions, walls: Mapping[str, Wall]) -> Array:
    """Of all layers of the designed walls in order [um]."""
    return np.array([x.thickness for w in options.walls for x in walls[w].layers]) / UM


def given_choice(case: Case, options: DesignOptions) -> Choice | None:
    """The walls of the project as they are, None where they break a rule; the limits are not looked at."""
    walls = case.package.walls
    rules = wall_rules(case, options, {w: walls[w].thickness for w in options.walls})
    problem = Problem(options.candidates, (), rules, ())
    sequences = sequences_given(problem, options, walls)
    x = thicknesses_given(options, walls)
    if sequences is None or not follows_rules(problem, sequences, x):
        return None
    return StepPolisher(ExactModel(problem)).choice(sequences, x)


def first_design(polisher: StepPolisher, options: DesignOptions, walls: Mapping[str, Wall]) -> Choice | None:
    """The best design known from the given walls and crude thickenings of them, thicknesses polished; None
    where none of these meets the demands."""
    problem = polisher.problem
    sequences = sequences_given(problem, options, walls)
    if sequences is None:
        return None
    tried = _thickenings(problem, sequences, thicknesses_given(options, walls))
    rows, low, high = linear_rules(problem, sequences)
    good = [
        x
        for x in tried
        if follows_rules(problem, sequences, x) and polisher.feasible(sequences, x, rows, low, high)
    ]
    if not good:
        return None
    start = min(good, key=lambda x: polisher.exact.value(sequences, x * UM))
    known = polisher.choice(sequences, start)
    better = polisher.best(sequences, [start])
    if better is None or better.objective > known.objective:
        better = polisher.thinned(sequences, start)
    return min(known, better, key=lambda c: c.objective)


def _thickenings(problem: Problem, sequences: Sequences, given: Array) -> list[Array]:
    """The given thicknesses [um] within the gauges, and each layer and each material as thick as the gauges
    and the other rules allow."""
    least, most = gauges(problem, sequences)
    steps = gauge_steps(problem, sequences)
    stepped = np.array([w.step is not None for w, s in zip(problem.walls, sequences, strict=True) for _ in s])

    def on_steps(x: Array) -> Array:
        return np.where(stepped, np.floor(x / steps + 1e-6) * steps, x)

    start = np.clip(given, least, most)
    start = np.where(stepped, np.ceil(start / steps - 1e-6) * steps, start)
    stack = np.array([m for s in sequences for m in s])
    groups = [np.arange(len(stack)) == i for i in range(len(stack))]
    groups += [stack == m for m in np.unique(stack)]
    rows, _, high = linear_rules(problem, sequences)
    found = [start]
    for group in groups:
        room = np.where(group, most - start, 0.0)
        share = 1.0
        for row, side in zip(rows, high, strict=True):
            rise = float(row @ room)
            if rise > 0 and np.isfinite(side):
                share = min(share, max(0.0, (side - float(row @ start)) / rise))
        # what is given may stay as it is; a thicker layer is cut to whole steps
        found.append(np.where(group, np.maximum(on_steps(start + share * room), start), start))
    return found

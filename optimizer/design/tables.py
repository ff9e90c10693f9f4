"""Resistivities of every material in every condition of a problem, computed once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.design.boxes import depends_on_place, resistivity_at
from optimizer.design.layout import UM, PositionClass
from optimizer.design.problem import Problem


class Tables:
    """Resistivities per um of every material in every term of every demand, computed once for a problem.

    resistivity and moves: (terms, materials), moves where the value depends on the layer's place (0 there);
    places: (wall, position class or -1) of each term; water: (classes, materials), 0 where water_moves.
    """

    def __init__(self, problem: Problem, classes: Sequence[PositionClass]) -> None:
        rows: list[list[float]] = []
        moves: list[list[bool]] = []
        self.places: list[tuple[int, int]] = []
        for demand in problem.demands:
            for term in demand.terms:
                env = problem.environments[term.environment]
                c = next(
                    (
                        c
                        for c, k in enumerate(classes)
                        if k.wall == term.wall and term.environment in k.environments
                    ),
                    -1,
                )
                self.places.append((term.wall, c))
                depends = [c >= 0 and depends_on_place(m, demand.gas) for m in problem.materials]
                moves.append(depends)
                rows.append(
                    [
                        0.0 if moving else UM * resistivity_at(m, demand.gas, env)
                        for m, moving in zip(problem.materials, depends, strict=True)
                    ]
                )
        shape = (len(rows), len(problem.materials))
        self.resistivity = np.array(rows).reshape(shape)
        self.moves = np.array(moves, dtype=bool).reshape(shape)
        self.term_start = np.cumsum([0, *(len(d.terms) for d in problem.demands)])
        self.weights = [np.array([t.weight for t in d.terms]) for d in problem.demands]
        laws = [m.water_law() for m in problem.materials]
        self.water_moves = np.array([law.humidity_sensitive for law in laws])
        self.water = np.array(
            [
                [
                    0.0
                    if law.humidity_sensitive
                    else UM / (law.slopes[0] * float(law.factor(k.reference.temperature)))
                    for law in laws
                ]
                for k in classes
            ]
        ).reshape(len(classes), len(laws))

"""The last word on layers and thicknesses: a Pyomo model over the sequences that can still win.

The search proves which sequences remain; this model chooses one of them for the walls and its thicknesses, in
whole gauge steps where asked for. Demands enter as tangents of the exact model: HiGHS proposes, the exact
model judges, tangents are added where it disagrees, until a proposal is met exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyomo.environ as pyo
from numpy.typing import NDArray
from pyomo.contrib.appsi.base import TerminationCondition
from pyomo.contrib.appsi.solvers.highs import Highs
from pyomo.core.expr import LinearExpression

from optimizer.design.layout import UM
from optimizer.design.polish import Polisher, Sequences, gauges, linear_rules
from optimizer.design.problem import Choice, Problem

Array = NDArray[np.float64]

#: Proposals tried, and how far inside a demand a tangent is pushed where curvature fools it.
_TRIES, _PUSH = 12, 1e-9


class Selection:
    """y: which candidate; x [um] or n [steps]: thicknesses of its layers, zero for the others."""

    def __init__(self, polisher: Polisher, candidates: Sequence[Choice]) -> None:
        self.polisher, self.candidates = polisher, list(candidates)
        self.problem: Problem = polisher.problem
        self.model: Any = pyo.ConcreteModel()
        self.model.rules, self.model.tangents = pyo.ConstraintList(), pyo.ConstraintList()
        self.model.y = pyo.Var(range(len(self.candidates)), domain=pyo.Binary)
        self.x: list[list[Any]] = []
        self.unit = max(1e-12, *(c.objective for c in self.candidates))
        goal: list[tuple[float, Any]] = []
        for k, choice in enumerate(self.candidates):
            goal += self._candidate(k, choice.sequences)
            self._tangents(k, choice.flat / UM)
        self._row([(1.0, self.model.y[k]) for k in range(len(self.candidates))], 1.0, 1.0, self.model.rules)
        self.model.goal = pyo.Objective(expr=_linear(goal))

    def _candidate(self, k: int, sequences: Sequences) -> list[tuple[float, Any]]:
        exact = self.polisher.exact
        y = self.model.y[k]
        least, most = gauges(self.problem, sequences)
        steps = [w.step for w, s in zip(self.problem.walls, sequences, strict=True) for _ in s]
        x = pyo.Var(range(len(least)), domain=pyo.NonNegativeReals)
        setattr(self.model, f"x{k}", x)
        whole = [i for i, step in enumerate(steps) if step]
        if whole:
            count = pyo.Var(whole, domain=pyo.NonNegativeIntegers)
            setattr(self.model, f"n{k}", count)
            for i in whole:
                self._row([(1.0, x[i]), (-(steps[i] or 0.0) / UM, count[i])], 0.0, 0.0, self.model.rules)
        self.x.append([x[i] for i in range(len(least))])
        for i in range(len(least)):
            self._row([(1.0, x[i]), (-least[i], y)], 0.0, None, self.model.rules)
            self._row([(1.0, x[i]), (-most[i], y)], None, 0.0, self.model.rules)
        rows, low, high = linear_rules(self.problem, sequences)
        for row, a, b in zip(rows, low, high, strict=True):
            body = [(float(v), x[i]) for i, v in enumerate(row) if v != 0.0]
            if np.isfinite(a):
                self._row([*body, (-float(a), y)], 0.0, None, self.model.rules)
            if np.isfinite(b):
                self._row([*body, (-float(b), y)], None, 0.0, self.model.rules)
        cost = exact.objective(sequences) * UM / self.unit
        charge = exact.fixed(sequences) / self.unit
        return [(float(c), v) for c, v in zip(cost, self.x[k], strict=True)] + [(charge, y)]

    def _tangents(self, k: int, x: Array, push: float = 0.0) -> None:
        """The demands of candidate k linearised at x [um], each  slope * x >= side."""
        sequences = self.candidates[k].sequences
        value, slope = self.polisher.margins(sequences, x)[0], self.polisher.gradient(sequences, x)
        for v, s in zip(value, slope, strict=True):
            side = float(s @ x - v) + push + (abs(float(v)) if push and v < 0 else 0.0)
            body = [(float(c), var) for c, var in zip(s, self.x[k], strict=True)]
            self._row([*body, (-side, self.model.y[k])], 0.0, None, self.model.tangents)

    @staticmethod
    def _row(body: list[tuple[float, Any]], low: float | None, high: float | None, where: Any) -> None:
        where.add((low, _linear(body), high))

    def best(self, seconds: float) -> Choice | None:
        """The choice of the model that the exact model accepts; None if none was reached."""
        solver = Highs()
        solver.config.load_solution = False
        solver.config.time_limit = max(0.1, seconds)
        solver.highs_options = {"mip_rel_gap": 1e-7, "random_seed": 0, "mip_feasibility_tolerance": 1e-9}
        last: dict[int, Array] = {}
        for _ in range(_TRIES):
            outcome: Any = solver.solve(self.model)
            if outcome.termination_condition != TerminationCondition.optimal:
                return None
            outcome.solution_loader.load_vars()
            k = max(range(len(self.candidates)), key=lambda i: self.model.y[i].value or 0.0)
            sequences = self.candidates[k].sequences
            x = self._rounded(sequences, np.array([v.value or 0.0 for v in self.x[k]]))
            if self.polisher.feasible(sequences, x, *linear_rules(self.problem, sequences)):
                return self.polisher.choice(sequences, x)
            again = k in last and np.allclose(last[k], x)
            self._tangents(k, x, _PUSH if again else 0.0)
            last[k] = x
        return None

    def _rounded(self, sequences: Sequences, x: Array) -> Array:
        """Within the gauges, and exactly on the steps."""
        least, most = gauges(self.problem, sequences)
        step = np.array(
            [(w.step or 0.0) / UM for w, s in zip(self.problem.walls, sequences, strict=True) for _ in s]
        )
        on = np.where(step > 0, np.round(x / np.where(step > 0, step, 1.0)) * step, x)
        return np.clip(on, least, most)


def _linear(body: Sequence[tuple[float, Any]]) -> Any:
    return LinearExpression(linear_coefs=[c for c, _ in body], linear_vars=[v for _, v in body])


def select(polisher: Polisher, candidates: Sequence[Choice], seconds: float) -> Choice | None:
    """The best of the candidates' sequences with thicknesses chosen anew, or None."""
    return Selection(polisher, candidates).best(seconds) if candidates else None

"""Whole gauge steps near a continuous optimum, also where the exact model is far from convex.

The outer approximation of ``polish`` takes the demands as straight beyond the continuous optimum. Where a
humidity law is flat it may swap a thick inner layer for a thick outer one, find itself far from every design,
and end with none. Here the same programme is kept within a few steps of the optimum where that happens, and
a design once known is thinned step by step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import LinearConstraint, milp

from optimizer.design.layout import UM
from optimizer.design.polish import SECONDS, Polisher, Sequences, gauge_steps, gauges, linear_rules
from optimizer.design.problem import Choice, Problem

Array = NDArray[np.float64]

#: Steps either way from the continuous optimum, tried in turn, and rounds of linearising in each.
_WINDOWS, _ROUNDS = (2, 10, 50), 12
#: Rounds over all layers when a design is thinned.
_PASSES = 20


def follows_rules(problem: Problem, sequences: Sequences, x: Array) -> bool:
    """Whether thicknesses x [um] keep the gauges, the steps and the linear rules (to 1e-7 of their size)."""
    least, most = gauges(problem, sequences)
    slack = 1e-7 * most
    if np.any(x < least - slack) or np.any(x > most + slack):
        return False
    steps = gauge_steps(problem, sequences)
    stepped = np.array(
        [w.step is not None for w, s in zip(problem.walls, sequences, strict=True) for _ in s], dtype=bool
    )
    if np.any(np.abs(x / steps - np.round(x / steps))[stepped] > 1e-6):
        return False
    rows, low, high = linear_rules(problem, sequences)
    value = rows @ x
    room = 1e-7 * (np.abs(rows) @ np.abs(x))
    return bool(np.all(value >= low - room) and np.all(value <= high + room))


class StepPolisher(Polisher):
    """A ``Polisher`` that does not lose its way on the lattice."""

    def lattice(self, sequences: Sequences, around: Array) -> Choice | None:
        """Cheapest thicknesses found in whole gauge steps near a continuous optimum [um]."""
        found = super().lattice(sequences, around)
        cost = self.exact.objective(sequences) * UM
        near = float(cost @ around + np.abs(cost) @ gauge_steps(self.problem, sequences))
        if found is not None and found.objective - self.exact.fixed(sequences) <= near:
            return found
        for window in _WINDOWS:
            other = self._within(sequences, around, window)
            if other is not None:
                return other if found is None else min(found, other, key=lambda c: c.objective)
        return found

    def _within(self, sequences: Sequences, around: Array, window: int) -> Choice | None:
        """The cheapest point of the outer approximation within so many steps of a point [um], once the
        exact model accepts it."""
        problem = self.problem
        cost, step = self.exact.objective(sequences) * UM, gauge_steps(problem, sequences)
        least, most = gauges(problem, sequences)
        rows, low, high = linear_rules(problem, sequences)
        bounds = (
            np.maximum(np.ceil(least / step - 1e-9), np.floor(around / step) - window),
            np.minimum(np.floor(most / step + 1e-9), np.ceil(around / step) + window),
        )
        if np.any(bounds[0] > bounds[1]):
            return None
        slopes, sides = np.zeros((0, len(step))), np.zeros(0)
        point, push = around, 0.0
        for _ in range(_ROUNDS):
            value, slope = self.margins(sequences, point)[0], self.gradient(sequences, point)
            side = slope @ point - value + np.where(value < 0, push, 0.0)
            slopes, sides = np.concatenate([slopes, slope]), np.concatenate([sides, side])
            conditions = [LinearConstraint(slopes * step, sides, np.inf)] if len(sides) else []
            if len(rows):
                conditions.append(LinearConstraint(rows * step, low, high))
            outcome = milp(
                cost * step,
                integrality=np.ones(len(step)),
                bounds=bounds,
                constraints=conditions,
                options={"time_limit": SECONDS, "mip_rel_gap": 1e-6},
            )
            if outcome.x is None:
                return None
            new = np.round(outcome.x) * step
            if self.feasible(sequences, new, rows, low, high):
                return self.choice(sequences, new)
            push = 2 * push + 1e-4 if np.allclose(new, point) else push
            point = new
        return None

    def thinned(self, sequences: Sequences, x: Array) -> Choice:
        """A design x [um] with every layer as thin as the others leave it, the dearest first, step by step
        (um by um without steps)."""
        cost = self.exact.objective(sequences) * gauge_steps(self.problem, sequences)
        for _ in range(_PASSES):
            before = x
            for i in np.argsort(-cost):
                if cost[i] > 0:
                    x = self._thinner(sequences, x, int(i))
            if np.array_equal(before, x):
                break
        return self.choice(sequences, x)

    def _thinner(self, sequences: Sequences, x: Array, i: int) -> Array:
        """Layer i cut by as many steps as halving finds that the demands and rules allow."""
        step = gauge_steps(self.problem, sequences)[i]
        least, _ = gauges(self.problem, sequences)
        rows, low, high = linear_rules(self.problem, sequences)
        kept, cut = 0, int(np.floor((x[i] - least[i]) / step + 1e-9))
        refused = cut + 1
        while kept + 1 < refused:
            tried = x.copy()
            tried[i] = x[i] - cut * step
            if self.feasible(sequences, tried, rows, low, high):
                kept = cut
            else:
                refused = cut
            cut = (kept + refused) // 2
        thinner = x.copy()
        thinner[i] = x[i] - kept * step
        return thinner

"""The best thicknesses of a given sequence of materials in the exact model (upper bounds of the design).

Each demand is written 1/D - 1 >= 0 with D = sum of weight * permeance: for fixed permeabilities that is a
concave function of the thicknesses, so the set is convex and a local solver finds its optimum. Humidity
bends it a little.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import LinearConstraint, milp, minimize

from optimizer.design.exact import ExactModel
from optimizer.design.layout import UM
from optimizer.design.problem import Choice, Problem

Array = NDArray[np.float64]
Sequences = tuple[tuple[int, ...], ...]

#: Demand values below this count as this: beyond it more barrier changes nothing (a foil blocks altogether).
_FAR = 1e-4
#: How far inside the demand the local solver is asked to stay, tried in turn until the exact model agrees.
_MARGINS = (2e-9, 1e-7, 1e-6, 1e-5, 1e-4)
#: For one whole-number programme [s]; what is best by then is tried.
SECONDS = 2.0


def linear_rules(problem: Problem, sequences: Sequences) -> tuple[Array, Array, Array]:
    """Rows A, low, high with low <= A x <= high for thicknesses x [um] of all layers: totals, shares,
    grammage, mirror."""
    size = sum(len(s) for s in sequences)
    rows, low, high = [], [], []
    first = 0
    for wall, sequence in zip(problem.walls, sequences, strict=True):
        span = slice(first, first + len(sequence))
        least, most = wall.thickness
        if least > 0 or np.isfinite(most):
            row = np.zeros(size)
            row[span] = 1.0
            rows.append(row)
            low.append(least / UM)
            high.append(most / UM)
        mass = problem.density[list(sequence)] / 1000.0
        for share in wall.shares:
            content = np.array(share.content)[list(sequence)]
            if share.most < 1.0:
                row = np.zeros(size)
                row[span] = mass * (content - share.most)
                rows.append(row)
                low.append(-np.inf)
                high.append(0.0)
            if share.least > 0.0:
                row = np.zeros(size)
                row[span] = mass * (content - share.least)
                rows.append(row)
                low.append(0.0)
                high.append(np.inf)
        light, heavy = wall.grammage
        if light > 0 or np.isfinite(heavy):
            row = np.zeros(size)
            row[span] = mass
            rows.append(row)
            low.append(light / UM / 1000.0)
            high.append(heavy / UM / 1000.0)
        if wall.symmetric:
            for k in range(len(sequence) // 2):
                row = np.zeros(size)
                row[first + k], row[first + len(sequence) - 1 - k] = 1.0, -1.0
                rows.append(row)
                low.append(0.0)
                high.append(0.0)
        first += len(sequence)
    return np.array(rows).reshape(len(rows), size), np.array(low), np.array(high)


def gauges(problem: Problem, sequences: Sequences) -> tuple[Array, Array]:
    """Least and most thickness of every layer [um]."""
    least = np.concatenate([w.least[list(s)] for w, s in zip(problem.walls, sequences, strict=True)]) / UM
    most = np.concatenate([w.most[list(s)] for w, s in zip(problem.walls, sequences, strict=True)]) / UM
    return least, most


def gauge_steps(problem: Problem, sequences: Sequences) -> Array:
    """Step of every layer's thickness [um]: of the rule, the gauge itself where that is fixed, 1 um without
    steps."""
    parts = []
    for wall, sequence in zip(problem.walls, sequences, strict=True):
        steps = wall.steps
        parts.append(np.full(len(sequence), UM) if steps is None else steps[list(sequence)])
    return np.concatenate(parts) / UM


class Polisher:
    """Local problems of one ``Problem``; remembers the sequences it has solved."""

    def __init__(self, exact: ExactModel) -> None:
        self.exact = exact
        self.problem = exact.problem
        self.solved: dict[Sequences, Choice | None] = {}

    def best(self, sequences: Sequences, starts: Sequence[Array]) -> Choice | None:
        """Cheapest exact-feasible thicknesses found from the starts [um], on the lattice where there is
        one."""
        found: list[Choice] = []
        known = self.solved.get(sequences)
        if known is not None:
            found.append(known)
        for start in starts:
            choice = self.continuous(sequences, start)
            if choice is not None and any(w.step for w in self.problem.walls):
                choice = self.lattice(sequences, choice.flat / UM)
            if choice is not None:
                found.append(choice)
        best = min(found, key=lambda c: c.objective) if found else None
        self.solved[sequences] = best
        return best

    def margins(self, sequences: Sequences, x: Array) -> Array:
        """1/D - 1 for rows of thickness x (B, n) [um]."""
        demand = self.exact.demand_values(sequences, np.atleast_2d(x) * UM)
        value: Array = 1.0 / np.maximum(demand, _FAR) - 1.0
        return value

    def gradient(self, sequences: Sequences, x: Array) -> Array:
        """d(1/D)/dx, shape (D, n), by central differences in one batch."""
        step = 1e-4 * np.maximum(x, 0.1)
        shift = np.diag(step)
        values = self.margins(sequences, np.concatenate([x + shift, x - shift]))
        half = len(x)
        gradient: Array = ((values[:half] - values[half:]) / (2 * step)[:, None]).T
        return gradient

    def continuous(self, sequences: Sequences, start: Array) -> Choice | None:
        """Local optimum over continuous thicknesses, or None if no feasible point was found."""
        cost = self.exact.objective(sequences) * UM
        scale = 1.0 / max(float(np.abs(cost).max()), 1e-300)
        least, most = gauges(self.problem, sequences)
        rows, low, high = linear_rules(self.problem, sequences)
        x = np.clip(start, least, most)
        constraints: list[dict[str, object]] = []
        for k in range(len(rows)):
            if low[k] == high[k]:
                constraints.append(_linear("eq", rows[k], low[k], 1.0))
                continue
            if np.isfinite(low[k]):
                constraints.append(_linear("ineq", rows[k], low[k], 1.0))
            if np.isfinite(high[k]):
                constraints.append(_linear("ineq", rows[k], high[k], -1.0))
        for margin in _MARGINS:
            demand = {
                "type": "ineq",
                "fun": lambda y, m=margin: self.margins(sequences, y)[0] - m,
                "jac": lambda y: self.gradient(sequences, y),
            }
            outcome = _quietly(
                lambda y: scale * float(cost @ y),
                x,
                jac=lambda y: scale * cost,
                bounds=list(zip(least, most, strict=True)),
                constraints=[demand, *constraints] if self.problem.demands else constraints,
                method="SLSQP",
                options={"maxiter": 60, "ftol": 1e-9},
            )
            x = np.clip(outcome.x, least, most)
            if not np.all(np.isfinite(x)):
                return None
            if self.feasible(sequences, x, rows, low, high):
                return self.choice(sequences, x)
            if self.problem.demands and np.min(self.margins(sequences, x)) < -1e-3:
                return None
        return None

    def feasible(self, sequences: Sequences, x: Array, rows: Array, low: Array, high: Array) -> bool:
        """Whether x [um] meets every demand exactly and every linear rule to 1e-7 of its own size."""
        if self.problem.demands and np.min(self.margins(sequences, x)) < 0:
            return False
        if not len(rows):
            return True
        value = rows @ x
        size = 1e-7 * (np.abs(rows) @ np.abs(x))
        return bool(np.all(value >= low - size) and np.all(value <= high + size))

    def lattice(self, sequences: Sequences, around: Array) -> Choice | None:
        """Cheapest thicknesses in whole gauge steps near a continuous optimum.

        Whole-number programme with the demands linearised at every point tried so far (outer approximation);
        ends at the first point that the exact model accepts.
        """
        cost = self.exact.objective(sequences) * UM
        least, most = gauges(self.problem, sequences)
        rows, low, high = linear_rules(self.problem, sequences)
        step = gauge_steps(self.problem, sequences)
        cuts: list[tuple[Array, float]] = []
        point = around
        for _ in range(25):
            value, slope = self.margins(sequences, point)[0], self.gradient(sequences, point)
            cuts += [(slope[d], float(slope[d] @ point - value[d])) for d in range(len(value))]
            conditions = []
            if cuts:  # there may be no demand at all
                slopes, least_values = np.array([c for c, _ in cuts]), np.array([b for _, b in cuts])
                conditions.append(LinearConstraint(slopes * step, least_values, np.inf))
            if len(rows):
                conditions.append(LinearConstraint(rows * step, low, high))
            outcome = milp(
                cost * step,
                integrality=np.ones(len(step)),
                bounds=(np.ceil(least / step - 1e-9), np.floor(most / step + 1e-9)),
                constraints=conditions,
                options={"time_limit": SECONDS},
            )
            if outcome.x is None:
                return None
            new = np.round(outcome.x) * step
            if self.feasible(sequences, new, rows, low, high):
                return self.choice(sequences, new)
            if cuts and np.allclose(new, point):
                # curvature of the humidity law: push the linearisation inwards until the point is cut off
                short = self.margins(sequences, new)[0]
                worst = int(np.argmin(short))
                cuts.append(
                    (slope[worst], float(slope[worst] @ new - short[worst]) + 1e-9 + abs(short[worst]))
                )
            point = new
        return None

    def choice(self, sequences: Sequences, x: Array) -> Choice:
        parts, first = [], 0
        for s in sequences:
            parts.append(tuple(float(v) * UM for v in x[first : first + len(s)]))
            first += len(s)
        return Choice(sequences, tuple(parts), self.exact.value(sequences, x * UM))


def _quietly(*arguments: Any, **options: Any) -> Any:
    """``minimize``, without the warning of older scipy (1.14) that a step left the bounds by a last bit: it
    is clipped there, and here once more."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Values in x were outside bounds", RuntimeWarning)
        return minimize(*arguments, **options)


def _linear(kind: str, row: Array, bound: float, sign: float) -> dict[str, object]:
    """SLSQP form of sign * (row x - bound) >= 0 (or = 0), scaled to the size of the row."""
    size = max(float(np.abs(row).max()), 1e-12) * max(abs(bound), 1.0)
    return {
        "type": kind,
        "fun": lambda y: sign * (row @ y - bound) / size,
        "jac": lambda y: sign * row / size,
    }

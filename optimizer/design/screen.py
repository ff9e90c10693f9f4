"""Many sequences at once: lower bounds from multipliers that other sequences left behind.

With the layers' places open, a material has the same coefficients wherever it lies. So any nonnegative
multipliers of the tangents and rules give, for every sequence, the Lagrangian bound

    constant + sum over its layers of  min over its gauge of (price - multipliers * coefficients) * thickness

which is a table look-up and a sum. The multipliers come from the linear programmes solved for other
sequences.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box, largest_resistivity, water_resistivities
from optimizer.design.layout import UM
from optimizer.design.polish import Sequences, linear_rules
from optimizer.design.problem import Problem
from optimizer.design.tables import Tables

Array = NDArray[np.float64]

#: Bounds are lowered by this share, far above rounding.
_SAFETY = 1e-9


class Screen:
    """Bounds of a list of sequences, raised by each new set of multipliers."""

    def __init__(self, problem: Problem, tables: Tables, listed: Sequence[Sequences]) -> None:
        self.problem, self.tables = problem, tables
        count = len(problem.materials)
        self.cost = np.array([w.rate for w in problem.walls]) * UM
        self.fixed = np.array([w.presence for w in problem.walls])
        self.least = np.array([w.least for w in problem.walls]) / UM
        self.most = np.array([w.most for w in problem.walls]) / UM
        self.resistivity = self._open_resistivity()
        # each sequence as a row of column numbers wall * count + material, filled up with a column of zeros
        width = sum(w.max_layers for w in problem.walls)
        self.columns = np.full((len(listed), width), len(problem.walls) * count)
        for k, sequences in enumerate(listed):
            flat = [w * count + m for w, s in enumerate(sequences) for m in s]
            self.columns[k, : len(flat)] = flat
        self.bounds: Array = np.full(len(listed), -np.inf)
        self.rules, self.low, self.high = self._rules()

    def _open_resistivity(self) -> Array:
        """(terms, materials) best resistivity per um anywhere in the wall."""
        anywhere = Box(0.0, 1.0)
        table = self.tables.resistivity.copy()
        number = 0
        for demand in self.problem.demands:
            for term in demand.terms:
                env = self.problem.environments[term.environment]
                for m in np.flatnonzero(self.tables.moves[number]):
                    material = self.problem.materials[m]
                    if demand.gas == "H2O":
                        table[number, m] = water_resistivities(material, env, anywhere)[1] * UM
                    else:
                        table[number, m] = largest_resistivity(material, demand.gas, env, anywhere) * UM
                number += 1
        return table

    def _rules(self) -> tuple[Array, Array, Array]:
        """Rule rows over the columns (walls, materials): as for a sequence that holds every material once."""
        every = tuple(tuple(range(len(self.problem.materials))) for _ in self.problem.walls)
        plain = self.problem.with_walls(tuple(w.without_symmetry() for w in self.problem.walls))
        rows, low, high = linear_rules(plain, every)
        return rows.reshape(len(rows), *self.cost.shape), low, high

    def learn(self, cuts: Sequence[tuple[int, Array]], rule_dual: Array, cut_dual: Array) -> None:
        """Raise the bounds with the multipliers of one linear programme (mirror rows of a symmetric wall
        left out).

        rule_dual and cut_dual: row duals of a minimisation, positive where the lower side of the row binds.
        """
        reduced = self.cost.copy()
        constant = 0.0
        for k in range(len(self.rules)):
            dual = float(rule_dual[k])
            side = self.low[k] if dual > 0 else self.high[k]
            if dual != 0.0 and np.isfinite(side):
                reduced -= dual * self.rules[k]
                constant += dual * float(side)
        for (d, share), value in zip(cuts, cut_dual, strict=True):
            if value > 0:
                start = self.tables.term_start[d]
                factor = share * share / self.tables.weights[d]
                constant += float(value) * (1.0 - 1e-9)
                row = np.zeros_like(reduced)
                for t in range(len(share)):
                    row[self.tables.places[start + t][0]] += factor[t] * self.resistivity[start + t]
                # a layer that alone covers the demand counts as covering it, no more
                reduced -= float(value) * np.where(row * self.least >= 1.0, 1.0 / self.least, row)
        best = np.minimum(reduced * self.least, reduced * self.most) + self.fixed
        values = np.append(best.ravel(), 0.0)[self.columns].sum(axis=1) + constant
        self.bounds = np.maximum(self.bounds, values - _SAFETY * np.abs(values))

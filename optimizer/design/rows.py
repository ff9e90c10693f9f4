"""Side conditions of a node as rows, and multipliers of them: tangents of the demands, the linear rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.design.layout import UM
from optimizer.design.problem import Problem

Array = NDArray[np.float64]
Walk = list[tuple[int, int]]  # states (zone, material)
PlaceRow = tuple[int, int, int, str]  # wall, single, class, kind of bound


@dataclass(frozen=True)
class Multipliers:
    """Nonnegative multipliers: of tangents by number, of rules in their order, of the boxes' rows."""

    tangents: tuple[tuple[int, float], ...]
    rules: tuple[float, ...]
    places: tuple[tuple[PlaceRow, float], ...] = ()


@dataclass
class Tangents:
    """All tangents found so far, shared by all nodes. weights (Q, T): share**2 / weight of every term."""

    problem: Problem
    demand: list[int] = field(default_factory=list)
    shares: list[Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        count = [len(d.terms) for d in self.problem.demands]
        self.start = np.cumsum([0, *count])
        self.weight = np.array([t.weight for d in self.problem.demands for t in d.terms])
        self.rows = np.zeros((0, len(self.weight)))

    def add(self, demand: int, share: Array, apart: float = 1e-4) -> int:
        """Number of the tangent, or of one as near as ``apart`` that is known."""
        share = np.maximum(share, 1e-9)
        share = share / share.sum()
        for q, (d, known) in enumerate(zip(self.demand, self.shares, strict=True)):
            if d == demand and np.abs(known - share).max() < apart:
                return q
        self.demand.append(demand)
        self.shares.append(share)
        row = np.zeros((1, len(self.weight)))
        span = slice(int(self.start[demand]), int(self.start[demand + 1]))
        row[0, span] = share**2 / self.weight[span]
        self.rows = np.concatenate([self.rows, row])
        return len(self.demand) - 1


class Rules:
    """Linear rules of all walls over their materials, each as  row * thickness [um] >= side.

    In the order of ``polish.linear_rules``, whose rows have two sides each.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.rows: list[tuple[int, Array, float]] = []
        #: by wall and row of linear_rules: (number here, factor of the multiplier) of its two sides
        self.sides: list[list[tuple[tuple[int, float] | None, tuple[int, float] | None]]] = []
        density = problem.density / 1000.0
        for w, wall in enumerate(problem.walls):
            self.sides.append([])
            self._between(w, np.ones(len(density)), *(x / UM for x in wall.thickness))
            for share in wall.shares:
                content = np.array(share.content)
                if share.most < 1.0:
                    number = self._add(w, density * (share.most - content) / 100.0, 0.0)
                    self.sides[w].append((None, (number, 100.0)))
                if share.least > 0.0:
                    number = self._add(w, density * (content - share.least) / 100.0, 0.0)
                    self.sides[w].append(((number, 100.0), None))
            self._between(w, density, *(x / UM / 1000.0 for x in wall.grammage))

    def _add(self, w: int, row: Array, side: float) -> int:
        self.rows.append((w, row, side))
        return len(self.rows) - 1

    def _between(self, w: int, row: Array, least: float, most: float) -> None:
        lower = (self._add(w, row / least, 1.0), least) if least > 0 else None
        upper = (self._add(w, -row / most, -1.0), most) if np.isfinite(most) else None
        if lower or upper:
            self.sides[w].append((lower, upper))

    def multipliers(self, sequences: Sequence[Sequence[int]], dual: Array) -> tuple[float, ...]:
        """Multipliers of these rules from the row duals of one sequence's linear programme."""
        found = [0.0] * len(self.rows)
        k = 0
        for wall, sides, sequence in zip(self.problem.walls, self.sides, sequences, strict=True):
            for lower, upper in sides:
                value = float(dual[k])
                side = lower if value > 0 else upper
                if side is not None:
                    found[side[0]] = abs(value) * side[1]
                k += 1
            if wall.symmetric:
                k += len(sequence) // 2
        return tuple(found)

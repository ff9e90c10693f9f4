"""The linear programme of a node over the walks met so far, which share one thickness per (zone,
material)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.design.rows import Multipliers

if TYPE_CHECKING:
    from optimizer.design.relax import Relaxation

Array = NDArray[np.float64]

#: Rounds of tangents in one solution.
_TANGENTS = 6
#: Price of breaking one unit of a row, in units of an objective.
_PENALTY = 200.0
#: A demand exceeded by less than this is not cut off any more.
_MET = 1e-5


class Master:
    """The linear programme over the walks met so far."""

    def __init__(
        self,
        node: Relaxation,
        columns: Sequence[dict[tuple[tuple[int, int], ...], None]],
        active: Sequence[int],
        unit: float,
    ) -> None:
        self.node, self.active, self.unit = node, list(active), unit
        self.columns = [list(c) for c in columns]
        self.states = [sorted({s for c in cs for s in c}) for cs in self.columns]
        self.times = [
            np.array([f.times[z] for z, _ in s]) if f.wall.symmetric else 1.0
            for f, s in zip(node.frames, self.states, strict=True)
        ]
        self.offset = np.cumsum([0, *(len(c) for c in self.columns)])
        self.first = self.offset[-1] + np.cumsum([0, *(len(s) for s in self.states)])
        self.size = int(self.first[-1])

    def _row(self, by_wall: Sequence[Array | None]) -> Array:
        """Coefficients on the thickness variables."""
        row = np.zeros(self.size)
        for w, table in enumerate(by_wall):
            if table is not None:
                z, m = np.array(self.states[w]).T
                part = table[z, m] if table.ndim == 2 else table[m]
                row[self.first[w] : self.first[w + 1]] = part * self.times[w]
        return row

    def _only(self, w: int, table: Array) -> list[Array | None]:
        return [table if i == w else None for i in range(len(self.columns))]

    def solve(
        self, known: set[int]
    ) -> tuple[float, Multipliers | None, dict[tuple[int, int, int], float], list[Array], bool]:
        """Value, multipliers, thicknesses, weights of the walks, and whether tangents were added to
        ``known``."""
        node = self.node
        places = list(node.places)
        fixed = [self._row(self._only(w, row)) for w, row, _ in node.rules.rows]
        fixed += [self._row(self._only(key[0], node.places[key])) for key in places]
        sides = [side for _, _, side in node.rules.rows] + [0.0] * len(places)
        links, low, high = self._links()
        cost = np.zeros(self.size)
        for w, states in enumerate(self.states):
            for i, column in enumerate(self.columns[w]):
                cost[self.offset[w] + i] = sum(node.frames[w].times[z] * node.charge[w][m] for z, m in column)
            z, m = np.array(states).T
            cost[self.first[w] : self.first[w + 1]] = node.rate[w][m] * self.times[w]
        added = False
        for _ in range(_TANGENTS):
            side_rows = np.array([self._row(node.tangent(q)) for q in self.active] + fixed)
            side = np.array([1.0] * len(self.active) + sides)
            count = len(side)
            a = np.zeros((count + len(links), self.size + count))
            a[:count, : self.size] = side_rows.reshape(count, self.size)
            a[:count, self.size :] = np.eye(count)
            a[count:, : self.size] = links
            solution = node.solver.solve(
                np.concatenate([cost / self.unit, np.full(count, _PENALTY)]),
                a,
                np.concatenate([side, low]),
                np.concatenate([np.full(count, np.inf), high]),
                np.zeros(self.size + count),
                np.full(self.size + count, np.inf),
            )
            if solution.x is None or solution.dual is None:
                return np.inf, None, {}, [], added
            x = solution.x[: self.size]
            fresh = [q for q in self._violated(x) if q not in self.active]
            if not fresh:
                break
            self.active += fresh
            known.update(fresh)
            added = True
        assert solution.dual is not None
        dual = np.maximum(solution.dual[:count], 0.0) * self.unit
        rules = len(node.rules.rows)
        q_count = count - len(fixed)
        multipliers = Multipliers(
            tuple((q, float(v)) for q, v in zip(self.active, dual[:q_count], strict=False) if v > 0),
            tuple(float(v) for v in dual[q_count : q_count + rules]),
            tuple((k, float(v)) for k, v in zip(places, dual[q_count + rules :], strict=True) if v > 0),
        )
        thickness = {
            (w, *state): float(x[self.first[w] + i])
            for w, states in enumerate(self.states)
            for i, state in enumerate(states)
        }
        weights = [x[self.offset[w] : self.offset[w + 1]] for w in range(len(self.columns))]
        return solution.value * self.unit, multipliers, thickness, weights, added

    def _links(self) -> tuple[Array, Array, Array]:
        """One walk per wall in all, and thicknesses between the gauges of the layers that the walks have."""
        rows, low, high = [], [], []
        for w, columns in enumerate(self.columns):
            row = np.zeros(self.size)
            row[self.offset[w] : self.offset[w + 1]] = 1.0
            rows.append(row)
            low.append(1.0)
            high.append(1.0)
            for i, state in enumerate(self.states[w]):
                times = np.array([column.count(state) for column in columns], dtype=float)
                for gauge, sign in ((self.node.least[w], 1.0), (self.node.most[w], -1.0)):
                    row = np.zeros(self.size)
                    size = gauge[state[1]]
                    row[self.first[w] + i] = sign / size
                    row[self.offset[w] : self.offset[w + 1]] = -sign * times
                    rows.append(row)
                    low.append(0.0)
                    high.append(np.inf)
        return np.array(rows), np.array(low), np.array(high)

    def _violated(self, x: Array) -> list[int]:
        """Tangents at this point of demands that it exceeds, remembered for all nodes."""
        node, tangents = self.node, self.node.tangents
        total = np.zeros(len(tangents.weight))
        for w, frame in enumerate(node.frames):
            z, m = np.array(self.states[w]).T
            total[frame.terms] += node.table[w][:, z, m] @ (
                x[self.first[w] : self.first[w + 1]] * self.times[w]
            )
        value = tangents.weight / np.maximum(total, 1e-300)
        found = []
        for d in range(len(tangents.start) - 1):
            part = value[tangents.start[d] : tangents.start[d + 1]]
            if part.sum() > 1.0 + _MET:
                found.append(tangents.add(d, part / part.sum(), 1e-3))
        return found

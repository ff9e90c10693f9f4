"""Lower bounds of one node of the search: walks through the walls, priced by multipliers.

The side conditions of a node are rows over (zone, material): tangents of the demands, the linear rules, and
the boxes of the key layers' places. For any nonnegative multipliers of the rows

    sum(multiplier * right side) + sum over walls of the cheapest walk, each layer at
    min over its two end gauges of (price - multipliers * coefficients) * thickness + charge per layer

is a lower bound of every structure in the node (Lagrange); no solver tolerance enters it. Good multipliers
come from a linear programme over the walks met so far, which share one thickness per (zone, material), and
from the nodes solved before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.design.frame import Boxes, WallFrame, Zoning
from optimizer.design.layout import UM, allowed
from optimizer.design.master import Master
from optimizer.design.polish import Sequences, gauges
from optimizer.design.problem import Problem
from optimizer.design.rows import Multipliers, PlaceRow, Rules, Tangents, Walk
from optimizer.design.small import SmallSolver
from optimizer.design.walk import Walks

Array = NDArray[np.float64]

#: Rounds of pricing and solving in one node.
_ROUNDS = 30
#: Bounds are lowered by this share of their parts, far above rounding.
_SAFETY = 1e-9
#: The node's programme counts as solved when bound and value are this near (share of the cutoff).
_NEAR = 2e-4


@dataclass(frozen=True)
class Solved:
    """bound: proved; value: of the linear programme, where it was solved; walks: by wall with their weights,
    heaviest first; thickness [um] by (wall, zone, material) in the programme; multipliers: of the bound."""

    bound: float
    value: float
    multipliers: Multipliers | None
    walks: tuple[tuple[tuple[Walk, float], ...], ...]
    thickness: dict[tuple[int, int, int], float]


class Relaxation:
    """One node: patterns and boxes fixed, rows built once and priced many times."""

    def __init__(
        self,
        frames: Sequence[WallFrame],
        rules: Rules,
        tangents: Tangents,
        solver: SmallSolver,
        zonings: Sequence[Zoning],
        boxes: Boxes,
    ) -> None:
        self.frames, self.rules, self.tangents, self.solver = frames, rules, tangents, solver
        self.zonings, self.boxes = zonings, boxes
        self.zones = [f.zones(p) for f, p in zip(frames, zonings, strict=True)]
        self.table = [f.resistivities(p, boxes) for f, p in zip(frames, zonings, strict=True)]
        self.least = [f.wall.least / UM for f in frames]
        self.most = [f.wall.most / UM for f in frames]
        self.rate = [f.wall.rate * UM for f in frames]
        self.charge = [f.wall.presence for f in frames]
        self._tangent_rows: dict[int, list[Array]] = {}
        self.places = self._place_rows()

    # -- rows ------------------------------------------------------------------------------------------------

    def tangent(self, q: int) -> list[Array]:
        """Coefficients of one tangent, by wall (zones, materials). A layer that alone covers the demand
        counts as covering it, no more."""
        if q not in self._tangent_rows:
            rows = []
            for frame, table, least in zip(self.frames, self.table, self.least, strict=True):
                row = np.tensordot(self.tangents.rows[q, frame.terms], table, axes=1)
                rows.append(np.where(row * least >= 1.0, 1.0 / least, row))
            self._tangent_rows[q] = rows
        return self._tangent_rows[q]

    def _place_rows(self) -> dict[PlaceRow, Array]:
        """Rows (zones, materials) >= 0 that keep the keys in their boxes."""
        rows: dict[PlaceRow, Array] = {}
        for w, (frame, pattern) in enumerate(zip(self.frames, self.zonings, strict=True)):
            if not pattern.singles or not frame.classes:
                continue
            low, high = frame.waters(pattern, self.boxes)
            for j in range(pattern.singles):
                inner = frame.inside_of(pattern, j)
                own = (np.arange(pattern.zones) == 2 * j + 1).astype(float)
                for c in range(len(frame.classes)):
                    box = frame.key_box(self.boxes, j, c)
                    for kind, weight in (
                        ("f_low", inner - box.f_low if box.f_low > 0 else None),
                        ("f_high", box.f_high - inner if box.f_high < 1 else None),
                        ("s_low", own - box.s_low if box.s_low > 0 else None),
                        ("s_high", box.s_high - own if box.s_high < 1 else None),
                    ):
                        if weight is not None:
                            q = np.where(weight[:, None] > 0, high[c], low[c])
                            rows[w, j, c, kind] = weight[:, None] * q
        return rows

    # -- pricing ---------------------------------------------------------------------------------------------

    def reduced(self, u: Multipliers) -> tuple[list[Array], float]:
        """Price of every layer by wall (zones, materials), thickness chosen, and the constant."""
        net = [
            np.broadcast_to(rate, (z.count, len(rate))).copy()
            for rate, z in zip(self.rate, self.zones, strict=True)
        ]
        constant = 0.0
        for q, value in u.tangents:
            for w, row in enumerate(self.tangent(q)):
                net[w] -= value * row
            constant += value * (1.0 - _SAFETY)
        for (w, row, side), value in zip(self.rules.rows, u.rules, strict=True):
            if value > 0:
                net[w] -= value * row
                constant += value * side
        for key, value in u.places:
            place = self.places.get(key)
            if place is not None and value > 0:
                net[key[0]] -= value * place
        price = [
            frame.times[:, None] * (np.minimum(n * least, n * most) + charge)
            if frame.wall.symmetric
            else np.minimum(n * least, n * most) + charge
            for frame, n, least, most, charge in zip(
                self.frames, net, self.least, self.most, self.charge, strict=True
            )
        ]
        return price, constant

    def walks(self, many: Sequence[Multipliers]) -> tuple[list[Walks], Array, Array]:
        """Walks of every wall under every set of multipliers; constants (S,) and bounds (S,)."""
        priced = [self.reduced(u) for u in many]
        constant = np.array([c for _, c in priced])
        found = [
            Walks(self.zones[w], frame.touching, frame.slots, np.array([p[w] for p, _ in priced]))
            for w, frame in enumerate(self.frames)
        ]
        total = constant + sum(walk.best for walk in found)
        size = np.abs(constant) + sum(np.abs(np.where(np.isfinite(total), walk.best, 0.0)) for walk in found)
        return found, constant, total - _SAFETY * size

    # -- the node's programme --------------------------------------------------------------------------------

    def solve(self, starts: Sequence[Multipliers], cutoff: float, unit: float) -> Solved:
        """Best bound found: from ``starts``, and by the programme over walks if they leave it below the
        cutoff.

        unit: size of an objective, for scaling.
        """
        columns: list[dict[tuple[tuple[int, int], ...], None]] = [{} for _ in self.frames]
        starts = starts or [Multipliers((), (0.0,) * len(self.rules.rows))]
        walks, _, bounds = self.walks(starts)
        k = int(np.argmax(bounds))
        best, multipliers = float(bounds[k]), starts[k]
        if best >= cutoff:
            return Solved(best, best, multipliers, (), {})
        for s in range(len(starts)):
            for w, walk in enumerate(walks):
                states = walk.cheapest(s)
                if states is not None:
                    columns[w][tuple(states)] = None
        active = {q for u in starts for q, _ in u.tangents}
        active |= set(self._spanning())
        value = np.inf
        thickness: dict[tuple[int, int, int], float] = {}
        weights: list[Array] = []
        for _ in range(_ROUNDS):
            master = Master(self, columns, sorted(active), unit)
            value, u, thickness, weights, fresh = master.solve(active)
            if u is None:
                break
            priced, _, bound = self.walks([u])
            if bound[0] > best:
                best, multipliers = float(bound[0]), u
            if best >= cutoff or value - best <= _NEAR * unit:
                break
            new = False
            for w, walk in enumerate(priced):
                states = walk.cheapest()
                if states is not None and tuple(states) not in columns[w]:
                    columns[w][tuple(states)] = None
                    new = True
            if not new and not fresh:
                break
        ranked = tuple(
            tuple(
                (list(column), float(weight))
                for column, weight in sorted(zip(columns[w], weights[w], strict=False), key=lambda x: -x[1])
            )
            for w in range(len(weights))
        )
        return Solved(best, value, multipliers, ranked, thickness)

    def _spanning(self) -> list[int]:
        """One tangent of every demand, the newest."""
        newest = {d: q for q, d in enumerate(self.tangents.demand)}
        return list(newest.values())


def proposal(
    problem: Problem, frames: Sequence[WallFrame], solved: Solved, k: int
) -> tuple[Sequences, Array] | None:
    """Sequences and thicknesses [um] of the ``k``-th heaviest walks; None where the rules forbid them."""
    chosen = [walks[k][0] for walks in solved.walks]
    sequences = tuple(f.sequence(walk) for f, walk in zip(frames, chosen, strict=True))
    if any(not allowed(f.wall, s) for f, s in zip(frames, sequences, strict=True)):
        return None
    parts = []
    for w, (f, walk) in enumerate(zip(frames, chosen, strict=True)):
        x = np.array([solved.thickness.get((w, *s), 0.0) / max(walk.count(s), 1) for s in walk])
        if f.wall.symmetric:
            x = np.concatenate([x, x[-2::-1]])
        elif f.inward:
            x = x[::-1]
        parts.append(x)
    return sequences, np.clip(np.concatenate(parts), *gauges(problem, sequences))

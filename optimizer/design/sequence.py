"""Linear relaxations of one sequence inside boxes of the places of its humidity-sensitive layers.

The box is a pair of linear rows per place (multiplied out with the total water resistance), every layer
counts with the best resistivity it can have in the box, demands are tangent rows. ``contract`` shrinks the
boxes to what a structure cheaper than the cutoff can reach: least and largest place are linear-fractional
programmes, made linear by dividing all thicknesses by the total water resistance (Charnes and Cooper 1962).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box, largest_resistivity, water_resistivities
from optimizer.design.exact import ExactModel
from optimizer.design.layout import UM, PositionClass
from optimizer.design.polish import Sequences, gauge_steps, gauges, linear_rules
from optimizer.design.problem import Problem
from optimizer.design.small import SmallSolver
from optimizer.design.tables import Tables

Array = NDArray[np.float64]
Key = tuple[int, int]  # layer (over all walls), position class
Cuts = list[tuple[int, Array]]

#: Optimism (share of a demand) below which a place is not worth splitting further.
_TINY = 1e-9
#: A box that shrank to less than this share of its width is contracted once more.
_AGAIN = 0.7
#: Boxes are widened by this much after contraction, far above the solver's tolerance.
_GUARD = 1e-7
_WHOLE_WALL = Box(0.0, 1.0)


class Region(Protocol):
    """A box per place, and the tangents collected so far."""

    boxes: dict[Key, Box]
    cuts: Cuts


@dataclass
class Start:
    """The region in which every layer may lie anywhere."""

    boxes: dict[Key, Box]
    cuts: Cuts


class Owner(Protocol):
    problem: Problem
    exact: ExactModel
    classes: tuple[PositionClass, ...]
    solver: SmallSolver
    tables: Tables
    over: Callable[[], bool]


class SequenceBound:
    """The fixed parts of the linear programmes of one sequence."""

    def __init__(self, owner: Owner, sequences: Sequences) -> None:
        self.solver, self.classes, self.owner = owner.solver, owner.classes, owner
        self.problem, self.exact, self.sequences = owner.problem, owner.exact, sequences
        self.stack = [(w, m) for w, s in enumerate(sequences) for m in s]
        self.size = len(self.stack)
        self.first = np.cumsum([0, *(len(s) for s in sequences)])
        self.cost = self.exact.objective(sequences) * UM
        self.fixed = self.exact.fixed(sequences)
        self.scale = 1.0 / max(float(np.abs(self.cost).max()), 1e-300)
        self.rows, self.low, self.high = linear_rules(self.problem, sequences)
        self.least, self.most = gauges(self.problem, sequences)
        self.whole = any(w.step is not None for w in self.problem.walls)
        self.step = gauge_steps(self.problem, sequences)
        blocked = [any(self.problem.materials[m].water_law().blocks for m in s) for s in sequences]
        self.keys: list[Key] = [
            (i, c)
            for i, (w, m) in enumerate(self.stack)
            for c, cls in enumerate(self.classes)
            if cls.wall == w and self.problem.sensitive[m] and not blocked[w]
        ]
        #: tangents, duals of the linear rules, of the tangents and of the place rows, of the last programme
        self.multipliers: tuple[Cuts, Array, Array, dict[tuple[Key, str], float]] | None = None
        self._prepare(owner.tables)

    def _prepare(self, known: Tables) -> None:
        """Resistivities of this sequence that do not depend on the box, and which entries do."""
        walls = np.array([w for w, _ in self.stack])
        materials = np.array([m for _, m in self.stack])
        self.base: list[Array] = []
        self.moving: list[list[tuple[int, Key]]] = []
        for number, (wall, c) in enumerate(known.places):
            here = walls == wall
            self.base.append(np.where(here, known.resistivity[number, materials], 0.0))
            self.moving.append(
                [(int(i), (int(i), c)) for i in np.flatnonzero(here & known.moves[number, materials])]
            )
        self.term_start, self.weights = known.term_start, known.weights
        self.water: list[tuple[Array, list[int]]] = []
        for c, cls in enumerate(self.classes):
            here = walls == cls.wall
            moving = [int(i) for i in np.flatnonzero(here & known.water_moves[materials])]
            self.water.append((np.where(here, known.water[c, materials], 0.0), moving))

    def within(self, cuts: Sequence[tuple[int, Array]], boxes: Mapping[Key, Box] | None) -> Start:
        """The given boxes, and the whole wall for every other place."""
        given = boxes or {}
        return Start({key: given.get(key, _WHOLE_WALL) for key in self.keys}, list(cuts))

    @property
    def prices(self) -> Array:
        """Objective per unit of each demand (D,) in the last programme: what tightening it costs."""
        found = np.zeros(len(self.problem.demands))
        if self.multipliers is not None:
            cuts, _, dual, _ = self.multipliers
            np.add.at(found, [d for d, _ in cuts], np.maximum(dual, 0.0))
        return found

    # -- coefficients in a box -------------------------------------------------------------------------------

    def resistivities(self, region: Region) -> list[Array]:
        """For every term of every demand the best resistivity per um of each layer (n,)."""
        found = []
        number = 0
        for demand in self.problem.demands:
            for term in demand.terms:
                row = self.base[number]
                if self.moving[number]:
                    env = self.problem.environments[term.environment]
                    row = row.copy()
                    for i, key in self.moving[number]:
                        material = self.problem.materials[self.stack[i][1]]
                        box = region.boxes.get(key, _WHOLE_WALL)
                        if demand.gas == "H2O":
                            row[i] = water_resistivities(material, env, box)[1] * UM
                        else:
                            row[i] = largest_resistivity(material, demand.gas, env, box) * UM
                found.append(row)
                number += 1
        return found

    def water_bounds(self, region: Region, c: int) -> tuple[Array, Array]:
        """Least and largest water resistivity per um of every layer; 0 for layers of other walls."""
        row, moving = self.water[c]
        if not moving:
            return row, row
        low, high = row.copy(), row.copy()
        for i in moving:
            box = region.boxes.get((i, c), _WHOLE_WALL)
            a, b = water_resistivities(
                self.problem.materials[self.stack[i][1]], self.classes[c].reference, box
            )
            low[i], high[i] = a * UM, b * UM
        return low, high

    def tangents(self, cuts: Cuts, table: list[Array]) -> Array:
        """Rows (k, n) of the tangents; a layer that alone covers the demand counts as covering it, no
        more."""
        rows = np.empty((len(cuts), self.size))
        for k, (d, share) in enumerate(cuts):
            start = self.term_start[d]
            factor = share * share / self.weights[d]
            rows[k] = factor @ np.array(table[start : start + len(share)])
        return np.where(rows * self.least >= 1.0, 1.0 / self.least, rows)

    def place_rows(self, region: Region) -> Array:
        """Rows (k, n) <= 0 that keep every place in its box."""
        rows = []
        self.place_labels: list[tuple[Key, str, float]] = []
        order = np.arange(self.size)
        bounds = [self.water_bounds(region, c) for c in range(len(self.classes))]
        for (i, c), box in region.boxes.items():
            low, high = bounds[c]
            part = np.where(order < i, 1.0, np.where(order == i, 0.5, 0.0))
            own = (order == i).astype(float)
            size = float(high @ self.most)
            for kind, place, a, b in (("f", part, box.f_low, box.f_high), ("s", own, box.s_low, box.s_high)):
                if b < 1.0:
                    weight = place - b
                    rows.append(weight * np.where(weight > 0, low, high) / size)
                    self.place_labels.append(((i, c), kind + "_high", size))
                if a > 0.0:
                    weight = a - place
                    rows.append(weight * np.where(weight > 0, low, high) / size)
                    self.place_labels.append(((i, c), kind + "_low", size))
        return np.array(rows).reshape(len(rows), self.size)

    # -- relaxation ------------------------------------------------------------------------------------------

    def relax(self, region: Region, cutoff: float, whole: bool = False) -> tuple[float, Array | None]:
        """Bound of the box and the point that attains it; tangents are added until it stops rising.

        whole: thicknesses in whole gauge steps (dearer to solve) instead of continuous ones; no point where
        such a programme was cut short, while its bound holds.
        """
        places = self.place_rows(region)
        table = self.resistivities(region)
        cuts = region.cuts
        bound, x = -np.inf, None
        tangent = self.tangents(cuts, table)
        for _ in range(12):
            a = np.concatenate([self.rows, places, tangent])
            low = np.concatenate([self.low, np.full(len(places), -np.inf), np.full(len(cuts), 1.0 - 1e-9)])
            high = np.concatenate([self.high, np.full(len(places), 1e-9), np.full(len(cuts), np.inf)])
            if whole:
                solution = self.solver.solve(
                    self.cost * self.scale * self.step,
                    a * self.step,
                    low,
                    high,
                    np.ceil(self.least / self.step - 1e-9),
                    np.floor(self.most / self.step + 1e-9),
                    True,
                )
            else:
                solution = self.solver.solve(self.cost * self.scale, a, low, high, self.least, self.most)
            if not solution.feasible:
                return np.inf, None
            bound = max(bound, solution.value / self.scale * (1 - 1e-9) + self.fixed)
            if solution.x is None:
                break
            if solution.dual is not None:
                rules = len(self.rows)
                self.multipliers = (
                    cuts,
                    solution.dual[:rules] / self.scale,
                    solution.dual[rules + len(places) :] / self.scale,
                    {
                        (key, kind): -float(dual) / self.scale / size
                        for (key, kind, size), dual in zip(
                            self.place_labels, solution.dual[rules : rules + len(places)], strict=True
                        )
                        if dual < 0
                    },
                )
            x = solution.x * self.step if whole else solution.x
            if bound >= cutoff or self.owner.over():
                break
            fresh = self._violated(x, table)
            if not fresh:
                break
            cuts = cuts + fresh
            tangent = np.concatenate([tangent, self.tangents(fresh, table)])
        if x is not None:
            keep = tangent @ x < 1.05
            region.cuts = [cut for cut, near in zip(cuts, keep, strict=True) if near]
        return bound, x

    def _violated(self, x: Array, table: list[Array]) -> Cuts:
        fresh: Cuts = []
        for d in range(len(self.problem.demands)):
            start = self.term_start[d]
            value = self.weights[d] / (np.array(table[start : start + len(self.weights[d])]) @ x)
            total = float(value.sum())
            if total > 1.0 + 1e-7:
                fresh.append((d, value / total))
        return fresh

    # -- contraction -----------------------------------------------------------------------------------------

    def contract(self, region: Region, cutoff: float) -> bool:
        """Shrink the boxes to what a structure at or below ``cutoff`` can reach; False if none can be
        there."""
        for _ in range(4):
            shrunk = False
            for key in self.keys:
                if self.owner.over():
                    return True
                box = region.boxes[key]
                new = self._shrink(region, key, cutoff)
                if new is None:
                    return False
                region.boxes = {**region.boxes, key: new}
                before, after = box.f_high - box.f_low, new.f_high - new.f_low
                shrunk |= after < _AGAIN * before or new.s_high < _AGAIN * box.s_high
            if not shrunk:
                break
        return True

    def _shrink(self, region: Region, key: Key, cutoff: float) -> Box | None:
        i, c = key
        n = self.size
        low, high = self.water_bounds(region, c)
        table = self.resistivities(region)
        tangent = self.tangents(region.cuts, table)
        places = self.place_rows(region)
        # columns, with the total water resistance in units of ``size``: thickness / total (n), 1 / total,
        # and the share of the total of each layer whose water resistivity is not fixed (k)
        size = float(high @ self.most)
        loose = np.flatnonzero(high > low)
        k = len(loose)
        fixed = np.where(high > low, 0.0, low / size)
        one, of_loose = np.eye(n), np.eye(n)[loose]

        def block(x: Array, t: Array | float = 0.0, g: Array | float = 0.0) -> Array:
            rows = np.zeros((len(x), n + 1 + k))
            rows[:, :n], rows[:, n], rows[:, n + 1 :] = x, t, g
            return rows

        above, below = np.isfinite(self.low), np.isfinite(self.high)
        at_most_0 = np.concatenate(
            [
                block(one, -self.most),
                block(-one, self.least),
                block(-self.rows[above], self.low[above]),
                block(self.rows[below], -self.high[below]),
                block(-of_loose * high[loose, None] / size, 0.0, np.eye(k)),
                block(of_loose * low[loose, None] / size, 0.0, -np.eye(k)),
                block(places),
                block(-tangent, 1.0),
                block((self.cost * self.scale)[None, :], -min((cutoff - self.fixed) * self.scale, 1e9)),
            ]
        )
        a = np.concatenate([at_most_0, block(fixed[None, :], 0.0, 1.0)])
        lo = np.full(len(a), -np.inf)
        hi = np.full(len(a), 1e-9)
        lo[-1] = hi[-1] = 1.0
        order = np.arange(n)
        part = np.where(order < i, 1.0, np.where(order == i, 0.5, 0.0))
        own = (order == i).astype(float)

        def goal(place: Array, sign: float) -> Array:
            return sign * np.concatenate([fixed * place, [0.0], place[loose]])

        goals = [goal(part, 1.0), goal(part, -1.0), goal(own, -1.0), goal(own, 1.0)]
        ends = self.solver.sweep(goals, a, lo, hi, np.zeros(n + 1 + k), np.full(n + 1 + k, np.inf))
        if ends is None:
            return None
        box = region.boxes[key]
        return Box(
            max(box.f_low, ends[0] - _GUARD),
            min(box.f_high, _GUARD - ends[1]),
            max(box.s_low, ends[3] - _GUARD),
            min(box.s_high, _GUARD - ends[2]),
        )

    # -- branching -------------------------------------------------------------------------------------------

    def split(self, region: Region, x: Array) -> list[tuple[Key, Box]] | None:
        """The place whose optimism matters most, its box cut in two; None when nothing is left to cut."""
        table = self.resistivities(region)
        optimism = dict.fromkeys(self.keys, 0.0)
        by_span = dict.fromkeys(self.keys, 0.0)
        number = 0
        for demand in self.problem.demands:
            for term in demand.terms:
                total = float(table[number] @ x)
                for i, key in self.moving[number]:
                    if key not in optimism:
                        continue
                    env = self.problem.environments[term.environment]
                    material = self.problem.materials[self.stack[i][1]]
                    box = region.boxes[key]
                    # resistivity may be flat over much of the box: look at both ends and the middle
                    points = (box.f_low, 0.5 * (box.f_low + box.f_high), box.f_high)
                    pinned = [Box(f, f, box.s_low, box.s_high) for f in points]
                    narrow = Box(box.f_low, box.f_high, box.s_low, box.s_low)
                    scale = term.weight * x[i] * UM / total**2
                    if demand.gas == "H2O":
                        top = water_resistivities(material, env, box)
                        optimism[key] += scale * (top[1] - top[0])
                        inner = water_resistivities(material, env, narrow)
                        by_span[key] += scale * max(0.0, (top[1] - top[0]) - (inner[1] - inner[0]))
                    else:
                        top_r = largest_resistivity(material, demand.gas, env, box)
                        least = min(
                            (largest_resistivity(material, demand.gas, env, b) for b in pinned if b.possible),
                            default=0.0,
                        )
                        optimism[key] += 2 * scale * max(0.0, top_r - least)
                        if narrow.possible:
                            by_span[key] += scale * max(
                                0.0, top_r - largest_resistivity(material, demand.gas, env, narrow)
                            )
                number += 1
        if self.problem.water_varies:
            for key in self.keys:
                low, high = self.water_bounds(region, key[1])
                optimism[key] += 0.1 * float((high - low) @ x) / max(float(high @ x), 1e-300)
        if not optimism:
            return None
        key = max(optimism, key=lambda k: optimism[k] + by_span[k])
        box = region.boxes[key]
        f_width, s_width = box.f_high - box.f_low, box.s_high - box.s_low
        if optimism[key] + by_span[key] < _TINY or max(f_width, s_width) < 4 * _GUARD:
            return None
        if by_span[key] > optimism[key] and s_width > 4 * _GUARD:
            cut = 0.5 * (box.s_low + box.s_high) if box.s_low > 0 else 0.25 * box.s_high
            halves = [replace(box, s_high=cut), replace(box, s_low=cut)]
        else:
            cut = 0.5 * (box.f_low + box.f_high)
            halves = [replace(box, f_high=cut), replace(box, f_low=cut)]
        return [(key, half) for half in halves if half.possible]

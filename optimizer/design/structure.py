"""Sequences of layers as a mixed-integer model in Pyomo: which material in which slot, how thick, and the
rules.

Slots k = 0.. from inside to outside hold one material each, empty slots only outside. A phase p counts the
humidity-sensitive layers passed: even = between them, odd 2j + 1 = the j-th sensitive layer itself (its
*rank*).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyomo.environ as pyo
from pyomo.core.expr import LinearExpression

from optimizer.design.layout import UM, Pattern, State, ranks, reachable
from optimizer.design.problem import Problem

#: Slack on normalised rows, so that the solver's own tolerances cannot cut a real structure off.
SLACK = 1e-7
#: Coefficients below this are dropped (HiGHS would drop them itself); the right side gives the matching
#: slack.
DROPPED = 1e-9


class SequenceModel:
    """Variables x (presence) and thick [um] by (wall, state), and every rule that does not need physics.

    fixed_layers: wall -> number of layers of a symmetric wall. ``empty`` is set when some wall has no allowed
    sequence at all.
    """

    def __init__(
        self,
        problem: Problem,
        patterns: Sequence[Pattern] = (),
        fixed_layers: Mapping[int, int] | None = None,
    ) -> None:
        self.problem = problem
        self.ranks = ranks(problem)
        self.patterns = patterns or tuple(Pattern() for _ in problem.walls)
        self.fixed_layers = fixed_layers or {}
        self.model: Any = pyo.ConcreteModel()
        self.model.cuts = pyo.ConstraintList()
        self.model.rules = pyo.ConstraintList()
        self.states: list[set[State]] = []
        self.x: dict[tuple[int, State], Any] = {}
        self.thick: dict[tuple[int, State], Any] = {}
        self.empty = False
        for w in range(len(problem.walls)):
            self._structure(w)

    def _structure(self, w: int) -> None:
        wall, model = self.problem.walls[w], self.model
        states = reachable(wall, self.problem.sensitive, self.ranks[w], self.patterns[w])
        self.states.append(states)
        if not any(k == 0 for k, _, _ in states):
            self.empty = True
            return
        ordered = sorted(states)
        x = pyo.Var(ordered, domain=pyo.Binary)
        thick = pyo.Var(ordered, domain=pyo.NonNegativeReals)
        setattr(model, f"x{w}", x)
        setattr(model, f"l{w}", thick)
        for s in ordered:
            self.x[w, s], self.thick[w, s] = x[s], thick[s]
            least, most = wall.least[s[1]] / UM, wall.most[s[1]] / UM
            self.add([(least, x[s]), (-1.0, thick[s])], high=0.0)
            self.add([(-most, x[s]), (1.0, thick[s])], high=0.0)
        slots: list[list[State]] = [[s for s in ordered if s[0] == k] for k in range(wall.max_layers)]
        self.add([(1.0, x[s]) for s in slots[0]], low=1.0, high=1.0)
        for k in range(wall.max_layers - 1):
            self.add([(1.0, x[s]) for s in slots[k + 1]] + [(-1.0, x[s]) for s in slots[k]], high=0.0)
            for s in slots[k]:
                after = [t for t in slots[k + 1] if self._follows(w, s, t)]
                if not (wall.end[s[1]] and (self.ranks[w] == 0 or self.patterns[w].may_end(s[2]))):
                    self.add([(1.0, x[s])] + [(-1.0, x[t]) for t in after], high=0.0)
                else:
                    others = [t for t in slots[k + 1] if t not in after]
                    if others:
                        self.add([(1.0, x[s])] + [(1.0, x[t]) for t in others], high=1.0)
            for t in slots[k + 1]:
                before = [s for s in slots[k] if self._follows(w, s, t)]
                self.add([(1.0, x[t])] + [(-1.0, x[s]) for s in before], high=0.0)
        self._rules(w, ordered, slots)

    def _follows(self, w: int, s: State, t: State) -> bool:
        if not self.problem.walls[w].touching[s[1], t[1]]:
            return False
        if self.ranks[w] == 0:
            return True
        if self.problem.sensitive[t[1]]:
            return t[2] == (s[2] + 1 if s[2] % 2 == 0 else s[2] + 2)
        return t[2] == (s[2] if s[2] % 2 == 0 else s[2] + 1)

    def _rules(self, w: int, ordered: list[State], slots: list[list[State]]) -> None:
        wall = self.problem.walls[w]
        x, thick = self.x, self.thick
        least, most = wall.thickness
        scale = max(most if np.isfinite(most) else 0.0, least, 1e-5) / UM
        if np.isfinite(most):
            self.add([(1.0 / scale, thick[w, s]) for s in ordered], high=most / UM / scale + SLACK)
        if least > 0:
            self.add([(1.0 / scale, thick[w, s]) for s in ordered], low=least / UM / scale - SLACK)
        mass = self.problem.density / 1000.0 / 100.0
        for share in wall.shares:
            content = share.content
            if share.most < 1.0:
                self.add(
                    [(mass[s[1]] * (content[s[1]] - share.most), thick[w, s]) for s in ordered], high=SLACK
                )
            if share.least > 0.0:
                self.add(
                    [(mass[s[1]] * (content[s[1]] - share.least), thick[w, s]) for s in ordered], low=-SLACK
                )
        light, heavy = wall.grammage
        if light > 0 or np.isfinite(heavy):
            size = (heavy if np.isfinite(heavy) else light) / UM
            row = [(self.problem.density[s[1]] / size, thick[w, s]) for s in ordered]
            if light > 0:
                self.add(row, low=light / UM / size - SLACK)
            if np.isfinite(heavy):
                self.add(row, high=heavy / UM / size + SLACK)
        if wall.resins is not None:
            used = pyo.Var(sorted({s[1] for s in ordered}), domain=pyo.Binary)
            setattr(self.model, f"used{w}", used)
            for s in ordered:
                self.add([(1.0, x[w, s]), (-1.0, used[s[1]])], high=0.0)
            self.add([(1.0, used[m]) for m in used], high=float(wall.resins))
        for group in (*((m,) for m in wall.keep), *wall.keep_any):
            self.add([(1.0, x[w, s]) for s in ordered if s[1] in group], low=1.0)
        if wall.step:
            count = pyo.Var(range(wall.max_layers), domain=pyo.NonNegativeIntegers)
            setattr(self.model, f"steps{w}", count)
            for k, slot in enumerate(slots):
                stepped = [(1.0, thick[w, s]) for s in slot if wall.least[s[1]] < wall.most[s[1]]]
                if stepped:
                    self.add(stepped + [(-wall.step / UM, count[k])], low=0.0, high=0.0)
        layers = self.fixed_layers.get(w)
        if layers is not None:
            self._mirror(w, ordered, slots, layers)

    def _mirror(self, w: int, ordered: list[State], slots: list[list[State]], layers: int) -> None:
        """Exactly ``layers`` layers, the same read from either side."""
        x, thick = self.x, self.thick
        self.add([(1.0, x[w, s]) for s in slots[layers - 1]], low=1.0, high=1.0)
        if layers < len(slots):
            self.add([(1.0, x[w, s]) for s in slots[layers]], low=0.0, high=0.0)
        for k in range(layers // 2):
            for m in {s[1] for s in ordered}:
                here = [s for s in slots[k] if s[1] == m]
                there = [s for s in slots[layers - 1 - k] if s[1] == m]
                for table in (x, thick):
                    self.add(
                        [(1.0, table[w, s]) for s in here] + [(-1.0, table[w, s]) for s in there],
                        low=0.0,
                        high=0.0,
                    )

    def add(
        self,
        row: list[tuple[float, Any]],
        *,
        low: float | None = None,
        high: float | None = None,
        where: Any = None,
    ) -> None:
        kept = [(c, v) for c, v in row if abs(c) > DROPPED]
        body = LinearExpression(linear_coefs=[c for c, _ in kept], linear_vars=[v for _, v in kept])
        (where if where is not None else self.model.rules).add((low, body, high))

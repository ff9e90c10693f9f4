"""The bound: a mixed-integer model of all structures at once, in Pyomo, solved by HiGHS.

Slots k = 0.. from inside to outside hold one material each, empty slots only outside. A phase p counts the
humidity-sensitive layers passed: even = between them, odd 2j + 1 = the j-th sensitive layer itself (its *rank*).
Each rank has, per position class, one box (see ``boxes``) that says where it lies; its thickness is split over the
boxes and counts with the best resistivity that the box allows. So every real structure is a feasible point whose
resistances are at least the real ones, and the optimum of the model is a lower bound of the design.

Position classes: places f and s depend on the environment only through the ratios of water resistances, that is on
temperature; where a candidate's water permeability depends on activity they depend on both activities too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyomo.environ as pyo
from numpy.typing import NDArray
from pyomo.core.expr import LinearExpression
from scipy.optimize import linprog

from optimizer.design.boxes import Box, largest_resistivity, water_resistivities
from optimizer.design.problem import Environment, Problem, WallRules, most_sensitive_layers
from optimizer.physics.permeability import BLOCKED

Array = NDArray[np.float64]
State = tuple[int, int, int]  # slot, material, phase

UM = 1e-6
#: Slack on normalised rows, so that the solver's own tolerances cannot cut a real structure off.
SLACK = 1e-7
#: Coefficients below this are dropped (HiGHS would drop them itself); the right side gives the matching slack.
_DROP = 1e-9
#: Slack of position rows: a thousand micrometres of dropped coefficients.
_PLACE_SLACK = 1e-6


@dataclass(frozen=True)
class PositionClass:
    """Environments of one wall in which a layer has the same place: any of them gives the water ratios."""

    wall: int
    environments: tuple[int, ...]
    reference: Environment


@dataclass(frozen=True)
class Cut:
    """Tangent of demand ``demand``: sum over its terms of  share**2 / weight * R  >= 1, shares summing to 1."""

    demand: int
    share: tuple[float, ...]


@dataclass
class Boxes:
    """Boxes by (wall, rank, class)."""

    table: dict[tuple[int, int, int], list[Box]] = field(default_factory=dict)


def position_classes(problem: Problem) -> tuple[PositionClass, ...]:
    """Group the driven environments that the demands use, wall by wall."""
    found: dict[tuple[int, object], list[int]] = {}
    for demand in problem.demands:
        for term in demand.terms:
            env = problem.environments[term.environment]
            if not env.driven:
                continue
            key: object = env if problem.water_varies else round(env.temperature, 6)
            members = found.setdefault((term.wall, key), [])
            if term.environment not in members:
                members.append(term.environment)
    return tuple(
        PositionClass(w, tuple(members), problem.environments[members[0]]) for (w, _), members in found.items()
    )


def ranks(problem: Problem) -> tuple[int, ...]:
    """How many sensitive layers each wall can hold at most, 0 where positions do not matter."""
    classes = position_classes(problem)
    return tuple(
        most_sensitive_layers(wall, problem.sensitive) if any(c.wall == w for c in classes) else 0
        for w, wall in enumerate(problem.walls)
    )


@dataclass(frozen=True)
class Pattern:
    """Humidity-sensitive layers of one wall from inside: ``known`` materials, and whether more may follow outside."""

    known: tuple[int, ...] = ()
    closed: bool = False

    def allows(self, material: int, phase: int) -> bool:
        """Whether ``material`` may stand in ``phase`` (an even phase holds no sensitive layer)."""
        rank = phase // 2
        if phase % 2 == 0 or rank >= len(self.known):
            return phase % 2 == 0 or not self.closed
        return self.known[rank] == material

    def may_end(self, phase: int) -> bool:
        return (phase + 1) // 2 >= len(self.known)


def reachable(
    wall: WallRules, sensitive: NDArray[np.bool_], rank: int, pattern: Pattern = Pattern()
) -> set[State]:
    """States that lie on some allowed path from the inside to a possible outermost layer."""
    count = len(sensitive)
    forward: list[set[tuple[int, int]]] = [set() for _ in range(wall.max_layers)]

    def phase_after(phase: int, material: int) -> int | None:
        if rank == 0:
            return 0
        if sensitive[material]:
            new = phase + 1 if phase % 2 == 0 else phase + 2
        else:
            new = phase if phase % 2 == 0 else phase + 1
        return new if new <= 2 * rank and pattern.allows(material, new) else None

    for m in range(count):
        if wall.start[m]:
            phase = phase_after(0, m)
            if phase is not None:
                forward[0].add((m, phase))
    for k in range(1, wall.max_layers):
        for m, p in forward[k - 1]:
            for b in np.flatnonzero(wall.touching[m]):
                phase = phase_after(p, int(b))
                if phase is not None:
                    forward[k].add((int(b), phase))
    alive: list[set[tuple[int, int]]] = [set() for _ in range(wall.max_layers)]
    for k in reversed(range(wall.max_layers)):
        for m, p in forward[k]:
            if wall.end[m] and (rank == 0 or pattern.may_end(p)):
                alive[k].add((m, p))
            elif k + 1 < wall.max_layers and any(
                wall.touching[m, b] and (b, phase_after(p, b)) in alive[k + 1] for b, _ in alive[k + 1]
            ):
                alive[k].add((m, p))
    return {(k, m, p) for k in range(wall.max_layers) for m, p in alive[k]}


class BoundModel:
    """One Pyomo model for given boxes; tangent cuts can be added to it."""

    def __init__(
        self,
        problem: Problem,
        boxes: Mapping[tuple[int, int, int], Sequence[Box]],
        *,
        patterns: Sequence[Pattern] = (),
        cutoff: float = np.inf,
        goal: str = "objective",
        fixed_layers: Mapping[int, int] | None = None,
    ) -> None:
        self.problem = problem
        self.classes = position_classes(problem)
        self.ranks = ranks(problem)
        self.boxes = boxes
        self.goal = goal
        self.patterns = patterns or tuple(Pattern() for _ in problem.walls)
        self.cutoff = cutoff
        self.fixed_layers = fixed_layers or {}
        self.model: Any = pyo.ConcreteModel()
        self.model.cuts = pyo.ConstraintList()
        self.model.rules = pyo.ConstraintList()
        self.states: list[set[State]] = []
        self.x: dict[tuple[int, State], Any] = {}
        self.l: dict[tuple[int, State], Any] = {}
        self.z: dict[tuple[int, int, int, int], Any] = {}
        self.lz: dict[tuple[int, int, int, int, int], Any] = {}
        self.empty = False
        for w in range(len(problem.walls)):
            self._structure(w)
        if self.empty:
            return
        for c in range(len(self.classes)):
            self._positions(c)
        self._objective()

    # -- sequences -------------------------------------------------------------------------------------------

    def _structure(self, w: int) -> None:
        wall, model = self.problem.walls[w], self.model
        states = reachable(wall, self.problem.sensitive, self.ranks[w], self.patterns[w])
        self.states.append(states)
        if not any(k == 0 for k, _, _ in states):
            self.empty = True
            return
        ordered = sorted(states)
        x = pyo.Var(ordered, domain=pyo.Binary)
        l = pyo.Var(ordered, domain=pyo.NonNegativeReals)
        setattr(model, f"x{w}", x)
        setattr(model, f"l{w}", l)
        for s in ordered:
            self.x[w, s], self.l[w, s] = x[s], l[s]
            least, most = wall.least[s[1]] / UM, wall.most[s[1]] / UM
            self._add([(least, x[s]), (-1.0, l[s])], high=0.0)
            self._add([(-most, x[s]), (1.0, l[s])], high=0.0)
        slots: list[list[State]] = [[s for s in ordered if s[0] == k] for k in range(wall.max_layers)]
        self._add([(1.0, x[s]) for s in slots[0]], low=1.0, high=1.0)
        for k in range(wall.max_layers - 1):
            self._add([(1.0, x[s]) for s in slots[k + 1]] + [(-1.0, x[s]) for s in slots[k]], high=0.0)
            for s in slots[k]:
                after = [t for t in slots[k + 1] if self._follows(w, s, t)]
                if not (wall.end[s[1]] and (self.ranks[w] == 0 or self.patterns[w].may_end(s[2]))):
                    self._add([(1.0, x[s])] + [(-1.0, x[t]) for t in after], high=0.0)
                else:
                    others = [t for t in slots[k + 1] if t not in after]
                    if others:
                        self._add([(1.0, x[s])] + [(1.0, x[t]) for t in others], high=1.0)
            for t in slots[k + 1]:
                before = [s for s in slots[k] if self._follows(w, s, t)]
                self._add([(1.0, x[t])] + [(-1.0, x[s]) for s in before], high=0.0)
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
        x, l = self.x, self.l
        least, most = wall.thickness
        scale = max(most if np.isfinite(most) else 0.0, least, 1e-5) / UM
        if np.isfinite(most):
            self._add([(1.0 / scale, l[w, s]) for s in ordered], high=most / UM / scale + SLACK)
        if least > 0:
            self._add([(1.0 / scale, l[w, s]) for s in ordered], low=least / UM / scale - SLACK)
        mass = self.problem.density / 1000.0 / 100.0
        for share in wall.shares:
            member = np.isin(np.arange(len(mass)), share.members)
            if share.most < 1.0:
                self._add([(mass[s[1]] * (member[s[1]] - share.most), l[w, s]) for s in ordered], high=SLACK)
            if share.least > 0.0:
                self._add([(mass[s[1]] * (member[s[1]] - share.least), l[w, s]) for s in ordered], low=-SLACK)
        for m in wall.keep:
            self._add([(1.0, x[w, s]) for s in ordered if s[1] == m], low=1.0)
        if wall.step:
            count = pyo.Var(range(wall.max_layers), domain=pyo.NonNegativeIntegers)
            setattr(self.model, f"steps{w}", count)
            for k, slot in enumerate(slots):
                if slot:
                    self._add([(1.0, l[w, s]) for s in slot] + [(-wall.step / UM, count[k])], low=0.0, high=0.0)
        layers = self.fixed_layers.get(w)
        if layers is not None:
            self._mirror(w, ordered, slots, layers)

    def _mirror(self, w: int, ordered: list[State], slots: list[list[State]], layers: int) -> None:
        """Exactly ``layers`` layers, the same read from either side."""
        x, l = self.x, self.l
        self._add([(1.0, x[w, s]) for s in slots[layers - 1]], low=1.0, high=1.0)
        if layers < len(slots):
            self._add([(1.0, x[w, s]) for s in slots[layers]], low=0.0, high=0.0)
        for k in range(layers // 2):
            for m in {s[1] for s in ordered}:
                here = [s for s in slots[k] if s[1] == m]
                there = [s for s in slots[layers - 1 - k] if s[1] == m]
                for table in (x, l):
                    self._add(
                        [(1.0, table[w, s]) for s in here] + [(-1.0, table[w, s]) for s in there], low=0.0, high=0.0
                    )

    # -- positions -------------------------------------------------------------------------------------------

    def _positions(self, c: int) -> None:
        cls = self.classes[c]
        w = cls.wall
        if self.ranks[w] == 0:
            return
        wall = self.problem.walls[w]
        for j in range(self.ranks[w]):
            members = [s for s in self.states[w] if s[2] == 2 * j + 1]
            if not members:
                continue
            boxes = self.boxes[w, j, c]
            z = pyo.Var(range(len(boxes)), domain=pyo.Binary)
            present = sorted({s[1] for s in members})
            lz = pyo.Var(present, range(len(boxes)), domain=pyo.NonNegativeReals)
            setattr(self.model, f"z{w}_{j}_{c}", z)
            setattr(self.model, f"lz{w}_{j}_{c}", lz)
            for b in range(len(boxes)):
                self.z[w, j, c, b] = z[b]
                for m in present:
                    self.lz[w, j, c, m, b] = lz[m, b]
                self._add([(UM / wall.most[m], lz[m, b]) for m in present] + [(-1.0, z[b])], high=0.0)
            self._add(
                [(1.0, z[b]) for b in range(len(boxes))] + [(-1.0, self.x[w, s]) for s in members], low=0.0, high=0.0
            )
            for m in present:
                own = [s for s in members if s[1] == m]
                self._add(
                    [(1.0, lz[m, b]) for b in range(len(boxes))] + [(-1.0, self.l[w, s]) for s in own],
                    low=0.0,
                    high=0.0,
                )
        self._position_rows(c)

    def _position_rows(self, c: int) -> None:
        cls = self.classes[c]
        w = cls.wall
        terms = self._water_terms(c)
        big = self._most_water(c)
        blocked = [s for s in self.states[w] if self.problem.materials[s[1]].water_law().blocks]
        free = [(-1.0, self.x[w, s]) for s in blocked]
        for j in range(self.ranks[w]):
            boxes = self.boxes.get((w, j, c), ())
            z = [self.z.get((w, j, c, b)) for b in range(len(boxes))]
            if not boxes or z[0] is None:
                continue
            for kind in ("f", "s"):
                lows = {getattr(b, f"{kind}_low") for b in boxes} - {0.0}
                highs = {getattr(b, f"{kind}_high") for b in boxes} - {1.0}
                for edge in sorted(highs):
                    inside = [(1.0, z[i]) for i, b in enumerate(boxes) if getattr(b, f"{kind}_high") <= edge]
                    row = self._place_row(terms, j, kind, edge, upper=True, scale=1.0 / ((1 - edge) * big))
                    self._add(row + inside + free, high=1.0 + _PLACE_SLACK)
                for edge in sorted(lows):
                    inside = [(1.0, z[i]) for i, b in enumerate(boxes) if getattr(b, f"{kind}_low") >= edge]
                    row = self._place_row(terms, j, kind, edge, upper=False, scale=1.0 / (edge * big))
                    self._add(row + inside + free, high=1.0 + _PLACE_SLACK)

    def _most_water(self, c: int) -> float:
        """Upper bound of the total water resistance: the best mix of materials within thickness and cost."""
        cls = self.classes[c]
        wall = self.problem.walls[cls.wall]
        present = sorted({s[1] for s in self.states[cls.wall]})
        open_ = [m for m in present if not self.problem.materials[m].water_law().blocks]
        gain = np.array([
            UM / (float(law.slopes.min()) * float(law.factor(cls.reference.temperature)))
            for law in (self.problem.materials[m].water_law() for m in open_)
        ])
        layers = [sum(1 for k in range(wall.max_layers) if any(s[0] == k and s[1] == m for s in self.states[cls.wall])) for m in open_]
        most = np.array([wall.most[m] / UM * n for m, n in zip(open_, layers, strict=True)])
        rows, high = [], []
        if np.isfinite(wall.thickness[1]):
            rows.append(np.ones(len(open_)))
            high.append(wall.thickness[1] / UM)
        if np.isfinite(self.cutoff):
            rows.append(wall.rate[open_] * UM)
            high.append(self.cutoff)
        outcome = linprog(
            -gain / gain.max(), A_ub=np.array(rows) if rows else None, b_ub=high if rows else None,
            bounds=[(0.0, float(v)) for v in most],
        )
        return 1.001 * float(-outcome.fun) * float(gain.max()) if outcome.success else float(gain @ most)

    def _water_terms(self, c: int) -> list[tuple[int, Any, float, float]]:
        """(phase, variable, least, largest water resistivity per um) of every thickness variable of the class."""
        cls = self.classes[c]
        w = cls.wall
        terms: list[tuple[int, Any, float, float]] = []
        for s in sorted(self.states[w]):
            material = self.problem.materials[s[1]]
            law = material.water_law()
            if law.blocks or (s[2] % 2 == 1 and law.humidity_sensitive):
                continue
            q = UM / (float(law.slopes[0]) * float(law.factor(cls.reference.temperature)))
            terms.append((s[2], self.l[w, s], q, q))
        for (vw, j, vc, m, b), variable in self.lz.items():
            material = self.problem.materials[m]
            if vw == w and vc == c and material.water_law().humidity_sensitive:
                low, high = water_resistivities(material, cls.reference, self.boxes[w, j, c][b])
                terms.append((2 * j + 1, variable, low * UM, high * UM))
        return terms

    @staticmethod
    def _place_row(
        terms: list[tuple[int, Any, float, float]], j: int, kind: str, edge: float, *, upper: bool, scale: float
    ) -> list[tuple[float, Any]]:
        """Left side of  place <= edge (upper) or >= edge, multiplied out with the total water resistance.

        place is f or s. A row of bounds: the least resistivity where the coefficient is positive, else the largest.
        """
        own = 2 * j + 1
        row = []
        for phase, variable, low, high in terms:
            if kind == "s":
                part = 1.0 if phase == own else 0.0
            else:
                part = 1.0 if phase < own else 0.5 if phase == own else 0.0
            weight = (part - edge) if upper else (edge - part)
            row.append((weight * (low if weight > 0 else high) * scale, variable))
        return row

    # -- demands ---------------------------------------------------------------------------------------------

    def forbid(self, sequences: Sequence[Sequence[int]]) -> None:
        """Exclude one choice of sequences (all walls together) from the model."""
        row: list[tuple[float, Any]] = []
        count = 0
        for w, sequence in enumerate(sequences):
            phase = 0
            for k, m in enumerate(sequence):
                if self.ranks[w]:
                    rises = 1 + phase % 2 if self.problem.sensitive[m] else phase % 2
                    phase += rises
                state = (k, m, phase)
                if state not in self.states[w]:
                    return
                row.append((1.0, self.x[w, state]))
                count += 1
            row += [(-1.0, self.x[w, s]) for s in self.states[w] if s[0] == len(sequence)]
        self._add(row, high=count - 1.0)

    def resistance(self, gas: str, w: int, e: int) -> list[tuple[float, Any, Any, float]]:
        """Optimistic R of wall ``w`` in environment ``e``: (coefficient per um, thickness variable, presence
        variable or None, least gauge um) for every column."""
        env = self.problem.environments[e]
        cls = next((c for c, k in enumerate(self.classes) if k.wall == w and e in k.environments), None)
        wall = self.problem.walls[w]
        found: list[tuple[float, Any, Any, float]] = []
        for s in sorted(self.states[w]):
            material = self.problem.materials[s[1]]
            if cls is not None and s[2] % 2 == 1 and self._depends(material, gas):
                continue
            r = self.resistivity_at(material, gas, env)
            found.append((r * UM, self.l[w, s], self.x[w, s], wall.least[s[1]] / UM))
        if cls is None:
            return found
        for (vw, j, vc, m, b), variable in self.lz.items():
            material = self.problem.materials[m]
            if vw != w or vc != cls or not self._depends(material, gas):
                continue
            box = self.boxes[w, j, cls][b]
            if gas == "H2O":
                r = water_resistivities(material, env, box)[1]
            else:
                r = largest_resistivity(material, gas, env, box)
            found.append((r * UM, variable, None, wall.least[m] / UM))
        return found

    @staticmethod
    def _depends(material: Any, gas: str) -> bool:
        if gas == "H2O":
            return bool(material.water_law().humidity_sensitive)
        return bool(material.gas_law(gas).humidity_sensitive)

    @staticmethod
    def resistivity_at(material: Any, gas: str, env: Environment) -> float:
        """Resistivity of a layer whose place does not matter here [m2 s Pa/(mol m)]."""
        middle = 0.5 * (env.inside + env.outside)
        if gas == "H2O":
            law = material.water_law()
            if law.blocks:
                return BLOCKED
            return 1.0 / (float(law.slope_at(middle)) * float(law.factor(env.temperature)))
        return float(material.mean_resistivity(gas, env.temperature, middle, middle))

    def add_cut(self, cut: Cut) -> None:
        """Tangent row of one demand. A layer that alone covers the demand counts 1 on its presence."""
        demand = self.problem.demands[cut.demand]
        total: dict[int, list[Any]] = {}
        most = max(float(w.most.max()) for w in self.problem.walls) / UM
        for term, share in zip(demand.terms, cut.share, strict=True):
            factor = share * share / term.weight
            for r, variable, presence, least in self.resistance(demand.gas, term.wall, term.environment):
                entry = total.setdefault(id(variable), [0.0, variable, presence, least])
                entry[0] += factor * r
        row = []
        slack = SLACK
        for coefficient, variable, presence, least in total.values():
            if coefficient <= _DROP:
                slack += coefficient * most
            elif coefficient * least >= 1.0:
                row.append((1.0, presence) if presence is not None else (1.0 / least, variable))
            else:
                row.append((coefficient, variable))
        if self.goal == "reach":
            row.append((-1.0, self.model.reach))
            self._add(row, low=-slack, where=self.model.cuts)
        else:
            self._add(row, low=1.0 - slack, where=self.model.cuts)

    def _objective(self) -> None:
        if self.goal == "reach":
            self.model.reach = pyo.Var(bounds=(0.0, 1.0))
            self.model.goal = pyo.Objective(expr=self.model.reach, sense=pyo.maximize)
            return
        coefficient, variables = [], []
        for (w, s), variable in self.l.items():
            coefficient.append(self.problem.walls[w].rate[s[1]] * UM)
            variables.append(variable)
        self.scale = 1.0 / max(max(coefficient) * 100.0, 1e-300)
        self.model.goal = pyo.Objective(
            expr=LinearExpression(linear_coefs=[v * self.scale for v in coefficient], linear_vars=variables)
        )
        if np.isfinite(self.cutoff):
            self._add(
                [(v * self.scale, x) for v, x in zip(coefficient, variables, strict=True)],
                high=self.cutoff * self.scale * (1 + SLACK),
            )

    def _add(
        self, row: list[tuple[float, Any]], *, low: float | None = None, high: float | None = None, where: Any = None
    ) -> None:
        kept = [(c, v) for c, v in row if abs(c) > _DROP]
        body = LinearExpression(linear_coefs=[c for c, _ in kept], linear_vars=[v for _, v in kept])
        (where if where is not None else self.model.rules).add((low, body, high))

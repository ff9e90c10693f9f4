"""The bound: a mixed-integer model of all structures at once, in Pyomo, solved by HiGHS.

Slots k = 0.. from inside to outside hold one material each, empty slots only outside. A phase p counts the
humidity-sensitive layers passed: even = between them, odd 2j + 1 = the j-th sensitive layer itself (its
*rank*). Each rank has, per position class, one box (see ``boxes``) that says where it lies; its thickness
is split over the boxes and counts with the best resistivity that the box allows. So every real structure is
a feasible point whose resistances are at least the real ones, and the optimum of the model is a lower bound
of the design.

Position classes: places f and s depend on the environment only through the ratios of water resistances,
that is on temperature; where a candidate's water permeability depends on activity they depend on both
activities too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyomo.environ as pyo
from numpy.typing import NDArray
from pyomo.core.expr import LinearExpression
from scipy.optimize import linprog

from optimizer.design.boxes import (
    Box,
    depends_on_place,
    largest_resistivity,
    resistivity_at,
    water_resistivities,
)
from optimizer.design.layout import UM, Pattern, position_classes
from optimizer.design.problem import Problem
from optimizer.design.structure import DROPPED, SLACK, SequenceModel

Array = NDArray[np.float64]
#: Slack of position rows: a thousand micrometres of dropped coefficients.
_PLACE_SLACK = 1e-6


@dataclass(frozen=True)
class Cut:
    """Tangent of demand ``demand``: sum over its terms of  share**2 / weight * R  >= 1, shares summing to
    1."""

    demand: int
    share: tuple[float, ...]


class BoundModel(SequenceModel):
    """One Pyomo model for given boxes; tangent cuts can be added to it.

    boxes by (wall, rank, class); patterns by wall; cutoff: only structures at or below this objective are
    asked for.
    """

    def __init__(
        self,
        problem: Problem,
        boxes: Mapping[tuple[int, int, int], Sequence[Box]],
        *,
        patterns: Sequence[Pattern] = (),
        cutoff: float = np.inf,
        fixed_layers: Mapping[int, int] | None = None,
    ) -> None:
        super().__init__(problem, patterns, fixed_layers)
        self.classes = position_classes(problem)
        self.boxes = boxes
        self.cutoff = cutoff
        self.z: dict[tuple[int, int, int, int], Any] = {}
        self.lz: dict[tuple[int, int, int, int, int], Any] = {}
        if self.empty:
            return
        for c in range(len(self.classes)):
            self._positions(c)
        self._objective()

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
                self.add([(UM / wall.most[m], lz[m, b]) for m in present] + [(-1.0, z[b])], high=0.0)
            self.add(
                [(1.0, z[b]) for b in range(len(boxes))] + [(-1.0, self.x[w, s]) for s in members],
                low=0.0,
                high=0.0,
            )
            for m in present:
                own = [s for s in members if s[1] == m]
                self.add(
                    [(1.0, lz[m, b]) for b in range(len(boxes))] + [(-1.0, self.thick[w, s]) for s in own],
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
                    self.add(row + inside + free, high=1.0 + _PLACE_SLACK)
                for edge in sorted(lows):
                    inside = [(1.0, z[i]) for i, b in enumerate(boxes) if getattr(b, f"{kind}_low") >= edge]
                    row = self._place_row(terms, j, kind, edge, upper=False, scale=1.0 / (edge * big))
                    self.add(row + inside + free, high=1.0 + _PLACE_SLACK)

    def _most_water(self, c: int) -> float:
        """Upper bound of the total water resistance: the best mix of materials within thickness and cost."""
        cls = self.classes[c]
        wall = self.problem.walls[cls.wall]
        present = sorted({s[1] for s in self.states[cls.wall]})
        open_ = [m for m in present if not self.problem.materials[m].water_law().blocks]
        gain = np.array(
            [
                UM / (float(law.slopes.min()) * float(law.factor(cls.reference.temperature)))
                for law in (self.problem.materials[m].water_law() for m in open_)
            ]
        )
        layers = [
            sum(
                1
                for k in range(wall.max_layers)
                if any(s[0] == k and s[1] == m for s in self.states[cls.wall])
            )
            for m in open_
        ]
        most = np.array([wall.most[m] / UM * n for m, n in zip(open_, layers, strict=True)])
        rows, high = [], []
        if np.isfinite(wall.thickness[1]):
            rows.append(np.ones(len(open_)))
            high.append(wall.thickness[1] / UM)
        if np.isfinite(self.cutoff):
            rows.append(wall.rate[open_] * UM)
            high.append(self.cutoff)
        outcome = linprog(
            -gain / gain.max(),
            A_ub=np.array(rows) if rows else None,
            b_ub=high if rows else None,
            bounds=[(0.0, float(v)) for v in most],
        )
        return 1.001 * float(-outcome.fun) * float(gain.max()) if outcome.success else float(gain @ most)

    def _water_terms(self, c: int) -> list[tuple[int, Any, float, float]]:
        """(phase, variable, least, largest water resistivity per um) of every thickness variable of the
        class."""
        cls = self.classes[c]
        w = cls.wall
        terms: list[tuple[int, Any, float, float]] = []
        for s in sorted(self.states[w]):
            material = self.problem.materials[s[1]]
            law = material.water_law()
            if law.blocks or (s[2] % 2 == 1 and law.humidity_sensitive):
                continue
            q = UM / (float(law.slopes[0]) * float(law.factor(cls.reference.temperature)))
            terms.append((s[2], self.thick[w, s], q, q))
        for (vw, j, vc, m, b), variable in self.lz.items():
            material = self.problem.materials[m]
            if vw == w and vc == c and material.water_law().humidity_sensitive:
                low, high = water_resistivities(material, cls.reference, self.boxes[w, j, c][b])
                terms.append((2 * j + 1, variable, low * UM, high * UM))
        return terms

    @staticmethod
    def _place_row(
        terms: list[tuple[int, Any, float, float]],
        j: int,
        kind: str,
        edge: float,
        *,
        upper: bool,
        scale: float,
    ) -> list[tuple[float, Any]]:
        """Left side of  place <= edge (upper) or >= edge, multiplied out with the total water resistance.

        place is f or s. A row of bounds: the least resistivity where the coefficient is positive, else the
        largest.
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

    def resistance(self, gas: str, w: int, e: int) -> list[tuple[float, Any, Any, float]]:
        """Optimistic R of wall ``w`` in environment ``e``: (coefficient per um, thickness variable, presence
        variable or None, least gauge um) for every column."""
        env = self.problem.environments[e]
        cls = next((c for c, k in enumerate(self.classes) if k.wall == w and e in k.environments), None)
        wall = self.problem.walls[w]
        found: list[tuple[float, Any, Any, float]] = []
        for s in sorted(self.states[w]):
            material = self.problem.materials[s[1]]
            if cls is not None and s[2] % 2 == 1 and depends_on_place(material, gas):
                continue
            r = resistivity_at(material, gas, env)
            found.append((r * UM, self.thick[w, s], self.x[w, s], wall.least[s[1]] / UM))
        if cls is None:
            return found
        for (vw, j, vc, m, b), variable in self.lz.items():
            material = self.problem.materials[m]
            if vw != w or vc != cls or not depends_on_place(material, gas):
                continue
            box = self.boxes[w, j, cls][b]
            if gas == "H2O":
                r = water_resistivities(material, env, box)[1]
            else:
                r = largest_resistivity(material, gas, env, box)
            found.append((r * UM, variable, None, wall.least[m] / UM))
        return found

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
            if coefficient <= DROPPED:
                slack += coefficient * most
            elif coefficient * least >= 1.0:
                row.append((1.0, presence) if presence is not None else (1.0 / least, variable))
            else:
                row.append((coefficient, variable))
        self.add(row, low=1.0 - slack, where=self.model.cuts)

    def _objective(self) -> None:
        coefficient, variables = [], []
        for (w, s), variable in self.thick.items():
            coefficient.append(self.problem.walls[w].rate[s[1]] * UM)
            variables.append(variable)
        self.scale = 1.0 / max(max(coefficient) * 100.0, 1e-300)
        for (w, s), present in self.x.items():
            charge = float(self.problem.walls[w].presence[s[1]])
            if charge > 0:
                coefficient.append(charge)
                variables.append(present)
        self.model.goal = pyo.Objective(
            expr=LinearExpression(linear_coefs=[v * self.scale for v in coefficient], linear_vars=variables)
        )
        if np.isfinite(self.cutoff):
            self.add(
                [(v * self.scale, x) for v, x in zip(coefficient, variables, strict=True)],
                high=self.cutoff * self.scale * (1 + SLACK),
            )

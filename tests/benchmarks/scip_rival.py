"""The design problem as one nonconvex mixed-integer model for SCIP, a general global solver: rival, oracle.

Physics of the model. Slots by materials carry a binary and a thickness. At each temperature the middle of
every slot has a place f, the water resistance from the inside face to there over that of the wall, as a
bilinear equality; the activity there is affine in f. The resistivity of a humidity-sensitive layer is the one
in its **middle** (the optimiser takes the exact mean over the layer), from the same law: log P is a piecewise
cubic of the activity, held flat outside its points, and enters exactly, as a sum of powers of clipped
activities (absolute values) under one exponential. For the mean over a layer the middle is right to second
order in the drop of activity across it: some 1e-4 for 5 um of EVOH between polyolefins, several 1e-3 where a
sensitive layer is thick. Resistance to water, and to gases of other layers, is exact. Permeances enter as
reciprocals of sums. A resistance of more than ``FAR`` times what a demand needs in all counts as that.

So the bound that SCIP reports belongs to this model; ``excess`` tells how far a design is from keeping the
demands in it. The designs that SCIP finds are polished in the exact model, so objectives compare.

What SCIP is given: bounds on every variable, empty slots at the outside only, states that cannot be completed
left out, neighbours as aggregated rows in both directions, tangent rows of the demands (Cauchy-Schwarz) at
the temperature response of every candidate with the layers that meet such a row alone capped at one, and an
end to the separation at the root, which slows it down here. One thread. Of the ways tried to write the
clipping, absolute values are as fast as binaries; with binaries SCIP cut the optimum off now and then.
Not modelled, refused: gauge steps, symmetry, edit distance, water permeability that depends on activity.
"""

from __future__ import annotations

import time
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pyscipopt import Model, exp, quicksum

from optimizer.design.exact import ExactModel
from optimizer.design.layout import UM, reachable
from optimizer.design.polish import Polisher
from optimizer.design.problem import Choice, Demand, Environment, Problem, Term, WallRules
from optimizer.physics.interpolation import pchip_slopes
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw

Array = NDArray[np.float64]
Slot = tuple[int, int, int]  # wall, slot, material

#: Resistance, in units of what the whole demand needs, from which on more makes no difference.
FAR = 1e3
#: Water resistances above this many times the largest of an open material count as this.
WET_RANGE = 1e4
#: Solutions of SCIP that are polished.
POLISHED = 5


class Answer(NamedTuple):
    """objective: of the best polished design, exact model. primal and bound: SCIP's own, its model; all in
    the problem's unit. gap: of SCIP's two. status: optimal | time_limit | infeasible | other words of
    SCIP."""

    objective: float
    primal: float
    bound: float
    gap: float
    seconds: float
    status: str
    choice: Choice | None


def solve(problem: Problem, gap: float = 1e-3, seconds: float = 120.0, start: Choice | None = None) -> Answer:
    """SCIP to the relative ``gap`` or the CPU seconds; ``start`` is offered as a first solution. The seconds
    in the answer are those of the clock."""
    begin, used = time.monotonic(), time.process_time()
    rival = Rival(problem)
    model = rival.model
    model.setParam("limits/gap", gap)
    # the default goes on with hundreds of rounds at the root: two to five times slower on this family
    model.setParam("separating/maxroundsroot", 20)
    model.setParam("timing/clocktype", 1)
    model.setParam("limits/time", max(1.0, seconds - (time.process_time() - used)))
    if start is not None:
        rival.offer(start)
    model.optimize()
    status = {"optimal": "optimal", "gaplimit": "optimal", "timelimit": "time_limit"}.get(
        model.getStatus(), model.getStatus()
    )
    bound = float(model.getDualbound()) * rival.scale
    solutions = model.getSols()
    primal = float(model.getPrimalbound()) * rival.scale if solutions else np.inf
    best = rival.polished(solutions)
    reached = (primal - bound) / abs(primal) if solutions and bound > -1e15 else np.inf
    took = time.monotonic() - begin
    return Answer(best.objective if best else np.inf, primal, bound, reached, took, status, best)


def excess(problem: Problem, choice: Choice) -> float:
    """Largest demand of a design in the physics of the rival: a design with all thicknesses times this keeps
    the demands there."""
    worst = 0.0
    for demand in problem.demands:
        total = 0.0
        for term in demand.terms:
            stack = [problem.materials[m] for m in choice.sequences[term.wall]]
            thick = np.array(choice.thickness[term.wall])
            env = problem.environments[term.environment]
            resistance = _resistances(stack, thick, demand.gas, env).sum()
            total += max(term.weight / resistance, term.weight / (FAR * _size(demand)))
        worst = max(worst, total)
    return worst


def _resistances(stack: list[Material], thick: Array, gas: str, env: Environment) -> Array:
    """Resistance of each layer at the activity in its middle [m2 s Pa/mol]."""
    water: Array = thick * np.array([_water(m, env.temperature) for m in stack])
    if gas == "H2O":
        return water
    middle = (np.cumsum(water) - 0.5 * water) / water.sum()
    activity = env.inside + (env.outside - env.inside) * middle
    laws = [m.gas_law(gas) for m in stack]
    return np.array(
        [
            t * (1e36 if law.blocks else 1.0 / law.at(env.temperature, a))
            for t, law, a in zip(thick, laws, activity, strict=True)
        ]
    )


def _water(material: Material, temperature: float) -> float:
    """Resistivity to water [m2 s Pa/(mol m)]."""
    law = material.water_law()
    return float(1.0 / (law.slopes[0] * law.factor(temperature)))


def _size(demand: Demand) -> float:
    return sum(t.weight for t in demand.terms)


def _sensitive(material: Material, gas: str) -> bool:
    return gas != "H2O" and material.gas_law(gas).humidity_sensitive


class Rival:
    """The model. Thickness in um; resistances in units of the demand's sum of weights; objective over
    ``scale``."""

    def __init__(self, problem: Problem) -> None:
        walls = problem.walls
        if problem.water_varies or any(w.step or w.symmetric or w.changes is not None for w in walls):
            raise ValueError("the rival does not model this problem")
        self.problem = problem
        self.model: Any = Model()
        self.model.hideOutput()
        self.x: dict[Slot, Any] = {}
        self.thick: dict[Slot, Any] = {}
        # water resistance of the wall and f by temperature; clipped activities; resistivity over its largest;
        # resistance of a sensitive layer; resistance of the wall by demand and term
        self.total: dict[tuple[int, float], Any] = {}
        self.place: dict[tuple[int, int, float], Any] = {}
        self.clipped: dict[tuple[int, int, Environment, float, float], Any] = {}
        self.ratio: dict[tuple[Slot, str, int], Any] = {}
        self.part: dict[tuple[Slot, str, int], Any] = {}
        self.resistance: dict[tuple[int, int], Any] = {}
        rates = np.concatenate([w.rate for w in walls])
        self.scale = float(np.median(rates[rates > 0])) * 100 * UM
        for w, wall in enumerate(walls):
            self._structure(w, wall)
        for d, demand in enumerate(problem.demands):
            self._demand(d, demand)
        objective = quicksum(
            self.thick[s] * (walls[s[0]].rate[s[2]] * UM / self.scale) for s in self.thick
        ) + quicksum(self.x[s] * (walls[s[0]].presence[s[2]] / self.scale) for s in self.x)
        self.model.setObjective(objective)

    # -- sequences and linear rules ----------------------------------------------------------------------

    def _structure(self, w: int, wall: WallRules) -> None:
        model, problem = self.model, self.problem
        states = sorted({(k, m) for k, m, _ in reachable(wall, problem.sensitive, 0)})
        for k, m in states:
            most = min(wall.most[m], wall.thickness[1]) / UM
            x = self.x[w, k, m] = model.addVar(f"x{w},{k},{m}", "B")
            thick = self.thick[w, k, m] = model.addVar(f"l{w},{k},{m}", lb=0.0, ub=most)
            model.addCons(thick >= wall.least[m] / UM * x)
            model.addCons(thick <= most * x)
        slots = [[m for j, m in states if j == k] for k in range(wall.max_layers)]
        for k, here in enumerate(slots):
            used = quicksum(self.x[w, k, m] for m in here)
            if k == 0:
                model.addCons(used == 1)
            else:
                model.addCons(used <= quicksum(self.x[w, k - 1, m] for m in slots[k - 1]))
            if k + 1 == wall.max_layers:
                break
            for m in here:
                after = [b for b in slots[k + 1] if wall.touching[m, b]]
                if not wall.end[m]:
                    model.addCons(self.x[w, k, m] <= quicksum(self.x[w, k + 1, b] for b in after))
                elif len(after) < len(slots[k + 1]):
                    others = [self.x[w, k + 1, b] for b in slots[k + 1] if b not in after]
                    model.addCons(self.x[w, k, m] + quicksum(others) <= 1)
            for b in slots[k + 1]:
                before = [self.x[w, k, m] for m in here if wall.touching[m, b]]
                model.addCons(self.x[w, k + 1, b] <= quicksum(before))
        self._rules(w, wall, states)

    def _rules(self, w: int, wall: WallRules, states: list[tuple[int, int]]) -> None:
        model = self.model

        def total(factor: Array) -> Any:
            return quicksum(self.thick[w, k, m] * float(factor[m]) for k, m in states)

        def within(factor: Array, low: float, high: float, size: float) -> None:
            if low > 0:
                model.addCons(total(factor / size) >= low / size)
            if np.isfinite(high):
                model.addCons(total(factor / size) <= high / size)

        mass = self.problem.density / 1000.0
        within(np.ones(len(mass)), wall.thickness[0] / UM, wall.thickness[1] / UM, 100.0)
        within(mass, wall.grammage[0] * 1e3, wall.grammage[1] * 1e3, 100.0)
        for share in wall.shares:
            content = np.array(share.content)
            if share.most < 1:
                model.addCons(total(mass * (content - share.most)) <= 0)
            if share.least > 0:
                model.addCons(total(mass * (content - share.least)) >= 0)
        for m in wall.keep:
            model.addCons(quicksum(self.x[w, k, b] for k, b in states if b == m) >= 1)
        for group in wall.keep_any:
            model.addCons(quicksum(self.x[w, k, b] for k, b in states if b in group) >= 1)
        if wall.resins is not None:
            there = {m: model.addVar(vtype="B") for _, m in states}
            for k, m in states:
                model.addCons(self.x[w, k, m] <= there[m])
            model.addCons(quicksum(there.values()) <= wall.resins)

    # -- humidity ----------------------------------------------------------------------------------------

    def _wet(self, temperature: float) -> Array:
        """Water resistance per um by material, largest 1 among those that let water through."""
        given = np.array([_water(m, temperature) for m in self.problem.materials])
        open_ = [r for m, r in zip(self.problem.materials, given, strict=True) if not m.water_law().blocks]
        found: Array = np.minimum(given / max(open_), WET_RANGE)
        return found

    def _slot_water(self, w: int, k: int, wet: Array) -> Any:
        return quicksum(v * float(wet[m]) for (a, b, m), v in self.thick.items() if (a, b) == (w, k))

    def _position(self, w: int, k: int, temperature: float) -> Any:
        """f of the middle of slot k: the water resistance further in and half its own over that of the
        wall."""
        model, wet = self.model, self._wet(temperature)
        slots = sorted({j for v, j, _ in self.thick if v == w})
        inside = [self._slot_water(w, j, wet) for j in slots]
        if (w, temperature) not in self.total:
            wall = self.problem.walls[w]
            most = float(min(wall.max_layers * (wet * wall.most).max(), wet.max() * wall.thickness[1])) / UM
            self.total[w, temperature] = model.addVar(lb=1e-3, ub=most)
            model.addCons(quicksum(inside) == self.total[w, temperature])
        if (w, k, temperature) not in self.place:
            place = self.place[w, k, temperature] = model.addVar(lb=0.0, ub=1.0)
            middle = quicksum(inside[:k]) + 0.5 * inside[k]
            model.addCons(place * self.total[w, temperature] == middle)
        return self.place[w, k, temperature]

    def _clipped(self, w: int, k: int, env: Environment, low: float, high: float) -> Any:
        """min(max(activity, low), high) - low in the middle of slot k."""
        key = (w, k, env, low, high)
        if key not in self.clipped:
            model = self.model
            activity = env.inside + (env.outside - env.inside) * self._position(w, k, env.temperature)
            dry, damp = sorted((env.inside, env.outside))
            value = activity - low
            if low > dry:
                value = 0.5 * (abs(activity - low) + activity - low)
            if high < damp:
                value = value - 0.5 * (abs(activity - high) + activity - high)
            least, most = max(dry - low, 0.0), min(damp, high) - low
            self.clipped[key] = model.addVar(lb=least, ub=most)
            model.addCons(self.clipped[key] == value)
        return self.clipped[key]

    def _log_ratio(self, w: int, k: int, law: GasLaw, env: Environment) -> tuple[Any, float, float]:
        """log of P at the least activity over P in the middle of slot k, and its bounds."""
        dry, damp = sorted((env.inside, env.outside))
        terms = []
        for low, a, b, c in _powers(law):
            high = law.activity[-1]
            if low < damp and high > dry:
                v = self._clipped(w, k, env, low, high)
                terms += [a * v, b * v**2, c * v**3]
        samples = np.linspace(dry, damp, 400)
        value = np.log(law.at(law.temperature, samples)) - np.log(law.permeability[0])
        return -quicksum(terms), float(-value.max()), float(-value.min())

    # -- demands -----------------------------------------------------------------------------------------

    def _demand(self, d: int, demand: Demand) -> None:
        model, size = self.model, _size(demand)
        sums, coefficient = [], []
        for e, term in enumerate(demand.terms):
            env = self.problem.environments[term.environment]
            rows = {s: v for s, v in self.thick.items() if s[0] == term.wall}
            plain = {
                m: _highest(self.problem.materials[m], demand.gas, env) * UM / size
                for m in {s[2] for s in rows}
            }
            coefficient.append(plain)
            sums.append({s: self._contribution(s, demand.gas, term, plain[s[2]]) for s in rows})
            if len(demand.terms) > 1:
                resistance = model.addVar(lb=0.999 * term.weight / size, ub=FAR)
                self.resistance[d, e] = resistance
                model.addCons(resistance <= quicksum(sums[e].values()))
        weight = np.array([t.weight / size for t in demand.terms])
        if len(demand.terms) > 1:
            model.addCons(quicksum(float(g) * self.resistance[d, e] ** -1 for e, g in enumerate(weight)) <= 1)
        for u in self._tangents(demand, weight):
            self._row(demand, u**2 / weight, sums, coefficient)

    def _tangents(self, demand: Demand, weight: Array) -> list[Array]:
        """Shares of the terms in the demand as they are for walls of a single material."""
        found: list[Array] = []
        for material in self.problem.materials:
            envs = [self.problem.environments[t.environment] for t in demand.terms]
            share = weight / np.array([min(_highest(material, demand.gas, e), 1e30) for e in envs])
            share = share / share.sum()
            if all(np.abs(share - u).max() > 0.02 for u in found):
                found.append(share)
        return found

    def _row(
        self,
        demand: Demand,
        factor: Array,
        sums: list[dict[Slot, Any]],
        coefficient: list[dict[int, float]],
    ) -> None:
        """sum over the terms of factor * resistance >= 1, layers that meet it alone capped."""
        parts = []
        for slot in self.thick:
            here = [e for e, t in enumerate(demand.terms) if t.wall == slot[0]]
            if not here:
                continue
            wall, material = self.problem.walls[slot[0]], self.problem.materials[slot[2]]
            most = float(sum(factor[e] * coefficient[e][slot[2]] for e in here))
            if most * wall.least[slot[2]] / UM >= 1 and not _sensitive(material, demand.gas):
                parts.append(self.x[slot])
            else:
                parts += [float(factor[e]) * sums[e][slot] for e in here]
        self.model.addCons(quicksum(parts) >= 1)

    def _contribution(self, slot: Slot, gas: str, term: Term, highest: float) -> Any:
        """Resistance of a slot that holds this material; ``highest``: per um at the best activity."""
        wall, material = self.problem.walls[slot[0]], self.problem.materials[slot[2]]
        env = self.problem.environments[term.environment]
        if highest * wall.least[slot[2]] / UM >= FAR and not _sensitive(material, gas):
            return FAR * self.x[slot]
        if not _sensitive(material, gas) or not env.driven:
            return highest * self.thick[slot]
        model, key = self.model, (slot, gas, term.environment)
        if key not in self.ratio:
            value, low, high = self._log_ratio(slot[0], slot[1], material.gas_law(gas), env)
            self.ratio[key] = model.addVar(lb=float(np.exp(low - high)), ub=1.0)
            model.addCons(self.ratio[key] <= exp(value - high))
        most = self.thick[slot].getUbOriginal()
        part = self.part[slot, gas, term.environment] = model.addVar(lb=0.0, ub=min(highest * most, FAR))
        model.addCons(part <= highest * self.thick[slot] * self.ratio[key])
        model.addCons(part <= highest * self.thick[slot])
        return part

    # -- solutions ---------------------------------------------------------------------------------------

    def polished(self, solutions: list[Any]) -> Choice | None:
        """The best design after the exact local problem at SCIP's best solutions."""
        polisher = Polisher(ExactModel(self.problem))
        found: list[Choice] = []
        for solution in solutions[:POLISHED]:
            sequences, start = [], []
            for w in range(len(self.problem.walls)):
                layers = [s for s in sorted(self.x) if s[0] == w and solution[self.x[s]] > 0.5]
                sequences.append(tuple(m for _, _, m in layers))
                start += [solution[self.thick[s]] for s in layers]
            for factor in (1.0, 1.02):
                choice = polisher.best(tuple(sequences), [factor * np.array(start)])
                if choice is not None:
                    found.append(choice)
        return min(found, key=lambda c: c.objective) if found else None

    def offer(self, choice: Choice) -> None:
        """Offer sequences and thicknesses as a partial solution that SCIP completes."""
        scale = max(1.0, excess(self.problem, choice)) * (1 + 1e-6)
        solution = self.model.createPartialSol()
        chosen = {
            (w, k, m): choice.thickness[w][k] for w, s in enumerate(choice.sequences) for k, m in enumerate(s)
        }
        for slot in self.x:
            self.model.setSolVal(solution, self.x[slot], float(slot in chosen))
            self.model.setSolVal(solution, self.thick[slot], chosen.get(slot, 0.0) * scale / UM)
        self.model.addSol(solution)


def _highest(material: Material, gas: str, env: Environment) -> float:
    """Resistivity at the best activity between the two sides, or as it is."""
    if gas == "H2O":
        return _water(material, env.temperature)
    law = material.gas_law(gas)
    if law.blocks:
        return 1e36
    activity = np.linspace(env.inside, env.outside, 400)
    return float((1.0 / law.at(env.temperature, activity)).max())


def _powers(law: GasLaw) -> list[tuple[float, float, float, float]]:
    """(t, a, b, c): log P(activity) - log P(first) = sum of a v + b v2 + c v3 with v = min(max(activity, t),
    last point) - t. The jumps of the derivatives of the piecewise cubic at its points."""
    knots, value = np.array(law.activity), np.log(law.permeability)
    slope, width = pchip_slopes(knots, value), np.diff(knots)
    rise = np.diff(value) / width
    second = (3 * rise - 2 * slope[:-1] - slope[1:]) / width
    third = (slope[:-1] + slope[1:] - 2 * rise) / width**2
    found = [(float(knots[0]), float(slope[0]), float(second[0]), float(third[0]))]
    for i, t in enumerate(knots[1:-1], 1):
        before = second[i - 1] + 3 * third[i - 1] * width[i - 1]
        found.append((float(t), 0.0, float(second[i] - before), float(third[i] - third[i - 1])))
    return found

"""The optimum by enumeration: every allowed sequence, thicknesses by many local solves or on a full
lattice.

Shares no code with the optimiser: walls are evaluated by ``physics.laminate`` alone, sequences come from
a plain recursion, and the rules are written out here once more.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog, minimize

from optimizer.design.problem import Environment, Problem, WallRules
from optimizer.physics.laminate import permeance
from optimizer.physics.material import Material
from optimizer.physics.permeability import BLOCKED

Array = NDArray[np.float64]
Sequences = tuple[tuple[int, ...], ...]
UM = 1e-6


def sequences_of(wall: WallRules) -> list[tuple[int, ...]]:
    """Every sequence of materials that the wall's rules on layers allow."""
    found: list[tuple[int, ...]] = []

    def grow(head: tuple[int, ...]) -> None:
        complete = wall.end[head[-1]] and all(k in head for k in wall.keep)
        complete &= all(any(k in head for k in group) for group in wall.keep_any)
        complete &= wall.resins is None or len(set(head)) <= wall.resins
        if wall.existing is not None and wall.changes is not None:
            complete &= changed_layers(wall.existing, head) <= wall.changes
        if complete and not (wall.symmetric and head != head[::-1]):
            found.append(head)
        if len(head) < wall.max_layers:
            for m in range(len(wall.start)):
                if wall.touching[head[-1], m]:
                    grow((*head, m))

    for m in range(len(wall.start)):
        if wall.start[m]:
            grow((m,))
    return found


def changed_layers(old: tuple[int, ...], new: tuple[int, ...]) -> int:
    """Fewest layers exchanged, added or left out: by which layers are paired off in order, tried out in full.

    With p pairs in order, of which some disagree, the rest of both walls is left out or added.
    """
    best = len(old) + len(new)
    for pairs in range(min(len(old), len(new)) + 1):
        for a in itertools.combinations(old, pairs):
            for b in itertools.combinations(new, pairs):
                exchanged = sum(x != y for x, y in zip(a, b, strict=True))
                best = min(best, exchanged + len(old) + len(new) - 2 * pairs)
    return best


def all_sequences(problem: Problem) -> Iterator[Sequences]:
    return itertools.product(*(sequences_of(w) for w in problem.walls))


def demands_of(problem: Problem, sequences: Sequences, x: Array) -> Array:
    """Value of every demand, (B, D), for thicknesses x (B, n) [um] of all layers of all walls in order."""
    edges = np.cumsum([0, *(len(s) for s in sequences)])
    values = np.zeros((len(x), len(problem.demands)))
    for d, demand in enumerate(problem.demands):
        for w, sequence in enumerate(sequences):
            terms = [t for t in demand.terms if t.wall == w]
            if not terms:
                continue
            env = [problem.environments[t.environment] for t in terms]
            through = permeance(
                [problem.materials[m] for m in sequence],
                x[:, None, edges[w] : edges[w + 1]] * UM,
                demand.gas,
                np.array([e.temperature for e in env]),
                np.array([e.inside for e in env]),
                np.array([e.outside for e in env]),
            )
            values[:, d] += through @ np.array([t.weight for t in terms])
    return values


def rules_broken(problem: Problem, sequences: Sequences, x: Array) -> Array:
    """How far each row of x (B, n) [um] breaks the linear rules, relative to their own size (B,); 0 if
    none.
    """
    worst = np.zeros(len(x))
    first = 0
    for wall, sequence in zip(problem.walls, sequences, strict=True):
        part = x[:, first : first + len(sequence)]
        first += len(sequence)
        least, most = wall.least[list(sequence)] / UM, wall.most[list(sequence)] / UM
        worst = np.maximum(worst, np.max((least - part) / least, axis=1))
        worst = np.maximum(worst, np.max((part - most) / most, axis=1))
        total = part.sum(axis=1)
        if wall.thickness[0] > 0:
            worst = np.maximum(worst, 1 - total * UM / wall.thickness[0])
        worst = np.maximum(worst, total * UM / wall.thickness[1] - 1)
        mass = part * np.array([problem.materials[m].density for m in sequence])
        grammage = mass.sum(axis=1) * UM
        if wall.grammage[0] > 0:
            worst = np.maximum(worst, 1 - grammage / wall.grammage[0])
        worst = np.maximum(worst, grammage / wall.grammage[1] - 1)
        for rule in wall.shares:
            share = (mass * np.array([rule.content[m] for m in sequence])).sum(axis=1) / mass.sum(axis=1)
            worst = np.maximum(worst, np.maximum(share - rule.most, rule.least - share))
        if wall.symmetric:
            worst = np.maximum(worst, np.max(np.abs(part - part[:, ::-1]) / part, axis=1))
        if wall.step:
            steps = (part * UM / wall.step)[:, most > least]
            if not steps.size:
                continue
            worst = np.maximum(worst, np.max(np.abs(steps - np.round(steps)), axis=1))
    return worst


def cost_of(problem: Problem, sequences: Sequences) -> Array:
    """Objective per um of each layer."""
    return np.concatenate([w.rate[list(s)] for w, s in zip(problem.walls, sequences, strict=True)]) * UM


def charge_of(problem: Problem, sequences: Sequences) -> float:
    """Objective of the layers' presence."""
    return sum(
        float(w.fixed[m])
        for w, s in zip(problem.walls, sequences, strict=True)
        if w.fixed is not None
        for m in s
    )


@dataclass(frozen=True)
class Found:
    objective: float
    sequences: Sequences
    x: Array


def local_optimum(problem: Problem, sequences: Sequences, starts: Sequence[Array]) -> Found | None:
    """Best of SLSQP from the starts (positions between the gauges on a log scale, 0 to 1)."""
    least = np.concatenate([w.least[list(s)] for w, s in zip(problem.walls, sequences, strict=True)]) / UM
    most = np.concatenate([w.most[list(s)] for w, s in zip(problem.walls, sequences, strict=True)]) / UM
    cost = cost_of(problem, sequences)
    scale = 1.0 / float(cost @ least)

    def margin(x: Array) -> Array:
        return -np.log(demands_of(problem, sequences, x[None, :]))[0]

    def slope(x: Array) -> Array:
        h = 1e-5 * x
        both = np.concatenate([x + np.diag(h), x - np.diag(h)])
        values = -np.log(demands_of(problem, sequences, both))
        return ((values[: len(x)] - values[len(x) :]) / (2 * h)[:, None]).T

    constraints = list(_linear(problem, sequences))
    charge = charge_of(problem, sequences)
    best: Found | None = None
    for start in starts:
        x = least * (most / least) ** start[: len(least)]
        for slack in (1e-9, 1e-6):
            limits = {"type": "ineq", "fun": lambda y, s=slack: margin(y) - s, "jac": slope}
            outcome = minimize(
                lambda y: scale * float(cost @ y),
                x,
                jac=lambda y: scale * cost,
                method="SLSQP",
                bounds=list(zip(least, most, strict=True)),
                constraints=[limits, *constraints],
                options={"maxiter": 200, "ftol": 1e-11},
            )
            x = np.clip(outcome.x, least, most)
            if not np.all(np.isfinite(x)):
                break
            row = x[None, :]
            if (
                demands_of(problem, sequences, row).max() <= 1 + 1e-9
                and rules_broken(problem, sequences, row)[0] <= 1e-7
            ):
                if best is None or cost @ x + charge < best.objective:
                    best = Found(float(cost @ x) + charge, sequences, x)
                break
    return best


def _linear(problem: Problem, sequences: Sequences) -> Iterator[dict[str, object]]:
    """Linear rules as row @ x >= low (or = 0) for SLSQP."""

    def rule(row: Array, low: float, kind: str = "ineq") -> dict[str, object]:
        size = float(np.abs(row).max()) * 100.0
        return {"type": kind, "fun": lambda x: (row @ x - low) / size, "jac": lambda x: row / size}

    n = sum(len(s) for s in sequences)
    first = 0
    for wall, sequence in zip(problem.walls, sequences, strict=True):
        here = np.arange(first, first + len(sequence))
        first += len(sequence)
        whole = np.isin(np.arange(n), here).astype(float)
        if wall.thickness[0] > 0:
            yield rule(whole, wall.thickness[0] / UM)
        if np.isfinite(wall.thickness[1]):
            yield rule(-whole, -wall.thickness[1] / UM)
        density = np.array([problem.materials[m].density for m in sequence])
        heavy = np.zeros(n)
        heavy[here] = density * UM
        if wall.grammage[0] > 0:
            yield rule(heavy, wall.grammage[0])
        if np.isfinite(wall.grammage[1]):
            yield rule(-heavy, -wall.grammage[1])
        for share in wall.shares:
            member = np.array([share.content[m] for m in sequence])
            for sign, level in ((-1.0, share.most), (1.0, share.least)):
                row = np.zeros(n)
                row[here] = sign * density * (member - level)
                if np.any(row != 0):
                    yield rule(row, 0.0)
        if wall.symmetric:
            for k in range(len(sequence) // 2):
                row = np.zeros(n)
                row[here[k]], row[here[-1 - k]] = 1.0, -1.0
                yield rule(row, 0.0, "eq")


def cheapest_conceivable(problem: Problem, sequences: Sequences) -> float:
    """No thicknesses of the sequences cost less: every layer counts with its largest resistivity
    anywhere between the activities on the two sides, so each demand is a sum of reciprocals of
    straight sums, relaxed by Cauchy-Schwarz to straight rows; the rest is a linear programme. inf if
    even that has no solution.
    """
    stack = [(w, m) for w, s in enumerate(sequences) for m in s]
    rows, least_sum = [], []
    for demand in problem.demands:
        table = (
            np.array(
                [
                    [
                        _largest(problem.materials[m], demand.gas, problem.environments[t.environment])
                        if w == t.wall
                        else 0.0
                        for w, m in stack
                    ]
                    for t in demand.terms
                ]
            )
            * UM
        )
        weight = np.array([t.weight for t in demand.terms])
        for k in range(len(stack)):
            value = np.where(
                table[:, k] > 0,
                weight / np.where(table[:, k] > 0, table[:, k], 1.0),
                weight / table.max(axis=1),
            )
            share = value / value.sum()
            row = share**2 / weight @ table
            rows.append(-row / row.max())
            least_sum.append(-1.0 / row.max())
    for w, wall in enumerate(problem.walls):
        whole = np.array([1.0 if v == w else 0.0 for v, _ in stack])
        rows.append(-whole / 100)
        least_sum.append(-wall.thickness[0] / UM / 100)
        if np.isfinite(wall.thickness[1]):
            rows.append(whole / 100)
            least_sum.append(wall.thickness[1] / UM / 100)
    cost = cost_of(problem, sequences)
    bounds = [(problem.walls[w].least[m] / UM, problem.walls[w].most[m] / UM) for w, m in stack]
    outcome = linprog(cost / cost.max(), A_ub=np.array(rows), b_ub=np.array(least_sum), bounds=bounds)
    if outcome.status == 2:
        return np.inf
    if outcome.status != 0:
        return -np.inf
    return float(outcome.fun) * float(cost.max()) * (1 - 1e-6) + charge_of(problem, sequences)


def _largest(material: Material, gas: str, env: Environment) -> float:
    between = np.linspace(env.inside, env.outside, 401)
    water = material.water_law()
    if gas == "H2O":
        return BLOCKED if water.blocks else 1.0 / float(water.slopes.min() * water.factor(env.temperature))
    law = material.gas_law(gas)
    # the curve is sampled: a thousandth covers what lies between the samples
    return BLOCKED if law.blocks else 1.001 / float(law.at(env.temperature, between).min())


def enumerated_optimum(problem: Problem, *, starts: int = 3, seed: int = 0) -> Found | None:
    """Cheapest structure found over all allowed sequences, or None; sequences in the order of what they
    could cost at least, until that exceeds the best found.
    """
    rng = np.random.default_rng(seed)
    size = sum(w.max_layers for w in problem.walls)
    points = [
        np.full(size, 0.05),
        np.full(size, 0.5),
        *(rng.uniform(0, 1, size) for _ in range(max(0, starts - 2))),
    ]
    best: Found | None = None
    bounds = sorted((cheapest_conceivable(problem, s), s) for s in all_sequences(problem))
    for bound, sequences in bounds:
        if not np.isfinite(bound) and bound > 0 or best is not None and bound >= best.objective:
            break
        found = local_optimum(problem, sequences, points[:starts])
        if found is not None and (best is None or found.objective < best.objective):
            best = found
    return best


def lattice_optimum(problem: Problem) -> Found | None:
    """Cheapest point of the full lattice of gauge steps over all allowed sequences, or None."""
    best: Found | None = None
    for sequences in all_sequences(problem):
        axes = []
        for wall, sequence in zip(problem.walls, sequences, strict=True):
            assert wall.step
            for m in sequence:
                if wall.least[m] == wall.most[m]:
                    axes.append(np.array([wall.least[m] / UM]))
                    continue
                low, high = (
                    np.ceil(wall.least[m] / wall.step - 1e-9),
                    np.floor(wall.most[m] / wall.step + 1e-9),
                )
                axes.append(np.arange(low, high + 1) * wall.step / UM)
        x = np.stack([g.ravel() for g in np.meshgrid(*axes, indexing="ij")], axis=1)
        cost = x @ cost_of(problem, sequences) + charge_of(problem, sequences)
        for rows in np.array_split(np.argsort(cost), -(-len(cost) // 2000)):
            if best is not None and cost[rows[0]] >= best.objective:
                break
            good = demands_of(problem, sequences, x[rows]).max(axis=1) <= 1 + 1e-12
            good &= rules_broken(problem, sequences, x[rows]) <= 1e-9
            if good.any():
                first = rows[int(np.argmax(good))]
                if best is None or cost[first] < best.objective:
                    best = Found(float(cost[first]), sequences, x[first])
                break
    return best

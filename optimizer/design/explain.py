"""Why no structure exists, and what holds the best one.

A conflict is a smallest set of limits and rules that cannot hold together: take them out one by one and keep out
whatever is not needed for the contradiction (deletion filter). The nearest reachable structure relaxes the limits of
the conflict by one common factor, the smallest that makes a structure possible.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from optimizer.constants import DAY
from optimizer.design.demands import Demands, build
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice, Demand, Problem
from optimizer.design.search import Search
from optimizer.results import Binding
from optimizer.shelflife.package import Case, Wall
from optimizer.shelflife.predict import predict

Walls = Callable[[Choice], dict[str, Wall]]

#: Seconds for one question "is any structure possible?".
_QUESTION = 5.0
#: Size of one step of relaxation for shares, thicknesses and limits in ``binding_of``.
_SHARE_STEP, _GAUGE_STEP, _LIMIT_STEP = 0.01, 1e-6, 0.1


@dataclass(frozen=True)
class Explanation:
    conflict: tuple[str, ...]
    nearest: str


@dataclass(frozen=True)
class _Item:
    """A limit or a rule: words, and the problem without it."""

    text: str
    without: Callable[[Problem], Problem]
    demand: str = ""


def explain(case: Case, options: DesignOptions, demands: Demands, time_left: float, walls: Walls) -> Explanation:
    """Smallest set of limits and rules that clash, and the nearest structure that is possible."""
    deadline = time.monotonic() + max(10.0, min(time_left, 60.0))
    problem = demands.problem
    items = list(_items(options, problem))
    kept: list[_Item] = []
    active = list(items)
    for item in items:
        rest = [i for i in active if i is not item]
        if time.monotonic() < deadline and not _possible(_reduced(problem, items, rest)):
            active = rest
        else:
            kept.append(item)
    if not any(i in active for i in items):
        return Explanation(("the candidates allow no wall at all under the fixed rules",), "")
    conflict = tuple(i.text for i in active)
    limits = {i.demand for i in active if i.demand}
    nearest = _nearest(case, problem, limits, walls, deadline) if limits else _relaxed(active)
    return Explanation(conflict, nearest)


def _reduced(problem: Problem, items: list[_Item], keep: list[_Item]) -> Problem:
    """The problem with only the items in ``keep``."""
    for item in items:
        if item not in keep:
            problem = item.without(problem)
    return problem


def _possible(problem: Problem) -> bool:
    """Whether some structure exists; True also when the time for the question runs out."""
    outcome = Search(problem).run(gap=1.0, time_limit=_QUESTION)
    return outcome.status != "infeasible"


def _items(options: DesignOptions, problem: Problem) -> Iterator[_Item]:
    """Rules first, so that they are taken out of the conflict before the limits."""

    def walls(change: Callable[[object], object]) -> Callable[[Problem], Problem]:
        return lambda p: p.with_walls(tuple(change(w) for w in p.walls))  # type: ignore[misc]

    first = problem.walls[0]
    everywhere = np.ones_like(first.start)
    if options.symmetric:
        yield _Item("the wall must be symmetric", walls(lambda w: replace(w, symmetric=False)))  # type: ignore[type-var]
    if options.gauge_step:
        yield _Item(f"thicknesses in steps of {options.gauge_step * 1e6:g} um", walls(lambda w: replace(w, step=None)))  # type: ignore[type-var]
    if options.touching is not None:
        free = ~np.eye(len(everywhere), dtype=bool)
        yield _Item("the bonding table (which materials may touch)", walls(lambda w: replace(w, touching=free)))  # type: ignore[type-var]
    if options.inside_role:
        yield _Item(f"innermost layer with the role '{options.inside_role}'", walls(lambda w: replace(w, start=everywhere)))  # type: ignore[type-var]
    if options.outside_role:
        yield _Item(f"outermost layer with the role '{options.outside_role}'", walls(lambda w: replace(w, end=everywhere)))  # type: ignore[type-var]
    for m in first.keep:
        name = problem.materials[m].name
        yield _Item(
            f"{name} must be present",
            walls(lambda w, m=m: replace(w, keep=tuple(k for k in w.keep if k != m))),  # type: ignore[type-var, misc]
        )
    for s, share in enumerate(first.shares):
        words = [f"at least {100 * share.least:g} %"] if share.least > 0 else []
        words += [f"at most {100 * share.most:g} %"] if share.most < 1 else []
        yield _Item(
            f"mass share of {share.name} {' and '.join(words)}",
            walls(
                lambda w, s=s: replace(  # type: ignore[misc]
                    w, shares=tuple(replace(x, least=0.0, most=1.0) if i == s else x for i, x in enumerate(w.shares))  # type: ignore[type-var, attr-defined]
                )
            ),
        )
    if first.thickness[0] > 0:
        yield _Item(
            f"total thickness at least {first.thickness[0] * 1e6:g} um",
            walls(lambda w: replace(w, thickness=(0.0, w.thickness[1]))),  # type: ignore[type-var, attr-defined]
        )
    if np.isfinite(first.thickness[1]):
        yield _Item(
            f"total thickness at most {first.thickness[1] * 1e6:g} um",
            walls(lambda w: replace(w, thickness=(w.thickness[0], np.inf))),  # type: ignore[type-var, attr-defined]
        )
    yield _Item(f"at most {first.max_layers} layers", walls(lambda w: replace(w, max_layers=w.max_layers + 2)))  # type: ignore[type-var, attr-defined]
    yield _Item("the largest gauge of the materials", walls(lambda w: replace(w, most=np.full_like(w.most, 0.02))))  # type: ignore[type-var, attr-defined]
    yield _Item("the smallest gauge of the materials", walls(lambda w: replace(w, least=np.minimum(w.least, 1e-7))))  # type: ignore[type-var, attr-defined]
    for demand in problem.demands:
        yield _Item(
            f"the limit on {demand.name}",
            lambda p, name=demand.name: replace(p, demands=tuple(d for d in p.demands if d.name != name)),  # type: ignore[misc]
            demand.name,
        )


def _relaxed(active: list[_Item]) -> str:
    return "The rules clash among themselves, whatever the limits: drop or loosen one of " + "; ".join(
        i.text for i in active
    )


def _nearest(case: Case, problem: Problem, limits: set[str], walls: Walls, deadline: float) -> str:
    """The structure that comes nearest to the limits of the conflict, all of them relaxed by one factor."""

    def relaxed(factor: float) -> Problem:
        def loosen(d: Demand) -> Demand:
            if d.name not in limits:
                return d
            return replace(d, terms=tuple(replace(t, weight=t.weight / factor) for t in d.terms))

        return replace(problem, demands=tuple(loosen(d) for d in problem.demands))

    low, high, best = 1.0, None, None
    factor = 1.5
    while time.monotonic() < deadline and factor < 1e6:
        found = Search(relaxed(factor)).run(gap=1.0, time_limit=_QUESTION).best
        if found is not None:
            high, best = factor, found
            break
        low, factor = factor, factor * 3.0
    while high is not None and high / low > 1.02 and time.monotonic() < deadline:
        middle = float(np.sqrt(low * high))
        found = Search(relaxed(middle)).run(gap=1.0, time_limit=_QUESTION).best
        if found is not None:
            high, best = middle, found
        else:
            low = middle
    if best is None or high is None:
        return "No structure of these candidates comes near the limits."
    structure = walls(best)
    words = "; ".join(
        f"{name}: " + " / ".join(f"{x.material.name} {x.thickness * 1e6:.4g} um" for x in wall.layers)
        for name, wall in structure.items()
    )
    outcome = predict(replace(case, package=case.package.with_walls(structure)))
    life = (
        "no limit is reached in it within the time looked at"
        if outcome.shelf_life_days is None
        else f"it lasts {outcome.shelf_life_days / (DAY and 30.4375):.3g} months, ended by {outcome.limited_by}"
    )
    over = [f"{x.name} {x.at_target:.3g} {x.unit} (limit {x.limit:.3g})" for x in outcome.limits if not x.passes and x.at_target is not None]
    tail = f"; at the target: {', '.join(over)}" if over else ""
    return (
        f"Nearest: with what {', '.join(sorted(limits))} allows taken {high:.3g} times as large, "
        f"{words}; {life}{tail}."
    )


def binding_of(
    case: Case, options: DesignOptions, choice: Choice, walls: Walls, factor: float, unit: str
) -> tuple[Binding, ...]:
    """What one step of relaxation saves, the layer order kept: thicknesses are optimised anew with one limit or
    rule loosened (a finite difference, not a multiplier of an integer programme)."""
    structure = walls(choice)
    thickness = {w: wall.thickness for w, wall in structure.items()}
    base = build(case, options, structure, thickness).problem
    now = _cost(base, choice)
    if now is None:
        return ()
    found: list[Binding] = []

    def add(name: str, step: str, problem: Problem, note: str = "") -> None:
        value = _cost(problem, choice)
        if value is not None and now - value > 1e-6 * abs(now):
            found.append(Binding(name, step, (now - value) * factor, unit, note))

    for limit in case.product.limits:
        if any(d.name == limit.name for d in base.demands):
            loose = _loosen(base, limit.name, 1.0 - _LIMIT_STEP)
            add(limit.name, "10 % more of the change that the limit allows", loose)
    for demand in base.demands:
        if demand.name.startswith("transmission"):
            add(demand.name, "10 % higher limit", _loosen(base, demand.name, 1.0 - _LIMIT_STEP))
    if case.target is not None and case.target > 31 * DAY:
        month = 30.4375 * DAY
        shorter = build(replace(case, target=case.target - month), options, structure, thickness)
        if not shorter.beyond:
            add("shelf life", "one month less", shorter.problem)
    first = base.walls[0]
    for s, share in enumerate(first.shares):
        if share.most < 1:
            changed = tuple(
                replace(w, shares=tuple(replace(x, most=x.most + _SHARE_STEP) if i == s else x for i, x in enumerate(w.shares)))
                for w in base.walls
            )
            add(f"share of {share.name}", "1 % (of mass) more", base.with_walls(changed))
        if share.least > 0:
            changed = tuple(
                replace(w, shares=tuple(replace(x, least=max(0.0, x.least - _SHARE_STEP)) if i == s else x for i, x in enumerate(w.shares)))
                for w in base.walls
            )
            add(f"least share of {share.name}", "1 % (of mass) less", base.with_walls(changed))
    low, high = first.thickness
    if low > 0:
        changed = tuple(replace(w, thickness=(max(0.0, low - 10 * _GAUGE_STEP), high)) for w in base.walls)
        add("least total thickness", "10 um less", base.with_walls(changed))
    if np.isfinite(high):
        changed = tuple(replace(w, thickness=(low, high + 10 * _GAUGE_STEP)) for w in base.walls)
        add("largest total thickness", "10 um more", base.with_walls(changed))
    for m in sorted({m for s in choice.sequences for m in s}):
        name = base.materials[m].name
        least = base.walls[0].least[m]
        if any(abs(t - least) < 1e-9 for s, ts in zip(choice.sequences, choice.thickness, strict=True) for i, t in zip(s, ts, strict=True) if i == m):
            changed = tuple(replace(w, least=np.where(np.arange(len(w.least)) == m, max(1e-8, least - _GAUGE_STEP), w.least)) for w in base.walls)
            add(f"smallest gauge of {name}", "1 um less", base.with_walls(changed))
    return tuple(sorted(found, key=lambda b: -b.saves))


def _loosen(problem: Problem, name: str, factor: float) -> Problem:
    return replace(
        problem,
        demands=tuple(
            replace(d, terms=tuple(replace(t, weight=t.weight * factor) for t in d.terms)) if d.name == name else d
            for d in problem.demands
        ),
    )


def _cost(problem: Problem, choice: Choice) -> float | None:
    """Best objective with the order of layers kept; continuous thicknesses, so that small steps show."""
    smooth = problem.with_walls(tuple(replace(w, step=None) for w in problem.walls))
    best = Search(smooth).polisher.best(choice.sequences, [choice.flat * 1e6, choice.flat * 1.1e6])
    return None if best is None else best.objective

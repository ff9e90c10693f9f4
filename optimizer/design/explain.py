"""Why no structure exists, and what holds the best one.

A conflict is a smallest set of limits and rules that cannot hold together: take them out one by one and
keep out whatever is not needed for the contradiction (deletion filter). The nearest reachable structure
relaxes the limits of the conflict by one common factor, the smallest that makes a structure possible.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from optimizer.constants import DAY, MONTH
from optimizer.design.demands import Demands
from optimizer.design.halt import Stop
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice, Problem, WallRules
from optimizer.design.search import Outcome, Search
from optimizer.shelflife.package import Case, Wall
from optimizer.shelflife.predict import predict

Walls = Callable[[Choice], dict[str, Wall]]

#: Seconds for one question "is any structure possible?", and for all of them.
_QUESTION, _MOST_TIME = 5.0, 60.0
#: Gap that any design closes: the question is whether there is one.
_ANY = 1.0 - 1e-6
#: Gauges that stand for 'no limit' [m].
_ANY_GAUGE, _NO_GAUGE = 0.02, 1e-7


@dataclass(frozen=True)
class Explanation:
    """What clashes, the nearest structure in words, and that structure itself where there is one. smallest:
    whether each member of the conflict was shown to be needed for it."""

    conflict: tuple[str, ...]
    nearest: str
    choice: Choice | None = None
    smallest: bool = True


class _Questions:
    """Asks whether a problem has any structure, until the time is up."""

    def __init__(self, deadline: float, stop: Stop) -> None:
        self.deadline, self.stop = deadline, stop

    @property
    def over(self) -> bool:
        return time.monotonic() >= self.deadline or self.stop()

    def answer(self, problem: Problem) -> Outcome:
        left = max(0.05, min(_QUESTION, self.deadline - time.monotonic()))
        return Search(problem).run(gap=_ANY, time_limit=left, stop=self.stop)


@dataclass(frozen=True)
class _Item:
    """A limit or a rule: words, and the problem without it."""

    text: str
    without: Callable[[Problem], Problem]
    demand: str = ""


def explain(
    case: Case,
    options: DesignOptions,
    demands: Demands,
    time_left: float,
    walls: Walls,
    stop: Stop | None = None,
) -> Explanation:
    """Smallest set of limits and rules that clash, and the nearest structure that is possible."""
    ask = _Questions(time.monotonic() + min(time_left, _MOST_TIME), stop or (lambda: False))
    problem = demands.problem
    items = _items(options, problem)
    active, smallest = _conflict(problem, items, ask)
    if not active:
        return Explanation(("the candidates allow no wall at all under the fixed rules",), "")
    conflict = tuple(i.text for i in active)
    limits = {i.demand for i in active if i.demand}
    if not limits:
        return Explanation(conflict, _relaxed(active), smallest=smallest)
    nearest, choice = _nearest(case, problem, limits, walls, ask)
    return Explanation(conflict, nearest, choice, smallest)


def _conflict(problem: Problem, items: list[_Item], ask: _Questions) -> tuple[list[_Item], bool]:
    """What is left when whatever the contradiction does not need was taken out, and whether each member was
    shown to be needed."""
    active, smallest = list(items), True
    for item in items:
        if ask.over:
            return active, False
        rest = [i for i in active if i is not item]
        outcome = ask.answer(_reduced(problem, items, rest))
        if outcome.status == "infeasible":
            active = rest
        elif outcome.best is None:
            smallest = False
    return active, smallest


def _reduced(problem: Problem, items: list[_Item], keep: list[_Item]) -> Problem:
    """The problem with only the items in ``keep``."""
    for item in items:
        if item not in keep:
            problem = item.without(problem)
    return problem


def _walls(change: Callable[[WallRules], WallRules]) -> Callable[[Problem], Problem]:
    return lambda p: p.with_walls(tuple(change(w) for w in p.walls))


def _items(options: DesignOptions, problem: Problem) -> list[_Item]:
    """Rules first, so that they are taken out of the conflict before the limits."""
    first = problem.walls[0]
    items: list[_Item] = []

    def rule(text: str, change: Callable[[WallRules], WallRules]) -> None:
        items.append(_Item(text, _walls(change)))

    if options.symmetric:
        rule("the wall must be symmetric", lambda w: replace(w, symmetric=False))
    if options.gauge_step:
        rule(f"thicknesses in steps of {options.gauge_step * 1e6:g} um", lambda w: replace(w, step=None))
    for layers in first.layer_rules:
        if layers.text:
            rule(layers.text, partial(_without_layer_rule, layers.text))
    if first.changes is not None:
        count = f"{first.changes} layer{'' if first.changes == 1 else 's'}"
        rule(
            f"at most {count} changed against the wall as it is",
            lambda w: replace(w, existing=None, changes=None),
        )
    if first.resins is not None:
        rule(f"at most {first.resins} different resins", lambda w: replace(w, resins=None))
    for m in first.keep:
        rule(f"{problem.materials[m].name} must be present", partial(_without_keep, m))
    for group in first.keep_any:
        one = problem.materials[group[0]]
        rule(f"{one.web or one.name} must be present", partial(_without_group, group))
    for share in first.shares:
        words = [f"at least {100 * share.least:g} %"] if share.least > 0 else []
        words += [f"at most {100 * share.most:g} %"] if share.most < 1 else []
        rule(f"mass share of {share.name} {' and '.join(words)}", partial(_without_share, share.name))
    light, heavy = first.grammage
    if light > 0:
        rule(_mass_words("at least", options, 0), lambda w: replace(w, grammage=(0.0, w.grammage[1])))
    if np.isfinite(heavy):
        rule(_mass_words("at most", options, 1), lambda w: replace(w, grammage=(w.grammage[0], np.inf)))
    low, high = first.thickness
    if low > 0:
        rule(
            f"total thickness at least {low * 1e6:g} um",
            lambda w: replace(w, thickness=(0.0, w.thickness[1])),
        )
    if np.isfinite(high):
        rule(
            f"total thickness at most {high * 1e6:g} um",
            lambda w: replace(w, thickness=(w.thickness[0], np.inf)),
        )
    rule(f"at most {first.max_layers} layers", lambda w: replace(w, max_layers=w.max_layers + 2))
    rule("the largest gauge of the materials", lambda w: replace(w, most=np.full_like(w.most, _ANY_GAUGE)))
    rule("the smallest gauge of the materials", lambda w: replace(w, least=np.minimum(w.least, _NO_GAUGE)))
    items += [
        _Item(f"the limit on {d.name.replace('_', ' ')}", partial(_without_demand, d.name), d.name)
        for d in problem.demands
    ]
    return items


def _mass_words(bound: str, options: DesignOptions, side: int) -> str:
    """'mass of the wall at most 12 g', as it was asked for."""
    area, mass = options.grammage[side], options.mass[side]
    words = [f"{area * 1e3:g} g/m2"] if area is not None else []
    words += [f"{mass * 1e3:g} g"] if mass is not None else []
    return f"mass of the wall {bound} {' and '.join(words)}"


def _without_layer_rule(text: str, wall: WallRules) -> WallRules:
    return wall.without_layer_rule(text)


def _without_group(group: tuple[int, ...], wall: WallRules) -> WallRules:
    return replace(wall, keep_any=tuple(g for g in wall.keep_any if g != group))


def _without_keep(material: int, wall: WallRules) -> WallRules:
    return replace(wall, keep=tuple(k for k in wall.keep if k != material))


def _without_share(name: str, wall: WallRules) -> WallRules:
    return replace(wall, shares=tuple(x for x in wall.shares if x.name != name))


def _without_demand(name: str, problem: Problem) -> Problem:
    return replace(problem, demands=tuple(d for d in problem.demands if d.name != name))


def _relaxed(active: list[_Item]) -> str:
    return "The rules clash among themselves, whatever the limits: drop or loosen one of " + "; ".join(
        i.text for i in active
    )


def _nearest(
    case: Case, problem: Problem, limits: set[str], walls: Walls, ask: _Questions
) -> tuple[str, Choice | None]:
    """The structure that comes nearest to the limits of the conflict, all of them relaxed by one factor."""
    # a limit on water vapour is two demands, one for each wet side: both are relaxed
    stated = {name.split(",")[0] for name in limits}
    relaxed_names = {d.name for d in problem.demands if d.name.split(",")[0] in stated}

    def relaxed(factor: float) -> Problem:
        return problem.weighted(1.0 / factor, relaxed_names)

    low, high, best = 1.0, None, None
    factor = 1.5
    while not ask.over and factor < 1e6:
        found = ask.answer(relaxed(factor)).best
        if found is not None:
            high, best = factor, found
            break
        low, factor = factor, factor * 3.0
    while high is not None and high / low > 1.02 and not ask.over:
        middle = float(np.sqrt(low * high))
        found = ask.answer(relaxed(middle)).best
        if found is not None:
            high, best = middle, found
        else:
            low = middle
    if best is None or high is None:
        if low == 1.0:
            return "", None  # no time to look
        return f"No structure was found even with the limits of the conflict {low:.3g} times as large.", None
    structure = walls(best)
    words = "; ".join(
        f"{name}: " + " / ".join(f"{x.material.name} {x.thickness * 1e6:.4g} um" for x in wall.layers)
        for name, wall in structure.items()
    )
    outcome = predict(replace(case, package=case.package.with_walls(structure)))
    ends = (outcome.limited_by or "").replace("_", " ")
    life = (
        "no limit is reached in it within the time looked at"
        if outcome.shelf_life_days is None
        else f"it lasts {outcome.shelf_life_days * DAY / MONTH:.3g} months, ended by {ends}"
    )
    over = [
        f"{x.name.replace('_', ' ')} {x.at_target:.3g} {x.unit} (limit {x.limit:.3g})"
        for x in outcome.limits
        if not x.passes and x.at_target is not None
    ]
    tail = f"; at the target: {', '.join(over)}" if over else ""
    relaxed_limits = ", ".join(sorted(x.replace("_", " ") for x in limits))
    text = (
        f"Nearest: with what {relaxed_limits} allows taken {high:.3g} times as large, {words}; {life}{tail}."
    )
    return text, best

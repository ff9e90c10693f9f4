"""What holds the best structure: the saving from one step of relaxation of each limit and rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from optimizer.constants import DAY, MONTH
from optimizer.design.demands import build, specification_name
from optimizer.design.exact import ExactModel
from optimizer.design.layout import UM
from optimizer.design.options import DesignOptions
from optimizer.design.polish import Polisher
from optimizer.design.problem import Choice, Problem, Share, WallRules
from optimizer.results import Binding
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.package import Case, Wall

Walls = Callable[[Choice], dict[str, Wall]]

#: One step of relaxation: mass share, thickness of a layer [m], share of what a limit allows.
_SHARE_STEP, _GAUGE_STEP, _LIMIT_STEP = 0.01, 1e-6, 0.1


def binding_of(
    case: Case, options: DesignOptions, choice: Choice, walls: Walls, factor: float, unit: str
) -> tuple[Binding, ...]:
    """What one step of relaxation saves, the layer order kept: thicknesses are optimised anew with one
    limit or rule loosened (a finite difference, not a multiplier of an integer programme)."""
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

    active = {d.name.split(",")[0] for d in base.demands}
    for limit in case.product.limits:
        if limit.name in active:
            factor_up = 1.0 + _LIMIT_STEP * sign_of(limit.name)
            limits = tuple(
                replace(x, value=x.value * factor_up) if x is limit else x for x in case.product.limits
            )
            changed_case = replace(case, product=replace(case.product, limits=limits))
            add(limit.name, "10 % looser limit", build(changed_case, options, structure, thickness).problem)
    for asked in case.transmission_limits:
        name = specification_name(asked)
        if name in active:
            looser = tuple(
                replace(x, maximum=x.maximum * (1.0 + _LIMIT_STEP)) if x is asked else x
                for x in case.transmission_limits
            )
            changed_case = replace(case, transmission_limits=looser)
            add(name, "10 % higher limit", build(changed_case, options, structure, thickness).problem)
    if case.target is not None and case.target > 31 * DAY:
        shorter = build(replace(case, target=case.target - MONTH), options, structure, thickness)
        if not shorter.beyond:
            add("shelf life", "1 month less", shorter.problem)
    first = base.walls[0]
    for share in first.shares:
        if share.most < 1:
            more = replace(share, most=share.most + _SHARE_STEP)
            add(f"share of {share.name}", "1 % (of mass) more", _with_share(base, share, more))
        if share.least > 0:
            less = replace(share, least=max(0.0, share.least - _SHARE_STEP))
            add(f"least share of {share.name}", "1 % (of mass) less", _with_share(base, share, less))
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
        if any(
            abs(t - least) < 1e-9
            for s, ts in zip(choice.sequences, choice.thickness, strict=True)
            for i, t in zip(s, ts, strict=True)
            if i == m
        ):
            changed = tuple(
                replace(
                    w, least=np.where(np.arange(len(w.least)) == m, max(1e-8, least - _GAUGE_STEP), w.least)
                )
                for w in base.walls
            )
            add(f"smallest gauge of {name}", "1 um less", base.with_walls(changed))
    return tuple(sorted(found, key=lambda b: -b.saves))


def _with_share(problem: Problem, old: Share, new: Share) -> Problem:
    def change(wall: WallRules) -> WallRules:
        return replace(wall, shares=tuple(new if x == old else x for x in wall.shares))

    return problem.with_walls(tuple(change(w) for w in problem.walls))


def _cost(problem: Problem, choice: Choice) -> float | None:
    """Best objective with the order of layers kept; continuous thicknesses, so that small steps show."""
    smooth = problem.with_walls(tuple(replace(w, step=None) for w in problem.walls))
    x = choice.flat / UM
    best = Polisher(ExactModel(smooth)).best(choice.sequences, [x, 1.1 * x])
    return None if best is None else best.objective

"""What a design chose from: how far the next best structures lie above it, and what its limits cost."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.report.design import proved_saving, structure_text
from optimizer.report.figures.amounts import objective
from optimizer.report.figures.model import Axis, BarChart, BarPart
from optimizer.report.wording import in_units, limit_name, percent
from optimizer.results import DesignResult
from optimizer.units.systems import SI, System

_ADDED = {"saves": "saved", "costs": "added"}


def alternatives_chart(result: DesignResult, units: System = SI) -> BarChart | None:
    """How far each alternative lies above the best [%]; None without any."""
    rows = result.alternatives
    if not rows:
        return None
    amounts = [objective(a.objective, result.minimised, result.objective_unit, units) for a in rows]
    told = "; ".join(
        f"{structure_text(a.structure, units)}: {percent(a.excess_pct)} above, {amount}"
        for a, amount in zip(rows, amounts, strict=True)
    )
    best = objective(result.objective, result.minimised, result.objective_unit, units)
    return BarChart(
        "The next best structures",
        f"How far the {result.minimised} of each alternative lies above the best of {best}. {told}.",
        tuple(f"{k + 1}. {structure_text(a.structure, units)}" for k, a in enumerate(rows)),
        Axis(f"{result.minimised} above the best", "%", zero=True),
        (BarPart("above the best", tuple(a.excess_pct for a in rows)),),
        labels=tuple(f"+{percent(a.excess_pct)}" for a in rows),
    )


def binding_charts(result: DesignResult, units: System = SI) -> tuple[BarChart, ...]:
    """What one step of each binding limit or rule saves, and what one step tighter costs."""
    saves = [
        _Step(f"{limit_name(b.name)}: {b.unit}", *proved_saving(b), b.saves_unit) for b in result.binding
    ]
    costs = [
        _Step(f"{limit_name(b.name)}: {b.tighter}", b.costs, False, b.saves_unit)
        for b in result.binding
        if b.costs is not None
    ]
    charts = []
    for title, verb, steps in (
        ("What one step of relaxation saves", "saves", saves),
        ("What one step tighter costs", "costs", costs),
    ):
        # nothing is drawn where no step costs anything; the table says so
        if any(step.value for step in steps):
            charts.append(_chart(result, title, verb, steps, units))
    return tuple(charts)


@dataclass(frozen=True)
class _Step:
    """value in the metric ``unit``; least: that much is proved, and it may be more."""

    name: str
    value: float
    least: bool
    unit: str


def _chart(result: DesignResult, title: str, verb: str, steps: list[_Step], units: System) -> BarChart:
    amounts = [objective(x.value, result.minimised, x.unit, units) for x in steps]
    told = "; ".join(
        f"{x.name} {verb} {'at least ' if x.least else ''}{a}" for x, a in zip(steps, amounts, strict=True)
    )
    return BarChart(
        title,
        f"{title}, each designed anew: {told}.",
        tuple(x.name for x in steps),
        Axis(f"{result.minimised} {_ADDED[verb]}", units.unit(steps[0].unit), zero=True),
        (BarPart(verb, tuple(units.value(x.value, x.unit) for x in steps)),),
        labels=tuple(f"{'>= ' if x.least else ''}{in_units(x.value, x.unit, units)}" for x in steps),
    )

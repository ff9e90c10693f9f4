"""What each shelf life costs, and where the layers change along the way."""

from __future__ import annotations

import math
from dataclasses import dataclass

from optimizer.report.design import structure_text
from optimizer.report.figures.model import Axis, Band, BarChart, BarPart, Curve, LineChart, Rule
from optimizer.report.figures.thousand import thousand
from optimizer.report.tradeoff import Key, key_of, letters_of, names_of
from optimizer.report.wording import apart, duration_unit, figure, listed, with_unit
from optimizer.results_tradeoff import Structure, TradeoffPoint, TradeoffResult
from optimizer.units.systems import SI, System

#: With more stretches than this a band has its letter only; the table explains the letters.
_NAMED_BANDS = 4
#: Thicknesses farther apart than this factor need a logarithmic axis for the thin ones to be seen.
_LOG_FROM = 20.0
_TITLES = {"cost": "Least cost", "mass": "Least mass", "thickness": "Least thickness"}
_VERBS = {"cost": "costs"}
#: Ends closer than this share of them are one shelf life.
_POINT = 1e-9


@dataclass(frozen=True)
class Design:
    """The best structure for a shelf life: a point of the frontier, or a side of a change between two."""

    days: float
    objective: float
    structure: Structure


@dataclass(frozen=True)
class Stretch:
    """Shelf lives [days] with one sequence of materials; designs: of it, in their order."""

    key: Key
    start: float
    end: float
    designs: tuple[Design, ...]


@dataclass(frozen=True)
class Step:
    """From one point to the next: ``more`` [unit of the objective] for each ``unit`` of shelf life."""

    start: float
    end: float
    more: float


def designs_of(result: TradeoffResult) -> tuple[Design, ...]:
    """Points and both sides of every change, by shelf life; each shelf life once."""
    found = {p.shelf_life_days: Design(p.shelf_life_days, p.objective, p.structure) for p in result.points}
    for kink in result.kinks:
        for days, objective, structure in zip(
            kink.between_days,
            (kink.objective_before, kink.objective_after),
            (kink.before, kink.after),
            strict=True,
        ):
            found.setdefault(days, Design(days, objective, structure))
    return tuple(found[days] for days in sorted(found))


def stretches_of(result: TradeoffResult) -> tuple[Stretch, ...]:
    """From one change of materials to the next; the border lies halfway between the designs beside it."""
    groups: list[list[Design]] = []
    for design in designs_of(result):
        if groups and key_of(groups[-1][-1].structure) == key_of(design.structure):
            groups[-1].append(design)
        else:
            groups.append([design])
    borders = [
        (before[-1].days + after[0].days) / 2.0 for before, after in zip(groups, groups[1:], strict=False)
    ]
    starts = [groups[0][0].days, *borders] if groups else []
    ends = [*borders, groups[-1][-1].days] if groups else []
    return tuple(
        Stretch(key_of(own[0].structure), start, end, tuple(own))
        for own, start, end in zip(groups, starts, ends, strict=True)
    )


def steps_of(result: TradeoffResult) -> tuple[Step, ...]:
    """What each extra unit of shelf life costs, from point to point."""
    _, length = unit_of(result)
    return tuple(
        Step(
            a.shelf_life_days,
            b.shelf_life_days,
            (b.objective - a.objective) * length / (b.shelf_life_days - a.shelf_life_days),
        )
        for a, b in zip(result.points, result.points[1:], strict=False)
        if b.shelf_life_days > a.shelf_life_days
    )


def unit_of(result: TradeoffResult) -> tuple[str, float]:
    """Unit of shelf life, as on the page, and its length [days]."""
    return duration_unit(result.target_days or result.to_days)


def at_target(result: TradeoffResult) -> TradeoffPoint | None:
    """The point at the target, or the nearest; without a target the first. None without points."""
    wanted = result.from_days if result.target_days is None else result.target_days
    return min(result.points, key=lambda p: abs(p.shelf_life_days - wanted), default=None)


# -- figures -------------------------------------------------------------------------------------------------


def frontier_chart(result: TradeoffResult, units: System = SI) -> LineChart | None:
    """The least cost, mass or thickness over the shelf life, with its bounds and the stretches of one
    structure; None without points."""
    designs = designs_of(result)
    if not designs:
        return None
    letters = letters_of(result)
    name = _TITLES.get(result.minimised, f"Least {result.minimised}")
    unit, length = unit_of(result)
    words = tuple(
        f"{letters[key_of(d.structure)]}: {structure_text(d.structure, units=units)}" for d in designs
    )
    curves = [
        Curve(
            name.lower(),
            tuple(d.days / length for d in designs),
            tuple(units.value(d.objective, result.unit) for d in designs),
            marks=True,
            words=words,
        )
    ]
    bound = _bound(result, units)
    if bound:
        x, y = zip(*bound, strict=True)
        curves.append(Curve("proved lower bound", x, y, dashed=True))
    return LineChart(
        f"{name} for each shelf life",
        _frontier_said(result, units),
        Axis("shelf life", unit),
        Axis(name.lower(), units.unit(result.unit)),
        tuple(curves),
        _bands(result),
        _rules(result),
    )


def _bound(result: TradeoffResult, units: System) -> list[tuple[float, float]]:
    """In steps: a longer shelf life asks for more, so that the bound of a point holds up to the next."""
    _, length = unit_of(result)
    found: list[tuple[float, float]] = []
    for p in result.points:
        if p.lower_bound is not None:
            x, y = p.shelf_life_days / length, units.value(p.lower_bound, result.unit)
            found += [(x, found[-1][1]), (x, y)] if found else [(x, y)]
    return found


def steps_chart(result: TradeoffResult, units: System = SI) -> BarChart | None:
    """What each extra month costs, from point to point; None with fewer than two points."""
    steps = steps_of(result)
    if not steps:
        return None
    unit, length = unit_of(result)
    more = [thousand(s.more, result.unit, units) for s in steps]
    per = f"{more[0][1]} for each extra {unit.removesuffix('s')}"
    rows = tuple(span_text(s, unit, length) for s in steps)
    labels = tuple(f"{'+' if value > 0 else ''}{figure(value)}" for value, _ in more)
    told = "; ".join(f"{row} {label}" for row, label in zip(rows, labels, strict=True))
    return BarChart(
        f"What each extra {unit.removesuffix('s')} {_VERBS.get(result.minimised, 'adds')}",
        f"{result.minimised.capitalize()} in {per}: {told}.",
        rows,
        Axis(result.minimised, per, zero=True),
        (BarPart(f"more {result.minimised}", tuple(value for value, _ in more)),),
        labels=labels,
    )


def thickness_charts(result: TradeoffResult, units: System = SI) -> tuple[LineChart, ...]:
    """For each wall the thickness of each material over the shelf life."""
    designs = designs_of(result)
    walls = list(dict.fromkeys(wall for d in designs for wall in d.structure))
    return tuple(_thickness_chart(result, wall, len(walls) > 1, units) for wall in walls)


def _thickness_chart(result: TradeoffResult, wall: str, several: bool, units: System) -> LineChart:
    designs = designs_of(result)
    unit, length = unit_of(result)
    totals = [_totals(d, wall) for d in designs]
    materials = list(dict.fromkeys(name for own in totals for name in own))
    x = tuple(d.days / length for d in designs)
    curves = tuple(
        Curve(name, x, tuple(units.value(own.get(name, math.nan), "um") for own in totals), marks=True)
        for name in materials
    )
    told = [_thickness_said(result, curve) for curve in curves]
    values = [v for curve in curves for v in curve.y if v > 0.0]
    log = bool(values) and max(values) > _LOG_FROM * min(values)
    of_wall = f" of wall {wall}" if several else ""
    return LineChart(
        f"Thickness of each material{of_wall}",
        f"Thickness of each material{of_wall} in {units.unit('um')}, all its layers together: "
        f"{'; '.join(told)}.",
        Axis("shelf life", unit),
        Axis("thickness", units.unit("um"), log=log, zero=not log),
        curves,
        _bands(result),
        _rules(result),
    )


def _thickness_said(result: TradeoffResult, curve: Curve) -> str:
    """'PA6 10 to 12 in B': how thick, and in which structures where it is not in all."""
    letters = letters_of(result)
    known = [y for y in curve.y if not math.isnan(y)]
    low, high = figure(min(known)), figure(max(known))
    where = [
        letters[key_of(d.structure)]
        for d, y in zip(designs_of(result), curve.y, strict=True)
        if not math.isnan(y)
    ]
    own = list(dict.fromkeys(where))
    inside = f" in {listed(own)}" if len(known) < len(curve.y) else ""
    return f"{curve.name} {low if low == high else f'{low} to {high}'}{inside}"


def _totals(design: Design, wall: str) -> dict[str, float]:
    """Thickness of each material of a wall [um]; one that is not there is left out."""
    found: dict[str, float] = {}
    for layer in design.structure.get(wall, ()):
        found[layer.material] = found.get(layer.material, 0.0) + layer.thickness_um
    return found


# -- parts of figures ----------------------------------------------------------------------------------------


def _bands(result: TradeoffResult) -> tuple[Band, ...]:
    _, length = unit_of(result)
    stretches, letters = stretches_of(result), letters_of(result)
    full = len(stretches) <= _NAMED_BANDS
    return tuple(
        Band(letters[s.key] + (f": {names_of(s.key)}" if full else ""), s.start / length, s.end / length)
        for s in stretches
        if s.end > s.start
    )


def _rules(result: TradeoffResult) -> tuple[Rule, ...]:
    unit, length = unit_of(result)
    rules = []
    if result.target_days is not None and result.points:
        text = f"target {figure(result.target_days / length)} {unit}"
        rules.append(Rule(text, result.target_days / length, "x", "target"))
    if result.longest_days is not None:
        text = f"longest {figure(result.longest_days / length)} {unit}"
        rules.append(Rule(text, result.longest_days / length, "x", "note"))
    return tuple(rules)


def _frontier_said(result: TradeoffResult, units: System) -> str:
    unit, length = unit_of(result)
    letters = letters_of(result)
    points = [
        f"{figure(p.shelf_life_days / length)} {unit} {with_unit(p.objective, result.unit, 4, units)} "
        f"({letters[key_of(p.structure)]})"
        for p in result.points
    ]
    texts = [
        f"{result.minimised.capitalize()} of the best structure for each shelf life: {'; '.join(points)}."
    ]
    own = [
        f"{letters[s.key]} {_span(s.start / length, s.end / length, unit)}: {names_of(s.key)}"
        for s in stretches_of(result)
    ]
    texts.append(f"Layers, inside to outside: {'; '.join(own)}.")
    if result.target_days is not None:
        texts.append(f"The target is {figure(result.target_days / length)} {unit}.")
    return " ".join(texts)


def _span(start: float, end: float, unit: str) -> str:
    """'from 3 to 8.9 months', 'at 3 months'."""
    if end - start <= _POINT * abs(end):
        return f"at {figure(start)} {unit}"
    low, high = apart(start, end)
    return f"from {low} to {high} {unit}"


def span_text(step: Step, unit: str, length: float) -> str:
    """'9 to 11.6 months'."""
    low, high = apart(step.start / length, step.end / length)
    return f"{low} to {high} {unit}"

"""The first page of a report: key numbers, what limits, what it all rests on."""

from __future__ import annotations

from optimizer.report.figures.amounts import within
from optimizer.report.html.model import Basis, Fact
from optimizer.report.predict import SPECIFIED, gases_of, limit_verdict
from optimizer.report.uncertainty import chance
from optimizer.report.wording import (
    apart,
    capital,
    duration,
    duration_unit,
    figure,
    limit_name,
    money,
    percent,
    with_unit,
)
from optimizer.results import LimitOutcome, PredictResult
from optimizer.units.systems import SI, System

#: Drawings that fit on the first page.
DRAWINGS = 3


def predicted_facts(result: PredictResult, units: System = SI) -> tuple[Fact, ...]:
    """Shelf life, target and margin, what ends it, chance of passing, mass, cost, outer pack."""
    facts = [_life(result)]
    life, target = result.shelf_life_days, result.target_days
    if target is not None:
        facts.append(Fact("Target", duration(target)))
    if life is not None and target is not None:
        margin = 100.0 * (life / target - 1.0)
        facts.append(
            Fact("Margin", f"{'+' if margin > 0 else ''}{percent(margin)}", "shelf life against target")
        )
    if result.limited_by is not None:
        facts.append(Fact("What ends it", limit_name(result.limited_by)))
    facts += _chance(result)
    facts.append(Fact("Mass", with_unit(result.mass_g, "g", 4, units), "of the walls of one package"))
    if result.cost_per_package is not None:
        cost = money(result.cost_per_package, result.currency)
        facts.append(Fact("Material cost", cost, "of one package"))
    outer = result.outer_pack
    if outer is not None:
        own = with_unit(outer.mass_per_package_g, "g", units=units)
        facts.append(Fact("Outer pack", f"{outer.packages} packages", f"{own} more for each"))
    return tuple(facts)


def limit_lines(result: PredictResult, units: System = SI) -> tuple[str, ...]:
    """Each limit in one line: what is allowed, what it comes to, whether it holds and when it is reached."""
    return tuple(_line(o, result, units) for o in result.limits)


def basis_of(
    result: PredictResult, warnings: tuple[str, ...] = (), assumptions: tuple[str, ...] = ()
) -> Basis:
    """What a prediction rests on, and what another command says beside it."""
    return Basis(
        warnings=tuple(dict.fromkeys([*result.warnings, *warnings])),
        assumptions=tuple(dict.fromkeys([*result.assumptions, *assumptions])),
        cautions=tuple(dict.fromkeys(result.cautions)),
        sources=result.sources,
        gases=tuple(gases_of(result)),
    )


def _life(result: PredictResult) -> Fact:
    life, target = result.shelf_life_days, result.target_days
    if life is None and all(o.status in SPECIFIED for o in result.limits):
        return Fact("Shelf life", "not looked at", "no limit is on it")
    if life is None:
        text = within(None, result.horizon_days, target)
        return Fact("Shelf life", text, "no limit is reached in the time looked at")
    if life <= 0.0:
        return Fact("Shelf life", "none", "over a limit already at closing")
    unit, length = duration_unit(target or life)
    if target is None or life < 0.1 * length:
        return Fact("Shelf life", duration(life))
    return Fact("Shelf life", f"{apart(life / length, target / length)[0]} {unit}")


def _chance(result: PredictResult) -> list[Fact]:
    found, asked = result.uncertainty, result.confidence_asked
    if found is None or found.probability is None:
        return []
    remark = f"of {found.samples} samples"
    if asked is not None:
        remark += f"; {percent(100.0 * asked, 4)} asked for"
    return [Fact("Chance of passing", chance(found.probability, found.probability_error), remark)]


def _line(o: LimitOutcome, result: PredictResult, units: System) -> str:
    """'Oxygen gain: 5 mg/kg allowed, 3.16 mg/kg at the target; holds, 37 % left; reached after 14 months'"""
    unit = "" if o.unit in ("", "1", "-") else f" {units.unit(o.unit)}"
    value = None if o.at_target is None else units.value(o.at_target, o.unit)
    allowed, reached = apart(units.value(o.limit, o.unit), value)
    name = capital(limit_name(o.name)) + (f" of {o.wall}" if o.wall else "")
    line = f"{name}: {allowed}{unit} allowed"
    if value is not None and figure(value) != "-":
        line += f", {reached}{unit}" + ("" if o.status in SPECIFIED else " at the target")
    line += f"; {limit_verdict(o)}"
    if o.status not in SPECIFIED and o.status != "exceeded at closing":
        after = o.reached_after_days
        line += (
            f"; reached after {duration(after, result.target_days)}" if after is not None else f"; {o.status}"
        )
    return line

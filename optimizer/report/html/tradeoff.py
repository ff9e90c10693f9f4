"""The report of ``tradeoff``: what each shelf life costs, and where the layers change."""

from __future__ import annotations

from datetime import datetime

from optimizer.constants import PERMEANTS
from optimizer.report.figures.frontier import (
    at_target,
    frontier_chart,
    span_text,
    steps_chart,
    steps_of,
    stretches_of,
    thickness_charts,
    unit_of,
)
from optimizer.report.figures.model import Figure, SectionDrawing
from optimizer.report.figures.thousand import thousand
from optimizer.report.figures.wall_sections import drawings_of
from optimizer.report.html.chunks import chunks_of, page_of, starting, verdict_of
from optimizer.report.html.model import Fact, Report, Section, filled
from optimizer.report.html.taken import basis_on_page, lines_after_verdict, listed_under
from optimizer.report.tradeoff import letters_of, tradeoff_page
from optimizer.report.wording import duration, figure, in_units, limit_name, with_unit
from optimizer.results_tradeoff import TradeoffPoint, TradeoffResult
from optimizer.shelflife.package import LIMIT_GAS
from optimizer.units.systems import SI, System

#: Structures that are drawn at most.
_MOST_DRAWN = 6
_PACKAGE = "/package"


def tradeoff_report(
    result: TradeoffResult, project: object = None, *, units: System = SI, created: datetime
) -> Report:
    """Everything that is shown of a frontier. project: not needed; all reports are made alike."""
    page = tradeoff_page(result, units=units)
    chunks = chunks_of(page)
    verdict = verdict_of(page)
    gases = {LIMIT_GAS.get(name, name.removeprefix("transmission ")) for name in result.limits}
    sections = [
        Section(
            "frontier",
            "What each shelf life costs" if result.minimised == "cost" else "What each shelf life takes",
            _present(frontier_chart(result, units), steps_chart(result, units)),
            page_of(starting(chunks, "Least ", "Layers, inside", "Where the structure")),
        ),
        Section(
            "layers", "How the layers change", (*thickness_charts(result, units), *_drawn(result, units))
        ),
        Section("conflict", "Why there is none", (), page_of(starting(chunks, "These cannot", "What comes"))),
        Section("solver", "How it was found", (), page_of(starting(chunks, "Solver"))),
    ]
    return Report(
        command=result.command,
        question=_question(result),
        title=result.title,
        verdict=verdict.text,
        good=None if verdict.good else False,
        facts=_facts(result, units),
        limits=(
            *lines_after_verdict(page),
            *(f"Cannot hold together: {x}" for x in listed_under(chunks, "These cannot")),
            *listed_under(chunks, "What comes"),
            *_nearest_first(result, listed_under(chunks, "Where the structure")),
        ),
        drawings=_at_target_drawn(result, units),
        basis=basis_on_page(chunks, result.sources, [g for g in PERMEANTS if g in gases]),
        sections=filled(*sections),
        version=result.version,
        inputs_sha256=result.inputs_sha256,
        created=created,
        points="What stands out",
    )


def _question(result: TradeoffResult) -> str:
    unit, length = unit_of(result)
    low, high = figure(result.from_days / length), figure(result.to_days / length)
    return f"What is the least {result.minimised} for each shelf life from {low} to {high} {unit}?"


def _present(*figures: Figure | None) -> tuple[Figure, ...]:
    return tuple(x for x in figures if x is not None)


# -- first page ----------------------------------------------------------------------------------------------


def _facts(result: TradeoffResult, units: System) -> tuple[Fact, ...]:
    point = at_target(result)
    if point is None:
        return ()
    unit, length = unit_of(result)
    where = duration(point.shelf_life_days, result.target_days or result.to_days)
    name = f"Least {result.minimised} at {where}"
    facts = [Fact(name, _amount(point.objective, result, units), _remark(result, point))]
    extra = _extra(result, point, units)
    if extra is not None:
        facts.append(extra)
    first, last = result.points[0], result.points[-1]
    if first is not last:
        low, high = (figure(p.shelf_life_days / length) for p in (first, last))
        least = in_units(first.objective, result.unit, units, 4)
        span = f"{least} to {_amount(last.objective, result, units)}"
        facts.append(Fact(f"From {low} to {high} {unit}", span, _each(result)))
    count = len(letters_of(result))
    changes = len(stretches_of(result)) - 1
    many = "no change" if not changes else "1 change" if changes == 1 else f"{changes} changes"
    facts.append(Fact("Different structures", str(count), f"{many} between them"))
    if result.longest_days is not None:
        like = result.target_days or result.to_days
        proved = "longer is not possible" if result.beyond_days is not None else "longest found"
        facts.append(Fact("Longest shelf life", duration(result.longest_days, like), proved))
    return tuple(facts)


def _amount(value: float, result: TradeoffResult, units: System) -> str:
    """'0.0592 EUR': short enough for a key number; its remark says that it is of one package."""
    unit = result.unit.removesuffix(_PACKAGE)
    return with_unit(value, unit, 4, units)


def _each(result: TradeoffResult) -> str:
    return "a package" if result.unit.endswith(_PACKAGE) else ""


def _nearest_first(result: TradeoffResult, changes: tuple[str, ...]) -> tuple[str, ...]:
    """Changes of structure, those beside the target first: the first page has room for a few."""
    if result.target_days is None or len(changes) != len(result.kinks):
        return changes
    away = [abs(sum(k.between_days) / 2.0 - result.target_days) for k in result.kinks]
    return tuple(changes[i] for i in sorted(range(len(changes)), key=lambda i: away[i]))


def _remark(result: TradeoffResult, point: TradeoffPoint) -> str:
    target = result.target_days
    near = target is not None and abs(point.shelf_life_days - target) < 1e-6 * target
    where = "the target" if near else "the shortest" if target is None else "the point nearest to the target"
    said = [x for x in (_each(result), where) if x]
    if point.limited_by:
        said.append(f"its life is ended by {limit_name(point.limited_by)}")
    return "; ".join(said)


def _extra(result: TradeoffResult, point: TradeoffPoint, units: System) -> Fact | None:
    """What one more month costs from the target on; up to it where the target is the last point."""
    steps = steps_of(result)
    if not steps:
        return None
    step = next((s for s in steps if s.start >= point.shelf_life_days), steps[-1])
    unit, length = unit_of(result)
    more, per = thousand(step.more, result.unit, units)
    paid, _, each = per.partition("/")
    text = f"{'+' if more > 0.0 else ''}{figure(more)} {paid}"
    where = f"for {each}, " if each else ""
    return Fact(
        f"Each extra {unit.removesuffix('s')}",
        text,
        f"{where}in the mean from {span_text(step, unit, length)}",
    )


def _at_target_drawn(result: TradeoffResult, units: System) -> tuple[SectionDrawing, ...]:
    point = at_target(result)
    if point is None:
        return ()
    where = duration(point.shelf_life_days, result.target_days or result.to_days)
    return drawings_of(point.structure, (), units, f"For {where}")


def _drawn(result: TradeoffResult, units: System) -> tuple[SectionDrawing, ...]:
    """The structure of each stretch at its shortest shelf life."""
    letters = letters_of(result)
    like = result.target_days or result.to_days
    drawn: list[SectionDrawing] = []
    for stretch in stretches_of(result)[:_MOST_DRAWN]:
        first = stretch.designs[0]
        title = f"{letters[stretch.key]}, for {duration(first.days, like)}"
        drawn += drawings_of(first.structure, (), units, title)
    return tuple(drawn)

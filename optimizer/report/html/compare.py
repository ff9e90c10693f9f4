"""The report of ``compare``: which offer is the better buy, at which price each ties, what cannot be told."""

from __future__ import annotations

from datetime import datetime

from optimizer.report.compare import compare_page
from optimizer.report.figures.model import SectionDrawing
from optimizer.report.figures.offers import (
    ahead_by,
    pairs_chart,
    per_year,
    price_chart,
    ranked_of,
    value_chart,
)
from optimizer.report.figures.wall_sections import drawings_of
from optimizer.report.html.chunks import chunks_of, page_of, starting, verdict_of
from optimizer.report.html.model import Fact, Report, Section, filled
from optimizer.report.html.taken import basis_on_page, lines_after_verdict, listed_under
from optimizer.report.wording import change, duration, figure, with_unit
from optimizer.results_compare import CompareResult
from optimizer.units.systems import SI, System

_LEAST = {"cost": "Cheapest", "mass": "Lightest", "thickness": "Thinnest"}


def compare_report(
    result: CompareResult, project: object = None, *, units: System = SI, created: datetime
) -> Report:
    """Everything that is shown of a comparison. project: not needed; all reports are made alike."""
    page = compare_page(result, units=units)
    chunks = chunks_of(page)
    ranked = ranked_of(result)
    charts = (value_chart(result, units), pairs_chart(result, units))
    prices = price_chart(result, units)
    sections = [
        Section(
            "ranking",
            "Who is ahead",
            tuple(x for x in charts if x is not None),
            page_of(starting(chunks, "At equal ", "Can they be told")),
        ),
        Section(
            "prices",
            "At which price each ties",
            () if prices is None else (prices,),
            page_of(starting(chunks, "Price at which", "What would have")),
        ),
        Section("walls", "Walls side by side", _walls(result, units), page_of(starting(chunks, "Walls, "))),
        Section("none", "Offers that cannot meet the target", (), page_of(starting(chunks, "No structure"))),
        Section("solver", "How it was found", (), page_of(starting(chunks, "Solver"))),
    ]
    return Report(
        command=result.command,
        question=_question(result),
        title=result.title,
        verdict=verdict_of(page).text,
        good=None if result.feasible and ranked else False,
        facts=_facts(result, units),
        limits=(
            *lines_after_verdict(page),
            *listed_under(chunks, "What would have"),
            *(f"No structure meets the target: {x}" for x in listed_under(chunks, "No structure")),
        ),
        drawings=drawings_of(ranked[0].structure, (), units, ranked[0].name) if ranked else (),
        basis=basis_on_page(chunks, result.sources, result.gases),
        sections=filled(*sections),
        version=result.version,
        inputs_sha256=result.inputs_sha256,
        created=created,
        points="What stands out",
    )


def _question(result: CompareResult) -> str:
    aim = "at equal specification" if result.target_days is None else f"for {duration(result.target_days)}"
    least = _LEAST.get(result.minimised, "best").lower()
    count = sum(not o.baseline for o in result.offers)
    many = "1 offer" if count == 1 else f"{count} offers"
    return f"Which of {many}, and of the project as it is, makes the {least} package {aim}?"


def _facts(result: CompareResult, units: System) -> tuple[Fact, ...]:
    ranked = ranked_of(result)
    if not ranked:
        return ()
    best = ranked[0]
    name = _LEAST.get(result.minimised, "Best")
    facts = [Fact(name, best.name, with_unit(best.value, result.objective_unit, 4, units))]
    by, against = ahead_by(result, units)
    if by:
        facts.append(Fact("Distance to the next", by, against))
    saved = per_year(result)
    if saved and result.volume_per_year is not None:
        remark = f"against the project as it is, at {figure(result.volume_per_year)} packages"
        facts.append(Fact("Saved in a year", saved, remark))
    if best.break_even_price is not None:
        ties = with_unit(best.break_even_price, best.price_unit, 4, units)
        now = f"asked for: {with_unit(best.price, best.price_unit, 4, units)}"
        by = change(best.price, best.break_even_price)
        facts.append(Fact(f"{best.name} ties at", ties, f"{now} ({by})" if by else now))
    lost = sum(not o.structure for o in result.offers)
    if lost:
        facts.append(Fact("Without a structure", f"{lost} of {len(result.offers)}"))
    return tuple(facts)


def _walls(result: CompareResult, units: System) -> tuple[SectionDrawing, ...]:
    return tuple(x for o in ranked_of(result) for x in drawings_of(o.structure, (), units, o.name))

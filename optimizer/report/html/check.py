"""The report of a check: the changed package beside its baseline, and the lightest that still passes."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from optimizer.report.check import check_page
from optimizer.report.figures.checked import BEFORE, NOW, thickness_chart
from optimizer.report.figures.model import Figure
from optimizer.report.figures.predicted import Run, charts_of
from optimizer.report.figures.spreads import distributions, influence_chart
from optimizer.report.figures.wall_sections import drawings_of, lightest_drawings, wall_drawings
from optimizer.report.html.chunks import Chunk, chunks_of, page_of, starting, verdict_of
from optimizer.report.html.first import DRAWINGS, limit_lines, predicted_facts
from optimizer.report.html.model import Basis, Fact, Report, Section, filled
from optimizer.report.html.predict import prediction_report_sections, profile_note, yes_or_no
from optimizer.report.page import Line
from optimizer.report.predict import gases_of
from optimizer.report.uncertainty import plain_share
from optimizer.report.wording import change, percent, with_unit
from optimizer.results import CheckResult, ChosenLayer
from optimizer.units.systems import SI, System

if TYPE_CHECKING:
    from optimizer.project import Project

#: Sections of the changed package that the comparison has its own of.
_COMPARED = ("time", "uncertainty", "spreads")


def check_report(
    result: CheckResult,
    project: Project | None = None,
    baseline: Project | None = None,
    *,
    units: System = SI,
    created: datetime,
) -> Report:
    """The report of ``check``. project, baseline: for pictures of their meshes."""
    page = check_page(result, units=units)
    answer = verdict_of(page)
    drawings = wall_drawings(result.changed, units)
    now, before = _meshes(result, project, baseline, units)
    note = profile_note(project, result.changed)
    changed = prediction_report_sections(result.changed, units, drawings[DRAWINGS:], now, note)
    return Report(
        command="check",
        question="Does the changed package still pass, and how does it stand against its baseline?",
        title=result.title,
        verdict=answer.text,
        good=answer.good if yes_or_no(answer.text) is not None else None,
        facts=_facts(result, units),
        limits=limit_lines(result.changed, units),
        drawings=drawings[:DRAWINGS],
        basis=_basis(result),
        sections=(
            *filled(*_compared(result, before, chunks_of(page), units)),
            *(x for x in changed if x.key not in _COMPARED),
        ),
        version=result.version,
        inputs_sha256=result.inputs_sha256,
        created=created,
    )


def _meshes(
    result: CheckResult, project: Project | None, baseline: Project | None, units: System
) -> tuple[tuple[Figure, ...], tuple[Figure, ...]]:
    """Views of the meshes of the changed package, and of its baseline, with colours that can be compared."""
    if project is None or baseline is None:
        return (), ()
    from optimizer.report.figures.meshes import common_span, mesh_views  # only now: they read projects

    span = common_span([(project, result.changed), (baseline, result.baseline)], units)
    before = mesh_views(baseline, result.baseline, units, span)
    named = (replace(x, title=f"Baseline: {x.title}") for x in before)
    return mesh_views(project, result.changed, units, span), tuple(named)


def _facts(result: CheckResult, units: System) -> tuple[Fact, ...]:
    """Those of the changed package, with what the baseline has; then the lightest that passes."""
    before = {fact.name: fact for fact in predicted_facts(result.baseline, units)}
    facts = []
    for fact in predicted_facts(result.changed, units):
        old = before.get(fact.name)
        differs = {
            "Mass": change(result.baseline.mass_g, result.changed.mass_g),
            "Material cost": change(result.baseline.cost_per_package, result.changed.cost_per_package),
            "Shelf life": change(result.baseline.shelf_life_days, result.changed.shelf_life_days),
        }.get(fact.name, "")
        if old is None:
            facts.append(fact)
        elif old.value == fact.value:
            facts.append(Fact(fact.name, fact.value, "as the baseline"))
        else:
            remark = f"baseline {old.value}" + (f" ({differs})" if differs not in ("", "same") else "")
            facts.append(Fact(fact.name, fact.value, remark))
    if result.at_least_as_long is not None:
        share = plain_share(result.at_least_as_long, result.at_least_as_long_error)
        facts.append(Fact("At least as long as the baseline", share, "of the samples"))
    lightest = result.lightest_passing
    if lightest is not None and lightest.get("scale") is not None:
        mass = float(lightest["mass_g"])
        scale = percent(100.0 * float(lightest["scale"]), 4)
        text = with_unit(mass, "g", 4, units)
        facts.append(Fact("Lightest that passes", text, f"{scale} of the thickness"))
    return tuple(facts)


def _compared(
    result: CheckResult, meshes: tuple[Figure, ...], chunks: tuple[Chunk, ...], units: System
) -> tuple[Section, ...]:
    lines = [b for b in chunks[0].blocks if isinstance(b, Line) and b.text not in ("", result.title)]
    packages = ((BEFORE, result.baseline), (NOW, result.changed))
    runs = (Run(NOW, result.changed), Run(BEFORE, result.baseline, dashed=True))
    influences = influence_chart(result.changed.uncertainty)
    thickness = thickness_chart(result, units)
    drawings = drawings_of(_other_walls(result), result.baseline.layers, units, "Baseline")
    return (
        Section(
            "side",
            "Side by side",
            charts_of(runs, units),
            page_of([Chunk("", tuple(lines)), *starting(chunks, "Side by side")], "Side by side"),
        ),
        Section(
            "uncertainty",
            "How sure that is",
            (*distributions(packages), *(() if influences is None else (influences,))),
            page_of(starting(chunks, "How uncertain", "What to measure better")),
        ),
        Section(
            "changes",
            "What was changed",
            (*(() if thickness is None else (thickness,)), *drawings, *meshes),
            page_of(starting(chunks, "What was changed", "Local thickness"), "What was changed"),
        ),
        Section(
            "lightest",
            "The lightest that passes",
            lightest_drawings(result.lightest_passing, units),
            page_of(starting(chunks, "Lightest that still passes")),
        ),
        Section(
            "spreads", "What the samples rest on", (), page_of(starting(chunks, "Spreads used", "Drawn"))
        ),
    )


def _other_walls(result: CheckResult) -> dict[str, tuple[ChosenLayer, ...]]:
    """Walls of the baseline that the changed package does not have alike."""
    now = result.changed.structure
    return {wall: layers for wall, layers in result.baseline.structure.items() if now.get(wall) != layers}


def _basis(result: CheckResult) -> Basis:
    return Basis(
        warnings=tuple(dict.fromkeys(result.warnings)),
        assumptions=tuple(dict.fromkeys(result.assumptions)),
        cautions=tuple(dict.fromkeys([*result.changed.cautions, *result.baseline.cautions])),
        sources=result.sources,
        gases=tuple(gases_of(result.changed)),
    )

"""The report of a design: the choice and its proof, what holds it there, and all of its prediction."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from optimizer.report.design import design_page
from optimizer.report.figures.amounts import objective
from optimizer.report.figures.designed import alternatives_chart, binding_charts
from optimizer.report.figures.model import SectionDrawing
from optimizer.report.figures.wall_sections import drawings_of, wall_drawings
from optimizer.report.html.chunks import Chunk, chunks_of, page_of, starting, verdict_of
from optimizer.report.html.first import DRAWINGS, basis_of, limit_lines, predicted_facts
from optimizer.report.html.model import Basis, Fact, Report, Section, filled
from optimizer.report.html.predict import mesh_figures, prediction_report_sections, profile_note
from optimizer.report.page import Block, Indented, Item, Line
from optimizer.report.predict import verdict
from optimizer.report.uncertainty import chance
from optimizer.report.wording import capital, duration, percent
from optimizer.results import DesignResult
from optimizer.units.systems import SI, System

if TYPE_CHECKING:
    from optimizer.project import Project

_BEST = {"cost": "cheapest", "mass": "lightest", "thickness": "thinnest"}
_NAMES = {"cost": "Material cost", "mass": "Mass", "thickness": "Total thickness"}
#: Headings of the terminal page that tell of the search and not of the package.
_CONFLICT = ("These cannot hold together", "What comes nearest")
_HELD = ("What holds the optimum", "Next best")


def design_report(
    result: DesignResult, project: Project | None = None, *, units: System = SI, created: datetime
) -> Report:
    """The report of ``design``, also where nothing was found."""
    page = design_page(result, units=units)
    chunks = chunks_of(page)
    answer = verdict_of(page)
    predicted = result.predicted
    drawings = _drawings(result, units)
    return Report(
        command="design",
        question=_question(result, project),
        title=result.title,
        verdict=answer.text if predicted is None else f"{answer.text} {verdict(predicted)}",
        good=answer.good,
        facts=_facts(result, units),
        limits=(*_conflict(chunks), *(() if predicted is None else limit_lines(predicted, units))),
        drawings=drawings[:DRAWINGS],
        basis=_basis(result),
        sections=(
            *filled(*_search(result, chunks, units)),
            *(
                ()
                if predicted is None
                else prediction_report_sections(
                    predicted,
                    units,
                    drawings[DRAWINGS:],
                    mesh_figures(project, predicted, units),
                    profile_note(project, predicted),
                )
            ),
            *filled(Section("solver", "The search", (), page_of(starting(chunks, "Solver")))),
        ),
        version=result.version,
        inputs_sha256=result.inputs_sha256,
        created=created,
    )


def _question(result: DesignResult, project: Project | None) -> str:
    best = _BEST.get(result.minimised, "best")
    days = None if result.predicted is None else result.predicted.target_days
    if days is None and project is not None and project.case.target is not None:
        from optimizer.constants import DAY

        days = project.case.target / DAY
    lasting = "" if days is None else f" for {duration(days)}"
    return f"Which structure of the walls is the {best} that keeps every limit and rule{lasting}?"


def _facts(result: DesignResult, units: System) -> tuple[Fact, ...]:
    """Objective with what is proved of it, the chance asked for, then those of the prediction."""
    name = _NAMES.get(result.minimised, capital(result.minimised))
    facts = []
    if result.objective is not None:
        facts.append(Fact(name, _amount(result, result.objective, units), "minimised"))
    if result.lower_bound is not None:
        gap = "" if result.gap is None else f"gap {percent(100.0 * result.gap)}"
        facts.append(Fact("Lower bound", _amount(result, result.lower_bound, units), gap))
    told = result.confidence
    if told is not None and told.get("probability") is not None:
        facts.append(
            Fact(
                "Chance of passing",
                chance(told["probability"], told.get("probability_error")),
                f"of {told['samples']} fresh samples; {percent(100.0 * told['asked'], 4)} asked for",
            )
        )
    known = {fact.name for fact in facts}
    own = () if result.predicted is None else predicted_facts(result.predicted, units)
    return (*facts, *(fact for fact in own if fact.name not in known))


def _amount(result: DesignResult, value: float, units: System) -> str:
    return objective(value, result.minimised, result.objective_unit, units)


def _conflict(chunks: tuple[Chunk, ...]) -> tuple[str, ...]:
    """What cannot hold together, and what comes nearest, as the page says it."""
    blocks: list[Block] = [block for chunk in starting(chunks, *_CONFLICT) for block in chunk.blocks]
    return tuple(block.text for block in blocks if isinstance(block, Item | Indented))


def _drawings(result: DesignResult, units: System) -> tuple[SectionDrawing, ...]:
    """The chosen walls, then the others of the package."""
    predicted = result.predicted
    chosen = drawings_of(result.structure, () if predicted is None else predicted.layers, units)
    others = () if predicted is None else wall_drawings(predicted, units)
    titles = {x.title for x in chosen}
    return (*chosen, *(x for x in others if x.title not in titles))


def _search(result: DesignResult, chunks: tuple[Chunk, ...], units: System) -> tuple[Section, ...]:
    """The choice, how sure it is, what holds it, and what comes next."""
    lines = [b for b in chunks[0].blocks if isinstance(b, Line) and b.text not in ("", result.title)]
    head = [Chunk("", tuple(lines))]
    alternatives = alternatives_chart(result, units)
    walls = tuple(f"Wall {wall}, " for wall in result.structure)
    before = _before(chunks, "Limits", "Transmission limits", "Where it comes through")
    chosen = starting(before, *walls) if walls else []
    return (
        Section("choice", "The choice", (), page_of([*head, *chosen])),
        Section("conflict", "Why nothing meets it all", (), page_of(starting(chunks, *_CONFLICT))),
        Section("confidence", "The confidence asked for", (), page_of(starting(chunks, "Confidence: "))),
        Section(
            "optimum",
            "What holds the optimum",
            binding_charts(result, units),
            page_of(starting(chunks, _HELD[0]), _HELD[0]),
        ),
        Section(
            "next",
            "What comes next",
            () if alternatives is None else (alternatives,),
            page_of(starting(chunks, _HELD[1])),
        ),
    )


def _before(chunks: tuple[Chunk, ...], *words: str) -> tuple[Chunk, ...]:
    """The chunks before the first with such a heading."""
    end = next((k for k, chunk in enumerate(chunks) if chunk.heading.startswith(words)), len(chunks))
    return chunks[:end]


def _basis(result: DesignResult) -> Basis:
    if result.predicted is None:
        return Basis(warnings=result.warnings, assumptions=result.assumptions)
    return basis_of(result.predicted, result.warnings, result.assumptions)

"""The report of a prediction, and the sections that reports of designs and checks share with it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from optimizer.report.figures.model import Figure
from optimizer.report.figures.predicted import inside_charts, limit_charts
from optimizer.report.figures.spreads import influence_chart, life_distribution
from optimizer.report.figures.through import humidity_charts, pressure_charts, resistance_charts, ways_chart
from optimizer.report.figures.wall_sections import wall_drawings
from optimizer.report.html.chunks import chunks_of, page_of, starting
from optimizer.report.html.first import DRAWINGS, basis_of, limit_lines, predicted_facts
from optimizer.report.html.model import Report, Section, filled
from optimizer.report.page import Page
from optimizer.report.predict import prediction_sections, verdict, walls_line
from optimizer.report.uncertainty import spread_sections, uncertainty_sections
from optimizer.results import PredictResult
from optimizer.units.systems import SI, System

if TYPE_CHECKING:
    from optimizer.project import Project

#: Headings of the terminal page, by the section of the report that they stand in.
_LIMITS = ("Limits", "Transmission limits")
_WAYS = ("Where it comes through",)
_WALLS = ("Wall ",)
_MASS = ("Mass and cost",)
_OUTER = ("Outer pack",)


def predict_report(
    result: PredictResult, project: Project | None = None, *, units: System = SI, created: datetime
) -> Report:
    """The report of ``predict``. project: for pictures of its meshes; units: that numbers are shown in;
    created: local time."""
    text = verdict(result)
    drawings = wall_drawings(result, units)
    return Report(
        command="predict",
        question="How long does this package last, and what ends it?",
        title=result.title,
        verdict=text,
        good=yes_or_no(text),
        facts=predicted_facts(result, units),
        limits=limit_lines(result, units),
        drawings=drawings[:DRAWINGS],
        basis=basis_of(result),
        sections=prediction_report_sections(
            result,
            units,
            drawings[DRAWINGS:],
            mesh_figures(project, result, units),
            profile_note(project, result),
        ),
        version=result.version,
        inputs_sha256=result.inputs_sha256,
        created=created,
    )


def yes_or_no(verdict: str) -> bool | None:
    """What the first word of a verdict says; None where it says neither."""
    return {"PASSES": True, "FAILS": False}.get(verdict.partition(":")[0])


def prediction_report_sections(
    result: PredictResult,
    units: System = SI,
    drawings: tuple[Figure, ...] = (),
    meshes: tuple[Figure, ...] = (),
    note: str = "",
) -> tuple[Section, ...]:
    """Everything that is shown of one package. drawings: of walls that are not on the first page; meshes:
    views of those that the package is made of; note: below the profiles through the walls."""
    told = Page()
    prediction_sections(told, result, units=units)
    chunks = chunks_of(told)
    samples, spreads, simulated = Page(), Page(), Page()
    uncertainty_sections(samples, result)
    spread_sections(spreads, result, units=units)
    walls_line(simulated, result)
    around = starting(chunks, *_OUTER)
    distribution, influences = life_distribution(result), influence_chart(result.uncertainty)
    walls = (*drawings, *resistance_charts(result), *humidity_charts(result, units, note))
    ways = tuple(x for x in (ways_chart(result, units),) if x is not None)
    return filled(
        Section("time", "Over time", limit_charts(result, units), page_of(starting(chunks, *_LIMITS))),
        Section(
            "uncertainty",
            "How sure that is",
            tuple(x for x in (distribution, influences) if x is not None),
            page_of(chunks_of(samples)),
        ),
        Section(
            "ways",
            _WAYS[0],
            (*ways, *meshes),
            page_of(starting(chunks, *_WAYS), _WAYS[0]),
        ),
        Section(
            "walls",
            "Inside the walls",
            (*walls, *pressure_charts(result, units, note)),
            page_of([*chunks_of(simulated), *starting(chunks, *_WALLS)]),
        ),
        Section("gas", "The gas inside and around", inside_charts(result, units), page_of(around)),
        Section("mass", "Mass and cost", (), page_of(starting(chunks, *_MASS))),
        Section("spreads", "What the samples rest on", (), page_of(chunks_of(spreads))),
    )


def mesh_figures(project: Project | None, result: PredictResult, units: System) -> tuple[Figure, ...]:
    """Views of the meshes that the package is made of, and their parts; nothing without the project, which
    has them."""
    if project is None:
        return ()
    from optimizer.report.figures.meshes import mesh_views, region_views  # only now: they read projects

    return (*mesh_views(project, result, units), *region_views(project, units))


def profile_note(project: Project | None, result: PredictResult) -> str:
    """Which stages the profiles show at a mean; '' without the project, which has the weather."""
    if project is None:
        return ""
    from optimizer.report.figures.means import means_note  # only now: it reads projects

    return means_note(project, result)

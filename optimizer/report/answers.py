"""The page, the report and the workbook of an answer, whichever command it is of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from optimizer.report.page import Page
from optimizer.report.told import names_in, told
from optimizer.report.wording import kept_units
from optimizer.results import CheckResult, DesignResult, PredictResult
from optimizer.results_answer import Answer
from optimizer.results_compare import CompareResult
from optimizer.results_explain import ExplainResult
from optimizer.results_geometry import GeometryResult
from optimizer.results_tradeoff import TradeoffResult
from optimizer.units.systems import SI, System

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh, Upright
    from optimizer.geometry.pieces import LocalThickness
    from optimizer.project import Project
    from optimizer.report.html.model import Report


@dataclass(frozen=True)
class Behind:
    """What an answer is about: the project (of ``check`` also the baseline), or the mesh."""

    project: Project | None = None
    baseline: Project | None = None
    mesh: Mesh | None = None
    upright: Upright | None = None
    local: LocalThickness | None = None


def page_of(result: Answer, units: System = SI, behind: Behind | None = None) -> Page:
    """The terminal page. behind: for names that must stay as they are, whatever the units. Raises TypeError
    for a result of no command with a page."""
    result = told(result, units, _names(behind))
    if isinstance(result, PredictResult):
        from optimizer.report.predict import predict_page

        return predict_page(result, units=units)
    if isinstance(result, DesignResult):
        from optimizer.report.design import design_page

        return design_page(result, units=units)
    if isinstance(result, CheckResult):
        from optimizer.report.check import check_page

        return check_page(result, units=units)
    if isinstance(result, CompareResult):
        from optimizer.report.compare import compare_page

        return compare_page(result, units=units)
    if isinstance(result, TradeoffResult):
        from optimizer.report.tradeoff import tradeoff_page

        return tradeoff_page(result, units=units)
    if isinstance(result, GeometryResult):
        from optimizer.report.geometry import geometry_page

        return geometry_page(result, units=units)
    if isinstance(result, ExplainResult):
        from optimizer.report.explain import explain_page

        return explain_page(result, units=units)
    raise TypeError(f"{type(result).__name__} has no page")


def report_of(result: Answer, behind: Behind | None, units: System, created: datetime) -> str:
    """The report as HTML. Raises TypeError for a result of no command with a report."""
    from optimizer.report.html.render import rendered

    behind = behind or Behind()
    report = _report(told(result, units, _names(behind)), behind, units, created)
    return rendered(replace(report, note=kept_units(units)))


def _names(behind: Behind | None) -> frozenset[str]:
    """Names in the project files, and those of the files themselves."""
    loaded = () if behind is None else (behind.project, behind.baseline)
    known = [project for project in loaded if project is not None]
    files = [name for project in known for path in project.files for name in (str(path), path.name)]
    return frozenset([*files, *(name for project in known for name in names_in(project.data))])


def workbook_of(result: Answer, created: datetime) -> bytes:
    """Every table of the answer as a workbook. Raises TypeError for a result of no command with tables."""
    from optimizer.report.excel.results import results_workbook
    from optimizer.report.excel.tables import Result

    if isinstance(result, Result):
        return results_workbook(result, created)
    raise TypeError(f"{type(result).__name__} has no workbook")


def _report(result: Answer, behind: Behind, units: System, created: datetime) -> Report:
    if isinstance(result, PredictResult):
        from optimizer.report.html.predict import predict_report

        return predict_report(result, behind.project, units=units, created=created)
    if isinstance(result, DesignResult):
        from optimizer.report.html.design import design_report

        return design_report(result, behind.project, units=units, created=created)
    if isinstance(result, CheckResult):
        from optimizer.report.html.check import check_report

        return check_report(result, behind.project, behind.baseline, units=units, created=created)
    if isinstance(result, CompareResult):
        from optimizer.report.html.compare import compare_report

        return compare_report(result, behind.project, units=units, created=created)
    if isinstance(result, TradeoffResult):
        from optimizer.report.html.tradeoff import tradeoff_report

        return tradeoff_report(result, behind.project, units=units, created=created)
    if isinstance(result, GeometryResult):
        from optimizer.report.html.geometry import geometry_report

        return geometry_report(
            result, behind.mesh, behind.upright, behind.local, units=units, created=created
        )
    raise TypeError(f"{type(result).__name__} has no report")

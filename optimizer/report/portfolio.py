"""The table of a portfolio: one row for each project, as text, CSV and JSON."""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from optimizer.report.excel.cells import csv_text
from optimizer.report.page import Column, Page, number
from optimizer.report.record import dump
from optimizer.report.wording import duration, figure, in_words, limit_name, listed, with_unit
from optimizer.results_answer import plain
from optimizer.units.systems import SI, System

#: Messages of one project that the page shows; the saved answer has all.
_SHOWN = 3
#: Why a YAML file is passed over; of other files the reason tells that they are workbooks.
NO_FORMAT = "without the key 'format'"
#: Status in words of a design that was not proved, by what stopped it; else it is the time.
_STOPPED = {"memory": "memory limit", "unsettled": "not settled"}


@dataclass(frozen=True)
class ProjectRow:
    """One project. project: its file, relative to the folder. status: passes or fails (predict); optimal,
    time limit, memory limit, not settled, infeasible (design); input error, failed. seconds: of the
    computation, also where the answer was kept from an earlier run. messages: what is not met, cannot hold
    together, or went wrong."""

    project: str
    title: str
    status: str
    passes: bool
    shelf_life_days: float | None
    target_days: float | None
    limited_by: str | None
    objective: float | None
    objective_unit: str
    gap_pct: float | None
    mass_g: float | None
    cost_per_package: float | None
    currency: str
    warnings: int
    seconds: float | None
    inputs_sha256: str
    messages: tuple[str, ...]


@dataclass(frozen=True)
class Portfolio:
    """The whole table. computed: projects that this run worked on, the others' answers were there already.
    passed_over: files that are no projects, and why: YAML files without the key ``format``, and workbooks
    that hold something else. workers: threads that worked, 0 when nothing was left to do."""

    command: str
    folder: str
    results: str
    version: str
    rows: tuple[ProjectRow, ...]
    computed: int
    passed_over: Mapping[str, str]
    workers: int
    seconds: float

    def count(self, *statuses: str) -> int:
        return sum(row.status in statuses for row in self.rows)

    @property
    def passing(self) -> int:
        return sum(row.passes for row in self.rows)


def row_of(record: Mapping[str, Any]) -> ProjectRow:
    """Row of a saved answer: the JSON record of ``predict`` or ``design`` with its key ``portfolio``."""
    about = record["portfolio"]
    passes = bool(record.get("passes")) and record.get("status") != "infeasible"
    status = about["status"] or record.get("status", "passes" if passes else "fails").replace("_", " ")
    if status == "time limit":
        status = _STOPPED.get(record.get("stopped_by") or "", status)
    gap = record.get("gap")
    return ProjectRow(
        project=about["project"],
        title=record["title"],
        status=status,
        passes=passes,
        shelf_life_days=record.get("shelf_life_days"),
        target_days=record.get("target_days"),
        limited_by=record.get("limited_by"),
        objective=record.get("objective"),
        objective_unit=record.get("objective_unit", ""),
        gap_pct=None if gap is None else 100.0 * gap,
        mass_g=record.get("mass_g"),
        cost_per_package=record.get("cost_per_package"),
        currency=record.get("currency", ""),
        warnings=len(record["warnings"]),
        seconds=about["seconds"],
        inputs_sha256=record["inputs_sha256"],
        messages=tuple(about["messages"] or _messages(record, passes)),
    )


def _messages(record: Mapping[str, Any], passes: bool) -> list[str]:
    """Why an answer is no, in words."""
    if passes:
        return []
    if record.get("conflict"):
        return ["cannot hold together: " + listed([in_words(text) for text in record["conflict"]])]
    failed = [
        limit_name(limit["name"]) + (f" of {limit['wall']}" if limit.get("wall") else "")
        for limit in record.get("limits", [])
        if not limit["passes"]
    ]
    if failed:
        return ["not met: " + listed(failed)]
    if record["command"] == "design":
        return ["no structure that passes was found before the search was stopped"]
    life, target = record.get("shelf_life_days"), record.get("target_days")
    return [f"lasts {duration(life, target)}, target {duration(target)}"] if target is not None else []


def portfolio_csv(portfolio: Portfolio) -> str:
    """The table with one line for each project; all messages in one cell."""
    names = [field.name for field in fields(ProjectRow)]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    for row in portfolio.rows:
        writer.writerow([_cell(getattr(row, name)) for name in names])
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return csv_text("; ".join(value))
    return repr(value) if isinstance(value, (int, float)) else csv_text(str(value))


def portfolio_json(portfolio: Portfolio) -> str:
    """The table as a JSON record; its checksum is over those of the projects."""
    total = hashlib.sha256("\n".join(row.inputs_sha256 for row in portfolio.rows).encode())
    whole = dict(plain(portfolio))
    rows = whole.pop("rows")
    return dump(
        {
            **whole,
            "title": portfolio.folder,
            "inputs_sha256": total.hexdigest(),
            "warnings": _warnings(portfolio),
            "passing": portfolio.passing,
            "projects": rows,
        }
    )


def portfolio_page(portfolio: Portfolio, *, units: System = SI) -> Page:
    """Verdict, table, what is wrong with whom, where the answers are. units: that numbers are shown in."""
    page = Page().line(f"{portfolio.command} on the projects in {portfolio.folder}", "bold").line()
    page.verdict(*_verdict(portfolio))
    page.line(_work(portfolio))
    books = Counter(why for why in portfolio.passed_over.values() if why != NO_FORMAT)
    if books:
        what = "1 workbook" if books.total() == 1 else f"{books.total()} workbooks"
        page.line(f"{what} passed over: {', '.join(f'{n} {why}' for why, n in books.items())}.")
    page.heading("Projects")
    all_units = {row.objective_unit for row in portfolio.rows} - {""}
    unit = all_units.pop() if len(all_units) == 1 else ""  # then it stands once, at the head
    page.table(
        [
            Column("project"),
            Column("status", keep=True),
            number("lasts"),
            Column("ended by"),
            number(units.unit(unit.removesuffix("/package")) or "objective"),
            number("gap %"),
            number("s"),
        ],
        [_cells(row, name, unit, units) for row, name in zip(portfolio.rows, _names(portfolio), strict=True)],
    )
    for row in portfolio.rows:
        if row.messages:
            more = len(row.messages) - _SHOWN
            rest = [f"and {more} more"] if more > 0 else []
            page.bullets(f"{row.project}: {row.status}", [*row.messages[:_SHOWN], *rest])
    page.bullets("Warnings", _warnings(portfolio))
    if units.name != SI.name and any(row.messages for row in portfolio.rows):
        page.line().line("What is said of a project keeps the units that it is stated in.")
    page.line().line(f"The whole answer for each project is in {portfolio.results}.")
    return page


def _names(portfolio: Portfolio) -> list[str]:
    """Files without '.yaml', where no other project has the same name but for its ending."""
    stems = Counter(os.path.splitext(row.project)[0] for row in portfolio.rows)
    return [
        row.project if stems[os.path.splitext(row.project)[0]] > 1 else row.project.removesuffix(".yaml")
        for row in portfolio.rows
    ]


def _cells(row: ProjectRow, name: str, unit: str, units: System) -> list[str]:
    own = row.objective_unit.removesuffix("/package")
    objective = units.value(row.objective, own) if row.objective is not None else None
    said = "" if row.objective_unit == unit else units.unit(own)
    return [
        name,
        row.status,
        "" if row.shelf_life_days is None else duration(row.shelf_life_days, row.target_days),
        limit_name(row.limited_by) if row.limited_by else "",
        "" if objective is None else with_unit(objective, said, 4),
        "" if row.gap_pct is None else figure(row.gap_pct, 2),
        "" if row.seconds is None else figure(row.seconds, 2),
    ]


def _verdict(portfolio: Portfolio) -> tuple[str, bool]:
    total, passing = len(portfolio.rows), portfolio.passing
    if passing == total:
        return f"PASSES: all {total} projects." if total > 1 else "PASSES: the only project.", True
    wrong, broken = portfolio.count("input error"), portfolio.count("failed")
    infeasible = portfolio.count("infeasible")
    failing = total - passing - wrong - broken - infeasible
    parts = [
        f"{count} {what}"
        for count, what in (
            (failing, "fails" if failing == 1 else "fail"),
            (infeasible, "infeasible"),
            (wrong, "with wrong input"),
            (broken, "not brought to an end"),
        )
        if count
    ]
    return f"{passing} of {total} projects pass; {', '.join(parts)}.", False


def _work(portfolio: Portfolio) -> str:
    kept = len(portfolio.rows) - portfolio.computed
    parts = []
    if portfolio.computed:
        crew = with_unit(float(portfolio.workers), "worker" if portfolio.workers == 1 else "workers")
        parts.append(f"{portfolio.computed} computed by {crew}")
    if kept:
        parts.append(f"{kept} kept from an earlier run")
    return f"{'; '.join(parts)}; {figure(portfolio.seconds, 2)} s."


def _warnings(portfolio: Portfolio) -> list[str]:
    found = []
    warned = sum(row.warnings > 0 for row in portfolio.rows)
    if warned:
        answers = (
            "the answer of 1 project carries" if warned == 1 else f"the answers of {warned} projects carry"
        )
        found.append(f"{answers} warnings; they stand in the saved answers")
    strange = [name for name, why in portfolio.passed_over.items() if why == NO_FORMAT]
    if strange:
        found.append("passed over, because they have no key 'format': " + listed(strange))
    return found

"""Bodies of ``layerwright materials list``, ``show`` and ``lint``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.cli.guard import DONE, WRONG_INPUT
from optimizer.cli.output import deliver
from optimizer.cli.outputs import Outputs
from optimizer.errors import InputError, Problem

if TYPE_CHECKING:
    from optimizer.catalog import Catalog
    from optimizer.catalog.lint import Finding


def run(
    what: str,
    json: str | None,
    units: str = "si",
    project: str | None = None,
    name: str | None = None,
    file: str | None = None,
) -> int:
    """``what`` is list, show or lint."""
    outputs = Outputs(json)
    outputs.check(project, file)
    if what == "lint":
        return _lint(file, outputs)
    from optimizer.report.materials import list_page, list_record, show_page, show_record
    from optimizer.report.record import dump
    from optimizer.units.systems import system

    shown = system(units)
    catalog = _catalog(project, outputs)
    if what == "show":
        deliver(
            show_page(catalog, str(name), units=shown), dump(_stamped(show_record(catalog, str(name)))), json
        )
    else:
        materials = [catalog.material(each) for each in catalog.names()]
        deliver(list_page(materials, units=shown), dump(_stamped(list_record(materials))), json)
    return DONE


def _catalog(project: str | None, outputs: Outputs) -> Catalog:
    if project is not None:
        import optimizer

        loaded = optimizer.load_project(project)
        outputs.check(*loaded.files)
        return loaded.catalog
    from optimizer.catalog import load_catalog

    return load_catalog()


def _lint(file: str | None, outputs: Outputs) -> int:
    """Wrong input is the answer here, so the problems go where answers go; the status says it too."""
    from optimizer.report.materials import lint_page, lint_record
    from optimizer.report.record import dump

    found = _findings(file, outputs)
    problems = [f.problem for f in found if f.severity == "error"]
    warnings = [f.problem for f in found if f.severity != "error"]
    name = file or "the shipped table"
    record = dump(_stamped(lint_record(name, problems, warnings)))
    deliver(lint_page(name, problems, warnings), record, outputs.json)
    return WRONG_INPUT if problems else DONE


def _findings(file: str | None, outputs: Outputs) -> list[Finding]:
    """Findings in the shipped table, in a table file, or in what a project file says of materials."""
    from optimizer.catalog.lint import Finding, lint_entries, lint_shipped, lint_tables
    from optimizer.catalog.workbook import WORKBOOKS

    if file is None:
        return lint_shipped()
    path = Path(file)
    if not path.is_file():
        raise InputError(Problem("there is no such file", file))
    if path.suffix.lower() not in (".yaml", ".yml", *WORKBOOKS):
        return lint_tables([path])
    import optimizer
    from optimizer.project.entry_places import EntryPlaces

    try:
        project = optimizer.load_project(path)
    except InputError as error:
        return [Finding("error", problem) for problem in error.problems]
    outputs.check(*project.files)
    entries = project.data.get("materials") or []
    tables = [entry["table"] for entry in entries if "table" in entry]
    own = [i for i, entry in enumerate(entries) if "table" not in entry]
    places = EntryPlaces(project.source, own)
    inline = lint_entries(project.catalog, [entries[i] for i in own], project.source.file, places.locate)
    found = lint_tables(tables, path.parent) if tables else []
    return [*found, *(Finding(f.severity, places.told(f.problem)) for f in inline)]


def _stamped(record: dict[str, object]) -> dict[str, object]:
    import optimizer

    return {"version": optimizer.__version__, **record}

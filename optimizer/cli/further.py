"""``explain``, ``template`` and ``schema``: their options and their help."""

from __future__ import annotations

from typing import Annotated

import typer

from optimizer.cli.common_options import Debug, Json, Project, ShownUnits, Units
from optimizer.cli.outputs import Outputs
from optimizer.cli.running import run_body

EXIT_EXPLAIN = "Exit status: 0 the hand calculation and the program agree; 1 they differ; 2 wrong input."


def _limits(incomplete: str) -> list[str]:
    """Names of limits that start so, for the shell."""
    from optimizer.shelflife.package import LIMIT_GAS

    return [name for name in LIMIT_GAS if name.startswith(incomplete)]


def explain(
    project: Project,
    limit: Annotated[
        str | None,
        typer.Option(
            "--limit",
            metavar="NAME",
            autocompletion=_limits,
            help="Limit that is worked through, as oxygen_gain; the first one reached unless given.",
        ),
    ] = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """The case worked by hand: areas, resistances, pressures, days, each with the numbers put in."""
    run_body("run_explain", debug, project=project, limit=limit, outputs=Outputs(json, units=units))


def template(
    file: Annotated[
        str, typer.Argument(metavar="FILE", help="What to write: a workbook (.xlsx) or project file (.yaml).")
    ],
    source: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="PROJECT",
            help="Write this project, of either kind, instead of the example.",
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that exists.")] = False,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Write a project to start from, as a workbook to fill in or as YAML; or turn one into the other."""
    run_body("run_template", debug, target=file, source=source, force=force, json=json)


def schema(json: Json = None, debug: Debug = False) -> None:
    """The project file as JSON Schema: editors then complete keys and say what they mean."""
    run_body("run_schema", debug, json=json)

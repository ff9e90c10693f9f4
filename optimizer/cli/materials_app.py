"""``layerwright materials``: its commands, their options and their help."""

from __future__ import annotations

from typing import Annotated

import typer

from optimizer.cli.common_options import Debug, Json, OptionalProject, ShownUnits, Units
from optimizer.cli.running import EXIT, run_body

materials = typer.Typer(
    help="The property table: what is in it, where it comes from, what is wrong with your own.",
    short_help="The property table and its sources.",
    rich_markup_mode=None,
    no_args_is_help=True,
)


def _names(incomplete: str) -> list[str]:
    """Names in the shipped table that start so, for the shell."""
    from optimizer.catalog import load_catalog

    return [name for name in load_catalog().names() if name.lower().startswith(incomplete.lower())]


@materials.command("list")
def materials_list(
    project: OptionalProject = None, units: ShownUnits = Units.si, json: Json = None, debug: Debug = False
) -> None:
    """Every material with its density, permeabilities and grade of data."""
    run_body("run_materials", debug, what="list", project=project, units=units, json=json)


@materials.command("show")
def materials_show(
    name: Annotated[
        list[str],
        typer.Argument(metavar="NAME", help="Name of the material, as in the list.", autocompletion=_names),
    ],
    project: OptionalProject = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """One material: every row there is, which one is used, why, and its source."""
    run_body(
        "run_materials", debug, what="show", name=" ".join(name), project=project, units=units, json=json
    )


@materials.command("lint", epilog=EXIT)
def materials_lint(
    file: Annotated[
        str | None,
        typer.Argument(
            metavar="FILE", help="Table (CSV) or project file (YAML or .xlsx); without it the shipped table."
        ),
    ] = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """What is wrong with your own table: units, ranges, duplicates, values out of line."""
    run_body("run_materials", debug, what="lint", file=file, json=json)

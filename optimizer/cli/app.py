"""The commands, their options and their help. Imports only typer and the standard library at the top.

The bodies live in ``run_<command>.py``, imported when the command runs, so that ``--help`` stays quick.
Exit statuses are those of ``guard``.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Annotated, Any

import typer

from optimizer.cli.guard import guarded
from optimizer.cli.options import read_seconds, read_share

_EXIT = "Exit status: 0 yes or done; 1 the package fails or no structure meets the limits; 2 wrong input."

app = typer.Typer(
    name="layerwright",
    help="Chooses the layers of a package wall for a shelf life, and predicts how long a package lasts.",
    epilog=_EXIT,
    rich_markup_mode=None,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)
materials = typer.Typer(
    help="The property table: what is in it, where it comes from, what is wrong with your own.",
    short_help="The property table and its sources.",
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(materials, name="materials")

Project = Annotated[str, typer.Argument(metavar="PROJECT", help="Project file (YAML).")]
OptionalProject = Annotated[
    str | None,
    typer.Option("--project", metavar="PROJECT", help="Also use the materials of this project file."),
]
Json = Annotated[
    str | None,
    typer.Option(
        "--json", metavar="FILE", help="Write the answer as JSON; - for standard output, without text."
    ),
]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback when something fails.")]


def _show_version(wanted: bool) -> None:
    if wanted:
        import optimizer

        typer.echo(f"layerwright {optimizer.__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and stop."),
    ] = False,
) -> None:
    pass


@app.command(short_help="How long the package lasts, and what ends it.", epilog=_EXIT)
def predict(project: Project, json: Json = None, debug: Debug = False) -> None:
    """How long the package lasts, what ends it, and where the gas comes through."""
    _run("run_predict", debug, project=project, json=json)


@app.command(short_help="The cheapest, lightest or thinnest layers, with a proof.", epilog=_EXIT)
def design(
    project: Project,
    time_limit: Annotated[
        str | None,
        typer.Option(
            "--time-limit", metavar="TIME", help="Stop the search after this: seconds, or '30 s', '2 min'."
        ),
    ] = None,
    gap: Annotated[
        str | None,
        typer.Option(
            "--gap", metavar="PERCENT", help="Proved closeness to the best that is enough, as '0.1 %'."
        ),
    ] = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Which layers and how thick, at the least cost, mass or thickness, with a proof of how near the best."""
    seconds = _read("--time-limit", read_seconds, time_limit)
    share = _read("--gap", read_share, gap)
    _run("run_design", debug, project=project, time_limit=seconds, gap=share, json=json)


@app.command(short_help="Does a changed package still pass, and by how much.", epilog=_EXIT)
def check(
    project: Project,
    against: Annotated[
        str,
        typer.Option(
            "--against", metavar="BASELINE", help="Project file of the package it is compared with."
        ),
    ],
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Does the changed package still pass, with what margin, and how light could it be."""
    _run("run_check", debug, project=project, against=against, json=json)


@materials.command("list")
def materials_list(project: OptionalProject = None, json: Json = None, debug: Debug = False) -> None:
    """Every material with its density, permeabilities and grade of data."""
    _run("run_materials", debug, what="list", project=project, json=json)


@materials.command("show")
def materials_show(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Name of the material, as in the list.")],
    project: OptionalProject = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """One material: every row there is, which one is used, why, and its source."""
    _run("run_materials", debug, what="show", name=name, project=project, json=json)


@materials.command("lint", epilog=_EXIT)
def materials_lint(
    file: Annotated[
        str | None,
        typer.Argument(
            metavar="FILE", help="Table (CSV) or project file (YAML); without it the shipped table."
        ),
    ] = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """What is wrong with your own table: units, ranges, duplicates, values out of line."""
    _run("run_materials", debug, what="lint", file=file, json=json)


def _read(option: str, reader: Callable[[str], float], text: str | None) -> float | None:
    if text is None:
        return None
    try:
        return reader(text)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint=option) from None


def _run(module: str, debug: bool, **arguments: Any) -> None:
    def action() -> int:
        return int(import_module(f"optimizer.cli.{module}").run(**arguments))

    raise typer.Exit(guarded(action, debug=debug))

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
from optimizer.cli.options import read_bytes, read_confidence, read_seconds, read_share, read_volume
from optimizer.cli.portfolio_options import (
    Csv,
    Fresh,
    OneProject,
    Projects,
    Results,
    Scheduler,
    Workers,
    wants_portfolio,
)

_EXIT = "Exit status: 0 yes or done; 1 the package fails or no structure meets the limits; 2 wrong input."
_EXIT_DESIGN = (
    "Exit status: 0 a structure that passes, proved to the gap or the best within the time or memory given; "
    "1 none; 2 wrong input; 130 interrupted: Ctrl-C ends the search, prints and saves the best so far with "
    "what is proved of it; once more ends at once."
)

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
Samples = Annotated[
    int | None,
    typer.Option(
        "--samples",
        metavar="N",
        help="Draw so many samples of what is uncertain, rounded up to a power of two: chance of passing, "
        "percentiles.",
    ),
]
Seed = Annotated[
    int | None,
    typer.Option("--seed", metavar="S", help="Seed of the samples; that of the project unless given."),
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
def predict(
    project: OneProject = None,
    projects: Projects = None,
    results: Results = None,
    fresh: Fresh = False,
    workers: Workers = None,
    scheduler: Scheduler = None,
    csv: Csv = None,
    samples: Samples = None,
    seed: Seed = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """How long the package lasts, what ends it, where the gas comes through, and how sure that is."""
    folder = dict(results=results, fresh=fresh, workers=workers, scheduler=scheduler, csv=csv)
    drawn = dict(samples=samples, seed=seed)
    if wants_portfolio(project, projects, **folder):
        _run("run_portfolio", debug, command="predict", projects=projects, json=json, **folder, **drawn)
    else:
        _run("run_predict", debug, project=project, json=json, **drawn)


@app.command(short_help="The cheapest, lightest or thinnest layers, with a proof.", epilog=_EXIT_DESIGN)
def design(
    project: OneProject = None,
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
    memory_limit: Annotated[
        str | None,
        typer.Option(
            "--memory-limit", metavar="SIZE", help="Stop the search above this much memory, as '4 GB'."
        ),
    ] = None,
    confidence: Annotated[
        str | None,
        typer.Option(
            "--confidence",
            metavar="PERCENT",
            help="Least chance of passing that the structure must have, as '95 %'; that of the project "
            "unless given.",
        ),
    ] = None,
    projects: Projects = None,
    results: Results = None,
    fresh: Fresh = False,
    workers: Workers = None,
    scheduler: Scheduler = None,
    csv: Csv = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Which layers and how thick, at the least cost, mass or thickness, with a proof of how near the best."""
    seconds = _read("--time-limit", read_seconds, time_limit)
    share = _read("--gap", read_share, gap)
    memory = _read("--memory-limit", read_bytes, memory_limit)
    asked = _read("--confidence", read_confidence, confidence)
    limits = dict(time_limit=seconds, gap=share, memory_limit=memory, confidence=asked)
    folder = dict(results=results, fresh=fresh, workers=workers, scheduler=scheduler, csv=csv)
    if wants_portfolio(project, projects, **folder):
        _run("run_portfolio", debug, command="design", projects=projects, json=json, **folder, **limits)
    else:
        _run("run_design", debug, project=project, json=json, **limits)


@app.command(short_help="Does a changed package still pass, and by how much.", epilog=_EXIT)
def check(
    project: Project,
    against: Annotated[
        str,
        typer.Option(
            "--against", metavar="BASELINE", help="Project file of the package it is compared with."
        ),
    ],
    confidence: Annotated[
        str | None,
        typer.Option(
            "--confidence",
            metavar="PERCENT",
            help="Least chance that counts as passing, as '95 %'; that of the project unless given.",
        ),
    ] = None,
    samples: Samples = None,
    seed: Seed = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Does the changed package still pass, with what margin or chance, and how light could it be."""
    drawn = dict(confidence=_read("--confidence", read_confidence, confidence), samples=samples, seed=seed)
    _run("run_check", debug, project=project, against=against, json=json, **drawn)


@app.command(short_help="Which offer is the better buy at equal shelf life.", epilog=_EXIT)
def compare(
    project: Project,
    offers: Annotated[str, typer.Option("--offers", metavar="FILE", help="Sheet of offers: CSV or .xlsx.")],
    volume: Annotated[
        str | None,
        typer.Option("--volume", metavar="NUMBER", help="Packages per year, for the cost per year."),
    ] = None,
    rate: Annotated[
        list[str] | None,
        typer.Option("--rate", metavar="RATE", help="Exchange rate, as 'USD=0.92 EUR'; may be repeated."),
    ] = None,
    time_limit: Annotated[
        str | None,
        typer.Option("--time-limit", metavar="TIME", help="Time for all offers together: '30 s', '2 min'."),
    ] = None,
    gap: Annotated[
        str | None,
        typer.Option("--gap", metavar="PERCENT", help="Proved closeness to the best of each, as '0.1 %'."),
    ] = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Which offer is the better buy at equal shelf life, at what price each would tie, how sure that is."""
    limits = dict(
        volume=_read("--volume", read_volume, volume),
        time_limit=_read("--time-limit", read_seconds, time_limit),
        gap=_read("--gap", read_share, gap),
    )
    _run("run_compare", debug, project=project, offers=offers, rates=rate or [], json=json, **limits)


@app.command(
    short_help="What each month of shelf life costs, and where the layers change.", epilog=_EXIT_DESIGN
)
def tradeoff(
    project: Project,
    points: Annotated[
        int | None, typer.Option("--points", metavar="N", help="How many shelf lives; 20 unless given.")
    ] = None,
    start: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="TIME", help="Shortest shelf life; a third of the target unless given."
        ),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option(
            "--to", metavar="TIME", help="Longest shelf life, as '18 months'; twice the target unless given."
        ),
    ] = None,
    minimise: Annotated[
        str | None,
        typer.Option(
            "--minimise", metavar="WHAT", help="cost, mass or thickness; as in the project unless given."
        ),
    ] = None,
    time_limit: Annotated[
        str | None,
        typer.Option("--time-limit", metavar="TIME", help="Time for all points together: '30 s', '2 min'."),
    ] = None,
    gap: Annotated[
        str | None,
        typer.Option("--gap", metavar="PERCENT", help="Proved closeness to the best of each, as '0.1 %'."),
    ] = None,
    csv: Annotated[
        str | None,
        typer.Option(
            "--csv", metavar="FILE", help="Write the points as CSV; - for standard output, without text."
        ),
    ] = None,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Least cost, mass or thickness for every shelf life, each point proved, and where the layers change."""
    seconds = _read("--time-limit", read_seconds, time_limit)
    limits = dict(time_limit=seconds, gap=_read("--gap", read_share, gap))
    span = dict(points=points, start=start, end=end, minimise=minimise)
    _run("run_tradeoff", debug, project=project, csv=csv, json=json, **span, **limits)


@app.command(short_help="What is found in a mesh of the package, with a picture.", epilog=_EXIT)
def geometry(
    file: Annotated[
        str, typer.Argument(metavar="FILE", help="Mesh of the package: STL, OBJ, PLY, OFF, GLB or 3MF.")
    ],
    unit: Annotated[
        str | None,
        typer.Option("--unit", metavar="UNIT", help="Length of one unit of the file, as mm; never guessed."),
    ] = None,
    inner: Annotated[
        str | None,
        typer.Option(
            "--inner", metavar="FILE", help="Mesh of the inner face of the wall, in the same coordinates."
        ),
    ] = None,
    shows: Annotated[
        str | None,
        typer.Option(
            "--shows",
            metavar="WORDS",
            help="'one face' or 'both faces' of the wall; found from the mesh unless given.",
        ),
    ] = None,
    up: Annotated[
        str | None,
        typer.Option("--up", metavar="AXIS", help="x, y, z, -x, -y or -z; from the openings unless given."),
    ] = None,
    picture: Annotated[
        str | None,
        typer.Option(
            "--picture", metavar="FILE", help="Where the picture goes (SVG); NAME-geometry.svg unless given."
        ),
    ] = None,
    no_picture: Annotated[bool, typer.Option("--no-picture", help="Write no picture.")] = False,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Size, area, volume, openings and wall thickness of a mesh, what was mended, and a picture of it."""
    drawn = dict(picture=picture, no_picture=no_picture)
    _run("run_geometry", debug, file=file, unit=unit, inner=inner, shows=shows, up=up, json=json, **drawn)


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

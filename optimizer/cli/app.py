"""The commands, their options and their help. Imports only typer and the standard library at the top.

The bodies live in ``run_<command>.py``, imported when the command runs, so that ``--help`` stays quick.
Exit statuses are those of ``guard``.
"""

from __future__ import annotations

from typing import Annotated

import typer

from optimizer.cli.common_options import (
    Debug,
    Excel,
    HtmlReport,
    Json,
    Project,
    Samples,
    Seed,
    ShownUnits,
    Units,
)
from optimizer.cli.further import EXIT_EXPLAIN, explain, schema, template
from optimizer.cli.materials_app import materials
from optimizer.cli.options import read_bytes, read_confidence, read_seconds, read_share, read_volume
from optimizer.cli.outputs import Outputs
from optimizer.cli.portfolio_options import (
    Csv,
    Fresh,
    OneProject,
    Projects,
    Results,
    Scheduler,
    Workers,
    one_project_only,
    wants_portfolio,
)
from optimizer.cli.running import EXIT, read_option, run_body

_EXIT_DESIGN = (
    "Exit status: 0 a structure that passes, proved to the gap or the best within the time or memory given; "
    "1 none; 2 wrong input; 130 interrupted: Ctrl-C ends the search, prints and saves the best so far with "
    "what is proved of it; once more ends at once."
)


app = typer.Typer(
    name="layerwright",
    help="Chooses the layers of a package wall for a shelf life, and predicts how long a package lasts.",
    epilog=EXIT,
    rich_markup_mode=None,
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)
app.add_typer(materials, name="materials")


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


@app.command(short_help="How long the package lasts, and what ends it.", epilog=EXIT)
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
    report: HtmlReport = None,
    excel: Excel = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """How long the package lasts, what ends it, where the gas comes through, and how sure that is."""
    outputs = Outputs(json, report, excel, units)
    folder = dict(results=results, fresh=fresh, workers=workers, scheduler=scheduler, csv=csv)
    drawn = dict(samples=samples, seed=seed)
    if wants_portfolio(project, projects, **folder):
        one_project_only(outputs)
        run_body(
            "run_portfolio",
            debug,
            command="predict",
            projects=projects,
            json=json,
            units=units,
            **folder,
            **drawn,
        )
    else:
        run_body("run_predict", debug, project=project, outputs=outputs, **drawn)


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
    report: HtmlReport = None,
    excel: Excel = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Which layers and how thick, at the least cost, mass or thickness, with a proof of how near the best."""
    outputs = Outputs(json, report, excel, units)
    seconds = read_option("--time-limit", read_seconds, time_limit)
    share = read_option("--gap", read_share, gap)
    memory = read_option("--memory-limit", read_bytes, memory_limit)
    asked = read_option("--confidence", read_confidence, confidence)
    limits = dict(time_limit=seconds, gap=share, memory_limit=memory, confidence=asked)
    folder = dict(results=results, fresh=fresh, workers=workers, scheduler=scheduler, csv=csv)
    if wants_portfolio(project, projects, **folder):
        one_project_only(outputs)
        run_body(
            "run_portfolio",
            debug,
            command="design",
            projects=projects,
            json=json,
            units=units,
            **folder,
            **limits,
        )
    else:
        run_body("run_design", debug, project=project, outputs=outputs, **limits)


@app.command(short_help="Does a changed package still pass, and by how much.", epilog=EXIT)
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
    report: HtmlReport = None,
    excel: Excel = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Does the changed package still pass, with what margin or chance, and how light could it be."""
    outputs = Outputs(json, report, excel, units)
    drawn = dict(
        confidence=read_option("--confidence", read_confidence, confidence), samples=samples, seed=seed
    )
    run_body("run_check", debug, project=project, against=against, outputs=outputs, **drawn)


@app.command(short_help="Which offer is the better buy at equal shelf life.", epilog=EXIT)
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
    report: HtmlReport = None,
    excel: Excel = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Which offer is the better buy at equal shelf life, at what price each would tie, how sure that is."""
    outputs = Outputs(json, report, excel, units)
    limits = dict(
        volume=read_option("--volume", read_volume, volume),
        time_limit=read_option("--time-limit", read_seconds, time_limit),
        gap=read_option("--gap", read_share, gap),
    )
    run_body(
        "run_compare", debug, project=project, offers=offers, rates=rate or [], outputs=outputs, **limits
    )


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
    report: HtmlReport = None,
    excel: Excel = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Least cost, mass or thickness for every shelf life, each point proved, and where the layers change."""
    outputs = Outputs(json, report, excel, units)
    seconds = read_option("--time-limit", read_seconds, time_limit)
    limits = dict(time_limit=seconds, gap=read_option("--gap", read_share, gap))
    span = dict(points=points, start=start, end=end, minimise=minimise)
    run_body("run_tradeoff", debug, project=project, csv=csv, outputs=outputs, **span, **limits)


@app.command(short_help="What is found in a mesh of the package, with a picture.", epilog=EXIT)
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
            "--picture",
            metavar="FILE",
            help="Where the picture goes (SVG); NAME-geometry.svg unless given, none beside --report.",
        ),
    ] = None,
    no_picture: Annotated[bool, typer.Option("--no-picture", help="Write no picture.")] = False,
    report: HtmlReport = None,
    excel: Excel = None,
    units: ShownUnits = Units.si,
    json: Json = None,
    debug: Debug = False,
) -> None:
    """Size, area, volume, openings and wall thickness of a mesh, what was mended, and a picture of it."""
    outputs = Outputs(json, report, excel, units)
    drawn = dict(picture=picture, no_picture=no_picture)
    run_body(
        "run_geometry", debug, file=file, unit=unit, inner=inner, shows=shows, up=up, outputs=outputs, **drawn
    )


app.command(short_help="One case worked by hand, to check with a calculator.", epilog=EXIT_EXPLAIN)(explain)
app.command(short_help="A project file or workbook to start from.", epilog=EXIT)(template)
app.command(short_help="The project file as JSON Schema, for editors.", epilog=EXIT)(schema)

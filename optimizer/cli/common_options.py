"""Options that several commands share; standard library and typer."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer


class Units(StrEnum):
    """The sets of units that answers are shown in."""

    si = "si"
    us = "us"


Project = Annotated[str, typer.Argument(metavar="PROJECT", help="Project file (YAML or .xlsx).")]
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
HtmlReport = Annotated[
    str | None,
    typer.Option(
        "--report", metavar="FILE", help="Write a report to look at and to print: one HTML file, no network."
    ),
]
Excel = Annotated[
    str | None, typer.Option("--excel", metavar="FILE", help="Write every table of the answer as .xlsx.")
]
ShownUnits = Annotated[
    Units,
    typer.Option(
        "--units", help="Units of text and report: metric (si) or United States (us); JSON and .xlsx stay."
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

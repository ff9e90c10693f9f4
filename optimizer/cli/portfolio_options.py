"""Options that turn a command on one project into one over a folder of them; standard library and typer."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from optimizer.cli.outputs import Outputs

OneProject = Annotated[
    str | None,
    typer.Argument(
        metavar="PROJECT", help="Project file (YAML or .xlsx); --projects takes a folder instead."
    ),
]
Projects = Annotated[
    str | None,
    typer.Option(
        "--projects",
        metavar="DIR",
        help="Run on every project, YAML or .xlsx, in this folder and those below it.",
    ),
]
Results = Annotated[
    str | None,
    typer.Option(
        "--results",
        metavar="DIR",
        help="Where the answers for --projects are kept, one JSON file each; the folder 'results' in the "
        "folder of projects unless given.",
    ),
]
Fresh = Annotated[
    bool, typer.Option("--fresh", help="Compute all anew, also what an earlier run with --projects kept.")
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", metavar="N", min=1, help="Processes for --projects; one for each core unless given."
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        "--scheduler", metavar="ADDRESS", help="Use the workers of a running scheduler, as tcp://host:8786."
    ),
]
Csv = Annotated[
    str | None, typer.Option("--csv", metavar="FILE", help="Write the table of --projects as CSV.")
]


def wants_portfolio(project: str | None, projects: str | None, **others: Any) -> bool:
    """Whether a folder is asked for. Raises a usage error for both, neither, or options of a folder alone."""
    if project is not None and projects is not None:
        raise typer.BadParameter("give either PROJECT or --projects, not both", param_hint="PROJECT")
    if project is None and projects is None:
        raise typer.BadParameter("give a project file, or a folder with --projects", param_hint="PROJECT")
    if projects is None:
        for name, value in others.items():
            if value:
                raise typer.BadParameter("this goes with --projects only", param_hint=f"--{name}")
    elif others.get("scheduler") and others.get("workers"):
        raise typer.BadParameter(
            "the scheduler has workers of its own: give one of --scheduler and --workers",
            param_hint="--workers",
        )
    return projects is not None


def one_project_only(outputs: Outputs) -> None:
    """Raises a usage error for outputs that are of a single project."""
    for option, value in (("--report", outputs.report), ("--excel", outputs.excel)):
        if value is not None:
            raise typer.BadParameter("this is for one PROJECT, not for --projects", param_hint=option)

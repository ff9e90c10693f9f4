"""Body of ``layerwright tradeoff``."""

from __future__ import annotations

from pathlib import Path

from optimizer.cli.guard import DONE, FAILED, INTERRUPTED
from optimizer.cli.interrupt import Interrupt
from optimizer.cli.output import STDOUT, check_target, deliver, put, write_atomically
from optimizer.cli.progress import Progress
from optimizer.errors import InputError, Problem, UnitError


def run(
    project: str,
    points: int | None,
    start: str | None,
    end: str | None,
    minimise: str | None,
    time_limit: float | None,
    gap: float | None,
    csv: str | None,
    json: str | None,
) -> int:
    """Find the frontier, print or save it, and say by the status whether any structure was found."""
    check_target(json)
    check_target(csv, option="--csv")
    if csv == json == STDOUT:
        raise InputError(Problem("only one of --csv and --json can go to standard output", field="--csv"))
    import optimizer
    from optimizer.report.record import to_json
    from optimizer.report.tradeoff import tradeoff_csv, tradeoff_page

    span = {"start": _seconds("--from", start), "end": _seconds("--to", end)}
    loaded = optimizer.load_project(project)
    with Interrupt() as interrupt, Progress() as progress:
        result = optimizer.tradeoff(
            loaded,
            points=points,
            minimise=minimise,
            time_limit=time_limit,
            gap=gap,
            stop=interrupt.asked,
            progress=progress,
            **span,
        )
    table, record = tradeoff_csv(result), to_json(result)
    if csv == STDOUT:
        if json is not None:
            write_atomically(Path(json), record)
        put(table)
    else:
        if csv is not None:
            write_atomically(Path(csv), table)
        deliver(tradeoff_page(result), record, json)
    if result.status == "interrupt":
        return INTERRUPTED
    return DONE if result.points else FAILED


def _seconds(option: str, text: str | None) -> float | None:
    """'3 months' in seconds."""
    if text is None:
        return None
    from optimizer.units import read

    try:
        return read(text, "duration").value
    except UnitError as error:
        raise InputError(Problem(error.message, field=option, hint=error.hint)) from None

"""Body of ``layerwright tradeoff``."""

from __future__ import annotations

from pathlib import Path

from optimizer.cli.answered import answer
from optimizer.cli.guard import DONE, FAILED, INTERRUPTED
from optimizer.cli.interrupt import Interrupt
from optimizer.cli.output import put
from optimizer.cli.outputs import STDOUT, Outputs
from optimizer.cli.progress import Progress
from optimizer.errors import InputError, Problem, UnitError
from optimizer.files import write_atomically


def run(
    project: str,
    points: int | None,
    start: str | None,
    end: str | None,
    minimise: str | None,
    time_limit: float | None,
    gap: float | None,
    csv: str | None,
    outputs: Outputs,
) -> int:
    """Find the frontier, print or save it, and say by the status whether any structure was found."""
    outputs.check(project, others=(("--csv", csv),))
    import optimizer
    from optimizer.report.answers import Behind
    from optimizer.report.tradeoff import tradeoff_csv

    span = {"start": _seconds("--from", start), "end": _seconds("--to", end)}
    loaded = optimizer.load_project(project)
    outputs.check(*loaded.files, others=(("--csv", csv),))
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
    if csv not in (None, STDOUT):
        write_atomically(Path(str(csv)), tradeoff_csv(result))
    answer(result, outputs, Behind(loaded), text=csv != STDOUT)
    if csv == STDOUT:
        put(tradeoff_csv(result))
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

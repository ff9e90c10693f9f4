"""Body of ``layerwright design``."""

from __future__ import annotations

from optimizer.cli.answered import answer
from optimizer.cli.guard import DONE, FAILED, INTERRUPTED
from optimizer.cli.interrupt import Interrupt
from optimizer.cli.outputs import Outputs
from optimizer.cli.progress import Progress


def run(
    project: str,
    time_limit: float | None,
    gap: float | None,
    memory_limit: float | None,
    confidence: float | None,
    outputs: Outputs,
) -> int:
    """Design, print, and say by the status whether a structure that passes was found, or that the search
    was interrupted before its proof."""
    outputs.check(project)
    import optimizer
    from optimizer.report.answers import Behind

    loaded = optimizer.load_project(project)
    outputs.check(*loaded.files)
    with Interrupt() as interrupt, Progress() as progress:
        result = optimizer.solve_design(
            loaded,
            time_limit=time_limit,
            gap=gap,
            memory_limit=memory_limit,
            confidence=confidence,
            stop=interrupt.asked,
            progress=progress,
        )
    answer(result, outputs, Behind(loaded))
    if result.stopped_by == "interrupt":
        return INTERRUPTED
    found = result.predicted is not None and result.predicted.passes
    return DONE if found and result.status != "infeasible" else FAILED

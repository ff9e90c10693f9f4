"""Body of ``layerwright design``."""

from __future__ import annotations

from optimizer.cli.guard import DONE, FAILED, INTERRUPTED
from optimizer.cli.interrupt import Interrupt
from optimizer.cli.output import check_target, deliver
from optimizer.cli.progress import Progress


def run(
    project: str,
    time_limit: float | None,
    gap: float | None,
    memory_limit: float | None,
    confidence: float | None,
    json: str | None,
) -> int:
    """Design, print, and say by the status whether a structure that passes was found, or that the search
    was interrupted before its proof."""
    check_target(json)
    import optimizer
    from optimizer.report.design import design_page
    from optimizer.report.record import to_json

    loaded = optimizer.load_project(project)
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
    deliver(design_page(result), to_json(result), json)
    if result.stopped_by == "interrupt":
        return INTERRUPTED
    found = result.predicted is not None and result.predicted.passes
    return DONE if found and result.status != "infeasible" else FAILED

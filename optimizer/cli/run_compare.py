"""Body of ``layerwright compare``."""

from __future__ import annotations

from optimizer.cli.answered import answer
from optimizer.cli.guard import DONE, FAILED
from optimizer.cli.outputs import Outputs
from optimizer.cli.progress import Progress


def run(
    project: str,
    offers: str,
    volume: float | None,
    rates: list[str],
    time_limit: float | None,
    gap: float | None,
    outputs: Outputs,
) -> int:
    """Compare, print, and say by the status whether any offer meets the target."""
    outputs.check(project, offers)
    import optimizer
    from optimizer.report.answers import Behind

    loaded = optimizer.load_project(project)
    outputs.check(*loaded.files)
    with Progress() as progress:
        result = optimizer.compare(
            loaded, offers, volume=volume, rates=rates, time_limit=time_limit, gap=gap, progress=progress
        )
    answer(result, outputs, Behind(loaded))
    return DONE if result.feasible else FAILED

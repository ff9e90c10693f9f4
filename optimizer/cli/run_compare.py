"""Body of ``layerwright compare``."""

from __future__ import annotations

from optimizer.cli.guard import DONE, FAILED
from optimizer.cli.output import check_target, deliver
from optimizer.cli.progress import Progress


def run(
    project: str,
    offers: str,
    volume: float | None,
    rates: list[str],
    time_limit: float | None,
    gap: float | None,
    json: str | None,
) -> int:
    """Compare, print, and say by the status whether any offer meets the target."""
    check_target(json)
    import optimizer
    from optimizer.report.compare import compare_page
    from optimizer.report.record import to_json

    loaded = optimizer.load_project(project)
    with Progress() as progress:
        result = optimizer.compare(
            loaded, offers, volume=volume, rates=rates, time_limit=time_limit, gap=gap, progress=progress
        )
    deliver(compare_page(result), to_json(result), json)
    return DONE if result.feasible else FAILED

"""Body of ``layerwright predict``."""

from __future__ import annotations

from optimizer.cli.guard import DONE, FAILED
from optimizer.cli.output import check_target, deliver
from optimizer.cli.progress import Progress


def run(project: str, samples: int | None, seed: int | None, json: str | None) -> int:
    """Predict, print, and say by the status whether the package passes."""
    check_target(json)
    import optimizer
    from optimizer.report.predict import predict_page
    from optimizer.report.record import to_json

    with Progress() as progress:
        result = optimizer.predict(project, samples=samples, seed=seed, progress=progress)
    deliver(predict_page(result), to_json(result), json)
    return DONE if result.passes else FAILED

"""Body of ``layerwright predict``."""

from __future__ import annotations

from optimizer.cli.guard import DONE, FAILED
from optimizer.cli.output import check_target, deliver


def run(project: str, json: str | None) -> int:
    """Predict, print, and say by the status whether the package passes."""
    check_target(json)
    import optimizer
    from optimizer.report.predict import predict_page
    from optimizer.report.record import to_json

    result = optimizer.predict(project)
    deliver(predict_page(result), to_json(result), json)
    return DONE if result.passes else FAILED

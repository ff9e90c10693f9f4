"""Body of ``layerwright predict``."""

from __future__ import annotations

from optimizer.cli.answered import answer
from optimizer.cli.guard import DONE, FAILED
from optimizer.cli.outputs import Outputs
from optimizer.cli.progress import Progress


def run(project: str, samples: int | None, seed: int | None, outputs: Outputs) -> int:
    """Predict, print, and say by the status whether the package passes."""
    outputs.check(project)
    import optimizer
    from optimizer.report.answers import Behind

    loaded = optimizer.load_project(project)
    outputs.check(*loaded.files)
    with Progress() as progress:
        result = optimizer.predict(loaded, samples=samples, seed=seed, progress=progress)
    answer(result, outputs, Behind(loaded))
    return DONE if result.passes else FAILED

"""Body of ``layerwright explain``."""

from __future__ import annotations

from optimizer.cli.answered import answer
from optimizer.cli.guard import DONE, FAILED
from optimizer.cli.outputs import Outputs


def run(project: str, limit: str | None, outputs: Outputs) -> int:
    """Work the case by hand, print, and say by the status whether it agrees with the program."""
    outputs.check(project)
    import optimizer

    loaded = optimizer.load_project(project)
    outputs.check(*loaded.files)
    result = optimizer.explain(loaded, limit=limit)
    answer(result, outputs)
    return DONE if result.agrees else FAILED

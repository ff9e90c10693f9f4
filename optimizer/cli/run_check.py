"""Body of ``layerwright check``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.cli.answered import answer
from optimizer.cli.guard import DONE, FAILED
from optimizer.cli.outputs import Outputs
from optimizer.cli.progress import Progress
from optimizer.errors import InputError, Problem

if TYPE_CHECKING:
    from optimizer.project import Project


def run(
    project: str,
    against: str,
    confidence: float | None,
    samples: int | None,
    seed: int | None,
    outputs: Outputs,
) -> int:
    """Compare, print, and say by the status whether the changed package passes."""
    outputs.check(project, against)
    import optimizer
    from optimizer.report.answers import Behind

    changed, baseline = _load_both(project, against)
    outputs.check(*changed.files, *baseline.files)
    with Progress() as progress:
        result = optimizer.check(
            changed, baseline, confidence=confidence, samples=samples, seed=seed, progress=progress
        )
    answer(result, outputs, Behind(changed, baseline))
    return DONE if result.passes else FAILED


def _load_both(project: str, against: str) -> tuple[Project, Project]:
    """Both projects, or one error with the problems of both."""
    import optimizer

    loaded: list[Project] = []
    problems: list[Problem] = []
    for path in (project, against):
        try:
            loaded.append(optimizer.load_project(path))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
    return loaded[0], loaded[1]

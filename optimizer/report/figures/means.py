"""What a profile through a wall does not show: conditions that change within a stage."""

from __future__ import annotations

from optimizer.project import Project
from optimizer.report.wording import listed
from optimizer.results import PredictResult
from optimizer.shelflife.breakdown import named_stages

#: Stages that are named; of more only their number is told.
_NAMED = 4


def means_note(project: Project, result: PredictResult) -> str:
    """Which stages are drawn at a mean, for below the profiles; '' where conditions are constant."""
    if result.outer_pack is not None:
        return "In an outer pack the gas around the package changes: each stage is drawn at the mean over it."
    changing = [stage.name for stage in named_stages(project.case.storage) if len(stage.weight) > 1]
    if not changing:
        return ""
    named = listed(changing) if len(changing) <= _NAMED else f"{len(changing)} stages"
    return f"The conditions of {named} change with time: drawn is the mean over it, which no one moment has."

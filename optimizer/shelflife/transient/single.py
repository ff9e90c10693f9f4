"""One sample by the compiled march: worth its start where there are many segments, as with hourly weather."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import lay_out
from optimizer.shelflife.simulate import Trajectory
from optimizer.shelflife.transient.compiled import can_compile, compiled_march
from optimizer.shelflife.transient.plan import plan_of
from optimizer.shelflife.transient.run import DEGREE, MANY_SEGMENTS, TOLERANCE_OF_MANY, closing_values


def has_many_segments(case: Case, until: float | None) -> bool:
    """Whether conditions change so often that the compiled march is worth its start."""
    end = case.horizon if until is None else until
    elapsed, count = 0.0, 0
    for stage in case.storage:
        elapsed, count = elapsed + stage.duration, count + 1
        if elapsed >= end:
            break
    return end * count / elapsed >= MANY_SEGMENTS


def can_be_compiled(case: Case) -> bool:
    return can_compile(plan_of(case))


def by_compiled_march(
    case: Case,
    until: float | None,
    extremes_until: float | None,
    sample_times: ArrayLike | None,
    say: Callable[[str], None] | None = None,
) -> Trajectory:
    plan = plan_of(case, degree=DEGREE)
    segments = lay_out(case.storage, case.horizon)
    end = float(segments.end[-1]) if until is None else until
    target = end if extremes_until is None else min(extremes_until, end)
    times = np.zeros(0) if sample_times is None else np.asarray(sample_times, dtype=float)
    tolerance = TOLERANCE_OF_MANY
    answer = compiled_march(plan, segments, end=end, target=target, times=times, rtol=tolerance, say=say)
    contents, rows = plan.contents, answer.record
    gases = contents.gases
    g = len(gases)
    columns: dict[str, Any] = {
        "pressures": {gas: rows[:, :, 2 + g + k] for k, gas in enumerate(gases)},
        "amounts": {gas: rows[:, :, 2 + k] for k, gas in enumerate(gases)},
    }
    moving = contents.product.moisture is not None
    return Trajectory(
        crossing=answer.crossing,
        recovered=answer.recovered.astype(bool),
        closing=np.array([closing_values(plan, segments)]),
        extreme=answer.extreme,
        times=times,
        quantities=np.moveaxis(rows[:, :, 3 + 2 * g :], 1, 2),
        activity=rows[:, :, 1],
        water=rows[:, :, 0] - (contents.water if moving else 0.0),
        used=rows[:, :, 2 + 2 * g],
        volume=np.full(rows.shape[:2], contents.product.headspace.volume),
        steps=int(answer.steps[0]),
        **columns,
    )

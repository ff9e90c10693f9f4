"""One sample by the compiled march: worth its start where there are many segments, as with hourly weather."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import lay_out
from optimizer.shelflife.simulate import Trajectory
from optimizer.shelflife.transient.compiled import can_compile, compiled_march
from optimizer.shelflife.transient.plan import plan_of
from optimizer.shelflife.transient.run import DEGREE

#: Segments from which the compiled march is used; numpy needs a millisecond or two for each step.
MANY_SEGMENTS = 400
#: Error allowed per step there: most segments are one step, and what one leaves the next ones damp. With
#: hourly weather over two years the answer is then good to 1e-6.
TOLERANCE = 1e-2


def worth_compiling(case: Case, until: float | None) -> bool:
    end = case.horizon if until is None else until
    elapsed, count = 0.0, 0
    for stage in case.storage:
        elapsed, count = elapsed + stage.duration, count + 1
        if elapsed >= end:
            break
    mean = elapsed / count
    return end / mean >= MANY_SEGMENTS and can_compile(plan_of(case))


def by_compiled_march(
    case: Case, until: float | None, extremes_until: float | None, sample_times: ArrayLike | None
) -> Trajectory:
    plan = plan_of(case, degree=DEGREE)
    segments = lay_out(case.storage, case.horizon)
    end = float(segments.end[-1]) if until is None else until
    target = end if extremes_until is None else min(extremes_until, end)
    times = np.zeros(0) if sample_times is None else np.asarray(sample_times, dtype=float)
    answer = compiled_march(plan, segments, end=end, target=target, times=times, rtol=TOLERANCE)
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
        closing=answer.closing,
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

"""Outcomes of a batch of varied cases with walls in transient."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import Segments, lay_out
from optimizer.shelflife.transient.batch import Batch
from optimizer.shelflife.transient.compiled import can_compile, compiled_march
from optimizer.shelflife.transient.plan import Plan, plan_of
from optimizer.shelflife.variation import Outcomes, Variation

Array = NDArray[np.float64]

#: Degree of the elements and error allowed per step: crossings to a few parts in 1e5, 5e-4 at worst.
DEGREE, TOLERANCE = 2, 0.1
#: With hourly weather: one step of order 2 for each segment, on coarser elements (crossings to 1e-5).
HOURLY_DEGREE, HOURLY_METHOD = 1, 1
MANY_SEGMENTS = 400
#: Samples worked on together; the answer of the compiled march does not depend on it, that of the one in
#: numpy a little, so that it is the same for any number of threads.
TOGETHER, TOGETHER_HOURLY = 512, 32


def transient_samples(
    case: Case,
    variation: Variation,
    *,
    engine: str = "auto",
    say: Callable[[str], None] | None = None,
    progress: Callable[[int], None] | None = None,
) -> Outcomes:
    """engine: "numpy", "compiled" or "auto": compiled where it can be. say: told before a compilation.
    progress: told the number of samples done. Raises MaterialError where a law is missing, SolverError where
    a sample fails."""
    segments = lay_out(case.storage, case.horizon, [t for t, _ in case.product.headspace.creep])
    many = len(segments) >= MANY_SEGMENTS
    together = TOGETHER_HOURLY if many and variation.temperature is not None else TOGETHER
    target = case.horizon if case.target is None else min(case.target, case.horizon)
    rows: list[tuple[Array, Array]] = []
    for start in range(0, variation.size, together):
        part = variation.take(slice(start, start + together))
        plan = plan_of(case, part, degree=HOURLY_DEGREE if many else DEGREE)
        rows.append(_block(plan, segments, case.horizon, target, many, engine, say))
        if progress is not None:
            progress(min(start + together, variation.size))
    crossing = np.concatenate([c for c, _ in rows])
    extreme = np.concatenate([e for _, e in rows])
    crossing[crossing > case.horizon] = np.inf
    return Outcomes(crossing, extreme, _excess(case, variation, extreme))


def _block(
    plan: Plan,
    segments: Segments,
    end: float,
    target: float,
    many: bool,
    engine: str,
    say: Callable[[str], None] | None,
) -> tuple[Array, Array]:
    if engine != "numpy" and can_compile(plan):
        answer = compiled_march(
            plan,
            segments,
            end=end,
            target=target,
            rtol=TOLERANCE,
            steps=1 if many else 0,
            method=HOURLY_METHOD if many else 0,
            say=say,
        )
        return answer.crossing, answer.extreme
    batch = Batch(plan, segments, end=end, target=target, rtol=TOLERANCE)
    batch.run()
    return batch.crossing, batch.extreme


def _excess(case: Case, variation: Variation, extreme: Array) -> Array:
    """By how much the worst quantity lies beyond the sample's own limit, as a share of that limit."""
    from optimizer.shelflife.limits import sign_of

    columns = []
    for k, limit in enumerate(case.product.limits):
        own = limit.value * variation.limit.get(limit.name, np.ones(variation.size))
        columns.append(sign_of(limit.name) * (extreme[:, k] - own) / np.abs(own))
    return np.stack(columns, axis=1) if columns else np.zeros((variation.size, 0))

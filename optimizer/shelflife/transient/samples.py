"""Outcomes of a batch of varied cases with walls in transient."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import Segments, lay_out
from optimizer.shelflife.transient.batch import Batch
from optimizer.shelflife.transient.compiled import CannotCompile, can_compile, compiled_march
from optimizer.shelflife.transient.plan import plan_of
from optimizer.shelflife.transient.run import MANY_SEGMENTS
from optimizer.shelflife.variation import Outcomes, Variation

Array = NDArray[np.float64]

#: Degree of the elements and error allowed per step: crossings to 1e-5, 2e-4 at worst (more where a quantity
#: only just reaches its limit).
DEGREE, TOLERANCE, TOLERANCE_IN_NUMPY = 3, 3e-3, 1e-2
#: With hourly weather: one step of order 2 for each segment (crossings to 2e-5, 1e-4 at worst).
HOURLY_DEGREE, HOURLY_METHOD = 2, 1
#: Segments that are longer take as many steps as the error asks for [s].
BRIEF = 6 * 3600.0
#: Samples that the march in numpy works on together: their common steps depend on it a little, so that it is
#: the same for any number of threads. Fewer of them with hourly weather, whose tables are long.
TOGETHER, TOGETHER_HOURLY = 512, 32
#: Stages shorter than this share of what is given repeat as if they had it.
_LEAST_STRETCH = 0.2


def transient_samples(
    case: Case,
    variation: Variation,
    *,
    engine: str = "auto",
    say: Callable[[str], None] | None = None,
    progress: Callable[[int], None] | None = None,
    threads: int | None = None,
) -> Outcomes:
    """engine: "numpy", "compiled" or "auto": compiled where it can be. say: told before a wait for the
    compiler. progress: told the number of samples done. threads: of the compiled march, by default as many as
    there are processors; the outcomes are the same for any number. Raises MaterialError where a law is
    missing, SolverError where a sample fails."""
    # as far as the sample looks whose stages are shortest: the last ones repeat
    shortest = min([1.0, *(float(f.min()) for f in variation.duration.values())])
    reach = case.horizon / max(shortest, _LEAST_STRETCH)
    segments = lay_out(case.storage, reach, [t for t, _ in case.product.headspace.creep])
    many = len(segments) >= MANY_SEGMENTS
    target = case.horizon if case.target is None else min(case.target, case.horizon)
    degree = HOURLY_DEGREE if many else DEGREE
    plan = plan_of(case, variation, degree=degree)
    together = TOGETHER_HOURLY if many and variation.temperature is not None else TOGETHER
    found = None
    if engine != "numpy" and can_compile(plan):
        with suppress(CannotCompile):
            answer = compiled_march(
                plan,
                segments,
                end=case.horizon,
                target=target,
                rtol=TOLERANCE,
                steps=1 if many else 0,
                method=HOURLY_METHOD if many else 0,
                brief=BRIEF,
                say=say,
                progress=progress,
                threads=threads,
            )
            found = answer.crossing, answer.extreme
    if found is None:
        found = _in_numpy(case, variation, segments, target, degree, together, progress)
    crossing, extreme = found
    crossing[crossing > case.horizon] = np.inf
    return Outcomes(crossing, extreme, _excess(case, variation, extreme))


def _in_numpy(
    case: Case,
    variation: Variation,
    segments: Segments,
    target: float,
    degree: int,
    together: int,
    progress: Callable[[int], None] | None,
) -> tuple[Array, Array]:
    """Crossings and extremes, (B, L)."""
    rows: list[tuple[Array, Array]] = []
    for start in range(0, variation.size, together):
        plan = plan_of(case, variation.take(slice(start, start + together)), degree=degree)
        batch = Batch(plan, segments, end=case.horizon, target=target, rtol=TOLERANCE_IN_NUMPY)
        batch.run()
        rows.append((batch.crossing, batch.extreme))
        if progress is not None:
            progress(min(start + together, variation.size))
    return np.concatenate([c for c, _ in rows]), np.concatenate([e for _, e in rows])


def _excess(case: Case, variation: Variation, extreme: Array) -> Array:
    """By how much the worst quantity lies beyond the sample's own limit, as a share of that limit."""
    columns = []
    for k, limit in enumerate(case.product.limits):
        own = limit.value * variation.limit.get(limit.name, np.ones(variation.size))
        columns.append(sign_of(limit.name) * (extreme[:, k] - own) / np.abs(own))
    return np.stack(columns, axis=1) if columns else np.zeros((variation.size, 0))

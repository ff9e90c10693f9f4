"""Many samples of one case with walls in transient: compiled where numba is installed, else in numpy."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.errors import SolverError
from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import Segments, lay_out
from optimizer.shelflife.transient.kernel_input import fits, inputs
from optimizer.shelflife.transient.plan import Plan, plan_of
from optimizer.shelflife.variation import Variation

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Marched:
    """crossing, extreme, closing (B, L); record (B, T, 3 + 2 G): net water, activity, amounts, pressures, oxygen
    used at the times asked for; steps (B,)."""

    crossing: Array
    extreme: Array
    closing: Array
    record: Array
    final: Array
    steps: NDArray[np.int64]


def compiled_available() -> bool:
    return find_spec("numba") is not None


def march_samples(
    case: Case,
    variation: Variation | None,
    *,
    segments: Segments | None = None,
    until: float | None = None,
    target: float | None = None,
    times: ArrayLike = (),
    degree: int = 2,
    rtol: float = 1e-2,
    steps: int = 0,
    say: Callable[[str], None] | None = None,
) -> Marched:
    """steps: of each segment, 0 for as many as the error asks for. Raises SolverError where a sample fails."""
    plan = plan_of(case, variation, degree=degree)
    segments = lay_out(case.storage, case.horizon) if segments is None else segments
    end = float(segments.end[-1]) if until is None else until
    found = _compiled(plan, segments, end, end if target is None else target, times, rtol, steps, say)
    if np.any(found.steps < 0):
        raise SolverError("the integration of the walls got stuck; please report this case")
    return found


def _compiled(
    plan: Plan,
    segments: Segments,
    end: float,
    target: float,
    times: ArrayLike,
    rtol: float,
    steps: int,
    say: Callable[[str], None] | None,
) -> Marched:
    from optimizer.shelflife.transient.kernel import march_all

    if not fits(plan):
        raise ValueError("the compiled march follows rigid packages without creep and sinks only")
    largest, layout, laws, climate, contents, asked = inputs(
        plan, segments, target=target, end=end, times=times, rtol=rtol, steps=steps
    )
    b, limits, rows = plan.samples, len(plan.contents.product.limits), 3 + 2 * len(plan.gases)
    crossing = np.full((b, limits), np.inf)
    extreme, closing = np.full((b, limits), np.nan), np.full((b, limits), np.nan)
    record, final = np.full((b, len(asked.times), rows), np.nan), np.zeros((b, rows))
    taken = np.zeros(b, dtype=np.int64)
    if say is not None and not march_all.signatures:
        say("compiling the fast kernel, once")
    arguments: Any = (largest, layout, laws, climate, contents, asked, crossing, extreme, closing, record, final, taken)
    march_all(*arguments)
    return Marched(crossing, extreme, closing, record, final, taken)

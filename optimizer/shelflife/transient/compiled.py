"""The compiled march behind one door: whether it can be used, and one call."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec

import numpy as np
from numpy.typing import ArrayLike

from optimizer.errors import SolverError
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.transient.kernel_data import Answer, blank_answer
from optimizer.shelflife.transient.kernel_input import fits, inputs
from optimizer.shelflife.transient.plan import Plan

#: What is said before a wait for the compiler.
COMPILING = "compiling the fast march of transient walls; this is done once and takes up to a minute"


def can_compile(plan: Plan) -> bool:
    """Whether numba is installed and the compiled march can follow this package."""
    return fits(plan) and find_spec("numba") is not None


def compiled_march(
    plan: Plan,
    segments: Segments,
    *,
    end: float,
    target: float,
    times: ArrayLike = (),
    rtol: float,
    steps: int = 0,
    method: int = 0,
    say: Callable[[str], None] | None = None,
) -> Answer:
    """All samples of a plan to ``end`` [s]. target [s]: until when extremes count; times [s]: to record;
    rtol: error allowed per step; steps: of each segment, 0 for as many as the error asks for (method 0 only);
    method: 0 of order 4, 1 of order 2, 2 implicit Euler. Raises SolverError."""
    from optimizer.shelflife.transient import kernel

    largest, *rest = inputs(
        plan, segments, target=target, end=end, times=times, rtol=rtol, steps=steps, method=method
    )
    limits = len(plan.contents.product.limits)
    answer = blank_answer(plan.samples, limits, len(np.atleast_1d(np.asarray(times))), len(plan.gases))
    if say is not None and not kernel.is_ready():
        say(COMPILING)
    kernel.march_all(largest, *rest, answer)
    if np.any(answer.steps < 0):
        raise SolverError("the integration of the walls got stuck; please report this case")
    return answer

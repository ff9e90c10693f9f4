"""A batch of varied cases, each simulated to its horizon: when its limits are reached and how far they go.

Walls steady at every moment, or lag-corrected: with w = resistance from the outer face / total, the moles
inside plus integral w c dx over the walls change at the rate of the steady flow, and the gas held in the
walls is that of the steady profile. The second is good where conditions hold for longer than some five lags.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from importlib.util import find_spec
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import SolverError
from optimizer.shelflife import sampled_arrays
from optimizer.shelflife.covered import expanded, expanded_variation
from optimizer.shelflife.package import Case
from optimizer.shelflife.sampled_plan import (
    OTHER,
    Plan,
    isotherm_kind,
    plan_of,
    refuse_scavengers,
    rows_of,
)
from optimizer.shelflife.sampled_step import TOLERANCE
from optimizer.shelflife.variation import Outcomes, Variation

Array = NDArray[np.float64]

#: How the walls of a batch can be simulated; the last by ``transient.samples``.
WALLS = ("steady", "lag-corrected", "transient")
#: Samples from which the compiled way is taken where it can be: below, numpy has done before it is loaded.
MANY = 512
#: Samples worked on together, at most; fewer where there are very many conditions.
_TOGETHER, _NUMBERS = {"compiled": 512, "numpy": 2048}, 200_000


def simulate_samples(
    case: Case,
    variation: Variation,
    *,
    wall: str,
    rtol: float = TOLERANCE,
    engine: str = "auto",
    threads: int | None = None,
    say: Callable[[str], None] | None = None,
    progress: Callable[[int], None] | None = None,
) -> Outcomes:
    """Outcomes of every sample of ``variation``: sample i is ``varied(case, variation, i)``.

    wall: one of ``WALLS``. rtol [-]: local error allowed, relative to the state (transient walls have their
    own). engine: "numpy", "compiled" (needs numba) or "auto", which takes the second for many samples where
    it is installed. threads: default as many as processors; the answer does not depend on it. say: told
    before a compilation that takes a while. progress: told the number of samples done, from time to time.

    Raises ValueError for an unknown ``wall`` or ``engine``, MaterialError where a law is missing, SolverError
    where a layer uses gas up (lag-corrected) or a step vanishes.
    """
    if wall not in WALLS:
        raise ValueError(f"wall must be one of {', '.join(WALLS)}, not {wall!r}")
    if engine not in ("auto", "numpy", "compiled"):
        raise ValueError(f"engine must be auto, numpy or compiled, not {engine!r}")
    variation, case = expanded_variation(case.package, variation), expanded(case)
    if wall == "transient":
        from optimizer.shelflife.transient.samples import transient_samples

        return transient_samples(case, variation, engine=engine, say=say, progress=progress, threads=threads)
    lagged = wall == "lag-corrected"
    if lagged:
        refuse_scavengers(case)
    times, conditions = rows_of(case, variation)
    compiled = _kernel(case, variation.size, engine, say)
    together = _TOGETHER["numpy" if compiled is None else "compiled"]
    blocks = list(_blocks(variation, conditions.shape[1], together))
    shape = (variation.size, len(case.product.limits))
    crossing, extreme = np.empty(shape), np.empty(shape)
    excess = np.empty(shape)
    isotherm = None if case.product.moisture is None else case.product.moisture.isotherm

    def work(block: slice) -> int:
        part = variation.take(block)
        mine = times._replace(stretch=times.stretch[block])
        plan = plan_of(case, part, mine, conditions, lagged=lagged)
        found = sampled_arrays.run(plan, isotherm, rtol) if compiled is None else compiled.run(plan, rtol)
        crossing[block], extreme[block], stuck = found
        excess[block] = _excess(plan, extreme[block])
        return int(stuck)

    stuck = 0
    with ThreadPoolExecutor(threads or _processors()) as pool:
        for block, missed in zip(blocks, pool.map(work, blocks), strict=True):
            stuck += missed
            if progress is not None:
                progress(block.stop)
    if stuck:
        raise SolverError(f"the integration got stuck in {stuck} samples; please report this case")
    return Outcomes(crossing, extreme, excess)


def _excess(plan: Plan, extreme: Array) -> Array:
    inside = plan.inside
    beyond: Array = inside.sign * (extreme - inside.limit) / np.abs(inside.limit)
    return beyond


def _blocks(variation: Variation, conditions: int, together: int) -> Iterator[slice]:
    if variation.temperature is not None or variation.humidity is not None:
        together = max(8, min(together, _NUMBERS // conditions))
    for start in range(0, variation.size, together):
        yield slice(start, min(start + together, variation.size))


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _kernel(case: Case, size: int, engine: str, say: Callable[[str], None] | None) -> ModuleType | None:
    """The compiled way, or None where numpy is to do it."""
    if engine == "numpy" or (engine == "auto" and (size < MANY or find_spec("numba") is None)):
        return None
    moisture = case.product.moisture
    if moisture is not None and isotherm_kind(moisture.isotherm) == OTHER:
        return None
    try:
        from optimizer.shelflife import sampled_march
    except (ImportError, RuntimeError):
        # not installed, or no folder to keep the compiled form in
        if engine == "compiled":
            raise
        return None
    if say is not None and not sampled_march.stored():
        say("compiling the fast kernel, once")
    return sampled_march

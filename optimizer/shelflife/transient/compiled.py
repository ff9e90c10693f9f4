"""The compiled march behind one door: whether it can be used, and one call."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed
from concurrent.futures import TimeoutError as NotYet
from importlib.util import find_spec

import numpy as np
from numpy.typing import ArrayLike

from optimizer.errors import SolverError
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.transient.kernel_data import LANES, Answer, March, blocks_of
from optimizer.shelflife.transient.kernel_input import fits, inputs
from optimizer.shelflife.transient.plan import Plan

#: What is said when the code is not ready within so many seconds.
COMPILING = "making the fast march of transient walls ready: compiled once, which takes up to half a minute"
_PATIENCE = 0.7
#: Segments times blocks of one task of a thread: short, so that an interruption is heeded soon.
_TASK = 20_000


class CannotCompile(Exception):
    """The installed numba does not compile the march; numpy gives the same answers."""


def can_compile(plan: Plan) -> bool:
    """Whether numba is installed and the compiled march can follow this package."""
    return fits(plan) and find_spec("numba") is not None and not _broken


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
    brief: float = math.inf,
    say: Callable[[str], None] | None = None,
    progress: Callable[[int], None] | None = None,
    threads: int | None = None,
) -> Answer:
    """All samples of a plan to ``end`` [s].

    target [s]: until when extremes count; times [s]: to record; rtol: error allowed per step; steps: of each
    segment, 0 for as many as the error asks for (method 0 only); method: 0 of order 4, 1 of order 2, 2
    implicit Euler; brief: only segments as short as this take fixed steps [s], longer ones as the error asks
    for; say: told before a wait; progress: told the number of samples done; threads: as many as there are
    processors by default, the answer does not depend on it. Raises SolverError, and CannotCompile where the
    installed numba fails.
    """
    march = inputs(
        plan,
        segments,
        target=target,
        end=end,
        times=times,
        rtol=rtol,
        steps=steps,
        method=method,
        brief=brief,
    )
    _load(march, say)
    _run(march, len(segments), plan.samples, progress, threads or _processors())
    if np.any(march.steps < 0):
        raise SolverError("the integration of the walls got stuck; please report this case")
    return march.answer(plan.samples)


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _load(march: March, say: Callable[[str], None] | None) -> None:
    """Have the code ready; ``say`` so where that takes long."""
    global _ready, _broken
    if _ready:
        return

    def load() -> None:
        from optimizer.shelflife.transient import kernel

        kernel.load(march, march.room())

    try:
        _wait_for(load, say)
    except Exception as error:  # whatever another version of numba may object to
        _broken = True
        if say is not None:
            say(f"the compiled march is left out, numba failed ({type(error).__name__}); numpy goes on")
        raise CannotCompile from error
    _ready = True


_ready = _broken = False


def _wait_for(load: Callable[[], None], say: Callable[[str], None] | None) -> None:

    if say is None:
        load()
    else:
        with ThreadPoolExecutor(1) as pool:
            loading = pool.submit(load)
            try:
                loading.result(timeout=_PATIENCE)
            except NotYet:
                say(COMPILING)
                loading.result()


def _run(
    march: March, segments: int, samples: int, progress: Callable[[int], None] | None, threads: int
) -> None:
    from optimizer.shelflife.transient.kernel import march_block

    blocks = blocks_of(samples)
    each = max(1, min(_TASK // segments, -(-blocks // (4 * threads))))
    starts = range(0, blocks, each)

    def work(first: int, last: int) -> int:
        room = march.room()
        for n in range(first, last):
            march_block(n, march, room)
        return min(last * LANES, samples) - first * LANES

    if len(starts) == 1:
        work(0, blocks)
        if progress is not None:
            progress(samples)
        return
    pool = ThreadPoolExecutor(threads)
    try:
        tasks = [pool.submit(work, first, min(first + each, blocks)) for first in starts]
        done = 0
        for task in as_completed(tasks):
            done += task.result()
            if progress is not None:
                progress(done)
    finally:
        # an interruption waits for the blocks at work, not for those to come
        pool.shutdown(wait=True, cancel_futures=True)

"""The march of ``march`` and ``segment`` compiled: eight samples in one, block after block.

Rigid packages without creep and without layers that use a gas up. The samples of a block take common steps,
as fractions of their segments, that suit the worst of them: an answer depends on the others of its block,
within the tolerance, but not on the number of threads.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import numba
from numba import njit

from optimizer.shelflife.transient.kernel_data import (
    BRIEF,
    CLOCK,
    CROSSING,
    EARLIER,
    JOINTS,
    KEPT,
    LAYERS,
    LIMITED,
    LIMITS,
    METHOD,
    MOVING,
    SCALARS,
    SEEN,
    SEGMENTS,
    SPECIES,
    SPREAD,
    STATE,
    STEPS,
    TIMES,
    VIEW,
    WET,
    WIDTH_OF_SPREAD,
    Floats,
    March,
)
from optimizer.shelflife.transient.kernel_error import size_of
from optimizer.shelflife.transient.kernel_follow import enter, follow, quantities, write_down
from optimizer.shelflife.transient.kernel_lanes import counts, lanes, numbers, slots
from optimizer.shelflife.transient.kernel_locate import aim, begin_looking, copy, look
from optimizer.shelflife.transient.kernel_parts import OPTIONS, compiled
from optimizer.shelflife.transient.kernel_segment import (
    SPAN,
    STEP,
    TIME,
    begin,
    prepare,
    set_span,
    settle,
    show,
)
from optimizer.shelflife.transient.kernel_stage import (
    GAMMA,
    STAGES,
    accept,
    factor_step,
    gas_stage,
    is_finite,
    start_stage,
    wet_stage,
)


@compiled
def carry(source, first, into, at, count):
    """From one piece of memory to another."""
    for k in range(count):
        into[at + k] = source[first + k]


@compiled
def begin_segment(o, t, w, s):
    prepare(o, t, w, s)
    if s == 0:
        begin(o, t, w)
    if o[MOVING]:
        settle(o, t, w)
    show(o, t, w, 0, lanes(0.0))
    quantities(o, t, w, 0)
    enter(o, t, w, s == 0)
    w[o[CLOCK] + STEP] = 0.0


@compiled
def end_step(o, t, w, share):
    """The state at the end of a step, and what it shows."""
    accept(o, w)
    show(o, t, w, 1, share)
    quantities(o, t, w, 1)


@compiled
def next_step(o, w):
    """The end of a step is the start of the next."""
    for k in range(0, 4, 2):
        copy(w, o[VIEW] + (k + 1) * o[SEEN], o[VIEW] + k * o[SEEN], o[SEEN])
        copy(w, o[LIMITED] + (k + 1) * o[LIMITS], o[LIMITED] + k * o[LIMITS], o[LIMITS])


@compiled
def next_width(width, left, fixed):
    if width >= 0.999 * left:
        return left
    return 0.5 * left if width > 0.5 * left and not fixed else width


def _entry(stamp):
    # One long function, as every function is compiled again into each that calls it. ``stamp`` is in the key
    # of the code kept on disk, which covers what a closure holds: with the stamp of all sources in it, code
    # of another version is never run.
    def march_block(n, march, room):
        """Block n; steps taken into ``march.steps``, -1 where it got stuck."""
        o, t, w, record = counts(march.o), numbers(march.t), slots(room), slots(march.record)
        carry(slots(march.spread), n * o[WIDTH_OF_SPREAD], w, o[SPREAD], o[WIDTH_OF_SPREAD])
        first, at, steps, opening = n * o[TIMES] * (o[SEEN] + o[LIMITS]), 0, 0, 0.0
        w[o[CLOCK] + TIME] = 0.0
        march.steps[n] = -1 if stamp else -2
        for s in range(o[SEGMENTS]):
            longest = set_span(o, t, w, s)
            if not longest > 0.0:
                break
            begin_segment(o, t, w, s)
            at = write_down(o, t, w, record, first, at, True)
            opening = 0.01 * longest if s == 0 else opening
            fixed = o[STEPS] if longest <= t[o[SCALARS] + BRIEF] else 0
            method = o[METHOD] if fixed else 0
            width = 1.0 / fixed if fixed else min(1.0, opening / longest)
            done, fresh, rejected, looking, rounds = 0.0, True, False, -1, 1
            while done < 1.0 - 1e-13 or looking >= 0:
                if looking >= 0:
                    aim(o, t, w, looking)
                else:
                    width = next_width(width, 1.0 - done, fixed > 0)
                    w[o[CLOCK] + STEP] = width * w[o[CLOCK] + SPAN]
                    copy(w, o[JOINTS], o[KEPT], o[LAYERS] + 1)
                share = GAMMA[method] * w[o[CLOCK] + STEP]
                factor_step(o, t, w, share)
                for i in range(5 - STAGES[method], 5):
                    start_stage(o, w, i, method)
                    if o[WET]:
                        wet_stage(o, t, w, i, share)
                    for k in range(1, o[SPECIES]):
                        gas_stage(o, t, w, i, k, share)
                size = 0.0 if fixed or looking >= 0 else size_of(o, t, w)
                if not size <= 1.0:
                    copy(w, o[KEPT], o[JOINTS], o[LAYERS] + 1)
                    width *= max(0.1, 0.9 * size**-0.25) if size < 1e300 else 0.1
                    rejected = True
                    if not width * longest > 1e-9:
                        return
                    continue
                if looking < 0:
                    copy(w, 0, o[EARLIER], o[STATE])
                end_step(o, t, w, share)
                if looking >= 0:
                    looking, rounds = look(o, t, w, looking, rounds)
                else:
                    anything = follow(o, t, w, fresh, fixed > 0)
                    at = write_down(o, t, w, record, first, at, fresh)
                    next_step(o, w)
                    looking = begin_looking(o, w) if anything and not fixed else -1
                    done, steps = done + width, steps + 1
                    growth = min(5.0, 0.9 * size**-0.25) if size > 1e-4 else 5.0
                    if fresh:
                        opening = width * longest * min(growth, 3.0)
                    if not fixed:
                        width *= min(1.0, growth) if rejected else growth
                    fresh, rejected = False, False
                if looking < 0:
                    w[o[CLOCK] + TIME] += w[o[CLOCK] + STEP]
        carry(w, o[CROSSING], slots(march.found), n * 4 * o[LIMITS], 4 * o[LIMITS])
        if is_finite(o, w):
            march.steps[n] = steps

    try:
        return njit(cache=True, nogil=True, **OPTIONS)(march_block)
    except RuntimeError:
        # there is no folder to write to
        return njit(nogil=True, **OPTIONS)(march_block)


def _stamp():
    """Of the sources of all compiled code, and of the compiler."""
    found = hashlib.sha256(numba.__version__.encode())
    folder = Path(__file__).parent
    for path in sorted([*folder.glob("kernel*.py"), folder / "sdirk.py"]):
        found.update(path.read_bytes())
    return found.hexdigest()


march_block = _entry(_stamp())


def load(march: March, room: Floats) -> None:
    """Have the code ready, from disk or compiled now."""
    march_block.compile(tuple(numba.typeof(x) for x in (0, march, room)))

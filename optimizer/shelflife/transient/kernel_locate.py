"""Places within a step of the compiled march: the step is taken again, up to them."""

from __future__ import annotations

from optimizer.shelflife.transient.kernel_data import (
    CLOCK,
    CROSSING,
    EARLIER,
    EXTREME,
    FOUND,
    JOINTS,
    KEPT,
    LANES,
    LATER,
    LAYERS,
    LIMITED,
    LIMITS,
    SCALARS,
    SIGNS,
    STATE,
    TARGET,
    VALUES,
)
from optimizer.shelflife.transient.kernel_lanes import get_lane, put_lane
from optimizer.shelflife.transient.kernel_parts import compiled
from optimizer.shelflife.transient.kernel_segment import STEP, TIME, WHOLE_STEP

#: A crossing is looked for until it moves by less than this share of the step (it is then off by about its
#: square), and no more than so many times.
_CLOSE, _ROUNDS = 1e-3, 4


@compiled
def copy(w, first, at, count):
    for k in range(count):
        w[at + k] = w[first + k]


@compiled
def move_crossing(o, t, w, j):
    """By Newton's method; returns the greatest move as a share of the step."""
    most, sign = 0.0, t[o[SIGNS] + j]
    for b in range(LANES):
        if get_lane(w, o[FOUND] + j, b) > 0.0:
            time, width = get_lane(w, o[CLOCK] + TIME, b), get_lane(w, o[CLOCK] + WHOLE_STEP, b)
            over = sign * (get_lane(w, o[LIMITED] + o[LIMITS] + j, b) - get_lane(w, o[VALUES] + j, b))
            rate = sign * get_lane(w, o[LIMITED] + 3 * o[LIMITS] + j, b)
            crossing = get_lane(w, o[CROSSING] + j, b)
            if rate > 0.0:
                moved = min(max(crossing - over / rate, time), time + width)
                put_lane(w, o[CROSSING] + j, b, moved)
                most = max(most, abs(moved - crossing) / width)
    return most


@compiled
def extend(o, t, w):
    """Extremes up to the target."""
    for j in range(o[LIMITS]):
        for b in range(LANES):
            if get_lane(w, o[FOUND] + o[LIMITS], b) > 0.0:
                q, extreme = get_lane(w, o[LIMITED] + o[LIMITS] + j, b), get_lane(w, o[EXTREME] + j, b)
                if t[o[SIGNS] + j] * (q - extreme) > 0.0:
                    put_lane(w, o[EXTREME] + j, b, q)


@compiled
def next_found(o, w, j):
    """The first of what is looked for from j on (limits, then the target) that lies in the step, -1 for
    none."""
    for k in range(j, o[LIMITS] + 1):
        for b in range(LANES):
            if get_lane(w, o[FOUND] + k, b) > 0.0:
                return k
    return -1


@compiled
def begin_looking(o, w):
    """Keep the end of the step; what to look for first, -1 for nothing."""
    j = next_found(o, w, 0)
    if j >= 0:
        copy(w, 0, o[LATER], o[STATE])
        copy(w, o[JOINTS], o[LATER] + o[STATE], o[LAYERS] + 1)
        w[o[CLOCK] + WHOLE_STEP] = w[o[CLOCK] + STEP]
    return j


@compiled
def aim(o, t, w, j):
    """Back to the start of the step, and a width up to what is looked for, of the samples that have it."""
    copy(w, o[EARLIER], 0, o[STATE])
    copy(w, o[KEPT], o[JOINTS], o[LAYERS] + 1)
    w[o[CLOCK] + STEP] = w[o[CLOCK] + WHOLE_STEP]
    for b in range(LANES):
        if get_lane(w, o[FOUND] + j, b) > 0.0:
            there = t[o[SCALARS] + TARGET] if j == o[LIMITS] else get_lane(w, o[CROSSING] + j, b)
            put_lane(w, o[CLOCK] + STEP, b, there - get_lane(w, o[CLOCK] + TIME, b))


@compiled
def look(o, t, w, j, rounds):
    """What the step up to j shows (quantities there are in LIMITED, of its end). Returns what to look for
    next, -1 when all is found and the end of the whole step is back in its place, and the rounds it has
    had."""
    again = False
    if j == o[LIMITS]:
        extend(o, t, w)
    else:
        again = move_crossing(o, t, w, j) >= _CLOSE and rounds < _ROUNDS
    if again:
        return j, rounds + 1
    j = next_found(o, w, j + 1)
    if j < 0:
        copy(w, o[LATER], 0, o[STATE])
        copy(w, o[LATER] + o[STATE], o[JOINTS], o[LAYERS] + 1)
        w[o[CLOCK] + STEP] = w[o[CLOCK] + WHOLE_STEP]
    return j, 1

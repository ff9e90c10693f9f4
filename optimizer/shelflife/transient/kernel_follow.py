"""Limits along the compiled march: crossings, extremes, and what is recorded at given times."""

from __future__ import annotations

import numpy as np

from optimizer.shelflife.transient.kernel_data import (
    CLOCK,
    CLOSING,
    CROSSING,
    EXTREME,
    FOUND,
    GASES,
    KINDS,
    LANES,
    LIMITED,
    LIMITS,
    NOW,
    RECOVERED,
    SCALARS,
    SCALES,
    SEEN,
    SIGNS,
    SPECIES,
    STARTS,
    TARGET,
    TIMES,
    VALUES,
    VIEW,
    WHEN,
    WHOLE,
)
from optimizer.shelflife.transient.kernel_lanes import get_lane, lanes, put_lane
from optimizer.shelflife.transient.kernel_parts import compiled, hermite, hermite_root, hermite_top
from optimizer.shelflife.transient.kernel_segment import SPAN, STEP, TIME


@compiled
def quantities(o, t, w, end):
    """Limited quantities at one end of a step and their rates, from VIEW into LIMITED."""
    for j in range(o[LIMITS]):
        kind, g, scale, start = o[o[KINDS] + j], o[o[GASES] + j], t[o[SCALES] + j], w[o[STARTS] + j]
        view = o[VIEW] + end * o[SEEN]
        rates = view + 2 * o[SEEN]
        amount, change = w[view + 2 + g], w[rates + 2 + g]
        if kind == 0:
            value, rate = scale * (w[view] - start), scale * w[rates]
        elif kind == 1:
            value, rate = w[view + 1], w[rates + 1]
        elif kind == 2:
            value, rate = 1.0 - amount / start, -change / start
        elif kind == 3:
            value, rate = share_of(o, w, view, g)
        elif o[WHOLE]:
            value, rate = scale * (amount - start), scale * change
        else:
            # dissolved, and used up
            h, p, last = w[o[NOW] + 1 + g], o[SPECIES] + 1 + g, o[SEEN] - 1
            value = scale * (h * w[view + p] + w[view + last] - start)
            rate = scale * (h * w[rates + p] + w[rates + last])
        w[o[LIMITED] + end * o[LIMITS] + j] = value
        w[o[LIMITED] + (end + 2) * o[LIMITS] + j] = rate


@compiled
def share_of(o, w, view, g):
    """Share of a gas in the dry headspace, and its rate."""
    first = view + o[SPECIES] + 1
    further = 2 * o[SEEN]
    total, change = lanes(1e-300), lanes(0.0)
    for j in range(first, first + o[SPECIES] - 1):
        total += w[j]
        change += w[j + further]
    p, d = w[first + g], w[first + g + further]
    return p / total, (d * total - p * change) / (total * total)


@compiled
def enter(o, t, w, opening):
    """A segment begins: quantities jump with the temperature."""
    for j in range(o[LIMITS]):
        sign, crossing, extreme = t[o[SIGNS] + j], o[CROSSING] + j, o[EXTREME] + j
        if opening:
            w[crossing] = np.inf
            w[extreme] = w[o[LIMITED] + j]
            w[o[CLOSING] + j] = w[o[LIMITED] + j]
            w[o[RECOVERED] + j] = 0.0
        for b in range(LANES):
            if get_lane(w, o[CLOCK] + SPAN, b) <= 0.0:
                continue
            q, value = get_lane(w, o[LIMITED] + j, b), get_lane(w, o[VALUES] + j, b)
            time = get_lane(w, o[CLOCK] + TIME, b)
            if time <= t[o[SCALARS] + TARGET] and sign * (q - get_lane(w, extreme, b)) > 0.0:
                put_lane(w, extreme, b, q)
            slack = 1e-12 * abs(value) if opening else 0.0
            if sign * (q - value) > slack and get_lane(w, crossing, b) == np.inf:
                put_lane(w, crossing, b, time)


@compiled
def follow(o, t, w, fresh, interpolate):
    """Crossings and extremes of a step, by interpolation; says in FOUND what lies within it. Returns whether
    anything does. fresh: the rates at its start are not known;
    interpolate: what is at the target is not looked for any closer."""
    target = t[o[SCALARS] + TARGET]
    anything = False
    w[o[FOUND] + o[LIMITS]] = 0.0
    for j in range(o[LIMITS]):
        sign, crossing, extreme = t[o[SIGNS] + j], o[CROSSING] + j, o[EXTREME] + j
        limited, count = o[LIMITED] + j, o[LIMITS]
        w[o[FOUND] + j] = 0.0
        for b in range(LANES):
            time, width = get_lane(w, o[CLOCK] + TIME, b), get_lane(w, o[CLOCK] + STEP, b)
            if width <= 0.0:
                continue
            value, known = get_lane(w, o[VALUES] + j, b), get_lane(w, crossing, b)
            # as heights over the limit
            m0, m1 = (
                sign * (get_lane(w, limited, b) - value),
                sign * (get_lane(w, limited + count, b) - value),
            )
            s0 = sign * width * get_lane(w, limited + 2 * count, b)
            s1 = sign * width * get_lane(w, limited + 3 * count, b)
            peak = 1.0 if fresh else hermite_top(m0, m1, s0, s1)
            most = m1 if peak == 1.0 else hermite(m0, m1, s0, s1, fresh, peak)
            if most > 0.0 and m0 >= 0.0 and known == np.inf:
                put_lane(w, crossing, b, time)
            if most >= 0.0 and m0 < 0.0 and known == np.inf:
                put_lane(w, crossing, b, time + width * hermite_root(m0, m1, s0, s1, fresh, peak))
                put_lane(w, o[FOUND] + j, b, 1.0)
                anything = True
            if m1 < 0.0 and get_lane(w, crossing, b) < np.inf:
                put_lane(w, o[RECOVERED] + j, b, 1.0)
            if time >= target:
                continue
            if time + width > target * (1.0 + 1e-12):
                if not interpolate:
                    put_lane(w, o[FOUND] + count, b, 1.0)
                    anything = True
                peak = min(peak, (target - time) / width)
                most = hermite(m0, m1, s0, s1, fresh, peak)
                if not interpolate and peak * width >= target - time:
                    continue
            if most > sign * (get_lane(w, extreme, b) - value):
                put_lane(w, extreme, b, value + sign * most)
    return anything


@compiled
def write_down(o, t, w, record, first, at, fresh):
    """Record what falls within a step (or, of no width, at its start), from slot ``first`` of the record on;
    returns the place of the next time. Times are those of the first sample."""
    time, width = get_lane(w, o[CLOCK] + TIME, 0), get_lane(w, o[CLOCK] + STEP, 0)
    while at < o[TIMES] and t[o[WHEN] + at] <= (time + width) * (1.0 + 1e-14):
        part = min(1.0, (t[o[WHEN] + at] - time) / width) if width > 0.0 else 0.0
        row = first + at * (o[SEEN] + o[LIMITS])
        between(o, w, record, row, o[VIEW], o[SEEN], part, fresh)
        between(o, w, record, row + o[SEEN], o[LIMITED], o[LIMITS], part, fresh)
        at += 1
    return at


@compiled
def between(o, w, record, row, table, count, part, fresh):
    for q in range(count):
        for b in range(LANES):
            h, at = get_lane(w, o[CLOCK] + STEP, b), table + q
            s0, s1 = h * get_lane(w, at + 2 * count, b), h * get_lane(w, at + 3 * count, b)
            q0, q1 = get_lane(w, at, b), get_lane(w, at + count, b)
            put_lane(record, row + q, b, hermite(q0, q1, s0, s1, fresh, part))

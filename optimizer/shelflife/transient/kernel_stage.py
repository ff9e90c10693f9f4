"""Stages and steps of the compiled march; see ``waterlane``, ``gaslane`` and ``march`` for the equations.

A stage is known by what it adds to its start: z = g f(y_stage), with g the share of the step that it treats
implicitly, so that the start of stage i is y + sum_j (a_ij / gamma) z_j and no amount is divided by a time
that may be nothing.
"""

from __future__ import annotations

import math

import numpy as np

from optimizer.shelflife.transient.kernel_data import (
    ACTIVITY,
    ALPHA,
    ANSWERS,
    BETA,
    CELL,
    CELLS,
    COLUMNS,
    CONDUCTION,
    COUNT,
    FACES,
    FIRST,
    HALF,
    HEADS,
    HERE,
    HOLDS,
    JOINTS,
    LAYERS,
    MOVING,
    NODES,
    OXYGEN,
    PLACE,
    PULL,
    RECORD,
    REFERENCE,
    RESPONSE,
    ROW,
    SCALARS,
    SPECIES,
    STATE,
    STORED,
    WET,
)
from optimizer.shelflife.transient.kernel_lanes import lanes, size, top, where_gt
from optimizer.shelflife.transient.kernel_parts import (
    activity_of,
    compiled,
    condense,
    element,
    element_of_points,
    hold,
    potential,
    respond,
    saturating,
)
from optimizer.shelflife.transient.sdirk import A as _A

#: Methods: 0 SDIRK4(3); for fixed steps also 1, two stages of order 2 (Alexander, 1977), and 2, implicit
#: Euler. Stages are counted so that the last is always number 4.
STAGES = np.array([5, 2, 1])
GAMMA = np.array([0.25, 1.0 - math.sqrt(0.5), 1.0])
START = np.zeros((3, 5, 5))
for _i, _row in enumerate(_A):
    START[0, _i, : len(_row)] = np.array(_row) / GAMMA[0]
START[1, 4, 3] = math.sqrt(0.5) / GAMMA[1]
#: Places from w[HERE] on; from OUTSIDE on, for each gas: pressure outside, conductance of closures and holes,
#: capacity of headspace and product [mol/Pa], storage of the walls' inner faces.
HUMIDITY, LEAK, LINEAR, AMOUNT, MOST, OUTSIDE = 0, 1, 2, 3, 4, 5
#: Newton's method for the water stops at this change of activity (it is then off by about its square), after
#: sixteen rounds at the second (what is left is rounding, between layers of very different resistance), and
#: gives up after so many; most that it may change an activity at once.
_CLOSE, _CLOSE_ENOUGH, _ROUNDS, _STRIDE = 1e-7, 1e-5, 40, 0.2


@compiled
def limited(step):
    step = where_gt(step, _STRIDE, _STRIDE, step)
    return where_gt(-_STRIDE, step, -_STRIDE, step)


@compiled
def factor_step(o, t, w, share):
    """Matrices of a step without their inner nodes, where nothing changes from stage to stage."""
    first = 0 if o[WET] else o[LAYERS]
    for k in range(first, o[SPECIES] * o[LAYERS]):
        c = o[CELLS] + k * CELL
        if o[c + RESPONSE] < 0:
            element(o, t, w, c, share)
            condense(o, w, c)


@compiled
def start_stage(o, w, i, method):
    """What stage i starts from."""
    state = o[STATE]
    first = 5 - STAGES[method]
    for k in range(state):
        x = w[k]
        for s in range(first, i):
            x += START[method, i, s] * w[(2 + s) * state + k]
        w[state + k] = x


@compiled
def to_faces(o, w, c):
    """What the start of a stage at the inner nodes adds to the balances of the two faces."""
    m, at, r = o[c + COUNT] - 2, o[STATE] + o[c + PLACE], o[c + RECORD]
    first, last = lanes(0.0), lanes(0.0)
    for j in range(m):
        x = w[at + j]
        first -= w[r + PULL + j] * x
        last -= w[r + PULL + m + j] * x
    w[r + HEADS], w[r + HEADS + 1] = first, last


@compiled
def fill(o, t, w, c, i, u0, u1):
    """What stage i adds at the inner nodes of a layer; its solution there in ROW. Returns what goes into the
    layer through its two faces [mol]."""
    n, at, r, weights = o[c + COUNT], o[STATE] + o[c + PLACE], o[c + RECORD], o[c + REFERENCE]
    m, moved = n - 2, (1 + i) * o[STATE]
    stored = w[r + STORED]
    for j in range(m):
        u = -w[r + PULL + j] * u0 - w[r + PULL + m + j] * u1
        for x in range(m):
            u += w[r + PULL + 2 * m + j * m + x] * w[at + x]
        w[o[ROW] + j] = u
        w[moved + at + j] = stored * t[weights + j + 1] * u - w[at + j]
    f01 = w[r + FACES + 1]
    first = (w[r + FACES] - stored * t[weights]) * u0 + f01 * u1 - w[r + HEADS]
    last = f01 * u0 + (w[r + FACES + 2] - stored * t[weights + m + 1]) * u1 - w[r + HEADS + 1]
    return first, last


@compiled
def column_round(o, t, w, first, last, activity):
    """One linearisation of a column about the activities at its joints: what it adds to the residual of the
    water inside, and to the slope."""
    e = last - 1
    c = o[CELLS] + e * CELL
    u1, s1 = potential(o, t, c, w[o[HERE] + HUMIDITY])
    al, be = lanes(0.0), lanes(0.0)
    while True:
        r = o[c + RECORD]
        a = w[o[JOINTS] + e] if e > first else activity
        u0, s0 = potential(o, t, c, a)
        # residual of this layer's inner face, and its slopes over both
        f01 = w[r + FACES + 1]
        here = w[r + FACES] * u0 + f01 * (u1 + s1 * al) - w[r + HEADS]
        slope = w[r + FACES] * s0 + f01 * s1 * be
        if e == first:
            return here, slope
        inner = c - CELL
        v1, t1 = potential(o, t, inner, a)
        v0, t0 = potential(o, t, inner, w[o[JOINTS] + e - 1] if e - 1 > first else activity)
        r = o[inner + RECORD]
        o01, o11 = w[r + FACES + 1], w[r + FACES + 2]
        pivot = 1.0 / (slope + o11 * t1)
        al = (w[o[STATE] + o[c + PLACE] - 1] + w[r + HEADS + 1] - here - o01 * v0 - o11 * v1) * pivot
        be = -o01 * t0 * pivot
        w[o[ALPHA] + e], w[o[BETA] + e] = al, be
        u1, s1 = v1, t1
        e, c = e - 1, inner


@compiled
def solve_water(o, t, w, share):
    """Activities inside and at the joints, by Newton's method. False where it did not end."""
    inside, water = o[JOINTS] + o[LAYERS], 2 * o[STATE] - o[SPECIES] - 1
    humidity, leak = w[o[HERE] + HUMIDITY], share * w[o[HERE] + LEAK]
    for rounds in range(_ROUNDS):
        activity = w[inside]
        residual, slope = lanes(0.0), lanes(1.0)
        if o[MOVING]:
            held, slope = hold(o, t, w[o[HOLDS]], activity)
            residual = held + leak * (activity - humidity) - w[water]
            slope += leak
        for k in range(o[COLUMNS]):
            more, steep = column_round(o, t, w, o[o[FIRST] + k], o[o[FIRST] + k + 1], activity)
            residual += more
            slope += steep
        step = limited(-residual / slope) if o[MOVING] else lanes(0.0)
        change = size(step)
        for k in range(o[COLUMNS]):
            d = step
            for e in range(o[o[FIRST] + k] + 1, o[o[FIRST] + k + 1]):
                d = w[o[ALPHA] + e] + w[o[BETA] + e] * d
                w[o[JOINTS] + e] += d
                change += size(d)
        w[inside] = activity + step
        if top(change) < (_CLOSE if rounds < 16 else _CLOSE_ENOUGH):
            return True
    return False


@compiled
def show_activities(o, t, w, c, e, a0, a1):
    """Activities at the nodes of a layer into ACTIVITY, from the potentials in ROW."""
    at, n = o[ACTIVITY] + e * o[NODES], o[c + COUNT]
    w[at], w[at + n - 1] = a0, a1
    for j in range(n - 2):
        w[at + j + 1] = activity_of(o, t, c, w[o[ROW] + j])


@compiled
def wet_stage(o, t, w, i, share):
    """Water in stage i."""
    for e in range(o[LAYERS]):
        to_faces(o, w, o[CELLS] + e * CELL)
    inside, humidity = o[JOINTS] + o[LAYERS], w[o[HERE] + HUMIDITY]
    if not solve_water(o, t, w, share):
        w[inside] = math.nan
    moved = (2 + i) * o[STATE]
    inner = share * w[o[HERE] + LEAK] * (w[inside] - humidity)
    for k in range(o[COLUMNS]):
        first, last = o[o[FIRST] + k], o[o[FIRST] + k + 1]
        carried, a0 = lanes(0.0), w[inside]
        for e in range(first, last):
            c = o[CELLS] + e * CELL
            a1 = humidity if e == last - 1 else w[o[JOINTS] + e + 1]
            u0, _ = potential(o, t, c, a0)
            u1, _ = potential(o, t, c, a1)
            start, end = fill(o, t, w, c, i, u0, u1)
            if o[c + ANSWERS]:
                show_activities(o, t, w, c, e, a0, a1)
            if e == first:
                inner += start
            else:
                w[moved + o[c + PLACE] - 1] = -(carried + start)
            carried, a0 = end, a1
    w[moved + o[STATE] - o[SPECIES] - 1] = -inner


@compiled
def gas_wall(o, t, w, k, first, last, share):
    """One column reduced to its inner face: (slack, amount), see ``gaslane``."""
    e = last - 1
    al, be = w[o[HERE] + OUTSIDE + 4 * (k - 1)], lanes(0.0)
    while True:
        c = o[CELLS] + (k * o[LAYERS] + e) * CELL
        r = o[c + RECORD]
        if o[c + RESPONSE] >= 0:
            conduction = share * w[r + CONDUCTION]
            for j in range(o[c + COUNT]):
                w[o[ROW] + j] = conduction * respond(o, t, c, w[o[ACTIVITY] + e * o[NODES] + j])
            element_of_points(o, t, w, c)
            condense(o, w, c)
        to_faces(o, w, c)
        f01 = w[r + FACES + 1]
        if e < last - 1:
            # the joint outside this layer
            x = o[c + CELL + RECORD]
            o01 = w[x + FACES + 1]
            pivot = 1.0 / (w[x + FACES] + w[r + FACES + 2] + o01 * be)
            rhs = w[o[STATE] + o[c + CELL + PLACE] - 1] + w[x + HEADS] + w[r + HEADS + 1]
            al = (rhs - o01 * al) * pivot
            be = -f01 * pivot
            w[o[ALPHA] + e + 1], w[o[BETA] + e + 1] = al, be
        if e == first:
            return w[r + FACES] + f01 * be, w[r + HEADS] - f01 * al
        e -= 1


@compiled
def gas_stage(o, t, w, i, k, share):
    """One gas in stage i."""
    here, place = o[HERE] + OUTSIDE + 4 * (k - 1), o[STATE] - o[SPECIES] - 1
    outside, through, own = w[here], share * w[here + 1], w[here + 2]
    q, slack = w[o[STATE] + place + k] + through * outside, through
    for x in range(o[COLUMNS]):
        more, amount = gas_wall(o, t, w, k, o[o[FIRST] + x], o[o[FIRST] + x + 1], share)
        slack += more
        q += amount
    moved = (2 + i) * o[STATE]
    p, used = q / (own + slack), lanes(0.0)
    if k - 1 == o[OXYGEN]:
        linear = share * (w[o[HERE] + LINEAR] + w[o[HERE] + AMOUNT] * own)
        most, half = share * w[o[HERE] + MOST], t[o[SCALARS] + HALF]
        p = saturating(own + slack + linear, most, half, q)
        used = linear * p + most * p / (size(p) + half)
        w[moved + o[STATE] - 1] = used
    inner = through * (p - outside) + used
    for x in range(o[COLUMNS]):
        first, last = o[o[FIRST] + x], o[o[FIRST] + x + 1]
        u0, carried = p, lanes(0.0)
        for e in range(first, last):
            c = o[CELLS] + (k * o[LAYERS] + e) * CELL
            u1 = outside if e == last - 1 else w[o[ALPHA] + e + 1] + w[o[BETA] + e + 1] * u0
            start, end = fill(o, t, w, c, i, u0, u1)
            if e == first:
                inner += start
            else:
                w[moved + o[c + PLACE] - 1] = -(carried + start)
            u0, carried = u1, end
    w[moved + place + k] = -inner


@compiled
def accept(o, w):
    """The end of the last stage becomes the state."""
    state = o[STATE]
    for k in range(state):
        w[k] = w[state + k] + w[6 * state + k]


@compiled
def is_finite(o, w):
    worst = 0.0
    for k in range(o[STATE]):
        worst = max(worst, top(size(w[k])))
    return worst < math.inf

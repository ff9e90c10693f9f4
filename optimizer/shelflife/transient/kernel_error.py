"""The error of a step of SDIRK4(3), as in ``march``, of the worst sample of a block."""

from __future__ import annotations

import numpy as np

from optimizer.shelflife.transient.kernel_data import (
    CAPACITY,
    CELL,
    CELLS,
    COLUMNS,
    COUNT,
    FIRST,
    FLOORS,
    LAYERS,
    MOVING,
    OXYGEN,
    PLACE,
    RTOL,
    SCALARS,
    SPECIES,
    STATE,
    STORES,
    WET,
)
from optimizer.shelflife.transient.kernel_lanes import lanes, size, top, where_gt
from optimizer.shelflife.transient.kernel_parts import compiled
from optimizer.shelflife.transient.sdirk import ERROR as _ERROR
from optimizer.shelflife.transient.sdirk import GAMMA as _GAMMA

_WEIGHTS = np.array(_ERROR) / _GAMMA


@compiled
def missed(o, w, k):
    """Size of the error of one component of the state."""
    at = 2 * o[STATE] + k
    x = _WEIGHTS[0] * w[at]
    for i in range(1, 5):
        x += _WEIGHTS[i] * w[at + i * o[STATE]]
    return size(x)


@compiled
def wall_error(o, w, k):
    """Sum of the errors of species k at the nodes of layers that store."""
    total = lanes(0.0)
    for column in range(o[COLUMNS]):
        last = o[o[FIRST] + column + 1] - 1
        for e in range(o[o[FIRST] + column], last + 1):
            c = o[CELLS] + (k * o[LAYERS] + e) * CELL
            joint = o[c + PLACE] + o[c + COUNT] - 2
            if o[c + STORES]:
                for j in range(o[c + PLACE], joint):
                    total += missed(o, w, j)
            if e < last and (o[c + STORES] or o[c + CELL + STORES]):
                total += missed(o, w, joint)
    return total


@compiled
def water_error(o, t, w, rtol):
    place = o[STATE] - o[SPECIES] - 1
    worst = 0.0
    if o[MOVING]:
        new = size(w[o[STATE] + place] + w[6 * o[STATE] + place])
        worst = top(missed(o, w, place) / (rtol * (new + t[o[FLOORS]])))
    capacity = w[o[CAPACITY]]
    if top(capacity) > 0.0:
        # the mean activity of the walls may be out by ten times the tolerance
        worst = max(worst, top(wall_error(o, w, 0) / (10.0 * rtol * capacity)))
    return worst


@compiled
def size_of(o, t, w):
    """In units of the tolerance."""
    rtol, state = t[o[SCALARS] + RTOL], o[STATE]
    worst = water_error(o, t, w, rtol) if o[WET] else 0.0
    for k in range(1, o[SPECIES]):
        place = state - o[SPECIES] - 1 + k
        old, new = size(w[place]), size(w[state + place] + w[6 * state + place])
        scale = rtol * (where_gt(old, new, old, new) + t[o[FLOORS] + k])
        worst = max(worst, top(missed(o, w, place) / scale), top(wall_error(o, w, k) / scale))
    if o[OXYGEN] >= 0:
        new = size(w[2 * state - 1] + w[7 * state - 1])
        worst = max(worst, top(missed(o, w, state - 1) / (rtol * (new + t[o[FLOORS] + o[SPECIES]]))))
    return worst

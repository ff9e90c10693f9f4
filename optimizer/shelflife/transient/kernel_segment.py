"""What a segment brings to a block: conditions, laws at its temperature, the state at its start."""

from __future__ import annotations

from optimizer.shelflife.transient.kernel_data import (
    AIR,
    AMOUNTS,
    BEFORE,
    CAPACITY,
    CELL,
    CELLS,
    CLOCK,
    COLDEST,
    COLUMNS,
    CONDUCT,
    CONDUCTION,
    CONSUMES,
    COUNT,
    DURATION,
    DURATION_OF,
    END,
    EXACT,
    FIRST,
    FIXED,
    HERE,
    HOLDS,
    HUMIDITIES,
    JOINTS,
    LANES,
    LASTING,
    LAW,
    LAYERS,
    MATERIAL,
    MATERIALS,
    MOISTER,
    MOVING,
    NOW,
    OPENING,
    PIECES,
    PLACE,
    PRESSURE,
    RECORD,
    REFERENCE,
    ROW_OF,
    ROWS_PER_KELVIN,
    SCALARS,
    SEEN,
    SEGMENTS,
    SETTING,
    SETTINGS,
    SPECIES,
    STATE,
    STORE,
    STORED,
    STORES,
    TEMPERATURE,
    TRANSMISSION,
    VIEW,
    VOLUME,
    WARMER,
    WET,
)
from optimizer.shelflife.transient.kernel_lanes import get_lane, lanes, put_lane, size, top, where_gt
from optimizer.shelflife.transient.kernel_parts import clipped, compiled, hold, potential
from optimizer.shelflife.transient.kernel_stage import HUMIDITY, LEAK, LINEAR, OUTSIDE, limited

_GAS_CONSTANT = 8.31446261815324
#: Places from w[CLOCK] on.
TIME, STEP, SPAN, WHOLE_STEP = 0, 1, 2, 3


@compiled
def set_span(o, t, w, s):
    """Duration of segment s for each sample; the last goes on to the end, and nothing beyond it. Returns the
    longest.

    A piece left over by rounding is no segment."""
    left = clipped(t[o[SCALARS] + END] - w[o[CLOCK] + TIME], 0.0, t[o[SCALARS] + END])
    span = left
    if s < o[SEGMENTS] - 1:
        span = t[o[DURATION] + s] * w[o[LASTING] + o[o[DURATION_OF] + s]]
        span = where_gt(span, left - 1e-12 * t[o[SCALARS] + END], left, span)
    w[o[CLOCK] + SPAN] = span
    return top(span)


@compiled
def look_up(o, t, w, s):
    """Settings at the samples' temperatures: their own row, or cubics through four."""
    columns, now, row = o[SETTINGS], o[NOW], o[o[ROW_OF] + s]
    if o[EXACT]:
        for q in range(columns):
            w[now + q] = t[o[SETTING] + row * columns + q]
        return
    for b in range(LANES):
        x = t[o[TEMPERATURE] + s] + get_lane(w, o[WARMER], b) - t[o[SCALARS] + COLDEST]
        x *= t[o[SCALARS] + ROWS_PER_KELVIN]
        k = int(x)
        d = x - k
        at = o[SETTING] + (row + k - 1) * columns
        c0, c1 = -d * (d - 1.0) * (d - 2.0) / 6.0, 0.5 * (d + 1.0) * (d - 1.0) * (d - 2.0)
        c2, c3 = -0.5 * (d + 1.0) * d * (d - 2.0), (d + 1.0) * d * (d - 1.0) / 6.0
        for q in range(at, at + columns):
            value = c0 * t[q] + c1 * t[q + columns] + c2 * t[q + 2 * columns] + c3 * t[q + 3 * columns]
            put_lane(w, now + q - at, b, value)


@compiled
def prepare(o, t, w, s):
    """Conditions of segment s into HERE, storage and conduction of every layer into its record."""
    look_up(o, t, w, s)
    species, here, now = o[SPECIES], o[HERE], o[NOW]
    psat = w[now]
    humidity = clipped(t[o[HUMIDITIES] + s] + w[o[MOISTER]], 0.0, 1.0)
    w[here + HUMIDITY] = humidity
    for j in range(3):
        w[here + LINEAR + j] = w[o[CONSUMES]] * w[now + species + j]
    room = t[o[SCALARS] + VOLUME] / (_GAS_CONSTANT * (t[o[TEMPERATURE] + s] + w[o[WARMER]]))
    for k in range(species):
        through = lanes(0.0)
        for f in range(k, o[FIXED] * species, species):
            through += w[now + species + 3 + f] * w[o[TRANSMISSION] + f]
        if k == 0:
            w[here + LEAK] = through * psat
        else:
            at = here + OUTSIDE + 4 * (k - 1)
            w[at] = t[o[AIR] + k - 1] * (t[o[PRESSURE] + s] - humidity * psat)
            w[at + 1] = through
            w[at + 2] = room + w[now + k]
            w[at + 3] = 0.0
    materials, laws = o[MATERIALS], now + species + 3 + o[FIXED] * species
    for x in range(species * o[LAYERS]):
        c = o[CELLS] + x * CELL
        at = laws + 2 * (x // o[LAYERS]) * materials + o[c + MATERIAL]
        w[o[c + RECORD] + CONDUCTION] = w[at] * w[o[CONDUCT] + x]
        w[o[c + RECORD] + STORED] = w[at + materials] * w[o[STORE] + x]
    totals(o, t, w)


@compiled
def face(o, t, w, c):
    """Storage of a layer's inner face."""
    return w[o[c + RECORD] + STORED] * t[o[c + REFERENCE]]


@compiled
def totals(o, t, w):
    """What the inner faces store of each gas, and the walls of water."""
    for k in range(1, o[SPECIES]):
        for column in range(o[COLUMNS]):
            c = o[CELLS] + (k * o[LAYERS] + o[o[FIRST] + column]) * CELL
            w[o[HERE] + OUTSIDE + 4 * (k - 1) + 3] += face(o, t, w, c)
    capacity = lanes(0.0)
    if o[WET]:
        for e in range(o[LAYERS]):
            c = o[CELLS] + e * CELL
            if o[c + STORES]:
                steepest = 0.0
                for j in range(o[c + PIECES]):
                    steepest = max(steepest, t[o[c + LAW] + o[c + PIECES] + j])
                capacity += 2.0 * steepest * w[o[c + RECORD] + STORED]
    w[o[CAPACITY]] = capacity


@compiled
def load_layer(o, t, w, c, filling, inner, outer):
    """A layer in equilibrium, at its nodes between the outermost faces. filling: amount per weight; inner,
    outer: whether it has neighbours there."""
    n, at, weights = o[c + COUNT], o[c + PLACE], o[c + REFERENCE]
    for j in range(n - 2):
        w[at + j] = filling * t[weights + j + 1]
    if inner:
        w[at - 1] += filling * t[weights]
    if outer:
        w[at + n - 2] = filling * t[weights + n - 1]


@compiled
def begin(o, t, w):
    """State at closing: contents as given, walls in equilibrium with what was before."""
    inside = o[STATE] - o[SPECIES] - 1
    for k in range(o[SPECIES]):
        w[inside + k] = w[o[AMOUNTS] + k]
    w[o[STATE] - 1] = 0.0
    for x in range(0 if o[WET] else o[COLUMNS], o[SPECIES] * o[COLUMNS]):
        k = x // o[COLUMNS]
        column = o[FIRST] + x - k * o[COLUMNS]
        for e in range(o[column], o[column + 1]):
            c = o[CELLS] + (k * o[LAYERS] + e) * CELL
            before = w[o[BEFORE] + k]
            if k == 0:
                w[o[JOINTS] + e] = before
                before, _ = potential(o, t, c, before)
            filling = w[o[c + RECORD] + STORED] * before
            load_layer(o, t, w, c, filling, e > o[column], e < o[column + 1] - 1)
            if e == o[column]:
                w[inside + k] += filling * t[o[c + REFERENCE]]
    w[o[JOINTS] + o[LAYERS]] = t[o[SCALARS] + OPENING]


@compiled
def held(o, t, w, activity):
    """Water of product and inner faces at an activity, and its slope; that of the product alone, and its
    slope."""
    own, steep = hold(o, t, w[o[HOLDS]], activity)
    total, slope = own, steep
    for column in range(o[COLUMNS]):
        c = o[CELLS] + o[o[FIRST] + column] * CELL
        u, d = potential(o, t, c, activity)
        x = face(o, t, w, c)
        total += x * u
        slope += x * d
    return total, slope, own, steep


@compiled
def settle(o, t, w):
    """Activity at which product and inner faces hold the water of the state."""
    place = o[JOINTS] + o[LAYERS]
    for _ in range(40):
        total, slope, _, _ = held(o, t, w, w[place])
        change = limited((w[o[STATE] - o[SPECIES] - 1] - total) / slope)
        w[place] += change
        if top(size(change)) < 1e-7:
            break


@compiled
def show(o, t, w, end, share):
    """What the inside shows at one end of a step into VIEW (water, activity, amounts, pressures, oxygen
    used), and its rates, from the last stage (which treated ``share`` implicitly)."""
    species, seen, state = o[SPECIES], o[SEEN], o[STATE]
    view = o[VIEW] + end * seen
    rates = view + 2 * seen
    inside, moved = state - species - 1, 7 * state - species - 1
    per_second = where_gt(share, 0.0, 1.0 / where_gt(share, 0.0, share, 1.0), 0.0)
    activity = w[o[JOINTS] + o[LAYERS]]
    water, rate, slope = w[inside], per_second * w[moved], lanes(0.0)
    if o[MOVING]:
        _, both, water, own = held(o, t, w, activity)
        slope = rate / both
        rate = own * slope
    elif o[WET]:
        # at a fixed activity the product takes what the inner faces do not
        for column in range(o[COLUMNS]):
            c = o[CELLS] + o[o[FIRST] + column] * CELL
            u, _ = potential(o, t, c, activity)
            water -= face(o, t, w, c) * u
    w[view] = water
    w[rates] = rate
    w[view + 1] = activity
    w[rates + 1] = slope
    for k in range(1, species):
        here = o[HERE] + OUTSIDE + 4 * (k - 1)
        own = w[here + 2]
        inverse = 1.0 / (own + w[here + 3])
        p, f = w[inside + k] * inverse, per_second * w[moved + k] * inverse
        w[view + 1 + k] = p * own
        w[rates + 1 + k] = f * own
        w[view + species + k] = p
        w[rates + species + k] = f
    w[view + seen - 1] = w[state - 1]
    w[rates + seen - 1] = per_second * w[7 * state - 1]

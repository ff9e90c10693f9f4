"""The compiled way of simulating a batch: the walls and the balances of one sample, in scalars.

Of the batches with steady walls only this module imports numba, and only ``samples`` leads here. Same
equations as ``sampled_arrays``. All that changes stands in one array ``z``, a row per quantity (the names
below), because arrays are costly to hand over; ``q`` holds the whole numbers, ``knots`` (n, 3) and ``cells``
(n, 6) the laws of the walls.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, inf, isfinite, sqrt
from typing import Any, TypeVar

import numba

from optimizer.shelflife.sampled_plan import GAB_LAW, HENDERSON, LEAST_DRY, OSWIN
from optimizer.shelflife.sampled_walls import LOOKUP, TABLE

F = TypeVar("F", bound=Callable[..., Any])

# Rows of z. Of layers: thickness over the factor on their water law; activities at the faces, how these move
# with the activity inside, and with the flux; sums of resistances from outside and their slopes.
WIDTH, FACES, RISE, BEND, TOTAL, CHANGE = range(6)
# Of walls: area, flux to start from. Of gases: room per Pa, pressure outside now and before, dissolved per
# Pa, amounts at closing.
AREA, FLUX, CAPACITY, OUTSIDE, OUTSIDE_BEFORE, DISSOLVING, AMOUNTS = range(6, 13)
#: Saturation, humidity outside, total pressure, room, least room, three terms of the use, its half pressure,
#: content per mole of water, fixed activity, water and dissolved oxygen at closing, per_oxygen, per_water.
HERE = 13
#: Water flow [mol/s] and its slope over the activity; then the same of all that is simply proportional.
FLOW = 14
#: Limits, their signs; state, new state, worst excess.
LIMIT, SIGN, STATE, NEW, WORST, NUMBERS = range(15, 21)
#: Five rows each: conductance of each gas and its slope, moments of what the walls hold, slope of the second.
BASE, GAS = 21, 26
#: Two rows each, of the state at hand and of the one tried: rates; activity, its rate, room, its rate; excess
#: of each limit and its rate.
RATES, NOW, EXCESS, RISING = 31, 33, 35, 37
#: Two rows each: pressures and their rates. Four rows each: see ``rates``. Four stages.
PRESSURE, JACOBIAN, STAGE = 39, 43, 51
#: A row for each gas: resistance (or its factor), what layers hold per Pa, w at the faces; the last two also
#: before the change of conditions.
FIXED, HELD, SHARE, HELD_BEFORE, SHARE_BEFORE = 55, 58, 61, 64, 67
#: Of walls: the activity at which the flux was found, and the flux's slope there.
FOUND_AT, SLOW = 70, 71
ROWS = 72

# Rows of q: per wall, per layer, per gas and layer, per table, of limits, flags.
START, LIVE, PROFILED, BENT, KNOT, TABLES, LIMIT_KIND, FLAGS = range(8)
KIND, WHICH = 8, 11
WHOLE_ROWS = 14
#: Places in FLAGS.
(
    WALLS,
    GASES,
    FIRST_GAS,
    MOVING,
    RIGID,
    LAGGED,
    REACTS,
    OXYGEN,
    ISOTHERM,
    LIMITS,
    COUNT_NUMBERS,
) = range(11)


#: Kept on the disk; without counting who holds which array, as nothing is allocated.
_OPTIONS: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy", "_nrt": False}


def compiled(function: F) -> F:
    """Compiled to machine code at its first call."""
    made: F = numba.njit(**_OPTIONS)(function)
    return made


@compiled
def _integrals(
    a: float, table: int, q: Any, cells: Any, lookup: Any
) -> tuple[float, float, float, float, float]:
    """Psi, Phi, 1/P, P_w and d ln(1/P)/da at an activity, of one table (see ``ResistivityTable``)."""
    x = min(max(a, 0.0), 1.0)
    k = q[TABLES, table] + lookup[table, min(int(x * LOOKUP), LOOKUP - 1)]
    last = q[TABLES, table + 1] - 2
    while k < last and cells[k + 1, 0] <= x:
        k += 1
    d = x - cells[k, 0]
    r, steep, w = cells[k, 1], cells[k, 2], cells[k, 3]
    t = steep * d
    # (exp(t) - 1) / t and exp(t): the steps are so fine that a few terms are exact to rounding
    e = 1.0 + t * (0.5 + t * (1.0 / 6.0 + t * (1.0 / 24.0 + t * (1.0 / 120.0))))
    inside = 0.0 <= a <= 1.0
    return cells[k, 4] + w * r * d * e, cells[k, 5] + w * d, r * (1.0 + t * e), w if inside else 0.0, steep


@compiled
def _profile(
    first: int, last: int, wall: int, a: float, out: float, z: Any, q: Any, knots: Any
) -> tuple[float, float]:
    """Water flux per Pa of saturation pressure through one wall, and its slope over the activity inside.

    Leaves the activities at the faces and how they move with the activity inside. See ``laminate``.
    """
    total = 0.0
    for i in range(first, last):
        total += z[WIDTH, i] / knots[q[KNOT, i], 2]
    if q[BENT, wall] == 0:
        c = 0.0
        for i in range(first, last):
            f = c / total
            z[FACES, i - first], z[RISE, i - first] = a + (out - a) * f, 1.0 - f
            c += z[WIDTH, i] / knots[q[KNOT, i], 2]
        z[FACES, last - first], z[RISE, last - first] = out, 0.0
        return (a - out) / total, 1.0 / total
    # exact as long as no activity passes a knot
    flux = z[FLUX, wall] + z[SLOW, wall] * (a - z[FOUND_AT, wall])
    if not isfinite(flux):
        flux = (a - out) / total
    lo, hi = -inf, inf
    p, s = 1.0, 0.0
    for _ in range(100):
        x, p, s = a, 1.0, 0.0
        for i in range(first, last):
            begin, end = q[KNOT, i], q[KNOT, i + 1] - 2
            k = begin
            while k < end and x >= knots[k + 1, 0]:
                k += 1
            width = z[WIDTH, i]
            potential = knots[k, 1] + knots[k, 2] * (x - knots[k, 0]) - flux * width
            m = begin
            while m < end and potential >= knots[m + 1, 1]:
                m += 1
            inverse = 1.0 / knots[m, 2]
            x = knots[m, 0] + (potential - knots[m, 1]) * inverse
            s = (knots[k, 2] * s - width) * inverse
            p = p * knots[k, 2] * inverse
            z[FACES, i - first + 1], z[RISE, i - first + 1], z[BEND, i - first + 1] = x, p, s
        miss = x - out
        if abs(miss) <= 1e-12:
            break
        if miss > 0.0:
            lo = flux
        else:
            hi = flux
        new = flux - miss / s
        if not lo < new < hi:
            if not (isfinite(lo) and isfinite(hi)):
                break
            new = 0.5 * (lo + hi)
        if abs(new - flux) <= 1e-15 * abs(flux):
            break
        flux = new
    slow = -p / s
    low, high = min(a, out), max(a, out)
    z[FACES, 0], z[RISE, 0] = a, 1.0
    for i in range(1, last - first + 1):
        z[RISE, i] += slow * z[BEND, i]
        z[FACES, i] = min(max(z[FACES, i], low), high)
    z[FLUX, wall], z[SLOW, wall], z[FOUND_AT, wall] = flux, slow, a
    return flux, slow


@compiled
def _gas(
    first: int, last: int, wall: int, g: int, z: Any, q: Any, cells: Any, lookup: Any
) -> tuple[float, float, float, float, float]:
    """Of gas ``g`` through one wall: resistance and its slope over the activity inside; the moments of what
    the wall holds, integral S w, integral S w^2, and the slope of the second. Leaves w at the faces."""
    total = change = 0.0
    for i in range(last - 1, first - 1, -1):
        r, k = z[FIXED + g, i], i - first
        if q[KIND + g, i] == TABLE:
            table = q[WHICH + g, i]
            a, b = z[FACES, k], z[FACES, k + 1]
            p1, f1, r1, w1, e1 = _integrals(a, table, q, cells, lookup)
            p2, f2, r2, w2, _ = _integrals(b, table, q, cells, lookup)
            if abs(a - b) < 1e-9 or f1 == f2:
                mean = 0.5 * (r1 + r2)
                bend = 0.5 * r1 * e1 * (z[RISE, k] + z[RISE, k + 1])
            else:
                inverse = 1.0 / (f1 - f2)
                mean = (p1 - p2) * inverse
                bend = (w1 * (r1 - mean) * z[RISE, k] - w2 * (r2 - mean) * z[RISE, k + 1]) * inverse
            change += r * bend
            r = r * mean
        total += r
        z[TOTAL, k], z[CHANGE, k] = total, change
    mean = square = bend = 0.0
    if q[FLAGS, LAGGED]:
        inverse = 1.0 / total
        b, db = 0.0, 0.0
        z[SHARE + g, last + wall] = 0.0
        for i in range(last - 1, first - 1, -1):
            a = z[TOTAL, i - first] * inverse
            da = (z[CHANGE, i - first] - a * change) * inverse
            held = z[HELD + g, i]
            z[SHARE + g, i + wall] = a
            mean += held * 0.5 * (a + b)
            square += held * (a * a + a * b + b * b) * (1.0 / 3.0)
            bend += held * ((2.0 * a + b) * da + (2.0 * b + a) * db) * (1.0 / 3.0)
            b, db = a, da
    return total, change, mean, square, bend


@compiled
def sum_walls(live: int, a: float, z: Any, q: Any, knots: Any, cells: Any, lookup: Any) -> None:
    """Add what passes the walls that are live, or the others, to FLOW and GAS."""
    saturation, out = z[HERE, 0], z[HERE, 1]
    for w in range(q[FLAGS, WALLS]):
        if q[LIVE, w] != live:
            continue
        first, last = q[START, w], q[START, w + 1]
        area = z[AREA, w]
        if q[PROFILED, w]:
            flux, slow = _profile(first, last, w, a, out, z, q, knots)
            z[FLOW, 0] += area * saturation * flux
            z[FLOW, 1] += area * saturation * slow
        for g in range(q[FLAGS, GASES]):
            r, d, mean, square, bend = _gas(first, last, w, g, z, q, cells, lookup)
            passed = area / r
            z[GAS, g] += passed
            z[GAS + 1, g] -= passed * d / r
            z[GAS + 2, g] += mean
            z[GAS + 3, g] += square
            z[GAS + 4, g] += bend


@compiled
def sorbed(x: float, z: Any, q: Any) -> tuple[float, float]:
    """Activity at a water content, and its slope over the content."""
    kind = q[FLAGS, ISOTHERM]
    if kind == GAB_LAW:
        m, c, k = z[NUMBERS, 0], z[NUMBERS, 1], z[NUMBERS, 2]
        b = m * c - (c - 2.0) * x
        a = (2.0 / k) * x / (b + sqrt(b * b + 4.0 * (c - 1.0) * x * x))
        u = k * min(max(a, -1.0), (1.0 - 1e-9) / k)
        lower = (1.0 - u) * (1.0 + (c - 1.0) * u)
        return a, lower * lower / (m * c * k * (1.0 + (c - 1.0) * u * u))
    if kind == OSWIN:
        base, power = z[NUMBERS, 0], z[NUMBERS, 1]
        held = min(max(x, 1e-12 * base), 1e6 * base)
        ratio = (held / base) ** (1.0 / power)
        a = ratio / (1.0 + ratio)
        return a, a * (1.0 - a) / (power * held)
    if kind == HENDERSON:
        held = min(max(x, 1e-11), 10.0)
        d = z[NUMBERS, 0] * (100.0 * held) ** z[NUMBERS, 1]
        return 1.0 - exp(-d), exp(-d) * d * z[NUMBERS, 1] / held
    k = q[FLAGS, COUNT_NUMBERS] // 6 - 1
    while k > 0 and x < z[NUMBERS, 6 * k]:
        k -= 1
    t = x - z[NUMBERS, 6 * k + 5]
    c1, c2, c3 = z[NUMBERS, 6 * k + 2], z[NUMBERS, 6 * k + 3], z[NUMBERS, 6 * k + 4]
    return z[NUMBERS, 6 * k + 1] + t * (c1 + t * (c2 + t * c3)), c1 + t * (2.0 * c2 + 3.0 * t * c3)


@compiled
def _room(state: int, dry: float, z: Any, q: Any) -> float:
    """v with sum x / (v + capacity) = dry, not below the least; see ``headspace.headspace_room``."""
    first, count, floor = q[FLAGS, FIRST_GAS], q[FLAGS, GASES], z[HERE, 4]
    v: float = 0.0
    for g in range(count):
        v += z[state, first + g]
    v = max(v / dry, floor)
    for _ in range(60):
        f = d = 0.0
        for g in range(count):
            w = 1.0 / (v + z[CAPACITY, g])
            f += z[state, first + g] * w
            d += z[state, first + g] * w * w
        new: float = max(v + f * (f / dry - 1.0) / (d + 1e-300), floor)
        if abs(new - v) <= 4e-15 * new:
            return new
        v = new
    return v


@compiled
def rates(y: int, at: int, full: bool, z: Any, q: Any, knots: Any, cells: Any, lookup: Any) -> None:
    """Rates of the state in row ``y``, into the rows number ``at`` (0 or 1) of RATES, and if ``full`` also of
    NOW, PRESSURE, JACOBIAN.

    JACOBIAN, per gas: leak, 1/(room + capacity), d(rate)/d(water), squeeze; and in the column after them
    d(water rate)/d(water), slope of the use over the pressure, share of the room's answer.
    """
    count, first, moving = q[FLAGS, GASES], q[FLAGS, FIRST_GAS], q[FLAGS, MOVING]
    f, now, p, jac = RATES + at, NOW + at, PRESSURE + 2 * at, JACOBIAN + 4 * at
    a, response = z[HERE, 10], 0.0
    if moving:
        a, response = sorbed(z[y, 0] * z[HERE, 9], z, q)
        response *= z[HERE, 9]
    z[FLOW, 0] = z[FLOW, 2] + z[FLOW, 3] * (a - z[HERE, 1])
    z[FLOW, 1] = z[FLOW, 3]
    for g in range(count):
        for j in range(5):
            z[GAS + j, g] = z[BASE + j, g]
    if moving:
        sum_walls(1, a, z, q, knots, cells, lookup)
    quick = 0.0
    if first:
        z[f, 0] = -z[FLOW, 0]
        quick = -z[FLOW, 0] * response
    z[jac, count] = z[FLOW, 1] * response
    for g in range(count):
        z[CAPACITY, g] = z[DISSOLVING, g] + z[GAS + 3, g]
    v, free = z[HERE, 3], 0.0
    if not q[FLAGS, RIGID] and count > 0:
        v = _room(y, max(z[HERE, 2] - a * z[HERE, 0], LEAST_DRY * z[HERE, 2]), z, q)
        free = 1.0 if v > z[HERE, 4] else 0.0
    used = use = 0.0
    for g in range(count):
        inverse = 1.0 / (v + z[CAPACITY, g])
        pressure = z[y, first + g] * inverse
        leak = z[GAS, g]
        drive = z[OUTSIDE, g] - pressure
        # the share of what the wall holds that leaves inwards moves with the humidity in it
        rate = leak * drive + 0.5 * z[GAS + 4, g] * quick * (pressure + z[OUTSIDE, g])
        if q[FLAGS, REACTS] and g == q[FLAGS, OXYGEN]:
            linear = z[HERE, 5] + z[HERE, 6] * (v + z[DISSOLVING, g])
            root = 1.0 / (abs(pressure) + z[HERE, 8])
            used = linear * pressure + z[HERE, 7] * pressure * root
            use = linear + z[HERE, 7] * z[HERE, 8] * root * root
            leak += use
            rate -= used
        z[f, first + g], z[p, g] = rate, pressure
        z[jac, g], z[jac + 1, g] = leak, inverse
        z[jac + 2, g] = response * (z[GAS + 1, g] * drive + leak * pressure * z[GAS + 4, g] * inverse)
        z[jac + 3, g] = pressure * inverse
    if q[FLAGS, REACTS]:
        z[f, first + count] = used
    if not full:
        return
    z[jac + 1, count] = use
    spread = change = 0.0
    for g in range(count):
        spread += z[jac + 3, g]
        change += z[jac + 1, g] * (z[f, first + g] - z[p, g] * z[GAS + 4, g] * quick)
    z[jac + 2, count] = free / (spread + 1e-300)
    grow = z[jac + 2, count] * (change + z[HERE, 0] * quick)
    for g in range(count):
        rate = z[f, first + g] - z[p, g] * z[GAS + 4, g] * quick
        z[p + 1, g] = z[jac + 1, g] * rate - z[jac + 3, g] * grow
    z[now, 0], z[now, 1], z[now, 2], z[now, 3] = a, quick, v, grow

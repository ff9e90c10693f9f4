"""The compiled way of simulating a batch: the steps of one sample after the other."""

from __future__ import annotations

from math import inf, isfinite
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.shelflife import sampled_kernel as kernel
from optimizer.shelflife import sampled_rows
from optimizer.shelflife.sampled_kernel import (
    AMOUNTS,
    COUNT_NUMBERS,
    DISSOLVING,
    EXCESS,
    FIRST_GAS,
    FLAGS,
    GASES,
    HERE,
    JACOBIAN,
    KIND,
    LAGGED,
    LIMIT,
    LIMIT_KIND,
    LIMITS,
    LIVE,
    MOVING,
    NEW,
    NOW,
    OXYGEN,
    PRESSURE,
    RATES,
    REACTS,
    RISING,
    ROWS,
    SIGN,
    STAGE,
    START,
    STATE,
    WALLS,
    WHOLE_ROWS,
    WORST,
    compiled,
    rates,
)
from optimizer.shelflife.sampled_plan import Plan
from optimizer.shelflife.sampled_rows import begin, enter
from optimizer.shelflife.sampled_step import FIRST, FLAT, FLOOR, GAMMA, LEAST, MOST, SAFETY, A, C, E, M

Array = NDArray[np.float64]


@compiled
def _solve(u: int, h: float, at: int, z: Any, q: Any) -> None:
    """(I - h J) x = b in row ``u``, in place; J from the rows number ``at``, see ``rates``."""
    first, count, jac = q[FLAGS, FIRST_GAS], q[FLAGS, GASES], JACOBIAN + 4 * at
    water = 0.0
    if first:
        z[u, 0] /= 1.0 + h * z[jac, count]
        water = h * z[u, 0]
    free = z[jac + 2, count]
    pull = push = 0.0
    for g in range(count):
        d = 1.0 / (1.0 + h * z[jac, g] * z[jac + 1, g])
        z[u, first + g] = (z[u, first + g] + z[jac + 2, g] * water) * d
        if free > 0.0:
            pull += z[jac + 1, g] * z[u, first + g]
            push += z[jac + 1, g] * h * z[jac, g] * z[jac + 3, g] * free * d
    moved = 0.0
    if free > 0.0:
        # one common unknown, the room, couples the gases: a matrix that is diagonal plus of rank one
        moved = pull / (1.0 - push)
        for g in range(count):
            d = 1.0 / (1.0 + h * z[jac, g] * z[jac + 1, g])
            z[u, first + g] += d * h * z[jac, g] * z[jac + 3, g] * free * moved
    if q[FLAGS, REACTS]:
        o = q[FLAGS, OXYGEN]
        squeezed = z[jac + 3, o] * free * moved
        z[u, first + count] += h * z[jac + 1, count] * (z[jac + 1, o] * z[u, first + o] - squeezed)


@compiled
def _excess(y: int, at: int, z: Any, q: Any) -> None:
    """Excess of each limit and its rate at the state in row ``y``."""
    count, first, o = q[FLAGS, GASES], q[FLAGS, FIRST_GAS], q[FLAGS, OXYGEN]
    f, now, p = RATES + at, NOW + at, PRESSURE + 2 * at
    for k in range(q[FLAGS, LIMITS]):
        kind = q[LIMIT_KIND, k]
        if kind <= 1:
            c = z[HERE, 14] if kind == 0 else -z[HERE, 14]
            value, change = c * (z[y, 0] - z[HERE, 11]), c * z[f, 0]
        elif kind <= 3:
            value, change = z[now, 0], z[now, 1]
        elif kind == 4:
            g = count - 1
            v, c = z[now, 2] + z[DISSOLVING, g], 1.0 / z[AMOUNTS, g]
            value, change = 1.0 - v * z[p, g] * c, -(v * z[p + 1, g] + z[now, 3] * z[p, g]) * c
        elif kind == 5:
            total, faster = 1e-300, 0.0
            for g in range(count):
                total += z[p, g]
                faster += z[p + 1, g]
            value = z[p, o] / total
            change = (z[p + 1, o] - value * faster) / total
        elif z[DISSOLVING, o] == 0.0 and not q[FLAGS, REACTS]:
            value = (z[now, 2] * z[p, o] - z[AMOUNTS, o]) * z[HERE, 13]
            change = (z[now, 2] * z[p + 1, o] + z[now, 3] * z[p, o]) * z[HERE, 13]
        else:
            used = z[y, first + count] if q[FLAGS, REACTS] else 0.0
            faster = z[f, first + count] if q[FLAGS, REACTS] else 0.0
            value = (z[DISSOLVING, o] * z[p, o] + used - z[HERE, 12]) * z[HERE, 13]
            change = (z[DISSOLVING, o] * z[p + 1, o] + faster) * z[HERE, 13]
        z[EXCESS + at, k] = z[SIGN, k] * (value - z[LIMIT, k])
        z[RISING + at, k] = z[SIGN, k] * change


@compiled
def _cubic(m0: float, m1: float, s0: float, s1: float, t: float) -> float:
    """The cubic over 0..1 with these ends and slopes."""
    c2, c3 = 3.0 * (m1 - m0) - 2.0 * s0 - s1, s0 + s1 - 2.0 * (m1 - m0)
    return m0 + t * (s0 + t * (c2 + t * c3))


@compiled
def _peak(m0: float, m1: float, s0: float, s1: float) -> float:
    """Where that cubic, rising at 0 and falling at 1, is highest."""
    c2, c3 = 3.0 * (m1 - m0) - 2.0 * s0 - s1, s0 + s1 - 2.0 * (m1 - m0)
    lo, hi = 0.0, 1.0
    for _ in range(50):
        t = 0.5 * (lo + hi)
        if s0 + t * (2.0 * c2 + 3.0 * c3 * t) > 0.0:
            lo = t
        else:
            hi = t
    return 0.5 * (lo + hi)


@compiled
def _zero(m0: float, m1: float, s0: float, s1: float, end: float) -> float:
    """Where that cubic, negative at 0 and not at ``end``, is zero."""
    lo, hi = 0.0, end
    for _ in range(50):
        t = 0.5 * (lo + hi)
        if _cubic(m0, m1, s0, s1, t) < 0.0:
            lo = t
        else:
            hi = t
    return 0.5 * (lo + hi)


@compiled
def _watch(start: float, h: float, at: int, crossing: Any, z: Any, q: Any) -> None:
    """Worst excess and first crossing of each limit over a step from the rows number ``at`` to the others."""
    for k in range(q[FLAGS, LIMITS]):
        m0, m1 = z[EXCESS + at, k], z[EXCESS + 1 - at, k]
        s0, s1 = z[RISING + at, k] * h, z[RISING + 1 - at, k] * h
        tiny = FLAT * abs(z[LIMIT, k])
        end, top = 1.0, m1
        if s0 > tiny and s1 < -tiny:
            end = _peak(m0, m1, s0, s1)
            top = max(_cubic(m0, m1, s0, s1, end), m1)
        if top > 0.0 and m0 >= 0.0 and not isfinite(crossing[k]):
            crossing[k] = start
        if top >= 0.0 and m0 < 0.0 and not isfinite(crossing[k]):
            crossing[k] = start + h * _zero(m0, m1, s0, s1, 1.0 if m1 >= 0.0 else end)
        z[WORST, k] = max(z[WORST, k], top)


@compiled
def _stages(h: float, at: int, size: int, z: Any, q: Any, knots: Any, cells: Any, lookup: Any) -> None:
    """The four stages of a step from the state at hand, whose rates stand in the rows number ``at``."""
    for j in range(4):
        source = at
        if j > 0:
            for i in range(size):
                x = z[STATE, i]
                for k in range(j):
                    x += A[j, k] * z[STAGE + k, i]
                z[NEW, i] = x
            source = 1 - at
            rates(NEW, source, False, z, q, knots, cells, lookup)
        for i in range(size):
            x = GAMMA * h * z[RATES + source, i]
            for k in range(j):
                x += C[j, k] * z[STAGE + k, i]
            z[STAGE + j, i] = x
        _solve(STAGE + j, GAMMA * h, at, z, q)


@compiled
def _take(rtol: float, size: int, scales: Any, z: Any) -> float:
    """The new state from the stages, and its error in units of the tolerance."""
    worst = 0.0
    for i in range(size):
        step = miss = 0.0
        for j in range(4):
            step += M[j] * z[STAGE + j, i]
            miss += E[j] * z[STAGE + j, i]
        before = z[STATE, i]
        z[NEW, i] = before + step
        ratio = abs(miss) / (rtol * (FLOOR * scales[i] + max(abs(before), abs(z[NEW, i]))))
        if not ratio <= worst:
            worst = ratio if ratio == ratio else inf
    return worst


@compiled
def _one(
    sample: int,
    times: Any,
    walls: Any,
    inside: Any,
    rtol: float,
    crossing: Any,
    extreme: Any,
    z: Any,
    q: Any,
    knots: Any,
    cells: Any,
    lookup: Any,
) -> int:
    """One sample from closing to the horizon; 0, or 1 where the step vanished."""
    size, limits, rows = len(inside.scales), q[FLAGS, LIMITS], len(times.condition)
    begin(sample, walls, inside, z)
    for k in range(limits):
        crossing[k] = inf
    time, at, row, done, reached = 0.0, 0, 0, False, False
    h = FIRST * min(times.base[0] * times.stretch[sample, times.name[0]], times.horizon)
    while not done:
        finish = time + times.base[row] * times.stretch[sample, times.name[row]]
        if finish >= times.horizon * (1.0 - 1e-12) or row == rows - 1:
            finish, done = times.horizon, True
        enter(sample, times.condition[row], at, row == 0, walls, inside, z, q, knots, cells, lookup)
        rates(STATE, at, True, z, q, knots, cells, lookup)
        _excess(STATE, at, z, q)
        for k in range(limits):
            z[WORST, k] = max(z[WORST, k], z[EXCESS + at, k])
            slack = 1e-12 * abs(z[LIMIT, k]) if row == 0 else 0.0
            if z[EXCESS + at, k] > slack and not isfinite(crossing[k]):
                crossing[k] = time
        opening, again, rejected = True, h, False
        while time < finish:
            stop = finish
            if not reached and times.target < finish:
                stop = times.target
            remaining = stop - time
            step = h
            if h >= 0.999 * remaining:
                step = remaining
            elif h > 0.5 * remaining:
                step = 0.5 * remaining
            _stages(step, at, size, z, q, knots, cells, lookup)
            worst = _take(rtol, size, inside.scales, z)
            if not worst <= 1.0:
                h = step * (max(LEAST, SAFETY * worst ** (-1.0 / 3.0)) if worst < 1e300 else LEAST)
                rejected = True
                if not h > 1e-14 * max(time, stop):
                    return 1
                continue
            rates(NEW, 1 - at, True, z, q, knots, cells, lookup)
            _excess(NEW, 1 - at, z, q)
            _watch(time, step, at, crossing, z, q)
            for i in range(size):
                z[STATE, i] = z[NEW, i]
            at = 1 - at
            time = stop if step == remaining else time + step
            growth = min(MOST, SAFETY * worst ** (-1.0 / 3.0)) if worst > 1e-6 else MOST
            h = step * (min(growth, 1.0) if rejected else growth)
            rejected = False
            if opening:
                opening, again = False, h
            if not reached and time >= times.target * (1.0 - 1e-12):
                reached = True
                for k in range(limits):
                    extreme[k] = z[LIMIT, k] + z[SIGN, k] * z[WORST, k]
        # conditions jump at the next row too: begin there with what would have done here
        h = min(h, again)
        row += 1
    return 0


@compiled
def _many(
    times: Any,
    walls: Any,
    inside: Any,
    rtol: float,
    crossing: Any,
    extreme: Any,
    z: Any,
    q: Any,
    knots: Any,
    cells: Any,
    lookup: Any,
) -> int:
    """All samples; the number of those whose step vanished."""
    stuck = 0
    for b in range(len(crossing)):
        stuck += _one(b, times, walls, inside, rtol, crossing[b], extreme[b], z, q, knots, cells, lookup)
    return stuck


def _numbers(plan: Plan) -> tuple[Array, NDArray[np.int64]]:
    """z and q for a batch."""
    walls, inside = plan.walls, plan.inside
    gases, layers = walls.kind.shape
    count = len(walls.live)
    columns = max(
        layers + count + 2, gases + 2, len(inside.scales), 16, len(inside.numbers), len(inside.sign)
    )
    q = np.zeros((WHOLE_ROWS, max(layers + 2, len(walls.table_start), 16, len(inside.sign))), dtype=np.int64)
    q[START, : count + 1] = walls.start
    for row, marks in ((LIVE, walls.live), (kernel.PROFILED, walls.profiled), (kernel.BENT, walls.bent)):
        q[row, :count] = marks
    q[kernel.KNOT, : layers + 1] = walls.knot_start
    q[kernel.TABLES, : len(walls.table_start)] = walls.table_start
    q[LIMIT_KIND, : len(inside.sign)] = inside.limit_kind
    q[KIND : KIND + gases, :layers], q[kernel.WHICH : kernel.WHICH + gases, :layers] = walls.kind, walls.table
    flags = {
        WALLS: count,
        GASES: gases,
        FIRST_GAS: inside.tracked,
        MOVING: inside.moving,
        kernel.RIGID: inside.rigid,
        LAGGED: inside.lagged,
        REACTS: inside.reacts,
        OXYGEN: inside.oxygen,
        kernel.ISOTHERM: inside.isotherm,
        LIMITS: len(inside.sign),
        COUNT_NUMBERS: len(inside.numbers),
    }
    for place, value in flags.items():
        q[FLAGS, place] = int(value)
    return np.zeros((ROWS, columns)), q


def run(plan: Plan, rtol: float) -> tuple[Array, Array, int]:
    """Crossings [s] and extremes (B, K) of a batch, and how many samples could not be carried on."""
    walls, shape = plan.walls, plan.inside.limit.shape
    crossing, extreme = np.full(shape, np.inf), np.full(shape, np.nan)
    z, q = _numbers(plan)
    knots = np.stack([walls.knots, walls.phi, walls.slope], axis=1)
    cells = np.stack(
        [walls.grid, walls.resistivity, walls.steepness, walls.weight, walls.psi, walls.mass], axis=1
    )
    stuck = _many(plan.times, walls, plan.inside, rtol, crossing, extreme, z, q, knots, cells, walls.lookup)
    return crossing, extreme, int(stuck)


def stored() -> bool:
    """Whether a compiled form of this version lies on the disk, so that the first call is quick."""
    here = Path(__file__)
    found = Path(_many.stats.cache_path).glob(f"{here.stem}._many-*.nbi")  # type: ignore[attr-defined]
    sources = (__file__, str(kernel.__file__), str(sampled_rows.__file__))
    changed = max(Path(x).stat().st_mtime for x in sources)
    return any(x.stat().st_mtime >= changed for x in found)

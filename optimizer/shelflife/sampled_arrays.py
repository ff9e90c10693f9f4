"""The plain way of simulating a batch: all samples side by side in numpy arrays, with one common step.

Same equations as ``sampled_kernel``. Every sample has its own times at which conditions change; a step is a
share of what is left until each sample's next one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.physics.sorption import Isotherm, TableIsotherm
from optimizer.shelflife.sampled_layers import Layers, Passed
from optimizer.shelflife.sampled_plan import FOLDS, LEAST_DRY, LIMITS, Plan
from optimizer.shelflife.sampled_step import FIRST, FLAT, FLOOR, GAMMA, LEAST, MOST, SAFETY, A, C, E, M

Array = NDArray[np.float64]


class Rates(NamedTuple):
    """At a state: f (n, B); p and change of p, leak, inverse of room and capacity, d(rate)/d(water), squeeze,
    each (G, B); activity, its rate, room, its rate; d(water rate)/d(water), slope of the use over the
    pressure, share of the room's answer, each (B,)."""

    f: Array
    p: Array
    change: Array
    leak: Array
    inverse: Array
    wet: Array
    squeeze: Array
    activity: Array
    quick: Array
    room: Array
    grow: Array
    dry: Array
    use: Array
    free: Array


class Batch:
    """One batch on its way through the rows of time."""

    def __init__(self, plan: Plan, isotherm: Isotherm | None) -> None:
        self.plan, self.isotherm = plan, isotherm
        self.samples = len(plan.inside.water)
        self.gases = plan.inside.amounts.shape[1]
        self.first = 1 if plan.inside.tracked else 0
        self.layers = Layers(plan.walls, plan.inside.lagged, self.samples)
        self.outside = self.dissolving = np.zeros((self.gases, self.samples))
        self.still: Passed = self.layers.nothing()

    def pick(self, values: Array, u: NDArray[np.int64]) -> Array:
        """(B, ...) from (B or 1, U, ...) at the condition of each sample."""
        found: Array = values[0][u] if values.shape[0] == 1 else values[np.arange(self.samples), u]
        return found

    def water_activity(self, y: Array) -> tuple[Array, Array]:
        """Activity inside and its slope over the moles of water, each (B,)."""
        inside = self.plan.inside
        if not inside.moving or self.isotherm is None:
            return np.full(self.samples, inside.activity), np.zeros(self.samples)
        content = y[0] * inside.per_mole
        a = np.asarray(self.isotherm.activity(content))
        if isinstance(self.isotherm, TableIsotherm):
            t, _, c1, c2, c3 = self.isotherm._pieces(content)
            return a, (c1 + t * (2.0 * c2 + 3.0 * t * c3)) * inside.per_mole
        return a, inside.per_mole / self.isotherm.slope(a)

    def enter(self, u: NDArray[np.int64], y: Array, at: Rates | None) -> Array:
        """The state as the conditions become ``u`` (B,): moles are kept, also those in the walls. at: rates
        before, None at closing."""
        inside, first, count = self.plan.inside, self.first, self.gases
        y = y.copy()
        before, drive = self.outside, np.zeros((count, self.samples))
        if at is None:
            y[first : first + count] = inside.amounts.T
            before = np.broadcast_to(inside.before, (count, self.samples))
        else:
            y[first : first + count] = at.p * (at.room + self.dissolving)
            drive = at.p - before
        self.outside = np.array([self.pick(x, u) for x in inside.outside]).reshape(count, self.samples)
        self.dissolving = np.array([self.pick(x, u) for x in inside.dissolving]).reshape(count, self.samples)
        fixed = np.array([self.pick(x, u) for x in inside.fixed])
        self.saturation, self.humidity = self.pick(inside.saturation, u), self.pick(inside.humidity, u)
        self.total, self.room = inside.total[u], self.pick(inside.room, u)
        self.floor = np.maximum(FOLDS * self.room, inside.floor)
        self.terms = [self.pick(x, u) for x in (inside.use_pressure, inside.use_amount, inside.use_most)]
        self.layers.lay([self.pick(x, u) for x in self.layers.thermal()])
        a, _ = self.water_activity(y)
        still = self.layers.passed(a, self.humidity, self.saturation, live=False)
        still.conductance[:] += fixed[:count]
        self.proportional = still.slope + fixed[count] * self.saturation
        self.steady_flow = np.zeros(self.samples)
        if not inside.moving:
            self.steady_flow = still.flow - still.slope * (a - self.humidity)
        self.still = still
        if inside.lagged:
            self.layers.passed(a, self.humidity, self.saturation, live=True)
            mean, square, cross = self.layers.kept(opens=at is None)
            y[first : first + count] += before * mean[1] + drive * cross - self.outside * (mean[0] - square)
        return y

    def rates(self, y: Array) -> Rates:
        inside, first, count = self.plan.inside, self.first, self.gases
        a, response = self.water_activity(y)
        flow = self.steady_flow + self.proportional * (a - self.humidity)
        slope, still = self.proportional, self.still
        conductance, steep, square, bend = still.conductance, still.steep, still.square, still.bend
        if inside.moving and self.layers.any_live:
            more = self.layers.passed(a, self.humidity, self.saturation, live=True)
            flow, slope = flow + more.flow, slope + more.slope
            conductance, steep = conductance + more.conductance, steep + more.steep
            square, bend = square + more.square, bend + more.bend
        f = np.zeros_like(y)
        quick = np.zeros(self.samples)
        if first:
            f[0] = -flow
            quick = -flow * response
        capacity = self.dissolving + square
        x = y[first : first + count]
        v, free = self.room, np.zeros(self.samples)
        if not inside.rigid and count:
            dry = np.maximum(self.total - a * self.saturation, LEAST_DRY * self.total)
            v = _room(x, capacity, dry, self.floor)
            free = (v > self.floor).astype(float)
        inverse = 1.0 / (v + capacity)
        p = x * inverse
        drive, leak = self.outside - p, conductance
        gain = conductance * drive + 0.5 * bend * quick * (p + self.outside)
        use = np.zeros(self.samples)
        if inside.reacts:
            o, (pressure, amount, most) = inside.oxygen, self.terms
            linear = pressure + amount * (v + self.dissolving[o])
            root = 1.0 / (np.abs(p[o]) + inside.half)
            used = linear * p[o] + most * p[o] * root
            use = linear + most * inside.half * root * root
            leak = leak.copy()
            leak[o] += use
            gain[o] -= used
            f[first + count] = used
        f[first : first + count] = gain
        wet = response * (steep * drive + leak * p * bend * inverse)
        squeeze = p * inverse
        own = gain - p * bend * quick
        share = free / (squeeze.sum(axis=0) + 1e-300)
        grow = share * ((inverse * own).sum(axis=0) + self.saturation * quick)
        change = inverse * own - squeeze * grow
        return Rates(
            f, p, change, leak, inverse, wet, squeeze, a, quick, v, grow, slope * response, use, share
        )

    def solve(self, b: Array, h: Array, at: Rates) -> Array:
        """x with (I - h J) x = b (n, B); h (B,)."""
        first, count, x = self.first, self.gases, b.copy()
        rest = x[first : first + count]
        if first:
            x[0] /= 1.0 + h * at.dry
            rest += h * at.wet * x[0]
        d = 1.0 / (1.0 + h * at.leak * at.inverse)
        rest *= d
        moved = np.zeros(self.samples)
        if np.any(at.free > 0.0):
            pushed = d * h * at.leak * at.squeeze * at.free
            moved = (at.inverse * rest).sum(axis=0) / (1.0 - (at.inverse * pushed).sum(axis=0))
            rest += pushed * moved
        if self.plan.inside.reacts:
            o = self.plan.inside.oxygen
            x[first + count] += h * at.use * (at.inverse[o] * rest[o] - at.squeeze[o] * at.free * moved)
        return x

    def excess(self, y: Array, at: Rates) -> tuple[Array, Array]:
        """Excess of each limit and its rate, each (K, B)."""
        inside, count, o = self.plan.inside, self.gases, self.plan.inside.oxygen
        m, s = (np.zeros((len(inside.sign), self.samples)) for _ in range(2))
        for k, kind in enumerate(inside.limit_kind):
            name = LIMITS[kind]
            if name in ("water_gain", "water_loss"):
                share = inside.per_water if name == "water_gain" else -inside.per_water
                m[k], s[k] = share * (y[0] - inside.water), share * at.f[0]
            elif name.startswith("water_activity"):
                m[k], s[k] = at.activity, at.quick
            elif name == "co2_loss":
                g = count - 1
                v, c = at.room + self.dissolving[g], 1.0 / inside.amounts[:, g]
                m[k], s[k] = 1.0 - v * at.p[g] * c, -(v * at.change[g] + at.grow * at.p[g]) * c
            elif name == "headspace_oxygen":
                total = at.p.sum(axis=0) + 1e-300
                m[k] = at.p[o] / total
                s[k] = (at.change[o] - m[k] * at.change.sum(axis=0)) / total
            else:
                m[k], s[k] = self._gained(y, at)
            m[k] = inside.sign[k] * (m[k] - inside.limit[:, k])
            s[k] *= inside.sign[k]
        return m, s

    def _gained(self, y: Array, at: Rates) -> tuple[Array, Array]:
        """Oxygen taken up [kg/kg] and its rate: all of it where none dissolves or is used up."""
        inside, o, last = self.plan.inside, self.plan.inside.oxygen, self.first + self.gases
        held = self.dissolving[o]
        if not np.any(held) and not inside.reacts:
            value = at.room * at.p[o] - inside.amounts[:, o]
            return value * inside.per_oxygen, (at.room * at.change[o] + at.grow * at.p[o]) * inside.per_oxygen
        used, faster = (y[last], at.f[last]) if inside.reacts else (0.0, 0.0)
        value = held * at.p[o] + used - inside.dissolved
        return value * inside.per_oxygen, (held * at.change[o] + faster) * inside.per_oxygen


def _room(x: Array, capacity: Array, dry: Array, floor: Array) -> Array:
    """See ``headspace.headspace_room``."""
    v: Array = np.maximum(x.sum(axis=0) / dry, floor)
    for _ in range(60):
        w = 1.0 / (v + capacity)
        f, d = (x * w).sum(axis=0), (x * w * w).sum(axis=0)
        new = np.maximum(v + f * (f / dry - 1.0) / (d + 1e-300), floor)
        done = np.all(np.abs(new - v) <= 4e-15 * new)
        v = new
        if done:
            break
    return v


class _Watch:
    """Worst excess and first crossing of each limit, (K, B)."""

    def __init__(self, limit: Array) -> None:
        self.limit = limit.T
        self.worst = np.full(self.limit.shape, -np.inf)
        self.crossing = np.full(self.limit.shape, np.inf)

    def enter(self, time: Array, m: Array, opens: bool) -> None:
        self.worst = np.maximum(self.worst, m)
        slack = 1e-12 * np.abs(self.limit) if opens else 0.0
        self.crossing = np.where((m > slack) & np.isinf(self.crossing), time, self.crossing)

    def follow(self, begin: Array, h: Array, m0: Array, m1: Array, s0: Array, s1: Array) -> None:
        s0, s1 = s0 * h, s1 * h
        tiny = FLAT * np.abs(self.limit)
        turning = (s0 > tiny) & (s1 < -tiny)
        c2, c3 = 3.0 * (m1 - m0) - 2.0 * s0 - s1, s0 + s1 - 2.0 * (m1 - m0)
        end, top = np.ones_like(m1), m1
        if turning.any():
            end = np.where(turning, _halved(lambda t: s0 + t * (2.0 * c2 + 3.0 * c3 * t) > 0.0, end), 1.0)
            top = np.maximum(m0 + end * (s0 + end * (c2 + end * c3)), m1)
        at_once = (top > 0.0) & (m0 >= 0.0) & np.isinf(self.crossing)
        self.crossing = np.where(at_once, begin, self.crossing)
        fresh = (top >= 0.0) & (m0 < 0.0) & np.isinf(self.crossing)
        if fresh.any():
            end = np.where(m1 >= 0.0, 1.0, end)
            t = _halved(lambda t: m0 + t * (s0 + t * (c2 + t * c3)) < 0.0, end)
            self.crossing = np.where(fresh, begin + h * t, self.crossing)
        self.worst = np.maximum(self.worst, top)


def _halved(left: Callable[[Array], NDArray[np.bool_]], end: Array) -> Array:
    """Where ``left(t)`` turns from true to false between 0 and ``end``."""
    lo, hi = np.zeros_like(end), end
    for _ in range(50):
        t = 0.5 * (lo + hi)
        more = left(t)
        lo, hi = np.where(more, t, lo), np.where(more, hi, t)
    middle: Array = 0.5 * (lo + hi)
    return middle


def run(plan: Plan, isotherm: Isotherm | None, rtol: float) -> tuple[Array, Array, int]:
    """Crossings [s] and extremes (B, K) of a batch, and how many samples could not be carried on."""
    times, inside = plan.times, plan.inside
    batch, watch = Batch(plan, isotherm), _Watch(inside.limit)
    y = np.zeros((len(inside.scales), batch.samples))
    if inside.tracked:
        y[0] = inside.water
    sign, rows = inside.sign[:, None], len(times.condition)
    time, row = np.zeros(batch.samples), np.zeros(batch.samples, dtype=np.int64)
    length = times.base[row] * times.stretch[np.arange(batch.samples), times.name[row]]
    finish = np.where(length >= times.horizon * (1.0 - 1e-12), times.horizon, length)
    if rows == 1:
        finish[:] = times.horizon
    extreme, at = np.full(watch.limit.shape, np.nan), None
    step = FIRST * float(np.minimum(length, times.horizon).mean())
    reached = np.zeros(batch.samples, dtype=bool)
    while True:
        y = batch.enter(times.condition[row], y, at)
        opens, at = at is None, batch.rates(y)
        watch.enter(time, batch.excess(y, at)[0], opens)
        stop = np.where(~reached & (times.target < finish), times.target, finish)
        width = stop - time
        y, at, share, stuck = _piece(batch, watch, y, at, time, width, step / float(width.mean()), rtol)
        step = share * float(width.mean())
        if stuck:
            return watch.crossing.T, extreme.T, batch.samples
        time = stop
        now = ~reached & (time >= times.target * (1.0 - 1e-12))
        extreme[:, now] = (watch.limit + sign * watch.worst)[:, now]
        reached |= now
        if np.all(time >= times.horizon):
            return watch.crossing.T, extreme.T, 0
        on = (time >= finish) & (time < times.horizon)
        row = np.where(on, np.minimum(row + 1, rows - 1), row)
        length = times.base[row] * times.stretch[np.arange(batch.samples), times.name[row]]
        ahead = time + length
        last = (ahead >= times.horizon * (1.0 - 1e-12)) | (row == rows - 1)
        finish = np.where(on, np.where(last, times.horizon, ahead), finish)


def _piece(
    batch: Batch,
    watch: _Watch,
    y: Array,
    at: Rates,
    begin: Array,
    width: Array,
    share: float,
    rtol: float,
) -> tuple[Array, Rates, float, bool]:
    """State and rates after ``width`` (B,) [s] from ``begin``, the share of it that a step may begin with the
    next time, and whether the step vanished. share: to begin with."""
    atol = FLOOR * batch.plan.inside.scales[:, None]
    m, s = batch.excess(y, at)
    done, opening, again, rejected = 0.0, True, share, False
    stages = np.empty((4, *y.shape))
    while done < 1.0:
        remaining = 1.0 - done
        part = (
            remaining
            if share >= 0.999 * remaining
            else min(share, 0.5 * remaining)
            if (share > 0.5 * remaining)
            else share
        )
        h = part * width
        for j in range(4):
            here = at
            if j:
                here = batch.rates(y + np.tensordot(A[j, :j], stages[:j], 1))
            b = GAMMA * h * here.f + (np.tensordot(C[j, :j], stages[:j], 1) if j else 0.0)
            stages[j] = batch.solve(b, GAMMA * h, at)
        new = y + np.tensordot(M, stages, 1)
        miss = np.abs(np.tensordot(E, stages, 1)) / (atol + np.maximum(np.abs(y), np.abs(new)))
        size = float(miss.max()) / rtol if miss.size else 0.0
        if not size <= 1.0:
            share = part * (max(LEAST, SAFETY * size ** (-1.0 / 3.0)) if size < 1e300 else LEAST)
            rejected = True
            if not share > 1e-14:
                return y, at, share, True
            continue
        after = batch.rates(new)
        m1, s1 = batch.excess(new, after)
        watch.follow(begin + done * width, h, m, m1, s, s1)
        y, at, m, s = new, after, m1, s1
        done = 1.0 if part == remaining else done + part
        growth = min(MOST, SAFETY * size ** (-1.0 / 3.0)) if size > 1e-6 else MOST
        share = part * (min(growth, 1.0) if rejected else growth)
        rejected = False
        if opening:
            opening, again = False, share
    return y, at, min(share, again), False

"""The quantity behind each limit, its extreme, and the moment it is first reached.

A limit is watched through its excess, (quantity - limit) for an upper bound and (limit - quantity) for a
lower
one: reached where the excess is not negative. Values are floats for one sample or arrays (B,) for a batch.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import MOLAR_MASS
from optimizer.shelflife.contents import Contents
from optimizer.shelflife.crossing import root_array, root_float
from optimizer.shelflife.integrate import State, Step
from optimizer.shelflife.terms import Balance

Array = NDArray[np.float64]
Value = Any
#: Changes below this share of the limit are taken as rounding when a turning point is looked for.
_FLAT = 1e-9


class Quantity(NamedTuple):
    """value(y): the quantity [unit as in ``package.Limit``]; slope(y, f): its change per second where the
    state changes at the rates f, or None where only a short step tells; steady: it cannot turn back within
    a segment, as the water, whose balance stands alone."""

    value: Callable[[State], Value]
    slope: Callable[[State, State], Value] | None = None
    steady: bool = False


def sign_of(name: str) -> float:
    """+1 for an upper bound, -1 for a lower one."""
    return -1.0 if name == "water_activity_min" else 1.0


def quantities_of(contents: Contents, balance: Balance) -> list[Quantity]:
    """One quantity per limit of the product, in its order."""
    return [_quantity(limit.name, contents, balance) for limit in contents.product.limits]


def _straight(constant: float, *terms: tuple[int, float], steady: bool = False) -> Quantity:
    if len(terms) == 1:
        ((i, c),) = terms
        return Quantity(lambda y: constant + c * y[i], lambda y, f: c * f[i], steady)
    (i, c), (j, d) = terms
    return Quantity(lambda y: constant + c * y[i] + d * y[j], lambda y, f: c * f[i] + d * f[j])


def _quantity(name: str, contents: Contents, balance: Balance) -> Quantity:
    first, gases, product = contents.first_gas, contents.gases, contents.product
    observe = balance.observe
    if name in ("water_gain", "water_loss"):
        share = MOLAR_MASS["H2O"] / product.mass * (1.0 if name == "water_gain" else -1.0)
        return _straight(-contents.water * share, (0, share), steady=not balance.turns)
    if name in ("water_activity_max", "water_activity_min"):
        return Quantity(balance.activity, steady=not balance.turns)
    if name == "co2_loss":
        k = first + gases.index("CO2")
        return _straight(1.0, (k, -1.0 / contents.amounts["CO2"]))
    oxygen = gases.index("O2")
    place, last = first + oxygen, first + len(gases)
    if name == "headspace_oxygen":
        return _share(oxygen, first, balance)
    if name != "oxygen_gain":
        raise ValueError(f"unknown limit {name!r}")
    per_mass = MOLAR_MASS["O2"] / product.mass
    h, start = balance.dissolving[oxygen], contents.dissolved_oxygen
    none = bool(np.all(np.equal(h, 0.0)))
    if none and not contents.reacts:
        return _straight(-contents.amounts["O2"] * per_mass, (place, per_mass))
    used = ((last, per_mass),) if contents.reacts else ()
    if none or balance.capacity is not None:
        share = h / balance.capacity[oxygen] if balance.capacity is not None else 0.0
        return _straight(-start * per_mass, (place, share * per_mass), *used)
    if contents.reacts:
        return Quantity(lambda y: (h * observe(y).pressures[oxygen] + y[last] - start) * per_mass)
    return Quantity(lambda y: (h * observe(y).pressures[oxygen] - start) * per_mass)


def _share(oxygen: int, first: int, balance: Balance) -> Quantity:
    """Share of oxygen in the dry headspace."""
    observe = balance.observe

    def value(y: State) -> Value:
        pressures = observe(y).pressures
        return pressures[oxygen] / (sum(pressures) + 1e-300)

    if balance.capacity is None:
        return Quantity(value)
    inverse = [1.0 / c for c in balance.capacity]

    def slope(y: State, f: State) -> Value:
        total: Value = 1e-300
        change: Value = 0.0
        for k, c in enumerate(inverse, first):
            total = total + c * y[k]
            change = change + c * f[k]
        own = inverse[oxygen]
        return own * (f[first + oxygen] * total - y[first + oxygen] * change) / (total * total)

    return Quantity(value, slope)


class Watch:
    """Follows every limit along the accepted steps of one simulation."""

    def __init__(self, contents: Contents, samples: int, locate: bool = True) -> None:
        self.contents = contents
        self.locate = locate
        self.limits = contents.product.limits
        self.scalar = samples == 1
        count = len(self.limits)
        shape = (count, samples)
        self.crossing = np.full(shape, np.inf)
        self.recovered = np.zeros(shape, dtype=bool)
        self.closing: Array = np.full(shape, np.nan)
        self.extreme: Array | None = None
        self._signs = [sign_of(x.name) for x in self.limits]
        self._values = [x.value for x in self.limits]
        self._tiny = [_FLAT * abs(x.value) for x in self.limits]
        self._worst: State = [-math.inf if self.scalar else np.full(samples, -np.inf) for _ in range(count)]
        self._crossed = [False] * count
        self._excess: State = []
        self._rates: State = []
        self._fresh = True
        self._balance: Balance | None = None
        self._quantities: list[Quantity] = []
        self._followed: list[tuple[Quantity, float, float]] = []

    def enter(self, time: float, balance: Balance, y: State) -> None:
        """A new segment begins: pressures jump with the temperature, and with them the quantities."""
        self._balance = balance
        self._quantities = quantities_of(self.contents, balance)
        self._followed = list(zip(self._quantities, self._signs, self._values, strict=True))
        self._excess = self.excess(y)
        self._fresh = True
        if time == 0.0:
            self.closing = self._as_rows(self.values_of(self._excess))
        for k, m in enumerate(self._excess):
            self._worst[k] = _larger(self._worst[k], m)
            if self._crossed[k]:
                self._note_return(k, m)
            slack = 1e-12 * abs(self._values[k]) if time == 0.0 else 0.0
            if not self.scalar:
                over = m > slack
                if np.any(over):
                    self.crossing[k] = np.where(over & np.isinf(self.crossing[k]), time, self.crossing[k])
                    self._crossed[k] = True
            elif m > slack and not self._crossed[k]:
                self.crossing[k, 0] = time
                self._crossed[k] = True

    def excess(self, y: State) -> State:
        return [
            s * (q.value(y) - v) for q, s, v in zip(self._quantities, self._signs, self._values, strict=True)
        ]

    def values_of(self, excess: State) -> State:
        """Quantities that belong to excesses."""
        return [v + s * m for m, s, v in zip(excess, self._signs, self._values, strict=True)]

    def _change(self, y: State, rate: State, width: float, excess: State) -> State:
        """Change of each excess per second; 0 where it cannot turn."""
        changes: State = []
        for k, quantity in enumerate(self._quantities):
            if quantity.steady:
                changes.append(0.0)
            elif quantity.slope is not None:
                changes.append(self._signs[k] * quantity.slope(y, rate))
            else:
                changes.append(self._short_step(k, y, rate, width, excess[k]))
        return changes

    def _short_step(self, k: int, y: State, rate: State, width: float, excess: Value) -> Value:
        """Change of excess ``k`` per second by a step along the rates that is short against ``width``."""
        short = 1e-3 * width
        moved = [u + short * f for u, f in zip(y, rate, strict=True)]
        there = self._signs[k] * (self._quantities[k].value(moved) - self._values[k])
        return (there - excess) / short

    def follow(self, step: Step) -> None:
        """Take an accepted step into account."""
        if self._fresh:
            self._rates = self._change(step.before, step.rate_before, step.width, self._excess)
            self._fresh = False
        if self.scalar:
            self._follow_one(step)
            return
        m0, s0 = self._excess, self._rates
        m1 = self.excess(step.after)
        s1 = self._change(step.after, step.rate_after, step.width, m1)
        self._follow_many(step, m0, m1, s0, s1)
        self._excess = m1
        self._rates = s1

    def _follow_one(self, step: Step) -> None:
        worst, crossed, excess, rates = self._worst, self._crossed, self._excess, self._rates
        width, y, f = step.width, step.after, step.rate_after
        for k, (quantity, sign, value) in enumerate(self._followed):
            m = sign * (quantity.value(y) - value)
            slope = quantity.slope
            if quantity.steady:
                s = 0.0
            elif slope is not None:
                s = sign * slope(y, f)
            else:
                s = self._short_step(k, y, f, width, m)
            before = rates[k]
            turning = before > 0.0 > s and min(before, -s) * width > self._tiny[k]
            if turning or (m >= 0.0 and not crossed[k]):
                self._locate_one(step.ready(), k, excess[k], m, before * width, s * width, turning)
            if m > worst[k]:
                worst[k] = m
            elif m < 0.0 and crossed[k]:
                self.recovered[k, 0] = True
            excess[k], rates[k] = m, s

    def _follow_many(self, step: Step, m0: State, m1: State, s0: State, s1: State) -> None:
        for k, m in enumerate(m1):
            tiny = self._tiny[k] / step.width
            turning = None
            if not self._quantities[k].steady:
                found = (s0[k] > tiny) & (s1[k] < -tiny)
                turning = found if found.any() else None
            if turning is not None or self._is_new(k, m):
                self._locate_many(step, k, m0[k], m, s0[k] * step.width, s1[k] * step.width, turning)
            np.maximum(self._worst[k], m, out=self._worst[k])
            if self._crossed[k]:
                self._note_return(k, m)

    def _is_new(self, k: int, excess: Value) -> bool:
        """Whether some sample of a batch is over limit ``k`` that was not before."""
        return self.locate and bool(np.any((excess >= 0.0) & np.isinf(self.crossing[k])))

    def _locate_one(
        self, step: Step, k: int, m0: float, m1: float, s0: float, s1: float, turning: bool
    ) -> None:
        """Turning point and first crossing of limit ``k`` inside a step, by repeating parts of the step."""
        end, m_end = 1.0, m1
        if turning:
            end = root_float(lambda t: -self._slope(step, t, k), -s0, -s1, 0.0, 0.0)
            m_end = self._at(step, end, k)
            self._worst[k] = _larger(self._worst[k], m_end)
        if self._crossed[k] or m_end < 0.0:
            return
        self._crossed[k] = True
        if self.locate and m0 >= 0.0 and self.crossing[k, 0] == math.inf:
            # it stood at the limit to begin with
            self.crossing[k, 0] = step.start
        if self.locate and m0 < 0.0 and self.crossing[k, 0] == math.inf:
            if self._quantities[k].steady:
                s0 = s1 = m1 - m0
            t = root_float(lambda t: self._at(step, t, k), m0, m1, s0, s1, end)
            self.crossing[k, 0] = step.start + step.width * t

    def _locate_many(
        self,
        step: Step,
        k: int,
        m0: Array,
        m1: Array,
        s0: Value,
        s1: Value,
        turning: NDArray[np.bool_] | None,
    ) -> None:
        """The same for a batch."""
        end, m_end = np.ones_like(m1), m1
        none = np.zeros_like(m1)
        if turning is not None:
            end = root_array(lambda t: -self._slope(step, t, k), -s0, -s1, none, none, end, turning)
            m_end = np.where(turning, self._at(step, end, k), m1)
            self._worst[k] = np.maximum(self._worst[k], m_end)
        at_once = np.isinf(self.crossing[k]) & (m0 >= 0.0) & (m_end > 0.0)
        if self.locate and at_once.any():
            self.crossing[k] = np.where(at_once, step.start, self.crossing[k])
            self._crossed[k] = True
        fresh = np.isinf(self.crossing[k]) & (m0 < 0.0) & (m_end >= 0.0)
        if self.locate and fresh.any():
            if self._quantities[k].steady:
                s0 = s1 = m1 - m0
            t = root_array(lambda t: self._at(step, t, k), m0, m1, s0, s1, end, fresh)
            self.crossing[k] = np.where(fresh, step.start + step.width * t, self.crossing[k])
            self._crossed[k] = True

    def _note_return(self, k: int, excess: Value) -> None:
        if not self.scalar:
            self.recovered[k] |= np.isfinite(self.crossing[k]) & (excess < 0.0)
        elif excess < 0.0:
            self.recovered[k, 0] = True

    def _at(self, step: Step, fraction: Value, k: int) -> Value:
        """Excess of limit ``k`` after a fraction, float or (B,), of the step, integrated anew."""
        return self._signs[k] * (self._quantities[k].value(step.again(fraction)) - self._values[k])

    def _slope(self, step: Step, fraction: Value, k: int) -> Value:
        """Its change per width of the step there."""
        assert self._balance is not None
        y = step.again(fraction)
        rates = step.rates_at(y, self._balance.rhs, fraction)
        return self._change(y, rates, step.width, self.excess(y))[k]

    def close_extremes(self) -> None:
        """Keep the extremes met so far: the target is reached."""
        self.extreme = self._as_rows(self.values_of(self._worst))

    def _as_rows(self, values: State) -> Array:
        if self.scalar:
            return np.array(values, dtype=float).reshape(-1, 1)
        rows = np.empty(self.crossing.shape)
        for row, value in zip(rows, values, strict=True):
            row[:] = value
        return rows


def _larger(a: Value, b: Value) -> Value:
    if isinstance(a, float) and isinstance(b, float):
        return b if b > a else a
    return np.maximum(a, b)

"""The quantity behind each limit, its extreme, and the moment it is first reached.

A limit is watched through its excess, (quantity - limit) for an upper bound and (limit - quantity) for a
lower
one: reached where the excess is not negative. Values are floats for one sample or arrays (B,) for a batch.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

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


@dataclass(frozen=True)
class Quantity:
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
        return _straight(-contents.water * share, (0, share), steady=True)
    if name in ("water_activity_max", "water_activity_min"):
        return Quantity(balance.activity, steady=True)
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
    if h == 0.0 and not contents.reacts:
        return _straight(-contents.amounts["O2"] * per_mass, (place, per_mass))
    used = ((last, per_mass),) if contents.reacts else ()
    if h == 0.0 or balance.capacity is not None:
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
        self._balance: Balance | None = None
        self._quantities: list[Quantity] = []

    def enter(self, time: float, balance: Balance, y: State, rate: State, width: float) -> None:
        """A new segment begins: pressures jump with the temperature, and with them the quantities."""
        self._balance = balance
        self._quantities = quantities_of(self.contents, balance)
        self._excess = self.excess(y)
        self._rates = self._change(y, rate, width, self._excess)
        if time == 0.0:
            self.closing = self._as_rows(self.values_of(self._excess))
        for k, m in enumerate(self._excess):
            self._worst[k] = _larger(self._worst[k], m)
            if self._crossed[k]:
                self._note_return(k, m)
            over = np.atleast_1d(m > (1e-12 * abs(self._values[k]) if time == 0.0 else 0.0))
            if over.any():
                self.crossing[k] = np.where(over & np.isinf(self.crossing[k]), time, self.crossing[k])
                self._crossed[k] = True

    def excess(self, y: State) -> State:
        return [
            s * (q.value(y) - v) for q, s, v in zip(self._quantities, self._signs, self._values, strict=True)
        ]

    def values_of(self, excess: State) -> State:
        """Quantities that belong to excesses."""
        return [v + s * m for m, s, v in zip(excess, self._signs, self._values, strict=True)]

    def _change(self, y: State, rate: State, width: float, excess: State) -> State:
        """Change of each excess over ``width`` at its rate now; 0 where it cannot turn."""
        changes: State = []
        moved: State | None = None
        short = 1e-3 * width
        for k, quantity in enumerate(self._quantities):
            if quantity.steady:
                changes.append(0.0)
            elif quantity.slope is not None:
                changes.append(self._signs[k] * width * quantity.slope(y, rate))
            else:
                if moved is None:
                    moved = [u + short * f for u, f in zip(y, rate, strict=True)]
                there = self._signs[k] * (quantity.value(moved) - self._values[k])
                changes.append(1e3 * (there - excess[k]))
        return changes

    def follow(self, step: Step) -> None:
        """Take an accepted step into account."""
        before, slope = self._excess, self._rates
        after = self.excess(step.after)
        slope_after = self._change(step.after, step.rate_after, step.width, after)
        if self.scalar:
            self._follow_one(step, before, after, slope, slope_after)
        else:
            self._follow_many(step, before, after, slope, slope_after)
        self._excess = after
        self._rates = slope_after

    def _follow_one(self, step: Step, m0: State, m1: State, s0: State, s1: State) -> None:
        worst = self._worst
        for k, m in enumerate(m1):
            tiny = self._tiny[k]
            turning = s0[k] > tiny and s1[k] < -tiny
            if turning or (m >= 0.0 and not self._crossed[k]):
                self._locate_one(step, k, m0[k], m, s0[k], s1[k], turning)
            if m > worst[k]:
                worst[k] = m
            elif m < 0.0 and self._crossed[k]:
                self.recovered[k] = True

    def _follow_many(self, step: Step, m0: State, m1: State, s0: State, s1: State) -> None:
        for k, m in enumerate(m1):
            tiny = self._tiny[k]
            turning = None
            if not self._quantities[k].steady:
                found = (s0[k] > tiny) & (s1[k] < -tiny)
                turning = found if found.any() else None
            if turning is not None or self._is_new(k, m):
                self._locate_many(step, k, m0[k], m, s0[k], s1[k], turning)
            np.maximum(self._worst[k], m, out=self._worst[k])
            if self._crossed[k]:
                self._note_return(k, m)

    def _is_new(self, k: int, excess: Value) -> bool:
        """Whether some sample of a batch is over limit ``k`` that was not before."""
        return self.locate and bool(np.any((excess >= 0.0) & np.isinf(self.crossing[k])))

    def rescale(self, ratio: float) -> None:
        """The next step will be ``ratio`` times as wide as the last: changes per step go with it."""
        self._rates = [r * ratio for r in self._rates]

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
        if self.locate and m0 < 0.0 and self.crossing[k, 0] == math.inf:
            if self._quantities[k].steady:
                s0 = s1 = m1 - m0
            t = root_float(lambda t: self._at(step, t, k), m0, m1, s0, s1, end)
            self.crossing[k, 0] = step.start + step.width * t

    def _locate_many(
        self, step: Step, k: int, m0: Array, m1: Array, s0: Value, s1: Value, turning: NDArray[np.bool_] | None
    ) -> None:
        """The same for a batch."""
        end, m_end = np.ones_like(m1), m1
        none = np.zeros_like(m1)
        if turning is not None:
            end = root_array(lambda t: -self._slope(step, t, k), -s0, -s1, none, none, end, turning)
            m_end = np.where(turning, self._at(step, end, k), m1)
            self._worst[k] = np.maximum(self._worst[k], m_end)
        fresh = np.isinf(self.crossing[k]) & (m0 < 0.0) & (m_end >= 0.0)
        if self.locate and fresh.any():
            if self._quantities[k].steady:
                s0 = s1 = m1 - m0
            t = root_array(lambda t: self._at(step, t, k), m0, m1, s0, s1, end, fresh)
            self.crossing[k] = np.where(fresh, step.start + step.width * t, self.crossing[k])
            self._crossed[k] = True

    def _note_return(self, k: int, excess: Value) -> None:
        self.recovered[k] |= np.isfinite(self.crossing[k]) & (np.asarray(excess) < 0.0)

    def _at(self, step: Step, fraction: Value, k: int) -> Value:
        """Excess of limit ``k`` after a fraction, float or (B,), of the step, integrated anew."""
        return self._signs[k] * (self._quantities[k].value(step.again(fraction)) - self._values[k])

    def _slope(self, step: Step, fraction: Value, k: int) -> Value:
        """Its change per width of the step there."""
        assert self._balance is not None
        y = step.again(fraction)
        return self._change(y, self._balance.rhs(y), step.width, self.excess(y))[k]

    def close_extremes(self) -> None:
        """Keep the extremes met so far: the target is reached."""
        self.extreme = self._as_rows(self.values_of(self._worst))

    def _as_rows(self, values: State) -> Array:
        if not values:
            return np.zeros(self.crossing.shape)
        return np.stack(
            [np.broadcast_to(np.asarray(v, dtype=float), self.crossing.shape[1:]) for v in values]
        )


def _larger(a: Value, b: Value) -> Value:
    if isinstance(a, float) and isinstance(b, float):
        return b if b > a else a
    return np.maximum(a, b)

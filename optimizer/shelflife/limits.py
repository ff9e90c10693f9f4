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
from optimizer.shelflife.balance import Balance
from optimizer.shelflife.contents import Contents
from optimizer.shelflife.integrate import State, Step, advance

Array = NDArray[np.float64]
Value = Any
#: Changes below this share of the limit are taken as rounding when a turning point is looked for.
_FLAT = 1e-9


@dataclass(frozen=True)
class Quantity:
    """value(y): the quantity [unit as in ``package.Limit``]; terms: (component, coefficient) pairs when it
    is a
    straight sum over the state plus a constant, else None."""

    value: Callable[[State], Value]
    terms: tuple[tuple[int, float], ...] | None = None


def sign_of(name: str) -> float:
    """+1 for an upper bound, -1 for a lower one."""
    return -1.0 if name == "water_activity_min" else 1.0


def quantities_of(contents: Contents, balance: Balance) -> list[Quantity]:
    """One quantity per limit of the product, in its order."""
    return [_quantity(limit.name, contents, balance) for limit in contents.product.limits]


def _straight(constant: float, *terms: tuple[int, float]) -> Quantity:
    if len(terms) == 1:
        ((i, c),) = terms
        return Quantity(lambda y: constant + c * y[i], terms)
    (i, c), (j, d) = terms
    return Quantity(lambda y: constant + c * y[i] + d * y[j], terms)


def _quantity(name: str, contents: Contents, balance: Balance) -> Quantity:
    first, gases, product = contents.first_gas, contents.gases, contents.product
    observe = balance.observe
    if name in ("water_gain", "water_loss"):
        share = MOLAR_MASS["H2O"] / product.mass * (1.0 if name == "water_gain" else -1.0)
        return _straight(-contents.water * share, (0, share))
    if name in ("water_activity_max", "water_activity_min"):
        return Quantity(balance.activity)
    if name == "co2_loss":
        k = first + gases.index("CO2")
        return _straight(1.0, (k, -1.0 / contents.amounts["CO2"]))
    oxygen = gases.index("O2")
    place, last = first + oxygen, first + len(gases)
    if name == "headspace_oxygen":

        def share_of(y: State) -> Value:
            pressures = observe(y).pressures
            return pressures[oxygen] / (sum(pressures) + 1e-300)

        return Quantity(share_of)
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
        """Change of each excess over ``width`` at its rate now: exact for a straight sum, else by a short
        step
        along the state's rate."""
        changes: State = []
        moved: State | None = None
        short = 1e-3 * width
        for k, quantity in enumerate(self._quantities):
            terms = quantity.terms
            if terms is not None:
                slope = terms[0][1] * rate[terms[0][0]]
                if len(terms) > 1:
                    slope = slope + terms[1][1] * rate[terms[1][0]]
                changes.append(self._signs[k] * width * slope)
                continue
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
        worst, tiny = self._worst, self._tiny
        for k, m in enumerate(after):
            if self.scalar:
                turning = slope[k] > tiny[k] and slope_after[k] < -tiny[k]
                if turning or (m >= 0.0 and not self._crossed[k]):
                    self._locate(step, k, before[k], m, slope[k], slope_after[k])
                if m > worst[k]:
                    worst[k] = m
                elif m < 0.0 and self._crossed[k]:
                    self.recovered[k] = True
                continue
            if np.any((slope[k] > tiny[k]) & (slope_after[k] < -tiny[k])) or self._is_new(k, m):
                self._locate(step, k, before[k], m, slope[k], slope_after[k])
            worst[k] = np.maximum(worst[k], m)
            if self._crossed[k]:
                self._note_return(k, m)
        self._excess = after
        self._rates = slope_after

    def _is_new(self, k: int, excess: Value) -> bool:
        """Whether some sample of a batch is over limit ``k`` that was not before."""
        return self.locate and bool(np.any((excess >= 0.0) & np.isinf(self.crossing[k])))

    def rescale(self, ratio: float) -> None:
        """The next step will be ``ratio`` times as wide as the last: changes per step go with it."""
        self._rates = [r * ratio for r in self._rates]

    def _locate(self, step: Step, k: int, m0: Value, m1: Value, s0: Value, s1: Value) -> None:
        """Turning point and first crossing of limit ``k`` inside a step, by repeating parts of the step."""
        m0, m1, s0, s1 = (
            np.array(np.broadcast_to(x, self.crossing[k].shape), dtype=float) for x in (m0, m1, s0, s1)
        )
        turning = (s0 > self._tiny[k]) & (s1 < -self._tiny[k])
        end, m_end = np.ones_like(m0), m1.copy()
        if turning.any():
            end = np.where(turning, _top(m0, m1, s0, s1), 1.0)
            m_end = np.where(turning, self._at(step, end, k), m1)
            self._worst[k] = _larger(self._worst[k], float(m_end[0]) if self.scalar else m_end)
        fresh = np.isinf(self.crossing[k]) & (m0 < 0.0) & (m_end >= 0.0)
        if not self.locate and self.scalar:
            self._crossed[k] = self._crossed[k] or bool(m_end[0] >= 0.0)
        if self.locate and fresh.any():
            cubic = (m0[fresh], m1[fresh], s0[fresh], s1[fresh])
            bound = end[fresh]
            fraction, near = np.ones_like(m0), _hermite_root(*cubic, bound)
            for _ in range(2):
                fraction[fresh] = near
                miss = self._at(step, fraction, k)[fresh]
                slope = _hermite_slope(*cubic, near)
                move = np.where(np.abs(slope) > 1e-300, miss / np.where(slope == 0.0, 1.0, slope), 0.0)
                near = np.clip(near - move, 1e-12, bound)
            fraction[fresh] = near
            time = step.start + step.width * fraction
            self.crossing[k] = np.where(fresh, time, self.crossing[k])
            self._crossed[k] = True

    def _note_return(self, k: int, excess: Value) -> None:
        self.recovered[k] |= np.isfinite(self.crossing[k]) & (np.asarray(excess) < 0.0)

    def _at(self, step: Step, fraction: Array, k: int) -> Array:
        """Excess of limit ``k`` after a fraction (B,) of the step, integrated anew."""
        assert self._balance is not None
        width: Value = step.width * (float(fraction[0]) if self.scalar else fraction)
        y, _ = advance(self._balance, step.before, step.rate_before, width)
        return np.atleast_1d(np.asarray(self.excess(y)[k], dtype=float))

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


def _hermite(m0: Array, m1: Array, s0: Array, s1: Array, t: Array) -> Array:
    one = 1.0 - t
    value: Array = (
        (1 + 2 * t) * one * one * m0 + t * t * (3 - 2 * t) * m1 + t * one * one * s0 - t * t * one * s1
    )
    return value


def _hermite_slope(m0: Array, m1: Array, s0: Array, s1: Array, t: Array) -> Array:
    value: Array = 6 * t * (1 - t) * (m1 - m0) + (1 - t) * (1 - 3 * t) * s0 + t * (3 * t - 2) * s1
    return value


def _top(m0: Array, m1: Array, s0: Array, s1: Array) -> Array:
    """Where the cubic with slopes s0 > 0 > s1 turns, by bisection on its slope."""
    lo, hi = np.zeros_like(m0), np.ones_like(m0)
    for _ in range(40):
        mid = 0.5 * (lo + hi)
        rising = _hermite_slope(m0, m1, s0, s1, mid) > 0
        lo, hi = np.where(rising, mid, lo), np.where(rising, hi, mid)
    return np.clip(0.5 * (lo + hi), 1e-6, 1.0)


def _hermite_root(m0: Array, m1: Array, s0: Array, s1: Array, end: Array) -> Array:
    lo, hi = np.zeros_like(m0), end.copy()
    for _ in range(24):
        mid = 0.5 * (lo + hi)
        below = _hermite(m0, m1, s0, s1, mid) < 0
        lo, hi = np.where(below, mid, lo), np.where(below, hi, mid)
    return np.clip(0.5 * (lo + hi), 1e-12, 1.0)

"""Many samples at once in numpy, with common steps: for packages that the compiled march does not follow, and
where numba is not installed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.shelflife.contents import Contents
from optimizer.shelflife.limits import Quantity, quantities_of, sign_of
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.transient.march import March, Stride
from optimizer.shelflife.transient.plan import Plan, opening_amounts
from optimizer.shelflife.transient.run import balance_for
from optimizer.shelflife.transient.segment import Seen, Segment
from optimizer.shelflife.transient.surroundings import Surroundings, durations

Array = NDArray[np.float64]
Value = Any
State = list[Value]
#: Values at both ends of a step and slopes there, over the whole step.
Ends = tuple[Array, Array, Array, Array]


def contents_by_sample(plan: Plan) -> Contents:
    """The contents at closing with amounts (B,)."""
    contents, v = plan.contents, plan.variation
    water, *gases = opening_amounts(plan)
    more = 1.0 if v is None or v.headspace_oxygen is None else v.headspace_oxygen
    return replace(
        contents,
        amounts=dict(zip(contents.gases, gases, strict=True)),
        water=water,
        dissolved_oxygen=more * contents.dissolved_oxygen,  # type: ignore[arg-type]
    )


class Batch:
    """crossing, extreme, closing: (B, L), as in ``kernel_data.Answer``."""

    def __init__(self, plan: Plan, segments: Segments, *, end: float, target: float, rtol: float) -> None:
        assert plan.variation is not None
        self.plan, self.segments = plan, segments
        self.target = target
        self.surroundings = Surroundings(plan, segments)
        self.spans = np.broadcast_to(durations(plan.variation, segments, end), (len(segments), plan.samples))
        self.march = March(plan, rtol)
        self.contents = contents_by_sample(plan)
        limits = plan.contents.product.limits
        shape = (plan.samples, len(limits))
        self.crossing = np.full(shape, np.inf)
        self.extreme, self.closing = np.full(shape, np.nan), np.full(shape, np.nan)
        self.signs = [sign_of(x.name) for x in limits]
        self.values = [x.value * plan.variation.limit.get(x.name, np.ones(plan.samples)) for x in limits]

    def run(self) -> None:
        state: State = []
        segment: Segment | None = None
        time = np.zeros(self.plan.samples)
        for k in range(len(self.segments)):
            span = self.spans[k]
            if not np.any(span > 0.0):
                break
            first = float(self.segments.start[k])
            now = self.surroundings.at(k, first, first + float(self.segments.duration[k]))
            following = Segment(self.plan, now, segment)
            if segment is None:
                gas, humidity = self.surroundings.before()
                state = following.start(self._opening(), gas, humidity)
            segment = following
            quantities = quantities_of(self.contents, balance_for(segment))
            seen = segment.seen(state, 0.0)
            # at closing what is inside counts alone, without what the inner faces of the walls bring at once
            y = segment.amounts(state, seen) if k else self._opening()
            rows = [np.broadcast_to(q.value(y), time.shape) for q in quantities]
            self._enter(time, rows, k == 0)
            for stride in self.march.strides(segment, state, span):
                seen, rows = self._follow(segment, quantities, stride, time, span, seen, rows)
                state = stride.after
            time = time + span

    def _opening(self) -> State:
        """What is inside at closing, as ``Segment.amounts`` has it."""
        one = np.ones(self.plan.samples)
        water, *gases = opening_amounts(self.plan)
        inside = [water, *gases] if self.plan.water is not None else gases
        used = [0.0] if self.plan.consumed >= 0 else []
        return [x * one for x in (*inside, *used)]

    def _enter(self, time: Array, rows: list[Array], opening: bool) -> None:
        for k, (q, sign, value) in enumerate(zip(rows, self.signs, self.values, strict=True)):
            excess = sign * (q - value)
            if opening:
                self.closing[:, k] = self.extreme[:, k] = q
            else:
                self._worst(k, sign, q, time <= self.target)
            over = (excess > (1e-12 * np.abs(value) if opening else 0.0)) & np.isinf(self.crossing[:, k])
            self.crossing[over, k] = time[over]

    def _worst(self, k: int, sign: float, q: Array, counts: NDArray[np.bool_]) -> None:
        worse = counts & (sign * (q - self.extreme[:, k]) > 0.0)
        self.extreme[worse, k] = q[worse]

    def _follow(
        self,
        segment: Segment,
        quantities: list[Quantity],
        stride: Stride,
        time: Array,
        span: Array,
        seen: Seen,
        rows: list[Array],
    ) -> tuple[Seen, list[Array]]:
        """Crossings and extremes of a step: quantities as cubics through both ends and their slopes there."""
        begin, width = time + stride.first * span, (stride.last - stride.first) * span
        short = 1e-3 * np.where(width > 0.0, width, 1.0)

        def slopes(y: State, rates: State, now: list[Array], sign: float) -> list[Array]:
            moved = [u + sign * short * f for u, f in zip(y, rates, strict=True)]
            return [
                sign * (np.broadcast_to(q.value(moved), time.shape) - v) / short * width
                for q, v in zip(quantities, now, strict=True)
            ]

        before = segment.amounts(stride.before, seen)
        first = segment.amount_rates(stride.before, stride.rates_before, seen, stride.first)
        starting = slopes(before, first, rows, 1.0)
        later = segment.seen(stride.after, stride.last)
        after = segment.amounts(stride.after, later)
        last = segment.amount_rates(stride.after, stride.rates_after, later, stride.last)
        found = [np.broadcast_to(q.value(after), time.shape) for q in quantities]
        ending = slopes(after, last, found, -1.0)
        inner = np.clip((self.target - begin) / np.where(width > 0.0, width, 1.0), 0.0, 1.0)
        for k, (sign, value) in enumerate(zip(self.signs, self.values, strict=True)):
            q0, q1, s0, s1 = rows[k], found[k], starting[k], ending[k]
            self._cross(k, sign, value, (q0, q1, s0, s1), begin, width)
            self._worst(k, sign, _cubic(q0, q1, s0, s1, inner), begin < self.target)
        return later, found

    def _cross(
        self,
        k: int,
        sign: float,
        value: Array,
        ends: tuple[Array, Array, Array, Array],
        begin: Array,
        width: Array,
    ) -> None:
        m0, m1 = sign * (ends[0] - value), sign * (ends[1] - value)
        open_ = np.isinf(self.crossing[:, k]) & (width > 0.0) & (m1 >= 0.0)
        at_once = open_ & (m0 >= 0.0) & (m1 > 0.0)
        self.crossing[at_once, k] = begin[at_once]
        fresh = open_ & (m0 < 0.0)
        if not fresh.any():
            return
        low, high = np.zeros_like(m0), np.ones_like(m0)
        for _ in range(50):
            t = 0.5 * (low + high)
            below = sign * (_cubic(*ends, t) - value) < 0.0
            low, high = np.where(below, t, low), np.where(below, high, t)
        self.crossing[fresh, k] = (begin + width * high)[fresh]


def _cubic(q0: Array, q1: Array, s0: Array, s1: Array, t: Array) -> Array:
    """Cubic Hermite interpolation; slopes over the whole step."""
    one = 1.0 - t
    value: Array = (
        (1.0 + 2.0 * t) * one * one * q0 + t * t * (3.0 - 2.0 * t) * q1 + t * one * (one * s0 - t * s1)
    )
    return value

"""Steps of a segment by SDIRK4(3), as wide as the error allows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from optimizer.errors import SolverError
from optimizer.shelflife.transient.plan import Place, Plan
from optimizer.shelflife.transient.sdirk import ERROR, GAMMA, A, C
from optimizer.shelflife.transient.segment import Segment

Value = Any
State = list[Value]

#: Local error allowed per step, relative to the amounts inside; errors of the answer are a tenth of it and
#: less.
TOLERANCE = 1e-4
#: Floor of that scale, as a share of the typical amount.
FLOOR = 1e-2
#: The mean activity of the walls and the shares of a sink may be out by this many times the tolerance.
_WALL = 10.0


class Stride(NamedTuple):
    """An accepted step, as fractions of its segment; states and rates at both ends."""

    first: float
    last: float
    before: State
    rates_before: State
    after: State
    rates_after: State


class March:
    """Keeps the width of the last steps from segment to segment."""

    def __init__(self, plan: Plan, rtol: float = TOLERANCE) -> None:
        self.plan, self.rtol = plan, rtol
        self._scales = [x * FLOOR for x in plan.contents.scales()]
        self._opening: float | None = None

    def strides(self, segment: Segment, y: State, duration: Value, fixed: int = 0) -> Iterator[Stride]:
        """duration: of the segment [s]. fixed: take that many equal steps whatever the error."""
        longest = duration if isinstance(duration, float) else float(np.max(duration))
        at, opening, rejected = 0.0, True, False
        width = 1.0 / fixed if fixed else min(1.0, (self._opening or 0.01 * longest) / longest)
        rates = segment.initial_rates(y)
        while at < 1.0:
            left = 1.0 - at
            if width >= 0.999 * left:
                width = left
            elif width > 0.5 * left and not fixed:
                width = 0.5 * left
            new, last, size = self._step(segment, y, duration, at, width)
            if size <= 1.0 or fixed:
                end = 1.0 if width == left else at + width
                yield Stride(at, end, y, rates, new, last)
                at, y, rates = end, new, last
                growth = min(5.0, 0.9 * size**-0.25) if size > 1e-4 else 5.0
                if opening and not fixed:
                    self._opening = width * longest * min(growth, 3.0)
                    opening = False
                if not fixed:
                    width *= min(1.0, growth) if rejected else growth
                rejected = False
            else:
                width *= max(0.1, 0.9 * size**-0.25) if size < 1e300 else 0.1
                rejected = True
                if width * longest < 1e-9:
                    raise SolverError("the integration of the walls got stuck; please report this case")

    def _step(
        self, segment: Segment, y: State, duration: Value, at: float, width: float
    ) -> tuple[State, State, float]:
        """State and rates after a step, and its error in units of the tolerance."""
        h = width * duration
        segment.factor(GAMMA * h)
        rates: list[State] = []
        for weights, c in zip(A, C, strict=True):
            hist = y if not weights else _combined(y, [h * w for w in weights], rates)
            rates.append(segment.stage(hist, at + c * width))
        share = GAMMA * h
        new = [u + share * f for u, f in zip(hist, rates[-1], strict=True)]
        error = _combined(None, [h * w for w in ERROR], rates)
        return new, rates[-1], self._size(segment, y, new, error)

    def _size(self, segment: Segment, y: State, new: State, error: State) -> float:
        plan, rtol = self.plan, self.rtol
        scales = iter(self._scales)
        sizes: list[Value] = []
        if plan.water is not None:
            floor = next(scales)
            if segment.moving:
                e = abs(error[plan.water.total])
                sizes.append(e / (rtol * (abs(new[plan.water.total]) + floor)))
            capacity, miss = 0.0, 0.0
            for lane, (first, _) in zip(segment.wet, plan.water.walls, strict=True):
                stored = [(x.storage, x.stores, x.potential.slopes.max()) for x in lane.layers]
                capacity = capacity + sum(sum(m) * s for m, keeps, s in stored if keeps)
                miss = miss + _nodes(error, first, [(m, keeps) for m, keeps, _ in stored])
            if _positive(capacity):
                sizes.append(miss / (_WALL * rtol * capacity))
        for g, place in enumerate(plan.gases):
            scale = rtol * (np.maximum(abs(y[place.total]), abs(new[place.total])) + next(scales))
            sizes.append(abs(error[place.total]) / scale)
            miss = 0.0
            for gas, (first, _) in zip(segment.lanes[g], place.walls, strict=True):
                miss = miss + _nodes(error, first, [(x.storage, x.stores) for x in gas.layers])
            sizes.append(miss / scale)
            sizes += self._sinks(place, error)
        if plan.consumed >= 0:
            k = plan.consumed
            sizes.append(abs(error[k]) / (rtol * (abs(new[k]) + next(scales))))
        worst = max(float(np.max(s)) for s in sizes) if sizes else 0.0
        return worst if worst == worst else np.inf

    def _sinks(self, place: Place, error: State) -> list[Value]:
        rows = [w for row in place.left for w in row if w is not None]
        return [
            sum(abs(e) for e in error[first:end]) / ((end - first) * _WALL * self.rtol) for first, end in rows
        ]


def _combined(y: State | None, weights: list[Value], rates: list[State]) -> State:
    """y + sum of weights times rates."""
    if len(weights) == 1:
        (w,) = weights
        assert y is not None
        return [u + w * f for u, f in zip(y, rates[0], strict=True)]
    found = []
    for i in range(len(rates[0])):
        total = 0.0 if y is None else y[i]
        for w, f in zip(weights, rates, strict=True):
            total = total + w * f[i]
        found.append(total)
    return found


def _nodes(error: State, first: int, layers: list[tuple[State, bool]]) -> Value:
    """Sum of the sizes of errors at the nodes of layers that store."""
    total: Value = 0.0
    at = first
    count = len(layers)
    for k, (storage, keeps) in enumerate(layers):
        n = len(storage) - 2
        if keeps:
            for e in error[at : at + n]:
                total = total + abs(e)
        at += n
        if k + 1 < count:
            if keeps or layers[k + 1][1]:
                total = total + abs(error[at])
            at += 1
    return total


def _positive(value: Value) -> bool:
    return bool(np.all(np.asarray(value) > 0.0))

"""The quasi-steady simulation: contents against exchange, from closing to ``until``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.shelflife.balance import Balances
from optimizer.shelflife.contents import Contents, contents_of, simulated_gases, water_matters
from optimizer.shelflife.exchange import Exchange
from optimizer.shelflife.integrate import State, Step, integrate
from optimizer.shelflife.limits import Watch, quantities_of
from optimizer.shelflife.march import fits, march
from optimizer.shelflife.package import Product
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.terms import Balance

Array = NDArray[np.float64]

#: Local error allowed per step, relative to the state; crossing times come out at about the same relative
#: error.
RELATIVE_TOLERANCE = 1e-6
#: Floor of the error scale, as a share of the typical size of a component.
_FLOOR = 1e-2


@dataclass(frozen=True)
class Trajectory:
    """Shapes: B samples, L limits in the product's order, N sample times.

    crossing: time [s] at which a limit is first reached, inf where it is not, 0 where exceeded at closing
    (B, L);
    recovered: a limit that was reached is kept again later (B, L); closing: quantities just after closing
    (B, L);
    extreme: the worst value of each quantity up to ``extremes_until`` (B, L); times (N,) [s]; quantities
    (B, L, N); pressures [Pa] and amounts [mol] per gas, activity inside [-], water: net water taken up [mol],
    oxygen used up [mol], volume of headspace [m3], each (B, N); steps: accepted steps.
    """

    crossing: Array
    recovered: NDArray[np.bool_]
    closing: Array
    extreme: Array
    times: Array
    quantities: Array
    pressures: Mapping[str, Array]
    amounts: Mapping[str, Array]
    activity: Array
    water: Array
    used: Array
    volume: Array
    steps: int


def simulate(
    product: Product,
    exchange: Exchange,
    *,
    until: float | None = None,
    extremes_until: float | None = None,
    sample_times: ArrayLike | None = None,
    rtol: float = RELATIVE_TOLERANCE,
    crossings: bool = True,
) -> Trajectory:
    """Simulate every sample of ``exchange`` with ``product`` inside.

    until [s]: default the end of the exchange's segments. extremes_until [s]: default ``until``. sample_times
    (N,) [s], increasing, within 0 and ``until``: where to record the trajectory. rtol [-]: error allowed
    per step.
    crossings: False saves the search for the moments at which limits are reached (they are left as inf).
    """
    segments = exchange.segments
    end = float(segments.end[-1]) if until is None else float(until)
    target = end if extremes_until is None else min(float(extremes_until), end)
    if not 0 < end <= segments.end[-1] * (1 + 1e-9):
        raise ValueError("the end of the simulation must lie within the segments of the exchange")
    samples = exchange.size
    scalar = samples == 1
    gases = simulated_gases(product)
    contents = contents_of(product, gases, water_matters(product))
    y: State = [v if scalar else np.full(samples, v) for v in contents.start()]
    watch = Watch(contents, samples, crossings)
    record = Record(contents, samples, sample_times)
    atol = [rtol * _FLOOR * s for s in contents.scales()]
    width, steps = 0.02 * float(segments.duration[0]), 0
    last: int | None = None
    balance: Balance | None = None
    balances = Balances(contents, exchange, scalar)

    for index, begin, finish in pieces(segments, target, end):
        if index != last:
            balance = balances.at(index)
            last = index
            watch.enter(begin, balance, y)
        assert balance is not None
        record.start(begin, balance, y)
        if not y:
            record.stay(finish, balance)
        opening = True
        for step in _steps(balance, y, begin, finish, rtol, atol, width) if y else ():
            watch.follow(step)
            if record.next_time <= finish * (1 + 1e-14):
                record.follow(step, balance)
            y, steps = step.after, steps + 1
            if balance.chain is None:
                growth = min(4.0, 0.9 * step.size**-0.25) if step.size > 1e-4 else 4.0
                width = step.width * growth
            elif opening:
                # conditions jump at the next segment too: begin there with what would have done here
                width = step.width * (0.7 * step.size**-0.2 if step.size > 1e-6 else 10.0)
                opening = False
        if finish == target:
            watch.close_extremes()
    assert watch.extreme is not None
    return Trajectory(
        crossing=watch.crossing.T,
        recovered=watch.recovered.T,
        closing=watch.closing.T,
        extreme=watch.extreme.T,
        steps=steps,
        **record.arrays(),  # type: ignore[arg-type]
    )


def _steps(
    balance: Balance, y: State, start: float, end: float, rtol: float, atol: State, first: float
) -> Iterator[Step]:
    """Steps of one segment by the quickest way that the balance allows."""
    chain = balance.chain
    if chain is None:
        return integrate(balance, y, start, end, rtol=rtol, atol=atol, first=first)
    way = march if fits(chain) else integrate
    return way(chain, y, start, end, rtol=rtol, atol=atol, first=first)


def limit_extremes(
    product: Product, exchange: Exchange, until: float, *, rtol: float = RELATIVE_TOLERANCE
) -> Array:
    """Worst value of each limit's quantity over [0, until], (B, L), in the units of ``package.Limit``.

    Within one batch the step widths are common, so differences between samples are smooth in the multipliers.
    """
    return simulate(product, exchange, until=until, rtol=rtol, crossings=False).extreme


def pieces(segments: Segments, target: float, end: float) -> Iterator[tuple[int, float, float]]:
    """(segment, from, to) up to ``end``, with a stop at ``target``."""
    close = 1e-12 * end
    for k, (begin, finish) in enumerate(zip(segments.start.tolist(), segments.end.tolist(), strict=True)):
        if begin >= end - close:
            return
        if finish >= end - close:
            finish = end
        if abs(finish - target) <= close:
            finish = target
        if begin < target < finish:
            yield k, begin, target
            begin = target
        yield k, begin, finish


class Record:
    """Samples of the trajectory at given times, inside the steps (see ``Step.at``)."""

    def __init__(self, contents: Contents, samples: int, times: ArrayLike | None) -> None:
        self.contents, self.samples = contents, samples
        self.times = np.zeros(0) if times is None else np.asarray(times, dtype=float)
        if len(self.times) and np.any(np.diff(self.times) < 0):
            raise ValueError("sample times must increase")
        self._list = self.times.tolist()
        self._next = 0
        self.next_time = self._list[0] if self._list else np.inf
        n, count = len(self._list), len(contents.product.limits)
        self.quantities = np.full((samples, count, n), np.nan)
        self.state = np.full((len(contents.start()), samples, n), np.nan)
        self.pressures = np.full((len(contents.gases), samples, n), np.nan)
        self.activity = np.full((samples, n), np.nan)
        self.volume = np.full((samples, n), np.nan)

    def start(self, time: float, balance: Balance, y: State) -> None:
        while self._next < len(self._list) and self._list[self._next] <= time:
            self._store(y, balance)

    def stay(self, finish: float, balance: Balance) -> None:
        while self._next < len(self._list) and self._list[self._next] <= finish:
            self._store([], balance)

    def follow(self, step: Step, balance: Balance) -> None:
        stop = step.start + step.width
        if self.next_time > stop * (1 + 1e-14):
            return
        if step.method is None or step.method.dense:
            step = step.ready()
        while self._next < len(self._list) and self._list[self._next] <= stop * (1 + 1e-14):
            self._store(step.at(min(1.0, (self._list[self._next] - step.start) / step.width)), balance)

    def _store(self, y: State, balance: Balance) -> None:
        k = self._next
        seen = balance.observe(y)
        for i, value in enumerate(y):
            self.state[i, :, k] = value
        for i, value in enumerate(seen.pressures):
            self.pressures[i, :, k] = value
        self.activity[:, k] = seen.activity
        self.volume[:, k] = seen.volume
        for i, quantity in enumerate(quantities_of(self.contents, balance)):
            self.quantities[:, i, k] = quantity.value(y)
        self._next += 1
        self.next_time = self._list[self._next] if self._next < len(self._list) else np.inf

    def arrays(self) -> dict[str, object]:
        c = self.contents
        zeros = np.zeros((self.samples, len(self._list)))
        return {
            "times": self.times,
            "quantities": self.quantities,
            "pressures": {g: self.pressures[i] for i, g in enumerate(c.gases)},
            "amounts": {g: self.state[c.first_gas + i] for i, g in enumerate(c.gases)},
            "activity": self.activity,
            "water": self.state[0] - c.water if c.tracks_water else zeros,
            "used": self.state[-1] if c.reacts else zeros,
            "volume": self.volume,
        }

"""What a hand calculation takes from the simulation: when the limit is reached, and what moved until then."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DAY, DRY_AIR, ZERO_CELSIUS
from optimizer.results import StageSpan
from optimizer.shelflife.balance import Balances
from optimizer.shelflife.contents import Contents, contents_of, simulated_gases, water_matters
from optimizer.shelflife.exchange import Exchange, exchange_of
from optimizer.shelflife.limits import quantities_of
from optimizer.shelflife.package import Case, Limit
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.simulate import Trajectory, simulate
from optimizer.shelflife.terms import Observation

Array = NDArray[np.float64]

#: Points of a segment over which a mean activity is taken.
_MEAN = 9
#: A limit that changes by less than this share of it in the time until then is passed too slowly to solve
#: for the day with seven digits.
_CLEAR = 0.05
#: Share of the time looked at by which a moment belongs to the segment that begins there.
_AT_ONCE = 1e-9


@dataclass(frozen=True)
class Span:
    """A time of one set of surroundings, or of several under one name. segments: indices; duration [s] until
    the end of what is worked out; moved: net amounts [mol] into the package, by gas and H2O; activity: mean
    inside; one: whether all its segments have the same surroundings."""

    name: str
    start: float
    duration: float
    segments: tuple[int, ...]
    moved: dict[str, float]
    activity: float
    one: bool


@dataclass(frozen=True)
class Followed:
    """One limit followed with steady walls to ``end`` [s]: where it is reached, else the target or the
    horizon. last: segment of that moment; quantity: of the limit there.

    solves: whether a hand calculation can solve for the day; else it works out the quantity on it: where the
    limit is not reached, reached at once as a stage begins, or passed so slowly that rounding would decide.
    spans: in order of time; seen: pressures [Pa], activity and volume [m3] at the end; used: oxygen used up
    [mol].
    """

    case: Case
    limit: Limit
    contents: Contents
    segments: Segments
    reached: bool
    solves: bool
    end: float
    last: int
    quantity: float
    spans: tuple[Span, ...]
    seen: Observation
    used: float

    def pressure(self, gas: str) -> float:
        """Partial pressure inside at the end [Pa]."""
        return float(self.seen.pressures[self.contents.gases.index(gas)])


def follow(case: Case, name: str) -> Followed:
    """Follow the limit ``name`` of a case whose package has no covers (see ``covered.expanded``)."""
    case = replace(case, wall="steady")
    exchange = exchange_of(case)
    place = [x.name for x in case.product.limits].index(name)
    run = simulate(case.product, exchange, until=case.horizon, extremes_until=case.target)
    crossing = float(run.crossing[0, place])
    reached = bool(np.isfinite(crossing))
    end = crossing if reached else min(case.target or case.horizon, case.horizon)
    segments = exchange.segments
    last = (
        int(np.searchsorted(segments.start, end * (1 - _AT_ONCE) if not reached else end, side="right")) - 1
    )
    at_once = reached and end - float(segments.start[last]) <= _AT_ONCE * case.horizon
    contents = contents_of(case.product, simulated_gases(case.product), water_matters(case.product))
    bounds, moved, activity, state = _movements(case, exchange, contents, end, last)
    balance = Balances(contents, exchange, True).at(last)
    value = quantities_of(contents, balance)[place].value
    step = 1e-5 * end
    ahead = [y + step * f for y, f in zip(state, balance.rhs(state), strict=True)]
    change = abs(float(value(ahead)) - float(value(state))) / 1e-5
    return Followed(
        case,
        case.product.limits[place],
        contents,
        segments,
        reached,
        reached and not at_once and change > _CLEAR * abs(case.product.limits[place].value),
        end,
        last,
        float(value(state)),
        _spans(segments, bounds, moved, activity),
        balance.observe(state),
        state[-1] if contents.reacts else 0.0,
    )


def _movements(
    case: Case, exchange: Exchange, contents: Contents, end: float, last: int
) -> tuple[Array, dict[str, Array], Array, list[float]]:
    """Ends of the segments up to ``end`` (n + 1,), what moved in each (n,), its mean activity (n,), and the
    state at the end."""
    starts = exchange.segments.start[: last + 1]
    bounds = np.append(starts, end)
    if end <= 0.0:
        none = {g: np.zeros(1) for g in (*contents.gases, "H2O")}
        return bounds, none, np.zeros(1), contents.start()
    shares = np.linspace(0.0, 1.0, _MEAN)
    between = bounds[:-1, None] + shares * np.diff(bounds)[:, None]
    times = np.unique(np.concatenate([between.ravel(), bounds]))
    times = times[times <= end]
    run = simulate(case.product, exchange, until=end, sample_times=times, crossings=False)
    at = np.searchsorted(times, bounds)
    used = run.used[0]
    moved = {g: np.diff((run.amounts[g][0] + (used if g == "O2" else 0.0))[at]) for g in contents.gases}
    moved["H2O"] = np.diff(run.water[0][at])
    activity = np.array([_mean(run, times, a, b) for a, b in zip(at[:-1], at[1:], strict=True)])
    state = [float(run.water[0, -1]) + contents.water] if contents.tracks_water else []
    state += [float(run.amounts[g][0, -1]) for g in contents.gases]
    state += [float(used[-1])] if contents.reacts else []
    return bounds, moved, activity, state


def _mean(run: Trajectory, times: Array, first: int, last: int) -> float:
    values, t = run.activity[0, first : last + 1], times[first : last + 1]
    if last == first or t[-1] <= t[0]:
        return float(values[0])
    return float(np.sum(0.5 * (values[1:] + values[:-1]) * np.diff(t)) / (t[-1] - t[0]))


def _spans(segments: Segments, bounds: Array, moved: dict[str, Array], activity: Array) -> tuple[Span, ...]:
    """Neighbouring segments of equal name and surroundings together."""
    groups: list[list[int]] = []
    for k in range(len(bounds) - 1):
        if groups and same(segments, groups[-1][0], k) and segments.stage[groups[-1][0]] == segments.stage[k]:
            groups[-1].append(k)
        else:
            groups.append([k])
    return tuple(_span(segments, bounds, moved, activity, group) for group in groups)


def by_name(followed: Followed) -> tuple[Span, ...]:
    """The spans of one name together, wherever they lie in time."""
    names = list(dict.fromkeys(s.name for s in followed.spans))
    joined = []
    for name in names:
        own = [s for s in followed.spans if s.name == name]
        total = sum(s.duration for s in own)
        joined.append(
            Span(
                name,
                own[0].start,
                total,
                tuple(k for s in own for k in s.segments),
                {g: sum(s.moved[g] for s in own) for g in own[0].moved},
                sum(s.activity * s.duration for s in own) / total if total > 0 else own[0].activity,
                len({surroundings(followed.segments, s.segments[0]) for s in own}) == 1
                and all(s.one for s in own),
            )
        )
    return tuple(joined)


def _span(
    segments: Segments, bounds: Array, moved: dict[str, Array], activity: Array, group: list[int]
) -> Span:
    width = np.diff(bounds)[group]
    total = float(width.sum())
    mean = float(activity[group] @ width) / total if total > 0 else float(activity[group[0]])
    return Span(
        segments.stage[group[0]],
        float(bounds[group[0]]),
        total,
        tuple(group),
        {g: float(v[group].sum()) for g, v in moved.items()},
        mean,
        True,
    )


def surroundings(segments: Segments, k: int) -> tuple[float, ...]:
    """Temperature, humidity, pressure and gas shares of a segment, to tell it from others."""
    own = [segments.temperature[k], segments.humidity[k], segments.pressure[k]]
    own += [] if segments.shares is None else [x[k] for x in segments.shares.values()]
    return tuple(float(x) for x in own)


def same(segments: Segments, i: int, k: int) -> bool:
    return surroundings(segments, i) == surroundings(segments, k)


def told(followed: Followed) -> tuple[StageSpan, ...]:
    """The stages up to the end; neighbours of one name are one, with the means over their time."""
    s = followed.segments
    until = np.minimum(s.end, max(followed.end, 0.0))
    outside = {gas: s.outside_pressure(gas) for gas in DRY_AIR} | {"H2O": s.humidity * s.saturation}
    found = []
    for name, run in groupby(range(followed.last + 1), key=lambda k: s.stage[k]):
        own = np.array(list(run))
        width = np.maximum(until - s.start, 0.0)[own]
        weight = width / width.sum() if width.sum() > 0 else np.full(len(own), 1.0 / len(own))
        found.append(
            StageSpan(
                stage=name,
                from_days=float(s.start[own[0]]) / DAY,
                to_days=float(until[own[-1]]) / DAY,
                temperature_degC=float(weight @ s.temperature[own]) - ZERO_CELSIUS,
                humidity_pct=100.0 * float(weight @ s.humidity[own]),
                outside_kPa={gas: 1e-3 * float(weight @ p[own]) for gas, p in outside.items()},
            )
        )
    return tuple(found)

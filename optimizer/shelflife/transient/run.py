"""The transient simulation of one sample: walls, contents and limits, from closing to ``until``."""

from __future__ import annotations

from typing import Any

from numpy.typing import ArrayLike

from optimizer.constants import GAS_CONSTANT
from optimizer.shelflife.integrate import State, Step
from optimizer.shelflife.limits import Watch
from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import Segments, lay_out
from optimizer.shelflife.simulate import Record, Trajectory, pieces
from optimizer.shelflife.terms import Balance, Observation
from optimizer.shelflife.transient.march import TOLERANCE, March, Stride
from optimizer.shelflife.transient.plan import Plan, plan_of
from optimizer.shelflife.transient.segment import Segment
from optimizer.shelflife.transient.surroundings import Surroundings

Value = Any
#: Degree of the elements of one package; a layer that humidity changes has two more.
DEGREE = 4


class Hermite:
    """Between the ends of a step: the cubic through amounts and rates."""

    order = 4.0
    dense = True

    def prepare(self, y: State) -> Any:
        raise NotImplementedError

    def rates(self, prepared: Any) -> State:
        raise NotImplementedError

    def advance(self, y: State, prepared: Any, h: Value) -> tuple[State, Any]:
        raise NotImplementedError

    def error(self, judged: Any, prepared: Any) -> State:
        raise NotImplementedError


class Interpolated(Step):
    """A step that is not repeated but interpolated."""

    __slots__ = ()

    def again(self, fraction: Value) -> State:
        t, w = fraction, self.width
        one = 1.0 - t
        h00, h01 = (1.0 + 2.0 * t) * one * one, t * t * (3.0 - 2.0 * t)
        h10, h11 = w * t * one * one, -w * t * t * one
        return [
            h00 * a + h01 * b + h10 * fa + h11 * fb
            for a, b, fa, fb in zip(self.before, self.after, self.rate_before, self.rate_after, strict=True)
        ]

    def at(self, fraction: Value) -> State:
        return self.again(fraction)

    def ready(self) -> Step:
        return self

    def rates_at(self, y: State, rhs: Any, fraction: Value) -> State:
        t, w = fraction, self.width
        slope, first, last = 6.0 * t * (1.0 - t) / w, (1.0 - t) * (1.0 - 3.0 * t), t * (3.0 * t - 2.0)
        return [
            slope * (b - a) + first * fa + last * fb
            for a, b, fa, fb in zip(self.before, self.after, self.rate_before, self.rate_after, strict=True)
        ]


_HERMITE = Hermite()


def simulate_walls(
    case: Case,
    *,
    segments: Segments | None = None,
    until: float | None = None,
    extremes_until: float | None = None,
    sample_times: ArrayLike | None = None,
    degree: int = DEGREE,
    rtol: float = TOLERANCE,
) -> Trajectory:
    """As ``simulate.simulate``, with the walls in transient.

    degree: of the elements, see ``plan.plan_of``; rtol [-]: error allowed per step.
    """
    return Run(case, segments, until, extremes_until, sample_times, degree, rtol).trajectory()


class Run:
    """state: the whole state at the end, see ``plan.Plan``; opening: that at closing."""

    def __init__(
        self,
        case: Case,
        segments: Segments | None,
        until: float | None,
        extremes_until: float | None,
        sample_times: ArrayLike | None,
        degree: int,
        rtol: float,
    ) -> None:
        if segments is None:
            segments = lay_out(case.storage, case.horizon, () if case.target is None else (case.target,))
        self.plan: Plan = plan_of(case, degree=degree)
        self.segments = segments
        self.end = float(segments.end[-1]) if until is None else float(until)
        self.target = self.end if extremes_until is None else min(float(extremes_until), self.end)
        self.surroundings = Surroundings(self.plan, segments)
        self.march = March(self.plan, rtol)
        self.watch = Watch(self.plan.contents, 1)
        self.record = Record(self.plan.contents, 1, sample_times)
        self.state: State = []
        self.opening: State = []
        self.segment: Segment | None = None

    def trajectory(self) -> Trajectory:
        steps = 0
        for index, begin, finish in pieces(self.segments, self.target, self.end):
            segment = Segment(self.plan, self.surroundings.at(index, begin, finish), self.segment)
            if self.segment is None:
                gas, humidity = self.surroundings.before()
                self.state = segment.start(list(self.plan.contents.start()), gas, humidity)
                self.opening = list(self.state)
            self.segment = segment
            self._enter(segment, begin)
            for stride in self.march.strides(segment, self.state, finish - begin):
                self._follow(segment, stride, begin, finish)
                self.state, steps = stride.after, steps + 1
            if finish == self.target:
                self.watch.close_extremes()
        assert self.watch.extreme is not None
        return Trajectory(
            crossing=self.watch.crossing.T,
            recovered=self.watch.recovered.T,
            closing=self.watch.closing.T,
            extreme=self.watch.extreme.T,
            steps=steps,
            **self.record.arrays(),  # type: ignore[arg-type]
        )

    def _enter(self, segment: Segment, begin: float) -> None:
        seen = segment.seen(self.state, 0.0)
        y = segment.amounts(self.state, seen)
        self._balance = balance_for(segment)
        self.watch.enter(begin, self._balance, y)
        self.record.start(begin, self._balance, y)
        self._now = (y, seen)

    def _follow(self, segment: Segment, stride: Stride, begin: float, finish: float) -> None:
        span = finish - begin
        seen = segment.seen(stride.after, stride.last)
        after = segment.amounts(stride.after, seen)
        before, earlier = self._now
        step = Interpolated(
            begin + stride.first * span,
            (stride.last - stride.first) * span,
            before,
            segment.amount_rates(stride.before, stride.rates_before, earlier, stride.first),
            after,
            segment.amount_rates(stride.after, stride.rates_after, seen, stride.last),
            0.0,
            _HERMITE,
            (),
        )
        self.watch.follow(step)
        if self.record.next_time <= finish * (1 + 1e-14):
            self.record.follow(step, self._balance)
        self._now = (after, seen)


def balance_for(segment: Segment) -> Balance:
    """What the limits and the record need of a segment; its own equations are not those of steady walls."""
    plan, inside = segment.plan, segment.inside
    contents = plan.contents
    first = contents.first_gas
    last = first + len(contents.gases)

    def activity(y: State) -> Value:
        return segment.activity_of_product(y[0]) if segment.moving else segment.activity

    def observe(y: State) -> Observation:
        a = activity(y)
        p, room = segment.inside_pressures(y[first:last], a)
        return Observation(p, a, room * GAS_CONSTANT * segment.now.temperature)

    def unused(*_: Any) -> Any:
        raise AssertionError("walls in transient have no right-hand side of their own")

    steady = contents.product.headspace.rigid and not contents.product.headspace.creep
    capacity = tuple(inside.capacity(k, segment.room) for k in range(len(contents.gases))) if steady else None
    return Balance(unused, unused, observe, activity, tuple(inside.dissolving), capacity)


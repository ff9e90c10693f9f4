"""The transient simulation of one sample: walls, contents and limits, from closing to ``until``."""

from __future__ import annotations

from typing import Any, NamedTuple

from numpy.typing import ArrayLike

from optimizer.constants import GAS_CONSTANT
from optimizer.shelflife.integrate import State, Step
from optimizer.shelflife.limits import Watch, quantities_of
from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import Segments, lay_out
from optimizer.shelflife.simulate import Record, Trajectory, pieces
from optimizer.shelflife.terms import Balance, Observation
from optimizer.shelflife.transient.march import TOLERANCE, March, Stride
from optimizer.shelflife.transient.plan import Plan, plan_of
from optimizer.shelflife.transient.propagate import Exact, is_linear
from optimizer.shelflife.transient.segment import Seen, Segment
from optimizer.shelflife.transient.surroundings import Surroundings

Value = Any
#: Degree of the elements of one package; a layer that humidity changes has two more.
DEGREE = 3
#: Where segments are taken exactly, which costs little more on finer elements.
EXACT_DEGREE = 4
#: With more segments than this (hourly weather) steps are cheaper than singular vectors, and this error is
#: allowed per step.
MANY_SEGMENTS, TOLERANCE_OF_MANY = 400, 1e-2


class Interpolated(Step):
    """A step that is not repeated but interpolated. prepared: its segment, and the first and last fraction of
    it."""

    __slots__ = ()

    def again(self, fraction: Value) -> State:
        segment, begin, finish = self.prepared
        segment.fraction = begin + fraction * (finish - begin)
        return self.interpolated(fraction)

    def at(self, fraction: Value) -> State:
        return self.again(fraction)

    def rates_at(self, y: State, rhs: Any, fraction: Value) -> State:
        t, w = fraction, self.width
        slope, first, last = 6.0 * t * (1.0 - t) / w, (1.0 - t) * (1.0 - 3.0 * t), t * (3.0 * t - 2.0)
        return [
            slope * (b - a) + first * fa + last * fb
            for a, b, fa, fb in zip(self.before, self.after, self.rate_before, self.rate_after, strict=True)
        ]


#: Strides of a linear segment, each as long as all before it.
_DOUBLINGS = 24


class _Piece(NamedTuple):
    """Part of a linear segment: from ``first`` [s] after its start, ``width`` [s] long."""

    run: Run
    segment: Segment
    exact: Exact
    first: float
    width: float

    def state(self, fraction: float) -> State:
        whole = self.exact.at(self.first + fraction * self.width)
        return self.segment.amounts(whole, self.segment.seen(whole, 1.0))

    def rates(self, fraction: float) -> State:
        return self.run._inside_rates(self.segment, self.exact, self.first + fraction * self.width)


class Followed(Interpolated):
    """A step known exactly at every moment."""

    __slots__ = ()

    def again(self, fraction: Value) -> State:
        piece: _Piece = self.prepared
        return piece.state(fraction)

    def rates_at(self, y: State, rhs: Any, fraction: Value) -> State:
        piece: _Piece = self.prepared
        return piece.rates(fraction)


def simulate_walls(
    case: Case,
    *,
    segments: Segments | None = None,
    until: float | None = None,
    extremes_until: float | None = None,
    sample_times: ArrayLike | None = None,
    degree: int | None = None,
    rtol: float = TOLERANCE,
    exact: bool = True,
) -> Trajectory:
    """As ``simulate.simulate``, with the walls in transient.

    degree: of the elements, see ``plan.plan_of``; rtol [-]: error allowed per step; exact: take
    linear segments by their eigenvectors.
    """
    return Run(case, segments, until, extremes_until, sample_times, degree, rtol, exact).trajectory()


class Run:
    """state: the whole state at the end, see ``plan.Plan``; opening: that at closing."""

    def __init__(
        self,
        case: Case,
        segments: Segments | None,
        until: float | None,
        extremes_until: float | None,
        sample_times: ArrayLike | None,
        degree: int | None,
        rtol: float,
        exact: bool = True,
    ) -> None:
        if segments is None:
            cuts = [time for time, _ in case.product.headspace.creep]
            cuts += [] if case.target is None else [case.target]
            segments = lay_out(case.storage, case.horizon, cuts)
        if degree is None and rtol == TOLERANCE and len(segments) > MANY_SEGMENTS:
            # most segments are then one step, and what one leaves the next ones damp
            exact, rtol = False, TOLERANCE_OF_MANY
        self.plan: Plan = plan_of(case, degree=DEGREE if degree is None else degree)
        self._linear = exact and is_linear(self.plan)
        if self._linear and degree is None:
            self.plan = plan_of(case, degree=EXACT_DEGREE)
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
        self._now: tuple[State, Seen] = ([], Seen([], 0.0, 0.0))

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
            if self._linear:
                steps += self._exactly(segment, begin, finish)
                continue
            for stride in self.march.strides(segment, self.state, finish - begin):
                self._follow(segment, stride, begin, finish)
                self.state, steps = stride.after, steps + 1
            self._leave(finish)
        assert self.watch.extreme is not None
        return Trajectory(
            crossing=self.watch.crossing.T,
            recovered=self.watch.recovered.T,
            closing=self.watch.closing.T,
            extreme=self.watch.extreme.T,
            steps=steps,
            **self.record.arrays(),  # type: ignore[arg-type]
        )

    def _exactly(self, segment: Segment, begin: float, finish: float) -> int:
        """A linear segment, in strides that double: they only serve to see the limits turn or be reached."""
        exact, span = Exact(segment, self.state), finish - begin
        marks = [span * 2.0 ** (k - _DOUBLINGS) for k in range(_DOUBLINGS + 1)]
        first, y, f = 0.0, self._now[0], self._inside_rates(segment, exact, 0.0)
        for mark in marks:
            state = exact.at(mark)
            seen = segment.seen(state, 1.0)
            after = segment.amounts(state, seen)
            rates = self._inside_rates(segment, exact, mark)
            piece = _Piece(self, segment, exact, first, mark - first)
            step = Followed(begin + first, mark - first, y, f, after, rates, 0.0, None, piece)
            self.watch.follow(step)
            if self.record.next_time <= finish * (1 + 1e-14):
                self.record.follow(step, self._balance)
            first, y, f = mark, after, rates
            self._now = (after, seen)
        self.state = state
        self._leave(finish)
        return len(marks)

    def _inside_rates(self, segment: Segment, exact: Exact, t: float) -> State:
        state = exact.at(t)
        return segment.amount_rates(state, exact.rates(t), segment.seen(state, 1.0), 1.0)

    def _leave(self, finish: float) -> None:
        if finish == self.target:
            self.watch.close_extremes()

    def _enter(self, segment: Segment, begin: float) -> None:
        seen = segment.seen(self.state, 0.0)
        y = segment.amounts(self.state, seen)
        self._balance = balance_for(segment)
        # at closing what is inside counts alone, without what the inner faces of the walls bring at once
        opening = list(self.plan.contents.start()) if begin == 0.0 else y
        self.watch.enter(begin, self._balance, opening)
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
            None,
            (segment, stride.first, stride.last),
        )
        segment.fraction = stride.last
        self.watch.follow(step)
        if self.record.next_time <= finish * (1 + 1e-14):
            self.record.follow(step, self._balance)
        self._now = (after, seen)


def closing_values(plan: Plan, segments: Segments) -> list[float]:
    """Quantities of the limits just after closing, of what is inside alone."""
    segment = Segment(plan, Surroundings(plan, segments).at(0, 0.0, float(segments.duration[0])), None)
    amounts = list(plan.contents.start())
    return [float(q.value(amounts)) for q in quantities_of(plan.contents, balance_for(segment))]


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
    return Balance(unused, unused, observe, activity, tuple(inside.dissolving), capacity, turns=True)

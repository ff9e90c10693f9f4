"""A stiff integrator that is as quick for one sample as for a thousand.

RODAS: L-stable, stiffly accurate Rosenbrock method of order 4 with an embedded solution of order 3, six
stages.
Source: Hairer and Wanner, Solving Ordinary Differential Equations II, 2nd ed. (1996), section VI.4, and their
code RODAS (METHOD 1).

The state is a list of components. Each is a Python float (one sample) or an array (B,) (a batch with one
common
step), and every formula here is written so that both work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple, Protocol

import numpy as np

from optimizer.errors import SolverError

#: One component of the state: float, or array (B,).
Value = Any
State = list[Value]

_GAMMA = 0.25
_A21 = 1.544
_A31, _A32 = 0.9466785280815826, 0.2557011698983284
_A41, _A42, _A43 = 3.314825187068521, 2.896124015972201, 0.9986419139977817
_A51, _A52, _A53, _A54 = 1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950
_C21 = -5.6688
_C31, _C32 = -2.430093356833875, -0.2063599157091915
_C41, _C42, _C43 = -0.1073529058151375, -9.594562251023355, -20.47028614809616
_C51, _C52, _C53, _C54 = 7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160
_C61, _C62, _C63, _C64, _C65 = (
    8.083246795921522,
    -7.981132988064893,
    -31.52159432874371,
    16.31930543123136,
    -6.058818238834054,
)


class System(Protocol):
    """dy/dt = rhs(y), and factor(y, d) which returns a function that solves (d I - df/dy) x = b."""

    def rhs(self, y: State) -> State: ...

    def factor(self, y: State, d: Value) -> Callable[[State], State]: ...


class Method(Protocol):
    """A way to take one step. prepare(y): what a step from y needs, rates among it; advance: the new state
    and what its error is judged by, which ``error`` does once the new state is prepared. order: of the error
    estimate; dense: whether a step may be repeated in part cheaply and closely enough to sample it."""

    @property
    def order(self) -> float: ...

    @property
    def dense(self) -> bool: ...

    def prepare(self, y: State) -> Any: ...

    def rates(self, prepared: Any) -> State: ...

    def advance(self, y: State, prepared: Any, h: Value) -> tuple[State, Any]: ...

    def error(self, judged: Any, prepared: Any) -> State: ...


class Rosenbrock:
    """RODAS as a ``Method``."""

    order = 4.0
    dense = False

    def __init__(self, system: System) -> None:
        self.system = system
        self.prepare = system.rhs

    def rates(self, prepared: Any) -> State:
        rates: State = prepared
        return rates

    def advance(self, y: State, prepared: Any, h: Value) -> tuple[State, Any]:
        return advance(self.system, y, prepared, h)

    def error(self, judged: Any, prepared: Any) -> State:
        error: State = judged
        return error


class Step(NamedTuple):
    """An accepted step from ``start`` to ``start + width``: states and their rates at both ends; size: its
    error in units of the tolerance; method: None where it cannot be repeated; prepared: of the method at
    ``before``, or None."""

    start: float
    width: float
    before: State
    rate_before: State
    after: State
    rate_after: State
    size: float
    method: Method | None
    prepared: Any = None

    def at(self, fraction: Value) -> State:
        """State at ``fraction`` of the step, a float or (B,): repeated in part where that is cheap, else by
        cubic Hermite interpolation."""
        if self.method is not None and self.method.dense:
            return self.again(fraction)
        return self.interpolated(fraction)

    def interpolated(self, fraction: Value) -> State:
        """The cubic through states and rates at both ends."""
        t = fraction
        one = 1.0 - t
        h00, h01 = (1.0 + 2.0 * t) * one * one, t * t * (3.0 - 2.0 * t)
        h10, h11 = self.width * t * one * one, -self.width * t * t * one
        return [
            h00 * a + h01 * b + h10 * fa + h11 * fb
            for a, b, fa, fb in zip(self.before, self.after, self.rate_before, self.rate_after, strict=True)
        ]

    def again(self, fraction: Value) -> State:
        """State after ``fraction`` of the step, integrated anew; a float or (B,)."""
        assert self.method is not None
        prepared = self.method.prepare(self.before) if self.prepared is None else self.prepared
        return self.method.advance(self.before, prepared, self.width * fraction)[0]

    def rates_at(self, y: State, rhs: Callable[[State], State], fraction: Value) -> State:
        """Rates at ``fraction`` of the step, where the state is ``y``."""
        return rhs(y)

    def ready(self) -> Step:
        """The same step, prepared to be repeated many times."""
        if self.prepared is not None or self.method is None:
            return self
        return self._replace(prepared=self.method.prepare(self.before))


def advance(system: System, y: State, f: State, h: Value) -> tuple[State, State]:
    """One step of width ``h`` (float or (B,)) from ``y`` with f = rhs(y): new state and its error
    estimate."""
    if not isinstance(y[0], float):
        return _advance_stacked(system, y, f, h)
    rhs = system.rhs
    solve = system.factor(y, 1.0 / (_GAMMA * h))
    r = 1.0 / h
    k1 = solve(f)
    f2 = rhs([u + _A21 * a for u, a in zip(y, k1, strict=True)])
    c = _C21 * r
    k2 = solve([g + c * a for g, a in zip(f2, k1, strict=True)])
    f3 = rhs([u + _A31 * a + _A32 * b for u, a, b in zip(y, k1, k2, strict=True)])
    k3 = solve([g + r * (_C31 * a + _C32 * b) for g, a, b in zip(f3, k1, k2, strict=True)])
    f4 = rhs([u + _A41 * a + _A42 * b + _A43 * c for u, a, b, c in zip(y, k1, k2, k3, strict=True)])
    k4 = solve([g + r * (_C41 * a + _C42 * b + _C43 * c) for g, a, b, c in zip(f4, k1, k2, k3, strict=True)])
    y5 = [
        u + _A51 * a + _A52 * b + _A53 * c + _A54 * d for u, a, b, c, d in zip(y, k1, k2, k3, k4, strict=True)
    ]
    k5 = solve(
        [
            g + r * (_C51 * a + _C52 * b + _C53 * c + _C54 * d)
            for g, a, b, c, d in zip(rhs(y5), k1, k2, k3, k4, strict=True)
        ]
    )
    y6 = [u + a for u, a in zip(y5, k5, strict=True)]
    k6 = solve(
        [
            g + r * (_C61 * a + _C62 * b + _C63 * c + _C64 * d + _C65 * e)
            for g, a, b, c, d, e in zip(rhs(y6), k1, k2, k3, k4, k5, strict=True)
        ]
    )
    return [u + a for u, a in zip(y6, k6, strict=True)], k6


_A = (
    np.array([_A21]),
    np.array([_A31, _A32]),
    np.array([_A41, _A42, _A43]),
    np.array([_A51, _A52, _A53, _A54]),
    np.array([_A51, _A52, _A53, _A54, 1.0]),
)
_C = (
    np.array([_C21]),
    np.array([_C31, _C32]),
    np.array([_C41, _C42, _C43]),
    np.array([_C51, _C52, _C53, _C54]),
    np.array([_C61, _C62, _C63, _C64, _C65]),
)


def _advance_stacked(system: System, y: State, f: State, h: Value) -> tuple[State, State]:
    """The same step for a batch: stages are rows of one array, so that each sum over them is one product."""
    solve = system.factor(y, 1.0 / (_GAMMA * h))
    r = 1.0 / h
    base = np.array(y)
    k = np.empty((6, *base.shape))
    flat = k.reshape(6, -1)
    _fill(k[0], solve(f))
    state = base
    for i, (a, c) in enumerate(zip(_A, _C, strict=True)):
        done = flat[: i + 1]
        state = (a @ done).reshape(base.shape)
        state += base
        shift = (c @ done).reshape(base.shape)
        shift *= r
        for row, g in zip(shift, system.rhs(list(state)), strict=True):
            row += g
        _fill(k[i + 1], solve(list(shift)))
    error = k[5]
    return list(state + error), list(error)


def _fill(rows: Any, values: State) -> None:
    for row, value in zip(rows, values, strict=True):
        row[:] = value


def _size(error: State, y0: State, y1: State, rtol: float, atol: State) -> float:
    """Largest error over components and samples, in units of the tolerance."""
    worst = 0.0
    for e, a, b, tol in zip(error, y0, y1, atol, strict=True):
        if isinstance(a, float):
            scale = abs(a) if abs(a) > abs(b) else abs(b)
            ratio = abs(e) / (tol + rtol * scale)
        else:
            ratio = float(np.max(np.abs(e) / (tol + rtol * np.maximum(np.abs(a), np.abs(b)))))
        if not ratio <= worst:
            if ratio != ratio:
                return np.inf
            worst = ratio
    return worst


def integrate(
    system: System | Method,
    y: State,
    start: float,
    end: float,
    *,
    rtol: float,
    atol: State,
    first: float,
) -> Iterator[Step]:
    """Accepted steps from ``start`` to ``end`` [s]; rtol [-], atol one value per component in its unit,
    ``first`` the width to try first [s]. Raises SolverError when the step vanishes."""
    method: Method = system if hasattr(system, "advance") else Rosenbrock(system)  # type: ignore[assignment]
    t, h = start, min(first, end - start)
    prepare, rates, power = method.prepare, method.rates, -1.0 / method.order
    advance, judge = method.advance, method.error
    prepared = prepare(y)
    rejected = False
    while t < end:
        remaining = end - t
        if h >= 0.999 * remaining:
            h = remaining
        elif h > 0.5 * remaining:
            h = 0.5 * remaining
        new, judged = advance(y, prepared, h)
        after = prepare(new)
        size = _size(judge(judged, after), y, new, rtol, atol)
        if size <= 1.0:
            yield Step(t, h, y, rates(prepared), new, rates(after), size, method, prepared)
            t = end if h == remaining else t + h
            y, prepared = new, after
            growth = 0.9 * size**power if size > 1e-5 else 8.0
            if growth > 8.0:
                growth = 8.0
            h *= min(1.0, growth) if rejected else growth
            rejected = False
        else:
            h *= max(0.1, 0.9 * size**power) if size < 1e300 else 0.1
            rejected = True
            if not h > 1e-14 * max(abs(t), abs(end)):
                raise SolverError(f"the integration got stuck at {t:.6g} s; please report this case")

"""Steps of a rigid package, whose balances form a chain of scalar equations.

    dx/dt = -J(a(x))                                  water in the product
    dn/dt = G(a(x)) (p_out - c n) - r(n)              each gas; r for oxygen only
    du/dt = r(n)                                      oxygen used up

Each is taken in turn by exprb53s3, an exponential Rosenbrock method of order 5 with an embedded solution of
order 3: the linearised equation is solved exactly, so that a fast settling after a change of temperature costs
no small steps, and a linear equation (fixed activity, use of order 1 or none) is solved exactly in one.
A gas sees the water of the same step through the method's own continuous extension.
Source: Luan and Ostermann, J. Comput. Appl. Math. 255 (2014) 417, method exprb53s3, c = (0, 1/2, 9/10).

Values are floats for one sample, arrays (B,) for a batch.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

from optimizer.shelflife.phi import Phi, phi_array, phi_float

Value = Any
State = list[Value]

# weights of phi_3 and phi_4 in the step, on the deviations at c2 and c3; and the third stage's own
_A2, _A3 = 18.0, -250.0 / 81.0
_B2, _B3 = -60.0, 500.0 / 27.0
_S2, _S3 = 27.0 / 25.0, 729.0 / 125.0
#: Weight of phi_3 in the embedded solution.
_E2 = 8.0
_C3_CUBED, _C3_FOURTH = 0.729, 0.6561


class Linear(NamedTuple):
    """The chain linearised at a state. rates: of every component; water: d(rate)/d(water); conductance of
    each gas; pull: d(rate)/dn of each gas; drift: d(rate)/dt of each gas through the water; use: dr/dn."""

    rates: State
    water: Value
    conductance: State
    pull: State
    drift: State
    use: Value


@dataclass(frozen=True)
class Chain:
    """gases: (1/capacity [Pa/mol], pressure outside [Pa]) each; oxygen: place of the gas that reacts among
    them, or -1; r(n) = linear n + most p / (|p| + half) with p = n / capacity. activity and slope: of the
    water inside, over moles and of activity; flow, conductances, with_slopes: rows of the table (water
    first)."""

    scalar: bool
    tracked: bool
    moving: bool
    gases: tuple[tuple[float, float], ...]
    oxygen: int
    linear: float
    most: float
    half: float
    activity: Callable[[Value], Value]
    slope: Callable[[Value], Value]
    flow: Callable[[Value], Value]
    conductances: Callable[[Value], State]
    values: Callable[[Value], State]
    with_slopes: Callable[[Value], tuple[State, State]]

    def prepare(self, y: State) -> Linear:
        """Rates at ``y`` and what a step from there needs."""
        drift: State = []
        water: Value = 0.0
        first = 1 if self.tracked else 0
        if self.moving:
            a = self.activity(y[0])
            r, dr = self.with_slopes(a)
            da = self.slope(a)
            water = -dr[0] * da
            change = -r[0] * da
        else:
            r = self.values(None)
        rates = [-r[0]] if self.tracked else []
        pull = []
        conductance = r[first:]
        for i, (c, outside) in enumerate(self.gases, first):
            drive = outside - y[i] * c
            rates.append(r[i] * drive)
            pull.append(-c * r[i])
            if self.moving:
                drift.append(dr[i] * change * drive)
        use: Value = 0.0
        if self.oxygen >= 0:
            k = self.oxygen
            n, c = y[first + k], self.gases[k][0]
            use, used = self.linear, self.linear * n
            if self.most:
                p = n * c
                root = abs(p) + self.half
                used = used + self.most * p / root
                use = use + (self.most * self.half * c) / (root * root)
            rates[first + k] = rates[first + k] - used
            pull[k] = pull[k] - use
            rates.append(used)
        return Linear(rates, water, conductance, pull, drift, use)

    def rates(self, prepared: Linear) -> State:
        return prepared.rates

    def advance(self, y: State, prepared: Linear, h: Value) -> tuple[State, State]:
        """State after a step of ``h`` [s] (float or (B,)) from ``y``, and its error estimate."""
        rates, water, conductance, pull, drift, use = prepared
        phi: Phi = phi_float if self.scalar else phi_array
        moving, oxygen = self.moving, self.oxygen
        after: State = []
        error: State = []
        g2: State = []
        g3: State = []
        first = 0
        if moving:
            first = 1
            x, f, activity, flow = y[0], rates[0], self.activity, self.flow
            z = h * water
            p1, _, p3, p4, _ = phi(z)
            q1, _, q3, q4, _ = phi(0.5 * z)
            s1, _, s3, s4, _ = phi(0.9 * z)
            d = h * (0.5 * q1 * f)
            e2 = -flow(activity(x + d)) - f - water * d
            d = h * (0.9 * s1 * f + (_S2 * q3 + _S3 * s3) * e2)
            e3 = -flow(activity(x + d)) - f - water * d
            a, b = _A2 * e2 + _A3 * e3, _B2 * e2 + _B3 * e3
            after.append(x + h * (p1 * f + p3 * a + p4 * b))
            error.append(h * (p3 * (a - _E2 * e2) + p4 * b))
            if self.gases:
                g2 = self.conductances(activity(x + h * (0.5 * q1 * f + 0.125 * q3 * a + 0.0625 * q4 * b)))
                inner = 0.9 * s1 * f + _C3_CUBED * s3 * a + _C3_FOURTH * s4 * b
                g3 = self.conductances(activity(x + h * inner))
        elif self.tracked:
            first = 1
            after.append(y[0] + h * rates[0])
            error.append(0.0)
        used: Value = None
        used_error: Value = 0.0
        for k, (c, outside) in enumerate(self.gases):
            n, f, j = y[first + k], rates[first + k], pull[k]
            z = h * j
            p1, p2, p3, p4, p5 = phi(z)
            reacting = k == oxygen
            bends = reacting and self.most > 0.0
            if not (moving or bends):
                after.append(n + h * p1 * f)
                error.append(0.0)
                if reacting:
                    used = y[-1] + h * (rates[-1] + h * use * p2 * f)
                continue
            q1, q2, q3, _, _ = phi(0.5 * z)
            s1, s2, s3, _, _ = phi(0.9 * z)
            d = h * (0.5 * q1 * f)
            if moving:
                v = h * drift[k]
                d = d + h * (0.25 * q2 * v)
            m = n + d
            u2: Value = 0.0
            u3: Value = 0.0
            if bends:
                linear, most, half, r = self.linear, self.most, self.half, rates[-1]
                p = c * m
                u2 = linear * m + most * p / (abs(p) + half) - r - use * d
            e2 = (g2[k] - conductance[k]) * (outside - c * m) - 0.5 * v - u2 if moving else -u2
            d = h * (0.9 * s1 * f + (_S2 * q3 + _S3 * s3) * e2)
            if moving:
                d = d + h * (0.81 * s2 * v)
            m = n + d
            if bends:
                p = c * m
                u3 = linear * m + most * p / (abs(p) + half) - r - use * d
            e3 = (g3[k] - conductance[k]) * (outside - c * m) - 0.9 * v - u3 if moving else -u3
            a, b = _A2 * e2 + _A3 * e3, _B2 * e2 + _B3 * e3
            slow = a - _E2 * e2
            step = p1 * f + p3 * a + p4 * b
            after.append(n + h * (step + p2 * v if moving else step))
            error.append(h * (p3 * slow + p4 * b))
            if reacting:
                # phi of the 2 x 2 matrix of (n, u) has h use phi_(k+1) beside its diagonal
                lag = p2 * f + p4 * a + p5 * b
                if moving:
                    lag = lag + p3 * v
                ua, ub = _A2 * u2 + _A3 * u3, _B2 * u2 + _B3 * u3
                hu = h * use
                used = y[-1] + h * (rates[-1] + ua / 6.0 + ub / 24.0 + hu * lag)
                used_error = h * ((ua - _E2 * u2) / 6.0 + ub / 24.0 + hu * (p4 * slow + p5 * b))
        if oxygen >= 0:
            after.append(used)
            error.append(used_error)
        return after, error

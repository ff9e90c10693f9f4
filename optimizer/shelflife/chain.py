"""Steps of a rigid package, whose balances form a chain of scalar equations.

    dx/dt = -J(a(x))                                  water in the product
    dn/dt = G(a(x)) (p_out - c n) - r(n)              each gas; r for oxygen only
    du/dt = r(n)                                      oxygen used up

Each is taken in turn by exprb53s3, an exponential Rosenbrock method of order 5: the linearised equation is
solved exactly, so that a fast settling after a change of temperature costs no small steps, and a linear
equation (fixed activity, use of order 1 or none) is solved exactly in one. A gas sees the water of the same
step through the method's own continuous extension.
Source: Luan and Ostermann, J. Comput. Appl. Math. 255 (2014) 417, method exprb53s3, c = (0, 1/2, 9/10).

Error estimate: the method takes the deviation from the linearised equation as a cubic in time through the
stages; what that cubic misses at the end of the step, where the rates are computed anyway for the next one,
is of order h^4 and gives the error of a solution of order 4 (a defect control).

Values are floats for one sample, arrays (B,) for a batch.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from optimizer.physics.sorption import Isotherm
from optimizer.shelflife.phi import phi_array, phi_float, stages_array, stages_float
from optimizer.shelflife.tables import Cells

Value = Any
State = list[Value]
#: Rates expected at the end of a step, and the time [s] over which a defect there counts.
Forecast = tuple[State, State]

# phi_3 and phi_4 in the step act on the deviations at c2 and c3; and phi_3 in the third stage
_A2, _A3 = 18.0, -250.0 / 81.0
_B2, _B3 = -60.0, 500.0 / 27.0
_S2, _S3 = 27.0 / 25.0, 729.0 / 125.0
#: c3 cubed and to the fourth, of the continuous extension.
_C3_CUBED, _C3_FOURTH = 0.729, 0.6561
#: Share of the step over which the defect at its end counts. The cubic meets the deviation at c2 and c3, and
#: what it misses adds up to nothing over a smooth step (that is order 5), so little of it stays: how much is
#: by trial on random packages. More for water, whose rate bends where the wall's permeability to it jumps.
DEFECT, WATER_DEFECT = 0.08, 0.5
_SIXTH, _TWENTY_FOURTH = 1.0 / 6.0, 1.0 / 24.0


class Linear(NamedTuple):
    """The chain linearised at a state. rates: of every component; water: d(rate)/d(water); conductance of
    each gas and its slope over the water; pull: d(rate)/dn of each gas; drift: d(rate)/dt of each gas through
    the water; use: dr/dn."""

    rates: State
    water: Value
    conductance: State
    slope: State
    pull: State
    drift: State
    use: Value


class Chain(NamedTuple):
    """gases: (1/capacity [Pa/mol], pressure outside [Pa]) each; oxygen: place of the gas that reacts among
    them, or -1; r(n) = linear n + most p / (|p| + half) with p = n / capacity. activity: of moles of water;
    response: d(activity)/d(moles) of an activity; values, with_slopes: rows of the table (water first);
    cells: the same table laid open, of one sample; isotherm, of water content, and
    per_mole: content per mole of water [kg/(kg mol)], behind activity and response."""

    scalar: bool
    tracked: bool
    moving: bool
    gases: tuple[tuple[float, float], ...]
    oxygen: int
    linear: float
    most: float
    half: float
    activity: Callable[[Value], Value]
    response: Callable[[Value], Value]
    values: Callable[[Value], State]
    with_slopes: Callable[[Value], tuple[State, State]]
    cells: Cells | None = None
    per_mole: float = 1.0
    isotherm: Isotherm | None = None
    order: float = 5.0
    dense: bool = True

    def prepare(self, y: State) -> Linear:
        """Rates at ``y`` and what a step from there needs."""
        slope: State = []
        drift: State = []
        pull: State = []
        water: Value = 0.0
        moving = self.moving
        if moving:
            a = self.activity(y[0])
            conductance, steep = self.with_slopes(a)
            da = self.response(a)
            f = -conductance[0]
            water = -steep[0] * da
            change = f * da
            rates = [f]
            k = 1
        elif self.tracked:
            conductance = self.values(None)
            rates = [-conductance[0]]
            k = 1
        else:
            conductance = self.values(None)
            rates = []
            k = 0
        for c, outside in self.gases:
            drive = outside - y[k] * c
            g = conductance[k]
            rates.append(g * drive)
            pull.append(-c * g)
            if moving:
                s = steep[k]
                slope.append(s * da)
                drift.append(s * change * drive)
            k += 1
        use: Value = 0.0
        oxygen = self.oxygen
        if oxygen >= 0:
            place = oxygen + k - len(self.gases)
            n, c = y[place], self.gases[oxygen][0]
            use = self.linear
            used = use * n
            if self.most:
                p = n * c
                share = self.most / (abs(p) + self.half)
                used = used + p * share
                use = use + share * (self.half * c) / (abs(p) + self.half)
            rates[place] = rates[place] - used
            pull[oxygen] = pull[oxygen] - use
            rates.append(used)
        return Linear(rates, water, conductance, slope, pull, drift, use)

    def rates(self, prepared: Linear) -> State:
        return prepared.rates

    def advance(self, y: State, prepared: Linear, h: Value) -> tuple[State, Forecast]:
        """State after a step of ``h`` [s] (float or (B,)) from ``y``, and the rates expected there."""
        rates, water, conductance, slope, pull, drift, use = prepared
        if self.scalar:
            phi, stages = phi_float, stages_float
        else:
            phi, stages = phi_array, stages_array
        moving, oxygen = self.moving, self.oxygen
        after: State = []
        expected: State = []
        weight: State = []
        if moving:
            values, activity = self.values, self.activity
            x, f = y[0], rates[0]
            z = h * water
            p1, _, p3, p4, _ = phi(z)
            q1, _, q3, s1, _, s3 = stages(z)
            d = h * (0.5 * q1 * f)
            g2 = values(activity(x + d))
            e2 = -f - g2[0] - water * d
            lead = (_S2 * q3 + _S3 * s3) * e2
            d = h * (0.9 * s1 * f + lead)
            g3 = values(activity(x + d))
            e3 = -f - g3[0] - water * d
            a, b = _A2 * e2 + _A3 * e3, _B2 * e2 + _B3 * e3
            d = h * (p1 * f + p3 * a + p4 * b)
            after.append(x + d)
            expected.append(f + water * d + 0.5 * a + _SIXTH * b)
            weight.append(WATER_DEFECT * h * p1)
            # from the stages' own water, of low order, to that of the continuous extension (phi_4 there is
            # close to phi_3 / 4)
            shift2 = h * q3 * (0.125 * a + 0.015625 * b)
            shift3 = h * (s3 * (0.729 * a + 0.164025 * b) - lead)
            k = 1
        elif self.tracked:
            after.append(y[0] + h * rates[0])
            expected.append(rates[0])
            weight.append(0.0)
            k = 1
        else:
            k = 0
        used: Value = None
        used_expected: Value = 0.0
        i = 0
        for c, outside in self.gases:
            n, f, j = y[k], rates[k], pull[i]
            z = h * j
            p1, p2, p3, p4, p5 = phi(z)
            reacting = i == oxygen
            bends = reacting and self.most > 0.0
            if not (moving or bends):
                d = h * p1 * f
                after.append(n + d)
                expected.append(f)
                weight.append(0.0)
                if reacting:
                    used = y[-1] + h * (rates[-1] + h * use * p2 * f)
                i += 1
                k += 1
                continue
            q1, q2, q3, s1, s2, s3 = stages(z)
            d = h * (0.5 * q1 * f)
            if moving:
                v = h * drift[i]
                g, s = conductance[k], slope[i]
                d = d + h * (0.25 * q2 * v)
                e2 = (g2[k] + s * shift2 - g) * (outside - c * (n + d)) - 0.5 * v
            else:
                e2 = 0.0
            if bends:
                linear, most, half, r = self.linear, self.most, self.half, rates[-1]
                m = n + d
                p = c * m
                u2 = linear * m + most * p / (abs(p) + half) - r - use * d
                e2 = e2 - u2
            d = h * (0.9 * s1 * f + (_S2 * q3 + _S3 * s3) * e2)
            if moving:
                d = d + h * (0.81 * s2 * v)
                e3 = (g3[k] + s * shift3 - g) * (outside - c * (n + d)) - 0.9 * v
            else:
                e3 = 0.0
            if bends:
                m = n + d
                p = c * m
                u3 = linear * m + most * p / (abs(p) + half) - r - use * d
                e3 = e3 - u3
            a, b = _A2 * e2 + _A3 * e3, _B2 * e2 + _B3 * e3
            d = p1 * f + p3 * a + p4 * b
            ahead = f + 0.5 * a + _SIXTH * b
            if moving:
                d = d + p2 * v
                ahead = ahead + v
            d = h * d
            after.append(n + d)
            expected.append(ahead + j * d)
            weight.append(DEFECT * h * p1)
            if reacting:
                # phi_k of the 2 x 2 matrix of (n, u) has h use phi_(k+1) beside its diagonal
                lag = p2 * f + p4 * a + p5 * b
                if moving:
                    lag = lag + p3 * v
                change = rates[-1] + h * use * lag
                used_expected = rates[-1] + use * d
                if bends:
                    a, b = _A2 * u2 + _A3 * u3, _B2 * u2 + _B3 * u3
                    change = change + _SIXTH * a + _TWENTY_FOURTH * b
                    used_expected = used_expected + 0.5 * a + _SIXTH * b
                used = y[-1] + h * change
            i += 1
            k += 1
        if oxygen >= 0:
            after.append(used)
            expected.append(used_expected)
            weight.append(DEFECT * h if moving or self.most else 0.0)
        return after, (expected, weight)

    def error(self, forecast: Forecast, prepared: Linear) -> State:
        """Error of a step that ends where the chain is ``prepared``."""
        return [w * (rate - e) for e, w, rate in zip(*forecast, prepared.rates, strict=True)]

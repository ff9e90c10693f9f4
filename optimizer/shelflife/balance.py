"""Mole balances of one segment of time, as a right-hand side and its Jacobian.

State, in order: net water in the product [mol] (where water is followed), moles of each gas in headspace and
product, oxygen used up [mol] (where the product uses oxygen). Components are floats or arrays (B,).

    d(water)/dt = -J(a)                        a from the isotherm, or fixed
    d(n_g)/dt   = G_g(a) (p_out - p_g) - r     r for oxygen only
    d(used)/dt  = r(p_O2)

Rigid: p_g = n_g / (V/RT + H_g V_product). Flexible: v = V/RT solves sum n_g / (v + h_g) = P - a psat.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ATMOSPHERE, GAS_CONSTANT, MOLAR_MASS
from optimizer.errors import InputError, Problem
from optimizer.physics.permeability import arrhenius
from optimizer.shelflife.contents import Contents, inside_activity, solubility
from optimizer.shelflife.exchange import Exchange
from optimizer.shelflife.headspace import eliminate, headspace_room
from optimizer.shelflife.tables import Evaluate, fixed_rows, moving_rows

Array = NDArray[np.float64]
Value = Any
State = list[Value]

#: Half pressure that ends an order-0 reaction smoothly as the oxygen runs out [Pa].
ZERO_ORDER_HALF_PRESSURE = 10.0
#: Least headspace of a flexible package, as a share of that at closing: at that the package has collapsed,
#: keeps this
#: volume (folds and corners) and its pressure falls below that outside.
COLLAPSED = 1e-3


@dataclass(frozen=True)
class Reaction:
    """r = linear_pressure p + linear_amount n + most p / (|p| + half) [mol/s]."""

    linear_pressure: float = 0.0
    linear_amount: float = 0.0
    most: float = 0.0
    half: float = 1.0

    def rate(self, n: Value, p: Value) -> Value:
        value = self.linear_pressure * p + self.linear_amount * n
        if self.most:
            value = value + self.most * p / (abs(p) + self.half)
        return value

    def slopes(self, p: Value) -> tuple[Value, Value]:
        """dr/dn at constant p, and dr/dp."""
        slope: Value = self.linear_pressure
        if self.most:
            root = abs(p) + self.half
            slope = slope + self.most * self.half / (root * root)
        return self.linear_amount, slope


def reaction_at(contents: Contents, temperature: float) -> Reaction | None:
    """The product's use of oxygen at ``temperature`` [K], or None."""
    product = contents.product
    c = product.oxygen.consumption
    if c is None or not contents.reacts:
        return None
    rate = c.rate * float(arrhenius(c.activation_energy, temperature, c.temperature))
    if c.order == 1:
        dissolving = product.volume * float(solubility(product, "O2", temperature))
        return Reaction(linear_pressure=rate * dissolving) if dissolving > 0 else Reaction(linear_amount=rate)
    half = ZERO_ORDER_HALF_PRESSURE if c.order == 0 else c.half_pressure
    return Reaction(most=rate, half=half)


@dataclass(frozen=True)
class Observation:
    """pressures: of each gas [Pa], in the order of the state; activity inside; volume of headspace [m3]."""

    pressures: State
    activity: Value
    volume: Value


@dataclass(frozen=True)
class Balance:
    """Right-hand side, Jacobian solver (see ``integrate.System``) and observation of one segment.

    activity: inside water activity of a state. dissolving: H V_product per gas [mol/Pa]; capacity: moles
    per Pa of
    each gas where they are fixed (rigid walls), else None.
    """

    rhs: Callable[[State], State]
    factor: Callable[[State, Value], Callable[[State], State]]
    observe: Callable[[State], Observation]
    activity: Callable[[State], Value]
    dissolving: tuple[float, ...]
    capacity: tuple[float, ...] | None


def balance_of(contents: Contents, exchange: Exchange, segment: int, scalar: bool) -> Balance:
    """Balance of segment number ``segment``; ``scalar`` for one sample in plain floats."""
    seg = exchange.segments
    t = float(seg.temperature[segment])
    outside = [float(exchange.outside[g][segment]) for g in contents.gases]
    dissolving = tuple(
        contents.product.volume * float(solubility(contents.product, g, t)) for g in contents.gases
    )
    rows = _rows(contents, exchange, segment, scalar)
    water = _activity(contents)
    reaction = reaction_at(contents, t)
    if contents.product.headspace.rigid:
        room = contents.product.headspace.volume / (GAS_CONSTANT * t)
        return _rigid(contents, rows, water, outside, dissolving, room, t, reaction)
    psat = float(seg.saturation[segment])
    pressure = float(seg.pressure[segment])
    return _flexible(contents, rows, water, outside, dissolving, (t, pressure, psat), reaction)


def _rows(contents: Contents, exchange: Exchange, segment: int, scalar: bool) -> Evaluate:
    tables = [exchange.conductance[g][:, segment] for g in contents.gases]
    keys = list(contents.gases)
    if contents.tracks_water:
        if exchange.water is None:
            raise ValueError("the exchange does not hold the water flow that the product needs")
        tables.insert(0, exchange.water[:, segment])
        keys.insert(0, "H2O")
    factors = [exchange.multiplier[k][:, segment] if k in exchange.multiplier else None for k in keys]
    if contents.product.moisture is None:
        return fixed_rows(tables, factors, scalar)
    return moving_rows(exchange.activity, tables, factors, scalar)


def _activity(contents: Contents) -> Callable[[State], Value]:
    """Inside activity as a function of the state."""
    moisture = contents.product.moisture
    if moisture is None:
        fixed = inside_activity(contents.product)
        return lambda y: fixed
    per_mole = MOLAR_MASS["H2O"] / moisture.dry_mass
    activity = moisture.isotherm.activity
    return lambda y: activity(y[0] * per_mole)


def _slope(contents: Contents) -> Callable[[Value], Value]:
    """da/d(moles of water) as a function of a."""
    moisture = contents.product.moisture
    if moisture is None:
        return lambda a: 0.0
    per_mole = MOLAR_MASS["H2O"] / moisture.dry_mass
    isotherm = moisture.isotherm
    return lambda a: per_mole / isotherm.slope(a)


def _rigid(
    contents: Contents,
    rows: Evaluate,
    water: Callable[[State], Value],
    outside: list[float],
    dissolving: tuple[float, ...],
    room: float,
    temperature: float,
    reaction: Reaction | None,
) -> Balance:
    """Lower triangular: water, then each gas on its own, then the oxygen used up."""
    tracked, moving = contents.tracks_water, contents.product.moisture is not None
    first, count = contents.first_gas, len(contents.gases)
    last = first + count
    inverse = [1.0 / (room + h) for h in dissolving]
    gases = list(zip(inverse, outside, strict=True))
    oxygen = first + contents.gases.index("O2") if reaction is not None else -1
    linear = most = inverse_oxygen = 0.0
    half = 1.0
    if reaction is not None:
        inverse_oxygen = inverse[oxygen - first]
        linear = reaction.linear_pressure * inverse_oxygen + reaction.linear_amount
        most, half = reaction.most, reaction.half
    slope_of = _slope(contents)
    values, with_slopes = rows.values, rows.with_slopes

    def rhs(y: State) -> State:
        r = values(water(y))
        if tracked:
            out = [-r[0]]
            out += [g * (po - n * c) for g, n, (c, po) in zip(r[1:], y[1:last], gases, strict=True)]
        else:
            out = [g * (po - n * c) for g, n, (c, po) in zip(r, y[:last], gases, strict=True)]
        if reaction is not None:
            n = y[oxygen]
            p = n * inverse_oxygen
            used = linear * n + most * p / (abs(p) + half) if most else linear * n
            out[oxygen] = out[oxygen] - used
            out.append(used)
        return out

    def factor(y: State, d: Value) -> Callable[[State], State]:
        a = water(y)
        if moving:
            r, dr = with_slopes(a)
            da = slope_of(a)
            pivot_water = 1.0 / (d + dr[0] * da)
            coupling = [k * da * (po - n * c) for k, n, (c, po) in zip(dr[1:], y[1:last], gases, strict=True)]
        else:
            r = values(a)
            pivot_water = 1.0 / d
            coupling = []
        losses = [g * c for g, (c, _) in zip(r[first:], gases, strict=True)]
        use = 0.0
        if reaction is not None:
            per_mole, per_pascal = reaction.slopes(y[oxygen] * inverse_oxygen)
            use = per_mole + per_pascal * inverse_oxygen
            losses[oxygen - first] = losses[oxygen - first] + use
        pivots = [1.0 / (d + loss) for loss in losses]
        inverse_d = 1.0 / d

        def solve(b: State) -> State:
            if tracked:
                w = b[0] * pivot_water
                x = [w]
                if moving:
                    x += [(bg + k * w) * p for bg, k, p in zip(b[1:last], coupling, pivots, strict=True)]
                else:
                    x += [bg * p for bg, p in zip(b[1:last], pivots, strict=True)]
            else:
                x = [bg * p for bg, p in zip(b[:last], pivots, strict=True)]
            if reaction is not None:
                x.append((b[last] + use * x[oxygen]) * inverse_d)
            return x

        return solve

    volume = room * GAS_CONSTANT * temperature

    def observe(y: State) -> Observation:
        pressures = [n * c for n, c in zip(y[first:last], inverse, strict=True)]
        return Observation(pressures, water(y), volume)

    return Balance(rhs, factor, observe, water, dissolving, tuple(1.0 / c for c in inverse))


def _flexible(
    contents: Contents,
    rows: Evaluate,
    water: Callable[[State], Value],
    outside: list[float],
    dissolving: tuple[float, ...],
    surroundings: tuple[float, float, float],
    reaction: Reaction | None,
) -> Balance:
    """The gases are coupled through the volume of the headspace."""
    temperature, total, psat = surroundings
    tracked, moving = contents.tracks_water, contents.product.moisture is not None
    first, count = contents.first_gas, len(contents.gases)
    last = first + count
    oxygen = contents.gases.index("O2") if reaction is not None else -1
    floor = COLLAPSED * contents.product.headspace.volume / (GAS_CONSTANT * temperature)
    floor = max(floor, 1e-12 * sum(contents.amounts.values()) / ATMOSPHERE)
    slope_of = _slope(contents)
    highest = 1.0 if moving else inside_activity(contents.product)
    if total <= highest * psat:
        raise InputError(
            Problem(
                f"at {temperature - 273.15:.1f} degC the water vapour inside a flexible package reaches "
                f"the pressure "
                "outside, so that it would inflate without end",
                field="storage",
                hint="use rigid walls or a lower temperature",
            )
        )

    def room(n: State, dry: Value) -> Value:
        return headspace_room(n, dissolving, dry, floor)

    def rhs(y: State) -> State:
        a = water(y)
        r = rows.values(a)
        n = y[first:last]
        v = room(n, total - a * psat)
        p = [x / (v + h) for x, h in zip(n, dissolving, strict=True)]
        out = [-r[0]] if tracked else []
        flows = [g * (po - q) for g, po, q in zip(r[first:], outside, p, strict=True)]
        if reaction is not None:
            used = reaction.rate(n[oxygen], p[oxygen])
            flows[oxygen] = flows[oxygen] - used
            return [*out, *flows, used]
        return out + flows

    def factor(y: State, d: Value) -> Callable[[State], State]:
        a = water(y)
        r, dr = rows.with_slopes(a)
        n = y[first:last]
        v = room(n, total - a * psat)
        w = [1.0 / (v + h) for h in dissolving]
        p = [x * u for x, u in zip(n, w, strict=True)]
        squeeze = [q * u for q, u in zip(p, w, strict=True)]  # -dp_i/dv
        free = 1.0 * (v > floor)
        weight = sum(squeeze)
        share = free / (weight + 1e-300)  # dv/dn_j = share * w_j, dv/da = share * psat
        extra_n, extra_p = (0.0, 0.0) if reaction is None else reaction.slopes(p[oxygen])
        leak = [g + extra_p if i == oxygen else g for i, g in enumerate(r[first:])]
        matrix = []
        for i in range(count):
            row = [leak[i] * (-squeeze[i] * share * w[j]) for j in range(count)]
            row[i] = row[i] + leak[i] * w[i] + d
            if i == oxygen:
                row[i] = row[i] + extra_n
            matrix.append(row)
        solve_gases = eliminate(matrix)
        if moving:
            da = slope_of(a)
            pivot_water = 1.0 / (d + dr[0] * da)
            dp_da = [-s * share * psat for s in squeeze]
            coupling = [
                (k * (po - q) - g * dp) * da
                for k, po, q, g, dp in zip(dr[1:], outside, p, leak, dp_da, strict=True)
            ]
        else:
            da, dp_da = 0.0, []
            pivot_water = 1.0 / d
            coupling = [0.0] * count

        def solve(b: State) -> State:
            x: State = []
            rest = b[first:last]
            if tracked:
                x = [b[0] * pivot_water]
                rest = [c + k * x[0] for c, k in zip(rest, coupling, strict=True)]
            gas = solve_gases(rest)
            x = x + gas
            if reaction is not None:
                # change of the oxygen pressure that goes with the changes of all amounts (and of the
                # activity)
                dv = share * sum(u * g for u, g in zip(w, gas, strict=True))
                dp = w[oxygen] * gas[oxygen] - squeeze[oxygen] * dv
                if moving:
                    dp = dp + dp_da[oxygen] * da * x[0]
                x.append((b[last] + extra_n * gas[oxygen] + extra_p * dp) / d)
            return x

        return solve

    def observe(y: State) -> Observation:
        a = water(y)
        n = y[first:last]
        v = room(n, total - a * psat)
        p = [x / (v + h) for x, h in zip(n, dissolving, strict=True)]
        return Observation(p, a, v * GAS_CONSTANT * temperature)

    return Balance(rhs, factor, observe, water, dissolving, None)

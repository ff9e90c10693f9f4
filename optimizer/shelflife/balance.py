"""Mole balances of one segment of time, as a right-hand side, its Jacobian and, for rigid walls, its steps.

State, in order: net water in the product [mol] (where water is followed), moles of each gas in headspace and
product, oxygen used up [mol] (where the product uses oxygen). Components are floats or arrays (B,).

    d(water)/dt = -J(a)                        a from the isotherm, or fixed
    d(n_g)/dt   = G_g(a) (p_out - p_g) - r     r for oxygen only
    d(used)/dt  = r(p_O2)

Rigid: p_g = n_g / (V/RT + H_g V_product). Flexible: see ``flexible``.
"""

from __future__ import annotations

from collections.abc import Callable

from optimizer.constants import GAS_CONSTANT
from optimizer.shelflife.chain import Chain
from optimizer.shelflife.contents import Contents, solubility
from optimizer.shelflife.exchange import Exchange
from optimizer.shelflife.flexible import flexible_balance
from optimizer.shelflife.tables import Evaluate, Tables
from optimizer.shelflife.terms import (
    Balance,
    Observation,
    Reaction,
    State,
    Value,
    Water,
    reactions_at,
    water_of,
)


def balance_of(contents: Contents, exchange: Exchange, segment: int, scalar: bool) -> Balance:
    """Balance of segment number ``segment``; ``scalar`` for one sample in plain floats."""
    return Balances(contents, exchange, scalar).at(segment)


class Balances:
    """Balances of every segment; what depends on the temperature alone is worked out for all at once."""

    def __init__(self, contents: Contents, exchange: Exchange, scalar: bool) -> None:
        self._contents, self._exchange, self._scalar = contents, exchange, scalar
        product, gases = contents.product, contents.gases
        t = exchange.segments.temperature
        dissolving = {g: product.volume * solubility(product, g, t) for g in gases}
        self._temperature: list[float] = t.tolist()
        self._dissolving = list(zip(*(dissolving[g].tolist() for g in gases), strict=True))
        self._outside = list(zip(*(exchange.outside[g].tolist() for g in gases), strict=True))
        self._reactions = reactions_at(contents, t, dissolving["O2"]) if contents.reacts else None
        self._water = water_of(contents)
        self._tables = _tables(contents, exchange, scalar)

    def at(self, segment: int) -> Balance:
        contents, rows, t = self._contents, self._tables.at(segment), self._temperature[segment]
        outside = list(self._outside[segment]) if contents.gases else []
        dissolving = self._dissolving[segment] if contents.gases else ()
        reaction = None if self._reactions is None else self._reactions[segment]
        if contents.product.headspace.rigid:
            return _rigid(contents, rows, self._water, outside, dissolving, t, reaction, self._scalar)
        seg = self._exchange.segments
        surroundings = (t, float(seg.pressure[segment]), float(seg.saturation[segment]))
        return flexible_balance(contents, rows, self._water, outside, dissolving, surroundings, reaction)


def _tables(contents: Contents, exchange: Exchange, scalar: bool) -> Tables:
    tables = [exchange.conductance[g] for g in contents.gases]
    keys = list(contents.gases)
    if contents.tracks_water:
        if exchange.water is None:
            raise ValueError("the exchange does not hold the water flow that the product needs")
        tables.insert(0, exchange.water)
        keys.insert(0, "H2O")
    factors = [exchange.multiplier.get(k) for k in keys]
    grid = None if contents.product.moisture is None else exchange.activity
    return Tables(grid, tables, factors, scalar)


def _rigid(
    contents: Contents,
    rows: Evaluate,
    product_water: Water,
    outside: list[float],
    dissolving: tuple[float, ...],
    temperature: float,
    reaction: Reaction | None,
    scalar: bool,
) -> Balance:
    """Lower triangular: water, then each gas on its own, then the oxygen used up."""
    water, slope_of = product_water.of_state, product_water.response
    volume = contents.product.headspace.volume
    room = volume / (GAS_CONSTANT * temperature)
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

    def observe(y: State) -> Observation:
        pressures = [n * c for n, c in zip(y[first:last], inverse, strict=True)]
        return Observation(pressures, water(y), volume)

    chain = Chain(
        scalar,
        tracked,
        moving,
        tuple(gases),
        oxygen - first if reaction is not None else -1,
        linear,
        most,
        half,
        product_water.activity,
        slope_of,
        values,
        with_slopes,
        rows.cells,
        product_water.per_mole,
        product_water.isotherm,
    )
    return Balance(rhs, factor, observe, water, dissolving, tuple(1.0 / c for c in inverse), chain)

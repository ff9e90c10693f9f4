"""Balance of a flexible package: the gases are coupled through the volume of the headspace.

v = V/RT solves sum n_g / (v + h_g) = P - a psat; p_g = n_g / (v + h_g).
"""

from __future__ import annotations

from collections.abc import Callable

from optimizer.constants import ATMOSPHERE, GAS_CONSTANT
from optimizer.errors import InputError, Problem
from optimizer.shelflife.contents import Contents, inside_activity
from optimizer.shelflife.headspace import eliminate, headspace_room
from optimizer.shelflife.tables import Evaluate
from optimizer.shelflife.terms import Balance, Observation, Reaction, State, Value, Water

#: Least headspace of a flexible package, as a share of that at closing: at that the package has collapsed,
#: keeps this volume (folds and corners) and its pressure falls below that outside.
COLLAPSED = 1e-3


def flexible_balance(
    contents: Contents,
    rows: Evaluate,
    product_water: Water,
    outside: list[float],
    dissolving: tuple[float, ...],
    surroundings: tuple[float, float, float],
    reaction: Reaction | None,
) -> Balance:
    """Balance of one segment. surroundings: temperature [K], pressure and saturation pressure of water
    [Pa]."""
    temperature, total, psat = surroundings
    tracked, moving = contents.tracks_water, contents.product.moisture is not None
    water, slope_of = product_water.of_state, product_water.response
    first, count = contents.first_gas, len(contents.gases)
    last = first + count
    oxygen = contents.gases.index("O2") if reaction is not None else -1
    floor = COLLAPSED * contents.product.headspace.volume / (GAS_CONSTANT * temperature)
    floor = max(floor, 1e-12 * sum(contents.amounts.values()) / ATMOSPHERE)
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

"""States of a ``Network``: at closing, over a step of the surroundings, and what is read off them.

A step keeps the amount at every node. The half cells at the inner faces belong to the inside and those at the
outer faces are in equilibrium with the air, so a step of the air moves a little gas in or out at once; it is
counted as flow.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from optimizer.constants import ATMOSPHERE, MOLAR_MASS
from transient.network import Network

Array = NDArray[np.float64]


def product_water(net: Network, activity: float) -> float:
    """Water in the product [mol] at an activity, by the isotherm."""
    m = net.case.product.moisture
    return float(m.isotherm.content(float(activity))) * m.dry_mass / MOLAR_MASS["H2O"]


def amount(net: Network, y: Array) -> Array:
    """What the rates are the change of, in natural order: moles, and shares of scavenger."""
    m = y.copy()
    for g in net.gases:
        m[net.at[f"p {g}"]] *= net.capacity[g][net.free]
    if net.moves:
        held = net.wall_water(net.activities(y))
        m[net.at["a"]] = held[net.free]
        if not net.fixed_water:
            m[net.at["inside H2O"]] = product_water(net, y[net.at["inside H2O"]][0]) + held[0]
    return m


def slope(net: Network, y: Array) -> Array:
    """d(amount)/d(unknown), in natural order."""
    d = np.ones(net.size)
    for g in net.gases:
        d[net.at[f"p {g}"]] = net.capacity[g][net.free]
    if net.moves:
        held = net._wall_slope(net.activities(y))
        d[net.at["a"]] = held[net.free]
        if not net.fixed_water:
            m = net.case.product.moisture
            own = float(m.isotherm.slope(float(y[net.at["inside H2O"]][0]))) * m.dry_mass
            d[net.at["inside H2O"]] = own / MOLAR_MASS["H2O"] + held[0]
    return d


def scales(net: Network) -> Array:
    """Typical size of each unknown, for tolerances."""
    s = np.ones(net.size)
    contents, first = net.contents, 1 if net.contents.tracks_water else 0
    sizes = dict(zip(net.gases, contents.scales()[first:], strict=False))
    for g in net.gases:
        s[net.at[f"p {g}"]] = 2e4
        for name in ("inside", "out", "leak"):
            s[net.at[f"{name} {g}"]] = sizes[g] * 0.1
    if net.moves:
        size = 0.01 * net.case.product.mass / MOLAR_MASS["H2O"]
        s[net.at["out H2O"]] = s[net.at["leak H2O"]] = size
        s[net.at["inside H2O"]] = size if net.fixed_water else 1.0
    s[net.at["used"]] = 0.1 * sizes.get("O2", 1.0)
    return s


def unknowns_of(net: Network, m: Array) -> Array:
    """Inverse of ``amount`` in the present surroundings."""
    y = m.copy()
    for g in net.gases:
        y[net.at[f"p {g}"]] /= net.capacity[g][net.free]
    if not net.moves:
        return y
    a, want, owners = np.full(net.count, np.nan), np.zeros(net.count), np.zeros(net.count, dtype=int)
    want[net.free] = m[net.at["a"]]
    for material, nodes, weight in net.water_held:
        owners[nodes] += 1
        a[nodes] = net.materials[material].water_law().activity_of(want[nodes] / weight)
    for i in np.flatnonzero(owners > 1):
        laws = [
            (net.materials[k].water_law().potential, float(weight[nodes == i][0]))
            for k, nodes, weight in net.water_held
            if i in nodes
        ]
        if i in net.free:
            a[i] = brentq(
                lambda x, laws=laws, i=i: sum(w * float(phi(x)) for phi, w in laws) - want[i],
                -1.0,
                3.0,
                xtol=1e-15,
                rtol=1e-14,
            )
    y[net.at["a"]] = a[net.free]
    if not net.fixed_water:
        own = [
            (net.materials[k].water_law().potential, float(weight[nodes == 0][0]))
            for k, nodes, weight in net.water_held
            if 0 in nodes
        ]
        target = float(m[net.at["inside H2O"]][0])
        y[net.at["inside H2O"]] = brentq(
            lambda x: product_water(net, x) + sum(w * float(phi(x)) for phi, w in own) - target,
            1e-9,
            0.999,
            xtol=1e-15,
            rtol=1e-14,
        )
    return y


def _faces(net: Network, y: Array) -> dict[str, Array]:
    """Amounts in the half cells at the outer faces, and for water of fixed activity at the inner ones."""
    held = {g: net.capacity[g][net.outer] * net.outside[g] for g in net.gases}
    if net.moves:
        wall = net.wall_water(net.activities(y))
        held["H2O"], held["inner"] = wall[net.outer], wall[:1]
    return held


def _shift(net: Network, y: Array, before: dict[str, Array]) -> Array:
    """``y`` with the change of the half cells at held faces counted as flow."""
    after = _faces(net, y)
    for f in net.fields:
        y[net.at[f"out {f}"]] += before[f] - after[f]
    if net.moves and net.fixed_water:
        y[net.at["inside H2O"]] += before["inner"] - after["inner"]
    return y


def start(net: Network) -> Array:
    """State at closing, in the surroundings of the first segment."""
    net.enter(0)
    before, contents = net.case.before, net.contents
    a0 = float(net.segments.humidity[0]) if before.humidity is None else before.humidity
    dry = ATMOSPHERE - a0 * net.psat
    wall = {g: before.gas.get(g, 0.0) * dry for g in net.gases}
    m = np.zeros(net.size)
    for g in net.gases:
        m[net.at[f"p {g}"]] = net.capacity[g][net.free] * wall[g]
        m[net.at[f"inside {g}"]] = contents.amounts[g] + net.capacity[g][0] * wall[g]
    for k, _, _ in net.scavengers:
        m[net.at[f"s {k}"]] = 1.0
    held = {g: net.capacity[g][net.outer] * wall[g] for g in net.gases}
    if net.moves:
        water = net.wall_water(np.full(net.count, a0))
        m[net.at["a"]] = water[net.free]
        held["H2O"], held["inner"] = water[net.outer], water[:1]
        if not net.fixed_water:
            m[net.at["inside H2O"]] = contents.water + water[0]
    return _shift(net, unknowns_of(net, m), held)


def step(net: Network, y: Array, k: int) -> Array:
    """The state after the surroundings have become those of segment ``k``: amounts kept."""
    m, before = amount(net, y), _faces(net, y)
    net.enter(k)
    return _shift(net, unknowns_of(net, m), before)


def observe(net: Network, time: float, y: Array) -> dict[str, float]:
    """What is compared (moles, Pa): "p O2", "n O2" inside, "wall O2", "out O2" through the walls, "leak O2",
    "used", "activity" inside, "gain" of water in the product, "volume" of the headspace, "wall H2O"..."""
    a = net.activities(y)
    pressures, volume = net.inside(time, y, float(a[0]))
    row: dict[str, float] = {"activity": float(a[0]), "volume": volume, "used": float(y[net.at["used"]][0])}
    for g in net.gases:
        c, p = net.capacity[g], pressures[g]
        inside = float(y[net.at[f"inside {g}"]][0])
        wall = float(c[net.free] @ y[net.at[f"p {g}"]] + c[net.outer].sum() * net.outside[g] + c[0] * p)
        row |= {f"p {g}": p, f"n {g}": inside - c[0] * p, f"wall {g}": wall}
    if net.moves:
        wall = net.wall_water(a)
        row["wall H2O"] = float(wall.sum())
        if net.fixed_water:
            row["gain"] = float(y[net.at["inside H2O"]][0])
        else:
            row["gain"] = product_water(net, float(a[0])) - net.contents.water
    for f in net.fields:
        row[f"out {f}"] = float(y[net.at[f"out {f}"]].sum())
        row[f"leak {f}"] = float(y[net.at[f"leak {f}"]][0])
    gain = [0.0]
    for k, _, litres in net.scavengers:
        capacity = net.materials[k].scavenger.capacity
        if capacity is not None:
            gain.append(capacity * float(litres @ (1.0 - y[net.at[f"s {k}"]])))
    row["scavenged"] = sum(gain)
    return row

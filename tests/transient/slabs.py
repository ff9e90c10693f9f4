"""Single walls, closed vessels and films as closed forms describe them, by the transient engine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import ATMOSPHERE, DRY_AIR, GAS_CONSTANT
from optimizer.physics.material import DiffusionLaw, Material, Scavenger
from optimizer.physics.permeability import GasLaw
from optimizer.shelflife.transient.columns import Column
from optimizer.shelflife.transient.element import joined, reference
from optimizer.shelflife.transient.gaslane import GasLane, gas_layers
from optimizer.shelflife.transient.propagate import Bond, System, factor_of
from optimizer.shelflife.transient.run import Run

from .coupled import linear

T = 296.15
AIR = DRY_AIR["O2"] * ATMOSPHERE


def layer(d: float, s: float, **more: object) -> Material:
    """Diffusivity [m2/s] and solubility [mol/(m3 Pa)] of oxygen and nitrogen alike."""
    laws = {g: GasLaw(g, T, (0.0,), (d * s,), 0.0) for g in ("O2", "N2")}
    spread = {g: DiffusionLaw(T, d, 0.0) for g in laws}
    return Material("layer", "x", 1000.0, laws, None, diffusivity=spread, **more)  # type: ignore[arg-type]


def lane_of(
    *layers: tuple[float, float, float], degree: int = 4, outside: float = 1.0, **more: object
) -> GasLane:
    """A column of 1 m2 of (length, D, S), inside to outside, ``outside`` [Pa] beyond."""
    column = Column(
        "w",
        tuple(layer(d, s, **more) for _, d, s in layers),
        tuple(x for x, _, _ in layers),
        1.0,
        tuple(reference(degree) for _ in layers),
    )
    return GasLane(gas_layers(column, "O2", T, [(1.0, 1.0)] * len(layers)), outside)


def emptied(lane: GasLane, stored: float, seconds: float) -> float:
    """What an empty, endless vessel takes in [mol] through a wall that at first holds ``stored`` [Pa]."""
    storage = [1e40, *joined([x.storage for x in lane.layers])[1]]
    bonds, at = [], 1
    for k, x in enumerate(lane.layers):
        end = at + len(x.storage) - 2
        last = k == len(lane.layers) - 1
        places = (0 if k == 0 else at - 1, *range(at, end), -1 if last else end)
        bonds.append(Bond(places, factor_of(x.element, x.conduction)))
        at = end + 1
    system = System(np.array(storage), bonds, 0.0, 0.0, float(lane.outside), np.nan)
    start = np.array(storage) * stored
    start[0] = lane.face * stored
    system.begin(start)
    _, past = system.at(seconds)
    return float(start[0] + system.flows(past, seconds)[0][0])


D, WIDTH, S, AREA = 1e-12, 100e-6, 1e-5, 0.05


def filled(tau: ArrayLike, h: float, degree: int | None = None) -> NDArray[np.float64]:
    """Pressure in a vessel over that outside, both slab and vessel empty at first, at D t / l^2 = tau."""
    volume = AREA * WIDTH * S * GAS_CONSTANT * T / h
    times = np.asarray(tau, dtype=float) * WIDTH**2 / D
    case = linear((layer(D, S), 100.0), volume=volume, wall=0.0, area=AREA, days=times[-1] / 86400)
    run = Run(case, None, None, None, times, degree, 1e-4)
    value: NDArray[np.float64] = run.trajectory().pressures["O2"][0] / AIR
    return value


def bathed(tau: ArrayLike, alpha: float, degree: int = 12) -> NDArray[np.float64]:
    """Share of its final uptake that a wall in front of foil has taken from a vessel, alpha = vessel/wall."""
    foil = replace(layer(D, S), gases={g: GasLaw(g, T, (0.0,), (0.0,), 0.0) for g in ("O2", "N2")})
    times = np.asarray(tau, dtype=float) * WIDTH**2 / D
    case = linear(
        (layer(D, S), 100.0),
        (foil, 9.0),
        volume=alpha * AREA * WIDTH * S * GAS_CONSTANT * T,
        inside=0.5,
        wall=0.0,
        area=AREA,
        days=times[-1] / 86400,
    )
    left = Run(case, None, None, None, times, degree, 1e-4).trajectory().pressures["O2"][0] / (
        0.5 * ATMOSPHERE
    )
    value: NDArray[np.float64] = (1.0 - left) * (1.0 + alpha)
    return value


def reacting(phi: float) -> tuple[float, float]:
    """What a film with first-order use passes to an empty inside, and takes up outside, over its flux without
    use."""
    lane = lane_of((1.0, 1.0, 1.0), degree=10, scavenger=Scavenger("O2", phi**2, T))
    share = 1e12
    lane.factor(share)
    _, inflow = lane.reduce([0.0] * lane.count, [[]], [[]])
    solved = lane.rates(lane.fill(0.0), [[]])
    return inflow / share, -solved.outer

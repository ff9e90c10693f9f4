"""What the quasi-steady picture leaves out: the time lag of a wall, and the gas that the wall itself holds.

With w = resistance from the outer face / total, the lag of any laminate is R integral S w (1 - w) dx, and a
wall
that starts in equilibrium with the outside gives p_out integral S w^2 dx inwards on top of the steady flow.
S = P / D. Weighted-integral method; a single slab gives l^2/(6 D) and S p l / 3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.physics.permeability import BLOCKED
from optimizer.shelflife.package import Wall

Array = NDArray[np.float64]


@dataclass(frozen=True)
class WallMemory:
    """lag [s]; stored: gas that passes inwards per area and Pa on top of the steady flow [mol/(m2 Pa)]."""

    lag: float
    stored: float


def unknown_diffusivity(wall: Wall, gas: str) -> list[str]:
    """Names of the wall's materials that let ``gas`` through but have no diffusivity for it."""
    return list(
        dict.fromkeys(
            layer.material.name
            for layer in wall.layers
            if gas not in layer.material.diffusivity
            and not (gas in layer.material.gases and layer.material.gases[gas].blocks)
        )
    )


def wall_memory(wall: Wall, gas: str, temperature: float, resistance: Array) -> WallMemory:
    """Lag and stored gas of a wall at ``temperature`` [K]; resistance of each layer (n,) [m2 s Pa/mol].

    Each layer is taken at its mean permeability; one without a diffusivity stores nothing. A wall with a
    blocking layer has no lag (nothing passes).
    """
    total = float(resistance.sum())
    if not wall.layers or any(
        m >= 0.5 * BLOCKED * layer.thickness for m, layer in zip(resistance, wall.layers, strict=True)
    ):
        return WallMemory(0.0, 0.0)
    # w at the faces, from 1 inside to 0 outside
    w = 1.0 - np.concatenate([[0.0], np.cumsum(resistance)]) / total
    lag = stored = 0.0
    for layer, a, b in zip(wall.layers, w[:-1], w[1:], strict=True):
        length = layer.thickness
        held = layer.material.solubility(gas, temperature)
        solubility = 0.0 if held is None else float(held)
        mean_square = (a * a + a * b + b * b) / 3.0
        mean = 0.5 * (a + b)
        lag += total * solubility * length * (mean - mean_square)
        stored += solubility * length * mean_square
    return WallMemory(float(lag), float(stored))

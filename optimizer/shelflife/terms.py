"""What the balances of one segment are made of: the use of oxygen, and what a balance offers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import MOLAR_MASS
from optimizer.physics.permeability import arrhenius
from optimizer.physics.sorption import Isotherm
from optimizer.shelflife.chain import Chain
from optimizer.shelflife.contents import Contents, inside_activity

Array = NDArray[np.float64]
Value = Any
State = list[Value]

#: Half pressure that ends an order-0 reaction smoothly as the oxygen runs out [Pa].
ZERO_ORDER_HALF_PRESSURE = 10.0


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


def reactions_at(contents: Contents, temperature: Array, dissolving: Array) -> list[Reaction | None]:
    """The product's use of oxygen at each ``temperature`` (S,) [K], or None where it uses none.

    dissolving: H V_product of oxygen (S,) [mol/Pa].
    """
    c = contents.product.oxygen.consumption
    if c is None or not contents.reacts:
        return [None] * len(temperature)
    rates = (c.rate * arrhenius(c.activation_energy, temperature, c.temperature)).tolist()
    if c.order == 1:
        return [
            Reaction(linear_pressure=rate * h) if h > 0 else Reaction(linear_amount=rate)
            for rate, h in zip(rates, dissolving.tolist(), strict=True)
        ]
    half = ZERO_ORDER_HALF_PRESSURE if c.order == 0 else c.half_pressure
    return [Reaction(most=rate, half=half) for rate in rates]


class Water(NamedTuple):
    """The product's water. of_state: activity of a state; activity: of moles of water; response: d(activity)/
    d(moles) of an activity; per_mole: content per mole [kg/(kg mol)]; isotherm: None for a fixed activity."""

    of_state: Callable[[State], Value]
    activity: Callable[[Value], Value]
    response: Callable[[Value], Value]
    per_mole: float
    isotherm: Isotherm | None


def water_of(contents: Contents) -> Water:
    """How the inside activity follows the water in the product."""
    moisture = contents.product.moisture
    if moisture is None:
        fixed = inside_activity(contents.product)
        return Water(lambda y: fixed, lambda x: fixed, lambda a: 0.0, 0.0, None)
    per_mole = MOLAR_MASS["H2O"] / moisture.dry_mass
    activity, slope = moisture.isotherm.activity, moisture.isotherm.slope
    return Water(
        lambda y: activity(y[0] * per_mole),
        lambda x: activity(x * per_mole),
        lambda a: per_mole / slope(a),
        per_mole,
        moisture.isotherm,
    )


class Observation(NamedTuple):
    """pressures: of each gas [Pa], in the order of the state; activity inside; volume of headspace [m3]."""

    pressures: State
    activity: Value
    volume: Value


class Balance(NamedTuple):
    """Right-hand side, Jacobian solver (see ``integrate.System``) and observation of one segment.

    activity: inside water activity of a state. dissolving: H V_product per gas [mol/Pa]; capacity: moles per
    Pa of each gas where they are fixed (rigid walls), else None; chain: its steps, for rigid walls; turns:
    whether the water may turn back within a segment (out of a wet wall).
    """

    rhs: Callable[[State], State]
    factor: Callable[[State, Value], Callable[[State], State]]
    observe: Callable[[State], Observation]
    activity: Callable[[State], Value]
    dissolving: tuple[float, ...]
    capacity: tuple[float, ...] | None
    chain: Chain | None = None
    turns: bool = False

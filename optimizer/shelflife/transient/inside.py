"""What is inside, as the last equation of a stage: pressures of the gases from their amounts.

After the walls are reduced, each gas is left with (capacity + slack) p + g r(p) = q: capacity of headspace
and product [mol/Pa], slack what walls, closures and holes add, r the product's use of oxygen, g [s] the share
of the time treated implicitly. A rigid package has a given capacity; in a flexible one the room v = V/(RT)
follows from the total pressure.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from optimizer.shelflife.terms import Reaction

Value = Any
Row = list[Value]


class Inside(NamedTuple):
    """dissolving: H V_product of each gas [mol/Pa]; room: V/(RT) of a rigid headspace [mol/Pa], None for a
    flexible one; floor: least room of a flexible one; oxygen: place of the gas that reacts, -1 for none."""

    dissolving: Row
    room: Value | None
    floor: Value
    oxygen: int
    reaction: Reaction | None

    def capacity(self, k: int, room: Value) -> Value:
        return room + self.dissolving[k]


def pressures(inside: Inside, q: Row, slack: Row, share: Value, dry: Value, room: Value) -> tuple[Row, Value]:
    """Partial pressures [Pa] and room [mol/Pa]. dry: total pressure less vapour [Pa], for a flexible package;
    room: that of a rigid one, or a first guess."""
    if inside.room is not None:
        found = [_pressure(inside, k, q[k], slack[k], share, room)[0] for k in range(len(q))]
        return found, room
    v = room
    for _ in range(60):
        total: Value = 0.0
        fall: Value = 0.0
        p: Row = []
        for k in range(len(q)):
            value, slope = _pressure(inside, k, q[k], slack[k], share, v)
            p.append(value)
            total, fall = total + value, fall + slope
        # 1 / total is nearly straight in the room
        step = total * (total / dry - 1.0) / (fall + 1e-300)
        new = _at_least(v + step, inside.floor)
        change = abs(new - v)
        v = new
        if _all(change <= 1e-14 * new):
            break
    return [_pressure(inside, k, q[k], slack[k], share, v)[0] for k in range(len(q))], v


def _pressure(
    inside: Inside, k: int, q: Value, slack: Value, share: Value, room: Value
) -> tuple[Value, Value]:
    """p and -dp/droom of one gas."""
    own = inside.capacity(k, room)
    a = own + slack
    extra: Value = 1.0
    r = inside.reaction if k == inside.oxygen else None
    if r is None:
        p = q / a
        return p, p / a
    a = a + share * (r.linear_pressure + r.linear_amount * own)
    extra = 1.0 + share * r.linear_amount
    most = r.most
    if _none(most):
        p = q / a
        return p, extra * p / a
    p = saturating(a, share * most, r.half, q)
    root = abs(p) + r.half
    return p, extra * p / (a + share * most * r.half / (root * root))


def saturating(a: Value, most: Value, half: Value, q: Value) -> Value:
    """The root of a p + most p / (|p| + half) = q."""
    size = abs(q)
    b = a * half + most - size
    if isinstance(b, float):
        root = math.sqrt(b * b + 4.0 * a * size * half)
        p = 2.0 * size * half / (b + root) if b > 0.0 else (root - b) / (2.0 * a)
        return p if q >= 0.0 else -p
    root = np.sqrt(b * b + 4.0 * a * size * half)
    up = b > 0.0
    p = np.where(up, 2.0 * size * half / np.where(up, b + root, 1.0), (root - b) / (2.0 * a))
    return np.where(q >= 0.0, p, -p)


def use(inside: Inside, p: Row, room: Value) -> Value:
    """The product's use of oxygen [mol/s]."""
    if inside.reaction is None or inside.oxygen < 0:
        return 0.0
    k = inside.oxygen
    r = inside.reaction
    value = (r.linear_pressure + r.linear_amount * inside.capacity(k, room)) * p[k]
    if _none(r.most):
        return value
    return value + r.most * p[k] / (abs(p[k]) + r.half)


def _none(most: Value) -> bool:
    return isinstance(most, float) and most == 0.0


def _at_least(v: Value, floor: Value) -> Value:
    if isinstance(v, float) and isinstance(floor, float):
        return v if v > floor else floor
    return np.maximum(v, floor)


def _all(test: Any) -> bool:
    return bool(np.all(test))

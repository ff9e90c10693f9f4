"""Layers that use a gas up: r = k c s per volume, with s the share of the capacity that is left.

    ds/dt = -k S p s / capacity;   s = 1 at all times where no capacity is given.

Within a stage s follows from p at the same node: s = s_start / (1 + g k S p / capacity), with g [s] the share
of the time treated implicitly, so that only pressures remain to be found.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from optimizer.physics.material import Scavenger
from optimizer.shelflife.transient.element import Reference, Row
from optimizer.shelflife.transient.laws import arrhenius_of

Value = Any


class Sink(NamedTuple):
    """first_order: use at each node per pressure, nothing spent [mol/(s Pa)]; capacity: at each node [mol],
    or None."""

    first_order: Row
    capacity: Row | None

    def at(self, p: Row, left: Row, share: Value) -> tuple[Row, Row]:
        """Use at each node [mol/s] and its slope over p, at the end of a stage that starts from ``left``."""
        assert self.capacity is not None
        uses, slopes = [], []
        for q, s, f, c in zip(p, left, self.first_order, self.capacity, strict=True):
            root = 1.0 / (1.0 + share * f / c * q)
            uses.append(f * q * s * root)
            slopes.append(f * s * root * root)
        return uses, slopes

    def left(self, p: Row, left: Row, share: Value) -> Row:
        """Shares left at the end of a stage that starts from ``left`` and ends at pressures p."""
        if self.capacity is None:
            return left
        return [
            s / (1.0 + share * f / c * q)
            for q, s, f, c in zip(p, left, self.first_order, self.capacity, strict=True)
        ]

    def rates(self, p: Row, left: Row) -> Row:
        """Use at each node [mol/s]."""
        if self.capacity is None:
            return [f * q for f, q in zip(self.first_order, p, strict=True)]
        return [f * q * s for f, q, s in zip(self.first_order, p, left, strict=True)]


def sink_of(
    scavenger: Scavenger, temperature: Value, solubility: Value, half: Value, element: Reference
) -> Sink:
    """half: half the volume of the layer [m3]; solubility [mol/(m3 Pa)]."""
    k = scavenger.rate * arrhenius_of(scavenger.activation_energy, temperature, scavenger.temperature)
    first_order = [k * solubility * half * w for w in element.weights]
    if scavenger.capacity is None:
        return Sink(first_order, None)
    return Sink(first_order, [half * w * scavenger.capacity for w in element.weights])

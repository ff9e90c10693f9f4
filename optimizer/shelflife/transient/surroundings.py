"""Surroundings of every segment as the stages of a step take them, of one sample or of all samples."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ATMOSPHERE
from optimizer.errors import InputError, Problem
from optimizer.physics.leaks import hole_conductance
from optimizer.physics.permeability import arrhenius
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import inside_activity, solubility
from optimizer.shelflife.package import HolePart
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.terms import Reaction, reactions_at
from optimizer.shelflife.transient.plan import Plan
from optimizer.shelflife.transient.segment import Conditions
from optimizer.shelflife.variation import Variation
from optimizer.shelflife.varied import held_humidity, held_temperature

Array = NDArray[np.float64]
Value = Any


def durations(variation: Variation | None, segments: Segments, end: float) -> Array:
    """Of each segment [s], (S, 1), or (S, B) where stages last shorter or longer; together they reach
    ``end``."""
    nominal = segments.duration[:, None]
    if variation is None or not variation.duration:
        factor: Array = np.ones((len(segments), 1))
    else:
        one = np.ones(variation.size)
        factor = np.stack([variation.duration.get(name, one) for name in segments.stage])
    spans = nominal * factor
    before = np.concatenate([np.zeros((1, spans.shape[1])), np.cumsum(spans, axis=0)[:-1]])
    # the last stage goes on; what lies beyond the end is cut off
    spans[-1] = np.maximum(end - before[-1], 0.0)
    value: Array = np.clip(end - before, 0.0, spans)
    return value


def _along(share: Array | float, like: Array) -> Array | float:
    """A value of every segment (S,) as it multiplies (S,) or (S, B)."""
    return share if np.ndim(share) == 0 or like.ndim == 1 else np.asarray(share)[:, None]


class Surroundings:
    """Conditions of segment after segment. What depends on the temperature alone is worked out for all
    segments at once, shape (S,), or (S, B) where the temperature is offset by sample."""

    def __init__(self, plan: Plan, segments: Segments) -> None:
        self.plan, self.segments = plan, segments
        v = plan.variation
        contents, product = plan.contents, plan.contents.product
        t: Array = segments.temperature
        a: Array = segments.humidity
        pressure: Array = segments.pressure
        if v is not None:
            t = held_temperature(t[:, None] + (0.0 if v.temperature is None else v.temperature))
            a = held_humidity(a[:, None] + (0.0 if v.humidity is None else v.humidity))
            pressure = pressure[:, None]
        self.temperature, self.humidity = t, a
        self.saturation = saturation_pressure(t)
        dry = pressure - a * self.saturation
        self.outside = [_along(segments.share(g), dry) * dry for g in contents.gases]
        self.dissolving = [product.volume * solubility(product, g, t) for g in contents.gases]
        self.reactions: list[Reaction | None] = [None] * len(segments)
        if contents.reacts:
            self.reactions = self._reactions(t, self.dissolving[contents.gases.index("O2")])
        self.conductance = [self._fixed(g, t, pressure) for g in contents.gases]
        self.water = self._fixed("H2O", t, pressure) if plan.water is not None else np.zeros(np.shape(t))
        if not product.headspace.rigid:
            self._refuse_boiling(1.0 if product.moisture is not None else inside_activity(product))

    def _reactions(self, t: Array, dissolving: Array) -> list[Reaction | None]:
        v = self.plan.variation
        flat = reactions_at(self.plan.contents, t.reshape(-1), dissolving.reshape(-1))
        if v is None:
            return flat
        size = t.shape[1]
        found: list[Reaction | None] = []
        more = 1.0 if v.consumption is None else v.consumption
        for k in range(len(t)):
            row = flat[k * size : (k + 1) * size]
            one = row[0]
            if one is None:
                found.append(None)
                continue

            def spread(name: str, row: list[Reaction | None] = row) -> Value:
                return np.array([getattr(r, name) for r in row], dtype=float)

            pressure, amount = more * spread("linear_pressure"), more * spread("linear_amount")
            most = more * spread("most") if one.most else 0.0
            found.append(Reaction(pressure, amount, most, one.half))
        return found

    def _fixed(self, gas: str, t: Array, pressure: Array) -> Array:
        """Conductance of closures and holes together [mol/(s Pa)]."""
        total = np.zeros(np.shape(t))
        v = self.plan.variation
        for part in self.plan.fixed:
            if isinstance(part, HolePart):
                total = total + part.count * hole_conductance(gas, part.diameter, part.length, t, pressure)
            elif gas in part.transmission:
                given = part.transmission[gas]
                value = given.conductance * arrhenius(given.activation_energy, t, given.temperature)
                factor = (
                    1.0
                    if v is None
                    else v.transmission.get((part.name, self.plan.varied_as(part.name, gas)), 1.0)
                )
                total = total + value * factor
        return total

    def _refuse_boiling(self, highest: float) -> None:
        """As the case gives it: a sample that is warmer still is held at next to no dry pressure."""
        if np.any(self.segments.pressure <= highest * self.segments.saturation):
            hottest = float(np.max(self.segments.temperature)) - 273.15
            raise InputError(
                Problem(
                    f"at {hottest:.1f} degC the water vapour inside a flexible package reaches the pressure "
                    "outside, so that it would inflate without end",
                    field="storage",
                    hint="use rigid walls or a lower temperature",
                )
            )

    def at(self, k: int, first: float, last: float) -> Conditions:
        """Conditions of segment ``k``; first, last: its ends [s], for a package that creeps."""
        return Conditions(
            self._value(self.temperature[k]),
            self._value(self.humidity[k]),
            float(self.segments.pressure[k]),
            self._value(self.saturation[k]),
            [self._value(x[k]) for x in self.outside],
            [self._value(x[k]) for x in self.dissolving],
            self.reactions[k],
            [self._value(x[k]) for x in self.conductance],
            self._value(self.water[k]),
            (self._growth(first), self._growth(last)),
        )

    def _value(self, x: Any) -> Value:
        return float(x) if self.plan.scalar else x

    def _growth(self, time: float) -> float:
        product = self.plan.contents.product
        creep = product.headspace.creep
        if not creep:
            return 0.0
        share = np.interp(time, [t for t, _ in creep], [g for _, g in creep])
        return float(share) * (product.volume + product.headspace.volume)

    def before(self) -> tuple[list[Value], Value]:
        """What the walls were in equilibrium with until closing: pressures of the gases [Pa], activity."""
        plan = self.plan
        given = plan.case.before
        humidity = self._value(self.humidity[0])
        if given.humidity is not None:
            humidity = plan.whole(given.humidity)
        dry = ATMOSPHERE - humidity * self._value(self.saturation[0])
        return [plan.whole(given.gas.get(g, 0.0)) * dry for g in plan.contents.gases], humidity

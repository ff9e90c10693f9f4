"""Exact steps where a segment is linear: constant permeabilities, a rigid package, use of order 1 or none.

With M the storage at the nodes (diagonal), p = N / M and dN/dt = b - K p, the scaled amounts z = N / sqrt(M)
obey dz/dt = c - A z with A = B'B, so that the singular vectors of B carry the state to any time without an
error of integration. B has the square roots of the conductions, and with them layers that settle in a second
may stand beside a package that changes over years.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.shelflife.transient.element import Reference, Row, joined
from optimizer.shelflife.transient.gaslane import GasLane
from optimizer.shelflife.transient.plan import Place, Plan
from optimizer.shelflife.transient.segment import Segment
from optimizer.shelflife.transient.waterlane import WaterLane

Array = NDArray[np.float64]
State = list[Any]

#: A stage as long as this is steady [s].
_FOREVER = 1e15


def is_linear(plan: Plan) -> bool:
    """Whether every segment of a plan can be taken exactly."""
    product, contents = plan.contents.product, plan.contents
    if (
        not plan.scalar
        or product.moisture is not None
        or not product.headspace.rigid
        or product.headspace.creep
    ):
        return False
    use = product.oxygen.consumption
    if contents.reacts and use is not None and use.order != 1:
        return False
    materials = [m for c in plan.columns for m in c.materials]
    if any(m.scavenger is not None and m.scavenger.capacity is not None for m in materials):
        return False
    if plan.water is None:
        return True
    wet = [m.water_law() for m in materials]
    settled = all("H2O" not in m.diffusivity or m.water_law().blocks for m in materials)
    sensitive = any(m.gas_law(g).humidity_sensitive for g in contents.gases for m in materials)
    return settled or (not sensitive and not any(w.humidity_sensitive for w in wet))


class Bond(NamedTuple):
    """An element between its nodes, by place in the system; -1 the outside, -2 a fixed inside. factor (q, n):
    its conduction [mol/(s Pa)] is factor' factor."""

    places: tuple[int, ...]
    factor: Array


class System:
    """One gas, or water, in all columns and inside. amounts(t): at the nodes [mol] after t [s]."""

    def __init__(
        self, storage: Array, bonds: list[Bond], leak: float, use: float, outside: float, fixed: float
    ):
        """storage: (n,), inside first unless that is ``fixed`` [activity] (then nan is none); leak:
        conductance from inside to outside; use: of the inside per pressure; outside: pressure (or
        activity)."""
        n = len(storage)
        self.outside, self.fixed, self.leak, self.use = outside, fixed, leak, use
        self.bonds = bonds
        self._moving = not np.isfinite(fixed)
        rows: list[Array] = []
        b = np.zeros(n)
        for places, factor in bonds:
            row = np.zeros((len(factor), n))
            known = np.zeros(len(factor))
            for i, column in zip(places, factor.T, strict=True):
                if i >= 0:
                    row[:, i] += column
                else:
                    known += column * (outside if i == -1 else fixed)
            rows.append(row)
            b -= row.T @ known
        if self._moving:
            row = np.zeros((1, n))
            row[0, 0] = np.sqrt(leak + use)
            rows.append(row)
            b[0] += leak * outside
        self.root = np.sqrt(storage)
        factor = np.concatenate(rows) / self.root
        _, singular, vectors = np.linalg.svd(factor, full_matrices=len(factor) < n)
        self.values = np.concatenate([singular**2, np.zeros(n - len(singular))])
        self.vectors = vectors.T
        self.drive = vectors @ (b / self.root)
        self.start: Array = np.zeros(n)

    def begin(self, amounts: Array) -> None:
        self.start = self.vectors.T @ (amounts / self.root)

    def _filling(self, t: float) -> Array:
        """(1 - exp(-x t)) / x of the eigenvalues."""
        x = self.values
        small = x * t < 1e-9
        value: Array = np.where(small, t * (1.0 - 0.5 * x * t), -np.expm1(-x * t) / np.where(small, 1.0, x))
        return value

    def at(self, t: float) -> tuple[Array, Array]:
        """Pressures at the nodes after t, and their integrals from 0 to t."""
        f = self._filling(t)
        x = self.values
        small = x * t < 1e-4
        twice = np.where(
            small, t * t * (0.5 - x * t / 6.0 + x * x * t * t / 24.0), (t - f) / np.where(small, 1.0, x)
        )
        now = np.exp(-x * t) * self.start + f * self.drive
        past = f * self.start + twice * self.drive
        return self.vectors @ now / self.root, self.vectors @ past / self.root

    def flows(self, p: Array, one: float) -> tuple[Array, float, float]:
        """For pressures p at the nodes (or integrals of them, ``one`` then being the time): what the nodes
        gain, what the inside gains (where it is fixed) and what leaves to the outside."""
        gain = np.zeros(len(p))
        inside = outward = 0.0
        for places, factor in self.bonds:
            u = [self.outside * one if i == -1 else self.fixed * one if i == -2 else p[i] for i in places]
            for i, rate in zip(places, factor.T @ (factor @ np.array(u)), strict=True):
                if i >= 0:
                    gain[i] -= rate
                elif i == -1:
                    outward -= rate
                else:
                    inside -= rate
        inner = self.fixed * one if not self._moving else p[0]
        through = self.leak * (inner - self.outside * one)
        outward += through
        if self._moving:
            gain[0] -= through + self.use * p[0]
        else:
            inside -= through
        return gain, inside, outward


class Exact:
    """States of one segment at any time after its start."""

    def __init__(self, segment: Segment, state: State) -> None:
        plan = segment.plan
        self.segment, self.state = segment, list(state)
        self.systems: list[tuple[Place, System, list[int]]] = []
        activities: list[list[Row]] | None = None
        if plan.water is not None:
            activities = self._steady_activities()
            self._add(plan.water, self._water_system(), moving=False)
        for g, (lanes, place) in enumerate(zip(segment.lanes, plan.gases, strict=True)):
            if activities is not None:
                for lane, activity in zip(lanes, activities, strict=True):
                    lane.set_activity(activity)
            self._add(place, self._gas_system(g, lanes), moving=True)

    def _steady_activities(self) -> list[list[Row]] | None:
        """Activities at the nodes once the water has settled, where a gas needs them."""
        segment = self.segment
        if not any(lane.sensitive for lanes in segment.lanes for lane in lanes):
            return None
        segment.factor(_FOREVER)
        segment.settle_water(self.state)
        return [lane.activities(lane.potentials()) for lane in segment.wet]

    def _add(self, place: Place, system: System, *, moving: bool) -> None:
        where = [place.total] if moving else []
        for first, end in place.walls:
            where += range(first, end)
        system.begin(np.array([self.state[i] for i in where]))
        self.systems.append((place, system, where))

    def _gas_system(self, g: int, lanes: list[GasLane]) -> System:
        segment, now = self.segment, self.segment.now
        own = float(segment.inside.capacity(g, segment.room))
        storage = [own + sum(lane.face for lane in lanes)]
        bonds: list[Bond] = []
        for lane in lanes:
            at = len(storage)
            storage += joined([x.storage for x in lane.layers])[1]
            last = at + lane.count
            for k, (x, c) in enumerate(zip(lane.layers, lane.conductions, strict=True)):
                factor = factor_of(x.element, x.conduction if c is None else np.array(c))
                if x.sink is not None:
                    factor = np.concatenate([factor, np.diag(np.sqrt(x.sink.first_order))])
                first = 0 if k == 0 else at - 1
                count = len(x.storage) - 2
                end = at + count
                bonds.append(Bond((first, *range(at, end), end if end < last else -1), factor))
                at = end + 1
        use = 0.0
        if g == segment.inside.oxygen and now.reaction is not None:
            use = now.reaction.linear_pressure + now.reaction.linear_amount * own
        return System(np.array(storage), bonds, now.conductance[g], use, now.outside[g], np.nan)

    def _water_system(self) -> System:
        """In terms of activity: all laws are straight, or nothing is stored and what they are does not
        matter."""
        segment, now = self.segment, self.segment.now
        storage: Row = []
        bonds: list[Bond] = []
        for lane in segment.wet:
            at = len(storage)
            slopes = _slopes(lane, segment.activity)
            storage += joined([[m * s for m in x.storage] for x, s in zip(lane.layers, slopes, strict=True)])[
                1
            ]
            last = at + lane.count
            for k, (x, s) in enumerate(zip(lane.layers, slopes, strict=True)):
                first = -2 if k == 0 else at - 1
                end = at + len(x.storage) - 2
                factor = factor_of(x.element, x.conduction * s)
                bonds.append(Bond((first, *range(at, end), end if end < last else -1), factor))
                at = end + 1
        leak = now.water * now.saturation
        return System(np.array(storage), bonds, leak, 0.0, now.humidity, segment.activity)

    def at(self, t: float) -> State:
        """The state after t [s]."""
        plan = self.segment.plan
        y = list(self.state)
        for place, system, where in self.systems:
            p, past = system.at(t)
            gain, inside, outward = system.flows(past, t)
            for i, x in zip(where, gain, strict=True):
                y[i] = y[i] + float(x)
            y[place.outer] += outward
            if place is plan.water:
                y[place.total] += inside
            else:
                if place.used >= 0:
                    y[place.used] += float(-gain.sum() - outward - system.use * past[0])
                if plan.consumed >= 0 and system.use > 0.0:
                    y[plan.consumed] += float(system.use * past[0])
        return y

    def rates(self, t: float) -> State:
        """Rates of the state after t."""
        plan = self.segment.plan
        f: State = [0.0] * plan.size
        for place, system, where in self.systems:
            p, _ = system.at(t)
            gain, inside, outward = system.flows(p, 1.0)
            for i, x in zip(where, gain, strict=True):
                f[i] = float(x)
            f[place.outer] = outward
            if place is plan.water:
                f[place.total] = inside
            elif plan.consumed >= 0 and system.use > 0.0:
                f[plan.consumed] = float(system.use * p[0])
        return f


def factor_of(element: Reference, conduction: Any) -> Array:
    """F with F'F the conduction of an element; conduction: one, or one for each point."""
    weights = np.sqrt(np.array(element.weights) * conduction)
    factor: Array = weights[:, None] * np.array(element.derivative)
    return factor


def _slopes(lane: WaterLane, inside: float) -> Row:
    """Secant d(potential)/d(activity) of each layer between its faces: its slope where the law is
    straight."""
    found = []
    for x, a, b in zip(lane.layers, [inside, *lane.faces[1:-1]], lane.faces[1:], strict=True):
        (u, s), (v, _) = x.potential.at(a), x.potential.at(b)
        found.append(s if x.potential.straight or abs(b - a) < 1e-12 else (v - u) / (b - a))
    return found

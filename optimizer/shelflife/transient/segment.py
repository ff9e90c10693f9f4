"""One segment of constant surroundings: the stages of a step, and what is seen of a state.

State: see ``plan.Plan``; a list of floats (one sample) or arrays (B,).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from optimizer.constants import GAS_CONSTANT, MOLAR_MASS
from optimizer.errors import SolverError
from optimizer.shelflife.contents import inside_activity
from optimizer.shelflife.flexible import COLLAPSED
from optimizer.shelflife.terms import Reaction
from optimizer.shelflife.transient.element import Row
from optimizer.shelflife.transient.gaslane import GasLane, gas_layers
from optimizer.shelflife.transient.inside import Inside, pressures, use
from optimizer.shelflife.transient.plan import Plan
from optimizer.shelflife.transient.values import limited, most, near, sum_of
from optimizer.shelflife.transient.waterlane import WaterLane, water_layers

Value = Any
State = list[Value]
#: Newton's method for the water stops at this change of activity and gives up after ``_ROUNDS``. What is left
#: after eight rounds is rounding between layers of very different resistance (of a layer between two foils
#: nearly all of its activity): it then stops at the second and at last at the third.
_CLOSE, _ROUNDS = (1e-12, 1e-8, 1e-3), 40


#: Least dry pressure of a flexible package, as a share of that outside: of a sample near boiling.
_LEAST_DRY = 1e-3


class Conditions(NamedTuple):
    """Of a segment. temperature [K], humidity, total pressure and saturation pressure [Pa]; outside: partial
    pressure of each gas [Pa]; dissolving: H V_product of each [mol/Pa]; reaction of the product; conductance:
    of closures and holes for each gas, and water: for water [mol/(s Pa)]; growth: of the volume of a package
    that creeps at the ends of the segment [m3]."""

    temperature: Value
    humidity: Value
    pressure: float
    saturation: Value
    outside: Row
    dissolving: Row
    reaction: Reaction | None
    conductance: Row
    water: Value
    growth: tuple[float, float] = (0.0, 0.0)


class Seen(NamedTuple):
    """What the inside shows: pressures of the gases [Pa], activity, room V/(RT) [mol/Pa]."""

    pressures: Row
    activity: Value
    room: Value


class Segment:
    """activity, room: as last found, to start Newton's method from; fraction: moment of the segment [-] for
    ``inside_pressures`` of a package that creeps."""

    def __init__(self, plan: Plan, now: Conditions, before: Segment | None) -> None:
        self.plan, self.now = plan, now
        contents = plan.contents
        product = contents.product
        self.moving = product.moisture is not None
        self.activity: Value = plan.whole(inside_activity(product)) if before is None else before.activity
        self._per_mole = (
            MOLAR_MASS["H2O"] / product.moisture.dry_mass if product.moisture is not None else 0.0
        )
        self._hold = (
            1.0 if plan.variation is None or plan.variation.isotherm is None else plan.variation.isotherm
        )
        self.wet: list[WaterLane] = []
        if plan.water is not None:
            for k, column in enumerate(plan.columns):
                layers = water_layers(column, now.temperature, now.saturation, plan.factors(column, "H2O"))
                lane = WaterLane(layers, now.humidity)
                if before is not None:
                    lane.faces = [*before.wet[k].faces[:-1], now.humidity]
                self.wet.append(lane)
        self.lanes = [
            [
                GasLane(gas_layers(column, gas, now.temperature, plan.factors(column, gas)), now.outside[g])
                for column in plan.columns
            ]
            for g, gas in enumerate(contents.gases)
        ]
        head = product.headspace
        self._volume = head.volume
        room = head.volume / (GAS_CONSTANT * now.temperature)
        floor = COLLAPSED * room
        self._rigid = head.rigid
        oxygen = contents.gases.index("O2") if now.reaction is not None else -1
        self.inside = Inside(now.dissolving, room if head.rigid else None, floor, oxygen, now.reaction)
        self.room: Value = room if head.rigid or before is None else before.room
        self._faces = [sum_of(lane.face for lane in lanes) for lanes in self.lanes]
        self._pressures: list[list[list[Row]]] = [[[] for _ in plan.columns] for _ in contents.gases]
        if before is not None:
            self._pressures = before._pressures
        self._share: Value = 0.0
        self.fraction = 0.0

    # what is inside

    def held(self, activity: Value) -> tuple[Value, Value]:
        """Water in the product [mol] at an activity, and its slope."""
        moisture = self.plan.contents.product.moisture
        assert moisture is not None
        f = self._hold / self._per_mole
        return moisture.isotherm.content(activity) * f, moisture.isotherm.slope(activity) * f

    def room_at(self, fraction: float) -> Value:
        """Room of a rigid headspace at a fraction of the segment."""
        first, last = self.now.growth
        if not self._rigid or (first == 0.0 and last == 0.0):
            return self.room
        return (self._volume + first + fraction * (last - first)) / (GAS_CONSTANT * self.now.temperature)

    def seen(self, y: State, fraction: float) -> Seen:
        """Inside of a state; the walls' inner faces are at the same pressures and activity."""
        plan = self.plan
        if plan.water is not None and self.moving:
            self.activity = self._activity_of(y[plan.water.total])
        q = [y[place.total] for place in plan.gases]
        inside = self.inside._replace(reaction=None)
        p, self.room = pressures(inside, q, self._faces, 0.0, self.dry(self.activity), self.room_at(fraction))
        return Seen(p, self.activity, self.room)

    def dry(self, activity: Value) -> Value:
        dry = self.now.pressure - activity * self.now.saturation
        return dry if isinstance(dry, float) else np.maximum(dry, _LEAST_DRY * self.now.pressure)

    def _activity_of(self, total: Value) -> Value:
        """Activity at which product and inner faces hold ``total`` [mol]."""
        a = self.activity
        for _ in range(_ROUNDS):
            amount, slope = self.held(a)
            for lane in self.wet:
                face, steep = lane.inner_face(a)
                amount, slope = amount + face, slope + steep
            step = limited((total - amount) / slope)
            a = a + step
            if most(step) < _CLOSE[0]:
                return a
        raise SolverError("the water activity inside could not be found; please report this case")

    def amounts(self, y: State, seen: Seen) -> State:
        """Water in the product (net gain where its activity is fixed) and gases inside [mol], oxygen used
        up."""
        plan = self.plan
        found: State = []
        if plan.water is not None:
            if self.moving:
                found.append(self.held(seen.activity)[0])
            else:
                found.append(y[plan.water.total] - sum_of(x.inner_face(seen.activity)[0] for x in self.wet))
        found += [p * self.inside.capacity(k, seen.room) for k, p in enumerate(seen.pressures)]
        if plan.consumed >= 0:
            found.append(y[plan.consumed])
        return found

    def amount_rates(self, y: State, rates: State, seen: Seen, fraction: float) -> State:
        """Rates of ``amounts`` where those of the state are ``rates``."""
        plan = self.plan
        found: State = []
        drift: Value = 0.0
        if plan.water is not None:
            rate = rates[plan.water.total]
            if self.moving:
                own = self.held(seen.activity)[1]
                drift = rate / (own + sum_of(lane.inner_face(seen.activity)[1] for lane in self.wet))
                rate = own * drift
            found.append(rate)
        if self.inside.room is not None or not plan.gases:
            for k, place in enumerate(plan.gases):
                own = self.inside.capacity(k, seen.room)
                found.append(rates[place.total] * own / (own + self._faces[k]))
        else:
            # the room moves with every gas: by a short step along the rates
            short = 1e-4 * _shortest(y, rates, plan)
            q = [y[place.total] + short * rates[place.total] for place in plan.gases]
            inside = self.inside._replace(reaction=None)
            dry = self.dry(seen.activity + short * drift)
            p, room = pressures(inside, q, self._faces, 0.0, dry, seen.room)
            for k in range(len(q)):
                now = seen.pressures[k] * self.inside.capacity(k, seen.room)
                found.append((p[k] * self.inside.capacity(k, room) - now) / short)
        if plan.consumed >= 0:
            found.append(rates[plan.consumed])
        return found

    def activity_of_product(self, water: Value) -> Value:
        """Activity at which the product alone holds ``water`` [mol]."""
        moisture = self.plan.contents.product.moisture
        assert moisture is not None
        return moisture.isotherm.activity(water * self._per_mole / self._hold)

    def inside_pressures(self, amounts: Row, activity: Value) -> tuple[Row, Value]:
        """Partial pressures [Pa] and room of amounts inside [mol] (without the walls' inner faces), at
        ``fraction`` of the segment."""
        inside = self.inside._replace(reaction=None)
        room = self.room_at(self.fraction)
        return pressures(inside, amounts, [0.0] * len(amounts), 0.0, self.dry(activity), room)

    # a stage

    def factor(self, share: Value) -> None:
        """Prepare for stages that treat ``share`` [s] implicitly."""
        self._share = share
        for lane in self.wet:
            lane.factor(share)
        for lanes in self.lanes:
            for gas in lanes:
                gas.factor(share)

    def stage(self, hist: State, fraction: float) -> State:
        """Rates [mol/s] at the end of a stage that starts from ``hist``."""
        plan = self.plan
        rates: State = [0.0] * plan.size
        activities: list[list[Row]] | None = None
        if plan.water is not None:
            self._wet_stage(hist)
            potentials = [lane.potentials() for lane in self.wet]
            self._wet_rates(potentials, rates)
            if any(lane.sensitive for lanes in self.lanes for lane in lanes):
                activities = [lane.activities(u) for lane, u in zip(self.wet, potentials, strict=True)]
        self._gas_stage(hist, rates, activities, fraction)
        return rates

    def _wet_stage(self, hist: State) -> None:
        place, now, share = self.plan.water, self.now, self._share
        assert place is not None
        for lane, (first, end) in zip(self.wet, place.walls, strict=True):
            lane.load(hist[first:end])
        leak = share * now.water * now.saturation
        a = self.activity
        for k in range(_ROUNDS):
            residual: Value = 0.0
            slope: Value = 1.0
            if self.moving:
                held, slope = self.held(a)
                residual = held + leak * (a - now.humidity) - hist[place.total]
                slope = slope + leak
            for lane in self.wet:
                r, s = lane.linearise(a)
                residual, slope = residual + r, slope + s
            step = limited(-residual / slope) if self.moving else 0.0 * a
            change: Value = abs(step)
            for lane in self.wet:
                change = change + lane.move(a, step)
            a = a + step
            if most(change) < _CLOSE[min(k // 8, 2)]:
                break
        else:
            raise SolverError("the humidity in the wall could not be found; please report this case")
        self.activity = a

    def _wet_rates(self, potentials: list[list[Row]], rates: State) -> None:
        place, now = self.plan.water, self.now
        assert place is not None
        leak = now.water * now.saturation * (self.activity - now.humidity)
        inner, outer = leak, leak
        for lane, u, (first, end) in zip(self.wet, potentials, place.walls, strict=True):
            found = lane.rates(u)
            rates[first:end] = found.rates
            inner, outer = inner + found.inner, outer + found.outer
        rates[place.total] = -inner
        rates[place.outer] = outer

    def settle_water(self, hist: State) -> None:
        """Find the activities at the end of a stage, for their own sake."""
        self._wet_stage(hist)

    def _gas_stage(
        self, hist: State, rates: State, activities: list[list[Row]] | None, fraction: float
    ) -> None:
        plan, now, share = self.plan, self.now, self._share
        room = self.room_at(fraction)
        dry = self.dry(self.activity)
        lefts = [self._left(hist, g) for g in range(len(plan.gases))]
        for g, lanes in enumerate(self.lanes):
            if activities is not None:
                for lane, activity in zip(lanes, activities, strict=True):
                    if lane.sensitive:
                        lane.set_activity(activity)
            if any(lane.sinks for lane in lanes) and not self._pressures[g][0]:
                raise SolverError("a wall with a sink was not started; please report this case")
        sinks = any(lane.sinks for lanes in self.lanes for lane in lanes)
        last: Row | None = None
        for _ in range(_ROUNDS):
            q: Row = []
            slack: Row = []
            for g, (lanes, place) in enumerate(zip(self.lanes, plan.gases, strict=True)):
                through = share * now.conductance[g]
                amount, s = hist[place.total] + through * now.outside[g], through
                for c, lane in enumerate(lanes):
                    first, end = place.walls[c]
                    more, r = lane.reduce(hist[first:end], lefts[g][c], self._pressures[g][c])
                    s, amount = s + more, amount + r
                q.append(amount)
                slack.append(s)
            p, self.room = pressures(self.inside, q, slack, share, dry, room)
            for g, lanes in enumerate(self.lanes):
                self._pressures[g] = [lane.fill(p[g]) for lane in lanes]
            # pressures in a wall whose sink runs out are found by repeating
            now_at = [u for g in self._pressures for c in g for row in c for u in row] if sinks else []
            if not sinks or (last is not None and near(now_at, last)):
                break
            last = now_at
        used = use(self.inside, p, self.room)
        for g, (lanes, place) in enumerate(zip(self.lanes, plan.gases, strict=True)):
            through = now.conductance[g] * (p[g] - now.outside[g])
            inner, outer, sunk = through, through, 0.0
            for c, lane in enumerate(lanes):
                after = [
                    row if x.sink is None else x.sink.left(u, row, share)
                    for x, u, row in zip(lane.layers, self._pressures[g][c], lefts[g][c], strict=True)
                ]
                found = lane.rates(self._pressures[g][c], after)
                first, end = place.walls[c]
                rates[first:end] = found.rates
                inner, outer, sunk = inner + found.inner, outer + found.outer, sunk + found.used
                for where, row in zip(place.left[c], found.spent, strict=True):
                    if where is not None:
                        rates[where[0] : where[1]] = row
            if g == self.inside.oxygen:
                inner = inner + used
                rates[plan.consumed] = used
            rates[place.total] = -inner
            rates[place.outer] = outer
            if place.used >= 0:
                rates[place.used] = sunk

    def _left(self, hist: State, g: int) -> list[list[Row]]:
        """Shares of the sinks' capacities, by column and layer; empty rows where there is none."""
        return [
            [[] if where is None else hist[where[0] : where[1]] for where in row]
            for row in self.plan.gases[g].left
        ]

    # the start

    def start(self, amounts: State, before_gas: Row, before_water: Value) -> State:
        """State at closing. amounts: water and gases inside [mol]; what the walls hold: gases at
        ``before_gas`` [Pa] each, water at ``before_water``."""
        plan = self.plan
        y: State = [plan.whole(0.0) for _ in range(plan.size)]
        shift = 0
        if plan.water is not None:
            y[plan.water.total] = amounts[0] if self.moving else plan.whole(0.0)
            shift = 1
            for lane, (first, end) in zip(self.wet, plan.water.walls, strict=True):
                y[first:end] = lane.start(before_water)
                y[plan.water.total] = y[plan.water.total] + lane.inner_face(before_water)[0]
                lane.faces[0] = self.activity
        for g, (lanes, place) in enumerate(zip(self.lanes, plan.gases, strict=True)):
            y[place.total] = amounts[shift + g]
            for c, gas in enumerate(lanes):
                nodes, face = gas.start(before_gas[g])
                first, end = place.walls[c]
                y[first:end] = nodes
                y[place.total] = y[place.total] + face
                self._pressures[g][c] = [[before_gas[g]] * len(x.storage) for x in gas.layers]
                for where in place.left[c]:
                    if where is not None:
                        y[where[0] : where[1]] = [plan.whole(1.0)] * (where[1] - where[0])
        return y

    def initial_rates(self, y: State, fraction: float = 0.0) -> State:
        """Rates at a state, from a very short stage."""
        self.factor(_TINY)
        return self.stage(y, fraction)


#: Share of the time of the stage that finds the rates at the start of a segment [s].
_TINY = 1e-6


def _shortest(y: State, rates: State, plan: Plan) -> Value:
    """A time over which no gas inside changes much [s]."""
    total = sum_of(abs(y[place.total]) for place in plan.gases)
    return total / (sum_of(abs(rates[place.total]) for place in plan.gases) + 1e-12 * total)

"""The gas between an outer pack and the packages in it, together with what is in one of them.

Steady walls; every inner package is like the others, so one stands for all. State: what ``balance`` has for
the package (water, gases, oxygen used), then moles of O2, N2, CO2, other dry gas (argon; let through as N2
is) and water vapour between the packs:

    d(n_g)/dt = G_outer,g (p_air,g - p_g) + N G_inner,g (p_inside,g - p_g)
    d(w)/dt   = N J_inner(a_inside, a) - J_outer(a, a_air)

Rigid: the volume between is kept. Flexible: the pressure outside is kept. Gases that the packages' limits do
not need are followed between the packs as if the inner walls let none of them through. What condenses stays
in the space as water at activity 1. Scipy's Radau, stage by stage.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ATMOSPHERE, DRY_AIR, GAS_CONSTANT
from optimizer.errors import SolverError
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import (
    contents_of,
    inside_activity,
    simulated_gases,
    solubility,
    water_matters,
)
from optimizer.shelflife.covered import expand
from optimizer.shelflife.exchange import has_law, part_exchange, with_nitrogen
from optimizer.shelflife.flexible import COLLAPSED
from optimizer.shelflife.headspace import headspace_room
from optimizer.shelflife.package import Case, OuterPack, Package, Stage
from optimizer.shelflife.terms import reactions_at, water_of

Array = NDArray[np.float64]
Table = Callable[[float, float], float]

GASES = tuple(DRY_AIR)
_DRY = len(GASES) + 1
#: Points of each activity in the tables of conductance, and tolerance of the integration.
_POINTS, _RELATIVE = 65, 1e-8


@dataclass(frozen=True)
class SpaceStage:
    """What is found between the packs over one stage: ``at`` gives, at times (n,) [s] since closing,
    pressures of O2, N2, CO2 and other dry gas (4, n) [Pa] and the water activity (n,); collapsed: a flexible
    space has lost its gas down to the least volume."""

    stage: Stage
    start: float
    end: float
    at: Callable[[Array], tuple[Array, Array]]
    steps: Array
    collapsed: bool = False


def space_between(case: Case, outer: OuterPack, stages: Sequence[Stage]) -> list[SpaceStage]:
    """Follow the space over ``stages`` in order, from closing. Raises MaterialError, InputError,
    SolverError."""
    model = _Model(case, outer, stages)
    y = model.start(stages[0])
    begin = 0.0
    found = []
    for stage in stages:
        part, y = model.follow(stage, y, begin)
        found.append(part)
        begin += stage.duration
    return found


class _Model:
    def __init__(self, case: Case, outer: OuterPack, stages: Sequence[Stage]) -> None:
        self.case, self.outer = case, outer
        product = case.product
        self.gases = simulated_gases(product)
        self.contents = contents_of(product, self.gases, water_matters(product))
        package = expand(case.package)
        self.inner_wet = has_law(package, "H2O")
        self.wet = self.inner_wet and has_law(outer.package, "H2O")
        self.water = water_of(self.contents)
        self.first = self.contents.first_gas
        self.last = self.first + len(self.gases)
        self.size = len(self.contents.start())
        # all of it: a cold stage takes the space to saturation whatever the humidities given
        self.grid = np.linspace(0.0, 1.0, _POINTS)
        self.inner_walls = with_nitrogen(package) if "N2" in self.gases else package
        self.outer_walls = with_nitrogen(outer.package)
        self.tables: dict[tuple[float, float], Mapping[str, Table]] = {}

    def start(self, stage: Stage) -> Array:
        outer = self.outer
        t = self.case.product.closing_temperature
        humidity = stage.humidity if outer.humidity is None else outer.humidity
        vapour = humidity * float(saturation_pressure(t))
        room = outer.volume / (GAS_CONSTANT * t)
        gas = _with_rest(outer.gas) * (ATMOSPHERE - vapour) * room
        return np.array([*self.contents.start(), *gas, vapour * room])

    def follow(self, stage: Stage, y: Array, begin: float) -> tuple[SpaceStage, Array]:
        from scipy.integrate import solve_ivp  # heavy

        product, t = self.case.product, stage.temperature
        psat = float(saturation_pressure(t))
        around = _with_rest(DRY_AIR) * (stage.pressure - stage.humidity * psat)
        inner, outer = self._inner(stage), self._outer(stage)
        dissolving = tuple(product.volume * float(solubility(product, g, t)) for g in self.gases)
        reaction = reactions_at(self.contents, np.array([t]), np.array([self._oxygen(dissolving)]))[0]
        fixed = 0 if product.moisture is not None else inside_activity(product)
        head = product.headspace
        floor = COLLAPSED * head.volume / (GAS_CONSTANT * t)
        least = COLLAPSED * self.outer.volume / (GAS_CONSTANT * t)
        first, last, size, count = self.first, self.last, self.size, self.outer.count
        places = [GASES.index(g) for g in self.gases]

        def between(z: Array) -> tuple[Array, float, float]:
            """Pressures, activity and total pressure of the space, from its moles (5,)."""
            dry, water = z[:_DRY], float(z[_DRY])
            if self.outer.rigid:
                room = self.outer.volume / (GAS_CONSTANT * t)
            elif self.wet:
                room = max(float(z.sum()) / stage.pressure, least)
                if water / room > psat:
                    room = max(float(dry.sum()) / max(stage.pressure - psat, 1.0), least)
            else:
                room = max(float(dry.sum()) / (stage.pressure - stage.humidity * psat), least)
            a = min(water / room / psat, 1.0) if self.wet else stage.humidity
            p = dry / room
            return p, a, float(p.sum()) + a * psat

        def inside(x: Array, outside_total: float, a: float) -> Array:
            n = list(x[first:last])
            if head.rigid:
                v = head.volume / (GAS_CONSTANT * t)
            else:
                v = float(headspace_room(n, dissolving, outside_total - a * psat, floor))
            return np.array([q / (v + h) for q, h in zip(n, dissolving, strict=True)])

        def rates(_: float, state: Array) -> Array:
            p, a, total = between(state[size:])
            own = float(self.water.of_state(list(state))) if product.moisture is not None else float(fixed)
            flow = np.zeros(len(state))
            if self.gases:
                held = inside(state, total, own)
                through = np.array([inner[g](own, a) for g in self.gases]) * (p[places] - held)
                flow[first:last] = through
                flow[size + np.array(places)] -= count * through
                if reaction is not None:
                    k = first + self.gases.index("O2")
                    used = reaction.rate(float(state[k]), float(held[k - first]))
                    flow[k] -= used
                    flow[size - 1] = used
            if self.inner_wet:
                vapour = inner["H2O"](own, a)
                if self.contents.tracks_water:
                    flow[0] = -vapour
                if self.wet:
                    flow[-1] = count * vapour - outer["H2O"](a, a)
            leak = [outer[g](a, a) for g in GASES]
            flow[size : size + _DRY] += np.array([*leak, leak[GASES.index("N2")]]) * (around - p)
            return flow

        scale = [
            *self.contents.scales(),
            *([max(float(y[size:].sum()), 1e-9)] * _DRY),
            max(float(y[-1]), 1e-6),
        ]
        run = solve_ivp(
            rates,
            (begin, begin + stage.duration),
            y,
            method="Radau",
            rtol=_RELATIVE,
            atol=_RELATIVE * 1e-2 * np.array(scale),
            dense_output=True,
        )
        if not run.success:
            raise SolverError(f"the gas between the packs could not be followed ({run.message})")

        low = min(float(z[:_DRY].sum() + (z[_DRY] if self.wet else 0.0)) for z in run.y[size:].T)
        collapsed = not self.outer.rigid and low / stage.pressure <= 1.01 * least

        def at(times: Array) -> tuple[Array, Array]:
            seen = [between(z) for z in run.sol(times)[size:].T]
            return np.stack([p for p, _, _ in seen], axis=1), np.array([a for _, a, _ in seen])

        return SpaceStage(stage, begin, begin + stage.duration, at, run.t, collapsed), run.y[:, -1]

    def _oxygen(self, dissolving: Sequence[float]) -> float:
        return dissolving[self.gases.index("O2")] if "O2" in self.gases else 0.0

    def _inner(self, stage: Stage) -> Mapping[str, Table]:
        """Conductance of one package by gas, and outward water flow, at activities (inside, between)."""
        key = (stage.temperature, stage.pressure)
        if key not in self.tables:
            moving = self.case.product.moisture is not None
            inside = self.grid if moving else np.array([inside_activity(self.case.product)])
            values = _totals(self.inner_walls, inside, self.grid, stage, self.gases, self.inner_wet)
            self.tables[key] = {g: _table(inside, self.grid, x.T) for g, x in values.items()}
        return self.tables[key]

    def _outer(self, stage: Stage) -> Mapping[str, Table]:
        """The same of the outer pack, whose inside is the space; the air around it as in the stage."""
        known = [g for g in GASES if has_law(self.outer_walls, g) or g in self.gases]
        values = _totals(self.outer_walls, self.grid, np.array([stage.humidity]), stage, known, self.wet)
        found = {g: _table(self.grid, np.array([stage.humidity]), x.T) for g, x in values.items()}
        # a gas that no limit needs and that a wall has no value for: it stays where it is
        return {g: (lambda a, b: 0.0) for g in GASES} | found


def _with_rest(shares: Mapping[str, float]) -> Array:
    """Dry mole shares of O2, N2, CO2 and of all other gas together (4,)."""
    known = [shares.get(g, 0.0) for g in GASES]
    return np.array([*known, max(1.0 - sum(known), 0.0)])


def _totals(
    package: Package, inside: Array, outside: Array, stage: Stage, gases: Sequence[str], water: bool
) -> dict[str, Array]:
    """All parts together: per gas and 'H2O', (K, M) at K activities outside and M inside."""
    conditions = (
        np.full(len(outside), stage.temperature),
        outside,
        np.full(len(outside), stage.pressure),
    )
    by_part = part_exchange(package, inside, conditions, gases, water=water)
    keys = [*gases, "H2O"] if water else list(gases)
    return {g: np.asarray(sum(v[g][0] for v in by_part.values()), dtype=float) for g in keys}


def _table(inside: Array, outside: Array, values: Array) -> Table:
    """values (M, K) between the points of both activities; a single point holds everywhere."""
    from scipy.interpolate import CubicSpline, RectBivariateSpline  # heavy

    low, high = float(values.min()), float(values.max())
    if high - low <= 1e-12 * abs(high) or values.size == 1:
        return lambda a, b: float(values.flat[0])
    if len(outside) == 1:
        along = CubicSpline(inside, values[:, 0])
        return lambda a, b: float(along(a))
    if len(inside) == 1:
        across = CubicSpline(outside, values[0])
        return lambda a, b: float(across(b))
    both = RectBivariateSpline(inside, outside, values)
    return lambda a, b: float(both(a, b)[0, 0])

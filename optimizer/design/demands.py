"""From a case and the user's rules to the optimisation problem in numbers.

A shelf-life limit says that some quantity stays within its limit up to the target. The quantity grows with
every conductance of the package, so around a reference structure it is met when  sum of weight * permeance
<= 1  with weights from the simulator itself: the designed walls' conductances are scaled to the point where
the limit is just met (critical scale), and there the sensitivity of the quantity to the conductance of each
slice of time is the weight. The row is exact for structures whose conductances vary over the storage as the
reference's do; ``solve`` takes each new design as the next reference until nothing changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import MOLAR_MASS
from optimizer.design.areas import made_of, permeation_area
from optimizer.design.critical import critical_scale
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Demand, Environment, Problem, Term
from optimizer.design.rules import wall_rules
from optimizer.design.slices import group_slices
from optimizer.physics.laminate import permeance
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import simulated_gases
from optimizer.shelflife.covered import expand
from optimizer.shelflife.exchange import Exchange, exchange_of, part_exchange, with_nitrogen
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.package import (
    LIMIT_GAS,
    Case,
    Limit,
    Package,
    TransmissionLimit,
    Wall,
)
from optimizer.shelflife.segments import lay_out
from optimizer.shelflife.simulate import limit_extremes, simulate
from optimizer.shelflife.specification import specification_values

Array = NDArray[np.float64]

#: Kept inside every demand, above the simulator's own error, so that a design that meets it also passes.
GUARD = 2e-5
#: The same for a specification limit, which is computed and not simulated.
SPEC_GUARD = 1e-7
#: Change of log conductance for the sensitivities.
_STEP = 0.02
#: Least number of time slices where humidity inside changes while humidity matters.
_SLICES = 6
#: Inside activities closer than this are one environment.
_MERGE = 0.01


@dataclass(frozen=True)
class Beyond:
    """A limit that no wall can meet, or that is exceeded before storage begins, in words."""

    name: str
    text: str


@dataclass(frozen=True)
class Demands:
    """The problem, limits that no wall can meet, and limits that any wall meets (left out of the problem)."""

    problem: Problem
    beyond: tuple[Beyond, ...]
    idle: tuple[str, ...]


def specification_name(limit: TransmissionLimit) -> str:
    """Name of the demand (or, for water vapour, the start of the names) that a specification limit
    becomes."""
    return f"transmission {limit.gas}" + (f" of {limit.wall}" if limit.wall else "")


def _words(name: str) -> str:
    """A limit's name as it is read."""
    return "the limit on " + name.replace("_", " ")


class Linearisation:
    """Weights of every limit around one reference package."""

    def __init__(self, case: Case, options: DesignOptions, reference: Mapping[str, Wall]) -> None:
        self.case, self.options = case, options
        package = case.package.with_walls(dict(reference))
        package = expand(package)
        self.package = with_nitrogen(package) if "N2" in simulated_gases(case.product) else package
        self._known: dict[str, tuple[Array, Array]] = {}
        self.reference = replace(case, package=self.package)
        self.target = case.target if case.target is not None else case.horizon
        self.moving = case.product.moisture is not None
        self.humidity_matters = any(m.humidity_sensitive for m in options.candidates)
        exchange = exchange_of(self.reference, segments=lay_out(case.storage, self.target))
        if self.moving and self.humidity_matters:
            pieces = -(-_SLICES // len(exchange.segments))
            exchange = exchange.split(pieces)
        self.exchange: Exchange = exchange
        self.activity = self._activity(exchange)

    # -- conductances ----------------------------------------------------------------------------------------

    def _activity(self, exchange: Exchange) -> Array:
        """Inside activity in the middle of every slice (S,)."""
        s = exchange.segments
        run = simulate(
            self.case.product,
            exchange,
            until=self.target,
            sample_times=s.start + 0.5 * s.duration,
            crossings=False,
        )
        inside: Array = run.activity[0]
        return inside

    def designed_permeance(self, wall: str, gas: str) -> Array:
        """Permeance of a designed wall of the reference in every slice (S,)."""
        s = self.exchange.segments
        return self.permeance_at(wall, gas, s.temperature, self.activity, s.humidity)

    def permeance_at(
        self, wall: str, gas: str, temperature: ArrayLike, inside: ArrayLike, outside: ArrayLike
    ) -> Array:
        layers = self.package.walls[wall].layers
        thickness = np.array([x.thickness for x in layers])
        return permeance([x.material for x in layers], thickness, gas, temperature, inside, outside)

    def area(
        self, wall: str, gas: str, temperature: ArrayLike, inside: ArrayLike, outside: ArrayLike
    ) -> Array:
        """Permeation area of a designed wall of the reference [m2], see ``areas``."""
        at = temperature, inside, outside
        return permeation_area(self.package, wall, at, lambda name: self.permeance_at(name, gas, *at))

    def _area_at(self, wall: str, gas: str, at: Environment) -> float:
        return float(self.area(wall, gas, at.temperature, at.inside, at.outside))

    def fixed_conductance(self, gas: str) -> Array:
        """Conductance of everything that is not designed (S,) [mol/(s Pa)]."""
        parts = tuple(p for p in self.package.parts if not made_of(p, self.options.walls))
        s = self.exchange.segments
        total = np.zeros(len(s))
        if not parts:
            return total
        water = gas == "H2O"
        # a humidity difference is needed to read a conductance off a water flow
        inside = (
            np.where(np.abs(self.activity - s.humidity) < 1e-6, s.humidity + 1e-6, self.activity)
            if water
            else self.activity
        )
        tables = part_exchange(
            Package(parts, self.package.walls),
            inside,
            (s.temperature, s.humidity, s.pressure),
            () if water else (gas,),
            water=water,
            pairwise=True,
        )
        for values in tables.values():
            total = total + values[gas][0, :, 0]
        if water:
            total = total / (saturation_pressure(s.temperature) * (inside - s.humidity))
        return total

    def conductances(self, gas: str) -> tuple[Array, Array]:
        """Conductance of the designed walls and of everything else (S,) [mol/(s Pa)], remembered."""
        if gas not in self._known:
            s = self.exchange.segments
            by_wall = [
                self.area(w, gas, s.temperature, self.activity, s.humidity) * self.designed_permeance(w, gas)
                for w in self.options.walls
            ]
            self._known[gas] = (np.sum(by_wall, axis=0), self.fixed_conductance(gas))
        return self._known[gas]

    def scaled(self, scales: Array) -> dict[str, Array]:
        """Multipliers (B, S) of every permeant with the designed walls' conductances times ``scales`` (B,).

        All permeants together, as when a wall is made thicker or thinner: in a pouch that lets oxygen out
        slowly but nitrogen fast, oxygen alone would say nothing.
        """
        permeants = [*self.exchange.gases, *(["H2O"] if self.exchange.water is not None else [])]
        found = {}
        for gas in permeants:
            designed, fixed = self.conductances(gas)
            found[gas] = (fixed + np.outer(scales, designed)) / np.maximum(designed + fixed, 1e-300)
        return found

    def _excess(self, k: int, allowed: float, sign: float, multipliers: Mapping[str, Array]) -> Array:
        """sign * (extreme of limit k - allowed) for multipliers of the total conductances (B, S)."""
        values = limit_extremes(self.case.product, self.exchange.scaled(multipliers), self.target)
        return sign * (values[:, k] - allowed)

    def _critical_scale(self, k: int, allowed: float, sign: float) -> float:
        return critical_scale(lambda scales: self._excess(k, allowed, sign, self.scaled(scales)))

    def tightest(self) -> float:
        """Smallest scale of the designed walls' conductances that a limit of the product asks for; inf if
        none asks for any, 0 if one cannot be met."""
        closing = self._closing()
        scales = [np.inf]
        for k, limit in enumerate(self.case.product.limits):
            allowed, sign = self._allowed(limit, float(closing[k])), sign_of(limit.name)
            if sign * (allowed - closing[k]) > 0:
                scales.append(self._critical_scale(k, allowed, sign))
        return min(scales)

    def _closing(self) -> Array:
        """Quantities of the limits just after closing (L,)."""
        if not self.case.product.limits:
            return np.zeros(0)
        run = simulate(self.case.product, self.exchange, until=self.target, crossings=False)
        closing: Array = run.closing[0]
        return closing

    def _allowed(self, limit: Limit, closing: float) -> float:
        """What the limit allows once the reserve is kept and corrections are made."""
        return closing + (limit.value - closing) * self.options.allowed(limit.name)

    # -- limits ----------------------------------------------------------------------------------------------

    def demands(self, environments: list[Environment]) -> tuple[list[Demand], list[Beyond], list[str]]:
        """Rows of the product's limits; new environments are appended to the list."""
        rows: list[Demand] = []
        beyond: list[Beyond] = []
        idle: list[str] = []
        closing = self._closing()
        for k, limit in enumerate(self.case.product.limits):
            sign = sign_of(limit.name)
            allowed = self._allowed(limit, float(closing[k]))
            if sign * (allowed - closing[k]) <= 0:
                beyond.append(Beyond(limit.name, f"{_words(limit.name)} is already exceeded at closing"))
                continue
            row = self._row(k, limit.name, allowed, sign, environments)
            if isinstance(row, Beyond):
                beyond.append(row)
            elif row is None:
                idle.append(limit.name)
            else:
                rows.append(row)
        return rows, beyond, idle

    def _row(
        self, k: int, name: str, allowed: float, sign: float, environments: list[Environment]
    ) -> Demand | Beyond | None:
        gas = LIMIT_GAS[name]
        critical = self._critical_scale(k, allowed, sign)
        if critical == 0.0:
            what = "the parts that are not designed and the gas inside alone exceed it"
            return Beyond(name, f"{_words(name)} cannot be met by any wall: {what}")
        if not np.isfinite(critical):
            return None
        designed, fixed = self.conductances(gas)
        total = np.maximum(designed + fixed, 1e-300)
        others = self.scaled(np.array([critical]))
        base = (fixed + critical * designed) / total
        groups = self.groups()
        step = np.zeros((len(groups), len(base)))
        for row, group in zip(step, groups, strict=True):
            row[group] = _STEP * critical * designed[group] / total[group]
        values = self._excess(k, allowed, sign, {**others, gas: np.concatenate([base + step, base - step])})
        count = len(groups)
        slope = np.maximum(values[:count] - values[count:], 0.0)
        if not np.any(slope > 0):
            return None
        shares = slope / slope.sum()
        # at the critical scale the row is exactly 1: weight * critical permeance = share of the group
        terms: dict[tuple[int, int], float] = {}
        for share, group in zip(shares, groups, strict=True):
            if share < 1e-9:
                continue
            index, reference, areas = self._environment(environments, group, gas)
            for w, area in enumerate(areas):
                weight = share * area / (critical * reference) * (1.0 + GUARD)
                terms[w, index] = terms.get((w, index), 0.0) + weight
        return Demand(name, gas, tuple(Term(w, e, v) for (w, e), v in sorted(terms.items())))

    def groups(self) -> list[NDArray[np.intp]]:
        """Slices taken together in a row: each by itself, or the like of thousands (hourly weather)."""
        s = self.exchange.segments
        outside = s.humidity if self.humidity_matters else np.full(len(s), 0.5)
        inside = self.activity if self.humidity_matters else outside
        return group_slices(s.temperature, inside, outside, s.duration)

    def _environment(
        self, environments: list[Environment], group: NDArray[np.intp], gas: str
    ) -> tuple[int, float, list[float]]:
        """Index of the environment of a group of slices, the reference's conductance there and the area of
        each designed wall; equal environments are shared, near ones where humidity moves."""
        seg = self.exchange.segments
        designed, _ = self.conductances(gas)
        weight = seg.duration[group] * designed[group]
        temperature, inside, outside = (
            float(np.average(x[group], weights=weight))
            for x in (seg.temperature, self.activity, seg.humidity)
        )
        if not self.humidity_matters:
            inside = outside = 0.5
        areas = [float(self.area(w, gas, temperature, inside, outside)) for w in self.options.walls]
        reference = float(designed[group[0]])
        if len(group) > 1:
            reference = sum(
                area * float(self.permeance_at(w, gas, temperature, inside, outside))
                for w, area in zip(self.options.walls, areas, strict=True)
            )
        if self.humidity_matters and self.moving:
            inside = round(inside / _MERGE) * _MERGE
        new = Environment(temperature, inside, outside)
        if new not in environments:
            environments.append(new)
        return environments.index(new), reference, areas

    def specifications(self, environments: list[Environment]) -> tuple[list[Demand], list[Beyond]]:
        """Rows of the buyer's transmission limits, each at its own test condition."""
        rows: list[Demand] = []
        beyond: list[Beyond] = []
        keep = 1.0 - self.options.reserve
        for limit in self.case.transmission_limits:
            designed = [w for w in self.options.walls if limit.wall in (None, w)]
            name = specification_name(limit)
            if not designed:
                value = float(specification_values(self.package, limit)[0])
                if value > limit.maximum * keep:
                    beyond.append(Beyond(name, f"{name} is exceeded by a wall that is not designed"))
                continue
            rest = self._rest(limit, designed)
            room = limit.maximum * keep - rest
            if room <= 0:
                beyond.append(
                    Beyond(name, f"{name} cannot be met: the parts that are not designed exceed it")
                )
                continue
            faces = [(limit.humidity, limit.humidity)]
            scale = 1.0
            if limit.gas == "H2O":
                faces = [(limit.humidity, limit.humidity_far), (limit.humidity_far, limit.humidity)]
                drop = abs(limit.humidity - limit.humidity_far)
                scale = MOLAR_MASS["H2O"] * float(saturation_pressure(limit.temperature)) * drop
            for side, (inside, outside) in enumerate(faces):
                env = Environment(limit.temperature, inside, outside)
                if not self.humidity_matters:
                    env = Environment(limit.temperature, 0.5, 0.5)
                    if side:
                        continue
                if env not in environments:
                    environments.append(env)
                e = environments.index(env)
                terms = tuple(
                    Term(
                        self.options.walls.index(w),
                        e,
                        scale
                        * (1.0 if limit.wall else self._area_at(w, limit.gas, env))
                        / room
                        * (1.0 + SPEC_GUARD),
                    )
                    for w in designed
                )
                suffix = (
                    ""
                    if len(faces) == 1 or not self.humidity_matters
                    else (", inside wet" if side == 0 else ", outside wet")
                )
                rows.append(Demand(name + suffix, limit.gas, terms))
        return rows, beyond

    def _rest(self, limit: TransmissionLimit, designed: Sequence[str]) -> float:
        """What the parts that are not designed take of a whole-package limit (0 for the limit of one
        wall)."""
        if limit.wall is not None:
            return 0.0
        parts = tuple(p for p in self.package.parts if not made_of(p, designed))
        if not parts:
            return 0.0
        return float(specification_values(Package(parts, self.package.walls), limit)[0])


def build(
    case: Case, options: DesignOptions, reference: Mapping[str, Wall], thickness: Mapping[str, float]
) -> Demands:
    """The problem linearised around ``reference`` (walls by name) with mid-wall areas for ``thickness``
    [m]."""
    lin = Linearisation(case, options, reference)
    environments: list[Environment] = []
    rows, beyond, idle = lin.demands(environments)
    more, others = lin.specifications(environments)
    problem = Problem(
        options.candidates, tuple(environments), wall_rules(case, options, thickness), tuple([*rows, *more])
    )
    return Demands(problem, tuple([*beyond, *others]), tuple(idle))

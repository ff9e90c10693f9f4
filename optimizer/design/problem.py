"""The optimisation problem in numbers: walls to fill, environments they see, demands they must meet.

A wall is an ordered list of layers. In environment e its permeance to gas g is  1 / R_ge,  R_ge = sum of
layer thickness times mean resistivity at the local humidity. Each demand d reads

    sum over its terms of  weight * permeance(wall, gas, environment)  <=  1

which covers a shelf-life limit (weights carry area, time, driving pressure and the amount allowed) and a
specification limit (one term). The objective is the sum over walls and layers of rate[material] * thickness.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.physics.material import Material

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Environment:
    """Constant surroundings of one wall: temperature [K] and water activity on both sides [-]."""

    temperature: float
    inside: float
    outside: float

    @property
    def driven(self) -> bool:
        """Whether humidity differs across the wall, so that positions inside it matter."""
        return abs(self.inside - self.outside) > 1e-9


@dataclass(frozen=True)
class Term:
    """weight [m2 s Pa/mol] of the permeance of ``wall`` in ``environment``, both as indices."""

    wall: int
    environment: int
    weight: float


@dataclass(frozen=True)
class Demand:
    """sum of weight * permeance <= 1 for ``gas``."""

    name: str
    gas: str
    terms: tuple[Term, ...]


@dataclass(frozen=True)
class Share:
    """least * total mass <= sum of content * mass over the layers <= most * total mass, in every wall.

    content: share of each material's mass that counts [-]; 1 for members of a family, the recycled part for
    recycled content.
    """

    name: str
    content: tuple[float, ...]
    least: float
    most: float

    @staticmethod
    def of(name: str, members: Collection[int], count: int, least: float, most: float) -> Share:
        """Share of the materials with the indices ``members`` out of ``count``."""
        return Share(name, tuple(1.0 if m in members else 0.0 for m in range(count)), least, most)


@dataclass(frozen=True)
class LayerRule:
    """One of the rules on layers, in words and by itself: what it lets be innermost (n,), outermost (n,), and
    next to each other (n, n)."""

    text: str
    start: NDArray[np.bool_]
    end: NDArray[np.bool_]
    touching: NDArray[np.bool_]


@dataclass(frozen=True)
class WallRules:
    """What a wall may be made of. touching[a, b]: material b may lie outside of and next to a; start, end and
    touching are what all ``layer_rules`` together allow, where there are any. least and most: gauge of one
    layer by material [m]; step: thicknesses are whole multiples of it, fixed gauges apart [m]. keep: indices
    that must be present; keep_any: groups of which one must be. rate: objective per metre of thickness by
    material, for this wall; fixed: objective for the presence of one layer of it (a pass through the
    machine), zero where absent. grammage: least and largest mass per area [kg/m2]. resins: most distinct
    materials, one extruder each. existing and changes: at most ``changes`` layers may be exchanged, added or
    left out against the sequence ``existing`` (thicknesses are free), in which -1 stands for a layer of no
    candidate."""

    name: str
    max_layers: int
    start: NDArray[np.bool_]
    end: NDArray[np.bool_]
    touching: NDArray[np.bool_]
    least: Array
    most: Array
    rate: Array
    thickness: tuple[float, float]
    shares: tuple[Share, ...] = ()
    keep: tuple[int, ...] = ()
    step: float | None = None
    symmetric: bool = False
    fixed: Array | None = None
    grammage: tuple[float, float] = (0.0, np.inf)
    resins: int | None = None
    existing: tuple[int, ...] | None = None
    changes: int | None = None
    keep_any: tuple[tuple[int, ...], ...] = ()
    layer_rules: tuple[LayerRule, ...] = ()

    @property
    def steps(self) -> Array | None:
        """Step of the thickness by material [m]: the gauge itself where that is fixed; None without steps."""
        return None if not self.step else np.where(self.least == self.most, self.least, self.step)

    def without_layer_rule(self, text: str) -> WallRules:
        """The wall without the layer rule of that text."""
        return self.with_layer_rules(tuple(r for r in self.layer_rules if r.text != text))

    def with_layer_rules(self, rules: tuple[LayerRule, ...]) -> WallRules:
        """The wall with these layer rules and no others (at least one)."""
        return replace(
            self,
            start=np.logical_and.reduce([r.start for r in rules]),
            end=np.logical_and.reduce([r.end for r in rules]),
            touching=np.logical_and.reduce([r.touching for r in rules]),
            layer_rules=rules,
        )

    @property
    def presence(self) -> Array:
        """Objective for the presence of one layer, by material (zeros where none is charged)."""
        return np.zeros(len(self.rate)) if self.fixed is None else self.fixed


@dataclass(frozen=True)
class Problem:
    materials: tuple[Material, ...]
    environments: tuple[Environment, ...]
    walls: tuple[WallRules, ...]
    demands: tuple[Demand, ...]

    @cached_property
    def density(self) -> Array:
        return np.array([m.density for m in self.materials])

    @cached_property
    def gases(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(d.gas for d in self.demands))

    @cached_property
    def sensitive(self) -> NDArray[np.bool_]:
        """Materials whose behaviour in this problem depends on where they lie."""
        water_matters = "H2O" in self.gases or any(
            m.gas_law(g).humidity_sensitive for m in self.materials for g in self.gases if g != "H2O"
        )
        return np.array(
            [
                any(m.gas_law(g).humidity_sensitive for g in self.gases if g != "H2O")
                or (water_matters and m.water_law().humidity_sensitive)
                for m in self.materials
            ]
        )

    @cached_property
    def water_varies(self) -> bool:
        """Whether any candidate's water permeability depends on activity."""
        return any(
            self.sensitive[i] and m.water_law().humidity_sensitive for i, m in enumerate(self.materials)
        )

    def weighted(self, factor: float, names: Collection[str] | None = None) -> Problem:
        """The problem with the weights of the named demands (all where None) times ``factor``; above 1 is
        stricter."""

        def change(demand: Demand) -> Demand:
            if names is not None and demand.name not in names:
                return demand
            return replace(demand, terms=tuple(replace(t, weight=t.weight * factor) for t in demand.terms))

        return replace(self, demands=tuple(change(d) for d in self.demands))

    def with_walls(self, walls: tuple[WallRules, ...]) -> Problem:
        return replace(self, walls=walls)


@dataclass(frozen=True)
class Choice:
    """A structure for every wall: indices of materials, inside to outside, and thicknesses [m]."""

    sequences: tuple[tuple[int, ...], ...]
    thickness: tuple[tuple[float, ...], ...]
    objective: float

    @property
    def flat(self) -> Array:
        return np.array([t for wall in self.thickness for t in wall])


def most_sensitive_layers(wall: WallRules, sensitive: NDArray[np.bool_]) -> int:
    """Largest number of humidity-sensitive layers that any allowed sequence of the wall can hold.

    Dynamic programme over slots; -inf marks states that cannot be reached.
    """
    count = np.where(wall.start, sensitive.astype(float), -np.inf)
    best = float(np.max(np.where(wall.end, count, -np.inf)))
    for _ in range(wall.max_layers - 1):
        reach = np.where(wall.touching, count[:, None], -np.inf).max(axis=0)
        count = reach + sensitive
        best = max(best, float(np.max(np.where(wall.end, count, -np.inf))))
    return int(best) if np.isfinite(best) else 0


def dearest(problem: Problem) -> float:
    """An objective that no walls within the rules exceed."""
    total = 0.0
    for wall in problem.walls:
        thickest = wall.thickness[1]
        most = float((wall.rate * np.minimum(wall.most, thickest)).max()) * wall.max_layers
        if np.isfinite(thickest):
            most = min(most, float(wall.rate.max()) * thickest)
        total += most + float(wall.presence.max()) * wall.max_layers
    return max(total, 1e-12)

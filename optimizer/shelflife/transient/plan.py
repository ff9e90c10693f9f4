"""What stays the same over a simulation: the columns, the contents, and where each amount stands in the
state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from optimizer.errors import MaterialError
from optimizer.shelflife.contents import (
    Contents,
    contents_of,
    headspace_gas,
    simulated_gases,
    water_matters,
)
from optimizer.shelflife.exchange import (
    closures_without_nitrogen,
    materials_without_nitrogen,
    with_nitrogen,
)
from optimizer.shelflife.package import Case, ClosurePart, HolePart, Package
from optimizer.shelflife.transient.columns import Column, columns_of
from optimizer.shelflife.variation import Variation

Value = Any


@dataclass(frozen=True)
class Place:
    """Where one gas (or water) stands in the state: total [mol] of inside and inner faces; walls: (first,
    end) of each column's nodes; left: by column and layer, (first, end) of the shares of a sink's capacity,
    or None; outer: cumulative amount that left through the outer faces and through closures and holes [mol];
    used: cumulative amount that sinks took up [mol], -1 without any."""

    total: int
    walls: tuple[tuple[int, int], ...]
    left: tuple[tuple[tuple[int, int] | None, ...], ...]
    outer: int
    used: int


@dataclass(frozen=True)
class Plan:
    """gases: in the order of ``contents``; water: its place, None where nothing depends on it; consumed:
    place of the oxygen that the product used up, -1 where it uses none; size: of the state; samples: B.
    borrowed: names of materials and closures whose nitrogen is taken as a share of their oxygen, and varies
    with it."""

    case: Case
    package: Package
    contents: Contents
    columns: tuple[Column, ...]
    variation: Variation | None
    gases: tuple[Place, ...]
    water: Place | None
    consumed: int
    size: int
    samples: int
    fixed: tuple[ClosurePart | HolePart, ...] = ()
    borrowed: frozenset[str] = frozenset()

    @property
    def scalar(self) -> bool:
        return self.variation is None

    def factors(self, column: Column, species: str) -> list[tuple[Value, Value]]:
        """Of each layer, on permeability and diffusivity."""
        if self.variation is None:
            return [(1.0, 1.0)] * len(column.materials)
        v = self.variation
        return [
            (
                v.permeability.get((m.name, self.varied_as(m.name, species)), 1.0),
                v.diffusivity.get((m.name, species), 1.0),
            )
            for m in column.materials
        ]

    def varied_as(self, name: str, species: str) -> str:
        """The gas whose factors hold for a material or closure."""
        return "O2" if species == "N2" and name in self.borrowed else species

    def whole(self, value: float) -> Value:
        """A number as a value of the state."""
        return float(value) if self.scalar else np.full(self.samples, float(value))


def plan_of(case: Case, variation: Variation | None = None, *, degree: int = 3) -> Plan:
    """degree: of the elements of layers that humidity does not change. Raises MaterialError when a material
    lacks the permeability to a gas that is followed, or to water where a humidity in the wall is needed."""
    product = case.product
    names = simulated_gases(product)
    package = with_nitrogen(case.package) if "N2" in names else case.package
    case_used = case if package is case.package else replace(case, package=package)
    columns = columns_of(case_used, variation, degree)
    materials = {m.name: m for c in columns for m in c.materials}.values()
    sensitive = any(m.gas_law(g).humidity_sensitive for g in names for m in materials)
    wet = sensitive or water_matters(product)
    if wet:
        lacking = [m.name for m in materials if m.water is None]
        if lacking:
            raise MaterialError(
                f"no H2O permeability for {', '.join(lacking)}, which the humidity inside the wall needs",
                hint="add it to the material",
            )
    contents = contents_of(product, names, wet)
    at = 0
    water = None
    if wet:
        water, at = _place(columns, "H2O", at)
    gases = []
    for gas in names:
        place, at = _place(columns, gas, at)
        gases.append(place)
    consumed = -1
    if contents.reacts:
        consumed, at = at, at + 1
    fixed = tuple(p for p in package.parts if isinstance(p, ClosurePart | HolePart))
    return Plan(
        case_used,
        package,
        contents,
        columns,
        variation,
        tuple(gases),
        water,
        consumed,
        at,
        1 if variation is None else variation.size,
        fixed,
        frozenset([*materials_without_nitrogen(case.package), *closures_without_nitrogen(case.package)]),
    )


def _place(columns: Sequence[Column], species: str, at: int) -> tuple[Place, int]:
    total, at = at, at + 1
    walls = []
    left: list[tuple[tuple[int, int] | None, ...]] = []
    sinks = False
    for column in columns:
        walls.append((at, at + column.nodes))
        at += column.nodes
        row: list[tuple[int, int] | None] = []
        for material, element in zip(column.materials, column.elements, strict=True):
            s, acts = material.scavenger, material.uses_up(species)
            sinks = sinks or acts
            if acts and s is not None and s.capacity is not None:
                n = len(element.weights)
                row.append((at, at + n))
                at += n
            else:
                row.append(None)
        left.append(tuple(row))
    outer, at = at, at + 1
    used = -1
    if sinks:
        used, at = at, at + 1
    return Place(total, tuple(walls), tuple(left), outer, used), at


def opening_amounts(plan: Plan) -> list[Any]:
    """Water and gases inside at closing [mol], by sample."""
    contents, v = plan.contents, plan.variation
    water: Any = contents.water if contents.product.moisture is not None else 0.0
    if v is not None and v.isotherm is not None and contents.product.moisture is not None:
        water = water * v.isotherm
    amounts: list[Any] = [contents.amounts[g] for g in contents.gases]
    if v is not None and v.headspace_oxygen is not None:
        # the other gases make room: the headspace is closed at atmospheric pressure
        oxygen = headspace_gas(contents.product).get("O2", 0.0)
        more = np.minimum(v.headspace_oxygen, 1.0 / oxygen) if oxygen > 0.0 else v.headspace_oxygen
        others = (1.0 - more * oxygen) / (1.0 - oxygen) if oxygen < 1.0 else 1.0
        carbonated = contents.product.carbonation is not None
        for k, gas in enumerate(contents.gases):
            if gas == "O2":
                amounts[k] = amounts[k] * more
            elif not (gas == "CO2" and carbonated):
                amounts[k] = amounts[k] * others
    return [water, *amounts]

"""One sample of a ``Variation`` as a case of its own: what every factor and offset means.

The simulators of whole batches must give for sample i what the simulators of one case give for
``varied(case, variation, i)``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.physics.material import DiffusionLaw, Material
from optimizer.physics.permeability import GasLaw
from optimizer.physics.sorption import Isotherm
from optimizer.physics.water import VALID_FROM, VALID_TO
from optimizer.shelflife.contents import headspace_gas
from optimizer.shelflife.package import Case, ClosurePart, Package, Part, Product, Stage, WallPart
from optimizer.shelflife.variation import Variation

Array = NDArray[np.float64]
Value = Any


@dataclass(frozen=True)
class ScaledIsotherm:
    """An isotherm whose water contents are multiplied by ``factor``."""

    base: Isotherm
    factor: float

    @property
    def valid(self) -> tuple[float, float]:
        return self.base.valid

    def content(self, a: Value) -> Value:
        return self.factor * self.base.content(a)

    def activity(self, content: Value) -> Value:
        return self.base.activity(content / self.factor)

    def slope(self, a: Value) -> Value:
        return self.factor * self.base.slope(a)


def held_temperature(temperature: Array) -> Array:
    """Temperatures [K] after an offset, held within the range of the saturation pressure of water."""
    return np.clip(temperature, VALID_FROM, VALID_TO)


def held_humidity(activity: Array) -> Array:
    """Water activities outside after an offset, held within 0 and 1."""
    return np.clip(activity, 0.0, 1.0)


def closing_shares(product: Product, factor: Array) -> dict[str, Array]:
    """Dry mole shares at closing, each of the shape of ``factor``, with the oxygen multiplied by it.

    The other gases make room in their own proportion: the headspace is closed at atmospheric pressure.
    """
    shares = headspace_gas(product)
    oxygen = shares.get("O2", 0.0)
    more = np.minimum(factor * oxygen, 1.0)
    others = (1.0 - more) / (1.0 - oxygen) if oxygen < 1.0 else np.ones_like(more)
    return {g: more if g == "O2" else x * others for g, x in shares.items()}


def varied(case: Case, variation: Variation, index: int) -> Case:
    """The case with the factors and offsets of sample ``index`` put in."""

    def one(values: Mapping[Any, Array], key: object) -> float:
        return float(values[key][index]) if key in values else 1.0

    def offset(values: Array | None) -> float:
        return 0.0 if values is None else float(values[index])

    warmer, moister = offset(variation.temperature), offset(variation.humidity)

    def stage(s: Stage) -> Stage:
        return replace(
            s,
            duration=s.duration * one(variation.duration, s.name),
            temperature=float(held_temperature(np.array(s.temperature + warmer))),
            humidity=float(held_humidity(np.array(s.humidity + moister))),
        )

    return replace(
        case,
        product=_product(case.product, variation, index),
        package=_package(case.package, variation, index),
        storage=tuple(stage(s) for s in case.storage),
    )


def _product(product: Product, variation: Variation, i: int) -> Product:
    limits = tuple(
        replace(x, value=x.value * float(variation.limit[x.name][i])) if x.name in variation.limit else x
        for x in product.limits
    )
    changed: dict[str, Any] = {"limits": limits}
    oxygen = product.oxygen
    if variation.consumption is not None and oxygen.consumption is not None:
        use = replace(oxygen.consumption, rate=oxygen.consumption.rate * float(variation.consumption[i]))
        oxygen = replace(oxygen, consumption=use)
    if variation.headspace_oxygen is not None:
        factor = variation.headspace_oxygen[i]
        shares = closing_shares(product, np.asarray(factor))
        changed["headspace"] = replace(product.headspace, gas={g: float(x) for g, x in shares.items()})
        oxygen = replace(oxygen, dissolved_at_closing=oxygen.dissolved_at_closing * float(factor))
    if variation.isotherm is not None and product.moisture is not None:
        isotherm = ScaledIsotherm(product.moisture.isotherm, float(variation.isotherm[i]))
        changed["moisture"] = replace(product.moisture, isotherm=isotherm)
    return replace(product, oxygen=oxygen, **changed)


def _package(package: Package, variation: Variation, i: int) -> Package:
    made: dict[int, Material] = {}
    walls = {}
    for name, wall in package.walls.items():
        layers = []
        for layer in wall.layers:
            m = layer.material
            material = made.setdefault(id(m), _material(m, variation, i))
            factor = 1.0
            for values in (variation.thickness.get(name), variation.layer_thickness.get((name, m.name))):
                factor *= 1.0 if values is None else float(values[i])
            layers.append(replace(layer, material=material, thickness=layer.thickness * factor))
        walls[name] = replace(wall, layers=tuple(layers))
    covers = tuple(
        replace(
            cover,
            layers=tuple(
                replace(x, material=made.setdefault(id(x.material), _material(x.material, variation, i)))
                for x in cover.layers
            ),
        )
        for cover in package.covers
    )
    return replace(
        package, parts=tuple(_part(p, variation, i) for p in package.parts), walls=walls, covers=covers
    )


def _material(m: Material, variation: Variation, i: int) -> Material:
    def law(gas: str, x: GasLaw) -> GasLaw:
        values = variation.permeability.get((m.name, gas))
        if values is None:
            return x
        return replace(x, permeability=tuple(p * float(values[i]) for p in x.permeability))

    def spread(gas: str, x: DiffusionLaw) -> DiffusionLaw:
        values = variation.diffusivity.get((m.name, gas))
        return x if values is None else replace(x, diffusivity=x.diffusivity * float(values[i]))

    water = m.water
    values = variation.permeability.get((m.name, "H2O"))
    if water is not None and values is not None:
        water = replace(water, phi=tuple(p * float(values[i]) for p in water.phi))
    return replace(
        m,
        gases={g: law(g, x) for g, x in m.gases.items()},
        water=water,
        diffusivity={g: spread(g, x) for g, x in m.diffusivity.items()},
    )


def _part(part: Part, variation: Variation, i: int) -> Part:
    if isinstance(part, WallPart) and part.name in variation.part_thickness:
        factor = float(variation.part_thickness[part.name][i])
        patches, sealed = (
            tuple(replace(p, ratio=p.ratio * factor) for p in some) for some in (part.patches, part.sealed)
        )
        return replace(part, patches=patches, sealed=sealed)
    if isinstance(part, ClosurePart):
        given = {
            g: replace(x, conductance=x.conductance * float(variation.transmission[part.name, g][i]))
            if (part.name, g) in variation.transmission
            else x
            for g, x in part.transmission.items()
        }
        return replace(part, transmission=given)
    return part

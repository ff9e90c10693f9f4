"""Mass and cost of every layer of a chosen structure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from optimizer.physics.material import Material
from optimizer.results import ChosenLayer, DesignResult
from optimizer.shelflife.package import Package, WallPart


def weighed(result: DesignResult, package: Package, candidates: Sequence[Material]) -> DesignResult:
    """The result with the mass [g] of each chosen layer in one package, and its share of the cost [%].

    The share is of all designed walls together, passes included, and left out where a price is missing.
    """
    known = {material.name: material for material in candidates}
    masses = {name: _masses(name, layers, package, known) for name, layers in result.structure.items()}
    costs = {
        name: [
            1e-3 * m * (known[x.material].price or 0.0)
            + _area(name, layers, package) * known[x.material].pass_cost
            for m, x in zip(masses[name], layers, strict=True)
        ]
        for name, layers in result.structure.items()
    }
    total = sum(sum(own) for own in costs.values())
    used = {layer.material for layers in result.structure.values() for layer in layers}
    priced = total > 0.0 and all(known[name].price is not None for name in used)
    structure = {
        name: tuple(
            replace(layer, mass_g=mass, cost_share_pct=100.0 * cost / total if priced else None)
            for layer, mass, cost in zip(layers, masses[name], costs[name], strict=True)
        )
        for name, layers in result.structure.items()
    }
    return replace(result, structure=structure)


def _area(wall: str, layers: Sequence[ChosenLayer], package: Package) -> float:
    """Area of the parts made of the wall [m2]."""
    thickness = sum(layer.thickness_um for layer in layers) * 1e-6
    parts = [part for part in package.parts if isinstance(part, WallPart) and part.wall == wall]
    return sum(part.area(thickness) for part in parts)


def _masses(
    wall: str, layers: Sequence[ChosenLayer], package: Package, known: dict[str, Material]
) -> list[float]:
    """Mass of each layer [g]: mass area of the parts made of the wall, times thickness and density."""
    thickness = sum(layer.thickness_um for layer in layers) * 1e-6
    parts = [part for part in package.parts if isinstance(part, WallPart) and part.wall == wall]
    area = sum(part.mass_area(thickness) for part in parts)
    return [area * layer.thickness_um * 1e-6 * known[layer.material].density * 1e3 for layer in layers]

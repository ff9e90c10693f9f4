"""Walls as columns of elements: one for each structure at each of its thicknesses, areas in parallel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.geometry.classes import classes_of
from optimizer.physics.material import Material
from optimizer.shelflife.package import Case, Layer, Wall, WallPart
from optimizer.shelflife.transient.element import Reference, reference
from optimizer.shelflife.variation import Variation

Value = Any

#: More columns than this of one wall are gathered into as many (several parts of uneven thickness).
MOST_COLUMNS = 9


@dataclass(frozen=True)
class Column:
    """materials, lengths [m] and reference elements of the layers, inside to outside; area [m2]. Lengths and
    area are floats or arrays (B,)."""

    wall: str
    materials: tuple[Material, ...]
    lengths: tuple[Value, ...]
    area: Value
    elements: tuple[Reference, ...]

    @property
    def nodes(self) -> int:
        """Nodes between the two outermost faces."""
        return sum(len(e.weights) - 1 for e in self.elements) - 1


def columns_of(case: Case, variation: Variation | None = None, degree: int = 3) -> tuple[Column, ...]:
    """Columns of a case's package, of one sample or of all samples of ``variation``."""
    grouped: dict[tuple[str, str], list[tuple[float, Value]]] = {}
    for part in case.package.parts:
        if not isinstance(part, WallPart):
            continue
        wall = case.package.walls[part.wall]
        own = part.name if variation is not None and part.name in variation.part_thickness else ""
        lengths = _lengths(wall, own, variation)
        total = sum(lengths)
        rows = grouped.setdefault((part.wall, own), [])
        rows += [(patch.ratio, patch.area_at(total)) for patch in part.patches]
    return tuple(
        _column(
            case.package.walls[name], _lengths(case.package.walls[name], own, variation), ratio, area, degree
        )
        for (name, own), rows in grouped.items()
        for ratio, area in _gathered(rows)
    )


def _column(wall: Wall, lengths: tuple[Value, ...], ratio: Value, area: Value, degree: int) -> Column:
    return Column(
        wall.name,
        tuple(layer.material for layer in wall.layers),
        tuple(x * ratio for x in lengths),
        area,
        tuple(reference(n) for n in degrees_of(wall, degree)),
    )


def degrees_of(wall: Wall, degree: int) -> list[int]:
    """Degree of the element of each layer: finer where a permeability changes along the layer with its
    humidity, and in the layers that settle most slowly, where nearly all of the wall's memory is."""
    slowness = [_slowness(layer) for layer in wall.layers]
    slow = 0.25 * max(slowness, default=0.0)
    found = []
    for layer, own in zip(wall.layers, slowness, strict=True):
        if layer.material.humidity_sensitive:
            found.append(degree + 2)
        elif own > 0.0 and own >= slow:
            found.append(degree + (1 if degree < 3 else 2))
        else:
            found.append(degree)
    return found


def _slowness(layer: Layer) -> float:
    """Largest length^2 / D of a gas in a layer [s], 0 where no diffusivity is known."""
    d = [law.diffusivity for gas, law in layer.material.diffusivity.items() if gas != "H2O"]
    return layer.thickness**2 / min(d) if d else 0.0


def _lengths(wall: Wall, part: str, variation: Variation | None) -> tuple[Value, ...]:
    """Thickness of each layer [m]; of a part with a factor of its own, if ``part`` is not empty."""
    found: list[Value] = []
    for layer in wall.layers:
        length: Value = layer.thickness
        if variation is not None:
            for factor in (
                variation.thickness.get(wall.name),
                variation.part_thickness.get(part),
                variation.layer_thickness.get((wall.name, layer.material.name)),
            ):
                length = length if factor is None else length * factor
        found.append(length)
    return tuple(found)


def _gathered(rows: list[tuple[float, Value]]) -> list[tuple[Value, Value]]:
    """(ratio, area) with equal ratios together, and at most ``MOST_COLUMNS`` of them: thickness classes that
    keep the conductance of every sample, and area and mass of their mean."""
    by_ratio: dict[float, Value] = {}
    for ratio, area in rows:
        by_ratio[ratio] = by_ratio[ratio] + area if ratio in by_ratio else area
    found = sorted(by_ratio.items())
    if len(found) <= MOST_COLUMNS:
        return [(ratio, area) for ratio, area in found]
    ratios = np.array([ratio for ratio, _ in found])
    areas = np.array([float(np.mean(area)) for _, area in found])
    classes = classes_of(ratios, areas, most=MOST_COLUMNS)
    share = sum(area / ratio for ratio, area in found) / float((areas / ratios).sum())
    return [(float(r), float(a) * share) for r, a in zip(classes.ratio, classes.area, strict=True)]

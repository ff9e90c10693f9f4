"""Layers of walls and labels against what a line can run."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from optimizer.physics.material import Material
from optimizer.project.check_usual import THICK
from optimizer.project.reader import Reader
from optimizer.project.schema import Sections
from optimizer.project.schema_layers import Layer
from optimizer.project.source import Location
from optimizer.shelflife.words import span

#: A thickness may be written with three digits: a coat weight over a density seldom is a round number.
_ROUNDED = 2e-3
_TOO_THICK = "; films and walls are usually 1 um to 5 mm thick; is the unit right?"


def layers_are_within_gauge(sections: Sections, materials: Mapping[str, Material], reader: Reader) -> None:
    """A layer that the line cannot run is told, not refused; beyond a factor of 100 it is a unit slip."""
    for stack, said, layers in _stacks(sections):
        for i, layer in enumerate(layers):
            material = materials.get(layer.material)
            if material is None:
                continue
            low, high = material.gauge
            value = layer.thickness.value
            gauge = span(low * 1e6, high * 1e6, "um", 4)
            if value > 100 * high or value < low / 100:
                reader.refuse(
                    (*stack, "layers", i, "thickness"),
                    f"'{layer.thickness.text}' is far outside the gauge of '{material.name}', {gauge}",
                    "check the unit",
                )
            elif not low * (1 - _ROUNDED) <= value <= high * (1 + _ROUNDED):
                reader.warn(
                    f"{said}, layer {i + 1}: {layer.thickness.text} is outside the gauge of "
                    f"'{material.name}' ({gauge}){_TOO_THICK if value > THICK else ''}"
                )


def _stacks(sections: Sections) -> Iterator[tuple[Location, str, Sequence[Layer]]]:
    """Layers of every wall and label, with their place and what to call them."""
    for name, wall in (sections.walls or {}).items():
        yield ("walls", name), f"wall '{name}'", wall.layers
    for name, label in sections.package.labels.items() if sections.package else ():
        yield ("package", "labels", name), f"label '{name}'", label.layers

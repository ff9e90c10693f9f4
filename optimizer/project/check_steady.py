"""``wall: steady`` beside what steady walls cannot follow."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.physics.material import Material
from optimizer.project.reader import Reader
from optimizer.project.schema import Sections

_HINT = "write 'wall: auto', or remove the {what}"


def steady_walls_suffice(sections: Sections, materials: Mapping[str, Material], reader: Reader) -> None:
    """A layer that uses a gas up holds gas, and a package that grows never is in a steady state."""
    if sections.wall != "steady":
        return
    if sections.product and sections.product.headspace.creep:
        reader.refuse(
            ("wall",),
            "a steady wall cannot follow the creep of the package",
            _HINT.format(what="creep"),
        )
    for name, wall in (sections.walls or {}).items():
        for layer in wall.layers:
            material = materials.get(layer.material)
            if material is not None and material.scavenger is not None:
                reader.refuse(
                    ("wall",),
                    f"a steady wall cannot follow the scavenger of '{material.name}' in the wall '{name}', "
                    "which acts on the gas dissolved in the layer",
                    _HINT.format(what="scavenger"),
                )

"""Names under ``uncertainty``, and spreads of something that the project does not have."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from optimizer.catalog import Catalog
from optimizer.physics.material import Material
from optimizer.project import schema_package as parts_given
from optimizer.project.build_uncertainty import layers_of, stage_names
from optimizer.project.reader import Reader
from optimizer.project.schema import Sections
from optimizer.project.schema_uncertainty import Uncertainty
from optimizer.project.source import Location
from optimizer.project.suggest import did_you_mean
from optimizer.shelflife.package import LIMIT_GAS


def names_are_known(
    sections: Sections, materials: Mapping[str, Material], catalog: Catalog | None, reader: Reader
) -> None:
    """Every name under ``uncertainty`` is that of a wall, part, layer, stage or limit of the project.

    Names are taken from the plain file, so that they are looked at where a value of the section is wrong.
    """
    _thickness(_names(reader, "thickness"), sections, reader)
    if catalog is not None and sections.walls is not None:
        written = list(dict.fromkeys(x.material for wall in sections.walls.values() for x in wall.layers))
        for name in _names(reader, "layers"):
            if not layers_of(name, sections, materials, catalog):
                hint = did_you_mean(name, written, "layers of")
                _refuse("layers", name, f"no wall has a layer of '{name}'", hint, reader)
    if sections.storage is not None:
        known = stage_names(sections)
        for name in _names(reader, "durations"):
            if name not in known:
                hint = did_you_mean(name, known, "stages")
                _refuse("durations", name, f"there is no stage '{name}'", hint, reader)
    _limits(_names(reader, "limits"), sections, reader)


def _names(reader: Reader, key: str) -> list[str]:
    section: Any = reader.source.data.get("uncertainty")
    group = section.get(key) if isinstance(section, dict) else None
    return list(group) if isinstance(group, dict) else []


def _refuse(key: str, name: str, message: str, hint: str, reader: Reader) -> None:
    place: Location = ("uncertainty", key, name)
    reader.refuse(place, message, hint, key=True)


def _thickness(names: Collection[str], sections: Sections, reader: Reader) -> None:
    if sections.package is None or sections.walls is None:
        return
    walls, parts = sections.walls, sections.package.parts
    of_walls = list(parts_given.walls_of(sections.package))
    for name in names:
        if name in walls:
            if name in of_walls:
                reader.warn(f"the name '{name}' under uncertainty.thickness is a wall and a part: the wall's")
        elif name not in parts and name not in of_walls:
            hint = did_you_mean(name, [*walls, *of_walls], "walls and parts")
            _refuse("thickness", name, f"there is no wall or part '{name}'", hint, reader)
        elif name not in of_walls:
            closure = isinstance(parts[name], parts_given.ClosurePart)
            hint = "give the rows of its transmission a 'spread'" if closure else "remove it"
            _refuse("thickness", name, f"the part '{name}' has no wall, so no thickness", hint, reader)


def _limits(names: Collection[str], sections: Sections, reader: Reader) -> None:
    limits = sections.product.limits if sections.product else None
    stated = [name for name in LIMIT_GAS if limits is not None and getattr(limits, name) is not None]
    for name in names:
        if name not in LIMIT_GAS:
            hint = did_you_mean(name, stated or LIMIT_GAS, "limits")
            _refuse("limits", name, f"there is no limit '{name}'", hint, reader)
        elif limits is not None and name not in stated:
            hint = "it has: " + ", ".join(stated) if stated else "it has none"
            _refuse("limits", name, f"the product has no limit '{name}'", hint, reader)


def spreads_have_something_to_act_on(sections: Sections, reader: Reader) -> None:
    """A spread of something that the project does not have is said, and harmless."""
    product, given = sections.product, sections.uncertainty
    if product is None or given is None:
        return
    uses = product.oxygen is not None and product.oxygen.consumption is not None
    gas = product.headspace.gas
    contains = product.carbonation is None if gas is None else "O2" in gas
    _say(given, "consumption", uses, "the product uses no oxygen", reader)
    _say(given, "isotherm", product.moisture is not None, "the product has no isotherm", reader)
    _say(given, "headspace_oxygen", contains, "there is no oxygen in the headspace at closing", reader)


def _say(given: Uncertainty, key: str, present: bool, why: str, reader: Reader) -> None:
    if getattr(given, key) is not None and not present:
        reader.warn(f"the spread under uncertainty.{key} has no effect: {why}")

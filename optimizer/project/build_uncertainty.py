"""``uncertainty`` and the spreads of closures: what varies, as the sampling takes it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from typing import Any

from optimizer.catalog import Catalog
from optimizer.catalog.names import key_of
from optimizer.errors import MaterialError
from optimizer.physics.material import Material
from optimizer.project import schema_package as parts_given
from optimizer.project.schema import Sections
from optimizer.shelflife.package import Uncertainty
from optimizer.units import Quantity

#: Keys of the section that are kept as they are: quantities, and plain numbers.
_QUANTITIES = (
    "consumption",
    "isotherm",
    "headspace_oxygen",
    "temperature",
    "humidity",
    "correlation",
    "properties",
    "confidence",
)
_NUMBERS = ("samples", "seed")


def build_uncertainty(
    sections: Sections, materials: Mapping[str, Material], catalog: Catalog | None
) -> Uncertainty:
    """materials: by the name by which the file calls them; catalog: None where it could not be read.

    Names are checked by ``check_uncertainty``.
    """
    transmission = _closures(sections)
    given = sections.uncertainty
    if given is None:
        return Uncertainty(transmission=transmission)
    plain: dict[str, Any] = {}
    for name in (*_QUANTITIES, *_NUMBERS):
        value = getattr(given, name)
        if value is not None:
            plain[name] = value.value if isinstance(value, Quantity) else value
    return Uncertainty(
        thickness=_spreads(given.thickness, sections.walls or {}),
        layers=_layers(sections, given.layers or {}, materials, catalog),
        durations=_spreads(given.durations, stage_names(sections)),
        limits=_spreads(given.limits, ()),
        transmission=transmission,
        **plain,
    )


def stage_names(sections: Sections) -> list[str]:
    """Names of the stages, as ``build_storage`` gives them."""
    return [stage.name or f"stage {i}" for i, stage in enumerate(sections.storage or [], start=1)]


def _closures(sections: Sections) -> dict[tuple[str, str], float]:
    parts = sections.package.parts if sections.package else {}
    return {
        (name, row.gas): row.spread.value
        for name, part in parts.items()
        if isinstance(part, parts_given.ClosurePart)
        for row in part.transmission
        if row.spread is not None
    }


def _spreads(given: Quantity | dict[str, Quantity] | None, everything: Iterable[str]) -> dict[str, float]:
    """By name; one spread is that of ``everything``."""
    if isinstance(given, Quantity):
        return dict.fromkeys(everything, given.value)
    return {name: spread.value for name, spread in (given or {}).items()}


def _layers(
    sections: Sections,
    given: Mapping[str, Quantity],
    materials: Mapping[str, Material],
    catalog: Catalog | None,
) -> dict[tuple[str, str], float]:
    """By wall and material, for every wall that has a layer of the material."""
    return {
        (wall, name): spread.value
        for wanted, spread in given.items()
        for wall, name in layers_of(wanted, sections, materials, catalog)
    }


def layers_of(
    wanted: str, sections: Sections, materials: Mapping[str, Material], catalog: Catalog | None
) -> list[tuple[str, str]]:
    """Walls with a layer of the material that is called ``wanted``, and its own name, or that of its web
    where the web is meant."""
    names = {key_of(wanted)}
    if catalog is not None:
        with suppress(MaterialError):  # one gauge of a web, or said by the check of names
            names.add(key_of(catalog.resolve(wanted)))
    found = [
        (wall, _own_name(layer.material, materials.get(layer.material), names))
        for wall, stack in (sections.walls or {}).items()
        for layer in stack.layers
    ]
    if sections.design is not None:
        # the design may put the material into a wall that does not have it yet
        found += [
            (wall, _own_name(name, materials.get(name), names))
            for wall in sections.design.walls
            for name in sections.design.choose_from
        ]
    return list(dict.fromkeys(pair for pair in found if pair[1]))


def _own_name(written: str, material: Material | None, wanted: Collection[str]) -> str:
    """Name of the layer's material, or that of its web where the web is meant; empty where neither is."""
    if material is None:
        return written if key_of(written) in wanted else ""
    if key_of(material.name) in wanted or key_of(written) in wanted:
        return material.name
    return material.web if key_of(material.web) in wanted else ""

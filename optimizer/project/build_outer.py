"""``package.outer``: the pack around several packages, built and checked as a package of its own."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from optimizer.constants import DRY_AIR
from optimizer.physics.material import Material
from optimizer.project import checks
from optimizer.project import schema_package as given
from optimizer.project.build_closures import build_seals
from optimizer.project.build_package import build_parts
from optimizer.project.build_product import mole_shares
from optimizer.project.reader import Reader
from optimizer.project.schema import Sections, outer_sections
from optimizer.project.schema_storage import WeatherStage
from optimizer.project.source import Location
from optimizer.shelflife.package import OuterPack, Package, Wall

_PLACE: Location = ("package", "outer")


def build_outer(
    sections: Sections,
    materials: Mapping[str, Material],
    walls: Mapping[str, Wall],
    base: Path,
    reader: Reader,
) -> OuterPack | None:
    """None without an outer pack. Its walls are those of the file; they are not designed."""
    own = outer_sections(sections)
    if own is None or own.package is None or sections.package is None or sections.package.outer is None:
        return None
    outer, inside = sections.package.outer, reader.within(("package",), _PLACE, "outer pack: ")
    checks.walls_exist(own, inside)
    parts, _ = build_parts(own.package, own.walls, base, inside)
    seals = build_seals(own, materials, inside)
    _not_designed(own.package, sections, reader)
    for i, stage in enumerate(sections.storage or []):
        if isinstance(stage, WeatherStage):
            reader.refuse(
                ("storage", i, "weather"),
                "hourly weather around an outer pack is not followed",
                "give stages with a temperature and a humidity, or remove package.outer",
                key=True,
            )
    gas = dict(DRY_AIR) if outer.gas is None else mole_shares((*_PLACE, "gas"), outer.gas, reader)
    reader.assume(
        f"{outer.count} equal packages stand in an outer pack; the gas between is mixed and follows what all "
        "walls let through, at steady walls and with the structures as listed (a design: with its own); "
        "cartons in it hold no water"
    )
    head = sections.product.headspace if sections.product else None
    if outer.walls == "rigid" and head is not None and head.walls == "flexible":
        reader.assume(
            "the volume between the packs is kept, though packages in it swell and shrink with their own gas"
        )
    package = Package(
        tuple((parts | seals.parts).values()), {**walls, **seals.walls}, (), seals.opening_pressure
    )
    return OuterPack(
        outer.count,
        package,
        outer.volume.value,
        outer.walls == "rigid",
        gas or {},
        None if outer.humidity is None else outer.humidity.value,
    )


def _not_designed(outer: given.Package, sections: Sections, reader: Reader) -> None:
    around = set(given.walls_of(outer).values())
    for i, name in enumerate(sections.design.walls if sections.design else ()):
        if name in around:
            reader.refuse(
                ("design", "walls", i),
                f"the wall '{name}' is that of the outer pack, which is not designed",
                "name walls of the package, and give the outer pack a wall of its own",
            )

"""Short facts about a project for reports: areas, walls and room, as plain text."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.shelflife.covered import expand
from optimizer.shelflife.package import Case, ClosurePart, HolePart, Part, Wall, WallPart


def describe_parts(case: Case) -> tuple[Mapping[str, str], ...]:
    """One row for each part: part, kind, wall, area, thickness; empty where it does not apply."""
    package = expand(case.package)
    return tuple(_part(part, package.walls) for part in package.parts)


def _part(part: Part, walls: Mapping[str, Wall]) -> Mapping[str, str]:
    row = {"part": part.name, "kind": "", "wall": "", "area": "", "thickness": ""}
    if isinstance(part, WallPart):
        nominal = walls[part.wall].thickness
        area = part.area(nominal)
        mean = part.mean_ratio(nominal) * nominal
        return row | {
            "kind": part.seal or "wall",
            "wall": part.wall,
            "area": f"{area * 1e4:.4g} cm2",
            "thickness": f"{mean * 1e6:.4g} um",
        }
    if isinstance(part, ClosurePart):
        return row | {"kind": "closure: " + ", ".join(part.transmission)}
    assert isinstance(part, HolePart)
    return row | {"kind": f"{part.count:g} hole(s) {part.diameter * 1e6:.4g} um x {part.length * 1e6:.4g} um"}


def describe_product(case: Case) -> str:
    """Mass, volume and headspace in a line."""
    product = case.product
    kept = "rigid" if product.headspace.rigid else "flexible"
    return (
        f"{product.mass * 1e3:.4g} g, {product.volume * 1e3:.4g} L, headspace "
        f"{product.headspace.volume * 1e6:.4g} mL ({kept})"
    )

"""Plausibility of the whole: one small function for each rule, which looks at the sections it needs.

References (walls, materials) are checked on the sections as read; sizes on what was built from them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from optimizer.geometry.bearing import LEAST_LEFT
from optimizer.geometry.words import mm, percent
from optimizer.physics.material import Material
from optimizer.project import schema_package as parts_given
from optimizer.project.build_closures import material_places as closure_places
from optimizer.project.build_product import WATER_LIMITS
from optimizer.project.build_thickness import Built, nominal_thickness
from optimizer.project.check_usual import density_is_usual
from optimizer.project.reader import Reader
from optimizer.project.schema import Sections, outer_sections
from optimizer.project.schema_product import Product
from optimizer.project.source import Location
from optimizer.project.suggest import did_you_mean
from optimizer.shelflife.package import LIMIT_GAS
from optimizer.shelflife.words import listed

#: Room inside against product and headspace: told beyond the first, refused beyond the second (a unit slip).
ROOM_WARNING, ROOM_ERROR = 1.10, 2.0
#: Share of the wall area that parts of unknown room (plain areas, pouches) may have for the comparison.
UNKNOWN_SHARE = 0.25
#: Largest share of a headspace that is still usual in the volume of a package.
_HEADSPACE_OVER_PRODUCT = 1.0
#: Mass over volume of a product outside this range [kg/m3] is a unit slip: from foams of air to the heaviest
#: metals.
DENSITY_ERROR = 2.0, 20000.0

_KEEP = ("design", "rules", "keep")
_AVOID = ("design", "rules", "avoid")

Surfaces = Mapping[str, Built]


def walls_exist(sections: Sections, reader: Reader) -> None:
    """Every wall that a part, a specification or the design names is defined."""
    if sections.package is None and "package" not in sections.failed:
        return
    known = list(sections.walls or {})
    if "walls" in sections.failed:  # a wall that is wrong is still defined
        raw = reader.source.data.get("walls")
        if not isinstance(raw, dict) or not raw:
            return
        known = [str(name) for name in raw]
    for place, name in _wall_references(sections):
        if name not in known:
            hint = did_you_mean(name, known, "defined") if known else "add it under 'walls'"
            reader.refuse(place, f"the wall '{name}' is not defined", hint)


def _wall_references(sections: Sections) -> list[tuple[Location, str]]:
    found: list[tuple[Location, str]] = []
    if sections.package:
        for name, part in sections.package.parts.items():
            if isinstance(part, parts_given.WallPart):
                found.append((("package", "parts", name, "wall"), part.wall))
            for key, region in part.regions.items() if isinstance(part, parts_given.MeshPart) else ():
                if region.wall is not None:
                    found.append((("package", "parts", name, "regions", key, "wall"), region.wall))
    if sections.target:
        for i, row in enumerate(sections.target.transmission):
            if row.wall is not None:
                found.append((("target", "transmission", i, "wall"), row.wall))
    if sections.design:
        found += [(("design", "walls", i), name) for i, name in enumerate(sections.design.walls)]
    return found


def walls_are_used(sections: Sections, reader: Reader) -> None:
    """A wall without a part may be kept for later, but there is nothing to design in it."""
    if sections.walls is None or sections.package is None:
        return
    used = _walls_in_use(sections)
    for name in sections.walls:
        if name not in used:
            reader.warn(f"no part is made of the wall '{name}'")
            for i, designed in enumerate(sections.design.walls if sections.design else []):
                if designed == name:
                    reader.refuse(
                        ("design", "walls", i),
                        f"no part is made of the wall '{name}'",
                        "name the wall of a part",
                    )


def _walls_in_use(sections: Sections) -> set[str]:
    if sections.package is None:
        return set()
    found = set(parts_given.walls_of(sections.package).values())
    around = outer_sections(sections)
    if around is not None and around.package is not None:
        found |= set(parts_given.walls_of(around.package).values())
    return found


def limits_have_their_model(product: Product, reader: Reader) -> None:
    """A limit on water needs a product that takes up water; a limit on CO2 one that holds CO2."""
    limits, place = product.limits, ("product", "limits")
    given = [name for name in WATER_LIMITS if getattr(limits, name) is not None]
    for name in given:
        if name.startswith("water_activity") and product.moisture is None:
            reader.refuse(
                (*place, name),
                "needs 'product.moisture', with its dry mass, isotherm and initial state",
                "the water activity only changes with water taken up or lost",
                key=True,
            )
    if limits.co2_loss is not None and product.carbonation is None:
        reader.refuse(
            (*place, "co2_loss"),
            "needs 'product.carbonation'",
            "for example 'carbonation: {volumes: 4.0, temperature: 4 degC}'",
            key=True,
        )
    low, high = limits.water_activity_min, limits.water_activity_max
    if low is not None and high is not None and low >= high:
        reader.refuse((*place, "water_activity_min"), "is not below water_activity_max", "exchange the two")


def headspace_is_smaller_than_the_product(product: Product, reader: Reader) -> None:
    """A headspace much larger than the product is a slip of mL and L."""
    headspace, volume = product.headspace.volume, product.volume
    if headspace.value > 20.0 * volume.value:
        reader.refuse(
            ("product", "headspace", "volume"),
            f"'{headspace.text}' is more than 20 times the product's volume, '{volume.text}'",
            "check both units",
        )
    elif headspace.value > _HEADSPACE_OVER_PRODUCT * volume.value:
        reader.warn(
            f"the headspace ({headspace.text}) is larger than the product ({volume.text}): check both units"
        )


def mass_fits_the_volume(product: Product, reader: Reader) -> None:
    density = product.mass.value / product.volume.value
    if not DENSITY_ERROR[0] <= density <= DENSITY_ERROR[1]:
        reader.refuse(
            ("product", "volume"),
            f"'{product.mass.text}' in '{product.volume.text}' is a density of {density:.3g} kg/m3",
            "check both units",
        )
    else:
        density_is_usual(product.mass, product.volume, reader)
    if product.moisture and product.moisture.dry_mass.value > product.mass.value * (1 + 1e-9):
        reader.refuse(
            ("product", "moisture", "dry_mass"),
            f"'{product.moisture.dry_mass.text}' is more than the product's mass, '{product.mass.text}'",
            "the dry mass is the product without its water",
        )


def product_fits_the_package(sections: Sections, surfaces: Surfaces, reader: Reader) -> None:
    """Room inside the parts against product and headspace, where most of the surface is of known room."""
    product, package, walls = sections.product, sections.package, sections.walls
    if product is None or package is None or walls is None:
        return
    room = known = total = 0.0
    made = {built.part for built in surfaces.values()}
    if any(isinstance(p, parts_given.WallPart) and name not in made for name, p in package.parts.items()):
        return
    for built in surfaces.values():
        if built.wall not in walls:
            return
        thickness = nominal_thickness(walls[built.wall]) * built.ratio
        area, volume = built.surface.area(thickness), built.surface.interior_volume(thickness)
        total += area
        if volume is not None and built.room:  # below 0 where a region takes room from its part
            room, known = room + volume, known + area
    if room <= 0 or known < (1.0 - UNKNOWN_SHARE) * total:
        return
    needed = product.volume.value + product.headspace.volume.value
    factor = max(needed / room, room / needed)
    said = f"product and headspace take {needed * 1e3:.4g} L, and the parts hold {room * 1e3:.4g} L"
    if factor > ROOM_ERROR:
        reader.refuse(("package", "parts"), said, "check the units of the dimensions and volumes", key=True)
    elif factor > ROOM_WARNING:
        reader.warn(f"{said}: {100 * (factor - 1):.0f} % apart; check dimensions, volume and headspace")


def walls_fit_into_their_parts(sections: Sections, surfaces: Surfaces, reader: Reader) -> None:
    """A wall thicker than the room in its part is a slip of um and mm."""
    for built in surfaces.values():
        wall = (sections.walls or {}).get(built.wall)
        thickness = nominal_thickness(wall) * built.ratio if wall else 0.0
        if thickness >= built.surface.largest_thickness:
            most = built.surface.unevenness.most if built.surface.unevenness else 1.0
            reader.refuse(
                built.place,
                f"a wall of {thickness * most * 1e3:.4g} mm leaves no room inside",
                "check the units of the dimensions and of the layers",
                key=True,
            )
        elif not built.measured and _bent(built, thickness):
            reader.warn(
                f"part '{built.place[-1]}': a wall of {mm(thickness)} is thick against the curvature of its "
                f"surface: its middle has less than {percent(LEAST_LEFT)} of the area as given; are the "
                "units right?"
            )


def _bent(built: Built, thickness: float) -> bool:
    """Whether hardly any area is left in the middle of the wall."""
    return built.surface.area(thickness) < LEAST_LEFT * built.surface.area()


def fields_follow_the_design(sections: Sections, surfaces: Surfaces, reader: Reader) -> None:
    """A measured thickness is that of the wall as listed: a designed wall has it in proportion."""
    for wall in sections.design.walls if sections.design else ():
        own = [n for n, b in surfaces.items() if b.wall == wall and (b.measured or b.ratio != 1.0)]
        if any(surfaces[name].measured for name in own):
            reader.assume(
                f"where the design changes the wall '{wall}', the thickness of {listed(own)} is scaled "
                "with it everywhere, and layer fractions are kept"
            )


def materials_have_the_gases(
    sections: Sections, materials: Mapping[str, Material], followed: Collection[str], reader: Reader
) -> None:
    """Every layer in use, and everything the design may choose, has what the limits need.

    followed: gases that the simulation follows. N2 may be missing: it is then estimated from O2, and said.
    """
    for use in _material_uses(sections, followed):
        material = materials.get(use.material)
        if material is None or not use.needed:
            continue
        missing = {gas: why for gas, why in use.needed.items() if not _has(material, gas)}
        if material.water is None and "H2O" not in missing:
            followers = [m for m in use.beside if m in materials and _follows(materials[m], use.needed)]
            if followers:
                missing["H2O"] = f"the humidity in the wall, which '{followers[0]}' follows,"
        for gas, why in missing.items():
            value = "'0.5 g*mm/(m2*day)'" if gas == "H2O" else "'100 cm3*mm/(m2*day*atm)'"
            humidity = "90 %" if gas == "H2O" else "0 %"
            reader.refuse(
                use.place,
                f"the material '{use.material}' has no {gas} permeability, and {why} needs it",
                f"add {{gas: {gas}, value: {value}, temperature: 23 degC, humidity: {humidity}}} to its "
                "'permeability' under 'materials', with your own value",
            )


def _has(material: Material, gas: str) -> bool:
    return material.water is not None if gas == "H2O" else gas in material.gases


def _follows(material: Material, needed: Mapping[str, str]) -> bool:
    """Whether a permeability that matters follows humidity."""
    return any(gas in needed and law.humidity_sensitive for gas, law in material.gases.items())


def needed_gases(
    sections: Sections, walls: Collection[str] | None = None, followed: Collection[str] = ()
) -> dict[str, str]:
    """Gas to what needs it, in words; for some walls only, or for all."""
    found: dict[str, str] = {}
    if sections.product:
        limits = sections.product.limits
        for name, gas in LIMIT_GAS.items():
            if getattr(limits, name) is not None:
                found.setdefault(gas, f"the limit '{name}'")
    if sections.target:
        for row in sections.target.transmission:
            if walls is None or row.wall is None or row.wall in walls:
                found.setdefault(row.gas, "a specification under target.transmission")
    for gas in followed:
        if gas != "N2":
            found.setdefault(gas, "the gas in the headspace, which a limit follows,")
    return found


@dataclass(frozen=True)
class MaterialUse:
    """A place that names a material, the materials it may share a wall with, and the gases needed there."""

    place: Location
    material: str
    beside: tuple[str, ...]
    needed: Mapping[str, str]


def _material_uses(sections: Sections, followed: Collection[str] = ()) -> list[MaterialUse]:
    uses: list[MaterialUse] = []
    used = _walls_in_use(sections)
    for name, wall in (sections.walls or {}).items():
        stack = tuple(layer.material for layer in wall.layers)
        needed = needed_gases(sections, [name], followed) if name in used else {}
        uses += [
            MaterialUse(("walls", name, "layers", i, "material"), material, stack, needed)
            for i, material in enumerate(stack)
        ]
    needed = needed_gases(sections, (), followed)
    closures = closure_places(sections)
    if (around := outer_sections(sections)) is not None:
        closures += [
            (("package", "outer", *place[1:]), name, beside) for place, name, beside in closure_places(around)
        ]
    uses += [MaterialUse(place, name, beside, needed) for place, name, beside in closures]
    if sections.design:
        keep = sections.design.rules.keep
        chosen = (*sections.design.choose_from, *keep)
        needed = needed_gases(sections, sections.design.walls, followed)
        for place, names in ((("design", "choose_from"), sections.design.choose_from), (_KEEP, keep)):
            uses += [MaterialUse((*place, i), m, chosen, needed) for i, m in enumerate(names)]
    return uses


def material_places(sections: Sections, data: Mapping[str, Any]) -> list[tuple[Location, str]]:
    """Every place where a material is named, in the order of the file's sections.

    data: the plain file, for the names in sections that are wrong in some other way.
    """
    places = [(use.place, use.material) for use in _material_uses(sections)]
    avoid = sections.design.rules.avoid if sections.design else []
    places += [((*_AVOID, i), name) for i, name in enumerate(avoid)]
    if "walls" in sections.failed:
        places += _named_in_walls(data.get("walls"))
    if "design" in sections.failed:
        places += _named_in_design(data.get("design"))
    return places


def _named_in_walls(walls: Any) -> list[tuple[Location, str]]:
    found: list[tuple[Location, str]] = []
    for name, wall in walls.items() if isinstance(walls, dict) else ():
        layers = wall.get("layers") if isinstance(wall, dict) else None
        for i, layer in enumerate(layers if isinstance(layers, list) else ()):
            material = layer.get("material") if isinstance(layer, dict) else None
            if isinstance(material, str) and material.strip():
                found.append((("walls", name, "layers", i, "material"), material.strip()))
    return found


def _named_in_design(design: Any) -> list[tuple[Location, str]]:
    found: list[tuple[Location, str]] = []
    if not isinstance(design, dict):
        return found
    rules = design.get("rules")
    lists: list[tuple[Location, Any]] = [(("design", "choose_from"), design.get("choose_from"))]
    if isinstance(rules, dict):
        lists += [(_KEEP, rules.get("keep")), (_AVOID, rules.get("avoid"))]
    for place, names in lists:
        for i, name in enumerate(names if isinstance(names, list) else ()):
            if isinstance(name, str) and name.strip():
                found.append(((*place, i), name.strip()))
    return found


def target_asks_for_something(sections: Sections, reader: Reader) -> None:
    target = sections.target
    if target and target.shelf_life is None and not target.transmission:
        reader.refuse(
            ("target",), "asks for nothing", "give 'shelf_life: 9 months' or 'transmission: [...]'", key=True
        )


def design_has_a_goal(sections: Sections, reader: Reader) -> None:
    """Without a demand the best wall is no wall."""
    if sections.design is None or "target" in sections.failed or "product" in sections.failed:
        return
    if sections.target is None:
        reader.refuse(
            ("design",),
            "needs a 'target' to design for",
            "for example 'target: {shelf_life: 9 months}'",
            key=True,
        )
    elif sections.target.shelf_life and not sections.target.transmission and not needed_gases(sections):
        reader.refuse(
            ("target", "shelf_life"),
            "nothing limits the shelf life",
            "give at least one limit under product.limits, for example 'oxygen_gain: 5 mg/kg'",
            key=True,
        )

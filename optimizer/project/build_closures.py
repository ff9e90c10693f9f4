"""Closures by their geometry, holes of several sizes, and labels, as the simulation takes them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from optimizer.errors import GeometryError
from optimizer.geometry.surface import Patch
from optimizer.physics import gaskets
from optimizer.physics.gaskets import SealPath
from optimizer.physics.hole_sizes import sizes_of
from optimizer.physics.material import Material
from optimizer.project import schema_closures as given
from optimizer.project.check_usual import seal_is_usual
from optimizer.project.reader import Reader
from optimizer.project.schema import Sections
from optimizer.project.schema_package import Package, Wall
from optimizer.project.source import Location
from optimizer.project.suggest import did_you_mean
from optimizer.shelflife import package as built
from optimizer.shelflife.covered import piece_name

#: Kind of a closure in reports, by its key.
KINDS = {"gasket": "gasket", "o_ring": "O-ring", "seal_edge": "seal edge", "valve": "valve"}
#: Covers of one part may exceed it by rounding.
_ROUNDING = 1e-9


@dataclass
class Seals:
    """Closures that were built: parts and their walls by name, and when valves open [Pa]."""

    parts: dict[str, built.Part] = field(default_factory=dict)
    walls: dict[str, built.Wall] = field(default_factory=dict)
    opening_pressure: dict[str, float] = field(default_factory=dict)

    def add(self, name: str, wall: str, kind: str, material: Material, path: SealPath) -> None:
        """A body as a layer that is as thick as the way through it, of the body's conductance and volume."""
        self.walls[wall] = built.Wall(wall, (built.Layer(material, path.length),))
        self.parts[name] = built.WallPart(name, wall, (Patch(path.area),), seal=kind)


def build_holes(name: str, part: given.HolePart) -> dict[str, built.Part]:
    """One part for each size of hole; several are named with their diameters."""
    hole = part.pinhole
    length = hole.length.value
    if isinstance(hole, given.HoleTable):
        sizes = tuple((size.diameter.value, size.count) for size in hole.sizes)
    elif isinstance(hole, given.SpreadHoles):
        sizes = sizes_of(hole.diameter.median.value, hole.diameter.spread, hole.count, length)
    else:
        sizes = ((hole.diameter.value, hole.count),)
    if len(sizes) == 1:
        return {name: built.HolePart(name, sizes[0][0], length, sizes[0][1])}
    found: dict[str, built.Part] = {}
    group = name if isinstance(hole, given.SpreadHoles) else ""
    for diameter, count in sizes:
        key = f"{name}, {diameter * 1e6:.3g} um"
        while key in found:
            key += "'"
        found[key] = built.HolePart(key, diameter, length, count, group)
    return found


def build_seals(sections: Sections, materials: Mapping[str, Material], reader: Reader) -> Seals:
    """Closures with a geometry of their own; those of an unknown material, said elsewhere, are left out."""
    seals = Seals()
    taken = sections.walls or {}
    for name, part in sections.package.parts.items() if sections.package else ():
        if not isinstance(part, given.SealPart):
            continue
        key = next(iter(type(part).model_fields))
        place: Location = ("package", "parts", name, key)
        try:
            bodies = list(_bodies(getattr(part, key), place, taken, materials, reader))
        except GeometryError as error:
            reader.refuse((*place, error.field) if error.field else place, error.message, error.hint)
            continue
        seal_is_usual(name, getattr(part, key), reader)
        for material, path in bodies:
            own = name if len(bodies) == 1 else f"{name}, {material.name}"
            wall = own if own not in taken else f"{own} ({KINDS[key]})"
            seals.add(own, wall, KINDS[key], material, path)
        if isinstance(part, given.ValvePart) and part.valve.opening_pressure is not None:
            seals.opening_pressure[name] = part.valve.opening_pressure.value
    if seals.parts:
        reader.assume(
            "gas goes through the material of a seal alone: the faces are tight and touch it everywhere"
        )
    return seals


def _bodies(
    seal: object,
    place: Location,
    walls: Mapping[str, Wall],
    materials: Mapping[str, Material],
    reader: Reader,
) -> Iterator[tuple[Material, SealPath]]:
    """What gas crosses side by side, with its material."""
    if isinstance(seal, given.WallEdge):
        yield from _edge_of_wall(seal, place, walls, materials, reader)
        return
    assert isinstance(seal, given.Gasket | given.ORing | given.SealEdge | given.Valve)
    path = _path(seal)
    if seal.material in materials:
        yield materials[seal.material], path


def _path(seal: given.Gasket | given.ORing | given.SealEdge | given.Valve) -> SealPath:
    if isinstance(seal, given.Gasket):
        return gaskets.flat_ring(seal.inner_diameter.value, seal.width.value, seal.height.value)
    if isinstance(seal, given.ORing):
        low, high = gaskets.LEAST_COMPRESSION, gaskets.MOST_COMPRESSION
        compression = min(max(seal.compression.value, low), high)
        return gaskets.o_ring(seal.ring_diameter.value, seal.cord.value, compression)
    if isinstance(seal, given.SealEdge):
        return gaskets.seal_edge(seal.length.value, seal.width.value, seal.thickness.value)
    return gaskets.valve_seat(seal.seat_diameter.value, seal.seat_width.value, seal.film.value)


def _edge_of_wall(
    seal: given.WallEdge,
    place: Location,
    walls: Mapping[str, Wall],
    materials: Mapping[str, Material],
    reader: Reader,
) -> Iterator[tuple[Material, SealPath]]:
    """The layers inside the foil of a wall, once for each of the two webs; the same material together."""
    if seal.wall not in walls:
        hint = did_you_mean(seal.wall, walls, "defined") if walls else "add it under 'walls'"
        reader.refuse((*place, "wall"), f"the wall '{seal.wall}' is not defined", hint)
        return
    layers = walls[seal.wall].layers
    if any(layer.material not in materials for layer in layers):
        return
    foil = next((i for i, layer in enumerate(layers) if _is_foil(materials[layer.material])), None)
    if foil == 0:
        reader.refuse(
            (*place, "wall"),
            f"the wall '{seal.wall}' has no sealant under its foil",
            "layers run from inside to outside; or give the sealant's material and thickness",
        )
        return
    if foil is None:
        reader.warn(
            f"the wall '{seal.wall}' has no foil: the innermost layer alone is taken as the sealant of its "
            "edge"
        )
    thickness: dict[str, float] = {}
    for layer in layers[: foil or 1]:
        name = materials[layer.material].name
        thickness[name] = thickness.get(name, 0.0) + 2.0 * layer.thickness.value
    named = {m.name: m for m in materials.values()}
    for name, total in thickness.items():
        yield named[name], gaskets.seal_edge(seal.length.value, seal.width.value, total)
    reader.assume(
        f"the edge sealed from the wall '{seal.wall}' has the sealant of that wall as listed, from both "
        "webs; a design does not change the edge"
    )


def _is_foil(material: Material) -> bool:
    return bool(material.gases) and all(law.blocks for law in material.gases.values())


def build_covers(
    sections: Sections,
    parts: Mapping[str, built.Part],
    walls: Mapping[str, built.Wall],
    materials: Mapping[str, Material],
    reader: Reader,
) -> tuple[built.Cover, ...]:
    """Labels on the parts that were built; what is wrong with one is a problem at its place."""
    labels = sections.package.labels if sections.package else {}
    covers: list[built.Cover] = []
    used: dict[str, float] = {}
    for name, label in labels.items():
        place: Location = ("package", "labels", name)
        part = _labelled(label, place, parts, sections.package, reader)
        share = _share(label, place, part, walls, reader)
        if part is None or share is None:
            continue
        used[part.name] = used.get(part.name, 0.0) + share
        if used[part.name] > 1.0 + _ROUNDING:
            reader.refuse(
                (*place, "share" if label.share else "area"),
                f"the labels on '{part.name}' cover {100 * used[part.name]:.4g} % of it",
                "labels of one part lie beside each other; give one that lies on another as more layers",
            )
            continue
        piece = piece_name(part.name, name)
        if piece in parts:
            reader.refuse(place, f"there is a part '{piece}'", "rename the label", key=True)
        if all(layer.material in materials for layer in label.layers):
            layers = tuple(built.Layer(materials[x.material], x.thickness.value) for x in label.layers)
            covers.append(built.Cover(name, part.name, share, layers))
    if covers:
        reader.assume(
            "labels lie on the wall without air between; what they cover is told as a part of its own"
        )
    if covers and sections.design:
        reader.assume(
            "the design counts what lies under a label by what it lets through at the structure returned"
        )
    return tuple(covers)


def _labelled(
    label: given.Label,
    place: Location,
    parts: Mapping[str, built.Part],
    package: Package | None,
    reader: Reader,
) -> built.WallPart | None:
    part = parts.get(label.on)
    if isinstance(part, built.WallPart) and not part.seal:
        return part
    written = package.parts.get(label.on) if package is not None else None
    if part is not None or isinstance(written, given.HolePart):
        said = f"the part '{label.on}' has no wall to label"
        reader.refuse((*place, "on"), said, "name a part with a wall")
    elif written is None:
        known = [n for n, p in parts.items() if isinstance(p, built.WallPart) and not p.seal]
        hint = did_you_mean(label.on, known, "parts with a wall")
        reader.refuse((*place, "on"), f"there is no part '{label.on}'", hint)
    return None


def _share(
    label: given.Label,
    place: Location,
    part: built.WallPart | None,
    walls: Mapping[str, built.Wall],
    reader: Reader,
) -> float | None:
    if (label.share is None) == (label.area is None):
        said = "does not say how much it covers" if label.share is None else "has both 'share' and 'area'"
        reader.refuse(place, said, "give one of: share: 40 %, area: 120 cm2", key=True)
        return None
    if label.share is not None:
        return label.share.value
    assert label.area is not None
    if part is None or part.wall not in walls:
        return None
    whole = part.area(walls[part.wall].thickness)
    if label.area.value > whole * (1.0 + _ROUNDING):
        said = f"'{label.area.text}' is more than the area of '{part.name}', {whole * 1e4:.4g} cm2"
        reader.refuse((*place, "area"), said, "check the unit")
        return None
    return min(1.0, label.area.value / whole)


def material_places(sections: Sections) -> list[tuple[Location, str, tuple[str, ...]]]:
    """Every place where a closure or a label names a material, the material, and those it lies upon."""
    package = sections.package
    if package is None:
        return []
    places: list[tuple[Location, str, tuple[str, ...]]] = []
    for name, part in package.parts.items():
        if isinstance(part, given.SealPart):
            key = next(iter(type(part).model_fields))
            material = getattr(getattr(part, key), "material", None)
            if material is not None:
                places.append((("package", "parts", name, key, "material"), material, (material,)))
    for name, label in package.labels.items():
        wall = (sections.walls or {}).get(getattr(package.parts.get(label.on), "wall", ""))
        stack = (*(x.material for x in (*(wall.layers if wall else ()), *label.layers)),)
        for i, layer in enumerate(label.layers):
            place: Location = ("package", "labels", name, "layers", i, "material")
            places.append((place, layer.material, stack))
    return places

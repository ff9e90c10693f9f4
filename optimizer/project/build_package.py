"""``package`` and ``walls``: surfaces, closures and holes as the simulation takes them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from optimizer.catalog import Catalog
from optimizer.constants import MOLAR_MASS
from optimizer.errors import GeometryError, InputError, MaterialError
from optimizer.geometry.shapes import SHAPES, each, scaled
from optimizer.geometry.surface import Patch, Surface
from optimizer.physics.material import Material
from optimizer.physics.water import saturation_pressure
from optimizer.project import schema_package as given
from optimizer.project.reader import Reader
from optimizer.project.source import Location
from optimizer.shelflife.package import (
    ClosurePart,
    GivenConductance,
    HolePart,
    Layer,
    Part,
    Wall,
    WallPart,
)

#: Activation energies of a closure's transmission where none is given [J/mol]; said as assumed.
ASSUMED_ENERGY = {"H2O": 35e3}
ASSUMED_GAS_ENERGY = 40e3


def build_walls(walls: Mapping[str, given.Wall], materials: Mapping[str, Material]) -> dict[str, Wall]:
    """Walls whose materials are all known; unknown materials are reported elsewhere."""
    built = {}
    for name, wall in walls.items():
        if all(layer.material in materials for layer in wall.layers):
            built[name] = Wall(
                name,
                tuple(Layer(materials[layer.material], layer.thickness.value) for layer in wall.layers),
            )
    return built


def nominal_thickness(wall: given.Wall) -> float:
    """Thickness of all layers [m]."""
    return sum(layer.thickness.value for layer in wall.layers)


def surface_of(name: str, part: given.WallPart, base: Path, reader: Reader) -> Surface | None:
    """Surface of a part at thickness ratio 1, or None with the problems noted."""
    place: Location = ("package", "parts", name)
    try:
        if isinstance(part, given.AreaPart):
            return Surface((Patch(part.area.value),))
        if isinstance(part, given.MeshPart):
            if not is_file(base / part.mesh):
                reader.refuse(
                    (*place, "mesh"), "there is no such file", "paths are relative to the project file"
                )
                return None
            from optimizer.geometry.mesh import load_surface

            return load_surface(base / part.mesh, part.unit, dimensions=part.dimensions)
        return _shape(place, part, reader)
    except GeometryError as error:
        for single in each(error):
            known = single.field and single.field in type(part).model_fields
            written = _as_written(part, single.field) if known else ""
            reader.refuse((*place, written) if written else place, single.message, single.hint)
        return None


def is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def _shape(place: Location, part: Any, reader: Reader) -> Surface | None:
    spec = SHAPES[part.shape]
    sizes = {n: getattr(part, n) for n in spec.parameters if getattr(part, n) is not None}
    for other, meant in spec.aliases.items():
        if getattr(part, other) is None:
            continue
        if meant in sizes:
            reader.refuse((*place, other), f"says the same as '{meant}'", "keep one of them", key=True)
            return None
        sizes[meant] = getattr(part, other)
    surface: Surface = spec.function(**sizes, dimensions=part.dimensions)
    return surface


def _as_written(part: Any, field: str) -> str:
    """The key under which the user gave ``field``."""
    if getattr(part, field, None) is None and hasattr(part, "shape"):
        for other, meant in SHAPES[part.shape].aliases.items():
            if meant == field and getattr(part, other, None) is not None:
                return other
    return field


def thickness_ratio(
    place: Location, part: given.WallPart, wall: given.Wall | None, reader: Reader
) -> float | None:
    """Local thickness over the nominal one; None when it cannot be said."""
    if part.thickness is None:
        return 1.0 if part.thickness_ratio is None else part.thickness_ratio
    if part.thickness_ratio is not None:
        reader.refuse(
            (*place, "thickness"), "cannot stand beside thickness_ratio", "keep one of them", key=True
        )
        return None
    return part.thickness.value / nominal_thickness(wall) if wall else None


def build_wall_part(name: str, part: given.WallPart, surface: Surface, ratio: float) -> WallPart:
    return WallPart(name, part.wall, scaled(surface, ratio).patches)


def build_hole(name: str, part: given.HolePart) -> HolePart:
    hole = part.pinhole
    return HolePart(name, hole.diameter.value, hole.length.value, hole.count)


def build_closure(name: str, part: given.ClosurePart, reader: Reader) -> ClosurePart:
    """Conductance by gas. A flow is divided by the pressure difference of its own test."""
    found: dict[str, GivenConductance] = {}
    for i, row in enumerate(part.transmission):
        place: Location = ("package", "parts", name, "transmission", i)
        if row.gas in found:
            reader.refuse((*place, "gas"), f"{row.gas} is given twice", "keep one row for each gas")
            continue
        conductance = _water(place, row, reader) if row.gas == "H2O" else _gas(place, row, reader)
        if conductance is None:
            continue
        energy, assumed = row.activation_energy, row.activation_energy is None
        value = energy.value if energy else ASSUMED_ENERGY.get(row.gas, ASSUMED_GAS_ENERGY)
        found[row.gas] = GivenConductance(conductance, row.temperature.value, value, assumed)
    return ClosurePart(name, found)


def _gas(place: Location, row: given.Rate, reader: Reader) -> float | None:
    if row.value.kind == "package gas conductance":
        if row.partial_pressure is not None:
            reader.refuse(
                (*place, "partial_pressure"),
                "is not needed: the value is per pressure already",
                "remove it, or give the value as a flow such as '0.0012 cm3/day'",
                key=True,
            )
            return None
        return float(row.value.value)
    if row.partial_pressure is None:
        reader.refuse(
            (*place, "value"),
            "a flow needs the pressure difference of its test",
            "add 'partial_pressure: 0.2095 atm' for air against none, or give the value per pressure",
        )
        return None
    return float(row.value.value / row.partial_pressure.value)


def _water(place: Location, row: given.Rate, reader: Reader) -> float | None:
    if row.value.kind == "package vapour conductance":
        return float(row.value.value)
    if row.partial_pressure is not None:
        reader.refuse(
            (*place, "partial_pressure"),
            "is not used for H2O",
            "give 'humidity' of the wet side, and 'humidity_far' when the other was not dry",
            key=True,
        )
        return None
    if row.humidity is None:
        reader.refuse(
            (*place, "value"),
            "a vapour rate needs the humidity of its test",
            "add 'humidity: 90 %' of the wet side, and 'humidity_far' when the other was not dry",
        )
        return None
    drop = row.humidity.value - (row.humidity_far.value if row.humidity_far else 0.0)
    if drop <= 0:
        reader.refuse(
            (*place, "humidity"),
            "must be larger than the humidity on the far side",
            "the wet side comes first",
        )
        return None
    pressure = float(saturation_pressure(row.temperature.value)) * drop
    return float(row.value.value / MOLAR_MASS["H2O"] / pressure)


def build_parts(
    package: given.Package, walls: Mapping[str, given.Wall] | None, base: Path, reader: Reader
) -> tuple[dict[str, Part], dict[str, tuple[Surface, float]]]:
    """Parts by name, and for wall parts their surface and thickness ratio (for the plausibility checks)."""
    parts: dict[str, Part] = {}
    surfaces: dict[str, tuple[Surface, float]] = {}
    for name, part in package.parts.items():
        if isinstance(part, given.ClosurePart):
            parts[name] = build_closure(name, part, reader)
        elif isinstance(part, given.HolePart):
            parts[name] = build_hole(name, part)
        else:
            surface = surface_of(name, part, base, reader)
            wall = walls.get(part.wall) if walls else None
            ratio = thickness_ratio(("package", "parts", name), part, wall, reader)
            if surface is None or ratio is None:
                continue
            for note in surface.notes:
                (reader.warn if "?" in note else reader.assume)(f"part '{name}': {note}")
            parts[name] = build_wall_part(name, part, surface, ratio)
            surfaces[name] = (surface, ratio)
    return parts, surfaces


def find_material(
    catalog: Catalog, name: str, place: Location, reader: Reader, known: dict[str, Material]
) -> None:
    """Look ``name`` up once and note it in ``known``; an unknown name is a problem at ``place``."""
    if name in known:
        return
    try:
        known[name] = catalog.material(name)
    except MaterialError as error:
        reader.refuse(place, error.message, error.hint)
    except InputError as error:
        reader.problems += [p for p in error.problems if p not in reader.problems]

"""``package`` and ``walls``: surfaces, closures and holes as the simulation takes them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from optimizer.catalog import Catalog
from optimizer.constants import MOLAR_MASS
from optimizer.errors import InputError, MaterialError
from optimizer.geometry.shapes import scaled
from optimizer.physics.material import Material
from optimizer.physics.water import saturation_pressure
from optimizer.project import schema_package as given
from optimizer.project.build_closures import build_holes
from optimizer.project.build_mesh import Meshes, build_mesh_part
from optimizer.project.build_openings import build_opening, openings_are_covered
from optimizer.project.build_regions import names_of_regions_are_free
from optimizer.project.build_shape import build_shape_part
from optimizer.project.build_thickness import Built, Tables
from optimizer.project.build_thickness import is_file as is_file
from optimizer.project.build_thickness import nominal_thickness as nominal_thickness
from optimizer.project.check_usual import permeability_is_usual, pressure_is_usual
from optimizer.project.reader import Reader
from optimizer.project.source import Location
from optimizer.shelflife.package import (
    ClosurePart,
    GivenConductance,
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


def build_wall_part(name: str, built: Built) -> WallPart:
    return WallPart(
        name,
        built.wall,
        scaled(built.surface, built.ratio).patches,
        built.surface.unevenness,
        sealed=built.sealed,
        fitted=built.fitted,
    )


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
    pressure_is_usual(f"part '{place[2]}'", row.gas, row.partial_pressure, reader)
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
) -> tuple[dict[str, Part], dict[str, Built]]:
    """Parts by name, and those made of a wall as built (for the plausibility checks)."""
    parts: dict[str, Part] = {}
    surfaces: dict[str, Built] = {}
    meshes, tables = Meshes(base, reader), Tables(base, reader)
    names_of_regions_are_free(package, reader)
    for name, part in package.parts.items():
        if isinstance(part, given.ClosurePart):
            parts[name] = build_closure(name, part, reader)
        elif isinstance(part, given.HolePart):
            parts |= build_holes(name, part)
        elif isinstance(part, given.SealPart):
            continue  # needs the materials: see build_closures
        else:
            for key, built in _build_walls_of(name, part, package, walls or {}, meshes, tables, reader):
                surfaces[key] = built
                parts[key] = build_wall_part(key, built)
    openings_are_covered(package, meshes, reader)
    return parts, surfaces


def _build_walls_of(
    name: str,
    part: given.WallPart,
    package: given.Package,
    walls: Mapping[str, given.Wall],
    meshes: Meshes,
    tables: Tables,
    reader: Reader,
) -> list[tuple[str, Built]]:
    """A part that is made of a wall, and the regions of a mesh."""
    if isinstance(part, given.MeshPart):
        return list(build_mesh_part(name, part, walls, meshes, tables, reader).items())
    if isinstance(part, given.OpeningPart):
        single = build_opening(name, part, package, meshes, walls, reader)
    else:
        single = build_shape_part(name, part, walls, tables, reader)
    return [] if single is None else [(name, single)]


def find_material(
    catalog: Catalog, name: str, place: Location, reader: Reader, known: dict[str, Material]
) -> None:
    """Look ``name`` up once and note it in ``known``; an unknown name is a problem at ``place``."""
    if name in known:
        return
    try:
        known[name] = catalog.material(name)
        permeability_is_usual(known[name], catalog, reader)
    except MaterialError as error:
        reader.refuse(place, error.message, error.hint)
    except InputError as error:
        reader.problems += [p for p in error.problems if p not in reader.problems]

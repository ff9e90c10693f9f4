"""Parts drawn as a mesh: the file read once, then the surfaces of the part and of its regions."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.errors import GeometryError
from optimizer.geometry.pieces import LocalThickness, Pieces
from optimizer.geometry.shapes import scaled
from optimizer.geometry.surface import Patch, Surface
from optimizer.project import schema_package as given
from optimizer.project.build_thickness import (
    NO_FILE,
    Built,
    Tables,
    is_field,
    is_file,
    mean_is_near_the_wall,
    nominal_thickness,
    of_pieces,
    one_ratio,
    refuse_each,
    say,
)
from optimizer.project.mesh_checks import drawn_is_near_listed, with_room_of
from optimizer.project.mesh_portions import Portion, Walls, divided, thickness_of, thicknesses_of, ways_of
from optimizer.project.reader import Reader
from optimizer.project.schema_thickness import BetweenFaces
from optimizer.project.source import Location

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh
    from optimizer.geometry.mesh.solids import Shows


@dataclass
class Meshes:
    """The meshes that the parts of a package name; each file is read and cleaned once."""

    base: Path
    reader: Reader
    known: dict[tuple[Path, float, Shows | None], Mesh | GeometryError] = field(default_factory=dict)

    def of_part(self, part: given.MeshPart, place: Location) -> tuple[Mesh | None, Mesh | None]:
        """The mesh of the part at ``place``, and that of the inner face of its wall where that is a file of
        its own; None also for one with a problem, which is noted."""
        mesh = self.read(part.mesh, part.unit, part.shows, (*place, "mesh"))
        inner = self.read(part.inner, part.unit, part.shows, (*place, "inner")) if part.inner else None
        return mesh, inner

    def read(self, file: str, unit: float, shows: Shows | None, place: Location) -> Mesh | None:
        """The mesh in ``file``, or None with the problem noted at ``place``."""
        path = self.base / file
        if not is_file(path):
            self.reader.refuse(place, *NO_FILE)
            return None
        if (path, unit, shows) not in self.known:
            self.known[path, unit, shows] = self._load(path, unit, shows)
        found = self.known[path, unit, shows]
        if isinstance(found, GeometryError):
            refuse_each(found, place, self.reader)
            return None
        return found

    def _load(self, path: Path, unit: float, shows: Shows | None) -> Mesh | GeometryError:
        from optimizer.geometry.mesh.load import load

        try:
            return load(path, unit, shows, self.reader.contents.read)
        except GeometryError as error:
            return error


def build_mesh_part(
    name: str, part: given.MeshPart, walls: Walls, meshes: Meshes, tables: Tables, reader: Reader
) -> dict[str, Built]:
    """The part and its regions by name; whatever is wrong is noted, and then something is missing."""
    from optimizer.geometry.mesh.pieces import whole_surface

    place: Location = ("package", "parts", name)
    for thickness, at in thicknesses_of(place, part):
        tables.read(thickness, at)
    mesh, inner = meshes.of_part(part, place)
    if mesh is None or (part.inner and inner is None):
        return {}
    between = any(isinstance(way, BetweenFaces) for way in ways_of(part))
    if inner is not None and not between:
        reader.warn(f"part '{name}': {inner.name} is not used, for its thickness is given otherwise")
    whole = whole_surface(mesh, part.dimensions)
    say(name, whole.notes, whole.warnings, reader)
    if not part.regions and not is_field(thickness_of(part)):
        ratio = one_ratio(place, part, walls.get(part.wall), reader)
        built = {} if ratio is None else {name: Built(name, place, part.wall, whole, ratio)}
    else:
        room = with_room_of(whole, inner if between else None)
        built = _built_in_pieces(name, part, (mesh, inner), room, walls, tables, reader)
    drawn_is_near_listed(name, mesh, built, walls, reader)
    return built


def _built_in_pieces(
    name: str,
    part: given.MeshPart,
    drawn: tuple[Mesh, Mesh | None],
    whole: Surface,
    walls: Walls,
    tables: Tables,
    reader: Reader,
) -> dict[str, Built]:
    """The part and its regions from the faces of its mesh. drawn: see ``divided``; whole: the surface of the
    mesh."""
    faces = divided(name, part, drawn, walls, tables, reader)
    local = {p.name: faces.fields.of(p, faces.portions) for p in faces.portions}
    built = {}
    for i, portion in enumerate(faces.portions):
        volume = whole.volume if i == 0 or whole.volume is None else 0.0
        made = _build(name, portion, faces.pieces, local[portion.name], (whole, volume), walls, reader)
        if made is not None:
            built[portion.name] = made
    return _sealed(name, part, built, reader)


def _sealed(name: str, part: given.MeshPart, built: dict[str, Built], reader: Reader) -> dict[str, Built]:
    """Regions under a seal become a share of their part that weighs and lets nothing through."""
    under = {key: built.pop(key) for key, region in part.regions.items() if region.sealed and key in built}
    if not under:
        return built
    if name not in built:
        reader.refuse(
            ("package", "parts", name, "regions", next(iter(under))),
            "lies under a seal, and its part has no other wall that it belongs to",
            "leave a piece of the mesh to the part itself",
        )
        return built
    patches = tuple(p for one in under.values() for p in scaled(one.surface, one.ratio).patches)
    for key, one in under.items():
        reader.assume(
            f"part '{name}': its region '{key}', {one.surface.area() * 1e4:.4g} cm2, lies under the seal: it "
            "weighs, and nothing passes it"
        )
    return built | {name: dataclasses.replace(built[name], sealed=patches)}


def _build(
    part: str,
    portion: Portion,
    pieces: Pieces,
    local: LocalThickness | None,
    whole: tuple[Surface, float | None],
    walls: Walls,
    reader: Reader,
) -> Built | None:
    """whole: the surface of the whole mesh, and the volume [m3] that this portion of it carries."""
    from optimizer.geometry.fields import field_surface

    surface, volume = whole
    wall = walls.get(portion.wall)
    some = pieces.take(portion.chosen)
    fitted = portion.name != part
    # every portion takes room for its own wall
    inside = surface.volume_slope * float(some.area.sum() / pieces.area.sum())
    if local is None:
        if is_field(portion.thickness) or portion.ratio is None:
            return None
        patch = Patch(float(some.area.sum()), 1.0, float(some.slope.sum()), float(some.curvature.sum()))
        even = Surface((patch,), volume, inside, (), surface.largest_thickness)
        return Built(part, portion.place, portion.wall, even, portion.ratio, fitted=fitted)
    if wall is None or portion.ratio is None:
        return None
    try:
        made = field_surface(
            some,
            of_pieces(local, portion.chosen),
            nominal_thickness(wall),
            volume=volume,
            volume_rate=inside,
            largest_thickness=surface.largest_thickness,
        )
    except GeometryError as error:
        reader.refuse(portion.thick_place, f"part '{portion.name}': {error.message}", error.hint)
        return None
    say(portion.name, made.notes, made.warnings, reader)
    built = Built(part, portion.place, portion.wall, made, measured=True, fitted=fitted)
    near = mean_is_near_the_wall(built, local.method, wall, portion.thick_place, reader)
    return built if near else None

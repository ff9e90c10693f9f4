"""Parts drawn as a mesh: the file read once, its regions, the thickness of each, and pieces over openings."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.pieces import LocalThickness, Pieces
from optimizer.geometry.shapes import scaled
from optimizer.geometry.surface import Patch, Surface
from optimizer.project import schema_package as given
from optimizer.project.build_regions import owners, rules_of, say_rules
from optimizer.project.build_thickness import (
    NO_FILE,
    Built,
    Tables,
    is_field,
    is_file,
    keys_of,
    local_thickness,
    mean_is_near_the_wall,
    nominal_thickness,
    of_pieces,
    one_ratio,
    refuse_each,
    say,
)
from optimizer.project.mesh_checks import drawn_is_near_listed, regions_have_both_faces, with_room_of
from optimizer.project.reader import Reader
from optimizer.project.schema_mesh import Region
from optimizer.project.schema_thickness import BetweenFaces, TableFile, Thickness
from optimizer.project.source import Location

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh
    from optimizer.geometry.mesh.solids import Shows

Chosen = NDArray[np.bool_]
Walls = Mapping[str, given.Wall]

#: Largest face of a mesh whose thickness is told face by face, as a share of its size.
_FINE = 1.0 / 50.0


@dataclass
class Meshes:
    """The meshes that the parts of a package name; each file is read and cleaned once."""

    base: Path
    reader: Reader
    known: dict[tuple[Path, float, Shows | None], Mesh | GeometryError] = field(default_factory=dict)

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
            return load(path, unit, shows)
        except GeometryError as error:
            return error


@dataclass(frozen=True)
class _Portion:
    """Faces of a mesh that make one part: a region, or what the regions leave.

    place: where it stands; thick_place: the key of its thickness; chosen (m,): True for its faces.
    """

    name: str
    place: Location
    wall: str
    ratio: float | None
    thickness: Thickness | None
    thick_place: Location
    chosen: Chosen


def build_mesh_part(
    name: str, part: given.MeshPart, walls: Walls, meshes: Meshes, tables: Tables, reader: Reader
) -> dict[str, Built]:
    """The part and its regions by name; whatever is wrong is noted, and then something is missing."""
    from optimizer.geometry.mesh.pieces import whole_surface

    place: Location = ("package", "parts", name)
    for thickness, at in _thicknesses(place, part):
        tables.read(thickness, at)
    mesh = meshes.read(part.mesh, part.unit, part.shows, (*place, "mesh"))
    inner = meshes.read(part.inner, part.unit, part.shows, (*place, "inner")) if part.inner else None
    if mesh is None or (part.inner and inner is None):
        return {}
    between = any(isinstance(way, BetweenFaces) for way in _ways(part))
    if inner is not None and not between:
        reader.warn(f"part '{name}': {inner.name} is not used, for its thickness is given otherwise")
    whole = whole_surface(mesh, part.dimensions)
    say(name, whole.notes, whole.warnings, reader)
    if not part.regions and not is_field(_thickness_of(part)):
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
    """The mesh face by face. drawn: the mesh, and the inner face of its wall where that is a file of its own;
    whole: the surface of the mesh."""
    from optimizer.geometry.mesh.cutting import finer
    from optimizer.geometry.mesh.pieces import pieces_of, turning, upright
    from optimizer.geometry.mesh.regions import cut_for

    place: Location = ("package", "parts", name)
    mesh, inner = drawn
    up = upright(mesh, part.up)
    if part.up is None:
        reader.assume(f"part '{name}': {up.said}")
    rules = rules_of(part)
    if rules:
        mesh = cut_for(mesh, up, rules)
    if any(is_field(way) for way in _ways(part)):
        mesh = finer(mesh, max(mesh.facts.size) * _FINE)
    pieces = pieces_of(mesh, up, part.dimensions)
    owner = owners(place, mesh, pieces, rules, reader)
    if owner is not None:
        say_rules(name, mesh, pieces, rules, reader)
        regions_have_both_faces(name, part, mesh, owner, reader)
    portions = [] if owner is None else _portions(name, place, part, owner, walls, reader)
    fields = _Fields(name, mesh, inner, pieces, turning(mesh, up), tables, reader)
    local = {p.name: fields.of(p, portions) for p in portions}
    built = {}
    for i, portion in enumerate(portions):
        volume = whole.volume if i == 0 or whole.volume is None else 0.0
        made = _build(name, portion, pieces, local[portion.name], (whole, volume), walls, reader)
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


def _ways(part: given.MeshPart) -> list[Thickness | None]:
    """How the thickness of the part and of its regions is told."""
    return [_thickness_of(part), *(region.thickness for region in part.regions.values())]


def _thicknesses(place: Location, part: given.MeshPart) -> Iterator[tuple[Thickness | None, Location]]:
    yield part.thickness, (*place, "thickness")
    for key, region in part.regions.items():
        yield region.thickness, (*place, "regions", key, "thickness")


def _thickness_of(part: given.MeshPart) -> Thickness | None:
    """As given; the second face of a wall is there to tell its thickness."""
    if part.inner and part.thickness is None and part.thickness_ratio is None:
        return BetweenFaces()
    return part.thickness


# -- regions -------------------------------------------------------------------------------------------------


def _portions(
    name: str,
    place: Location,
    part: given.MeshPart,
    owner: NDArray[np.int64],
    walls: Walls,
    reader: Reader,
) -> list[_Portion]:
    """What the regions leave, if anything, then the regions."""
    portions = []
    rest = owner < 0
    if rest.any():
        ratio = one_ratio(place, part, walls.get(part.wall), reader)
        thickness, at = _thickness_of(part), (*place, "thickness" if part.thickness else "inner")
        portions.append(_Portion(name, place, part.wall, ratio, thickness, at, rest))
    else:
        reader.assume(f"part '{name}': its regions take the whole mesh, and it has no wall of its own")
    for i, (key, region) in enumerate(part.regions.items()):
        portions.append(_portion(key, region, place, part, owner == i, walls, reader))
    return portions


def _portion(
    key: str,
    region: Region,
    place: Location,
    part: given.MeshPart,
    chosen: Chosen,
    walls: Walls,
    reader: Reader,
) -> _Portion:
    """A region; without a thickness of its own it takes the part's, but not that of another wall."""
    here = (*place, "regions", key)
    wall = region.wall or part.wall
    own = region.thickness is not None or region.thickness_ratio is not None
    thickness = region.thickness if own else _thickness_of(part)
    at = (*here, "thickness") if own else (*place, "thickness" if part.thickness else "inner")
    if own:
        ratio = one_ratio(here, region, walls.get(wall), reader)
    elif is_field(thickness) or wall != part.wall:
        ratio = 1.0
    else:
        ratio = one_ratio(place, part, walls.get(wall), reader)
    return _Portion(key, here, wall, ratio, thickness, at, chosen)


# -- thickness -----------------------------------------------------------------------------------------------


@dataclass
class _Fields:
    """Local thickness of the pieces of one mesh; each way of telling it is gone once.

    angles: how they turn, in words.
    """

    name: str
    mesh: Mesh
    inner: Mesh | None
    pieces: Pieces
    angles: str
    tables: Tables
    reader: Reader
    known: dict[Location, LocalThickness | None] = field(default_factory=dict)

    def of(self, portion: _Portion, portions: list[_Portion]) -> LocalThickness | None:
        """Thickness at every piece of the mesh, NaN where it was not looked for; None where it is one
        thickness, or with the problem noted."""
        if portion.thickness is None or not is_field(portion.thickness):
            return None
        at = portion.thick_place
        if at not in self.known:
            users = [p.chosen for p in portions if p.thick_place == at]
            self.known[at] = self._told(portion, np.logical_or.reduce(users))
        return self.known[at]

    def _told(self, portion: _Portion, chosen: Chosen) -> LocalThickness | None:
        thickness = portion.thickness
        assert thickness is not None
        try:
            if isinstance(thickness, BetweenFaces):
                local = self._between(portion.thick_place)
            elif isinstance(thickness, TableFile) or hasattr(thickness, "heights"):
                table = self.tables.read(thickness, portion.thick_place)
                if table is not None and "angle" in table.columns:
                    self.reader.assume(f"part '{self.name}': {self.angles}")
                some = local_thickness(thickness, table, self.pieces.take(chosen), self.pieces)
                local = None if some is None else _spread_over(some, chosen)
            else:  # a process shapes the whole part
                local = local_thickness(thickness, None, self.pieces)
        except GeometryError as error:
            of_inner = error.field == "inner" and self.inner is not None
            place = ("package", "parts", self.name, "inner") if of_inner else portion.thick_place
            refuse_each(error, place, self.reader, keys_of(thickness))
            return None
        if local is not None:
            say(self.name, local.notes, local.warnings, self.reader)
        return local

    def _between(self, place: Location) -> LocalThickness | None:
        from optimizer.geometry.mesh.rays import between_faces

        if self.mesh.kind == "surface" and self.inner is None:
            self.reader.refuse(
                place,
                f"'between faces' needs both faces of the wall, and {self.mesh.name} is one surface",
                "add 'inner: FILE' with the inner face, or export the solid of the wall; if it is one, write "
                "'shows: both faces'",
            )
            return None
        return between_faces(self.mesh, self.inner)


def _spread_over(some: LocalThickness, chosen: Chosen) -> LocalThickness:
    """The thickness of the chosen pieces in an array of all."""
    thickness = np.full(len(chosen), np.nan)
    thickness[chosen] = some.thickness
    counted = None
    if some.counted is not None:
        counted = np.ones(len(chosen), dtype=bool)
        counted[chosen] = some.counted
    return LocalThickness(thickness, some.method, some.estimate, some.notes, some.warnings, counted)


def _build(
    part: str,
    portion: _Portion,
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
    # every portion takes room for its own wall
    inside = surface.volume_slope * float(some.area.sum() / pieces.area.sum())
    if local is None:
        if is_field(portion.thickness) or portion.ratio is None:
            return None
        patch = Patch(float(some.area.sum()), 1.0, float(some.slope.sum()), float(some.curvature.sum()))
        even = Surface((patch,), volume, inside, (), surface.largest_thickness)
        return Built(part, portion.place, portion.wall, even, portion.ratio)
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
    built = Built(part, portion.place, portion.wall, made, measured=True)
    near = mean_is_near_the_wall(built, local.method, wall, portion.thick_place, reader)
    return built if near else None

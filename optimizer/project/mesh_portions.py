"""A part drawn as a mesh, face by face: its regions, and how thick the wall is at each face."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.pieces import LocalThickness, Pieces
from optimizer.project import schema_package as given
from optimizer.project.build_regions import owners, rules_of, say_rules
from optimizer.project.build_thickness import (
    Tables,
    is_field,
    keys_of,
    local_thickness,
    one_ratio,
    refuse_each,
    say,
)
from optimizer.project.mesh_checks import regions_have_both_faces
from optimizer.project.reader import Reader
from optimizer.project.schema_mesh import Region
from optimizer.project.schema_thickness import BetweenFaces, TableFile, Thickness
from optimizer.project.source import Location

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh, Upright

Chosen = NDArray[np.bool_]
Walls = Mapping[str, given.Wall]

#: Largest face of a mesh whose thickness is told face by face, as a share of its size.
_FINE = 1.0 / 50.0


@dataclass(frozen=True)
class Portion:
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


@dataclass(frozen=True)
class Divided:
    """A mesh cut along the borders of its regions, with faces small enough for what is told of each.

    portions: of its faces; none, with the problem noted, where the regions do not part them. fields: how
    thick the wall is there.
    """

    mesh: Mesh
    up: Upright
    pieces: Pieces
    portions: list[Portion]
    fields: Fields


def divided(
    name: str,
    part: given.MeshPart,
    drawn: tuple[Mesh, Mesh | None],
    walls: Walls,
    tables: Tables,
    reader: Reader,
) -> Divided:
    """The mesh of a part face by face. drawn: the mesh, and that of the inner face of its wall where that is
    a file of its own."""
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
    if any(is_field(way) for way in ways_of(part)):
        mesh = finer(mesh, max(mesh.facts.size) * _FINE)
    pieces = pieces_of(mesh, up, part.dimensions)
    owner = owners(place, mesh, pieces, rules, reader)
    if owner is not None:
        say_rules(name, mesh, pieces, rules, reader)
        regions_have_both_faces(name, part, mesh, owner, reader)
    portions = [] if owner is None else _portions(name, place, part, owner, walls, reader)
    fields = Fields(name, mesh, inner, pieces, turning(mesh, up), tables, reader)
    return Divided(mesh, up, pieces, portions, fields)


def ways_of(part: given.MeshPart) -> list[Thickness | None]:
    """How the thickness of the part and of its regions is told."""
    return [thickness_of(part), *(region.thickness for region in part.regions.values())]


def thicknesses_of(place: Location, part: given.MeshPart) -> Iterator[tuple[Thickness | None, Location]]:
    """Thickness of the part and of each region as the file gives it, with its key."""
    yield part.thickness, (*place, "thickness")
    for key, region in part.regions.items():
        yield region.thickness, (*place, "regions", key, "thickness")


def thickness_of(part: given.MeshPart) -> Thickness | None:
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
) -> list[Portion]:
    """What the regions leave, if anything, then the regions."""
    portions = []
    rest = owner < 0
    if rest.any():
        ratio = one_ratio(place, part, walls.get(part.wall), reader)
        thickness, at = thickness_of(part), (*place, "thickness" if part.thickness else "inner")
        portions.append(Portion(name, place, part.wall, ratio, thickness, at, rest))
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
) -> Portion:
    """A region; without a thickness of its own it takes the part's, but not that of another wall."""
    here = (*place, "regions", key)
    wall = region.wall or part.wall
    own = region.thickness is not None or region.thickness_ratio is not None
    thickness = region.thickness if own else thickness_of(part)
    at = (*here, "thickness") if own else (*place, "thickness" if part.thickness else "inner")
    if own:
        ratio = one_ratio(here, region, walls.get(wall), reader)
    elif is_field(thickness) or wall != part.wall:
        ratio = 1.0
    else:
        ratio = one_ratio(place, part, walls.get(wall), reader)
    return Portion(key, here, wall, ratio, thickness, at, chosen)


# -- thickness -----------------------------------------------------------------------------------------------


@dataclass
class Fields:
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

    def of(self, portion: Portion, portions: list[Portion]) -> LocalThickness | None:
        """Thickness at every piece of the mesh, NaN where it was not looked for; None where it is one
        thickness, or with the problem noted."""
        if portion.thickness is None or not is_field(portion.thickness):
            return None
        at = portion.thick_place
        if at not in self.known:
            users = [p.chosen for p in portions if p.thick_place == at]
            self.known[at] = self._told(portion, np.logical_or.reduce(users))
        return self.known[at]

    def _told(self, portion: Portion, chosen: Chosen) -> LocalThickness | None:
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

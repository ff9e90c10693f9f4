"""Parts with a simple shape or a plain area: their surface, with one thickness or one from place to place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from optimizer.errors import GeometryError
from optimizer.geometry.shapes import SHAPES, each
from optimizer.geometry.surface import Patch, Surface
from optimizer.project import schema_package as given
from optimizer.project.build_thickness import (
    Built,
    Tables,
    is_field,
    keys_of,
    local_thickness,
    mean_is_near_the_wall,
    nominal_thickness,
    one_ratio,
    refuse_each,
    say,
)
from optimizer.project.reader import Reader
from optimizer.project.schema_thickness import BetweenFaces
from optimizer.project.source import Location
from optimizer.project.thickness_table import ThicknessTable


def build_shape_part(
    name: str, part: Any, walls: Mapping[str, given.Wall], tables: Tables, reader: Reader
) -> Built | None:
    """A part with a shape or a plain area, or None with the problems noted."""
    place: Location = ("package", "parts", name)
    wall = walls.get(part.wall)
    ratio = one_ratio(place, part, wall, reader)
    table = tables.read(part.thickness, (*place, "thickness"))
    try:
        sizes = {} if isinstance(part, given.AreaPart) else _sizes(place, part, reader)
        surface = None if sizes is None else _surface(part, sizes)
    except GeometryError as error:
        _refuse_sizes(error, place, part, reader)
        return None
    if surface is None or sizes is None or ratio is None:
        return None
    room = _has_room(part)
    if not is_field(part.thickness):
        say(name, surface.notes, surface.warnings, reader)
        return Built(name, place, part.wall, surface, ratio, room=room)
    return _uneven(name, part, sizes, surface, table, wall, reader)


def _surface(part: Any, sizes: Mapping[str, Any]) -> Surface:
    if isinstance(part, given.AreaPart):
        return Surface((Patch(part.area.value),))
    made: Surface = SHAPES[part.shape].function(**sizes, dimensions=part.dimensions)
    return made


def _uneven(
    name: str,
    part: Any,
    sizes: Mapping[str, Any],
    surface: Surface,
    table: ThicknessTable | None,
    wall: given.Wall | None,
    reader: Reader,
) -> Built | None:
    """A part whose thickness changes along its height."""
    from optimizer.geometry.bands import bands_of
    from optimizer.geometry.fields import field_surface

    place: Location = ("package", "parts", name)
    at = (*place, "thickness")
    what = "a plain area" if isinstance(part, given.AreaPart) else f"the shape '{part.shape}'"
    if isinstance(part.thickness, BetweenFaces):
        reader.refuse(at, f"{what} has no faces to measure between", "'between faces' is for a mesh")
        return None
    if table is not None and "height" not in table.columns:
        said = f"{table.name} has places x, y, z, and {what} has only heights"
        reader.refuse(at, said, "give a table by height, or by height and angle, or draw the part as a mesh")
        return None
    try:
        area = isinstance(part, given.AreaPart)
        bands = None if area else bands_of(part.shape, dict(sizes), part.dimensions)
        if bands is None:
            hint = "such as '480 um', or thickness_ratio"
            reader.refuse(at, f"{what} has no height, so it has one thickness", hint)
            return None
        local = local_thickness(part.thickness, table, bands)
        if local is None or wall is None:
            return None
        made = field_surface(
            bands,
            local,
            nominal_thickness(wall),
            volume=surface.volume,
            volume_rate=surface.volume_slope,
            largest_thickness=surface.largest_thickness,
            notes=surface.notes,
            warnings=surface.warnings,
        )
    except GeometryError as error:
        keys = {key: ("thickness", *below) for key, below in keys_of(part.thickness).items()}
        sized = {key: (_as_written(part, key),) for key in sizes}
        refuse_each(error, place, reader, {**sized, "thickness": ("thickness",), **keys, "": ("thickness",)})
        return None
    say(name, made.notes, made.warnings, reader)
    built = Built(name, place, part.wall, made, measured=True, room=_has_room(part))
    return built if mean_is_near_the_wall(built, local.method, wall, at, reader) else None


def _has_room(part: given.WallPart) -> bool:
    """No plain area and no pouch; a disc closes a body and adds no room, which is known."""
    if isinstance(part, given.AreaPart):
        return False
    shape = getattr(part, "shape", "")
    return shape == "disc" or SHAPES[shape].encloses


def _sizes(place: Location, part: Any, reader: Reader) -> dict[str, Any] | None:
    """Keywords of the shape's function, or None with the problem noted."""
    spec = SHAPES[part.shape]
    sizes = {n: getattr(part, n) for n in spec.parameters if getattr(part, n) is not None}
    for other, meant in spec.aliases.items():
        if getattr(part, other) is None:
            continue
        if meant in sizes:
            reader.refuse((*place, other), f"says the same as '{meant}'", "keep one of them", key=True)
            return None
        sizes[meant] = getattr(part, other)
    return sizes


def _refuse_sizes(error: GeometryError, place: Location, part: given.WallPart, reader: Reader) -> None:
    for single in each(error):
        known = single.field and single.field in type(part).model_fields
        written = _as_written(part, single.field) if known else ""
        reader.refuse((*place, written) if written else place, single.message, single.hint)


def _as_written(part: Any, field: str) -> str:
    """The key under which the user gave ``field``."""
    if getattr(part, field, None) is None and hasattr(part, "shape"):
        for other, meant in SHAPES[part.shape].aliases.items():
            if meant == field and getattr(part, other, None) is not None:
                return other
    return field

"""The key ``thickness`` of a part: one ratio to its wall, or local thickness from a table or a process."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError, InputError
from optimizer.geometry.checks import each
from optimizer.geometry.pieces import LocalThickness, Pieces
from optimizer.geometry.surface import Patch, Surface
from optimizer.geometry.words import mm
from optimizer.project import schema_package as given
from optimizer.project.reader import Reader
from optimizer.project.schema_mesh import Region
from optimizer.project.schema_thickness import (
    DrawDown,
    Heights,
    Preform,
    Sheet,
    Stretch,
    TableFile,
    Thickness,
)
from optimizer.project.source import Location
from optimizer.project.thickness_table import ThicknessTable, read_thickness
from optimizer.units import Quantity

#: The mean of a field may differ from the wall as listed by this share before it is said.
MEAN_APART = 0.20
#: A mean thickness this many times the wall as listed, or its inverse, is a unit slip.
UNIT_SLIP = 100.0

_OWN = "if the table is not meant for this part, give it a thickness of its own"

NO_FILE = "there is no such file", "paths are relative to the project file"


@dataclass(frozen=True)
class Built:
    """A part made of a wall, as built.

    part: its key under package.parts (that of the mesh for a region); place: where it stands; wall: name of
    its wall; surface: at ratio 1; ratio: what every thickness of the surface is multiplied by; measured:
    whether its local thickness was given in lengths; room: whether it is known what its surface holds.
    sealed: patches of the same wall under a seal, with their own ratios. fitted: see ``WallPart``.
    """

    part: str
    place: Location
    wall: str
    surface: Surface
    ratio: float = 1.0
    measured: bool = False
    room: bool = True
    sealed: tuple[Patch, ...] = ()
    fitted: bool = False


def is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def nominal_thickness(wall: given.Wall) -> float:
    """Thickness of all layers [m]."""
    return sum(layer.thickness.value for layer in wall.layers)


def is_field(thickness: Thickness | None) -> bool:
    """Whether a thickness is given from place to place."""
    return thickness is not None and not isinstance(thickness, Quantity)


def one_ratio(
    place: Location,
    part: given.WallPart | Region,
    wall: given.Wall | None,
    reader: Reader,
) -> float | None:
    """Thickness of a part over the nominal one; None when it cannot be said. For a field it is 1."""
    if part.thickness is None:
        return 1.0 if part.thickness_ratio is None else part.thickness_ratio
    if part.thickness_ratio is not None:
        reader.refuse(
            (*place, "thickness"), "cannot stand beside thickness_ratio", "keep one of them", key=True
        )
        return None
    if not isinstance(part.thickness, Quantity):
        return 1.0
    return part.thickness.value / nominal_thickness(wall) if wall else None


@dataclass
class Tables:
    """Tables of local thickness; each file is read once, and its problems are told once."""

    base: Path
    reader: Reader
    known: dict[Path, ThicknessTable | None] = dataclasses.field(default_factory=dict)

    def read(self, thickness: Thickness | None, place: Location) -> ThicknessTable | None:
        """The table behind ``thickness``, None where it is none or cannot be read."""
        if not isinstance(thickness, TableFile):
            return None
        path = self.base / thickness.path
        if not is_file(path):
            self.reader.refuse(place, *NO_FILE)
            return None
        if path not in self.known:
            self.known[path] = self._read(path)
        return self.known[path]

    def _read(self, path: Path) -> ThicknessTable | None:
        try:
            table = read_thickness(path, self.reader.contents.read)
        except InputError as error:
            self.reader.problems += [p for p in error.problems if p not in self.reader.problems]
            return None
        if table.ignored:
            columns = ", ".join(f"'{heading}'" for heading in table.ignored)
            self.reader.assume(f"{path.name}: columns that are not used: {columns}")
        return table


def local_thickness(
    thickness: Thickness, table: ThicknessTable | None, pieces: Pieces, whole: Pieces | None = None
) -> LocalThickness | None:
    """Local thickness of pieces from a table or a process; None without its table. Raises GeometryError.

    whole: all pieces of the part, where ``pieces`` are some of them.
    """
    if isinstance(thickness, Stretch):
        return _stretched(thickness.stretch, pieces)
    if isinstance(thickness, DrawDown):
        return _drawn(thickness.draw_down, pieces)
    from optimizer.geometry import local

    if isinstance(thickness, Heights):
        rows = np.array(thickness.heights)
        return local.by_height(pieces, rows[:, 0], rows[:, 1], whole)
    if table is None:
        return None
    if table.columns == ("height",):
        found = local.by_height(pieces, table.places[:, 0], table.thickness, whole)
    elif table.columns == ("height", "angle"):
        heights, angles = table.places.T
        found = local.by_height_and_angle(pieces, heights, angles, table.thickness, whole)
    else:
        found = local.by_points(pieces, table.places, table.thickness, whole)
    return dataclasses.replace(found, method=f"{found.method}, {table.name}")


def _stretched(preform: Preform, pieces: Pieces) -> LocalThickness:
    from optimizer.geometry.stretch import stretched

    optional = {"length": preform.length, "support_ring": preform.support_ring, "mass": preform.mass}
    optional["density"] = preform.density
    values = {key: quantity.value for key, quantity in optional.items() if quantity is not None}
    return stretched(pieces, thickness=preform.thickness, diameter=preform.diameter.value, **values)


def _drawn(sheet: Sheet, pieces: Pieces) -> LocalThickness:
    from optimizer.geometry.drawdown import drawn

    return drawn(
        pieces,
        sheet=sheet.sheet.value,
        opening_area=sheet.opening_area.value if sheet.opening_area else None,
        free_sheet=sheet.free_sheet,
        corner_radius=sheet.corner_radius.value if sheet.corner_radius else 0.0,
        plug_assist=sheet.plug_assist,
    )


def keys_of(thickness: Thickness) -> dict[str, Location]:
    """Names of the fields of a process model to the keys below ``thickness``, for its faults."""
    if isinstance(thickness, Stretch):
        return {"stretch": ("stretch",)} | {name: ("stretch", name) for name in Preform.model_fields}
    if isinstance(thickness, DrawDown):
        return {"draw-down": ("draw-down",)} | {name: ("draw-down", name) for name in Sheet.model_fields}
    return {}


def of_pieces(local: LocalThickness, chosen: NDArray[np.bool_]) -> LocalThickness:
    """The thickness of some of the pieces, without what was said about all."""
    counted = None if local.counted is None else local.counted[chosen]
    return dataclasses.replace(
        local, thickness=local.thickness[chosen], counted=counted, notes=(), warnings=()
    )


def say(name: str, notes: tuple[str, ...], warnings: tuple[str, ...], reader: Reader) -> None:
    """Notes of a part are assumptions, but one that asks a question is a warning."""
    for note in notes:
        (reader.warn if "?" in note else reader.assume)(f"part '{name}': {note}")
    for warning in warnings:
        reader.warn(f"part '{name}': {warning}")


def refuse_each(
    error: GeometryError, place: Location, reader: Reader, keys: Mapping[str, Location] | None = None
) -> None:
    """Note the faults in ``error`` at ``place``, or below it where ``keys`` has the field at fault."""
    for single in each(error):
        below = (keys or {}).get(single.field, ())
        reader.refuse((*place, *below), single.message, single.hint)


def mean_is_near_the_wall(
    built: Built, method: str, wall: given.Wall, place: Location, reader: Reader
) -> bool:
    """The mean of a field far from the layers as listed is said; very far, it is a unit slip: then False.

    place: of the key that tells the thickness, which may be that of the part around a region.
    """
    patches = built.surface.patches
    ratio = sum(p.area * p.ratio for p in patches) / sum(p.area for p in patches)
    listed = nominal_thickness(wall)
    said = (
        f"the mean of the local thickness ({method}) is {mm(ratio * listed)}, and the wall "
        f"'{built.wall}' as listed is {mm(listed)}"
    )
    if not 1.0 / UNIT_SLIP < ratio < UNIT_SLIP:
        reader.refuse(place, said, "check the units of both")
        return False
    if abs(ratio - 1.0) > MEAN_APART:
        said = f"part '{built.place[-1]}': {said}: every layer is scaled, by {ratio:.3g} in the mean"
        borrowed = place[: len(built.place)] != built.place and method.startswith("table")
        if borrowed and not any(_OWN in warning for warning in reader.warnings):
            said += f" ({_OWN})"
        reader.warn(said)
    return True

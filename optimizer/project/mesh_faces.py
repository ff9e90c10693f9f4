"""The mesh parts of a project face by face: to which part each face belongs, and how thick the wall is there.

A ``WallPart`` keeps only the thickness classes of what ``build_mesh`` finds, so the meshes are read anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.pieces import Array
from optimizer.project import schema_package as given
from optimizer.project.build_mesh import Meshes
from optimizer.project.build_thickness import Tables, is_field, nominal_thickness
from optimizer.project.load import Project
from optimizer.project.mesh_portions import Divided, Portion, Walls, divided
from optimizer.project.reader import Reader
from optimizer.project.schema import read_sections

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh, Upright


@dataclass(frozen=True)
class PartFaces:
    """A part that is drawn as a mesh. name: its key under package.parts; mesh: cut along the borders of its
    regions.

    parts: what it was split into, its own name first where it keeps faces; walls: of each. For each face
    (m,): owner: number into ``parts``; ratio: local thickness over that of its wall, NaN where that is not
    known or the face is no wall (the rim of a solid); area: mid-wall area [m2]; sealed: whether it lies under
    a seal.
    """

    name: str
    mesh: Mesh
    upright: Upright
    parts: tuple[str, ...]
    walls: tuple[str, ...]
    owner: NDArray[np.int64]
    ratio: Array
    area: Array
    sealed: NDArray[np.bool_]


def mesh_faces(project: Project) -> tuple[PartFaces, ...]:
    """Every part of the package that is drawn as a mesh, in the order of the project file."""
    sections, _ = read_sections(project.source)
    package, walls = sections.package, sections.walls
    if package is None or walls is None:
        return ()
    reader, base = Reader(project.source), project.path.parent
    meshes, tables = Meshes(base, reader), Tables(base, reader)
    drawn = {name: part for name, part in package.parts.items() if isinstance(part, given.MeshPart)}
    found = (_faces(name, part, walls, meshes, tables, reader) for name, part in drawn.items())
    return tuple(x for x in found if x is not None)


def _faces(
    name: str, part: given.MeshPart, walls: Walls, meshes: Meshes, tables: Tables, reader: Reader
) -> PartFaces | None:
    """None where a file is no longer there."""
    mesh, inner = meshes.of_part(part, ("package", "parts", name))
    if mesh is None:
        return None
    found = divided(name, part, (mesh, inner), walls, tables, reader)
    portions, pieces = found.portions, found.pieces
    if not portions:
        return None
    number = np.zeros(len(found.mesh.faces), dtype=np.int64)
    ratio, local = np.full(len(number), np.nan), np.zeros(len(number))
    for i, portion in enumerate(portions):
        chosen = portion.chosen
        number[chosen] = i
        ratio[chosen] = _ratio(portion, found, walls)
        local[chosen] = np.nan_to_num(ratio[chosen]) * nominal_thickness(walls[portion.wall])
    return PartFaces(
        name,
        found.mesh,
        found.up,
        tuple(p.name for p in portions),
        tuple(p.wall for p in portions),
        number,
        ratio,
        pieces.area + pieces.slope * local + pieces.curvature * local**2,
        np.isin(number, list(_sealed(part, portions))),
    )


def _ratio(portion: Portion, found: Divided, walls: Walls) -> Array | float:
    """Thickness of the faces of a portion over that of its wall; NaN where it is not known."""
    local = found.fields.of(portion, found.portions)
    if local is None:
        return np.nan if portion.ratio is None or is_field(portion.thickness) else portion.ratio
    counted = np.ones(len(portion.chosen), dtype=bool) if local.counted is None else local.counted
    thickness = np.where(counted, local.thickness, np.nan)[portion.chosen]
    return np.asarray(thickness / nominal_thickness(walls[portion.wall]), dtype=float)


def _sealed(part: given.MeshPart, portions: list[Portion]) -> Iterator[int]:
    for i, portion in enumerate(portions):
        region = part.regions.get(portion.name)
        if region is not None and region.sealed:
            yield i

"""Openings of meshes: flat pieces of a wall over them, and those that no part covers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.errors import GeometryError
from optimizer.geometry.surface import Patch, Surface
from optimizer.project import schema_package as given
from optimizer.project.build_mesh import Meshes, Walls
from optimizer.project.build_thickness import Built, one_ratio
from optimizer.project.reader import Reader
from optimizer.project.source import Location
from optimizer.project.suggest import did_you_mean

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh

#: A mesh with a side below this share of its largest is a flat sheet: its edge is no opening.
_FLAT = 1e-6


def build_opening(
    name: str, part: given.OpeningPart, package: given.Package, meshes: Meshes, walls: Walls, reader: Reader
) -> Built | None:
    """A flat piece of a wall over an opening of a mesh."""
    place: Location = ("package", "parts", name)
    ratio = one_ratio(place, part, walls.get(part.wall), reader)
    mesh = _mesh_with_openings((*place, "opening_of"), part.opening_of, package, meshes, reader)
    if mesh is None or ratio is None:
        return None
    chosen = next((o for o in mesh.openings if o.number == part.opening), None)
    if chosen is None:
        reader.refuse(
            (*place, "opening"),
            f"'{part.opening_of}' has no opening {part.opening}",
            f"{mesh.name} has {_listed(mesh)}",
        )
        return None
    reader.assume(
        f"part '{name}': taken as flat over opening {chosen.number} of '{part.opening_of}', "
        f"{chosen.area * 1e4:.4g} cm2"
    )
    return Built(name, place, part.wall, Surface((Patch(chosen.area),), 0.0), ratio)


def _mesh_with_openings(
    place: Location, wanted: str, package: given.Package, meshes: Meshes, reader: Reader
) -> Mesh | None:
    drawn = {key: p for key, p in package.parts.items() if isinstance(p, given.MeshPart)}
    part = drawn.get(wanted)
    if part is None:
        said = (
            f"the part '{wanted}' is no mesh" if wanted in package.parts else f"there is no part '{wanted}'"
        )
        regions = next((key for key, p in drawn.items() if wanted in p.regions), None)
        hint = did_you_mean(wanted, drawn, "parts with a mesh") or "no part of this package is a mesh"
        if regions is not None:
            said, hint = f"'{wanted}' is a region of '{regions}'", f"write 'opening_of: {regions}'"
        reader.refuse(place, said, hint)
        return None
    mesh = meshes.read(part.mesh, part.unit, ("package", "parts", wanted, "mesh"))
    if mesh is not None and not mesh.openings:
        why = "is closed" if mesh.facts.closed else "has no opening with its edge in a plane"
        reader.refuse(place, f"{mesh.name} {why}", "give the piece as an area or a disc of its own")
        return None
    return mesh


def _listed(mesh: Mesh) -> str:
    """Openings of a mesh in words, at most six."""
    said = [f"{o.number} ({o.area * 1e4:.3g} cm2)" for o in mesh.openings[:6]]
    more = f" and {len(mesh.openings) - 6} more" if len(mesh.openings) > 6 else ""
    return f"opening{'s' if len(mesh.openings) > 1 else ''} " + ", ".join(said) + more


def openings_are_covered(package: given.Package, meshes: Meshes, reader: Reader) -> None:
    """An opening that no part covers is said, with the line to add; closures and ends cover the largest."""
    taken = {(p.opening_of, p.opening) for p in package.parts.values() if isinstance(p, given.OpeningPart)}
    free = []
    covers = 0
    for name, part in package.parts.items():
        if isinstance(part, given.MeshPart):
            mesh = meshes.known.get((meshes.base / part.mesh, part.unit))
            if mesh is None or isinstance(mesh, GeometryError):
                return
            if min(mesh.facts.size) < _FLAT * max(mesh.facts.size):
                covers += 1
                continue
            free += [(o, name, part.wall) for o in mesh.openings if (name, o.number) not in taken]
        elif not isinstance(part, given.OpeningPart):
            covers += _covers(part, bool(taken))
    free.sort(key=lambda item: -item[0].area)
    for opening, name, wall in free[covers:]:
        number = f", opening: {opening.number}" if opening.number > 1 else ""
        reader.warn(
            f"part '{name}': its opening {opening.number} of {opening.area * 1e4:.3g} cm2 is taken as tight, "
            f"for no part covers it: add a part such as 'lid: {{opening_of: {name}{number}, wall: {wall}}}', "
            "or a closure with its transmission"
        )


def _covers(part: given.Part, lids: bool) -> bool:
    """Whether a part may close an opening: a closure, a flat end; a seal by itself only where there are no
    lids that it belongs to."""
    if isinstance(part, given.ClosurePart):
        return True
    if isinstance(part, given.WallPart):
        return isinstance(part, given.AreaPart) or getattr(part, "shape", "") in ("disc", "area")
    return not lids and (hasattr(part, "gasket") or hasattr(part, "o_ring"))

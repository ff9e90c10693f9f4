"""Openings of meshes: flat pieces of a wall over them, and those that no part covers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.errors import GeometryError
from optimizer.geometry.surface import Patch, Surface
from optimizer.project import schema_package as given
from optimizer.project.build_mesh import Meshes
from optimizer.project.build_thickness import Built, one_ratio
from optimizer.project.mesh_portions import Walls
from optimizer.project.reader import Reader
from optimizer.project.source import Location
from optimizer.project.suggest import did_you_mean

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh, Opening

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
        f"{chosen.area * 1e4:.4g} cm2{_on_flange(chosen, part.opening_of, package)}"
    )
    sealed = (Patch(chosen.flange, ratio),) if chosen.flange else ()
    flat = Surface((Patch(chosen.clear),), 0.0)
    return Built(name, place, part.wall, flat, ratio, sealed=sealed, fitted=True)


def _on_flange(opening: Opening, of: str, package: given.Package) -> str:
    """What a flange takes from a cover, and how to take it from the wall below too."""
    if not opening.flange:
        return ""
    said = f"; gas passes the {opening.clear * 1e4:.4g} cm2 within the flange only"
    part = package.parts[of]
    if isinstance(part, given.MeshPart) and any(region.sealed for region in part.regions.values()):
        return said
    number = f"opening: {opening.number}, " if opening.number > 1 else ""
    return (
        f"{said}, and the flange of {opening.flange * 1e4:.4g} cm2 counts as wall of '{of}', unless a region "
        f"of it says 'flange: {{from_opening: 0.1 mm, {number}sealed: true}}'"
    )


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
    mesh = meshes.read(part.mesh, part.unit, part.shows, ("package", "parts", wanted, "mesh"))
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
    drawn = _drawn(package, meshes)
    if drawn is None:
        return
    covers = sum(_covers(p, bool(taken)) for p in package.parts.values() if not isinstance(p, given.MeshPart))
    covers += sum(_is_flat(mesh) for mesh in drawn.values())
    free = []
    for name, mesh in drawn.items():
        for opening in () if _is_flat(mesh) else mesh.openings:
            over = _over(opening, name, drawn)
            lids = [k for k, p in package.parts.items() if _lies_over(p, name, opening.number)]
            _say_several(name, opening, lids, over, reader)
            if not lids and not over:
                free.append((opening, name))
        if mesh.kind == "walls" and not mesh.openings and not covers and not taken:
            reader.warn(
                f"part '{name}': no mouth was found in {mesh.name}; if it has one, it is taken as tight: add "
                "the part that closes it, as an area or a closure of its own"
            )
    free.sort(key=lambda item: -item[0].area)
    for opening, name in free[covers:]:
        number = f", opening: {opening.number}" if opening.number > 1 else ""
        wall = package.parts[name].wall
        other = "" if len(drawn) < 2 else "; a mesh covers it where both are drawn in the same coordinates"
        reader.warn(
            f"part '{name}': its opening {opening.number} of {opening.area * 1e4:.3g} cm2 is taken as tight, "
            f"for no part covers it: add a part such as 'lid: {{opening_of: {name}{number}, wall: {wall}}}', "
            f"or a closure with its transmission{other}"
        )


def _drawn(package: given.Package, meshes: Meshes) -> dict[str, Mesh] | None:
    """The meshes of the parts by name; None where one could not be read."""
    drawn = {}
    for name, part in package.parts.items():
        if isinstance(part, given.MeshPart):
            mesh = meshes.known.get((meshes.base / part.mesh, part.unit, part.shows))
            if mesh is None or isinstance(mesh, GeometryError):
                return None
            drawn[name] = mesh
    return drawn


def _is_flat(mesh: Mesh) -> bool:
    return min(mesh.facts.size) < _FLAT * max(mesh.facts.size)


def _lies_over(part: given.Part, name: str, number: int) -> bool:
    return isinstance(part, given.OpeningPart) and (part.opening_of, part.opening) == (name, number)


def _over(opening: Opening, name: str, drawn: dict[str, Mesh]) -> str:
    """The body of its own mesh or the other part that lies over an opening, in words; empty if none does.

    The open side of a cap is closed by the neck that it covers.
    """
    from optimizer.geometry.mesh.covered import covered_by, faces_into

    if opening.covered_by:
        return f"'{opening.covered_by}' of the same mesh"
    for key, other in drawn.items():
        if key == name:
            continue
        necks = (o for o in other.openings if faces_into(opening, o) and covered_by(o, other, drawn[name]))
        if covered_by(opening, drawn[name], other) or any(necks):
            return f"the mesh of '{key}'"
    return ""


def _say_several(name: str, opening: Opening, lids: list[str], over: str, reader: Reader) -> None:
    """Several parts over one opening count side by side, which is wrong where one lies on the other."""
    all_over = [f"'{lid}'" for lid in lids] + ([over] if over else [])
    if lids and len(all_over) > 1:
        reader.warn(
            f"part '{name}': over its opening {opening.number} lie {' and '.join(all_over)}: gas is taken to "
            "pass them side by side, as if each covered all of it; where one lies on the other, give one "
            "part with the layers of both"
        )
    elif over and not opening.covered_by:  # else a note of the mesh has said it
        reader.assume(f"part '{name}': its opening {opening.number} is covered by {over}")


def _covers(part: given.Part, lids: bool) -> bool:
    """Whether a part may close an opening: a closure, a flat end; a seal by itself only where there are no
    lids that it belongs to."""
    if isinstance(part, given.ClosurePart):
        return True
    if isinstance(part, given.WallPart):
        return isinstance(part, given.AreaPart) or getattr(part, "shape", "") in ("disc", "area")
    return not lids and (hasattr(part, "gasket") or hasattr(part, "o_ring"))

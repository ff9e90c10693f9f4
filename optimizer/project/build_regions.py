"""Which faces of a mesh belong to which region of its part."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.pieces import Pieces
from optimizer.project import schema_package as given
from optimizer.project.build_thickness import refuse_each, say
from optimizer.project.reader import Reader
from optimizer.project.source import Location

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh
    from optimizer.geometry.mesh.regions import Rule


def rules_of(part: given.MeshPart) -> tuple[Rule, ...]:
    """What each region asks of a face, in their order."""
    from optimizer.geometry.mesh.regions import Rule

    return tuple(
        Rule(
            key,
            above=region.above.value if region.above else None,
            below=region.below.value if region.below else None,
            box=region.box,
            body=region.body,
            from_opening=region.from_opening.value if region.from_opening else None,
            opening=region.opening,
        )
        for key, region in part.regions.items()
    )


def owners(
    place: Location, mesh: Mesh, pieces: Pieces, rules: tuple[Rule, ...], reader: Reader
) -> NDArray[np.int64] | None:
    """(m,) number of the region of each face, -1 for none; None where a region takes no face."""
    from optimizer.geometry.mesh.regions import assign

    if not rules:
        return np.full(len(pieces), -1)
    try:
        return assign(mesh, pieces, rules)
    except GeometryError as error:
        alone = [_alone(mesh, pieces, rule) for rule in rules]
        for rule, fault in zip(rules, alone, strict=True):
            if fault is not None:
                said = fault.message.removeprefix(f"region {rule.name}: ")
                reader.refuse((*place, "regions", rule.name), said, fault.hint)
        if not any(alone):  # then a region before it has all its faces
            refuse_each(error, (*place, "regions"), reader)
        return None


def say_rules(name: str, mesh: Mesh, pieces: Pieces, rules: tuple[Rule, ...], reader: Reader) -> None:
    """Which opening a rule of a part measures from, and lengths that reach far beyond the part."""
    from optimizer.geometry.mesh.doubts import chosen_openings, far_reaching

    say(name, chosen_openings(mesh, rules), far_reaching(mesh, pieces, rules), reader)


def _alone(mesh: Mesh, pieces: Pieces, rule: Rule) -> GeometryError | None:
    """What is wrong with one rule by itself."""
    from optimizer.geometry.mesh.regions import assign

    try:
        assign(mesh, pieces, (rule,))
    except GeometryError as error:
        return error
    return None


def names_of_regions_are_free(package: given.Package, reader: Reader) -> None:
    """A region is a part of its own, so no part and no region of another mesh may have its name."""
    seen: dict[str, str] = {}
    for name, part in package.parts.items():
        for key in part.regions if isinstance(part, given.MeshPart) else ():
            other = f"the part '{key}'" if key in package.parts else ""
            other = other or (f"a region of '{seen[key]}'" if key in seen else "")
            if other:
                said = f"the region '{key}' of '{name}' has the name of {other}"
                place: Location = ("package", "parts", name, "regions", key)
                reader.refuse(place, said, "call it otherwise: regions become parts", key=True)
            seen.setdefault(key, name)

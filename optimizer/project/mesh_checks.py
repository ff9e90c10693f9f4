"""What a mesh and the keys of its part say of the same thing: thickness, faces of the wall, room inside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.surface import Surface
from optimizer.project import schema_package as given
from optimizer.project.build_thickness import MEAN_APART, Built, nominal_thickness
from optimizer.project.reader import Reader
from optimizer.units.figures import figure

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh

#: A region has one face of a wall where it takes so much of its area, and so little of that of the other.
_ALL, _NONE = 0.5, 0.05


def drawn_is_near_listed(
    name: str, mesh: Mesh, built: Mapping[str, Built], walls: Mapping[str, given.Wall], reader: Reader
) -> None:
    """Warn where a wall is drawn with both faces, and its thickness as given in the project is another."""
    if mesh.facts.wall is None or any(one.measured for one in built.values()):
        return
    area = thickness = 0.0
    for one in built.values():
        patches = one.surface.patches
        area += sum(p.area for p in patches)
        if one.wall not in walls:
            return
        thickness += nominal_thickness(walls[one.wall]) * one.ratio * sum(p.area * p.ratio for p in patches)
    if not area > 0 or abs(mesh.facts.wall * area / thickness - 1) <= MEAN_APART:
        return
    drawn, listed = (f"{figure(1000 * x)} mm" for x in (mesh.facts.wall, thickness / area))
    reader.warn(
        f"part '{name}': the wall is drawn {drawn} thick, and given as {listed}, which is used: if the "
        "drawing is right, write 'thickness: between faces'"
    )


def regions_have_both_faces(
    name: str, part: given.MeshPart, mesh: Mesh, owner: NDArray[np.int64], reader: Reader
) -> None:
    """Warn of a region with one face of a wall and not the other; owner (m,): region of each face."""
    if not mesh.nested:
        return
    count = int(mesh.shell.max()) + 1
    total = np.bincount(mesh.shell, mesh.area, count)
    for number, key in enumerate(part.regions):
        share = np.bincount(mesh.shell, mesh.area * (owner == number), count) / total
        for pair in mesh.nested:
            most, least = max(share[list(pair)]), min(share[list(pair)])
            if most > _ALL and least < _NONE:
                reader.warn(
                    f"part '{name}': its region '{key}' takes one face of the wall only, which is half of "
                    "the wall there: the other half has another wall or thickness; take both faces, by "
                    "heights or a box"
                )
                break


def with_room_of(whole: Surface, inner: Mesh | None) -> Surface:
    """With the room inside that the mesh of the inner face has, where there is one."""
    if inner is None or inner.volume is None:
        return whole
    return replace(whole, volume=inner.volume, volume_slope=0.0)

"""Permeation area of designed walls, what lies under labels included."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.shelflife.package import Package, Part, WallPart

Array = NDArray[np.float64]
Conditions = tuple[ArrayLike, ArrayLike, ArrayLike]


def made_of(part: Part, walls: Sequence[str]) -> bool:
    """Whether a part is made of one of the walls, bare or under a label."""
    return isinstance(part, WallPart) and (part.wall in walls or part.base in walls)


def permeation_area(
    package: Package, wall: str, conditions: Conditions, permeance: Callable[[str], Array]
) -> Array:
    """Area [m2] that the wall's permeance is multiplied by, of the shape of the conditions.

    package: with its labels expanded. conditions: temperature [K], water activity inside and outside [-];
    permeance: of a wall by name under these. What lies under a label counts by how much less it lets through
    than the bare wall.
    """
    shape = np.broadcast_shapes(*(np.shape(x) for x in conditions))
    total: Array = np.zeros(shape)
    bare: Array | None = None
    for part in package.parts:
        if not isinstance(part, WallPart) or not made_of(part, (wall,)):
            continue
        own: Array = np.full(shape, part.permeation_area(package.walls[part.wall].thickness))
        if part.base:
            bare = permeance(wall) if bare is None else bare
            own = own * permeance(part.wall) / bare
        total = total + own
    return total

"""A surface cut into small pieces: the faces of a mesh or the bands of a simple shape, each with its
place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pieces:
    """Arrays (n,), one value for each piece.

    area [m2], slope [m], curvature [-]: the mid-wall area of a piece at its local thickness t is area +
    slope * t + curvature * t**2 (see ``surface.Patch``). height [m]: of its centre along the axis, above the
    lowest point of the whole part. radius [m]: of its centre from the axis. angle [rad]: about the axis, 0
    along the first of the other two coordinate axes (x, y, z in this order), from -pi to pi; NaN where a band
    runs all round. centre: (n, 3) [m] in the coordinates of the mesh, or None for a simple shape. span:
    (n, 2) [m] height of the lowest and of the highest point of each piece, or None where it is not known.
    """

    area: Array
    slope: Array
    curvature: Array
    height: Array
    radius: Array
    angle: Array
    centre: Array | None = None
    span: Array | None = None

    def __len__(self) -> int:
        return len(self.area)

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> Pieces:
        """Some of the pieces, by mask or by number."""
        return replace(
            self,
            area=self.area[chosen],
            slope=self.slope[chosen],
            curvature=self.curvature[chosen],
            height=self.height[chosen],
            radius=self.radius[chosen],
            angle=self.angle[chosen],
            centre=None if self.centre is None else self.centre[chosen],
            span=None if self.span is None else self.span[chosen],
        )


@dataclass(frozen=True)
class LocalThickness:
    """Wall thickness at each of n pieces (n,) [m], NaN where it could not be told.

    method: how it was found, in words ("height table local.csv", "between the faces of the mesh", ...).
    estimate: whether it is a first estimate from a process model and not a measurement. notes: what was
    assumed, in words; warnings: what the user should look into. counted (n,): False for pieces left out on
    purpose, which are no wall (the rim of a solid wall); None where all count.
    """

    thickness: Array
    method: str
    estimate: bool = False
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    counted: NDArray[np.bool_] | None = None

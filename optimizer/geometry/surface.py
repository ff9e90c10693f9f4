"""A surface as permeation and mass need it: patches of mid-wall area, and the room inside."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Patch:
    """A piece of surface on which every layer has its nominal thickness times ``ratio``.

    The mid-wall area at local thickness t is area + slope * t + curvature * t**2 [m2]: Steiner's formula for
    a parallel surface, exact for the simple shapes. ``slope`` is 0 where the given surface is the middle of
    the wall.
    """

    area: float
    ratio: float = 1.0
    slope: float = 0.0
    curvature: float = 0.0

    def area_at(self, thickness: float) -> float:
        """Mid-wall area [m2] for a nominal wall thickness [m]."""
        t = thickness * self.ratio
        return self.area + self.slope * t + self.curvature * t * t


@dataclass(frozen=True)
class Unevenness:
    """How uneven the wall of a part is, in ratios to its wall's nominal thickness.

    mean, least, most; p05 and p95: 5 % and 95 % of the area are thinner; spread: standard deviation over the
    mean (by area). flattery: by how much less the mean thickness would let through than the part does, as a
    share of what the part lets through. worst_share: share of the transmission that passes the thinnest tenth
    of the area; worst_place: where that is, in words. classes: thickness classes that stand for the field;
    class_error: largest error of these, as a share of the steady transmission, over a transient. method: how
    the thickness was found; estimate: a first estimate and not a measurement.
    """

    mean: float
    least: float
    most: float
    p05: float
    p95: float
    spread: float
    flattery: float
    worst_share: float
    worst_place: str
    classes: int
    class_error: float
    method: str
    estimate: bool = False


@dataclass(frozen=True)
class Surface:
    """Patches of one part, and the interior volume it encloses on its own.

    volume: interior volume [m3] for wall thickness 0, between the end planes of a body that is open there, 0
    for a flat piece, or None where the shape does not tell it (a pouch, an open mesh); volume_slope [m2]: its
    change per metre of wall thickness (negative where the given dimensions are outside ones). notes: what was
    assumed, in words. largest_thickness [m]: a nominal wall thickness at or above this leaves no room inside.
    warnings: what to look into. unevenness: of a wall whose thickness changes from place to place.
    """

    patches: tuple[Patch, ...]
    volume: float | None = None
    volume_slope: float = 0.0
    notes: tuple[str, ...] = ()
    largest_thickness: float = math.inf
    warnings: tuple[str, ...] = ()
    unevenness: Unevenness | None = None

    def area(self, thickness: float = 0.0) -> float:
        """Mid-wall area [m2] at a nominal wall thickness [m]."""
        return sum(p.area_at(thickness) for p in self.patches)

    def interior_volume(self, thickness: float = 0.0) -> float | None:
        """Interior volume [m3] at a nominal wall thickness [m]; first order in the thickness."""
        return None if self.volume is None else self.volume + self.volume_slope * thickness

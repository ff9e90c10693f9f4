"""From the area of a parallel surface to patches: the step that every shape shares."""

from __future__ import annotations

import dataclasses
import math

from optimizer.errors import GeometryError
from optimizer.geometry.surface import Patch, Surface

#: Area of a surface moved outward by e [m]: a + b e + c e**2, with a [m2], b [m] and c [-].
Area = tuple[float, float, float]


def product(p0: float, p1: float, q0: float, q1: float) -> Area:
    """(p0 + p1 e) (q0 + q1 e) as coefficients of 1, e and e**2."""
    return p0 * q0, p0 * q1 + p1 * q0, p1 * q1


def times(factor: float, area: Area) -> Area:
    return factor * area[0], factor * area[1], factor * area[2]


def plus(*areas: Area) -> Area:
    return sum(a[0] for a in areas), sum(a[1] for a in areas), sum(a[2] for a in areas)


def patch(area: Area, middle: float, ratio: float = 1.0) -> Patch:
    """The patch whose mid-wall surface lies ``middle`` wall thicknesses outward of the given surface."""
    return Patch(area[0], ratio, area[1] * middle, area[2] * middle * middle)


def surface(
    patches: list[Patch],
    middle: float,
    volume: float | None,
    half_width: float = math.inf,
    notes: tuple[str, ...] = (),
) -> Surface:
    """The surface of a shape whose inner face lies (middle - 1/2) wall thicknesses outward of the given one.

    The room inside changes by the given area per metre that the inner face moves, each patch at its own
    thickness. half_width [m]: the wall may be that thick, counted inward from the given surface, before no
    room is left.
    """
    inner = middle - 0.5
    moved = sum(p.area * p.ratio for p in patches)
    return Surface(
        tuple(patches),
        volume,
        0.0 if volume is None or inner == 0 else inner * moved,
        notes,
        half_width / -inner if inner < 0 else math.inf,
    )


def scaled(body: Surface, thickness_ratio: float) -> Surface:
    """The same surface with every thickness multiplied by ``thickness_ratio`` [-], above zero."""
    if not (math.isfinite(thickness_ratio) and thickness_ratio > 0):
        raise GeometryError(
            f"thickness_ratio is {thickness_ratio:g}",
            field="thickness_ratio",
            hint="a thickness ratio must be larger than zero; 1 is the nominal thickness",
        )
    return dataclasses.replace(
        body,
        patches=tuple(dataclasses.replace(p, ratio=p.ratio * thickness_ratio) for p in body.patches),
        volume_slope=body.volume_slope * thickness_ratio,
        largest_thickness=body.largest_thickness / thickness_ratio,
    )

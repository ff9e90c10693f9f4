"""Shapes with flat sides: box, tray, pouch, and an area given as a number.

All lengths in metres. ``dimensions`` says where they were measured: outside, inside or in the middle of the
wall.
"""

from __future__ import annotations

import math

import optimizer.geometry.build as build
from optimizer.geometry.checks import Checks
from optimizer.geometry.surface import Patch, Surface

#: An area beyond this [m2] is usually a wrong unit.
SUSPICIOUS_AREA = 100.0


def box(length: float, width: float, height: float, dimensions: str = "outside") -> Surface:
    """Closed box, six faces: 2 * (length*width + length*height + width*height)."""
    check = Checks()
    check.positive(length=length, width=width, height=height)
    middle = check.dimensions(dimensions)
    notes = check.finish()
    sides = ((length, width), (length, height), (width, height))
    area = build.plus(*(build.times(2.0, build.product(a, 2.0, b, 2.0)) for a, b in sides))
    half_width = min(length, width, height) / 2
    return build.surface([build.patch(area, middle)], middle, length * width * height, half_width, notes)


def tray(
    length: float,
    width: float,
    depth: float,
    top_length: float | None = None,
    top_width: float | None = None,
    corner_ratio: float = 1.0,
    corner_share: float = 0.0,
    base_ratio: float = 1.0,
    wall_ratio: float = 1.0,
    dimensions: str = "outside",
) -> Surface:
    """Open-top rectangular tray: base of length x width and four walls, up to the rim at ``depth``.

    top_length, top_width: the opening at the rim, larger than the base where the walls have draft (default:
    as the base). base_ratio, wall_ratio: local thickness over the nominal one [-]. corner_share: share of the
    whole area whose thickness is corner_ratio times the nominal one [-], taken from base and walls in
    proportion. The flange and the lid are parts of their own.
    """
    check = Checks()
    opening = {"top_length": top_length, "top_width": top_width}
    given = {name: value for name, value in opening.items() if value is not None}
    check.positive(length=length, width=width, depth=depth, **given)
    check.ratio(corner_ratio=corner_ratio, base_ratio=base_ratio, wall_ratio=wall_ratio)
    check.share(corner_share=corner_share)
    middle = check.dimensions(dimensions)
    notes = check.finish()

    top_length = length if top_length is None else top_length
    top_width = width if top_width is None else top_width
    base, walls = tray_areas(length, width, depth, top_length, top_width)
    rest = 1.0 - corner_share
    pieces = (
        (build.times(rest, base), base_ratio),
        (build.times(rest, walls), wall_ratio),
        (build.times(corner_share, build.plus(base, walls)), corner_ratio),
    )
    patches = [build.patch(area, middle, ratio) for area, ratio in pieces if area[0] > 0]
    between = (length + top_length) * (width + top_width)
    volume = depth / 6 * (length * width + between + top_length * top_width)
    half_width = min(length, width, top_length, top_width, 2 * depth) / 2
    return build.surface(patches, middle, volume, half_width, notes)


def tray_areas(
    length: float, width: float, depth: float, top_length: float, top_width: float
) -> tuple[build.Area, build.Area]:
    """Base and walls of a tray whose five planes move outward while the rim plane stays."""
    ends = []
    for bottom, top in ((length, top_length), (width, top_width)):
        draft = math.atan2((top - bottom) / 2, depth)
        # the wall moves by 1/cos at a given height, and the base meets it 1 lower
        at_base = 2 * (1 / math.cos(draft) - math.tan(draft))
        at_rim = 2 / math.cos(draft)
        ends.append((bottom, at_base, bottom + top, at_base + at_rim, 1 / math.cos(draft)))
    (l0, l1, l_sum, l_sum1, l_slant), (w0, w1, w_sum, w_sum1, w_slant) = ends
    base = build.product(l0, l1, w0, w1)
    # a wall along the length leans with the draft of the width, and the other way round; two of each
    long_walls = build.product(l_sum, l_sum1, depth * w_slant, w_slant)
    short_walls = build.product(w_sum, w_sum1, depth * l_slant, l_slant)
    return base, build.plus(long_walls, short_walls)


def pouch(
    width: float,
    height: float,
    gusset: float = 0.0,
    seal_width: float = 0.0,
    dimensions: str = "outside",
) -> Surface:
    """Flat or stand-up pouch: two panels inside the seals and a bottom gusset.

    Area = 2 * (width - 2 seal_width) * (height - 2 seal_width) + gusset * (width - 2 seal_width). width and
    height are those of the flat pouch over the seals, which run along all four sides; gusset is the width of
    the gusset strip opened out flat. A film has the same area on both faces, so ``dimensions`` changes
    nothing. What a pouch holds depends on how it is filled: the volume is None.
    """
    check = Checks()
    check.positive(width=width, height=height)
    check.not_negative(gusset=gusset, seal_width=seal_width)
    check.dimensions(dimensions)
    if not check.errors and 2 * seal_width >= min(width, height):
        side, name = min((width, "width"), (height, "height"))
        check.fault(
            f"two seals of {seal_width * 1000:g} mm leave nothing of the {name} of {side * 1000:g} mm",
            field="seal_width",
            hint="seal_width is the width of one seal and must be less than half the pouch",
        )
    notes = check.finish()
    open_width = width - 2 * seal_width
    area = 2 * open_width * (height - 2 * seal_width) + gusset * open_width
    return Surface((Patch(area),), None, 0.0, notes)


def plain(area: float, dimensions: str = "outside") -> Surface:
    """An area [m2] given as a number, taken as mid-wall area; it adds no volume."""
    check = Checks()
    check.dimensions(dimensions)
    if not (math.isfinite(area) and area > 0):
        check.fault(f"area is {area:g} m2", field="area", hint="it must be a finite number larger than zero")
    elif area > SUSPICIOUS_AREA:
        check.notes.append(f"area is {area:g} m2: is the unit right?")
    notes = check.finish()
    return Surface((Patch(area),), 0.0, 0.0, notes)

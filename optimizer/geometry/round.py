"""Bodies of revolution: cylinder, tube, disc, cone, sphere, hemisphere, and any profile about its axis.

All lengths in metres. ``dimensions`` says where they were measured: outside, inside or in the middle of the
wall.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import optimizer.geometry.build as build
from optimizer.geometry.checks import Checks
from optimizer.geometry.surface import Surface

Vector = tuple[float, float]


def cylinder(diameter: float, height: float, dimensions: str = "outside") -> Surface:
    """Side wall of a cylinder, no ends: pi * diameter * height; the volume is that between its end planes."""
    check = Checks()
    check.positive(diameter=diameter, height=height)
    middle = check.dimensions(dimensions)
    return _side(diameter, height, middle, check.finish())


def tube(diameter: float, length: float, dimensions: str = "outside") -> Surface:
    """Side wall of a tube, no ends: as a cylinder."""
    check = Checks()
    check.positive(diameter=diameter, length=length)
    middle = check.dimensions(dimensions)
    return _side(diameter, length, middle, check.finish())


def _side(diameter: float, height: float, middle: float, notes: tuple[str, ...]) -> Surface:
    area = build.times(math.pi, build.product(diameter, 2.0, height, 0.0))
    volume = math.pi / 4 * diameter**2 * height
    return build.surface([build.patch(area, middle)], middle, volume, diameter / 2, notes)


def disc(diameter: float, dimensions: str = "outside") -> Surface:
    """Flat round end: pi/4 * diameter**2. It adds no volume of its own.

    It reaches to the middle of the side wall, which is taken to be as thick as the end.
    """
    check = Checks()
    check.positive(diameter=diameter)
    middle = check.dimensions(dimensions)
    notes = check.finish()
    area = build.times(math.pi / 4, build.product(diameter, 2.0, diameter, 2.0))
    half_width = diameter / 2
    flat = build.surface([build.patch(area, middle)], middle, None, half_width, notes)
    return Surface(flat.patches, 0.0, 0.0, notes, flat.largest_thickness)


def sphere(diameter: float, dimensions: str = "outside") -> Surface:
    """Closed sphere: pi * diameter**2."""
    return _ball(diameter, dimensions, 1.0)


def hemisphere(diameter: float, dimensions: str = "outside") -> Surface:
    """Dome only, half of a sphere without its flat side: pi/2 * diameter**2."""
    return _ball(diameter, dimensions, 0.5)


def _ball(diameter: float, dimensions: str, share: float) -> Surface:
    check = Checks()
    check.positive(diameter=diameter)
    middle = check.dimensions(dimensions)
    notes = check.finish()
    area = build.times(share * math.pi, build.product(diameter, 2.0, diameter, 2.0))
    volume = share * math.pi / 6 * diameter**3
    return build.surface([build.patch(area, middle)], middle, volume, diameter / 2, notes)


def cone(diameter: float, height: float, diameter_top: float = 0.0, dimensions: str = "outside") -> Surface:
    """Side wall of a frustum, no ends: pi/2 * (diameter + diameter_top) * slant height.

    The parallel surface is cut square to the wall at both rims, so the slant height does not change with
    thickness.
    """
    check = Checks()
    check.positive(diameter=diameter, height=height)
    check.not_negative(diameter_top=diameter_top)
    middle = check.dimensions(dimensions)
    notes = check.finish()
    points = [(diameter / 2, 0.0), (diameter_top / 2, height)]
    return _revolved(points, points, middle, notes)


def profile(
    points: Sequence[tuple[float, float]],
    closed_bottom: bool = False,
    closed_top: bool = False,
    dimensions: str = "outside",
) -> Surface:
    """Body of revolution from a table of (height, radius) [m], straight between the points.

    Heights increase from row to row; a radius may be 0 only in the first and the last row. The ends are open
    unless ``closed_bottom`` or ``closed_top`` adds a flat disc. Area and volume are exact for the straight
    pieces (frusta). The mid-wall surface is the polyline moved square to itself and mitred at its corners.
    """
    check = Checks()
    middle = check.dimensions(dimensions)
    rows = _profile_rows(points, check)
    notes = check.finish()
    line = [(radius, height) for height, radius in rows]
    body = list(line)
    if closed_bottom and line[0][0] > 0:
        body.insert(0, (0.0, line[0][1]))
    if closed_top and line[-1][0] > 0:
        body.append((0.0, line[-1][1]))
    return _revolved(line, body, middle, notes)


def _profile_rows(points: Sequence[tuple[float, float]], check: Checks) -> list[tuple[float, float]]:
    rows: list[tuple[float, float]] = []
    hint = "give each row as height and radius, heights increasing"
    for number, row in enumerate(points, start=1):
        if len(row) != 2:
            check.fault(f"row {number} of the profile has {len(row)} values", field="points", hint=hint)
        elif not all(math.isfinite(v) for v in row):
            check.fault(
                f"row {number} of the profile holds a value that is not finite", field="points", hint=hint
            )
        else:
            rows.append((float(row[0]), float(row[1])))
    if check.errors:
        return rows
    if len(rows) < 2:
        check.fault(f"the profile has {len(rows)} rows", field="points", hint="two rows are the least")
        return rows
    for number, ((low, _), (high, _)) in enumerate(pairwise(rows), start=2):
        if high <= low:
            message = f"row {number} of the profile has height {high:g} m after {low:g} m"
            check.fault(message, field="points", hint="heights must increase from row to row")
    for number, (_, radius) in enumerate(rows, start=1):
        if radius < 0:
            message = f"row {number} of the profile has radius {radius:g} m"
            check.fault(message, field="points", hint="a radius cannot be negative")
        elif radius == 0 and 1 < number < len(rows):
            message = f"row {number} of the profile has radius 0 between two other rows"
            check.fault(message, field="points", hint="only the first and the last radius may be 0")
    if all(radius == 0 for _, radius in rows):
        check.fault("every radius of the profile is 0", field="points", hint="give the radius of the body")
    elif not check.errors:
        check.positive(profile_height=rows[-1][0] - rows[0][0], largest_diameter=2 * max(r for _, r in rows))
    return rows


def _revolved(side: list[Vector], body: list[Vector], middle: float, notes: tuple[str, ...]) -> Surface:
    """Turn the polyline ``body`` of (radius, height) about the axis; ``side`` is that without flat ends."""
    pieces = list(pairwise(body))
    lengths = [math.dist(a, b) for a, b in pieces]
    normals = [
        ((b[1] - a[1]) / length, (a[0] - b[0]) / length)
        for (a, b), length in zip(pieces, lengths, strict=True)
    ]
    moves = [
        mitre(body[i], normals[max(i - 1, 0)], normals[min(i, len(normals) - 1)]) for i in range(len(body))
    ]
    areas = []
    for i, ((a, b), length) in enumerate(zip(pieces, lengths, strict=True)):
        along = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        longer = sum((moves[i + 1][k] - moves[i][k]) * along[k] for k in (0, 1))
        radii = a[0] + b[0], moves[i][0] + moves[i + 1][0]
        areas.append(build.times(math.pi, build.product(*radii, length, longer)))
    volume = sum(
        math.pi / 3 * (high - low) * (r * r + r * q + q * q) for (r, low), (q, high) in pairwise(side)
    )
    area = build.plus(*areas)
    return build.surface([build.patch(area, middle)], middle, volume, max(r for r, _ in side), notes)


def mitre(point: Vector, before: Vector, after: Vector) -> Vector:
    """How far a corner moves when both its pieces move outward by 1; one on the axis stays there."""
    if point[0] == 0:
        return 0.0, 1 / before[1] if before[1] else 0.0
    # a hairpin corner would move without bound: 0.2 stops it at a turn of about 143 degrees
    scale = max(1 + before[0] * after[0] + before[1] * after[1], 0.2)
    return (before[0] + after[0]) / scale, (before[1] + after[1]) / scale

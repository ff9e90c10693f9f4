"""Gaskets, O-rings, seal edges and valve seats: gas that crosses a body of polymer between tight faces.

Each is a path with a shape factor: conductance = permeability * shape. The faces that hold the body let
nothing through, and the free sides are at the pressures of the two spaces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from numpy.polynomial.chebyshev import chebval

from optimizer.errors import GeometryError

#: Compression of an O-ring for which its shape factor is known, as a share of the cord. Static seals are
#: squeezed by 10 to 35 % (common practice, no source).
LEAST_COMPRESSION, MOST_COMPRESSION = 0.05, 0.40

#: Chebyshev coefficients, in the square root of the compression, of the end correction of an O-ring's
#: section: height / (shape factor per length) = flat width + correction * height. Fitted to a solution of
#: Laplace's equation with poles at the four contact lines, where the field is singular; the largest error of
#: the fit is 4e-7 (``tests/physics/test_gaskets.py`` solves it again, and by finite elements).
_END_CORRECTION = (
    0.37517186,
    0.02365235,
    -0.01001949,
    0.00187762,
    3.621e-05,
    -1.266e-05,
    -1.931e-05,
    -1.2e-07,
    8.5e-07,
)


@dataclass(frozen=True)
class SealPath:
    """A body between two spaces. shape [m]: conductance over permeability; volume [m3] of the body."""

    shape: float
    volume: float

    @property
    def length(self) -> float:
        """Length of the flat layer that has the same conductance and the same volume [m]."""
        return math.sqrt(self.volume / self.shape)

    @property
    def area(self) -> float:
        """Area of that layer [m2]."""
        return math.sqrt(self.volume * self.shape)


def flat_ring(inner_diameter: float, width: float, height: float) -> SealPath:
    """A flat gasket [m]: gas crosses its width radially, 2 pi height / ln(outer/inner diameter).

    height: as compressed between the faces. Raises GeometryError for a size that is not positive."""
    _positive(inner_diameter=inner_diameter, width=width, height=height)
    outer = inner_diameter + 2.0 * width
    shape = 2.0 * math.pi * height / math.log1p(2.0 * width / inner_diameter)
    return SealPath(shape, 0.25 * math.pi * height * (outer + inner_diameter) * (outer - inner_diameter))


def o_ring(ring_diameter: float, cord: float, compression: float) -> SealPath:
    """A round cord squeezed between two flat faces to (1 - compression) of its diameter.

    ring_diameter: that of the middle of the cord [m]; cord: diameter before it is squeezed [m]. The section
    keeps its area: flat where it touches, with half circles as free sides. Raises GeometryError for a ring
    that is not wider than its cord and for a compression outside 5 to 40 %."""
    _positive(ring_diameter=ring_diameter, cord=cord)
    if not ring_diameter > cord:
        raise GeometryError(
            "the ring is not wider than its cord",
            field="ring_diameter",
            hint="the ring's diameter at the middle of the cord is meant",
        )
    length = math.pi * ring_diameter
    return SealPath(length * section_shape(compression), length * 0.25 * math.pi * cord * cord)


def section_shape(compression: float) -> float:
    """Conductance over permeability and length of the section of an O-ring, from free side to free side [-].

    Raises GeometryError outside 5 to 40 % of compression."""
    low, high = LEAST_COMPRESSION, MOST_COMPRESSION
    if not low <= compression <= high:
        raise GeometryError(
            f"a compression of {100 * compression:.4g} % is out of range",
            field="compression",
            hint=f"from {100 * low:g} % to {100 * high:g} %",
        )
    root, least, most = math.sqrt(compression), math.sqrt(low), math.sqrt(high)
    correction = float(chebval((2.0 * root - least - most) / (most - least), _END_CORRECTION))
    return 1.0 / (flat_width(compression) + correction)


def flat_width(compression: float) -> float:
    """Width that touches each face, over the height of the squeezed section [-], from its constant area."""
    height = 1.0 - compression
    return 0.25 * math.pi * (1.0 / (height * height) - 1.0)


def seal_edge(length: float, width: float, thickness: float) -> SealPath:
    """A straight edge of sealant [m]: length along the edge, width that gas has to cross, thickness between
    the webs. Corners, where two edges overlap, are left out. Raises GeometryError for a size that is not
    positive."""
    _positive(length=length, width=width, thickness=thickness)
    return SealPath(length * thickness / width, length * thickness * width)


def valve_seat(seat_diameter: float, seat_width: float, film: float) -> SealPath:
    """A closed valve [m]: a film of oil or a membrane on a ring-shaped seat, pi diameter film / width.

    seat_diameter: that of the middle of the seat. The ring is taken as straight, 1 % off where the width is
    0.17 of the diameter. Raises GeometryError for a seat that is not wider than it is broad."""
    _positive(seat_diameter=seat_diameter, seat_width=seat_width, film=film)
    if not seat_diameter > seat_width:
        raise GeometryError(
            "the seat is broader than its diameter",
            field="seat_width",
            hint="the width of the ring on which the membrane lies is meant",
        )
    return seal_edge(math.pi * seat_diameter, seat_width, film)


def _positive(**sizes: float) -> None:
    for name, size in sizes.items():
        if not (math.isfinite(size) and size > 0.0):
            raise GeometryError(f"{name} must be more than 0", field=name)

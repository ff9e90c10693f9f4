"""Closures by their geometry, holes of several sizes, and labels on a wall."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, PlainValidator

from optimizer.physics.gaskets import LEAST_COMPRESSION, MOST_COMPRESSION
from optimizer.physics.hole_sizes import WIDEST_SPREAD
from optimizer.project.base import SOME, Group, one_of
from optimizer.project.fields import (
    SHARE,
    Area,
    Length,
    PositiveShare,
    Pressure,
    Word,
    plain_number,
    quantity,
)
from optimizer.project.schema_layers import Layer, some
from optimizer.units import Quantity

Compression = Annotated[
    Quantity,
    quantity(
        SHARE,
        "20 %",
        least=LEAST_COMPRESSION * (1 - 1e-9),
        most=MOST_COMPRESSION * (1 + 1e-9),
        limits=f"from {100 * LEAST_COMPRESSION:g} % to {100 * MOST_COMPRESSION:g} %",
    ),
]
Count = Annotated[float, plain_number(above=0.0, most=1e6, limits="more than 0", example="1")]


class Gasket(Group):
    material: Word
    inner_diameter: Length
    width: Length
    height: Length
    example: ClassVar[dict[str, str]] = {
        "material": "EPDM",
        "inner_diameter": "28 mm",
        "width": "2.5 mm",
        "height": "1 mm",
    }


class ORing(Group):
    material: Word
    ring_diameter: Length
    cord: Length
    compression: Compression
    example: ClassVar[dict[str, str]] = {
        "material": "EPDM",
        "ring_diameter": "30 mm",
        "cord": "2 mm",
        "compression": "20 %",
    }


class SealEdge(Group):
    """thickness: of the sealant of both webs together."""

    material: Word
    length: Length
    width: Length
    thickness: Length
    example: ClassVar[dict[str, str]] = {
        "material": "LDPE",
        "length": "600 mm",
        "width": "8 mm",
        "thickness": "100 um",
    }


class WallEdge(Group):
    """An edge where a wall is sealed to itself: the layers under its foil, twice."""

    wall: Word
    length: Length
    width: Length
    example: ClassVar[dict[str, str]] = {"wall": "pouch", "length": "600 mm", "width": "8 mm"}


class Valve(Group):
    """opening_pressure: overpressure inside at which it opens."""

    material: Word
    seat_diameter: Length
    seat_width: Length
    film: Length
    opening_pressure: Pressure | None = None
    example: ClassVar[dict[str, str]] = {
        "material": "silicone oil",
        "seat_diameter": "12 mm",
        "seat_width": "2 mm",
        "film": "20 um",
        "opening_pressure": "5 mbar",
    }


def _edge(value: Any) -> type[Group]:
    return WallEdge if isinstance(value, dict) and "wall" in value else SealEdge


class SealPart(Group):
    """A closure by its geometry: exactly one of the keys of ``SEALS``."""


class GasketPart(SealPart):
    gasket: Gasket


class ORingPart(SealPart):
    o_ring: ORing


class SealEdgePart(SealPart):
    seal_edge: Annotated[
        SealEdge | WallEdge, PlainValidator(one_of(_edge), json_schema_input_type=SealEdge | WallEdge)
    ]


class ValvePart(SealPart):
    valve: Valve


SEALS: dict[str, type[SealPart]] = {
    "gasket": GasketPart,
    "o_ring": ORingPart,
    "seal_edge": SealEdgePart,
    "valve": ValvePart,
}


class Hole(Group):
    diameter: Length
    length: Length
    count: Count = 1.0
    example: ClassVar[dict[str, str]] = {"diameter": "20 um", "length": "300 um"}


class Diameters(Group):
    """Lognormal by number. spread: geometric standard deviation."""

    median: Length
    spread: Annotated[
        float,
        plain_number(
            least=1.0,
            most=WIDEST_SPREAD,
            limits=f"a geometric standard deviation from 1 to {WIDEST_SPREAD:g}",
            example="1.8",
        ),
    ]
    example: ClassVar[dict[str, str]] = {"median": "8 um", "spread": "1.8"}


class SpreadHoles(Group):
    diameter: Diameters
    length: Length
    count: Count = 1.0
    example: ClassVar[dict[str, str]] = {"diameter": "{median: 8 um, spread: 1.8}", "length": "25 um"}


class Size(Group):
    diameter: Length
    count: Count
    example: ClassVar[dict[str, str]] = {"diameter": "5 um", "count": "10"}


class HoleTable(Group):
    sizes: Annotated[
        list[Size], SOME, BeforeValidator(lambda v: some(v, "size", "{diameter: 5 um, count: 10}"))
    ]
    length: Length
    example: ClassVar[dict[str, str]] = {"sizes": "[{diameter: 5 um, count: 10}]", "length": "25 um"}


def _holes(value: Any) -> type[Group]:
    if isinstance(value, dict) and "sizes" in value:
        return HoleTable
    return SpreadHoles if isinstance(value, dict) and isinstance(value.get("diameter"), dict) else Hole


class HolePart(Group):
    pinhole: Annotated[
        Hole | SpreadHoles | HoleTable,
        PlainValidator(one_of(_holes), json_schema_input_type=Hole | SpreadHoles | HoleTable),
    ]


class Label(Group):
    """More layers outside on a share, or an area, of a part."""

    on: Word
    share: PositiveShare | None = None
    area: Area | None = None
    layers: Annotated[
        list[Layer], SOME, BeforeValidator(lambda v: some(v, "layer", "{material: PP, thickness: 50 um}"))
    ]
    example: ClassVar[dict[str, str]] = {
        "on": "bottle",
        "share": "40 %",
        "area": "120 cm2",
        "layers": "[{material: PP, thickness: 50 um}]",
    }

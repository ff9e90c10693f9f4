"""What is said about a mesh while it is cleaned."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from optimizer.errors import GeometryError
from optimizer.units.figures import figure

#: Coordinates below this [mm] are what rounding leaves of zero.
_NOTHING = 1e-6


@dataclass
class Findings:
    """Collected on the way, for the mesh of this name; see ``model.Mesh`` for the three lists."""

    name: str
    repairs: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def fault(self, message: str, hint: str) -> GeometryError:
        """The error for what cannot be used."""
        return GeometryError(f"{self.name}: {message}", field="mesh", hint=hint)


def percent(share: float) -> str:
    """A share of the area in words: two digits, or all of it."""
    return f"{figure(100 * share, 2)} %" if share < 0.995 else "all"


def place(point: Iterable[float]) -> str:
    """Where a point [m] lies, in the coordinates of the mesh: '0, 12.5, 95 mm'."""
    return ", ".join(in_mm(x) for x in point) + " mm"


def in_mm(length: float, digits: int = 4) -> str:
    """A length or a coordinate [m] as millimetres, without the unit: '12.5'."""
    value = 1000 * float(length)
    return figure(0.0 if abs(value) < _NOTHING else value, digits)


def sides(size: Iterable[float]) -> str:
    """The sides of a box [m]: '69 x 69 x 236 mm'."""
    return " x ".join(in_mm(side) for side in size) + " mm"


def cm2(area: float) -> str:
    """An area [m2] in words: '300 cm2'."""
    return f"{figure(1e4 * area, 4)} cm2"

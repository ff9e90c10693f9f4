"""What a quantity of a kind can be at all: bounds that leave out nothing real, and nothing that overflows.

They are no limits of validity: a value within them may still be wrong. They only keep slips of many orders of
ten ('1e300 mm') away from the computations (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from optimizer.units.reader import Quantity, scale_of
from optimizer.units.write import number_text

_YEAR = 365.25 * 86400.0

#: Least and largest size [SI unit of the kind], by kind. Zero, and the sign, are judged by whoever reads; a
#: least of 0: values around zero are usual.
BOUNDS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "length": (1e-12, 1e3),
        "area": (1e-12, 1e6),
        "volume": (1e-12, 1e6),
        "mass": (1e-9, 1e9),
        "duration": (1e-3, 1000.0 * _YEAR),
        "temperature": (100.15, 1000.15),
        "temperature difference": (1e-6, 1e3),
        "pressure": (1e-6, 1e10),
        "fraction": (1e-15, 1e6),
        "relative humidity": (1e-15, 1.0),
        "ratio": (1e-9, 1e9),
        "count": (1.0, 1e15),
        "density": (1e-3, 1e6),
        "grammage": (1e-9, 1e6),
        "concentration": (1e-15, 1e5),
        "mass share": (1e-15, 1e3),
        "price per mass": (1e-9, 1e15),
        "price per area": (1e-12, 1e15),
        "activation energy": (0.0, 1e12),
        "rate": (1e-20, 1e6),
        "diffusivity": (1e-30, 1e-2),
        "mass rate": (1e-25, 1e3),
        "mass rate per mass": (1e-25, 1e3),
        "mass rate per volume": (1e-25, 1e6),
        "gas permeability": (1e-30, 1e-6),
        "gas permeance": (1e-28, 1e-2),
        "gas flux": (1e-26, 1e3),
        "package gas conductance": (1e-32, 1e-6),
        "package gas flow": (1e-30, 1e-1),
        "gas solubility": (1e-15, 1e3),
        "gas capacity": (1e-12, 1e3),
        "vapour permeability rate": (1e-29, 1e-3),
        "vapour transmission rate": (1e-27, 10.0),
        "package vapour rate": (1e-31, 1e-2),
        "vapour permeability": (1e-30, 1e-6),
        "vapour permeance": (1e-28, 1e-2),
        "package vapour conductance": (1e-32, 1e-6),
    }
)
#: The same for numbers without a unit, which may also be negative.
NUMBERS = (1e-15, 1e9)


def implausible(found: Quantity, gas: str | None = None, *, lowest: float | None = None) -> str:
    """What ``found`` would have to be, in its own unit; '' where it can be. gas: that it was read for;
    lowest: of a coordinate, 0 or -inf: it may be as small as the rounding of a drawing."""
    low, high = BOUNDS[found.kind]
    low = low if lowest is None else 0.0
    size = abs(found.value)
    if size == 0.0 or low * (1.0 - 1e-9) <= size <= high * (1.0 + 1e-9):
        return ""
    scale = scale_of(found.unit, found.kind, gas=gas)
    least, most = sorted((scale.from_si(low), scale.from_si(high)))
    if low == 0.0:
        least = 0.0 if lowest == 0.0 else -most
    elif found.value < 0.0:
        least, most = -most, -least
    return f"must be between {number_text(least)} and {number_text(most)} {found.unit}".rstrip()


def implausible_number(number: float) -> str:
    """The same for a number without a unit."""
    low, high = NUMBERS
    if number == 0.0 or low <= abs(number) <= high:
        return ""
    sign = "-" if number < 0.0 else ""
    least, most = (high, low) if sign else (low, high)
    return f"must be between {sign}{number_text(least)} and {sign}{number_text(most)}"

"""Numbers, durations and names as people in packaging read them."""

from __future__ import annotations

import math

from optimizer.shelflife.words import (
    apart,
    duration,
    duration_unit,
    figure,
    in_words,
    limit_name,
    listed,
)
from optimizer.units.systems import SI, System

__all__ = [
    "apart",
    "capital",
    "change",
    "converted",
    "duration",
    "duration_unit",
    "figure",
    "in_units",
    "in_words",
    "kept_units",
    "least",
    "less",
    "limit_name",
    "listed",
    "money",
    "percent",
    "plain_unit",
    "printed",
    "with_unit",
]

#: Shares below this [%] are not written out.
_LEAST_SHOWN = 1e-4
_LESS = {"cost": "cheaper", "mass": "lighter", "thickness": "thinner"}
_LEAST = {"cost": "cheapest", "mass": "lightest", "thickness": "thinnest"}


def with_unit(value: float | None, unit: str, digits: int = 3, units: System = SI) -> str:
    """'5 mg/kg', '23.5 mil' from 597 um; a unit of 1 is not written."""
    text, shown = in_units(value, unit, units, digits), plain_unit(unit, units)
    return text if text == "-" or not shown else f"{text} {shown}"


def plain_unit(unit: str, units: System = SI) -> str:
    """The unit that is shown for a metric ``unit``; '' for a pure number."""
    return "" if unit in ("", "1", "-") else units.unit(unit)


def in_units(value: float | None, unit: str, units: System, digits: int = 3) -> str:
    """The number alone of a value in the metric ``unit``: '23.5' from 597 um, for tables with units in the
    heading."""
    return figure(converted(value, unit, units), digits)


def converted(value: float | None, unit: str, units: System) -> float | None:
    """A value in the metric ``unit`` as the number that is shown; None where there is none."""
    return None if value is None else units.value(value, unit)


def kept_units(units: System, *also: str) -> str:
    """What keeps its units on a page, ``also`` beside the texts of others, which no page converts; '' where
    none would be converted."""
    if units.name == SI.name:
        return ""
    kept = capital(listed([*also, "names", "quotations", "sources"]))
    return f"{kept} keep the units that they are stated in."


def printed(value: str, unit: str) -> str:
    """A value as its source prints it: '0.17 x 1e-6 cm2/s'."""
    times = " x" if unit[:1].isdigit() else ""
    return f"{value}{times} {unit}".strip()


def percent(value: float | None, digits: int = 2) -> str:
    """'38 %' from 38.2; what is next to nothing is said to be so."""
    if value is not None and 0.0 < abs(value) < _LEAST_SHOWN:
        return "<0.0001 %" if value > 0.0 else ">-0.0001 %"
    text = figure(value, digits)
    return text if text == "-" else f"{text} %"


def capital(text: str) -> str:
    """The text with a capital first."""
    return text[:1].upper() + text[1:]


def less(minimised: str) -> str:
    """'cheaper', of what a design minimises."""
    return _LESS.get(minimised, "better")


def least(minimised: str) -> str:
    """'cheapest', of what a design minimises."""
    return _LEAST.get(minimised, "best")


def money(value: float | None, currency: str) -> str:
    """'0.0523 EUR': packages cost cents, so significant digits and not two places."""
    text = figure(value, 4)
    return text if text == "-" else f"{text} {currency}".strip()


def change(before: float | None, after: float | None) -> str:
    """'-12 %': relative change, or '' where it makes no sense."""
    if before is None or after is None or before == 0.0 or not math.isfinite(after / before):
        return ""
    relative = 100.0 * (after / before - 1.0)
    return "same" if abs(relative) < 0.005 else f"{'+' if relative > 0 else ''}{figure(relative, 2)} %"

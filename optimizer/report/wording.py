"""Numbers, durations and names as people in packaging read them."""

from __future__ import annotations

from optimizer.shelflife.words import (
    apart,
    duration,
    duration_unit,
    figure,
    in_words,
    limit_name,
    listed,
)

__all__ = [
    "apart",
    "change",
    "duration",
    "duration_unit",
    "figure",
    "in_words",
    "limit_name",
    "listed",
    "money",
    "percent",
    "printed",
    "with_unit",
]


def with_unit(value: float | None, unit: str, digits: int = 3) -> str:
    """'5 mg/kg'; a unit of 1 is not written."""
    text = figure(value, digits)
    return text if text == "-" or unit in ("", "1", "-") else f"{text} {unit}"


def printed(value: str, unit: str) -> str:
    """A value as its source prints it: '0.17 x 1e-6 cm2/s'."""
    times = " x" if unit[:1].isdigit() else ""
    return f"{value}{times} {unit}".strip()


def percent(value: float | None, digits: int = 2) -> str:
    """'38 %' from 38.2."""
    return "-" if value is None else f"{figure(value, digits)} %"


def money(value: float | None, currency: str) -> str:
    """'0.0523 EUR': packages cost cents, so significant digits and not two places."""
    return "-" if value is None else f"{figure(value, 4)} {currency}".strip()


def change(before: float | None, after: float | None) -> str:
    """'-12 %': relative change, or '' where it makes no sense."""
    if before is None or after is None or before == 0.0:
        return ""
    relative = 100.0 * (after / before - 1.0)
    return "same" if abs(relative) < 0.005 else f"{'+' if relative > 0 else ''}{figure(relative, 2)} %"

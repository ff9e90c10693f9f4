"""Lengths and shares in notes and warnings on a geometry: no powers of ten, and a space before the unit."""

from __future__ import annotations

import math


def figure(value: float, digits: int = 3) -> str:
    """``digits`` significant digits, whole numbers in full: '0.0124', '1234', '2000'."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def mm(metres: float, digits: int = 3) -> str:
    """'180 mm'."""
    return f"{figure(1e3 * metres, digits)} mm"


def um(metres: float, digits: int = 3) -> str:
    """'480 um'."""
    return f"{figure(1e6 * metres, digits)} um"


def percent(share: float, digits: int = 2) -> str:
    """'6.9 %', '100 %'."""
    return f"{figure(100.0 * share, digits)} %"

"""Numbers as people read them, the same in every message and page."""

from __future__ import annotations

import math


def figure(value: float | None, digits: int = 3) -> str:
    """A number to ``digits`` significant digits, integers in full; '-' when there is none."""
    if value is None or not math.isfinite(value):
        return "-"
    if value == 0.0:
        return "0"
    size = abs(value)
    if size >= 1e7 or size < 1e-4:
        return f"{value:.{digits - 1}e}"
    places = max(0, digits - 1 - math.floor(math.log10(size)))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text

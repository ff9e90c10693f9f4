"""Numbers as people read them, the same in every message and page."""

from __future__ import annotations

import math


def figure(value: float | None, digits: int = 3) -> str:
    """A number to ``digits`` significant digits, integers in full; '-' when there is none."""
    if value is None or not math.isfinite(value):
        return "-"
    if value == 0.0:
        return "0"
    if not 1e-4 <= abs(value) < 1e7:
        return f"{value:.{digits - 1}e}"
    return written_out(value, digits)


def written_out(value: float, digits: int = 3) -> str:
    """``digits`` significant digits without a power of ten, integers in full: '0.0124', '1234', '2000'."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text

"""Lengths and shares in notes and warnings on a geometry: no powers of ten, and a space before the unit."""

from __future__ import annotations

from optimizer.units.figures import written_out as figure

__all__ = ["figure", "mm", "percent", "um"]


def mm(metres: float, digits: int = 3) -> str:
    """'180 mm'."""
    return f"{figure(1e3 * metres, digits)} mm"


def um(metres: float, digits: int = 3) -> str:
    """'480 um'."""
    return f"{figure(1e6 * metres, digits)} um"


def percent(share: float, digits: int = 2) -> str:
    """'6.9 %', '100 %'."""
    return f"{figure(100.0 * share, digits)} %"

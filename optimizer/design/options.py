"""What the user asks of ``design``: which walls, what to minimise, from what, under which rules. SI units."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.physics.material import Material

OBJECTIVES = ("cost", "mass", "thickness")


@dataclass(frozen=True)
class ShareRule:
    """Mass share of a family (or of one material) in each designed wall, between ``least`` and ``most``
    [-]."""

    family: str
    least: float = 0.0
    most: float = 1.0


@dataclass(frozen=True)
class DesignOptions:
    """walls: names of the walls that may be changed. candidates: materials to choose from (``avoid`` already
    removed). gauge_step [m] or None (continuous). total_thickness: (least, most) [m], either may be None.
    inside_role and outside_role: role that the innermost and outermost layer must have, or None.
    touching: pairs of material names that may lie next to each other, both orders, or None for any pair.
    keep: names that must be present. reserve: share of every limit kept unused [-]."""

    walls: tuple[str, ...]
    minimise: str
    candidates: tuple[Material, ...]
    max_layers: int = 7
    gauge_step: float | None = None
    total_thickness: tuple[float | None, float | None] = (None, None)
    inside_role: str | None = "seal"
    outside_role: str | None = "print"
    shares: tuple[ShareRule, ...] = ()
    touching: frozenset[tuple[str, str]] | None = None
    symmetric: bool = False
    keep: tuple[str, ...] = ()
    avoid: tuple[str, ...] = ()
    reserve: float = 0.0

"""What the user asks of ``design``: which walls, what to minimise, from what, under which rules. SI units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from optimizer.physics.material import Material

OBJECTIVES = ("cost", "mass", "thickness")


@dataclass(frozen=True)
class ShareRule:
    """Mass share of ``family`` (a family or a material) in each designed wall, between ``least`` and ``most``
    [-]. counts: what counts for it: ``family``, ``polymer`` (everything whose mass is mostly that polymer,
    see ``Material.polymers``) or ``recycled`` (the recycled content of each material). of: the family where
    ``family`` is only a name for the rule."""

    family: str
    least: float = 0.0
    most: float = 1.0
    counts: str = "family"
    of: str = ""

    def content(self, material: Material) -> float:
        """Share of the material's mass that counts [-]."""
        wanted = self.of or self.family
        if self.counts == "recycled":
            return material.recycled_content
        if self.counts == "polymer":
            return float(wanted in material.polymers)
        return float(wanted == material.family or material.known_as(wanted))


@dataclass(frozen=True)
class DesignOptions:
    """walls: names of the walls that may be changed. candidates: materials to choose from (``avoid`` already
    removed). gauge_step [m] or None (continuous). total_thickness: (least, most) [m], either may be None;
    grammage and mass likewise: of each designed wall per area [kg/m2] and in one package [kg].
    inside_role and outside_role: role that the innermost and outermost layer must have, or None.
    touching: pairs of material names that may lie next to each other, both orders, or None for any pair.
    keep: names that must be present; a web in any of its gauges. reserve: share of every limit kept unused
    [-].

    scrap: share of what is bought that does not end in a package [-]. max_resins: most different materials in
    a wall. inner_only: names of materials that never touch the product or the outside. foil_free, metal_free
    (no foil and nothing metallised), halogen_free: what no layer contains. food_contact: the innermost layer
    is listed for it. existing: layers of each designed wall today as indices into candidates (-1: of none),
    of which at most ``changes`` change. assumptions: what the answer must say about these choices.
    corrections: by limit, the share of what the limit permits (after the reserve) that steady walls may use,
    1 where it is not named: what walls in transient or a confidence ask for (see ``settled``)."""

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
    grammage: tuple[float | None, float | None] = (None, None)
    mass: tuple[float | None, float | None] = (None, None)
    scrap: float = 0.0
    max_resins: int | None = None
    inner_only: tuple[str, ...] = ()
    foil_free: bool = False
    metal_free: bool = False
    halogen_free: bool = False
    food_contact: bool = False
    existing: Mapping[str, tuple[int, ...]] | None = None
    changes: int | None = None
    assumptions: tuple[str, ...] = ()
    corrections: Mapping[str, float] = field(default_factory=dict)

    def allowed(self, limit: str) -> float:
        """Share of the change permitted by the limit that steady walls may use [-]."""
        return (1.0 - self.reserve) * self.corrections.get(limit, 1.0)

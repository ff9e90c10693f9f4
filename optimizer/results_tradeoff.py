"""What ``tradeoff`` answers, as frozen dataclasses. Keys carry their unit; nothing here computes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from optimizer.results import ChosenLayer
from optimizer.results_answer import Answer

Structure = Mapping[str, tuple[ChosenLayer, ...]]


@dataclass(frozen=True)
class TradeoffPoint:
    """The best structure for one shelf life.

    shelf_life_days: what was asked for; reached_days: what the structure lasts as predicted, None where no
    limit is reached within the time looked at. objective and lower_bound in ``unit``; gap: share of the
    objective that is open, None where nothing was proved. limited_by: limit that ends its life.
    """

    shelf_life_days: float
    reached_days: float | None
    objective: float
    unit: str
    lower_bound: float | None
    gap: float | None
    structure: Structure
    limited_by: str | None
    mass_g: float
    cost_per_package: float | None


@dataclass(frozen=True)
class Kink:
    """A change of materials or their order between two shelf lives: the best structure at the first is
    ``before``, at the second ``after``; change: the difference in words."""

    between_days: tuple[float, float]
    change: str
    before: Structure
    after: Structure
    objective_before: float
    objective_after: float
    unit: str


@dataclass(frozen=True)
class TradeoffResult(Answer):
    """Answer of ``tradeoff``.

    status: complete | time | interrupt | memory | infeasible; points in order of shelf life. target_days:
    the project's own. longest_days: the longest shelf life for which a structure was found, None where
    structures exist to the end of the span; beyond_days: one for which none exists (None where that was not
    shown); longest_because: what holds it, in words. limits: names of those that were kept. conflict and
    nearest: as in ``design``, where even the shortest shelf life is infeasible.
    """

    title: str
    version: str
    inputs_sha256: str
    status: str
    minimised: str
    unit: str
    target_days: float | None
    points: tuple[TradeoffPoint, ...]
    kinks: tuple[Kink, ...]
    kink_tolerance: float
    from_days: float
    to_days: float
    longest_days: float | None
    beyond_days: float | None
    longest_because: tuple[str, ...]
    limits: tuple[str, ...]
    conflict: tuple[str, ...]
    nearest: str
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[Mapping[str, str], ...]
    currency: str
    solver: Mapping[str, Any]
    command: str = "tradeoff"
    main_table: ClassVar[str] = "points"
    shown: ClassVar[tuple[str, ...]] = ("status", "minimised", "unit", "target_days", "longest_days")

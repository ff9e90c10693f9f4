"""What is said about the uncertainty of an answer: percentiles, probability of passing, what to measure
better."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class SpreadNote:
    """One uncertain input. size in ``unit``: % (relative standard deviation), K or %RH (percentage points of
    humidity); origin: where the spread is from; source: key shared with inputs that it is correlated with,
    empty for none."""

    name: str
    size: float
    unit: str
    origin: str
    source: str = ""


@dataclass(frozen=True)
class Influence:
    """Share of the variance of ln(shelf life) (of the worst quantity at the target where most samples reach
    no limit) that an input explains alone (first order) and with all its interactions (total)."""

    name: str
    first_order: float
    total: float


@dataclass(frozen=True)
class PercentileEnd:
    """A percentile of shelf life, None where no limit is reached within the time looked at, and what ends
    it."""

    percentile: int
    shelf_life_days: float | None
    limited_by: str | None


@dataclass(frozen=True)
class UncertaintyResult:
    """samples, seed: of the draw (scrambled Sobol points); wall: steady | lag-corrected | transient, how the
    samples were simulated; probability: of passing at the target, None without one; probability_error:
    standard error of it; ended_by: share of the samples that each limit ends, ``none`` for no limit."""

    samples: int
    seed: int
    wall: str
    probability: float | None
    probability_error: float | None
    shelf_life_days: Mapping[str, float | None]
    percentiles: tuple[PercentileEnd, ...]
    ended_by: Mapping[str, float]
    influences: tuple[Influence, ...]
    spreads: tuple[SpreadNote, ...]
    notes: tuple[str, ...] = ()
    life_days: tuple[float, ...] = ()
    details: Mapping[str, Any] | None = None

"""What ``compare`` answers, as frozen dataclasses; ``as_dict`` gives the JSON of docs/compare.md.

Keys carry their unit. Nothing here computes; the producer is ``design.compare``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from optimizer.results import ChosenLayer
from optimizer.results_answer import Answer


@dataclass(frozen=True)
class OfferOutcome:
    """One offer, re-optimised to the target of the project; ``baseline``: the material as in the project.
    ``name`` is what rival and pairs call it.

    status: optimal, time_limit or infeasible. rank: 1 is best, equal values share one, None without a
    structure, and without a price where the cost is minimised: then value and what follows from it are None
    too, and structure is that at the price to tie. value: what is ranked, in ``objective_unit`` of the whole
    answer; lower_bound and gap are proved of it. offered_g: of the offered material in one package. price and
    break_even_price are in ``price_unit``; the break-even price is that at which this offer, re-optimised,
    costs as much as ``rival``, the best of the others for the same material; break_even_note says why there
    is none, break_even_tolerance what the gaps leave open. difference: value less that of the rival,
    plus_minus its 95 % half-width from the spread of the measurements; distinguishable: whether that, and the
    gap, leave the sign certain. spread_pct: relative standard deviation by gas of what the offer states.
    conflict and nearest: when infeasible. barrier_unused: the offered material stands at its least gauge and
    the spread of its permeability changes nothing: a better barrier would not either.
    """

    name: str
    supplier: str
    material: str
    grade: str
    baseline: bool
    status: str
    rank: int | None
    structure: Mapping[str, tuple[ChosenLayer, ...]]
    value: float | None
    lower_bound: float | None
    gap: float | None
    cost_per_package: float | None
    cost_per_year: float | None
    mass_g: float | None
    offered_g: float | None
    shelf_life_days: float | None
    price: float | None
    price_unit: str
    break_even_price: float | None = None
    break_even_tolerance: float | None = None
    break_even_note: str = ""
    rival: str = ""
    difference: float | None = None
    plus_minus: float | None = None
    distinguishable: bool | None = None
    spread_pct: Mapping[str, float] = field(default_factory=dict)
    conflict: tuple[str, ...] = ()
    nearest: str = ""
    barrier_unused: bool = False

    @property
    def unpriced(self) -> bool:
        """Whether it meets the target, and has no rank for want of a price."""
        return self.rank is None and bool(self.structure)


@dataclass(frozen=True)
class Pair:
    """Two offers by name, the better first: by how much (``difference`` = second less first, in the unit of
    the objective), the 95 % half-width of that, whether they can be told apart, and with which share of the
    present spread they could be if they cannot (None: no measurement would help, or they already can).
    left_open: what of the difference the gaps of both proofs do not prove; it counts against telling
    apart."""

    first: str
    second: str
    difference: float
    plus_minus: float | None
    distinguishable: bool | None
    spread_needed: float | None = None
    left_open: float = 0.0


@dataclass(frozen=True)
class CompareResult(Answer):
    """Answer of ``compare``: offers by rank, the infeasible last. status: done, infeasible (no offer meets
    the target) or time_limit. gases: that the limits follow, O2 and H2O in any case. rates: 'USD/EUR' -> EUR
    for one USD."""

    title: str
    version: str
    inputs_sha256: str
    status: str
    minimised: str
    objective_unit: str
    currency: str
    target_days: float | None
    volume_per_year: float | None
    offers: tuple[OfferOutcome, ...]
    pairs: tuple[Pair, ...]
    gases: tuple[str, ...]
    rates: Mapping[str, float]
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[Mapping[str, str], ...]
    cautions: tuple[str, ...]
    solver: Mapping[str, Any]
    command: str = "compare"
    main_table: ClassVar[str] = "offers"
    shown: ClassVar[tuple[str, ...]] = ("status", "minimised", "objective_unit", "target_days")

    @property
    def feasible(self) -> bool:
        """Whether any offer (the project as it is not counted) has a structure that meets the target."""
        return any(o.structure for o in self.offers if not o.baseline)

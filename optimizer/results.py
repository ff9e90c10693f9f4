"""What the commands answer, as frozen dataclasses; ``as_dict`` gives the JSON of docs/project-file.md.

Keys carry their unit. Nothing here computes; the producers are ``shelflife.predict`` and ``design.solve``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from optimizer.results_answer import Answer, plain
from optimizer.results_uncertainty import UncertaintyResult


@dataclass(frozen=True)
class LimitOutcome:
    """One limit: ``at_target`` and ``limit`` in ``unit``; ``status`` is reached, not reached, or
    exceeded at closing; ``margin_pct`` is how much of the permitted change is left at the target."""

    name: str
    limit: float
    unit: str
    at_target: float | None
    reached_after_days: float | None
    status: str
    passes: bool
    margin_pct: float | None = None
    wall: str | None = None
    note: str = ""


@dataclass(frozen=True)
class Transmission:
    stage: str
    part: str
    gas: str
    value: float
    unit: str
    share: float


@dataclass(frozen=True)
class FilmTransmission:
    wall: str
    stage: str
    gas: str
    value: float
    unit: str


@dataclass(frozen=True)
class LayerState:
    wall: str
    stage: str
    index: int
    material: str
    thickness_um: float
    humidity_inside_face_pct: float
    humidity_mid_pct: float
    humidity_outside_face_pct: float
    resistance_share_pct: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class StageSpan:
    """A time of storage: of the stage, or of the package in an outer pack with the gas there. temperature,
    humidity and outside_kPa (partial pressures of the gases outside, H2O with them): means over the span,
    where they change (hourly weather). The last stage repeats to the horizon as one span."""

    stage: str
    from_days: float
    to_days: float
    temperature_degC: float
    humidity_pct: float
    outside_kPa: Mapping[str, float]


@dataclass(frozen=True)
class ChosenLayer:
    """``mass_g`` of the layer in one package and its share of the cost of all designed walls, where worked
    out."""

    material: str
    thickness_um: float
    mass_g: float | None = None
    cost_share_pct: float | None = None


@dataclass(frozen=True)
class OuterPackAnswer:
    """A second pack around ``packages`` of those predicted. space_mL: of gas between, at closing; mass and
    cost are its own, in all and for each package in it (None where a price is missing); oxygen_pct (of the
    dry gas) and humidity_pct between the packs after ``at_days``: the target, or the end of the look."""

    packages: int
    space_mL: float
    walls: str
    mass_g: float
    mass_per_package_g: float
    cost: float | None
    cost_per_package: float | None
    currency: str
    at_days: float
    oxygen_pct: float
    humidity_pct: float


@dataclass(frozen=True)
class PredictResult(Answer):
    """Answer of ``predict``. time_series: 'days' and one list per quantity, names carry units. wall_model:
    steady or transient, how the walls were simulated; wall_reason: why, in words; uncertainty: None unless
    samples were asked for; confidence_asked [-]: the least probability of passing that ``passes`` needs, None
    where only the properties as given count; outer_pack: None where packages stand alone; mass and cost of
    the answer are without it. storage: stages laid out to the horizon; structure: layers of each wall, inside
    to outside."""

    title: str
    version: str
    inputs_sha256: str
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[Mapping[str, str], ...]
    cautions: tuple[str, ...]
    passes: bool
    target_days: float | None
    shelf_life_days: float | None
    horizon_days: float
    limited_by: str | None
    limits: tuple[LimitOutcome, ...]
    transmission: tuple[Transmission, ...]
    film_transmission: tuple[FilmTransmission, ...]
    layers: tuple[LayerState, ...]
    time_series: Mapping[str, tuple[float, ...]]
    mass_g: float
    mass_by_material_g: Mapping[str, float]
    cost_per_package: float | None
    currency: str
    geometry: tuple[Mapping[str, Any], ...] = ()
    wall_model: str = "steady"
    wall_reason: str = ""
    uncertainty: UncertaintyResult | None = None
    confidence_asked: float | None = None
    outer_pack: OuterPackAnswer | None = None
    storage: tuple[StageSpan, ...] = ()
    structure: Mapping[str, tuple[ChosenLayer, ...]] = field(default_factory=dict)
    command: str = "predict"
    main_table: ClassVar[str] = "limits"
    shown: ClassVar[tuple[str, ...]] = (
        "passes",
        "shelf_life_days",
        "target_days",
        "limited_by",
        "mass_g",
        "cost_per_package",
        "currency",
    )


@dataclass(frozen=True)
class Binding:
    """A limit or rule that holds the optimum, and what one ``unit`` of relaxation saves in the objective's
    unit: the difference of two designs, each optimised anew.

    saves_least and saves_most: what is proved of the saving, from the bounds of both designs (None where
    only thicknesses were optimised anew). structure: of the relaxed design by wall, where materials or their
    order change. tighter: one step the other way, and what it ``costs``, with costs_least and costs_most;
    costs is None where that was not looked at or no structure exists (``note`` says which).
    """

    name: str
    unit: str
    saves: float
    saves_unit: str
    note: str = ""
    saves_least: float | None = None
    saves_most: float | None = None
    structure: Mapping[str, tuple[ChosenLayer, ...]] = field(default_factory=dict)
    tighter: str = ""
    costs: float | None = None
    costs_least: float | None = None
    costs_most: float | None = None


@dataclass(frozen=True)
class Alternative:
    """Another structure: objective, how far above the best it is, and whether it is proved to be next best
    (the best of its own sequence, and nothing cheaper left out, within the gap)."""

    structure: Mapping[str, tuple[ChosenLayer, ...]]
    objective: float
    excess_pct: float
    proved: bool = False


@dataclass(frozen=True)
class DesignResult(Answer):
    """Answer of ``design``: the choice, its proof, and ``predicted`` for the chosen package (None if
    infeasible). stopped_by: time | interrupt | memory where that ended the search before its proof;
    unsettled where the limits, taken anew at each design, kept moving (its status is time_limit, too); else
    None. binding_notes: what was not looked at, or saves too little to tell, in words.

    confidence: None unless one was asked for. Shares [-] asked, probability and probability_error (on the
    fresh sample; None where there was no time for one); samples, seed of the search, fresh_seed, wall (how
    the samples were simulated); reserve [-]: by limit, what is left unused with nominal values; hedged:
    factors on permeabilities in the certified problem, by material and gas; searches; objective_without and
    price of the confidence, in the objective's unit; notes. Without a structure highest_probability with its
    error and objective, and perfect_walls_probability (None where not looked at), instead of what is of a
    structure."""

    title: str
    version: str
    inputs_sha256: str
    status: str
    minimised: str
    objective: float | None
    objective_unit: str
    lower_bound: float | None
    gap: float | None
    structure: Mapping[str, tuple[ChosenLayer, ...]]
    predicted: PredictResult | None
    binding: tuple[Binding, ...]
    alternatives: tuple[Alternative, ...]
    conflict: tuple[str, ...]
    nearest: str
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    solver: Mapping[str, Any]
    stopped_by: str | None = None
    binding_notes: tuple[str, ...] = ()
    confidence: Mapping[str, Any] | None = None
    command: str = "design"
    main_table: ClassVar[str] = "structure"
    shown: ClassVar[tuple[str, ...]] = (
        "status",
        "objective",
        "objective_unit",
        "lower_bound",
        "gap",
        "passes",
        "shelf_life_days",
        "limited_by",
    )

    def as_dict(self) -> dict[str, Any]:
        own = plain(self)
        predicted = own.pop("predicted") or {"passes": False}
        return {**predicted, **own} | {
            "warnings": list(dict.fromkeys([*predicted.get("warnings", []), *own["warnings"]])),
            "assumptions": list(dict.fromkeys([*predicted.get("assumptions", []), *own["assumptions"]])),
        }


@dataclass(frozen=True)
class Change:
    """One difference between the checked package and its baseline."""

    what: str
    baseline: str
    now: str


@dataclass(frozen=True)
class LayerThickness:
    """Mean local thickness of a layer of a part [um], None where the layer is not there."""

    material: str
    baseline_um: float | None
    now_um: float | None
    change_pct: float | None


@dataclass(frozen=True)
class PartThickness:
    """Local thickness of a part, all layers together [um]: its mean over the area, and that of its thinnest
    place (``least``); None where the part is not there. layers: inside to outside."""

    part: str
    baseline_um: float | None
    now_um: float | None
    change_pct: float | None
    baseline_least_um: float | None
    now_least_um: float | None
    layers: tuple[LayerThickness, ...]


@dataclass(frozen=True)
class CheckResult(Answer):
    """Answer of ``check``: does the changed package pass, and how it stands against the baseline.

    confidence [-]: probability that the changed package passes, None without samples; confidence_asked [-]:
    the least that ``passes`` needs, or None. shelf_life_days: p05, p50, p95 of the changed package; without
    samples p50 is that of the properties as given, and the others are None. at_least_as_long [-]: probability
    that it lasts at least as long as its baseline, with its standard error. Percentiles of both and what
    ends each are in ``changed.uncertainty`` and ``baseline.uncertainty``.
    """

    title: str
    version: str
    inputs_sha256: str
    passes: bool
    confidence: float | None
    shelf_life_days: Mapping[str, float | None]
    margin_pct: float | None
    baseline: PredictResult
    changed: PredictResult
    changes: tuple[Change, ...]
    lightest_passing: Mapping[str, Any] | None
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[Mapping[str, str], ...] = ()
    confidence_asked: float | None = None
    at_least_as_long: float | None = None
    at_least_as_long_error: float | None = None
    thickness: tuple[PartThickness, ...] = ()
    command: str = "check"
    main_table: ClassVar[str] = "changes"
    shown: ClassVar[tuple[str, ...]] = ("passes", "shelf_life_days", "margin_pct", "confidence")

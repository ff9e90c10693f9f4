"""Answer of ``predict``: how long the package lasts, what ends it, where the gas comes through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DAY
from optimizer.geometry.surface import Unevenness
from optimizer.results import LimitOutcome, PredictResult, StageSpan
from optimizer.shelflife.advice import (
    materials_in_use,
    outer_pack,
    warnings_of,
    warnings_of_outer_pack,
)
from optimizer.shelflife.breakdown import bill_of, layer_table, transmission_tables
from optimizer.shelflife.covered import expanded
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.memory import WallChoice, choose, choose_after
from optimizer.shelflife.outer_answer import between_series, outer_answer, outer_warnings
from optimizer.shelflife.package import Case, WallPart
from optimizer.shelflife.simulate import Trajectory, simulate
from optimizer.shelflife.spans import storage_spans, structure_of
from optimizer.shelflife.specification import judge
from optimizer.shelflife.statements import assumptions_of, cautions_of, over_at_closing
from optimizer.shelflife.transient import simulate_walls
from optimizer.shelflife.valves import opening_warnings
from optimizer.shelflife.words import sentence

Array = NDArray[np.float64]

#: limit name -> (factor from SI to the trade unit, unit, key in the time series)
TRADE: dict[str, tuple[float, str, str]] = {
    "oxygen_gain": (1e6, "mg/kg", "oxygen_gain_mg_per_kg"),
    "headspace_oxygen": (100.0, "%", "headspace_oxygen_pct"),
    "water_gain": (100.0, "%", "water_gain_pct"),
    "water_loss": (100.0, "%", "water_loss_pct"),
    "water_activity_max": (1.0, "-", "water_activity"),
    "water_activity_min": (1.0, "-", "water_activity"),
    "co2_loss": (100.0, "%", "co2_loss_pct"),
}
#: Points of the time series over the horizon.
_POINTS = 200
#: Further points in each of the first stages.
_IN_STAGE, _MOST_SPANS = 8, 40
#: A limit that is met to within this share counts as met.
_SLACK = 1e-9


@dataclass(frozen=True)
class _Answer:
    limits: tuple[LimitOutcome, ...]
    shelf_life: float | None
    limited_by: str | None


def predict(
    case: Case,
    *,
    version: str = "",
    inputs_sha256: str = "",
    say: Callable[[str], None] | None = None,
) -> PredictResult:
    """Simulate the case to its horizon and judge every limit; units in the names of the result's fields.

    say: told before a long wait.
    """
    case = expanded(case)
    spans = storage_spans(case)
    run, wall = trajectory_of(case, _times(case, spans), say)
    answer = _judge(case, run)
    specifications = tuple(judge(case.package, limit) for limit in case.transmission_limits)
    limits = answer.limits + specifications
    transmission, films = transmission_tables(case)
    bill = bill_of(case.package)
    warnings = [*case.warnings, *warnings_of(case, wall), *opening_warnings(case, run)]
    if bill.missing:
        warnings.append(bill.missing)
    warnings += [*warnings_of_outer_pack(case), *outer_warnings(case)]
    return PredictResult(
        title=case.title,
        version=version,
        inputs_sha256=inputs_sha256,
        warnings=tuple(dict.fromkeys(warnings)),
        assumptions=tuple(
            dict.fromkeys(sentence(x) for x in (*case.assumptions, *assumptions_of(case, wall)))
        ),
        sources=_sources(case),
        cautions=tuple(cautions_of(case)),
        passes=all(x.passes for x in limits),
        target_days=None if case.target is None else case.target / DAY,
        shelf_life_days=None if answer.shelf_life is None else answer.shelf_life / DAY,
        horizon_days=case.horizon / DAY,
        limited_by=answer.limited_by,
        limits=limits,
        transmission=transmission,
        film_transmission=films,
        layers=layer_table(case),
        time_series=_series(case, run) | between_series(case, run.times),
        mass_g=bill.mass * 1e3,
        mass_by_material_g={k: v * 1e3 for k, v in bill.by_material.items()},
        cost_per_package=bill.cost,
        currency=bill.currency,
        geometry=_geometry(case),
        wall_model=wall.model,
        wall_reason=wall.reason,
        outer_pack=outer_answer(case),
        storage=spans,
        structure=structure_of(case.package),
    )


def _times(case: Case, spans: tuple[StageSpan, ...]) -> Array:
    """Times of the series [s]: evenly to the horizon, the target, and some in every stage, however short."""
    times = [np.linspace(0.0, case.horizon, _POINTS + 1)]
    if case.target is not None and case.target <= case.horizon:
        times.append(np.array([case.target]))
    for span in spans[:_MOST_SPANS]:
        times.append(np.linspace(span.from_days * DAY, span.to_days * DAY, _IN_STAGE + 1))
    every = np.unique(np.clip(np.concatenate(times), 0.0, case.horizon))
    apart = np.append(True, np.diff(every) > 1e-9 * case.horizon)
    kept: Array = every[apart]
    return kept


def trajectory_of(
    case: Case, times: Array, say: Callable[[str], None] | None = None
) -> tuple[Trajectory, WallChoice]:
    """The case simulated to its horizon, with the walls as asked for or as ``auto`` decides."""
    until, target = case.horizon, case.target
    if case.wall == "transient":
        run = simulate_walls(case, until=until, extremes_until=target, sample_times=times, say=say)
        return run, choose(case, None)
    exchange = exchange_of(case)
    steady = simulate(case.product, exchange, until=until, extremes_until=target, sample_times=times)
    wall = choose_after(case, steady)
    if not wall.transient:
        return steady, wall
    run = simulate_walls(case, until=until, extremes_until=target, sample_times=times, say=say)
    return run, wall


def _judge(case: Case, run: Trajectory) -> _Answer:
    outcomes = []
    life: float | None = None
    ends: str | None = None
    for k, limit in enumerate(case.product.limits):
        factor, unit, _ = TRADE[limit.name]
        crossing = float(run.crossing[0, k])
        reached = np.isfinite(crossing)
        closing, extreme = float(run.closing[0, k]), float(run.extreme[0, k])
        status = "not reached" if not reached else "reached" if crossing > 0 else "exceeded at closing"
        passes = not reached or (
            crossing > 0 and case.target is not None and crossing >= case.target * (1 - _SLACK)
        )
        if reached and crossing > 0 and case.target is None:
            passes = True
        notes = []
        if status == "exceeded at closing":
            notes.append(over_at_closing(limit, closing))
        if bool(run.recovered[0, k]):
            notes.append("the quantity comes back within the limit later")
        margin = None
        span = sign_of(limit.name) * (limit.value - closing)
        if case.target is not None and span > 0:
            margin = 100.0 * sign_of(limit.name) * (limit.value - extreme) / span
        outcomes.append(
            LimitOutcome(
                name=limit.name,
                limit=limit.value * factor,
                unit=unit,
                at_target=None if case.target is None else extreme * factor,
                reached_after_days=crossing / DAY if reached else None,
                status=status,
                passes=passes,
                margin_pct=margin,
                note="; ".join(notes),
            )
        )
        if reached and (life is None or crossing < life):
            life, ends = crossing, limit.name
    return _Answer(tuple(outcomes), life, ends)


def _series(case: Case, run: Trajectory) -> dict[str, tuple[float, ...]]:
    series: dict[str, tuple[float, ...]] = {"days": tuple((run.times / DAY).tolist())}
    for k, limit in enumerate(case.product.limits):
        factor, _, key = TRADE[limit.name]
        series[key] = tuple((run.quantities[0, k] * factor).tolist())
    if case.product.moisture is not None and "water_activity" not in series:
        series["water_activity"] = tuple(run.activity[0].tolist())
    for gas, values in run.pressures.items():
        series[f"{gas}_pressure_kPa"] = tuple((values[0] * 1e-3).tolist())
    return series


def _sources(case: Case) -> tuple[dict[str, str], ...]:
    rows = []
    around = outer_pack(case)
    used = materials_in_use(case) + ([] if around is None else materials_in_use(around))
    for material in {m.name: m for m in used}.values():
        for note in material.sources:
            rows.append(
                {
                    "material": note.material,
                    "gas": note.gas,
                    "value": note.value,
                    "unit": note.unit,
                    "source": note.source,
                    "grade": note.grade,
                }
            )
    return tuple(rows)


def _geometry(case: Case) -> tuple[dict[str, object], ...]:
    rows: dict[str, dict[str, object]] = {}
    sums: dict[str, tuple[float, float, float]] = {}
    for part in case.package.parts:
        if not isinstance(part, WallPart):
            continue
        wall, name = case.package.walls[part.wall], part.group or part.name
        area = part.area(wall.thickness)
        density = sum(x.thickness * x.material.density for x in wall.layers)
        own = (area, area * wall.thickness, part.mass_area(wall.thickness) * density)
        areas, volume, mass = (a + b for a, b in zip(own, sums.get(name, (0.0, 0.0, 0.0)), strict=True))
        sums[name] = areas, volume, mass
        # pieces of one part under a label are told together, with the mean of their walls' thickness
        rows[name] = {
            "part": name,
            "wall": part.group or part.wall,
            "area_cm2": areas * 1e4,
            "nominal_thickness_um": (volume / areas if areas else wall.thickness) * 1e6,
            "mass_g": mass * 1e3,
            **_unevenness(part.unevenness, wall.thickness * 1e6),
        }
    return tuple(rows.values())


def _unevenness(found: Unevenness | None, nominal: float) -> dict[str, object]:
    """Of a part whose thickness changes from place to place; nominal [um]: of its wall."""
    if found is None:
        return {}
    return {
        "mean_thickness_um": found.mean * nominal,
        "least_thickness_um": found.least * nominal,
        "p05_thickness_um": found.p05 * nominal,
        "p95_thickness_um": found.p95 * nominal,
        "flattery_pct": 100.0 * found.flattery,
        "worst_tenth_share_pct": 100.0 * found.worst_share,
        "worst_tenth_place": found.worst_place,
        "thickness_method": found.method,
        "thickness_estimate": found.estimate,
    }

"""Results made by hand: invented numbers, shaped as the commands return them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from optimizer.results import (
    Alternative,
    Binding,
    Change,
    CheckResult,
    ChosenLayer,
    DesignResult,
    FilmTransmission,
    LayerState,
    LimitOutcome,
    PredictResult,
    Transmission,
)

MONTH = 30.4375
GAS_UNIT = "cm3(STP)/(package*day*atm)"

OXYGEN = LimitOutcome("oxygen_gain", 5.0, "mg/kg", 3.164, 14.2 * MONTH, "reached", True, 36.7)
WATER = LimitOutcome("water_loss", 2.0, "%", 0.21, None, "not reached", True, 89.5)


def _transmission() -> tuple[Transmission, ...]:
    rows = []
    for stage, factor in (("warehouse", 1.0), ("truck", 2.1)):
        rows += [
            Transmission(stage, "body", "O2", 0.0123 * factor, GAS_UNIT, 0.62),
            Transmission(stage, "cap", "O2", 0.0075 * factor, GAS_UNIT, 0.38),
            Transmission(stage, "body", "H2O", 0.011 * factor, "g/(package*day)", 1.0),
        ]
    return tuple(rows)


def _layers() -> tuple[LayerState, ...]:
    rows = []
    for stage, wet in (("warehouse", 55.0), ("truck", 80.0)):
        for i, (material, um, oxygen, water) in enumerate(
            [
                ("HDPE", 320.0, 1.2, 61.0),
                ("tie PE", 8.0, 0.0, 1.0),
                ("EVOH 32", 12.0, 98.1, 0.4),
                ("HDPE", 200.0, 0.7, 37.6),
            ]
        ):
            share = {"O2": oxygen, "H2O": water}
            rows.append(LayerState("bottle", stage, i, material, um, 98.0, 90.0 - i, wet, share))
    return tuple(rows)


PASSING = PredictResult(
    title="Oat-drink bottle, 1 L (invented)",
    version="0.0.0",
    inputs_sha256="ab" * 32,
    warnings=("EVOH 32: the truck is 15 K above the measured temperatures [23 degC]",),
    assumptions=("quasi-steady walls; the time lag of the wall is not followed " * 3,),
    sources=(
        {
            "material": "EVOH 32",
            "gas": "O2",
            "value": "0.5",
            "unit": "cm3*20um/(m2*day*atm)",
            "source": "An invented handbook, table 3",
            "grade": "handbook",
        },
    ),
    cautions=("properties are typical values of generic polymers",),
    passes=True,
    target_days=9 * MONTH,
    shelf_life_days=14.2 * MONTH,
    horizon_days=27 * MONTH,
    limited_by="oxygen_gain",
    limits=(OXYGEN, WATER),
    transmission=_transmission(),
    film_transmission=(
        FilmTransmission("bottle", "warehouse", "O2", 0.21, "cm3(STP)/(m2*day*atm)"),
        FilmTransmission("bottle", "truck", "O2", 0.47, "cm3(STP)/(m2*day*atm)"),
        FilmTransmission("bottle", "truck", "H2O", 0.9, "g/(m2*day)"),
    ),
    layers=_layers(),
    time_series={"days": (0.0, 100.0), "oxygen_gain_mg_per_kg": (0.0, 1.1)},
    mass_g=28.42,
    mass_by_material_g={"HDPE": 27.1, "tie PE": 0.81, "EVOH 32": 0.51},
    cost_per_package=0.052345,
    currency="EUR",
)

FAILING = replace(
    PASSING,
    passes=False,
    shelf_life_days=8.997 * MONTH,
    limits=(
        replace(OXYGEN, at_target=5.0013, reached_after_days=8.997 * MONTH, passes=False, margin_pct=-0.03),
        WATER,
    ),
)

STRUCTURE = {
    "bottle": (ChosenLayer("HDPE", 300.0), ChosenLayer("tie PE", 8.0), ChosenLayer("EVOH 32", 6.5)),
}

DESIGNED = DesignResult(
    title=PASSING.title,
    version="0.0.0",
    inputs_sha256="ab" * 32,
    status="optimal",
    minimised="cost",
    objective=0.052345,
    objective_unit="EUR",
    lower_bound=0.052304,
    gap=0.00078,
    structure=STRUCTURE,
    predicted=PASSING,
    binding=(
        Binding("oxygen_gain", "1 mg/kg more", 0.0012, "EUR"),
        Binding("share of EVOH", "1 % more", 0.0003, "EUR", "max 5 %"),
    ),
    alternatives=(Alternative(STRUCTURE, 0.0541, 3.4),),
    conflict=(),
    nearest="",
    warnings=(),
    assumptions=("costs are material costs",),
    solver={"name": "HiGHS", "version": "1.0", "seconds": 2.345},
)

INFEASIBLE = replace(
    DESIGNED,
    status="infeasible",
    objective=None,
    lower_bound=None,
    gap=None,
    structure={},
    predicted=None,
    binding=(),
    alternatives=(),
    conflict=("oxygen gain at most 5 mg/kg for 9 months", "total thickness at most 300 um"),
    nearest="with all rules kept the longest shelf life is 6.1 months",
)

OUT_OF_TIME = replace(INFEASIBLE, status="time_limit", conflict=(), nearest="", lower_bound=0.031)

CHECKED = CheckResult(
    title=PASSING.title,
    version="0.0.0",
    inputs_sha256="ab" * 32,
    passes=False,
    confidence=None,
    shelf_life_days={"p05": None, "p50": FAILING.shelf_life_days, "p95": None},
    margin_pct=-0.03,
    baseline=PASSING,
    changed=FAILING,
    changes=(Change("wall bottle, layer 3 EVOH 32", "12 um", "7.6 um"),),
    lightest_passing={
        "scale": 1.0007,
        "walls": {
            "bottle": [
                {"material": "HDPE", "thickness_um": 320.2},
                {"material": "EVOH 32", "thickness_um": 7.61},
            ]
        },
        "mass_g": 28.44,
        "cost_per_package": 0.0524,
        "currency": "EUR",
        "shelf_life_days": 9 * MONTH,
        "limited_by": "oxygen_gain",
        "note": "",
    },
    warnings=(),
    assumptions=(),
)


def wide(result: PredictResult) -> PredictResult:
    """The same answer with names far too long for one line."""
    name = "a very long generic name of a polymer blend, heat-stabilised " * 2
    layer: dict[str, Any] = {"material": name}
    return replace(
        result,
        title=name * 2,
        warnings=(name * 3, "x" * 200),
        layers=tuple(replace(item, **layer) for item in result.layers),
        transmission=tuple(replace(item, part=name, stage=name + item.stage) for item in result.transmission),
        limits=tuple(replace(item, name=name.replace(" ", "_")) for item in result.limits),
        mass_by_material_g={name: 27.1, "y" * 120: 1.0},
        sources=({"material": name, "gas": "O2", "value": "1", "unit": "z" * 90, "source": name * 3},),
    )

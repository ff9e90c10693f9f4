"""Answers with long names, many layers and all gases, made by hand (invented numbers), and their pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from optimizer.report.check import check_page
from optimizer.report.compare import compare_page
from optimizer.report.design import design_page
from optimizer.report.geometry import geometry_page
from optimizer.report.page import Page
from optimizer.report.portfolio import Portfolio, ProjectRow, portfolio_page
from optimizer.report.predict import predict_page
from optimizer.report.tradeoff import tradeoff_page
from optimizer.results import (
    Alternative,
    Binding,
    Change,
    CheckResult,
    ChosenLayer,
    DesignResult,
    FilmTransmission,
    LayerState,
    LayerThickness,
    LimitOutcome,
    OuterPackAnswer,
    PartThickness,
    PredictResult,
    Transmission,
)
from optimizer.results_compare import CompareResult, OfferOutcome, Pair
from optimizer.results_geometry import BodyFound, GeometryResult, OpeningFound, ThicknessFound
from optimizer.results_tradeoff import Kink, TradeoffPoint, TradeoffResult
from optimizer.results_uncertainty import Influence, PercentileEnd, SpreadNote, UncertaintyResult
from optimizer.units.systems import System

from .samples import MONTH, PASSING

GASES = ("O2", "CO2", "N2", "H2O")


def long(kind: str, number: int = 0) -> str:
    """A name of 40 characters, some of its words long."""
    return f"{kind} {number} heat-stabilised coextrusion resin of type".ljust(40, "x")[:40]


MATERIALS = [long("polymer", i) for i in range(15)]
PARTS = [long("part", i) for i in range(4)]
STAGES = [long("stage", i) for i in range(3)]
WALL = long("wall")
_RNG = np.random.default_rng(6)


def _number() -> float:
    """Anything between 0.1 and 3000, with digits that nobody wants to see."""
    return float(10.0 ** _RNG.uniform(-1.0, 3.5))


LAYERS = tuple(ChosenLayer(m, _number(), _number() / 10, 100 / 15) for m in MATERIALS)
STRUCTURE = {WALL: LAYERS}
TWO_WALLS = {WALL: LAYERS, long("wall", 1): LAYERS[:2]}


def _unit(gas: str, per: str = "package") -> str:
    return f"g/({per}*day)" if gas == "H2O" else f"cm3(STP)/({per}*day*atm)"


UNCERTAIN = UncertaintyResult(
    samples=4096,
    seed=7,
    wall="transient",
    probability=0.7543,
    probability_error=0.0031,
    shelf_life_days={},
    percentiles=tuple(
        PercentileEnd(p, m and m * MONTH, name)
        for p, m, name in ((5, 6.61234, "oxygen_gain"), (50, 12.01, "water_activity_max"), (95, None, None))
    ),
    ended_by={"oxygen_gain": 0.7, "water_activity_max": 0.24, "none": 0.06},
    influences=(
        Influence(f"activation energy of O2 in {MATERIALS[3]}", 0.61, 0.66),
        Influence("shared: source a_handbook_with_a_long_key_of_40_characters", 0.2, 0.21),
    ),
    spreads=(
        SpreadNote("temperature of storage", 1.234567, "K", "given in the project"),
        SpreadNote(f"O2 permeability of {MATERIALS[3]}", 39.987654, "%", "assumed: laboratories differ so"),
        SpreadNote(f"duration of stage '{STAGES[0]}'", 8.0, "%", "band of the table, 1 to 5"),
    ),
    life_days=tuple(MONTH * (6.0 + 12.0 * (k + 0.5) / 100) for k in range(100)),
    details={"indices_of": "ln(shelf life)", "index_error": 0.031},
)
PREDICTED: PredictResult = replace(
    PASSING,
    limits=(
        LimitOutcome("headspace_oxygen", 5.0, "%", 4.9999, 14.2 * MONTH, "reached", True, 36.7),
        LimitOutcome("water_activity_min", 0.3, "-", float("nan"), None, "not reached", True, 89.5),
        LimitOutcome("co2_loss", 12.345678, "%", 3.1, None, "exceeded at closing", False),
        LimitOutcome("oxygen_gain", 5.0, "mg/kg", None, None, "not reached", True),
        *(
            LimitOutcome(f"transmission {g}", _number(), _unit(g, per), _number(), None, "met", True, 3.21, w)
            for g in GASES
            for per, w in (("m2", WALL), ("package", None))
        ),
    ),
    transmission=tuple(
        Transmission(stage, part, gas, _number() / 1e4, _unit(gas), 0.25)
        for stage in STAGES
        for part in PARTS
        for gas in GASES
    ),
    film_transmission=tuple(
        FilmTransmission(WALL, stage, gas, _number(), _unit(gas, "m2")) for stage in STAGES for gas in GASES
    ),
    layers=tuple(
        LayerState(WALL, stage, i, m, x.thickness_um, 98.0, 50.123, 40.0, {g: 100 / 15 for g in GASES})
        for stage in STAGES
        for i, (m, x) in enumerate(zip(MATERIALS, LAYERS, strict=True))
    ),
    mass_by_material_g={m: _number() / 100 for m in MATERIALS},
    mass_g=1234.5678,
    cost_per_package=0.0123456789,
    sources=tuple(
        {
            "material": m,
            "gas": "O2 activation energy",
            "value": "0.123456",
            "unit": "cm3(STP)*mil/(100 in2*day*atm)",
            "source": f"An invented handbook, table {i}; 23 degC, 50 %RH",
            "grade": "handbook",
        }
        for i, m in enumerate(MATERIALS)
    ),
    warnings=tuple(f"{m}: O2: value from memory, confirm it" for m in MATERIALS),
    geometry=(
        {
            "part": PARTS[0],
            "wall": WALL,
            "mean_thickness_um": 512.34567,
            "least_thickness_um": 301.23456,
            "p05_thickness_um": 350.0,
            "p95_thickness_um": 700.5,
            "thickness_method": "table of heights and angles",
            "thickness_estimate": True,
            "flattery_pct": 7.123,
            "worst_tenth_share_pct": 17.9,
            "worst_tenth_place": "low on the body",
        },
    ),
    outer_pack=OuterPackAnswer(
        12, 1e4, long("film"), 1500.123, 125.01, 0.31, 0.02583, "EUR", 270.0, 3.123, 61.2
    ),
    wall_model="transient",
    wall_reason="the wall holds 6 % of what a limit allows",
    uncertainty=UNCERTAIN,
    confidence_asked=0.95,
)
DESIGNED = DesignResult(
    title=PREDICTED.title,
    version="0.0.0",
    inputs_sha256="ab" * 32,
    status="optimal",
    minimised="mass",
    objective=1234.5678,
    objective_unit="g/package",
    lower_bound=1230.123456,
    gap=0.0036,
    structure=TWO_WALLS,
    predicted=PREDICTED,
    binding=(
        Binding(
            f"share of {MATERIALS[0]}",
            "0.123 percentage points more",
            1.23456789,
            "g/package",
            "max 5 %",
            1.1,
            2.2,
            STRUCTURE,
            "0.123 percentage points less",
            0.87654321,
        ),
        Binding("water_activity_max", "0.0123 more", 0.000123456, "g/package"),
    ),
    alternatives=(
        Alternative(STRUCTURE, 1240.98765, 0.52),
        Alternative(TWO_WALLS, 1300.5, 5.3, proved=True),
    ),
    conflict=(),
    nearest="",
    warnings=(),
    assumptions=(),
    solver={"name": "HiGHS", "gap_asked": 0.001, "rounds": 4, "seconds": 2.345},
    confidence={
        "asked": 0.95,
        "samples": 512,
        "seed": 1,
        "fresh_seed": 2,
        "wall": "transient",
        "searches": 4,
        "probability": 0.9623,
        "probability_error": 0.002,
        "objective_without": 1100.123456,
        "price": 134.4444444,
        "reserve": {"oxygen_gain": 0.123},
    },
)
THICKEST = DesignResult(
    **{
        **vars(DESIGNED),
        "minimised": "thickness",
        "objective": 597.123456,
        "objective_unit": "um",
        "lower_bound": 596.0,
        "confidence": None,
        "binding": tuple(replace(b, saves_unit="um") for b in DESIGNED.binding),
    }
)
CHECKED = CheckResult(
    title=PREDICTED.title,
    version="0.0.0",
    inputs_sha256="ab" * 32,
    passes=True,
    confidence=0.75,
    shelf_life_days={},
    margin_pct=1.0,
    baseline=PREDICTED,
    changed=PREDICTED,
    changes=(Change(f"wall {WALL}, layer 15 {MATERIALS[14]}", "12.345 um", "7.6 um"),),
    lightest_passing={
        "scale": 0.87654321,
        "walls": {WALL: [{"material": m, "thickness_um": _number()} for m in MATERIALS]},
        "mass_g": 1100.123456,
        "cost_per_package": 0.0524,
        "currency": "EUR",
        "shelf_life_days": 9 * MONTH,
        "note": "",
    },
    warnings=(),
    assumptions=(),
    at_least_as_long=0.33,
    at_least_as_long_error=0.004,
    thickness=(
        PartThickness(
            PARTS[0],
            512.34567,
            460.87654,
            -10.0456,
            400.0,
            360.0,
            (
                LayerThickness(MATERIALS[0], 500.0, 450.0, -10.0),
                LayerThickness(MATERIALS[1], 12.0, None, None),
            ),
        ),
    ),
)


def _point(months: float, objective: float, minimised: str) -> TradeoffPoint:
    unit = {"cost": "EUR/package", "mass": "g/package", "thickness": "um"}[minimised]
    structure = STRUCTURE if months < 6 else TWO_WALLS
    return TradeoffPoint(
        months * MONTH, None, objective, unit, objective, 1e-9, structure, None, 40.123456, 0.0123456789
    )


def frontier(minimised: str) -> TradeoffResult:
    unit = {"cost": "EUR/package", "mass": "g/package", "thickness": "um"}[minimised]
    return TradeoffResult(
        title=PREDICTED.title,
        version="0.0.0",
        inputs_sha256="ab" * 32,
        status="complete",
        minimised=minimised,
        unit=unit,
        target_days=6 * MONTH,
        points=tuple(_point(m, 100.123456 + m, minimised) for m in (3.0, 4.5, 6.0, 12.34567)),
        kinks=(Kink((5.8 * MONTH, 5.9 * MONTH), "a layer added", STRUCTURE, TWO_WALLS, 105.0, 106.0, unit),),
        kink_tolerance=0.01,
        from_days=3 * MONTH,
        to_days=18 * MONTH,
        longest_days=12.34567 * MONTH,
        beyond_days=12.5 * MONTH,
        longest_because=("the limit on oxygen gain",),
        limits=("oxygen_gain",),
        conflict=(),
        nearest="",
        warnings=(),
        assumptions=(),
        cautions=(),
        sources=(),
        currency="EUR",
        solver={"name": "HiGHS", "searches": 9, "taken_over": 1, "gap_asked": 0.001, "seconds": 1.5},
    )


def _offer(rank: int | None, minimised: str, **other: Any) -> OfferOutcome:
    number = rank or 0
    return OfferOutcome(
        name=long("offer", number),
        supplier=long("supplier", number),
        material=MATERIALS[number],
        grade="",
        baseline=False,
        status="optimal",
        rank=rank,
        structure=STRUCTURE,
        value=100.123456 + number,
        lower_bound=99.0,
        gap=0.001,
        cost_per_package=0.0123456789,
        cost_per_year=1234567.89,
        mass_g=1234.56789,
        offered_g=0.123456789,
        shelf_life_days=270.0,
        price=12345.678901,
        price_unit="EUR/kg" if number != 2 else "EUR/m2",
        break_even_price=12000.123456 if number != 1 else None,
        break_even_note="no price makes it tie",
        rival=long("offer", 2 if rank == 1 else 1),
        **other,
    )


def comparison(minimised: str) -> CompareResult:
    offers = tuple(_offer(rank, minimised) for rank in (1, 2, 3))
    lost = replace(_offer(None, minimised), conflict=("the limit on oxygen_gain",), nearest="90 um")
    names = [o.name for o in offers]
    return CompareResult(
        title=PREDICTED.title,
        version="0.0.0",
        inputs_sha256="ab" * 32,
        status="done",
        minimised=minimised,
        objective_unit={"cost": "EUR/package", "mass": "g/package", "thickness": "um"}[minimised],
        currency="EUR",
        target_days=270.0,
        volume_per_year=2e7,
        offers=(*offers, lost),
        pairs=(
            Pair(names[0], names[1], 1.0123456, 0.123456, True),
            Pair(names[0], names[2], 2.0123456, None, None),
            Pair(names[1], names[2], 1.0123456, 3.123456, False, 0.1),
        ),
        gases=GASES,
        rates={},
        warnings=(),
        assumptions=(),
        sources=(),
        cautions=(),
        solver={"name": "HiGHS", "optimised": 9, "gap_asked": 0.001, "seconds": 1.5},
    )


MESH = GeometryResult(
    title="bottle.stl",
    version="0.0.0",
    inputs_sha256="ab" * 32,
    warnings=(),
    assumptions=("units as given",),
    unit="mm",
    size_mm=(70.123456, 70.1, 212.98765),
    height_mm=212.98765,
    up="z",
    up_reason="up is z, the longest side",
    area_cm2=456.789012,
    wall_area_cm2=228.3945,
    volume_ml=1012.34567,
    kind="walls",
    faces=123456,
    vertices=61730,
    pieces=1,
    closed=True,
    open_edges=0,
    merged_vertices=0,
    dropped_faces=0,
    turned_faces=0,
    used_pct=98.7654321,
    openings=(
        OpeningFound(1, 9.123456, 34.0823, 107.0, 212.98765, (0.0, 0.0, 212.9), "up", 2.345, 1.0),
        OpeningFound(2, 0.123456, 3.9, 12.3, 0.0, (0.0, 0.0, 0.0), "down", 0.0, 1.0),
    ),
    bodies=(BodyFound(long("body"), 1234, 400.123), BodyFound(long("body", 1), 12, 56.0)),
    wall_thickness=ThicknessFound("rays between both faces", 512.3, 301.2, 350.1, 500.0, 700.5, 912.3, 1.234),
    repairs=("4 vertices merged",),
    project="package:\n  parts:\n    bottle:\n",
    room_ml=1000.0,
)


def _project(status: str, unit: str, objective: float | None) -> ProjectRow:
    return ProjectRow(
        project=f"{long('folder')}/{long('project')}.yaml",
        title="",
        status=status,
        passes=status == "optimal",
        shelf_life_days=123.456789,
        target_days=9 * MONTH,
        limited_by="water_activity_max",
        objective=objective,
        objective_unit=unit,
        gap_pct=0.0123456,
        mass_g=12.3,
        cost_per_package=None,
        currency="",
        warnings=1,
        seconds=123.456,
        inputs_sha256="ab" * 32,
        messages=("not met: oxygen gain",) * 5,
    )


def portfolio(*units: str) -> Portfolio:
    return Portfolio(
        command="design",
        folder="projects",
        results="projects/results",
        version="0.0.0",
        rows=tuple(
            _project(status, unit, 1234.56789 if status == "optimal" else None)
            for unit in units
            for status in ("optimal", "memory limit", "input error")
        ),
        computed=3,
        passed_over={},
        workers=2,
        seconds=12.3,
    )


#: name -> page in a set of units
PAGES: Mapping[str, Callable[[System], Page]] = {
    "predict": lambda units: predict_page(PREDICTED, units=units),
    "design": lambda units: design_page(DESIGNED, units=units),
    "design, thickness": lambda units: design_page(THICKEST, units=units),
    "design, no prediction": lambda units: design_page(replace(DESIGNED, predicted=None), units=units),
    "check": lambda units: check_page(CHECKED, units=units),
    "tradeoff, cost": lambda units: tradeoff_page(frontier("cost"), units=units),
    "tradeoff, mass": lambda units: tradeoff_page(frontier("mass"), units=units),
    "tradeoff, thickness": lambda units: tradeoff_page(frontier("thickness"), units=units),
    "compare, cost": lambda units: compare_page(comparison("cost"), units=units),
    "compare, mass": lambda units: compare_page(comparison("mass"), units=units),
    "compare, thickness": lambda units: compare_page(comparison("thickness"), units=units),
    "geometry": lambda units: geometry_page(MESH, units=units),
    "portfolio": lambda units: portfolio_page(portfolio("g/package"), units=units),
    "portfolio, two units": lambda units: portfolio_page(portfolio("g/package", "um"), units=units),
}

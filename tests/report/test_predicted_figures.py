"""Charts of a prediction hold the numbers of the result, converted, and say them in words."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.constants import inch, psi

import optimizer
from optimizer.report.figures.model import LineChart
from optimizer.report.figures.predicted import inside_charts, limit_charts, shown_days
from optimizer.report.figures.spreads import influence_chart, life_distribution
from optimizer.report.figures.through import humidity_charts, pressure_charts, resistance_charts, ways_chart
from optimizer.report.figures.wall_sections import wall_drawings, walls_by_area
from optimizer.results import PredictResult, Transmission
from optimizer.results_uncertainty import Influence, PercentileEnd, UncertaintyResult
from optimizer.units.systems import US

from .samples import FAILING, GAS_UNIT, MONTH, OXYGEN, PASSING

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def oat() -> PredictResult:
    return optimizer.predict(EXAMPLES / "oat_drink_bottle" / "project.yaml")


@pytest.fixture(scope="module")
def crackers() -> PredictResult:
    return optimizer.predict(EXAMPLES / "cracker_pouch" / "project.yaml")


def spread(lives: tuple[float, ...], beyond: float = 0.0) -> UncertaintyResult:
    """Invented samples; lives [days]."""
    marks = {"p05": lives[0], "p50": lives[len(lives) // 2], "p95": None if beyond else lives[-1]}
    return UncertaintyResult(
        samples=64,
        seed=1,
        wall="steady",
        probability=0.75,
        probability_error=0.02,
        shelf_life_days=marks,
        percentiles=(PercentileEnd(5, lives[0], "oxygen_gain"),),
        ended_by={"oxygen_gain": 1.0 - beyond, "none": beyond},
        influences=(Influence("O2 permeability", 0.5, 0.6), Influence("humidity", 0.3, 0.2)),
        spreads=(),
        life_days=lives,
    )


def test_a_curve_is_the_series_of_the_result_up_to_the_end_of_the_axis(oat: PredictResult) -> None:
    chart = limit_charts(oat)[0]
    curve = chart.curves[0]
    days, values = oat.time_series["days"], oat.time_series["oxygen_gain_mg_per_kg"]
    assert chart.x.unit == "months"
    inner = len(curve.x) - 1
    assert curve.x[:inner] == pytest.approx([d / MONTH for d in days[:inner]])
    assert curve.y[:inner] == values[:inner]
    assert oat.target_days is not None and oat.shelf_life_days is not None
    end = max(1.25 * oat.target_days, 1.1 * oat.shelf_life_days)
    assert curve.x[-1] * MONTH == pytest.approx(end)
    assert curve.y[-1] == pytest.approx(np.interp(end, days, values))


def test_the_axis_never_goes_past_the_time_looked_at() -> None:
    assert shown_days(PASSING, 26.9 * MONTH) == PASSING.horizon_days
    unlimited = replace(PASSING, target_days=None, shelf_life_days=None)
    assert shown_days(unlimited, None) == PASSING.horizon_days
    assert shown_days(unlimited, 0.0) == PASSING.horizon_days


def test_without_a_target_the_axis_suits_the_shelf_life() -> None:
    """131 days within a horizon of five years: not 0.36 years, and no chart goes on for years."""
    days = tuple(30.0 * k for k in range(62))
    short = replace(
        PASSING,
        target_days=None,
        shelf_life_days=131.0,
        horizon_days=1826.0,
        limits=tuple(
            replace(o, reached_after_days=131.0 if o.name == PASSING.limited_by else None, at_target=None)
            for o in PASSING.limits
        ),
        time_series={"days": days, **{k: days for k in PASSING.time_series if k != "days"}},
    )
    charts = (*limit_charts(short), *inside_charts(short))
    assert charts
    for chart in charts:
        assert chart.x.unit == "days"
        assert chart.curves[0].x[-1] == pytest.approx(1.1 * 131.0)


def test_the_stages_cover_the_time_axis_without_gaps(oat: PredictResult, crackers: PredictResult) -> None:
    for result in (oat, crackers):
        for chart in (*limit_charts(result), *inside_charts(result)):
            assert chart.bands[0].start == 0.0
            assert chart.bands[-1].end == pytest.approx(chart.curves[0].x[-1])
            assert all(a.end == b.start for a, b in pairwise(chart.bands))
            assert all(band.start < band.end for band in chart.bands)


def test_limit_target_and_crossing_are_marked(oat: PredictResult) -> None:
    rules = limit_charts(oat)[0].rules
    assert [(r.axis, r.kind) for r in rules] == [("y", "limit"), ("x", "target"), ("x", "note")]
    assert rules[0].value == 5.0
    assert rules[1].value == pytest.approx(9.0)
    assert oat.limits[0].reached_after_days is not None
    assert rules[2].value == pytest.approx(oat.limits[0].reached_after_days / MONTH)
    # where the curve meets the limit, to the width of the steps of the series
    curve = limit_charts(oat)[0].curves[0]
    assert np.interp(rules[2].value, curve.x, curve.y) == pytest.approx(5.0, rel=1e-3)


def test_the_description_says_what_the_curve_shows() -> None:
    series = {"days": (0.0, 27 * MONTH), "oxygen_gain_mg_per_kg": (0.0, 9.1)}
    said = limit_charts(replace(PASSING, time_series=series))[0].description
    assert said == (
        "Oxygen gain rises to 3.16 mg/kg at the target of 9 months; "
        "the limit of 5 mg/kg is reached after 14.2 months."
    )


def test_a_limit_that_is_just_missed_is_told_apart_from_what_is_reached() -> None:
    said = limit_charts(FAILING)[0].description
    assert "rises to 5.001 mg/kg" in said
    assert "limit of 5 mg/kg is reached after 9 months" in said


def test_without_a_target_the_description_tells_of_the_end_of_the_look() -> None:
    limit = replace(OXYGEN, at_target=None, reached_after_days=None, status="not reached")
    result = replace(PASSING, target_days=None, shelf_life_days=None, limits=(limit,))
    chart = limit_charts(result)[0]
    assert "rises to 1.1 mg/kg after 100 days" in chart.description
    assert "not reached within 27 months" in chart.description
    assert not [r for r in chart.rules if r.kind == "target"]


def test_no_limits_and_no_series_give_no_chart() -> None:
    assert limit_charts(replace(PASSING, limits=())) == ()
    assert limit_charts(replace(PASSING, time_series={"days": (0.0, 1.0)})) == ()


def test_two_limits_of_the_water_activity_share_a_chart(crackers: PredictResult) -> None:
    wet = next(o for o in crackers.limits if o.name == "water_activity_max")
    dry = replace(wet, name="water_activity_min", limit=0.1, reached_after_days=None, status="not reached")
    charts = limit_charts(replace(crackers, limits=(wet, dry)))
    assert [chart.title for chart in charts] == ["Water activity over time"]
    limits = [r for r in charts[0].rules if r.kind == "limit"]
    assert {r.value for r in limits} == {0.38, 0.1}
    assert len({r.name for r in limits}) == 2


def test_the_gas_inside_is_shown_in_the_units_asked_for(oat: PredictResult) -> None:
    metric, us = inside_charts(oat)[0], inside_charts(oat, US)[0]
    assert (metric.y.unit, us.y.unit) == ("kPa", "psi")
    # factor: scipy.constants.psi [Pa]
    assert us.curves[0].y == pytest.approx([y * 1e3 / psi for y in metric.curves[0].y], rel=1e-6)


def test_shares_of_parts_and_layers_add_up_to_all(oat: PredictResult, crackers: PredictResult) -> None:
    for result in (oat, crackers):
        ways = ways_chart(result)
        assert ways is not None
        for chart in (ways, *resistance_charts(result)):
            for k in range(len(chart.rows)):
                assert sum(part.values[k] for part in chart.parts) == pytest.approx(100.0)
            assert all(len(part.values) == len(chart.rows) for part in chart.parts)


def test_the_barrier_carries_the_resistance_to_oxygen(oat: PredictResult) -> None:
    chart = resistance_charts(oat)[0]
    oxygen = next(k for k, row in enumerate(chart.rows) if row.startswith("O2"))
    largest = max(chart.parts, key=lambda part: part.values[oxygen])
    assert largest.name == "3 EVOH 32"
    assert "3 EVOH 32" in chart.description


def test_many_small_parts_are_drawn_together() -> None:
    rows = tuple(Transmission("shelf", f"part {k}", "O2", 1.0, GAS_UNIT, 0.05) for k in range(20))
    chart = ways_chart(replace(PASSING, transmission=rows))
    assert chart is not None
    assert len(chart.parts) == 8
    assert chart.parts[-1].name == "13 others"
    assert chart.parts[-1].values[0] == pytest.approx(65.0)


def test_humidity_runs_from_the_inside_to_the_outside_of_every_stage(oat: PredictResult) -> None:
    chart = humidity_charts(oat)[0]
    assert [c.name for c in chart.curves] == ["warehouse", "truck", "shelf"]
    assert [c.y[0] for c in chart.curves] == pytest.approx([99.0] * 3)  # the drink's water activity
    assert [c.y[-1] for c in chart.curves] == pytest.approx([50.0, 75.0, 55.0])  # of the storage
    assert chart.bands[0].start == 0.0
    assert all(a.end == b.start for a, b in pairwise(chart.bands))
    assert chart.bands[-1].end == pytest.approx(chart.curves[0].x[-1])
    thickness = [layer.thickness_um for layer in oat.structure["bottle"]]
    assert [b.end - b.start for b in chart.bands] == pytest.approx(thickness)


def test_depths_are_in_mils_where_those_are_asked_for(oat: PredictResult) -> None:
    metric, us = humidity_charts(oat)[0], humidity_charts(oat, US)[0]
    assert us.x.unit == "mil"
    mil_in_um = inch / 1000.0 * 1e6  # scipy.constants.inch [m]
    assert us.curves[0].x == pytest.approx([x / mil_in_um for x in metric.curves[0].x])
    assert us.bands[-1].end == pytest.approx(metric.bands[-1].end / mil_in_um)


def test_a_pressure_profile_ends_at_the_pressures_inside_and_outside(
    oat: PredictResult, crackers: PredictResult
) -> None:
    for result in (oat, crackers):
        charts = {c.title: c for c in pressure_charts(result)}
        oxygen = next(c for title, c in charts.items() if title.startswith("Partial pressure of O2"))
        series = result.time_series
        for curve, span in zip(oxygen.curves, result.storage, strict=True):
            # the first moment in the stage itself: before it the gas has the temperature of the stage before
            days = np.asarray(series["days"])
            k = int(np.argmax(days > span.from_days)) if span.from_days else 0
            assert curve.y[0] == series["O2_pressure_kPa"][k]
            assert span.from_days <= days[k] <= span.from_days + (span.to_days - span.from_days) / 8 + 1e-6
            assert curve.y[-1] == span.outside_kPa["O2"]
        water = next(c for title, c in charts.items() if title.startswith("Vapour"))
        for curve, span in zip(water.curves, result.storage, strict=True):
            assert curve.y[-1] == pytest.approx(span.outside_kPa["H2O"])


def test_vapour_inside_is_its_humidity_of_the_saturation_pressure(oat: PredictResult) -> None:
    """2.81 kPa at 23 degC: steam tables (IAPWS), from memory."""
    water = next(c for c in pressure_charts(oat) if c.title.startswith("Vapour"))
    assert water.curves[0].y[0] == pytest.approx(0.99 * 2.81, rel=2e-3)


def test_without_a_table_of_layers_there_are_no_profiles(oat: PredictResult) -> None:
    bare = replace(oat, layers=())
    assert humidity_charts(bare) == () and pressure_charts(bare) == () and resistance_charts(bare) == ()
    assert all(layer.note == "" for layer in wall_drawings(bare)[0].layers)
    assert pressure_charts(replace(oat, storage=())) == ()


def test_walls_are_drawn_with_their_layers_the_largest_first(oat: PredictResult) -> None:
    drawing = wall_drawings(oat)[0]
    layers = oat.structure["bottle"]
    assert [(x.name, x.thickness) for x in drawing.layers] == [(x.material, x.thickness_um) for x in layers]
    middle = [x.humidity_mid_pct for x in oat.layers if x.material == "EVOH 32"]
    assert drawing.layers[2].note == f"{min(middle):.0f} to {max(middle):.0f} % RH"
    two = replace(
        oat,
        structure={"lid": layers[:1], "tub": layers, "label, at its commonest thickness": layers[:2]},
        geometry=(
            {"part": "lid", "wall": "lid", "area_cm2": 10.0},
            {"part": "side", "wall": "tub", "area_cm2": 40.0},
            {"part": "label", "wall": "label", "area_cm2": 20.0},
        ),
    )
    assert walls_by_area(two) == ("tub", "label, at its commonest thickness", "lid")


def test_a_distribution_counts_every_sample_and_the_target_parts_its_bars() -> None:
    lives = tuple(MONTH * x for x in np.linspace(5.0, 20.0, 60))
    chart = life_distribution(replace(PASSING, uncertainty=spread(lives, 0.25)))
    assert chart is not None
    assert sum(chart.shares) + chart.beyond == pytest.approx(1.0)
    assert any(edge == pytest.approx(9.0) for edge in chart.edges)
    below = sum(s for s, e in zip(chart.shares, chart.edges[1:], strict=True) if e <= 9.0 + 1e-9)
    assert below == pytest.approx(0.75 * np.mean(np.array(lives) < 9.0 * MONTH))
    assert [r.kind for r in chart.rules] == ["note", "note", "target"]  # no 95th percentile in the time
    assert chart.good == "above"
    assert "Of the samples 5 % last less than 5 months and half last less than" in chart.description
    assert "95 %" not in chart.description and "In 25 % no limit is reached" in chart.description


def test_samples_of_one_life_are_one_bar() -> None:
    chart = life_distribution(replace(PASSING, target_days=None, uncertainty=spread((200.0, 200.0))))
    assert chart is not None
    assert len(chart.edges) == len(chart.shares) + 1
    assert sum(chart.shares) == pytest.approx(1.0)
    assert chart.good == ""


def test_without_samples_or_lives_there_is_no_distribution() -> None:
    assert life_distribution(PASSING) is None
    none = replace(spread((1.0,)), life_days=())
    assert life_distribution(replace(PASSING, uncertainty=none)) is None
    assert influence_chart(None) is None
    assert influence_chart(replace(none, influences=())) is None


def test_a_bar_of_influence_ends_at_all_that_the_input_does() -> None:
    chart = influence_chart(spread((1.0, 2.0)))
    assert chart is not None
    alone, rest = (part.values for part in chart.parts)
    # sampling error: the second does less in all than alone, and the bar still ends at the first number
    assert [a + b for a, b in zip(alone, rest, strict=True)] == pytest.approx([60.0, 20.0])
    assert min(rest) >= 0.0


def test_an_influence_is_named_in_the_words_of_the_terminal() -> None:
    shared = Influence("shared: source a_handbook", 0.2, 0.3)
    chart = influence_chart(replace(spread((1.0, 2.0)), influences=(shared,)))
    assert chart is not None
    words = "what the properties from a_handbook have in common"
    assert chart.rows == (words,) and words in chart.description


def test_every_chart_says_what_it_shows(oat: PredictResult) -> None:
    ways = ways_chart(oat)
    assert ways is not None
    charts = [*limit_charts(oat), *inside_charts(oat), *humidity_charts(oat), *pressure_charts(oat), ways]
    for chart in charts:
        assert any(c.isdigit() for c in chart.description) and chart.description.endswith(".")
        if isinstance(chart, LineChart):
            assert all(len(c.x) == len(c.y) for c in chart.curves)

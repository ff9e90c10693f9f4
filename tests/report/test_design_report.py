"""The report of a design: the choice with its proof, or why there is none."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from optimizer.report.design import design_page
from optimizer.report.figures.designed import alternatives_chart, binding_charts
from optimizer.report.figures.model import BarChart
from optimizer.report.html.chunks import chunks_of
from optimizer.report.html.design import design_report
from optimizer.report.html.model import Report
from optimizer.results import Binding, DesignResult
from optimizer.units.systems import US

from .samples import DESIGNED, INFEASIBLE, OUT_OF_TIME, PASSING
from .test_predict_report import BASIS, headings

CREATED = datetime(2026, 1, 2, 3, 4)


def report(result: DesignResult) -> Report:
    return design_report(result, created=CREATED)


def figure(result: DesignResult, key: str) -> BarChart:
    section = next(s for s in report(result).sections if s.key == key)
    found = section.figures[0]
    assert isinstance(found, BarChart)
    return found


def test_the_first_page_says_what_was_chosen_and_what_is_proved() -> None:
    told = report(DESIGNED)
    assert (
        told.question
        == "Which structure of the walls is the cheapest that keeps every limit and rule for 9 months?"
    )
    assert told.verdict.startswith("OPTIMAL: cost 0.05235 EUR. PASSES: lasts 14.2 months, target 9 months")
    assert told.good is True
    values = {fact.name: (fact.value, fact.remark) for fact in told.facts}
    assert values["Material cost"] == ("0.05235 EUR", "minimised")
    assert values["Lower bound"] == ("0.0523 EUR", "gap 0.078 %")
    assert values["Shelf life"][0] == "14.2 months"
    assert len(told.facts) == len(values)


def test_the_chosen_wall_is_drawn_first() -> None:
    drawing = report(DESIGNED).drawings[0]
    assert drawing.title == "Wall bottle, 314.5 um"
    assert [(x.name, x.thickness) for x in drawing.layers] == [
        ("HDPE", 300.0),
        ("tie PE", 8.0),
        ("EVOH 32", 6.5),
    ]
    assert "from inside to outside: HDPE 300 um" in drawing.description


def test_bars_of_the_alternatives_are_their_distance_from_the_best() -> None:
    chart = figure(DESIGNED, "next")
    assert chart.parts[0].values == tuple(a.excess_pct for a in DESIGNED.alternatives)
    assert chart.labels == ("+3.4 %",)
    assert "3.4 % above, 0.0541 EUR" in chart.description
    assert alternatives_chart(replace(DESIGNED, alternatives=())) is None


def test_bars_of_the_limits_are_what_they_save() -> None:
    chart = figure(DESIGNED, "optimum")
    assert chart.rows == ("oxygen gain: 1 mg/kg more", "share of EVOH: 1 % more")
    assert chart.parts[0].values == (0.0012, 0.0003)
    assert chart.x.unit == "EUR"


def test_a_saving_that_is_proved_in_part_only_is_drawn_at_its_lower_end() -> None:
    wide = Binding("oxygen_gain", "10 % looser", 0.002, "EUR", saves_least=0.001, saves_most=0.004)
    chart = binding_charts(replace(DESIGNED, binding=(wide,)))[0]
    assert chart.parts[0].values == (0.001,)
    assert chart.labels == (">= 0.001",)
    assert "saves at least 0.001 EUR" in chart.description


def test_what_is_dearer_the_other_way_has_a_chart_of_its_own() -> None:
    both = Binding("oxygen_gain", "10 % looser", 0.002, "EUR", tighter="10 % tighter", costs=0.003)
    charts = binding_charts(replace(DESIGNED, binding=(both,)))
    assert [c.parts[0].values for c in charts] == [(0.002,), (0.003,)]
    assert charts[1].rows == ("oxygen gain: 10 % tighter",)


def test_a_lightest_design_is_told_in_the_units_asked_for() -> None:
    light = replace(DESIGNED, minimised="mass", objective=28.349523125, objective_unit="g", lower_bound=28.0)
    told = design_report(light, units=US, created=CREATED)
    # one ounce (avoirdupois) is 28.349523125 g: NIST Handbook 44, Appendix C
    assert {f.name: f.value for f in told.facts}["Mass"] == "1 oz"
    assert "lightest" in told.question


def test_an_infeasible_design_says_what_cannot_hold_together() -> None:
    told = report(INFEASIBLE)
    assert told.good is False
    assert told.verdict.startswith("INFEASIBLE")
    assert told.limits[0] == "oxygen gain at most 5 mg/kg for 9 months"
    assert any("6.1 months" in line for line in told.limits)
    assert told.drawings == () and told.facts == ()
    assert "time" not in {s.key for s in told.sections}


def test_a_search_that_found_nothing_is_told_with_its_bound() -> None:
    told = report(OUT_OF_TIME)
    assert told.good is False
    assert [f.name for f in told.facts] == ["Lower bound"]
    choice = next(s for s in told.sections if s.key == "choice")
    assert choice.page is not None and "0.031 EUR" in choice.page.text()


def test_all_of_the_prediction_follows() -> None:
    keys = [s.key for s in report(DESIGNED).sections]
    assert keys[0] == "choice"
    assert {"optimum", "next", "time", "ways", "walls", "mass", "solver"} <= set(keys)
    assert len(keys) == len(set(keys))


CONFIDENT = replace(
    DESIGNED,
    confidence={
        "asked": 0.95,
        "probability": 0.962,
        "probability_error": 0.004,
        "samples": 1024,
        "fresh_seed": 7,
        "seed": 1,
        "wall": "steady",
        "searches": 3,
        "price": 0.002,
        "objective_without": 0.0503,
        "reserve": {"oxygen_gain": 0.2},
        "notes": (),
    },
)


@pytest.mark.parametrize("result", [DESIGNED, INFEASIBLE, OUT_OF_TIME, CONFIDENT])
def test_nothing_of_the_terminal_page_is_lost(result: DesignResult) -> None:
    told = {c.heading for c in chunks_of(design_page(result)) if c.heading}
    assert {h for h in told if not h.startswith(BASIS)} <= headings(report(result)) | {"Solver"}
    assert not result.solver or any(s.key == "solver" for s in report(result).sections)


def test_the_chance_asked_for_is_that_of_the_fresh_samples() -> None:
    fact = next(f for f in report(CONFIDENT).facts if f.name == "Chance of passing")
    assert fact.value.startswith("96.2")
    assert fact.remark == "of 1024 fresh samples; 95 % asked for"


def test_warnings_of_design_and_prediction_are_told_once() -> None:
    doubled = replace(DESIGNED, warnings=(*PASSING.warnings, "the search was short"))
    assert report(doubled).basis.warnings == (*PASSING.warnings, "the search was short")

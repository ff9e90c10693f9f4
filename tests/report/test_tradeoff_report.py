"""The report of a frontier, on the answer made by hand of ``test_tradeoff`` (invented numbers)."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

import pytest

from optimizer.report.figures.frontier import (
    frontier_chart,
    steps_chart,
    stretches_of,
    thickness_charts,
)
from optimizer.report.figures.model import BarChart, LineChart, SectionDrawing
from optimizer.report.html.model import Report
from optimizer.report.html.tradeoff import tradeoff_report
from optimizer.report.page import Item
from optimizer.results import ChosenLayer
from optimizer.results_tradeoff import TradeoffResult
from optimizer.units.systems import SI, US, System

from .test_tradeoff import EMPTY, FIVE, FOUR, FRONTIER, IMPOSSIBLE, KINK, MONTH, PAGES, point

NOW = datetime(2026, 11, 28, 10, 0)
HOSTILE = '<script>alert("1")</script> & </svg>\x07'


def made(result: TradeoffResult, units: System = SI) -> Report:
    return tradeoff_report(result, units=units, created=NOW)


def frontier(result: TradeoffResult, units: System = SI) -> LineChart:
    chart = frontier_chart(result, units)
    assert chart is not None
    return chart


# -- the curve -----------------------------------------------------------------------------------------------


def test_the_curve_goes_through_every_point_and_both_sides_of_every_change_and_nothing_else() -> None:
    curve = frontier(FRONTIER).curves[0]
    known = [(p.shelf_life_days / MONTH, p.objective) for p in FRONTIER.points]
    known += [(8.8, 0.0621), (8.9, 0.0622)]
    assert list(zip(curve.x, curve.y, strict=True)) == [pytest.approx(x) for x in sorted(known)]
    assert curve.marks and len(curve.words) == len(curve.x)
    assert curve.words[0] == "A: HDPE 510 / tie PE 6 / EVOH 32 6.12"
    assert curve.words[-1] == "B: HDPE 570 / PA6 10"


def test_the_bound_is_dashed_and_never_above_the_curve_where_it_was_proved() -> None:
    """A bound at one shelf life holds for every longer one, for whatever lasts longer also lasts as long."""
    curve, bound = frontier(FRONTIER).curves
    assert bound.dashed and not curve.dashed
    at = dict(zip(curve.x, curve.y, strict=True))
    for x, y in zip(bound.x, bound.y, strict=True):
        assert y <= at[x]
    assert all(a <= b for a, b in pairwise(bound.y)) and all(a <= b for a, b in pairwise(bound.x))
    for p in FRONTIER.points:
        assert max(y for x, y in zip(bound.x, bound.y, strict=True) if x == p.shelf_life_days / MONTH) == (
            pytest.approx(p.lower_bound)
        )


def test_without_a_proof_there_is_no_bound() -> None:
    points = tuple(replace(p, lower_bound=None, gap=None) for p in FRONTIER.points)
    assert len(frontier(replace(FRONTIER, points=points)).curves) == 1


def test_each_stretch_of_one_sequence_is_a_band_with_its_layers() -> None:
    bands = frontier(FRONTIER).bands
    assert [b.name for b in bands] == ["A: HDPE / tie PE / EVOH 32", "B: HDPE / PA6"]
    assert [(b.start, b.end) for b in bands] == [pytest.approx((3, 8.85)), pytest.approx((8.85, 12.2))]


def test_many_stretches_keep_their_letters_only() -> None:
    two = {"bottle": (ChosenLayer("HDPE", 500.0), ChosenLayer("tie PE", 5.0))}
    points = tuple(point(3 + i, 0.05 + 0.001 * i, (FIVE, FOUR, two)[i % 3]) for i in range(6))
    bands = frontier(replace(FRONTIER, points=points, kinks=())).bands
    assert [b.name for b in bands] == ["A", "B", "C", "A", "B", "C"]


def test_target_and_longest_shelf_life_are_lines_across() -> None:
    target, longest = frontier(FRONTIER).rules
    assert (target.axis, target.kind, target.value) == ("x", "target", pytest.approx(6))
    assert (longest.axis, longest.kind, longest.value) == ("x", "note", pytest.approx(12.2))
    assert frontier(replace(FRONTIER, target_days=None, longest_days=None)).rules == ()


def test_the_description_tells_every_point_and_every_structure() -> None:
    text = frontier(FRONTIER).description
    for part in (
        "3 months 0.05 EUR/package (A)",
        "12.2 months 0.075 EUR/package (B)",
        "The target is 6 months",
    ):
        assert part in text
    assert "A from 3 to 8.85 months: HDPE / tie PE / EVOH 32; B from 8.85 to 12.2 months: HDPE / PA6" in text


def test_each_extra_month_is_the_slope_between_two_points() -> None:
    """By hand: (0.06 - 0.05) / 3, (0.0625 - 0.06) / 3, (0.075 - 0.0625) / 3.2, for 1000 packages."""
    chart = steps_chart(FRONTIER)
    assert isinstance(chart, BarChart)
    assert chart.parts[0].values == pytest.approx([10 / 3, 2.5 / 3, 12.5 / 3.2])
    assert chart.rows == ("3 to 6 months", "6 to 9 months", "9 to 12.2 months")
    assert chart.x.unit == "EUR/1000 packages for each extra month"
    assert chart.labels == ("+3.33", "+0.833", "+3.91")


def test_the_mass_is_not_told_for_a_thousand_packages() -> None:
    chart = steps_chart(replace(FRONTIER, minimised="mass", unit="g/package"))
    assert chart is not None and chart.x.unit == "g/package for each extra month"
    american = steps_chart(replace(FRONTIER, minimised="mass", unit="g/package"), US)
    assert american is not None and american.x.unit == "oz/package for each extra month"
    # 1 oz is 28.349523125 g by definition (international avoirdupois pound)
    assert american.parts[0].values[0] == pytest.approx(0.01 / 3 / 28.349523125)


def test_each_material_has_a_curve_only_where_it_is_used() -> None:
    (chart,) = thickness_charts(FRONTIER)
    curves = {c.name: c for c in chart.curves}
    assert list(curves) == ["HDPE", "tie PE", "EVOH 32", "PA6"]
    assert curves["HDPE"].y == (510.0, 510.0, 510.0, 570.0, 570.0, 570.0)
    assert [math.isnan(y) for y in curves["PA6"].y] == [True, True, True, False, False, False]
    assert chart.y.log and "PA6 10 in B" in chart.description and "HDPE 510 to 570;" in chart.description


def test_layers_of_one_material_are_taken_together() -> None:
    twice = {"bottle": (ChosenLayer("HDPE", 500.0), ChosenLayer("PA6", 20.0), ChosenLayer("HDPE", 60.0))}
    (chart,) = thickness_charts(replace(FRONTIER, points=(point(3, 0.05, twice),), kinks=()), US)
    assert chart.curves[0].y == pytest.approx([560.0 / 25.4])  # 1 mil is 25.4 um by definition
    assert chart.y.unit == "mil"


def test_every_wall_has_its_own_chart() -> None:
    titles = [c.title for c in thickness_charts(PAGES["two walls"])]
    assert titles == ["Thickness of each material of wall bottle", "Thickness of each material of wall lid"]


# -- the report ----------------------------------------------------------------------------------------------


def test_the_first_page_says_what_a_month_costs_and_where_the_layers_change() -> None:
    report = made(FRONTIER)
    facts = {f.name: f for f in report.facts}
    assert facts["Least cost at 6 months"].value == "0.06 EUR"
    assert facts["Least cost at 6 months"].remark.startswith("a package; the target; its life is ended by")
    assert facts["Each extra month"].value == "+0.833 EUR"
    assert facts["Each extra month"].remark == "for 1000 packages, in the mean from 6 to 9 months"
    assert facts["Longest shelf life"].value == "12.2 months"
    assert any(x.startswith("A to B between 8.8 and 8.9 months") for x in report.limits)
    assert report.verdict.startswith("FRONTIER: 4 points") and report.good is None
    assert report.question == "What is the least cost for each shelf life from 3 to 18 months?"


def test_the_drawing_is_the_structure_at_the_target() -> None:
    (drawing,) = made(FRONTIER).drawings
    assert isinstance(drawing, SectionDrawing) and "For 6 months" in drawing.title
    assert [(x.name, x.thickness) for x in drawing.layers] == [
        ("HDPE", 510.0), ("tie PE", 6.0), ("EVOH 32", 6.123456)
    ]  # fmt: skip


def test_without_a_point_at_the_target_the_nearest_is_drawn_and_said_to_be() -> None:
    report = made(replace(FRONTIER, target_days=8.9 * MONTH))
    assert "For 9 months" in report.drawings[0].title
    assert report.facts[0].remark.startswith("a package; the point nearest to the target")


def test_at_the_last_point_the_month_before_is_told() -> None:
    report = made(replace(FRONTIER, target_days=12.2 * MONTH))
    extra = {f.name: f.remark for f in report.facts}["Each extra month"]
    assert extra == "for 1000 packages, in the mean from 9 to 12.2 months"


def test_of_many_changes_those_beside_the_target_stand_first() -> None:
    far = replace(KINK, between_days=(3.1 * MONTH, 3.2 * MONTH), change="far")
    near = replace(KINK, between_days=(6.1 * MONTH, 6.2 * MONTH), change="near")
    told = [x for x in made(replace(FRONTIER, kinks=(far, near, KINK))).limits if x.endswith(("far", "near"))]
    assert [x.rpartition(" ")[2] for x in told] == ["near", "far"]


def test_every_structure_is_drawn_and_the_tables_are_those_of_the_terminal() -> None:
    report = made(FRONTIER)
    sections = {s.key: s for s in report.sections}
    assert list(sections) == ["frontier", "layers", "solver"]
    drawn = [f.title for f in sections["layers"].figures if isinstance(f, SectionDrawing)]
    assert [t.partition(":")[0] for t in drawn] == ["A, for 3 months", "B, for 8.9 months"]
    assert sections["frontier"].page is not None and "Where the structure changes" in (
        sections["frontier"].page.text()
    )
    assert report.basis.warnings and report.basis.gases == ("O2", "H2O")


def test_one_point_alone_has_no_slope_and_is_drawn_all_the_same() -> None:
    one = replace(FRONTIER, points=FRONTIER.points[:1], kinks=())
    assert steps_chart(one) is None
    chart = frontier(one)
    assert chart.curves[0].x == (pytest.approx(3),) and chart.bands == ()
    report = made(one)
    assert [f.name for f in report.facts][:1] == ["Least cost at 3 months"]
    assert "A at 3 months: HDPE / tie PE / EVOH 32" in chart.description


def test_what_is_infeasible_is_said_in_words_and_nothing_is_drawn() -> None:
    report = made(IMPOSSIBLE)
    assert report.good is False and report.verdict.startswith("INFEASIBLE")
    assert "Cannot hold together: the limit on oxygen gain" in report.limits
    assert report.drawings == () and report.facts == ()
    assert not any(s.figures for s in report.sections)
    assert [s.key for s in report.sections] == ["conflict", "solver"]


def test_a_search_that_was_stopped_says_so() -> None:
    assert made(replace(EMPTY, status="interrupt")).verdict.startswith("INTERRUPTED")
    report = made(replace(FRONTIER, status="time", longest_days=None))
    assert report.verdict.startswith("TIME LIMIT") and report.good is False


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("units", [SI, US], ids=["si", "us"])
def test_every_answer_has_a_report(name: str, units: System) -> None:
    report = made(PAGES[name], units)
    assert report.verdict and report.question and report.created == NOW
    keys = [section.key for section in report.sections]
    assert keys and len(keys) == len(set(keys))


def test_hostile_names_come_through_as_they_are() -> None:
    """Builders hold plain text; what draws it escapes it."""
    structure = {HOSTILE: (ChosenLayer(HOSTILE, 10.0), ChosenLayer("PA6", 5.0))}
    report = made(replace(FRONTIER, title=HOSTILE, points=(point(3, 0.05, structure),), kinks=()))
    assert report.title == HOSTILE
    assert isinstance(report.drawings[0], SectionDrawing)
    assert report.drawings[0].layers[0].name == HOSTILE


def test_stretches_hold_every_design_once() -> None:
    designs = [d for s in stretches_of(FRONTIER) for d in s.designs]
    assert len(designs) == len(FRONTIER.points) + 2
    assert [d.days for d in designs] == sorted({d.days for d in designs})


def test_in_american_units_thickness_and_words_follow() -> None:
    report = made(FRONTIER, US)
    assert isinstance(report.drawings[0], SectionDrawing) and report.drawings[0].unit == "mil"
    assert "HDPE 20.1 / tie PE 0.236 / EVOH 32 0.241" in frontier(FRONTIER, US).curves[0].words[0]
    page = report.sections[0].page
    assert page is not None and any(isinstance(b, Item) for b in page.blocks)

"""The report of a check: both packages side by side."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

import optimizer
from optimizer.report.check import check_page
from optimizer.report.figures.checked import thickness_chart
from optimizer.report.figures.model import BarChart, Distribution, LineChart
from optimizer.report.html.check import check_report
from optimizer.report.html.chunks import chunks_of
from optimizer.report.html.model import Report
from optimizer.results import CheckResult, LayerThickness, PartThickness
from optimizer.units.systems import US

from .samples import CHECKED
from .test_predict_report import BASIS, headings
from .test_predicted_figures import EXAMPLES, spread

CREATED = datetime(2026, 1, 2, 3, 4)
FOLDER = EXAMPLES / "lightweight_bottle"


@pytest.fixture(scope="module")
def lighter() -> CheckResult:
    return optimizer.check(FOLDER / "after.yaml", FOLDER / "before.yaml")


def report(result: CheckResult) -> Report:
    return check_report(result, created=CREATED)


def test_the_first_page_stands_the_change_against_its_baseline() -> None:
    told = report(CHECKED)
    assert told.good is False
    values = {fact.name: (fact.value, fact.remark) for fact in told.facts}
    assert values["Shelf life"] == ("8.997 months", "baseline 14.2 months (-37 %)")
    assert values["Target"] == ("9 months", "as the baseline")
    assert values["Lightest that passes"] == ("28.44 g", "100.1 % of the thickness")


def test_both_packages_are_curves_of_one_chart(lighter: CheckResult) -> None:
    section = next(s for s in report(lighter).sections if s.key == "side")
    chart = section.figures[0]
    assert isinstance(chart, LineChart)
    assert [(c.name, c.dashed) for c in chart.curves] == [("changed", False), ("baseline", True)]
    for curve, result in zip(chart.curves, (lighter.changed, lighter.baseline), strict=True):
        series = result.time_series
        expected = np.interp(curve.x, series["days"], series["oxygen_gain_mg_per_kg"])
        assert curve.y == pytest.approx(expected)
    limits = [r for r in chart.rules if r.kind == "limit"]
    assert [r.value for r in limits] == [10.0]  # the same for both: drawn once
    assert "Changed: oxygen gain rises to 10.5 mg/kg" in chart.description
    assert "Baseline: oxygen gain rises to 9 mg/kg" in chart.description


def test_different_limits_are_both_drawn_and_named(lighter: CheckResult) -> None:
    first, *others = lighter.baseline.limits
    baseline = replace(lighter.baseline, limits=(replace(first, limit=12.0), *others), target_days=90.0)
    section = next(s for s in report(replace(lighter, baseline=baseline)).sections if s.key == "side")
    chart = section.figures[0]
    assert isinstance(chart, LineChart)
    named = {r.name: r.value for r in chart.rules if r.kind != "note"}
    assert named == {
        "limit 10 mg/kg, changed": 10.0,
        "limit 12 mg/kg, baseline": 12.0,
        "target 112 days, changed": 112.0,
        "target 90 days, baseline": 90.0,
    }


def test_bars_are_the_thickness_of_each_part_before_and_after(lighter: CheckResult) -> None:
    chart = thickness_chart(lighter)
    assert chart is not None
    total = {row: sum(p.values[k] for p in chart.parts) for k, row in enumerate(chart.rows)}
    for part in lighter.thickness:
        assert total[f"{part.part}, baseline"] == pytest.approx(part.baseline_um)
        assert total[f"{part.part}, changed"] == pytest.approx(part.now_um)
    us = thickness_chart(lighter, US)
    assert us is not None and us.x.unit == "mil"
    assert us.parts[0].values[0] == pytest.approx(chart.parts[0].values[0] / 25.4)  # 1 mil is 25.4 um


def test_a_part_of_one_package_only_has_one_bar() -> None:
    new = PartThickness("lid", None, 50.0, None, None, 50.0, (LayerThickness("PET", None, 50.0, None),))
    gone = PartThickness("cap", 70.0, None, None, 70.0, None, (LayerThickness("PP", 70.0, None, None),))
    chart = thickness_chart(replace(CHECKED, thickness=(new, gone)))
    assert chart is not None
    assert chart.rows == ("lid, changed", "cap, baseline")
    assert "lid 50 um, not in the baseline" in chart.description
    assert thickness_chart(CHECKED) is None


def test_both_distributions_have_the_same_edges() -> None:
    old = replace(CHECKED.baseline, uncertainty=spread(tuple(float(x) for x in range(300, 500, 5))))
    new = replace(CHECKED.changed, uncertainty=spread(tuple(float(x) for x in range(200, 350, 5))))
    result = replace(CHECKED, baseline=old, changed=new, at_least_as_long=0.1, at_least_as_long_error=0.01)
    told = report(result)
    section = next(s for s in told.sections if s.key == "uncertainty")
    before, now = (f for f in section.figures if isinstance(f, Distribution))
    assert before.edges == now.edges
    assert sum(before.shares) == pytest.approx(1.0) and sum(now.shares) == pytest.approx(1.0)
    assert any(isinstance(f, BarChart) for f in section.figures)
    assert "At least as long as the baseline" in {fact.name for fact in told.facts}


def test_the_lightest_that_passes_is_drawn() -> None:
    section = next(s for s in report(CHECKED).sections if s.key == "lightest")
    assert section.figures[0].title == "Lightest that passes: wall bottle, 327.8 um"
    nothing = report(replace(CHECKED, lightest_passing={"scale": None, "note": "none passes", "walls": {}}))
    section = next(s for s in nothing.sections if s.key == "lightest")
    assert section.figures == () and section.page is not None
    assert "Lightest that passes" not in {fact.name for fact in nothing.facts}


@pytest.mark.parametrize("sampled", [False, True])
def test_nothing_of_the_terminal_page_is_lost(lighter: CheckResult, sampled: bool) -> None:
    if sampled:
        lives = tuple(float(x) for x in range(80, 140, 2))
        lighter = replace(
            lighter,
            baseline=replace(lighter.baseline, uncertainty=spread(lives)),
            changed=replace(lighter.changed, uncertainty=spread(lives)),
            at_least_as_long=0.5,
            at_least_as_long_error=0.01,
        )
    told = {c.heading for c in chunks_of(check_page(lighter)) if c.heading}
    shown = headings(report(lighter))
    # the uneven wall of the changed package stands under the heading of a prediction
    lost = {h.removeprefix("Changed package: ").lower() for h in told if not h.startswith(BASIS)}
    assert lost <= {h.lower() for h in shown}


def test_every_section_has_a_key_of_its_own(lighter: CheckResult) -> None:
    keys = [s.key for s in report(lighter).sections]
    assert len(keys) == len(set(keys))
    assert {"side", "changes", "lightest", "ways", "walls", "mass"} <= set(keys)

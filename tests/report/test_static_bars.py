"""Bar charts and distributions as static SVG: lengths and heights in proportion to what they stand for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.report.figures import palette
from optimizer.report.figures.model import Axis, BarChart, BarPart, Distribution, Rule
from tests.report.static_samples import BARS, SHARES, SPREAD, Drawn, points


def pieces(drawn):
    """(row, part) -> (left, right) [px]."""
    found = {}
    for rect in drawn.of_class("bar"):
        left = float(rect.get("x"))
        found[rect.get("data-row"), rect.get("data-part")] = left, left + float(rect.get("width"))
    return found


def test_parts_of_bars_stand_end_to_end_and_are_as_long_as_their_values():
    drawn = Drawn(BARS)
    found = pieces(drawn)
    tolerance = drawn.per_pixel("x")
    for k, row in enumerate(BARS.rows):
        end = 0.0
        for part in BARS.parts:
            if not part.values[k]:
                assert (row, part.name) not in found
                continue
            left, right = found[row, part.name]
            assert drawn.value("x", left) == pytest.approx(end, abs=tolerance)
            end += part.values[k]
            assert drawn.value("x", right) == pytest.approx(end, abs=tolerance)


def test_parts_differ_by_colour_and_hatch_and_are_named():
    drawn = Drawn(BARS)
    fills = {r.get("data-part"): r.get("fill") for r in drawn.of_class("bar")}
    patterns = {f"url(#{p.get('id')})": p for p in drawn.root.iter("{*}pattern")}
    looks = {name: patterns[fill] for name, fill in fills.items()}
    grounds = [look[0].get("fill") for look in looks.values()]
    hatches = ["".join(x.get("d") or x.tag for x in look[1:]) for look in looks.values()]
    assert len(set(grounds)) == len(set(hatches)) == len(BARS.parts)
    assert {p.name for p in BARS.parts} <= set(drawn.texts())


def test_whiskers_reach_as_far_as_they_say():
    drawn = Drawn(BARS)
    first, second = drawn.of_class("whisker")
    for whisker, end, half in ((first, 2.35, 0.3), (second, 0.9, 0.1)):
        (a, b), *_ = (points(x)[0] for x in whisker)
        assert drawn.value("x", a[0]) == pytest.approx(end - half, abs=drawn.per_pixel("x"))
        assert drawn.value("x", b[0]) == pytest.approx(end + half, abs=drawn.per_pixel("x"))


def test_labels_and_rules_of_bars_are_there():
    drawn = Drawn(BARS)
    assert {"62 %", "18 %", "6 %", "28 %", "allowed: 2.5 mg"} <= set(drawn.texts())
    (rule,) = drawn.of_class("rule")
    assert drawn.value("x", points(rule[-1])[0][0][0]) == pytest.approx(2.5, abs=drawn.per_pixel("x"))


def test_a_long_name_of_a_row_is_said_in_full_when_pointed_at():
    long = "word " * 60
    assert long in Drawn(replace(BARS, rows=("a", "b", long, "d"))).titles()


def test_bars_below_zero_run_to_the_left():
    chart = BarChart("t", "d", ("less", "more"), Axis("change"), (BarPart("change", (-30.0, 45.0)),))
    drawn = Drawn(chart)
    found = pieces(drawn)
    left, right = found["less", "change"]
    assert [drawn.value("x", x) for x in (left, right)] == pytest.approx([-30, 0], abs=drawn.per_pixel("x"))


def test_a_chart_without_rows_says_so():
    empty = BarChart("t", "d", (), Axis("x"), ())
    assert Drawn(empty).texts() == ["There is nothing to compare."]


def test_bars_of_a_histogram_are_as_high_as_their_shares_and_as_wide_as_their_bins():
    drawn = Drawn(SPREAD)
    bars = drawn.of_class("bar")
    for rect, share, low in zip(bars, SHARES, SPREAD.edges, strict=False):
        assert float(rect.get("data-share")) == share
        assert drawn.value("y", float(rect.get("y"))) == pytest.approx(100 * share, abs=drawn.per_pixel("y"))
        left = drawn.value("x", float(rect.get("x")))
        right = drawn.value("x", float(rect.get("x")) + float(rect.get("width")))
        assert [left, right] == pytest.approx([low, low + 40.0], abs=drawn.per_pixel("x"))


def test_areas_of_unlike_bins_are_in_proportion_to_their_shares():
    shares = (0.1, 0.4, 0.3, 0.2)
    chart = Distribution("t", "d", Axis("gain", "mg/kg"), (0.0, 1.0, 2.0, 4.0, 8.0), shares)
    bars = Drawn(chart).of_class("bar")
    areas = [float(r.get("width")) * float(r.get("height")) for r in bars]
    assert [a / sum(areas) for a in areas] == pytest.approx(shares, rel=0.01)


@pytest.mark.parametrize(
    ("good", "words"), [("above", ["✗ fails", "✓ passes"]), ("below", ["✓ passes", "✗ fails"])]
)
def test_the_side_that_passes_is_said_on_its_side_of_the_target(good, words):
    drawn = Drawn(replace(SPREAD, good=good))
    sides = sorted(drawn.of_class("side"), key=lambda s: float(s.get("x")))
    assert [s.text for s in sides] == words
    target = next(r for r in drawn.of_class("rule") if "asked" in r[0].text)
    place = points(target[-1])[0][0][0]
    assert float(sides[0].get("x")) < place < float(sides[1].get("x"))
    assert drawn.value("x", place) == pytest.approx(300.0, abs=drawn.per_pixel("x"))
    # the ground of the side that passes begins or ends at the target
    tinted = [r for r in drawn.root.iter("{*}rect") if r.get("fill") == palette.GOOD_TINT]
    ends = {round(float(r.get("x")) + (0 if good == "above" else float(r.get("width"))), 1) for r in tinted}
    assert [*ends] == pytest.approx([place], abs=0.11)


def test_what_lies_beyond_the_last_edge_is_said():
    said = "5 % of the samples lie beyond 440 days and are not drawn."
    assert said in Drawn(SPREAD).texts()
    assert not any("beyond" in t for t in Drawn(replace(SPREAD, beyond=0.0)).texts())


def test_a_distribution_without_samples_says_so():
    empty = Distribution("t", "d", Axis("x"), (), ())
    assert Drawn(empty).texts() == ["There is no sample to draw."]


def test_rules_far_from_the_samples_are_said():
    far = replace(SPREAD, rules=(Rule("asked", 9000.0, "x", "target"),))
    assert "Outside this chart: asked: 9000 days" in Drawn(far).texts()


def test_a_label_stands_behind_the_line_that_would_cross_it() -> None:
    """A target at 100 % went through the first figure of the price beside a bar of 93 %."""
    bars = BarChart(
        "Prices",
        "Prices.",
        ("Alder",),
        Axis("price", "%", zero=True),
        (BarPart("price", (93.0,)),),
        labels=("9.6, ties at 10.28 EUR/kg",),
        rules=(Rule("ties", 100.0, "x", "target"),),
    )
    drawn = Drawn(bars)
    label = next(x for x in drawn.root.iter() if "9.6, ties" in (x.text or "") and x.get("x"))
    assert drawn.value("x", float(label.get("x"))) > 100.0


def test_a_long_label_keeps_all_of_its_figures() -> None:
    """Cut in its middle, 'ties at 2.583 EUR/lb' read 'ties at ...3 EUR/lb'."""
    text = "3.357, ties at 2.583 EUR/lb (-23 %)"
    bars = BarChart(
        "P", "P.", ("Birch",), Axis("price", "%", zero=True), (BarPart("price", (130.0,)),), labels=(text,)
    )
    assert text in Drawn(bars).texts()

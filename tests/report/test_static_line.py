"""Line charts as static SVG. The values drawn are found again from the places of marks by the ticks alone:
the axis mapping is inverted here with two ticks, not with the code that drew it."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from optimizer.report.figures.model import Axis, Band, Curve, LineChart, Rule
from tests.report.static_samples import (
    CROWD,
    DAYS,
    FRONT,
    GAIN,
    LINES,
    LOG,
    MANY_WORDS,
    STRUCTURES,
    Drawn,
    points,
)


def chart(*curves, y=None, bands=(), rules=(), x=None):
    return LineChart("t", "d", x or Axis("x"), y or Axis("y"), curves, bands, rules)


def test_a_curve_stands_where_its_values_are_to_a_pixel():
    drawn = Drawn(LINES)
    (run,) = points(drawn.of_class("curve")[0])
    assert len(run) == len(DAYS)
    for (x, y), day, gain in zip(run, DAYS, GAIN, strict=True):
        assert drawn.value("x", x) == pytest.approx(day, abs=drawn.per_pixel("x"))
        assert drawn.value("y", y) == pytest.approx(gain, abs=drawn.per_pixel("y"))


def test_a_curve_on_a_log_axis_stands_where_its_values_are():
    drawn = Drawn(LOG)
    (run,) = points(drawn.of_class("curve")[0])
    for (_, y), value in zip(run, LOG.curves[0].y, strict=True):
        # a pixel of seven decades in 260 px is 6 % of a value
        assert drawn.value("y", y, log=True) == pytest.approx(value, rel=0.03)


def number(text):
    """A number as the axis writes it."""
    text = text.replace("\u202f", "").replace("\u2212", "-")
    lead, ten, power = text.partition("10") if re.search("[⁰¹²³⁴-⁹]", text) else (text, "", "")
    exponent = int(power.translate(str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789"))) if ten else 0
    return float(lead.rstrip("×") or 1) * 10.0**exponent


def test_the_numbers_at_ticks_are_their_values():
    tiny = chart(Curve("a", (0.0, 250_000.0), (2e-6, 7e-6)))
    for figure in (LINES, LOG, tiny):
        for tick in Drawn(figure).of_class("tick"):
            assert number(tick.text) == pytest.approx(float(tick.get("data-value")), rel=1e-6)


def test_limits_and_targets_stand_at_their_values():
    drawn = Drawn(LINES)
    found = {}
    for group in drawn.of_class("rule"):
        ((x, y), (u, v)) = points(group[-1])[0]
        axis = group.get("data-axis")
        assert (x == u) if axis == "x" else (y == v)
        found[group[0].text] = drawn.value(axis, x if axis == "x" else y)
    assert found["limit: 5 mg/kg"] == pytest.approx(5.0, abs=drawn.per_pixel("y"))
    assert found["shelf life: 312 days"] == pytest.approx(312.0, abs=drawn.per_pixel("x"))
    assert found["asked: 292 days"] == pytest.approx(292.0, abs=drawn.per_pixel("x"))


def test_bands_stand_where_they_start_and_end_and_are_named():
    drawn = Drawn(LINES)
    bands = drawn.of_class("band")
    ends = [(float(b.get("x")), float(b.get("x")) + float(b.get("width"))) for b in bands]
    for (left, right), band in zip(ends, LINES.bands, strict=True):
        assert drawn.value("x", left) == pytest.approx(band.start, abs=drawn.per_pixel("x"))
        assert drawn.value("x", right) == pytest.approx(band.end, abs=drawn.per_pixel("x"))
    texts = drawn.texts()
    # the truck is too narrow for its name: a number stands there, and the name in the key below
    assert {"warehouse", "shop, 8 degC", "truck", "1"} <= set(texts)


def test_the_same_band_name_has_one_number():
    bands = tuple(Band("day" if k % 2 else "night", 10.0 * k, 10.0 * k + 10.0) for k in range(20))
    drawn = Drawn(chart(Curve("a", (0.0, 200.0), (0.0, 1.0)), bands=bands))
    texts = drawn.texts()
    # a name that fits stands in each of its bands, the other is a number there and a name in the key
    assert texts.count("day") == 10
    assert texts.count("night") == 1
    assert texts.count("1") == 11
    assert len(drawn.of_class("band")) == 20


def test_a_year_of_days_is_one_band_that_says_how_many():
    bands = tuple(Band(f"day {k}", k, k + 1) for k in range(365))
    drawn = Drawn(chart(Curve("a", (0.0, 365.0), (0.0, 1.0)), bands=bands))
    assert len(drawn.of_class("band")) == 1
    assert any(t.startswith("365 in turn: day 0, day 1") for t in drawn.texts())


def test_axes_are_named_with_their_units():
    assert [t.text for t in Drawn(LINES).of_class("axis-label")] == [
        "oxygen gain of the product, mg/kg",
        "time, days",
    ]


def test_curves_differ_by_colour_and_by_dash():
    looks = [(c.get("stroke"), c.get("stroke-dasharray")) for c in Drawn(CROWD).of_class("curve")]
    assert len(set(looks)) == 12
    first = looks[:8]
    assert len({colour for colour, _ in first}) == len({dash for _, dash in first}) == 8


def test_every_curve_is_named_at_its_end_or_in_the_key():
    assert {"oxygen gain", "lower bound", "upper bound"} <= set(Drawn(LINES).texts())
    texts = Drawn(CROWD).texts()
    assert all(any(t.startswith(f"wall {k}, ") for t in texts) for k in range(12))


def test_a_gap_in_the_values_is_a_gap_in_the_line():
    values = (1.0, 2.0, math.nan, 3.0, None, 1.0, math.inf, 2.0, 2.5)
    drawn = Drawn(chart(Curve("gappy", tuple(range(9)), values)))
    runs = points(drawn.of_class("curve")[0])
    assert [len(r) for r in runs] == [2, 2]
    # points without a neighbour have a mark, for no line reaches them
    marks = [drawn.value("x", float(m.get("data-x"))) for m in drawn.of_class("mark")]
    assert marks == pytest.approx([3.0, 5.0], abs=drawn.per_pixel("x"))


def test_values_that_a_log_axis_cannot_show_are_gaps():
    drawn = Drawn(chart(Curve("a", (0, 1, 2, 3), (0.0, 1e-6, 1e3, -4.0)), y=Axis("y", log=True)))
    assert [len(r) for r in points(drawn.of_class("curve")[0])] == [2]


def test_a_single_point_is_a_mark_amid_the_plot():
    drawn = Drawn(chart(Curve("one", (3.0,), (4e-6,))))
    (mark,) = drawn.of_class("mark")
    assert drawn.value("x", float(mark.get("data-x"))) == pytest.approx(3.0, rel=0.02)
    assert drawn.value("y", float(mark.get("data-y"))) == pytest.approx(4e-6, rel=0.02)


@pytest.mark.parametrize("level", [0.0, 0.21, -7.0, 1e9, 1e-6])
def test_a_flat_line_lies_at_its_value(level):
    drawn = Drawn(chart(Curve("flat", (0.0, 1.0), (level, level))))
    ((a, b),) = points(drawn.of_class("curve")[0])
    assert a[1] == b[1]
    assert drawn.value("y", a[1]) == pytest.approx(level, abs=2 * drawn.per_pixel("y"))


def test_a_chart_without_values_says_so():
    assert Drawn(chart(Curve("none", (), ()))).texts() == ["There is no value to draw."]
    assert Drawn(chart()).texts() == ["There is no value to draw."]


def test_a_limit_far_above_the_curve_is_said_and_does_not_flatten_it():
    drawn = Drawn(
        chart(Curve("a", (0.0, 1.0), (0.0, 0.015)), y=Axis("y", "mg", zero=True), rules=(Rule("limit", 5.0),))
    )
    assert not drawn.of_class("rule")
    assert "Above this chart: limit: 5 mg" in drawn.texts()
    ((_, top),) = points(drawn.of_class("curve")[0])
    assert top[1] < 60.0


def test_few_points_have_their_words_beside_them():
    drawn = Drawn(FRONT)
    assert set(STRUCTURES) <= set(drawn.texts())
    assert set(STRUCTURES) <= set(drawn.titles())


def test_points_with_long_words_have_numbers_and_a_key():
    texts = Drawn(MANY_WORDS).texts()
    assert [texts.count(str(k)) for k in range(1, 13)] == [2] * 12


def test_points_say_their_words_however_many_there_are():
    words = tuple(f"structure {k}" for k in range(200))
    values = tuple(float(k) for k in range(200))
    drawn = Drawn(chart(Curve("c", values, values, marks=True, words=words)))
    assert set(words) <= set(drawn.titles())
    assert not any("structure" in t for t in drawn.texts())


def test_a_rule_whose_name_has_its_value_is_not_said_twice():
    rules = (Rule("limit 5 mg", 5.0), Rule("reached after 13.3 days", 13.25, "x"), Rule("15 limits", 5.5))
    texts = Drawn(chart(Curve("a", (0.0, 20.0), (0.0, 6.0)), rules=rules)).texts()
    assert {"limit 5 mg", "reached after 13.3 days", "15 limits: 5.5"} <= set(texts)


def test_curves_are_clipped_to_the_plot():
    drawn = Drawn(LINES)
    clip = drawn.root.find(".//{*}clipPath")
    assert all(c.get("clip-path") == f"url(#{clip.get('id')})" for c in drawn.of_class("curve"))


def test_a_long_curve_keeps_its_peaks():
    number = 20_000
    values = [math.sin(k / 3000) for k in range(number)]
    values[7777] = 9.0
    drawn = Drawn(chart(Curve("a", tuple(range(number)), tuple(values))))
    (run,) = points(drawn.of_class("curve")[0])
    assert len(run) < 6000
    assert drawn.value("y", min(y for _, y in run)) == pytest.approx(9.0, abs=drawn.per_pixel("y"))


def test_a_chart_of_the_same_data_is_the_same_text():
    assert Drawn(LINES).text == Drawn(replace(LINES)).text


def test_a_number_stands_for_one_thing_in_a_figure():
    """Narrow bands and points with long words both have numbers with a key: they share one count."""
    low, high = min(MANY_WORDS.curves[0].x), max(MANY_WORDS.curves[0].x)
    bands = (Band("first", low, 0.95 * high), Band("a stage with a long name", 0.95 * high, high))
    busy = replace(MANY_WORDS, bands=bands)
    numbered = [text for text in Drawn(busy).texts() if text.isdigit() and int(text) <= 12]
    plain = [text for text in Drawn(MANY_WORDS).texts() if text.isdigit() and int(text) <= 12]
    assert plain.count("1") == 2
    assert "a stage with a long name" in Drawn(busy).texts()
    assert numbered.count("1") == 2 and numbered.count("2") == 2

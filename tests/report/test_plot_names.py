"""Names over the plot of a twin: every narrow stretch and upright line has one, and none covers another.

Charts are invented; widths of words are those of ``lettering``, which the drawings are checked against in a
browser (tests/browser/test_static_words.py).
"""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import pytest

from optimizer.report.figures.lettering import SMALL, width
from optimizer.report.figures.model import Axis, Band, BarChart, BarPart, Curve, Distribution, LineChart, Rule
from optimizer.report.plots import plotly_json

#: A wall with three thin layers (um), and storage with a short trip (months).
WALL = (("HDPE", 360.0), ("tie PE", 8.0), ("EVOH 32", 12.0), ("tie PE", 8.0), ("HDPE", 220.0))
TRIP = (("warehouse", 4.0), ("truck", 0.2), ("shelf", 7.0))
#: Plots in a page of 400 px and in a wide one [px].
PLOTS = (270.0, 840.0)


def chart(stretches: Any, rules: tuple[Rule, ...] = (), log: bool = False) -> dict[str, Any]:
    start, bands = 1.0 if log else 0.0, []
    for name, wide in stretches:
        bands.append(Band(name, start, start + wide))
        start += wide
    curve = Curve("it", (1.0 if log else 0.0, start), (1.0, 9.0))
    drawn = LineChart("t", "d", Axis("depth", "um", log=log), Axis("y"), (curve,), tuple(bands), rules)
    return dict(json.loads(plotly_json(drawn)))


def noted(shown: dict[str, Any]) -> list[dict[str, Any]]:
    return [note for note in shown["layout"]["annotations"] if note["text"] != " "]


def spans(shown: dict[str, Any], plot: float) -> list[tuple[float, float, float]]:
    """Height above the plot, left and right end of each note [px] in a plot so wide."""
    low, high = shown["layout"]["xaxis"]["range"]
    found = []
    for note in noted(shown):
        words = note["text"].replace("<b>", "").replace("</b>", "")
        wide = width(words, SMALL, bold="<b>" in note["text"])
        middle = plot * (note["x"] - low) / (high - low) + note["xshift"]
        left = middle - {"left": 0.0, "center": wide / 2, "right": wide}[note["xanchor"]]
        found.append((note.get("yshift", 0.0), left, left + wide))
    return sorted(found)


def test_layers_too_thin_for_a_name_have_a_number_that_the_key_below_the_axis_explains() -> None:
    shown = chart(WALL)
    assert [note["text"] for note in noted(shown)] == ["HDPE", "<b>1</b>", "<b>2</b>", "<b>1</b>", "HDPE"]
    title = shown["layout"]["xaxis"]["title"]["text"]
    assert title.startswith("depth, um<br>") and "<b>1</b> tie PE" in title and "<b>2</b> EVOH 32" in title


def test_a_stage_that_is_wide_enough_on_a_small_page_keeps_its_name() -> None:
    shown = chart(TRIP)
    assert [note["text"] for note in noted(shown)] == ["warehouse", "<b>1</b>", "shelf"]
    assert shown["layout"]["margin"]["t"] > chart(())["layout"]["margin"]["t"]


@pytest.mark.parametrize("plot", PLOTS)
@pytest.mark.parametrize("stretches", [WALL, TRIP, tuple((f"film {k}", 1.0) for k in range(20))])
def test_no_name_of_a_band_covers_another(stretches: Any, plot: float) -> None:
    for (_, _, end), (_, start, _) in pairwise(spans(chart(stretches), plot)):
        assert end <= start


def test_on_a_log_axis_a_name_stands_at_the_power_of_ten() -> None:
    """Bands from 1 to 10 and 10 to 100: their middles are 10^0.5 and 10^1.5."""
    shown = chart((("one", 9.0), ("two", 90.0)), log=True)
    assert [note["x"] for note in noted(shown)] == pytest.approx([0.5, 1.5])


@pytest.mark.parametrize("plot", PLOTS)
def test_names_of_upright_lines_stand_over_the_plot_and_apart(plot: float) -> None:
    rules = tuple(Rule(f"so many last less than {x} months", x, "x", "note") for x in (3.9, 4.26, 7.8))
    shares = (0.1, 0.6, 0.3)
    drawn = Distribution("t", "d", Axis("life", "months"), (3.0, 4.0, 8.0, 12.0), shares, rules)
    shown = json.loads(plotly_json(drawn))
    assert len(noted(shown)) == 3 and all(n["y"] == 1 and n["yanchor"] == "bottom" for n in noted(shown))
    for (row, _, end), (other, start, _) in pairwise(spans(shown, plot)):
        assert row != other or end <= start
    assert all(left >= -1.0 and end <= plot + 24.0 for _, left, end in spans(shown, PLOTS[0]))


def test_the_line_of_a_rule_goes_up_to_its_name_over_the_names_of_bands() -> None:
    shown = chart(TRIP, (Rule("target 9 months", 9.0, "x", "target"),))
    (line,) = [note for note in shown["layout"]["annotations"] if note["text"] == " "]
    name = next(note for note in noted(shown) if note["text"] == "target 9 months")
    assert line["ax"] == 0 and -line["ay"] == name["yshift"] > 18.0 - 1e-9


def test_a_chart_of_few_bars_is_lower_than_one_of_many() -> None:
    def least(rows: int) -> float:
        bars = BarChart("t", "d", ("a",) * rows, Axis("x"), (BarPart("p", (1.0,) * rows),))
        return float(json.loads(plotly_json(bars))["layout"]["meta"]["least"])

    assert least(1) < 200.0 < least(10)


@pytest.mark.parametrize(("ys", "end"), [((0.0, 3.0, 5.1), "start"), ((4.9, 3.0, 1.0), "end")])
def test_the_name_of_a_limit_stands_where_the_curve_is_farther_from_it(
    ys: tuple[float, ...], end: str
) -> None:
    curve = Curve("it", (0.0, 5.0, 9.0), ys)
    drawn = LineChart("t", "d", Axis("time"), Axis("y"), (curve,), (), (Rule("limit 5", 5.0),))
    (line,) = json.loads(plotly_json(drawn))["layout"]["shapes"]
    assert line["label"]["textposition"] == end


def test_labels_stand_off_the_ends_of_their_bars() -> None:
    bars = BarChart("t", "d", ("a",), Axis("x"), (BarPart("p", (1.0,)),), labels=("67 %",))
    labels = next(part for part in json.loads(plotly_json(bars))["data"] if part.get("mode") == "text")
    assert labels["text"] == ["\u00a0\u00a067 %"]


def test_a_structure_with_a_letter_is_led_by_that_letter_and_not_by_a_number_too() -> None:
    long = ("A: HDPE / tie PE / EVOH 32 / tie PE / HDPE", "B: HDPE / tie PE / EVOH 32 / PA6")
    shown = chart(((long[0], 14.0), (long[1], 1.0), ("one more that is long enough", 1.0)))
    assert [note["text"] for note in noted(shown)] == ["<b>A</b>", "<b>B</b>", "<b>1</b>"]
    assert "<b>B</b> HDPE / tie PE / EVOH 32 / PA6" in shown["layout"]["xaxis"]["title"]["text"]


def test_two_names_with_one_letter_have_numbers() -> None:
    shown = chart((("A: a name that is long", 1.0), ("A: another that is long", 1.0), ("rest", 40.0)))
    assert [note["text"] for note in noted(shown)][:2] == ["<b>1</b>", "<b>2</b>"]


def test_a_long_title_of_an_axis_is_broken_so_that_a_small_page_shows_it_all() -> None:
    curve = Curve("it", (0.0, 1.0), (0.0, 1.0))
    axis = Axis("cost", "EUR/1000 packages for each extra month")
    title = json.loads(plotly_json(LineChart("t", "d", axis, Axis("y"), (curve,))))["layout"]["xaxis"][
        "title"
    ]
    assert title["text"] == "cost, EUR/1000 packages for each<br>extra month"


def test_beside_a_name_that_fits_the_next_mark_keeps_to_its_own_band() -> None:
    """By hand: the second band is 16.9 px of 270 wide, its letter 12.9 px; the name before fits its own."""
    shown = chart((("A: HDPE / tie PE / EVOH 32 / PE", 15.0), ("B: HDPE / PA6 / HDPE", 1.0)))
    assert [note["text"] for note in noted(shown)] == ["A: HDPE / tie PE / EVOH 32 / PE", "<b>B</b>"]
    assert abs(noted(shown)[1]["xshift"]) < 3.0

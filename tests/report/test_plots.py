"""Twins of figures: valid charts of plotly, the numbers of the figure, texts of users that stay texts."""

from __future__ import annotations

import base64
import json
import math
import re
import warnings
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from optimizer.report.colours import PLAIN
from optimizer.report.figures.model import (
    Axis,
    Band,
    BarChart,
    BarPart,
    Curve,
    Distribution,
    LineChart,
    MeshView,
    Rule,
)
from optimizer.report.plots import bundle, plotly_json
from tests.report import html_samples as samples

LINES, LOGGED, BARS, LIFE, SPREAD, MESH, DRAWING, STILL = samples.figures()


def chart(figure: Any) -> dict[str, Any]:
    return dict(json.loads(plotly_json(figure)))


def texts(value: Any) -> list[str]:
    """Every text in JSON that plotly may show."""
    if isinstance(value, dict):
        return [t for key, v in value.items() if key not in ("bdata", "config") for t in texts(v)]
    if isinstance(value, list):
        return [t for v in value for t in texts(v)]
    return [value] if isinstance(value, str) else []


def numbers(packed: dict[str, str]) -> np.ndarray[Any, Any]:
    return np.frombuffer(base64.b64decode(packed["bdata"]), dtype=f"<{packed['dtype']}")


@pytest.mark.parametrize("figure", [LINES, LOGGED, BARS, LIFE, SPREAD, MESH], ids=lambda f: f.title)
def test_a_twin_is_a_chart_that_plotly_itself_accepts(figure: Any) -> None:
    """Source of the check: the schema in plotly's Python library, which raises for unknown keys or values."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from plotly import graph_objects

        shown = chart(figure)
        made = graph_objects.Figure(data=shown["data"], layout=shown["layout"])
    assert len(made.data) == len(shown["data"]) > 0


@pytest.mark.parametrize("figure", [DRAWING, STILL], ids=lambda f: type(f).__name__)
def test_drawings_and_stills_have_no_twin(figure: Any) -> None:
    assert plotly_json(figure) == ""


def test_curves_keep_their_points_names_and_words() -> None:
    first, second, third = chart(LINES)["data"]
    assert first["x"] == list(LINES.curves[0].x) and first["y"] == list(LINES.curves[0].y)
    assert [first["name"], second["name"]] == ["Oxygen as given", "Oxygen baseline"]
    assert first["hovertext"][1] == "Oxygen as given<br>Time: 10 days<br>Oxygen: 0.6346 mg/kg"
    assert third["mode"] == "lines+markers" and third["hovertext"][0].endswith("<br>Oxygen a")


def test_curves_differ_by_dash_as_well_as_colour() -> None:
    looks = [part["line"] for part in chart(LINES)["data"]]
    assert len({look["dash"] for look in looks}) == len({look["color"] for look in looks}) == 3


def test_bands_and_rules_stand_where_the_figure_says() -> None:
    shapes = chart(LINES)["layout"]["shapes"]
    bands = [s for s in shapes if s["type"] == "rect"]
    rules = [s for s in shapes if s["type"] == "line"]
    assert [(s["name"], s["x0"], s["x1"]) for s in bands] == [
        ("Oxygen warehouse", 0.0, 90.0),
        ("truck", 90.0, 97.0),
        ("shelf", 97.0, 270.0),
    ]
    assert [s["name"] for s in rules] == ["Oxygen limit", "target", "median"]
    assert rules[0]["label"]["text"] == "Oxygen limit"
    assert (rules[0]["y0"], rules[0]["y1"], rules[1]["x0"], rules[1]["x1"]) == (5.0, 5.0, 270.0, 270.0)


def test_a_log_axis_leaves_gaps_for_what_it_cannot_show() -> None:
    shown = chart(LOGGED)
    assert shown["layout"]["xaxis"]["type"] == shown["layout"]["yaxis"]["type"] == "log"
    assert shown["data"][0]["x"] == [None, 0.01, 0.1, None]
    assert [s["name"] for s in shown["layout"]["shapes"]] == ["cheap", "month"]


def test_a_band_that_starts_at_nothing_on_a_log_axis_starts_at_the_first_point() -> None:
    shown = chart(replace(LOGGED, bands=(Band("all", 0.0, 0.1),)))
    assert shown["layout"]["shapes"][0]["x0"] == 0.01


def test_rows_with_the_same_name_stay_two() -> None:
    shown = chart(BARS)
    assert shown["data"][0]["y"] == [0, 1, 2]
    assert shown["layout"]["yaxis"]["ticktext"][:2] == ["Oxygen body", "Oxygen body"]


def test_whiskers_and_labels_stand_at_the_end_of_the_whole_bar() -> None:
    """Whole bar of the first row: 0.2 + 0.4; its whisker reaches 0.05 further."""
    whiskers = next(part for part in chart(BARS)["data"] if "error_x" in part)
    labels = next(part for part in chart(BARS)["data"] if part.get("mode") == "text")
    assert whiskers["x"][0] == pytest.approx(0.6)
    assert whiskers["error_x"]["array"] == [0.05, 0.0, 0.02]
    assert labels["x"][0] == pytest.approx(0.65)
    assert labels["text"][0].strip() == "67 %"


def test_parts_of_a_bar_differ_by_hatch() -> None:
    parts = [part for part in chart(BARS)["data"] if part["type"] == "bar"]
    assert len({part["marker"]["pattern"]["shape"] for part in parts}) == len(parts) == 2


def test_columns_of_a_distribution_lie_between_its_edges() -> None:
    columns = chart(LIFE)["data"][0]
    ends = [(x - w / 2, x + w / 2) for x, w in zip(columns["x"], columns["width"], strict=True)]
    assert ends == list(zip(LIFE.edges, LIFE.edges[1:], strict=False))
    assert sum(columns["y"]) == pytest.approx(100.0 * sum(LIFE.shares))
    assert columns["hovertext"][1].endswith("10 % up to here")


def test_the_side_that_passes_is_named() -> None:
    above = [s["label"]["text"] for s in chart(LIFE)["layout"]["shapes"] if s["type"] == "rect"]
    below = [
        s["label"]["text"]
        for s in chart(replace(LIFE, good="below"))["layout"]["shapes"]
        if s["type"] == "rect"
    ]
    assert (above, below) == (["fails", "passes"], ["passes", "fails"])


def test_faces_without_a_value_are_a_grey_mesh_of_their_own() -> None:
    known, grey = chart(MESH)["data"]
    assert known["intensitymode"] == "cell"
    assert numbers(known["intensity"]).tolist() == [600.0, 450.0, 520.0]
    assert "intensity" not in grey and len(numbers(grey["i"])) == 1
    faces = np.column_stack([numbers(known[k]) for k in "ijk"])
    assert faces.tolist() == MESH.faces[[0, 1, 3]].tolist()
    assert numbers(known["z"]).tolist() == MESH.vertices[:, 2].tolist()


def test_a_vertex_tells_the_mean_of_the_faces_around_it() -> None:
    """Vertex 3 has the faces of 450 and 520 um with a value: 485. The words are written once, beside them."""
    part = chart(MESH)["data"][0]
    assert (part["hovertext"][3], part["name"], part["hoverinfo"]) == ("485", "Oxygen, um", "text+name")


def test_a_tall_mesh_is_all_in_view() -> None:
    """Its proportions are kept, and its longest side is shorter than the unit that plotly's first camera, at
    1.25 along each axis, sees whole (source: plotly.js, layout.scene.aspectratio and camera)."""
    tall = replace(MESH, vertices=MESH.vertices * np.array([1.0, 1.0, 30.0]))
    sizes = chart(tall)["layout"]["scene"]["aspectratio"]
    sides = np.ptp(tall.vertices, axis=0)
    assert max(sizes.values()) <= 1.6
    assert np.array(list(sizes.values())) / sizes["z"] == pytest.approx(sides / sides[2])


def test_a_limit_far_from_the_curve_is_told_and_does_not_flatten_it() -> None:
    """As in the drawing: the axis ends near the curve, and the limit beyond it is said over the plot."""
    curve = Curve("oxygen gain", (0.0, 10.0), (0.0, 130.0))
    time, gain = Axis("time", "months", zero=True), Axis("oxygen gain", "mg/kg", zero=True)
    shown = chart(
        LineChart("Gain", "Gain.", time, gain, (curve,), rules=(Rule("limit 9000 mg/kg", 9000.0),))
    )["layout"]
    assert 130.0 <= shown["yaxis"]["range"][1] < 300.0 and not shown["shapes"]
    assert shown["annotations"][0]["text"] == "Above this chart: limit 9000 mg/kg"


def test_the_name_of_a_limit_at_the_top_stands_under_its_line() -> None:
    """Over it the name would be cut off at the edge of the plot."""
    curve = Curve("water loss", (0.0, 10.0), (0.0, 0.06))
    time, loss = Axis("time", "months", zero=True), Axis("water loss", "%", zero=True)
    shown = chart(LineChart("Loss", "Loss.", time, loss, (curve,), rules=(Rule("limit 0.5 %", 0.5),)))
    (line,) = shown["layout"]["shapes"]
    assert line["label"]["text"] == "limit 0.5 %" and line["label"]["yanchor"] == "top"


def test_labels_of_bars_have_room_inside_the_plot() -> None:
    """Plotly cuts words at the edge: 40 letters of 7 px in a plot of 700 px need 0.4 of the axis."""
    parts = (BarPart("cost", (1.0, 2.0)),)
    bars = BarChart("Costs", "Costs.", ("A", "B"), Axis("cost", "EUR"), parts, labels=("x" * 40, "y" * 40))
    low, high = chart(bars)["layout"]["xaxis"]["range"]
    assert low == 0.0 and (high - 2.0) / high >= 0.4


def test_a_mesh_without_any_value_has_the_colour_of_its_drawing() -> None:
    parts = chart(samples.tetrahedron([math.nan] * 4))["data"]
    assert len(parts) == 1 and parts[0]["color"] == PLAIN


@pytest.mark.parametrize("hostile", samples.HOSTILE)
def test_hostile_text_never_becomes_a_mark(hostile: str) -> None:
    """Marks that plotly itself reads are <br>, and <b> around our own numbers and letters; in a script
    element no '<', '>' or '&' stands at all."""
    for figure in samples.figures(hostile):
        written = plotly_json(figure)
        assert not re.search("[<>&]", written)
        if written:
            for text in texts(json.loads(written)):
                assert not re.search(r"<(?!br>)|\$", re.sub(r"<b>(?:\d+|[A-Z]{1,2})</b>", "", text))


def test_nothing_leads_to_a_server() -> None:
    config = chart(LINES)["config"]
    assert config["displaylogo"] is False and config["showSendToCloud"] is False
    assert config["toImageButtonOptions"]["filename"] == "oxygen-over-time"
    assert config["plotlyServerURL"] == config["topojsonURL"] == ""


def test_charts_of_nothing_are_still_charts() -> None:
    log = Axis("x", log=True)
    empty = (
        LineChart("", "", log, log, (Curve("a", (), ()),), (Band("b", 0.0, 0.0),), (Rule("r", math.nan),)),
        BarChart("", "", (), Axis("x"), (BarPart("a", ()),)),
        Distribution("", "", Axis("x"), (0.0, 1.0), (0.0,)),
        MeshView("", "", np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), np.zeros(0), "", "<svg/>"),
    )
    assert [len(chart(figure)["data"]) for figure in empty] == [1, 1, 1, 0]


def test_the_bundle_may_stand_in_a_script_element() -> None:
    text = bundle()
    assert "Plotly" in text
    assert "</script" not in text and "<!--" not in text and "\r" not in text


def test_the_ground_of_a_hatch_is_the_colour_of_its_part() -> None:
    """Without a ground plotly shows only the hatch, which is white here."""
    for part in chart(BARS)["data"][:2]:
        assert part["marker"]["pattern"]["bgcolor"] == part["marker"]["color"] != "#ffffff"


def test_few_numbers_stand_at_a_log_axis_of_decades() -> None:
    wide, short = chart(LOGGED)["layout"]["yaxis"], chart(SPREAD)["layout"]["xaxis"]
    assert wide["dtick"] == "D2" and "dtick" not in short

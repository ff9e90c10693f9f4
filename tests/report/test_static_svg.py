"""What holds for every static drawing: sound XML, named for those who cannot see it, ids of its own, no
script, and no crash on odd numbers. Contrast: WCAG 2.2, 1.4.3 and 1.4.11, by its definition of relative
luminance."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from optimizer.report.figures import palette
from optimizer.report.figures.model import (
    CLASSES,
    Axis,
    Band,
    BarChart,
    BarPart,
    Curve,
    Distribution,
    LineChart,
    MeshView,
    Rule,
    SectionDrawing,
    SectionLayer,
    Still,
)
from optimizer.report.figures.static import svg_of
from tests.report.static_samples import ALL, Drawn, hostile

PICTURE = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 50" width="100" height="50" role="img" '
    'aria-labelledby="title desc">\n<title id="title">Old</title><desc id="desc">old</desc>'
    "<style>text{fill:#26323c}text.title,.c12{fill:red}.h{fill:url(#grid)}"
    "@media (prefers-color-scheme:dark){text{fill:#fff}}@media print{.c12{fill:blue}}</style>"
    '<defs><pattern id="grid" width="4" height="4"><path d="M0 0L4 4"/></pattern></defs>'
    '<text class="title" x="1" y="9">id="grid" url(#grid)</text>'
    '<path class="c12" fill="url(#grid)" d="M0 0L9 9"/><use href="#grid"/></svg>\n'
)
STILL = Still("Bottle", "From four sides.", PICTURE)


@pytest.mark.parametrize("name", [*ALL, "still"])
def test_every_drawing_is_named_and_scales_to_its_column(name):
    figure = {**ALL, "still": STILL}[name]
    root = Drawn(figure).root
    assert root.get("role") == "img"
    assert root.get("width") == "100%" and root.get("height") is None
    ids = {x.get("id"): x.text for x in root.iter() if x.get("id")}
    assert [ids[x] for x in root.get("aria-labelledby").split()] == [figure.title, figure.description]


@pytest.mark.parametrize("name", ALL)
def test_every_drawing_has_the_classes_that_the_model_names(name):
    used = {c for x in Drawn(ALL[name]).root.iter() for c in (x.get("class") or "").split()}
    kinds = {
        LineChart: {"curve", "axis-label", "tick"},
        BarChart: {"bar", "axis-label", "tick"},
        Distribution: {"bar", "rule", "axis-label", "tick"},
        SectionDrawing: {"layer"},
    }
    expected = kinds[type(ALL[name])]
    assert expected <= used and expected <= set(CLASSES)


def test_ids_of_all_drawings_in_a_page_are_different():
    ids = re.findall(r'\sid="([^"]*)"', "".join(svg_of(x) for x in [*ALL.values(), STILL]))
    assert len(ids) > 30 and len(ids) == len(set(ids))
    again = re.findall(r'\sid="([^"]*)"', svg_of(ALL["bars"], "1") + svg_of(ALL["bars"], "2"))
    assert len(again) == len(set(again))


@pytest.mark.parametrize("name", [*ALL, "still"])
def test_every_reference_inside_a_drawing_is_met(name):
    text = svg_of({**ALL, "still": STILL}[name])
    ids = set(re.findall(r'\sid="([^"]*)"', text))
    tags = "".join(re.findall(r"<[A-Za-z][^>]*>", text))
    used = set(re.findall(r"url\(#([^)]*)\)", tags)) | set(re.findall(r'href="#([^"]*)"', tags))
    assert used <= ids


@pytest.mark.parametrize("number", range(4))
def test_hostile_text_stays_text(number):
    figure = list(hostile())[number]
    text = svg_of(figure)
    root = etree.fromstring(text.encode())  # an end tag in the text would not parse
    assert not list(root.iter("{*}script"))
    assert "alert(" in "".join(root.itertext())
    assert "\x00" not in text and "<script" not in text


def test_no_drawing_runs_or_fetches_anything():
    text = "".join(svg_of(x) for x in ALL.values())
    for sign in ("<script", "javascript:", "<image", "<foreignObject", "@import", " onload", "<a "):
        assert sign not in text
    assert set(re.findall(r"https?://[^\"' ]*", text)) == {"http://www.w3.org/2000/svg"}
    assert set(re.findall(r"url\((.)", text)) == {"#"}


def test_the_style_of_a_still_holds_in_it_alone():
    text = svg_of(STILL)
    uid = etree.fromstring(text.encode()).get("id")
    style = re.search(r"<style>(.*?)</style>", text)[1]
    assert style == (
        f"#{uid} text{{fill:#26323c}}#{uid} text.title,#{uid} .c12{{fill:red}}"
        f"#{uid} .h{{fill:url(#{uid}-grid)}}@media print{{#{uid} .c12{{fill:blue}}}}"
    )
    # words that look like ids stay as they are
    assert 'y="9">id="grid" url(#grid)</text>' in text
    assert f'fill="url(#{uid}-grid)"' in text and f'<use href="#{uid}-grid"/>' in text
    assert text.count("<title") == text.count("<desc") == 1


def test_a_still_without_a_view_box_gets_one():
    text = svg_of(Still("t", "d", '<?xml version="1.0"?><svg width="30px" height="20"><g/></svg>'))
    assert text.startswith("<svg ") and ' viewBox="0 0 30 20"' in text and 'height="20"' not in text


def test_a_mesh_view_is_its_still_picture():
    view = MeshView("t", "d", np.zeros((3, 3)), np.array([[0, 1, 2]]), np.zeros(1), "um", PICTURE)
    assert "M0 0L9 9" in svg_of(view)


def test_a_still_that_is_no_drawing_is_refused():
    with pytest.raises(ValueError, match="<svg>"):
        svg_of(Still("t", "d", "<p>no</p>"))


def luminance(colour):
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_marks_have_contrast_3_and_words_4_5():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # the largest there is, WCAG 2.2
    for colour in palette.SERIES:
        assert contrast(colour, palette.PAPER) >= 3.0, colour
    grounds = (palette.PAPER, *palette.BANDS)
    words = (*palette.SERIES_TEXT, palette.INK, palette.SOFT, palette.ACCENT, palette.GOOD, palette.BAD)
    for colour in words:
        assert min(contrast(colour, g) for g in grounds) >= 4.5, colour
    assert contrast(palette.GOOD, palette.GOOD_TINT) >= 4.5
    assert contrast(palette.BAD, palette.BAD_TINT) >= 4.5


ODD = st.one_of(
    st.none(),
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0.0, -0.0, 1e-6, 1e9, 1e-320, 1e308, -1e308, 1.0, 1.0 + 1e-15]),
    st.floats(-1e3, 1e3),
)
NUMBERS = st.lists(ODD, max_size=7).map(tuple)
WORDS = st.text(max_size=30)


@settings(max_examples=150, deadline=None)
@given(
    NUMBERS, NUMBERS, st.lists(st.tuples(WORDS, ODD, ODD), max_size=4), st.booleans(), st.booleans(), WORDS
)
def test_line_charts_of_odd_numbers_and_words_are_drawn(x, y, more, log, zero, word):
    sound = [(name, a, b) for name, a, b in more if a is not None and b is not None]
    bands = tuple(Band(*row) for row in sound)
    rules = tuple(Rule(name, a, axis) for name, a, _ in sound for axis in ("x", "y"))
    curves = (Curve(word, x, y, words=(word,) * len(x)), Curve(word, y, x, dashed=True))
    chart = LineChart(
        word, word, Axis(word, word, log=log), Axis(word, log=log, zero=zero), curves, bands, rules
    )
    drawn = Drawn(chart)
    numbers = re.findall(r'(?:\s(?:x|y|cx|cy|width|height)|\sd)="([^"]*)"', drawn.text)
    assert not any(re.search("nan|inf|None", n) for n in numbers)
    assert all(abs(float(n)) < 5e3 for n in re.findall(r'\s(?:x|y)="([^"]*)"', drawn.text))


@settings(max_examples=100, deadline=None)
@given(NUMBERS, NUMBERS, st.booleans(), WORDS)
def test_bars_and_distributions_of_odd_numbers_are_drawn(a, b, log, word):
    numbers = tuple(0.0 if v is None else v for v in a)
    rules = tuple(Rule(word, v, "x", "target") for v in numbers)
    axis = Axis(word, "mg", log=log)
    rows = tuple(f"{word} {k}" for k in range(len(a)))
    Drawn(BarChart(word, word, rows, axis, (BarPart(word, a), BarPart("b", b)), b, (word,), rules))
    edges = tuple(sorted(v for v in numbers if v == v))
    Drawn(Distribution(word, word, axis, edges, tuple(b), rules, 0.1, "above"))
    Drawn(SectionDrawing(word, word, tuple(SectionLayer(word, v, word) for v in numbers), "um"))

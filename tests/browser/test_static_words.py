"""Words of static drawings in a real browser: none leaves its drawing and none lies upon another."""

from __future__ import annotations

import random

import pytest

from optimizer.report.figures.lettering import SIZE, width
from optimizer.report.figures.model import (
    Axis,
    Band,
    BarChart,
    BarPart,
    Curve,
    Distribution,
    LineChart,
    Rule,
    SectionDrawing,
    SectionLayer,
)
from optimizer.report.figures.static import svg_of
from tests.report.static_samples import ALL

pytestmark = pytest.mark.slow

#: Lines of text may come nearer than the full height of their boxes, which have room for accents.
_CLASHES = """() => { const found = [];
for (const figure of document.querySelectorAll('figure')) {
  const svg = figure.querySelector('svg'), name = figure.dataset.name, frame = svg.getBoundingClientRect();
  const texts = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
  for (const [t, b] of texts)
    if (b.left < frame.left - .5 || b.right > frame.right + .5 || b.top < frame.top - .5 ||
        b.bottom > frame.bottom + .5) found.push([name, 'leaves the drawing', t]);
  texts.forEach(([t, a], k) => texts.slice(k + 1).forEach(([u, b]) => {
    if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > .5 &&
        Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2.5) found.push([name, t, u]); }));
} return [document.querySelectorAll('text').length, found]; }"""
WORDS = [
    "PET",
    "EVOH 32 mol% ethylene",
    "a",
    "Wärme & <b>",
    "polyethylene terephthalate glycol",
    "limit",
    "WWWWWWWWWW",
]


def page_of(figures):
    drawn = "".join(
        f'<figure data-name="{k}" style="margin:8px">{svg_of(f, k)}</figure>' for k, f in figures.items()
    )
    return f'<!doctype html><meta charset="utf-8"><body style="width:736px">{drawn}'


@pytest.fixture
def clashes(browser):
    def found(content):
        context = browser.new_context(viewport={"width": 760, "height": 900}, offline=True)
        page = context.new_page()
        page.set_content(content)
        result = page.evaluate(_CLASHES)
        context.close()
        return result

    return found


def test_words_of_every_kind_of_drawing_keep_apart(clashes):
    number, found = clashes(page_of(ALL))
    assert number > 200
    assert found == []


def test_the_check_finds_words_upon_each_other_and_outside(clashes):
    bad = (
        '<figure data-name="bad"><svg viewBox="0 0 720 50" width="100%"><text x="10" y="20">abcdef</text>'
        '<text x="30" y="22">ghijk</text><text x="715" y="20">outside</text></svg></figure>'
    )
    assert [x[1:] for x in clashes(bad)[1]] == [["leaves the drawing", "outside"], ["abcdef", "ghijk"]]


def some(pick):
    return " ".join(pick.choice(WORDS) for _ in range(pick.randint(1, 4)))


def any_figure(pick):
    """A figure of random kind, size and words."""
    size = 10 ** pick.uniform(-6, 9)
    level = [pick.choice([0.0, 1.0, 5.0])]

    def value():
        return size * (pick.random() + level[0])

    kind = pick.choice("LLLBDS")
    if kind == "B":
        rows = pick.randint(1, 25)
        parts = tuple(
            BarPart(some(pick), tuple(value() for _ in range(rows))) for _ in range(pick.randint(1, 9))
        )
        names, labels = (tuple(some(pick) for _ in range(rows)) for _ in range(2))
        rules = (Rule(some(pick), value(), "x"),)
        return BarChart("t", "d", names, Axis(some(pick), "mg"), parts, (0.2 * size,) * rows, labels, rules)
    if kind == "D":
        number = pick.randint(1, 40)
        edges = tuple(size * (1 + k) for k in range(number + 1))
        rules = tuple(
            Rule(some(pick), pick.uniform(edges[0], edges[-1]), "x", pick.choice(["target", "note"]))
            for _ in range(pick.randint(0, 5))
        )
        return Distribution(
            "t", "d", Axis(some(pick), "days"), edges, (0.9 / number,) * number, rules, 0.1, "above"
        )
    if kind == "S":
        layers = tuple(
            SectionLayer(some(pick), 10 ** pick.uniform(-2, 3), pick.choice(["", some(pick)]))
            for _ in range(pick.randint(1, 15))
        )
        return SectionDrawing("t", "d", layers, "um", some(pick), some(pick))
    curves = []
    for _ in range(pick.choice([1, 2, 3, 6, 12])):
        x = tuple(sorted(100 * pick.random() for _ in range(pick.randint(1, 20))))
        words = tuple(some(pick) for _ in x) if pick.random() < 0.3 else ()
        curves.append(Curve(some(pick), x, tuple(value() for _ in x), words=words, marks=bool(words)))
    ends = sorted(100 * pick.random() for _ in range(pick.choice([0, 3, 30, 200])))
    bands = tuple(Band(some(pick), a, b) for a, b in zip(ends, ends[1:], strict=False))
    rules = tuple(Rule(some(pick), value() if k % 2 else 100 * pick.random(), "xy"[k % 2]) for k in range(5))
    return LineChart(
        "t", "d", Axis(some(pick), "days"), Axis(some(pick), "mg/kg"), tuple(curves), bands, rules
    )


@pytest.mark.parametrize("start", range(3))
def test_words_of_random_drawings_keep_apart(clashes, start):
    pick = random.Random(start)
    number, found = clashes(page_of({str(k): any_figure(pick) for k in range(40)}))
    assert number > 500
    assert found == []


def test_words_are_no_wider_than_the_table_of_widths_says(browser):
    context = browser.new_context(offline=True)
    page = context.new_page()
    texts = [
        *WORDS,
        "0123456789",
        "cm3(STP)/(m2*day*atm)",
        "The quick brown fox jumps over the lazy dog",
        "2.5×10⁻⁶",
    ]
    page.set_content("<svg>" + "".join(f'<text font-size="{SIZE}"></text>' for _ in texts) + "</svg>")
    for family in ("DejaVu Sans", "Liberation Sans"):
        measured = page.evaluate(
            """([texts, family]) => [...document.querySelectorAll('text')].map((t, k) => {
            t.textContent = texts[k]; t.setAttribute('font-family', family);
            return t.getComputedTextLength(); })""",
            [texts, family],
        )
        for words, wide in zip(texts, measured, strict=True):
            assert wide <= width(words) * 1.01, (family, words)
    context.close()

"""Every report in a real browser: with scripts and without, on paper, by keyboard, in a narrow window."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from typing import Any

import lxml.html
import pytest

from tests.browser.conftest import CALLS, Opened

pypdf = pytest.importorskip("pypdf", reason="the package pypdf is not installed")

#: The quick tests open one report; the others are made by the slower commands.
REPORTS = [
    name if name == "predict" else pytest.param(name, marks=pytest.mark.slow, id=name) for name in CALLS
]
ALL_SLOW = [pytest.param(name, marks=pytest.mark.slow, id=name) for name in CALLS]
Make = Callable[[str], Path]
Open = Callable[..., Opened]

#: Advice on speed, of the browser's drawing without a graphics card and of the canvas; no fault of the page.
SPEED = ("GL Driver Message", "willReadFrequently")

#: Text whose contrast with what is behind it is below that of WCAG 2.2, success criterion 1.4.3: 4.5, or 3
#: for large text (24 px, or 18.66 px in bold). Colours and luminance as the criterion defines them.
CONTRAST = r"""
() => {
  const rgba = text => (text.match(/[\d.]+/g) || [0, 0, 0, 0]).map(Number);
  const channel = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const luminance = c => 0.2126 * channel(c[0]) + 0.7152 * channel(c[1]) + 0.0722 * channel(c[2]);
  const behind = element => {
    if (element instanceof SVGElement) {  // what is painted where the middle of the text is
      const halo = getComputedStyle(element);
      if (halo.paintOrder.startsWith('stroke') && halo.stroke !== 'none') return rgba(halo.stroke);
      element.scrollIntoView({block: 'center', behavior: 'instant'});
      const r = element.getBoundingClientRect();
      const under = document.elementsFromPoint((r.left + r.right) / 2, (r.top + r.bottom) / 2);
      for (const e of under) {
        if (!(e instanceof SVGElement) || e.closest('text') || ['svg', 'line'].includes(e.tagName)) continue;
        const size = e.getBoundingClientRect();
        if (Math.min(size.width, size.height) < 3) continue;  // a line
        const fill = getComputedStyle(e).fill;
        if (fill !== 'none' && !fill.startsWith('url') && rgba(fill).length === 3) return rgba(fill);
      }
      element = element.closest('svg');
    }
    for (let e = element; e; e = e.parentElement) {
      const c = rgba(getComputedStyle(e).backgroundColor);
      if (c.length === 3 || c[3] > 0.99) return c;
    }
    return [255, 255, 255];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, element = node.parentElement;
    if (!node.textContent.trim() || !element.checkVisibility({visibilityProperty: true})) continue;
    if (element.closest('.interactive, script, style, title, desc')) continue;
    const style = getComputedStyle(element);
    const svg = element instanceof SVGElement;
    const c = rgba(svg ? style.fill : style.color), under = behind(element);
    if (c.length === 4 && c[3] === 0) continue;
    const [a, b] = [luminance(c), luminance(under)].sort((x, y) => y - x);
    const size = parseFloat(style.fontSize), bold = parseInt(style.fontWeight) >= 700;
    const least = size >= 24 || (bold && size >= 18.66) ? 3 : 4.5;
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < least) found.push(`${node.textContent.trim().slice(0, 40)}: ${ratio.toFixed(2)}`);
  }
  return found;
}
"""


@pytest.mark.parametrize("name", REPORTS)
def test_a_report_opens_without_a_complaint_and_asks_for_nothing(
    name: str, report: Make, opened: Open
) -> None:
    seen = opened(report(name))
    for figure in seen.page.locator("figure").all():
        figure.scroll_into_view_if_needed()
        if figure.locator("button.switch").count():
            live(figure)
    seen.page.wait_for_load_state("networkidle")
    assert [said for said in seen.console if not any(word in said for word in SPEED)] == []
    own = report(name).resolve().as_uri()
    assert [
        url for url in seen.requests if url.partition("#")[0] != own and not url.startswith("blob:")
    ] == []


@pytest.mark.parametrize("name", REPORTS)
def test_without_scripts_the_verdict_the_numbers_and_every_picture_are_there(
    name: str, report: Make, opened: Open
) -> None:
    page = opened(report(name), scripts=False).page
    assert page.locator("#verdict").is_visible()
    assert re.match(r"\S", page.locator("#verdict").inner_text())
    assert page.locator("#answer .fact").count() >= 3
    figures = page.locator("figure")
    assert figures.count() >= 1
    for i in range(figures.count()):
        drawing = figures.nth(i).locator(".static svg").first
        box = drawing.bounding_box()
        assert box is not None and box["width"] > 150 and box["height"] > 60
    assert page.locator("button.switch:visible").count() == 0
    assert page.locator(".interactive:visible").count() == 0


@pytest.mark.parametrize("name", ALL_SLOW)
def test_the_first_page_prints_on_one_sheet(name: str, report: Make, opened: Open) -> None:
    page = opened(report(name)).page
    for paper in ("A4", "Letter"):
        pages = printed(page.pdf(format=paper, print_background=True))
        answer = squeezed(page.locator("#verdict").inner_text())
        assert answer in squeezed(pages[0])
        assert "SHA-256" in pages[0]
        second = page.locator("main > section").nth(1).locator("h2").first.inner_text()
        assert squeezed(second) in squeezed(pages[1]), pages[1][:200]


@pytest.mark.parametrize("name", ALL_SLOW)
def test_every_sheet_of_a_printed_report_has_something_on_it(name: str, report: Make, opened: Open) -> None:
    pages = printed(opened(report(name)).page.pdf(format="A4", print_background=True))
    assert all(len(squeezed(text)) > 40 for text in pages[1:]), [len(text) for text in pages]


@pytest.mark.parametrize("name", ALL_SLOW)
def test_a_picture_says_the_same_to_look_at_and_to_turn_about(name: str, report: Make, opened: Open) -> None:
    page = opened(report(name)).page
    switches = page.locator("button.switch")
    assert switches.count() >= 1
    for figure in page.locator("figure:has(button.switch)").all():
        labels = {
            squeezed(text).lower() for text in figure.locator(".static .axis-label").all_text_contents()
        }
        curves = figure.locator(".static .curve").count()
        drawn = live(figure)
        assert not figure.locator(".static").is_visible()
        texts = squeezed(" ".join(drawn.locator("text").all_text_contents())).lower()
        assert all(label in texts for label in labels), (labels, texts)
        if curves:
            assert drawn.locator(".scatterlayer .trace").count() >= curves


def live(figure: Any) -> Any:
    """The interactive picture of a figure, which is drawn when the figure comes into view."""
    figure.scroll_into_view_if_needed()
    drawn = figure.locator(".interactive.js-plotly-plot")
    drawn.wait_for(state="visible", timeout=120_000)
    return drawn


@pytest.mark.parametrize("name", ALL_SLOW)
def test_the_static_pictures_have_their_marks_and_no_text_outside(
    name: str, report: Make, opened: Open
) -> None:
    page = opened(report(name), scripts=False).page
    outside = page.evaluate(
        """() => [...document.querySelectorAll('figure .static svg')].flatMap(svg => {
          const frame = svg.getBoundingClientRect();
          return [...svg.querySelectorAll('text')].filter(t => t.textContent.trim()).filter(t => {
            const b = t.getBoundingClientRect();
            return b.width && (b.left < frame.left - 1 || b.right > frame.right + 1
              || b.top < frame.top - 1 || b.bottom > frame.bottom + 1);
          }).map(t => t.textContent);
        })"""
    )
    assert outside == []
    for svg in page.locator("figure .static svg[role=img]").all():
        assert svg.locator("title").first.text_content()
        assert svg.locator("desc").first.text_content()


@pytest.mark.parametrize("name", REPORTS)
def test_all_text_can_be_read_by_people_who_see_little_contrast(
    name: str, report: Make, opened: Open
) -> None:
    assert opened(report(name), scripts=False).page.evaluate(CONTRAST) == []


@pytest.mark.parametrize("name", ALL_SLOW)
def test_the_keyboard_reaches_every_control_and_shows_where_it_is(
    name: str, report: Make, opened: Open
) -> None:
    page = opened(report(name)).page
    page.keyboard.press("Tab")
    first = page.evaluate("document.activeElement.getAttribute('href')")
    assert first is not None and first.startswith("#"), "the first stop skips to the answer"
    # Twins are drawn while the page scrolls along, and bring controls of their own. What was reached is
    # marked on the element itself, for its place among all others moves.
    unseen = []
    for _ in range(400):
        state = page.evaluate(
            """() => { const e = document.activeElement, s = getComputedStyle(e);
              e.reached = true;
              const outline = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 1;
              return {tag: e.tagName, plot: !!e.closest('.interactive'),
                shown: outline || s.boxShadow !== 'none', text: e.textContent.trim().slice(0, 30)}; }"""
        )
        if state["tag"] == "BODY":
            break
        if not state["shown"] and not state["plot"]:
            unseen.append(state["text"])
        page.keyboard.press("Tab")
    assert unseen == []
    missed = page.evaluate(
        """() => [...document.querySelectorAll('a,button,summary,[tabindex]')]
          .filter(e => e.checkVisibility() && e.tabIndex >= 0 && !e.closest('.interactive') && !e.reached)
          .map(e => e.tagName + ' ' + e.textContent.trim().slice(0, 60))"""
    )
    assert missed == []


@pytest.mark.parametrize("name", ALL_SLOW)
def test_a_switch_works_from_the_keyboard(name: str, report: Make, opened: Open) -> None:
    figure = opened(report(name)).page.locator("figure:has(button.switch)").first
    twin, button = live(figure), figure.locator("button.switch")
    assert button.get_attribute("aria-pressed") == "true"
    button.press("Enter")
    assert button.get_attribute("aria-pressed") == "false"
    assert figure.locator(".static").is_visible() and not twin.is_visible()
    button.press("Space")
    assert button.get_attribute("aria-pressed") == "true"
    assert twin.is_visible() and not figure.locator(".static").is_visible()


@pytest.mark.parametrize("name", ALL_SLOW)
def test_a_narrow_window_scrolls_tables_and_not_the_page(name: str, report: Make, opened: Open) -> None:
    page = opened(report(name), width=400).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 400


@pytest.mark.parametrize("name", REPORTS)
def test_headings_and_tables_are_in_order(name: str, report: Make) -> None:
    tree = lxml.html.parse(str(report(name))).getroot()
    assert tree.get("lang") == "en"
    assert len(tree.findall(".//h1")) == 1 and len(tree.findall(".//main")) == 1
    levels = [int(e.tag[1]) for e in tree.iter("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False)), levels
    for table in tree.iter("table"):
        assert table.find(".//th[@scope]") is not None
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    anchors = {e.get("href")[1:] for e in tree.iter("a") if (e.get("href") or "").startswith("#")}
    assert anchors <= set(ids)


def printed(pdf: bytes) -> list[str]:
    """The text of each sheet."""
    from io import BytesIO

    return [sheet.extract_text() for sheet in pypdf.PdfReader(BytesIO(pdf)).pages]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.slow
@pytest.mark.parametrize("width", [400, 1280])
def test_no_name_over_the_plot_of_a_twin_covers_another(report: Make, opened: Open, width: int) -> None:
    page = opened(report("predict"), width=width).page
    page.evaluate("Promise.all([...document.querySelectorAll('figure')].map(f => f.drawTwin?.()))")
    page.wait_for_function(
        "[...document.querySelectorAll('figure:has(script.twin)')].every(f => f.querySelector('.main-svg'))"
    )
    found = page.evaluate(
        """() => [...document.querySelectorAll('figure')].map(f =>
            [...f.querySelectorAll('.annotation-text')].filter(e => e.textContent.trim()).map(e => {
                const box = e.getBoundingClientRect();
                return [e.textContent, box.left, box.right, box.top, box.bottom];
            }))"""
    )
    assert sum(map(len, found)) > 10
    for names in found:
        for a, b in combinations(names, 2):
            apart = a[1] > b[2] - 1 or b[1] > a[2] - 1 or a[3] > b[4] - 2 or b[3] > a[4] - 2
            assert apart, (a, b)

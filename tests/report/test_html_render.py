"""The HTML of a report: its structure, its first page, and texts of users that stay texts.

Structure is checked with an HTML parser of another project (lxml). How it looks, prints and runs is checked
in a browser elsewhere.
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from typing import Any

import lxml.html
import pytest

from optimizer.report.figures.model import Still
from optimizer.report.html.blocks import parts_of
from optimizer.report.html.model import Basis, Report, Section
from optimizer.report.html.one_sheet import first_page, headed
from optimizer.report.html.render import rendered
from optimizer.report.html.room import Type, cut, lines
from optimizer.report.page import Heading, Item, Line, Raw
from tests.report import html_samples as samples


@pytest.fixture(scope="module")
def text() -> str:
    return rendered(samples.report())


@pytest.fixture(scope="module")
def tree(text: str) -> Any:
    return lxml.html.document_fromstring(text)


def without_library(report: Report) -> Any:
    """Parsed; figures with a twin are left out, so that parsing is quick."""
    sections = tuple(replace(s, figures=s.figures[6:]) for s in report.sections)
    return lxml.html.document_fromstring(rendered(replace(report, sections=sections)))


def words(element: Any) -> str:
    return " ".join(element.text_content().split())


def test_the_page_has_one_main_one_title_and_headings_in_order(tree: Any) -> None:
    """W3C, WCAG 2.2, 1.3.1 and 2.4.6: no level of heading is left out on the way down."""
    assert len(tree.findall(".//main")) == len(tree.findall(".//h1")) == 1
    assert tree.get("lang") == "en"
    assert "Oat-drink bottle" in tree.findtext(".//title")
    levels = [int(e.tag[1]) for e in tree.iter("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False))


def test_every_link_inside_the_page_has_its_target(tree: Any) -> None:
    targets = [a.get("href") for a in tree.iter("a")]
    ids = tree.xpath("//@id")
    assert targets and all(t.startswith("#") and t[1:] in ids for t in targets)
    assert tree.body[0].get("href") == "#answer"


def test_no_id_stands_twice_although_a_drawing_does(tree: Any) -> None:
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))
    assert tree.xpath("//section/@id") == [
        "answer",
        "time",
        "answer-2",
        "warnings",
        "assumptions",
        "cautions",
        "sources",
        "record",
    ]


def test_every_figure_stands_as_a_drawing_with_its_name(tree: Any) -> None:
    drawn = [words(f.find("figcaption")) for f in tree.iter("figure") if f.find("div/svg") is not None]
    expected = [f.title for f in (samples.drawing("Oxygen"), *samples.figures(), samples.drawing("Oxygen"))]
    assert drawn == expected


def test_a_switch_stands_at_figures_with_a_twin_only(tree: Any) -> None:
    with_twin = [f for f in tree.iter("figure") if f.find("script[@class='twin']") is not None]
    assert len(with_twin) == 6
    assert [f.get("data-figure") for f in with_twin] == [f"time-{k}" for k in range(1, 7)]
    for figure in tree.iter("figure"):
        buttons = figure.findall("button[@class='switch']")
        assert len(buttons) == (figure in with_twin)
        assert all(b.get("aria-pressed") == "false" and b.get("hidden") is not None for b in buttons)


def test_only_the_two_scripts_of_the_program_may_run(text: str, tree: Any) -> None:
    """Source: W3C, Content Security Policy Level 3, 2.3.1 and 8.3, digests of inline scripts."""
    policy = tree.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    allowed = set(re.findall(r"'sha256-([^']+)'", policy))
    scripts = re.findall(r"<script([^>]*)>(.*?)</script>", text, re.DOTALL)
    run = [body for attributes, body in scripts if "application/json" not in attributes]
    assert {base64.b64encode(hashlib.sha256(b.encode()).digest()).decode() for b in run} == allowed
    assert len(allowed) == 2
    assert "unsafe-eval" not in policy and "'unsafe-inline'" not in policy.partition("script-src")[2]
    assert "default-src 'none'" in policy


def test_the_library_stands_once_and_only_where_a_figure_has_a_twin(text: str) -> None:
    assert text.count('id="library"') == 1
    bare = rendered(samples.bare())
    assert "<script" not in bare and "script-src 'none'" in bare and len(bare) < 40_000


def test_nothing_is_fetched(tree: Any) -> None:
    assert not tree.xpath("//link | //iframe | //object | //embed | //img | //*[@src]")
    assert not re.search(r"@import|url\(", tree.findtext(".//style"))


@pytest.mark.parametrize("hostile", samples.HOSTILE)
def test_hostile_text_stays_text(hostile: str) -> None:
    tree = without_library(samples.report(hostile, hostile))
    assert not tree.xpath("//script | //img | //*[@onerror or @onload] | //a[not(starts-with(@href, '#'))]")
    start = re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u202e].*", "", hostile, flags=re.DOTALL)
    kept = " ".join(start.split())
    assert kept in words(tree.find(".//h1")) and kept in words(tree.get_element_by_id("record"))
    assert kept in words(tree.get_element_by_id("time")) and kept in words(tree.get_element_by_id("sources"))


def test_a_file_can_hold_every_text() -> None:
    """Halves of pairs and controls cannot be written as UTF-8 HTML. Source: WHATWG, HTML, 13.2.3.5."""
    text = rendered(samples.report(" ".join(samples.HOSTILE)))
    assert text.encode("utf-8")
    assert not re.search(
        "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e]", text.partition('id="library"')[0]
    )


@pytest.mark.parametrize(
    ("verdict", "good", "shown"),
    [
        ("PASSES: lasts 14 months.", True, ("Passes", "Lasts 14 months.")),
        ("FAILS: lasts 4 months.", False, ("Fails", "Lasts 4 months.")),
        ("NOT PROVED: no design.", None, ("Not proved", "No design.")),
        ("Lasts 14 months; no target was given.", True, ("Passes", "Lasts 14 months; no target was given.")),
        ("Two shells were found.", None, ("", "Two shells were found.")),
    ],
)
def test_the_verdict_says_yes_or_no_in_a_word(
    verdict: str, good: bool | None, shown: tuple[str, str]
) -> None:
    assert headed(verdict, good) == shown


def test_the_verdict_has_a_word_a_mark_and_a_class(tree: Any) -> None:
    verdict = tree.get_element_by_id("verdict")
    assert verdict.get("class") == "bad" and verdict.find("svg") is not None
    assert words(verdict).startswith("Fails Lasts 4.3 months")


def test_the_first_page_has_facts_limits_grades_date_version_and_checksum(tree: Any) -> None:
    page = tree.get_element_by_id("answer")
    assert [words(f) for f in page.find_class("fact")][1] == "Target 9 months"
    said = words(page)
    for part in (
        "2026-03-04 15:06",
        "0.0.0",
        "7ab6397b3611",
        "The body lets 94 % of O2 through.",
        "producer [2]",
    ):
        assert part in said
    assert samples.report().inputs_sha256 not in said
    assert samples.report().inputs_sha256 in words(tree.get_element_by_id("record"))


def test_grades_on_the_first_page_point_at_the_sources_at_the_end(tree: Any) -> None:
    """Sources of gases that the answer is not about (CO2) are at the end only."""
    row = tree.xpath("//section[@id='answer']//tbody/tr")[0]
    assert [words(c) for c in row] == ["HDPE", "producer [2], memory [3]", "estimate [4]", "handbook [1]"]
    full = [words(li) for li in tree.xpath("//section[@id='sources']//ol/li")]
    assert full[1] == "[2] A page of a producer Oxygen" and full[4] == "[5] A paper on films"
    assert "A paper on films" not in words(tree.get_element_by_id("answer"))


def test_what_does_not_fit_the_first_page_is_counted_and_stands_at_the_end() -> None:
    report = samples.crowded()
    page = first_page(report, (0.35,) * 4)
    for shown, given in (
        (page.limits, report.limits),
        (page.grounds.warnings, report.basis.warnings),
        (page.grounds.assumptions, report.basis.assumptions),
        (page.grounds.cautions, report.basis.cautions),
    ):
        assert len(shown.items) + shown.more == len(given) and 0 < len(shown.items) < len(given)
    tree = without_library(report)
    for key in ("warnings", "assumptions"):
        assert len(tree.xpath(f"//section[@id='{key}']/ul/li")) == 40
    assert len(tree.xpath("//section[@id='drawings']/figure")) == 4 - page.drawings
    assert words(tree.get_element_by_id("record")).count("barrier layer 13") == 1


def test_a_usual_report_has_its_first_page_whole() -> None:
    page = first_page(samples.report(), (0.34,))
    assert page.whole and page.drawings == 1 and not page.limits.more
    assert not page.grounds.warnings.more and not page.grounds.more_materials


def test_two_drawings_are_printed_smaller_so_that_both_fit() -> None:
    one, two = (first_page(samples.report(), (0.33,) * n) for n in (1, 2))
    assert (one.drawings, two.drawings) == (1, 2)
    assert two.drawing_width < one.drawing_width


def test_the_least_report_is_a_page() -> None:
    tree = lxml.html.document_fromstring(rendered(samples.bare()))
    assert tree.xpath("//section/@id") == ["answer", "record"]
    assert tree.get_element_by_id("verdict").get("class") == "plain"


def test_tables_have_captions_and_headings_with_scope(tree: Any) -> None:
    for table in tree.iter("table"):
        assert words(table.find("caption"))
        assert all(th.get("scope") == "col" for th in table.findall("thead/tr/th"))
        assert all(th.get("scope") == "row" for th in table.findall("tbody/tr/th"))
    table = tree.xpath("//section[@id='time']//table")[0]
    assert words(table.find("caption")) == "Limits of Oxygen"
    assert [words(th) for th in table.findall("thead/tr/th")] == ["limit Oxygen", "allowed", "verdict"]
    assert [[c.tag for c in row] for row in table.findall("tbody/tr")] == [
        ["th", "td", "td"],
        ["td", "td", "td"],
    ]


def test_items_in_a_row_are_one_list(tree: Any) -> None:
    section = tree.get_element_by_id("time")
    assert [len(ul.findall("li")) for ul in section.findall("ul")] == [2, 1]
    assert [words(li) for li in section.find("ol")] == ["[1] Oxygen", "[2] A handbook"]
    assert section.find("pre").text == "package.yaml:3:5 Oxygen\n  a: 1"


def test_lists_apart_stay_apart() -> None:
    parts = parts_of([Item("-", "a"), Heading("b"), Item("-", "c"), Line(""), Raw(" x"), Raw(" y")], "t")
    assert [(p.kind, p.text, p.items) for p in parts] == [
        ("bullets", "", (("-", "a"),)),
        ("heading", "b", ()),
        ("bullets", "", (("-", "c"),)),
        ("raw", " x\n y", ()),
    ]


def test_sections_with_the_same_or_no_name_have_anchors_of_their_own() -> None:
    report = replace(
        samples.bare(), sections=tuple(Section(key, key) for key in ("a b", "a-b", "", "sources"))
    )
    tree = lxml.html.document_fromstring(rendered(report))
    assert tree.xpath("//section/@id")[1:-1] == ["a-b", "a-b-2", "section", "sources-2"]


def test_a_picture_without_a_size_does_not_stop_a_report() -> None:
    odd = Still("odd", "odd", "<svg></svg>")
    tree = lxml.html.document_fromstring(rendered(replace(samples.bare(), drawings=(odd,))))
    assert len(tree.xpath("//figure")) == 1


def test_basis_without_sources_has_no_table_of_them() -> None:
    report = replace(samples.bare(), basis=Basis(warnings=("one",)))
    tree = lxml.html.document_fromstring(rendered(report))
    assert not tree.xpath("//table") and "warnings" in tree.xpath("//section/@id")


def test_words_take_the_lines_that_they_need() -> None:
    """Digits of DejaVu Sans are 0.636 em wide (its table hmtx): at 10 pt, 22 go into 50 mm, 23 do not."""
    kind = Type(10.0, 50.0)
    assert (lines("0" * 22, kind), lines("0" * 23, kind)) == (1, 2)
    assert lines("0000000000 0000000000 0000000000", kind) == 2
    assert lines("", kind) == 1


def test_a_cut_text_fits_and_is_as_long_as_can_be() -> None:
    kind = Type(10.0, 50.0)
    text = " ".join(str(k) for k in range(200))
    short = cut(text, kind, 2)
    assert short.endswith("...") and lines(short, kind) == 2
    longer = text[: len(short) + 2] + "..."
    assert lines(longer, kind) == 3
    assert cut("a  b\n", kind, 1) == "a b"


def test_what_a_figure_leaves_out_stands_below_it_for_everyone_to_read() -> None:
    lines = replace(samples.figures()[0], note="Drawn is <the> mean.")
    report = replace(
        samples.report(), sections=(Section("time", "Over time", (lines, samples.figures()[1])),)
    )
    found = lxml.html.document_fromstring(rendered(report)).xpath("//figure/p")
    assert [(p.get("class"), words(p)) for p in found] == [("note", "Drawn is <the> mean.")]

"""One source for the colours: page and workbook have those of the palette."""

from __future__ import annotations

import re
from importlib.resources import files

from optimizer.report.excel import style
from optimizer.report.figures import palette
from optimizer.report.html.render import rendered
from tests.report import html_samples as samples

CSS = files("optimizer.report.html").joinpath("templates/report.css").read_text("utf-8")


def test_the_style_sheet_has_no_colour_of_its_own() -> None:
    values = re.findall(r"[{;]\s*[a-z-]+:([^;{}]*)", CSS)
    assert len(values) > 100
    assert not [x for x in values if re.search(r"#[0-9a-fA-F]{3}|rgba?\(|hsl|\b(?:white|black)\b", x)]


def test_every_colour_that_the_style_sheet_asks_for_is_given_by_the_palette() -> None:
    given = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", palette.custom_properties()))
    asked = set(re.findall(r"var\(--([a-z-]+)\)", CSS)) - {"columns", "drawing"}
    assert asked == set(given) == set(palette.PAGE)
    assert given["accent"] == palette.ACCENT and given["bad-tint"] == palette.BAD_TINT


def test_the_page_starts_its_style_with_the_palette() -> None:
    text = rendered(samples.report())
    assert f"<style>\n{palette.custom_properties()}\n" in text


def test_workbooks_have_the_colours_of_the_page() -> None:
    assert palette.opaque("#0b5d66") == "FF0B5D66"
    for own, shared in ((style.ACCENT, palette.ACCENT), (style.GOOD, palette.GOOD), (style.BAD, palette.BAD)):
        assert own == palette.opaque(shared)

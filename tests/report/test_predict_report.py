"""The report of a prediction: its first page, its sections, and pieces that are missing."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import lxml.html
import pytest

import optimizer
from optimizer.report.figures.model import MeshView
from optimizer.report.html.chunks import chunks_of, page_of
from optimizer.report.html.model import Report
from optimizer.report.html.predict import predict_report
from optimizer.report.html.render import rendered
from optimizer.report.page import Heading, Page, Rows
from optimizer.report.predict import predict_page, verdict
from optimizer.results import OuterPackAnswer, PredictResult
from optimizer.units.systems import US

from .samples import FAILING, PASSING, wide
from .test_predicted_figures import EXAMPLES, spread

CREATED = datetime(2026, 1, 2, 3, 4)
BASIS = ("Warnings", "Assumptions", "Cautions", "Sources used")


@pytest.fixture(scope="module")
def oat() -> PredictResult:
    return optimizer.predict(EXAMPLES / "oat_drink_bottle" / "project.yaml")


def facts(report: Report) -> dict[str, str]:
    return {fact.name: fact.value for fact in report.facts}


def headings(report: Report) -> set[str]:
    """Headings and titles that the sections show."""
    pages = [s.page for s in report.sections if s.page is not None]
    own = {block.text for page in pages for block in page.blocks if isinstance(block, Heading)}
    return own | {section.title for section in report.sections}


def test_the_first_page_answers_the_question() -> None:
    report = predict_report(PASSING, created=CREATED)
    assert report.verdict == verdict(PASSING)
    assert report.good is True
    assert facts(report) == {
        "Shelf life": "14.2 months",
        "Target": "9 months",
        "Margin": "+58 %",
        "What ends it": "oxygen gain",
        "Mass": "28.42 g",
        "Material cost": "0.05235 EUR",
    }
    assert report.limits[0] == (
        "Oxygen gain: 5 mg/kg allowed, 3.16 mg/kg at the target; holds, 37 % left; reached after 14.2 months"
    )
    assert report.limits[1].endswith("holds, 90 % left; not reached")
    assert report.basis.sources == PASSING.sources
    assert report.created == CREATED


def test_a_miss_is_not_rounded_away() -> None:
    report = predict_report(FAILING, created=CREATED)
    assert report.good is False
    assert facts(report)["Shelf life"] == "8.997 months"
    assert "5 mg/kg allowed, 5.001 mg/kg" in report.limits[0]
    assert "EXCEEDED" in report.limits[0]


def test_without_a_target_the_answer_is_neither_yes_nor_no() -> None:
    report = predict_report(replace(PASSING, target_days=None), created=CREATED)
    assert report.good is None
    assert "Target" not in facts(report) and "Margin" not in facts(report)


def test_a_life_that_no_limit_ends_is_told_by_the_time_looked_at() -> None:
    report = predict_report(replace(PASSING, shelf_life_days=None, limited_by=None), created=CREATED)
    assert facts(report)["Shelf life"] == "over 27 months"
    assert "What ends it" not in facts(report)


def test_over_a_limit_at_closing_there_is_no_shelf_life() -> None:
    limit = replace(PASSING.limits[0], status="exceeded at closing", passes=False, reached_after_days=0.0)
    report = predict_report(
        replace(PASSING, shelf_life_days=0.0, limits=(limit,), passes=False), created=CREATED
    )
    assert facts(report)["Shelf life"] == "none"
    assert report.limits[0].endswith("over at closing")


def test_the_chance_is_shown_with_what_was_asked_for() -> None:
    lives = tuple(float(x) for x in range(200, 400, 5))
    report = predict_report(
        replace(PASSING, uncertainty=spread(lives), confidence_asked=0.9), created=CREATED
    )
    fact = next(f for f in report.facts if f.name == "Chance of passing")
    assert fact.value == "75.0 %"
    assert fact.remark == "of 64 samples; 90 % asked for"
    section = next(s for s in report.sections if s.key == "uncertainty")
    assert len(section.figures) == 2
    assert section.page is not None
    # the bars of characters are drawn as a figure instead
    bars = [b for b in section.page.blocks if isinstance(b, Rows) and any("#" in r[-1] for r in b.rows)]
    assert bars == []
    assert any(s.key == "spreads" for s in report.sections)


@pytest.mark.parametrize("samples", [False, True])
def test_nothing_of_the_terminal_page_is_lost(oat: PredictResult, samples: bool) -> None:
    if samples:
        oat = replace(oat, uncertainty=spread(tuple(float(x) for x in range(200, 400, 5))))
    report = predict_report(oat, created=CREATED)
    told = {c.heading for c in chunks_of(predict_page(oat)) if c.heading}
    assert told - set(BASIS) <= headings(report)


def test_the_wall_is_drawn_on_the_first_page_and_its_layers_looked_into(oat: PredictResult) -> None:
    report = predict_report(oat, created=CREATED)
    assert [d.title for d in report.drawings] == ["Wall bottle, 608 um"]
    titles = {s.key: [f.title for f in s.figures] for s in report.sections}
    assert titles["time"] == ["Oxygen gain over time", "Water loss over time"]
    assert any(title.startswith("Humidity through") for title in titles["walls"])


def test_three_walls_are_drawn_first_and_the_others_later(oat: PredictResult) -> None:
    walls = {f"wall {k}": oat.structure["bottle"] for k in range(5)}
    report = predict_report(replace(oat, structure=walls), created=CREATED)
    assert len(report.drawings) == 3
    section = next(s for s in report.sections if s.key == "walls")
    later = [f.title for f in section.figures if f.title.startswith("Wall wall")]
    assert len(later) == 2


def test_without_a_table_of_layers_there_is_still_a_report(oat: PredictResult) -> None:
    report = predict_report(replace(oat, layers=(), limits=(), storage=()), created=CREATED)
    assert report.limits == ()
    assert "time" not in {s.key for s in report.sections}


def test_an_outer_pack_is_told_with_the_gas_between(oat: PredictResult) -> None:
    outer = OuterPackAnswer(12, 3000.0, "rigid", 9.3, 0.78, None, None, "", 180.0, 20.9, 51.6)
    series = {**oat.time_series, "outer_pack_humidity_pct": tuple(50.0 for _ in oat.time_series["days"])}
    report = predict_report(replace(oat, outer_pack=outer, time_series=series), created=CREATED)
    assert facts(report)["Outer pack"] == "12 packages"
    section = next(s for s in report.sections if s.key == "gas")
    assert "Humidity between the packs" in [f.title for f in section.figures]
    assert section.page is not None


def test_us_units_reach_facts_drawings_and_tables(oat: PredictResult) -> None:
    report = predict_report(oat, units=US, created=CREATED)
    assert facts(report)["Mass"].endswith(" oz")
    assert "mil" in report.drawings[0].title
    walls = next(s for s in report.sections if s.key == "walls")
    assert walls.page is not None and "mil" in walls.page.text()


def test_titles_of_users_are_taken_as_they_are() -> None:
    hostile = "<script>alert(1)</script> {{ 7 * 7 }} [red] & \" '"
    result = replace(wide(PASSING), title=hostile)
    report = predict_report(result, created=CREATED)
    assert report.title == hostile
    text = rendered(report)
    assert hostile.partition("{")[0] not in text
    assert "{{ 7 * 7 }}" in text  # not taken as a template


@pytest.mark.slow
def test_meshes_are_shown_where_the_project_is_known() -> None:
    project = optimizer.load_project(EXAMPLES / "lightweight_bottle" / "after.yaml")
    result = optimizer.predict(project)
    with_meshes = predict_report(result, project, created=CREATED)
    without = predict_report(result, created=CREATED)
    figures = [[f for s in r.sections for f in s.figures] for r in (with_meshes, without)]
    assert [sum(isinstance(f, MeshView) for f in found) for found in figures] == [1, 0]


def test_a_page_cut_and_joined_is_the_same_page() -> None:
    page = predict_page(PASSING)
    joined = page_of(chunks_of(page))
    assert joined is not None and joined.text() == page.text()
    assert page_of(chunks_of(Page())) is None


def test_no_shelf_life_is_claimed_where_nothing_limits_it() -> None:
    """'over 27 months' beside limits on the wall alone would be an answer that nobody looked for."""
    rate = replace(PASSING.limits[0], name="transmission_O2", status="met", reached_after_days=None)
    report = predict_report(
        replace(PASSING, shelf_life_days=None, limited_by=None, limits=(rate,)), created=CREATED
    )
    assert facts(report)["Shelf life"] == "not looked at"


def test_the_first_page_tells_a_danger_whole_before_the_usual_cautions(oat: PredictResult) -> None:
    """Of the oat drink: pathogens in packs low in oxygen. What holds for every package may wait."""
    (danger,) = (text for text in oat.cautions if "Clostridium" in text)
    page = lxml.html.document_fromstring(rendered(predict_report(oat, created=CREATED)))
    first = page.xpath("//section[@id='answer']//h2[.='Cautions']/following-sibling::ul[1]/li")
    assert first[0].text_content() == danger
    kept = page.xpath("//section[@id='cautions']//li")
    assert sorted(item.text_content() for item in kept) == sorted(oat.cautions)


def test_the_chart_of_pressures_says_of_which_moment(oat: PredictResult) -> None:
    titles = [f.title for s in predict_report(oat, created=CREATED).sections for f in s.figures]
    assert "Partial pressure of O2 through wall bottle as each stage begins" in titles


def test_a_page_does_not_send_readers_to_a_file_for_what_it_shows_itself(oat: PredictResult) -> None:
    assert "in the JSON answer" not in rendered(predict_report(oat, created=CREATED)).partition("sources")[0]

"""The text of predict, design and check."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.report.check import check_page
from optimizer.report.design import design_page
from optimizer.report.page import Page
from optimizer.report.predict import predict_page, verdict

from .samples import CHECKED, DESIGNED, FAILING, INFEASIBLE, OUT_OF_TIME, PASSING, wide

PAGES = {
    "predict": predict_page(PASSING),
    "predict, failing": predict_page(FAILING),
    "predict, long names": predict_page(wide(PASSING)),
    "design": design_page(DESIGNED),
    "design, long names": design_page(replace(DESIGNED, predicted=wide(PASSING))),
    "infeasible": design_page(INFEASIBLE),
    "time limit": design_page(OUT_OF_TIME),
    "check": check_page(CHECKED),
    "check, long names": check_page(replace(CHECKED, baseline=wide(PASSING), changed=wide(FAILING))),
}


def flat(page: Page) -> str:
    """The text with line breaks undone, to look for sentences."""
    return " ".join(page.text().split())


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [80, 60])
def test_no_line_is_longer_than_asked_for(name: str, width: int) -> None:
    lines = PAGES[name].text(width=width).splitlines()
    assert max(len(line) for line in lines) <= width
    assert all(line == line.rstrip() for line in lines)


@pytest.mark.parametrize("name", PAGES)
def test_colour_comes_only_when_asked_for(name: str) -> None:
    assert "\x1b" not in PAGES[name].text()
    assert "\x1b" in PAGES[name].text(colour=True)


def test_brackets_and_colons_of_users_are_not_markup() -> None:
    title = "Bottle [bold]1 L[/bold] :smile: [red]"
    assert predict_page(replace(PASSING, title=title)).text().startswith(title + "\n")


def test_the_verdict_names_life_target_margin_and_cause() -> None:
    said = "PASSES: lasts 14.2 months, target 9 months (58 % longer); ended by oxygen gain."
    assert verdict(PASSING) == said
    assert flat(predict_page(PASSING)).count(said) == 1


def test_a_life_just_below_the_target_does_not_read_as_the_target() -> None:
    assert (
        verdict(FAILING)
        == "FAILS: lasts 8.997 months, target 9 months (0.033 % short); ended by oxygen gain."
    )


def test_a_life_beyond_the_horizon_is_said_so() -> None:
    result = replace(PASSING, shelf_life_days=None, limited_by=None)
    assert verdict(result) == "PASSES: no limit is reached within 27 months, target 9 months."


def test_without_a_target_nothing_is_compared() -> None:
    result = replace(PASSING, target_days=None)
    assert verdict(result) == "Lasts 14.2 months; ended by oxygen gain; no target was given."
    assert verdict(replace(result, passes=False)).startswith("FAILS: lasts 14.2 months;")


def test_a_life_of_hours_is_not_told_in_months() -> None:
    limit = replace(PASSING.limits[0], passes=False, reached_after_days=0.5)
    result = replace(PASSING, passes=False, shelf_life_days=0.5, limits=(limit,))
    assert verdict(result).startswith("FAILS: lasts 12 hours, target 9 months (100 % short)")
    assert "12 hours" in flat(predict_page(result)).partition("Limits")[2]


def test_a_buyers_limits_alone_say_nothing_of_shelf_life() -> None:
    met = replace(PASSING.limits[0], name="transmission O2", wall="bottle", status="met")
    result = replace(PASSING, limits=(met,), shelf_life_days=None, limited_by=None, target_days=None)
    assert verdict(result) == "PASSES: every transmission limit is met. No limit is on the shelf life."
    failed = replace(met, passes=False, status="exceeded")
    said = verdict(replace(result, limits=(failed,), passes=False))
    assert said == "FAILS: Not met: transmission O2 of bottle. No limit is on the shelf life."


def test_over_at_closing_is_said_so() -> None:
    limit = replace(PASSING.limits[0], status="exceeded at closing", passes=False, reached_after_days=0.0)
    result = replace(PASSING, passes=False, shelf_life_days=0.0, limits=(limit,))
    assert verdict(result) == "FAILS: over a limit already at closing (oxygen gain)."
    assert "over at closing" in predict_page(result).text()


def test_a_specification_limit_that_fails_alone_is_named() -> None:
    limit = replace(PASSING.limits[1], name="O2_transmission", passes=False)
    result = replace(PASSING, passes=False, limits=(PASSING.limits[0], limit))
    assert verdict(result).endswith("ended by oxygen gain. Not met: O2 transmission.")


def test_each_limit_shows_its_own_kind_of_outcome() -> None:
    specification = replace(
        PASSING.limits[0],
        name="transmission O2",
        wall="bottle",
        status="met",
        reached_after_days=None,
        unit="cm3",
    )
    text = flat(predict_page(replace(PASSING, limits=(*PASSING.limits, specification))))
    assert "oxygen gain 5 3.16 mg/kg 14.2 months holds, 37 % left" in text
    assert "water loss 2 0.21 % not reached holds, 90 % left" in text
    assert "transmission O2 (bottle) 5 3.16 cm3 holds, 37 % left" in text


def test_a_prediction_shows_where_each_gas_comes_through_in_the_worst_stage() -> None:
    text = flat(predict_page(PASSING))
    assert "O2 truck body 62 % 0.0258 cm3(STP)/(package*day*atm) cap 38 % 0.0158" in text
    assert "truck 0.0416 0.0231" in text  # 2.1 * (0.0123 + 0.0075), 2.1 * 0.011


def test_a_prediction_shows_what_it_rests_on() -> None:
    text = flat(predict_page(PASSING))
    for words in (*PASSING.warnings, *PASSING.cautions, "handbook", "An invented handbook,", "0.05235 EUR"):
        assert words in text
    assert PASSING.assumptions[0].strip() in text


def test_a_design_states_its_proof_without_rounding_in_its_favour() -> None:
    # (0.052345 - 0.052304) / 0.052345 = 0.0783 %
    said = "Proved: no structure of these candidates under these rules is more than 0.079 % cheaper"
    assert said in flat(design_page(DESIGNED))
    exact = design_page(replace(DESIGNED, lower_bound=DESIGNED.objective, minimised="mass"))
    assert "no structure of these candidates under these rules is lighter" in flat(exact)
    assert "No bound was proved" in flat(design_page(replace(DESIGNED, lower_bound=None)))


def test_a_design_shows_structure_alternatives_and_what_holds_it() -> None:
    text = flat(design_page(DESIGNED))
    assert "OPTIMAL: cost 0.05235 EUR." in text
    assert "Wall bottle, 314.5 um" in text
    assert "oxygen gain 1 mg/kg more 0.0012 EUR" in text
    assert "+3.4 % * 0.0541 EUR HDPE 300 / tie PE 8 / EVOH 32 6.5" in text
    assert "* good, but not proved to be next" in text
    proved = replace(DESIGNED, alternatives=tuple(replace(a, proved=True) for a in DESIGNED.alternatives))
    text = flat(design_page(proved))
    assert "+3.4 % 0.0541 EUR HDPE 300" in text and "Each is proved best of its own sequence" in text


def test_an_infeasible_design_explains_itself() -> None:
    text = flat(design_page(INFEASIBLE))
    assert text.split(":")[0].endswith("INFEASIBLE")
    for words in (*INFEASIBLE.conflict, INFEASIBLE.nearest[1:]):
        assert words in text


def test_an_infeasible_design_names_limits_in_words() -> None:
    raw = replace(
        INFEASIBLE,
        conflict=("the limit on co2 loss",),
        nearest="Nearest: with what oxygen_gain, water_activity_max allows taken 2 times as large, HDPE 3 um",
    )
    text = flat(design_page(raw))
    assert "the limit on CO2 loss" in text
    assert "With what oxygen gain, highest water activity allows taken 2 times" in text


def test_what_left_means_is_said_under_the_table() -> None:
    text = flat(predict_page(PASSING))
    assert text.count("left: share of the permitted change that is still unused at the target") == 1
    lost = replace(PASSING.limits[0], passes=False, margin_pct=-3.0)
    assert "left:" not in flat(predict_page(replace(PASSING, limits=(lost,))))


def test_the_solver_line_speaks_of_the_gap_in_percent() -> None:
    solver = {"name": "HiGHS", "rounds": 4, "gap_asked": 0.001, "seconds": 2.345}
    text = flat(design_page(replace(DESIGNED, solver=solver)))
    assert text.endswith("Solver HiGHS, rounds 4, gap asked 0.1 %, 2.35 s")


def test_a_design_out_of_time_tells_what_was_proved() -> None:
    text = flat(design_page(OUT_OF_TIME))
    assert "TIME LIMIT: no structure that passes was found" in text
    assert "a cost of at least 0.031 EUR" in text


def test_a_check_shows_both_the_changes_and_the_lightest() -> None:
    text = flat(check_page(CHECKED))
    assert "FAILS: lasts 8.997 months" in text
    assert "Baseline passes: lasts 14.2 months" in text
    assert "shelf life 14.2 8.997 months -37 %" in text
    assert "oxygen gain at target 3.16 5 mg/kg +58 %" in text
    assert "layer 3 EVOH 32 12 um 7.6 um" in text
    assert "100.1 % of the thickness of wall bottle: 28.44 g" in text


def test_a_check_without_a_passing_scale_says_why() -> None:
    text = flat(
        check_page(
            replace(CHECKED, lightest_passing={"scale": None, "walls": {}, "note": "the cap decides."})
        )
    )
    assert "none: the cap decides." in text
    assert "it needs a target" in flat(check_page(replace(CHECKED, lightest_passing=None)))

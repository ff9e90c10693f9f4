"""What a page says of samples, on answers made by hand (invented numbers)."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from optimizer.report.check import check_page
from optimizer.report.page import Page
from optimizer.report.predict import predict_page, verdict
from optimizer.report.record import to_json
from optimizer.report.spread_bars import LONGEST, bars
from optimizer.report.uncertainty import chance, what_ends_it
from optimizer.results import LayerThickness, PartThickness, PredictResult
from optimizer.results_uncertainty import Influence, PercentileEnd, SpreadNote, UncertaintyResult

from .samples import CHECKED, FAILING, MONTH, PASSING

LIVES = tuple(MONTH * (6.0 + 12.0 * (k + 0.5) / 100) for k in range(100))
UNCERTAIN = UncertaintyResult(
    samples=4096,
    seed=7,
    wall="transient",
    probability=0.7543,
    probability_error=0.0031,
    shelf_life_days={"p05": 6.6 * MONTH, "p25": 9 * MONTH, "p50": 12 * MONTH, "p75": 15 * MONTH, "p95": None},
    percentiles=(
        PercentileEnd(5, 6.6 * MONTH, "oxygen_gain"),
        PercentileEnd(25, 9 * MONTH, "oxygen_gain"),
        PercentileEnd(50, 12 * MONTH, "oxygen_gain"),
        PercentileEnd(75, 15 * MONTH, "water_loss"),
        PercentileEnd(95, None, None),
    ),
    ended_by={"oxygen_gain": 0.7, "water_loss": 0.24, "none": 0.06},
    influences=(
        Influence("O2 permeability of EVOH 32", 0.61, 0.66),
        Influence("shared: source a_handbook", 0.2, 0.21),
        Influence("duration of stage 'truck'", 0.001, 0.002),
    ),
    spreads=(
        SpreadNote("temperature of storage", 1.0, "K", "given in the project"),
        SpreadNote("O2 permeability of tie PE", 5.0, "%", "assumed: laboratories differ by this much"),
        SpreadNote("O2 permeability of EVOH 32", 40.0, "%", "band of the table, 1 to 5"),
        SpreadNote("thickness of wall 'bottle'", 8.0, "%", "given in the project"),
    ),
    notes=("No spread is given for the transmission of cap; it is taken as exact",),
    life_days=LIVES,
    details={"indices_of": "ln(shelf life)", "index_error": 0.031},
)
SAMPLED = replace(PASSING, uncertainty=UNCERTAIN, wall_model="transient", wall_reason="the package creeps")
PART = PartThickness(
    "body",
    512.0,
    460.8,
    -10.0,
    400.0,
    360.0,
    (
        LayerThickness("HDPE", 500.0, 450.0, -10.0),
        LayerThickness("EVOH 32", 12.0, None, None),
        LayerThickness("EVOH 44", None, 10.8, None),
    ),
)
COMPARED = replace(
    CHECKED,
    baseline=SAMPLED,
    changed=replace(FAILING, uncertainty=replace(UNCERTAIN, probability=0.41), confidence_asked=0.95),
    confidence=0.41,
    confidence_asked=0.95,
    at_least_as_long=0.33,
    at_least_as_long_error=0.004,
    thickness=(
        PART,
        PartThickness("base", 700.0, 700.0, 0.0, 700.0, 700.0, (LayerThickness("HDPE", 700.0, 700.0, 0.0),)),
    ),
)


def flat(page: Page) -> str:
    return " ".join(page.text().split())


@pytest.mark.parametrize("result", [SAMPLED, replace(SAMPLED, target_days=None)], ids=["target", "none"])
@pytest.mark.parametrize("width", [80, 60])
def test_no_line_is_longer_than_asked_for(result: PredictResult, width: int) -> None:
    for page in (predict_page(result), check_page(replace(COMPARED, changed=result))):
        assert max(len(line) for line in page.text(width=width).splitlines()) <= width


def test_a_page_without_samples_says_nothing_of_them() -> None:
    text = predict_page(PASSING).text()
    assert "samples" not in text and "uncertain" not in text and "Walls:" not in text


def test_the_chance_comes_with_its_error_and_what_ends_the_life() -> None:
    text = flat(predict_page(SAMPLED))
    assert "75.4 % of the samples pass (standard error 0.3 %) at the target of 9 months." in text
    assert (
        "What ends it: oxygen gain in 70 % of the samples, water loss in 24 % and nothing within 27 months "
        "in 6 %." in text
    )


def test_every_percentile_says_what_ends_it() -> None:
    rows = [line.split() for line in predict_page(SAMPLED).text().splitlines()]
    assert ["5", "%", "6.6", "months", "oxygen", "gain"] in rows
    assert ["75", "%", "15", "months", "water", "loss"] in rows
    assert ["95", "%", "over", "27", "months"] in rows


def test_what_to_measure_is_listed_by_its_whole_share() -> None:
    text = flat(predict_page(SAMPLED))
    assert "O2 permeability of EVOH 32 66 % 61 %" in text
    assert "what the properties from a_handbook have in common 21 % 20 %" in text
    assert "sampling error up to 3 %" in text
    assert "duration of stage" not in text  # less than 1 % of the variance


def test_spreads_are_listed_largest_first_and_assumed_ones_are_said_to_be() -> None:
    text = flat(predict_page(SAMPLED))
    places = [text.index(x) for x in ("40 % band of the table", "8 % given", "5 % assumed:", "1 K given")]
    assert places == sorted(places)
    assert "1 spread is assumed and not known" in text
    none = replace(UNCERTAIN, spreads=UNCERTAIN.spreads[2:])
    assert "assumed and not known" not in flat(predict_page(replace(SAMPLED, uncertainty=none)))


def test_the_draw_can_be_repeated_from_the_page() -> None:
    assert "4096 samples (scrambled Sobol points), seed 7, walls transient" in flat(predict_page(SAMPLED))


@pytest.mark.parametrize(
    ("model", "reason", "line"),
    [
        ("transient", "the package creeps", "Walls: transient, because the package creeps."),
        ("steady", "asked for", "Walls: steady, asked for."),
    ],
)
def test_the_walls_stand_under_the_verdict_with_their_reason(model: str, reason: str, line: str) -> None:
    lines = predict_page(replace(PASSING, wall_model=model, wall_reason=reason)).text().splitlines()
    assert lines.index(line) == 1 + next(i for i, text in enumerate(lines) if text.startswith("PASSES"))


def test_a_verdict_at_a_confidence_says_chance_and_confidence() -> None:
    passes = replace(SAMPLED, confidence_asked=0.6)
    assert verdict(passes) == (
        "PASSES: lasts 14.2 months, target 9 months (58 % longer); ended by oxygen gain. 75.4 % of the "
        "samples pass (standard error 0.3 %); 60 % asked for."
    )
    fails = replace(SAMPLED, confidence_asked=0.95, passes=False)
    assert verdict(fails) == (
        "FAILS: 75.4 % of the samples pass (standard error 0.3 %); 95 % asked for. With the properties as "
        "given it lasts 14.2 months, target 9 months (58 % longer); ended by oxygen gain."
    )
    both = replace(FAILING, uncertainty=UNCERTAIN, confidence_asked=0.95)
    assert verdict(both).startswith("FAILS: lasts 8.997 months, target 9 months")
    assert verdict(both).endswith("95 % asked for.")


def test_a_package_that_no_limit_ends_can_fail_at_a_confidence() -> None:
    fails = replace(SAMPLED, shelf_life_days=None, limited_by=None, confidence_asked=0.95, passes=False)
    assert verdict(fails).endswith(
        "With the properties as given it passes: no limit is reached within 27 months, target 9 months."
    )


@pytest.mark.parametrize(
    ("probability", "said"), [(1.0, "All samples pass at"), (0.0, "No sample passes at")]
)
def test_all_and_none_are_said_in_words(probability: float, said: str) -> None:
    found = replace(UNCERTAIN, probability=probability, probability_error=1 / 4096)
    assert said in flat(predict_page(replace(SAMPLED, uncertainty=found)))


def test_a_chance_has_the_digits_that_its_error_leaves() -> None:
    assert chance(0.97312, 0.01) == "97.3 %"
    assert chance(0.97312, 0.0004) == "97.31 %"
    assert chance(0.97312, None) == "97.3 %"


def test_nearly_all_is_not_all() -> None:
    found = replace(UNCERTAIN, ended_by={"oxygen_gain": 0.9995, "none": 0.0005})
    said = what_ends_it(found, 27 * MONTH)
    assert said.startswith("What ends it: oxygen gain in 99.95 % of the samples and nothing within 27 months")


@pytest.mark.parametrize(
    ("ended_by", "said"),
    [
        ({"oxygen_gain": 1.0, "none": 0.0}, "What ends it: oxygen gain in all samples."),
        ({"oxygen_gain": 0.0, "none": 1.0}, "No limit is reached within 27 months in any sample."),
        ({"none": 1.0}, "No limit is on the shelf life."),
    ],
)
def test_what_holds_for_every_sample_is_said_without_a_share(ended_by: dict[str, float], said: str) -> None:
    assert what_ends_it(replace(UNCERTAIN, ended_by=ended_by), 27 * MONTH) == said


def test_where_no_sample_ends_there_are_no_percentiles() -> None:
    never = replace(UNCERTAIN, ended_by={"oxygen_gain": 0.0, "none": 1.0}, life_days=(), spreads=())
    text = flat(predict_page(replace(SAMPLED, uncertainty=never)))
    assert "last less than" not in text and "no limit reached" not in text
    assert "nothing that the shelf life depends on is uncertain" in text


def test_the_target_is_an_edge_and_the_bars_above_it_hold_what_passes() -> None:
    """A quarter of the lives from 6 to 18 months lie below 9 months."""
    unit, rows = bars(LIVES, 0.0, 9 * MONTH)
    place = next(i for i, row in enumerate(rows) if row.share is None)
    assert (unit, rows[place].label) == ("months", "target 9")
    assert sum(row.share or 0.0 for row in rows) == pytest.approx(1.0)
    assert sum(row.share or 0.0 for row in rows[:place]) == pytest.approx(0.25)
    assert rows[place - 1].label.endswith(" to 9") and rows[place + 1].label.startswith("9 to ")
    assert max(len(row.bar) for row in rows) == LONGEST


def test_bars_are_in_proportion_to_their_shares() -> None:
    _, rows = bars(LIVES, 0.4, 9 * MONTH)
    assert rows[-1].label == "no limit reached" and rows[-1].share == 0.4
    largest = max(row.share or 0.0 for row in rows)
    for row in rows:
        if row.share:
            assert len(row.bar) == math.ceil(LONGEST * row.share / largest - 1e-9)
    assert sum(row.share or 0.0 for row in rows) == pytest.approx(1.0)


@pytest.mark.parametrize("target", [2.0, 40.0])
def test_a_target_beside_all_lives_stands_at_its_end(target: float) -> None:
    _, rows = bars(LIVES, 0.0, target * MONTH)
    place = next(i for i, row in enumerate(rows) if row.share is None)
    assert place == (0 if target < 6 else len(rows) - 1)


def test_a_target_in_the_tail_still_parts_what_passes_from_what_fails() -> None:
    """One life in 200 is half as long as the others."""
    _, rows = bars(sorted((4.5 * MONTH, *LIVES[:99], *LIVES)), 0.0, 5 * MONTH)
    place = next(i for i, row in enumerate(rows) if row.share is None)
    assert (place, rows[0].label) == (1, "below 5") and rows[0].share == pytest.approx(1 / 200)


def test_lives_that_do_not_differ_are_one_bar() -> None:
    _, rows = bars((100.0, 100.0), 0.0, None)
    assert [(row.label, row.share) for row in rows] == [("all", 1.0)]
    assert bars((), 1.0, 9 * MONTH) == ("", [])


def test_a_check_shows_both_packages_and_the_chance_to_last_as_long() -> None:
    text = flat(check_page(COMPARED))
    assert "41.0 % of the samples pass (standard error 0.3 %) at the target of 9 months." in text
    assert "lasts at least as long as the baseline in 33.0 % of the samples (standard error 0.4 %)." in text
    assert "5 % 6.6 months oxygen gain 6.6 months oxygen gain" in text
    assert "passes 75.4 % 41.0 %" in text
    same = check_page(replace(COMPARED, at_least_as_long=1.0))
    assert "at least as long as the baseline in all samples." in flat(same)


def test_a_check_shows_the_thickness_of_parts_that_differ() -> None:
    text = flat(check_page(COMPARED))
    assert "body all 512 460.8 -10 %" in text
    assert "HDPE 500 450 -10 % EVOH 32 12 - EVOH 44 - 10.8" in text
    assert "thinnest place 400 360 -10 %" in text
    assert "base: as before." in text
    assert "Local thickness" not in check_page(CHECKED).text()


def test_the_lightest_says_its_confidence_and_its_chance_on_fresh_numbers() -> None:
    lightest = {
        **(CHECKED.lightest_passing or {}),
        "confidence": 0.95,
        "probability": 0.9502,
        "probability_error": 0.002,
        "fresh_probability": 0.9466,
        "fresh_probability_error": 0.003,
    }
    text = flat(check_page(replace(COMPARED, lightest_passing=lightest)))
    assert "Lightest that still passes at 95 %" in text
    assert (
        "Passes in 95.0 % of the samples (standard error 0.2 %); of others that the search did not see, "
        "94.7 % pass (standard error 0.3 %)." in text
    )


def test_walls_of_both_packages_are_told_where_they_differ() -> None:
    one = replace(PASSING, wall_reason="asked for")
    text = flat(check_page(replace(CHECKED, baseline=one, changed=replace(FAILING, wall_reason="asked for"))))
    assert text.count("Walls: steady, asked for.") == 1
    other = replace(FAILING, wall_model="transient", wall_reason="the package creeps")
    text = flat(check_page(replace(CHECKED, baseline=one, changed=other)))
    assert "Walls of the changed package: transient, because the package creeps." in text
    assert "Walls of the baseline: steady, asked for." in text


def test_the_record_holds_what_the_page_shows() -> None:
    record = json.loads(to_json(COMPARED))
    assert record["at_least_as_long"] == 0.33 and record["confidence"] == 0.41
    assert record["thickness"][0]["layers"][1] == {
        "material": "EVOH 32",
        "baseline_um": 12.0,
        "now_um": None,
        "change_pct": None,
    }
    assert record["changed"]["uncertainty"]["percentiles"][3]["limited_by"] == "water_loss"
    assert record["baseline"]["uncertainty"]["seed"] == 7

"""Numbers and durations in words."""

from __future__ import annotations

import math

import pytest

from optimizer.report.wording import (
    apart,
    change,
    duration,
    figure,
    limit_name,
    listed,
    money,
    percent,
    with_unit,
)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (14.2345, "14.2"),
        (9.0, "9"),
        (548.0, "548"),
        (12345.6, "12346"),
        (0.012345, "0.0123"),
        (0.00001234, "1.23e-05"),
        (3.2e9, "3.20e+09"),
        (-2.5, "-2.5"),
        (None, "-"),
        (math.nan, "-"),
        (math.inf, "-"),
    ],
)
def test_figures_have_three_digits(value: float | None, text: str) -> None:
    assert figure(value) == text


def test_durations_take_the_unit_that_suits_them() -> None:
    assert duration(0.25) == "6 hours"
    assert duration(5.0) == "5 days"
    assert duration(84.0) == "84 days"
    assert duration(149.0) == "149 days"
    assert duration(152.1875) == "5 months"
    assert duration(1095.0) == "36 months"  # three years are 1095.75 days
    assert duration(9 * 30.4375) == "9 months"
    assert duration(1461.0) == "4 years"
    assert duration(30.4375, like=9 * 30.4375) == "1 month"
    assert duration(None) == "-"


def test_numbers_that_decide_are_never_rounded_onto_each_other() -> None:
    assert apart(8.997, 9.0) == ("8.997", "9")
    assert apart(5.0, 5.0013) == ("5", "5.001")
    assert apart(5.0, 3.164) == ("5", "3.16")
    assert apart(5.0, 5.0) == ("5", "5")
    assert apart(5.0, None) == ("5", "-")


def test_units_of_one_are_not_written() -> None:
    assert with_unit(0.43, "1") == "0.43"
    assert with_unit(5.0, "mg/kg") == "5 mg/kg"
    assert with_unit(None, "mg/kg") == "-"


def test_changes_are_relative_and_signed() -> None:
    assert change(10.0, 8.8) == "-12 %"
    assert change(10.0, 12.5) == "+25 %"
    assert change(10.0, 10.0) == "same"
    assert change(0.0, 1.0) == change(None, 1.0) == ""


def test_small_amounts_of_money_keep_their_digits() -> None:
    assert money(0.052345, "EUR") == "0.05235 EUR"
    assert money(None, "EUR") == "-"


def test_words() -> None:
    assert limit_name("oxygen_gain") == "oxygen gain"
    assert limit_name("co2_loss") == "CO2 loss"
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert percent(None) == "-"
    assert percent(98.12) == "98 %"
    assert percent(0.0) == "0 %" and percent(2e-17) == "<0.0001 %" and percent(-3e-9) == ">-0.0001 %"

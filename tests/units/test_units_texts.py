"""Sentences in units of the United States: what is a quantity in them, and what only looks like one.

Factors: inch 25.4 mm, pound 453.59237 g (international agreement of 1959); degF = 1.8 degC + 32 (NIST SP 811,
Appendix B; from memory); fluid ounce (US) 29.5735295625 mL, psi 6.894757293168 kPa (NIST Handbook 44 and SP
811; from memory). Everything else is arithmetic with them.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from optimizer.units.systems import SI, US

#: metric unit -> what it becomes, how many of that are one of it, and what is added.
UNITS = {
    "um": ("mil", 1 / 25.4, 0.0),
    "mm": ("in", 1 / 25.4, 0.0),
    "cm": ("in", 1 / 2.54, 0.0),
    "m": ("ft", 1 / 0.3048, 0.0),
    "mm2": ("in2", 1 / 645.16, 0.0),
    "cm2": ("in2", 1 / 6.4516, 0.0),
    "m2": ("ft2", 1 / 0.09290304, 0.0),
    "cm3": ("in3", 1 / 16.387064, 0.0),
    "mL": ("fl oz", 1 / 29.5735295625, 0.0),
    "L": ("fl oz", 1 / 0.0295735295625, 0.0),
    "g": ("oz", 16 / 453.59237, 0.0),
    "g/package": ("oz/package", 16 / 453.59237, 0.0),
    "kg": ("lb", 1 / 0.45359237, 0.0),
    "kPa": ("psi", 1 / 6.894757293168, 0.0),
    "MPa": ("psi", 1e3 / 6.894757293168, 0.0),
    "bar": ("psi", 100 / 6.894757293168, 0.0),
    "hPa": ("psi", 0.1 / 6.894757293168, 0.0),
    "mbar": ("psi", 0.1 / 6.894757293168, 0.0),
    "degC": ("degF", 1.8, 32.0),
    "K": ("degF", 1.8, 0.0),
    "kg/m3": ("g/cm3", 1e-3, 0.0),
    "g/m2": ("oz/ft2", 16 / 453.59237 * 0.09290304, 0.0),
    "g/(m2*day)": ("g/(100 in2*day)", 0.064516, 0.0),
    "g*mm/(m2*day)": ("g*mil/(100 in2*day)", 0.064516 / 0.0254, 0.0),
    "g*um/(m2*day)": ("g*mil/(100 in2*day)", 0.064516 / 25.4, 0.0),
    "EUR/kg": ("EUR/lb", 0.45359237, 0.0),
    "USD/m2": ("USD/ft2", 0.09290304, 0.0),
}
for _gas in ("cm3", "cm3(STP)"):
    for _pressure, _per_atm in (("atm", 1.0), ("bar", 1.01325)):
        _to = f"{_gas}/(100 in2*day*atm)"
        UNITS[f"{_gas}/(m2*day*{_pressure})"] = (_to, 0.064516 * _per_atm, 0.0)
        for _length, _per_mil in (("um", 25.4), ("mm", 0.0254)):
            _to = f"{_gas}*mil/(100 in2*day*atm)"
            UNITS[f"{_gas}*{_length}/(m2*day*{_pressure})"] = (_to, 0.064516 * _per_atm / _per_mil, 0.0)


def test_every_unit_of_texts_is_looked_at() -> None:
    assert {*US.table, *US.texts} <= set(UNITS)


def step(number: str) -> float:
    """One of the last digit; zeros at the end of an integer of more than four digits may be of rounding."""
    mantissa, _, power = number.lower().partition("e")
    digits = mantissa.lstrip("+-")
    zeros = len(digits) - len(digits.rstrip("0")) if "." not in digits else 0
    spare = max(0, min(zeros, len(digits) - 4))
    return float(10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]) + spare))


def significant(number: str) -> int:
    return len(number.lower().partition("e")[0].replace(".", "").lstrip("+-0"))


@given(
    st.sampled_from(sorted(UNITS)),
    st.one_of(
        st.floats(1e-6, 1e6).map(lambda x: f"{x:.4g}"),
        st.floats(1e-6, 1e6).map(lambda x: f"{x:.2g}"),
        st.integers(0, 200000).map(str),
        st.decimals(0, 5000, places=3).map(str),
    ),
)
@example("um", "26")
@example("cm3*um/(m2*day*bar)", "178000")
@example("degC", "-0.5")
def test_a_converted_number_stays_within_the_rounding_of_what_was_written(unit: str, number: str) -> None:
    shown, factor, offset = UNITS[unit]
    text = US.text(f"it is {number} {unit}, as measured")
    found = re.fullmatch(rf"it is (\S+) {re.escape(shown)}, as measured", text)
    assert found, text
    back = (float(found[1]) - offset) / factor
    assert abs(back - float(number)) <= 0.5000001 * step(number) + 1e-12 * abs(back)


@pytest.mark.parametrize(
    ("metric", "shown"),
    [
        ("23 degC", "73.4 degF"),
        ("38 degC", "100.4 degF"),
        ("25 degC", "77 degF"),
        ("12 um", "0.47 mil"),
        ("26 um", "1.02 mil"),  # 1 mil would be 25.4 um
        ("300 um", "11.8 mil"),
        ("415.8 um", "16.37 mil"),
        ("1 um", "0.039 mil"),
        ("10 K", "18 degF"),
        ("4 bar", "58 psi"),
    ],
)
def test_as_many_digits_are_shown_as_were_written_and_at_least_two(metric: str, shown: str) -> None:
    assert US.text(metric) == shown
    if "deg" not in shown and shown != "1.02 mil":
        assert significant(shown.split(" ")[0]) <= max(2, significant(metric.split(" ")[0]))


@pytest.mark.parametrize(
    ("metric", "shown"),
    [
        ("between 0 and 40 degC", "between 32 and 104 degF"),
        ("-18 to 4 degC", "-0.4 to 39.2 degF"),
        ("12 to -3.5 degC", "53.6 to 25.7 degF"),
        ("8-12 um", "0.31-0.47 mil"),
        ("at 10, 20 and 30 mm", "at 0.39, 0.79 and 1.2 in"),
        ("60.1 x 60.1 x 212.9 mm", "2.366 x 2.366 x 8.382 in"),
        ("at (25.4, 50.8, 0.0) mm, one of 3", "at (1, 2, 0) in, one of 3"),
        ("415.8 um (335 um to 1505 um)", "16.37 mil (13.2 mil to 59.25 mil)"),
        (
            "band, 0.004 to 0.02 cm3*mm/(m2*day*atm) of 12 um",
            "band, 0.01 to 0.051 cm3*mil/(100 in2*day*atm) of 0.47 mil",
        ),
        ("opening 1, 33 mm across", "opening 1, 1.3 in across"),
        ("layer 2 and 12 um", "layer 2 and 0.47 mil"),
        ("a wall 0.3 to 0.5 mm thick", "a wall 0.012 to 0.02 in thick"),
        ("day 3, 10 and 20 um", "day 3, 0.39 and 0.79 mil"),
        ("there is no 12 um film", "there is no 0.47 mil film"),
        ("2 walls, 3, 12 um", "2 walls, 3, 0.47 mil"),
        ("region 2 and 12 um", "region 2 and 0.47 mil"),
        ("no. 2 and 12 um", "no. 2 and 0.47 mil"),
        ("3 x 12 um", "3 x 0.47 mil"),
        ("2 x 3 x 100 g", "2 x 3 x 3.53 oz"),
        ("100 x 50 mm", "3.94 x 1.97 in"),
    ],
)
def test_lists_and_ranges_are_one_quantity_and_labels_are_none(metric: str, shown: str) -> None:
    assert US.text(metric) == shown


@pytest.mark.parametrize(
    ("metric", "shown"),
    [
        ("1 degC less in every stage", "1.8 degF less in every stage"),
        ("10 degC more", "18 degF more"),
        ("+5 degC", "+9 degF"),
        ("differs by 2 degC", "differs by 3.6 degF"),
        ("spread 1 degC", "spread 1.8 degF"),
        ("more than 10 K outside", "more than 18 degF outside"),
        ("3 degC to 5 degC warmer", "5.4 degF to 9 degF warmer"),
        ("3 to 5 degC colder", "5.4 to 9 degF colder"),
        ("10 degC hotter than before", "18 degF hotter than before"),
        ("10 degC cooler, at 5 degC", "18 degF cooler, at 41 degF"),
        ("higher by 3 degC to 5 degC", "higher by 5.4 degF to 9 degF"),
        ("2.5 degC above Tg", "4.5 degF above Tg"),
        ("2.5 degC below the glass transition", "4.5 degF below the glass transition"),
        ("softens at 25 degC, above Tg", "softens at 77 degF, above Tg"),
        ("69 degC above which it softens", "156.2 degF above which it softens"),
        ("storage at 38 degC is more", "storage at 100.4 degF is more"),
        ("closed at 5 degC, lower than before", "closed at 41 degF, lower than before"),
        ("stored by day at 5 degC", "stored by day at 41 degF"),
    ],
)
def test_differences_of_temperatures_are_scaled_without_the_offset(metric: str, shown: str) -> None:
    assert US.text(metric) == shown


@pytest.mark.parametrize(
    "text",
    [
        "+5 %RH, 5 mg/kg, 0.5 cm3*20um/(m2*day*atm), 1e-12 m2/s, 40 kJ/mol, 1 atm",
        "holds 3 cm3 per cm3, 5 g per 100 g, 2 g/(package*day), 0.1 cm3(STP)/(package*day*atm)",
        "write 'area: 12 cm2' or \"gauge: 12 um\" instead",
        "table 25 um.csv of web-12 um.xlsx, line 3",
        "PET: O2: estimated value (as at 23 degC and 12 um)",
        "O2 value from 2023, g of 12",
        "gives 4 g of water per g of dry product, 1,000 um and 1,000 to 2,000 um",
    ],
)
def test_what_is_no_quantity_to_convert_stays(text: str) -> None:
    if ".csv" in text:
        assert US.text(text, ["table 25 um.csv"]).startswith("table 25 um.csv of")
    else:
        assert US.text(text) == text


def test_names_given_by_the_user_stay_whatever_they_look_like() -> None:
    names = ["500 um club", "Film 25 um", "PET 12", "12", "EVOH 32", "23 degC", "25 um film"]
    for text, shown in {
        "Film 25 um 30 um": "Film 25 um 1.2 mil",
        "Film 25 um: measured at 23 degC by 500 um club": "Film 25 um: measured at 73.4 degF by 500 um club",
        "layer 3 EVOH 32 12 um": "layer 3 EVOH 32 0.47 mil",
        "23 degC: 4 months, 23 degC, 50 %": "23 degC: 4 months, 73.4 degF, 50 %",
        "20 and 25 um film": "20 and 25 um film",
        "PET 12.5 um": "PET 0.492 mil",
    }.items():
        assert US.text(text, names) == shown


def test_a_sentence_is_converted_once_only_and_metric_sentences_never() -> None:
    text = "closed at 23 degC, 12 um thick, 1.30 EUR/kg, 0.5 cm3/(m2*day*atm), 10 K outside"
    assert SI.text(text) == text
    assert US.text(US.text(text)) == US.text(text) != text

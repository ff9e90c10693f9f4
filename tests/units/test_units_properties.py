"""Properties over many texts: only UnitError comes out, and what is written is read back."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from optimizer.errors import UnitError
from optimizer.units import KINDS, convert, display, from_unit, read
from optimizer.units.table import AMBIGUOUS, AMBIGUOUS_AS_TYPED, UNITS, find
from optimizer.units.write import number_text

KIND_NAMES = st.sampled_from(list(KINDS))
_PIECES = [
    *UNITS,
    *AMBIGUOUS,
    *AMBIGUOUS_AS_TYPED,
    *"()[]/*.·×- ^²⁻¹%°,xX",
    "**",
    "100",
    "24",
    "1e-13",
    "10^-13",
    "0.21",
    "(STP)",
    "(O2)",
    "H2O",
    "(23 degC, 1 atm)",
    "EUR",
    "per",
    "sq",
    "cu.",
    "%RH",
    "5",
    "-1",
    "e",
    "1/",
]
_UNITS_OUT = {
    "gas permeance": ["cm3(STP)/(m2*day*atm)", "cc/(100 in2*day*atm)"],
    "package gas conductance": ["cm3(STP)/(package*day*atm)"],
    "vapour transmission rate": ["g/(m2*day)"],
    "package vapour rate": ["g/(package*day)"],
    "length": ["um", "mm", "mil"],
    "area": ["cm2", "m2"],
    "volume": ["mL", "L"],
    "mass": ["g", "kg"],
    "duration": ["days", "months", "years"],
    "temperature": ["degC", "degF", "K"],
    "fraction": ["%", ""],
    "price per mass": ["EUR/kg"],
    "activation energy": ["kJ/mol"],
}


@given(st.text(max_size=60) | st.text(max_size=260), KIND_NAMES, st.sampled_from([None, "O2", "Xe"]))
@settings(max_examples=300, deadline=None)
@example("٣ mm", "length", None)
@example("5 m²²²²", "area", None)
@example("1 m^999999", "area", None)
@example("5 1e-308 1", "rate", None)
@example("1e308 GPa", "pressure", None)
def test_arbitrary_text_gives_a_finite_value_or_a_unit_error(text: str, kind: str, gas: str | None) -> None:
    _read_or_refuse(text, kind, gas)


@given(st.lists(st.sampled_from(_PIECES), max_size=10), KIND_NAMES, st.sampled_from([None, "O2", "Xe"]))
@settings(max_examples=600, deadline=None)
def test_arbitrary_strings_of_units_give_a_finite_value_or_a_unit_error(
    pieces: list[str], kind: str, gas: str | None
) -> None:
    _read_or_refuse("5 " + "".join(pieces), kind, gas)


def _read_or_refuse(text: str, kind: str, gas: str | None) -> None:
    try:
        quantity = read(text, kind, gas=gas)
    except UnitError as error:
        assert 1 <= error.column <= len(text) + 1
        assert error.message
    else:
        assert math.isfinite(quantity.value)
        assert quantity.kind == kind


@given(st.sampled_from(sorted(_UNITS_OUT)), st.data(), st.floats(1e-6, 1e6))
@settings(max_examples=300, deadline=None)
def test_converting_there_and_back_changes_nothing(kind: str, data: st.DataObject, number: float) -> None:
    unit = data.draw(st.sampled_from(_UNITS_OUT[kind]))
    value = from_unit(number, kind, unit)
    assert convert(value, kind, unit) == pytest.approx(
        number, rel=1e-12, abs=1e-9 if kind == "temperature" else 0.0
    )
    if kind != "fraction" or unit:
        assert read(f"{number!r} {unit}", kind).value == value


@given(KIND_NAMES, st.floats(1e-20, 1e9))
@settings(max_examples=400, deadline=None)
def test_what_is_displayed_is_read_back(kind: str, value: float) -> None:
    if kind == "temperature":
        value = 1.0 + value % 1000.0
    if kind in ("fraction", "relative humidity"):
        value = value % 1.0
    if kind == "count":
        value = float(f"{math.ceil(value):.3e}")
    text = display(value, kind, currency="EUR")
    tolerance = 0.05 if kind == "temperature" else 0.0  # K lost by rounding degC to 4 digits
    assert read(text, kind).value == pytest.approx(value, rel=5.1e-4, abs=tolerance)


@pytest.mark.parametrize(
    ("value", "kind", "unit", "text"),
    [
        (3e-4, "length", None, "300 um"),
        (0.075, "length", None, "75 mm"),
        (0.0018, "area", None, "18 cm2"),
        (30e-6, "volume", None, "30 mL"),
        (0.001, "volume", None, "1 L"),
        (0.0324, "mass", None, "32.4 g"),
        (296.15, "temperature", None, "23 degC"),
        (255.15, "temperature", None, "-18 degC"),
        (0.05, "fraction", None, "5 %"),
        (86400 * 30.4375 * 9, "duration", "months", "9 months"),
        (86400 * 273.0, "duration", None, "273 days"),
        (5.096252e-15 * 2, "gas permeance", None, "2 cm3(STP)/(m2*day*atm)"),
        (5.096252e-15 * 2, "gas permeance", "cc/(100 in2*day*atm)", "0.129 cc/(100 in2*day*atm)"),
        (8e-3 / 86400, "vapour transmission rate", None, "8 g/(m2*day)"),
        (1.3, "price per mass", "EUR/kg", "1.3 EUR/kg"),
        (1.3, "price per mass", None, "1.3 XXX/kg"),
        (1.4, "ratio", None, "1.4"),
        (0.0, "fraction", None, "0 %"),
        (4.5e-11, "diffusivity", None, "4.5e-11 m2/s"),
    ],
)
def test_values_are_shown_in_the_units_of_the_trade(
    value: float, kind: str, unit: str | None, text: str
) -> None:
    assert display(value, kind, unit) == text


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (0.001, "0.001"),
        (0.00099999, "0.001"),
        (0.000999, "9.99e-4"),
        (99999.0, "1e5"),
        (99990.0, "99990"),
        (12345.6, "12350"),
        (1.0, "1"),
        (-0.12345, "-0.1235"),
        (123.45, "123.5"),
        (1e5, "1e5"),
        (0.0, "0"),
        (1e-18, "1e-18"),
    ],
)
def test_an_exponent_appears_only_outside_a_thousandth_and_a_hundred_thousand(
    number: float, text: str
) -> None:
    assert number_text(number) == text


def test_converting_to_a_unit_of_another_kind_is_refused() -> None:
    with pytest.raises(UnitError, match="expected a length"):
        convert(1.0, "length", "kg")
    with pytest.raises(UnitError, match="a unit is missing"):
        convert(1.0, "length", "")


def test_no_symbol_is_both_known_and_ambiguous() -> None:
    assert not set(UNITS) & set(AMBIGUOUS)
    assert not set(UNITS) & set(AMBIGUOUS_AS_TYPED)


def test_another_case_is_accepted_only_where_one_meaning_is_left() -> None:
    assert find("MIL") is UNITS["mil"]
    assert find("KPA") is UNITS["kPa"]
    for word in ("MPA", "mpa", "Mmol", "mJ", "B"):
        assert find(word) is None, word

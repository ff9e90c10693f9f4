"""Units common in the United States, against pint and against closed values."""

from __future__ import annotations

import math

import pytest

from optimizer.units import read
from optimizer.units.systems import SI, US, system

#: our metric unit, pint's spelling of it, the unit shown, pint's spelling of that
PLAIN = [
    ("um", "um", "mil", "thou"),
    ("mm", "mm", "in", "inch"),
    ("cm2", "cm**2", "in2", "inch**2"),
    ("m2", "m**2", "ft2", "foot**2"),
    ("mL", "mL", "fl oz", "US_fluid_ounce"),
    ("g", "g", "oz", "ounce"),
    ("g/package", "g", "oz/package", "ounce"),
    ("kg", "kg", "lb", "pound"),
    ("kPa", "kPa", "psi", "psi"),
    ("K", "delta_degC", "degF", "delta_degF"),
    ("cm3(STP)/(m2*day*atm)", "cm**3/m**2", "cm3(STP)/(100 in2*day*atm)", "cm**3/inch**2"),
    ("g/(m2*day)", "g/m**2", "g/(100 in2*day)", "g/inch**2"),
    ("cm3(STP)*mm/(m2*day*atm)", "mm/m**2", "cm3(STP)*mil/(100 in2*day*atm)", "thou/inch**2"),
    ("g*mm/(m2*day)", "mm/m**2", "g*mil/(100 in2*day)", "thou/inch**2"),
    ("EUR/kg", "1/kg", "EUR/lb", "1/pound"),
    ("JPY/m2", "1/m**2", "JPY/ft2", "1/foot**2"),
]


@pytest.mark.parametrize(("metric", "theirs", "shown", "their_shown"), PLAIN)
def test_factors_agree_with_pint(metric: str, theirs: str, shown: str, their_shown: str) -> None:
    pint = pytest.importorskip("pint")
    ureg = pint.UnitRegistry()
    of = 100.0 if "100 in2" in shown else 1.0  # pint takes no number within a unit
    expected = ureg.Quantity(7.0, theirs).to(their_shown).magnitude * of
    assert US.unit(metric) == shown
    assert US.value(7.0, metric) == pytest.approx(expected, rel=1e-12)


def test_every_unit_of_the_table_is_compared_with_pint() -> None:
    compared = {metric for metric, *_ in PLAIN} | {"degC"}
    assert set(US.table) <= compared


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(-40, -40), (0, 32), (23, 73.4), (37.8, 100.04), (100, 212)]
)
def test_temperatures_agree_with_the_definition(celsius: float, fahrenheit: float) -> None:
    """degF = 1.8 degC + 32 (NIST SP 811, Appendix B; from memory)."""
    assert US.unit("degC") == "degF"
    assert US.value(celsius, "degC") == pytest.approx(fahrenheit, abs=1e-12)


def test_a_difference_of_temperatures_has_no_offset() -> None:
    assert US.unit("K") == "degF"
    assert US.value(0.0, "K") == 0.0
    assert US.value(10.0, "K") == pytest.approx(18.0, rel=1e-14)


@pytest.mark.parametrize(
    ("metric", "value", "shown"),
    [
        # exact by definition: inch 25.4 mm and pound 453.59237 g, international agreement of 1959
        ("um", 25.4, 1.0),
        ("mm", 25.4, 1.0),
        ("cm2", 6.4516, 1.0),
        ("m2", 0.09290304, 1.0),
        ("kg", 0.45359237, 1.0),
        ("g", 453.59237, 16.0),
        # NIST SP 811, Appendix B.8, from memory: fluid ounce (US) 29.57353 mL, psi 6.894757 kPa
        ("mL", 29.57353, 1.0),
        ("kPa", 6.894757, 1.0),
        # arithmetic: 100 in2 = 0.064516 m2, so 1 per 100 in2 is 15.50003 per m2
        ("g/(m2*day)", 15.5000310000620, 1.0),
        ("cm3(STP)/(m2*day*atm)", 15.5000310000620, 1.0),
        ("cm3(STP)*mm/(m2*day*atm)", 0.3937007874, 1.0),
        ("USD/kg", 2.20462262185, 1.0),
        ("EUR/m2", 10.7639104167, 1.0),
    ],
)
def test_factors_agree_with_closed_values(metric: str, value: float, shown: float) -> None:
    assert US.value(value, metric) == pytest.approx(shown, rel=5e-8)


@pytest.mark.parametrize(
    ("metric", "kind"),
    [
        ("um", "length"),
        ("m2", "area"),
        ("kPa", "pressure"),
        ("degC", "temperature"),
        ("K", "temperature difference"),
        ("cm3(STP)/(m2*day*atm)", "gas permeance"),
        ("g*mm/(m2*day)", "vapour permeability rate"),
        ("EUR/kg", "price per mass"),
    ],
)
def test_what_is_shown_reads_back_as_the_same_quantity(metric: str, kind: str) -> None:
    shown = f"{US.value(12.5, metric)!r} {US.unit(metric)}"
    assert read(shown, kind).value == pytest.approx(read(f"12.5 {metric}", kind).value, rel=1e-13)


@pytest.mark.parametrize(
    "unit",
    ["mg/kg", "%", "days", "EUR/package", "cm3(STP)/(package*day*atm)", "g/(package*day)", "-", "", "1"],
)
def test_units_that_both_sides_write_are_kept(unit: str) -> None:
    assert US.unit(unit) == unit
    assert US.value(1.2345, unit) == 1.2345


def test_metric_changes_nothing() -> None:
    for unit in (*US.table, "EUR/kg", "anything"):
        assert SI.unit(unit) == unit
        assert SI.value(1.2345, unit) == 1.2345


def test_factors_have_no_noise() -> None:
    """1.8 and not 1.7999999999999998: such digits would come out in tables and charts."""
    for shown in (*US.table.values(), *US.prices.values()):
        assert shown.factor == float(f"{shown.factor:.15g}")
        assert math.isfinite(shown.factor) and shown.factor > 0.0
    assert (US.table["degC"].factor, US.table["degC"].offset) == (1.8, 32.0)


def test_a_system_is_found_by_its_name_and_another_name_is_refused() -> None:
    assert system("si") is SI
    assert system("us") is US
    with pytest.raises(ValueError, match="'imperial' is not a set of units; known: si, us"):
        system("imperial")

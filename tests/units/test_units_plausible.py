"""The bounds of each kind leave room around everything real, and are said in the unit given."""

from __future__ import annotations

import math

import pytest

from optimizer.units import KINDS, read
from optimizer.units.plausible import BOUNDS, implausible, implausible_number

#: Texts of every kind that can be read with a gas.
EXAMPLES = [(kind, text) for kind, facts in KINDS.items() for text in facts.examples]

#: Extremes of the real, with their source: (kind, text).
EXTREMES = [
    ("length", "5 nm"),  # a native oxide on aluminium; from memory
    ("length", "10 m"),  # a shipping container is 12.2 m long, ISO 668
    ("density", "22.6 g/cm3"),  # osmium, CRC Handbook; from memory
    ("volume", "76 m3"),  # inside of a 40 ft container, ISO 668; from memory
    (
        "gas permeability",
        "800 Barrer",
    ),  # silicone rubber, O2; Robb, Ann. N.Y. Acad. Sci. 146 (1968); from memory
    (
        "gas permeance",
        "1e-6 cm3/(m2*day*atm)",
    ),  # glass barrier layers of displays; common practice, no source
    ("vapour transmission rate", "1e-6 g/(m2*day)"),  # displays, as above
    ("gas solubility", "1.7 cm3/(cm3*atm)"),  # CO2 in water at 0 degC, CRC Handbook; from memory
    ("diffusivity", "0.2 cm2/s"),  # O2 in air; CRC Handbook; from memory
    ("diffusivity", "1e-16 cm2/s"),  # gases in EVOH and liquid-crystal polymers; from memory
    ("activation energy", "-200 kJ/mol"),
    ("temperature", "-125 degC"),  # glass transition of silicone; from memory
    ("price per mass", "100000 EUR/kg"),  # gold, its order of size; from memory
]


@pytest.mark.parametrize(("kind", "text"), EXAMPLES + EXTREMES, ids=str)
def test_nothing_real_comes_near_the_bounds(kind: str, text: str) -> None:
    found = read(text, kind, gas="O2" if KINDS[kind].carrier == "amount" and not KINDS[kind].gas else None)
    assert implausible(found) == ""
    low, high = BOUNDS[kind]
    if kind not in ("temperature", "relative humidity", "count"):
        assert found.value == 0.0 or 30.0 * low < abs(found.value) < high / 30.0


def test_every_kind_has_bounds() -> None:
    assert set(BOUNDS) == set(KINDS)


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("1e300 mm", "length", "must be between 1e-9 and 1e6 mm"),
        ("1e-300 mL", "volume", "must be between 1e-6 and 1e12 mL"),
        ("-1e30 um", "length", "must be between -1e9 and -1e-6 um"),
        ("1e9 degC", "temperature", "must be between -173 and 727 degC"),
        ("1e300 USD/lb", "price per mass", "must be between 4.536e-10 and 4.536e14 USD/lb"),
        ("1e20 kJ/mol", "activation energy", "must be between -1e9 and 1e9 kJ/mol"),
        ("0 mm", "length", ""),
        ("0 %", "fraction", ""),
        ("0 degC", "temperature", ""),
        ("1e6 mm", "length", ""),
    ],
)
def test_bounds_are_said_in_the_unit_given(text: str, kind: str, said: str) -> None:
    # 1 lb = 0.45359237 kg (NIST SP 811)
    assert implausible(read(text, kind)) == said


def test_a_bare_number_has_bounds_too() -> None:
    assert implausible_number(1e300) == "must be between 1e-15 and 1e9"
    assert implausible_number(-1e-300) == "must be between -1e9 and -1e-15"
    assert implausible_number(0.9e-15) and not implausible_number(1.1e-15)
    assert implausible_number(0.0) == implausible_number(50.0) == ""


def test_a_coordinate_may_be_as_small_as_the_rounding_of_a_drawing_and_has_an_upper_bound() -> None:
    noise, long = read("2.4e-15 mm", "length"), read("1.001e6 mm", "length")
    assert implausible(noise) and not implausible(noise, lowest=0.0)
    assert not implausible(read("-0.999e6 mm", "length"), lowest=-math.inf)
    assert implausible(long, lowest=0.0) == "must be between 0 and 1e6 mm"
    assert implausible(long, lowest=-math.inf) == "must be between -1e6 and 1e6 mm"

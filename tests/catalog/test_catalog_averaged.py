"""Several values of a user's own at one condition: that they are averaged is said, with the values."""

from __future__ import annotations

from optimizer.catalog import load_catalog

O2_UNIT = "cm3*mm/(m2*day*atm)"


def notes_of(*rows: str) -> tuple[str, ...]:
    keys = ("gas", "value", "temperature", "humidity")
    given = [dict(zip(keys, row.split("; "), strict=True)) for row in rows]
    found = load_catalog(inline=[{"name": "LDPE", "permeability": given}]).material("LDPE").notes
    return tuple(note for note in found if "averaged" in note)


def test_two_values_of_ones_own_at_one_condition_are_said_to_be_averaged() -> None:
    first = f"O2; 50 {O2_UNIT}; 23 degC; 0 %"
    (said,) = notes_of(first, f"O2; 60 {O2_UNIT}; 23.2 degC; 0")
    assert said == f"O2: two values at 23 degC, 0 %RH, averaged (geometric mean): 50 and 60 {O2_UNIT}"
    (said,) = notes_of(first, f"O2; 160 {O2_UNIT}; 23 degC; 0 %", f"O2; 70 {O2_UNIT}; 23 degC; 0 %")
    assert "three values at 23 degC, 0 %RH, a factor of 3.2 apart, averaged" in said
    assert "50, 160 and 70 cm3*mm" in said and said.endswith(" (keep the one that is right)")
    more = [f"O2; {x} {O2_UNIT}; 23 degC; 0 %" for x in (2, 2, 2.4)]
    (said,) = notes_of(*more)
    assert "three values at 23 degC, 0 %RH, averaged" in said and "2 (twice) and 2.4 cm3*mm" in said
    (said,) = notes_of(*(f"CO2; {x} {O2_UNIT}; 23 degC; " for x in (2, 3)))
    assert "two values at 23 degC, humidity not given, averaged (geometric mean)" in said
    water = [f"H2O; {x} g*mm/(m2*day); 38 degC; 90 %" for x in (0.4, 0.5)]
    (said,) = notes_of(*water)
    assert said.startswith("H2O: two values at 38 degC, 90 %RH, averaged") and "0.4 and 0.5 g*mm" in said


def test_nothing_is_said_of_values_at_different_conditions_or_of_one_value_twice() -> None:
    first = f"O2; 50 {O2_UNIT}; 23 degC; 0 %"
    assert not notes_of(first, f"O2; 60 {O2_UNIT}; 35 degC; 0 %")
    assert not notes_of(first, f"O2; 60 {O2_UNIT}; 23 degC; 80 %")
    assert not notes_of(first, f"CO2; 60 {O2_UNIT}; 23 degC; 0 %")
    assert not notes_of(first, first)
    shipped = load_catalog()
    assert not [m for m in shipped.names() for n in shipped.material(m).notes if "averaged" in n]


def test_a_second_diffusivity_of_ones_own_is_said_to_be_left_out() -> None:
    rows = [{"gas": "O2", "value": f"{x} m2/s", "temperature": "23 degC"} for x in ("1e-12", "3e-12")]
    for entry, left in ((rows, 1), (rows[:1], 0), ([rows[0]] * 2, 0)):
        notes = load_catalog(inline=[{"name": "LDPE", "diffusivity": entry}]).material("LDPE").notes
        assert [n for n in notes if "is used, of what was given" in n] == [
            "O2 diffusivity: only 1e-12 m2/s at 23 degC is used, of what was given; not 1 other value"
        ] * left


def test_values_of_more_than_a_factor_of_two_are_said_to_be_apart() -> None:
    first = f"O2; 50 {O2_UNIT}; 23 degC; 0 %"
    (near,) = notes_of(first, f"O2; 99 {O2_UNIT}; 23 degC; 0 %")
    (far,) = notes_of(first, f"O2; 101 {O2_UNIT}; 23 degC; 0 %")
    assert "apart" not in near and "a factor of 2.02 apart" in far

"""Bounds of what is usual, each held by one case just inside and one just outside; and what is said there.
The values are common practice without a source, unless a line says otherwise."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from optimizer.catalog import load_catalog
from optimizer.errors import InputError
from optimizer.shelflife.package import Case
from optimizer.shelflife.predict import predict
from tests.project.test_usual_values import CLOSURES, CO2, PULP, dry, load

BARRER = 3.3464e-16  # mol m/(m2 s Pa); docs/validation.md
WIDE = "thickness: 300 um}"


@pytest.mark.parametrize(
    ("before", "inside", "outside"),
    [
        (WIDE, "thickness: 19.9 mm}", "thickness: 20.1 mm}"),
        ("partial_pressure: 0.2095 atm", "partial_pressure: 9.9 bar", "partial_pressure: 10.1 bar"),
        ("partial_pressure: 1 atm", "partial_pressure: 11 mbar", "partial_pressure: 9.9 mbar"),
        ("rate: 0.5 1/day", "rate: 99 1/day", "rate: 101 1/day"),
        ("mass: 200 g", "mass: 2.21 g", "mass: 2.19 g"),  # in 220 mL
        ("mass: 200 g", "mass: 1759 g", "mass: 1761 g"),
        ("thickness: 100 um", "thickness: 0.99 mm", "thickness: 1.01 mm"),
        (
            "width: 4 mm, thickness: 100 um",
            "width: 101 um, thickness: 100 um",
            "width: 99 um, thickness: 100 um",
        ),
        ("cord: 7 mm", "cord: 9.9 mm", "cord: 10.1 mm"),
        ("height: 1 mm", "height: 4.9 mm", "height: 5.1 mm"),  # twice the width of 2.5 mm
        ("width: 2.5 mm, height: 1 mm", "width: 6 mm, height: 9.9 mm", "width: 6 mm, height: 10.1 mm"),
        ("film: 20 um", "film: 0.99 mm", "film: 1.01 mm"),
    ],
)
def test_a_bound_of_the_usual_lies_where_it_is_said(
    tmp_path: Path, before: str, inside: str, outside: str
) -> None:
    unit = "is the unit right?" if not before.startswith("mass") else "check mass and volume"
    assert not [w for w in load(tmp_path, (before, inside)).warnings if unit in w]
    assert len([w for w in load(tmp_path, (before, outside)).warnings if unit in w]) == 1


def test_air_is_named_for_oxygen_only(tmp_path: Path) -> None:
    row = "{gas: O2, value: 0.001 cm3/day, temperature: 23 degC, partial_pressure: 0.2095 atm}"
    high = row.replace("0.2095 atm", "20 atm")
    (said,) = load(tmp_path, (row, high)).warnings
    assert "Part 'cap', O2" in said and "0.2095 atm of oxygen, or with the pure gas" in said
    (said,) = [w for w in load(tmp_path, (row, high.replace("O2", "CO2"))).warnings if "20 atm" in w]
    assert "Part 'cap', CO2" in said and "done with the pure gas, 1 atm" in said and "oxygen" not in said


def own(folder: Path, family: str, **barrer: float) -> list[str]:
    """Warnings of a material with permeabilities in Barrer at 25 degC."""
    rows = ", ".join(
        f"{{gas: {gas}, value: {value:.6g} Barrer, temperature: 25 degC, humidity: 0 %}}"
        for gas, value in barrer.items()
    )
    named = f"family: {family}, " if family else ""
    given = load(folder, ("family: PET, ", named), (PULP, f"permeability: [{rows}]")).warnings
    return [w for w in given if w.startswith("Material 'resin'")]


def test_a_permeability_of_a_hundred_times_its_family_is_warned_of(tmp_path: Path) -> None:
    band = load_catalog().family_band("PET", "O2")
    assert band is not None
    highest = band.high / BARRER
    assert own(tmp_path, "PET", O2=99 * highest) == []
    (said,) = own(tmp_path, "PET", O2=102 * highest)
    assert "the family PET" in said
    assert own(tmp_path, "", O2=102 * highest) == []


def test_a_permeability_of_thirty_times_the_most_permeable_polymer_is_warned_of(tmp_path: Path) -> None:
    """Silicone: O2 600, CO2 3250 Barrer (W. L. Robb 1968, from memory)."""
    assert own(tmp_path, "", O2=29.9 * 600, CO2=29.9 * 3250) == []
    (said,) = own(tmp_path, "", O2=30.2 * 600, CO2=40 * 3250)
    assert "its O2 permeability of 18120 Barrer is 30 times that of silicone" in said
    assert "its CO2 permeability of 130000 Barrer is 40 times that of silicone" in said


def test_silicone_itself_and_families_without_rows_are_not_warned_of(tmp_path: Path) -> None:
    """Silicone: up to 800 Barrer of O2, 3800 of CO2, 40 000 of H2O (from memory). H2O here as a vapour rate:
    1 Barrer = 3.3464e-16 mol m/(m2 s Pa), 18.015 g/mol, 0.9 * 3169 Pa at 25 degC (IAPWS-IF97)."""
    rate = 40000 * BARRER * 18.015 * 86400 * 1e3 * 0.9 * 3169
    water = f"{{gas: H2O, value: {rate:.4g} g*mm/(m2*day), temperature: 25 degC, humidity: 90 %}}, {{gas: O2"
    for family in ("silicone", ""):
        assert own(tmp_path, family, O2=800, CO2=3800) == []
        named = f"family: {family}, " if family else ""
        assert dry(tmp_path, ("family: PET, ", named), *vapour(water)).warnings == ()
    assert own(tmp_path, "paper", O2=1e6, CO2=1e6) == []


def test_water_is_compared_with_the_polymer_that_lets_most_of_it_through(tmp_path: Path) -> None:
    """PVOH, 750 000 g um/(m2 day) at 38 degC and 90 %RH (materials/permeability/pocas_lecture_2020.csv); the
    same value but at 25 degC, 0.9 * 6633 and 0.9 * 3169 Pa (IAPWS-IF97)."""
    for times, count in ((29.5, 0), (30.5, 1)):
        rate = times * 750.0 * 3169 / 6633
        row = (
            f"{{gas: H2O, value: {rate:.6g} g*mm/(m2*day), temperature: 25 degC, humidity: 90 %}}, {{gas: O2"
        )
        said = dry(tmp_path, ("family: PET, ", ""), *vapour(row)).warnings
        assert len(said) == count and all("times that of PVOH" in w for w in said)


def vapour(row: str) -> list[tuple[str, str]]:
    plain = "{gas: H2O, value: 0.5 g*mm/(m2*day), temperature: 23 degC, humidity: 90 %}, {gas: O2"
    return [(plain, row)]


def fizzy(folder: Path, volumes: float, filled: str, stored: str) -> Case:
    """A carbonated drink in flexible walls."""
    gases = "[{gas: O2, value: 2 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}, {gas: CO2"
    return load(
        folder,
        ("water_activity: 0.6", f"carbonation: {{volumes: {volumes:.6g}, temperature: {filled}}}"),
        CO2,
        ("volume: 40 mL", "volume: 40 mL, walls: flexible, gas: {CO2: 100 %}"),
        ("gas: O2, value: 2 ", "gas: CO2, value: 2 "),
        (CLOSURES, ""),
        ("[{gas: CO2", gases),
        (
            "temperature: 23 degC, humidity: 50 %}]\ntarget",
            f"temperature: {stored}, humidity: 50 %}}]\ntarget",
        ),
    )


def test_a_weakly_carbonated_drink_in_a_pouch_is_told_to_swell_and_not_refused(tmp_path: Path) -> None:
    for filled in ("12 degC", "2 degC"):
        said = predict(fizzy(tmp_path, 1.2, filled, "30 degC")).warnings
        assert [w for w in said if "holds no pressure" in w]


def test_a_drink_of_more_than_two_atmospheres_is_refused_in_flexible_walls(tmp_path: Path) -> None:
    """At 4 degC one volume is 0.725 atm (44.6 mol/m3 over 6.07e-4 mol/(m3 Pa), Sander 2023), water 0.008."""
    atm = 101325 / (8.314462 * 273.15) / (3.3e-4 * math.exp(2400 * (1 / 277.15 - 1 / 298.15))) / 101325
    assert fizzy(tmp_path, (1.99 - 0.008) / atm, "4 degC", "4 degC")
    with pytest.raises(InputError, match=r"whose gas is at 2\.01 atm"):
        fizzy(tmp_path, (2.01 - 0.008) / atm, "4 degC", "4 degC")


def test_swelling_to_more_than_one_and_a_half_times_the_headspace_is_told(tmp_path: Path) -> None:
    """V = n R T / p - H R T V_liquid, as above, solved for the carbonation of a V of 58 and of 62 mL."""
    rt, henry = 8.314462 * 303.15, [3.3e-4 * math.exp(2400 * (1 / t - 1 / 298.15)) for t in (277.15, 303.15)]
    one = 101325 / (8.314462 * 273.15)
    moles = one * 220e-6 + one / henry[0] * 40e-6 / (8.314462 * 277.15)
    for volume, told in ((58e-6, 0), (62e-6, 1)):
        volumes = (volume + henry[1] * rt * 220e-6) * (101325 - 4247) / rt / moles
        said = predict(fizzy(tmp_path, volumes, "4 degC", "30 degC")).warnings
        assert len([w for w in said if "holds no pressure" in w]) == told


def test_more_co2_in_the_headspace_than_the_carbonation_holds_is_told_in_words(tmp_path: Path) -> None:
    (said,) = [w for w in fizzy(tmp_path, 1.0, "4 degC", "4 degC").warnings if "equilibrium" in w]
    assert said.startswith(
        "The share of CO2 in headspace.gas, 100 % of 1 atm at closing, is more than the 0.7"
    )


@pytest.mark.parametrize(
    ("given", "kept", "hint"),
    [
        (
            "oxygen_gain: 1 cm3/kg",
            "oxygen_gain",
            "'headspace_oxygen'; a volume of oxygen is written '1 cm3(STP)/kg'",
        ),
        ("oxygen_gain: 1 cm3/L", "oxygen_gain", "oxygen in the headspace is 'headspace_oxygen'"),
        ("oxygen_gain: 5 pm", "oxygen_gain", "is 'headspace_oxygen'; did you mean ppm or pmol or m?"),
        ("water_loss: 1 mL/kg", "water_loss", "a share of the product's mass, such as '2 %' or '20 g/kg'"),
    ],
)
def test_a_limit_in_another_unit_has_one_example_and_says_what_was_meant(
    tmp_path: Path, given: str, kept: str, hint: str
) -> None:
    with pytest.raises(InputError) as caught:
        load(tmp_path, ("oxygen_gain: 20 mg/kg", given))
    (problem,) = caught.value.problems
    assert problem.field == f"product.limits.{kept}"
    assert problem.hint.endswith(hint) and "such as" not in problem.message


def test_a_density_that_nothing_has_is_refused(tmp_path: Path) -> None:
    """In 220 mL; the heaviest metals have 19 to 22.6 g/mL (CRC Handbook, from memory)."""
    for inside, outside in (("0.45 g", "0.43 g"), ("4390 g", "4410 g")):
        assert len(load(tmp_path, ("mass: 200 g", f"mass: {inside}")).warnings) == 1
        with pytest.raises(InputError, match="is a density of"):
            load(tmp_path, ("mass: 200 g", f"mass: {outside}"))

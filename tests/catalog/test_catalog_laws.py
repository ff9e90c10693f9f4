"""From rows to laws: temperatures, humidities, vapour rates."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from optimizer.catalog import Catalog, load_catalog
from optimizer.catalog.laws import fit_energy
from optimizer.constants import GAS_CONSTANT, MOLAR_MASS
from optimizer.physics.material import Material


def user(*rows: dict[str, Any], family: str = "PE", diffusivity: tuple[dict[str, Any], ...] = ()) -> Material:
    entry = {"name": "trial", "density": "920 kg/m3", "family": family, "permeability": list(rows)}
    if diffusivity:
        entry["diffusivity"] = list(diffusivity)
    return load_catalog(inline=[entry]).material("trial")


def o2(
    value: float | str, temperature: str = "23 degC", humidity: str = "0 %", **more: str
) -> dict[str, Any]:
    return {
        "gas": "O2",
        "value": f"{value} cm3*mm/(m2*day*atm)",
        "temperature": temperature,
        "humidity": humidity,
    } | more


def h2o(value: str, temperature: str = "38 degC", humidity: str = "90 %", **more: str) -> dict[str, Any]:
    return {"gas": "H2O", "value": value, "temperature": temperature, "humidity": humidity} | more


def arrhenius(p: float, energy: float, celsius: float, reference: float = 23.0) -> float:
    return p * math.exp(-energy / GAS_CONSTANT * (1 / (celsius + 273.15) - 1 / (reference + 273.15)))


def test_two_temperatures_give_the_activation_energy() -> None:
    """Closed form: rows made with 41.5 kJ/mol."""
    law = user(o2(10.0), o2(arrhenius(10.0, 41.5e3, 38.0), "38 degC")).gas_law("O2")
    assert law.activation_energy == pytest.approx(41.5e3, rel=1e-9)
    assert law.temperature == 296.15 and law.measured_temperature == pytest.approx((296.15, 311.15))
    assert not law.energy_assumed
    assert float(law.at(311.15, 0.0) / law.at(296.15, 0.0)) == pytest.approx(
        arrhenius(1, 41.5e3, 38.0), rel=1e-9
    )


def test_the_fit_is_the_least_squares_fit_with_one_intercept_per_humidity() -> None:
    """Against numpy's general least squares, on scattered points of three humidities."""
    points = [
        (283.15, 0.0, 1.1e-18), (296.15, 0.0, 2.0e-18), (311.15, 0.0, 5.2e-18),
        (296.15, 0.5, 3.3e-18), (311.15, 0.5, 6.0e-18), (296.15, 0.9, 9.9e-18),
    ]  # fmt: skip
    design = np.zeros((len(points), 4))
    groups = [0.0, 0.5, 0.9]
    for i, (t, h, _) in enumerate(points):
        design[i, 0] = -1.0 / (GAS_CONSTANT * t)
        design[i, 1 + groups.index(h)] = 1.0
    expected = np.linalg.lstsq(design, np.log([p for *_, p in points]), rcond=None)[0][0]
    assert fit_energy(points) == pytest.approx(float(expected), rel=1e-9)


def test_one_temperature_alone_gives_no_fit() -> None:
    assert fit_energy([(296.15, 0.0, 1e-18), (296.15, 0.5, 2e-18), (311.15, 0.9, 3e-18)]) is None


def test_the_energy_of_the_row_wins_over_the_table() -> None:
    assert user(o2(10, activation_energy="47 kJ/mol")).gas_law("O2").activation_energy == 47e3


def test_the_table_of_energies_serves_a_row_without_one() -> None:
    material = user(o2(10))
    assert material.gas_law("O2").activation_energy == pytest.approx(36526, abs=1)
    assert any("Moyls" in s.source and s.gas == "O2 activation energy" for s in material.sources)


def test_an_energy_that_nobody_gives_is_assumed_and_said() -> None:
    material = user(o2(10), h2o("1 g*mm/(m2*day)"), family="COC")
    assert material.gas_law("O2").activation_energy == 40e3 and material.gas_law("O2").energy_assumed
    assert material.water_law().activation_energy == 35e3 and material.water_law().energy_assumed
    assert "O2: activation energy assumed, 40 kJ/mol" in material.notes
    assert "H2O: activation energy assumed, 35 kJ/mol" in material.notes
    assumed = [s for s in material.sources if s.source == "assumed, no source"]
    assert {s.gas for s in assumed} == {"O2 activation energy", "H2O activation energy"}


def test_an_unusual_fitted_energy_is_said() -> None:
    notes = user(o2(10), o2(9, "38 degC")).notes
    assert any("unusual" in n for n in notes)


def test_humidity_points_pass_through_the_rows() -> None:
    law = user(o2(1, humidity="0 %"), o2(2, humidity="50 %"), o2(9, humidity="90 %"), family="EVOH").gas_law(
        "O2"
    )
    unit = float(user(o2(1)).gas_law("O2").permeability[0])
    assert law.activity == (0.0, 0.5, 0.9)
    assert [float(law.at(296.15, a)) / unit for a in law.activity] == pytest.approx([1, 2, 9], rel=1e-12)


def test_humidity_points_at_different_temperatures_are_brought_to_one() -> None:
    """23 degC dry and 38 degC at 90 %RH share no humidity, so the energy of the rows moves them together."""
    wet = arrhenius(9.0, 50e3, 38.0)
    rows = (o2(1, activation_energy="50 kJ/mol"), o2(wet, "38 degC", "90 %", activation_energy="50 kJ/mol"))
    law = user(*rows, family="EVOH").gas_law("O2")
    assert law.permeability[1] / law.permeability[0] == pytest.approx(9.0, rel=1e-9)


def test_what_is_outside_the_measured_humidities_is_said(catalog: Catalog) -> None:
    notes = catalog.material("EVOH 32").notes
    assert "O2: humidity response flat below 60 %RH, the driest measured" in notes
    assert "O2: humidity response flat above 90 %RH, the wettest measured" in notes


def test_one_humidity_of_a_sensitive_family_is_said() -> None:
    assert any("known at 0 %RH only" in n for n in user(o2(1), family="EVOH").notes)
    assert not any("known at" in n for n in user(o2(1), family="PE").notes)


def test_rows_that_do_not_change_with_humidity_make_a_flat_law(catalog: Catalog) -> None:
    law = catalog.material("PET").gas_law("O2")
    assert len(law.activity) == 1 and not law.humidity_sensitive


def test_foil_blocks_everything_and_says_pinholes_are_apart(catalog: Catalog) -> None:
    foil = catalog.material("aluminium foil")
    assert all(foil.gas_law(g).blocks for g in ("O2", "CO2", "N2")) and foil.water_law().blocks
    assert all(
        "pinhole" in c.record.note for c in catalog.candidates("foil", "O2") if c.source == "sound_metal"
    )


def test_a_zero_of_the_users_blocks_and_says_so() -> None:
    material = user(o2(0), h2o("0 g*mm/(m2*day)"))
    assert material.gas_law("O2").blocks and material.water_law().blocks
    assert "O2: taken as impermeable, because a value of 0 is given" in material.notes
    assert "H2O: taken as impermeable, because a value of 0 is given" in material.notes


# Vapour-pressure differences by the Wagner-Pruss (IAPWS-95) saturation equation as the chemicals library
# computes it.
@pytest.mark.parametrize(
    ("celsius", "humidity", "metric"),
    [
        (37.8, 0.90, 1.08792e-13),
        (38.0, 0.90, 1.07621e-13),
        (38.0, 1.00, 9.68587e-14),
        (40.0, 0.90, 9.66598e-14),
        (25.0, 0.75, 2.70239e-13),
        (23.0, 0.85, 2.68889e-13),
        (23.0, 0.50, 4.57111e-13),
        (20.0, 0.85, 3.23117e-13),
    ],
)
def test_a_vapour_rate_is_divided_by_the_pressure_difference_of_its_own_test(
    celsius: float, humidity: float, metric: float
) -> None:
    """1 g mm/(m2 day) in mol m/(m2 s Pa): 1e-6 kg / 86400 s / M / dp, dp from an independent library."""
    law = user(h2o("1 g*mm/(m2*day)", f"{celsius} degC", f"{100 * humidity:g} %")).water_law()
    assert law.temperature == pytest.approx(celsius + 273.15)
    assert float(law.slopes[0]) == pytest.approx(metric, rel=5e-4)
    chemicals = pytest.importorskip("chemicals")
    dp = chemicals.iapws95_Psat(celsius + 273.15) * humidity
    assert float(law.slopes[0]) == pytest.approx(1e-6 / 86400 / MOLAR_MASS["H2O"] / dp, rel=3e-4)


def test_38_degc_and_100_degf_are_kept_apart() -> None:
    """The driving forces differ by 1.1 % (37.8 degC is 100 degF rounded)."""
    a, b = (float(user(h2o("1 g*mm/(m2*day)", t)).water_law().slopes[0]) for t in ("37.8 degC", "38 degC"))
    assert a / b == pytest.approx(1.011, abs=0.0005)


def test_the_trade_unit_of_mils_and_square_inches_is_the_same_film() -> None:
    """1 g mil/(100 in2 day) = 0.0254/0.064516 g mm/(m2 day), exact definitions."""
    a = float(user(h2o("1 g*mil/(100 in2*day)")).water_law().slopes[0])
    b = float(user(h2o("1 g*mm/(m2*day)")).water_law().slopes[0])
    assert a / b == pytest.approx(0.0254 / 0.064516, rel=1e-9)


def test_a_film_rate_times_its_gauge_is_a_permeability_rate() -> None:
    a = user(h2o("40 g/(m2*day)", thickness="12 um")).water_law()
    b = user(h2o("0.48 g*mm/(m2*day)")).water_law()
    assert a.phi == pytest.approx(b.phi, rel=1e-12)


def test_a_far_side_that_is_not_dry_counts() -> None:
    dry = user(h2o("1 g*mm/(m2*day)", humidity="40 %")).water_law()
    far = user(h2o("1 g*mm/(m2*day)", humidity="90 %", humidity_far="50 %")).water_law()
    assert far.phi == pytest.approx(dry.phi, rel=1e-12)


def test_several_wet_sides_against_dry_are_points_of_the_integral() -> None:
    """Phi(h) psat = rate, so the law repeats each printed rate; the slope between is the local one."""
    material = user(
        h2o("1 g*mm/(m2*day)", "23 degC", "50 %"), h2o("4 g*mm/(m2*day)", "23 degC", "90 %"), family="EVOH"
    )
    law = material.water_law()
    assert law.activity == (0.0, 0.5, 0.9)
    assert law.phi[2] / law.phi[1] == pytest.approx(4.0, rel=1e-12)
    assert float(law.slopes[1] / law.slopes[0]) == pytest.approx((3 / 0.4) / (1 / 0.5), rel=1e-12)


def test_a_row_continues_from_the_humidity_of_its_far_side() -> None:
    law = user(
        h2o("1 g*mm/(m2*day)", "23 degC", "50 %"),
        h2o("3 g*mm/(m2*day)", "23 degC", "90 %", humidity_far="50 %"),
        family="EVOH",
    ).water_law()
    assert law.activity == (0.0, 0.5, 0.9)
    assert law.phi[2] / law.phi[1] == pytest.approx(4.0, rel=1e-12)


def test_vapour_rates_that_fall_with_humidity_are_averaged_and_said() -> None:
    material = user(h2o("4 g*mm/(m2*day)", "23 degC", "50 %"), h2o("1 g*mm/(m2*day)", "23 degC", "90 %"))
    assert material.water_law().activity == (0.0, 1.0)
    assert any("do not give an increasing" in n for n in material.notes)


def test_vapour_rates_at_two_temperatures_give_the_energy_of_the_permeability() -> None:
    """A rate also grows with the saturation pressure; that part must not end up in the energy."""
    psat = pytest.importorskip("chemicals").iapws95_Psat
    rate = arrhenius(1.0, 30e3, 38.0) * psat(311.15) / psat(296.15)
    material = user(
        h2o("1 g*mm/(m2*day)", "23 degC", "90 %"), h2o(f"{rate} g*mm/(m2*day)", "38 degC", "90 %")
    )
    assert material.water_law().activation_energy == pytest.approx(30e3, rel=2e-3)


def test_a_range_counts_as_its_geometric_mean_and_says_so() -> None:
    row = o2(6)
    del row["value"]
    row |= {"value_low": "4", "value_high": "9", "unit": "cm3*mm/(m2*day*atm)"}
    material = user(row)
    assert material.gas_law("O2").permeability[0] == pytest.approx(user(o2(6)).gas_law("O2").permeability[0])
    assert "O2: geometric mean of a printed range" in material.notes


def test_diffusivities_become_laws_with_their_energy_or_a_marked_assumption() -> None:
    row = {"gas": "O2", "value": "4.5e-11 m2/s", "temperature": "23 degC"}
    given = user(o2(10), diffusivity=(row | {"activation_energy": "37 kJ/mol"},)).diffusivity["O2"]
    assert (given.diffusivity, given.temperature, given.activation_energy) == (4.5e-11, 296.15, 37e3)
    assumed = user(o2(10), diffusivity=(row,))
    assert assumed.diffusivity["O2"].activation_energy == 40e3
    assert any("O2 diffusivity: activation energy assumed" in n for n in assumed.notes)


def test_values_from_memory_and_estimates_are_said(catalog: Catalog) -> None:
    assert "O2: value from memory, confirm it" in catalog.material("PMMA").notes
    assert any(n.startswith("N2: estimated value (a quarter of O2") for n in catalog.material("MXD6").notes)
    assert any(n.startswith("H2O: evaluated between the sources") for n in catalog.material("PET").notes)
    assert "O2: activation energy from memory" in catalog.material("EVOH 32").notes
    assert not any(
        n.startswith(("O2", "H2O")) for n in catalog.material("HDPE").notes if "diffusivity" not in n
    )


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def test_every_number_in_use_has_a_source_note(catalog: Catalog, tmp_path: Path) -> None:
    for name in catalog.names():
        material = catalog.material(name)
        noted = {s.gas for s in material.sources}
        wanted = {"density", "O2", "CO2", "N2", "H2O"} | {f"{g} diffusivity" for g in material.diffusivity}
        wanted |= {f"{g} activation energy" for g, law in material.gases.items() if not law.blocks}
        assert wanted <= noted, name
        assert all(
            s.grade in ("measured", "producer", "handbook", "memory", "estimate") for s in material.sources
        )

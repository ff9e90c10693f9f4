"""Trade units of the material list against numbers worked out apart from the code."""

from __future__ import annotations

import pytest

from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.report.trade import gas_permeability, water_transmission


def material(gas: float, water: WaterLaw | None) -> Material:
    return Material("film", "PE", 920.0, {"O2": GasLaw("O2", 296.15, (0.0,), (gas,), 40e3)}, water)


def test_a_barrer_is_65_66_cm3_mm_per_m2_day_atm() -> None:
    # 1 Barrer = 1e-10 cm3(STP) cm/(cm2 s cmHg) by definition; 76 cmHg = 1 atm; per m2, day, atm and 1 mm:
    barrer = 1e-10 * 1e4 * 86400 * 76 * 10
    assert barrer == pytest.approx(65.664)
    # 3.346e-16 mol m/(m2 s Pa) is the usual conversion (S. A. Stern, J. Polym. Sci. A-2 6 (1968) 1933)
    assert gas_permeability(material(3.346e-16, None), "O2") == pytest.approx(barrer, rel=3e-4)


def test_a_vapour_rate_carries_its_driving_force() -> None:
    # psat(38 degC) = 6.633 kPa (IAPWS-IF97, region 4; rounded); 90 % of it drives 18.015 g/mol for 86400 s
    expected = 1e-14 * 0.9 * 6633.0 * 18.015 * 86400 * 1000
    found = water_transmission(material(1e-16, WaterLaw.constant(311.15, 1e-14, 35e3)))
    assert found == pytest.approx(expected, rel=2e-4)


def test_what_blocks_lets_nothing_through_and_what_is_unknown_stays_unknown() -> None:
    foil = Material(
        "foil",
        "metal",
        2700.0,
        {"O2": GasLaw("O2", 296.15, (0.0,), (0.0,), 0.0)},
        WaterLaw.constant(311.15, 0.0, 0.0),
    )
    assert gas_permeability(foil, "O2") == 0.0
    assert water_transmission(foil) == 0.0
    assert gas_permeability(foil, "CO2") is None
    assert water_transmission(material(1e-16, None)) is None

"""Solubility of gases against a standard's table and published constants."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.constants import ATMOSPHERE, DRY_AIR, MOLAR_MASS, STP_MOLAR_VOLUME
from optimizer.physics.solubility import henry_oil, henry_water, oxygen_saturation
from optimizer.physics.water import saturation_pressure

#: EN 25814: oxygen in air-saturated fresh water at 101.325 kPa [mg/L], as printed (three digits).
EN_25814 = {0: 14.6, 5: 12.8, 10: 11.3, 15: 10.1, 20: 9.09, 25: 8.26, 30: 7.56}


@pytest.mark.parametrize("celsius", EN_25814)
def test_oxygen_in_water_is_that_of_en_25814(celsius: int) -> None:
    value = 1e3 * float(oxygen_saturation(celsius + 273.15))
    half_digit = 0.05 if celsius < 20 else 0.005
    assert value == pytest.approx(EN_25814[celsius], abs=half_digit)


def test_oxygen_solubility_gives_back_the_saturation_under_humid_air() -> None:
    t = np.array([278.15, 293.15, 303.15])
    pressure = DRY_AIR["O2"] * (ATMOSPHERE - saturation_pressure(t))
    assert henry_water("O2", t) * pressure * MOLAR_MASS["O2"] == pytest.approx(
        oxygen_saturation(t), rel=1e-14
    )


@pytest.mark.parametrize(
    ("celsius", "volumes"), [(0, 1.566), (5, 1.337), (20, 0.860), (25, 0.750), (40, 0.510)]
)
def test_co2_in_water_in_volumes_per_atmosphere(celsius: int, volumes: float) -> None:
    # from the constants of Sander, Atmos. Chem. Phys. 23 (2023) 10901: 3.3e-4 mol/(m3 Pa), 2400 K
    h = float(henry_water("CO2", celsius + 273.15))
    assert h * ATMOSPHERE * STP_MOLAR_VOLUME == pytest.approx(volumes, abs=6e-4)


def test_nitrogen_at_25_degc_is_the_published_constant() -> None:
    # Sander 2023: 6.4e-6 mol/(m3 Pa)
    assert float(henry_water("N2", 298.15)) == pytest.approx(6.4e-6, rel=1e-12)


def test_two_sources_for_oxygen_agree_to_the_digits_of_the_rougher_one() -> None:
    # Sander 2023 gives 1.2e-5 to 1.3e-5 mol/(m3 Pa) at 25 degC
    assert 1.15e-5 < float(henry_water("O2", 298.15)) < 1.35e-5


def test_oxygen_in_oil_is_five_to_six_times_that_in_water() -> None:
    # factor used in food technology (Heiss)
    assert 5 < float(henry_oil("O2", 298.15) / henry_water("O2", 298.15)) < 6
    assert float(henry_oil("N2", 298.15)) == 0.0

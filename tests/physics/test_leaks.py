"""Holes and channels against tabulated rates and a course's worked example."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.constants import ATMOSPHERE, DAY, GAS_CONSTANT, STP_MOLAR_VOLUME
from optimizer.physics.leaks import diffusivity_in_air, hole_conductance, mean_speed

T23 = 296.15
#: hole um, film um -> cm3 O2 (23 degC) per day under 1 atm difference, end correction r, pi r / 2, none.
#: Q = D A dc / (L + e) with D = 0.2051 cm2/s, calculated by hand from the formula.
TABLE = {
    (10, 12): (8.185, 7.008, 11.595),
    (20, 9): (29.29, 22.53, 61.84),
    (50, 30): (63.25, 50.22, 115.95),
    (100, 30): (173.9, 128.2, 463.8),
    (200, 30): (428.1, 297.5, 1855.0),
}


def rate(diameter: float, length: float, **options: float | bool) -> float:
    """cm3 at 23 degC per day under 1 atm."""
    g = float(hole_conductance("O2", diameter, length, T23, **options))  # type: ignore[arg-type]
    return g * ATMOSPHERE * DAY * GAS_CONSTANT * T23 / ATMOSPHERE * 1e6


@pytest.mark.parametrize("hole", TABLE)
def test_molecular_rates_are_those_of_the_table(hole: tuple[int, int]) -> None:
    d, length = hole[0] * 1e-6, hole[1] * 1e-6
    for end, expected in zip((1.0, math.pi / 2, 0.0), TABLE[hole], strict=True):
        assert rate(d, length, knudsen=False, end_radii=end) == pytest.approx(expected, rel=6e-4)


def test_a_thin_film_without_end_correction_is_four_times_wrong() -> None:
    assert rate(200e-6, 30e-6, end_radii=0.0) / rate(200e-6, 30e-6) == pytest.approx(4.333, rel=1e-3)


def test_seal_channel_leaks_the_calculated_amount() -> None:
    # 20 um x 10 mm in air: 0.011646 cm3/day without the wall collisions
    assert 0.2095 * rate(20e-6, 10e-3, knudsen=False) == pytest.approx(0.011646, rel=2e-3)


def test_mean_speeds_are_those_of_the_course() -> None:
    # FitNESS course, unit 4.6 (Debeaufort, 2020), 25 degC
    for gas, speed in {"O2": 444.0, "N2": 474.8, "CO2": 378.8, "H2O": 592.1}.items():
        assert float(mean_speed(gas, 298.15)) == pytest.approx(speed, rel=2e-3)


def test_a_one_micrometre_hole_in_the_tray_adds_a_tenth_of_a_percent_not_0_8() -> None:
    # FitNESS course, unit 4.6: tray with 37.5 cm3 of headspace, 30 days, 25 degC, path 190 um, start at 1
    # % O2.
    # The course's Knudsen-only answer is 0.8 % (0.775 % in cm3(STP)); both resistances and one radius:
    # 0.094 %.
    t, head, drive = 298.15, 37.5e-6, (0.21 - 0.01) * ATMOSPHERE
    per_mole = 100 * STP_MOLAR_VOLUME / head
    both = float(hole_conductance("O2", 1e-6, 190e-6, t)) * drive * 30 * DAY * per_mole
    assert both == pytest.approx(0.094, rel=0.02)
    d_knudsen = 1e-6 * float(mean_speed("O2", t)) / 3
    alone = d_knudsen * math.pi / 4 * 1e-12 / 190e-6 * drive / (GAS_CONSTANT * t) * 30 * DAY * per_mole
    assert alone == pytest.approx(0.775, rel=0.005)
    assert alone / both > 8


def test_a_wide_hole_is_molecular_and_a_narrow_one_follows_knudsen() -> None:
    t = 298.15
    narrow = float(hole_conductance("O2", 1e-8, 1e-4, t)) * GAS_CONSTANT * t * 1e-4 / (math.pi / 4 * 1e-16)
    assert narrow == pytest.approx(1e-8 * float(mean_speed("O2", t)) / 3, rel=0.09)
    wide = float(hole_conductance("O2", 1e-3, 1.0, t)) * GAS_CONSTANT * t / (math.pi / 4 * 1e-6)
    assert wide == pytest.approx(float(diffusivity_in_air("O2", t)), rel=1e-3)


def test_conductance_takes_arrays_of_temperature_and_pressure() -> None:
    t = np.array([278.15, 298.15, 313.15])
    values = hole_conductance("H2O", 50e-6, 1e-4, t, np.full(3, ATMOSPHERE))
    assert values.shape == (3,)
    assert float(values[1]) == pytest.approx(float(hole_conductance("H2O", 50e-6, 1e-4, 298.15)), rel=1e-14)


@pytest.mark.parametrize(("diameter", "length"), [(0.0, 1e-4), (-1e-6, 1e-4), (1e-6, -1e-4)])
def test_impossible_holes_are_refused(diameter: float, length: float) -> None:
    with pytest.raises(ValueError, match="hole"):
        hole_conductance("O2", diameter, length, T23)

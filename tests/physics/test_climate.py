"""Lag of a building against the textbook's first-order low-pass filter; effective temperatures against
numbers worked out apart from this project, from the definition of the mean kinetic temperature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from optimizer.physics.climate import damped, effective_temperature, lagged
from optimizer.physics.water import saturation_pressure

HOUR, DAY = 3600.0, 86400.0
#: Energy with which E / R is 10 000 K: the value usual for the mean kinetic temperature [J/mol].
USUAL = 83144.6261815324


def daily(step: float, days: int = 1) -> tuple[np.ndarray, float]:
    """Times in the middle of the steps of ``days`` days, and the angular frequency of a day."""
    return (np.arange(round(days * DAY / step)) + 0.5) * step, 2 * math.pi / DAY


@pytest.mark.parametrize("constant", [2 * HOUR, 12 * HOUR, 60 * HOUR])
def test_a_sine_comes_out_smaller_and_later_as_from_any_first_order_lag(constant: float) -> None:
    # x' = (u - x) / tau with u = sin(w t): amplitude 1 / sqrt(1 + (w tau)^2), phase -atan(w tau) (textbook)
    step = 450.0
    time, w = daily(step)
    amplitude = 1 / math.sqrt(1 + (w * constant) ** 2)
    wanted = amplitude * np.sin(w * time - math.atan(w * constant))
    assert lagged(np.sin(w * time), step, constant) == pytest.approx(wanted, abs=1e-3 * amplitude)


def test_the_lagged_sine_converges_with_the_square_of_the_step() -> None:
    constant, errors = 12 * HOUR, []
    for step in (HOUR, HOUR / 2, HOUR / 4):
        time, w = daily(step)
        exact = np.sin(w * time - math.atan(w * constant)) / math.sqrt(1 + (w * constant) ** 2)
        errors.append(np.abs(lagged(np.sin(w * time), step, constant) - exact).max())
    assert errors[0] < 0.01
    assert [a / b for a, b in zip(errors, errors[1:], strict=False)] == pytest.approx([4, 4], rel=0.1)


def test_steps_held_for_an_hour_are_followed_exactly() -> None:
    outside = np.array([3.0, -7.0, 11.0, 5.0, 0.0])
    constant = 1.7 * HOUR

    def rate(t: float, y: np.ndarray) -> list[float]:
        u = outside[min(int(t // HOUR), 4)]
        return [(u - y[0]) / constant, y[0]]

    state, means = 0.0, np.zeros(5)
    for _ in range(30):  # from anywhere, 150 hours lead into the periodic state
        for k in range(5):
            run = solve_ivp(
                rate, (k * HOUR, (k + 1) * HOUR * (1 - 1e-14)), [state, 0.0], rtol=1e-10, atol=1e-9
            )
            state, means[k] = run.y[0, -1], run.y[1, -1] / HOUR
    assert lagged(outside, HOUR, constant) == pytest.approx(means, abs=1e-6)


def test_a_building_keeps_the_mean_of_the_weather() -> None:
    outside = np.random.default_rng(5).normal(280.0, 8.0, 240)
    for constant in (HOUR / 10, 12 * HOUR, 1000 * DAY):
        assert lagged(outside, HOUR, constant).mean() == pytest.approx(outside.mean(), rel=1e-12)


def test_no_lag_leaves_the_weather_and_an_endless_lag_its_mean() -> None:
    outside = np.random.default_rng(6).normal(280.0, 8.0, 240)
    assert lagged(outside, HOUR, 1e-3) == pytest.approx(outside, abs=1e-3)
    assert lagged(outside, HOUR, 1e6 * DAY) == pytest.approx(np.full(240, outside.mean()), abs=1e-3)


def test_vapour_pressure_is_lagged_and_not_relative_humidity() -> None:
    time, w = daily(HOUR)
    temperature = 293.15 + 8 * np.sin(w * time)
    vapour = 1200.0  # the same all day
    air = damped(temperature, vapour / saturation_pressure(temperature), HOUR, 1e5 * DAY)
    assert air.temperature == pytest.approx(np.full(24, 293.15), abs=1e-3)
    # 2339.3 Pa at 20 degC (steam table)
    assert air.humidity == pytest.approx(np.full(24, vapour / 2339.3), rel=1e-3)
    assert air.capped == 0


def test_air_that_would_be_over_saturated_is_capped_and_counted() -> None:
    # saturation pressure is convex: the mean of it is above that at the mean temperature
    time, w = daily(HOUR)
    air = damped(293.15 + 10 * np.sin(w * time), np.ones(24), HOUR, 1e3 * DAY)
    assert air.capped == 24
    assert air.humidity.max() == 1.0


@pytest.mark.parametrize(
    ("celsius", "energy", "expected"),
    [
        ([20, 30], USUAL, 26.260),
        ([15, 35], USUAL, 29.469),
        ([5, 7, 10, 14, 18, 23, 27, 26, 21, 15, 10, 6], USUAL, 18.194),
        ([5, 7, 10, 14, 18, 23, 27, 26, 21, 15, 10, 6], 40e3, 16.583),
        (25 + 5 * np.sin(2 * np.pi * np.arange(1000) / 1000), USUAL, 25.648),
        (30 + 15 * np.sin(2 * np.pi * np.arange(1000) / 1000), USUAL, 34.971),
        (30 + 15 * np.sin(2 * np.pi * np.arange(1000) / 1000), 40e3, 32.472),
    ],
)
def test_effective_temperatures_are_those_worked_out_elsewhere(
    celsius: np.ndarray, energy: float, expected: float
) -> None:
    found = effective_temperature(np.asarray(celsius) + 273.15, energy) - 273.15
    assert found == pytest.approx(expected, abs=1.1e-3)


def test_the_mean_kinetic_temperature_of_two_halves_is_that_of_the_definition() -> None:
    # T = (E / R) / -ln(mean exp(-E / (R T)))
    cold, warm = 278.15, 303.15
    share = 0.25
    mean = share * math.exp(-1e4 / warm) + (1 - share) * math.exp(-1e4 / cold)
    found = effective_temperature([cold, warm], USUAL, [3.0, 1.0])
    assert found == pytest.approx(1e4 / -math.log(mean), rel=1e-9)

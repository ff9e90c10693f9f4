"""Holes of many sizes against the integral over their distribution."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from optimizer.physics.hole_sizes import sizes_of
from optimizer.physics.leaks import hole_conductance

T23 = 296.15


def total(sizes: tuple[tuple[float, float], ...], length: float, gas: str, temperature: float = T23) -> float:
    return sum(n * float(hole_conductance(gas, d, length, temperature)) for d, n in sizes)


def integral(median: float, spread: float, length: float, gas: str) -> float:
    """Mean over a lognormal distribution by adaptive quadrature."""
    sigma = math.log(spread)

    def weighted(z: float) -> float:
        own = float(hole_conductance(gas, median * math.exp(sigma * z), length, T23))
        return own * math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)

    shift = 2.0 * sigma  # where holes of the size let most through
    pieces = [
        quad(weighted, shift + a, shift + a + 4.0, epsabs=0, epsrel=1e-11)[0] for a in range(-12, 12, 4)
    ]
    return float(sum(pieces))


@pytest.mark.parametrize("length", [1e-6, 25e-6, 2e-3])
@pytest.mark.parametrize("spread", [1.05, 1.3, 1.8, 2.5, 3.0])
@pytest.mark.parametrize("gas", ["O2", "CO2", "H2O"])
def test_a_few_sizes_let_through_as_much_as_the_distribution(spread: float, length: float, gas: str) -> None:
    sizes = sizes_of(8e-6, spread, 12.0, length)
    assert total(sizes, length, gas) == pytest.approx(12.0 * integral(8e-6, spread, length, gas), rel=1e-6)


@given(st.floats(1e-7, 1e-4), st.floats(1.0, 3.0), st.floats(0.1, 1e4), st.floats(1e-6, 1e-2))
@settings(max_examples=60)
def test_the_holes_are_as_many_as_said_and_few_sizes_stand_for_them(
    median: float, spread: float, count: float, length: float
) -> None:
    sizes = sizes_of(median, spread, count, length)
    assert sum(n for _, n in sizes) == pytest.approx(count, rel=1e-12)
    assert len(sizes) <= 15 and all(d > 0 and n > 0 for d, n in sizes)


def test_long_thin_holes_let_through_what_the_moments_of_the_distribution_say() -> None:
    # far from the wall collisions and the ends the conductance is as d squared: mean median^2 exp(2 sigma^2)
    sizes, sigma = sizes_of(1e-4, 1.5, 1.0, 10.0), math.log(1.5)
    alone = float(hole_conductance("O2", 1e-4, 10.0, T23))
    assert total(sizes, 10.0, "O2") == pytest.approx(alone * math.exp(2.0 * sigma**2), rel=2e-3)


@given(st.floats(1.0, 2.9), st.floats(1e-6, 1e-3))
@settings(max_examples=40)
def test_holes_that_differ_more_leak_more(spread: float, length: float) -> None:
    less, more = (total(sizes_of(8e-6, s, 1.0, length), length, "O2") for s in (spread, spread + 0.1))
    assert more > less


def test_holes_of_one_size_are_one_part() -> None:
    assert sizes_of(8e-6, 1.0, 12.0, 25e-6) == ((8e-6, 12.0),)


@pytest.mark.parametrize("spread", [0.9, 3.01, math.nan])
def test_a_spread_out_of_range_is_refused(spread: float) -> None:
    with pytest.raises(ValueError, match="between 1 and 3"):
        sizes_of(8e-6, spread, 1.0, 25e-6)

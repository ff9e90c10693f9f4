"""The closed forms against printed values.

Values: the project's list of facts, section 2, where each was computed to 30 digits by numerical inversion of
the Laplace transform (Talbot), apart from these functions; formulas of Crank, The Mathematics of Diffusion.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_bvp

from transient import series

Array = NDArray[np.float64]

TAU = np.array([0.02, 0.05, 0.10, 0.15, 0.20, 0.30, 0.50, 1.00])


def test_flux_out_of_a_slab_is_that_of_the_table() -> None:
    table = [0.00002973, 0.03400147, 0.29289965, 0.55028287, 0.72292239, 0.89646783, 0.98561624, 0.99989655]
    assert series.slab_flux(TAU) == pytest.approx(table, abs=6e-9)


def test_amount_through_a_slab_is_that_of_the_table() -> None:
    table = [0.00000004, 0.00026934, 0.00788529, 0.02930629, 0.06146375, 0.14382443, 0.33479071, 0.83334381]
    assert series.slab_passed(TAU) == pytest.approx(table, abs=6e-9)


@pytest.mark.parametrize(
    ("share", "tau"),
    [
        (0.01, 0.0394150),
        (0.1, 0.0661098),
        (0.5, 0.138785),
        (0.9, 0.303518),
        (0.95, 0.373760),
        (0.98, 0.466601),
        (0.99, 0.536832),
        (0.999, 0.770132),
    ],
)
def test_flux_reaches_a_share_of_the_steady_one_when_the_table_says(share: float, tau: float) -> None:
    assert series.slab_share_time(share) == pytest.approx(tau, rel=3e-6)


def test_lag_of_a_slab_is_where_the_straight_part_meets_the_axis() -> None:
    assert 5.0 - float(series.slab_passed(5.0)) == pytest.approx(1 / 6, abs=1e-14)
    one = series.laminate_lag([2.0], [0.5], [3.0])
    assert one == pytest.approx(2.0**2 / (6 * 0.5), rel=1e-14)


def test_film_stored_in_air_has_the_printed_lag() -> None:
    assert series.stored_film_lag(0.21) == pytest.approx(0.0616667, abs=5e-8)
    # what reading D from l^2 / (6 lag) makes of it
    assert (1 / 6) / series.stored_film_lag(0.21) == pytest.approx(2.703, abs=5e-4)
    assert series.swept_film_lag() == pytest.approx(-1 / 3, rel=1e-14)


def test_shells_have_the_printed_flow_and_lag() -> None:
    flow, lag = series.cylinder(1.0, 1.2)
    assert (flow, lag) == (pytest.approx(34.4621, abs=5e-5), pytest.approx(0.00667036, abs=5e-9))
    flow, lag = series.sphere(1.0, 1.2)
    assert (flow, lag) == (pytest.approx(75.3982, abs=5e-5), pytest.approx(0.00666667, abs=5e-9))


def test_bottle_is_flat_to_a_part_in_a_hundred_thousand_at_its_middle_area() -> None:
    radius, wall = 32.5e-3, 0.3e-3
    flow, _ = series.cylinder(radius, radius + wall)
    assert flow / (2 * math.pi * radius / wall) == pytest.approx(1.0046083, abs=5e-8)
    assert flow / (2 * math.pi * (radius + wall / 2) / wall) == pytest.approx(0.9999930, abs=5e-8)


def test_laminate_has_the_printed_flux_and_a_lag_that_no_direction_changes() -> None:
    layers = ([1.0, 0.5], [1.0, 0.1], [1.0, 2.0])
    assert series.laminate_lag(*layers) == pytest.approx(1.05952381, abs=5e-9)
    assert series.laminate_flux(*layers) == pytest.approx(0.285714286, abs=5e-10)
    assert series.two_layer_lag(*layers) == pytest.approx(series.laminate_lag(*layers), rel=1e-14)
    many = ([1.0, 0.2, 0.5, 2.0], [1.0, 0.03, 0.1, 5.0], [1.0, 4.0, 2.0, 0.1])
    turned = tuple(x[::-1] for x in many)
    assert series.laminate_lag(*turned) == pytest.approx(series.laminate_lag(*many), rel=1e-13)


def test_layers_of_one_material_have_the_lag_of_the_whole() -> None:
    parts = series.laminate_lag([0.3, 0.5, 1.2], [0.7] * 3, [1.9] * 3)
    assert parts == pytest.approx(2.0**2 / (6 * 0.7), rel=1e-14)


def test_uptake_of_a_sheet_is_that_of_the_table() -> None:
    tau = [0.001, 0.005, 0.01, 0.02, 0.05, 0.10, 0.20, 0.50]
    table = [0.0713650, 0.159577, 0.225676, 0.319154, 0.504088, 0.697882, 0.887403, 0.994170]
    assert series.sheet_uptake(tau) == pytest.approx(table, abs=6e-7)
    early = [0.0713650, 0.159577, 0.225676, 0.319154, 0.504627, 0.713650]
    assert series.sheet_uptake_early(tau[:6]) == pytest.approx(early, abs=6e-7)
    assert float(series.sheet_uptake_early(0.2)) == pytest.approx(1.009, abs=5e-4)


@pytest.mark.parametrize(
    ("share", "tau"), [(0.5, 0.04918268488), (0.9, 0.212021), (0.95, 0.282252), (0.99, 0.445322)]
)
def test_sheet_takes_up_a_share_when_the_table_says(share: float, tau: float) -> None:
    assert series.sheet_time(share) == pytest.approx(tau, abs=6e-7 if share > 0.5 else 1e-11)


@pytest.mark.parametrize(
    ("alpha", "first", "table"),
    [
        (0.25, 2.57043156, [0.411515, 0.677192, 0.794080, 0.899078, 0.986187, 0.999492]),
        (1.0, 2.02875784, [0.207086, 0.419246, 0.552841, 0.711629, 0.916467, 0.989331]),
        (4.0, 1.71550715, [0.137980, 0.300400, 0.416545, 0.572552, 0.823691, 0.959523]),
    ],
)
def test_limited_bath_is_that_of_the_table(alpha: float, first: float, table: list[float]) -> None:
    assert series.bath_roots(alpha, 1)[0] == pytest.approx(first, abs=6e-9)
    uptake = series.bath_uptake([0.01, 0.05, 0.10, 0.20, 0.50, 1.00], alpha)
    assert uptake == pytest.approx(table, abs=6e-7)


@pytest.mark.parametrize(
    ("h", "first", "table", "steady"),
    [
        (0.01, 0.0998336, [0.0006132, 0.0082730, 0.0470323, 0.1793640], [0.008299, 0.047184, 0.179904]),
        (0.1, 0.311053, [0.0060015, 0.0776114, 0.3736233, 0.8532627], [0.079956, 0.383276, 0.862390]),
        (1.0, 0.860334, [0.0493582, 0.4661406, 0.9723552, 0.9999996], [0.565402, 0.992040, 1.0]),
    ],
)
def test_headspace_fills_through_a_slab_as_in_the_table(
    h: float, first: float, table: list[float], steady: list[float]
) -> None:
    assert series.headspace_roots(h, 1)[0] == pytest.approx(first, abs=6e-7)
    assert series.headspace_fill([0.2, 1.0, 5.0, 20.0], h) == pytest.approx(table, abs=6e-8)
    assert series.headspace_quasi_steady([1.0, 5.0, 20.0], h) == pytest.approx(steady, abs=6e-7)


def talbot(transform: Callable[[complex], complex], time: float, terms: int = 18) -> float:
    """Inverse Laplace transform by the fixed Talbot contour (Abate and Valko, Int. J. Numer. Meth. Eng. 60
    (2004) 979; formula from memory), some 1e-9 in double precision."""
    radius = 2 * terms / (5 * time)
    total = 0.5 * transform(complex(radius)).real * math.exp(radius * time)
    for k in range(1, terms):
        angle = k * math.pi / terms
        cot = 1 / math.tan(angle)
        s = radius * angle * complex(cot, 1.0)
        bend = complex(1.0, angle + (angle * cot - 1) * cot)
        total += (cmath.exp(s * time) * transform(s) * bend).real
    return total * radius / terms


@pytest.mark.parametrize("h", [0.03, 0.4, 2.0])
def test_vessel_behind_a_slab_agrees_with_the_inverted_laplace_transform(h: float) -> None:
    # deficit: u'' = s u - u0 in the slab, (1/h)(s u - v0) = -u' at x = 1, u = 0 at x = 0 (solved by hand)
    wall, start = 0.7, 0.1

    def deficit(s: complex) -> complex:
        q = cmath.sqrt(s)
        rest = (1 - wall) / s  # particular solution; u = rest (1 - cosh q x) + b sinh q x
        top = (1 - start) / h - s / h * rest * (1 - cmath.cosh(q)) + rest * q * cmath.sinh(q)
        slope = top / (s / h * cmath.sinh(q) + q * cmath.cosh(q))
        return slope * cmath.sinh(q) + rest * (1 - cmath.cosh(q))

    for tau in (0.05, 0.5, 3.0):
        found = float(series.headspace_from(tau, h, wall, start))
        assert found == pytest.approx(1 - talbot(deficit, tau), abs=1e-8)


@pytest.mark.parametrize("h", [0.01, 1.0])
def test_empty_vessel_behind_an_empty_slab_is_the_plain_case(h: float) -> None:
    tau = np.array([0.05, 0.3, 2.0])
    assert series.headspace_from(tau, h) == pytest.approx(series.headspace_fill(tau, h), abs=1e-9)


@pytest.mark.parametrize(
    ("phi", "passed", "taken"),
    [
        (0.5, 0.959517, 1.081977),
        (1.0, 0.850918, 1.313035),
        (2.0, 0.551441, 2.074629),
        (3.0, 0.299465, 3.014909),
    ],
)
def test_film_that_uses_gas_up_is_that_of_the_table_and_of_collocation(
    phi: float, passed: float, taken: float
) -> None:
    assert float(series.reacting_transmission(phi)) == pytest.approx(passed, abs=6e-7)
    assert float(series.reacting_uptake(phi)) == pytest.approx(taken, abs=6e-7)
    x = np.linspace(0, 1, 21)
    found = solve_bvp(
        lambda x, y: np.array([y[1], phi**2 * y[0]]),
        lambda a, b: np.array([a[0] - 1, b[0]]),
        x,
        np.array([1 - x, -np.ones_like(x)]),
        tol=1e-9,
    )
    assert -found.y[1, 0] == pytest.approx(float(series.reacting_uptake(phi)), rel=1e-8)
    assert -found.y[1, -1] == pytest.approx(float(series.reacting_transmission(phi)), rel=1e-8)

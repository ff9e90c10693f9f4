"""The walls in transient against closed forms, whose numbers are those of tables computed from Crank, The
Mathematics of Diffusion (equations in ``series``, held there against the printed digits)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import GAS_CONSTANT
from optimizer.shelflife.transient.laws import SETTLING
from optimizer.shelflife.transient.run import Run

from . import series
from .coupled import linear
from .slabs import AIR, T, bathed, emptied, filled, lane_of, layer, reacting

LAMINATES = [
    ((1.0, 1.0, 1.0),),
    ((1.0, 1.0, 1.0), (0.5, 0.1, 2.0)),
    ((0.5, 0.1, 2.0), (1.0, 1.0, 1.0)),
    ((60e-6, 1.5e-11, 2e-5), (8e-6, 1e-14, 4e-6), (40e-6, 1.5e-11, 2e-5), (15e-6, 3e-13, 8e-6)),
]


@pytest.mark.parametrize("layers", LAMINATES)
def test_the_steady_flux_of_a_laminate_is_one_over_its_resistance(
    layers: tuple[tuple[float, ...], ...],
) -> None:
    lane = lane_of(*layers)  # type: ignore[arg-type]
    lag = series.laminate_lag(*zip(*layers, strict=True))
    share = 1e16 * lag
    lane.factor(share)
    slope, inflow = lane.reduce([0.0] * lane.count, [[]] * len(layers), [[]] * len(layers))
    flux = series.laminate_flux(*zip(*layers, strict=True))
    assert inflow / share == pytest.approx(flux, rel=1e-12)
    assert slope / share == pytest.approx(flux, rel=1e-12)


def test_the_two_layer_example_has_its_printed_flux() -> None:
    # worked example: layers (1, 1, 1) and (0.5, 0.1, 2): flux 0.285714286, lag 1.05952381
    assert series.laminate_flux(*zip(*LAMINATES[1], strict=True)) == pytest.approx(0.285714286, abs=5e-10)


@pytest.mark.parametrize("layers", LAMINATES)
def test_the_time_lag_of_a_laminate_is_exact_in_either_direction(
    layers: tuple[tuple[float, ...], ...],
) -> None:
    widths, diffusivities, solubilities = zip(*layers, strict=True)
    expected = series.laminate_lag(widths, diffusivities, solubilities)
    flux = series.laminate_flux(widths, diffusivities, solubilities)
    for order in (layers, layers[::-1]):
        late = 60.0 * expected
        taken = emptied(lane_of(*order), 0.0, late)  # type: ignore[arg-type]
        assert late - taken / flux == pytest.approx(expected, rel=1e-12 * late / expected)


@pytest.mark.parametrize(("ratio", "lag"), [(0.0, 1 / 6), (0.21, 0.0616667), (1.0, -1 / 3)])
def test_a_film_that_holds_gas_has_the_lag_of_the_table(ratio: float, lag: float) -> None:
    # table: (l^2/D)(1/6 - c0/(2 c1)) = 0.0616667 for an air-stored film and pure oxygen; in equilibrium with
    # the outside the film gives a third of what it holds to the inside, lag -l^2/(3 D)
    late = 20.0
    taken = emptied(lane_of((1.0, 1.0, 1.0)), ratio, late)
    assert late - taken == pytest.approx(lag, abs=5e-8 if ratio == 0.21 else 1e-11)


@pytest.mark.parametrize("h", [0.01, 0.1, 1.0])
def test_a_slab_filling_a_vessel_follows_the_series_to_1e_8_from_three_lags_on(h: float) -> None:
    tau = np.array([0.5, 1.0, 2.0, 5.0, 20.0])
    assert filled(tau, h, 8) == pytest.approx(series.headspace_fill(tau, h), rel=1e-8)


def test_the_printed_values_of_a_slab_filling_a_vessel_come_out_of_the_default_elements() -> None:
    # table of six-digit values, h = 0.1 at tau = 1, 5, 20
    assert filled([1.0, 5.0, 20.0], 0.1) == pytest.approx([0.0776114, 0.3736233, 0.8532627], abs=6e-8)


@pytest.mark.parametrize(
    ("alpha", "printed"),
    [(0.25, (0.677192, 0.899078)), (1.0, (0.419246, 0.711629)), (4.0, (0.300400, 0.572552))],
)
def test_a_wall_in_front_of_foil_takes_up_gas_as_a_sheet_in_a_bath(
    alpha: float, printed: tuple[float, float]
) -> None:
    # table of uptake from a stirred bath of limited volume, at tau = 0.05 and 0.2
    tau = np.array([0.05, 0.2])
    taken = bathed(tau, alpha)
    assert taken == pytest.approx(printed, abs=1e-6)
    assert taken == pytest.approx(series.bath_uptake(tau, alpha), rel=1e-6)


def test_a_wall_in_front_of_foil_and_an_endless_bath_takes_up_gas_as_a_sheet_from_both_sides() -> None:
    # table of uptake by a sheet, tau = D t / l^2 of the whole sheet: a quarter of that of its half
    tau = np.array([0.05, 0.10, 0.20])
    assert bathed(4 * tau, 1e7) == pytest.approx([0.504088, 0.697882, 0.887403], abs=2e-6)


@pytest.mark.parametrize(
    ("phi", "passed", "uptake"),
    [
        (0.5, 0.959517, 1.081977),
        (1.0, 0.850918, 1.313035),
        (2.0, 0.551441, 2.074629),
        (3.0, 0.299465, 3.014909),
    ],
)
def test_a_reacting_film_passes_and_takes_up_what_the_table_says(
    phi: float, passed: float, uptake: float
) -> None:
    # table: phi / sinh phi and phi / tanh phi, phi = l sqrt(k/D)
    assert reacting(phi) == pytest.approx((passed, uptake), abs=6e-7)


def test_a_layer_without_diffusivity_is_a_resistance_and_no_more() -> None:
    plain, unknown = layer(1e-12, 1e-5), replace(layer(1e-12, 1e-5), diffusivity={})
    case = linear((plain, 100.0), (unknown, 50.0), volume=1e-4, wall=0.0, days=40.0)
    # the same flux and lag as a slab behind half its own resistance: w falls to a third at its outer face
    lane = lane_of((1.0, 1.0, 1.0))
    resistance = 150e-6 / 1e-17
    lag = resistance * 1e-5 * 100e-6 * (0.5 * (1 + 1 / 3) - (1 + 1 / 3 + 1 / 9) / 3)
    tau = np.array([20.0, 40.0]) * 86400
    n = Run(case, None, None, None, tau, 6, 1e-6).trajectory().amounts["O2"][0]
    room = 1e-4 / (GAS_CONSTANT * T)
    expected = AIR * -np.expm1(-(tau - lag) * 0.05 / resistance / room)
    assert n / room == pytest.approx(expected, rel=2e-3)
    assert lane.count == 3 and SETTLING < 1e-3


def test_finer_elements_converge_spectrally() -> None:
    exact = float(series.headspace_fill(1.0, 1.0))
    # the slow layer gets one degree more up to 2 and two more from 3 on
    errors = [abs(float(filled([1.0], 1.0, degree)[0]) / exact - 1.0) for degree in (1, 2, 3, 4, 5)]
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 1e-9 and errors[0] < 2e-3

"""The walls in transient against closed forms, whose numbers are those of tables computed from Crank, The
Mathematics of Diffusion (equations in ``series``, held there against the printed digits)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import ATMOSPHERE, DRY_AIR, GAS_CONSTANT
from optimizer.physics.material import DiffusionLaw, Material, Scavenger
from optimizer.physics.permeability import GasLaw
from optimizer.shelflife.package import Case
from optimizer.shelflife.transient.columns import Column
from optimizer.shelflife.transient.element import reference
from optimizer.shelflife.transient.gaslane import GasLane, gas_layers
from optimizer.shelflife.transient.laws import SETTLING
from optimizer.shelflife.transient.propagate import Bond, System, factor_of, nodes_between
from optimizer.shelflife.transient.run import Run

from . import series
from .coupled import linear

T = 296.15
AIR = DRY_AIR["O2"] * ATMOSPHERE


def layer(d: float, s: float, **more: object) -> Material:
    """Diffusivity [m2/s] and solubility [mol/(m3 Pa)] of oxygen and nitrogen alike."""
    laws = {g: GasLaw(g, T, (0.0,), (d * s,), 0.0) for g in ("O2", "N2")}
    spread = {g: DiffusionLaw(T, d, 0.0) for g in laws}
    return Material("layer", "x", 1000.0, laws, None, diffusivity=spread, **more)  # type: ignore[arg-type]


def lane_of(
    *layers: tuple[float, float, float], degree: int = 4, outside: float = 1.0, **more: object
) -> GasLane:
    """A column of 1 m2 of (length, D, S), inside to outside, ``outside`` [Pa] beyond."""
    column = Column(
        "w",
        tuple(layer(d, s, **more) for _, d, s in layers),
        tuple(x for x, _, _ in layers),
        1.0,
        tuple(reference(degree) for _ in layers),
    )
    return GasLane(gas_layers(column, "O2", T, [(1.0, 1.0)] * len(layers)), outside)


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


def emptied(lane: GasLane, stored: float, seconds: float) -> float:
    """What an empty, endless vessel takes in [mol] through a wall that at first holds ``stored`` [Pa]."""
    storage = [1e40, *nodes_between([x.storage for x in lane.layers])]
    bonds, at = [], 1
    for k, x in enumerate(lane.layers):
        end = at + len(x.storage) - 2
        last = k == len(lane.layers) - 1
        places = (0 if k == 0 else at - 1, *range(at, end), -1 if last else end)
        bonds.append(Bond(places, factor_of(x.element, x.conduction)))
        at = end + 1
    system = System(np.array(storage), bonds, 0.0, 0.0, float(lane.outside), np.nan)
    start = np.array(storage) * stored
    start[0] = lane.face * stored
    system.begin(start)
    _, past = system.at(seconds)
    return float(start[0] + system.flows(past, seconds)[0][0])


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
    d, width, s, area = 1e-12, 100e-6, 1e-5, 0.05
    volume = area * width * s * GAS_CONSTANT * T / h
    tau = np.array([0.5, 1.0, 2.0, 5.0, 20.0])
    case = linear((layer(d, s), 100.0), volume=volume, wall=0.0, area=area, days=20 * width**2 / d / 86400)
    run = Run(case, None, None, None, tau * width**2 / d, 8, 1e-6)
    found = run.trajectory().pressures["O2"][0] / AIR
    assert found == pytest.approx(series.headspace_fill(tau, h), rel=1e-8)


def test_the_printed_values_of_a_slab_filling_a_vessel_come_out_of_the_default_elements() -> None:
    # table of six-digit values, h = 0.1 at tau = 1, 5, 20
    d, width, s, area = 1e-12, 100e-6, 1e-5, 0.05
    volume = area * width * s * GAS_CONSTANT * T / 0.1
    tau = np.array([1.0, 5.0, 20.0])
    case = linear((layer(d, s), 100.0), volume=volume, wall=0.0, area=area, days=20 * width**2 / d / 86400)
    found = Run(case, None, None, None, tau * width**2 / d, None, 1e-4).trajectory().pressures["O2"][0] / AIR
    assert found == pytest.approx([0.0776114, 0.3736233, 0.8532627], abs=6e-8)


@pytest.mark.parametrize(
    ("alpha", "printed"),
    [(0.25, (0.677192, 0.899078)), (1.0, (0.419246, 0.711629)), (4.0, (0.300400, 0.572552))],
)
def test_a_wall_in_front_of_foil_takes_up_gas_as_a_sheet_in_a_bath(
    alpha: float, printed: tuple[float, float]
) -> None:
    # table of uptake from a stirred bath of limited volume, at tau = 0.05 and 0.2
    d, width, s, area = 1e-12, 100e-6, 1e-5, 0.05
    foil = replace(layer(d, s), gases={g: GasLaw(g, T, (0.0,), (0.0,), 0.0) for g in ("O2", "N2")})
    volume = alpha * area * width * s * GAS_CONSTANT * T
    tau = np.array([0.05, 0.2])
    case = linear(
        (layer(d, s), 100.0), (foil, 9.0), volume=volume, inside=0.5, wall=0.0, area=area,
        days=0.2 * width**2 / d / 86400 * 1.001,
    )  # fmt: skip
    trajectory = Run(case, None, None, None, tau * width**2 / d, 12, 1e-6).trajectory()
    left = trajectory.pressures["O2"][0] / (0.5 * ATMOSPHERE)
    # of all that can be taken up, 1 / (1 + alpha) of the gas, this share is
    taken = (1.0 - left) * (1.0 + alpha)
    assert taken == pytest.approx(printed, abs=1e-6)
    assert taken == pytest.approx(series.bath_uptake(tau, alpha), rel=1e-6)


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
    lane = lane_of((1.0, 1.0, 1.0), degree=10, scavenger=Scavenger("O2", phi**2, T))
    share = 1e12
    lane.factor(share)
    _, inflow = lane.reduce([0.0] * lane.count, [[]], [[]])
    assert inflow / share == pytest.approx(passed, abs=6e-7)
    solved = lane.rates(lane.fill(0.0), [[]])
    assert -solved.outer == pytest.approx(uptake, abs=6e-7)
    assert -solved.outer == pytest.approx(-solved.inner + solved.used, rel=1e-12)


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


def gained(case: Case, degree: int) -> float:
    run = Run(case, None, None, None, [case.horizon], degree, 1e-6)
    return float(run.trajectory().amounts["O2"][0, -1])


def test_finer_elements_converge_spectrally() -> None:
    d, width, s, area = 1e-12, 100e-6, 1e-5, 0.05
    volume = area * width * s * GAS_CONSTANT * T
    case = linear((layer(d, s), 100.0), volume=volume, wall=0.0, area=area, days=width**2 / d / 86400)
    exact = float(series.headspace_fill(1.0, 1.0)) * AIR * volume / (GAS_CONSTANT * T)
    # the slow layer gets one degree more up to 2 and two more from 3 on
    errors = [abs(gained(case, degree) / exact - 1.0) for degree in (1, 2, 3, 4, 5)]
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 1e-9 and errors[0] < 2e-3

"""The simulation against scipy's integrators, and properties it must have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad, solve_ivp

from optimizer.constants import ATMOSPHERE, DAY, GAS_CONSTANT, MOLAR_MASS
from optimizer.physics.laminate import humidity_profile, layer_resistances
from optimizer.physics.solubility import henry_oil, henry_water
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.balance import Balance, balance_of
from optimizer.shelflife.contents import contents_of, simulated_gases, water_matters
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.headspace import eliminate
from optimizer.shelflife.package import (
    Carbonation,
    Case,
    Consumption,
    Headspace,
    Limit,
    OxygenModel,
    Product,
    Stage,
)
from optimizer.shelflife.simulate import simulate
from shelflife.builders import (
    T23,
    barrier_wall,
    case_of,
    dry_powder,
    one_wall,
    plain,
    seasons,
    still,
    thicker,
)

LIMITS = (Limit("oxygen_gain", 40e-6), Limit("water_activity_max", 0.3), Limit("headspace_oxygen", 0.05))


def powder_case(rigid: bool = True, order: int | str = "michaelis-menten") -> Case:
    return case_of(dry_powder(LIMITS, rigid=rigid, order=order), barrier_wall(), seasons())


def beer_case(rigid: bool) -> Case:
    """A carbonated liquid that uses oxygen; flexible walls couple three gases."""
    product = Product(
        0.5,
        5e-4,
        Headspace(2.5e-5, rigid, {"O2": 0.002, "N2": 0.1, "CO2": 0.898}),
        1.0,
        OxygenModel("water", None, 1e-3, 0.98, Consumption(1, 0.05 / DAY, T23, 60e3)),
        carbonation=Carbonation(1.2, 278.15),
        closing_temperature=278.15,
        limits=(Limit("oxygen_gain", 2e-6), Limit("co2_loss", 0.15), Limit("headspace_oxygen", 0.05)),
    )
    return case_of(product, one_wall(plain(energy=40e3), 250e-6, 0.04), seasons(6))


def independent_powder(case: Case, times: NDArray[np.float64], rtol: float = 1e-9) -> NDArray[np.float64]:
    """Content X, moles of O2 and O2 used up, (3, N), by scipy from the equations written out anew: no
    table, no spline,
    permeances straight from the wall at every call. Rigid, Michaelis-Menten, oil."""
    product, wall = case.product, case.package.walls["wall"]
    moisture = product.moisture
    assert moisture is not None
    materials = [x.material for x in wall.layers]
    thickness = np.array([x.thickness for x in wall.layers])
    part = case.package.parts[0]
    area = part.patches[0].area  # type: ignore[union-attr]
    c = product.oxygen.consumption
    assert c is not None

    def rhs(stage: Stage):  # type: ignore[no-untyped-def]
        t = stage.temperature
        psat = float(saturation_pressure(t))
        capacity = product.headspace.volume / (GAS_CONSTANT * t) + product.volume * float(henry_oil("O2", t))
        outside = 0.2095 * (stage.pressure - stage.humidity * psat)
        rate = c.rate * np.exp(-c.activation_energy / GAS_CONSTANT * (1 / t - 1 / c.temperature))

        def f(time: float, y: NDArray[np.float64]) -> list[float]:
            a = moisture.isotherm.activity(float(y[0]))
            profile = humidity_profile(materials, thickness, t, a, stage.humidity)
            flux = float(profile.flux) * psat * area
            g = area / float(layer_resistances(materials, thickness, "O2", t, profile.faces).sum())
            p = y[1] / capacity
            used = rate * p / (p + c.half_pressure)
            return [-flux * MOLAR_MASS["H2O"] / moisture.dry_mass, g * (outside - p) - used, used]

        return f

    head = product.headspace
    dry = ATMOSPHERE - moisture.initial_activity * float(saturation_pressure(product.closing_temperature))
    n0 = 0.02 * dry * head.volume / (GAS_CONSTANT * product.closing_temperature)
    y = np.array([moisture.isotherm.content(moisture.initial_activity), n0, 0.0])
    rows, start = [], 0.0
    for stage in case.storage:
        end = start + stage.duration
        inside = times[(times > start) & (times <= end)]
        done = solve_ivp(
            rhs(stage),
            (start, end),
            y,
            method="LSODA",
            t_eval=inside,
            rtol=rtol,
            atol=[rtol * 1e-4, n0 * rtol, n0 * rtol],
        )
        rows.append(done.y)
        y, start = done.y[:, -1], end
    return np.concatenate(rows, axis=1)


def test_powder_agrees_with_lsoda_on_equations_written_out_anew() -> None:
    case = powder_case()
    case = replace(case, storage=case.storage[:4], horizon=4 * 61 * DAY)
    times = np.arange(1, 5) * 61 * DAY
    reference = independent_powder(case, times)
    product = replace(case.product, limits=(Limit("oxygen_gain", 40e-6), Limit("water_gain", 0.02)))
    case = replace(case, product=product)
    result = simulate(product, exchange_of(case), sample_times=times)
    moisture = product.moisture
    assert moisture is not None
    content = moisture.isotherm.content(0.15) + result.water[0] * MOLAR_MASS["H2O"] / moisture.dry_mass
    assert content == pytest.approx(reference[0], rel=1e-6)
    assert result.used[0] == pytest.approx(reference[2], rel=1e-6)
    assert result.amounts["O2"][0] == pytest.approx(reference[1], rel=5e-6)


def reference_of(case: Case, times: NDArray[np.float64]) -> NDArray[np.float64]:
    """State (components, N) by scipy's Radau at 1e-10 on the package's balances."""
    exchange = exchange_of(case)
    gases = simulated_gases(case.product)
    contents = contents_of(case.product, gases, water_matters(case.product))
    y = np.array(contents.start())
    scale = np.array(contents.scales())
    rows = []
    for k in range(len(exchange.segments)):
        rhs = balance_of(contents, exchange, k, True).rhs
        start, end = float(exchange.segments.start[k]), float(exchange.segments.end[k])
        done = solve_ivp(
            lambda t, y, rhs=rhs: np.array(rhs(y.tolist())),
            (start, end),
            y,
            method="Radau",
            t_eval=times[(times > start) & (times <= end)],
            rtol=1e-10,
            atol=scale * 1e-12,
        )
        rows.append(done.y)
        y = done.y[:, -1]
    return np.concatenate(rows, axis=1)


@pytest.mark.parametrize("rigid", [True, False], ids=["rigid", "flexible"])
@pytest.mark.parametrize("order", [0, 1, "michaelis-menten"])
def test_powder_agrees_with_radau_at_1e_10(rigid: bool, order: int | str) -> None:
    case = powder_case(rigid, order)
    case = replace(case, storage=case.storage[:6], horizon=6 * 61 * DAY)
    times = np.arange(1, 7) * 61 * DAY
    result = simulate(case.product, exchange_of(case), sample_times=times)
    reference = reference_of(case, times)
    state = np.stack([result.water[0], *(v[0] for v in result.amounts.values()), result.used[0]])
    reference[0] -= contents_of(case.product, (), True).water
    assert state == pytest.approx(reference, rel=1e-6, abs=1e-6 * np.abs(reference).max(axis=1).min())
    for row, expected in zip(state, reference, strict=True):
        assert row == pytest.approx(expected, abs=1e-6 * np.abs(expected).max())


@pytest.mark.parametrize("rigid", [True, False], ids=["rigid", "flexible"])
def test_carbonated_drink_agrees_with_radau_at_1e_10(rigid: bool) -> None:
    case = beer_case(rigid)
    times = np.arange(1, 7) * 61 * DAY
    result = simulate(case.product, exchange_of(case), sample_times=times)
    reference = reference_of(case, times)
    state = np.stack([*(v[0] for v in result.amounts.values()), result.used[0]])
    for row, expected in zip(state, reference, strict=True):
        assert row == pytest.approx(expected, abs=1e-6 * np.abs(expected).max())


def test_flexible_package_keeps_the_pressure_outside_until_it_collapses() -> None:
    case = beer_case(False)
    result = simulate(case.product, exchange_of(case), sample_times=np.linspace(0, 300 * DAY, 61))
    segments = exchange_of(case).segments
    index = np.searchsorted(segments.start, result.times, side="right") - 1
    psat = saturation_pressure(segments.temperature[index])
    total = sum(v[0] for v in result.pressures.values()) + psat
    open_ = result.volume[0] > 1.001e-3 * case.product.headspace.volume
    assert np.all(total[open_] == pytest.approx(ATMOSPHERE, rel=1e-9))
    assert np.all(total[~open_] <= ATMOSPHERE * (1 + 1e-9))


def test_a_gas_free_liquid_takes_its_headspace_up_and_the_bag_collapses() -> None:
    # 1 L of water keeps 1.66 L of CO2 at 0 degC, far more than the 10 mL above it (Sander's constants)
    product = Product(
        1.0,
        1e-3,
        Headspace(1e-5, False, {"CO2": 1.0}),
        1.0,
        carbonation=Carbonation(0.2, 277.15),
        closing_temperature=277.15,
        limits=(Limit("co2_loss", 0.5),),
    )
    case = case_of(product, one_wall(plain(energy=40e3), 250e-6, 0.04), still(277.15))
    result = simulate(product, exchange_of(case), sample_times=[0.0, 100 * DAY])
    assert result.volume == pytest.approx(1e-8, rel=1e-9)  # a thousandth of 1e-5 m3
    assert sum(v[0, 0] for v in result.pressures.values()) < ATMOSPHERE
    h = float(henry_water("CO2", 277.15))
    assert result.pressures["CO2"][0, 0] == pytest.approx(result.amounts["CO2"][0, 0] / (h * 1e-3), rel=1e-4)


@pytest.mark.parametrize("case", [powder_case(), powder_case(False), beer_case(True), beer_case(False)])
def test_jacobian_is_the_derivative_of_the_right_hand_side(case: Case) -> None:
    exchange = exchange_of(case)
    gases = simulated_gases(case.product)
    contents = contents_of(case.product, gases, water_matters(case.product))
    balance = balance_of(contents, exchange, 1, True)
    y = [v * 1.1 + s * 0.02 for v, s in zip(contents.start(), contents.scales(), strict=True)]
    d = 1e-6
    solve = balance.factor(y, d)
    n = len(y)
    numeric = np.empty((n, n))
    for j in range(n):
        step = 1e-6 * contents.scales()[j]
        up, down = list(y), list(y)
        up[j] += step
        down[j] -= step
        numeric[:, j] = (np.array(balance.rhs(up)) - np.array(balance.rhs(down))) / (2 * step)
    matrix = d * np.eye(n) - numeric
    b = np.array([1.0, -0.7, 0.4, 0.2, 0.9])[:n] * 1e-9
    assert np.array(solve(b.tolist())) == pytest.approx(np.linalg.solve(matrix, b), rel=2e-5)


def test_elimination_solves_small_systems() -> None:
    rng = np.random.default_rng(3)
    matrix = np.eye(4) * 5 - rng.random((4, 4))
    b = rng.random(4)
    assert eliminate(matrix.tolist())(b.tolist()) == pytest.approx(np.linalg.solve(matrix, b), rel=1e-13)


@pytest.mark.parametrize("case", [powder_case(), powder_case(False), beer_case(False)])
def test_moles_are_conserved(case: Case) -> None:
    """Sum of the rates is what crosses the wall: at every state, and so, the method being linear in them,
    always."""
    exchange = exchange_of(case)
    gases = simulated_gases(case.product)
    contents = contents_of(case.product, gases, water_matters(case.product))
    balance: Balance = balance_of(contents, exchange, 2, True)
    y = contents.start()
    seen = balance.observe(y)
    k = gases.index("O2")
    grid = exchange.activity
    g = float(np.interp(seen.activity, grid, exchange.conductance["O2"][0, 2]))
    inflow = g * (float(exchange.outside["O2"][2]) - seen.pressures[k])
    rates = balance.rhs(y)
    assert rates[contents.first_gas + k] + rates[-1] == pytest.approx(inflow, rel=1e-4)
    # amounts are those of headspace and product together
    t = float(exchange.segments.temperature[2])
    for i, n in enumerate(y[contents.first_gas : contents.first_gas + len(gases)]):
        there = seen.pressures[i] * (seen.volume / (GAS_CONSTANT * t) + balance.dissolving[i])
        assert there == pytest.approx(n, rel=1e-12)


def test_oxygen_in_equals_oxygen_gained_plus_used() -> None:
    case = powder_case()
    times = np.linspace(0, 61 * DAY, 1501)
    exchange = exchange_of(case)
    result = simulate(case.product, exchange, sample_times=times, rtol=1e-9)
    g = np.interp(result.activity[0], exchange.activity, exchange.conductance["O2"][0, 0])
    inflow = g * (exchange.outside["O2"][0] - result.pressures["O2"][0])
    ingress = np.trapezoid(inflow, times)
    kept = result.amounts["O2"][0, -1] - result.amounts["O2"][0, 0] + result.used[0, -1]
    assert kept == pytest.approx(ingress, rel=3e-6)


def test_a_closed_package_keeps_every_mole_to_1e_12() -> None:
    product = dry_powder(LIMITS)
    storage = tuple(replace(s, humidity=0.15) for s in seasons())
    package = thicker(thicker(one_wall(plain(), 1e-4, 0.06), 1e9), 1e6)
    result = simulate(product, exchange_of(case_of(product, package, storage)), sample_times=[0.0, 700 * DAY])
    total = result.amounts["O2"][0] + result.used[0]
    assert total[1] == pytest.approx(total[0], rel=1e-12)
    assert result.used[0, 1] > 0.5 * total[0]
    assert result.amounts["N2"][0, 1] == pytest.approx(result.amounts["N2"][0, 0], rel=1e-12)


@pytest.mark.parametrize("rigid", [True, False], ids=["rigid", "flexible"])
def test_a_batch_gives_the_same_as_one_by_one(rigid: bool) -> None:
    case = powder_case(rigid)
    exchange = exchange_of(case)
    factors = np.array([0.5, 1.0, 1.7])
    batch = exchange.scaled({"O2": factors, "H2O": factors[::-1]})
    together = simulate(case.product, batch, rtol=1e-8)
    for k in range(3):
        alone = simulate(case.product, batch.sample(k), rtol=1e-8)
        assert together.extreme[k] == pytest.approx(alone.extreme[0], rel=1e-7)
        assert together.crossing[k] == pytest.approx(alone.crossing[0], rel=1e-7)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.3, 3.0), st.floats(1.02, 4.0), st.integers(0, 2))
def test_a_thicker_layer_never_shortens_the_life(first: float, more: float, layer: int) -> None:
    product = dry_powder((Limit("oxygen_gain", 60e-6),))
    package = thicker(barrier_wall(), first, 1)
    storage = still(303.15, 0.7, 2000 * DAY)
    # the skins move the barrier to drier or wetter places, so only the barrier itself is sure to help for
    # oxygen;
    # for water any layer does
    water = replace(product, limits=(Limit("water_activity_max", 0.43),))
    for contents, which in ((product, 1), (water, layer)):
        thin = simulate(contents, exchange_of(case_of(contents, package, storage))).crossing[0, 0]
        thick = simulate(
            contents, exchange_of(case_of(contents, thicker(package, more, which), storage))
        ).crossing[0, 0]
        assert thick > thin or np.isinf(thin)


def test_dissolved_oxygen_in_an_open_liquid_ends_in_equilibrium_with_air() -> None:
    # Benson and Krause: 8.58 mg/L at 23 degC under humid air
    product = Product(
        1.0,
        1e-3,
        Headspace(3e-5, True, {"N2": 1.0}),
        1.0,
        OxygenModel("water"),
        limits=(Limit("oxygen_gain", 1.0),),
    )
    case = case_of(product, one_wall(plain(oxygen=5000.0), 20e-6, 0.06), still(T23, 1.0, 2000 * DAY))
    result = simulate(product, exchange_of(case), sample_times=[2000 * DAY])
    assert 1e6 * result.quantities[0, 0, 0] == pytest.approx(8.578, abs=2e-3)


def test_isotherm_integral_with_a_barrier_that_gives_way_agrees_with_quadrature() -> None:
    case = case_of(
        dry_powder((Limit("water_activity_max", 0.4),)), barrier_wall(), still(303.15, 0.8, 3000 * DAY)
    )
    wall = case.package.walls["wall"]
    materials, thickness = [x.material for x in wall.layers], np.array([x.thickness for x in wall.layers])
    moisture = case.product.moisture
    assert moisture is not None

    def seconds(a: float) -> float:
        flux = -float(humidity_profile(materials, thickness, 303.15, a, 0.8).flux) * float(
            saturation_pressure(303.15)
        )
        return moisture.dry_mass / MOLAR_MASS["H2O"] * moisture.isotherm.slope(a) / (flux * 0.06)

    expected = quad(seconds, 0.15, 0.4, epsrel=1e-10)[0]
    # 1e-6 for a smooth wall; here the water permeability jumps at 60 %RH inside the range
    assert simulate(case.product, exchange_of(case)).crossing[0, 0] == pytest.approx(expected, rel=3e-6)


@pytest.mark.parametrize("oxygen", [20.0, 2000.0])
def test_a_pouch_that_shrinks_flat_keeps_to_the_tight_answer(oxygen: float) -> None:
    # carbon dioxide escapes and the oxygen is used up: the headspace vanishes on the way
    product = Product(
        0.2,
        2e-4,
        Headspace(5e-5, False, {"O2": 0.05, "N2": 0.02, "CO2": 0.93}),
        0.9,
        OxygenModel(consumption=Consumption(1, 0.5 / DAY, T23, 60e3)),
        limits=(Limit("headspace_oxygen", 0.2), Limit("co2_loss", 0.5), Limit("oxygen_gain", 1e-4)),
    )
    case = case_of(product, one_wall(plain(oxygen=oxygen, energy=40e3), 1e-4, 0.05), seasons(4))
    exchange = exchange_of(case)
    end = [case.horizon]
    usual = simulate(product, exchange, sample_times=end)
    tight = simulate(product, exchange, rtol=1e-10, sample_times=end)
    assert tight.volume[0, 0] < 0.2 * 5e-5
    assert usual.extreme == pytest.approx(tight.extreme, rel=2e-6)
    finite = np.isfinite(tight.crossing)
    assert usual.crossing[finite] == pytest.approx(tight.crossing[finite], rel=2e-6)

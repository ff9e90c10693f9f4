"""Steps of rigid packages: the exponential method, its functions, and the shortcut for one sample."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from optimizer.constants import DAY
from optimizer.physics.sorption import GAB, Oswin
from optimizer.shelflife.balance import balance_of
from optimizer.shelflife.chain import Chain
from optimizer.shelflife.contents import contents_of, simulated_gases, water_matters
from optimizer.shelflife.crossing import root_array, root_float
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.integrate import _size, integrate
from optimizer.shelflife.march import fits, march
from optimizer.shelflife.package import Case, Consumption, Limit, MoistureModel
from optimizer.shelflife.phi import phi_array, phi_float, stages_array, stages_float
from optimizer.shelflife.simulate import simulate
from shelflife.builders import T23, barrier_wall, case_of, dry_powder, one_wall, plain, seasons, thicker

DEFINITION = "phi_k(z) = integral of exp((1 - s) z) s^(k-1) / (k-1)! (Hochbruck and Ostermann, 2010)"


@pytest.mark.parametrize("z", [-300.0, -20.0, -1.3, -0.51, -0.49, -1e-3, -1e-9, 0.0, 0.3, 2.0])
def test_phi_functions_are_their_integrals(z: float) -> None:
    values = phi_float(z)
    for k, value in enumerate(values, 1):
        expected = quad(
            lambda s, k=k: math.exp((1 - s) * z) * s ** (k - 1) / math.factorial(k - 1),
            0,
            1,
            points=[1 + 5 / z] if z < -6 else None,
            epsabs=1e-13,
            limit=200,
        )[0]
        assert value == pytest.approx(expected, rel=1e-9, abs=1e-13), DEFINITION
    assert stages_float(z) == pytest.approx((*phi_float(0.5 * z)[:3], *phi_float(0.9 * z)[:3]), rel=1e-10)


def test_phi_functions_keep_their_recurrence_to_rounding() -> None:
    for z in np.concatenate([-np.logspace(-8, 3, 200), [0.0, 0.4, 3.0]]).tolist():
        p = phi_float(z)
        for k in range(4):
            assert p[k] == pytest.approx(
                z * p[k + 1] + 1 / math.factorial(k + 1), rel=4e-16 + 1e-15, abs=4e-16
            )


@pytest.mark.parametrize(
    "z", [np.linspace(-0.4, 0.4, 9), np.linspace(-9.0, -1.0, 9), np.linspace(-3.0, 0.4, 9)]
)
def test_phi_functions_of_arrays_are_those_of_their_numbers(z: np.ndarray) -> None:
    assert pytest.approx(np.array([phi_float(x) for x in z.tolist()]), rel=1e-13) == np.array(phi_array(z)).T
    stages = np.array([stages_float(x) for x in z.tolist()])
    assert pytest.approx(stages, rel=1e-13) == np.array(stages_array(z)).T
    assert phi_array(np.float64(-0.7)) == phi_float(-0.7)


def chain_of(case: Case, segment: int) -> tuple[Chain, list[float], list[float]]:
    """Chain of one segment, its state at closing and the tolerances at 1e-6."""
    exchange = exchange_of(case)
    contents = contents_of(case.product, simulated_gases(case.product), water_matters(case.product))
    chain = balance_of(contents, exchange, segment, True).chain
    assert chain is not None
    return chain, contents.start(), [1e-8 * s for s in contents.scales()]


def powder(order: int | str = "michaelis-menten", *more: Limit) -> Case:
    limits = (Limit("oxygen_gain", 40e-6), Limit("water_activity_max", 0.3), *more)
    return case_of(dry_powder(limits, order=order), barrier_wall(), seasons())


def test_halving_the_step_divides_the_error_by_thirty_two() -> None:
    # a stage of fifth order; a smooth wall, so that no spline stands in the way
    product = dry_powder((Limit("oxygen_gain", 40e-6), Limit("water_activity_max", 0.3)))
    case = case_of(product, one_wall(plain(oxygen=20.0), 50e-6, 0.06), seasons())
    chain, start, _ = chain_of(case, 3)

    def end(n: int) -> np.ndarray:
        y = start
        for _ in range(n):
            y, _ = chain.advance(y, chain.prepare(y), 20 * DAY / n)
        return np.array(y)

    tight = end(1024)
    errors = [np.abs(end(n) / tight - 1) for n in (32, 64, 128)]
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert orders[-1][1:] == pytest.approx(5.0, abs=0.3)


@pytest.mark.parametrize("order", [0, 1, "michaelis-menten"])
def test_a_step_of_the_chain_keeps_what_crossed_the_wall(order: int | str) -> None:
    """In a closed package the rate of oxygen and of its use cancel: so do their sums, whatever the step."""
    package = thicker(thicker(one_wall(plain(), 1e-4, 0.06), 1e9), 1e6)
    product = dry_powder((Limit("oxygen_gain", 40e-6), Limit("water_activity_max", 0.3)), order=order)
    chain, y, _ = chain_of(case_of(product, package, seasons()), 3)
    total = y[1] + y[2]
    for width in (1e3, 1e5, 1e6, 5e6):
        new, _ = chain.advance(y, chain.prepare(y), width)
        assert new[1] + new[2] == pytest.approx(total, rel=1e-13)


def random_case(rng: np.random.Generator) -> tuple[Case, int]:
    order = [0, 1, "michaelis-menten", None][int(rng.integers(4))]
    limits = (Limit("oxygen_gain", 40e-6), Limit("water_activity_max", 0.3))
    product = dry_powder(limits, order=order or 1)
    if order is None:
        product = replace(product, oxygen=replace(product.oxygen, consumption=None))
    else:
        rate = 10 ** rng.uniform(-3, 0) / DAY if order == 1 else 10 ** rng.uniform(-12, -9)
        energy = rng.uniform(2e4, 9e4)
        used = Consumption(order, rate, T23, energy, 300.0)
        product = replace(product, oxygen=replace(product.oxygen, consumption=used))
    isotherm = (
        GAB(0.045, rng.uniform(2, 20), rng.uniform(0.7, 0.95)) if rng.random() < 0.5 else Oswin(0.1, 0.4)
    )
    product = replace(product, moisture=MoistureModel(0.2, isotherm, rng.uniform(0.1, 0.6)))
    wall = thicker(thicker(barrier_wall(), 10 ** rng.uniform(-1, 1)), 10 ** rng.uniform(-1, 1), 1)
    stage = int(rng.integers(12))
    return case_of(product, wall, seasons()[stage : stage + 1]), stage


@pytest.mark.parametrize("seed", range(4))
def test_the_shortcut_for_one_sample_is_the_chain(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for _ in range(60):
        case, _ = random_case(rng)
        chain, y, atol = chain_of(case, 0)
        assert fits(chain)
        end, first = 61 * DAY, 10 ** rng.uniform(4, 7)
        for step in march(chain, y, 0.0, end, rtol=1e-6, atol=atol, first=first):
            prepared = chain.prepare(step.before)
            after, forecast = chain.advance(step.before, prepared, step.width)
            there = chain.prepare(step.after)
            for got, expected, tiny in zip(step.after, after, atol, strict=True):
                assert got == pytest.approx(expected, rel=1e-12, abs=1e-4 * tiny)
            # net rates are small differences: judged by the terms that make them up
            terms = [there.rates[0], there.pull[0] * step.after[1], there.use * step.after[1]]
            for got, expected, term in zip(step.rate_after, there.rates, terms, strict=False):
                assert got == pytest.approx(expected, rel=1e-10, abs=1e-10 * abs(term))
            size = _size(chain.error(forecast, there), step.before, step.after, 1e-6, atol)
            assert step.size == pytest.approx(size, rel=1e-3, abs=1e-5)
            assert step.size <= 1.0
        assert step.start + step.width == pytest.approx(end, rel=1e-14)


@pytest.mark.parametrize("seed", range(2))
def test_the_chain_agrees_with_the_general_method_at_tight_tolerance(seed: int) -> None:
    """RODAS of ``integrate`` on the same balances: another method, from the right-hand side and Jacobian."""
    rng = np.random.default_rng(100 + seed)
    for _ in range(12):
        case, _ = random_case(rng)
        exchange = exchange_of(case)
        contents = contents_of(case.product, simulated_gases(case.product), True)
        balance = balance_of(contents, exchange, 0, True)
        assert balance.chain is not None
        scales, y = contents.scales(), contents.start()
        *_, tight = integrate(
            balance, y, 0.0, 61 * DAY, rtol=1e-9, atol=[1e-11 * s for s in scales], first=1e4
        )
        *_, last = march(
            balance.chain, y, 0.0, 61 * DAY, rtol=1e-6, atol=[1e-8 * s for s in scales], first=1e5
        )
        for got, expected, scale in zip(last.after, tight.after, scales, strict=True):
            assert got == pytest.approx(expected, rel=1e-6, abs=3e-7 * scale)


def test_a_linear_package_takes_one_step_for_a_stage() -> None:
    # fixed activity and use of first order: exact in one step, so that no more are taken than stages
    product = replace(dry_powder((Limit("oxygen_gain", 40e-6),), order=1), moisture=None, water_activity=0.2)
    case = case_of(product, barrier_wall(), seasons())
    run = simulate(product, exchange_of(case))
    assert run.steps <= 15
    tight = simulate(product, exchange_of(case).split(7), rtol=1e-11)
    assert run.crossing == pytest.approx(tight.crossing, rel=1e-9)
    assert run.extreme == pytest.approx(tight.extreme, rel=1e-10)


def test_crossings_of_random_powders_agree_with_a_tight_run() -> None:
    rng = np.random.default_rng(11)
    seen = 0
    for k in range(9):
        order = ("michaelis-menten", 0, 1)[k % 3]
        limits = (
            Limit("oxygen_gain", 10 ** rng.uniform(-5, -4.2)),
            Limit("water_activity_max", rng.uniform(0.17, 0.4)),
            Limit("headspace_oxygen", 10 ** rng.uniform(-2.5, -1.8)),
        )
        wall = thicker(barrier_wall(), 10 ** rng.uniform(-0.5, 0.5))
        case = case_of(dry_powder(limits, order=order), wall, seasons())
        exchange = exchange_of(case)
        usual, tight = simulate(case.product, exchange), simulate(case.product, exchange, rtol=1e-10)
        finite = np.isfinite(tight.crossing)
        seen += int(finite.sum())
        assert np.array_equal(finite, np.isfinite(usual.crossing))
        assert usual.crossing[finite] == pytest.approx(tight.crossing[finite], rel=2e-6)
        assert usual.extreme == pytest.approx(tight.extreme, rel=3e-6)
    assert seen > 12


def test_a_crossing_in_a_fast_settling_is_found() -> None:
    def layer(t: float) -> float:
        return 0.7 - math.exp(-400.0 * t)

    slopes = 400.0, 400.0 * math.exp(-400.0)
    expected = -math.log(0.7) / 400.0
    assert root_float(layer, -0.3, layer(1.0), *slopes) == pytest.approx(expected, abs=1e-9)
    place = np.array([-0.3, -0.3])
    found = root_array(
        lambda t: 0.7 - np.exp(-400.0 * t),
        place,
        np.full(2, layer(1.0)),
        np.full(2, slopes[0]),
        np.full(2, slopes[1]),
        np.ones(2),
        np.array([True, False]),
    )
    assert found == pytest.approx([expected, 1.0], abs=1e-9)

"""When a limit is reached, and what is said about it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import DAY
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import Consumption, Headspace, Limit, OxygenModel, Product, Stage
from optimizer.shelflife.segments import cut, lay_out, split
from optimizer.shelflife.simulate import simulate
from shelflife.builders import T23, barrier_wall, case_of, dry_powder, one_wall, plain, seasons, still


def wet(limits: tuple[Limit, ...]) -> Product:
    return Product(0.5, 5e-4, Headspace(2e-5), 1.0, limits=limits)


def test_crossing_is_the_moment_at_which_the_recorded_quantity_meets_the_limit() -> None:
    product = dry_powder(
        (Limit("oxygen_gain", 30e-6), Limit("water_activity_max", 0.19), Limit("water_gain", 0.004))
    )
    exchange = exchange_of(case_of(product, barrier_wall(), seasons()))
    result = simulate(product, exchange)
    for k, limit in enumerate(product.limits):
        moment = result.crossing[0, k]
        assert np.isfinite(moment)
        there = simulate(product, exchange, until=moment, sample_times=[moment])
        assert there.quantities[0, k, 0] == pytest.approx(limit.value, rel=1e-6)


def test_a_limit_far_away_is_not_reached() -> None:
    product = wet((Limit("water_loss", 0.9),))
    result = simulate(product, exchange_of(case_of(product, one_wall(plain(), 3e-4, 0.04), still())))
    assert np.isinf(result.crossing[0, 0])
    assert 0 < result.extreme[0, 0] < 0.9


def test_a_limit_exceeded_at_closing_is_reached_at_once() -> None:
    product = dry_powder((Limit("headspace_oxygen", 0.001), Limit("water_activity_max", 0.1)))
    result = simulate(product, exchange_of(case_of(product, barrier_wall(), seasons())))
    assert result.crossing[0].tolist() == [0.0, 0.0]


def test_lower_bound_on_activity_is_reached_from_above() -> None:
    product = dry_powder((Limit("water_activity_min", 0.12), Limit("water_loss", 0.004)))
    result = simulate(product, exchange_of(case_of(product, barrier_wall(), still(303.15, 0.05, 3000 * DAY))))
    assert np.isfinite(result.crossing[0]).all()
    assert result.extreme[0, 0] < 0.12


def test_a_peak_between_steps_is_found_and_its_return_noted() -> None:
    # dry first, moist for two months, dry again: the activity rises over the limit and comes back
    storage = (
        Stage("a", 60 * DAY, T23, 0.2),
        Stage("b", 60 * DAY, 308.15, 0.9),
        Stage("c", 2000 * DAY, 308.15, 0.05),
    )
    product = dry_powder((Limit("water_activity_max", 0.16),))
    case = case_of(product, barrier_wall(), storage)
    result = simulate(product, exchange_of(case))
    assert 60 * DAY < result.crossing[0, 0] < 120 * DAY
    assert result.recovered[0, 0]
    top = simulate(product, exchange_of(case), sample_times=[120 * DAY])
    assert result.extreme[0, 0] == pytest.approx(top.quantities[0, 0, 0], rel=1e-6)


def test_the_top_of_a_rise_and_fall_inside_one_stage_is_met() -> None:
    # first-order use of oxygen that is fed from a first-order transport: rises, then the product's
    # dissolved oxygen
    # falls back; gain counts what is dissolved, so headspace oxygen share has its top inside the stage
    product = Product(
        0.2,
        2e-4,
        Headspace(2e-4, False, {"O2": 0.001, "N2": 0.05, "CO2": 0.949}),
        0.5,
        OxygenModel(consumption=Consumption(1, 0.002 / DAY, T23)),
        limits=(Limit("headspace_oxygen", 0.05),),
    )
    case = case_of(product, one_wall(plain(oxygen=20.0), 1e-4, 0.05), still(T23, 0.5, 1000 * DAY))
    exchange = exchange_of(case)
    result = simulate(product, exchange)
    fine = simulate(product, exchange, sample_times=np.linspace(0, 1000 * DAY, 20001), rtol=1e-9).quantities[
        0, 0
    ]
    top = int(fine.argmax())
    assert 0 < top < 20000
    assert result.extreme[0, 0] == pytest.approx(fine[top], rel=1e-6)


def test_extremes_stop_at_the_target() -> None:
    product = wet((Limit("water_loss", 0.5),))
    exchange = exchange_of(case_of(product, one_wall(plain(), 3e-4, 0.04), still()))
    whole = simulate(product, exchange)
    half = simulate(product, exchange, extremes_until=0.5 * 365 * DAY)
    assert half.extreme[0, 0] == pytest.approx(0.5 * whole.extreme[0, 0], rel=1e-9)


def test_oxygen_gain_of_an_inert_product_is_all_that_came_in() -> None:
    product = replace(wet((Limit("oxygen_gain", 1e-6),)), headspace=Headspace(2e-5, True, {"N2": 1.0}))
    result = simulate(
        product,
        exchange_of(case_of(product, one_wall(plain(), 3e-4, 0.04), still())),
        sample_times=[100 * DAY],
    )
    expected = result.amounts["O2"][0, 0] * 31.998e-3 / 0.5
    assert result.quantities[0, 0, 0] == pytest.approx(expected, rel=1e-12)


def test_a_headspace_of_air_is_taken_up_by_the_liquid_at_once() -> None:
    # 3e-5 m3 of air above 1 L of degassed water: the share that stays above is room / (room + H V)
    product = Product(
        1.0, 1e-3, Headspace(3e-5, True, {}), 1.0, OxygenModel("water"), limits=(Limit("oxygen_gain", 1e-5),)
    )
    result = simulate(product, exchange_of(case_of(product, one_wall(plain(), 3e-4, 0.04), still())))
    room = 3e-5 / (8.314462618 * T23)
    dissolved = 8.578e-3 / 31.998e-3 / (0.2095 * (101325 - 2810.9)) * 1e-3
    amount = 0.2095 * (101325 - 2810.9) * room
    assert result.closing[0, 0] == pytest.approx(
        amount * dissolved / (room + dissolved) * 31.998e-3, rel=1e-4
    )


def test_stages_go_on_and_a_year_of_weather_repeats_as_a_whole() -> None:
    storage = (Stage("truck", 5 * DAY, 300.0, 0.7), Stage("w", DAY, 290.0, 0.5), Stage("w", DAY, 295.0, 0.6))
    laid = lay_out(storage, 10 * DAY)
    assert laid.temperature.tolist() == [300.0, 290.0, 295.0, 290.0, 295.0, 290.0]
    assert laid.end[-1] == pytest.approx(10 * DAY)
    single = lay_out((Stage("truck", 5 * DAY, 300.0, 0.7), Stage("shop", DAY, 290.0, 0.5)), 10 * DAY)
    assert single.duration.tolist() == [5 * DAY, 5 * DAY]


def test_cuts_and_slices_keep_the_total_time_and_the_conditions() -> None:
    laid = lay_out(seasons(3), 183 * DAY)
    parts = cut(laid, [30 * DAY, 61 * DAY, 100 * DAY])
    assert parts.start.tolist() == pytest.approx([0, 30 * DAY, 61 * DAY, 100 * DAY, 122 * DAY])
    assert parts.temperature.tolist() == [laid.temperature[k] for k in (0, 0, 1, 1, 2)]
    fine = split(laid, 4)
    assert math.isclose(fine.duration.sum(), laid.duration.sum())
    assert len(fine) == 12


@pytest.mark.parametrize("until", [0.0, -1.0])
def test_a_look_ahead_of_no_time_is_refused(until: float) -> None:
    with pytest.raises(ValueError, match="positive"):
        lay_out(seasons(2), until)

"""The transient engine against independent solvers of the same equations, and against laws that must hold."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.constants import ATMOSPHERE, DAY, GAS_CONSTANT
from optimizer.physics.material import DiffusionLaw
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import Case, Limit, Stage
from optimizer.shelflife.simulate import Trajectory, simulate
from optimizer.shelflife.transient import simulate_walls
from optimizer.shelflife.transient.march import March
from optimizer.shelflife.transient.plan import Place, plan_of
from optimizer.shelflife.transient.propagate import Exact
from optimizer.shelflife.transient.run import Run
from optimizer.shelflife.transient.sdirk import EMBEDDED, GAMMA, A, C
from optimizer.shelflife.transient.segment import Segment
from optimizer.shelflife.transient.surroundings import Surroundings

from .coupled import CASES, carbonated_bottle, coupled, flushed_bottle, hourly, linear, pet, scavenging

REFERENCE = json.loads((Path(__file__).parent / "reference.json").read_text())
#: What a reference calls a quantity, and where the trajectory has it.
SEEN: dict[str, Callable[[Trajectory], np.ndarray]] = {
    "used": lambda t: t.used[0],
    "activity": lambda t: t.activity[0],
    "volume": lambda t: t.volume[0],
    "gain": lambda t: t.water[0],
}
SHORT = [n for n in CASES if n != "ten days of weather"]


def run_of(case: Case, times: list[float], degree: int | None = None, rtol: float = 1e-5) -> Run:
    return Run(case, None, None, None, times, degree, rtol)


def compared(name: str, degree: int | None, rtol: float) -> dict[str, float]:
    """Largest difference of each quantity over its largest value, from the references by finite volumes."""
    reference = REFERENCE[name]
    run = run_of(CASES[name](), reference["times"], degree, rtol)
    found = run.trajectory()
    off = {}
    for key, values in reference["values"].items():
        expected = np.array(values)
        if key.startswith("p "):
            seen = found.pressures[key[2:]][0]
        elif key.startswith("n "):
            seen = found.amounts[key[2:]][0]
        elif key in SEEN and not (key == "gain" and run.plan.water is None):
            seen = SEEN[key](found)
        else:
            continue
        off[key] = float(np.max(np.abs(seen - expected)) / np.max(np.abs(expected)))
    return off


@pytest.mark.parametrize("name", SHORT)
def test_the_default_agrees_with_finite_volumes_and_radau_to_1e_5(name: str) -> None:
    # references: finite volumes in space, Radau or TR-BDF2 in time, Richardson extrapolation (``volumes``)
    limit = 2e-5 if "creep" in name else 1e-5
    off = compared(name, None, 1e-4)
    assert len(off) >= 4
    assert max(off.values()) < limit


@pytest.mark.slow
def test_hours_after_a_step_need_finer_elements_and_then_agree_too() -> None:
    # the first value is one hour after closing; a wall stored in air has a front in its barrier then
    assert max(compared("ten days of weather", 6, 1e-5).values()) < 2e-5


def test_the_method_meets_the_conditions_of_order_four_and_is_stiffly_accurate() -> None:
    a = np.zeros((5, 5))
    for i, row in enumerate(A):
        a[i, : len(row)] = row
        a[i, i] = GAMMA
    b, c, e, one = a[4], a.sum(axis=1), np.array(EMBEDDED), np.ones(5)
    assert c == pytest.approx(C, abs=1e-14)
    sums = {1: 1.0, 2: 1 / 2, 3: 1 / 3, 4: 1 / 4}
    for order, value in sums.items():
        assert b @ c ** (order - 1) == pytest.approx(value, abs=1e-13)
        if order < 4:
            assert e @ c ** (order - 1) == pytest.approx(value, abs=1e-13)
    assert b @ a @ c == pytest.approx(1 / 6, abs=1e-13)
    assert e @ a @ c == pytest.approx(1 / 6, abs=1e-13)
    assert b @ (c * (a @ c)) == pytest.approx(1 / 8, abs=1e-13)
    assert b @ a @ c**2 == pytest.approx(1 / 12, abs=1e-13)
    assert b @ a @ a @ c == pytest.approx(1 / 24, abs=1e-13)
    # stability function at minus infinity: 1 - b' inv(A) 1
    assert 1.0 - b @ np.linalg.solve(a, one) == pytest.approx(0.0, abs=1e-12)


def total(run: Run, place: Place, state: list[float]) -> float:
    """All of a species that is in the package, in its walls, used up, and gone to the outside."""
    inside = state[place.total] + sum(sum(state[first:end]) for first, end in place.walls)
    used = state[place.used] if place.used >= 0 else 0.0
    plan = run.plan
    if plan.consumed >= 0 and place is plan.gases[plan.contents.gases.index("O2")]:
        used += state[plan.consumed]
    return inside + used + state[place.outer]


@pytest.mark.parametrize("name", SHORT)
def test_no_mole_is_lost_or_made(name: str) -> None:
    case = CASES[name]()
    run = run_of(case, [case.horizon], None, 1e-4)
    run.trajectory()
    plan = run.plan
    for place in [*([plan.water] if plan.water else []), *plan.gases]:
        before, after = total(run, place, run.opening), total(run, place, run.state)
        moved = abs(before) + abs(run.state[place.outer])
        assert abs(after - before) < 1e-12 * moved


@pytest.mark.slow
def test_the_mass_balance_holds_over_two_years_of_hours() -> None:
    case = hourly(coupled())
    run = run_of(case, [case.horizon], 2, 1e-2)
    run.trajectory()
    assert len(run.segments) == 17520
    plan = run.plan
    assert plan.water is not None
    for place in (plan.water, *plan.gases):
        before, after = total(run, place, run.opening), total(run, place, run.state)
        assert abs(after - before) < 1e-12 * (abs(before) + abs(run.state[place.outer]))


def test_a_spent_scavenger_has_taken_up_its_capacity() -> None:
    case = scavenging(0.02)
    longer = replace(case, storage=(Stage("store", 4000 * DAY, 303.15, 0.5),), horizon=4000 * DAY)
    run = run_of(longer, [longer.horizon], None, 1e-4)
    run.trajectory()
    place = run.plan.gases[0]
    liner = next(m for c in run.plan.columns for m in c.materials if m.scavenger is not None)
    assert liner.scavenger is not None and liner.scavenger.capacity is not None
    # at the outer nodes of the liner nothing is left: all of 8 cm2 x 400 um
    capacity = liner.scavenger.capacity * 8e-4 * 400e-6
    assert run.state[place.used] == pytest.approx(capacity, rel=1e-3)


def test_halving_the_steps_divides_the_error_by_sixteen() -> None:
    # a slab filling a vessel, from a moment at which its first front has passed on: smooth, and known exactly
    case = linear((pet(), 300.0), volume=2e-6, wall=0.0, days=30.0)
    plan = plan_of(case, degree=4)
    run = run_of(case, [], 4)
    surroundings = Surroundings(plan, run.segments)
    segment = Segment(plan, surroundings.at(0, 0.0, 1.0), None)
    gas, _ = surroundings.before()
    opening = segment.start(list(plan.contents.start()), gas, 0.0)
    begin, span = 4 * DAY, 2 * DAY
    start = Exact(segment, opening).at(begin)
    exact = Exact(segment, start).at(span)
    place = plan.gases[0].total
    errors = []
    for count in (4, 8, 16):
        y = start
        for stride in March(plan).strides(segment, start, span, fixed=count):
            y = stride.after
        errors.append(abs(y[place] / exact[place] - 1.0))
    orders = [np.log2(a / b) for a, b in pairwise(errors)]
    assert orders == pytest.approx([4.0, 4.0], abs=0.4)


def quick(case: Case, factor: float) -> Case:
    """The case with every diffusivity multiplied."""
    walls = {}
    for name, wall in case.package.walls.items():
        layers = []
        for x in wall.layers:
            laws = {
                g: DiffusionLaw(d.temperature, d.diffusivity * factor, d.activation_energy)
                for g, d in x.material.diffusivity.items()
            }
            layers.append(replace(x, material=replace(x.material, diffusivity=laws)))
        walls[name] = replace(wall, layers=tuple(layers))
    return replace(case, package=case.package.with_walls(walls))


@pytest.mark.parametrize("name", ["coupled", "flushed bottle", "carbonated bottle", "pouch"])
def test_walls_without_memory_are_the_steady_walls(name: str) -> None:
    case = quick(CASES[name](), 1e7)
    times = [0.3 * case.horizon, case.horizon]
    steady = simulate(case.product, exchange_of(case), sample_times=times)
    found = run_of(case, times, 4, 1e-6).trajectory()
    assert found.crossing == pytest.approx(steady.crossing, rel=1e-5)
    assert found.extreme == pytest.approx(steady.extreme, rel=1e-5)
    for gas, values in steady.amounts.items():
        assert found.amounts[gas] == pytest.approx(values, rel=1e-5)


def test_exact_and_stepped_segments_agree() -> None:
    for case in (flushed_bottle(), scavenging(None)):
        times = [0.1 * case.horizon, case.horizon]
        exact = Run(case, None, None, None, times, 5, 1e-4, exact=True)
        stepped = Run(case, None, None, None, times, 5, 1e-6, exact=False)
        a, b = exact.trajectory(), stepped.trajectory()
        assert a.amounts["O2"] == pytest.approx(b.amounts["O2"], rel=3e-6)
        assert a.crossing == pytest.approx(b.crossing, rel=3e-6)
        assert [exact.state[p.outer] for p in exact.plan.gases] == pytest.approx(
            [stepped.state[p.outer] for p in stepped.plan.gases], rel=3e-6
        )


def test_pressure_jumps_at_a_step_of_temperature_while_the_moles_stay() -> None:
    case = flushed_bottle()
    edge = 5 * DAY
    found = run_of(case, [edge * (1 - 1e-9), edge * (1 + 1e-9)]).trajectory()
    before, after = found.amounts["O2"][0]
    assert after == pytest.approx(before, rel=0.02)
    cold, warm = found.pressures["O2"][0]
    # oxygen is less soluble at 35 than at 20 degC (Benson and Krause): the pressure inside rises
    assert 1.1 < warm / cold < 1.5


def test_a_tight_bottle_that_creeps_loses_pressure_by_its_volume_alone() -> None:
    case = carbonated_bottle(creep=True)
    foil = replace(
        next(iter(case.package.walls.values())).layers[0].material,
        gases={
            "CO2": replace(
                next(iter(case.package.walls.values())).layers[0].material.gases["CO2"], permeability=(0.0,)
            )
        },
        diffusivity={},
    )
    name, wall = next(iter(case.package.walls.items()))
    tight = replace(wall, layers=tuple(replace(x, material=foil) for x in wall.layers))
    case = replace(
        case, package=case.package.with_walls({name: tight}), storage=(Stage("s", 90 * DAY, 288.15, 0.5),)
    )
    times = np.array([1e-3, 7, 14, 37, 60, 90]) * DAY
    found = run_of(case, list(times)).trajectory()
    product = case.product
    growth = np.interp(times / DAY, [0, 14, 60], [0, 0.015, 0.025])
    volume = product.headspace.volume + growth * (product.volume + product.headspace.volume)
    assert found.volume[0] == pytest.approx(volume, rel=1e-12)
    room = volume / (GAS_CONSTANT * 288.15)
    dissolved = found.amounts["CO2"][0, 0] / found.pressures["CO2"][0, 0] - room[0]
    expected = found.amounts["CO2"][0, 0] / (room + dissolved)
    assert found.pressures["CO2"][0] == pytest.approx(expected, rel=1e-9)


def test_a_wall_stored_in_air_gives_half_of_what_it_holds_to_an_empty_inside() -> None:
    # weighted integral: of gas at x the share w(x) (resistance from the outside over the whole) goes inwards,
    # so a uniform wall gives half; compared with the same wall kept in nitrogen, when the lag is over
    case = flushed_bottle()
    case = replace(case, storage=(Stage("s", 20 * DAY, 293.15, 0.5),), horizon=20 * DAY)
    clean = replace(case, before=replace(case.before, gas={"N2": 1.0}))
    time = [4 * DAY]
    stored = run_of(case, time)
    difference = (
        stored.trajectory().amounts["O2"][0, 0] - run_of(clean, time).trajectory().amounts["O2"][0, 0]
    )
    place = stored.plan.gases[0]
    held = sum(sum(stored.opening[first:end]) for first, end in place.walls) + stored.opening[place.total]
    outer = sum(c.area * c.lengths[0] for c in stored.plan.columns)
    material = stored.plan.columns[0].materials[0]
    full = outer * float(material.solubility("O2", 293.15)) * stored.surroundings.before()[0][0]  # type: ignore[arg-type]
    assert held < full
    assert difference / full == pytest.approx(0.5, abs=0.02)


@settings(max_examples=12, deadline=None)
@given(st.floats(0.6, 1.6), st.floats(0.6, 1.6))
def test_a_thicker_wall_never_lets_more_oxygen_in(first: float, second: float) -> None:
    case = flushed_bottle()
    kept = replace(case, before=replace(case.before, gas={"N2": 1.0}))

    def passed(factor: float) -> float:
        name, wall = next(iter(kept.package.walls.items()))
        scaled = replace(wall, layers=tuple(replace(x, thickness=x.thickness * factor) for x in wall.layers))
        changed = replace(kept, package=kept.package.with_walls({name: scaled}))
        return float(run_of(changed, [100 * DAY]).trajectory().amounts["O2"][0, 0])

    thin, thick = sorted((first, second))
    assert passed(thick) <= passed(thin) * (1 + 1e-9)


def test_a_flexible_pack_keeps_the_pressure_outside() -> None:
    case = CASES["pouch"]()
    found = run_of(case, [5 * DAY, 60 * DAY, 120 * DAY]).trajectory()
    from optimizer.physics.water import saturation_pressure

    vapour = 0.4 * np.array([float(saturation_pressure(t)) for t in (278.15, 296.15, 296.15)])
    dry = sum(p[0] for p in found.pressures.values())
    assert dry + vapour == pytest.approx(ATMOSPHERE, rel=1e-6)


def test_what_is_inside_at_closing_is_what_was_filled_in() -> None:
    # the wall holds oxygen at its inner face; none of that is in the headspace yet
    case = flushed_bottle()
    assert run_of(case, [DAY]).trajectory().closing == pytest.approx(np.zeros((1, 2)), abs=1e-15)
    later = hourly(case, 30 / 365)
    assert simulate_walls(later).closing == pytest.approx(np.zeros((1, 2)), abs=1e-15)


def test_a_limit_that_stands_at_its_value_at_closing_is_reached_at_once() -> None:
    case = linear((pet(), 300.0), volume=1e-4, inside=0.01)
    limit = Limit("headspace_oxygen", 0.01)
    case = replace(case, product=replace(case.product, limits=(limit,)))
    assert run_of(case, [DAY]).trajectory().crossing[0, 0] == 0.0
    steady = simulate(case.product, exchange_of(case))
    assert steady.crossing[0, 0] == 0.0

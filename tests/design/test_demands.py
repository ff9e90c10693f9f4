"""Rows of the optimiser against the simulator: a wall that meets them passes ``predict``, one that does
not fails.

All parts are plain areas, so a wall of c times the thickness has exactly 1/c of every conductance and
the same humidities inside: the critical wall is found by bisection with ``predict`` itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLES_PER_M3
from optimizer.design.demands import Demands, build
from optimizer.design.exact import ExactModel
from optimizer.geometry.surface import Patch
from optimizer.physics.laminate import permeance
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.package import Case, TransmissionLimit, Wall, WallPart
from optimizer.shelflife.predict import predict

from .cases import (
    BARRIER,
    CAP,
    CASES,
    MOVING,
    PLAIN,
    TABLE,
    case_of,
    juice,
    options_of,
    scaled,
    still_powder,
    wall_of,
)

ALL = {**CASES, **MOVING}
#: cm3(STP)/(m2 day atm) in mol/(m2 s Pa)
TRADE = 1e-6 * STP_MOLES_PER_M3 / (DAY * ATMOSPHERE)


def passes(case: Case, wall: Wall) -> bool:
    return predict(replace(case, package=case.package.with_walls({wall.name: wall}))).passes


def critical_factor(case: Case, wall: Wall) -> float:
    """How thick the wall must be, in multiples of itself, just to pass: bisection on ``predict``."""
    low, high = 1e-4, 1e4
    assert not passes(case, scaled(wall, low)) and passes(case, scaled(wall, high))
    while high / low > 1 + 2e-6:
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if passes(case, scaled(wall, middle)) else (middle, high)
    return high


def built(case: Case, reference: Wall, **changes: Any) -> Demands:
    return build(case, options_of(**changes), {"film": reference}, {"film": reference.thickness})


def value(demands: Demands, wall: Wall) -> np.ndarray:
    """Every demand's value at the wall."""
    names = [m.name for m in demands.problem.materials]
    sequence = tuple(names.index(x.material.name) for x in wall.layers)
    x = np.array([[layer.thickness for layer in wall.layers]])
    return ExactModel(demands.problem).demand_values((sequence,), x)[0]


#: nitrogen leaves with the same wall and bears on these limits; the row keeps it as it is in the reference
NITROGEN = (
    "headspace oxygen of a rigid can",
    "headspace oxygen of a pouch",
    "oxygen gain of a pouch with a hole",
)


@pytest.mark.parametrize("name", [n for n in CASES if n not in NITROGEN])
def test_the_row_is_one_at_the_critical_scale_of_the_reference(name: str) -> None:
    case = CASES[name]()
    wall = case.package.walls["film"]
    critical = scaled(wall, critical_factor(case, wall))
    demands = built(case, wall)
    assert not demands.beyond and not demands.idle
    # 2e-5 is kept in hand
    assert value(demands, critical) == pytest.approx([1.0], abs=8e-5)
    assert value(demands, critical)[0] >= 1.0


@pytest.mark.parametrize("name", NITROGEN)
def test_where_nitrogen_bears_on_the_limit_the_row_of_the_critical_wall_itself_is_one(name: str) -> None:
    case = CASES[name]()
    wall = case.package.walls["film"]
    critical = scaled(wall, critical_factor(case, wall))
    assert value(built(case, critical), critical) == pytest.approx([1.0], abs=8e-5)


@pytest.mark.parametrize("name", MOVING)
def test_where_humidity_moves_the_row_at_the_critical_wall_is_one_within_its_rounding(name: str) -> None:
    """The activity inside changes with the conductance, so the reference must be the critical wall
    itself; then the humidities it is evaluated at are rounded to 0.01.
    """
    case = MOVING[name]()
    wall = case.package.walls["film"]
    critical = scaled(wall, critical_factor(case, wall))
    demands = built(case, critical)
    assert not demands.beyond and not demands.idle
    assert value(demands, critical) == pytest.approx([1.0], abs=2e-2)


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.slow) if "hole" in n else n for n in CASES]
)
def test_a_wall_that_meets_its_own_row_passes_and_one_over_it_fails(name: str) -> None:
    """For several structures, each taken as the reference of its own row until the row is one."""
    case = CASES[name]()
    rng = np.random.default_rng(len(name))
    for layers in (("HDPE", "tie", "EVOH 32", "tie", "LDPE"), ("HDPE",)):
        wall = wall_of(*((m, float(rng.uniform(5, 150))) for m in layers))
        for _ in range(8):
            demands = built(case, wall)
            assert not demands.beyond and not demands.idle
            now = float(value(demands, wall)[0])
            wall = scaled(wall, now)
        assert now == pytest.approx(1.0, abs=1e-6)
        assert passes(case, scaled(wall, 1 + 1e-6))
        assert not passes(case, scaled(wall, 1 / 1.002))


#: what the time series calls the quantity of a limit, and its unit in terms of the limit's own
SERIES = {
    "oxygen_gain": ("oxygen_gain_mg_per_kg", 1e6),
    "headspace_oxygen": ("headspace_oxygen_pct", 100.0),
    "water_loss": ("water_loss_pct", 100.0),
    "water_gain": ("water_gain_pct", 100.0),
    "co2_loss": ("co2_loss_pct", 100.0),
    "water_activity_max": ("water_activity", 1.0),
}


@pytest.mark.parametrize("name", ALL)
def test_a_reserve_is_kept_of_what_is_left_to_the_limit(name: str) -> None:
    """The row with 20 % reserve is that of the case whose limit is 20 % nearer to the value at closing."""
    case = ALL[name]()
    (limit,) = case.product.limits
    wall = case.package.walls["film"]
    series = predict(case).time_series
    key, scale = SERIES[limit.name]
    start = series[key][0] / scale
    nearer = start + 0.8 * (limit.value - start)
    product = replace(case.product, limits=(replace(limit, value=nearer),))
    with_reserve = value(built(case, wall, reserve=0.2), wall)
    assert with_reserve == pytest.approx(value(built(replace(case, product=product), wall), wall), rel=1e-6)
    assert with_reserve[0] > value(built(case, wall), wall)[0]


def test_fixed_parts_leave_less_for_the_wall() -> None:
    alone = value(built(case_of(juice(oxygen_gain=6e-6), BARRIER), BARRIER), BARRIER)[0]
    beside_cap = value(built(case_of(juice(oxygen_gain=6e-6), BARRIER, CAP), BARRIER), BARRIER)[0]
    assert beside_cap > alone


def test_another_wall_that_is_not_designed_counts_as_a_fixed_part() -> None:
    lid = replace(PLAIN, name="lid")
    case = case_of(juice(oxygen_gain=5e-5), BARRIER, WallPart("lid", "lid", (Patch(0.004),)))
    case = replace(case, package=case.package.with_walls({"lid": lid}))
    critical = scaled(BARRIER, critical_factor(case, BARRIER))
    assert value(built(case, BARRIER), critical) == pytest.approx([1.0], abs=8e-5)


def test_a_limit_that_fixed_parts_alone_exceed_is_beyond_any_wall() -> None:
    leaky = replace(
        CAP,
        transmission={g: replace(c, conductance=1e4 * c.conductance) for g, c in CAP.transmission.items()},
    )
    demands = built(case_of(juice(oxygen_gain=5e-6), BARRIER, leaky), BARRIER)
    (beyond,) = demands.beyond
    assert beyond.name == "oxygen_gain"
    assert "cannot be met by any wall" in beyond.text
    assert not demands.problem.demands


def test_a_limit_exceeded_at_closing_is_beyond_any_wall() -> None:
    (beyond,) = built(case_of(still_powder(headspace_oxygen=0.005), BARRIER), BARRIER).beyond
    assert "already exceeded at closing" in beyond.text


def test_a_limit_that_nothing_can_reach_is_left_out_and_named() -> None:
    """A dry powder in damp air gains water: it never loses any."""
    demands = built(case_of(still_powder(water_loss=0.5), BARRIER), BARRIER)
    assert demands.idle == ("water_loss",)
    assert not demands.problem.demands and not demands.beyond


def specified(*limits: TransmissionLimit, wall: Wall = BARRIER) -> Case:
    return replace(case_of(juice(), wall, CAP), transmission_limits=limits)


def test_a_wall_s_specification_is_its_permeance_over_what_is_allowed() -> None:
    limit = TransmissionLimit("O2", 2.0 * TRADE, "film", 296.15, 0.5)
    (row,) = value(built(specified(limit), BARRIER), BARRIER)
    stack = [x.material for x in BARRIER.layers]
    x = np.array([layer.thickness for layer in BARRIER.layers])
    expected = float(permeance(stack, x, "O2", 296.15, 0.5, 0.5)) / (2.0 * TRADE)
    assert row == pytest.approx(expected, rel=1e-6)


def test_a_water_specification_counts_the_worse_side() -> None:
    """An uneven wall lets more water through with the wet side on one side than on the other."""
    wall = wall_of(("HDPE", 40), ("tie", 5), ("EVOH 32", 80), ("tie", 5), ("LDPE", 20))
    per_day = 1e-3 / DAY
    limit = TransmissionLimit("H2O", 1.0 * per_day, "film", 311.15, 0.9)
    rows = value(built(specified(limit, wall=wall), wall), wall)
    stack, x = [layer.material for layer in wall.layers], np.array([layer.thickness for layer in wall.layers])
    drop = 0.9 * float(saturation_pressure(311.15))
    both = [
        float(permeance(stack, x, "H2O", 311.15, a, b)) * drop * MOLAR_MASS["H2O"] / per_day
        for a, b in ((0.9, 0.0), (0.0, 0.9))
    ]
    assert both[0] != pytest.approx(both[1], rel=1e-3)
    assert sorted(rows) == pytest.approx(sorted(both), rel=1e-6)


@pytest.mark.parametrize("gas", ["O2", "H2O"])
def test_a_package_specification_leaves_the_wall_what_the_cap_does_not_take(gas: str) -> None:
    """Judged by ``predict``: at the wall where the row is one, the whole package is just at the limit."""
    maximum = {"O2": 0.1 * TRADE, "H2O": 0.02e-3 / DAY}[gas]
    case = specified(TransmissionLimit(gas, maximum, None, 296.15, 0.5))
    rows = value(built(case, BARRIER), BARRIER)
    just = scaled(BARRIER, float(rows.max()))
    assert passes(case, scaled(just, 1.0001))
    assert not passes(case, scaled(just, 0.9999))


def test_a_package_specification_that_the_cap_alone_exceeds_is_beyond_any_wall() -> None:
    case = specified(TransmissionLimit("O2", 1e-18, None, 296.15, 0.5))
    (beyond,) = built(case, BARRIER).beyond
    assert "parts that are not designed exceed it" in beyond.text


@pytest.mark.parametrize("minimise", ["cost", "mass", "thickness"])
def test_the_objective_is_area_thickness_density_price(minimise: str) -> None:
    case = case_of(juice(oxygen_gain=5e-6), BARRIER)
    problem = built(case, BARRIER, minimise=minimise).problem
    for m, rate in zip(problem.materials, problem.walls[0].rate, strict=True):
        by_hand = {"cost": 0.06 * m.density * (m.price or 0.0), "mass": 0.06 * m.density, "thickness": 1.0}[
            minimise
        ]
        assert rate == pytest.approx(by_hand, rel=1e-12)


def test_glue_neither_begins_nor_ends_a_wall_and_no_layer_lies_on_its_like() -> None:
    problem = built(
        case_of(juice(oxygen_gain=5e-6), BARRIER), BARRIER, inside_role=None, outside_role=None
    ).problem
    names = [m.name for m in problem.materials]
    (wall,) = problem.walls
    assert not wall.start[names.index("tie")] and not wall.end[names.index("tie")]
    assert wall.start[names.index("PET")] and wall.end[names.index("EVOH 32")]
    assert not wall.touching.diagonal().any() and wall.touching.sum() == len(names) * (len(names) - 1)


def test_several_limits_give_a_row_each_and_the_wall_must_meet_all() -> None:
    case = case_of(juice(oxygen_gain=5e-6, water_loss=0.004), BARRIER, CAP)
    demands = built(case, BARRIER)
    assert [d.name for d in demands.problem.demands] == ["oxygen_gain", "water_loss"]
    just = scaled(BARRIER, float(value(demands, BARRIER).max()))
    assert passes(case, scaled(just, 1.0005))
    assert not passes(case, scaled(just, 0.998))


def test_two_designed_walls_share_the_row() -> None:
    """Each wall's part is its area times its permeance; together they are one where the package just
    passes.
    """
    lid = replace(PLAIN, name="lid")
    case = case_of(juice(oxygen_gain=8e-5), BARRIER, WallPart("lid", "lid", (Patch(0.01),)))
    case = replace(case, package=case.package.with_walls({"lid": lid}))
    walls = {"film": BARRIER, "lid": lid}

    def at(factor: float) -> Case:
        return replace(
            case, package=case.package.with_walls({n: scaled(w, factor) for n, w in walls.items()})
        )

    demands = build(
        case, options_of(walls=("film", "lid")), walls, {n: w.thickness for n, w in walls.items()}
    )
    names = [m.name for m in demands.problem.materials]
    sequences = tuple(tuple(names.index(x.material.name) for x in w.layers) for w in walls.values())
    x = np.array([[layer.thickness for w in walls.values() for layer in w.layers]])
    row = float(ExactModel(demands.problem).demand_values(sequences, x)[0, 0])
    assert predict(at(row * 1.0002)).passes
    assert not predict(at(row * 0.9995)).passes


def test_weights_are_not_touched_by_what_is_not_asked() -> None:
    """Water does not enter an oxygen row: only the gas of the limit does."""
    for name, gas in (("oxygen_gain", "O2"), ("water_loss", "H2O")):
        case = case_of(juice(**{name: 5e-6 if gas == "O2" else 0.004}), BARRIER)
        assert [d.gas for d in built(case, BARRIER).problem.demands] == [gas]


@pytest.mark.parametrize("make", [CASES["oxygen gain of a drink"], CASES["carbon dioxide loss"]])
def test_a_reference_that_is_far_off_gives_the_same_row(make: Callable[[], Case]) -> None:
    """A ten times thicker reference: its critical scale is another, the row is the same."""
    case = make()
    wall = case.package.walls["film"]
    assert value(built(case, scaled(wall, 10.0)), wall) == pytest.approx(
        value(built(case, wall), wall), rel=2e-4
    )


@pytest.mark.parametrize("name", NITROGEN)
@pytest.mark.parametrize("thin", [("LDPE", 30), ("PET", 15)])
def test_a_leaky_reference_does_not_make_a_limit_look_impossible(name: str, thin: tuple[str, float]) -> None:
    """A wall that meets the limit exists, so no reference may say that none does."""
    case = CASES[name]()
    assert passes(case, scaled(case.package.walls["film"], 100.0))
    assert built(case, wall_of(thin)).beyond == ()


def test_every_candidate_of_the_tests_has_the_gases_that_are_simulated() -> None:
    assert all({"O2", "N2", "CO2"} <= set(m.gases) for m in TABLE.values())

"""Packages in a second pack: closed forms of two volumes in a row, and the same case in open storage."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm

from optimizer.constants import ATMOSPHERE, DAY, DRY_AIR, GAS_CONSTANT, MOLAR_MASS
from optimizer.errors import InputError
from optimizer.geometry.surface import Patch
from optimizer.physics.material import Material
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.exchange import exchange_of, part_exchange
from optimizer.shelflife.nested import alone_only, surrounded
from optimizer.shelflife.nested_space import _Model
from optimizer.shelflife.package import (
    Case,
    Consumption,
    Headspace,
    HolePart,
    Layer,
    Limit,
    OuterPack,
    OxygenModel,
    Package,
    Product,
    Stage,
    Wall,
    WallPart,
)
from optimizer.shelflife.predict import predict
from optimizer.shelflife.simulate import simulate
from tests.shelflife.builders import T23, barrier_wall, case_of, dry_powder, one_wall, plain, still

YEAR = 365 * DAY
THICKNESS = 50e-6


def dry_case(area: float = 0.05, *, headspace: float = 1e-3, sink: bool = False) -> Case:
    """A rigid box of nitrogen in dry air, oxygen through one plastic; ``sink``: oxygen is used at once."""
    use = Consumption(1, 10.0, T23) if sink else None
    product = Product(
        mass=1.0,
        volume=1e-6,
        headspace=Headspace(headspace, True, {"N2": 1.0}),
        water_activity=0.0,
        oxygen=OxygenModel("nothing", consumption=use),
        closing_temperature=T23,
        limits=(Limit("oxygen_gain", 1.0),),
    )
    return case_of(product, one_wall(plain(), THICKNESS, area), still(humidity=0.0, duration=YEAR))


def outer(area: float, volume: float, count: int = 12, **more: object) -> OuterPack:
    wall = Wall("wrap", (Layer(plain("wrap", 40.0, 3.0), 30e-6),))
    package = Package((WallPart("wrap", "wrap", (Patch(area),)),), {"wrap": wall})
    return replace(OuterPack(count, package, volume, rigid=True, humidity=0.0), **more)  # type: ignore[arg-type]


def permeance(material: Material, thickness: float) -> float:
    return material.gases["O2"].permeability[0] / thickness


def oxygen_in(case: Case, time: float) -> float:
    """Moles of oxygen in one package."""
    run = simulate(case.product, exchange_of(case), until=YEAR, sample_times=[time])
    return float(run.amounts["O2"][0, 0] + run.used[0, 0])


def test_no_outer_pack_leaves_the_case_alone() -> None:
    case = dry_case()
    assert surrounded(case) is case


def test_a_small_space_between_puts_the_walls_in_series() -> None:
    """Conductances in series: 1/G = 1/G_inner + N/G_outer per package (elementary)."""
    case = dry_case(sink=True, headspace=1e-7)
    whole = replace(case, outer=outer(0.2, 1e-6, gas=DRY_AIR))
    inner = permeance(plain(), THICKNESS) * 0.05
    around = permeance(plain("wrap", 40.0), 30e-6) * 0.2
    expected = DRY_AIR["O2"] * ATMOSPHERE * YEAR / (1 / inner + 12 / around)
    assert oxygen_in(surrounded(whole), YEAR) == pytest.approx(expected, rel=1e-4)


def test_two_volumes_in_a_row_follow_the_matrix_exponential() -> None:
    """d(p)/dt of space and package are linear; scipy.linalg.expm solves them."""
    case = replace(dry_case(), outer=outer(0.3, 4e-3, gas={"N2": 1.0}))
    room = 1e-3 / (GAS_CONSTANT * T23)
    between = 4e-3 / (GAS_CONSTANT * T23)
    inner = permeance(plain(), THICKNESS) * 0.05
    around = permeance(plain("wrap", 40.0), 30e-6) * 0.3
    matrix = np.array(
        [
            [-(around + 12 * inner) / between, 12 * inner / between, around / between],
            [inner / room, -inner / room, 0.0],
            [0.0, 0.0, 0.0],
        ]
    )
    whole = surrounded(case)
    for time in (20 * DAY, 90 * DAY, YEAR):
        p = expm(matrix * time) @ np.array([0.0, 0.0, DRY_AIR["O2"] * ATMOSPHERE])
        assert oxygen_in(whole, time) == pytest.approx(p[1] * room, rel=3e-4)


def test_slices_hold_the_mean_of_the_space_between() -> None:
    """Packages that let nothing through: the space fills as 1 - exp(-t/tau)."""
    tight = dry_case(area=1e-12)
    case = surrounded(replace(tight, outer=outer(0.3, 4e-3, gas={"N2": 1.0})))
    tau = 4e-3 / (GAS_CONSTANT * T23) / (permeance(plain("wrap", 40.0), 30e-6) * 0.3)
    full, begin = DRY_AIR["O2"] * ATMOSPHERE, 0.0
    assert sum(s.duration for s in case.storage) == pytest.approx(YEAR)
    for stage in case.storage:
        end = begin + stage.duration
        mean = full * (1 - tau / stage.duration * (math.exp(-begin / tau) - math.exp(-end / tau)))
        assert stage.gas is not None
        assert stage.gas["O2"] * stage.pressure == pytest.approx(mean, rel=1e-6, abs=1e-3)
        begin = end


def test_an_outer_pack_that_is_hardly_there_changes_nothing() -> None:
    case = dry_case()
    open_air = oxygen_in(case, YEAR)
    # a wrap some thousand times as leaky as the packages
    whole = replace(case, outer=outer(600.0, 4e-3, gas=DRY_AIR))
    assert oxygen_in(surrounded(whole), YEAR) == pytest.approx(open_air, rel=2e-3)


def test_moist_packages_lose_less_water_in_a_wrap_and_the_space_turns_moist() -> None:
    """Steady state of the space: N G_inner (1 - a) = G_outer (a - a_air), elementary."""
    product = Product(
        mass=1.0,
        volume=1e-3,
        headspace=Headspace(3e-5, True, {"N2": 1.0}),
        water_activity=1.0,
        closing_temperature=T23,
        limits=(Limit("water_loss", 0.5),),
    )
    case = case_of(product, one_wall(plain(), 300e-6, 0.08), still(humidity=0.4, duration=YEAR))
    whole = surrounded(replace(case, outer=outer(0.3, 4e-3, humidity=None, gas=DRY_AIR)))
    inner = plain().water.phi[-1] * 0.08 / 300e-6  # type: ignore[union-attr]
    around = plain("wrap", 40.0, 3.0).water.phi[-1] * 0.3 / 30e-6  # type: ignore[union-attr]
    settled = (12 * inner * 1.0 + around * 0.4) / (12 * inner + around)
    assert whole.storage[-1].humidity == pytest.approx(settled, rel=1e-4)

    def lost(c: Case) -> float:
        run = simulate(c.product, exchange_of(c), until=YEAR, sample_times=[YEAR])
        return float(-run.water[0, 0]) * MOLAR_MASS["H2O"]

    assert lost(whole) == pytest.approx(lost(case) * (1 - settled) / 0.6, rel=5e-3)


@pytest.mark.parametrize("rigid", [True, False])
def test_a_powder_with_all_that_moves_at_once_keeps_its_balance_in_a_wrap(rigid: bool) -> None:
    """Moisture, oxygen, use of oxygen and two temperatures: the sliced case against the coupled equations,
    that is, what entered the package against what the space and the wrap let go."""
    limits = (Limit("oxygen_gain", 1e-3), Limit("water_activity_max", 0.4))
    storage = (Stage("warm", 60 * DAY, 303.15, 0.7), Stage("cool", 305 * DAY, T23, 0.5))
    case = case_of(dry_powder(limits), one_wall(plain(), 60e-6, 0.06), storage, target=YEAR)
    whole = surrounded(replace(case, outer=outer(0.4, 5e-3, rigid=rigid, humidity=0.5, gas=DRY_AIR)))
    inside, alone = predict(whole), predict(case)
    assert inside.shelf_life_days is None or inside.shelf_life_days > (alone.shelf_life_days or 0)
    pressures = {s.pressure for s in whole.storage}
    if not rigid:
        assert all(p == pytest.approx(ATMOSPHERE, rel=1e-9) for p in pressures)
    psat = float(saturation_pressure(T23))
    last = whole.storage[-1]
    assert last.gas is not None
    assert 0.0 < last.humidity < 0.7
    assert last.gas["O2"] * (last.pressure - last.humidity * psat) < DRY_AIR["O2"] * 1.2 * ATMOSPHERE


def series(case: Case, pack: OuterPack) -> Case:
    """Package and its share of the wrap as one wall, thicker by what the wrap resists."""
    inner, wrap = (p.walls[n].layers[0] for p, n in ((case.package, "wall"), (pack.package, "wrap")))
    area = case.package.parts[0].patches[0].area  # type: ignore[union-attr]
    share = pack.package.parts[0].patches[0].area / pack.count  # type: ignore[union-attr]
    assert inner.material.water is not None and wrap.material.water is not None
    more = wrap.thickness / share * area * inner.material.water.phi[-1] / wrap.material.water.phi[-1]
    return replace(case, package=one_wall(inner.material, inner.thickness + more, area))


@pytest.mark.parametrize("volume", [1e-9, 1e-6, 1e-5, 1e-4, 3e-4])
@pytest.mark.parametrize("rigid", [True, False])
def test_a_small_space_is_two_walls_in_series_however_little_gas_it_holds(volume: float, rigid: bool) -> None:
    """A flexible wrap loses its dry gas to the air until it lies against the packages."""
    case = case_of(
        dry_powder((Limit("water_activity_max", 0.3),)),
        one_wall(plain(), 60e-6, 0.06),
        still(humidity=0.65, duration=YEAR),
        target=100 * DAY,
    )
    pack = outer(0.4, volume, rigid=rigid, humidity=0.4, gas=DRY_AIR)
    nested, single = predict(surrounded(replace(case, outer=pack))), predict(series(case, pack))
    assert single.shelf_life_days is not None
    assert nested.shelf_life_days == pytest.approx(single.shelf_life_days, rel=1e-3)


@pytest.mark.parametrize("volume", [1e-4, 3e-3])
def test_a_wrap_full_of_holes_is_no_wrap(volume: float) -> None:
    case = case_of(
        dry_powder((Limit("water_activity_max", 0.3),)),
        one_wall(plain(), 60e-6, 0.06),
        still(humidity=0.65, duration=YEAR),
    )
    pack = outer(0.4, volume, humidity=0.4, gas=DRY_AIR)
    holes = Package((*pack.package.parts, HolePart("holes", 5e-3, 3e-5, 5000)), pack.package.walls)
    nested = predict(surrounded(replace(case, outer=replace(pack, package=holes))))
    assert nested.shelf_life_days == pytest.approx(predict(case).shelf_life_days, rel=5e-3)


def test_the_tables_hold_where_a_cold_stage_takes_the_space_to_saturation() -> None:
    """Against the exchange itself at a water activity of 1, which no stage or product names."""
    case = case_of(dry_powder((Limit("oxygen_gain", 1e-3),)), barrier_wall(), still(humidity=0.5))
    pack = OuterPack(12, barrier_wall(0.4), 3e-3)
    model = _Model(case, pack, case.storage)
    stage = Stage("cold", DAY, 278.15, 0.5)
    for a in (0.97, 1.0):
        at = (np.array([stage.temperature]), np.array([stage.humidity]), np.array([stage.pressure]))
        exact = part_exchange(pack.package, np.array([a]), at, ["O2"], water=True)["body"]
        assert model._outer(stage)["O2"](a, a) == pytest.approx(float(exact["O2"][0, 0, 0]), rel=2e-2)
        assert model._outer(stage)["H2O"](a, a) == pytest.approx(float(exact["H2O"][0, 0, 0]), rel=2e-2)


def test_the_history_that_is_told_ends_at_the_horizon_and_has_the_gas_at_closing() -> None:
    case = surrounded(replace(dry_case(), outer=outer(0.3, 4e-3, gas={"N2": 1.0})))
    assert case.outer is not None
    first, last = case.outer.history[0], case.outer.history[-1]
    assert first[0] == 0.0 and first[1] == pytest.approx(0.0, abs=1e-9)
    assert last[0] == pytest.approx(YEAR) and 0.05 < last[1] < 0.2095


@pytest.mark.parametrize("what", ["samples", "a trade-off"])
def test_what_cannot_follow_the_space_is_refused(what: str) -> None:
    with pytest.raises(InputError, match=f"{what} cannot follow the gas inside an outer pack"):
        alone_only(replace(dry_case(), outer=outer(0.3, 4e-3)), what)
    alone_only(dry_case(), what)

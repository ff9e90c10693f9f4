"""Batches with lag-corrected walls against closed forms of diffusion.

The walls are invented; P = D S, at one temperature unless said otherwise. A dry headspace holds the gas, so
that the oxygen gained is its pressure times V/RT.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import ATMOSPHERE, DAY, DRY_AIR, GAS_CONSTANT, MOLAR_MASS
from optimizer.errors import SolverError
from optimizer.geometry.surface import Patch
from optimizer.physics.material import DiffusionLaw, Material, Scavenger
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import inside_activity
from optimizer.shelflife.package import (
    Case,
    Headspace,
    Layer,
    Limit,
    OxygenModel,
    Package,
    Product,
    Stage,
    Surroundings,
    Wall,
    WallPart,
)
from optimizer.shelflife.samples import simulate_samples
from optimizer.shelflife.variation import Variation
from shelflife.builders import T23, barrier_wall, case_of, dry_powder, polyolefin, sensitive
from shelflife.test_samples import stored

AREA, HUMID = 0.05, 0.0
#: Pressure of oxygen in dry air [Pa].
OUTSIDE = DRY_AIR["O2"] * ATMOSPHERE
NOTHING = Surroundings(0.0, {})


def film(
    name: str, diffusivity: float, solubility: float, energy: float = 0.0, held: float = 0.0
) -> Material:
    """A film of D [m2/s] and S [mol/(m3 Pa)] at 23 degC; energies of P and of D [J/mol]."""
    return Material(
        name,
        "PE",
        950.0,
        {"O2": GasLaw("O2", T23, (0.0,), (diffusivity * solubility,), energy)},
        WaterLaw.constant(T23, 1e-14, 0.0),
        diffusivity={"O2": DiffusionLaw(T23, diffusivity, held)},
    )


def package_of(*layers: Layer, area: float = AREA) -> Package:
    return Package((WallPart("body", "wall", (Patch(area),)),), {"wall": Wall("wall", layers)})


def closed(volume: float, oxygen: float = 0.0) -> Product:
    return Product(
        1.0,
        1e-6,
        Headspace(volume, True, {"O2": oxygen, "N2": 1.0 - oxygen}),
        0.0,
        closing_temperature=T23,
        limits=(Limit("oxygen_gain", 1.0),),
    )


def gained(case: Case, time: float, wall: str = "lag-corrected", engine: str = "numpy") -> float:
    """Oxygen that has come in up to ``time`` [mol], where it only ever grows."""
    stages = tuple(replace(s) for s in case.storage)
    case = replace(case, target=time, horizon=time, storage=stages)
    run = simulate_samples(case, Variation(1), wall=wall, engine=engine, rtol=1e-9)
    return float(run.extreme[0, 0]) / MOLAR_MASS["O2"]


def dry_case(package: Package, volume: float, before: Surroundings, oxygen: float = 0.0) -> Case:
    stages = (Stage("store", 1e9, T23, HUMID),)
    return replace(case_of(closed(volume, oxygen), package, stages, target=1.0, horizon=1.0), before=before)


# h, D t / l^2 and p2/p1 by the series of the slab that feeds a closed headspace, and the root beta 1.
# Source: Crank, The Mathematics of Diffusion; the values from facts on file, checked there by numerical
# inversion of the Laplace transform (section 2.6 of the checks).
SERIES = [
    (0.01, 1.0, 0.0082730),
    (0.01, 5.0, 0.0470323),
    (0.01, 20.0, 0.1793640),
    (0.1, 1.0, 0.0776114),
    (0.1, 5.0, 0.3736233),
    (0.1, 20.0, 0.8532627),
    (1.0, 5.0, 0.9723552),
]


@pytest.mark.parametrize(("h", "tau", "series"), SERIES)
def test_a_slab_feeds_a_closed_headspace_at_the_rate_of_the_first_root(
    h: float, tau: float, series: float
) -> None:
    thickness, d, s = 2e-4, 2e-12, 3e-4
    volume = AREA * thickness * s * GAS_CONSTANT * T23 / h
    case = dry_case(package_of(Layer(film("f", d, s), thickness)), volume, NOTHING)
    room = volume / (GAS_CONSTANT * T23)
    found = gained(case, tau * thickness**2 / d) / (room * OUTSIDE)
    # the method itself, exactly: 1/beta^2 becomes 1/h + 1/3, and the wall takes up its steady content
    closed_form = 1.0 - (1.0 + h / 2.0) / (1.0 + h / 3.0) * math.exp(-tau / (1.0 / h + 1.0 / 3.0))
    assert found == pytest.approx(closed_form, abs=2e-7)
    # beta tan beta = h gives 1/beta^2 = 1/h + 1/3 - h/45 + ...: to first order in h the same, and the second
    # order is the error that remains
    assert abs(found - series) < 0.02 * h * h + 2e-6
    steady = gained(case, tau * thickness**2 / d, wall="steady") / (room * OUTSIDE)
    assert abs(steady - series) > 4.0 * abs(found - series)


def bilayer(turned: bool) -> Package:
    # thicknesses 1 and 0.5, diffusivities 1 and 0.1, solubilities 1 and 2, in units of 1e-4, 1e-12 and 1e-3
    layers = (Layer(film("a", 1e-12, 1e-3), 1e-4), Layer(film("b", 1e-13, 2e-3), 0.5e-4))
    return package_of(*(reversed(layers) if turned else layers))


@pytest.mark.parametrize("turned", [False, True])
def test_a_laminate_has_its_time_lag_either_way_round(turned: bool) -> None:
    # Source: Ash, Barrer and Palmer's bilayer as worked in the checks on file (2.3): lag 1.05952381, flux
    # 1/3.5
    case = dry_case(bilayer(turned), 1e9, NOTHING)
    flow = AREA * OUTSIDE * (1e-12 * 1e-3 / 1e-4) / 3.5
    time = 50.0 * 1e-8 / 1e-12
    lag = time - gained(case, time) / flow
    assert lag / (1e-8 / 1e-12) == pytest.approx(1.05952381, abs=2e-7)


def test_a_film_stored_in_air_gives_a_third_of_its_gas_inwards() -> None:
    # Source: Crank's slab with c0 = c1 (checks on file, 2.1): lag -l^2/(3 D)
    thickness, d, s = 1e-4, 1e-12, 1e-3
    case = dry_case(package_of(Layer(film("f", d, s), thickness)), 1e9, Surroundings(0.0))
    time = 30.0 * thickness**2 / d
    extra = gained(case, time) - AREA * OUTSIDE * d * s / thickness * time
    assert extra == pytest.approx(AREA * thickness * s * OUTSIDE / 3.0, rel=2e-6)
    half = replace(case, before=Surroundings(0.0, {"O2": 0.5 * DRY_AIR["O2"]}))
    # with c0 half of c1: lag (1/6 - 1/4) l^2/D
    assert gained(half, time) - gained(case, time) == pytest.approx(
        -AREA * thickness * s * OUTSIDE / 4.0, rel=2e-6
    )


def test_behind_foil_no_gas_is_lost_or_made_as_the_temperature_moves() -> None:
    thickness, d, s = 2e-4, 1e-12, 1e-3
    foil = Material("foil", "aluminium", 2700.0, {"O2": GasLaw("O2", T23, (0.0,), (0.0,), 0.0)}, None)
    skin = film("skin", d, s, energy=40e3, held=55e3)
    warm = 308.15
    stages = (Stage("cool", 40 * DAY, T23, 0.0), Stage("warm", 400 * DAY, warm, 0.0))
    volume = 2e-5
    case = replace(
        case_of(closed(volume), package_of(Layer(skin, thickness), Layer(foil, 1e-5)), stages),
        before=Surroundings(0.0),
    )
    held = AREA * thickness * s
    total = held * OUTSIDE
    cool_room = volume / (GAS_CONSTANT * T23)
    assert gained(case, 30 * DAY) == pytest.approx(total * cool_room / (cool_room + held), rel=1e-8)
    # S = P/D falls as it warms, by the difference of the energies
    warm_held = held * math.exp(-(40e3 - 55e3) / GAS_CONSTANT * (1 / warm - 1 / T23))
    warm_room = volume / (GAS_CONSTANT * warm)
    after = total * warm_room / (warm_room + warm_held)
    assert gained(case, 300 * DAY) == pytest.approx(max(after, gained(case, 30 * DAY)), rel=1e-8)


def test_a_wall_at_rest_stays_so_as_humidity_moves_through_it() -> None:
    # oxygen at one pressure everywhere: as the barrier grows wet its resistance moves, its gas does not
    product = dry_powder((Limit("oxygen_gain", 1.0),))
    activity = inside_activity(product)
    outside = DRY_AIR["O2"] * (ATMOSPHERE - 0.85 * float(saturation_pressure(T23)))
    share = outside / (ATMOSPHERE - activity * float(saturation_pressure(T23)))
    product = replace(
        product,
        headspace=Headspace(1e-5, True, {"O2": share, "N2": 1.0 - share}),
        closing_temperature=T23,
        oxygen=OxygenModel(),
    )
    thick = Package(
        (WallPart("body", "wall", (Patch(0.06),)),),
        {
            "wall": Wall(
                "wall", (Layer(polyolefin(), 2e-4), Layer(sensitive(), 1e-4), Layer(polyolefin(), 3e-5))
            )
        },
    )
    case = replace(
        case_of(product, stored(thick), (Stage("wet", 900 * DAY, T23, 0.85),)),
        before=Surroundings(0.85),
    )
    limited = replace(
        case, product=replace(product, limits=(Limit("oxygen_gain", 1.0), Limit("water_activity_max", 0.9)))
    )
    run = simulate_samples(limited, Variation(1), wall="lag-corrected", engine="numpy", rtol=1e-8)
    assert run.extreme[0, 1] > 0.35
    room = 1e-5 / (GAS_CONSTANT * T23)
    assert abs(run.extreme[0, 0] / MOLAR_MASS["O2"] * product.mass) < 1e-6 * room * outside


def test_where_nothing_is_stored_the_walls_are_steady() -> None:
    case = case_of(
        dry_powder((Limit("oxygen_gain", 4e-5),)), barrier_wall(), (Stage("s", 600 * DAY, T23, 0.6),)
    )
    variation = Variation(3, thickness={"wall": np.array([0.9, 1.0, 1.1])})
    a = simulate_samples(case, variation, wall="lag-corrected")
    b = simulate_samples(case, variation, wall="steady")
    assert np.array_equal(a.crossing, b.crossing)


def test_the_same_outcome_for_a_part_of_half_the_thickness_as_for_half_the_wall() -> None:
    # what is stored goes with the thickness, what passes with its inverse
    case = replace(dry_case(bilayer(False), 1e-2, Surroundings(0.0)), target=20 * DAY, horizon=20 * DAY)
    by_part = Variation(1, part_thickness={"body": np.array([0.5])})
    by_wall = Variation(1, thickness={"wall": np.array([0.5])})
    a, b = (simulate_samples(case, v, wall="lag-corrected").extreme for v in (by_part, by_wall))
    whole = simulate_samples(case, Variation(1), wall="lag-corrected").extreme
    np.testing.assert_allclose(a, b, rtol=1e-12)
    assert a[0, 0] > 1.2 * whole[0, 0]


def test_solubility_goes_with_permeability_unless_the_diffusivity_is_varied() -> None:
    thickness, d, s = 1e-4, 1e-12, 1e-3
    case = dry_case(package_of(Layer(film("f", d, s), thickness)), 1e9, Surroundings(0.0))
    time = 30.0 * thickness**2 / d
    case = replace(case, target=time, horizon=time)
    twice = np.array([2.0])
    flow = AREA * OUTSIDE * 2.0 * d * s / thickness * time
    third = AREA * thickness * s * OUTSIDE / 3.0
    for spread, share in (({}, 2.0), ({("f", "O2"): twice}, 1.0)):
        variation = Variation(1, permeability={("f", "O2"): twice}, diffusivity=spread)
        run = simulate_samples(case, variation, wall="lag-corrected", rtol=1e-9)
        extra = run.extreme[0, 0] / MOLAR_MASS["O2"] - flow
        assert extra == pytest.approx(share * third, rel=5e-6)


def test_flexible_and_rigid_agree_where_the_volume_has_no_reason_to_move() -> None:
    # nitrogen at the pressure of the air outside and little oxygen: the bag keeps its volume nearly
    product = dry_powder((Limit("headspace_oxygen", 0.9), Limit("oxygen_gain", 1.0)))
    case = case_of(product, stored(barrier_wall()), (Stage("s", 60 * DAY, T23, 0.15),))
    rigid = simulate_samples(case, Variation(1), wall="lag-corrected", rtol=1e-7).extreme
    bag = replace(product, headspace=replace(product.headspace, rigid=False))
    flexible = simulate_samples(
        replace(case, product=bag), Variation(1), wall="lag-corrected", rtol=1e-7
    ).extreme
    steady = simulate_samples(case, Variation(1), wall="steady", rtol=1e-7).extreme
    np.testing.assert_allclose(flexible, rigid, rtol=0.02)
    assert abs(steady[0, 1] / rigid[0, 1] - 1) > 0.05


def test_a_layer_that_uses_gas_up_is_refused() -> None:
    active = replace(film("active", 1e-12, 1e-3), scavenger=Scavenger("O2", 1e-3, T23))
    case = dry_case(package_of(Layer(active, 1e-4)), 1e-4, NOTHING)
    with pytest.raises(SolverError, match="'active'.*cannot be simulated lag-corrected"):
        simulate_samples(case, Variation(1), wall="lag-corrected")

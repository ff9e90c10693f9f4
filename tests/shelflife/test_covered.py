"""Labels against resistances added by hand, packages built by hand and single samples; valves by gas laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.constants import ATMOSPHERE, DAY
from optimizer.geometry.surface import Patch
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.breakdown import bill_of
from optimizer.shelflife.covered import expand, expanded, expanded_variation
from optimizer.shelflife.exchange import exchange_of, part_exchange
from optimizer.shelflife.package import (
    Case,
    Cover,
    Headspace,
    Layer,
    Limit,
    Package,
    Product,
    Stage,
    Wall,
    WallPart,
)
from optimizer.shelflife.predict import predict, trajectory_of
from optimizer.shelflife.samples import simulate_samples
from optimizer.shelflife.valves import overpressure
from optimizer.shelflife.variation import Variation
from optimizer.shelflife.varied import varied
from tests.shelflife.builders import T23, barrier_wall, case_of, dry_powder, plain, polyolefin, seasons, still

#: Lag-corrected samples are held against steady walls: no diffusivity is known here, so both are the same.
TOLERANCE = {"steady": 1e-6, "lag-corrected": 1e-6, "transient": 1e-4}
CONDITIONS = (np.array([T23]), np.array([0.5]), np.array([ATMOSPHERE]))


def conductance(package: Package, gas: str = "O2") -> float:
    """Of all parts together [mol/(s Pa)]."""
    parts = part_exchange(package, np.array([0.5]), CONDITIONS, (gas,), water=False)
    return float(sum(values[gas][0, 0, 0] for values in parts.values()))


def bottle(*patches: Patch, share: float = 0.4, thickness: float = 50e-6) -> Package:
    """A wall of two layers with a label of another polymer on a share of it."""
    wall = Wall("wall", (Layer(polyolefin(), 200e-6), Layer(plain(), 30e-6)))
    cover = Cover("front", "body", share, (Layer(plain("film", oxygen=1.0), thickness),))
    parts = (WallPart("body", "wall", patches or (Patch(0.05),)), WallPart("base", "wall", (Patch(0.01),)))
    return Package(parts, {"wall": wall}, (cover,))


def permeability(material: object, gas: str = "O2") -> float:
    return float(material.gases[gas].permeability[0])  # type: ignore[attr-defined]


def test_a_label_is_in_series_with_what_it_covers_and_in_parallel_with_the_rest() -> None:
    wall = 200e-6 / permeability(polyolefin()) + 30e-6 / permeability(plain())
    label = 50e-6 / permeability(plain("film", oxygen=1.0))
    by_hand = 0.05 * (0.6 / wall + 0.4 / (wall + label)) + 0.01 / wall
    assert conductance(expand(bottle())) == pytest.approx(by_hand, rel=1e-12)


def test_under_a_label_every_thickness_has_its_own_wall_and_the_label_its_own_thickness() -> None:
    package = expand(bottle(Patch(0.02, 0.5), Patch(0.02, 2.0), Patch(0.01, 0.5)))
    wall = 200e-6 / permeability(polyolefin()) + 30e-6 / permeability(plain())
    label = 50e-6 / permeability(plain("film", oxygen=1.0))
    by_hand = sum(
        area * (0.6 / (ratio * wall) + 0.4 / (ratio * wall + label))
        for area, ratio in ((0.03, 0.5), (0.02, 2.0))
    )
    assert conductance(package) == pytest.approx(by_hand + 0.01 / wall, rel=1e-12)
    assert [p.name for p in package.parts] == [
        "body",
        "body under front, 0.5 thick",
        "body under front, 2 thick",
        "base",
    ]
    assert [x.thickness for x in package.walls["body under front, 2 thick"].layers] == [400e-6, 60e-6, 50e-6]


def test_labels_beside_each_other_each_cover_their_share() -> None:
    package = bottle()
    two = replace(
        package,
        covers=(replace(package.covers[0], share=0.3), replace(package.covers[0], name="back", share=0.7)),
    )
    whole = replace(package, covers=(replace(package.covers[0], share=1.0),))
    assert conductance(expand(two)) == pytest.approx(conductance(expand(whole)), rel=1e-12)
    assert "body" not in [p.name for p in expand(two).parts]


def test_a_package_without_labels_stays_as_it_is_and_expanding_twice_is_expanding_once() -> None:
    plain_one = replace(bottle(), covers=())
    assert expand(plain_one) is plain_one
    once = expand(bottle())
    assert expand(once) is once
    case = case_of(dry_powder((Limit("oxygen_gain", 1e-5),)), plain_one, still())
    assert expanded(case) is case


def test_a_new_wall_keeps_its_labels() -> None:
    thinner = Wall("wall", (Layer(polyolefin(), 100e-6),))
    package = bottle().with_walls({"wall": thinner})
    assert [c.name for c in package.covers] == ["front"]
    assert expand(package).walls["body under front"].layers[0].thickness == 100e-6


@given(
    st.floats(1e-5, 2e-3),
    st.floats(0.01, 1.0),
    st.floats(1e-6, 1e-3),
    st.floats(0.2, 3.0),
    st.floats(-1.0, 1.0),
    st.floats(-5.0, 5.0),
)
@settings(max_examples=60)
def test_the_wall_keeps_its_area_and_volume_under_a_label(
    thickness: float, share: float, label: float, ratio: float, slope: float, curvature: float
) -> None:
    package = bottle(Patch(0.05, ratio, slope, curvature), share=share, thickness=label)
    package = package.with_walls({"wall": Wall("wall", (Layer(polyolefin(), thickness),))})
    parts = {p.name: p for p in expand(package).parts if isinstance(p, WallPart)}
    walls = expand(package).walls
    before = package.parts[0]
    assert isinstance(before, WallPart)
    area = before.area(thickness)
    found = volume = 0.0
    for name in ("body", "body under front"):
        if name in parts:
            own = parts[name].area(walls[parts[name].wall].thickness)
            found += own
            volume += own * parts[name].patches[0].ratio * walls[parts[name].wall].layers[0].thickness
    assert found == pytest.approx(area, rel=1e-9, abs=1e-15)
    assert volume == pytest.approx(before.mass_area(thickness) * thickness, rel=1e-9, abs=1e-18)


@given(st.floats(0.01, 1.0), st.floats(1e-6, 1e-3), st.sampled_from(("O2", "N2", "CO2")))
@settings(max_examples=40)
def test_a_label_never_lets_more_gas_through_a_wall_that_humidity_does_not_change(
    share: float, thickness: float, gas: str
) -> None:
    labelled = bottle(share=share, thickness=thickness)
    assert conductance(expand(labelled), gas) < conductance(replace(labelled, covers=()), gas)


def test_a_label_that_keeps_a_barrier_moist_lets_more_gas_through() -> None:
    """Wet inside and dry outside: the known trap of barriers that water opens."""
    sleeve = Cover("sleeve", "body", 1.0, (Layer(polyolefin(), 300e-6),))
    bare = barrier_wall()
    dry_outside = (np.array([T23]), np.array([0.2]), np.array([ATMOSPHERE]))
    found = [
        sum(
            v["O2"][0, 0, 0]
            for v in part_exchange(p, np.array([1.0]), dry_outside, ("O2",), water=True).values()
        )
        for p in (bare, expand(replace(bare, covers=(sleeve,))))
    ]
    assert found[1] > 1.5 * found[0]


def test_a_label_is_weighed_and_paid_for() -> None:
    film = plain("film")
    bare, labelled = bill_of(replace(bottle(), covers=())), bill_of(expand(bottle()))
    mass = 0.4 * 0.05 * 50e-6 * film.density
    assert labelled.mass - bare.mass == pytest.approx(mass, rel=1e-9)
    assert labelled.cost is not None and bare.cost is not None
    assert labelled.cost - bare.cost == pytest.approx(mass * 1.5, rel=1e-9)


@pytest.mark.parametrize("wall", ["steady", "transient"])
def test_the_prediction_is_that_of_the_package_built_by_hand(wall: str) -> None:
    """By hand: two parts, one of a wall with the label as its outermost layer."""
    barrier = barrier_wall()
    film = Layer(polyolefin(), 80e-6)
    covered = replace(barrier, covers=(Cover("sleeve", "body", 0.25, (film,)),))
    by_hand = Package(
        (WallPart("bare", "wall", (Patch(0.045),)), WallPart("under", "more", (Patch(0.015),))),
        {**barrier.walls, "more": Wall("more", (*barrier.walls["wall"].layers, film))},
    )
    product = dry_powder((Limit("oxygen_gain", 2e-5), Limit("water_gain", 0.02)))
    found, wanted = (
        predict(replace(case_of(product, p, seasons(4), target=200 * DAY), wall=wall))
        for p in (covered, by_hand)
    )
    assert found.shelf_life_days == pytest.approx(wanted.shelf_life_days, rel=1e-9)
    assert found.mass_g == pytest.approx(wanted.mass_g, rel=1e-9)
    rows = {row.part for row in found.transmission}
    assert rows == {"body", "body under sleeve"}
    without = predict(replace(case_of(product, barrier, seasons(4), target=200 * DAY), wall=wall))
    assert found.limits[0].at_target < without.limits[0].at_target  # type: ignore[operator]


# -- samples -------------------------------------------------------------------------------------------------


def variation() -> Variation:
    rng = np.random.default_rng(20261128)
    draw = lambda: np.exp(0.15 * rng.standard_normal(6))  # noqa: E731
    return Variation(
        6,
        permeability={("film", "O2"): draw(), ("skin", "O2"): draw()},
        thickness={"wall": draw()},
        part_thickness={"body": draw()},
        layer_thickness={("wall", "plain"): draw()},
    )


@pytest.mark.parametrize(
    ("wall", "engine"),
    [
        ("steady", "numpy"),
        ("lag-corrected", "numpy"),
        ("transient", "numpy"),
    ],
)
def test_each_sample_is_the_varied_case(wall: str, engine: str) -> None:
    package = bottle(Patch(0.03, 0.7, 0.4, 2.0), Patch(0.02, 1.3))
    case = case_of(
        dry_powder((Limit("oxygen_gain", 2e-5),), rigid=True), package, seasons(3), target=150 * DAY
    )
    change = variation()
    found = simulate_samples(case, change, wall=wall, engine=engine, rtol=1e-8)
    for i in (0, 5):
        one = replace(varied(case, change, i), wall="transient" if wall == "transient" else "steady")
        run, _ = trajectory_of(expanded(one), np.array([0.0]))
        assert found.extreme[i, 0] == pytest.approx(float(run.extreme[0, 0]), rel=TOLERANCE[wall])


def test_what_varies_in_a_wall_varies_under_its_label() -> None:
    change = variation()
    under = expanded_variation(bottle(), change).layer_thickness
    assert under["body under front", "skin"] == pytest.approx(
        change.thickness["wall"] * change.part_thickness["body"], rel=1e-14
    )
    assert under["body under front", "plain"] == pytest.approx(
        change.thickness["wall"] * change.part_thickness["body"] * change.layer_thickness["wall", "plain"],
        rel=1e-14,
    )
    assert ("body under front", "film") not in under


# -- valves --------------------------------------------------------------------------------------------------


def sealed(storage: tuple[Stage, ...], *, rigid: bool = True, opens: float = 500.0) -> Case:
    """A rigid box of dry air that lets nothing through worth speaking of."""
    tight = plain(oxygen=1e-9, water=1e-9)
    package = Package(
        (WallPart("body", "wall", (Patch(0.05),)), WallPart("valve", "seat", (Patch(1e-6),), seal="valve")),
        {"wall": Wall("wall", (Layer(tight, 1e-3),)), "seat": Wall("seat", (Layer(tight, 1e-3),))},
        opening_pressure={"valve": opens},
    )
    product = Product(
        0.1,
        1e-4,
        Headspace(1e-4, rigid),
        water_activity=0.4,
        closing_temperature=T23,
        limits=(Limit("headspace_oxygen", 0.21),),
    )
    return case_of(product, package, storage, target=100 * DAY)


def test_a_rigid_box_that_warms_up_has_the_pressure_of_the_gas_laws() -> None:
    case = sealed(still(303.15, 0.4, 200 * DAY))
    run, _ = trajectory_of(case, np.array([0.0, 50 * DAY]))
    vapour = 0.4 * saturation_pressure(np.array([T23, 303.15]))
    wanted = (ATMOSPHERE - vapour[0]) * 303.15 / T23 + vapour[1] - ATMOSPHERE
    assert overpressure(case, run) == pytest.approx([wanted, wanted], rel=1e-6)


def test_a_valve_that_would_open_is_told_once_it_would() -> None:
    steps = (Stage("cool", 60 * DAY, T23, 0.4), Stage("warm", 60 * DAY, 303.15, 0.4))
    warnings = [w for w in predict(sealed(steps)).warnings if w.startswith("valve:")]
    assert len(warnings) == 1 and "the valve opens at 5 mbar" in warnings[0] and "60 days" in warnings[0]
    assert not any("valve opens" in w for w in predict(sealed(steps, opens=1e4)).warnings)
    assert not any("valve opens" in w for w in predict(sealed(still(T23, 0.4, 120 * DAY))).warnings)


def test_a_soft_package_needs_no_valve() -> None:
    warm = still(303.15, 0.4, 200 * DAY)
    assert not any("valve opens" in w for w in predict(sealed(warm, rigid=False)).warnings)


def test_the_whole_exchange_is_lower_with_a_label() -> None:
    case = case_of(dry_powder((Limit("oxygen_gain", 2e-5),)), bottle(), seasons(2))
    bare, labelled = (exchange_of(c).conductance["O2"] for c in (case, expanded(case)))
    assert np.all(labelled < bare)

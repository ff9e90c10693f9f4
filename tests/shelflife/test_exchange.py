"""Conductances of a package: batches, slices of time, and the table over the inside activity."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.physics.laminate import humidity_profile, permeance
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import contents_of
from optimizer.shelflife.exchange import exchange_of, stack
from optimizer.shelflife.package import Case, Limit
from optimizer.shelflife.simulate import limit_extremes, simulate
from optimizer.shelflife.tables import moving_rows
from shelflife.builders import barrier_wall, case_of, dry_powder, seasons

LIMITS = (Limit("oxygen_gain", 40e-6), Limit("water_activity_max", 0.3), Limit("headspace_oxygen", 0.05))


def powder() -> Case:
    return case_of(dry_powder(LIMITS), barrier_wall(), seasons())


def test_thickness_variants_in_a_batch_are_those_packages() -> None:
    case = powder()
    layers = np.array([[60e-6, 10e-6, 30e-6], [80e-6, 6e-6, 30e-6], [40e-6, 14e-6, 55e-6]])
    batch = limit_extremes(case.product, exchange_of(case, thickness={"wall": layers}), case.horizon)
    single = []
    for row in layers:
        wall = case.package.walls["wall"]
        new = replace(
            wall,
            layers=tuple(replace(x, thickness=t) for x, t in zip(wall.layers, row.tolist(), strict=True)),
        )
        changed = replace(case, package=case.package.with_walls({"wall": new}))
        single.append(exchange_of(changed))
    assert limit_extremes(case.product, stack(single), case.horizon) == pytest.approx(batch, rel=1e-9)
    for k, exchange in enumerate(single):
        assert limit_extremes(case.product, exchange, case.horizon)[0] == pytest.approx(batch[k], rel=1e-6)


def test_scaling_all_segments_by_two_is_doubling_the_area() -> None:
    case = powder()
    exchange = exchange_of(case)
    doubled = replace(case, package=barrier_wall(0.12))
    scaled = exchange.scaled({g: 2.0 for g in (*exchange.gases, "H2O")})
    a = simulate(case.product, scaled)
    b = simulate(case.product, exchange_of(doubled))
    assert a.extreme == pytest.approx(b.extreme, rel=1e-9)


def test_splitting_segments_changes_nothing_and_slices_add_up() -> None:
    case = powder()
    exchange = exchange_of(case)
    fine = exchange.split(3)
    assert len(fine.segments) == 3 * len(exchange.segments)
    base = limit_extremes(case.product, exchange, case.horizon)
    assert limit_extremes(case.product, fine, case.horizon) == pytest.approx(base, rel=1e-6)
    # sensitivity to every slice adds up to that of all slices together
    n, eps = len(fine.segments), 1e-3
    each = fine.scaled({"O2": 1 + eps * np.vstack([np.eye(n), np.ones((1, n)), np.zeros((1, n))])})
    gain = limit_extremes(case.product, each, case.horizon)[:, 0]
    slopes = (gain[:-1] - gain[-1]) / eps
    assert slopes[:-1].sum() == pytest.approx(slopes[-1], rel=1e-3)
    assert np.all(slopes >= 0)


def test_table_over_inside_activity_gives_the_wall_between_its_points() -> None:
    case = powder()
    exchange = exchange_of(case)
    contents = contents_of(case.product, ("O2", "N2"), True)
    wall = case.package.walls["wall"]
    materials, thickness = [x.material for x in wall.layers], np.array([x.thickness for x in wall.layers])
    rng = np.random.default_rng(1)
    for k in range(len(exchange.segments)):
        assert contents.gases == ("O2", "N2")
        rows = moving_rows(
            exchange.activity, [exchange.conductance["O2"][:, k], exchange.water[:, k]], [None, None], True
        )  # type: ignore[index]
        t, out = float(exchange.segments.temperature[k]), float(exchange.segments.humidity[k])
        for a in rng.uniform(0.15, 0.75, 8).tolist():
            got = rows.values(a)
            assert got[0] == pytest.approx(
                0.06 * float(permeance(materials, thickness, "O2", t, a, out)), rel=1e-6
            )
            flow = (
                0.06
                * float(humidity_profile(materials, thickness, t, a, out).flux)
                * float(saturation_pressure(t))
            )
            # the water flow has a kink where the barrier's water permeability jumps at 60 %RH
            assert got[1] == pytest.approx(flow, rel=1e-4, abs=1e-16)


def test_tables_of_different_storage_do_not_make_one_batch() -> None:
    case = powder()
    other = replace(case, storage=case.storage[:5])
    with pytest.raises(ValueError, match="same"):
        stack([exchange_of(case), exchange_of(other)])
    with pytest.raises(ValueError, match="different batch sizes"):
        exchange_of(case).scaled({"O2": np.ones(3), "N2": np.ones(4)})


def test_multipliers_of_multipliers_multiply() -> None:
    case = powder()
    exchange = exchange_of(case)
    twice = exchange.scaled({"O2": [1.0, 2.0]}).scaled({"O2": 3.0})
    once = exchange.scaled({"O2": [3.0, 6.0]})
    assert twice.size == 2
    assert limit_extremes(case.product, twice, case.horizon) == pytest.approx(
        limit_extremes(case.product, once, case.horizon), rel=1e-12
    )

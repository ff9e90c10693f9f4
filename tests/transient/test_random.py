"""Random packages, as odd as users make them: no mole is lost, nothing fails, nothing is negative."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shelflife.builders import T23, plain, polyolefin, sensitive

from optimizer.constants import DAY
from optimizer.geometry.surface import Patch
from optimizer.physics.material import DiffusionLaw, Material, Scavenger
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.physics.sorption import GAB
from optimizer.shelflife.package import (
    Case,
    Consumption,
    Headspace,
    Layer,
    Limit,
    MoistureModel,
    OxygenModel,
    Package,
    Product,
    Stage,
    Wall,
    WallPart,
)
from optimizer.shelflife.transient.run import Run

GASES = ("O2", "N2", "CO2")


def material(rng: np.random.Generator) -> Material:
    """A skin, a humid barrier, two plain polymers or foil, with some diffusivities, now and then active."""
    kind = int(rng.integers(0, 5))
    found = (polyolefin, sensitive, plain, lambda: plain("open", 50.0, 5.0), lambda: plain("foil"))[kind]()
    if kind == 4:
        blocked = {g: GasLaw(g, T23, (0.0,), (0.0,), 0.0) for g in GASES}
        found = replace(found, gases=blocked, water=WaterLaw(T23, (0.0, 1.0), (0.0, 0.0), 0.0))
    known = {
        g: DiffusionLaw(T23, 10 ** rng.uniform(-15, -10), rng.uniform(20e3, 60e3))
        for g in (*GASES, "H2O")
        if rng.random() < 0.7
    }
    active = None
    if rng.random() < 0.2:
        capacity = None if rng.random() < 0.5 else 10 ** rng.uniform(-2, 2)
        active = Scavenger("O2", 10 ** rng.uniform(-7, -3), T23, 40e3, capacity)
    return replace(found, name=f"{found.name} {rng.integers(1e9)}", diffusivity=known, scavenger=active)


def consumption(rng: np.random.Generator) -> Consumption | None:
    order = (None, 0, 1, "michaelis-menten")[int(rng.integers(0, 4))]
    if order is None:
        return None
    return Consumption(order, 0.02 / DAY if order == 1 else 1e-11, T23, 50e3, 300.0)


def random_case(seed: int) -> Case:
    rng = np.random.default_rng(seed)
    layers = tuple(Layer(material(rng), 10 ** rng.uniform(-6, -3.3)) for _ in range(rng.integers(1, 6)))
    patches = tuple(
        Patch(10 ** rng.uniform(-4, -1), 10 ** rng.uniform(-0.5, 0.5)) for _ in range(rng.integers(1, 4))
    )
    moving = bool(rng.random() < 0.5)
    values = {
        "oxygen_gain": 10 ** rng.uniform(-6, -3),
        "headspace_oxygen": rng.uniform(0.03, 0.6),
        "water_gain": rng.uniform(0.001, 0.1),
    }
    if moving:
        values["water_activity_max"] = rng.uniform(0.2, 0.6)
    names = rng.permutation(list(values))[: rng.integers(1, len(values) + 1)]
    product = Product(
        0.25,
        2.5e-4,
        Headspace(10 ** rng.uniform(-5.5, -3.5), bool(rng.random() < 0.6), {"O2": 0.02, "N2": 0.98}),
        None if moving else float(rng.uniform(0, 1)),
        OxygenModel(str(rng.choice(["oil", "water", "nothing"])), consumption=consumption(rng)),
        MoistureModel(0.2, GAB(0.045, 12.0, 0.93), 0.15) if moving else None,
        limits=tuple(Limit(str(n), float(values[n])) for n in names),
    )
    storage = tuple(
        Stage(f"stage {k}", 10 ** rng.uniform(3.5, 7), 273.15 + rng.uniform(2, 40), rng.uniform(0.05, 0.95))
        for k in range(rng.integers(1, 6))
    )
    package = Package((WallPart("body", "wall", patches),), {"wall": Wall("wall", layers)})
    return Case("random", product, package, storage, None, sum(s.duration for s in storage))


def judge(seed: int) -> None:
    case = random_case(seed)
    run = Run(case, None, None, None, [0.5 * case.horizon, case.horizon], None, 1e-4)
    found = run.trajectory()
    plan, contents = run.plan, run.plan.contents
    for place in [*([plan.water] if plan.water else []), *plan.gases]:

        def everything(y: list[float], place: object = place) -> float:
            total = y[place.total] + sum(sum(y[a:b]) for a, b in place.walls) + y[place.outer]  # type: ignore[attr-defined]
            total += y[place.used] if place.used >= 0 else 0.0  # type: ignore[attr-defined]
            if plan.consumed >= 0 and place is plan.gases[contents.gases.index("O2")]:
                total += y[plan.consumed]
            return float(total)

        moved = abs(everything(run.opening)) + abs(run.state[place.outer])
        assert abs(everything(run.state) - everything(run.opening)) < 1e-11 * moved
    for gas, amounts in found.amounts.items():
        assert np.all(np.isfinite(amounts))
        assert np.all(amounts > -1e-7 * max(contents.amounts[gas], float(np.max(amounts))))


@pytest.mark.parametrize("seed", range(16))
def test_no_mole_is_lost_whatever_the_package(seed: int) -> None:
    judge(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(16, 136))
def test_no_mole_is_lost_in_many_more_packages(seed: int) -> None:
    judge(seed)

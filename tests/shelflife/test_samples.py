"""Batches of varied cases with steady walls: every sample is what the simulation of its own case gives.

The reference is ``simulate`` on ``varied(case, variation, i)``, itself held against scipy's integrators and
closed forms in the other tests of this folder.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.constants import DAY
from optimizer.errors import InputError, MaterialError
from optimizer.physics.material import DiffusionLaw
from optimizer.physics.permeability import WaterLaw
from optimizer.physics.sorption import GAB, Henderson, Oswin, TableIsotherm
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.package import (
    Carbonation,
    Case,
    ClosurePart,
    Consumption,
    GivenConductance,
    Headspace,
    HolePart,
    Layer,
    Limit,
    OxygenModel,
    Package,
    Product,
    Wall,
    WallPart,
)
from optimizer.shelflife.samples import simulate_samples
from optimizer.shelflife.simulate import simulate
from optimizer.shelflife.variation import Outcomes, Variation
from optimizer.shelflife.varied import ScaledIsotherm, varied
from shelflife.builders import (
    T23,
    Patch,
    barrier_wall,
    case_of,
    dry_powder,
    one_wall,
    plain,
    polyolefin,
    seasons,
    sensitive,
    still,
)

Array = NDArray[np.float64]

POWDER_LIMITS = (
    Limit("oxygen_gain", 40e-6),
    Limit("water_activity_max", 0.3),
    Limit("headspace_oxygen", 0.05),
    Limit("water_gain", 0.02),
)


def two_walls() -> Package:
    """A pouch of a bent and uneven wall, a lid of another wall, a valve and a pinhole."""
    skin, core = polyolefin(), sensitive()
    bent = replace(plain("bent"), water=WaterLaw(T23, (0.0, 0.3, 0.7, 1.0), (0.0, 1e-15, 4e-15, 9e-15), 30e3))
    walls = {
        "pouch": Wall("pouch", (Layer(skin, 50e-6), Layer(core, 8e-6), Layer(bent, 20e-6))),
        "lid": Wall("lid", (Layer(core, 15e-6), Layer(skin, 40e-6))),
    }
    parts = (
        WallPart("front", "pouch", (Patch(0.02, 1.0), Patch(0.005, 0.7, 0.3, 2.0))),
        WallPart("back", "pouch", (Patch(0.02, 1.1),)),
        WallPart("top", "lid", (Patch(0.004),)),
        ClosurePart(
            "valve",
            {"O2": GivenConductance(2e-18, T23, 30e3), "H2O": GivenConductance(1e-15, T23, 20e3)},
        ),
        HolePart("pinhole", 4e-6, 1e-4, 2.0),
    )
    return Package(parts, walls)


def powder_case(rigid: bool = True, order: int | str = "michaelis-menten") -> Case:
    case = case_of(dry_powder(POWDER_LIMITS, rigid=rigid, order=order), two_walls(), seasons())
    return replace(case, target=400 * DAY)


def beer_case(rigid: bool) -> Case:
    """A carbonated liquid that uses oxygen; flexible walls couple three gases."""
    limits = (Limit("oxygen_gain", 1e-6), Limit("co2_loss", 0.1), Limit("water_loss", 0.002))
    product = Product(
        0.5,
        5e-4,
        Headspace(2.5e-5, rigid, {"O2": 0.002, "N2": 0.1, "CO2": 0.898}),
        1.0,
        OxygenModel("water", None, 1e-3, 0.98, Consumption(1, 0.05 / DAY, T23, 60e3)),
        carbonation=Carbonation(1.2, 278.15),
        limits=limits,
    )
    return case_of(product, one_wall(plain(energy=35e3), 3e-4, 0.04), seasons(5), target=200 * DAY)


def tin_case() -> Case:
    """A dry product whose water does not move, in stages that come again, with only oxygen followed."""
    product = dry_powder((Limit("oxygen_gain", 3e-5), Limit("water_gain", 1e-3)), order=0)
    product = replace(product, moisture=None, water_activity=0.2)
    return replace(case_of(product, barrier_wall(), seasons(3, 20 * DAY)), horizon=300 * DAY)


def variation_of(case: Case, size: int, seed: int) -> Variation:
    """Every kind of factor and offset that the case has room for."""
    rng = np.random.default_rng(seed)

    def factor(spread: float) -> Array:
        return np.exp(spread * rng.standard_normal(size))

    materials = {x.material.name for w in case.package.walls.values() for x in w.layers}
    return Variation(
        size,
        permeability={(m, g): factor(0.2) for m in sorted(materials) for g in ("O2", "N2", "CO2", "H2O")},
        thickness={name: factor(0.08) for name in case.package.walls},
        part_thickness={p.name: factor(0.05) for p in case.package.parts if isinstance(p, WallPart)},
        layer_thickness={
            (w.name, w.layers[0].material.name): factor(0.1) for w in case.package.walls.values()
        },
        transmission={
            (p.name, g): factor(0.2)
            for p in case.package.parts
            if isinstance(p, ClosurePart)
            for g in p.transmission
        },
        duration={s.name: factor(0.2) for s in case.storage[::2]},
        limit={x.name: factor(0.1) for x in case.product.limits},
        consumption=factor(0.2),
        isotherm=factor(0.05),
        headspace_oxygen=factor(0.3),
        temperature=rng.standard_normal(size),
        humidity=0.05 * rng.standard_normal(size),
    )


def stored(package: Package) -> Package:
    """The same walls with diffusivities for oxygen and nitrogen."""
    walls = {}
    for name, wall in package.walls.items():
        layers = []
        for layer in wall.layers:
            law = DiffusionLaw(T23, 2e-13 if layer.material.name == "barrier" else 3e-12, 35e3)
            layers.append(
                replace(layer, material=replace(layer.material, diffusivity={"O2": law, "N2": law}))
            )
        walls[name] = replace(wall, layers=tuple(layers))
    return package.with_walls(walls)


def one_by_one(case: Case, variation: Variation) -> Outcomes:
    rows = []
    for i in range(variation.size):
        own = varied(case, variation, i)
        run = simulate(own.product, exchange_of(own), until=own.horizon, extremes_until=own.target, rtol=1e-8)
        limits = np.array([x.value for x in own.product.limits])
        sign = np.array([sign_of(x.name) for x in own.product.limits])
        rows.append((run.crossing[0], run.extreme[0], sign * (run.extreme[0] - limits) / limits))
    crossing, extreme, excess = (np.array(x) for x in zip(*rows, strict=True))
    return Outcomes(crossing, extreme, excess)


def assert_close(found: Outcomes, wanted: Outcomes, crossing: float, extreme: float) -> None:
    """Relative for crossings; excess also against the limit's own size."""
    np.testing.assert_allclose(found.crossing, wanted.crossing, rtol=crossing)
    np.testing.assert_allclose(found.excess, wanted.excess, rtol=extreme, atol=extreme)
    np.testing.assert_allclose(found.extreme, wanted.extreme, rtol=extreme, atol=extreme * 1e-6)


CASES = {
    "powder, rigid": powder_case(),
    "powder, flexible": powder_case(rigid=False),
    "powder of first order": powder_case(order=1),
    "powder of order nought": powder_case(order=0),
    "beer, rigid": beer_case(True),
    "beer, flexible": beer_case(False),
    "water that stands still": tin_case(),
}


@pytest.mark.parametrize("name", CASES)
def test_a_sample_of_a_batch_is_its_own_case(name: str) -> None:
    case = CASES[name]
    variation = variation_of(case, 4, seed=len(name))
    found = simulate_samples(case, variation, wall="steady", engine="numpy", rtol=1e-7)
    assert_close(found, one_by_one(case, variation), 2e-5, 2e-5)
    assert np.isfinite(found.crossing).any()


@pytest.mark.parametrize(
    "isotherm",
    [
        GAB(0.05, 9.0, 0.9),
        Oswin(0.08, 0.5),
        Henderson(3e-4, 1.8, 40.0, 25.0),
        TableIsotherm(((0.0, 0.0), (0.2, 0.04), (0.4, 0.06), (0.7, 0.11), (0.95, 0.25))),
    ],
    ids=lambda x: type(x).__name__,
)
def test_every_isotherm_is_followed(isotherm: GAB) -> None:
    case = powder_case()
    moisture = replace(case.product.moisture, isotherm=isotherm)  # type: ignore[type-var]
    case = replace(case, product=replace(case.product, moisture=moisture))
    variation = Variation(2, isotherm=np.array([0.9, 1.1]), humidity=np.array([0.0, 0.05]))
    found = simulate_samples(case, variation, wall="steady", engine="numpy", rtol=1e-7)
    assert_close(found, one_by_one(case, variation), 5e-5, 5e-5)


def test_default_tolerance_keeps_crossings_to_a_thousandth() -> None:
    case = powder_case()
    variation = variation_of(case, 8, seed=5)
    quick = simulate_samples(case, variation, wall="steady", engine="numpy")
    tight = simulate_samples(case, variation, wall="steady", engine="numpy", rtol=1e-6)
    assert_close(quick, tight, 1e-3, 1e-3)


def test_nothing_varied_is_the_case_itself() -> None:
    case = powder_case()
    found = simulate_samples(case, Variation(1), wall="steady", rtol=1e-7)
    run = simulate(case.product, exchange_of(case), extremes_until=case.target, rtol=1e-8)
    np.testing.assert_allclose(found.crossing[0], run.crossing[0], rtol=2e-5)
    np.testing.assert_allclose(found.extreme[0], run.extreme[0], rtol=2e-5)


def test_a_limit_exceeded_at_closing_is_crossed_at_nought() -> None:
    case = powder_case()
    variation = Variation(2, limit={"headspace_oxygen": np.array([0.01, 1.0])})
    found = simulate_samples(case, variation, wall="steady")
    assert found.crossing[0, 2] == 0.0 and found.crossing[1, 2] > 0.0
    assert found.life[0] == 0.0 and found.ended_by[0] == 2


def test_a_peak_between_the_ends_counts() -> None:
    # a warm wet stage between two dry ones: the activity inside rises and falls again
    stages = (*still(308.15, 0.9, 30 * DAY), *still(T23, 0.05, 300 * DAY))
    stages = (replace(stages[0], name="wet"), stages[1])
    case = case_of(dry_powder((Limit("water_activity_max", 0.5),)), barrier_wall(), stages)
    variation = Variation(2, duration={"wet": np.array([0.8, 1.3])})
    found = simulate_samples(case, variation, wall="steady", rtol=1e-6)
    assert_close(found, one_by_one(case, variation), 1e-5, 1e-5)
    assert found.extreme[1, 0] > found.extreme[0, 0] > 0.15


@pytest.mark.parametrize(("wall", "engine"), [("wet", "numpy"), ("steady", "fast")])
def test_an_unknown_wall_or_engine_is_refused(wall: str, engine: str) -> None:
    with pytest.raises(ValueError, match="must be"):
        simulate_samples(powder_case(), Variation(1), wall=wall, engine=engine)


def test_a_missing_law_names_the_wall_and_the_material() -> None:
    case = case_of(dry_powder(POWDER_LIMITS), one_wall(replace(plain(), water=None), 1e-4, 0.05), still())
    with pytest.raises(MaterialError, match="wall 'wall': material 'plain' has no H2O"):
        simulate_samples(case, Variation(1), wall="steady")


def test_a_flexible_package_that_would_inflate_is_refused() -> None:
    case = case_of(dry_powder(POWDER_LIMITS, rigid=False), barrier_wall(), still(374.15))
    with pytest.raises(InputError, match="inflate without end"):
        simulate_samples(case, Variation(1), wall="steady")


def test_an_isotherm_of_ones_own_goes_the_plain_way() -> None:
    case = powder_case()
    own = ScaledIsotherm(GAB(0.045, 12.0, 0.93), 1.0)
    other = replace(
        case, product=replace(case.product, moisture=replace(case.product.moisture, isotherm=own))
    )  # type: ignore[type-var]
    a = simulate_samples(other, Variation(1), wall="steady", engine="compiled")
    b = simulate_samples(case, Variation(1), wall="steady", engine="numpy")
    assert_close(a, b, 1e-9, 1e-9)


@pytest.fixture
def scalar_way(monkeypatch: pytest.MonkeyPatch) -> Iterator[ModuleType]:
    """The compiled way's own code, run without compiling it."""
    numba = pytest.importorskip("numba")
    package = importlib.import_module("optimizer.shelflife")
    names = ("sampled_kernel", "sampled_rows", "sampled_march")
    kept = {name: sys.modules.pop(f"optimizer.shelflife.{name}", None) for name in names}
    monkeypatch.setattr(numba, "njit", lambda **options: lambda function: function)
    for name in names:
        setattr(package, name, importlib.import_module(f"optimizer.shelflife.{name}"))
    yield sys.modules["optimizer.shelflife.sampled_march"]
    for name, module in kept.items():
        del sys.modules[f"optimizer.shelflife.{name}"]
        delattr(package, name)
        if module is not None:
            sys.modules[f"optimizer.shelflife.{name}"] = module
            setattr(package, name, module)


@pytest.mark.parametrize("name", CASES)
def test_the_scalar_way_agrees_with_the_plain_one(name: str, scalar_way: ModuleType) -> None:
    case = CASES[name]
    case = replace(case, package=stored(case.package))
    variation = variation_of(case, 1, seed=3)
    for wall in ("steady", "lag-corrected"):
        a = simulate_samples(case, variation, wall=wall, engine="compiled", rtol=1e-4)
        b = simulate_samples(case, variation, wall=wall, engine="numpy", rtol=1e-4)
        # one sample has the same steps either way
        assert_close(a, b, 1e-7, 1e-7)


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_compiled_equals_plain_whatever_the_threads(name: str) -> None:
    pytest.importorskip("numba")
    case = CASES[name]
    case = replace(case, package=stored(case.package))
    variation = variation_of(case, 600, seed=11)
    said: list[str] = []
    for wall in ("steady", "lag-corrected"):
        one = simulate_samples(case, variation, wall=wall, engine="compiled", threads=1, say=said.append)
        several = simulate_samples(case, variation, wall=wall, engine="compiled", threads=3)
        assert np.array_equal(one.crossing, several.crossing) and np.array_equal(one.extreme, several.extreme)
        few = variation.take(slice(0, 12))
        compiled = simulate_samples(case, few, wall=wall, engine="compiled", rtol=3e-9)
        plain_way = simulate_samples(case, few, wall=wall, engine="numpy", rtol=3e-9)
        assert_close(compiled, plain_way, 1e-6, 1e-6)
    assert len(said) <= 1


def test_a_case_without_limits_has_outcomes_without_columns() -> None:
    case = case_of(dry_powder(()), barrier_wall(), still())
    found = simulate_samples(case, Variation(3), wall="steady")
    assert found.crossing.shape == (3, 0) and np.all(np.isinf(found.life)) and np.all(found.ended_by == -1)


def test_progress_ends_at_the_number_of_samples() -> None:
    told: list[int] = []
    case = tin_case()
    simulate_samples(case, Variation(2100), wall="steady", engine="numpy", progress=told.append)
    assert told == sorted(told) and len(told) > 1 and told[-1] == 2100

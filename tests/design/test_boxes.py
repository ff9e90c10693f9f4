"""What a layer can do at best inside a box, against layers sampled inside the box.

The layer is worked out here from its definition: a wall of three pieces whose middle one has the given
place, the gas resistivity averaged over the middle piece by quadrature, weighted by its own water
permeability.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.design.boxes import Box, largest_resistivity, water_resistivities
from optimizer.design.problem import Environment
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw

Array = NDArray[np.float64]
T23 = 296.15


def drawn_material(rng: np.random.Generator) -> Material:
    """Invented: permeability rising, falling, or up and down with humidity; water constant or not."""
    count = int(rng.integers(2, 6))
    activity = np.sort(rng.uniform(0.0, 1.0, count))
    while np.min(np.diff(activity)) < 0.02:
        activity = np.sort(rng.uniform(0.0, 1.0, count))
    steps = rng.normal(0.0, 1.5, count)
    kind = rng.integers(4)
    if kind < 2:
        steps = np.abs(steps) * (1.0 if kind == 0 else -1.0)
    law = GasLaw(
        "O2", T23, tuple(activity), tuple(1e-18 * np.exp(np.cumsum(steps))), float(rng.uniform(0, 6e4))
    )
    water = WaterLaw.constant(T23, 1e-13, float(rng.uniform(0, 5e4)))
    if rng.integers(2):
        knots = np.concatenate([[0.0], np.sort(rng.uniform(0.1, 0.9, 2)), [1.0]])
        while np.min(np.diff(knots)) < 0.05:
            knots = np.concatenate([[0.0], np.sort(rng.uniform(0.1, 0.9, 2)), [1.0]])
        slopes = 1e-13 * np.exp(rng.normal(0.0, 1.0, 3))
        water = WaterLaw(T23, tuple(knots), (0.0, *np.cumsum(slopes * np.diff(knots))), 4e4)
    return Material("drawn", "X", 1000.0, {"O2": law}, water)


def drawn_environment(rng: np.random.Generator) -> Environment:
    wet, dry = float(rng.uniform(0.6, 1.0)), float(rng.uniform(0.0, 0.55))
    inside, outside = (wet, dry) if rng.integers(2) else (dry, wet)
    return Environment(float(rng.uniform(275, 315)), inside, outside)


def drawn_box(rng: np.random.Generator) -> Box:
    while True:
        f = (
            np.sort(rng.uniform(0, 1, 2))
            if rng.integers(2)
            else np.clip(rng.uniform(0, 1) + np.array([0, rng.uniform(0, 0.05)]), 0, 1)
        )
        s = np.sort(rng.uniform(0, 1, 2) ** 3) * (rng.integers(2) + 0.02 > rng.uniform())
        if rng.integers(2):
            s[0] = 0.0
        box = Box(float(f[0]), float(f[1]), float(s[0]), float(s[1]))
        if box.possible:
            return box


def layers_inside(rng: np.random.Generator, box: Box, count: int) -> list[tuple[float, float]]:
    """Places (f, s) in the box whose faces lie within the wall, its corners among them."""
    s = np.concatenate([[box.s_low, box.s_high], rng.uniform(box.s_low, box.s_high, count)])
    f = np.concatenate([[box.f_low, box.f_high], rng.uniform(box.f_low, box.f_high, count)])
    pairs = [*zip(f, s, strict=True), (box.f_low, box.s_high), (box.f_high, box.s_low)]
    clipped = [(min(max(a, b / 2), 1 - b / 2), b) for a, b in pairs]
    return [(a, b) for a, b in clipped if box.f_low - 1e-15 <= a <= box.f_high + 1e-15]


def mean_resistivities(material: Material, env: Environment, f: float, s: float) -> tuple[float, float]:
    """(gas, water) resistivity of the layer between the water-resistance shares f - s/2 and f + s/2.

    dx = P_w da / J, hence the mean of 1/P over x is the integral of P_w/P da over that of P_w da;
    quadrature by the midpoint rule on 4000 cells and more, none of them across a knot of either law.
    """
    law, water = material.gases["O2"], material.water
    assert water is not None
    drop = env.inside - env.outside
    first, last = env.inside - drop * (f - s / 2), env.inside - drop * (f + s / 2)
    knots = [k for k in (*law.activity, *water.activity) if min(first, last) < k < max(first, last)]
    edges = np.sort(np.concatenate([np.linspace(first, last, 4001), knots]))
    a, width = 0.5 * (edges[:-1] + edges[1:]), np.diff(edges)
    if first == last:
        a, width = np.array([first]), np.array([1.0])
    weight = water.slope_at(a) * water.factor(env.temperature) * width
    gas = float(np.sum(weight / law.at(env.temperature, a)) / np.sum(weight))
    return gas, float(np.sum(width) / np.sum(weight))


def tabulated_resistivity(material: Material, env: Environment, f: float, s: float) -> float:
    """The mean that walls are evaluated with."""
    drop = env.inside - env.outside
    first, last = env.inside - drop * (f - s / 2), env.inside - drop * (f + s / 2)
    return float(material.mean_resistivity("O2", env.temperature, first, last))


@pytest.mark.parametrize("seed", range(300))
def test_no_layer_in_a_box_is_better_than_the_bound_of_the_box(seed: int) -> None:
    rng = np.random.default_rng(seed)
    material, env, box = drawn_material(rng), drawn_environment(rng), drawn_box(rng)
    best = largest_resistivity(material, "O2", env, box)
    low, high = water_resistivities(material, env, box)
    places = layers_inside(rng, box, 20)
    assert places
    for f, s in places:
        gas, water = mean_resistivities(material, env, f, s)
        # 1e-4: the tabulated curve against the curve itself, where it is steepest
        assert gas <= best * (1 + 1e-4)
        tabulated = tabulated_resistivity(material, env, f, s)
        assert tabulated == pytest.approx(gas, rel=1e-4)
        assert tabulated <= best
        assert low * (1 - 1e-11) <= water <= high * (1 + 1e-11)


@pytest.mark.parametrize("seed", range(60))
def test_the_bounds_close_in_on_the_layer_as_the_box_shrinks(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    material, env = drawn_material(rng), drawn_environment(rng)
    s = float(rng.uniform(0.05, 0.6))
    f = float(rng.uniform(s / 2, 1 - s / 2))
    gas, water = mean_resistivities(material, env, f, s)
    excess = []
    for width in (0.1, 0.01, 1e-3, 1e-5):
        half = width / 2
        box = Box(max(0.0, f - half), min(1.0, f + half), max(0.0, s - half), min(1.0, s + half))
        low, high = water_resistivities(material, env, box)
        excess.append(
            max(largest_resistivity(material, "O2", env, box) / gas - 1, high / water - 1, 1 - low / water)
        )
    assert excess[3] < 2e-3
    assert excess[3] <= excess[0] + 1e-9


@pytest.mark.parametrize("seed", range(40))
def test_a_box_within_another_promises_no_more(seed: int) -> None:
    rng = np.random.default_rng(2000 + seed)
    material, env, box = drawn_material(rng), drawn_environment(rng), drawn_box(rng)
    middle = 0.5 * (box.f_low + box.f_high)
    for half in (
        Box(box.f_low, middle, box.s_low, box.s_high),
        Box(middle, box.f_high, box.s_low, box.s_high),
    ):
        if half.possible:
            assert largest_resistivity(material, "O2", env, half) <= largest_resistivity(
                material, "O2", env, box
            ) * (1 + 1e-8)


def test_without_humidity_dependence_the_bound_is_the_value() -> None:
    material = Material(
        "plain",
        "X",
        1000.0,
        {"O2": GasLaw("O2", T23, (0.0,), (2e-18,), 3e4)},
        WaterLaw.constant(T23, 1e-13, 2e4),
    )
    env = Environment(T23, 0.9, 0.3)
    assert largest_resistivity(material, "O2", env, Box(0.2, 0.9)) == pytest.approx(5e17, rel=1e-12)
    assert water_resistivities(material, env, Box(0.2, 0.9)) == pytest.approx((1e13, 1e13), rel=1e-12)

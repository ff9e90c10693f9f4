"""Batches in numpy against single cases, where the limits are reached soon after closing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from optimizer.shelflife.package import Case, Limit
from optimizer.shelflife.transient.run import simulate_walls
from optimizer.shelflife.transient.samples import transient_samples
from optimizer.shelflife.variation import Variation
from optimizer.shelflife.varied import varied

from .coupled import carbonated_bottle, coupled, flushed_bottle, pouch, scavenging


def tight(case: Case, name: str, value: float) -> Case:
    return replace(case, product=replace(case.product, limits=(Limit(name, value),)))


CASES: dict[str, Callable[[], Case]] = {
    "flexible": lambda: tight(pouch(), "oxygen_gain", 2e-6),
    "scavenger": lambda: tight(scavenging(), "oxygen_gain", 5e-8),
    "creep": lambda: tight(carbonated_bottle(True), "co2_loss", 0.01),
    "plain": lambda: tight(flushed_bottle(), "oxygen_gain", 5e-8),
    "used up": lambda: tight(coupled("nothing"), "oxygen_gain", 2e-7),
}


@pytest.mark.parametrize("name", ["plain", pytest.param("used up", marks=pytest.mark.slow)])
def test_early_crossings_of_a_batch_are_those_of_its_cases(name: str) -> None:
    case = CASES[name]()
    one = np.array([1.0])
    found = transient_samples(case, Variation(1, thickness={"body": one}), engine="numpy").crossing[0, 0]
    exact = simulate_walls(case, rtol=1e-6, degree=5).crossing[0, 0]
    assert exact < 0.05 * case.horizon
    assert found == pytest.approx(exact, rel=5e-3)


def test_nitrogen_taken_as_a_share_of_oxygen_varies_with_it() -> None:
    case = pouch()
    name = "PET"
    walls = {}
    for key, wall in case.package.walls.items():
        layers = []
        for layer in wall.layers:
            m = layer.material
            if m.name == name:
                gases = {g: law for g, law in m.gases.items() if g != "N2"}
                m = replace(m, gases=gases)
            layers.append(replace(layer, material=m))
        walls[key] = replace(wall, layers=tuple(layers))
    case = replace(case, package=case.package.with_walls(walls))
    variation = Variation(2, {(name, "O2"): np.array([0.25, 1.0])})
    found = transient_samples(case, variation, engine="numpy").crossing
    for i in range(2):
        exact = simulate_walls(varied(case, variation, i)).crossing[0]
        assert found[i] == pytest.approx(exact, rel=2e-3)

"""numba is optional: without it the same answers come from numpy."""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import DAY
from optimizer.shelflife.samples import simulate_samples
from optimizer.shelflife.transient import simulate_walls
from optimizer.shelflife.variation import Variation

from .coupled import coupled, flushed_bottle, hourly


def spread(count: int, seed: int = 4) -> np.ndarray:
    return np.exp(0.1 * np.random.default_rng(seed).standard_normal(count))


@pytest.mark.parametrize("wall", ["steady", "lag-corrected", "transient"])
def test_samples_need_no_compiler(wall: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", None)
    case = replace(flushed_bottle(), target=60 * DAY)
    count = 600
    variation = Variation(count, {("PET", "O2"): spread(count)}, thickness={"wall": spread(count, 5)})
    found = simulate_samples(case, variation, wall=wall)
    assert found.crossing.shape == (count, 2)
    nominal = simulate_samples(case, Variation(1), wall=wall).crossing[0, 0]
    assert np.median(found.crossing[:, 0]) == pytest.approx(nominal, rel=0.03)


def test_hourly_weather_needs_no_compiler_and_says_that_it_takes_longer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    case = hourly(coupled(), 20 / 365)
    said: list[str] = []
    compiled = simulate_walls(case)
    monkeypatch.setitem(sys.modules, "numba", None)
    plain = simulate_walls(case, say=said.append)
    assert len(case.storage) > 400
    assert plain.extreme == pytest.approx(compiled.extreme, rel=1e-5)
    assert said and "compiled march" in said[0]


def test_a_numba_that_does_not_compile_leaves_it_to_numpy(monkeypatch: pytest.MonkeyPatch) -> None:
    from optimizer.shelflife.transient import compiled, kernel

    def broken(*_: object) -> None:
        raise TypeError("no such signature")

    monkeypatch.setattr(kernel, "load", broken)
    monkeypatch.setattr(compiled, "_ready", False)
    monkeypatch.setattr(compiled, "_broken", False)
    case = replace(flushed_bottle(), target=60 * DAY)
    variation = Variation(16, {("PET", "O2"): spread(16)})
    said: list[str] = []
    found = simulate_samples(case, variation, wall="transient", say=said.append)
    plain = simulate_samples(case, variation, wall="transient", engine="numpy")
    assert np.array_equal(found.crossing, plain.crossing)
    assert any("numpy goes on" in text for text in said)

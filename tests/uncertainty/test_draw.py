"""Samples of the inputs: their distribution, their correlation, and which numbers belong to which input."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from optimizer.uncertainty.draw import columns_of, draw, rounded
from optimizer.uncertainty.scramble import dimensions, fresh_seed, size_of_table, uniform
from optimizer.uncertainty.sources import Input


def permeability(name: str, size: float = 0.2, source: str = "") -> Input:
    what = f"O2 permeability of {name}"
    return Input("permeability", f"{name}/O2", ((name, "O2"),), size, "%", "invented", source, what)


def offset(size: float = 1.5) -> Input:
    return Input("temperature", "", (), size, "K", "invented", "", "temperature of storage")


def duration(name: str) -> Input:
    return Input("duration", name, (name,), 0.2, "%", "invented", "", f"duration of stage {name!r}")


A, B, C = permeability("a"), permeability("b"), permeability("c")


def test_every_column_is_stratified_in_every_interval_of_one_over_n() -> None:
    """A net in base 2 stays one under nested scrambling (Owen 1998): one point in each of 2^m intervals."""
    for power in (3, 9):
        points = uniform(["a", "b", "c"], power, 1)
        cells = np.sort(np.floor(points * 2**power).astype(int), axis=0)
        assert (cells == np.arange(2**power)[:, None]).all()


def test_first_two_dimensions_fill_every_square_of_a_net() -> None:
    """Its first two dimensions are a (0, m, 2)-net (Sobol 1967), and so is their scramble: one point in each
    box of every shape of volume 2^-m."""
    names = [f"x{k}" for k in range(400)]
    first = next(n for n in names if dimensions([n])[n] == 0)
    second = next(n for n in names if dimensions([n])[n] == 1)
    points = uniform([first, second], 8, 3)
    for k in range(9):
        cells = np.floor(points[:, 0] * 2**k) * 2 ** (8 - k) + np.floor(points[:, 1] * 2 ** (8 - k))
        assert len(np.unique(cells)) == 256


def test_scrambles_are_uniform_and_independent_of_each_other() -> None:
    first = np.array([uniform(["a"], 0, seed)[0, 0] for seed in range(500)])
    second = np.array([uniform(["a"], 0, seed, replicate=1)[0, 0] for seed in range(500)])
    for points in (first, second):
        assert abs(points.mean() - 0.5) < 4 / math.sqrt(12 * 500)
    assert abs(np.corrcoef(first, second)[0, 1]) < 4 / math.sqrt(500)


def test_an_input_keeps_its_numbers_when_an_unrelated_one_is_added() -> None:
    alone = draw([A, B], 256, 7)
    more = draw([A, B, duration("truck"), offset()], 256, 7)
    for key, values in alone.permeability.items():
        assert np.array_equal(values, more.permeability[key])


def test_the_order_of_the_inputs_does_not_matter() -> None:
    one, two = draw([A, B, offset()], 128, 7), draw([offset(), B, A], 128, 7)
    assert np.array_equal(one.permeability["a", "O2"], two.permeability["a", "O2"])
    assert one.temperature is not None and two.temperature is not None
    assert np.array_equal(one.temperature, two.temperature)


def test_two_cases_share_the_numbers_of_what_both_have() -> None:
    """Fifty materials each, half of them in both: wherever the names collide, both go the same way."""
    old = [permeability(f"m{k}") for k in range(50)]
    new = [replace(permeability(f"m{k}"), size=0.4) for k in range(25, 75)]
    one, two = draw(old, 64, 1, common=new), draw(new, 64, 1, common=old)
    ratio = math.sqrt(math.log1p(0.4**2) / math.log1p(0.2**2))
    for k in range(25, 50):
        key = f"m{k}", "O2"
        assert np.log(two.permeability[key]) == pytest.approx(
            ratio * np.log(one.permeability[key]), rel=1e-12
        )


def test_no_two_columns_share_a_dimension() -> None:
    columns = [f"column {k}" for k in range(300)]
    places = dimensions(columns)
    assert len(set(places.values())) == 300 and max(places.values()) < size_of_table(300)


def test_a_factor_is_lognormal_with_median_one_and_the_spread_asked_for() -> None:
    """Mean and standard deviation of a lognormal in closed form: exp(sigma^2 / 2), and s times the mean."""
    values = draw([permeability("a", 0.3)], 2**14, 5).permeability["a", "O2"]
    assert np.median(values) == pytest.approx(1.0, abs=2e-4)
    assert values.mean() == pytest.approx(math.sqrt(1 + 0.3**2), rel=1e-4)
    assert values.std() / values.mean() == pytest.approx(0.3, rel=2e-3)


def test_an_offset_is_normal_with_mean_zero() -> None:
    values = draw([offset(1.5)], 2**14, 5).temperature
    assert values is not None
    assert values.mean() == pytest.approx(0.0, abs=1e-3)
    assert values.std() == pytest.approx(1.5, rel=1e-3)
    assert np.mean(np.abs(values) < 1.5) == pytest.approx(0.682689, abs=5e-4)  # normal table


@pytest.mark.parametrize("rho", [0.0, 0.5, 1.0])
def test_properties_of_one_source_correlate_as_asked(rho: float) -> None:
    """Correlation of the logarithms is rho, whatever the spreads; other sources and none stay independent."""
    inputs = [permeability("a", 0.1, "one"), permeability("b", 0.4, "one"), permeability("c", 0.2, "two"), B]
    inputs[3] = permeability("d")
    z = draw(inputs, 2**13, 2, correlation=rho).permeability
    logs = np.log([z[name, "O2"] for name in "abcd"])
    found = np.corrcoef(logs)
    assert found[0, 1] == pytest.approx(rho, abs=0.01)
    assert np.abs([found[0, 2], found[0, 3], found[1, 2], found[2, 3]]).max() < 0.02
    sizes = [0.1, 0.4, 0.2, 0.2]
    for row, size in zip(logs, sizes, strict=True):
        assert row.std() == pytest.approx(math.sqrt(math.log1p(size**2)), rel=5e-3)


def test_one_input_drives_all_its_targets_with_one_factor() -> None:
    both = replace(A, targets=(("web 12 um", "O2"), ("web 23 um", "O2")))
    found = draw([both], 64, 1).permeability
    assert np.array_equal(found["web 12 um", "O2"], found["web 23 um", "O2"])


def test_the_seed_decides_the_numbers() -> None:
    one = draw([A, B], 64, 1).permeability["a", "O2"]
    assert np.array_equal(one, draw([A, B], 64, 1).permeability["a", "O2"])
    assert not np.array_equal(one, draw([A, B], 64, 2).permeability["a", "O2"])
    assert fresh_seed(1) == fresh_seed(1) != fresh_seed(2)
    assert fresh_seed(1) != 1


def test_the_numbers_of_a_seed_never_change() -> None:
    """A result can be repeated years later: the first factors of seed 1 when this was written."""
    values = draw([A], 64, 1).permeability["a", "O2"][:3]
    assert values == pytest.approx(PINNED, rel=1e-12)


def test_samples_are_rounded_up_to_a_power_of_two() -> None:
    assert [rounded(n) for n in (1, 64, 65, 4096, 5000)] == [64, 64, 128, 4096, 8192]


def test_a_sample_error_shrinks_faster_than_by_chance() -> None:
    """Mean of exp of a sum of eight normals, smooth: plain sampling takes 16 times the samples for a quarter
    of the error; the scrambled net must do better than a seventh (its rate is close to N^-1.5)."""
    inputs = [permeability(f"m{k}", 0.1) for k in range(8)]
    exact = math.exp(4.0 * math.log1p(0.1**2))
    errors = []
    for samples in (128, 2048):
        found = []
        for seed in range(12):
            z = draw(inputs, samples, seed).permeability
            found.append(float(np.prod(list(z.values()), axis=0).mean() / exact - 1.0))
        errors.append(math.sqrt(np.mean(np.square(found))))
    plain = math.sqrt(math.expm1(8 * math.log1p(0.1**2)) / 2048)
    assert all(b < a / 7.0 for a, b in pairwise(errors))
    assert errors[1] < plain / 5.0


def test_columns_of_several_cases_stand_once() -> None:
    shared_a = permeability("a", source="one")
    assert columns_of([shared_a, C], [shared_a, B]) == (
        "permeability: a/O2",
        "permeability: b/O2",
        "permeability: c/O2",
        "shared: one",
    )


PINNED = (1.0977963061309661, 0.9070956073047902, 1.1758102352829340)

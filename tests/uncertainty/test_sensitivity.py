"""Sobol indices against closed forms and against SALib."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.shelflife.variation import Outcomes
from optimizer.uncertainty import sensitivity
from optimizer.uncertainty.draw import variation_of
from optimizer.uncertainty.sensitivity import Group, contributions, groups_of, indices, plan
from optimizer.uncertainty.sources import Input
from tests.uncertainty.test_draw import permeability

Array = NDArray[np.float64]
SIZES = {"a": 0.3, "b": 0.2, "c": 0.1, "d": 0.05}


def of_model(
    f: Callable[[dict[str, Array]], Array], inputs: list[Input], samples: int, rho: float = 0.5, seed: int = 1
) -> tuple[tuple[Group, ...], Array, Array]:
    groups = groups_of(inputs)
    z = plan(inputs, groups, samples, seed)
    size = (len(groups) + 2) * samples
    factors = variation_of(inputs, z, size, rho).permeability
    first, total, _ = indices(f({k[0]: v for k, v in factors.items()}), groups, z)
    return groups, first, total


def log_life(factors: dict[str, Array]) -> Array:
    product: Array = np.prod(list(factors.values()), axis=0)
    return -np.log(product)


def life(factors: dict[str, Array]) -> Array:
    return np.exp(log_life(factors))


def test_of_the_logarithm_of_a_product_each_factor_explains_its_share_of_the_variance() -> None:
    """Closed form: additive, so first order = total = ln(1 + s^2) over the sum of them. Exactly,
    as the logarithm is linear in the normals."""
    parts = np.array([math.log1p(s * s) for s in SIZES.values()])
    _, first, total = of_model(log_life, [permeability(n, s) for n, s in SIZES.items()], 64)
    assert first == pytest.approx(parts / parts.sum(), abs=1e-12)
    assert total == pytest.approx(parts / parts.sum(), abs=1e-12)


def test_of_a_product_of_lognormals_the_indices_are_those_of_the_closed_form() -> None:
    """With E f = 1 after scaling, V = prod(1 + v_i) - 1, V_i = v_i, total V_Ti = v_i prod_{j != i}(1 + v_j),
    v_i = s_i^2 (Sobol, Math. Comput. Simul. 55 (2001) 271: product functions)."""
    sizes = {"a": 0.4, "b": 0.3, "c": 0.2}
    v = np.square(list(sizes.values()))
    whole = np.prod(1 + v) - 1
    _, first, total = of_model(life, [permeability(n, s) for n, s in sizes.items()], 2**14)
    assert first == pytest.approx(v / whole, abs=0.02)
    assert total == pytest.approx(v / (1 + v) * (whole + 1) / whole, abs=0.02)


def ishigami(z: dict[str, Array]) -> Array:
    """a = 7, b = 0.1, on uniform angles, from standard normals."""
    from scipy.special import ndtr

    x, y, w = (math.pi * (2.0 * ndtr(z[f"permeability: {n}/O2"]) - 1.0) for n in "abc")
    value: Array = np.sin(x) + 7.0 * np.sin(y) ** 2 + 0.1 * w**4 * np.sin(x)
    return value


def test_the_ishigami_function_has_its_exact_indices() -> None:
    """Closed form (Ishigami and Homma 1990) for a = 7, b = 0.1: 0.314, 0.442, 0 and 0.558, 0.442, 0.244."""
    inputs = [permeability(n) for n in "abc"]
    groups = groups_of(inputs)
    z = plan(inputs, groups, 2**13, 3)
    first, total, _ = indices(ishigami(z), groups, z)
    assert first == pytest.approx([0.3139, 0.4424, 0.0], abs=0.01)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.01)


def test_estimates_are_those_of_salib_on_the_same_numbers() -> None:
    """SALib uses the same two estimators (Saltelli 2010, Jansen 1999) and the variance of A and B."""
    sobol = pytest.importorskip("SALib.analyze.sobol")
    inputs = [permeability(n) for n in "abc"]
    groups = groups_of(inputs)
    output = ishigami(plan(inputs, groups, 1024, 3))
    variance, *parts = contributions(output, 3)
    first, total = (p.mean(axis=1) / variance for p in parts)
    a, b, *mixed = output.reshape(5, -1)
    # SALib's order: for every sample A, then A with each column of B, then B
    problem = {"num_vars": 3, "names": list("abc"), "bounds": [[0.0, 1.0]] * 3}
    theirs = sobol.analyze(problem, np.stack([a, *mixed, b], axis=1).ravel(), calc_second_order=False, seed=1)
    # it centres with the mean of all points, which moves the first order by that difference
    assert first == pytest.approx(theirs["S1"], abs=1e-6)
    assert total == pytest.approx(theirs["ST"], abs=1e-12)


def test_indices_agree_with_salibs_own_sample_and_scipy() -> None:
    from scipy.stats import norm, sobol_indices

    sampler = pytest.importorskip("SALib.sample.sobol")
    analysis = pytest.importorskip("SALib.analyze.sobol")
    sigma = np.sqrt(np.log1p(np.square(list(SIZES.values()))))
    problem = {
        "num_vars": 4,
        "names": list(SIZES),
        "bounds": [[0.0, s] for s in sigma],
        "dists": ["norm"] * 4,
    }
    points = sampler.sample(problem, 4096, calc_second_order=False, seed=1)
    theirs = analysis.analyze(problem, np.exp(-points.sum(axis=1)), calc_second_order=False, seed=1)
    third = sobol_indices(
        func=lambda x: np.exp(-x.sum(axis=0)), n=1024, dists=[norm(0, s) for s in sigma], rng=1
    )
    _, first, total = of_model(life, [permeability(n, s) for n, s in SIZES.items()], 4096)
    for ours, one, two in (
        (first, theirs["S1"], third.first_order),
        (total, theirs["ST"], third.total_order),
    ):
        assert ours == pytest.approx(one, abs=0.03)
        assert ours == pytest.approx(two, abs=0.03)


def test_what_a_source_has_in_common_has_an_index_of_its_own() -> None:
    """Closed form: with ln f = s (z_a + z_b), z = sqrt(rho) c + sqrt(1 - rho) own, the variance is
    s^2 (2 (1 - rho) + 4 rho), of which 4 rho is common."""
    rho = 0.5
    inputs = [permeability("a", 0.2, "one"), permeability("b", 0.2, "one")]
    groups, first, _ = of_model(log_life, inputs, 2048, rho)
    assert [g.name for g in groups][-1] == "shared: source one"
    whole = 2 * (1 - rho) + 4 * rho
    assert first == pytest.approx([0.5 / whole, 0.5 / whole, 2.0 / whole], abs=0.01)


def test_a_source_with_one_input_is_counted_with_the_input() -> None:
    inputs = [permeability("a", 0.2, "one"), permeability("b", 0.2)]
    groups, first, _ = of_model(log_life, inputs, 2048)
    assert [g.name for g in groups] == ["O2 permeability of a", "O2 permeability of b"]
    assert first == pytest.approx([0.5, 0.5], abs=0.01)


def test_an_answer_that_does_not_vary_has_no_indices() -> None:
    inputs = [permeability(n) for n in "abc"]
    groups = groups_of(inputs)
    first, total, error = indices(np.full(5 * 64, 3.7), groups, plan(inputs, groups, 64, 1))
    assert not first.any() and not total.any() and error == 0.0


def test_the_error_stated_of_the_indices_covers_the_error_made() -> None:
    """Against the closed form of the Ishigami function, over seeds. The points are better than plain ones, so
    that the stated error may be too large but not too small."""
    inputs = [permeability(n) for n in "abc"]
    groups = groups_of(inputs)
    made, stated = [], []
    for seed in range(10):
        z = plan(inputs, groups, 512, seed)
        first, total, error = indices(ishigami(z), groups, z)
        made += [*(first - [0.3139, 0.4424, 0.0]), *(total - [0.5576, 0.4424, 0.2437])]
        stated.append(error)
    rms = math.sqrt(np.mean(np.square(made)))
    assert 0.1 * np.mean(stated) < rms < np.mean(stated)


def outcomes(life: Array, excess: Array) -> Outcomes:
    return Outcomes(life[:, None], excess[:, None], excess[:, None])


def test_indices_are_of_the_shelf_life_where_nearly_all_samples_reach_a_limit() -> None:
    life = np.concatenate([np.full(97, 50.0), np.full(3, np.inf)])
    output, words = sensitivity.output_of(outcomes(life, np.zeros(100)), 200.0)
    assert words == "ln(shelf life)"
    assert output == pytest.approx(np.log(np.minimum(life, 200.0)))


def test_indices_are_of_the_worst_quantity_where_many_samples_reach_no_limit() -> None:
    life = np.concatenate([np.full(90, 50.0), np.full(10, np.inf)])
    excess = np.linspace(-0.9, 0.5, 100)
    output, words = sensitivity.output_of(outcomes(life, excess), 200.0)
    assert words.startswith("ln(worst quantity") and output == pytest.approx(np.log(1 + excess))
    output, words = sensitivity.output_of(outcomes(life, excess - 0.5), 200.0)  # no logarithm below -1
    assert output == pytest.approx(excess - 0.5) and not words.startswith("ln")

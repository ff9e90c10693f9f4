"""``assess`` and the comparison on common numbers, against a shelf life whose distribution is known."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS
from optimizer.physics.material import DiffusionLaw
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import Case, Headspace, Layer, Limit, Wall
from optimizer.shelflife.variation import Outcomes, Variation
from optimizer.uncertainty.draw import draw
from optimizer.uncertainty.outcome import passing
from optimizer.uncertainty.run import (
    BLOCK,
    Setup,
    assess,
    compare_on_common_numbers,
    probability_of_passing,
    simulated,
)
from optimizer.uncertainty.sources import inputs_of
from tests.shelflife.builders import still
from tests.uncertainty.closed import LIFE, SIGMA, SPREADS, banded, case, product_of_factors

NORMAL = NormalDist()


def scaled(base: Case, factor: float) -> Case:
    wall = base.package.walls["wall"]
    layers = tuple(replace(x, thickness=x.thickness * factor) for x in wall.layers)
    return replace(base, package=base.package.with_walls({"wall": replace(wall, layers=layers)}))


def two_materials(first_source: str, second_source: str, correlation: float) -> Case:
    base = case(thickness={}, limits={}, correlation=correlation)
    layers = (Layer(banded("one", 0.2, first_source), 100e-6), Layer(banded("two", 0.2, second_source), 1e-6))
    return replace(base, package=base.package.with_walls({"wall": Wall("wall", layers)}))


def plain_error(sigma: float, p: float, samples: int) -> float:
    """Relative standard error of the p-quantile of a lognormal by plain sampling: sqrt(p (1 - p) / N) over
    the density of the normal (David and Nagaraja, Order Statistics, 2003). Scrambled nets do no worse."""
    return sigma * math.sqrt(p * (1 - p) / samples) / NORMAL.pdf(NORMAL.inv_cdf(p))


def test_percentiles_of_a_product_of_lognormals_are_those_of_the_closed_form() -> None:
    """exp(mu + z_p sigma)."""
    found = assess(case(), simulate=product_of_factors, samples=2**13, indices=False)
    for row in found.percentiles:
        exact = LIFE / DAY * math.exp(NORMAL.inv_cdf(row.percentile / 100) * SIGMA)
        error = plain_error(SIGMA, row.percentile / 100, 2**13)
        assert row.shelf_life_days == pytest.approx(exact, rel=2 * error)
        assert row.limited_by == "oxygen_gain"
    assert found.shelf_life_days == {f"p{r.percentile:02d}": r.shelf_life_days for r in found.percentiles}


@pytest.mark.parametrize("days", [75.0, 90.0, 110.0])
def test_probability_of_passing_is_that_of_the_normal_distribution(days: float) -> None:
    """P(life >= target) = Phi(ln(LIFE / target) / sigma)."""
    exact = NORMAL.cdf(math.log(LIFE / DAY / days) / SIGMA)
    found = assess(case(days * DAY), simulate=product_of_factors, samples=2**13, indices=False)
    assert found.probability is not None and found.probability_error is not None
    assert abs(found.probability - exact) < max(4 * found.probability_error, 1e-3)
    assert found.probability_error < math.sqrt(exact * (1 - exact) / 2**13)


def test_the_error_stated_is_the_error_made() -> None:
    """Over 60 seeds the deviations from the closed form, in units of the stated error, are of Student's t
    with 7 degrees of freedom: their root mean square is sqrt(7 / 5) (table of the distribution)."""
    exact = NORMAL.cdf(math.log(LIFE / DAY / 80) / SIGMA)
    ratios = []
    for seed in range(60):
        found = assess(case(), simulate=product_of_factors, samples=512, seed=seed, indices=False)
        assert found.probability is not None and found.probability_error is not None
        ratios.append((found.probability - exact) / found.probability_error)
    assert 0.7 < math.sqrt(np.mean(np.square(ratios))) / math.sqrt(7 / 5) < 1.5
    assert abs(np.mean(ratios)) < 0.6


@pytest.mark.parametrize(("sources", "common"), [(("", ""), 0.0), (("s", "s"), 1.0), (("s", "t"), 0.0)])
def test_properties_of_one_source_widen_the_spread_as_the_variance_formula_says(
    sources: tuple[str, str], common: float
) -> None:
    """var(ln life) = 2 v + 2 rho v for two properties of variance v that share a source, else 2 v."""
    rho, v = 0.5, math.log1p(0.2**2)
    found = assess(two_materials(*sources, rho), simulate=product_of_factors, samples=2**13, indices=False)
    sigma = math.sqrt(2 * v + 2 * rho * common * v)
    for key, z in (("p05", -1.6448536), ("p95", 1.6448536)):  # normal table
        exact = LIFE / DAY * math.exp(z * sigma)
        assert found.shelf_life_days[key] == pytest.approx(exact, rel=2.5 * plain_error(sigma, 0.05, 2**13))


def test_influences_are_the_shares_of_the_variance_and_name_the_worst_first() -> None:
    found = assess(case(), simulate=product_of_factors, samples=4096)
    parts = {k: math.log1p(s * s) / SIGMA**2 for k, s in SPREADS.items()}
    names = ["O2 permeability of plain", "limit on oxygen gain", "thickness of wall 'wall'"]
    assert [r.name for r in found.influences] == names
    for row, kind in zip(found.influences, ("permeability", "limit", "thickness"), strict=True):
        assert row.first_order == pytest.approx(parts[kind], abs=1e-9)
        assert row.total == pytest.approx(parts[kind], abs=1e-9)
    assert {s.name for s in found.spreads} == set(names)


def test_without_a_target_there_is_no_probability() -> None:
    found = assess(case(target=None), simulate=product_of_factors, samples=64, indices=False)
    assert found.probability is None and found.probability_error is None
    with pytest.raises(ValueError, match="target"):
        probability_of_passing(case(target=None), simulate=product_of_factors)


def test_lives_beyond_the_horizon_are_told_as_such() -> None:
    """Horizon at the median: half the samples reach no limit."""
    found = assess(case(50 * DAY, LIFE), simulate=product_of_factors, samples=1024, indices=False)
    assert found.shelf_life_days["p75"] is None and found.shelf_life_days["p25"] is not None
    assert found.ended_by["none"] == pytest.approx(0.5, abs=0.01)
    assert len(found.life_days) == pytest.approx(256, abs=4)
    assert found.percentiles[-1].limited_by is None


def test_a_target_beyond_the_horizon_is_looked_at_all_the_same() -> None:
    found = assess(case(110 * DAY, 50 * DAY), simulate=product_of_factors, samples=1024, indices=False)
    exact = NORMAL.cdf(math.log(100 / 110) / SIGMA)
    assert found.probability == pytest.approx(exact, abs=0.02)


def test_no_number_depends_on_the_blocks() -> None:
    variation = draw(inputs_of(case()), 4096, 1)
    setup = Setup(simulate=product_of_factors)
    whole = simulated(case(), variation, "steady", setup, block=4096)
    for block in (300, 1024):
        parts = simulated(case(), variation, "steady", setup, block=block)
        assert np.array_equal(whole.crossing, parts.crossing)
        assert np.array_equal(whole.extreme, parts.extreme) and np.array_equal(whole.excess, parts.excess)


def test_the_simulator_gets_blocks_of_one_size() -> None:
    seen = []

    def simulate(case: Case, variation: Variation, *, wall: str) -> Outcomes:
        seen.append(variation.size)
        return product_of_factors(case, variation, wall=wall)

    assess(case(), simulate=simulate, samples=4 * BLOCK, indices=False)
    assert seen == [BLOCK] * 4


def test_a_seed_repeats_its_result_and_another_does_not() -> None:
    one = assess(case(), simulate=product_of_factors, samples=256, seed=1, indices=False)
    assert assess(case(), simulate=product_of_factors, samples=256, seed=1, indices=False) == one
    other = assess(case(), simulate=product_of_factors, samples=256, seed=2, indices=False)
    assert other.shelf_life_days != one.shelf_life_days
    assert (one.seed, other.seed) == (1, 2)


def test_samples_and_seed_are_those_of_the_case_unless_said_otherwise() -> None:
    found = assess(case(samples=100, seed=9), simulate=product_of_factors, indices=False)
    assert (found.samples, found.seed) == (128, 9)


def test_progress_counts_every_sample_to_the_total() -> None:
    seen: list[tuple[int, int]] = []
    assess(case(), simulate=product_of_factors, samples=4096, progress=lambda d, t: seen.append((d, t)))
    done = [d for d, _ in seen]
    assert done == sorted(done) and done[-1] == seen[0][1]
    assert {t for _, t in seen} == {4096 + (3 + 2) * 512}


def test_the_wall_is_said_and_passed_on() -> None:
    seen = set()

    def simulate(case: Case, variation: Variation, *, wall: str) -> Outcomes:
        seen.add(wall)
        return product_of_factors(case, variation, wall=wall)

    found = [
        assess(replace(case(), wall=w), simulate=simulate, samples=64, indices=False).wall
        for w in ("auto", "steady", "transient")
    ]
    # nothing is known of how this wall stores gas, so that the prediction itself takes it as steady
    assert found == ["steady", "steady", "transient"] and seen == set(found)
    assert assess(case(), simulate=simulate, samples=64, wall="transient", indices=False).wall == "transient"


def test_a_steady_wall_has_no_uncertain_diffusivity() -> None:
    base = case()
    material = banded()
    band = replace(material.bands["O2"], spread=0.4)
    material = replace(
        material,
        diffusivity={"O2": DiffusionLaw(296.15, 1e-12, 0.0)},
        bands={**material.bands, "O2 diffusivity": band},
    )
    base = replace(base, package=base.package.with_walls({"wall": Wall("wall", (Layer(material, 1e-4),))}))
    names = {
        wall: {s.name for s in assess(base, simulate=product_of_factors, samples=64, wall=wall).spreads}
        for wall in ("steady", "transient")
    }
    assert names["transient"] - names["steady"] == {"O2 diffusivity of plain"}


def test_a_package_against_itself_lasts_at_least_as_long_in_every_sample() -> None:
    found = compare_on_common_numbers(case(), case(), simulate=product_of_factors, samples=512)
    assert found.at_least_as_long == 1.0
    assert found.now == found.before


def test_on_common_numbers_a_slightly_thicker_wall_lasts_longer_for_certain() -> None:
    """Every input is shared and the life is proportional to the thickness. With numbers of their own it would
    be Phi(ln 1.02 / (sigma sqrt 2)), little more than a half."""
    thicker = compare_on_common_numbers(
        scaled(case(), 1.02), case(), simulate=product_of_factors, samples=512
    )
    thinner = compare_on_common_numbers(
        scaled(case(), 0.98), case(), simulate=product_of_factors, samples=512
    )
    assert (thicker.at_least_as_long, thinner.at_least_as_long) == (1.0, 0.0)


def test_a_change_of_material_keeps_its_own_uncertainty() -> None:
    """The ratio of the lives has only the two permeabilities in it; thickness and limit cancel:
    Phi(ln 1.1 / sqrt(2 ln(1 + s^2)))."""
    base = case()
    other = Layer(banded("another"), 110e-6)
    changed = replace(base, package=base.package.with_walls({"wall": Wall("wall", (other,))}))
    found = compare_on_common_numbers(changed, base, simulate=product_of_factors, samples=2**13)
    exact = NORMAL.cdf(math.log(1.1) / math.sqrt(2 * math.log1p(SPREADS["permeability"] ** 2)))
    assert found.at_least_as_long == pytest.approx(exact, abs=0.008)
    assert 0.0 < found.error < 0.008


def test_two_packages_are_compared_as_far_as_both_are_looked_at() -> None:
    """The baseline is looked at for 20 days only, in which no sample ends: nothing is known to be shorter."""
    found = compare_on_common_numbers(
        scaled(case(target=None), 0.5),
        case(target=None, horizon=20 * DAY),
        simulate=product_of_factors,
        samples=256,
    )
    assert found.at_least_as_long == 1.0


def test_the_light_version_gives_the_probability_of_the_full_one() -> None:
    full = assess(case(), simulate=product_of_factors, samples=1024, seed=4, indices=False)
    light = probability_of_passing(case(), simulate=product_of_factors, samples=1024, seed=4)
    assert (light.probability, light.error) == (full.probability, full.probability_error)


def test_tightening_by_the_excess_gives_the_confidence_asked_for() -> None:
    """A wall thicker by the excess in the sample at 95 % passes in 95 % of the samples."""
    excess = probability_of_passing(case(), simulate=product_of_factors, samples=1024).excess
    assert excess > 0.0
    tight = probability_of_passing(scaled(case(), 1.0 + excess), simulate=product_of_factors, samples=1024)
    assert tight.probability == pytest.approx(0.95, abs=2 / 1024)


def test_simulated_walls_give_the_closed_form_where_the_inside_stays_empty() -> None:
    """A headspace so large that next to nothing builds up in it: the flow is constant, P p A / thickness, and
    the life is limit / flow, the closed form of the other tests in every sample."""
    base = case(target=None)
    vacant = Headspace(1.0, True, {"N2": 1.0})
    base = replace(base, product=replace(base.product, headspace=vacant))
    flow = float(exchange_of(base).conductance["O2"].ravel()[0]) * 0.2095 * ATMOSPHERE  # the air is dry
    limit = flow * LIFE * MOLAR_MASS["O2"] / base.product.mass
    base = replace(
        base,
        product=replace(base.product, limits=(Limit("oxygen_gain", limit),)),
        storage=still(humidity=0.0),
    )
    found = assess(base, samples=64, wall="steady", indices=False)
    exact = assess(base, samples=64, wall="steady", indices=False, simulate=product_of_factors)
    assert found.life_days == pytest.approx(exact.life_days, rel=2e-4)


def test_samples_that_pass_are_those_whose_life_reaches_the_target() -> None:
    variation = draw(inputs_of(case()), 256, 1)
    found = product_of_factors(case(), variation, wall="steady")
    assert np.array_equal(passing(found, 80 * DAY), found.excess[:, 0] <= 0.0)

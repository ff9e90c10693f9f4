"""Designs at a confidence: so likely to pass as asked, on numbers that the search has not seen, and no dearer
than need be.

The packages are invented (``films``). The quantity is a product of lognormal factors, so its quantiles are
known: sigma^2 is the sum of ln(1 + spread^2) (Aitchison and Brown, The Lognormal Distribution, 1957).
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from statistics import NormalDist
from typing import Any

import pytest
from typer.testing import CliRunner

from optimizer.cli.app import app
from optimizer.design.options import DesignOptions
from optimizer.design.solve import solve_design
from optimizer.errors import InputError
from optimizer.physics.sorption import GAB
from optimizer.report.design import design_page
from optimizer.results import DesignResult
from optimizer.shelflife.package import (
    Case,
    ClosurePart,
    GivenConductance,
    Layer,
    Limit,
    MoistureModel,
    Wall,
)
from optimizer.uncertainty.run import probability_of_passing

from .films import AREA, SLOW, P, film, options, package, steady, stored
from .test_solve import DRINK

THICKNESS = 300e-6
SPREADS = (0.15, 0.1)  # of the permeability and of the thickness
SIGMA = math.sqrt(sum(math.log1p(s * s) for s in SPREADS))
GIVEN: dict[str, Any] = {"thickness": {"wall": SPREADS[1]}, "samples": 16384}


def answer(case: Case, asked: DesignOptions, confidence: float | None, **keywords: Any) -> DesignResult:
    return solve_design(case, asked, confidence=confidence, **{"binding_time": 0.0, **keywords})


def thickness(result: DesignResult) -> float:
    """Of the one layer [m]."""
    (layers,) = result.structure.values()
    return layers[0].thickness_um * 1e-6


def z(confidence: float) -> float:
    return NormalDist().inv_cdf(confidence)


def built(case: Case, asked: DesignOptions, result: DesignResult) -> Case:
    """The case with the walls of the result."""
    by_name = {m.name: m for m in asked.candidates}
    walls = {
        name: Wall(name, tuple(Layer(by_name[x.material], x.thickness_um * 1e-6) for x in layers))
        for name, layers in result.structure.items()
    }
    return replace(case, package=case.package.with_walls(walls))


@pytest.fixture(scope="module")
def one() -> tuple[Case, DesignOptions]:
    """One film; what is gained goes with permeability over thickness."""
    plain = film()
    return package(steady(THICKNESS), plain, **GIVEN), options(plain)


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_the_thickness_is_that_of_the_closed_form(one: tuple[Case, DesignOptions], confidence: float) -> None:
    """thickness = (thickness without) * exp(z sigma)."""
    case, asked = one
    result = answer(case, asked, confidence)
    assert result.status == "optimal"
    assert thickness(result) == pytest.approx(THICKNESS * math.exp(z(confidence) * SIGMA), rel=0.01)
    assert result.lower_bound is not None and result.objective is not None
    assert 0.998 * result.objective < result.lower_bound <= result.objective


@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_an_independent_sample_shows_the_probability_asked_for(
    one: tuple[Case, DesignOptions], confidence: float
) -> None:
    case, asked = one
    result = answer(case, asked, confidence)
    assert result.confidence is not None
    seen = {result.confidence["seed"], result.confidence["fresh_seed"]}
    assert 4711 not in seen
    found = probability_of_passing(built(case, asked, result), seed=4711, samples=16384, wall="steady")
    error = math.hypot(found.error, result.confidence["probability_error"])
    assert found.probability >= confidence - 2.0 * error
    assert found.probability < confidence + 0.01  # and not much more, which would be dearer than need be


@pytest.mark.slow
def test_more_confidence_is_never_cheaper(one: tuple[Case, DesignOptions]) -> None:
    case, asked = one
    found = [answer(case, asked, c) for c in (None, 0.6, 0.8, 0.9, 0.95, 0.99)]
    values = [r.objective for r in found]
    assert all(v is not None for v in values)
    assert values == sorted(v for v in values if v is not None)
    for result in found[1:]:
        assert result.confidence is not None and result.objective is not None
        assert result.confidence["objective_without"] == pytest.approx(values[0])
        assert result.confidence["price"] == pytest.approx(result.objective - (values[0] or 0.0), abs=1e-12)
        assert result.confidence["probability"] >= result.confidence["asked"]


def test_nothing_changes_where_the_optimum_is_likely_enough_to_pass(
    one: tuple[Case, DesignOptions],
) -> None:
    """The median wall just meets its limit, so about half of the samples pass: more than 30 %."""
    case, asked = one
    result, plain = answer(case, asked, 0.3), answer(case, asked, None)
    assert thickness(result) == thickness(plain)
    assert result.confidence is not None
    assert (result.confidence["price"], result.confidence["searches"]) == (0.0, 0)
    assert result.confidence["probability"] == pytest.approx(0.5, abs=0.02)
    assert plain.confidence is None and plain.predicted is not None and plain.predicted.uncertainty is None


def test_a_well_known_film_beats_a_cheaper_one_that_is_uncertain() -> None:
    """Cost at the confidence: price * exp(z sigma), with the spread of the film and that of the thickness."""
    wide, narrow = film("wide", spread=0.4, price=1.5), film("narrow", spread=0.02, price=1.8)
    case, asked = package(steady(THICKNESS), wide, **GIVEN), options(wide, narrow)
    plain, sure = answer(case, asked, None), answer(case, asked, 0.95)
    costs = {
        m.name: (m.price or 0.0) * math.exp(z(0.95) * math.sqrt(math.log1p(s**2) + math.log1p(0.01)))
        for m, s in ((wide, 0.4), (narrow, 0.02))
    }
    assert costs["narrow"] < 0.75 * costs["wide"]
    assert [x.material for x in plain.structure["wall"]] == ["wide"]
    assert [x.material for x in sure.structure["wall"]] == ["narrow"]
    assert plain.objective is not None and sure.objective is not None
    assert sure.objective / plain.objective == pytest.approx(costs["narrow"] / 1.5, rel=0.01)


@pytest.mark.slow
def test_limits_share_the_risk() -> None:
    """Oxygen and water limits, each met by the median wall: both keep their reserve, and together they pass
    as likely as asked."""
    plain = film()
    case, asked = package(steady(THICKNESS), plain, **GIVEN), options(plain)
    moisture = MoistureModel(0.45, GAB(0.045, 12.0, 0.93), 0.15)
    limits = (*case.product.limits, Limit("water_gain", 0.0101))
    product = replace(case.product, water_activity=None, moisture=moisture, limits=limits)
    case = replace(case, product=product, storage=(replace(case.storage[0], humidity=0.5),))
    result = answer(case, asked, 0.9)
    assert result.predicted is not None and result.predicted.uncertainty is not None
    assert result.confidence is not None and result.confidence["probability"] >= 0.9
    found = probability_of_passing(built(case, asked, result), seed=4711, samples=16384, wall="steady")
    assert found.probability == pytest.approx(0.9, abs=0.01)
    ends = result.predicted.uncertainty.ended_by
    assert min(ends["oxygen_gain"], ends["water_gain"]) > 0.1


# -- where there is none -------------------------------------------------------------------------------------


@pytest.mark.slow
def test_where_the_gauge_ends_the_highest_probability_is_told() -> None:
    """A wall of 350 um passes with the probability Phi(ln(350/300) / sigma)."""
    plain = film(gauge=(20e-6, 350e-6))
    case, asked = package(steady(THICKNESS), plain, **GIVEN), options(plain)
    result = answer(case, asked, 0.99)
    exact = NormalDist().cdf(math.log(350 / 300) / SIGMA)
    assert (result.status, result.structure, result.predicted) == ("infeasible", {}, None)
    told = result.confidence
    assert told is not None
    assert told["highest_probability"] == pytest.approx(exact, abs=0.03)
    assert told["highest_probability"] <= exact + 0.01
    assert told["perfect_walls_probability"] == 1.0
    assert result.conflict[0] == "a probability of passing of 99 %"
    assert any("gauge" in c for c in result.conflict)
    assert result.nearest.startswith("Nearest: wall: film 3")
    text = design_page(result).text(width=80)
    assert "INFEASIBLE" in text and "The highest chance reached is" in text


def test_a_closure_that_fails_by_itself_is_named() -> None:
    """The cap alone uses 0.7 of the limit at its median and is uncertain by 60 %: walls that let nothing
    through pass with Phi(ln(1/0.7) / sigma)."""
    cap = ClosurePart("cap", {"O2": GivenConductance(0.7 * P * AREA / THICKNESS, 296.15, 0.0)})
    plain = film()
    spread = {("cap", "O2"): 0.6}
    case = package(steady(THICKNESS), plain, cap, **GIVEN, transmission=spread)
    result = answer(case, options(plain), 0.95)
    exact = NormalDist().cdf(math.log(1 / 0.7) / math.sqrt(math.log1p(0.36)))
    assert result.status == "infeasible"
    assert result.confidence is not None
    assert result.confidence["perfect_walls_probability"] == pytest.approx(exact, abs=0.01)
    assert any("walls that let nothing through" in c for c in result.conflict)


def test_a_package_that_fails_without_a_confidence_is_infeasible_as_before() -> None:
    thin = film(gauge=(20e-6, 100e-6))
    result = answer(package(steady(THICKNESS), thin, **GIVEN), options(thin), 0.95)
    assert result.status == "infeasible"
    assert result.confidence == {"asked": 0.95}
    assert design_page(result).text(width=80)


# -- what is asked -------------------------------------------------------------------------------------------


def test_the_confidence_of_the_project_counts_unless_another_is_given(
    one: tuple[Case, DesignOptions],
) -> None:
    case, asked = one
    small = replace(case, uncertainty=replace(case.uncertainty, confidence=0.8, samples=1024))
    own, other = answer(small, asked, None), answer(small, asked, 0.95)
    assert own.confidence is not None and own.confidence["asked"] == 0.8
    assert other.confidence is not None and other.confidence["asked"] == 0.95
    assert own.objective is not None and other.objective is not None
    assert own.objective < other.objective


def test_a_confidence_without_a_target_is_refused(one: tuple[Case, DesignOptions]) -> None:
    case, asked = one
    with pytest.raises(InputError, match="a confidence needs a target"):
        answer(replace(case, target=None), asked, 0.95)


def test_a_confidence_without_a_limit_of_the_product_is_refused(one: tuple[Case, DesignOptions]) -> None:
    case, asked = one
    with pytest.raises(InputError, match="a confidence needs a limit of the product"):
        answer(replace(case, product=replace(case.product, limits=())), asked, 0.95)


def test_few_samples_for_a_high_confidence_are_said_to_tell_little(one: tuple[Case, DesignOptions]) -> None:
    case, asked = one
    few = replace(case, uncertainty=replace(case.uncertainty, samples=256))
    result = answer(few, asked, 0.99)
    assert any("256 samples tell little" in w and "1024 or more" in w for w in result.warnings)


def test_spreads_of_layers_count_for_materials_that_the_walls_of_the_project_lack() -> None:
    """The spread of layers of 'new' is known, 'old' is what the project has: sigma has a third part."""
    old, new = film("old", price=3.0), film("new")
    given = GIVEN | {"layers": {("elsewhere", "new"): 0.2}}
    case, asked = package(steady(THICKNESS), old, **given), options(old, new)
    result = answer(case, asked, 0.95)
    assert [x.material for x in result.structure["wall"]] == ["new"]
    sigma = math.hypot(SIGMA, math.sqrt(math.log1p(0.04)))
    assert thickness(result) == pytest.approx(THICKNESS * math.exp(z(0.95) * sigma), rel=0.01)
    assert result.predicted is not None and result.predicted.uncertainty is not None
    names = [s.name for s in result.predicted.uncertainty.spreads]
    assert "thickness of new in wall 'wall'" in names


# -- stopped -------------------------------------------------------------------------------------------------


def test_stopped_before_the_confidence_is_reached_says_what_was(one: tuple[Case, DesignOptions]) -> None:
    case, asked = one
    said: list[str] = []
    result = answer(case, asked, 0.95, progress=said.append, stop=lambda: any("probab" in s for s in said))
    assert (result.status, result.stopped_by) == ("time_limit", "interrupt")
    assert result.warnings
    assert result.confidence is not None and result.confidence["asked"] == 0.95
    assert result.predicted is None or "probability was not proved" in " ".join(result.warnings)
    assert design_page(result).text(width=80)


def test_stopped_before_the_proof_on_a_fresh_sample_says_that_it_lacks(
    one: tuple[Case, DesignOptions],
) -> None:
    case, asked = one
    case = replace(case, uncertainty=replace(case.uncertainty, samples=4096))
    said: list[str] = []
    result = answer(case, asked, 0.95, progress=said.append, stop=lambda: any("fresh" in s for s in said))
    assert (result.status, result.stopped_by) == ("time_limit", "interrupt")
    assert result.predicted is not None and result.predicted.passes
    assert result.confidence is not None and result.confidence["probability"] is None
    assert any("not proved on a fresh sample" in w for w in result.warnings)
    assert design_page(result).text(width=80)


# -- transient, and from a file ------------------------------------------------------------------------------


@pytest.mark.slow
def test_walls_in_transient_are_sampled_in_transient() -> None:
    slow = film(diffusivity=SLOW)
    limit = steady(THICKNESS) + stored(THICKNESS) / 3
    case, asked = package(limit, slow, thickness={"wall": 0.1}, samples=2048), options(slow)
    result = answer(case, asked, 0.95)
    assert result.status == "optimal"
    assert result.confidence is not None and result.confidence["wall"] == "transient"
    assert result.predicted is not None and result.predicted.uncertainty is not None
    assert result.predicted.uncertainty.wall == "transient"
    found = probability_of_passing(built(case, asked, result), seed=4711, samples=2048, wall="transient")
    assert found.probability >= 0.95 - 2.0 * found.error
    assert found.probability < 0.97


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "drink.yaml"
    given = "wall: steady\nuncertainty: {thickness: {bottle: 8 %}, samples: 1024, seed: 3}\n"
    path.write_text(DRINK + given, encoding="utf-8")
    return path


@pytest.mark.slow
def test_the_command_shows_and_saves_the_confidence(file: Path, tmp_path: Path) -> None:
    target = tmp_path / "answer.json"
    ran = CliRunner().invoke(
        app, ["design", str(file), "--confidence", "90 %", "--time-limit", "2 min", "--json", str(target)]
    )
    assert ran.exit_code == 0, ran.output
    assert "Confidence: 90 % asked for" in ran.output
    saved = json.loads(target.read_text(encoding="utf-8"))
    told = saved["confidence"]
    assert told["asked"] == 0.9 and told["probability"] >= 0.9 and told["price"] > 0.0
    assert saved["objective"] == pytest.approx(told["objective_without"] + told["price"])
    assert set(told["reserve"]) == {"oxygen_gain", "water_loss"}
    assert saved["uncertainty"]["probability"] == told["probability"]
    assert (saved["passes"], saved["confidence_asked"]) == (True, 0.9)


@pytest.mark.parametrize("text", ["95", "0 %", "100 %", "sure"])
def test_a_confidence_that_is_none_is_refused(file: Path, text: str) -> None:
    ran = CliRunner().invoke(app, ["design", str(file), "--confidence", text])
    assert ran.exit_code == 2
    assert "--confidence" in ran.output and "Traceback" not in ran.output

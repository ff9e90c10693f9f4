"""Designs whose walls are in transient: the answer holds there, and is no dearer than need be.

The packages are invented; their closed forms are derived in ``films``.
"""

from __future__ import annotations

import math
import time
from dataclasses import replace
from typing import Any

import pytest

from optimizer.constants import DAY
from optimizer.design.judge import ByPrediction, Verdict
from optimizer.design.optimise import optimise
from optimizer.design.options import DesignOptions
from optimizer.design.settled import settle
from optimizer.design.solve import solve_design
from optimizer.design.tradeoff import tradeoff
from optimizer.design.work import Work
from optimizer.physics.material import Scavenger
from optimizer.report.design import design_page
from optimizer.results import DesignResult, PredictResult
from optimizer.shelflife.package import Case, Layer, Wall
from optimizer.shelflife.predict import predict

from .films import FAST, NITROGEN, SLOW, TARGET, film, options, package, steady, stored, thickness_of


def answer(case: Case, asked: DesignOptions, **keywords: Any) -> DesignResult:
    return solve_design(case, asked, **{"binding_time": 0.0, **keywords})


def thickness(result: DesignResult) -> float:
    """Of the one layer [m]."""
    (layers,) = result.structure.values()
    return layers[0].thickness_um * 1e-6


def predicted(case: Case, asked: DesignOptions, thickness: float) -> PredictResult:
    wall = Wall("wall", (Layer(asked.candidates[0], thickness),))
    return predict(replace(case, package=case.package.with_walls({"wall": wall})))


def test_a_film_stored_in_air_is_made_thicker_by_what_it_gives_off() -> None:
    """steady + stored / 3 = limit."""
    limit = steady(300e-6) + stored(300e-6) / 3
    slow = film(diffusivity=SLOW)
    case, asked = package(limit, slow), options(slow)
    result = answer(case, asked)
    assert thickness_of(limit, 1 / 3) == pytest.approx(300e-6)
    assert thickness(result) == pytest.approx(300e-6, rel=2e-4)
    assert result.status == "optimal" and result.predicted is not None
    assert result.predicted.wall_model == "transient" and result.predicted.passes
    assert predicted(case, asked, thickness(result)).passes
    assert not predicted(case, asked, 0.99 * thickness(result)).passes


def test_the_steady_optimum_of_that_film_fails_in_transient() -> None:
    """So the correction is needed at all."""
    slow = film(diffusivity=SLOW)
    limit = steady(300e-6) + stored(300e-6) / 3
    case, asked = package(limit, slow), options(slow)
    best = optimise(case, asked)
    assert best.choice is not None and best.predicted is not None and best.predicted.passes
    assert not predicted(case, asked, float(best.choice.flat[0])).passes


def test_a_film_stored_in_nitrogen_is_made_thinner_by_what_it_takes_up() -> None:
    """steady - stored / 6 = limit: the time lag helps."""
    limit = steady(300e-6) - stored(300e-6) / 6
    slow = film(diffusivity=SLOW)
    case, asked = package(limit, slow, before=NITROGEN, wall="transient"), options(slow)
    result = answer(case, asked)
    plain = answer(replace(case, wall="steady"), asked)
    assert thickness_of(limit, -1 / 6) == pytest.approx(300e-6)
    assert thickness(result) == pytest.approx(300e-6, rel=1e-3)
    assert result.objective is not None and plain.objective is not None
    assert result.objective < 0.98 * plain.objective
    assert result.predicted is not None and result.predicted.passes
    assert not predicted(case, asked, 0.99 * thickness(result)).passes


@pytest.mark.parametrize("wall", ["auto", "transient"])
def test_nothing_changes_where_steady_walls_suffice(wall: str) -> None:
    fast = film(diffusivity=FAST)
    case, asked = package(steady(300e-6), fast, wall=wall), options(fast)
    result = answer(case, asked)
    best = optimise(case, asked)
    assert best.choice is not None
    assert thickness(result) == pytest.approx(float(best.choice.flat[0]), abs=1e-12)
    assert "corrected_to" not in result.solver
    assert not any("corrected" in a for a in result.assumptions)
    assert result.predicted is not None
    assert result.predicted.wall_model == ("steady" if wall == "auto" else "transient")


def test_where_steady_walls_are_asked_for_they_are_designed() -> None:
    slow = film(diffusivity=SLOW)
    limit = steady(300e-6) + stored(300e-6) / 3
    result = answer(package(limit, slow, wall="steady"), options(slow))
    assert thickness(result) == pytest.approx(thickness_of(limit, 0.0), rel=1e-4)


def test_a_tradeoff_stays_with_steady_walls_and_says_so() -> None:
    slow = film(diffusivity=SLOW)
    limit = steady(300e-6) + stored(300e-6) / 3
    found = tradeoff(package(limit, slow), options(slow), points=3)
    assert any("Walls are steady at every point" in a for a in found.assumptions)
    (there,) = [p for p in found.points if p.shelf_life_days == pytest.approx(TARGET / DAY, rel=1e-6)]
    assert there.structure["wall"][0].thickness_um * 1e-6 == pytest.approx(thickness_of(limit, 0.0), rel=1e-3)


def test_the_reserve_is_kept_in_transient() -> None:
    slow = film(diffusivity=SLOW)
    limit = (steady(300e-6) + stored(300e-6) / 3) / 0.8
    result = answer(package(limit, slow), options(slow, reserve=0.2))
    assert thickness(result) == pytest.approx(300e-6, rel=2e-3)
    assert result.predicted is not None
    assert result.predicted.limits[0].margin_pct == pytest.approx(20.0, abs=0.05)


def test_what_is_proved_is_said() -> None:
    slow = film(diffusivity=SLOW)
    limit = steady(300e-6) + stored(300e-6) / 3
    result = answer(package(limit, slow), options(slow))
    share = steady(300e-6) / limit
    assert result.solver["corrected_to"] == {"oxygen_gain": pytest.approx(share, rel=1e-3)}
    assert result.solver["searches"] == 2
    (text,) = [a for a in result.assumptions if "corrected for" in a]
    shown = 100 * result.solver["corrected_to"]["oxygen_gain"]
    assert "walls in transient" in text and f"oxygen gain {shown:.4g} %" in text
    assert result.lower_bound is not None and result.objective is not None
    assert 0.998 * result.objective < result.lower_bound <= result.objective
    page = design_page(result).text(width=80)
    assert "Walls: transient, because" in page
    assert "under these rules and the corrected limits" in " ".join(page.split())


def test_a_film_that_gives_off_too_much_at_any_thickness_gives_way_to_another() -> None:
    """steady + stored / 3 is least, 2 sqrt(steady stored / 3), where both are equal; the limit is below."""
    least = 2.0 * (steady(1.0) * stored(1.0, SLOW / 20) / 3) ** 0.5
    cheap, dear = film("cheap", diffusivity=SLOW / 20), film("dear", diffusivity=FAST, price=2.5)
    limit = 0.8 * least
    case = package(limit, cheap)
    alone = answer(case, options(cheap))
    assert (alone.structure, alone.predicted) == ({}, None)
    assert any("fail with walls in transient" in w for w in alone.warnings)
    assert "NONE FOUND: no structure that passes among those tried" in design_page(alone).text(width=100)
    both = answer(case, options(cheap, dear))
    assert [x.material for x in both.structure["wall"]] == ["dear"]
    assert both.predicted is not None and both.predicted.passes
    assert (both.status, both.stopped_by) == ("time_limit", "unsettled")
    assert any("did not settle" in w for w in both.warnings)
    assert both.lower_bound is not None and both.objective is not None
    assert 0.0 < both.lower_bound < both.objective
    assert "NOT SETTLED: best found so far" in design_page(both).text(width=100)


def test_whole_steps_of_gauge_are_kept_in_transient() -> None:
    slow = film(diffusivity=SLOW)
    limit = steady(300e-6) + stored(300e-6) / 3
    case, asked = package(limit, slow), options(slow, gauge_step=7e-6)
    result = answer(case, asked)
    assert thickness(result) == pytest.approx(43 * 7e-6, abs=1e-9)  # 301 um, the next above 300
    assert result.predicted is not None and result.predicted.passes


def test_an_interrupt_while_limits_are_corrected_returns_what_passes() -> None:
    slow = film(diffusivity=SLOW)
    case, asked = package(steady(300e-6) + stored(300e-6) / 3, slow), options(slow)
    judged: list[Verdict] = []

    class Listening(ByPrediction):
        def __call__(self, *given: Any) -> Verdict:
            judged.append(super().__call__(*given))
            return judged[-1]

    work = Work(case, asked, 1e-3, time.monotonic() + 600.0, lambda: bool(judged))
    found = settle(work, Listening(work)).optimum
    assert not judged[0].passes  # the steady optimum, after which nothing more is searched
    assert (found.status, found.stopped_by) == ("time_limit", "interrupt")
    assert found.choice is not None and found.predicted is not None and found.predicted.passes
    plain = optimise(case, asked)
    assert found.bound == pytest.approx(plain.bound, rel=1e-3)  # of limits that are looser
    assert found.bound < plain.objective < found.objective


def test_a_film_that_uses_oxygen_up_is_made_thinner_than_steady_walls_ask_for() -> None:
    """Steady flow through a film with a first-order reaction and no oxygen inside: that without it times
    phi / sinh phi, phi = l sqrt(k/D) (Thiele's modulus; Crank, The Mathematics of Diffusion, chapter 14)."""
    diffusivity, thick = 1e-12, 300e-6
    rate = diffusivity * (2.0 / thick) ** 2  # phi = 2
    active = film(diffusivity=diffusivity, scavenger=Scavenger("O2", rate, 296.15))
    limit = steady(thick) * 2.0 / math.sinh(2.0)
    result = answer(package(limit, active, before=NITROGEN), options(active))
    assert result.status == "optimal"
    assert thickness(result) == pytest.approx(thick, rel=1e-3)  # a lag of some hours is left
    assert result.solver["corrected_to"]["oxygen_gain"] == pytest.approx(math.sinh(2.0) / 2.0, rel=2e-3)

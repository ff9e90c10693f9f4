"""The walls that a project gives are the first design: a search never ends with less than its file holds.

The projects, prices and gauges are invented; properties come from the shipped table.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import optimizer
from optimizer.design import closing as closing_module
from optimizer.design import optimise as optimise_module
from optimizer.design.demands import build
from optimizer.design.exact import ExactModel
from optimizer.design.given import first_design, given_choice
from optimizer.design.judge import ByPrediction
from optimizer.design.lattice import StepPolisher
from optimizer.design.optimise import optimise
from optimizer.design.optimum import nothing
from optimizer.design.polish import Polisher, linear_rules
from optimizer.design.problem import Demand, Problem, Term
from optimizer.design.search import Search
from optimizer.design.settled import settle
from optimizer.design.small import SmallSolver
from optimizer.design.solve import solve_design
from optimizer.design.work import Work
from optimizer.project import Project
from optimizer.shelflife.predict import predict

UM = 1e-6

#: Oxygen holds such a tray between the least barrier and the most, and the thick PP must lie inside of it.
TRAY = """\
format: 1
title: Stew in a retort tray (invented)
materials:
  - {name: PP,      price: 1.3 EUR/kg, gauge: {min: 100 um, max: 1500 um}}
  - {name: tie PP,  price: 2.9 EUR/kg, gauge: {min: 8 um, max: 60 um}}
  - {name: EVOH 32, price: 7.0 EUR/kg, gauge: {min: 10 um, max: 80 um}}
  - {name: PET,     price: 2.3 EUR/kg, gauge: 12 um}
product:
  mass: 400 g
  volume: 390 mL
  water_activity: 0.98
  headspace: {volume: 40 mL, walls: rigid, gas: {O2: 2 %, N2: 98 %}}
  oxygen: {dissolves_like: water, consumption: {order: 1, rate: 0.5 1/day, temperature: 23 degC}}
  limits: {oxygen_gain: 15.6 mg/kg, water_loss: 2 %}
package:
  parts:
    tray: {area: 500 cm2, wall: tray}
walls:
  tray:
    layers:
      - {material: PP, thickness: PP_UM um}
      - {material: tie PP, thickness: 15 um}
      - {material: EVOH 32, thickness: EVOH_UM um}
      - {material: tie PP, thickness: 15 um}
      - {material: PP, thickness: PP_UM um}
storage:
  - {name: store, duration: 12 months, temperature: 23 degC, humidity: 50 %}
target: {shelf_life: 12 months}
design:
  walls: [tray]
  minimise: cost
  choose_from: [PP, tie PP, EVOH 32]
  rules:
    max_layers: 5
    gauge_step: 1 um
    total_thickness: {min: 700 um, max: 1300 um}
    inside: seal
    outside: print
    reserve: 10 %
"""


def tray(folder: Path, pp: float = 530, evoh: float = 46, *changes: tuple[str, str]) -> Project:
    text = TRAY.replace("PP_UM", str(pp)).replace("EVOH_UM", str(evoh))
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "tray.yaml"
    path.write_text(text, encoding="utf-8")
    return optimizer.load_project(path)


def rules_of(project: Project) -> Problem:
    assert project.design is not None
    walls = project.case.package.walls
    given = {w: walls[w] for w in project.design.walls}
    return build(project.case, project.design, given, {w: x.thickness for w, x in given.items()}).problem


LOOSE = ("oxygen_gain: 15.6", "oxygen_gain: 20")
STEPLESS = ("    gauge_step: 1 um\n", "")


@pytest.mark.parametrize("seconds", [1e-6, 60.0])
@pytest.mark.parametrize(
    ("pp", "evoh", "changes"),
    [(530, 46, ()), (530, 80, ()), (600, 46, (STEPLESS,)), (400, 31, (LOOSE,))],
)
def test_a_given_wall_that_passes_is_never_dearer_than_the_answer(
    pp: float, evoh: float, changes: tuple[tuple[str, str], ...], seconds: float, tmp_path: Path
) -> None:
    """Its cost is that of the bill of ``predict``."""
    project = tray(tmp_path, pp, evoh, *changes)
    alone = optimizer.predict(project)
    assert alone.passes and all(x.margin_pct is None or x.margin_pct >= 10.0 for x in alone.limits)
    assert alone.cost_per_package is not None
    assert project.design is not None
    result = solve_design(project.case, project.design, time_limit=seconds, gap=0.05, binding_time=0.0)
    assert result.predicted is not None and result.predicted.passes
    assert result.objective is not None and result.lower_bound is not None
    assert result.lower_bound <= result.objective <= alone.cost_per_package * (1.0 + 1e-9)


def test_a_given_wall_that_fails_is_thickened_before_any_search(tmp_path: Path) -> None:
    project = tray(tmp_path, 530, 15)
    assert not optimizer.predict(project).passes
    assert project.design is not None
    polisher = StepPolisher(ExactModel(rules_of(project)))
    found = first_design(polisher, project.design, project.case.package.walls)
    assert found is not None
    demand = polisher.exact.demand_values(found.sequences, found.flat[None, :])
    assert demand.max() <= 1.0
    lines: list[str] = []
    solve_design(project.case, project.design, gap=0.05, binding_time=0.0, progress=lines.append)
    assert lines[0].startswith("the walls given, or thicker ones, pass")


def test_a_search_that_finds_nothing_still_returns_the_given_wall(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = tray(tmp_path)
    assert project.design is not None
    monkeypatch.setattr(optimise_module._Run, "_rounds", lambda *_: nothing("time"))
    found = optimise(project.case, project.design)
    assert found.choice is not None and found.status == "time_limit"
    np.testing.assert_allclose(found.choice.flat / UM, [530, 15, 46, 15, 530])
    assert found.bound == 0.0 and found.predicted is not None and found.predicted.passes


def test_limits_corrected_for_the_walls_model_keep_the_given_wall_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = tray(tmp_path)
    assert project.design is not None
    monkeypatch.setattr(Work, "optimise", lambda *_: nothing("time"))
    work = Work(project.case, project.design, 1e-3, time.monotonic() + 60.0, lambda: False)
    found = settle(work, ByPrediction(work)).optimum
    assert found.choice is not None and (found.status, found.stopped_by) == ("time_limit", "time")
    np.testing.assert_allclose(found.choice.flat / UM, [530, 15, 46, 15, 530])


def test_rounds_that_do_not_settle_are_proved_by_the_lowest_of_their_bounds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if the limits moved for ever: bounds that agree prove the design, one that is low does not."""
    project = tray(tmp_path, 530, 46, STEPLESS)
    assert project.design is not None
    monkeypatch.setattr(optimise_module._Run, "_settled", lambda *_: False)
    alike = optimise(project.case, project.design)
    assert (alike.status, alike.settled, alike.ended_by) == ("optimal", False, None)
    assert alike.gap <= 1e-3
    run = Search.run
    calls: list[int] = []

    def lower_before_the_last(self: Search, **keywords: Any) -> Any:
        calls.append(1)
        outcome = run(self, **keywords)
        return replace(outcome, bound=0.9 * outcome.bound) if len(calls) == 6 else outcome

    monkeypatch.setattr(Search, "run", lower_before_the_last)
    moving = optimise(project.case, project.design)
    assert (moving.status, moving.ended_by) == ("time_limit", "unsettled")
    assert moving.objective == pytest.approx(alike.objective, rel=1e-6)
    assert moving.bound == pytest.approx(0.9 * alike.bound, rel=1e-3)


@pytest.mark.parametrize(
    "changes",
    [
        ("gauge_step: 1 um", "gauge_step: 4 um"),
        ("max_layers: 5", "max_layers: 4"),
        ("max: 1300 um", "max: 1100 um"),
        ("choose_from: [PP, tie PP, EVOH 32]", "choose_from: [PP, tie PP, PET]"),
        ("reserve: 10 %", "reserve: 10 %\n    share: {EVOH: {max: 1 %}}"),
    ],
)
def test_a_given_wall_that_breaks_a_rule_is_no_design(changes: tuple[str, str], tmp_path: Path) -> None:
    kept, broken = tray(tmp_path), tray(tmp_path, 530, 46, changes)
    assert kept.design is not None and broken.design is not None
    assert given_choice(kept.case, kept.design) is not None
    assert given_choice(broken.case, broken.design) is None


def test_whole_steps_are_found_where_a_humidity_law_is_flat(tmp_path: Path) -> None:
    """Best by trying every pair of PP and barrier thickness (ties at their least, no law taken as straight);
    the outer approximation alone swaps inside and outside, and ends without a design or with one far
    off."""
    problem = rules_of(tray(tmp_path))
    exact = ExactModel(problem)
    sequence = ((0, 1, 2, 1, 0),)
    inner, barrier = np.meshgrid(np.arange(100.0, 1275.0), np.arange(10.0, 81.0), indexing="ij")
    rest = np.maximum(100.0, 700.0 - 16.0 - barrier - inner)
    x = np.stack([inner, 0 * inner + 8, barrier, 0 * inner + 8, rest], axis=-1).reshape(-1, 5)
    x = x[x.sum(axis=1) <= 1300.0]
    good = x[(exact.demand_values(sequence, x * UM) <= 1.0).all(axis=1)]
    least = float((good @ exact.objective(sequence)).min()) * UM
    start = np.array([530.0, 15.0, 46.0, 15.0, 530.0])
    found = StepPolisher(exact).best(sequence, [start])
    assert found is not None
    assert found.objective <= least * (1.0 + 1e-9)
    plain = Polisher(exact).best(sequence, [start])
    assert plain is None or plain.objective > 1.01 * least


def test_a_thinned_design_has_no_layer_that_could_be_a_step_thinner(tmp_path: Path) -> None:
    polisher = StepPolisher(ExactModel(rules_of(tray(tmp_path))))
    sequence = ((0, 1, 2, 1, 0),)
    found = polisher.thinned(sequence, np.array([530.0, 15.0, 46.0, 15.0, 530.0]))
    rows = linear_rules(polisher.problem, sequence)
    assert polisher.feasible(sequence, found.flat / UM, *rows)
    least = np.array([100.0, 8.0, 10.0, 8.0, 100.0])
    for i in range(5):
        thinner = found.flat / UM
        thinner[i] -= 1.0
        assert thinner[i] < least[i] - 1e-6 or not polisher.feasible(sequence, thinner, *rows)


# -- the proof, cut short ------------------------------------------------------------------------------------


def test_a_whole_number_programme_cut_short_gives_a_bound_and_no_point() -> None:
    rng = np.random.default_rng(0)
    value, weight = rng.integers(1, 50, 60).astype(float), rng.integers(1000, 9999, (5, 60)).astype(float)
    room = np.round(0.37 * weight.sum(axis=1))
    programme = (-value, weight, np.full(5, -np.inf), room, np.zeros(60), np.ones(60), True)
    whole = SmallSolver().solve(*programme)
    assert whole.x is not None
    cut = SmallSolver(most_nodes=1).solve(*programme)
    assert cut.feasible and cut.x is None
    assert -np.inf < cut.value <= whole.value


def test_the_bound_of_a_closing_cut_short_counts_the_sequences_put_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first look at one sequence leaves it open at a low bound, and then the time is up."""
    problem = rules_of(tray(tmp_path, 530, 46, ("choose_from: [PP, tie PP, EVOH 32]", "choose_from: [PP]")))
    wall = replace(problem.walls[0], touching=np.ones_like(problem.walls[0].touching), max_layers=3)
    demand = Demand("water", "H2O", (Term(0, 0, problem.demands[-1].terms[0].weight),))
    search = Search(replace(problem, walls=(wall,), demands=(demand,)))
    left: list[float] = []

    def look(*_: object) -> float:
        left.append(1e-3 * (1 + len(left)))
        return left[-1]

    monkeypatch.setattr(closing_module.Closing, "_close", look)
    monkeypatch.setattr(closing_module.Closing, "polish", lambda *_: None)
    listed = search.closing.all_sequences(100)
    assert listed is not None and len(listed) == 3
    search.closing.begin(1e-3, lambda: len(left) == 2)
    assert search.closing.close_all(search._screen_of(listed)) <= left[0]


# -- the whole answer ----------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_tray_limited_by_oxygen_between_its_gauges_is_proved_in_seconds(tmp_path: Path) -> None:
    """Nothing came of it in two minutes: the rounding found no design, so every box was searched to the
    end."""
    project = tray(tmp_path)
    begin = time.process_time()
    result = optimizer.solve_design(project, time_limit=120.0)
    assert time.process_time() - begin < 60.0
    assert (result.status, result.stopped_by) == ("optimal", None)
    assert result.predicted is not None and result.objective is not None
    alone = predict(project.case)
    assert alone.cost_per_package is not None
    assert result.objective < 0.7 * alone.cost_per_package


@pytest.mark.slow
def test_a_search_that_finds_no_design_keeps_its_time_and_says_where_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(StepPolisher, "lattice", lambda *_: None)
    monkeypatch.setattr(optimise_module, "first_design", lambda *_: None)
    monkeypatch.setattr(optimise_module._Run, "given", None)
    lines: list[str] = []
    begin = time.monotonic()
    result = optimizer.solve_design(tray(tmp_path), time_limit=8.0, progress=lines.append)
    assert time.monotonic() - begin < 14.0  # HiGHS works in threads: its processor time says little
    assert (result.status, result.stopped_by) == ("time_limit", "time")
    assert any("left to settle: no design yet" in line for line in lines)

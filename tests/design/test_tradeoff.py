"""The frontier on small projects written here: monotone, proved, and where hand calculation says.

Two webs that humidity does not touch, one at a time (``max_layers: 1``): the product takes oxygen up far
faster than it comes in, so the inside stays at nearly no oxygen and the gain is
area * P / l * (pressure of oxygen outside) * time.
Scenarios, prices and properties are invented; the slab equation is the textbook one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import optimizer
from optimizer.constants import DAY
from optimizer.design.differences import difference, of_wall
from optimizer.design.frontier import KINK_TOLERANCE, Frontier
from optimizer.design.halt import Halt
from optimizer.design.longest import LONGEST_TOLERANCE
from optimizer.design.tradeoff import alike, tradeoff
from optimizer.errors import InputError
from optimizer.project import Project
from optimizer.results_tradeoff import Structure, TradeoffResult

#: m2, cm3(STP) um/(m2 day atm), um, kg/m3, EUR/kg
AREA, PLAIN_P, TIGHT_P, PLAIN_RHO, TIGHT_RHO, PLAIN_PRICE, TIGHT_PRICE = (
    0.04,
    4000.0,
    400.0,
    1000.0,
    1200.0,
    1.5,
    4.0,
)
TIGHT_LEAST, TIGHT_MOST = 20.0, 60.0
#: Oxygen outside [atm]: 20.95 % of the dry part of air that holds half of the 2.81 kPa of saturation at
#: 23 degC (steam tables).
OUTSIDE = 0.2095 * (1 - 0.5 * 2.81 / 101.325)
#: Gain allowed in the product, cm3(STP): 100 mg/kg of 0.2 kg.
ALLOWED = 20.0e-3 / 31.998 * 22413.96954

TWO = f"""\
format: 1
title: Two webs (invented)
materials:
  - name: plain
    density: {PLAIN_RHO} kg/m3
    price: {PLAIN_PRICE} EUR/kg
    family: PE
    gauge: {{min: 20 um, max: 800 um}}
    roles: [seal, print, core]
    permeability:
      - {{gas: O2, value: "{PLAIN_P} cm3*um/(m2*day*atm)", temperature: 23 degC, humidity: 0 %,
         activation_energy: 40 kJ/mol}}
      - {{gas: H2O, value: "100 g*um/(m2*day)", temperature: 38 degC, humidity: 90 %,
         activation_energy: 35 kJ/mol}}
  - name: tight
    density: {TIGHT_RHO} kg/m3
    price: {TIGHT_PRICE} EUR/kg
    family: PET
    gauge: {{min: {TIGHT_LEAST} um, max: {TIGHT_MOST} um}}
    roles: [seal, print, core]
    permeability:
      - {{gas: O2, value: "{TIGHT_P} cm3*um/(m2*day*atm)", temperature: 23 degC, humidity: 0 %,
         activation_energy: 40 kJ/mol}}
      - {{gas: H2O, value: "100 g*um/(m2*day)", temperature: 38 degC, humidity: 90 %,
         activation_energy: 35 kJ/mol}}
product:
  mass: 200 g
  volume: 200 mL
  water_activity: 0.3
  headspace: {{volume: 50 mL, walls: rigid, gas: {{O2: 0 %, N2: 100 %}}}}
  oxygen: {{dissolves_like: oil, consumption: {{order: 1, rate: 200 1/day, temperature: 23 degC,
            activation_energy: 50 kJ/mol}}}}
  limits: {{oxygen_gain: 100 mg/kg}}
package:
  parts:
    panel: {{area: {AREA * 1e4} cm2, wall: film}}
walls:
  film: {{layers: [{{material: plain, thickness: 200 um}}]}}
storage:
  - {{name: shelf, duration: 3 months, temperature: 23 degC, humidity: 50 %}}
target: {{shelf_life: 60 days}}
design:
  walls: [film]
  minimise: cost
  choose_from: [plain, tight]
  rules: {{max_layers: 1, inside: any, outside: any, total_thickness: {{max: 300 um}}}}
"""


#: A target that asks for a specification only.
NO_TARGET = (
    "target: {shelf_life: 60 days}",
    "target: {transmission: [{gas: O2, max: 300 cm3/(m2*day*atm), wall: film, temperature: 23 degC, "
    "humidity: 50 %}]}",
)


def project(folder: Path, *changes: tuple[str, str]) -> Project:
    text = TWO
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "project.yaml"
    path.write_text(text, encoding="utf-8")
    return optimizer.load_project(path)


def needed(permeability: float, days: float) -> float:
    """Thickness [um] of a web that lets the allowed gain through in ``days``."""
    return permeability * AREA * OUTSIDE * days / ALLOWED


def cost(density: float, price: float, um: float) -> float:
    return AREA * density * price * um * 1e-6


#: Shelf lives by hand [days]: where the tight web at its smallest gauge costs as much as the plain one, and
#: where its largest gauge ends.
LEAST_COST_OF_TIGHT = cost(TIGHT_RHO, TIGHT_PRICE, TIGHT_LEAST)
KINK = LEAST_COST_OF_TIGHT / cost(PLAIN_RHO, PLAIN_PRICE, needed(PLAIN_P, 1.0))
END = TIGHT_MOST / needed(TIGHT_P, 1.0)


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Project:
    return project(tmp_path_factory.mktemp("two"))


@pytest.fixture(scope="module")
def frontier(two: Project) -> TradeoffResult:
    return optimizer.tradeoff(two, points=7, start=20 * DAY, end=500 * DAY)


def materials(structure: Structure) -> list[str]:
    (layers,) = structure.values()
    return [layer.material for layer in layers]


def solved_at(p: Project, days: float) -> optimizer.results.DesignResult:
    from optimizer.design.solve import solve_design

    assert p.design is not None
    case = replace(p.case, target=days * DAY, horizon=max(3 * days * DAY, p.case.horizon))
    return solve_design(case, p.design)


# -- what it claims ----------------------------------------------------------------------------------------


def test_the_frontier_rises_with_shelf_life_and_every_point_is_proved(frontier: TradeoffResult) -> None:
    assert frontier.status == "complete"
    lives = [p.shelf_life_days for p in frontier.points]
    assert lives == sorted(lives) and len(lives) >= 3
    for a, b in zip(frontier.points, frontier.points[1:], strict=False):
        assert b.objective >= a.objective * (1 - 1e-6)
        assert a.lower_bound is not None and b.lower_bound is not None and b.lower_bound >= a.lower_bound
    for p in frontier.points:
        assert p.gap is not None and 0 <= p.gap <= 1e-3
        assert p.gap == pytest.approx(1 - (p.lower_bound or 0) / p.objective, abs=1e-9)
        assert p.reached_days is not None and p.reached_days >= p.shelf_life_days * (1 - 1e-6)
        assert p.limited_by == "oxygen_gain" and p.unit == "EUR/package"


def test_each_point_costs_what_the_slab_equation_says(frontier: TradeoffResult) -> None:
    """The oxygen left inside, by 200/day against what comes in, is less than a thousandth of that in air."""
    for p in frontier.points:
        plain = cost(PLAIN_RHO, PLAIN_PRICE, max(20.0, needed(PLAIN_P, p.shelf_life_days)))
        tight = cost(TIGHT_RHO, TIGHT_PRICE, max(TIGHT_LEAST, needed(TIGHT_P, p.shelf_life_days)))
        assert p.objective == pytest.approx(min(plain, tight), rel=0.01)


def test_each_point_agrees_with_a_design_at_that_target(two: Project, frontier: TradeoffResult) -> None:
    for p in frontier.points:
        alone = solved_at(two, p.shelf_life_days)
        assert alone.objective is not None and alone.lower_bound is not None and p.lower_bound is not None
        assert alone.lower_bound <= p.objective * (1 + 1e-6)
        assert p.lower_bound <= alone.objective * (1 + 1e-6)
        assert p.objective == pytest.approx(alone.objective, rel=1.01e-3)


def test_the_change_of_web_is_where_both_cost_the_same(frontier: TradeoffResult) -> None:
    (kink,) = frontier.kinks
    low, high = kink.between_days
    assert low <= KINK * 1.01 and high >= KINK * 0.99
    assert high <= low * (1 + KINK_TOLERANCE) * (1 + 1e-9)
    assert kink.change == "plain replaced by tight"
    assert (materials(kink.before), materials(kink.after)) == (["plain"], ["tight"])
    assert kink.objective_before <= kink.objective_after * (1 + 1e-6)


def test_designs_on_both_sides_of_a_change_have_the_structures_it_names(
    two: Project, frontier: TradeoffResult
) -> None:
    (kink,) = frontier.kinks
    for days, structure in (
        (0.99 * kink.between_days[0], kink.before),
        (1.01 * kink.between_days[1], kink.after),
    ):
        assert materials(solved_at(two, days).structure) == materials(structure)


def test_nothing_lasts_longer_than_the_longest(two: Project, frontier: TradeoffResult) -> None:
    longest = frontier.longest_days
    assert longest is not None and frontier.beyond_days is not None
    assert longest == pytest.approx(END, rel=0.01)
    assert longest < frontier.beyond_days <= longest * (1 + 2 * LONGEST_TOLERANCE)
    assert frontier.points[-1].shelf_life_days == longest
    assert solved_at(two, longest).status == "optimal"
    assert solved_at(two, frontier.beyond_days).status == "infeasible"
    assert frontier.longest_because == (
        "the limit on oxygen gain",
        "at most 1 layers",
        "largest gauge of tight, 60 um",
    )


def test_the_points_asked_for_stay_where_they_are_below_the_longest(frontier: TradeoffResult) -> None:
    lives = [p.shelf_life_days for p in frontier.points]
    assert lives[:-1] == pytest.approx([20 + 80 * i for i in range(len(lives) - 1)])
    assert lives[-2] < lives[-1] < lives[-2] + 80


def test_without_a_span_it_is_a_third_to_twice_the_target_and_the_target_is_a_point(two: Project) -> None:
    result = optimizer.tradeoff(two, points=4)
    lives = [p.shelf_life_days for p in result.points]
    assert (lives[0], lives[-1]) == pytest.approx((20, 120))
    assert 60.0 in [pytest.approx(x) for x in lives] and len(lives) == 4
    assert result.longest_days is None and result.longest_because == ()


def test_a_span_that_ends_before_twice_the_target_is_spread_anew(tmp_path: Path) -> None:
    p = project(tmp_path, ("shelf_life: 60 days", f"shelf_life: {0.8 * END:.1f} days"))
    result = optimizer.tradeoff(p, points=5)
    assert result.longest_days == pytest.approx(END, rel=0.01)
    assert len(result.points) == 5 and result.points[-1].shelf_life_days == result.longest_days


# -- what must not matter, and what must -------------------------------------------------------------------


def test_twice_the_prices_give_twice_the_frontier(tmp_path: Path, frontier: TradeoffResult) -> None:
    dearer = project(
        tmp_path,
        (f"price: {PLAIN_PRICE} EUR", f"price: {2 * PLAIN_PRICE} EUR"),
        (f"price: {TIGHT_PRICE} EUR", f"price: {2 * TIGHT_PRICE} EUR"),
    )
    result = optimizer.tradeoff(dearer, points=7, start=20 * DAY, end=500 * DAY)
    for old, new in zip(frontier.points, result.points, strict=True):
        assert new.shelf_life_days == pytest.approx(old.shelf_life_days, rel=1e-6)
        assert new.objective == pytest.approx(2 * old.objective, rel=1e-5)
        assert materials(new.structure) == materials(old.structure)
    assert [k.change for k in result.kinks] == [k.change for k in frontier.kinks]


def test_mass_can_be_minimised_where_the_project_minimises_cost(two: Project) -> None:
    result = optimizer.tradeoff(two, points=3, start=20 * DAY, end=200 * DAY, minimise="mass")
    assert (result.minimised, result.unit) == ("mass", "g/package")
    for p in result.points:
        plain = 1e3 * AREA * PLAIN_RHO * max(20.0, needed(PLAIN_P, p.shelf_life_days)) * 1e-6
        tight = 1e3 * AREA * TIGHT_RHO * max(TIGHT_LEAST, needed(TIGHT_P, p.shelf_life_days)) * 1e-6
        assert p.objective == pytest.approx(min(plain, tight), rel=0.01)
        assert p.mass_g == pytest.approx(p.objective)
        assert p.cost_per_package is not None


def test_a_cost_without_prices_names_the_places_in_the_file(tmp_path: Path) -> None:
    p = project(tmp_path, (f"    price: {TIGHT_PRICE} EUR/kg\n", ""), ("minimise: cost", "minimise: mass"))
    with pytest.raises(
        InputError, match=r"project.yaml:\d+:\d+: design.choose_from\[1\]: 'tight' has no price"
    ):
        optimizer.tradeoff(p, minimise="cost")


@pytest.mark.parametrize(
    ("change", "span", "said"),
    [
        ((), {"points": 1}, "--points: must lie from 2"),
        ((), {"start": 50 * DAY, "end": 40 * DAY}, "the span must grow"),
        ((), {"minimise": "weight"}, "'weight' cannot be minimised"),
        ((NO_TARGET,), {}, "--from"),
        (
            (("limits: {oxygen_gain: 100 mg/kg}", "limits: {}"), NO_TARGET),
            {},
            "no limit of the product depends on time",
        ),
    ],
    ids=["one point", "backwards", "weight", "no target", "no limit"],
)
def test_a_question_that_makes_no_sense_is_refused(
    tmp_path: Path, change: tuple[tuple[str, str], ...], span: dict[str, float], said: str
) -> None:
    p = project(tmp_path, *change)
    with pytest.raises(InputError, match=said):
        optimizer.tradeoff(p, **span)  # type: ignore[arg-type]


def test_a_project_without_a_target_needs_only_the_span(tmp_path: Path) -> None:
    p = project(tmp_path, NO_TARGET)
    result = optimizer.tradeoff(p, points=2, start=20 * DAY, end=40 * DAY)
    assert result.target_days is None and len(result.points) == 2


def test_an_impossible_shortest_life_is_explained(two: Project) -> None:
    result = optimizer.tradeoff(two, points=3, start=2 * END * DAY, end=3 * END * DAY)
    assert result.status == "infeasible" and not result.points and not result.kinks
    assert any("oxygen gain" in text for text in result.conflict)
    assert result.longest_days is None


# -- ended early -------------------------------------------------------------------------------------------


def later(calls: int) -> Callable[[], bool]:
    """False so many times, then True."""
    left = iter(range(calls))
    return lambda: next(left, None) is None


def test_no_time_gives_no_points_and_a_warning(two: Project) -> None:
    result = optimizer.tradeoff(two, time_limit=1e-6)
    assert result.status == "time" and not result.points
    assert "the time was up" in result.warnings[0] and "--time-limit" in result.warnings[0]


def test_a_search_without_an_answer_is_not_called_infeasible(
    two: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    from optimizer.design import frontier as module

    real = module.optimise

    def slow(*arguments: Any, **options: Any) -> Any:
        return replace(real(*arguments, **options), status="time_limit", choice=None, stopped_by="time")

    monkeypatch.setattr(module, "optimise", slow)
    result = optimizer.tradeoff(two, points=3)
    assert result.status == "time" and not result.points and not result.conflict


def test_what_is_known_when_it_is_interrupted_is_returned(two: Project, frontier: TradeoffResult) -> None:
    counts = []
    for calls in (20, 60, 100_000):
        result = optimizer.tradeoff(two, points=7, start=20 * DAY, end=500 * DAY, stop=later(calls))
        counts.append(len(result.points))
        if result.status == "interrupt":
            assert "it was interrupted" in result.warnings[0]
        costs = {round(p.shelf_life_days, 6): p.objective for p in frontier.points}
        for p in result.points:
            assert p.objective == pytest.approx(costs.get(round(p.shelf_life_days, 6), p.objective), rel=2e-3)
    assert counts == sorted(counts) and counts[0] < counts[-1] == len(frontier.points)


# -- parts -------------------------------------------------------------------------------------------------


def engine(p: Project) -> Frontier:
    import time

    assert p.design is not None
    return Frontier(p.case, p.design, gap=1e-3, deadline=time.monotonic() + 600, halt=Halt())


def test_a_cheaper_longer_lived_structure_takes_the_place_of_a_dearer_one(two: Project) -> None:
    own = engine(two)
    short, long = own.solve(100 * DAY), own.solve(150 * DAY)
    assert short is not None and long is not None
    own.known[100 * DAY] = replace(short, objective=1.1 * long.objective, bound=0.5 * short.bound)
    own.make_monotone()
    now = own.known[100 * DAY]
    assert now.choice == long.choice and now.objective == long.objective
    assert now.bound == 0.5 * short.bound and own.keeps(now.predicted)
    assert now.predicted.target_days == pytest.approx(100)


def test_a_bound_holds_for_every_longer_life(two: Project) -> None:
    own = engine(two)
    short, long = own.solve(100 * DAY), own.solve(100.01 * DAY)
    assert short is not None and long is not None
    own.known[long.target] = replace(long, bound=0.9 * long.bound)
    own.make_monotone()
    assert own.known[long.target].bound == short.bound


def test_a_bound_above_a_longer_lived_structure_is_called_a_contradiction(two: Project) -> None:
    own = engine(two)
    short, long = own.solve(100 * DAY), own.solve(150 * DAY)
    assert short is not None and long is not None
    own.known[short.target] = replace(short, bound=1.2 * long.objective, objective=1.3 * long.objective)
    own.make_monotone()
    assert own.contradiction == pytest.approx(0.2)
    assert all(s.bound <= s.objective for s in own.solved)


def test_a_point_between_two_of_one_structure_needs_no_search(two: Project) -> None:
    """Below the smallest gauge that is needed, one structure is best for every shelf life."""
    own = engine(two)
    own.solve(1 * DAY)
    own.solve(4 * DAY)
    before = own.searches
    middle = own.solve(2 * DAY)
    assert middle is not None and not middle.searched and own.searches == before
    assert middle.gap <= 1e-3


def test_a_structure_lasts_as_long_as_the_simulation_says(two: Project) -> None:
    own = engine(two)
    one = own.solve(100 * DAY)
    assert one is not None and one.predicted.shelf_life_days is not None
    assert own.life(one.choice, 400 * DAY) == pytest.approx(one.predicted.shelf_life_days * DAY, rel=1e-5)
    assert own.life(one.choice, 50 * DAY) == 50 * DAY


def test_the_reserve_shortens_the_life(tmp_path: Path) -> None:
    """The gain grows in proportion to time, so a tenth kept back is a tenth less."""
    p = project(tmp_path, ("max_layers: 1", "max_layers: 1, reserve: 10 %"))
    own = engine(p)
    one = own.solve(100 * DAY)
    assert one is not None
    assert own.life(one.choice, 400 * DAY) == pytest.approx(100 * DAY, rel=1e-3)
    assert one.predicted.shelf_life_days == pytest.approx(100 / 0.9, rel=2e-3)


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("PE EVOH PE", "PE EVOH PE", ""),
        ("PE EVOH PE", "PE PVDC PE", "EVOH replaced by PVDC"),
        ("PE EVOH PE", "PE EVOH", "PE left out; one layer less"),
        ("PET", "PET MXD6 PET", "MXD6 and PET added; two layers more"),
        ("PE tie EVOH tie PE", "PE tie EVOH PA", "tie and PE replaced by PA; one layer less"),
        ("PE PP PE", "PE PE PP", "the same layers in another order PE / PE / PP"),
        ("PE tie EVOH tie PE", "PE adh EVOH adh PE", "tie replaced by adh (two times)"),
        ("PP mPP mPET", "PP mPET PVDC", "mPP left out; PVDC added"),
        ("PE A B", "PE B C", "A left out; C added"),
        ("A B C D", "C D E B", "A replaced by E; in the order C / D / E / B"),
    ],
)
def test_a_change_is_said_in_words(before: str, after: str, words: str) -> None:
    assert of_wall(before.split(), after.split()) == words


def test_the_wall_is_named_where_there_are_several() -> None:
    before = {"lid": ["PE", "PET"], "tub": ["PP"]}
    assert difference(before, {**before, "tub": ["PP", "PE"]}) == "tub: PE added; one layer more"


def test_warnings_that_differ_in_an_amount_alone_are_said_once() -> None:
    said = ["EVOH 32: takes up 0.8 mmol", "EVOH 44: takes up 0.8 mmol", "EVOH 32: takes up 0.9 mmol", "other"]
    assert alike(said) == ["EVOH 32: takes up 0.9 mmol", "EVOH 44: takes up 0.8 mmol", "other"]


# -- an example --------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("name", ["sparkling_bottle", "oat_drink_bottle", "cracker_pouch"])
def test_an_example_has_a_monotone_frontier_that_its_own_target_lies_on(name: str) -> None:
    path = Path(__file__).parents[2] / "examples" / name / "project.yaml"
    p = optimizer.load_project(path)
    assert p.design is not None and p.case.target is not None
    result = tradeoff(p.case, p.design, points=6)
    assert result.status == "complete"
    costs = [x.objective for x in result.points]
    assert all(b >= a * (1 - 1e-6) for a, b in zip(costs, costs[1:], strict=False))
    assert all(x.gap is not None and x.gap <= 1e-3 for x in result.points)
    (own,) = [x for x in result.points if x.shelf_life_days == pytest.approx(p.case.target / DAY)]
    # the frontier is that of steady walls
    alone = optimizer.solve_design(replace(p, case=replace(p.case, wall="steady")))
    assert own.objective == pytest.approx(alone.objective, rel=1.01e-3)
    for kink in result.kinks:
        assert kink.change and kink.between_days[1] <= kink.between_days[0] * (1 + KINK_TOLERANCE) * (
            1 + 1e-9
        )

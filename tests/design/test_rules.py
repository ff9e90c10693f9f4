"""The rules on webs, coatings, resins, contents, mass and changes: the optimum under each of them against
enumeration of every sequence (see ``enumeration``), and what the layer rules allow against words.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from optimizer.design.layout import allowed, changes_between
from optimizer.design.options import DesignOptions, ShareRule
from optimizer.design.problem import Problem, Share
from optimizer.design.rules import layer_rules_of
from optimizer.design.search import Outcome, Search
from optimizer.physics.material import Material

from .enumeration import (
    UM,
    Found,
    changed_layers,
    charge_of,
    cost_of,
    demands_of,
    enumerated_optimum,
    lattice_optimum,
    rules_broken,
    sequences_of,
)
from .instances import menu, random_problem

GAP = 1e-3
NAMES = "HDPE,LDPE,EVOH 32,PET"
Change = Callable[[np.random.Generator, Problem], Problem]


def one_wall(problem: Problem, **changes: object) -> Problem:
    return problem.with_walls(tuple(replace(w, **changes) for w in problem.walls))  # type: ignore[arg-type]


def passes(rng: np.random.Generator, problem: Problem) -> Problem:
    """Some layers cost up to what a whole wall does."""
    fixed = rng.uniform(0.0, 5e-3, len(problem.materials)) * (rng.uniform(size=len(problem.materials)) < 0.7)
    return one_wall(problem, fixed=fixed)


def mass_window(rng: np.random.Generator, problem: Problem) -> Problem:
    low = float(rng.uniform(0.03, 0.12))
    return one_wall(problem, grammage=(low, low * float(rng.uniform(1.05, 1.5))))


def light(rng: np.random.Generator, problem: Problem) -> Problem:
    return one_wall(problem, grammage=(0.0, float(rng.uniform(0.05, 0.12))))


def resins(rng: np.random.Generator, problem: Problem) -> Problem:
    return one_wall(problem, resins=int(rng.integers(1, 3)))


def changes(rng: np.random.Generator, problem: Problem) -> Problem:
    """Near some allowed wall, in which one layer may be of no candidate."""
    (wall,) = problem.walls
    known = sequences_of(wall)
    old = list(known[int(rng.integers(len(known)))])
    if rng.uniform() < 0.5:
        old[int(rng.integers(len(old)))] = -1
    return one_wall(problem, existing=tuple(old), changes=int(rng.integers(0, 3)))


def recycled(rng: np.random.Generator, problem: Problem) -> Problem:
    content = tuple(float(v) for v in rng.uniform(0.0, 1.0, len(problem.materials)))
    share = Share("recycled content", content, float(rng.uniform(0.3, 0.7)), 1.0)
    return one_wall(problem, shares=(*problem.walls[0].shares, share))


def one_of_a_group(rng: np.random.Generator, problem: Problem) -> Problem:
    group = tuple(int(v) for v in rng.choice(len(problem.materials), 2, replace=False))
    return one_wall(problem, keep_any=(group,))


def forbidden(rng: np.random.Generator, problem: Problem) -> Problem:
    (wall,) = problem.walls
    free = np.arange(len(problem.materials)) != rng.integers(len(problem.materials))
    return one_wall(
        problem,
        start=wall.start & free,
        end=wall.end & free,
        touching=wall.touching & np.logical_and.outer(free, free),
    )


def fixed_webs(rng: np.random.Generator, problem: Problem) -> Problem:
    """Two of the materials come in one gauge each, and each of their layers costs a pass."""
    webs = rng.choice(len(problem.materials), 2, replace=False)
    (wall,) = problem.walls
    gauge = wall.least.copy()
    gauge[webs] *= rng.uniform(1.0, 4.0, 2)
    is_web = np.isin(np.arange(len(gauge)), webs)
    return one_wall(
        problem,
        least=gauge,
        most=np.where(is_web, gauge, wall.most),
        fixed=np.where(is_web, 1e-3, 0.0),
    )


def everything(rng: np.random.Generator, problem: Problem) -> Problem:
    for change in (passes, light, recycled, changes):
        problem = change(rng, problem)
    return one_wall(problem, resins=3)


RULES: dict[str, Change] = {
    "passes": passes,
    "mass window": mass_window,
    "largest mass": light,
    "resins": resins,
    "changes": changes,
    "recycled content": recycled,
    "one of a group": one_of_a_group,
    "forbidden material": forbidden,
    "fixed webs": fixed_webs,
    "everything": everything,
}


def problem_with(rule: str, seed: int) -> Problem:
    rng = np.random.default_rng(1000 + seed)
    layers = 4 if rule in ("changes", "everything") and seed % 2 else 3
    problem = random_problem(
        seed,
        NAMES,
        layers=layers,
        reference="HDPE,EVOH 32,PET",
        anything=True,
        gases=("O2", "O2 H2O")[seed % 2],
        water_varies=seed % 3 == 0,
        factor=float(rng.uniform(0.5, 1.2)),
    )
    return RULES[rule](rng, problem)


def agree(problem: Problem, outcome: Outcome, found: Found | None) -> None:
    """The same optimum within the gap, a bound that is none too high, a design that keeps every rule."""
    if found is None:
        assert outcome.status == "infeasible" and outcome.best is None
        return
    assert outcome.status == "optimal" and outcome.best is not None
    best = outcome.best
    x = best.flat[None, :] / UM
    assert demands_of(problem, best.sequences, x).max(initial=0.0) <= 1 + 1e-9
    assert rules_broken(problem, best.sequences, x)[0] <= 1e-7
    assert all(s in sequences_of(w) for s, w in zip(best.sequences, problem.walls, strict=True))
    by_hand = float(cost_of(problem, best.sequences) @ x[0]) + charge_of(problem, best.sequences)
    assert best.objective == pytest.approx(by_hand, rel=1e-9)
    assert outcome.bound <= found.objective * (1 + 1e-7)
    assert best.objective <= found.objective * (1 + GAP) * (1 + 1e-6)
    assert found.objective <= best.objective * (1 + GAP)


@pytest.mark.parametrize("rule", RULES)
def test_the_optimum_under_a_rule_is_that_of_enumeration(rule: str) -> None:
    problem = problem_with(rule, 2)
    agree(problem, Search(problem).run(gap=GAP, time_limit=600.0), enumerated_optimum(problem))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3, 15))
@pytest.mark.parametrize("rule", RULES)
def test_the_optimum_under_a_rule_is_that_of_enumeration_again(rule: str, seed: int) -> None:
    problem = problem_with(rule, seed)
    agree(problem, Search(problem).run(gap=GAP, time_limit=600.0), enumerated_optimum(problem, starts=4))


def stepped(seed: int) -> Problem:
    """A web whose gauge is no multiple of the step, beside layers in whole steps."""
    problem = random_problem(
        seed, "HDPE,EVOH 32,PET", layers=3, reference="HDPE,EVOH 32,PET", anything=True, step=4e-6
    )
    (wall,) = problem.walls
    low = np.ceil(wall.least / 4e-6) * 4e-6
    web = np.arange(3) == 2
    return one_wall(
        problem,
        least=np.where(web, 13e-6, low),
        most=np.where(web, 13e-6, np.minimum(wall.most, low + 14 * 4e-6)),
        fixed=np.where(web, 1e-3, 0.0),
    )


@pytest.mark.parametrize("seed", [40, *(pytest.param(s, marks=pytest.mark.slow) for s in range(41, 49))])
def test_a_fixed_gauge_need_not_be_a_whole_number_of_steps(seed: int) -> None:
    problem = stepped(seed)
    agree(problem, Search(problem).run(gap=GAP, time_limit=600.0), lattice_optimum(problem))


def test_the_edit_distance_is_that_of_all_ways_to_pair_layers_off() -> None:
    rng = np.random.default_rng(5)
    for _ in range(200):
        a, b = (tuple(int(v) for v in rng.integers(0, 3, rng.integers(1, 6))) for _ in range(2))
        assert changes_between(a, b) == changed_layers(a, b)


# -- which layers may lie where ------------------------------------------------------------------------------


def table() -> dict[str, Material]:
    """The menu, a coating that lies on PET, and regrind."""
    found = menu(np.random.default_rng(1), False)
    found = {n: replace(m, contains=frozenset()) for n, m in found.items()}
    found["PVDC"] = replace(found["PVDC"], contains=frozenset({"halogen"}))
    found["foil"] = replace(found["foil"], contains=frozenset({"foil"}))
    found["metallised"] = replace(found["PET"], name="metallised", contains=frozenset({"metallising"}))
    found["HDPE"] = replace(found["HDPE"], food_contact=True)
    found["regrind"] = replace(found["HDPE"], name="regrind", roles=frozenset({"core"}), food_contact=False)
    coat = replace(
        found["PVDC"],
        name="coat",
        family="coating",
        roles=frozenset({"coating"}),
        carrier=frozenset({"PET"}),
        contains=frozenset(),
    )
    found["coat in"] = replace(coat, carrier_side="inside")
    found["coat out"] = replace(coat, carrier_side="outside")
    return found


TABLE = table()
BONDED = {("PE", "tie"), ("tie", "PET"), ("tie", "coating"), ("metal", "tie"), ("PVDC", "tie")}


def options_for(*names: str, bonding: bool = True, **changes: object) -> DesignOptions:
    chosen = tuple(TABLE[n] for n in names)
    pairs = frozenset(
        (a.name, b.name)
        for a in chosen
        for b in chosen
        if (a.family, b.family) in BONDED or (b.family, a.family) in BONDED
    )
    base = DesignOptions(("wall",), "cost", chosen, touching=pairs if bonding else None)
    return replace(base, **changes)  # type: ignore[arg-type]


def walls_allowed(options: DesignOptions, layers: int) -> set[tuple[str, ...]]:
    """Every wall of up to so many layers that the layer rules allow, as the names of the layers."""
    rules = layer_rules_of(options)
    problem = random_problem(1, "HDPE", layers=layers, reference="HDPE")
    count = len(options.candidates)
    wall = replace(
        problem.walls[0],
        max_layers=layers,
        least=np.full(count, 1e-6),
        most=np.full(count, 1e-3),
        rate=np.ones(count),
    ).with_layer_rules(rules)
    return {tuple(options.candidates[m].name for m in s) for s in sequences_of(wall)}


def test_a_coating_lies_on_its_carrier_and_never_on_the_surface() -> None:
    options = options_for("LDPE", "tie", "PET", "coat in", "coat out", inside_role=None, outside_role=None)
    found = walls_allowed(options, 5)
    assert ("LDPE", "tie", "coat", "PET") in found
    assert ("PET", "coat", "tie", "LDPE") in found
    assert ("LDPE", "tie", "PET", "coat", "tie") not in found
    for wall in found:
        assert wall[0] != "coat" and wall[-1] != "coat"
        for k, layer in enumerate(wall):
            if layer == "coat":
                sides = [wall[k - 1], wall[k + 1]]
                assert "PET" in sides and set(sides) <= {"PET", "tie"}
                assert sides != ["PET", "PET"]  # one of the two films would not be glued


def test_a_coating_with_the_role_of_the_surface_may_lie_there() -> None:
    sealing = replace(TABLE["coat out"], roles=frozenset({"coating", "seal"}))
    options = replace(options_for("PET", "coat out"), candidates=(TABLE["PET"], sealing))
    assert walls_allowed(options, 2) == {("coat", "PET")}


@pytest.mark.parametrize(
    ("rule", "gone"),
    [
        ("foil_free", {"foil"}),
        ("metal_free", {"foil", "metallised"}),
        ("halogen_free", {"PVDC"}),
    ],
)
def test_what_a_wall_must_be_free_of_is_in_none(rule: str, gone: set[str]) -> None:
    names = ("HDPE", "tie", "PET", "PVDC", "foil", "metallised")
    base = options_for(*names, bonding=False)
    everywhere = {n for wall in walls_allowed(base, 3) for n in wall}
    left = {n for wall in walls_allowed(replace(base, **{rule: True}), 3) for n in wall}  # type: ignore[arg-type]
    assert everywhere == set(names) and left == set(names) - gone


def test_a_material_that_may_hold_anything_is_not_let_in_where_a_wall_must_be_free_of_it() -> None:
    unknown = replace(TABLE["PET"], contains=None)
    options = replace(options_for("HDPE", "PET", bonding=False), candidates=(TABLE["HDPE"], unknown))
    assert ("HDPE", "PET") in walls_allowed(options, 2)
    assert walls_allowed(replace(options, halogen_free=True), 2) == {("HDPE",)}


def test_regrind_stays_inside_and_the_contact_layer_is_listed() -> None:
    names = ("HDPE", "LDPE", "regrind")
    options = options_for(*names, bonding=False, inner_only=("regrind",), inside_role=None, outside_role=None)
    for wall in walls_allowed(options, 3):
        assert "regrind" not in (wall[0], wall[-1])
    listed = walls_allowed(replace(options, food_contact=True), 3)
    assert listed and {wall[0] for wall in listed} == {"HDPE"}
    assert ("HDPE", "regrind", "LDPE") in listed


@pytest.mark.parametrize("bonding", [True, False])
def test_layer_rules_taken_out_one_by_one_leave_what_the_others_allow(bonding: bool) -> None:
    """In any order: the rules on layers are combined, never overwritten."""
    names = ("HDPE", "LDPE", "tie", "PET", "PVDC", "foil")
    options = options_for(*names, bonding=bonding, foil_free=True, halogen_free=True, food_contact=True)
    problem = random_problem(1, "HDPE,LDPE,tie,PET,PVDC,foil", layers=3, reference="HDPE")
    wall = problem.walls[0].with_layer_rules(layer_rules_of(options))
    texts = [r.text for r in wall.layer_rules if r.text]
    without = {
        "no metal foil": {"foil_free": False},
        "no halogen": {"halogen_free": False},
        "innermost layer listed for food contact": {"food_contact": False},
        "innermost layer with the role 'seal'": {"inside_role": None},
        "outermost layer with the role 'print'": {"outside_role": None},
        "the bonding table (which materials may touch)": {"touching": None},
    }
    table_text = "the bonding table (which materials may touch)"
    assert set(texts) == set(without) - (set() if bonding else {table_text})
    for pair in itertools.permutations(texts, 2):
        left = wall
        kept = options
        for text in pair:
            left = left.without_layer_rule(text)
            kept = replace(kept, **without[text])  # type: ignore[arg-type]
        rules = layer_rules_of(kept)
        assert np.array_equal(left.start, np.logical_and.reduce([r.start for r in rules]))
        assert np.array_equal(left.end, np.logical_and.reduce([r.end for r in rules]))
        assert np.array_equal(left.touching, np.logical_and.reduce([r.touching for r in rules]))


def test_one_member_of_a_group_is_enough_and_none_is_not() -> None:
    problem = one_wall(
        random_problem(1, NAMES, layers=3, reference="HDPE", anything=True), keep_any=((2, 3),)
    )
    (wall,) = problem.walls
    assert allowed(wall, (0, 2, 0)) and allowed(wall, (0, 3)) and not allowed(wall, (0, 1))


def test_shares_count_families_polymers_and_recycled_content() -> None:
    tie = replace(TABLE["tie"], family="tie PE", recycling_family="PE")
    web = replace(TABLE["metallised"], family="coated PET", recycling_family="metallised")
    grade = replace(TABLE["HDPE"], name="rHDPE", recycled_content=0.4)
    gauge = replace(TABLE["PET"], gauges=(12e-6, 15e-6)).in_gauge(15e-6)
    materials = (TABLE["HDPE"], tie, web, grade, gauge)
    contents = {
        ShareRule("PE"): (1, 0, 0, 1, 0),
        ShareRule("HDPE"): (1, 0, 0, 0, 0),
        ShareRule("PET"): (0, 0, 0, 0, 1),
        ShareRule("PE (mono-material)", counts="polymer", of="PE"): (1, 1, 0, 1, 0),
        ShareRule("PET (mono-material)", counts="polymer", of="PET"): (0, 0, 1, 0, 1),
        ShareRule("recycled content", counts="recycled"): (0, 0, 0, 0.4, 0),
    }
    for rule, wanted in contents.items():
        assert tuple(rule.content(m) for m in materials) == wanted, rule
    assert gauge.name == "PET 15 um" and gauge.known_as("PET") and not TABLE["HDPE"].known_as("")

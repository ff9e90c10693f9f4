"""Cases worked by hand: every printed line holds by itself, and the last one is the program's answer.

The lines are evaluated by Python's own arithmetic, pressures are integrated anew with scipy, constants are
compared with CODATA (scipy.constants) and saturation pressures with the library chemicals. Cases are random
and invented.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import optimizer
from optimizer.constants import DAY
from optimizer.errors import InputError
from optimizer.geometry.shapes import SHAPES, scaled
from optimizer.project.given_shapes import shapes_of
from optimizer.report.explain import explain_page
from optimizer.results_explain import ExplainResult, ExplainStep
from optimizer.shelflife.package import HolePart, Limit, Package, Stage, Wall, WallPart
from optimizer.shelflife.predict import TRADE, predict
from optimizer.shelflife.worked import explain
from optimizer.shelflife.worked import materials as worked_materials
from optimizer.shelflife.worked.areas import GivenShape, work_areas
from optimizer.shelflife.worked.sheet import Sheet, evaluate
from tests.shelflife.builders import case_of, dry_powder, one_wall, plain, polyolefin, still
from tests.shelflife.worked_cases import SIZES, numbers_in, random_case, value_of

ROOT = Path(__file__).parents[2]
EXAMPLES = [
    ("coffee_sachet/project.yaml", None),
    ("coffee_sachet/project.yaml", "water_gain"),
    ("cracker_pouch/project.yaml", None),
    ("cracker_pouch/project.yaml", "water_activity_max"),
    ("lightweight_bottle/after.yaml", None),
    ("oat_drink_bottle/project.yaml", None),
    ("oat_drink_bottle/project.yaml", "water_loss"),
    ("sparkling_bottle/baseline.yaml", None),
]
SEEDS = range(40, 64)
_STEP = re.compile(r" {2}(\d+)\. ")
_LINE = re.compile(r" {6}([:=]) (.*)")


@cache
def of_example(file: str, limit: str | None) -> ExplainResult:
    project = optimizer.load_project(ROOT / "examples" / file)
    return explain(project.case, limit=limit, shapes=shapes_of(project))


@cache
def of_random(seed: int) -> ExplainResult:
    case, shapes = random_case(seed)
    return explain(case, shapes=shapes)


def printed_lines(page: str) -> dict[int, list[str]]:
    """By step: what stands behind its marks '=', each joined from the lines that it takes."""
    found: dict[int, list[str]] = {}
    number, mark = 0, ""
    for line in page.splitlines():
        if step := _STEP.match(line):
            number, mark = int(step[1]), ""
        elif own := _LINE.match(line):
            mark = own[1]
            if mark == "=":
                found.setdefault(number, []).append(own[2])
        elif line.startswith("        ") and mark == "=":
            found[number][-1] += " " + line.strip()
        elif not line.startswith("      "):
            number, mark = (number, "") if line.startswith("  ") else (0, "")
    return {number: lines for number, lines in found.items() if number}


def holds(steps: tuple[ExplainStep, ...]) -> None:
    """Every step gives its value, from numbers of earlier steps that it names."""
    values = {s.number: s.value for s in steps}
    assert list(values) == list(range(1, len(steps) + 1))
    for step in steps:
        assert step.value == float(step.printed)
        if step.origin != "worked":
            assert step.equation == step.substituted == "" and step.uses == ()
            continue
        assert value_of(step.substituted) == pytest.approx(step.value, rel=6e-7, abs=0.0), step
        assert all(used < step.number for used in step.uses)
        own = numbers_in(re.sub(r"[A-Za-z_]\w*", "1", step.equation.partition(" = ")[2]))
        known = own + [abs(values[used]) for used in step.uses]
        assert all(x in known for x in numbers_in(step.substituted)), step


def agrees(result: ExplainResult) -> None:
    """The last step is the hand answer, and it is the program's to the tolerance that is said."""
    assert result.steps[-1].value == result.hand
    assert result.tolerance <= 2e-4
    assert result.agrees and abs(result.difference) <= result.tolerance


@pytest.mark.parametrize("seed", SEEDS)
def test_every_step_of_a_random_case_holds_and_the_last_is_the_programs_answer(seed: int) -> None:
    case, result = random_case(seed)[0], of_random(seed)
    holds(result.steps)
    agrees(result)
    answer = predict(case)
    if result.answer_unit == "days":
        assert result.hand == pytest.approx(answer.shelf_life_days, rel=1e-4)
    elif answer.shelf_life_days is None and case.target is not None:
        days = answer.time_series["days"]
        there = answer.time_series[TRADE[result.limit_name][2]][days.index(case.target / DAY)]
        assert result.hand == pytest.approx(there, rel=1e-4, abs=1e-4 * abs(result.limit))


@pytest.mark.slow
@pytest.mark.parametrize("start", range(100, 500, 50))
def test_four_hundred_more_random_cases_hold(start: int) -> None:
    for seed in range(start, start + 50):
        case, shapes = random_case(seed)
        result = explain(case, shapes=shapes)
        holds(result.steps)
        agrees(result)


@pytest.mark.parametrize(("file", "limit"), EXAMPLES)
def test_every_step_of_an_example_holds_and_the_last_is_the_programs_answer(
    file: str, limit: str | None
) -> None:
    result = of_example(file, limit)
    holds(result.steps)
    agrees(result)
    project = optimizer.load_project(ROOT / "examples" / file)
    steady = predict(replace(project.case, wall="steady"))
    if limit is None and result.answer_unit == "days":
        assert result.hand == pytest.approx(steady.shelf_life_days, rel=1e-4)
        assert result.limit_name == steady.limited_by
    if limit is not None:
        own = next(x for x in steady.limits if x.name == limit)
        wanted = own.reached_after_days if result.answer_unit == "days" else own.at_target
        assert result.hand == pytest.approx(wanted, rel=1e-4, abs=1e-12)


@pytest.mark.parametrize(("file", "limit"), [EXAMPLES[2], EXAMPLES[5], EXAMPLES[7]])
def test_what_is_printed_in_80_columns_can_be_evaluated_line_by_line(file: str, limit: str | None) -> None:
    result = of_example(file, limit)
    page = explain_page(result).text(80)
    assert max(map(len, page.splitlines())) <= 80
    printed = printed_lines(page)
    worked = [s for s in result.steps if s.origin == "worked"]
    assert set(printed) == {s.number for s in worked}
    for step in worked:
        text = " = ".join(printed[step.number])
        expression, _, value = text.rpartition(" = ")
        assert value.split()[0] == step.printed and value.partition(" ")[2] == step.unit
        assert value_of(expression) == pytest.approx(float(value.split()[0]), rel=6e-7, abs=0.0)
    for step in result.steps:
        if step.origin != "worked":
            assert step.printed in page


def test_both_ways_and_every_limit_are_among_the_random_cases() -> None:
    """The cases above do not all go the same way."""
    found = set()
    for seed in SEEDS:
        result = of_random(seed)
        found.add((result.limit_name.partition("_")[0], result.method))
    assert {m for _, m in found} == {"closed form", "given means"}
    assert {n for n, _ in found} == {"oxygen", "headspace", "co2", "water"}


# -- what a wrong number would do --------------------------------------------------------------------------


@pytest.mark.parametrize("file", ["sparkling_bottle/baseline.yaml", "cracker_pouch/project.yaml"])
def test_a_wrong_permeability_would_be_seen(file: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worked_materials, "_GAS_FACTOR", 1.01 * worked_materials._GAS_FACTOR)
    result = of_example.__wrapped__(file, None)
    assert not result.agrees and abs(result.difference) > 3e-3


def test_only_plain_arithmetic_is_evaluated() -> None:
    assert evaluate("2 * exp(0) + sqrt(4) ** 2 - ln(1) / (-4)") == 6.0
    for text in ("abs(1)", "__import__('os')", "x + 1", "1 if 2 else 3", "exp(1, 2)", "'a'"):
        with pytest.raises(ValueError):
            evaluate(text)


# -- against other sources ---------------------------------------------------------------------------------


def test_constants_are_those_of_codata() -> None:
    """scipy.constants (CODATA): gas constant, atmosphere, molar volume at 273.15 K and 101.325 kPa."""
    from scipy import constants

    sheet = Sheet()
    assert sheet.constant("R").value == pytest.approx(constants.R, rel=2e-7)
    assert sheet.constant("atm").value == constants.atm
    volume = constants.value("molar volume of ideal gas (273.15 K, 101.325 kPa)") * 1e6
    assert sheet.constant("stp").value == pytest.approx(volume, rel=2e-7)
    assert sheet.constant("day").value == constants.day
    assert sheet.constant("pi").value == pytest.approx(math.pi, rel=2e-7)


def test_saturation_pressures_are_those_of_a_steam_table() -> None:
    """The formulation IAPWS-95 as the library chemicals has it, to 0.03 %."""
    saturation = pytest.importorskip("chemicals.iapws").iapws95_Psat
    steps = [s for s in of_example("oat_drink_bottle/project.yaml", None).steps if s.origin == "table"]
    assert len(steps) >= 3
    for step in steps:
        celsius = float(re.findall(r"([\d.]+) degC", step.title)[0])
        assert step.value == pytest.approx(saturation(celsius + 273.15), rel=3e-4)


def test_pressures_integrated_with_scipy_reach_the_limit_on_the_day_by_hand() -> None:
    """The balance C dp/dt = G (p_o - p) - U p of every stage, from the printed C, G, U and p_o alone."""
    from scipy.integrate import solve_ivp

    result = of_example("oat_drink_bottle/project.yaml", None)
    steps = {s.number: s for s in result.steps}
    begins = [s for s in result.steps if s.title.startswith("Pressure of O2 inside as the stage begins")]
    ends = [s for s in result.steps if s.title.startswith("Pressure that O2 tends to")]
    day = next(s for s in result.steps if s.title.startswith("Day on which"))
    durations = [steps[day.symbols[f"t_{i}"]].value for i in range(1, len(begins) + 1)]
    amount, used = steps[begins[0].symbols["n"]].value, 0.0
    for begin, end, seconds in zip(begins, ends, durations, strict=True):
        c, g, u, outside = (
            steps[n].value for n in (begin.symbols["C"], *(end.symbols[k] for k in ("G", "U", "p_o")))
        )
        solved = solve_ivp(
            lambda t, y, c=c, g=g, u=u, o=outside: [g * (o - y[0] / c) - u * y[0] / c, u * y[0] / c],
            (0.0, seconds),
            [amount, used],
            method="LSODA",
            rtol=1e-10,
            atol=1e-16,
        )
        amount, used = solved.y[:, -1]
    use = next(s for s in reversed(result.steps) if s.title == "Oxygen use per pressure")
    dissolved = steps[use.symbols["h"]].value * amount / c
    project = optimizer.load_project(ROOT / "examples/oat_drink_bottle/project.yaml")
    start = project.case.product.oxygen.dissolved_at_closing * project.case.product.volume
    gain = (dissolved + used - start) * 31.998e-3 / project.case.product.mass
    assert gain == pytest.approx(5e-6, rel=1e-5)


@pytest.mark.parametrize("dimensions", ["outside", "inside", "middle"])
@pytest.mark.parametrize("shape", sorted(SIZES))
def test_the_area_of_a_shape_is_worked_out_by_its_formula(shape: str, dimensions: str) -> None:
    surface = SHAPES[shape].function(**SIZES[shape], dimensions=dimensions)
    wall = Wall("wall", one_wall(plain(), 400e-6, 1.0).walls["wall"].layers)
    part = WallPart("body", "wall", scaled(surface, 1.25).patches)
    sheet = Sheet()
    given = {"body": GivenShape(shape, SIZES[shape], dimensions)}
    area = work_areas(sheet, Package((part,), {"wall": wall}), given)["body"]
    assert area.value == pytest.approx(surface.area(1.25 * 400e-6) / 1.25, rel=1e-6)
    assert not any(s.title.startswith("Area") and s.origin == "program" for s in sheet.steps)
    holds(tuple(sheet.steps))


def test_an_area_that_no_formula_gives_is_taken_as_found() -> None:
    package = one_wall(plain(), 400e-6, 0.05)
    sheet = Sheet()
    wrong = {"body": GivenShape("disc", {"diameter": 0.1}, "outside")}
    assert work_areas(sheet, package, wrong)["body"].value == 0.05
    assert sheet.steps[-1].origin == "program"


# -- special cases -----------------------------------------------------------------------------------------


def test_hourly_weather_is_worked_with_means_over_all_its_conditions() -> None:
    case, shapes = random_case(4)
    hours = tuple(
        Stage(
            "depot",
            21600.0,
            288.15 + 9 * math.sin(k / 30) + 5 * math.sin(k * 1.6),
            0.55 + 0.2 * math.cos(k / 25),
        )
        for k in range(400)
    )
    result = explain(replace(case, storage=hours, target=90 * DAY, horizon=400 * 21600.0), shapes=shapes)
    holds(result.steps)
    agrees(result)
    assert result.method == "given means"
    assert any(s.title.startswith("Mean conductance") and s.origin == "simulation" for s in result.steps)


def test_transient_walls_are_told_apart_from_the_steady_calculation() -> None:
    result = of_example("sparkling_bottle/baseline.yaml", None)
    assert result.wall_model == "transient" and result.program is not None
    assert result.program < result.compared * 0.99
    assert result.hand == pytest.approx(result.compared, rel=1e-4)
    page = explain_page(result).text(80)
    assert "program, steady walls" in page and "program, walls in transient" in page


def test_a_limit_that_is_exceeded_at_closing_is_worked_on_that_day() -> None:
    limits = (Limit("oxygen_gain", 1e-7),)
    product = dry_powder(limits, order=1)
    wet = replace(product, moisture=None, water_activity=0.5)
    case = replace(case_of(wet, one_wall(polyolefin(), 60e-6, 0.06), still()), wall="steady")
    result = explain(case)
    holds(result.steps)
    agrees(result)
    assert result.at_days == 0.0 and result.hand > result.limit


def test_a_limit_that_the_project_does_not_have_is_refused_with_those_it_has() -> None:
    case, _ = random_case(1)
    with pytest.raises(InputError, match="'salt' is not a limit of this project.*limits of this project"):
        explain(case, limit="salt")


def test_a_product_without_limits_is_refused() -> None:
    case, _ = random_case(1)
    with pytest.raises(InputError, match="no limit of the product to explain"):
        explain(replace(case, product=replace(case.product, limits=())))


# -- what is said about the calculation --------------------------------------------------------------------


def by_michaelis_menten() -> ExplainResult:
    """A powder that takes its oxygen from a headspace of air, hardly any through the wall."""
    product = dry_powder((Limit("oxygen_gain", 20e-6),), order=1)
    use = product.oxygen.consumption
    assert use is not None
    use = replace(use, order="michaelis-menten", rate=1e-10, half_pressure=1000.0)
    own = replace(product, moisture=None, water_activity=0.5, oxygen=replace(product.oxygen, consumption=use))
    own = replace(own, headspace=replace(own.headspace, gas={"O2": 0.21, "N2": 0.79}))
    return explain(replace(case_of(own, one_wall(polyolefin(), 1e-3, 0.01), still()), wall="steady"))


def test_a_day_that_is_not_solved_for_is_not_announced_as_solved() -> None:
    result = by_michaelis_menten()
    assert result.answer_unit == "mg/kg"
    assert not any("gives its own below" in line for line in result.taken)
    assert any("not the day" in line for line in result.taken)
    used = {number for step in result.steps for number in step.uses}
    worked = [step for step in result.steps[:-1] if step.origin == "worked"]
    unused = [s.title for s in worked if s.number not in used and "trade units" not in s.title]
    assert unused in ([], ["Oxygen that the limit allows"])


def test_how_much_of_a_gain_the_headspace_lost_by_the_simulation_is_said() -> None:
    result = by_michaelis_menten()
    agrees(result)
    told = [line for line in result.taken if "no step checks that" in line]
    value = {step.title: step.value for step in result.steps}
    lost = value["O2 in the headspace at closing"] - value["O2 in the headspace at the end"]
    share = 100 * lost / value["Oxygen that the limit allows"]
    assert len(told) == 1 and f"is {share:.0f} % of what the limit allows" in told[0]


def test_a_sum_that_agrees_of_itself_is_said_to() -> None:
    case, shapes = random_case(4)
    hours = tuple(Stage("depot", 21600.0, 288.15 + 9 * math.sin(k / 30), 0.55) for k in range(400))
    page = explain_page(explain(replace(case, storage=hours, horizon=400 * 21600.0), shapes=shapes))
    assert "the sum agrees of itself" in " ".join(page.text(80).split())


def test_more_than_twelve_stages_that_are_written_out_are_not_called_too_many_to_write() -> None:
    product = replace(dry_powder((Limit("oxygen_gain", 1.0),), order=1), moisture=None, water_activity=0.5)
    stages = tuple(Stage(f"stage {k}", 5 * DAY, 285.15 + k, 0.5) for k in range(20))
    case = case_of(product, one_wall(polyolefin(), 60e-6, 0.06), stages)
    result = explain(replace(case, wall="steady", target=90 * DAY, horizon=100 * DAY))
    agrees(result)
    assert result.method_reason == "there are more than 12 stages"
    assert len({step.section for step in result.steps if step.section.startswith("Stage ")}) > 12


def test_the_same_step_is_written_once() -> None:
    """Stages at one temperature have one conductance, whatever is between them."""
    case, shapes = random_case(4)
    stages = tuple(Stage(f"stage {k}", 20 * DAY, 285.15 + 5 * (k % 2), 0.5) for k in range(6))
    result = explain(replace(case, storage=stages, target=90 * DAY, horizon=120 * DAY), shapes=shapes)
    holds(result.steps)
    agrees(result)
    told = [(s.title, s.equation, s.substituted) for s in result.steps if s.origin == "worked"]
    assert len(told) == len(set(told))


def test_sizes_that_stand_for_a_distribution_of_holes_are_not_called_given() -> None:
    holes = (HolePart("pin, 4 um", 4e-6, 3e-4, 0.7, "pin"), HolePart("slit", 9e-6, 3e-4, 2.0))
    product = replace(dry_powder((Limit("oxygen_gain", 2e-5),), order=1), moisture=None, water_activity=0.5)
    package = one_wall(polyolefin(), 60e-6, 0.06)
    case = case_of(product, replace(package, parts=(*package.parts, *holes)), still())
    origins = {s.title: s.origin for s in explain(replace(case, wall="steady")).steps}
    assert origins["Diameter of pin, 4 um"] == origins["Number of pin, 4 um"] == "program"
    assert origins["Diameter of slit"] == origins["Number of slit"] == "input"


@pytest.mark.parametrize(
    ("gas", "rows", "steps"),
    [
        ("O2", [("53000", "cm3*um/(m2*day*bar)")], []),
        ("O2", [("2.0", "cm3/(m2*day*atm)")], ["times the thickness of its film"]),
        ("CO2", [("15-25", "cm3*mil/(100 in2*day*atm)")], ["the geometric mean of the range"]),
        ("H2O", [("145", "g*um/(m2*day)")], ["over the vapour pressure of its test"]),
        ("H2O", [("1.5", "g*mm/(m2*day*kPa)")], []),
        ("O2", [("1e-5", "cm3*mm/(m2*day*atm)")], []),
    ],
)
def test_how_a_printed_value_came_to_the_common_unit_is_said(
    gas: str, rows: list[tuple[str, str]], steps: list[str]
) -> None:
    assert worked_materials._brought(gas, rows) == steps


def test_a_vapour_rate_of_a_film_comes_to_the_permeability_that_the_steps_begin_with() -> None:
    """HDPE, 145 g*um/(m2*day) at 38 degC, 90 %RH against dry (the shipped table), over 0.9 times the
    saturation pressure at 38 degC: 6.632 kPa (steam table, IAPWS-IF97)."""
    steps = of_example("oat_drink_bottle/project.yaml", None).steps
    step = next(s for s in steps if s.title == "H2O permeability of HDPE, 38 degC, as given")
    assert step.value == pytest.approx(0.145 / (0.9 * 6.632), rel=1e-4)
    assert "over the vapour pressure of its test" in step.remark

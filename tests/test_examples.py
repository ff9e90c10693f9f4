"""The examples say what their READMEs say, and every snippet of the documentation that is marked runs.

Each folder of ``examples/`` holds an ``expected.json`` with the numbers its README talks about. They keep the
text true; that the numbers are right is checked here by hand calculations from the printed source values.

Snippets: a fenced block is checked when the line before it is one of

    <!-- check: project -->    a whole project file; it must load
    <!-- check: fragment -->   keys that replace those of the page's first whole project; the result must load
    <!-- check: console -->    commands after ``$ `` and their output in order; ``...`` skips any lines
    <!-- check: python -->     a session of the interpreter, run by doctest from the top of the project
"""

from __future__ import annotations

import dataclasses
import doctest
import json
import math
import re
import shlex
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

import optimizer
from optimizer import solve_design
from optimizer.cli.app import app
from optimizer.project import Project
from optimizer.results import DesignResult
from optimizer.shelflife.predict import predict

ROOT = Path(__file__).parents[1]
EXAMPLES = sorted(p.parent for p in (ROOT / "examples").glob("*/expected.json"))
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted((ROOT / "docs").glob("*.md")),
    *sorted((ROOT / "examples").glob("*/README.md")),
]
#: Numbers in expected.json are rounded; the rest is slack for solvers of other versions.
TOLERANCE = 2e-3
#: Thicknesses of a design may move a little along a flat optimum.
THICKNESS = {"rel": 0.03, "abs": 1.0}

CASES = [
    (folder, command) for folder in EXAMPLES for command in json.loads((folder / "expected.json").read_text())
]


def expected(folder: Path, command: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads((folder / "expected.json").read_text(encoding="utf-8"))[command]
    return answer


def of_command(command: str) -> list[Any]:
    """Folders of the examples of a command; most designs take more than three seconds."""
    slow = {"coffee_sachet", "cracker_pouch", "oat_drink_bottle"} if command == "design" else set()
    return [
        pytest.param(folder, id=folder.name, marks=[pytest.mark.slow] if folder.name in slow else [])
        for folder, name in CASES
        if name == command
    ]


_designs: dict[str, DesignResult] = {}


def designed(project: Project | str | Path, **options: Any) -> DesignResult:
    """As ``optimizer.solve_design``, but each project is solved once for all tests of this file."""
    loaded = optimizer.load_project(project) if isinstance(project, str | Path) else project
    if loaded.sha256 not in _designs:
        _designs[loaded.sha256] = solve_design(loaded, **options)
    return _designs[loaded.sha256]


def close(value: float | None, wanted: float | None) -> bool:
    return value is None if wanted is None else value == pytest.approx(wanted, rel=TOLERANCE)


def test_there_is_an_example_for_every_job() -> None:
    assert {folder.name for folder in EXAMPLES} == {
        "coffee_sachet",
        "cracker_pouch",
        "lightweight_bottle",
        "oat_drink_bottle",
        "sparkling_bottle",
    }
    assert {command for _, command in CASES} == {"predict", "samples", "design", "check"}


@pytest.mark.parametrize(
    "folder", [f for f in sorted((ROOT / "examples").iterdir()) if f.is_dir()], ids=lambda f: f.name
)
def test_every_example_says_that_it_is_invented(folder: Path) -> None:
    for file in [*folder.glob("*.yaml"), *folder.glob("*.csv")]:
        assert "invented" in file.read_text(encoding="utf-8").splitlines()[0].lower(), file
    assert "invented" in (folder / "README.md").read_text(encoding="utf-8").lower()
    for file in folder.glob("*.yaml"):
        assert "(invented)" in optimizer.load_project(file).case.title


@pytest.mark.parametrize("folder", of_command("predict"))
def test_the_prediction_of_an_example_is_as_its_readme_says(folder: Path) -> None:
    wanted = expected(folder, "predict")
    result = optimizer.predict(folder / wanted["project"])
    assert (result.passes, result.limited_by) == (wanted["passes"], wanted["limited_by"])
    assert close(result.shelf_life_days, wanted["shelf_life_days"])
    assert close(result.mass_g, wanted["mass_g"])
    assert close(result.cost_per_package, wanted["cost_per_package"])


@pytest.mark.parametrize("folder", of_command("samples"))
def test_the_samples_of_an_example_are_as_its_readme_says(folder: Path) -> None:
    wanted = expected(folder, "samples")
    result = optimizer.predict(folder / wanted["project"], samples=wanted["samples"])
    found = result.uncertainty
    assert found is not None and found.samples == wanted["samples"]
    assert result.passes is wanted["passes"] and close(result.shelf_life_days, wanted["shelf_life_days"])
    assert found.probability == pytest.approx(wanted["probability"], abs=4 / wanted["samples"])
    assert close(found.shelf_life_days["p50"], wanted["median_days"])
    assert found.influences[0].name == wanted["measure_first"]


@pytest.mark.parametrize("folder", of_command("design"))
def test_the_design_of_an_example_is_proved_and_as_its_readme_says(folder: Path) -> None:
    wanted = expected(folder, "design")
    result = designed(folder / wanted["project"])
    assert result.status == "optimal"
    assert result.gap is not None and result.gap <= 1e-3 * (1 + 1e-6)
    assert result.objective is not None and close(result.objective, wanted["objective"])
    assert result.lower_bound is not None and result.lower_bound <= result.objective
    assert result.objective_unit == wanted["objective_unit"]
    for name, layers in wanted["structure"].items():
        assert [layer.material for layer in result.structure[name]] == [material for material, _ in layers]
        for layer, (_, thickness) in zip(result.structure[name], layers, strict=True):
            assert layer.thickness_um == pytest.approx(thickness, **THICKNESS)
    assert set(wanted["holds"]) <= {binding.name for binding in result.binding}
    predicted = result.predicted
    assert predicted is not None and predicted.passes is wanted["passes"]
    assert predicted.limited_by == wanted["limited_by"]
    assert predicted.shelf_life_days == pytest.approx(wanted["shelf_life_days"], rel=0.02)
    assert close(predicted.mass_g, wanted["mass_g"])


@pytest.mark.parametrize("folder", of_command("check"))
def test_the_check_of_an_example_is_as_its_readme_says(folder: Path) -> None:
    wanted = expected(folder, "check")
    result = optimizer.check(folder / wanted["project"], folder / wanted["against"])
    assert result.passes is wanted["passes"]
    assert close(result.shelf_life_days["p50"], wanted["shelf_life_days"])
    assert close(result.baseline.shelf_life_days, wanted["baseline_days"])
    lightest = result.lightest_passing
    assert lightest is not None
    assert close(lightest["mass_g"], wanted["lightest_mass_g"])
    for name, thickness in wanted["lightest_um"].items():
        assert close(sum(layer["thickness_um"] for layer in lightest["walls"][name]), thickness)


# -- by hand -----------------------------------------------------------------------------------------------


def slower(energy: float, celsius: float, measured: float) -> float:
    """Arrhenius factor from the temperature of the measurement to another [degC]; energy [J/mol]."""
    return math.exp(-energy / 8.314462618 * (1.0 / (celsius + 273.15) - 1.0 / (measured + 273.15)))


def test_the_oat_bottle_meets_the_vapour_specification_as_by_hand() -> None:
    """HDPE 145 g um/(m2 day) at 38 degC, 90 %RH (F. Pocas, lecture Plastic Packaging, 2020): 580 um of it let
    0.25 g/(m2 day) through; the thin layers between add about 1 % of resistance."""
    folder = ROOT / "examples/oat_drink_bottle"
    result = optimizer.predict(folder / "project.yaml")
    (row,) = [limit for limit in result.limits if limit.name == "transmission H2O"]
    assert row.at_target == pytest.approx(145.0 / 580.0, rel=0.015)


def test_the_oat_bottle_weighs_what_its_surface_and_thickness_give() -> None:
    """Cylinder, frustum, neck and base by hand, outside areas.

    1 L bottles of HDPE weigh 35 to 60 g (common practice, no source)."""
    side = 2 * math.pi * 40 * 187 + math.pi * (40 + 18) * math.hypot(22, 40) + 2 * math.pi * 18 * 20  # mm2
    base = math.pi * 40**2
    thickness = 0.608
    mass = (1.1 * side + 1.5 * base) * thickness * 0.955e-3
    result = optimizer.predict(ROOT / "examples/oat_drink_bottle/project.yaml")
    assert result.mass_g == pytest.approx(mass, rel=0.02)
    assert 35.0 < result.mass_g < 60.0


def test_the_pouch_lets_oxygen_through_as_its_metallised_web_does() -> None:
    """Metallised PET 2.0 cm3/(m2 day atm) at 23 degC: public table of a foil-laminate converter; 40 kJ/mol is
    assumed."""
    result = optimizer.predict(ROOT / "examples/cracker_pouch/project.yaml")
    (film,) = [f for f in result.film_transmission if (f.gas, f.stage) == ("O2", "depot")]
    assert film.value == pytest.approx(2.0 * slower(40e3, 22, 23), rel=0.005)


def test_the_sparkling_bottle_loses_carbon_dioxide_as_by_hand() -> None:
    """First-order loss in each stage, with outside areas (1 % more than in the middle of the wall).

    PET: CO2 15 to 25 cm3 mil/(100 in2 day atm) at 25 degC (Biosystems Engineering, Food Package Engineering,
    table 11.2), geometric mean; 27.6 kJ/mol (Polymer Handbook, from memory). CO2 in water 0.033 mol/(L bar)
    at 25 degC, 2400 K (Sander 2023).

    Walls in transient lose more, by what they take up. Of the gas that a wall of thickness L holds, c per
    volume, the share 1 - x/L at x from the inside comes on top of the steady flow: that is the diffusion
    equation times 1 - x/L, integrated over the wall. With c = S p (1 - x/L), once the flow has settled, it is
    S p L/3 per area. The thick neck is still filling, c = S p erfc(x/(2 sqrt(D t))), which gives
    2 sqrt(D t/pi) - D t/L in place of L/3. S = P/D; D of CO2 in PET 0.06e-12 m2/s at 25 degC (Polymer
    Handbook, from memory), 40 kJ/mol assumed. Rough, 25 %: of what the wall took up early a part would have
    passed later anyway."""
    permeability = math.sqrt(15 * 25) * 25.4 / (100 * 25.4**2 * 1e-6)  # cm3 um/(m2 day atm)
    areas = {"body": 2 * math.pi * 32.5 * 134 + math.pi * 45 * math.hypot(20, 46), "base": 4600, "neck": 1600}
    thick = {"body": 330.0, "base": 1.6 * 330.0, "neck": 2000.0}
    per_um = sum(areas[k] / thick[k] for k in areas) * 1e-6  # m2/um

    def held(celsius: float) -> float:
        """cm3(STP) of CO2 in drink and headspace per atm."""
        henry = 0.033 * math.exp(2400 * (1 / (celsius + 273.15) - 1 / 298.15)) * 1.01325  # mol/(L atm)
        return (0.5 * henry + 0.02 / (0.082057 * (celsius + 273.15))) * 22414

    exponent = depth2 = 0.0  # depth2: D t of the whole storage, um2
    for celsius, days in ((15, 42), (21, 42)):
        depth2 += 0.06 * slower(40e3, celsius, 25) * 86400 * days
        wall = permeability * slower(27.6e3, celsius, 25) * per_um
        cap = 0.15 * slower(35e3, celsius, 23)
        exponent += (wall + cap) / held(celsius) * days
    case = optimizer.load_project(ROOT / "examples/sparkling_bottle/baseline.yaml").case
    steady = predict(dataclasses.replace(case, wall="steady")).limits[0].at_target
    transient = predict(case).limits[0].at_target
    assert steady is not None and transient is not None
    assert steady == pytest.approx(100 * (1 - math.exp(-exponent)), rel=0.02)

    solubility = permeability / (0.06 * 86400) * slower(27.6e3 - 40e3, 21, 25)  # cm3(STP)/(cm3 atm)
    depth = {"body": thick["body"] / 3, "base": thick["base"] / 3}
    depth["neck"] = 2 * math.sqrt(depth2 / math.pi) - depth2 / thick["neck"]
    filled = sum(areas[k] * depth[k] for k in areas) * 1e-6  # cm3 of wall
    pressure = (1 - transient / 100) / held(21)  # on the last day, atm per cm3(STP) of CO2 at closing
    assert transient - steady == pytest.approx(100 * solubility * filled * pressure, rel=0.25)


# -- numbers told beside the output ------------------------------------------------------------------------

STEADY = ("target: {shelf_life: 12 weeks}", "wall: steady\ntarget: {shelf_life: 12 weeks}")
CREEP = ("walls: rigid}", "walls: rigid, creep: [[0 days, 0 %], [14 days, 1 %], [84 days, 1.5 %]]}")
DESIGNED = [
    ("HDPE,    thickness: 360 um", "HDPE,    thickness: 511 um"),
    ("tie PE,  thickness: 8 um", "tie PE,  thickness: 6 um"),
    ("EVOH 32, thickness: 12 um", "EVOH 32, thickness: 14 um"),
    ("HDPE,    thickness: 220 um", "HDPE,    thickness: 60 um"),
]
WATER = (
    "{name: EVOH 32, ",
    "{name: EVOH 32, diffusivity: [{gas: H2O, value: 1.6e-13 m2/s, temperature: 40 degC}], ",
)


@pytest.mark.parametrize(
    ("file", "changes", "days"),
    [
        pytest.param("sparkling_bottle/baseline.yaml", [STEADY], 94.9, id="baseline, steady"),
        pytest.param("sparkling_bottle/project.yaml", [STEADY], 88.5, id="proposal, steady"),
        pytest.param("sparkling_bottle/project.yaml", [CREEP], 82.5, id="proposal, creeping"),
        pytest.param(
            "oat_drink_bottle/project.yaml", [("design:", "wall: steady\ndesign:")], 136.7, id="oat, steady"
        ),
        pytest.param("oat_drink_bottle/project.yaml", [WATER], 131.0, id="oat, water held"),
        pytest.param("oat_drink_bottle/project.yaml", [*DESIGNED, WATER], 248.7, id="oat design, water held"),
    ],
)
def test_an_example_with_the_change_that_its_readme_tells_lasts_as_told(
    file: str, changes: list[tuple[str, str]], days: float, tmp_path: Path
) -> None:
    text = (ROOT / "examples" / file).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    project = tmp_path / "project.yaml"
    project.write_text(text, encoding="utf-8")
    assert optimizer.predict(project).shelf_life_days == pytest.approx(days, rel=2e-3)


# -- snippets ----------------------------------------------------------------------------------------------

_BLOCK = re.compile(r"<!-- check: (\w+) -->\n+```(\w*)\n(.*?)```", re.DOTALL)


def blocks(page: Path) -> Iterator[tuple[str, str, int]]:
    """Kind, text and line of every marked block of a page."""
    text = page.read_text(encoding="utf-8")
    for match in _BLOCK.finditer(text):
        yield match[1], match[3], text.count("\n", 0, match.start()) + 1


def is_long(page: Path, kind: str, text: str) -> bool:
    """Whether a block takes more than three seconds, as most designs do."""
    if kind == "python":
        return "design(" in text
    long_design = re.search(r"layerwright design \S*(cracker_pouch|oat_drink)", text)
    return kind == "console" and ("coffee_sachet" in page.parts or long_design is not None)


SNIPPETS = [
    pytest.param(
        page,
        kind,
        text,
        id=f"{page.parent.name}/{page.name}:{number}",
        marks=[pytest.mark.slow] if is_long(page, kind, text) else [],
    )
    for page in PAGES
    for kind, text, number in blocks(page)
]


def whole(page: Path) -> dict[str, Any]:
    """The first project of the page, as plain data."""
    from ruamel.yaml import YAML

    text = next(text for kind, text, _ in blocks(page) if kind == "project")
    data: dict[str, Any] = YAML(typ="safe").load(text)
    return data


def test_every_marked_block_is_found_and_of_a_known_kind() -> None:
    marks = sum(page.read_text(encoding="utf-8").count("\n<!-- check:") for page in PAGES)
    assert marks == len(SNIPPETS) > 10
    assert {p.values[1] for p in SNIPPETS} == {"project", "fragment", "console", "python"}


@pytest.mark.parametrize(
    ("page", "kind", "text"), [p for p in SNIPPETS if p.values[1] in ("project", "fragment")]
)
def test_a_snippet_of_a_project_loads(page: Path, kind: str, text: str, tmp_path: Path) -> None:
    from ruamel.yaml import YAML

    yaml = YAML(typ="safe")
    data = yaml.load(text) if kind == "project" else replaced(whole(page), yaml.load(text))
    file = tmp_path / "project.yaml"
    out = StringIO()
    yaml.dump(data, out)
    file.write_text(out.getvalue(), encoding="utf-8")
    for table in (ROOT / "examples").glob("*/*.csv"):
        (tmp_path / table.name).write_text(table.read_text(encoding="utf-8"), encoding="utf-8")
    assert optimizer.load_project(file).case.storage


def replaced(base: dict[str, Any], change: dict[str, Any]) -> dict[str, Any]:
    """``base`` with the keys of each section of ``change`` put in its place; an empty key is removed."""
    result = dict(base)
    for section, value in change.items():
        if isinstance(value, dict):
            keys = {**base.get(section, {}), **value}
            result[section] = {key: item for key, item in keys.items() if item is not None}
        else:
            result[section] = value
    return result


@pytest.mark.parametrize(("page", "kind", "text"), [p for p in SNIPPETS if p.values[1] == "console"])
def test_a_command_of_the_documentation_prints_what_is_shown(
    page: Path,
    kind: str,
    text: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr(optimizer, "solve_design", designed)
    for command, shown in commands(text):
        program, *arguments = shlex.split(command)
        assert program == "layerwright"
        with pytest.raises(SystemExit):
            app(arguments, prog_name="layerwright")
        printed = capsys.readouterr()
        lines = (printed.out + printed.err).splitlines()
        missing = first_missing(shown, lines)
        assert missing is None, f"{command}: not printed in this place: {missing!r}"


@pytest.mark.parametrize(("page", "kind", "text"), [p for p in SNIPPETS if p.values[1] == "python"])
def test_a_session_of_the_documentation_goes_as_shown(
    page: Path, kind: str, text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    session = doctest.DocTestParser().get_doctest(text, {}, page.name, str(page), 0)
    said: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS)
    assert session.examples
    runner.run(session, out=said.append)
    assert runner.failures == 0, "".join(said)


def commands(text: str) -> Iterator[tuple[str, list[str]]]:
    """Each ``$ `` line with the lines shown under it."""
    found: list[tuple[str, list[str]]] = []
    for line in text.splitlines():
        if line.startswith("$ "):
            found.append((line[2:], []))
        elif found:
            found[-1][1].append(line.rstrip())
    yield from found


def first_missing(shown: list[str], printed: list[str]) -> str | None:
    """First shown line that is not printed in its place: right after the one before, or after ``...``."""
    at, skip = 0, True
    lines = [line.rstrip() for line in printed]
    for line in shown:
        if line.strip() == "...":
            skip = True
            continue
        where = next((i for i in range(at, len(lines)) if lines[i] == line), None)
        if where is None or (not skip and where != at):
            return line
        at, skip = where + 1, False
    return None

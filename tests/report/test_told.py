"""Sentences of whole answers in units of the United States: nothing metric is left but what must stay, the
numbers say the same, names are names, and JSON knows nothing of it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import lxml.html
import pytest

import optimizer
from optimizer import (
    results,
    results_compare,
    results_explain,
    results_geometry,
    results_tradeoff,
    results_uncertainty,
)
from optimizer.constants import DAY
from optimizer.report.answers import Behind, page_of, report_of
from optimizer.report.record import to_json
from optimizer.report.told import _SAID, told
from optimizer.results import Change, PredictResult, Transmission
from optimizer.results_uncertainty import Influence, SpreadNote, UncertaintyResult
from optimizer.units.systems import US

from . import stress
from .samples import CHECKED, INFEASIBLE, PASSING

EXAMPLES = Path(__file__).parents[2] / "examples"
CREATED = datetime(2026, 1, 2, 3, 4)

#: A metric unit that is not part of a longer one.
METRIC = re.compile(
    r"(?<![\w/*(])(?:degC|\N{DEGREE SIGN}C|um|\N{MICRO SIGN}m|mm2?|cm[23]?|m[23]?|mL|L|g|kg|kPa|hPa|MPa|bar"
    r"|K)(?![\w*(/])|/\(?m2|[A-Z]{3}/kg|\*(?:um|mm)"
)
#: What may stay: lines for a project file, and the unit that a mesh was said to be in.
STAYS = ("unit: mm", "one unit of the file as 1 mm")


def left(text: str, title: str) -> list[str]:
    """Metric units in a text, each with what stands around it."""
    flat = " ".join(text.split()).replace(title, "")
    for stays in STAYS:
        flat = flat.replace(stays, "")
    return [flat[max(0, m.start() - 30) : m.end() + 10] for m in METRIC.finditer(flat)]


def told_on_page(answer: Any, behind: Behind | None) -> str:
    """The page without the table of sources, which are quoted."""
    text = page_of(answer, US, behind).text()
    head, _, rest = text.partition("\nSources used\n")
    return head + rest[rest.find("\nNames, ") :] if rest else head


def told_in_report(answer: Any, behind: Behind) -> str:
    """What a report says, also to those who hear it, without its sources."""
    tree = lxml.html.fromstring(report_of(answer, behind, US, CREATED))
    for part in tree.xpath("//script|//style|//*[@id='sources']|//ol[contains(@class, 'cited')]"):
        part.drop_tree()
    spoken = tree.xpath("//@aria-label|//@title|//@alt")
    return " ; ".join([*tree.itertext(), *spoken])


def predicted(name: str, file: str = "project.yaml") -> tuple[Any, Behind]:
    project = optimizer.load_project(EXAMPLES / name / file)
    return optimizer.predict(project), Behind(project)


def checked(name: str, file: str, old: str) -> tuple[Any, Behind]:
    project, baseline = (optimizer.load_project(EXAMPLES / name / x) for x in (file, old))
    return optimizer.check(project, baseline), Behind(project, baseline)


def designed(name: str) -> tuple[Any, Behind]:
    project = optimizer.load_project(EXAMPLES / name / "project.yaml")
    return optimizer.design(project, gap=0.01), Behind(project)


def compared() -> tuple[Any, Behind]:
    folder = EXAMPLES / "sparkling_bottle"
    project = optimizer.load_project(folder / "project.yaml")
    return optimizer.compare(project, folder / "offers.csv", rates=("USD=0.92 EUR",)), Behind(project)


def traded_off() -> tuple[Any, Behind]:
    project = optimizer.load_project(EXAMPLES / "sparkling_bottle" / "project.yaml")
    return optimizer.tradeoff(project, points=3, start=42 * DAY, end=252 * DAY), Behind(project)


def uncertain() -> tuple[Any, Behind]:
    project = optimizer.load_project(EXAMPLES / "oat_drink_bottle" / "uncertain.yaml")
    return optimizer.predict(project, samples=64), Behind(project)


ANSWERS: dict[str, Callable[[], tuple[Any, Behind]]] = {
    "predict, sachet": lambda: predicted("coffee_sachet"),
    "predict, pouch": lambda: predicted("cracker_pouch"),
    "predict, bottle": lambda: predicted("oat_drink_bottle"),
    "predict, samples": uncertain,
    "check, local thickness": lambda: checked("lightweight_bottle", "after.yaml", "before.yaml"),
    "check, bottle": lambda: checked("sparkling_bottle", "project.yaml", "baseline.yaml"),
    "design": lambda: designed("oat_drink_bottle"),
    "compare": compared,
    "tradeoff": traded_off,
}
SLOW = [pytest.param(name, marks=pytest.mark.slow) for name in ANSWERS]


@cache
def answered(name: str) -> tuple[Any, Behind]:
    return ANSWERS[name]()


@pytest.mark.parametrize("name", SLOW)
def test_nothing_metric_is_left_of_an_example_on_its_page(name: str) -> None:
    answer, behind = answered(name)
    before = to_json(answer)
    assert left(told_on_page(answer, behind), answer.title) == []
    assert to_json(answer) == before
    assert pairs(answer, told(answer, US)) >= 3


@pytest.mark.parametrize("name", SLOW)
def test_nothing_metric_is_left_of_an_example_in_its_report(name: str) -> None:
    answer, behind = answered(name)
    assert left(told_in_report(answer, behind), answer.title) == []


@pytest.mark.parametrize(
    "answer",
    [PASSING, INFEASIBLE, CHECKED, stress.PREDICTED, stress.CHECKED, stress.MESH],
    ids=["predict", "design", "check", "predict, long", "check, long", "geometry"],
)
def test_nothing_metric_is_left_of_an_answer_made_by_hand(answer: Any) -> None:
    assert left(told_on_page(answer, None), answer.title) == []


#: By definition, except psi (NIST SP 811, from memory): what one of the unit is in that of the United States.
FACTORS = {
    "degC": (1.8, 32.0),
    "um": (1 / 25.4, 0.0),
    "mm": (1 / 25.4, 0.0),
    "cm2": (1 / 6.4516, 0.0),
    "g": (16 / 453.59237, 0.0),
    "K": (1.8, 0.0),
    "bar": (100 / 6.894757, 0.0),
}


def sentences(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    if is_dataclass(value):
        said = [getattr(value, f.name) for f in fields(value) if f.name not in ("time_series", "sources")]
        return [text for item in said for text in sentences(item)]
    if isinstance(value, tuple | list):
        return [text for item in value for text in sentences(item)]
    return []


def pairs(metric: Any, shown: Any) -> int:
    """Every number before a unit is compared with what it became: within half of its last digit."""
    count = 0
    number = r"(?<![\w.])(-?\d+(?:\.\d+)?)"
    units = "|".join(sorted(FACTORS, key=len, reverse=True))
    for before, after in zip(sentences(metric), sentences(shown), strict=True):
        if before == after or " degC less" in before or " degC more" in before:
            continue
        own = re.findall(rf"{number} ({units})(?![\w*/(])", before)
        new = re.findall(rf"{number} (?:degF|mil|in2?|oz|psi)(?![\w*/(])", after)
        if len(own) != len(new):  # other units become the same
            continue
        for (a, unit), b in zip(own, new, strict=True):
            factor, offset = FACTORS[unit]
            half = 0.5 * 10.0 ** -len(a.partition(".")[2])
            assert abs((float(b) - offset) / factor - float(a)) <= half * 1.000001, (before, after)
            count += 1
    return count


NO_SENTENCES = """
    name unit status wall stage part gas material saves_unit title version inputs_sha256 sources limited_by
    wall_model command currency minimised objective_unit stopped_by source supplier grade price_unit rival
    first second gases limits equation substituted printed remark origin section limit_name limit_unit method
    answer_unit faces kind project picture up walls
"""


def test_every_text_of_a_result_is_decided_on() -> None:
    """A new field that holds text must be a sentence, which is converted, or be named here."""
    for module in (
        results,
        results_compare,
        results_explain,
        results_geometry,
        results_tradeoff,
        results_uncertainty,
    ):
        for name, kind in vars(module).items():
            if isinstance(kind, type) and is_dataclass(kind) and kind.__module__ == module.__name__:
                texts = {
                    f.name
                    for f in fields(kind)
                    if re.fullmatch(r"(tuple\[)?str(, \.\.\.\])?( \| None)?", str(f.type))
                }
                assert texts - set(_SAID.get(name, ())) <= set(NO_SENTENCES.split()), name
                assert set(_SAID.get(name, ())) <= {f.name for f in fields(kind)}


FILM = "Film 25 um"
NAMED: PredictResult = replace(
    PASSING,
    title="Tray of 500 um, 23 degC",
    warnings=(
        f"{FILM}: O2 permeability was measured at 23 degC; storage at 38 degC is more than 10 K outside, "
        "so it rests on the activation energy",
        "lid 12 um: its seal is 3 mm wide",
    ),
    assumptions=("No transmission of 'cap, 40 mm' given", "table 30 um.csv has heights of 10 to 20 mm"),
    transmission=(Transmission("23 degC", "lid 12 um", "O2", 1.0, "cm3(STP)/(package*day*atm)", 1.0),),
    mass_by_material_g={FILM: 27.1},
    sources=tuple({**row, "material": FILM} for row in PASSING.sources),
    uncertainty=UncertaintyResult(
        samples=8,
        seed=1,
        wall="steady",
        probability=None,
        probability_error=None,
        shelf_life_days={},
        percentiles=(),
        ended_by={},
        influences=(Influence("shared: source 500 um club, 23 degC", 0.5, 0.5),),
        spreads=(SpreadNote(f"O2 permeability of {FILM}", 9.0, "%", "given", "500 um club, 23 degC"),),
    ),
)


def test_names_given_by_the_user_stay_on_the_page() -> None:
    text = " ".join(page_of(NAMED, US).text().split())
    assert "Tray of 500 um, 23 degC" in text
    assert "Film 25 um: O2 measured at 73.4, used at 100.4 degF" in text
    assert "lid 12 um: its seal is 0.12 in wide" in text
    assert "No transmission of 'cap, 40 mm' given" in text
    assert "30 um.csv has heights of 0.39 to 0.79 in" in text
    assert "lid 12 um 100 %" in text
    assert f"O2 permeability of {FILM}" in text
    assert "the properties from 500 um club, 23 degC have in common" in text


class _Loaded:
    """Of a project, what names are taken from."""

    data = {
        "materials": [{"name": "barrier 7 um", "price": "2 EUR/kg"}],
        "design": {"candidates": ["seal 40 um", {"name": FILM}], "gauges": ["12 um", "15 um"]},
        "package": {"parts": {"cap 2 mm": {"area": "18 cm2"}}},
    }
    files = (Path("folder/project of 9 mm.yaml"),)


def test_names_in_the_project_file_stay_too() -> None:
    behind = Behind(_Loaded())  # type: ignore[arg-type]
    said = "barrier 7 um, seal 40 um and cap 2 mm at 12 um, 18 cm2 in project of 9 mm.yaml"
    text = " ".join(page_of(replace(PASSING, warnings=(said,)), US, behind).text().split())
    assert "barrier 7 um, seal 40 um and cap 2 mm at 0.47 mil, 2.8 in2 in project of 9 mm.yaml" in text


def test_changes_of_quoted_values_stay_and_others_are_converted() -> None:
    quoted = (
        Change("material PE, O2 permeability", "180 cm3*mm/(m2*day*atm)", "0.5 g at 23 degC"),
        Change("limit O2 transmission of wall w", "2 cm3/(m2*day*atm) at 23 degC", "none"),
    )
    ours = Change("storage stage 1", "shop: 4 months, 23 degC, 50 %", "shop: 4 months, 5 degC, 50 %")
    found = told(replace(CHECKED, changes=(*quoted, ours)), US).changes
    assert found[:2] == quoted
    assert found[2].now == "shop: 4 months, 41 degF, 50 %"


def test_how_thickness_was_found_is_a_sentence_too() -> None:
    wall = stress.MESH.wall_thickness
    assert wall is not None
    found = told(replace(stress.MESH, wall_thickness=replace(wall, method="rays of up to 5 mm")), US)
    assert found.wall_thickness is not None and found.wall_thickness.method == "rays of up to 0.2 in"


def test_metric_pages_are_given_the_result_itself() -> None:
    from optimizer.units.systems import SI

    assert told(PASSING, SI) is PASSING


def test_the_command_line_knows_the_names_in_the_project(capsys: pytest.CaptureFixture[str]) -> None:
    from optimizer.cli.answered import answer
    from optimizer.cli.outputs import Outputs

    said = replace(INFEASIBLE, conflict=("largest gauge of seal 40 um, 90 um",))
    answer(said, Outputs(None, None, None, "us"), Behind(_Loaded()))  # type: ignore[arg-type]
    assert "largest gauge of seal 40 um, 3.54 mil" in capsys.readouterr().out  # 90 um over 25.4

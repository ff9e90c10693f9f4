"""A project file as a workbook and back, and as YAML text and back: nothing is lost, to the last digit."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import optimizer
from optimizer.project.book import read_book
from optimizer.project.book_cells import same
from optimizer.project.book_path import path_text, read_path
from optimizer.project.book_write import book_rows, read_back
from optimizer.project.load import load_project
from optimizer.project.source import read_source, read_value
from optimizer.project.starting import starting_data
from optimizer.project.yaml_text import flow, yaml_text
from optimizer.report.excel.template import template_workbook
from optimizer.report.record import to_json
from tests.programs import converted
from tests.project.books import CREATED, shipped

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(path for path in (ROOT / "examples").glob("*/*.yaml"))


def name_of(path: Path) -> str:
    return f"{path.parent.name}/{path.name}"


def copied(example: Path, folder: Path) -> Path:
    """The example in a folder of its own, with the files beside it."""
    shutil.copytree(example.parent, folder / "project")
    return folder / "project" / example.name


def answer(path: Path) -> dict[str, Any]:
    """What predict says, without the checksum of the inputs."""
    found: dict[str, Any] = json.loads(to_json(optimizer.predict(str(path))))
    del found["inputs_sha256"]
    return found


@pytest.mark.parametrize("example", EXAMPLES, ids=name_of)
def test_an_example_comes_back_from_a_workbook_and_from_yaml(example: Path, tmp_path: Path) -> None:
    data = read_source(example).data
    book, text = tmp_path / "p.xlsx", tmp_path / "p.yaml"
    book.write_bytes(template_workbook(data, created=CREATED))
    text.write_text(yaml_text(data), encoding="utf-8")
    assert read_book(book).data == data
    assert read_source(text).data == data


@pytest.mark.slow
@pytest.mark.parametrize("example", EXAMPLES, ids=name_of)
def test_the_answer_for_a_workbook_is_that_for_the_yaml_file(example: Path, tmp_path: Path) -> None:
    path = copied(example, tmp_path)
    book, text = path.with_name("as-book.xlsx"), path.with_name("as-text.yaml")
    data = load_project(path).data
    book.write_bytes(template_workbook(data, created=CREATED))
    text.write_text(yaml_text(data), encoding="utf-8")
    expected = answer(path)
    assert answer(book) == expected
    assert answer(text) == expected


def test_the_starting_workbook_says_what_the_starting_project_says(tmp_path: Path) -> None:
    path = tmp_path / "start.xlsx"
    path.write_bytes(shipped())
    assert load_project(path).data == starting_data()


def test_the_same_project_gives_the_same_bytes() -> None:
    assert template_workbook(starting_data(), created=CREATED) != shipped()  # which says that it is invented
    assert template_workbook(created=CREATED) == shipped()


@pytest.mark.slow
def test_the_starting_project_passes_and_is_designed_cheaper(tmp_path: Path) -> None:
    path = tmp_path / "start.xlsx"
    path.write_bytes(shipped())
    before, best = optimizer.predict(str(path)), optimizer.design(str(path))
    assert before.passes and before.shelf_life_days is not None
    assert best.status == "optimal"
    assert best.objective < before.cost_per_package


@pytest.mark.slow
@pytest.mark.parametrize("source", ["start", "oat_drink_bottle/uncertain.yaml"])
def test_a_workbook_saved_by_a_spreadsheet_program_says_the_same(source: str, tmp_path: Path) -> None:
    data = starting_data() if source == "start" else read_source(ROOT / "examples" / source).data
    book = tmp_path / "p.xlsx"
    book.write_bytes(template_workbook(data, created=CREATED))
    saved = converted(book, "xlsx", tmp_path)
    expected = answer(book)
    shutil.copy(saved / "p.xlsx", book)  # sources name the file
    assert load_project(book).data == data
    assert answer(book) == expected


# -- any contents --------------------------------------------------------------------------------------------

ODD = [
    "EVOH 32", "6", "06", "1e3", "1.0", "true", "No", "null", "~", "=x", "=1+1", "+1", "-x", "@a", "'q",
    '"q"', "a.b", "[0]", "{a}", "a: b", "a #b", "# c", "50 %", "300 um", "1,5", "1.50 EUR/kg", "a\u00a0b",
    " lead",
    "tail ", "a  b", "tab\tin", "line\nin", "ä€😀", "\u200bhid", "_x0041_", "\x07bell", "2026-01-02", "1-2",
    "TRUE", "#N/A", "", "x" * 90,
]  # fmt: skip
NAMES = st.sampled_from(ODD) | st.text(min_size=1, max_size=12)
NUMBERS = (
    st.integers(-(10**20), 10**20)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.sampled_from([0, 1, 0.1, 1.0, 6.0, 1e300, 5e-324])
)
QUANTITIES = st.builds(
    lambda number, unit: f"{number} {unit}",
    st.floats(0, 1e9).map(repr) | st.decimals(0, 1000, places=3).map(str) | st.integers(0, 10**17).map(str),
    st.sampled_from(["um", "%", "EUR/kg", "cm3/(m2*day*bar)", "degC"]),
)
SCALARS = NAMES | NUMBERS | QUANTITIES | st.booleans() | st.none()
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=6,
)
LAYER = st.fixed_dictionaries({}, optional={"material": SCALARS, "thickness": VALUES, "other": VALUES})
WALLS = st.dictionaries(NAMES, st.fixed_dictionaries({"layers": st.lists(LAYER, max_size=3)}), max_size=3)
PROPERTY = st.fixed_dictionaries(
    {"gas": SCALARS, "value": SCALARS}, optional={"humidity": SCALARS, "unit": SCALARS, "spread": SCALARS}
)
MATERIAL = st.fixed_dictionaries(
    {"name": NAMES},
    optional={
        "price": VALUES,
        "gauge": QUANTITIES | st.dictionaries(st.sampled_from(["min", "max", "mid"]), VALUES, max_size=3),
        "roles": st.lists(NAMES, max_size=3) | NAMES,
        "food_contact": SCALARS,
        "permeability": st.lists(PROPERTY, max_size=2) | SCALARS,
        "scavenger": VALUES,
    },
)
PART = st.fixed_dictionaries(
    {},
    optional={
        "shape": NAMES,
        "diameter": QUANTITIES,
        "height": VALUES,
        "points": st.lists(st.lists(QUANTITIES, max_size=3), max_size=3),
        "transmission": st.lists(PROPERTY, max_size=2),
        "pinhole": st.fixed_dictionaries({}, optional={"diameter": VALUES, "count": NUMBERS}),
        "unit": SCALARS,
        "regions": VALUES,
    },
)
LABEL = st.fixed_dictionaries(
    {"on": NAMES, "layers": st.lists(LAYER, max_size=2)}, optional={"share": SCALARS}
)
PROJECTS = st.fixed_dictionaries(
    {"format": st.just(1)},
    optional={
        "title": SCALARS,
        "materials": st.lists(MATERIAL, max_size=3),
        "product": st.fixed_dictionaries(
            {},
            optional={
                "mass": VALUES,
                "headspace": VALUES,
                "limits": st.dictionaries(NAMES, VALUES, max_size=2),
            },
        ),
        "package": st.fixed_dictionaries(
            {},
            optional={
                "parts": st.dictionaries(NAMES, PART, max_size=3),
                "labels": st.dictionaries(NAMES, LABEL, max_size=2),
            },
        ),
        "walls": WALLS,
        "storage": st.lists(
            st.fixed_dictionaries({}, optional={"name": NAMES, "humidity": VALUES}), max_size=3
        ),
        "design": st.fixed_dictionaries(
            {},
            optional={
                "walls": st.lists(NAMES, max_size=3),
                "choose_from": st.lists(SCALARS, max_size=3),
                "rules": st.dictionaries(st.sampled_from(["symmetric", "share", "keep"]), VALUES, max_size=3),
            },
        ),
        "uncertainty": VALUES,
    },
)


@settings(max_examples=60, deadline=None)
@given(PROJECTS)
def test_whatever_a_file_holds_comes_back_from_the_rows_of_a_workbook(data: dict[str, Any]) -> None:
    back = read_back(book_rows(data))
    assert as_meant(back, data), (back, data)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(NAMES, VALUES, min_size=1, max_size=4))
def test_whatever_a_file_holds_comes_back_from_yaml_text(data: dict[str, Any]) -> None:
    assert exactly(read_value(yaml_text(data)), data)
    assert exactly(read_value(flow(data)), data)


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(data=PROJECTS)
def test_whatever_a_file_holds_comes_back_from_the_file_itself(
    data: dict[str, Any], tmp_path_factory: Any
) -> None:
    path = tmp_path_factory.mktemp("book") / "p.xlsx"
    path.write_bytes(template_workbook(data, created=CREATED))
    assert as_meant(read_book(path).data, data)


@given(st.lists(NAMES | st.integers(0, 999), min_size=1, max_size=4))
def test_a_path_comes_back_from_its_text(steps: list[str | int]) -> None:
    assert read_path(path_text(tuple(steps))) == tuple(steps)


def as_meant(a: Any, b: Any) -> bool:
    """The same contents; a number may come back as the text that it means where a name is expected, or where
    it has more digits than a cell."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(as_meant(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(as_meant(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, str) and isinstance(b, int | float) and not isinstance(b, bool):
        return a == str(b)
    return same(a, b)


def exactly(a: Any, b: Any) -> bool:
    """The same, numbers as numbers and texts as texts."""
    if isinstance(a, dict) and isinstance(b, dict):
        return list(a) == list(b) and all(exactly(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(exactly(x, y) for x, y in zip(a, b, strict=True))
    return type(a) is type(b) and bool(a == b)

"""Whatever is done to a good project file, it loads or says what is wrong; it never falls over."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.project import load_project
from optimizer.project.source import read_source

GOOD = Path(__file__).parent.parent / "data" / "projects" / "good"
FILES = sorted(GOOD.glob("*.yaml"))
TEXTS = {path.name: path.read_text("utf-8") for path in FILES}
DATA: dict[str, dict[str, Any]] = {path.name: read_source(path).data for path in FILES}

#: what users write by mistake, and what nobody writes
VALUES = st.one_of(
    st.sampled_from(
        [None, True, False, 0, -1, 1, 0.5, 150, 1e308, -1e-308, float("nan"), float("inf"), 10**400]
    ),
    st.sampled_from([[], {}, [None], [[]], {"": None}, [1, 2], {"gas": "O2"}, [{}], {"a": {"b": []}}]),
    st.sampled_from(
        ["", " ", "0", "-5 um", "0 um", "1e300 m", "5 %", "1,5 mm", "23", "HDPE", "bottle", "O2", "H2O"]
    ),
    st.sampled_from(
        [
            "0 L",
            "1e-300 kg",
            "1e300 kg",
            "0 degC",
            "-300 degC",
            "-30 degC",
            "-35 degC",
            "80 degC",
            "0 days",
            "1e9 years",
            "100 %",
            "0 %",
        ]
    ),
    st.sampled_from(
        ["table", "GAB", "any", "seal", "../x.csv", "x\u0000.stl", "\U0001f9f4", "1 cm3/day", "2 g/day"]
    ),
    st.text(max_size=12),
)
KEYS = st.one_of(
    st.sampled_from(
        ["mass", "volume", "shape", "mesh", "wall", "thickness", "transmission", "pinhole", "weather"]
    ),
    st.sampled_from(
        [
            "name",
            "table",
            "permeability",
            "gauge",
            "model",
            "content",
            "spread",
            "creep",
            "<<",
            "",
            "[key]",
            "0",
        ]
    ),
    st.text(max_size=8),
)


def paths(node: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in the data."""
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    found = [here] if here else []
    for key, value in items:
        found += paths(value, (*here, key))
    return found


PLACES = {name: paths(data) for name, data in DATA.items()}


def changed(data: dict[str, Any], place: tuple[Any, ...], how: str, value: Any, key: str) -> None:
    """Change one place of ``data`` if it is still there."""
    parent: Any = data
    for step in place[:-1]:
        try:
            parent = parent[step]
        except (KeyError, IndexError, TypeError):
            return
    last = place[-1]
    if isinstance(parent, dict) and last in parent:
        if how == "delete":
            del parent[last]
        elif how == "replace":
            parent[last] = value
        elif how == "rename":
            parent[key] = parent.pop(last)
        else:
            parent[key] = value
    elif isinstance(parent, list) and isinstance(last, int) and last < len(parent):
        if how == "delete":
            del parent[last]
        elif how == "replace":
            parent[last] = value
        else:
            parent.insert(last, copy.deepcopy(parent[last]) if how == "rename" else value)


def loads_or_says_why(path: Path) -> None:
    try:
        project = load_project(path)
    except InputError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.message and problem.file
            assert problem.line >= 0 and problem.column >= 0
    else:
        case = project.case
        assert case.storage and case.horizon > 0
        assert {layer.material.name for wall in case.package.walls.values() for layer in wall.layers}


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("mutations") / "p.yaml"


_SETTINGS = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@_SETTINGS
@given(pick=st.data())
def test_changed_values_and_keys_load_or_are_refused_in_words(target: Path, pick: st.DataObject) -> None:
    name = pick.draw(st.sampled_from(sorted(DATA)))
    data = copy.deepcopy(DATA[name])
    for _ in range(pick.draw(st.integers(1, 3))):
        place = pick.draw(st.sampled_from(PLACES[name]))
        how = pick.draw(st.sampled_from(["delete", "replace", "rename", "add"]))
        changed(data, place, how, pick.draw(VALUES), pick.draw(KEYS))
    text = json.dumps(data).replace("NaN", ".nan").replace("Infinity", ".inf")
    target.write_text(text, "utf-8")
    loads_or_says_why(target)


@_SETTINGS
@given(pick=st.data())
def test_random_edits_of_the_text_load_or_are_refused_in_words(target: Path, pick: st.DataObject) -> None:
    text = TEXTS[pick.draw(st.sampled_from(sorted(TEXTS)))]
    for _ in range(pick.draw(st.integers(1, 4))):
        at = pick.draw(st.integers(0, len(text)))
        length = pick.draw(st.integers(0, 6))
        piece = pick.draw(st.one_of(st.text(max_size=3), st.sampled_from(list("{}[],:#&*!|>%@`'\"\t\n -?<"))))
        text = text[:at] + piece + text[at + length :]
    target.write_bytes(text.encode("utf-8", "surrogatepass"))
    loads_or_says_why(target)


@_SETTINGS
@given(content=st.binary(max_size=60))
def test_any_bytes_load_or_are_refused_in_words(target: Path, content: bytes) -> None:
    target.write_bytes(content)
    loads_or_says_why(target)

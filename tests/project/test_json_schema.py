"""The JSON Schema takes every project that loads, marks what does not, and the manual is made from it."""

from __future__ import annotations

import copy
import importlib
import importlib.util
import json
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import optimizer.project as project_package
from optimizer import load_project
from optimizer.catalog import merge
from optimizer.catalog.records import DiffusivityRecord, PermeabilityRecord
from optimizer.catalog.scavenger import ScavengerRecord
from optimizer.errors import InputError
from optimizer.project.base import Group, known_keys, meanings_of
from optimizer.project.json_schema import json_schema
from optimizer.project.meanings import MEANINGS
from optimizer.project.schema import read_sections
from optimizer.project.schema_package import ShapePart, WallPart
from optimizer.project.source import read_source
from tests.test_examples import PAGES, blocks, replaced, whole

jsonschema = pytest.importorskip("jsonschema", reason="the package jsonschema is not installed")

ROOT = Path(__file__).parents[2]
GOOD = sorted([*ROOT.glob("examples/*/*.yaml"), *ROOT.glob("tests/data/projects/good/*.yaml")])
#: Groups that several others are built on, and parts whose keys stand elsewhere on the page.
BASES = {Group, WallPart, ShapePart}
WITHOUT_TABLE = {
    "Gab", "Oswin", "Henderson", "TableOfPoints",  # examples of each stand in a table of isotherms
    "AreaPart", "ClosurePart", "HolePart", "GasketPart", "ORingPart", "SealEdgePart", "ValvePart",
    "Package", "Wall", "Stretch", "DrawDown", "Heights",  # one key each, in the text
    "ThicknessRange", "MassRange", "ShareRange", "LeastShare", "MonoMaterial", "Regrind",  # under their rule
    "SpreadHoles", "Diameters", "HoleTable", "Size", "_Column",  # under theirs
}  # fmt: skip


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return json_schema()


@pytest.fixture(scope="module")
def check(schema: dict[str, Any]) -> Any:
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.fixture(scope="module")
def reference() -> ModuleType:
    spec = importlib.util.spec_from_file_location("reference", ROOT / "tests" / "reference.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def groups() -> list[type[Group]]:
    """Every group of the schema modules."""
    for module in pkgutil.iter_modules(project_package.__path__):
        if module.name.startswith("schema"):
            importlib.import_module(f"optimizer.project.{module.name}")
    found: list[type[Group]] = []
    waiting: list[type[Group]] = [Group]
    while waiting:
        own = waiting.pop()
        waiting += own.__subclasses__()
        if own not in BASES and not own.__module__.startswith("tests"):
            found.append(own)
    return found


def said(check: Any, data: dict[str, Any]) -> list[str]:
    return [error.message for error in check.iter_errors(data)]


@pytest.mark.parametrize("path", GOOD, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_every_project_that_loads_fits_the_schema(path: Path, check: Any) -> None:
    assert said(check, read_source(path).data) == []


@pytest.mark.parametrize("page", [p for p in PAGES if any(k == "project" for k, *_ in blocks(p))], ids=str)
def test_every_snippet_of_the_manual_fits_the_schema(page: Path, check: Any, tmp_path: Path) -> None:
    base = whole(page)
    for kind, text, _ in blocks(page):
        file = tmp_path / "snippet.yaml"
        file.write_text(text, encoding="utf-8")
        if kind == "project":
            assert said(check, read_source(file).data) == []
        elif kind == "fragment":
            data = replaced(base, read_source(file).data)
            assert said(check, data) == [], text


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        ({"titel": "x"}, "titel"),
        ({"product": {"mass": 150, "volume": "180 mL", "headspace": {"volume": "90 mL"}}}, "150"),
        ({"product": {"volume": "180 mL", "headspace": {"volume": "90 mL"}}}, "'mass' is a required"),
        ({"design": {"walls": ["tub"], "minimise": "prise", "choose_from": ["HDPE"]}}, "prise"),
        ({"walls": {"tub": {"layers": [{"material": "HDPE", "thicknes": "8 um"}]}}}, "thicknes"),
        ({"format": 2}, "2"),
    ],
    ids=["misspelt key", "no unit", "missing key", "unknown word", "misspelt inside", "format"],
)
def test_an_editor_marks_what_the_program_refuses(change: dict[str, Any], wrong: str, check: Any) -> None:
    base = whole(ROOT / "docs" / "project-file.md")
    messages = said(check, {**base, **change})
    assert any(re.search(wrong, message) for message in messages), messages


def test_every_key_says_what_it_means() -> None:
    for group in groups():
        assert set(known_keys(group)) <= set(meanings_of(group)), group.__name__


def test_every_meaning_is_of_a_key_that_exists() -> None:
    known = {group.__name__: set(known_keys(group)) for group in [*groups(), WallPart]}
    known["ShapePart"] = {"shape", "dimensions"}
    for name, meanings in MEANINGS.items():
        assert set(meanings) <= known[name], name


def test_the_keys_of_a_material_are_those_that_the_catalogue_reads(schema: dict[str, Any]) -> None:
    material = schema["properties"]["materials"]["items"]["anyOf"][1]["properties"]
    assert set(material) == set(merge._KEYS)
    records = {
        "permeability": set(PermeabilityRecord.model_fields) - {"material"},
        "permeance": set(PermeabilityRecord.model_fields) - {"material", "thickness"},
        "diffusivity": set(DiffusivityRecord.model_fields) - {"material"},
    }
    for key, fields in records.items():
        assert set(material[key]["items"]["properties"]) == fields, key
    assert set(material["scavenger"]["properties"]) == set(ScavengerRecord.model_fields) - {"material"}


def test_no_key_is_left_without_a_shape(schema: dict[str, Any]) -> None:
    for name, group in [("file", schema), *schema["$defs"].items()]:
        for key, entry in group["properties"].items():
            assert set(entry) & {"type", "enum", "const", "anyOf", "$ref"}, f"{name}.{key}"
            assert entry.get("description"), f"{name}.{key}"


def test_the_manual_is_made_from_the_schema(reference: ModuleType) -> None:
    text = reference.PAGE.read_text(encoding="utf-8")
    assert reference.refreshed(text) == text, "run: python tests/reference.py"


def test_every_group_has_a_table_in_the_manual(reference: ModuleType, schema: dict[str, Any]) -> None:
    named = set(reference.names(reference.PAGE.read_text(encoding="utf-8")))
    groups = {name for name in schema["$defs"] if not name.startswith("Shape_")}
    assert groups - named == WITHOUT_TABLE


#: What the program reads beside the plainest spelling, by the part of the file that it replaces.
ALSO_READ: list[tuple[str, dict[str, Any]]] = [
    ("order as a text", {"consumption": {"order": "1", "rate": "0.05 1/day", "temperature": "23 degC"}}),
    (
        "order in capitals",
        {
            "consumption": {
                "order": " Michaelis-Menten",
                "rate": "0.2 mg/(kg*day)",
                "half_pressure": "1 kPa",
                "temperature": "23 degC",
            }
        },
    ),
    ("water activity as a text", {"water_activity": " .35 "}),
    ("role in capitals", {"roles": ["Seal", "core"]}),
    ("empty note and price", {"note": None, "price": None}),
    ("recycled content without a unit", {"recycled_content": 0.3}),
    ("gas in small letters", {"row": {"gas": "o2"}}),
    ("humidity without a unit", {"row": {"humidity": 0}}),
    ("humidity as a text without a unit", {"row": {"humidity": "0.5"}}),
    ("empty source of a row", {"row": {"source": None, "grade": None}}),
]


def with_change(change: dict[str, Any]) -> dict[str, Any]:
    base = dict(whole(ROOT / "docs" / "project-file.md"))
    row = {"gas": "O2", "value": "2 cm3*mm/(m2*day*atm)", "temperature": "23 degC", "humidity": "0 %"}
    product = {**base["product"], "oxygen": {"dissolves_like": "water"}}
    if "consumption" in change:
        product["oxygen"] = {"dissolves_like": "water", **change}
    elif "water_activity" in change:
        product |= change
    elif "row" in change:
        base["materials"] = [*base["materials"], {"name": "PET", "permeability": [row | change["row"]]}]
    else:
        base["materials"] = [*base["materials"], {"name": "PET", **change}]
    return {**base, "product": product}


@pytest.mark.parametrize("change", [c for _, c in ALSO_READ], ids=[name for name, _ in ALSO_READ])
def test_a_spelling_that_the_program_reads_fits_the_schema(
    change: dict[str, Any], check: Any, tmp_path: Path
) -> None:
    data = with_change(change)
    file = tmp_path / "project.yaml"
    file.write_text(json.dumps(data), encoding="utf-8")  # JSON is YAML
    load_project(file)
    assert said(check, data) == []


@pytest.mark.parametrize(
    "change",
    [
        {"water_activity": "wet"},
        {"water_activity": "35 %"},
        {"roles": ["lid"]},
        {"row": {"gas": "He"}},
        {"consumption": {"order": "2", "rate": "0.05 1/day", "temperature": "23 degC"}},
    ],
    ids=str,
)
def test_a_word_that_the_program_does_not_read_is_marked(
    change: dict[str, Any], check: Any, tmp_path: Path
) -> None:
    data = with_change(change)
    file = tmp_path / "project.yaml"
    file.write_text(json.dumps(data), encoding="utf-8")
    with pytest.raises(InputError):
        load_project(file)
    assert said(check, data) != []


#: What is no value of a key that takes one text or number: too much, too little, or nothing.
OTHER_KINDS: tuple[Any, ...] = (True, [], {}, 5)
#: Cells of a material that the examples do not have.
EVERYTHING_OF_A_MATERIAL = {
    "name": "PET", "family": "PET", "density": "1.36 g/cm3", "price": "1 EUR/kg", "note": "mine",
    "roles": ["core"], "aliases": ["pet"], "recycling_family": "PET", "recycled_content": "10 %",
    "glass_transition": "70 degC", "food_contact": True, "contains": ["none"],
    "gauge": {"min": "5 um", "max": "1 mm"},
    "permeability": [
        {"gas": "O2", "value": 2, "unit": "cm3*mm/(m2*day*atm)", "temperature": "23 degC", "humidity": "0 %",
         "source": "mine", "note": "x", "grade": "user", "spread": "5 %", "activation_energy": "30 kJ/mol"}
    ],
    "diffusivity": [
        {"gas": "O2", "value": 1e-13, "unit": "m2/s", "temperature": "23 degC", "source": "mine", "note": "x"}
    ],
    "scavenger": {"gas": "O2", "rate": "0.002 1/s", "temperature": "23 degC", "source": "mine", "note": "x"},
}  # fmt: skip


def places(node: Any, here: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if here:
        yield here
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        yield from places(value, (*here, key))


def put_at(data: dict[str, Any], place: tuple[Any, ...], value: Any) -> dict[str, Any]:
    changed: dict[str, Any] = copy.deepcopy(data)
    node: Any = changed
    for step in place[:-1]:
        node = node[step]
    node[place[-1]] = value
    return changed


def refused(data: dict[str, Any], folder: Path) -> bool:
    file = folder / "project.yaml"
    file.write_text(json.dumps(data), encoding="utf-8")
    try:
        load_project(file)
    except InputError:
        return True
    return False


@pytest.mark.slow
def test_what_the_schema_refuses_in_a_material_the_program_refuses_too(check: Any, tmp_path: Path) -> None:
    base = dict(whole(ROOT / "docs" / "project-file.md"))
    base["materials"] = [EVERYTHING_OF_A_MATERIAL]
    assert not refused(base, tmp_path) and said(check, base) == []
    taken = []
    for place in places(base["materials"], ("materials",)):
        for value in OTHER_KINDS:
            data = put_at(base, place, value)
            if said(check, data) and not refused(data, tmp_path):
                taken.append((place, value))
    assert taken == []


@pytest.mark.parametrize("value", OTHER_KINDS[:3], ids=str)
def test_the_source_of_a_row_is_a_text(value: Any, tmp_path: Path) -> None:
    base = dict(whole(ROOT / "docs" / "project-file.md"))
    base["materials"] = [EVERYTHING_OF_A_MATERIAL]
    place = ("materials", 0, "permeability", 0, "source")
    file = tmp_path / "project.yaml"
    file.write_text(json.dumps(put_at(base, place, value)), encoding="utf-8")
    with pytest.raises(InputError, match=r":1:\d+: .*permeability\[0\]\.source: expected one text, not"):
        load_project(file)


@pytest.mark.slow
def test_program_and_schema_agree_on_values_of_another_kind(check: Any, tmp_path: Path) -> None:
    seen = set()
    file = tmp_path / "project.yaml"
    for base in [read_source(path).data for path in GOOD]:
        for place in places({key: value for key, value in base.items() if key != "materials"}):
            kind = tuple("*" if isinstance(step, int) else step for step in place)
            if kind in seen:
                continue
            seen.add(kind)
            for value in OTHER_KINDS[:3]:
                data = put_at(base, place, value)
                file.write_text(json.dumps(data), encoding="utf-8")
                marked, wrong = bool(said(check, data)), bool(read_sections(read_source(file))[1])
                # an empty group or list may be right by its kind, and senseless all the same
                assert marked == wrong or (wrong and value in ([], {})), (place, value)


@pytest.mark.parametrize(
    "place",
    [("storage",), ("walls",), ("package", "parts"), ("design", "walls"), ("design", "choose_from")],
    ids=str,
)
def test_a_list_or_group_that_needs_something_is_marked_where_it_is_empty(
    place: tuple[Any, ...], check: Any, tmp_path: Path
) -> None:
    base = read_source(ROOT / "examples/oat_drink_bottle/project.yaml").data
    empty: Any = {} if place[-1] in ("walls", "parts") and place[0] != "design" else []
    data = put_at(base, place, empty)
    assert said(check, data) and refused(data, tmp_path)


def test_a_thickness_or_a_unit_without_letters_is_marked(check: Any) -> None:
    base = read_source(ROOT / "examples/lightweight_bottle/before.yaml").data
    assert said(check, put_at(base, ("package", "parts", "bottle", "thickness"), 5))
    assert said(check, put_at(base, ("package", "parts", "bottle", "unit"), 5))

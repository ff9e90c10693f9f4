"""The project file, section by section. Every key of the contract stands in one of the ``schema`` modules."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, PlainValidator, TypeAdapter, ValidationError

from optimizer.errors import Problem
from optimizer.project.base import SOME, Group, fault, one_of, shown
from optimizer.project.fields import (
    Duration,
    Gas,
    Humidity,
    Pressure,
    Temperature,
    Word,
    take,
)
from optimizer.project.json_kinds import choice_shape, quantity_shape
from optimizer.project.json_material import material_shape
from optimizer.project.schema_design import Design
from optimizer.project.schema_material import Table, material_entry
from optimizer.project.schema_package import Package, Wall, named, some
from optimizer.project.schema_product import BeforeClosing, Product
from optimizer.project.schema_storage import Stage, WeatherStage, stage_kind
from optimizer.project.schema_uncertainty import Uncertainty
from optimizer.project.source import Location, Source
from optimizer.project.suggest import did_you_mean
from optimizer.shelflife.package import WALL_MODES
from optimizer.units import Quantity

#: kinds of a specification limit: (per m2 of a wall, per package), for a gas and for H2O
LIMIT_KINDS = {
    "gas": (("gas permeance", "gas flux"), ("package gas conductance", "package gas flow")),
    "H2O": (("vapour transmission rate",), ("package vapour rate",)),
}
LIMIT_EXAMPLE = {
    "gas": ("2 cm3/(m2*day*atm)", "0.05 cm3/(day*atm)"),
    "H2O": ("8 g/(m2*day)", "0.02 g/day"),
}


def example_of(row: TransmissionLimit) -> str:
    """A unit that would do for ``row``."""
    return LIMIT_EXAMPLE["H2O" if row.gas == "H2O" else "gas"][int(row.wall is None)]


def _maximum(value: Any, data: dict[str, Any]) -> Quantity | None:
    gas, per_package = data.get("gas"), int(data.get("wall") is None)
    if gas is None or "wall" not in data:
        return None
    kind = "H2O" if gas == "H2O" else "gas"
    example = LIMIT_EXAMPLE[kind][per_package]
    return take(value, LIMIT_KINDS[kind][per_package], example, gas=gas, above=0.0, limits="more than 0")


class TransmissionLimit(Group):
    """A buyer's specification. max: per m2 of ``wall``, or per package when no wall is named."""

    gas: Gas
    wall: Word | None = None
    max: Annotated[
        Any,
        PlainValidator(
            lambda v, info: _maximum(v, info.data),
            json_schema_input_type=quantity_shape(
                ("transmission rate",), LIMIT_EXAMPLE["gas"][0], "more than 0"
            ),
        ),
    ]
    temperature: Temperature
    humidity: Humidity
    humidity_far: Humidity | None = None
    partial_pressure: Pressure | None = None
    example: ClassVar[dict[str, str]] = {
        "gas": "O2",
        "max": "2 cm3/(m2*day*atm)",
        "temperature": "23 degC",
        "humidity": "50 %",
    }


class Target(Group):
    shelf_life: Duration | None = None
    transmission: list[TransmissionLimit] = []
    example: ClassVar[dict[str, str]] = {"shelf_life": "9 months"}


def _format(value: Any) -> int:
    if value == 1 and not isinstance(value, bool):
        return 1
    raise fault(f"{shown(value)} is not a known format", "this release reads 'format: 1'")


def _wall_mode(value: Any) -> str:
    if isinstance(value, str) and value in WALL_MODES:
        return value
    if isinstance(value, dict):
        raise fault(
            "a word is expected here, not a group of keys", "the layers stand under 'walls'", at="key"
        )
    raise fault(f"{shown(value)} is not known here", did_you_mean(str(value), WALL_MODES, "one of"))


class ProjectFile(Group):
    """The whole file; a section that is wrong does not hide what is wrong in the others."""

    format: Annotated[int, PlainValidator(_format, json_schema_input_type=choice_shape((1,)))]
    title: Word | None = None
    materials: list[
        Annotated[Any, PlainValidator(material_entry, json_schema_input_type=Table | material_shape())]
    ] = []
    product: Product
    package: Package
    walls: Annotated[dict[str, Wall], SOME, named("wall")] | None = None
    storage: Annotated[
        list[Annotated[Any, PlainValidator(one_of(stage_kind), json_schema_input_type=Stage | WeatherStage)]],
        SOME,
        BeforeValidator(
            lambda v: some(v, "stage", "{duration: 4 months, temperature: 23 degC, humidity: 50 %}")
        ),
    ]
    target: Target | None = None
    design: Design | None = None
    wall: Annotated[str, PlainValidator(_wall_mode, json_schema_input_type=choice_shape(WALL_MODES))] = "auto"
    before_closing: BeforeClosing | None = None
    uncertainty: Uncertainty | None = None
    example: ClassVar[dict[str, str]] = {
        "format": "1",
        "product": "{mass: 1.03 kg, volume: 1.0 L, headspace: {volume: 30 mL}}",
        "package": "{parts: {body: {area: 18 cm2, wall: bottle}}}",
        "title": "Oat-drink bottle, 1 L",
        "storage": "[{duration: 9 months, temperature: 23 degC, humidity: 50 %}]",
        "target": "{shelf_life: 9 months}",
        "wall": "auto",
        "before_closing": "{humidity: 50 %}",
        "uncertainty": "{thickness: 8 %, confidence: 95 %}",
    }


@dataclass
class Sections:
    """The sections that could be read; one that is missing or wrong is None (materials: empty)."""

    title: str
    materials: list[Any]
    product: Product | None
    package: Package | None
    walls: dict[str, Wall] | None
    storage: list[Stage | WeatherStage] | None
    target: Target | None
    design: Design | None
    wall: str
    before_closing: BeforeClosing | None
    uncertainty: Uncertainty | None
    failed: frozenset[str]


def outer_sections(sections: Sections) -> Sections | None:
    """The file as if its outer pack were the package; None without one."""
    outer = sections.package.outer if sections.package else None
    if outer is None:
        return None
    package = Package.model_construct(parts=outer.parts, labels={}, outer=None)
    return replace(sections, package=package, target=None, design=None)


def read_sections(source: Source) -> tuple[Sections, list[Problem]]:
    """Validate the whole file; every problem, and whatever sections are sound."""
    problems: list[Problem] = []
    failed: set[str] = set()
    try:
        ProjectFile.model_validate(source.data)
    except ValidationError as error:
        for item in error.errors(include_url=False):
            found = _problem(source, item)
            if source.shorten(_place(item)) not in source.broken:
                problems.append(found)
            failed.add(str(item["loc"][0]) if item["loc"] else "")
    sound: dict[str, Any] = {}
    for name, field in ProjectFile.model_fields.items():
        given = source.data.get(name)
        if given is not None and name not in failed:
            sound[name] = _adapter(name).validate_python(given)
        elif name not in failed and not field.is_required():
            sound[name] = field.get_default()
    return (
        Sections(
            title=sound.get("title") or source.path.stem,
            materials=sound.get("materials") or [],
            product=sound.get("product"),
            package=sound.get("package"),
            walls=sound.get("walls"),
            storage=sound.get("storage"),
            target=sound.get("target"),
            design=sound.get("design"),
            wall=sound.get("wall") or "auto",
            before_closing=sound.get("before_closing"),
            uncertainty=sound.get("uncertainty"),
            failed=frozenset(failed),
        ),
        problems,
    )


@cache
def _adapter(name: str) -> TypeAdapter[Any]:
    field = ProjectFile.model_fields[name]
    kind: Any = field.annotation
    for extra in field.metadata:
        kind = Annotated[kind, extra]
    return TypeAdapter(kind)


def _place(item: Any) -> Location:
    return tuple(step for step in item["loc"] if step != "[key]")


def _problem(source: Source, item: Any) -> Problem:
    """One line of pydantic's list as a Problem with its place in the file."""
    place = _place(item)
    context = item.get("ctx", {})
    if item["type"] != "layerwright":
        return source.problem(place, f"cannot be read as given: {shown(item['input'])}")
    column = int(context["column"])
    at_key = context["at"] == "key" or "[key]" in item["loc"]
    return source.problem(place, context["message"], context["hint"], key=at_key, offset=max(column - 1, 0))

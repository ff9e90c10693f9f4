"""The ``package`` and ``walls`` sections: parts in parallel, and the layers they are made of."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Annotated, Any, ClassVar, Literal, Union

from pydantic import BeforeValidator, PlainValidator, create_model
from pydantic_core import PydanticCustomError

from optimizer.geometry.shapes import DIMENSIONS, SHAPES
from optimizer.project.base import SOME, Group, fault, one_of, shown
from optimizer.project.fields import (
    Area,
    Energy,
    Factor,
    FileName,
    Gas,
    Humidity,
    Pressure,
    Spread,
    Temperature,
    Volume,
    Word,
    choice,
    flag,
    for_gas,
    ratio,
    take,
    whole,
)
from optimizer.project.json_kinds import (
    LENGTH_CELL,
    choice_shape,
    flag_shape,
    quantity_shape,
    ratio_shape,
    table_shape,
    text_shape,
)
from optimizer.project.schema_closures import SEALS, Label
from optimizer.project.schema_closures import HolePart as HolePart
from optimizer.project.schema_closures import SealPart as SealPart
from optimizer.project.schema_layers import Layer
from optimizer.project.schema_layers import some as some
from optimizer.project.schema_mesh import Region, Up, mesh_unit, region
from optimizer.project.schema_product import Shares
from optimizer.project.schema_thickness import AnyThickness, TableFile, flat_thickness
from optimizer.project.suggest import did_you_mean
from optimizer.units import Quantity

PART_KEYS = ("shape", "area", "mesh", "opening_of", "transmission", "pinhole", *SEALS)


class Wall(Group):
    layers: Annotated[
        list[Layer],
        SOME,
        BeforeValidator(lambda v: some(v, "layer", "{material: HDPE, thickness: 320 um}")),
    ]
    example: ClassVar[dict[str, str]] = {"layers": "[{material: HDPE, thickness: 320 um}]"}


class WallPart(Group):
    """A part made of a wall. thickness: of this part, all layers together; one, or from place to place."""

    wall: Word
    thickness_ratio: Factor | None = None
    thickness: AnyThickness | None = None
    example: ClassVar[dict[str, str]] = {
        "wall": "bottle",
        "thickness_ratio": "1.4",
        "area": "18 cm2",
        "mesh": "bottle.stl",
        "unit": "mm",
        "up": "z",
        "shows": "one face",
        "inner": "bottle-inside.stl",
        "opening_of": "bottle",
        "opening": "1",
        "regions": "{base: {below: 20 mm, thickness_ratio: 1.4}}",
        "thickness": "480 um",
        "diameter": "75 mm",
        "height": "210 mm",
    }


class ShapePart(WallPart):
    """A part with a shape of its own kind, see ``shape_part``."""


class AreaPart(WallPart):
    area: Area


class MeshPart(WallPart):
    """unit: one unit of the mesh [m]. shows: which faces of the wall the file has. inner: file of the inner
    face of the wall, where ``mesh`` is the outer.

    regions: parts of their own, by name; the first that takes a face keeps it, and this part has the rest.
    """

    mesh: FileName
    unit: Annotated[float, PlainValidator(mesh_unit, json_schema_input_type=text_shape())]
    dimensions: Annotated[str, choice(*DIMENSIONS)] = "outside"
    shows: Annotated[Literal["one face", "both faces"], choice("one face", "both faces")] | None = None
    inner: FileName | None = None
    up: Up | None = None
    regions: Annotated[
        dict[str, Annotated[Region, PlainValidator(region, json_schema_input_type=Region)]],
        SOME,
        BeforeValidator(lambda v: _named(v, "region")),
    ] = {}


class OpeningPart(WallPart):
    """A flat piece of a wall over an opening of the mesh of another part; openings count from 1, largest
    first."""

    opening_of: Word
    opening: Annotated[int, whole(1, 1000)] = 1
    thickness: (
        Annotated[
            Quantity,
            PlainValidator(flat_thickness, json_schema_input_type=quantity_shape("length", "480 um")),
        ]
        | None
    ) = None


class Rate(Group):
    """One measured transmission of a closure. value: see ``build_package.closure``."""

    gas: Gas
    value: Annotated[Any, for_gas(lambda g: CLOSURE_KINDS[g == "H2O"], lambda g: CLOSURE_EXAMPLE[g == "H2O"])]
    temperature: Temperature
    humidity: Humidity | None = None
    humidity_far: Humidity | None = None
    partial_pressure: Pressure | None = None
    activation_energy: Energy | None = None
    spread: Spread | None = None
    example: ClassVar[dict[str, str]] = {
        "gas": "O2",
        "value": "0.0012 cm3/day",
        "temperature": "23 degC",
        "humidity": "90 %",
        "partial_pressure": "0.2095 atm",
        "spread": "20 %",
    }


#: kinds for a gas, kinds for H2O
CLOSURE_KINDS = (
    ("package gas flow", "package gas conductance"),
    ("package vapour rate", "package vapour conductance"),
)
CLOSURE_EXAMPLE = ("0.0012 cm3/day", "0.002 g/day")


class ClosurePart(Group):
    transmission: Annotated[
        list[Rate],
        SOME,
        BeforeValidator(
            lambda v: some(
                v,
                "row",
                "{gas: O2, value: 0.0012 cm3/day, temperature: 23 degC, partial_pressure: 0.2095 atm}",
            )
        ),
    ]


Part = WallPart | ClosurePart | HolePart | SealPart


@cache
def shape_part(shape: str) -> type[WallPart]:
    """The keys of one shape, from the registry of shapes; other names of a key are keys of their own."""
    spec = SHAPES[shape]
    fields: dict[str, Any] = {
        "shape": (Annotated[str, PlainValidator(str, json_schema_input_type=choice_shape((shape,)))], ...)
    }
    for name, parameter in spec.required.items():
        fields[name] = (Annotated[Any, dimension(parameter.kind)], ...)
    for name, parameter in spec.optional.items():
        fields[name] = (Annotated[Any, dimension(parameter.kind)], None)
    for name, meant in spec.aliases.items():
        fields[name] = (Annotated[Any, dimension(spec.parameters[meant].kind)], None)
    fields["dimensions"] = (Annotated[str, choice(*DIMENSIONS)], DIMENSIONS[0])
    model: type[WallPart] = create_model(f"Shape_{shape}", __base__=ShapePart, **fields)
    described = {name: parameter.description for name, parameter in spec.parameters.items()}
    model.meaning = described | {name: f"the same as `{meant}`" for name, meant in spec.aliases.items()}
    return model


def dimension(kind: str) -> PlainValidator:
    """Validator of one parameter of a shape, giving its SI value; the shapes themselves check the range."""
    readers: dict[str, tuple[Callable[[Any], Any], Any]] = {
        "length": (lambda v: take(v, "length", "75 mm").value, quantity_shape("length", "75 mm")),
        "area": (lambda v: take(v, "area", "18 cm2").value, quantity_shape("area", "18 cm2")),
        "ratio": (ratio, ratio_shape()),
        "table": (points, table_shape([LENGTH_CELL, LENGTH_CELL], "rows of height and radius")),
        "flag": (flag, flag_shape()),
    }
    reader, shape = readers[kind]
    return PlainValidator(reader, json_schema_input_type=shape)


def points(value: Any) -> tuple[tuple[float, float], ...]:
    """Rows of height and radius, each with its unit, as metres."""
    hint = "for example [[0 mm, 30 mm], [150 mm, 30 mm], [200 mm, 14 mm]]: height, radius"
    if not isinstance(value, list) or len(value) < 2:
        raise fault("a table of at least two points is expected here", hint)
    rows = []
    for i, row in enumerate(value):
        if not isinstance(row, list) or len(row) != 2:
            raise fault(f"point {i + 1} is not a pair of lengths", hint)
        try:
            height, radius = (take(x, "length", "30 mm", coordinate=True).value for x in row)
            rows.append((height, radius))
        except PydanticCustomError as error:
            said = error.context or {}
            raise fault(f"point {i + 1}: {said.get('message', '')}", said.get("hint", "") or hint) from None
    return tuple(rows)


def _part(value: Any) -> type[Group]:
    hint = "a part has one of: " + ", ".join(PART_KEYS)
    if not isinstance(value, dict):
        raise fault(f"a group of keys is expected here, not {shown(value)}", hint)
    given = [k for k in PART_KEYS if k in value]
    if len(given) > 1:
        raise fault(f"has both '{given[0]}' and '{given[1]}'", hint)
    if not given:
        near = next((k for k in value if did_you_mean(k, PART_KEYS).startswith("did")), None)
        extra = f"; '{near}': {did_you_mean(near, PART_KEYS)}" if near else ""
        raise fault("does not say what the part is", hint + extra)
    if given[0] == "shape":
        name = value["shape"]
        if not isinstance(name, str) or name not in SHAPES:
            raise fault(f"the shape {shown(name)} is not known", did_you_mean(str(name), SHAPES, "one of"))
        return shape_part(name)
    kinds: dict[str, type[Group]] = {
        "area": AreaPart,
        "mesh": MeshPart,
        "opening_of": OpeningPart,
        "transmission": ClosurePart,
        "pinhole": HolePart,
        **SEALS,
    }
    return kinds[given[0]]


def _named(value: Any, what: str) -> Any:
    if not isinstance(value, dict):
        raise fault(f"a group of named {what}s is expected here, not {shown(value)}")
    if not value:
        raise fault(f"needs at least one {what}")
    return value


def named(what: str) -> BeforeValidator:
    check: Callable[[Any], Any] = lambda value: _named(value, what)  # noqa: E731
    return BeforeValidator(check)


def _every_part() -> Any:
    """All kinds of parts, for the JSON Schema."""
    shapes = [shape_part(name) for name in SHAPES]
    kinds = (*shapes, AreaPart, MeshPart, OpeningPart, ClosurePart, HolePart, *SEALS.values())
    return Union[kinds]  # noqa: UP007


_Parts = Annotated[
    dict[str, Annotated[Any, PlainValidator(one_of(_part), json_schema_input_type=_every_part())]],
    SOME,
    named("part"),
]


class OuterPack(Group):
    """A second pack around ``count`` of these. volume: of the gas between it and the packages at closing;
    walls: whether that volume is kept (rigid) or the pressure outside (flexible); gas, humidity: of it at
    closing."""

    count: Annotated[int, whole(1, 100_000)]
    volume: Volume
    walls: Annotated[str, choice("rigid", "flexible")] = "flexible"
    gas: Shares | None = None
    humidity: Humidity | None = None
    parts: _Parts
    example: ClassVar[dict[str, str]] = {
        "count": "12",
        "volume": "3 L",
        "walls": "flexible",
        "gas": "{O2: 20.95 %, N2: 79.05 %}",
        "humidity": "50 %",
        "parts": "{wrap: {area: 0.6 m2, wall: wrap}}",
    }


class Package(Group):
    parts: _Parts
    labels: Annotated[dict[str, Label], SOME, named("label")] = {}
    outer: OuterPack | None = None
    example: ClassVar[dict[str, str]] = {
        "parts": "{body: {shape: cylinder, diameter: 75 mm, height: 210 mm, wall: bottle}}",
        "labels": "{front: {on: body, share: 40 %, layers: [{material: PP, thickness: 50 um}]}}",
        "outer": "{count: 12, volume: 3 L, parts: {wrap: {area: 0.6 m2, wall: wrap}}}",
    }


def walls_of(package: Package) -> dict[str, str]:
    """Name of every part that is made of a wall, regions of meshes among them, to that of its wall."""
    found: dict[str, str] = {}
    for name, part in package.parts.items():
        if isinstance(part, WallPart):
            found[name] = part.wall
        if isinstance(part, MeshPart):
            found |= {key: region.wall or part.wall for key, region in part.regions.items()}
    return found


def files_of(package: Package) -> list[str]:
    """Files that the parts name, as written: meshes and tables of local thickness."""
    found: list[str] = []
    for part in package.parts.values():
        if isinstance(part, MeshPart):
            found += [part.mesh, *([part.inner] if part.inner else [])]
        given = [part.thickness] if isinstance(part, WallPart) else []
        given += [r.thickness for r in part.regions.values()] if isinstance(part, MeshPart) else []
        found += [thickness.path for thickness in given if isinstance(thickness, TableFile)]
    return found

"""The ``package`` and ``walls`` sections: parts in parallel, and the layers they are made of."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, PlainValidator, create_model
from pydantic_core import PydanticCustomError

from optimizer.errors import UnitError
from optimizer.geometry.shapes import DIMENSIONS, SHAPES
from optimizer.project.base import Group, fault, one_of, shown
from optimizer.project.fields import (
    Area,
    Energy,
    Factor,
    Gas,
    Humidity,
    Length,
    Pressure,
    Spread,
    Temperature,
    Word,
    choice,
    flag,
    for_gas,
    plain_number,
    ratio,
    take,
)
from optimizer.project.suggest import did_you_mean
from optimizer.units import Quantity, read

PART_KEYS = ("shape", "area", "mesh", "transmission", "pinhole")


class Layer(Group):
    material: Word
    thickness: Length
    example: ClassVar[dict[str, str]] = {"material": "HDPE", "thickness": "320 um"}


class Wall(Group):
    layers: Annotated[
        list[Layer], BeforeValidator(lambda v: some(v, "layer", "{material: HDPE, thickness: 320 um}"))
    ]
    example: ClassVar[dict[str, str]] = {"layers": "[{material: HDPE, thickness: 320 um}]"}


def some(value: Any, what: str, sample: str) -> Any:
    if not isinstance(value, list):
        raise fault(f"a list is expected here, not {shown(value)}", f"for example [{sample}]")
    if not value:
        raise fault(f"needs at least one {what}", f"for example [{sample}]")
    return value


def _local_thickness(value: Any) -> Quantity:
    if isinstance(value, str) and not any(c.isdigit() for c in value.strip()[:1]):
        raise fault(
            "thickness tables are read in a later release",
            "give one thickness such as '480 um', or thickness_ratio",
        )
    return take(value, "length", "480 um", above=0.0, limits="more than 0")


class WallPart(Group):
    """A part made of a wall. thickness: mean thickness of this part, all layers together."""

    wall: Word
    thickness_ratio: Factor | None = None
    thickness: Annotated[Quantity, PlainValidator(_local_thickness)] | None = None
    example: ClassVar[dict[str, str]] = {
        "wall": "bottle",
        "thickness_ratio": "1.4",
        "area": "18 cm2",
        "mesh": "bottle.stl",
        "unit": "mm",
        "diameter": "75 mm",
        "height": "210 mm",
    }


class AreaPart(WallPart):
    area: Area


def mesh_unit(value: Any) -> float:
    """One unit of the mesh [m]."""
    if not isinstance(value, str) or any(c.isdigit() for c in value):
        raise fault(f"the unit of a length is expected here, not {shown(value)}", "for example mm")
    try:
        return read(f"1 {value}", "length").value
    except UnitError:
        raise fault(f"{shown(value)} is not the unit of a length", "for example mm, cm, m or in") from None


class MeshPart(WallPart):
    """unit: one unit of the mesh [m]."""

    mesh: Word
    unit: Annotated[float, PlainValidator(lambda v: mesh_unit(v))]
    dimensions: Annotated[str, choice(*DIMENSIONS)] = "outside"


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
        BeforeValidator(
            lambda v: some(
                v,
                "row",
                "{gas: O2, value: 0.0012 cm3/day, temperature: 23 degC, partial_pressure: 0.2095 atm}",
            )
        ),
    ]


class Hole(Group):
    diameter: Length
    length: Length
    count: Annotated[float, plain_number(above=0.0, most=1e6, limits="more than 0", example="1")] = 1.0
    example: ClassVar[dict[str, str]] = {"diameter": "20 um", "length": "300 um"}


class HolePart(Group):
    pinhole: Hole


Part = WallPart | ClosurePart | HolePart


@cache
def shape_part(shape: str) -> type[WallPart]:
    """The keys of one shape, from the registry of shapes; other names of a key are keys of their own."""
    spec = SHAPES[shape]
    fields: dict[str, Any] = {"shape": (str, ...)}
    for name, parameter in spec.required.items():
        fields[name] = (Annotated[Any, dimension(parameter.kind)], ...)
    for name, parameter in spec.optional.items():
        fields[name] = (Annotated[Any, dimension(parameter.kind)], None)
    for name, meant in spec.aliases.items():
        fields[name] = (Annotated[Any, dimension(spec.parameters[meant].kind)], None)
    fields["dimensions"] = (Annotated[str, choice(*DIMENSIONS)], DIMENSIONS[0])
    model: type[WallPart] = create_model(f"Shape_{shape}", __base__=WallPart, **fields)
    return model


def dimension(kind: str) -> PlainValidator:
    """Validator of one parameter of a shape, giving its SI value; the shapes themselves check the range."""
    readers: dict[str, Callable[[Any], Any]] = {
        "length": lambda v: take(v, "length", "75 mm").value,
        "area": lambda v: take(v, "area", "18 cm2").value,
        "ratio": ratio,
        "table": points,
        "flag": flag,
    }
    return PlainValidator(readers[kind])


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
            rows.append((take(row[0], "length", "150 mm").value, take(row[1], "length", "30 mm").value))
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
        "transmission": ClosurePart,
        "pinhole": HolePart,
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


class Package(Group):
    parts: Annotated[dict[str, Annotated[Any, PlainValidator(one_of(_part))]], named("part")]
    example: ClassVar[dict[str, str]] = {
        "parts": "{body: {shape: cylinder, diameter: 75 mm, height: 210 mm, wall: bottle}}"
    }

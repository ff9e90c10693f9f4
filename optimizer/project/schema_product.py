"""The ``product`` section: what is in the package, and how it may change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, PlainValidator

from optimizer.project.base import SOME, Group, fault, one_of, shown
from optimizer.project.fields import (
    Activity,
    Energy,
    Factor,
    HeadspaceGas,
    Humidity,
    Mass,
    Pressure,
    Share,
    Temperature,
    Volume,
    choice,
    number,
    plain_number,
    quantity,
    share_or_number,
    take,
)
from optimizer.project.json_kinds import (
    NUMBER_CELL,
    QUANTITY_CELL,
    any_case_shape,
    any_of,
    quantity_shape,
    table_shape,
)
from optimizer.project.schema_limits import Limits as Limits
from optimizer.units import Quantity

_CREEP = "for example [[0 days, 0 %], [14 days, 1.5 %], [90 days, 2.5 %]]: time since closing, growth"
_Since = Annotated[Quantity, quantity("duration", "14 days", least=0.0, limits="at least 0")]
Shares = Annotated[dict[HeadspaceGas, Share], SOME, BeforeValidator(lambda v: _not_empty(v))]


def _points(value: Any) -> Any:
    if not isinstance(value, list) or not value:
        raise fault("a table of points is expected here", _CREEP)
    return value


def _pair(value: Any) -> Any:
    if not isinstance(value, list) or len(value) != 2:
        raise fault("is not a pair of a time and a growth", _CREEP)
    return value


class Headspace(Group):
    """creep: points of time since closing, and growth of the inside volume as a share of it."""

    volume: Volume
    walls: Annotated[str, choice("rigid", "flexible")] = "rigid"
    gas: Shares | None = None
    creep: (
        Annotated[
            list[Annotated[tuple[_Since, Share], BeforeValidator(lambda v: _pair(v))]],
            SOME,
            BeforeValidator(lambda v: _points(v)),
        ]
        | None
    ) = None

    example: ClassVar[dict[str, str]] = {
        "volume": "30 mL",
        "walls": "rigid",
        "gas": "{O2: 1 %, N2: 99 %}",
        "creep": "[[0 days, 0 %], [14 days, 1.5 %]]",
    }


class BeforeClosing(Group):
    """What the walls were stored in until closing; at least one of the two."""

    humidity: Humidity | None = None
    gas: Shares | None = None
    example: ClassVar[dict[str, str]] = {"humidity": "50 %", "gas": "{O2: 20.95 %, N2: 79.05 %}"}


def _not_empty(value: Any) -> Any:
    if not isinstance(value, dict) or not value:
        raise fault("a group of gases and their shares is expected here", "for example {O2: 1 %, N2: 99 %}")
    return value


def _order(value: Any) -> int | str:
    if isinstance(value, int | float) and not isinstance(value, bool) and value in (0, 1):
        return int(value)
    text = str(value).strip().lower()
    if text in {"0", "1"}:
        return int(text)
    if text == "michaelis-menten":
        return text
    raise fault(f"{shown(value)} is not known here", "one of: 0, 1, michaelis-menten")


AMOUNT_RATES = ("mass rate", "mass rate per mass", "mass rate per volume")


class Consumption(Group):
    """rate: per time for order 1; for the others oxygen per time, for the whole product or per its
    mass or volume."""

    order: Annotated[
        int | str, PlainValidator(_order, json_schema_input_type=any_case_shape((0, 1, "michaelis-menten")))
    ]
    rate: Annotated[
        Any,
        PlainValidator(
            lambda v, info: _rate(v, info.data.get("order")),
            json_schema_input_type=quantity_shape(("rate", *AMOUNT_RATES), "0.05 1/day", "at least 0"),
        ),
    ]
    half_pressure: Pressure | None = None
    temperature: Temperature
    activation_energy: Energy | None = None

    example: ClassVar[dict[str, str]] = {
        "order": "1",
        "rate": "0.05 1/day",
        "temperature": "23 degC",
        "activation_energy": "60 kJ/mol",
        "half_pressure": "1 kPa",
    }


def _rate(value: Any, order: Any) -> Quantity | None:
    if order is None:
        return None
    if order == 1:
        return take(value, "rate", "0.05 1/day", least=0.0, limits="at least 0")
    return take(value, AMOUNT_RATES, "0.2 mg/(kg*day)", gas="O2", least=0.0, limits="at least 0")


_LIKE = ("water", "oil", "nothing")


def _dissolves(value: Any) -> str | Quantity:
    if isinstance(value, str) and value.strip() in _LIKE:
        return value.strip()
    if isinstance(value, str) and not any(c.isdigit() for c in value):
        raise fault(
            f"{shown(value)} is not known here",
            "one of: water, oil, nothing, or a solubility such as '40 mg/(L*atm)'",
        )
    return take(value, "gas solubility", "40 mg/(L*atm)", gas="O2", above=0.0, limits="more than 0")


class Oxygen(Group):
    dissolves_like: Annotated[
        Any,
        PlainValidator(
            _dissolves,
            json_schema_input_type=any_of(
                {"enum": list(_LIKE)}, QUANTITY_CELL, kind="word or gas solubility"
            ),
        ),
    ] = "nothing"
    solubility_factor: Factor = 1.0
    dissolved_at_closing: (
        Annotated[
            Quantity,
            quantity(("concentration", "mass share"), "0.3 mg/L", gas="O2", least=0.0, limits="at least 0"),
        ]
        | None
    ) = None
    consumption: Consumption | None = None

    example: ClassVar[dict[str, str]] = {
        "dissolves_like": "water",
        "dissolved_at_closing": "0.3 mg/L",
        "consumption": "{order: 1, rate: 0.05 1/day, temperature: 23 degC}",
    }


_Content = Annotated[float, share_or_number(most=10.0, limits="water per dry product, from 0 to 10")]
_Constant = Annotated[float, plain_number(above=0.0, limits="more than 0", example="0.93")]
_Exponent = Annotated[float, plain_number(least=0.1, most=10.0, limits="from 0.1 to 10", example="0.4")]


class Gab(Group):
    model: str
    monolayer: _Content
    c: _Constant
    k: _Constant
    example: ClassVar[dict[str, str]] = {"monolayer": "0.045", "c": "12", "k": "0.93"}


class Oswin(Group):
    model: str
    a: _Constant
    b: _Exponent
    example: ClassVar[dict[str, str]] = {"a": "0.12", "b": "0.4"}


class Henderson(Group):
    model: str
    k: _Constant
    n: _Exponent
    c: Annotated[float, plain_number(example="50")]
    temperature: Temperature
    example: ClassVar[dict[str, str]] = {"k": "0.0001", "n": "2", "c": "50", "temperature": "23 degC"}


def _rows(value: Any) -> tuple[tuple[float, float], ...]:
    """Points of a table; problems of a point are said for the whole table, by its position."""
    hint = "for example [[0.1, 0.02], [0.5, 0.06], [0.8, 0.15]]: water activity, water per dry product"
    if not isinstance(value, list) or len(value) < 2:
        raise fault("a table of at least two points is expected here", hint)
    rows = []
    for i, row in enumerate(value):
        if not isinstance(row, list) or len(row) != 2:
            raise fault(f"point {i + 1} is not a pair of numbers", hint)
        try:
            rows.append((number(row[0]), number(row[1])))
        except Exception:
            raise fault(f"point {i + 1} is not a pair of plain numbers", hint) from None
    for i, (first, second) in enumerate(zip(rows, rows[1:], strict=False)):
        if second[0] <= first[0] or second[1] <= first[1]:
            raise fault(f"point {i + 2} does not lie above the point before it", "both numbers must increase")
    if rows[0][0] < 0 or rows[-1][0] > 1:
        raise fault("a water activity is outside 0 to 1", hint)
    if rows[0][1] < 0:
        raise fault("a water content is negative", hint)
    return tuple(rows)


class TableOfPoints(Group):
    table: Annotated[
        Any,
        PlainValidator(
            _rows, json_schema_input_type=table_shape([NUMBER_CELL, NUMBER_CELL], "rows of points")
        ),
    ]
    model: Annotated[str, choice("table")] = "table"


_ISOTHERMS: Mapping[str, type[Group]] = {"GAB": Gab, "Oswin": Oswin, "Henderson": Henderson}


def _isotherm(value: Any) -> type[Group]:
    hint = "for example {model: GAB, monolayer: 0.045, c: 12, k: 0.93} or {table: [[0.1, 0.02], [0.8, 0.15]]}"
    if not isinstance(value, dict):
        raise fault(f"a group of keys is expected here, not {shown(value)}", hint)
    if "table" in value or value.get("model") == "table":
        return TableOfPoints
    if value.get("model") is None:
        raise fault("needs the key 'model' or 'table'", hint)
    name = str(value["model"])
    for known, group in _ISOTHERMS.items():
        if name.lower() == known.lower():
            return group
    raise fault(f"the isotherm {shown(name)} is not known", "one of: GAB, Oswin, Henderson, table")


class Initial(Group):
    """Exactly one of the two."""

    water_activity: Activity | None = None
    content: _Content | None = None
    example: ClassVar[dict[str, str]] = {"water_activity": "0.15", "content": "3 %"}


class Moisture(Group):
    dry_mass: Mass
    isotherm: Annotated[
        Any,
        PlainValidator(one_of(_isotherm), json_schema_input_type=Gab | Oswin | Henderson | TableOfPoints),
    ]
    initial: Initial
    example: ClassVar[dict[str, str]] = {
        "dry_mass": "200 g",
        "isotherm": "{model: GAB, monolayer: 0.045, c: 12, k: 0.93}",
        "initial": "{water_activity: 0.15}",
    }


class Carbonation(Group):
    volumes: Annotated[
        float, plain_number(above=0.0, most=10.0, limits="more than 0, at most 10", example="4.0")
    ]
    temperature: Temperature
    example: ClassVar[dict[str, str]] = {"volumes": "4.0", "temperature": "4 degC"}


class Product(Group):
    mass: Mass
    volume: Volume
    water_activity: Activity | None = None
    headspace: Headspace
    oxygen: Oxygen | None = None
    moisture: Moisture | None = None
    carbonation: Carbonation | None = None
    limits: Limits = Limits()
    example: ClassVar[dict[str, str]] = {
        "mass": "1.03 kg",
        "volume": "1.0 L",
        "water_activity": "0.99",
        "headspace": "{volume: 30 mL, walls: rigid}",
        "limits": "{oxygen_gain: 5 mg/kg}",
    }

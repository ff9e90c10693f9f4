"""A material written in the project file, as JSON Schema. The catalogue reads and checks it; a test holds the
keys here against those that it takes."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import WithJsonSchema

from optimizer.catalog.cells import CONTENTS, GRADES, ROLES
from optimizer.constants import GASES, PERMEANTS
from optimizer.project.json_kinds import KIND, QUANTITY_CELL, any_case

_TEXT = {"type": ["string", "number"]}
#: A share of the catalogue, whose numbers from 0 to 1 need no unit.
_SHARE = {"type": ["string", "number"]}
_ENERGY = "fitted to rows at several temperatures, else that of the table or an assumption (said)"


def material_shape() -> Any:
    """The shape of an entry of ``materials`` that is no table."""
    return Annotated[Any, WithJsonSchema(_group(_material(), ["name"], "Material"))]


def _group(keys: dict[str, dict[str, Any]], required: list[str], title: str = "") -> dict[str, Any]:
    named = {"title": title} if title else {}
    own = _optional(keys, required)
    closed = {"type": "object", "properties": own, "required": required, "additionalProperties": False}
    return {**named, **closed}


def _key(schema: dict[str, Any], kind: str, meaning: str, example: Any = None) -> dict[str, Any]:
    examples = {} if example is None else {"examples": [example]}
    return {**schema, "description": meaning, **examples, KIND: kind}


def _optional(keys: dict[str, dict[str, Any]], required: list[str]) -> dict[str, dict[str, Any]]:
    """The same keys, where one of a single value that is not required may be empty: as if it were absent."""
    return {key: each if key in required else _or_empty(each) for key, each in keys.items()}


def _or_empty(schema: dict[str, Any]) -> dict[str, Any]:
    if schema.get("type") == "array" or schema.get("type") == "object":
        return schema
    if "type" in schema:
        given = schema["type"]
        return {**schema, "type": [*([given] if isinstance(given, str) else given), "null"]}
    if "enum" in schema:
        return {**schema, "enum": [*schema["enum"], None]}
    return {**schema, "anyOf": [*schema["anyOf"], {"type": "null"}]}


def _many(words: tuple[str, ...], kind: str, meaning: str, example: Any) -> dict[str, Any]:
    one = any_case(words) if words else _TEXT
    both = {"anyOf": [_TEXT, {"type": "array", "items": one}]}
    return _key(both, kind, meaning, example)


def _listed(words: tuple[str, ...]) -> str:
    return ", ".join(f"`{word}`" for word in words)


def _rows(row: dict[str, Any], meaning: str) -> dict[str, Any]:
    return {"type": "array", "items": row, "description": meaning, KIND: "rows"}


def _material() -> dict[str, dict[str, Any]]:
    gauge = {"anyOf": [QUANTITY_CELL, _group({"min": QUANTITY_CELL, "max": QUANTITY_CELL}, [])]}
    flag = {"type": ["boolean", "string"]}
    return {
        "name": _key(_TEXT, "text", "as layers and rules call it", "PE skin"),
        "density": _key(QUANTITY_CELL, "density", "needed where the table does not know it", "920 kg/m3"),
        "price": _key(
            QUANTITY_CELL,
            "price per mass, or per area",
            "per area, `0.09 EUR/m2`, for a web, coating or adhesive of one gauge",
            "1.30 EUR/kg",
        ),
        "gauge": _key(
            gauge, "lengths", "what one layer may be, `{min: 8 um, max: 300 um}`; or the one it is", "12 um"
        ),
        "gauges": _many((), "lengths", "the gauges in which a web is bought", ["12 um", "15 um", "23 um"]),
        "coat_weight": _key(
            QUANTITY_CELL, "mass per area", "of an adhesive or a coating, instead of a gauge", "3 g/m2"
        ),
        "pass_cost": _key(
            QUANTITY_CELL, "price per area", "of the pass that each layer of it needs", "0.03 EUR/m2"
        ),
        "roles": _many(ROLES, "words", f"what it can be in a wall: {_listed(ROLES)}", ["seal", "core"]),
        "family": _key(_TEXT, "text", "for the bonding rules and the shares", "PE"),
        "carrier": _many((), "texts", "families that a coating may be put on", ["PET", "PP"]),
        "contains": _many(
            (*CONTENTS, "none"),
            "words",
            f"what the rules may forbid: {_listed(CONTENTS)}; or `none`, by itself",
            ["halogen"],
        ),
        "food_contact": _key(
            flag,
            "true, false or text",
            "whether the grade may touch food: yes, no, or the number of what a yes rests on, `EU 10/2011`",
            True,
        ),
        "recycled_content": _key(_SHARE, "share", "of its mass", "30 %"),
        "aliases": _many((), "texts", "other names", ["skin grade"]),
        "glass_transition": _key(QUANTITY_CELL, "temperature", "told where storage crosses it", "69 degC"),
        "recycling_family": _key(_TEXT, "text", "with which it is recycled, where not its own"),
        "note": _key(_TEXT, "text", "shown by `materials show`"),
        "permeability": _rows(_permeability(thickness=True), "of the material, or of a film of it"),
        "permeance": _rows(_permeability(thickness=False), "of a layer of one thickness"),
        "diffusivity": _rows(_diffusivity(), "for walls in transient"),
        "scavenger": _scavenger() | {"description": "what the material uses up of a gas", KIND: "group"},
    }


def _common(spread_of: str) -> dict[str, dict[str, Any]]:
    return {
        "unit": _key(_TEXT, "unit", "of a value that is a bare number"),
        "temperature": _key(QUANTITY_CELL, "temperature", "of the test", "23 degC"),
        "activation_energy": _key(QUANTITY_CELL, "activation energy", _ENERGY, "40 kJ/mol"),
        "spread": _key(
            QUANTITY_CELL, "share", f"relative standard deviation of {spread_of}, 0 % to 200 %", "15 %"
        ),
        "grade": _key({"enum": list(GRADES)}, "word", "of the data; `user` when absent"),
        "source": _key(_TEXT, "text", "values of one source are taken as measured together"),
        "note": _key(_TEXT, "text", "a remark"),
    }


def _permeability(thickness: bool) -> dict[str, Any]:
    value = {"type": ["string", "number"], "examples": ["0.4 cm3*mm/(m2*day*bar)"]}
    film = {"thickness": _key(QUANTITY_CELL, "length", "of the film whose transmission `value` is", "20 um")}
    keys = {
        "gas": _key(any_case(PERMEANTS), "word", "that passes"),
        "value": _key(value, "permeability or transmission", "the printed value"),
        "value_low": _key(value, "as value", "of a printed range, whose geometric mean counts"),
        "value_high": _key(value, "as value", "of a printed range"),
        **(film if thickness else {}),
        "humidity": _key(
            _SHARE, "humidity", "of the test: both faces for a gas, the wet side for H2O", "50 %"
        ),
        "humidity_far": _key(_SHARE, "humidity", "of the far side for H2O; dry when absent", "0 %"),
        **_common("the value"),
    }
    return _group(keys, ["gas", "temperature"])


def _diffusivity() -> dict[str, Any]:
    keys = {
        "gas": _key(any_case(PERMEANTS), "word", "that diffuses"),
        "value": _key(_TEXT, "diffusivity", "the printed value", "4.5e-11 m2/s"),
        "solubility": _key(_TEXT, "gas solubility", "where the source prints it too"),
        "solubility_unit": _key(_TEXT, "unit", "of a solubility that is a bare number"),
        **_common("the diffusivity"),
    }
    return _group(keys, ["gas", "temperature"])


def _scavenger() -> dict[str, Any]:
    keys = {
        "gas": _key(
            any_case([gas for gas in GASES if gas != "N2"]),
            "word",
            "its diffusivity and permeability are needed, or the layer cannot be followed (warned)",
        ),
        "rate": _key(
            QUANTITY_CELL,
            "rate",
            "of first order, while all of the capacity is left; it falls with what is left",
            "0.002 1/s",
        ),
        "temperature": _key(QUANTITY_CELL, "temperature", "at which the rate was measured", "23 degC"),
        "activation_energy": _key(
            QUANTITY_CELL,
            "activation energy",
            "the same rate at every temperature when absent (warned)",
            "50 kJ/mol",
        ),
        "capacity": _key(
            QUANTITY_CELL,
            "gas per mass of the material",
            "`3 cm3/g`, `4 mg/g`, `0.1 mol/kg`; it never runs out when absent (warned)",
            "3 cm3/g",
        ),
        "source": _key(_TEXT, "text", "of the numbers"),
        "note": _key(_TEXT, "text", "a remark"),
    }
    return _group(keys, ["gas", "rate", "temperature"])

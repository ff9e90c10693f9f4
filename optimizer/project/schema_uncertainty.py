"""The ``uncertainty`` section: what varies beside the properties of materials, and how it is sampled."""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar

from pydantic import PlainValidator, TypeAdapter

from optimizer.project.base import SOME, Group, fault, shown
from optimizer.project.fields import SHARE, Share, Spread, quantity, whole
from optimizer.units import Quantity

#: Fewest and most samples that are let in.
SAMPLES = (16, 1_000_000)
_CONFIDENCE = "more than 50 %, less than 100 %"
_ONE: TypeAdapter[Quantity] = TypeAdapter(Spread)
_BY_NAME: TypeAdapter[dict[str, Quantity]] = TypeAdapter(dict[str, Spread])


def _by_name(value: Any, example: str) -> dict[str, Quantity]:
    """Spreads by name."""
    if not isinstance(value, dict):
        message = f"a group of names, each with its spread, is expected here, not {shown(value)}"
        raise fault(message, f"for example {example}")
    if not value:
        raise fault("is empty", f"for example {example}")
    return _BY_NAME.validate_python(value)


def _one_or_by_name(value: Any, example: str) -> Quantity | dict[str, Quantity]:
    """One spread for all, or spreads by name."""
    return _by_name(value, example) if isinstance(value, dict) else _ONE.validate_python(value)


_Named = Annotated[dict[str, Spread], SOME]
OneOrByName = Quantity | dict[str, Quantity] | None


class Uncertainty(Group):
    """thickness and durations: one spread for all, or by name; layers by material, limits by limit."""

    thickness: Annotated[
        OneOrByName,
        PlainValidator(
            lambda v: _one_or_by_name(v, "8 %, or {bottle: 8 %}"),
            json_schema_input_type=Spread | _Named,
        ),
    ] = None
    layers: Annotated[
        dict[str, Quantity] | None,
        PlainValidator(lambda v: _by_name(v, '{"EVOH 32": 15 %}'), json_schema_input_type=_Named),
    ] = None
    temperature: (
        Annotated[
            Quantity,
            quantity("temperature difference", "1 K", least=0.0, most=30.0, limits="from 0 K to 30 K"),
        ]
        | None
    ) = None
    humidity: (
        Annotated[Quantity, quantity(SHARE, "3 %", least=0.0, most=0.5, limits="from 0 % to 50 %")] | None
    ) = None
    durations: Annotated[
        OneOrByName,
        PlainValidator(
            lambda v: _one_or_by_name(v, "10 %, or {truck: 20 %}"),
            json_schema_input_type=Spread | _Named,
        ),
    ] = None
    limits: Annotated[
        dict[str, Quantity] | None,
        PlainValidator(lambda v: _by_name(v, "{oxygen_gain: 10 %}"), json_schema_input_type=_Named),
    ] = None
    consumption: Spread | None = None
    isotherm: Spread | None = None
    headspace_oxygen: Spread | None = None
    properties: Spread | None = None
    correlation: Share | None = None
    confidence: (
        Annotated[
            Quantity,
            quantity(SHARE, "95 %", above=0.5, most=math.nextafter(1.0, 0.0), limits=_CONFIDENCE),
        ]
        | None
    ) = None
    samples: Annotated[int, whole(*SAMPLES)] | None = None
    seed: Annotated[int, whole(0, 2**32 - 1)] | None = None
    example: ClassVar[dict[str, str]] = {
        "thickness": "8 %",
        "layers": '{"EVOH 32": 15 %}',
        "temperature": "1 K",
        "humidity": "3 %",
        "durations": "10 %",
        "limits": "{oxygen_gain: 10 %}",
        "consumption": "20 %",
        "isotherm": "5 %",
        "headspace_oxygen": "10 %",
        "properties": "15 %",
        "correlation": "50 %",
        "confidence": "95 %",
        "samples": "4096",
        "seed": "1",
    }

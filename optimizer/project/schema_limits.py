"""``limits`` of the product. The unit of a limit says what it is a share of: one that says something else is
refused, with those that would be right and with the limit that was surely meant."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Annotated, Any, ClassVar

from pydantic import PlainValidator
from pydantic_core import PydanticCustomError

from optimizer.errors import UnitError
from optimizer.project.base import Group, fault, shown
from optimizer.project.fields import SHARE, bounded, plain_number, take
from optimizer.project.json_kinds import quantity_shape
from optimizer.units import Quantity, read

#: An oxygen gain from here on is out of any sense [kg/kg] (common practice, no source).
MOST_GAIN = 0.1
#: Per cent of an oxygen gain up to here may have been meant as a share of the mass [kg/kg].
_FEW = 1e-3
_BY_VOLUME = re.compile(r"(vol|mol)\.?\s?%")
_PERCENT = re.compile(r"%|‰|percent", re.IGNORECASE)
#: The example of the units, where the limit has its own; and a volume that is one of a gas.
_EXAMPLE = re.compile(r"(?<=; )(expected an? [\w ]+?) such as .*$")
_VOLUME = re.compile(r"((?:c|d)?m(?:3|\^3|³)|cc|[mµu]?[lL])(?=\s*/)")


def _limit(
    kind: str,
    example: str,
    right: str,
    gas: str,
    most: tuple[float, str] = (1.0, "100 %"),
    senseless: Callable[[Quantity], None] = lambda _: None,
) -> PlainValidator:
    """Validator of a limit. right: what would be right, in words; most: what it stays below, and in words;
    senseless: raises a fault for a unit that can be read, yet says something else."""
    limits = f"more than 0, less than {most[1]}"

    def check(value: Any) -> Quantity:
        try:
            found = take(value, kind, example, gas=gas)
        except PydanticCustomError as error:
            said = error.context or {}
            if not isinstance(value, str):
                raise
            near = f"; {said['hint']}" if said["hint"].startswith("did you mean") else ""
            near = _of_gas(value, kind, gas) or near
            message = _EXAMPLE.sub(r"\1", said["message"])
            raise fault(message, right + near, column=said["column"]) from None
        senseless(found)
        bounded(found.value, value, least=0.0, most=most[0] * (1.0 - 1e-12), above=0.0, limits=limits)
        return found

    return PlainValidator(check, json_schema_input_type=quantity_shape(kind, example, limits))


def _of_gas(text: str, kind: str, gas: str) -> str:
    """What to write instead of a volume of gas that does not say its state, else ''."""
    meant = _VOLUME.sub(r"\1(STP)", text, count=1)
    if gas != "O2" or kind != "mass share" or meant == text:
        return ""
    try:
        read(meant, kind, gas=gas)
    except UnitError:
        return ""
    return f"; a volume of oxygen is written '{meant.strip()}'"


def _no_percent(found: Quantity) -> None:
    """Oxygen that a product takes up is told in mg/kg; per cent are those of the headspace, or a slip."""
    if _PERCENT.fullmatch(found.unit):
        hint = "oxygen per mass of product, such as '5 mg/kg' or '5 ppm'"
        if found.value <= _FEW:
            hint += f"; {found.text} of the mass is '{1e6 * found.value:.6g} mg/kg'"
        elif found.value < 1.0:
            hint += f"; for oxygen in the headspace write 'headspace_oxygen: {found.text}'"
        raise fault(f"{shown(found.text)} has not the unit of an oxygen gain", hint)


def _no_share_of_a_gas(found: Quantity) -> None:
    if _BY_VOLUME.fullmatch(found.unit):
        raise fault(f"{shown(found.text)} is a share of a mixture of gases", _OF_CO2)


_UPTAKE = "oxygen per mass of product, such as '5 mg/kg'; oxygen in the headspace is 'headspace_oxygen'"
_OF_GAS = "a share of the dry gas, such as '2 %'; oxygen per mass of product is 'oxygen_gain'"
_OF_MASS = "a share of the product's mass, such as '2 %' or '20 g/kg'"
_OF_CO2 = "a share of all CO2 at closing, such as '15 %'"
_GAIN = (MOST_GAIN, f"{1e3 * MOST_GAIN:g} g/kg")

OxygenGain = Annotated[Quantity, _limit("mass share", "5 mg/kg", _UPTAKE, "O2", _GAIN, _no_percent)]
HeadspaceOxygen = Annotated[Quantity, _limit(SHARE, "2 %", _OF_GAS, "O2")]
WaterShare = Annotated[Quantity, _limit("mass share", "2 %", _OF_MASS, "H2O")]
Co2Loss = Annotated[Quantity, _limit(SHARE, "15 %", _OF_CO2, "CO2", senseless=_no_share_of_a_gas)]
Highest = Annotated[float, plain_number(above=0.0, most=1.0, limits="more than 0, at most 1", example="0.43")]
Lowest = Annotated[
    float, plain_number(least=0.0, most=1.0 - 1e-9, limits="at least 0, less than 1", example="0.2")
]


class Limits(Group):
    oxygen_gain: OxygenGain | None = None
    headspace_oxygen: HeadspaceOxygen | None = None
    water_gain: WaterShare | None = None
    water_loss: WaterShare | None = None
    water_activity_max: Highest | None = None
    water_activity_min: Lowest | None = None
    co2_loss: Co2Loss | None = None
    example: ClassVar[dict[str, str]] = {
        "oxygen_gain": "5 mg/kg",
        "headspace_oxygen": "2 %",
        "water_gain": "2 %",
        "water_loss": "2 %",
        "water_activity_max": "0.43",
        "water_activity_min": "0.2",
        "co2_loss": "15 %",
    }

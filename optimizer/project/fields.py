"""The kinds of single values in the project file: quantities with a unit, numbers, words."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Annotated, Any, TypeVar

from pydantic import PlainValidator, ValidationInfo

from optimizer.constants import GASES, PERMEANTS
from optimizer.errors import UnitError
from optimizer.physics.water import VALID_FROM
from optimizer.project.base import fault, shown
from optimizer.project.json_kinds import (
    choice_shape,
    file_shape,
    flag_shape,
    number_shape,
    quantity_shape,
    ratio_shape,
    whole_shape,
    word_shape,
)
from optimizer.project.suggest import did_you_mean
from optimizer.units import Quantity, read
from optimizer.units.plausible import BOUNDS, implausible, implausible_number

T = TypeVar("T")

#: '%RH', '% r.h.', '% r.F.': a per cent sign that says what it is a share of.
_HUMIDITY = re.compile(r"%\s?r", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"^\s*[+-]?\d+,\d+")


def take(
    value: Any,
    kinds: str | Sequence[str],
    example: str,
    *,
    gas: str | None = None,
    least: float = -math.inf,
    most: float = math.inf,
    above: float = -math.inf,
    limits: str = "",
    coordinate: bool = False,
) -> Quantity:
    """Read one quantity; ``least``, ``most`` and ``above`` bound its SI value, ``limits`` in words.

    coordinate: of a drawing, whose rounding ('2.4e-15 mm') is 0.
    """
    if isinstance(value, bool | dict | list):
        raise fault(
            f"a quantity with a unit is expected here, not {shown(value)}", f"for example '{example}'"
        )
    if isinstance(value, int | float):
        percent = "1 %' or '100 %" if value == 1 else f"{100 * value if abs(value) <= 1 else value:g} %"
        shares = kinds in (SHARE, "relative humidity") or example.endswith("%")
        meant = f"write '{percent}'" if shares else f"for example '{example}'"
        raise fault(f"{shown(value)} has no unit", meant)
    try:
        quantity = read(value, kinds, gas=gas)
    except UnitError as error:
        hint = error.hint or ("" if "expected" in error.message else f"for example '{example}'")
        raise fault(error.message, hint, column=error.column) from None
    if kinds == SHARE and _HUMIDITY.match(quantity.unit):
        raise fault(f"{shown(value)} is a humidity, not a share", f"for example '{example}'")
    bounded(quantity.value, value, least=least, most=most, above=above, limits=limits)
    possible(implausible(quantity, gas, lowest=least if coordinate else None), value)
    if coordinate and abs(quantity.value) < BOUNDS[quantity.kind][0]:
        return replace(quantity, value=0.0)
    return quantity


def possible(said: str, text: Any) -> None:
    """Refuse what is many orders of ten beyond anything real; said: what it would have to be, if so."""
    if said:
        raise fault(f"{shown(text)} {said}")


def bounded(number: float, text: Any, *, least: float, most: float, above: float, limits: str) -> None:
    if not math.isfinite(number):
        raise fault(f"{shown(text)} is not a finite number")
    if number < least or number > most or number <= above:
        raise fault(f"{shown(text)} is out of range", limits)


def quantity(kinds: str | Sequence[str], example: str, **bounds: Any) -> PlainValidator:
    """Validator of a quantity of one of ``kinds``."""
    shape = quantity_shape(kinds, example, bounds.get("limits", ""))
    return PlainValidator(lambda value: take(value, kinds, example, **bounds), json_schema_input_type=shape)


def number(
    value: Any,
    *,
    least: float = -math.inf,
    most: float = math.inf,
    above: float = -math.inf,
    limits: str = "",
    example: str = "1.5",
) -> float:
    """A bare number (or a text that is one)."""
    if isinstance(value, bool | dict | list):
        raise fault(f"a number is expected here, not {shown(value)}", f"for example {example}")
    if isinstance(value, str):
        if _DECIMAL_COMMA.match(value):
            raise fault(f"{shown(value)} has a decimal comma", "use a decimal point, such as " + example)
        try:
            if "_" in value:
                raise ValueError
            result = float(value)
        except ValueError:
            raise fault(
                f"{shown(value)} is not a plain number", f"for example {example}, without a unit"
            ) from None
    else:
        try:
            result = float(value)
        except OverflowError:
            raise fault(f"{shown(value)} is too large") from None
    bounded(result, value, least=least, most=most, above=above, limits=limits)
    possible(implausible_number(result), value)
    return result


def plain_number(**options: Any) -> PlainValidator:
    shape = number_shape(options.get("example", "1.5"), options.get("limits", ""))
    return PlainValidator(lambda value: number(value, **options), json_schema_input_type=shape)


def whole(least: int, most: int) -> PlainValidator:
    def check(value: Any) -> int:
        result = number(value, least=least, most=most, limits=f"from {least} to {most}", example=str(least))
        if result != int(result):
            raise fault(f"{shown(value)} is not a whole number", f"from {least} to {most}")
        return int(result)

    return PlainValidator(check, json_schema_input_type=whole_shape(least, most))


def ratio(value: Any) -> float:
    """A ratio, as a bare number or with the unit %; unbounded."""
    if isinstance(value, str) and not _is_number(value):
        return take(value, SHARE, "1.4").value
    return number(value, example="1.4")


def share_or_number(*, most: float = math.inf, limits: str = "") -> PlainValidator:
    """A ratio, as a bare number or with the unit %."""

    def check(value: Any) -> float:
        result = ratio(value)
        bounded(result, value, least=0.0, most=most, above=-math.inf, limits=limits)
        return result

    return PlainValidator(check, json_schema_input_type=ratio_shape())


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return bool(_DECIMAL_COMMA.fullmatch(text))
    return True


def choice(*words: str) -> PlainValidator:
    """One of a few words."""

    def check(value: Any) -> str:
        if isinstance(value, str) and value in words:
            return value
        raise fault(f"{shown(value)} is not known here", did_you_mean(str(value), words, "one of"))

    return PlainValidator(check, json_schema_input_type=choice_shape(words))


def word(value: Any) -> str:
    """A name or a text; numbers count as text."""
    if isinstance(value, bool | dict | list):
        raise fault(f"a text is expected here, not {shown(value)}")
    text = str(value).strip()
    if not text:
        raise fault("is empty")
    return text


def flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise fault(f"{shown(value)} is not known here", "true or false")
    return value


def for_gas(kinds: Callable[[str], Sequence[str]], example: Callable[[str], str]) -> PlainValidator:
    """Quantity whose kind depends on the ``gas`` before it in the same group; None when that gas is wrong."""

    def check(value: Any, info: ValidationInfo) -> Quantity | None:
        gas = info.data.get("gas")
        if not isinstance(gas, str):
            return None
        return take(value, kinds(gas), example(gas), gas=gas, least=0.0, limits="at least 0")

    shape = quantity_shape("transmission", example("O2"))
    return PlainValidator(check, json_schema_input_type=shape)


def _temperature(value: Any) -> Quantity:
    """A temperature from -30 to 80 degC; rounding does not carry -30 degC out of the range."""
    read_off = take(
        value,
        "temperature",
        "23 degC",
        least=COLDEST - 1e-6,
        most=WARMEST + 1e-6,
        limits="from -30 degC to 80 degC",
    )
    return replace(read_off, value=min(max(read_off.value, COLDEST), WARMEST))


SHARE = "fraction"
#: Coldest and warmest that a package meets [K]; the saturation pressure of water is not known below.
COLDEST, WARMEST = VALID_FROM, 353.15

Length = Annotated[Quantity, quantity("length", "300 um", above=0.0, limits="more than 0")]
Area = Annotated[Quantity, quantity("area", "18 cm2", above=0.0, limits="more than 0")]
Volume = Annotated[Quantity, quantity("volume", "30 mL", above=0.0, limits="more than 0")]
Mass = Annotated[Quantity, quantity("mass", "1.03 kg", above=0.0, limits="more than 0")]
_WARMTH = quantity_shape("temperature", "23 degC", "from -30 degC to 80 degC")
Temperature = Annotated[
    Quantity, PlainValidator(lambda value: _temperature(value), json_schema_input_type=_WARMTH)
]
Humidity = Annotated[
    Quantity, quantity("relative humidity", "50 %", least=0.0, most=1.0, limits="from 0 % to 100 %")
]
Share = Annotated[Quantity, quantity(SHARE, "2 %", least=0.0, most=1.0, limits="from 0 % to 100 %")]
PositiveShare = Annotated[
    Quantity, quantity(SHARE, "2 %", above=0.0, most=1.0, limits="more than 0 %, at most 100 %")
]
Spread = Annotated[
    Quantity,
    quantity(SHARE, "15 %", least=0.0, most=2.0, limits="a relative standard deviation from 0 % to 200 %"),
]
Duration = Annotated[Quantity, quantity("duration", "4 months", above=0.0, limits="more than 0")]
Pressure = Annotated[Quantity, quantity("pressure", "1 atm", above=0.0, limits="more than 0")]
Energy = Annotated[
    Quantity,
    quantity("activation energy", "40 kJ/mol", least=-2e5, most=3e5, limits="from -200 to 300 kJ/mol"),
]
Activity = Annotated[float, plain_number(least=0.0, most=1.0, limits="from 0 to 1", example="0.95")]
Factor = Annotated[float, plain_number(above=0.0, limits="more than 0", example="1.4")]
Word = Annotated[str, PlainValidator(word, json_schema_input_type=word_shape())]
FileName = Annotated[str, PlainValidator(word, json_schema_input_type=file_shape())]
Flag = Annotated[bool, PlainValidator(flag, json_schema_input_type=flag_shape())]
Gas = Annotated[str, choice(*PERMEANTS)]
HeadspaceGas = Annotated[str, choice(*GASES)]

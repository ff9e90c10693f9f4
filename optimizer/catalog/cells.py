"""Readers of single cells: text to SI, a name, a grade; a failure says what, where and what would do."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Annotated, Literal

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from optimizer.constants import PERMEANTS
from optimizer.errors import UnitError
from optimizer.units import Quantity, read
from optimizer.units.plausible import implausible

GAS_KINDS = ("gas permeability", "gas permeance")
WATER_KINDS = (
    "vapour permeability rate",
    "vapour transmission rate",
    "vapour permeability",
    "vapour permeance",
)
RATE_KINDS = frozenset({"vapour permeability rate", "vapour transmission rate"})
FILM_KINDS = frozenset({"gas permeance", "vapour transmission rate", "vapour permeance"})
GRADES = ("measured", "producer", "handbook", "memory", "estimate", "user")
ROLES = ("seal", "print", "core", "barrier", "bond", "coating")
#: What a material may contain besides its polymer, for the rules that forbid it.
CONTENTS = ("foil", "metallising", "halogen")

#: Largest spread that is let in, as a relative standard deviation.
WIDEST_SPREAD = 2.0

Grade = Literal["measured", "producer", "handbook", "memory", "estimate", "user"]


@lru_cache(maxsize=4096)
def _read(text: str, kind: str | tuple[str, ...], gas: str | None) -> Quantity:
    return read(text, kind, gas=gas)


def _nearest_hint(text: str, kinds: str | tuple[str, ...], gas: str | None) -> str:
    """What is missing for the kind that the text comes nearest to: the shortest hint of the single kinds."""
    hints = []
    for kind in kinds if isinstance(kinds, tuple) else ():
        try:
            _read(text, kind, gas)
        except UnitError as error:
            hints.append(error.hint)
    return min(filter(None, hints), key=len, default="")


def quantity(text: str, kind: str | tuple[str, ...], gas: str | None = None, split: int = 0) -> Quantity:
    """Read ``text``; a failure right of ``split`` (length of the number) belongs to the cell ``unit``."""
    try:
        found = _read(text, kind, gas)
    except UnitError as error:
        hint = error.hint or _nearest_hint(text, kind, gas)
        ctx = {"said": error.message, "column": error.column, "hint": hint, "cell": ""}
        if split and error.column > split:
            ctx |= {"cell": "unit", "column": max(error.column - split - 1, 1)}
        raise PydanticCustomError("unit", "{said}", ctx) from None
    beyond = implausible(found, gas)
    if beyond:
        raise _wrong(f"{text!r} {beyond}")
    return found


def _si(kind: str) -> Callable[[object], object]:
    def convert(text: object) -> object:
        if isinstance(text, str):
            return quantity(text, kind).value if text else None
        return text

    return convert


def _wrong(message: str, hint: str = "") -> PydanticCustomError:
    return PydanticCustomError("value", "{said}", {"said": message, "hint": hint, "column": 0, "cell": ""})


def _spread(text: object) -> object:
    """A bare number is refused: somebody who means 1 % may write 1 or 0.01."""
    if not isinstance(text, str) or not text:
        return text or None
    given = quantity(text, "fraction")
    if not given.unit:
        raise _wrong(f"{text!r} has no unit", f"write '{100.0 * given.number:g} %'")
    if not 0.0 <= given.value <= WIDEST_SPREAD:
        raise _wrong(f"{text!r} is out of range", "a relative standard deviation from 0 % to 200 %")
    return given.value


def _gas(text: object) -> str:
    name = str(text).strip().upper()
    if name not in PERMEANTS:
        raise _wrong(
            f"{text!r} is not a gas that is known here" if text else "the gas is missing",
            "O2, CO2, N2 or H2O",
        )
    return name


def _grade(text: object) -> str:
    if text == "":
        return "user"
    if text not in GRADES:
        raise _wrong(f"{text!r} is not a grade", "one of " + ", ".join(GRADES))
    return str(text)


def _named(text: object) -> str:
    if not str(text).strip():
        raise _wrong("the name of the material is missing")
    return " ".join(str(text).split())


def _roles(text: object) -> object:
    if not isinstance(text, str):
        return text
    given = [r.strip().lower() for r in text.split("|") if r.strip()]
    for role in given:
        if role not in ROLES:
            raise _wrong(f"{role!r} is not a role", "one of " + ", ".join(ROLES))
    return frozenset(given)


def _names(text: object) -> object:
    if not isinstance(text, str):
        return text
    return tuple(" ".join(a.split()) for a in text.split("|") if a.strip())


def _lengths(text: object) -> object:
    if not isinstance(text, str):
        return text
    return tuple(quantity(part.strip(), "length").value for part in text.split("|") if part.strip())


def _contents(text: object) -> object:
    """None where nothing is said, the empty set for 'none'."""
    if not isinstance(text, str):
        return text
    given = [word.strip().lower() for word in text.split("|") if word.strip()]
    if not given:
        return None
    if given == ["none"]:
        return frozenset()
    for word in given:
        if word not in CONTENTS:
            known = ", ".join(CONTENTS)
            raise _wrong(f"{word!r} is not known here", f"any of {known}; or none, by itself")
    return frozenset(given)


def _price(kinds: str | tuple[str, ...]) -> Callable[[object], object]:
    def convert(text: object) -> object:
        if isinstance(text, str):
            return quantity(text, kinds) if text else None
        return text

    return convert


Name = Annotated[str, BeforeValidator(_named)]
Gas = Annotated[str, BeforeValidator(_gas)]
GradeText = Annotated[Grade, BeforeValidator(_grade)]
Temperature = Annotated[float | None, BeforeValidator(_si("temperature"))]
Humidity = Annotated[float | None, BeforeValidator(_si("relative humidity"))]
Length = Annotated[float | None, BeforeValidator(_si("length"))]
Density = Annotated[float | None, BeforeValidator(_si("density"))]
Energy = Annotated[float | None, BeforeValidator(_si("activation energy"))]
Fraction = Annotated[float | None, BeforeValidator(_si("fraction"))]
Spread = Annotated[float | None, BeforeValidator(_spread)]
Grammage = Annotated[float | None, BeforeValidator(_si("grammage"))]
Lengths = Annotated[tuple[float, ...], BeforeValidator(_lengths)]
Contents = Annotated[frozenset[str] | None, BeforeValidator(_contents)]
Price = Annotated[Quantity | None, BeforeValidator(_price(("price per mass", "price per area")))]
AreaPrice = Annotated[Quantity | None, BeforeValidator(_price("price per area"))]
Names = Annotated[tuple[str, ...], BeforeValidator(_names)]
Roles = Annotated[frozenset[str], BeforeValidator(_roles)]
RequiredEnergy = Annotated[float, BeforeValidator(_si("activation energy"))]

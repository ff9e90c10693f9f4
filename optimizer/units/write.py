"""SI values to trade units and display text."""

from __future__ import annotations

from optimizer.units.kinds import KINDS
from optimizer.units.reader import scale_of

_DIGITS = 4
_PRICES = ("price per mass", "price per area")


def convert(value_si: float, kind: str, unit: str, *, gas: str | None = None) -> float:
    """``value_si`` (SI unit of its kind) as a number in ``unit``; UnitError for a unit of another kind."""
    return scale_of(unit, kind, gas=gas).from_si(value_si)


def from_unit(number: float, kind: str, unit: str, *, gas: str | None = None) -> float:
    """A number in ``unit`` as SI value of its kind: the inverse of ``convert``."""
    return scale_of(unit, kind, gas=gas).to_si(number)


def display(
    value_si: float, kind: str, unit: str | None = None, *, currency: str = "", digits: int = _DIGITS
) -> str:
    """``value_si`` as text a person reads, with ``digits`` significant digits.

    Without ``unit`` the trade's usual unit of the kind and size is chosen; a price is then in ``currency``
    (XXX, the ISO 4217 code for none, when empty).
    What is shown can be read back with ``read`` and the same kind.
    """
    if unit is None:
        unit = _default_unit(abs(value_si), kind)
        if kind in _PRICES:
            unit = f"{currency or 'XXX'}/{unit}"
    number = number_text(convert(value_si, kind, unit), digits)
    if not unit:
        return number
    return f"{number} {unit}"


def number_text(number: float, digits: int = _DIGITS) -> str:
    """A number with so many significant digits; an exponent only below 0.001 or from 100000 on."""
    if number == 0.0:
        return "0"
    rounded = float(f"{number:.{digits - 1}e}")
    if 1e-3 <= abs(rounded) < 1e5:
        exponent = int(f"{rounded:e}".split("e")[1])
        text = f"{rounded:.{max(digits - 1 - exponent, 0)}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    mantissa, exponent_text = f"{rounded:.{digits - 1}e}".split("e")
    mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
    return f"{mantissa}e{int(exponent_text)}"


def _default_unit(size: float, kind: str) -> str:
    return next(unit for limit, unit in KINDS[kind].default if size < limit or limit == float("inf"))

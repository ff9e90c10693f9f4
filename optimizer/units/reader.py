"""Text and expected kind to a quantity in SI: ``read``.

Nothing is guessed; every refusal says where it is and what would be right.
"""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from optimizer.constants import MOLAR_MASS, STP_MOLES_PER_M3
from optimizer.errors import UnitError
from optimizer.units import tokens
from optimizer.units.kinds import KINDS, Kind, indistinguishable
from optimizer.units.table import AMOUNT, BASES, MASS, NONE, VOLUME, Dim
from optimizer.units.tokens import Term, UnitText, fail

_LONGEST = 200
_VALUE = re.compile(
    rf"([+-]?)(?:{tokens.POWER_OF_TEN}|((?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{{1,5}}(?![0-9]))?)"
    rf"(?:\s*[xX*]\s*{tokens.POWER_OF_TEN}(?![0-9]))?)"
)
_TEMPERATURES = ("temperature", "temperature difference")
_PRICES = ("price per mass", "price per area")
_SUBSTANCE = {"amount": "an amount", "mass": "a mass"}

#: What a wrong dimension usually means, by base and by expected minus read power.
_REASONS: dict[tuple[str, int], str] = {
    ("pressure", -1): "the pressure is missing, such as atm below the slash",
    ("pressure", 1): "there is a pressure in the unit that does not belong there",
    ("length", 1): "the thickness is missing, such as mm or mil before the slash",
    ("length", -1): "there is a thickness in the unit that does not belong there",
    ("length", -2): "the area is missing, such as m2 below the slash",
    ("length", 2): "there is an area in the unit that does not belong there",
    ("length", -3): "the volume is missing, such as L below the slash",
    ("time", -1): "the time is missing, such as day below the slash",
    ("time", 1): "there is a time in the unit that does not belong there",
    ("mass", -1): "the mass is missing, such as kg below the slash",
    ("package", 1): "a rate of a whole package is not a rate per area",
    ("temperature", 1): "there is a temperature in the unit that does not belong there",
    ("temperature", -1): "there is a temperature in the unit that does not belong there",
}


@dataclass(frozen=True)
class Quantity:
    """A quantity that was read.

    value: in the SI unit of its kind. kind: name in KINDS. text: as given, without surrounding blanks.
    unit: its unit part as given. number: as given. currency: three letters, for prices.
    """

    value: float
    kind: str
    text: str
    unit: str
    number: float
    currency: str = ""


def read(text: object, kind: str | Sequence[str], *, gas: str | None = None) -> Quantity:
    """Read ``text`` ("300 um") as one of the kinds named; the unit decides between several.

    gas: O2, CO2, N2 or H2O where a mass is to become an amount or the reverse. Raises UnitError (message,
    1-based column, hint); ValueError when the kinds asked for are unknown or could not be told apart.
    """
    kinds = (kind,) if isinstance(kind, str) else tuple(kind)
    _check_kinds(kinds)
    given = _as_text(text, kinds)
    line = tokens.plain(given)
    start = len(line) - len(line.lstrip())
    _no_letters_in_the_number(line, start)
    number, after = _number(line, start, kinds)
    first = _unit_start(line, after)
    unit = line[first:].rstrip()
    if not unit:
        name = _bare(number, kinds, start, after)
        return Quantity(number, name, given.strip(), "", number)
    name, scale, currency = _shift(first, unit, kinds, gas)
    value = scale.to_si(number)
    _check_value(value, number, name, start)
    return Quantity(value, name, given.strip(), given[first:].strip(), number, currency)


class Scale(NamedTuple):
    """How a number in some unit becomes SI: number * multiply / divide + offset.

    Two factors, so that "5 mg/kg" is divided by 1e6, which rounds once, and gives 5e-06 itself.
    """

    multiply: float
    divide: float
    offset: float

    def to_si(self, number: float) -> float:
        """SI value of ``number``."""
        return number * self.multiply / self.divide + self.offset

    def from_si(self, value: float) -> float:
        """Number in this unit of the SI ``value``."""
        return (value - self.offset) * self.divide / self.multiply


def scale_of(unit: str, kind: str, *, gas: str | None = None) -> Scale:
    """The scale of a unit text alone ("cm3/(m2*day*atm)"). Raises UnitError."""
    _check_kinds((kind,))
    line = tokens.plain(unit).strip()
    if not line and KINDS[kind].bare:
        return Scale(1.0, 1.0, 0.0)
    if len(line) > _LONGEST or not line:
        raise UnitError(f"a unit is missing; expected {expected((kind,))}", column=1)
    return _interpret(line, (kind,), gas)[1]


@lru_cache(maxsize=256)
def _check_kinds(kinds: tuple[str, ...]) -> None:
    unknown = [name for name in kinds if name not in KINDS]
    if unknown or not kinds:
        raise ValueError(f"unknown kind of quantity {unknown or kinds!r}; known: {', '.join(KINDS)}")
    pair = indistinguishable(kinds)
    if pair:
        raise ValueError(f"'{pair[0]}' and '{pair[1]}' cannot be told apart by their units")


def _as_text(text: object, kinds: tuple[str, ...]) -> str:
    if isinstance(text, numbers.Real) and not isinstance(text, bool):
        return f"{text}"
    if not isinstance(text, str):
        raise UnitError(f"{type(text).__name__} instead of a text; expected {expected(kinds)}", column=1)
    if not text.strip():
        raise UnitError(f"nothing is given; expected {expected(kinds)}", column=1)
    if len(text) > _LONGEST:
        raise UnitError(
            f"a text of {len(text)} characters is no quantity; expected {expected(kinds)}", column=1
        )
    return text


#: A number with the letters O, o, l or I where digits 0 and 1 belong; '5l' alone is litres.
_LETTERS = re.compile(r"[+-]?(?=[0-9.]*[OolI])(?=[OolI.]*[0-9])(?:[0-9OolI.]+[0-9]|[0-9.]+[Oo]+(?=\s|$))")
_DIGITS = str.maketrans("OolI", "0011")


def _no_letters_in_the_number(line: str, start: int) -> None:
    found = _LETTERS.match(line, start)
    if found is None or not any(c in "OolI" for c in found[0]):
        return
    letters = "".join(dict.fromkeys(c for c in found[0] if c in "OolI"))
    at = start + next(i for i, c in enumerate(found[0]) if c in "OolI")
    named = " and ".join(f"'{c}'" for c in letters)
    raise fail(
        f"the letter{'s' if len(letters) > 1 else ''} {named} in the number '{found[0]}'",
        at,
        f"write the digits: {found[0].translate(_DIGITS)}",
    )


def _number(line: str, start: int, kinds: tuple[str, ...]) -> tuple[float, int]:
    """The leading number and where it ends."""
    found = _VALUE.match(line, start)
    if found is None:
        raise fail(f"a number must come first; expected {expected(kinds)}", start)
    sign, caret, sup, mantissa, caret2, sup2 = found.groups()
    digits, _, exponent = (mantissa or "1").lower().partition("e")
    power = int(exponent or 0)
    if caret or sup or caret2 or sup2:
        power += tokens.raised(caret or caret2, sup or sup2)
    number = float(f"{digits}e{power}")
    if not math.isfinite(number) or (number == 0.0 and re.search("[1-9]", digits)):
        raise fail(f"{found[0]} is beyond what can be computed with", start)
    return (-number if sign == "-" else number), found.end()


def _unit_start(line: str, after: int) -> int:
    """Where the unit begins; refuses what looks like a second number, a range or a dimension pair."""
    pos = after + len(line[after:]) - len(line[after:].lstrip())
    rest = line[pos:]
    if rest[:1] == ",":
        raise tokens.unexpected(",", pos)
    if rest[:1] in ("-", "+", "±", "~", "…") or rest[:2] == ".." or rest[:3] == "to ":
        raise fail("a range or a tolerance instead of one value", pos, "give one number and its unit")
    multiplied = re.match(r"[xX*]\s*(?![A-Za-zµ]{2})|[xX*]\s+|\*\s*", rest)
    if multiplied and rest[:2] != "**":
        if re.match(r"10\s*-", rest[multiplied.end() :]):
            raise fail("a power of ten without ^", pos, "write 4e-18 or 4 x 10^-18")
        pos += multiplied.end()
        rest = line[pos:]
        if not rest:
            raise fail("nothing follows the multiplication sign", pos - 1)
        if rest[0] in "0123456789" and not _power_of_ten_first(rest):
            raise fail("two numbers; one quantity is expected here", pos, "give each dimension on its own")
    elif rest[:1].isdigit() and not re.match(r"1\s*(?:/|per\b)", rest) and not _power_of_ten_first(rest):
        raise fail("two numbers in a row", pos, "write one number, without a blank inside")
    return pos


def _power_of_ten_first(rest: str) -> bool:
    """True for "1e-13 cm3 ..." or "10^-13 cm3 ...", a factor that tables print as part of the unit."""
    return bool(re.match(rf"[0-9.]+[eE][+-]?[0-9]|{tokens.POWER_OF_TEN}", rest))


def _bare(number: float, kinds: tuple[str, ...], start: int, after: int) -> str:
    """The kind that takes a bare number."""
    name = next((k for k in kinds if KINDS[k].bare), None)
    if name is None:
        raise fail(f"a unit is missing; expected {expected(kinds)}", after)
    if name in ("fraction", "relative humidity") and not 0.0 <= number <= 1.0:
        raise fail(f"{number:g} is not between 0 and 1", start, f"write {number:g} % if percent is meant")
    if name == "count" and (number != int(number) or number < 0.0):
        raise fail(f"{number:g} is not a whole number", start)
    return name


def _shift(first: int, unit: str, kinds: tuple[str, ...], gas: str | None) -> tuple[str, Scale, str]:
    """``_interpret`` with columns counted in the whole text."""
    try:
        return _interpret(unit, kinds, gas)
    except UnitError as error:
        raise UnitError(error.message, column=error.column + first, hint=error.hint) from None


@lru_cache(maxsize=4096)
def _interpret(unit: str, kinds: tuple[str, ...], gas: str | None) -> tuple[str, Scale, str]:
    """(kind, scale, currency) of a unit text."""
    parsed = tokens.parse_unit(unit, price=any(k in _PRICES for k in kinds))
    trouble: UnitError | None = None
    for name in kinds:
        try:
            answer = match(parsed, name, gas)
        except UnitError as error:
            trouble = trouble or error
            continue
        if answer is not None:
            return name, _scale(*answer), parsed.currency
    raise trouble or _mismatch(unit, parsed, kinds, gas)


def _scale(factor: float, offset: float) -> Scale:
    """Factor as multiplier and divisor, freed of rounding noise where either is a whole number."""
    for exact, inverse in ((factor, False), (1.0 / factor, True)):
        whole = float(round(exact)) if 0.5 < exact < 1e15 else 0.0
        if whole and abs(exact / whole - 1.0) < 1e-14:
            return Scale(1.0, whole, offset) if inverse else Scale(whole, 1.0, offset)
    return Scale(factor, 1.0, offset)


def match(parsed: UnitText, name: str, gas: str | None) -> tuple[float, float] | None:
    """(factor, offset) if the unit is of this kind, None if not, UnitError if it is but cannot be used."""
    kind, terms = KINDS[name], parsed.terms
    if len(terms) == 1 and (terms[0].share or name in _TEMPERATURES):
        term = terms[0]
        if (
            term.power != 1
            or (term.share and term.symbol not in kind.shares)
            or not (term.share or term.dim in kind.dims)
        ):
            return None
        if parsed.factor != 1.0:
            raise fail("a number inside this unit has no meaning", term.column)
        return term.factor, term.offset if name == "temperature" else 0.0
    if any(term.share for term in terms):
        return None
    scale, powers, trouble = _carrier(terms, kind, gas)
    above, below = [0] * len(BASES), [0] * len(BASES)
    for term, vector in zip(terms, powers, strict=True):
        scale *= term.factor**term.power
        for i, power in enumerate(vector):
            if power > 0:
                above[i] += power
            else:
                below[i] -= power
    if tuple(a - b for a, b in zip(above, below, strict=True)) not in kind.dims:
        return None
    cancelled = {base for base, a, b in zip(BASES, above, below, strict=True) if a and b}
    if not kind.must_cancel <= cancelled or not cancelled <= kind.cancels:
        return None
    if trouble:
        raise trouble
    return scale * parsed.factor, 0.0


def _carrier(terms: Sequence[Term], kind: Kind, gas: str | None) -> tuple[float, list[Dim], UnitError | None]:
    """Turn the substance in the numerator into an amount or a mass, as the kind keeps it.

    Gives a factor, the dimension of every term after the change, and what forbids the change, if anything.
    """
    powers = [tuple(p * term.power for p in term.dim) for term in terms]
    target = {"amount": AMOUNT, "mass": MASS}.get(kind.carrier)
    trouble: UnitError | None = None
    for term in terms:
        if (term.gas or term.state) and target is None:
            trouble = fail(
                "a tag such as (STP) or (O2) has no meaning here", term.column, f"expected {kind.description}"
            )
        for wanted in (gas, kind.gas):
            if term.gas and wanted and term.gas != wanted:
                trouble = fail(f"the unit names {term.gas}, the value is for {wanted}", term.column)
    if target is None or any(p[target] > 0 for p in powers):
        return 1.0, powers, trouble
    scale, found = 1.0, None
    for i, (term, p) in enumerate(zip(terms, powers, strict=True)):
        if p == VOLUME and (term.state or kind.free_volume):
            scale, found = term.state or STP_MOLES_PER_M3, i
            break
    if found is None:
        other = MASS if target == AMOUNT else AMOUNT
        found = next((i for i, p in enumerate(powers) if p[other] == 1), None)
        if found is None:
            return 1.0, powers, trouble
    term, is_mass = terms[found], powers[found][MASS] == 1
    if is_mass or target == MASS:
        untagged = gas if kind.untagged_mass or target == MASS else None
        name = term.gas or kind.gas or untagged or ""
        molar = MOLAR_MASS.get(name)
        if molar is None:
            what = "a mass is given where an amount of gas is expected" if is_mass else "the gas is not named"
            hint = (
                f"write {term.symbol}(O2) if {_SUBSTANCE['mass' if is_mass else 'amount']} of oxygen is meant"
            )
            trouble = trouble or fail(
                what, term.column, hint + (", or a gas volume such as cm3" if is_mass else "")
            )
            molar = 1.0
        scale *= 1.0 / molar if is_mass else molar
    powers[found] = tuple(int(i == target) for i in range(len(BASES)))
    return scale, powers, trouble


def expected(kinds: Sequence[str]) -> str:
    """What the caller waits for, with an example: "a length such as 300 um"."""
    return " or ".join(f"{KINDS[name].description} such as {KINDS[name].examples[0]}" for name in kinds)


def _mismatch(unit: str, parsed: UnitText, kinds: tuple[str, ...], gas: str | None) -> UnitError:
    """The refusal of a unit of the wrong dimension: what it is, what was expected, and the likely reason."""
    names: list[str] = []
    for name, kind in KINDS.items():
        try:
            fits = match(parsed, name, gas) is not None
        except UnitError:
            fits = False
        if fits and kind.description not in names:
            names.append(kind.description)
    what = f"the unit of {names[0]}" if names else "not the unit of any kind known here"
    hint = ""
    if len(kinds) == 1 and KINDS[kinds[0]].dims:
        hint = _reason(parsed, kinds[0], gas)
    return UnitError(f"'{unit}' is {what}; expected {expected(kinds)}", column=1, hint=hint)


def _reason(parsed: UnitText, name: str, gas: str | None) -> str:
    """Why the dimension is wrong, in words of the trade; empty when no usual reason fits."""
    kind = KINDS[name]
    _, powers, _ = _carrier(parsed.terms, kind, gas)
    got = [sum(column) for column in zip(*powers, strict=True)] or list(NONE)
    if name == "duration" and [t.symbol for t in parsed.terms] == ["m"]:
        return "m is metre: write min or months"
    if kind.carrier and not any(p[AMOUNT if kind.carrier == "amount" else MASS] > 0 for p in powers):
        if kind.carrier == "amount" and not kind.gas:
            return "no amount of gas before the slash, such as cm3 or mol"
        return "no mass before the slash, such as g"
    off = {base: kind.dims[0][i] - got[i] for i, base in enumerate(BASES) if kind.dims[0][i] != got[i]}
    if kind.cancels == {"length"} and off == {"length": 2}:
        return "the thickness belongs before the slash; everything after it is read as the denominator"
    if not kind.carrier and set(off) != {"temperature"}:
        return ""
    reasons = [_REASONS.get((base, power), "") for base, power in off.items()]
    return "; ".join(reasons) if all(reasons) else ""


def _check_value(value: float, number: float, name: str, start: int) -> None:
    if not math.isfinite(value) or (value == 0.0 and number != 0.0 and name != "temperature"):
        raise fail("the value is beyond what can be computed with", start)
    if name == "temperature" and value <= 0.0:
        raise fail("the temperature is not above absolute zero", start)
    if name == "relative humidity" and not 0.0 <= value <= 1.0:
        raise fail("a relative humidity is between 0 % and 100 %", start)

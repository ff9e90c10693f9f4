"""Quantities within sentences in other units: 'closed at 23 degC' to 'closed at 73.4 degF'.

Texts of the results are written for people and for JSON, which stays metric; only a page rewrites them. What
is rewritten is a number, or a list or range of numbers, with one blank before a unit of a closed list:
'12 um', '20 to 30 mm', '10, 20 and 30 mm', '60 x 60 x 200 mm', '(1, 2, 3) mm'. Everything else stays, above
all names that the user gave, what stands in quotation marks, and files.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache

from optimizer.units.figures import figure


@dataclass(frozen=True)
class Shown:
    """What a metric unit becomes: value * factor + offset in ``unit``."""

    unit: str
    factor: float
    offset: float = 0.0


_NUMBER = r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?"
_BETWEEN = r"(?: to | and | or | x |-|, and |, or |, )"
_LIST = rf"{_NUMBER}(?:{_BETWEEN}{_NUMBER})*"
_NEXT = re.compile(rf"({_NUMBER})({_BETWEEN})?")
#: Not within a word or a unit ('cm3*20um'), and nothing of a ratio: neither 'g per 100 g' nor
#: '4 g of water per g', and a number with a thousands comma.
_START = r"(?<![\w.*/^])(?<!\w-)(?<!per )(?<!\d,)"
_END = r"(?![\w/*^(]|\.\d| per | of (?:\w+ ){1,3}per )"
#: A number with a unit and nothing else.
_MERELY = re.compile(rf"{_NUMBER} [a-zA-Z][\w()*/]*")
#: Words before a whole number that is a label: the '2' of 'layer 2 and 12 um'. A range has none.
_LABEL = re.compile(
    r"\b(?:opening|layer|stage|part|step|day|row|line|wall|point|region|no\.|number|column|cell|page) $",
    re.IGNORECASE,
)
#: What follows or precedes a difference of two temperatures that is written in degC, also
#: with its unit at the lower end of a range as well.
_TO = rf"(?: to | and | or |-){_NUMBER} degC"
_THAN = re.compile(
    rf"(?:{_TO})?(?: (?:less|more|higher|lower|warmer|colder|hotter|cooler)(?: in | than |[,.;:)]|$)"
    r"| (?:above|below) (?!which))"
)
_BY = re.compile(rf"(?:\bby|\bspread|\bspread of|\+/-) (?:{_NUMBER} degC(?: to | and | or ))?$")
#: Units of the sides of something: '60 x 40 mm'. With others, what stands before ' x ' counts: '3 x 12 um'.
_SIDES = frozenset(["mm", "cm", "m"])
#: Never rewritten: quotations, files, and what a source says of a value.
_QUOTED = (
    r"(?<!\w)'[^']*'(?!\w)",
    r'"[^"]*"',
    r"\S+\.(?:ya?ml|csv|xls[xm]|stl|ply|obj|3mf|off|glb|gltf)\b",
    r"(?:estimated value|evaluated between the sources) \(.*\)",
)


def rewritten(text: str, table: Mapping[str, Shown], difference: Shown | None, names: Collection[str]) -> str:
    """The text with the units of ``table``. difference: what a degC of a difference of temperatures becomes;
    names: given by the user, kept as they are."""
    kept, quantity = _kept(tuple(sorted(set(names)))), _quantity(tuple(table))
    parts = kept.split(text)
    for k in range(0, len(parts), 2):  # the odd ones are what is kept
        parts[k] = quantity.sub(lambda found: _instead(found, table, difference), parts[k])
    return "".join(parts)


@lru_cache(maxsize=8)
def _kept(names: tuple[str, ...]) -> re.Pattern[str]:
    """Only names with a digit can be taken for a quantity; the longest first, as 'PET 12' may be the start of
    another. A name that is a quantity itself ('23 degC', of a stage) is one only before a colon."""
    own = [n for n in names if re.search(r"\d", n) and not re.fullmatch(_NUMBER, n)]
    longest = sorted(own, key=len, reverse=True)
    whole = [
        rf"(?<!\w){re.escape(n)}" + (r"(?=: )" if _MERELY.fullmatch(n) else r"(?!\w|\.\d)") for n in longest
    ]
    return re.compile("(" + "|".join([*whole, *_QUOTED]) + ")")


@lru_cache(maxsize=8)
def _quantity(units: tuple[str, ...]) -> re.Pattern[str]:
    longest = "|".join(map(re.escape, sorted(units, key=len, reverse=True)))
    return re.compile(rf"{_START}(?:(?P<list>{_LIST})|\((?P<point>{_LIST})\)) (?P<unit>{longest}){_END}")


def _instead(found: re.Match[str], table: Mapping[str, Shown], difference: Shown | None) -> str:
    before, after = found.string[: found.start()], found.string[found.end() :]
    kept, pieces = _split(found["list"] or found["point"], before)
    if found["unit"] not in _SIDES and " x " in pieces:
        last = len(pieces) - pieces[::-1].index(" x ")
        kept, pieces = kept + "".join(pieces[:last]), pieces[last:]
    shown = table[found["unit"]]
    if difference is not None and found["unit"] == "degC" and _is_difference(before, pieces, after):
        shown = difference
    numbers = "".join(x if k % 2 else converted(x, shown) for k, x in enumerate(pieces))
    said = f"({kept}{numbers})" if found["point"] else f"{kept}{numbers}"
    return f"{said} {shown.unit}"


def _split(numbers: str, before: str) -> tuple[str, list[str]]:
    """What is no part of the quantity, then numbers and what stands between them in turn."""
    pieces = [piece for found in _NEXT.finditer(numbers) for piece in found.groups() if piece]
    if len(pieces) == 1 or pieces[1] in (" to ", " x ", "-"):
        return "", pieces
    label = pieces[0].isdigit() and _LABEL.search(before)
    if label or (len(pieces) == 3 and pieces[1] == ", "):  # '3, 12 um': two things, not a list
        return pieces[0] + pieces[1], pieces[2:]
    return "", pieces


def _is_difference(before: str, pieces: list[str], after: str) -> bool:
    return bool(pieces[0].startswith("+") or _THAN.match(after) or _BY.search(before))


def converted(number: str, shown: Shown) -> str:
    """The number in the unit shown, with as many significant digits as it has, at least two, and more where
    it would leave the rounding of the number otherwise: '26' um is '1.02' mil, as 1 mil is 25.4 um."""
    least, half = _precision(number)
    value = float(number) * shown.factor + shown.offset
    if shown.offset:  # a zero that was chosen says nothing of precision; 1.8 has one digit after its point
        places = max(0, _places(number)) + 1
        return _plain(f"{value:.{places}f}")
    room = half * abs(shown.factor) * (1.0 + 1e-9)
    for digits in range(max(2, least), 18):
        text = figure(value, digits)
        if abs(float(text) - value) <= room:
            break
    return f"+{text}" if number.startswith("+") else text


def _plain(text: str) -> str:
    short = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if short == "-0" else short


def _places(number: str) -> int:
    """Digits after the point, less the power of ten."""
    mantissa, _, power = number.lower().partition("e")
    return len(mantissa.partition(".")[2]) - int(power or 0)


def _precision(number: str) -> tuple[int, float]:
    """Significant digits, and half a step of the last one. Zeros at the end of an integer count up to the
    fourth digit."""
    mantissa = number.lower().partition("e")[0].lstrip("+-")
    digits = mantissa.replace(".", "").lstrip("0")
    spare = 0
    if "." not in mantissa:
        spare = max(0, min(len(digits) - len(digits.rstrip("0")), len(digits) - 4))
    return max(1, len(digits) - spare), 0.5 * 10.0 ** (spare - _places(number))

"""Single values of a project workbook: from cells to what a project file would say, and back.

``encoded`` gives only what ``decoded`` reads back as the same value; what has no such form goes to the sheet
``More``, where ``any`` takes everything.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from typing import Any

from optimizer.catalog.workbook import COMMA_HINT, ESCAPE, Cell, without_comma
from optimizer.errors import InputError, UnitError
from optimizer.project.book_layout import Kind
from optimizer.project.source import read_value
from optimizer.project.yaml_text import flow, quoted
from optimizer.units.tokens import parse_unit, plain

#: Currencies by their sign.
_SIGNS = {"€": {"EUR"}, "£": {"GBP"}, "¥": {"JPY", "CNY"}}
#: A share above this is a number of per cent in a cell that shows shares of one.
_MOST_SHARE = 10.0
_FLAGS = {"yes": True, "no": False, "true": True, "false": False}
_PLAIN_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,5})?")
_SPLIT = re.compile(rf"({_PLAIN_NUMBER.pattern}) (\S.*)", re.DOTALL)
#: The same with or without the blank, as people type it: 300um.
_TYPED = re.compile(rf"({_PLAIN_NUMBER.pattern})\s*([^\W\d_%°‰].*|[%°‰].*)", re.DOTALL)
#: What stands between words: not a comma alone, which may be that of a number.
_BETWEEN = re.compile(r";|\n|,\s")
#: Blanks without width, which come in with copied text.
_UNSEEN = "\u200b\u200c\u200d\u2060\ufeff"
#: Most characters of a group in a cell that is no longer to be read.
_LONGEST = 100
_MOST_IN_A_CELL = 32_000
#: Digits of a number that openpyxl writes; the few numbers with more are written as text.
_DIGITS = 16


class Refused(Exception):
    """A cell that cannot be taken: what is wrong with it, and what would be right."""

    def __init__(self, message: str, hint: str = "", *, at_unit: bool = False) -> None:
        super().__init__(message)
        self.message, self.hint, self.at_unit = message, hint, at_unit


@dataclass(frozen=True)
class Written:
    """What is put into a cell, its number format, and into the cell of its unit."""

    value: str | int | float | bool
    format: str = "General"
    unit: str = ""

    def cell(self, row: int = 1, column: int = 1) -> Cell:
        return Cell(self.value, row, column, self.format)


def clean(text: str) -> str:
    """Text without blanks at its ends, single ones within, whatever kind of blank was typed."""
    return " ".join(text.split()).strip(_UNSEEN).strip()


def as_text(cell: Cell) -> str:
    """A name or a word; numbers count as text, logical values do not."""
    if isinstance(cell.value, str):
        return clean(cell.value)
    if isinstance(cell.value, bool):
        raise _logical(cell)
    if isinstance(cell.value, float) and cell.value.is_integer() and not cell.percent:
        return f"{cell.value:.0f}" if abs(cell.value) < 1e15 else repr(cell.value)
    return cell.number()


def _logical(cell: Cell) -> Refused:
    word = str(cell.value).upper()
    hint = f"for the name '{word.lower()}' format the cell as text and type it again"
    return Refused(f"the logical value {word} where text or a number belongs", hint)


def decoded(kind: Kind, cell: Cell, unit: str = "", *, shared: bool = False) -> Any:
    """The value of ``cell``, as it would stand in a project file. unit: what stands in the cell of its unit;
    shared: that this is the unit of other cells too. Raises Refused."""
    value = clean(cell.value) if isinstance(cell.value, str) else cell.value
    opens = "[{\"'" if kind == "any" else "[{" if kind not in ("text", "flag") else ""
    if isinstance(value, str) and value[:1] in tuple(opens):
        return _group(str(cell.value).strip())
    if kind == "flag":
        return _flag(value)
    if kind == "any" and isinstance(value, bool):
        return value
    if kind == "any" and value == "null":
        return None
    if kind == "words":
        parts = _BETWEEN.split(str(cell.value)) if isinstance(value, str) else [as_text(cell)]
        words = [clean(part) for part in parts if clean(part)]
        return words[0] if words == ["none"] else words
    if kind == "text":
        return as_text(cell)
    return _quantity(kind, cell, unit, shared)


def _flag(value: object) -> bool:
    flag = value if isinstance(value, bool) else _FLAGS.get(str(value).lower())
    if flag is None:
        raise Refused(f"'{value}' is neither yes nor no", "write yes or no")
    return flag


def _group(text: str) -> Any:
    try:
        return read_value(text)
    except InputError as error:
        first = error.problems[0]
        raise Refused(first.message, first.hint or "a group is written {min: 8 um, max: 300 um}") from None


def _quantity(kind: Kind, cell: Cell, unit: str, shared: bool) -> Any:
    """A number with the unit beside it, or a text that has its own."""
    value = cell.value
    if isinstance(value, bool):
        raise _logical(cell)
    if isinstance(value, str):
        return _typed(kind, clean(value), unit, shared)
    if cell.in_thousands:
        hint = "choose a number format that shows the whole number"
        raise Refused(f"the number {cell.number()} is shown in thousands", hint)
    if _PLAIN_NUMBER.fullmatch(unit):
        raise Refused(f"'{unit}' stands in the cell of the unit", "write a unit there, such as um")
    if unit and cell.money and not _is_of(cell.money, unit):
        raise Refused(f"is shown in {cell.money}, beside the unit '{unit}'", "keep one of them")
    if unit and _is_unit(cell.behind) and not _same_unit(cell.behind, unit):
        raise Refused(f"is shown in {cell.behind}, beside the unit '{unit}'", "keep one of them")
    if cell.percent and unit not in ("", "%"):
        if shared:
            return cell.number()
        raise Refused(
            f"is shown as the percentage {cell.number()}, beside the unit '{unit}'", "keep one of them"
        )
    if cell.percent and kind == "percent" and value > _MOST_SHARE:
        raise Refused(f"the cell shows {cell.number()}", f"for {value:g} % type {value:g}% into it")
    if cell.percent:
        return cell.number()
    if unit:
        return f"{cell.number()} {unit}"
    return _bare(kind, float(value) if re.fullmatch(r"0\.0+", cell.format) else value)


def _bare(kind: Kind, value: int | float) -> int | float:
    """A number without a unit: it stays one, which is refused where a unit is needed; a share could be of one
    or of a hundred."""
    if kind != "percent" or value == 0:
        return value
    ways = [value] if value > 1 else [value, float(f"{100 * value:.12g}")]
    raise Refused(f"'{value:g}' has no unit", "write " + " or ".join(f"'{way:g} %'" for way in ways))


def _typed(kind: Kind, text: str, unit: str, shared: bool) -> Any:
    text, unclear = without_comma(text) if kind != "any" or unit else (text, "")
    if unclear:
        raise Refused(unclear, COMMA_HINT)
    number = text.replace("\u2212", "-")
    if _PLAIN_NUMBER.fullmatch(number):
        if unit:
            return f"{number} {unit}"
        return _bare(kind, float(number)) if kind in ("quantity", "percent") else text
    own = _TYPED.fullmatch(text) if unit else None
    if own and not shared and not _same_unit(own[2], unit):
        raise Refused(
            f"the number has the unit '{own[2]}', and the cell of the unit has '{unit}'", "keep one of them"
        )
    return text


def _is_unit(text: str) -> bool:
    try:
        return bool(text) and bool(parse_unit(plain(text), price=False))
    except UnitError:
        return False


def _is_of(sign: str, unit: str) -> bool:
    """Whether a sign or code of a currency may stand for that of a unit; '$' is that of many."""
    try:
        currency = parse_unit(plain(unit), price=True).currency
    except UnitError:
        return True  # said where the unit is read
    if sign == "$":
        return bool(currency) and not any(currency in own for own in _SIGNS.values())
    if sign in _SIGNS:
        return currency in _SIGNS[sign]
    return currency == sign or not re.fullmatch("[A-Z]{3}", sign)


def _same_unit(a: str, b: str) -> bool:
    """Whether two texts mean one unit: um and µm, degC and °C."""
    try:
        first, second = (parse_unit(plain(text), price=True) for text in (a, b))
    except UnitError:
        return a == b
    terms = [[replace(term, symbol="", column=0) for term in unit.terms] for unit in (first, second)]
    return terms[0] == terms[1] and (first.factor, first.currency) == (second.factor, second.currency)


def same(a: Any, b: Any) -> bool:
    """Whether two contents of project files are the same: numbers by value, also within a quantity; whatever
    the order of keys."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(same(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, bool) or isinstance(b, bool) or a is None or b is None:
        return a is b
    if isinstance(a, str) and isinstance(b, str):
        return a == b or _same_quantity(a, b)
    if isinstance(a, int | float) and isinstance(b, int | float):
        return a == b or (a != a and b != b)
    return False


def _same_quantity(a: str, b: str) -> bool:
    first, second = _SPLIT.fullmatch(a), _SPLIT.fullmatch(b)
    return bool(first and second and first[2] == second[2] and float(first[1]) == float(second[1]))


def encoded(kind: Kind, value: Any, *, has_unit: bool = False, shared: str | None = None) -> Written | None:
    """What to write for ``value``; None where the cell cannot hold it. has_unit: a cell for its unit stands
    beside it; shared: the unit that stands there for this and other cells."""
    for written in _candidates(kind, value, has_unit, shared):
        if not storable(written.value):
            continue
        unit = written.unit or (shared or "")
        try:
            back = decoded(kind, written.cell(), unit, shared=shared is not None)
        except Refused:
            continue
        if same(back, value) or (_number(value) and back == str(value)):
            return written
    return None


def storable(value: str | int | float | bool) -> bool:
    """Whether a cell keeps the text, or the number to its last digit."""
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}") == value
    if not isinstance(value, str):
        return True
    if ESCAPE.search(value):
        return False
    return 0 < len(value) <= _MOST_IN_A_CELL and all(char.isprintable() or char == "\xa0" for char in value)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _candidates(kind: Kind, value: Any, has_unit: bool, shared: str | None) -> list[Written]:
    """Ways to write the value, the nicest first."""
    if isinstance(value, dict | list):
        found = []
        if kind == "words" and isinstance(value, list) and all(isinstance(item, str) for item in value):
            found.append(Written("; ".join(value)))
        text = flow(value)
        return [*found, Written(text)] if len(text) <= _LONGEST or not value else found
    if value is None or isinstance(value, bool):
        word = "null" if value is None else value
        return [Written("yes" if value else "no") if kind == "flag" and value is not None else Written(word)]
    if _number(value):
        exact = math.isfinite(value) and (isinstance(value, float) or abs(value) < 2**53)
        if kind == "text":
            return [Written(str(value))]
        whole = isinstance(value, float) and value.is_integer() and abs(value) < 1e15
        number = [Written(value, "0.0" if whole else "General")] if exact else []
        return [*number, Written(str(value))]
    found = [*_split(kind, value, has_unit, shared), Written(value)]
    return [*found, Written(ESCAPE.sub(r"\\u005f", quoted(value)))] if kind == "any" else found


def _split(kind: Kind, text: str, has_unit: bool, shared: str | None) -> list[Written]:
    """A quantity as number and unit, or as a number that is shown as a percentage."""
    parts = _SPLIT.fullmatch(text)
    if kind not in ("quantity", "percent", "any") or parts is None:
        return []
    number, unit = parts[1], parts[2]
    if kind == "percent":
        return _percentage(number) if unit == "%" else []
    if not has_unit or (shared is not None and unit != shared):
        return []
    value = float(number)
    if not math.isfinite(value):
        return []
    point = re.fullmatch(r"[+-]?\d+\.(\d+)", number)
    if re.fullmatch(r"[+-]?\d{1,15}", number):
        return [Written(int(number), unit=unit)]
    plain = "0." + "0" * len(point[1]) if point and point[1].endswith("0") else "General"
    return [Written(value, plain, unit)]


def _percentage(number: str) -> list[Written]:
    try:
        share = Decimal(number) / 100
    except InvalidOperation:
        return []
    digits = max(-int(Decimal(number).as_tuple().exponent), 0)
    return [Written(float(share), "0." + "0" * min(digits, 15) + "%" if digits else "0%")]


def common_unit(texts: list[Any]) -> str:
    """The unit that most of the quantities have; '' for none."""
    units = [found[2] for text in texts if isinstance(text, str) and (found := _SPLIT.fullmatch(text))]
    return max(dict.fromkeys(units), key=units.count, default="")

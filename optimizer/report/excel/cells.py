"""What may stand in a cell: texts that no program takes for a formula, numbers with a fitting format.

Plain Python; ``style`` puts it into a workbook.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from typing import Any

from optimizer.catalog.workbook import ESCAPE

#: What a table may hold. None and numbers that are not finite stay empty.
Value = str | int | float | bool | datetime | None


class Share(float):
    """A share of one, shown in per cent; the cell holds it as it is."""


#: Most characters of a cell (the spreadsheet programs' own limit).
LONGEST = 32767
#: First characters that make a spreadsheet program read a typed text, or one from a CSV file, as a formula.
OPENERS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
#: Everything outside the characters of XML 1.0, fifth edition, production 2 (``Char``).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_SHORTENED = " ... [shortened: {} characters in all]"


def safe_text(text: str) -> str:
    """The text as a cell can hold it: characters that XML does not know become U+FFFD, line ends one
    character, and what is longer than a cell ends in a remark that says so."""
    text = _NOT_XML.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))
    if len(_escaped(text)) <= LONGEST:
        return text
    remark = _SHORTENED.format(f"{len(text):,}")
    kept = text[: LONGEST - len(remark)]
    over = len(_escaped(kept)) + len(remark) - LONGEST
    return kept[: len(kept) - max(over, 0)] + remark


def stored_text(text: str) -> str:
    """``safe_text`` as it is written to the file: '_x0041_' stays these letters and does not become 'A'."""
    return _escaped(safe_text(text))


def is_risky(text: str) -> bool:
    """Whether a spreadsheet program would read the text as a formula if it were typed."""
    return text.lstrip(" ").startswith(OPENERS)


def csv_text(text: str) -> str:
    """The text as a cell of a CSV file, which has no types: an apostrophe before what would be a formula.

    Source: OWASP, CSV Injection (the apostrophe before the cell's first character).
    """
    return f"'{text}" if is_risky(text) else text


def header_text(text: str, longest: int = 90) -> str:
    """A text for the head or foot of a printed page, in which '&' starts a code: one line, not too long."""
    line = " ".join(_NOT_XML.sub(" ", text).split())
    if len(line) > longest:
        line = line[: longest - 4].rstrip() + " ..."
    # '&[Tab]' is a code too, and the writing library looks for it also behind an escaped '&'
    return line.replace("&[", "& [").replace("&", "&&")


def finite(value: Value) -> Value:
    """The value, or None for a number that is not finite."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def remark(value: Value) -> str:
    """Why a cell is empty though there is a number: '' where there is none such."""
    if not isinstance(value, float) or math.isfinite(value):
        return ""
    return "not a number" if math.isnan(value) else "infinite" if value > 0.0 else "minus infinite"


def plain_value(value: Any) -> Value:
    """Numbers of numpy as those of Python, times as UTC without a zone, anything strange as text."""
    if hasattr(value, "item") and hasattr(value, "dtype"):
        value = value.item()
    if isinstance(value, datetime):
        return utc(value)
    return value if value is None or isinstance(value, str | int | float) else str(value)


def utc(moment: datetime) -> datetime:
    """A time in UTC to the second, without a zone, as workbooks hold it. One without a zone is UTC."""
    moment = moment if moment.tzinfo is None else moment.astimezone(UTC).replace(tzinfo=None)
    return moment.replace(microsecond=0)


def pattern(value: float, digits: int = 4) -> str:
    """Number format that shows ``digits`` significant digits of a number; the cell keeps all of them."""
    if value == 0.0 or not math.isfinite(value):
        return "0"
    size = math.floor(math.log10(abs(value)))
    if size < -5 or size >= 9:
        return "0." + "0" * (digits - 1) + "E+00"
    places = max(digits - 1 - size, 0)
    if abs(value - round(value)) <= 1e-9 * abs(value) or places == 0:
        return "0"
    return "0.0" + "#" * (places - 1)


def even_pattern(values: list[float], digits: int = 4) -> str:
    """One number format for a whole column, which suits its largest number."""
    numbers = [abs(v) for v in values if math.isfinite(v)]
    largest = max(numbers, default=0.0)
    if largest == 0.0 or all(v == round(v) for v in numbers) and largest < 1e9:
        return "0"
    size = math.floor(math.log10(largest))
    if size < -5 or size >= 9:
        return "0." + "0" * (digits - 1) + "E+00"
    places = max(digits - 1 - size, 0)
    return "0." + "0" * places if places else "0"


def _escaped(text: str) -> str:
    return ESCAPE.sub("_x005F_", text)

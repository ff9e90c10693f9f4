"""Durations, amounts and names of limits in words; what the simulation, the design and the pages share."""

from __future__ import annotations

import re

from optimizer.constants import DAY, MONTH, YEAR
from optimizer.units.figures import figure as figure

_MONTH_DAYS, _YEAR_DAYS = MONTH / DAY, YEAR / DAY
#: Durations below this are told in days; twelve weeks are 84 days, nobody asks for 2.76 months.
DAYS_UNTIL = 150.0

#: name in the project file -> words
LIMIT_WORDS = {
    "oxygen_gain": "oxygen gain",
    "headspace_oxygen": "oxygen in the headspace",
    "water_gain": "water gain",
    "water_loss": "water loss",
    "water_activity_max": "highest water activity",
    "water_activity_min": "lowest water activity",
    "co2_loss": "CO2 loss",
    "shelf_life": "shelf life",
}
_RAW = re.compile(rf"\b({'|'.join(LIMIT_WORDS)}|co2 loss)\b")


def apart(first: float | None, second: float | None) -> tuple[str, str]:
    """Two numbers with just enough digits to tell them apart: 8.997 against 9, not 9 against 9."""
    for digits in range(3, 8):
        texts = figure(first, digits), figure(second, digits)
        if texts[0] != texts[1] or first == second:
            break
    return texts


def duration_unit(days: float) -> tuple[str, float]:
    """Unit that suits a duration, and its length in days."""
    if days >= 3 * _YEAR_DAYS:
        return "years", _YEAR_DAYS
    if days >= DAYS_UNTIL:
        return "months", _MONTH_DAYS
    if days >= 2:
        return "days", 1.0
    return "hours", 1.0 / 24.0


def duration(days: float | None, like: float | None = None) -> str:
    """'14.2 months'; in the unit that suits ``like`` [days] where it is given and not far too large."""
    if days is None:
        return "-"
    name, length = duration_unit(days if like is None else like)
    if days < 0.1 * length:
        name, length = duration_unit(days)
    text = figure(days / length)
    return f"{text} {name.removesuffix('s') if text == '1' else name}"


def amount(moles: float) -> str:
    """'1.03 mmol' from 0.00103."""
    for size, unit in ((1.0, "mol"), (1e-3, "mmol"), (1e-6, "umol")):
        if abs(moles) >= 0.1 * size:
            return f"{figure(moles / size)} {unit}"
    return f"{figure(moles / 1e-6)} umol"


def span(low: float, high: float, unit: str, digits: int = 3) -> str:
    """'3 to 150 um'; one number where both are written the same."""
    texts = figure(low, digits), figure(high, digits)
    return f"{texts[0]} {unit}" if texts[0] == texts[1] else f"{texts[0]} to {texts[1]} {unit}"


def limit_name(name: str) -> str:
    """'oxygen gain' from 'oxygen_gain'."""
    return LIMIT_WORDS.get(name, name.replace("_", " "))


def in_words(text: str) -> str:
    """A text in which the limits stand under their words, not under their keys."""
    return _RAW.sub(lambda match: LIMIT_WORDS[match[1].replace(" ", "_")], text)


def listed(words: list[str] | tuple[str, ...]) -> str:
    """'a, b and c'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = text.strip()
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in ".?!" else ".")

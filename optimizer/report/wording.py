"""Numbers, durations and names as people in packaging read them."""

from __future__ import annotations

import math

from optimizer.constants import DAY, MONTH, YEAR

_MONTH_DAYS, _YEAR_DAYS = MONTH / DAY, YEAR / DAY
_MINUS = str.maketrans({"_": " "})

#: name in the project file -> words
_LIMIT_WORDS = {
    "co2_loss": "CO2 loss",
    "water_activity_max": "highest water activity",
    "water_activity_min": "lowest water activity",
}


def figure(value: float | None, digits: int = 3) -> str:
    """A number to ``digits`` significant digits, integers in full; '-' when there is none."""
    if value is None or not math.isfinite(value):
        return "-"
    if value == 0.0:
        return "0"
    size = abs(value)
    if size >= 1e7 or size < 1e-4:
        return f"{value:.{digits - 1}e}"
    places = max(0, digits - 1 - math.floor(math.log10(size)))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def with_unit(value: float | None, unit: str, digits: int = 3) -> str:
    """'5 mg/kg'; a unit of 1 is not written."""
    text = figure(value, digits)
    return text if text == "-" or unit in ("", "1", "-") else f"{text} {unit}"


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
    if days >= 2 * _MONTH_DAYS:
        return "months", _MONTH_DAYS
    if days >= 2:
        return "days", 1.0
    return "hours", 1.0 / 24.0


def duration(days: float | None, like: float | None = None) -> str:
    """'14.2 months'; in the unit that suits ``like`` [days] where it is given."""
    if days is None:
        return "-"
    name, length = duration_unit(days if like is None else like)
    text = figure(days / length)
    return f"{text} {name.removesuffix('s') if text == '1' else name}"


def percent(value: float | None, digits: int = 2) -> str:
    """'38 %' from 38.2."""
    return "-" if value is None else f"{figure(value, digits)} %"


def money(value: float | None, currency: str) -> str:
    """'0.0523 EUR': packages cost cents, so significant digits and not two places."""
    return "-" if value is None else f"{figure(value, 4)} {currency}".strip()


def limit_name(name: str) -> str:
    """'oxygen gain' from 'oxygen_gain'."""
    return _LIMIT_WORDS.get(name, name.translate(_MINUS))


def change(before: float | None, after: float | None) -> str:
    """'-12 %': relative change, or '' where it makes no sense."""
    if before is None or after is None or before == 0.0:
        return ""
    relative = 100.0 * (after / before - 1.0)
    return "same" if abs(relative) < 0.005 else f"{'+' if relative > 0 else ''}{figure(relative, 2)} %"


def listed(words: list[str] | tuple[str, ...]) -> str:
    """'a, b and c'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"

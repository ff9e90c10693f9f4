"""Numbers of an axis: how values become places, where ticks stand, and how they are written."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

#: Values beyond this are taken as not finite: their differences are not.
_LARGEST = 1e290
#: Least and largest value on a log axis, so that the ratio of any two, widened, stays a number.
_LOG = (1e-100, 1e100)
#: Least width of a range, as a part of its largest value, that is more than rounding.
_FLAT = 1e-9
_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
#: Between groups of three digits (ISO 80000-1: a small space).
_SPACE = "\u202f"


@dataclass(frozen=True)
class Scale:
    """low and high are values, start and end the places [px] where they stand (end < start for an axis that
    runs upwards). Sound: low < high, and above 0 on a log axis."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def at(self, value: float) -> float:
        """Place of a value [px]; those outside stand outside, not more than a length of the axis away."""
        if self.log and value <= 0.0:
            return 2.0 * self.start - self.end
        part = (self._of(value) - self._of(self.low)) / (self._of(self.high) - self._of(self.low))
        return self.start + min(max(part, -1.0), 2.0) * (self.end - self.start)

    def has(self, value: float) -> bool:
        """Whether a value can be drawn at all."""
        return bool(sound([value], self.log))

    def inside(self, value: float) -> bool:
        """Whether it stands on the axis."""
        slack = 1e-9 * (self.high - self.low)
        return self.has(value) and self.low - slack <= value <= self.high + slack

    def _of(self, value: float) -> float:
        return math.log10(value) if self.log else value


@dataclass(frozen=True)
class Tick:
    value: float
    text: str


def sound(values: Iterable[float | None], log: bool = False) -> list[float]:
    """Those that can be drawn."""
    return [
        float(x) for x in values if x is not None and (_LOG[0] <= x <= _LOG[1] if log else abs(x) <= _LARGEST)
    ]


def extent(values: Iterable[float | None], *, log: bool = False, zero: bool = False) -> tuple[float, float]:
    """Least and largest of the values, widened where they are one; 0 to 1 (log: 1 to 10) for none."""
    found = sound(values, log)
    if not found:
        return (1.0, 10.0) if log else (0.0, 1.0)
    low, high = min(found), max(found)
    if log:
        return (low, high) if high > low * 1.02 else (low / 2.0, high * 2.0)
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    size = max(abs(low), abs(high))
    if high - low > _FLAT * size and high - low > 1e-290:
        return low, high
    if size < 1e-290:
        return 0.0, 1.0
    return low - 0.5 * size, high + 0.5 * size


def nice_step(span: float, most: int) -> float:
    """Smallest of 1, 2, 2.5 or 5 times a power of ten that parts ``span`` into at most ``most``."""
    rough = span / max(most, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    return next(x * power for x in (1.0, 2.0, 2.5, 5.0, 10.0) if x * power >= rough * (1 - 1e-9))


def rounded_out(low: float, high: float, most: int, log: bool = False) -> tuple[float, float]:
    """The range widened to the next ticks."""
    if log:
        return _rounded_log(low, high)
    step = nice_step(high - low, most)
    return step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9)


def _rounded_log(low: float, high: float) -> tuple[float, float]:
    """To whole decades where the range is long, else to the next of 1, 2, 5."""
    wide = math.log10(high / low) > 2.0
    steps = (1.0, 10.0) if wide else (1.0, 2.0, 5.0, 10.0)
    under, over = math.floor(math.log10(low) + 1e-12), math.floor(math.log10(high) - 1e-12)
    below = max(x for x in steps if x * 10.0**under <= low * (1 + 1e-9)) * 10.0**under
    above = min(x for x in steps if x * 10.0**over >= high * (1 - 1e-9)) * 10.0**over
    return (below, above) if above > below else (low / 2.0, high * 2.0)


def ticks(scale: Scale, most: int) -> list[Tick]:
    """At most about ``most`` ticks on the axis."""
    values = _log_values(scale, most) if scale.log else _values(scale.low, scale.high, most)
    return [Tick(x, text) for x, text in zip(values, written(values, scale.log), strict=True)]


def _values(low: float, high: float, most: int) -> list[float]:
    step = nice_step(high - low, most)
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    if last - first > 4 * most + 4:  # numbers so near to each other that floats run out
        return [low, high]
    return [0.0 if k == 0 else k * step for k in range(first, last + 1)]


def _log_values(scale: Scale, most: int) -> list[float]:
    first, last = math.floor(math.log10(scale.low)), math.ceil(math.log10(scale.high))
    every = max(1, math.ceil((last - first) / max(most, 1)))
    whole = [10.0**k for k in range(first, last + 1) if k % every == 0 and scale.inside(10.0**k)]
    if every > 1 or len(whole) >= 4:
        return whole
    finer = [m * 10.0**k for k in range(first, last + 1) for m in (1, 2, 5) if scale.inside(m * 10.0**k)]
    if len(finer) > most and len(whole) >= 2:
        return whole
    return finer if len(finer) >= 2 else _values(scale.low, scale.high, most)


def minor(scale: Scale) -> list[float]:
    """Values of the fine lines between decades; none on a linear axis and over many decades."""
    if not scale.log or math.log10(scale.high / scale.low) > 6.0:
        return []
    first, last = math.floor(math.log10(scale.low)), math.ceil(math.log10(scale.high))
    return [m * 10.0**k for k in range(first, last + 1) for m in range(2, 10) if scale.inside(m * 10.0**k)]


def written(values: Sequence[float], log: bool = False) -> list[str]:
    """The numbers of an axis, all with the same number of places (a log axis: each with its own)."""
    size = max((abs(x) for x in values), default=0.0)
    least = min((abs(x) for x in values if x), default=size)
    if log:
        return [_alone(x, least >= 1e-4 and size < 1e7) for x in values]
    power = 0 if size == 0.0 or 1e-3 <= size < 1e7 else math.floor(math.log10(size))
    unit = 10.0**power
    steps = [abs(b - a) for a, b in zip(values, values[1:], strict=False) if b != a]
    places = _places(min(steps, default=size or 1.0) / unit)
    return [_powered(x / unit, power, places) if x else "0" for x in values]


def _places(step: float) -> int:
    """Decimal places that tell values a step apart: 2 for 0.25."""
    if step <= 0.0:
        return 0
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    scaled = step * 10.0**places
    return min(12, places if abs(scaled - round(scaled)) < 1e-6 else places + 1)


def _alone(value: float, plain: bool) -> str:
    power = math.floor(math.log10(value) + 1e-9)
    lead = value / 10.0**power
    if plain:
        return grouped(f"{value:.{max(0, -power + (abs(lead - round(lead)) > 1e-6))}f}")
    if abs(lead - 1.0) < 1e-6:
        return f"10{str(power).translate(_SUPERSCRIPT)}"
    return f"{lead:.3g}×10{str(power).translate(_SUPERSCRIPT)}"


def _powered(value: float, power: int, places: int) -> str:
    text = grouped(f"{value:.{places}f}")
    return f"{text}×10{str(power).translate(_SUPERSCRIPT)}" if power else text


def grouped(text: str) -> str:
    """Digits before the point in threes from 10 000 on, a real minus sign."""
    sign, digits = ("−", text[1:]) if text.startswith("-") else ("", text)
    whole, point, rest = digits.partition(".")
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", _SPACE)
    return f"{sign}{whole}{point}{rest}"

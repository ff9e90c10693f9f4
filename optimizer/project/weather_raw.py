"""What a weather file says before it is judged: columns of text with their places, units, times."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from optimizer.constants import DAY
from optimizer.errors import UnitError
from optimizer.project.sheet import Findings
from optimizer.units import read

HOUR = 3600.0
#: What a unit in a heading may look like.
UNIT_EXAMPLES = {"temperature": "degC", "humidity": "%", "time": "h"}
_KINDS = {"temperature": "temperature", "humidity": "relative humidity", "time": "duration"}


@dataclass(frozen=True)
class Heading:
    """A heading as it stands in the file, and the unit that it lacks."""

    name: str
    unit: str = ""


class Scale(NamedTuple):
    """SI value = offset + factor * number."""

    factor: float
    offset: float


@dataclass(frozen=True)
class Column:
    """cells: text of every row; missing: number that stands for no value; at: column of a row's cell."""

    title: str
    cells: Sequence[str]
    scale: Scale
    at: Callable[[int], int]
    missing: float | None = None


@dataclass(frozen=True)
class Raw:
    """lines: line number of every row. seconds: when each row begins to hold, None without a column of time;
    cycle: seconds after which they start anew, 0 for never. first: date of the first row, if it is known."""

    temperature: Column
    humidity: Column
    lines: Sequence[int]
    seconds: Sequence[float] | None = None
    cycle: float = 0.0
    first: datetime | None = None


def unit_scale(unit: str, kind: str) -> Scale | None:
    """How numbers in ``unit`` become SI; None where it is no unit of ``kind``."""
    text = unit.strip()
    if kind == "humidity" and text in ("1", "-", "fraction"):
        return Scale(1.0, 0.0)
    if not text or text[0].isdigit():
        return None
    try:
        high, low = (read(f"{n} {text}", _KINDS[kind]).value for n in (80, 20))
    except UnitError:
        return None
    factor = (high - low) / 60.0
    return Scale(factor, low - 20.0 * factor)


class Calendar:
    """Month, day and hour of every row, whatever the year: typical years are joined from several."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.rows: list[tuple[int, str, str, float]] = []

    def add(self, line: int, month: str, day: str, hour: str, minute: str, step: float) -> None:
        """``hour`` counts from 1, and the row holds for the ``step`` [s] that ends at ``minute`` of it."""
        try:
            begin = (int(hour) - 1) * HOUR + float(minute) * 60.0 - step
        except ValueError:
            begin = -1.0
        self.rows.append((line, month.strip(), day.strip(), begin))

    def raw(self, temperature: Column, humidity: Column, lines: Sequence[int]) -> Raw | None:
        leap = any((month.lstrip("0"), day) == ("2", "29") for _, month, day, _ in self.rows)
        first: datetime | None = None
        seconds = []
        for line, month, day, begin in self.rows:
            try:
                date = datetime(2000 if leap else 2001, int(month), int(day))
            except ValueError:
                begin = -1.0
            if not 0.0 <= begin < DAY:
                self.findings.add("date", "month, day and hour are no time of a year", line=line)
                continue
            first = first or date + timedelta(seconds=begin)
            seconds.append((date.timetuple().tm_yday - 1) * DAY + begin)
        if len(seconds) < len(self.rows):
            return None
        return Raw(temperature, humidity, lines, seconds, (366 if leap else 365) * DAY, first)

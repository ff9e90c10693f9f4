"""Weather files judged: numbers in range, steps without a gap, and the stages of storage made of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DAY, ZERO_CELSIUS
from optimizer.errors import InputError, Problem
from optimizer.physics.climate import damped, effective_temperature
from optimizer.project.build_package import is_file
from optimizer.project.fields import COLDEST, WARMEST
from optimizer.project.reader import Reader
from optimizer.project.schema_storage import WeatherStage
from optimizer.project.sheet import Findings
from optimizer.project.source import Location
from optimizer.project.weather_formats import read_raw
from optimizer.project.weather_raw import HOUR, Column, Heading, Raw
from optimizer.shelflife.package import Stage

Array = NDArray[np.float64]

#: Least and largest step of a file [s].
SHORTEST, LONGEST = 900.0, 3 * HOUR
#: A file longer than this is no weather file [bytes]; more rows than this are no climate.
MOST_BYTES, MOST_ROWS = 60_000_000, 200_000
#: Hours of a leap year: with more rows and no times the step cannot be an hour.
_YEAR_ROWS = 8784
#: Activation energy for the temperature that stands for a climate [J/mol]: usual for oxygen in polymers.
_TYPICAL_ENERGY = 40e3


@dataclass(frozen=True)
class Climate:
    """temperature [K] and humidity (water activity) [-], both (N,), each held for ``step`` [s]; first: date
    of the first, None where the file has no dates."""

    temperature: Array
    humidity: Array
    step: float
    first: datetime | None = None

    @property
    def length(self) -> float:
        """How long the file lasts [s]."""
        return self.step * len(self.temperature)


def read_climate(
    path: Path,
    columns: Mapping[str, Heading] | None = None,
    read: Callable[[Path], bytes] = Path.read_bytes,
) -> Climate:
    """Climate of a weather file; columns: 'temperature', 'humidity', 'time' -> heading to read;
    read: gives its bytes.

    Raises InputError with every kind of problem, each at the first place where it occurs.
    """
    if path.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise InputError(Problem("is a workbook", str(path), hint="save the sheet as 'CSV UTF-8'"))
    try:
        content = read(path)
    except OSError as error:
        raise InputError(Problem(f"cannot be read: {error.strerror}", str(path))) from None
    if len(content) > MOST_BYTES:
        raise InputError(Problem(f"is {len(content)} bytes long, too long for a climate", str(path)))
    findings = Findings(str(path))
    climate = parse_climate(content, path.suffix, columns or {}, findings)
    if climate is None or findings.found:
        raise InputError(findings.problems())
    return climate


def parse_climate(
    content: bytes, suffix: str, columns: Mapping[str, Heading], findings: Findings
) -> Climate | None:
    """``read_climate`` for contents in memory; problems go to ``findings``."""
    raw = read_raw(content, suffix, columns, findings)
    if raw is None:
        return None
    if len(raw.lines) > MOST_ROWS:
        findings.add("rows", f"has {len(raw.lines)} rows, too many for a climate")
        return None
    temperature = _numbers(raw, raw.temperature, (COLDEST, WARMEST), "from -30 degC to 80 degC", findings)
    humidity = _numbers(raw, raw.humidity, (0.0, 1.0), "from 0 % to 100 %", findings)
    step = _step(raw, findings)
    if findings.found:
        return None
    unit = raw.humidity.scale.factor
    if unit < 1.0 and len(humidity) >= 24 and humidity.max() <= unit:
        findings.add(
            "fraction",
            "never exceeds 1 %, so it is a fraction and no percentage",
            raw.lines[0],
            raw.humidity.at(0),
            raw.humidity.title,
            "give it the unit 1 instead of %",
        )
        return None
    return Climate(temperature, humidity, step, raw.first)


def _numbers(raw: Raw, column: Column, bounds: tuple[float, float], limits: str, findings: Findings) -> Array:
    """SI values (N,) of a column; nan where there is none."""
    factor, offset = column.scale
    values = np.full(len(column.cells), np.nan)
    for i, text in enumerate(column.cells):
        try:
            number = math.inf if "_" in text else float(text)
        except ValueError:
            number = math.inf if text.strip().strip("-") and text.strip().upper() != "NA" else math.nan
        if number == column.missing or math.isnan(number):
            _note(
                raw, column, i, "missing", f"there is no value ('{text.strip()}')", "fill the gap", findings
            )
        elif math.isinf(number):
            comma = "," in text
            said = f"'{text}' has a decimal comma" if comma else f"'{text}' is not a number"
            hint = "use a decimal point, such as 12.5" if comma else ""
            _note(raw, column, i, "comma" if comma else "number", said, hint, findings)
        else:
            values[i] = offset + factor * number
    low, high = bounds
    slack = 1e-6 * max(high - low, 1.0)
    for k in np.flatnonzero((values < low - slack) | (values > high + slack)).tolist():
        said = f"'{column.cells[k].strip()}' is out of range"
        _note(raw, column, k, "range", said, limits, findings)
    clipped: Array = np.clip(values, low, high)
    return clipped


def _note(raw: Raw, column: Column, i: int, kind: str, said: str, hint: str, findings: Findings) -> None:
    findings.add(kind, said, raw.lines[i], column.at(i), column.title, hint)


def _step(raw: Raw, findings: Findings) -> float:
    """Step of the file [s]: that of its times, an hour without them."""
    count = len(raw.lines)
    if count < 2:
        findings.add("rows", "has only one row", raw.lines[0])
        return HOUR
    if raw.seconds is None:
        _count_is_of_hours(raw, findings)
        return HOUR
    gaps = np.diff(np.array(raw.seconds))
    if raw.cycle:
        gaps = np.mod(gaps, raw.cycle)
    step = float(np.median(gaps))
    if not SHORTEST - 1.0 <= step <= LONGEST + 1.0:
        said = f"a step of {_span(step)} from row to row" if step > 0 else "the times do not increase"
        findings.add("step", said, raw.lines[0], hint="from 15 min to 3 h")
        return HOUR
    for i in np.flatnonzero(np.abs(gaps - step) > 1.0):
        gap = float(gaps[i])
        line = raw.lines[int(i) + 1]
        if gap <= 0.0:
            findings.add("order", "the time is not after that of the row before", line)
        else:
            said = f"{_span(gap)} after the row before, where others are {_span(step)} apart"
            findings.add("gap", said, line, hint="fill missing rows, and take out summer time")
    return round(step)


def _count_is_of_hours(raw: Raw, findings: Findings) -> None:
    """Without times, rows are hours: then they fill whole days, and one year at most."""
    count = len(raw.lines)
    if count > _YEAR_ROWS:
        said = f"has {count} rows and no column of time, and a year has 8760 hours"
        findings.add("count", said, hint="add a column 'time', such as 2025-07-01 13:00")
    elif count % 24:
        said = f"has {count} rows and no column of time, which are not whole days of hours"
        findings.add("count", said, hint="a row is missing or too many; a year has 8760 hours")


def _span(seconds: float) -> str:
    if abs(seconds) < HOUR:
        return f"{seconds / 60.0:.4g} min"
    return f"{seconds / HOUR:.4g} h" if abs(seconds) < 2 * DAY else f"{seconds / DAY:.4g} days"


# -- stages --------------------------------------------------------------------------------------------------


def weather_stages(
    given: WeatherStage, name: str, pressure: float, place: Location, base: Path, reader: Reader
) -> tuple[Stage, ...]:
    """One stage for each step of a weather file, all of one name; () with a problem."""
    path = base / given.weather
    if not is_file(path):
        reader.refuse((*place, "weather"), "there is no such file", "paths are relative to the project file")
        return ()
    columns = given.columns
    pairs = {} if columns is None else {k: getattr(columns, k) for k in ("temperature", "humidity", "time")}
    try:
        given_columns = {k: v for k, v in pairs.items() if v is not None}
        climate = read_climate(path, given_columns, reader.contents.read)
    except InputError as error:
        reader.problems += [p for p in error.problems if p not in reader.problems]
        return ()
    first = _first(given, climate, place, reader)
    lasts = given.duration.value if given.duration else climate.length
    count = math.ceil(lasts / climate.step * (1.0 - 1e-12))
    if count > MOST_ROWS:
        reader.refuse(
            (*place, "duration"), f"is more than {MOST_ROWS} steps of the weather file", "shorten it"
        )
        return ()
    if count > len(climate.temperature) and climate.length % DAY:
        reader.refuse(
            (*place, "duration"),
            f"is longer than the weather file, which repeats; its {_span(climate.length)} are not whole days",
            "cut the file to whole days",
        )
        return ()
    if first is None:
        return ()
    temperature, humidity = _inside(given, climate, name, reader)
    order = (first + np.arange(count)) % len(temperature)
    widths = np.full(count, climate.step)
    widths[-1] = lasts - climate.step * (count - 1)
    _say(given, climate, name, temperature[order], humidity[order], reader)
    rows = zip(widths.tolist(), temperature[order].tolist(), humidity[order].tolist(), strict=True)
    return tuple(Stage(name, width, t, a, pressure) for width, t, a in rows)


def _first(given: WeatherStage, climate: Climate, place: Location, reader: Reader) -> int | None:
    """Index of the step at which the storage begins."""
    start = given.start
    if start is None:
        return 0
    if isinstance(start, tuple):
        if climate.first is None:
            reader.refuse(
                (*place, "start"),
                "the weather file has no dates",
                "give the time from the beginning of the file, such as '4344 h'",
            )
            return None
        month, day = start
        date = datetime(climate.first.year, month, day)
        if date < climate.first:
            date = date.replace(year=date.year + 1)
        offset = (date - climate.first).total_seconds()
    else:
        offset = start.value
    if offset >= climate.length:
        reader.refuse((*place, "start"), "is not in the weather file", f"it lasts {_span(climate.length)}")
        return None
    return int(offset / climate.step + 1e-9)


def _inside(given: WeatherStage, climate: Climate, name: str, reader: Reader) -> tuple[Array, Array]:
    """Temperature and humidity around the package: those of the file, or those of a building in it."""
    if given.damping is None:
        return climate.temperature, climate.humidity
    air = damped(climate.temperature, climate.humidity, climate.step, given.damping.value)
    if air.capped:
        reader.warn(
            f"stage '{name}': the air of the building would be above 100 % humidity in {air.capped} of "
            f"{len(air.humidity)} steps, and is taken as 100 % there (condensation is not modelled)"
        )
    return air.temperature, air.humidity


def _say(
    given: WeatherStage, climate: Climate, name: str, temperature: Array, humidity: Array, reader: Reader
) -> None:
    low, high = temperature.min() - ZERO_CELSIUS, temperature.max() - ZERO_CELSIUS
    mean = temperature.mean() - ZERO_CELSIUS
    equal = effective_temperature(temperature, _TYPICAL_ENERGY) - ZERO_CELSIUS
    follows = f", damped with a time constant of {given.damping.text.strip()}" if given.damping else ""
    repeats = " The file repeats." if len(temperature) > len(climate.temperature) else ""
    reader.assume(
        f"Stage '{name}' follows {Path(given.weather).name} in steps of {_span(climate.step)}{follows}: "
        f"{low:.1f} to {high:.1f} degC, mean {mean:.1f} degC ({equal:.1f} degC has the same mean rate at "
        f"40 kJ/mol), {100 * humidity.min():.0f} to {100 * humidity.max():.0f} % humidity.{repeats} "
        "Its rows in the tables are means over the steps, weighted by time."
    )

"""``storage``: a stage of constant surroundings, or one that follows a weather file."""

from __future__ import annotations

import re
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, PlainValidator

from optimizer.project.base import Group, fault, shown
from optimizer.project.fields import (
    WARMEST,
    Duration,
    FileName,
    Humidity,
    Temperature,
    Word,
    quantity,
    take,
    word,
)
from optimizer.project.json_kinds import word_shape
from optimizer.project.weather_raw import UNIT_EXAMPLES, Heading, unit_scale
from optimizer.units import Quantity

Air = Annotated[
    Quantity,
    quantity("pressure", "1 atm", least=1e4, most=1.2e5, limits="air pressure, from 0.1 to 1.2 bar"),
]

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_DATE = re.compile(r"(?:(\d{1,2})\.?\s+)?([A-Za-z]{3,})")
_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


#: Hottest process that a packed product goes through [K]: 150 degC (common practice, no source).
_HOTTEST = 423.15


def _no_process(value: Any) -> Any:
    """A retort or a hot filling is no storage, and what it does to the walls is not modelled."""
    if isinstance(value, str) and WARMEST + 1e-6 < take(value, "temperature", "23 degC").value <= _HOTTEST:
        raise fault(
            f"{shown(value)} is hotter than any storage, from -30 degC to 80 degC",
            "leave a retort or hot filling out of the storage: what it does to the walls is not modelled, "
            "and EVOH and polyamides let more oxygen through for weeks after a retort; see docs/cautions.md",
        )
    return value


class Stage(Group):
    name: Word | None = None
    duration: Duration
    temperature: Annotated[Temperature, BeforeValidator(_no_process)]
    humidity: Humidity
    pressure: Air | None = None
    example: ClassVar[dict[str, str]] = {
        "duration": "4 months",
        "temperature": "23 degC",
        "humidity": "50 %",
        "name": "warehouse",
    }


class _Column(Group):
    name: Word
    unit: Word | None = None
    example: ClassVar[dict[str, str]] = {"name": "T_air", "unit": "degC"}


def _heading(kind: str) -> PlainValidator:
    """A heading of the weather file: its text, or with the unit that it lacks."""

    def check(value: Any) -> Heading:
        if not isinstance(value, dict):
            return Heading(word(value))
        column = _Column.model_validate(value)
        if column.unit is not None and unit_scale(column.unit, kind) is None:
            raise fault(
                f"{shown(column.unit)} is not a unit of {kind} that is known here",
                f"for example '{UNIT_EXAMPLES[kind]}'",
            )
        return Heading(column.name, column.unit or "")

    return PlainValidator(check, json_schema_input_type=str | _Column)


class Columns(Group):
    """Which columns of the weather file to read, where the headings do not say so."""

    temperature: Annotated[Heading | None, _heading("temperature")] = None
    humidity: Annotated[Heading | None, _heading("humidity")] = None
    time: Annotated[Heading | None, _heading("time")] = None
    example: ClassVar[dict[str, str]] = {"temperature": '"Dry-bulb (C)"', "humidity": '"RHum (%)"'}


def _start(value: Any) -> tuple[int, int] | Quantity:
    """(month, day), or the time after the beginning of the file."""
    match = _DATE.fullmatch(value.strip()) if isinstance(value, str) else None
    names = [m for m in MONTHS if match and m.lower().startswith(match[2].lower())]
    if match is None or not names:
        return take(value, "duration", "1 July", least=0.0, limits="at least 0")
    month, day = MONTHS.index(names[0]) + 1, int(match[1] or 1)
    if not 1 <= day <= _DAYS[month - 1]:
        raise fault(f"{shown(value)} is not a date", f"{names[0]} has {_DAYS[month - 1]} days here")
    return month, day


class WeatherStage(Group):
    """weather: file relative to the project file. damping: time constant of a building. start: where in the
    file the storage begins."""

    name: Word | None = None
    weather: FileName
    duration: Duration | None = None
    damping: Duration | None = None
    start: Annotated[Any, PlainValidator(_start, json_schema_input_type=word_shape())] = None
    columns: Columns | None = None
    pressure: Air | None = None
    example: ClassVar[dict[str, str]] = {
        "name": "depot",
        "weather": "depot.csv",
        "duration": "1 year",
        "damping": "12 h",
        "start": "1 July",
        "columns": '{temperature: "Dry-bulb (C)", humidity: "RHum (%)"}',
    }


def stage_kind(value: Any) -> type[Group]:
    """Which of the two a stage is, from its keys."""
    if not isinstance(value, dict) or "weather" not in value:
        return Stage
    for key in ("temperature", "humidity"):
        if key in value:
            raise fault(
                f"has both 'weather' and '{key}'",
                "the weather file has its own temperature and humidity; remove one",
            )
    return WeatherStage

"""Weather as CSV: columns found by their headings, which carry the units."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, timedelta

from optimizer.constants import DAY
from optimizer.project.sheet import Findings, Sheet, read_sheet
from optimizer.project.suggest import did_you_mean
from optimizer.project.weather_raw import (
    HOUR,
    UNIT_EXAMPLES,
    Calendar,
    Column,
    Heading,
    Raw,
    Scale,
    unit_scale,
)

_NAMES = {
    "temperature": {"temperature", "temp", "air temperature", "air temp", "dry bulb", "dry bulb temperature",
                    "outdoor temperature", "t"},
    "humidity": {"humidity", "relative humidity", "rel humidity", "rh", "rhum", "air humidity"},
    "time": {"time", "date", "datetime", "date time", "timestamp", "hour", "hours"},
}  # fmt: skip
_MARK = re.compile(r"[\s_\-./]+")


def read_csv(lines: list[str], wanted: Mapping[str, Heading], tmy3: bool, findings: Findings) -> Raw | None:
    sheet = read_sheet(lines, findings, 2 if tmy3 else 1)
    if sheet is None or findings.found:
        return None
    picked = {kind: _pick(sheet, kind, wanted.get(kind), findings) for kind in ("temperature", "humidity")}
    temperature, humidity = (_column(sheet, kind, at, findings) for kind, at in picked.items())
    if temperature is None or humidity is None:
        return None
    if tmy3:
        return _tmy3_clock(sheet, temperature, humidity, findings)
    return _clock(sheet, wanted.get("time"), temperature, humidity, findings)


def split_heading(heading: str, kind: str) -> tuple[str, str]:
    """Name and unit of a heading such as 'temperature degC' or 'RHum (%)'; unit '' where it has none."""
    match = re.fullmatch(r"(.*?)\s*[(\[]\s*([^()\[\]]*?)\s*[)\]]", heading)
    if match:
        return match[1], match[2]
    for cut in re.finditer(r"[\s_/,]+|(?=%)", heading):
        if heading[: cut.start()] and unit_scale(heading[cut.end() :], kind):
            return heading[: cut.start()], heading[cut.end() :]
    return heading, ""


def _plain(heading: str) -> str:
    return " ".join(heading.casefold().split())


def _named(heading: str, kind: str) -> bool:
    name = split_heading(heading, kind)[0]
    return _MARK.sub(" ", name.casefold()).strip() in _NAMES[kind]


def _pick(sheet: Sheet, kind: str, wanted: Heading | None, findings: Findings) -> tuple[int, str] | None:
    """Index of the column of ``kind`` and its unit."""
    key = f"columns.{kind}"
    if wanted is not None:
        hits = [i for i, h in enumerate(sheet.headings) if _plain(h) == _plain(wanted.name)]
    else:
        hits = [i for i, h in enumerate(sheet.headings) if _named(h, kind)]
    if len(hits) == 1:
        heading = sheet.headings[hits[0]]
        return hits[0], (wanted.unit if wanted and wanted.unit else split_heading(heading, kind)[1])
    if len(hits) > 1:
        names = " and ".join(f"'{sheet.headings[i]}'" for i in hits[:2])
        hint = f"say which under 'columns' of the stage, {{{kind}: ...}}"
        findings.add(key, f"has two columns of {kind}, {names}", sheet.head, 1, hint=hint)
    elif wanted is not None:
        hint = did_you_mean(wanted.name, [h for h in sheet.headings if h], "headings")
        findings.add(key, f"has no column '{wanted.name}'", sheet.head, 1, hint=hint)
    else:
        unit = UNIT_EXAMPLES[kind]
        hint = f"call it '{kind} {unit}', or name it under 'columns' of the stage"
        findings.add(key, f"has no column of {kind}", sheet.head, 1, hint=hint)
    return None


def _column(sheet: Sheet, kind: str, picked: tuple[int, str] | None, findings: Findings) -> Column | None:
    if picked is None:
        return None
    index, unit = picked
    heading = sheet.headings[index]
    scale = unit_scale(unit, kind)
    if scale is None:
        said = f"'{unit}' is no unit of {kind}" if unit else "has no unit"
        name = split_heading(heading, kind)[0]
        example = UNIT_EXAMPLES[kind]
        hint = (
            f"call it '{name} {example}', or give the unit under 'columns' of the stage: "
            f'{{{kind}: {{name: "{heading}", unit: "{example}"}}}}'
        )
        findings.add("unit", said, sheet.head, sheet.column(sheet.head, index), heading, hint)
        return None
    return Column(
        heading,
        [row[index] for row in sheet.rows],
        scale,
        lambda i: sheet.column(sheet.numbers[i], index),
        -9900.0,
    )


def _clock(
    sheet: Sheet, wanted: Heading | None, temperature: Column, humidity: Column, findings: Findings
) -> Raw | None:
    """With the times of the file's own column, or without times where it has none."""
    own = [i for i, h in enumerate(sheet.headings) if _named(h, "time")]
    simple = Raw(temperature, humidity, sheet.numbers)
    if wanted is None and not own:
        return simple
    names = {_plain(sheet.headings[i]): i for i in own}
    if wanted is None and set(names) == {"date", "time"}:
        index, unit = names["date"], ""
        texts = [f"{row[index]} {row[names['time']]}" for row in sheet.rows]
    else:
        picked = _pick(sheet, "time", wanted, findings)
        if picked is None:
            return None
        index, unit = picked
        texts = [row[index] for row in sheet.rows]
    heading = sheet.headings[index]
    unit = unit or ("h" if _plain(heading) in ("hour", "hours") else "")
    scale = unit_scale(unit, "time")
    times: list[float | datetime] = []
    for n, text in zip(sheet.numbers, texts, strict=True):
        moment = _moment(text, scale)
        if moment is None:
            hint = f"a number of {unit}" if scale else "such as 2025-07-01 13:00"
            findings.add("time", f"'{text}' is no time", n, sheet.column(n, index), heading, hint)
        else:
            times.append(moment)
    if len(times) < len(texts):
        return None
    first = times[0]
    if not isinstance(first, datetime):
        numbers = [t for t in times if isinstance(t, float)]
        of_day = unit == "h" and max(numbers) <= DAY and len(numbers) > 25
        return Raw(temperature, humidity, sheet.numbers, numbers, DAY if of_day else 0.0)
    dates = [t for t in times if isinstance(t, datetime)]
    if len({t.tzinfo is None for t in dates}) > 1:
        findings.add("zone", "some times have a time zone and some have none", sheet.head, 1, heading)
        return None
    seconds = [(t - first).total_seconds() for t in dates]
    return Raw(temperature, humidity, sheet.numbers, seconds, 0.0, first.replace(tzinfo=None))


def _moment(text: str, scale: Scale | None) -> float | datetime | None:
    """A number in the unit of its column [s], or a date with its time; 24:00 is 0:00 of the next day."""
    try:
        if scale is not None:
            return None if "_" in text else float(text) * scale.factor
        if " 24:" in text:
            return datetime.fromisoformat(text.replace(" 24:", " 00:")) + timedelta(days=1)
        return datetime.fromisoformat(re.sub(r" (\d:)", r" 0\1", text))
    except (ValueError, OverflowError):
        return None


#: Columns of date and time of a TMY3 file.
TMY3_CLOCK = ("Date (MM/DD/YYYY)", "Time (HH:MM)")


def _tmy3_clock(sheet: Sheet, temperature: Column, humidity: Column, findings: Findings) -> Raw | None:
    for heading in TMY3_CLOCK:
        if heading not in sheet.headings:
            findings.add(heading, f"has no column '{heading}'", sheet.head, 1)
    if any(heading not in sheet.headings for heading in TMY3_CLOCK):
        return None
    date, time = (sheet.headings.index(heading) for heading in TMY3_CLOCK)
    clock = Calendar(findings)
    for n, row in zip(sheet.numbers, sheet.rows, strict=True):
        month, _, rest = row[date].partition("/")
        hour, _, minute = row[time].partition(":")
        clock.add(n, month, rest.partition("/")[0], hour, "60" if minute == "00" else "", HOUR)
    return clock.raw(temperature, humidity, sheet.numbers)

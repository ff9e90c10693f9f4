"""Files of hourly weather as columns of text: CSV of one's own, and the open formats of weather offices.

Every reader gives the same ``Raw``; whether the numbers make sense is judged in ``weather``. The columns of
EPW (fields 7 and 9 behind 8 header lines), TMY3 ("Dry-bulb (C)", "RHum (%)", two header lines) and TMY2
(dry bulb in characters 68 to 71 in tenths, humidity in 80 to 82) are those of the formats' manuals.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from optimizer.project.sheet import Findings
from optimizer.project.weather_csv import read_csv
from optimizer.project.weather_raw import HOUR, Calendar, Column, Heading, Raw, Scale

_CELSIUS, _TENTHS, _PERCENT = Scale(1.0, 273.15), Scale(0.1, 273.15), Scale(0.01, 0.0)


def read_raw(content: bytes, suffix: str, wanted: Mapping[str, Heading], findings: Findings) -> Raw | None:
    """Columns of a weather file; what is wrong goes to ``findings``, and None is returned.

    suffix: of the file's name. wanted: 'temperature', 'humidity', 'time' -> heading to read.
    """
    try:
        text, utf8 = content.decode("utf-8-sig"), True
    except UnicodeDecodeError:
        text, utf8 = content.decode("latin-1"), False
    lines = [line.rstrip("\r") for line in text.split("\n")]
    form = _format(lines, suffix.lower())
    if form in ("EPW", "TMY2"):
        if wanted:
            findings.add(
                "columns", f"is {form} with its fixed columns", hint="remove 'columns' from the stage"
            )
            return None
        return _epw(lines, findings) if form == "EPW" else _tmy2(lines, findings)
    if form != "TMY3" and (not utf8 or "\0" in text):
        findings.add("text", "the file is not UTF-8 text", hint="save it as 'CSV UTF-8'")
        return None
    return read_csv(lines, wanted, form == "TMY3", findings)


def _format(lines: list[str], suffix: str) -> str:
    second = lines[1] if len(lines) > 1 else ""
    if suffix == ".epw" or lines[0].startswith("LOCATION,"):
        return "EPW"
    if suffix in (".tm2", ".tmy2") or (len(second) > 120 and second[1:60].replace("?", "0").isdigit()):
        return "TMY2"
    if "Date (MM/DD/YYYY)" in second and "Dry-bulb (C)" in second:
        return "TMY3"
    return "CSV"


def _epw(lines: list[str], findings: Findings) -> Raw | None:
    header = {line.split(",")[0].strip().upper(): line for line in lines[:8]}
    period = header.get("DATA PERIODS", "").split(",")
    if "LOCATION" not in header or len(period) < 3 or not period[2].strip().isdecimal():
        hint = "such a file starts with 8 lines, LOCATION to DATA PERIODS"
        findings.add("header", "is no EPW file", line=1, hint=hint)
        return None
    step = HOUR / max(int(period[2]), 1)
    numbers = [n for n, line in enumerate(lines, 1) if n > 8 and line.strip()]
    rows = [lines[n - 1].split(",") for n in numbers]
    short = [n for n, row in zip(numbers, rows, strict=True) if len(row) < 9]
    for n in short:
        findings.add("short", "the row has fewer than 9 fields", line=n)
    if not rows:
        hint = "one for every hour after the 8 lines of its head"
        findings.add("rows", "has no rows", line=len(lines), hint=hint)
    if short or not rows:
        return None
    clock = Calendar(findings)
    for n, row in zip(numbers, rows, strict=True):
        minute = row[4] if step < HOUR else "60"
        clock.add(n, row[1], row[2], row[3], minute, step)

    def place(k: int) -> Callable[[int], int]:
        return lambda i: sum(len(cell) + 1 for cell in rows[i][:k]) + 1

    return clock.raw(
        Column("dry bulb temperature", [r[6] for r in rows], _CELSIUS, place(6), 99.9),
        Column("relative humidity", [r[8] for r in rows], _PERCENT, place(8), 999.0),
        numbers,
    )


def _tmy2(lines: list[str], findings: Findings) -> Raw | None:
    numbers = [n for n, line in enumerate(lines, 1) if n > 1 and line.strip()]
    rows = [lines[n - 1] for n in numbers]
    for n, row in zip(numbers, rows, strict=True):
        if len(row) < 82:
            findings.add("short", "the row has fewer than 82 characters", line=n)
    if not rows:
        findings.add("empty", "has no rows", hint="such a file has one header line and then 8760 rows")
    if findings.found:
        return None
    clock = Calendar(findings)
    for n, row in zip(numbers, rows, strict=True):
        clock.add(n, row[3:5], row[5:7], row[7:9], "60", HOUR)
    return clock.raw(
        Column("dry bulb temperature", [r[67:71] for r in rows], _TENTHS, lambda i: 68, 9999.0),
        Column("relative humidity", [r[79:82] for r in rows], _PERCENT, lambda i: 80, 999.0),
        numbers,
    )

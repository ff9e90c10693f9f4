"""Tables of measured wall thickness as CSV: columns found by their headings, which carry the units.

Three kinds: ``height`` and ``thickness`` (a section cut along the axis), ``height``, ``angle`` and
``thickness`` (a gauge on a turntable), or ``x``, ``y``, ``z`` and ``thickness`` (points in the coordinates of
the mesh). Comma, semicolon or tab between cells; decimal points.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import InputError, Problem, UnitError
from optimizer.project.sheet import Findings, Sheet, read_sheet
from optimizer.project.suggest import did_you_mean
from optimizer.units import read
from optimizer.units.plausible import BOUNDS
from optimizer.units.write import number_text

Array = NDArray[np.float64]

#: Columns of each kind of table, without the thickness.
KINDS = (("height",), ("height", "angle"), ("x", "y", "z"))
#: A file longer than this is no table of thickness [bytes].
MOST_BYTES = 60_000_000

_COLUMNS = ("height", "angle", "x", "y", "z", "thickness")
_OTHER_NAMES = {"wall thickness": "thickness"}
#: Angles are not among the units of the project file: degrees and radians by name.
_ANGLES = {
    "deg": math.pi / 180, "degree": math.pi / 180, "degrees": math.pi / 180, "°": math.pi / 180,
    "rad": 1.0, "radian": 1.0, "radians": 1.0,
}  # fmt: skip
_EXAMPLES = {"angle": "deg", "thickness": "um"}
#: No angle of a gauge turns farther than this [rad]; degrees under a heading in rad do.
MOST_RADIANS = 4 * math.pi
#: Nor farther than this, counted on over all turns [deg].
MOST_DEGREES = 360_000.0
#: Fewest rows for one, two and three columns of places: a line needs two points, a surface three.
_LEAST_ROWS = {1: 2, 2: 3, 3: 3}


@dataclass(frozen=True)
class ThicknessTable:
    """A table as read. columns: as in ``KINDS``; places: (n, len(columns)) [m], angles [rad]; thickness: (n,)
    [m]; ignored: headings of columns that are not used."""

    name: str
    columns: tuple[str, ...]
    places: Array
    thickness: Array
    ignored: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Column:
    """index: which column of the file; scale: SI value of one unit."""

    name: str
    index: int
    scale: float


def read_thickness(path: Path, read: Callable[[Path], bytes] = Path.read_bytes) -> ThicknessTable:
    """The table of local thickness at ``path``; ``read`` gives its bytes.

    Raises InputError with every kind of problem of each column, at the first place where it occurs.
    """
    if path.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise InputError(Problem("is a workbook", str(path), hint="save the sheet as 'CSV UTF-8'"))
    findings = Findings(str(path))
    sheet = read_sheet([line.rstrip("\r") for line in _text(path, read).split("\n")], findings)
    columns = () if sheet is None else _columns(sheet, findings)
    if sheet is None or not columns:
        raise InputError(findings.problems())
    values = np.array([_numbers(sheet, c, findings) for c in columns]).reshape(len(columns), -1)
    _rows_suffice(sheet, len(columns) - 1, findings)
    _places_differ(sheet, columns, values, findings)
    if findings.found:
        raise InputError(findings.problems())
    used = {c.index for c in columns}
    ignored = tuple(h for i, h in enumerate(sheet.headings) if i not in used)
    places, thickness = values[:-1].T, values[-1]
    return ThicknessTable(path.name, tuple(c.name for c in columns[:-1]), places, thickness, ignored)


def _text(path: Path, read: Callable[[Path], bytes]) -> str:
    try:
        content = read(path)
    except OSError as error:
        raise InputError(Problem(f"cannot be read: {error.strerror}", str(path))) from None
    if len(content) > MOST_BYTES:
        raise InputError(
            Problem(f"is {len(content)} bytes long, too long for a table of thickness", str(path))
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        hint = "save it as 'CSV UTF-8'"
        raise InputError(Problem("the file is not UTF-8 text", str(path), hint=hint)) from None


# -- headings ------------------------------------------------------------------------------------------------


def _columns(sheet: Sheet, findings: Findings) -> tuple[_Column, ...]:
    """The columns of places, then that of the thickness; () with a problem in the headings."""
    found: dict[str, list[int]] = {}
    for index, heading in enumerate(sheet.headings):
        name = _split(heading)[0]
        if name in _COLUMNS:
            found.setdefault(name, []).append(index)
    wanted = _kind(sheet, found, findings)
    columns = []
    for name in (*wanted, "thickness"):
        if len(found.get(name, [])) > 1:
            names = " and ".join(f"'{sheet.headings[i]}'" for i in found[name][:2])
            said = f"has two columns of {name}, {names}"
            _say(sheet, found[name][1], said, "keep one of them", findings)
        elif name in found:
            columns.append(_column(sheet, name, found[name][0], findings))
        else:
            example = f"{name} {_EXAMPLES.get(name, 'mm')}"
            near = did_you_mean(name, [h for h in sheet.headings if _split(h)[0] not in _COLUMNS], "")
            hint = near if near.startswith("did") else f"call it '{example}'"
            findings.add(f"no {name}", f"has no column of {name}", sheet.head, 1, hint=hint)
    complete = len(columns) == len(wanted) + 1 and wanted
    return tuple(c for c in columns if c is not None) if complete and None not in columns else ()


def _kind(sheet: Sheet, found: Mapping[str, Sequence[int]], findings: Findings) -> tuple[str, ...]:
    """Which of KINDS the headings make, () with a problem."""
    axes, along = [n for n in ("x", "y", "z") if n in found], [n for n in ("height", "angle") if n in found]
    if axes and along:
        first, second = found[along[0]][0], found[axes[0]][0]
        said = f"has both '{sheet.headings[first]}' and '{sheet.headings[second]}'"
        _say(sheet, second, said, "a place is a height, a height and an angle, or x, y and z", findings)
        return ()
    if axes:
        return KINDS[2]
    if along:
        return KINDS[1] if "angle" in found else KINDS[0]
    hint = "one of 'height mm', 'height mm, angle deg', or 'x mm, y mm, z mm', and then 'thickness um'"
    said = "has no column that says where a thickness was measured"
    findings.add("place", said, sheet.head, 1, hint=hint)
    return ()


def _split(heading: str) -> tuple[str, str]:
    """Name and unit of a heading such as 'height mm', 'Thickness (um)' or 'x [mm]'; '' where it has none."""
    match = re.fullmatch(r"(.*?)\s*[(\[]\s*([^()\[\]]*?)\s*[)\]]", heading)
    text, unit = (match[1], match[2]) if match else (heading, "")
    words = [word for word in re.split(r"[\s_/,]+", text) if word]
    for last in range(len(words), 0, -1):
        name = " ".join(words[:last]).casefold()
        name = _OTHER_NAMES.get(name, name)
        if name in _COLUMNS:
            return name, unit or " ".join(words[last:])
    return " ".join(words).casefold(), unit


def _column(sheet: Sheet, name: str, index: int, findings: Findings) -> _Column | None:
    unit = _split(sheet.headings[index])[1]
    scale = _ANGLES.get(unit.casefold()) if name == "angle" else _metres(unit)
    if scale is not None:
        return _Column(name, index, scale)
    kind = "an angle" if name == "angle" else "a length"
    said = f"'{unit}' is no unit of {kind}" if unit else "has no unit"
    _say(sheet, index, said, f"call it '{name} {_EXAMPLES.get(name, 'mm')}'", findings)
    return None


def _metres(unit: str) -> float | None:
    if not unit or unit[0].isdigit():
        return None
    try:
        return read(f"1 {unit}", "length").value
    except UnitError:
        return None


def _say(sheet: Sheet, index: int, said: str, hint: str, findings: Findings) -> None:
    """A problem of a heading."""
    column = sheet.column(sheet.head, index)
    findings.add(said, said, sheet.head, column, sheet.headings[index], hint)


# -- rows ----------------------------------------------------------------------------------------------------


def _numbers(sheet: Sheet, column: _Column, findings: Findings) -> Array:
    """SI values (n,) of a column, nan where a cell is refused."""
    cells = [row[column.index] for row in sheet.rows]
    values = np.array([_number(text) for text in cells]).reshape(-1)
    refused = ~np.isfinite(values)
    if column.name == "thickness":
        refused |= values <= 0.0
    elif column.name == "height":
        refused |= values < 0.0
    elif column.name == "angle":
        refused |= np.abs(values) > (MOST_RADIANS if column.scale == 1.0 else MOST_DEGREES)
    low, high = BOUNDS["length"]
    sizes = np.abs(values) * column.scale
    if column.name != "angle":
        refused |= sizes > high
    if column.name == "thickness":
        refused |= sizes < low
    for i in np.flatnonzero(refused).tolist():
        kind, said, hint = _fault(column, cells[i], float(values[i]))
        line = sheet.numbers[i]
        place = sheet.column(line, column.index)
        findings.add(kind, said, line, place, sheet.headings[column.index], hint)
    values[refused] = np.nan
    if column.name not in ("angle", "thickness"):
        values[sizes < low] = 0.0  # the rounding of a drawing
    scaled: Array = values * column.scale
    return scaled


def _number(text: str) -> float:
    try:
        return math.nan if "_" in text else float(text)
    except ValueError:
        return math.nan


def _fault(column: _Column, text: str, number: float) -> tuple[str, str, str]:
    """What is wrong with a cell that is refused: its kind, in words, and what would be right."""
    name = column.name
    if text.strip("-").upper() in ("", "NA", "NAN"):
        return "missing", f"there is no value ('{text}')", "fill the gap, or take the row out"
    if math.isfinite(number) and name == "angle" and column.scale == 1.0:
        return "turns", f"'{text}' rad is more than two turns", "is it in degrees? then 'angle deg'"
    if math.isfinite(number) and name == "angle":
        return "range", f"'{text}' is out of range", f"from -{MOST_DEGREES:g} to {MOST_DEGREES:g} degrees"
    if math.isfinite(number) and (number > 0.0 or name in "xyz"):
        low, high = (number_text(bound / column.scale) for bound in BOUNDS["length"])
        low = {"thickness": low, "height": "0"}.get(name, f"-{high}")
        return "size", f"'{text}' must be between {low} and {high}", "in the unit of the heading"
    if math.isfinite(number):
        limits = "more than 0" if name == "thickness" else "at least 0: from the lowest point of the part"
        return "range", f"'{text}' is out of range", limits
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        return "comma", f"'{text}' has a decimal comma", "use a decimal point, such as 12.5"
    return "number", f"'{text}' is not a number", ""


def _rows_suffice(sheet: Sheet, dimensions: int, findings: Findings) -> None:
    least, count = _LEAST_ROWS[dimensions], len(sheet.rows)
    if 0 < count < least:
        said = f"has {count} row{'s' if count > 1 else ''}, and needs at least {least}"
        findings.add("rows", said, sheet.numbers[0], 1, hint="for one thickness write 'thickness: 480 um'")


def _places_differ(sheet: Sheet, columns: Sequence[_Column], values: Array, findings: Findings) -> None:
    """A place that stands twice has two thicknesses, or is a slip."""
    places = values[:-1].T.copy()
    for k, column in enumerate(columns[:-1]):
        if column.name == "angle":
            turns = np.round(places[:, k] / (2 * math.pi), 9)
            places[:, k] = turns - np.floor(turns)
    seen: dict[tuple[float, ...], int] = {}
    for line, row, place in zip(sheet.numbers, sheet.rows, places.tolist(), strict=True):
        if any(math.isnan(x) for x in place):
            continue
        first = seen.setdefault(tuple(place), line)
        if first != line:
            index = columns[0].index
            words = ", ".join(f"{c.name} {row[c.index]}" for c in columns[:-1])
            said = f"{words} stands twice, first on line {first}"
            hint = "keep one row for each place"
            findings.add("twice", said, line, sheet.column(line, index), sheet.headings[index], hint)

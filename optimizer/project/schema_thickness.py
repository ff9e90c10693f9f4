"""The key ``thickness`` of a part: one thickness, a table, the distance between two faces, or a process."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any, ClassVar

from pydantic import Field, PlainValidator
from pydantic_core import PydanticCustomError

from optimizer.project.base import Group, fault, shown
from optimizer.project.fields import Area, Length, Mass, choice, quantity, share_or_number, take
from optimizer.project.json_kinds import LENGTH_CELL, file_shape, quantity_shape, table_shape, text_shape
from optimizer.project.suggest import did_you_mean
from optimizer.units import Quantity

#: The word for the distance from one face of the wall to the other.
BETWEEN = "between faces"
_FILE = re.compile(r".*\.(csv|tsv|txt|xlsx|xls|ods)", re.IGNORECASE | re.DOTALL)
_HINT = "such as '480 um', a table 'local.csv', 'between faces', or {heights: [[0 mm, 600 um], ...]}"

Density = Annotated[Quantity, quantity("density", "1370 kg/m3", above=0.0, limits="more than 0")]
Radius = Annotated[Quantity, quantity("length", "5 mm", least=0.0, limits="at least 0 mm")]


_HEIGHT_ROWS = table_shape([LENGTH_CELL, LENGTH_CELL], "rows of height and thickness")
_ONE_LENGTH = quantity_shape("length", "3.6 mm", "more than 0")


@dataclass(frozen=True)
class TableFile:
    """A CSV file of local thickness, relative to the project file."""

    path: str


@dataclass(frozen=True)
class BetweenFaces:
    """From one face of the wall to the other, as drawn."""


class Heights(Group):
    """heights: rows of height above the lowest point of the part and thickness there [m]."""

    heights: Annotated[
        tuple[tuple[float, float], ...],
        PlainValidator(lambda v: _rows(v), json_schema_input_type=_HEIGHT_ROWS),
    ]
    example: ClassVar[dict[str, str]] = {"heights": "[[0 mm, 600 um], [20 mm, 350 um]]"}


class Preform(Group):
    """A preform or a parison that is blown up; thickness: one, or rows of height and thickness [m]."""

    thickness: Annotated[
        Any, PlainValidator(lambda v: _preform_wall(v), json_schema_input_type=_HEIGHT_ROWS | _ONE_LENGTH)
    ]
    diameter: Length
    length: Length | None = None
    support_ring: Length | None = None
    mass: Mass | None = None
    density: (
        Annotated[Quantity, quantity("density", "1370 kg/m3", above=0.0, limits="more than 0")] | None
    ) = None
    example: ClassVar[dict[str, str]] = {
        "thickness": "3.6 mm",
        "diameter": "22 mm",
        "length": "85 mm",
        "support_ring": "195 mm",
        "mass": "28 g",
        "density": "1370 kg/m3",
    }


class Sheet(Group):
    """A sheet that is drawn into a mould. plug_assist: from 0 (none) to 1 (an even wall)."""

    sheet: Length
    opening_area: Area | None = None
    free_sheet: Annotated[str, choice("dome", "flat")] = "dome"
    corner_radius: Annotated[Quantity, quantity("length", "5 mm", least=0.0, limits="at least 0")] | None = (
        None
    )
    plug_assist: Annotated[float, share_or_number(most=1.0, limits="from 0 to 1")] = 0.0
    example: ClassVar[dict[str, str]] = {
        "sheet": "800 um",
        "opening_area": "180 cm2",
        "free_sheet": "dome",
        "corner_radius": "5 mm",
        "plug_assist": "0.5",
    }


class Stretch(Group):
    stretch: Preform
    example: ClassVar[dict[str, str]] = {"stretch": "{diameter: 22 mm, thickness: 3.6 mm, length: 85 mm}"}


class DrawDown(Group):
    draw_down: Annotated[Sheet, Field(alias="draw-down")]
    example: ClassVar[dict[str, str]] = {"draw-down": "{sheet: 800 um}"}


Thickness = Quantity | TableFile | BetweenFaces | Heights | Stretch | DrawDown

#: Keys of a thickness that is a group, to what it is.
_GROUPS: dict[str, type[Heights] | type[Stretch] | type[DrawDown]] = {
    "heights": Heights,
    "stretch": Stretch,
    "draw-down": DrawDown,
}


def any_thickness(value: Any) -> Thickness:
    """Read the key; raises a fault that says what would be right."""
    if isinstance(value, dict):
        return _group(value)
    if isinstance(value, str):
        text = value.strip()
        if text.casefold().replace("-", " ").replace("_", " ") == BETWEEN:
            return BetweenFaces()
        if _FILE.fullmatch(text):
            return TableFile(text)
        if not re.match(r"[+-]?\.?\d", text):
            near = did_you_mean(text, [BETWEEN], "")
            raise fault(f"{shown(value)} is no thickness", near if near.startswith("did") else _HINT)
    return one_thickness(value)


AnyThickness = Annotated[
    Thickness,
    PlainValidator(
        any_thickness,
        json_schema_input_type=text_shape() | file_shape(number=False) | Heights | Stretch | DrawDown,
    ),
]


def flat_thickness(value: Any) -> Quantity:
    """Of a flat piece, which has one thickness."""
    made = any_thickness(value)
    if not isinstance(made, Quantity):
        raise fault("a flat piece has one thickness", "such as '480 um'")
    return made


def one_thickness(value: Any) -> Quantity:
    return take(value, "length", "480 um", above=0.0, limits="more than 0")


def _group(value: dict[str, Any]) -> Thickness:
    given = [key for key in _GROUPS if key in value]
    if len(given) > 1:
        raise fault(f"has both '{given[0]}' and '{given[1]}'", "keep one of them")
    if not given:
        near = next((k for k in value if did_you_mean(k, _GROUPS, "").startswith("did")), None)
        extra = f"; '{near}': {did_you_mean(near, _GROUPS)}" if near else ""
        hint = "a group here has one of: " + ", ".join(_GROUPS)
        raise fault("does not say how thick the wall is", hint + extra)
    return _GROUPS[given[0]].model_validate(value)


def _preform_wall(value: Any) -> Any:
    """One thickness [m], or rows of height and thickness [m]."""
    return _rows(value) if isinstance(value, list) else one_thickness(value).value


def _rows(value: Any) -> tuple[tuple[float, float], ...]:
    """Rows of height and thickness, each with its unit, as metres, lowest first; given so or upside down."""
    hint = "for example [[0 mm, 600 um], [20 mm, 350 um]]: height, thickness"
    if not isinstance(value, list) or len(value) < 2:
        raise fault("a table of at least two rows is expected here", hint)
    rows = []
    for i, row in enumerate(value, start=1):
        if not isinstance(row, list) or len(row) != 2:
            raise fault(f"row {i} is not a height and a thickness", hint)
        try:
            height = take(row[0], "length", "20 mm", least=0.0, limits="at least 0 mm", coordinate=True)
            rows.append((height.value, one_thickness(row[1]).value))
        except PydanticCustomError as error:
            said = error.context or {}
            raise fault(f"row {i}: {said.get('message', '')}", said.get("hint", "") or hint) from None
    falls = rows[1][0] < rows[0][0]
    for i, ((before, _), (after, _)) in enumerate(pairwise(rows), start=2):
        if after == before or (after < before) != falls:
            way = "below" if falls else "above"
            hint = "heights increase from row to row, or they decrease"
            raise fault(f"row {i} is not {way} the row before it", hint)
    return tuple(reversed(rows) if falls else rows)

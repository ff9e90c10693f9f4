"""The sheets of a project workbook, their columns and keys: for the one who reads it and the one who writes.

Two kinds of sheets. A ``KeySheet`` has one row for each key, with its value and unit. A ``TableSheet`` has
one row for each thing (a material, a layer); ``base`` says where in the project file the row stands, ``key``
of a column where in it the cell stands. The sheet ``More`` takes every key of the project file by its path.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from optimizer.constants import GASES, PERMEANTS
from optimizer.geometry.shapes import DIMENSIONS, SHAPES
from optimizer.project.source import Location

#: text; a number with its unit; a share, shown as a percentage; a bare number; yes or no; several words; a
#: unit of other columns; anything, as in the sheet More; a remark that is not read.
Kind = Literal["text", "quantity", "percent", "number", "flag", "words", "unit", "any", "remark"]

#: Units offered in a list beside a value; others that the program knows may be typed.
UNIT_LISTS: Mapping[str, tuple[str, ...]] = {
    "length": ("um", "mm", "cm", "m", "mil", "in"),
    "area": ("cm2", "m2", "mm2", "in2"),
    "volume": ("mL", "L", "cm3", "m3"),
    "mass": ("g", "kg", "mg", "lb"),
    "duration": ("days", "weeks", "months", "years", "h"),
    "temperature": ("degC", "degF", "K"),
    "pressure": ("atm", "bar", "mbar", "kPa", "psi", "mmHg"),
    "share": ("%",),
    "density": ("kg/m3", "g/cm3"),
    "price": ("EUR/kg", "EUR/m2", "USD/kg", "USD/lb", "USD/m2"),
    "price per area": ("EUR/m2", "USD/m2"),
    "grammage": ("g/m2",),
    "energy": ("kJ/mol", "kcal/mol"),
    "oxygen gain": ("mg/kg", "ppm"),
    "concentration": ("mg/L", "mg/kg"),
    "oxygen use": ("1/day", "mg/day", "mg/(kg*day)", "mg/(L*day)"),
    "wall mass": ("g/m2", "g"),
    "difference": ("K",),
    "permeability": (
        "cm3*mm/(m2*day*atm)",
        "cm3*um/(m2*day*bar)",
        "cm3*mil/(100 in2*day*atm)",
        "cm3/(m2*day*atm)",
        "cm3/(m2*day*bar)",
        "g*mm/(m2*day)",
        "g*mil/(100 in2*day)",
        "g/(m2*day)",
        "m2/s",
        "cm2/s",
    ),
    "transmission": ("cm3/day", "cm3/(day*atm)", "mg/day", "g/day", "g/(day*kPa)"),
    "specification": ("cm3/(m2*day*atm)", "cm3/(m2*day)", "cm3/day", "cm3/(day*atm)", "g/(m2*day)", "g/day"),
}

#: Words offered in a list, by the name of the list; ``materials``, ``walls`` and ``parts`` are of the
#: workbook.
WORD_LISTS: Mapping[str, tuple[str, ...]] = {
    "yes or no": ("yes", "no"),
    "gases": PERMEANTS,
    "dry gases": GASES,
    "shapes": tuple(SHAPES),
    "dimensions": DIMENSIONS,
    "properties": ("permeability", "permeance", "diffusivity"),
    "closures": ("pinhole", "gasket", "o_ring", "seal_edge", "valve"),
    "headspace walls": ("rigid", "flexible"),
    "wall models": ("auto", "steady", "transient"),
    "dissolves": ("water", "oil", "nothing"),
    "orders": ("0", "1", "michaelis-menten"),
    "isotherms": ("GAB", "Oswin", "Henderson"),
    "goals": ("cost", "mass", "thickness"),
    "faces": ("seal", "print", "core", "barrier", "any"),
    "contact": ("listed", "any"),
    "bonding": ("table", "any"),
    "up": ("x", "y", "z", "-x", "-y", "-z"),
    "mesh units": ("mm", "cm", "m", "in"),
}


#: A step of a column's key: not in the entry of the row, but in what that is in.
UP = ".."


@dataclass(frozen=True)
class Column:
    """title: the heading. key: path of its cells from the entry of the row on. unit: title of the column with
    the unit. units, words: name of the list offered. meaning: what goes there."""

    title: str
    key: Location = ()
    kind: Kind = "text"
    meaning: str = ""
    unit: str = ""
    units: str = ""
    words: str = ""


@dataclass(frozen=True)
class Named:
    """A step of a base: the name in the column ``title``. In a list it is the entry of that name."""

    title: str


class Next:
    """A step of a base: one more entry of a list."""


@dataclass(frozen=True)
class TableSheet:
    """carry: columns in which an empty cell means 'as in the row above'. twice: whether a name may stand in
    several rows. once: a column whose names stand in one row each, though the entries are a list. rare:
    columns that are folded away while nothing stands in them."""

    name: str
    about: str
    base: tuple[str | Named | type[Next], ...]
    columns: tuple[Column, ...]
    carry: tuple[str, ...] = ()
    twice: bool = True
    once: str = ""
    rare: tuple[str, ...] = ()

    def column(self, title: str) -> Column:
        return next(column for column in self.columns if column.title == title)


@dataclass(frozen=True)
class Item:
    """A key with a row of its own. path: behind the prefix of the sheet; '*' stands for any name, ``names``
    are those offered. several: a list, one row for each of its entries."""

    path: tuple[str, ...]
    kind: Kind
    meaning: str
    units: str = ""
    words: str = ""
    names: tuple[str, ...] = ()
    several: bool = False

    def fits(self, path: Location) -> bool:
        return len(path) == len(self.path) and all(
            a in ("*", b) for a, b in zip(self.path, path, strict=True)
        )


@dataclass(frozen=True)
class KeySheet:
    """``prefix`` stands before the path of each row."""

    name: str
    about: str
    prefix: tuple[str, ...]
    items: tuple[Item, ...] = ()

    def item(self, path: Location) -> Item | None:
        """The item of a whole path; None for a key without one."""
        rest = path[len(self.prefix) :]
        return next((item for item in self.items if item.fits(rest)), None)


#: Columns of every ``KeySheet``.
KEY, VALUE, UNIT, MEANING = "key", "value", "unit", "meaning"
KEY_COLUMNS = (
    Column(KEY, meaning="Key of the project file; do not change the keys that are there"),
    Column(VALUE, kind="any", unit=UNIT, meaning="A number, with its unit beside it, or a word"),
    Column(UNIT, kind="unit", meaning="Unit of the number; empty for a word and for a bare number"),
    Column(MEANING, kind="remark", meaning="What the key means; not read"),
)
#: Headings of columns for notes of one's own, which are not read.
REMARKS = ("meaning", "note", "notes", "remark", "remarks", "comment", "comments")
#: Sheets that are not read.
NOT_READ = ("start", "units", "lists")


def item(path: str, kind: Kind, meaning: str, lists: str = "", **more: object) -> Item:
    """An ``Item``; ``lists`` names the units of a quantity, or the words of a text."""
    offered = {"units": lists} if kind == "quantity" else {"words": lists}
    return Item(tuple(path.split(".")), kind, meaning, **{**offered, **more})  # type: ignore[arg-type]


def measured(title: str, meaning: str, units: str, *key: str | int) -> tuple[Column, Column]:
    """A column of numbers, and that of their units."""
    name = f"{title} unit"
    path = key or (title.replace(" ", "_"),)
    return Column(title, path, "quantity", meaning, unit=name), unit_column(name, units)


def unit_column(title: str, units: str) -> Column:
    return Column(title, kind="unit", meaning="Unit of the numbers beside it", units=units)


def plain(title: str, kind: Kind, meaning: str, words: str = "", *key: str | int, unit: str = "") -> Column:
    return Column(title, key or (title.replace(" ", "_"),), kind, meaning, unit=unit, words=words)

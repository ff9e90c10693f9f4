"""A sheet of offers: who offers which material in place of which, at what price, measured how.

One row for each offer and property. A cell of supplier, material or grade that is left empty means 'as in the
row above', so that the further properties of an offer need no more than their own cells.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from optimizer.catalog.names import key_of
from optimizer.catalog.polymer import PolymerRecord
from optimizer.catalog.records import PermeabilityRecord, read_row
from optimizer.catalog.sheet import SheetRow, decimal_point, read_sheet
from optimizer.errors import InputError, Problem, UnitError
from optimizer.units import read

#: Columns, in the order in which they are shown.
COLUMNS = (
    "supplier",
    "material",
    "grade",
    "price",
    "currency",
    "density",
    "min_gauge",
    "max_gauge",
    "family",
    "roles",
    "gas",
    "value",
    "unit",
    "thickness",
    "temperature",
    "humidity",
    "humidity_far",
    "activation_energy",
    "spread",
    "source",
    "note",
)
#: Other headings for them, in lower case with _ for blanks.
ALIASES = {
    "replaces": "material",
    "gauge_min": "min_gauge",
    "minimum_gauge": "min_gauge",
    "gauge_max": "max_gauge",
    "maximum_gauge": "max_gauge",
    "measured_spread": "spread",
}
#: What is said of the offer as a whole: name in the list of materials -> column.
_FACTS = {
    "name": "material",
    "family": "family",
    "density": "density",
    "gauge_min": "min_gauge",
    "gauge_max": "max_gauge",
    "roles": "roles",
    "price": "price",
}
#: Cells of a row that make it a row about a property.
_TEST = ("value", "unit", "thickness", "temperature", "humidity", "humidity_far", "activation_energy")
_QUANTITIES = ("price", "density", "min_gauge", "max_gauge", "spread", *_TEST)
_NUMBER = re.compile(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class Offer:
    """One offer as the sheet says it. material: as written, the candidate it replaces. row: its first row.
    facts: what it states of itself (columns in ``stated``), price included; facts_row points at their cells.
    permeability: its own rows.
    spread: relative standard deviation of the measured permeability by gas, '' for all others."""

    supplier: str
    material: str
    grade: str
    row: SheetRow
    facts: PolymerRecord
    facts_row: SheetRow
    stated: frozenset[str]
    permeability: tuple[tuple[SheetRow, PermeabilityRecord], ...] = ()
    spread: Mapping[str, float] = field(default_factory=dict)


@dataclass
class _Draft:
    supplier: str
    material: str
    grade: str
    rows: list[SheetRow] = field(default_factory=list)


@dataclass(frozen=True)
class Unread:
    """What is known of an offer with a mistake in it: the material named, and its first row."""

    material: str
    row: SheetRow


def read_offers(path: Path) -> tuple[Offer, ...]:
    """The offers of a CSV file or workbook, in its order. Raises InputError with every problem."""
    offers, _, problems = offers_and_problems(path)
    if problems:
        raise InputError(problems)
    return offers


def offers_and_problems(
    path: Path, read: Callable[[Path], bytes] = Path.read_bytes
) -> tuple[tuple[Offer, ...], tuple[Unread, ...], list[Problem]]:
    """The offers that can be read, the others, and every problem of their cells; ``read`` gives the bytes of
    the file. Raises InputError for one without rows to read."""
    rows, problems = read_sheet(path, COLUMNS, ALIASES, "offers", read=read)
    for column in ("supplier", "material"):
        if rows and column not in rows[0].titles:
            problems.append(rows[0].problem("", f"the column '{column}' is missing", hint=_needs(path)))
    if not rows and not problems:
        problems.append(Problem("there is no offer below the column names", str(path)))
    if problems:
        raise InputError(problems)
    rows = tuple(decimal_point(row, _QUANTITIES, problems) for row in rows)
    drafts = _drafts(rows, problems)
    offers = [_offer(draft, problems) for draft in drafts]
    unread = [Unread(d.material, d.rows[0]) for d, o in zip(drafts, offers, strict=True) if o is None]
    return tuple(o for o in offers if o is not None), tuple(unread), list(dict.fromkeys(problems))


def _needs(path: Path) -> str:
    return "an offer needs supplier, material and, to be ranked by cost, price"


def _drafts(rows: tuple[SheetRow, ...], problems: list[Problem]) -> list[_Draft]:
    """Rows put together by supplier, material and grade."""
    found: dict[tuple[str, str, str], _Draft] = {}
    above = ("", "", "")
    for row in rows:
        given = row.get("supplier"), row.get("material"), row.get("grade")
        supplier = given[0] or above[0]
        same = key_of(supplier) == key_of(above[0])
        material = given[1] or (above[1] if same else "")
        same = same and key_of(material) == key_of(above[1])
        grade = given[2] or (above[2] if same else "")
        for name, value in (("supplier", supplier), ("material", material)):
            if not value:
                what = "nobody is named" if name == "supplier" else "the material that it replaces is missing"
                problems.append(row.problem(name, what, hint="leave it empty only to continue the row above"))
        above = supplier, material, grade
        key = key_of(supplier), key_of(material), key_of(grade)
        if supplier and material:
            found.setdefault(key, _Draft(supplier, material, grade)).rows.append(row)
    return list(found.values())


def _offer(draft: _Draft, problems: list[Problem]) -> Offer | None:
    before = len(problems)
    facts_row, stated = _facts_row(draft, problems)
    facts, wrong = read_row(PolymerRecord, facts_row)
    problems += wrong
    if facts is not None and facts.price is not None and facts.price.number == 0.0:
        hint = "leave it empty where none is known: the answer then says at which price the offer ties"
        problems.append(facts_row.problem("price", "a price must be above 0", hint=hint))
    permeability = []
    spread: dict[str, float] = {}
    for row in draft.rows:
        record = _permeability(row, problems) if _is_property(row) else None
        if record is not None:
            permeability.append((row, record))
        _spread(row, record.gas if record else "", _is_property(row), spread, problems)
    if facts is None or len(problems) > before:
        return None
    return Offer(
        draft.supplier,
        draft.material,
        draft.grade,
        draft.rows[0],
        facts,
        facts_row,
        stated,
        tuple(permeability),
        spread,
    )


def _is_property(row: SheetRow) -> bool:
    return any(row.get(name) for name in ("gas", *_TEST))


def _facts_row(draft: _Draft, problems: list[Problem]) -> tuple[SheetRow, frozenset[str]]:
    """The facts of all rows of an offer as one row of a list of materials, each cell at its own place."""
    first = draft.rows[0]
    homes: dict[str, SheetRow] = {}
    for row in draft.rows:
        for name in (*_FACTS.values(), "currency"):
            home = homes.setdefault(name, row) if row.get(name) else None
            if home is None or name == "material" or home.get(name) == row.get(name):
                continue
            hint = "give it once, or tell two offers of one supplier apart by 'grade'"
            problems.append(row.problem(name, f"is {home.get(name)!r} in {home.where}", hint=hint))
    cells = {name: homes[column].get(column) for name, column in _FACTS.items() if column in homes}
    cells["name"] = draft.material
    stated = frozenset(cells) - {"name"}
    if "price" in cells or "currency" in homes:
        cells["price"] = _price(homes, first, problems)
    titles = {name: first.titles.get(column, column) for name, column in _FACTS.items()}

    def place(name: str) -> tuple[int, int]:
        column = _FACTS.get(name, name)
        return homes.get(column, first).place(column)

    return replace(first, cells=cells, place=place, titles=titles), stated


def _price(homes: Mapping[str, SheetRow], first: SheetRow, problems: list[Problem]) -> str:
    """The price with what the column 'currency' adds to it: '1.42' and 'EUR/kg', or '1.42 /kg' and 'EUR'."""
    home = homes.get("price", first)
    price, currency = home.get("price"), homes["currency"].get("currency") if "currency" in homes else ""
    if not currency:
        return price
    if not price:
        return ""
    number = _NUMBER.match(price)
    rest = price[number.end() :].strip() if number else ""
    if number and not rest:
        if re.fullmatch(r"[A-Z]{3}", currency):
            message = f"a price in {currency}, but per kg, per t or per m2?"
            problems.append(home.problem("price", message, hint=f"write {number[0]} {currency}/kg"))
            return ""
        return f"{number[0]} {currency}"
    if number and rest.startswith(("/", "per ")):
        return f"{number[0]} {currency}{rest}" if rest[0] == "/" else f"{number[0]} {currency}/{rest[4:]}"
    if currency[:3] not in price:
        where = homes["currency"]
        problems.append(where.problem("currency", f"is not that of the price, {price!r}", hint="keep one"))
    return price


def _permeability(row: SheetRow, problems: list[Problem]) -> PermeabilityRecord | None:
    names = ("material", "gas", *_TEST, "source", "note")
    cells = {name: row.get(name) for name in names} | {"material": "offer", "grade": "producer"}
    record, wrong = read_row(PermeabilityRecord, replace(row, cells=cells))
    if record is not None and not wrong and record.best == 0.0:
        hint = "give the limit of detection of the test, where nothing was found"
        wrong = [row.problem("value", "a value must be above 0", hint=hint)]
    problems += wrong
    return record if not wrong else None


def _spread(
    row: SheetRow, gas: str, of_property: bool, spread: dict[str, float], problems: list[Problem]
) -> None:
    """Note the spread of the row: of its gas, or of all where the row is about no property."""
    text = row.get("spread")
    if not text or (of_property and not gas):
        return
    try:
        value = float(read(text, "fraction").value)
    except UnitError as error:
        problems.append(
            row.problem("spread", error.message, hint=error.hint, offset=max(error.column - 1, 0))
        )
        return
    if not 0.0 <= value < 1.0:
        hint = "a relative standard deviation, such as 5 %"
        problems.append(row.problem("spread", f"{text} is out of range", hint=hint))
    elif spread.setdefault(gas, value) != value:
        problems.append(row.problem("spread", "another spread was given above", hint="give it once"))


def conditions(row: SheetRow) -> Iterator[str]:
    """Thickness, temperature and humidity of a test as written."""
    humidity, far = row.get("humidity"), row.get("humidity_far")
    yield from filter(None, (row.get("thickness"), row.get("temperature")))
    if humidity:
        yield f"{humidity}RH" + (f" against {far}RH" if far else "")

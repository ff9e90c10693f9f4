"""From the contents of a project file to the rows of a workbook: nothing is lost.

What has a column or a row of its own goes there, everything else to the sheet ``More``. The rows are read
back as they will be, and a section that would not come back the same goes to ``More`` as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from optimizer.catalog.workbook import Cell
from optimizer.project.book_build import Line, Page, assemble
from optimizer.project.book_cells import Written, common_unit, encoded, same, storable
from optimizer.project.book_keys import MORE
from optimizer.project.book_layout import (
    KEY,
    KEY_COLUMNS,
    UNIT,
    UP,
    VALUE,
    Item,
    KeySheet,
    TableSheet,
)
from optimizer.project.book_path import path_text, read_path
from optimizer.project.book_sheets import (
    CLOSURES,
    LABELS,
    LAYERS,
    MATERIALS,
    PARTS,
    PROFILES,
    PROPERTIES,
    SHEETS,
    SPECIFICATION,
    STORAGE,
    TRANSMISSION,
)
from optimizer.project.source import Location, Source, Step

#: A row: what is written under each title.
Row = dict[str, Written]
#: Entry of a table: names for its base, what stands in it, and its path.
Entry = tuple[dict[str, str], Any, Location]

_ROWS = ("permeability", "permeance", "diffusivity")


def book_rows(data: Mapping[str, Any]) -> dict[str, list[Row]]:
    """Rows by the name of their sheet; those of a ``KeySheet`` are filled in, its other keys are not
    listed."""
    apart: set[str] = set()
    for _ in range(3):
        rows = _Writer(data, frozenset(apart)).rows
        back = read_back(rows)
        wrong = {key for key in {**data, **back} if not _comes_back(data, back, key)}
        if not wrong - apart:
            break
        apart |= wrong
    return rows


def read_back(rows: Mapping[str, list[Row]]) -> dict[str, Any]:
    """What a workbook with these rows says."""
    source = Source("", Path(), {}, "")
    assemble(_pages(rows), source)
    return source.data


def _comes_back(data: Mapping[str, Any], back: Mapping[str, Any], key: str) -> bool:
    if key not in data or key not in back or not same(data[key], back[key]):
        return False
    return _names(data[key]) == _names(back[key])


def _names(section: Any) -> list[Any]:
    """Names in their order, which counts for parts, walls and labels."""
    groups = [section, *(section.values() if isinstance(section, dict) and "parts" in section else [])]
    named = [list(group) for group in groups[1:] if isinstance(group, dict)]
    return named if len(groups) > 1 else []


def _pages(rows: Mapping[str, list[Row]]) -> Iterator[Page]:
    """Pages with their columns in the order of the layout."""
    for sheet in SHEETS:
        columns = KEY_COLUMNS if isinstance(sheet, KeySheet) else sheet.columns
        numbers = {column.title: i for i, column in enumerate(columns, 1)}
        lines = [Line(n, _cells(row, n, numbers)) for n, row in enumerate(rows.get(sheet.name, []), 2)]
        yield Page(sheet, sheet.name, 1, numbers, tuple(lines))


def _cells(row: Row, number: int, columns: Mapping[str, int]) -> dict[str, Cell]:
    """The cells of a row as they will be read: what a cell cannot hold is lost, so that this is seen here."""
    kept = {title: written for title, written in row.items() if storable(written.value)}
    return {title: written.cell(number, columns[title]) for title, written in kept.items()}


class _Writer:
    def __init__(self, data: Mapping[str, Any], apart: frozenset[str]) -> None:
        self.data, self.apart = data, apart
        self.rows: dict[str, list[Row]] = {sheet.name: [] for sheet in SHEETS}
        self.left: dict[Location, Any] = {}
        taken: dict[str, Any] = {}
        for key, value in data.items():
            if key in apart:
                self.more((key,), value)
            else:
                taken[key] = value
        for sheet, entries in _tables(taken):
            for names, entry, path in entries:
                self.table_row(sheet, names, entry, path)
        for key, value in taken.items():
            if key not in ("materials", "walls", "storage"):
                self.keys((key,), value)
        for path, value in self.left.items():
            self.more(path, value)

    # -- sheets of keys

    def keys(self, path: Location, value: Any) -> None:
        """Rows for ``value``, in the sheet that has its key or in More."""
        if path in (("package", "parts"), ("package", "labels"), ("target", "transmission")):
            return
        for sheet in SHEETS:
            item = sheet.item(path) if isinstance(sheet, KeySheet) and sheet is not MORE else None
            if item is not None and isinstance(sheet, KeySheet) and self.key_rows(sheet, item, path, value):
                return
        if isinstance(value, dict) and value and _leads_to_items(path):
            for key, inner in value.items():
                self.keys((*path, key), inner)
        else:
            self.more(path, value)

    def key_rows(self, sheet: KeySheet, item: Item, path: Location, value: Any) -> bool:
        """Whether the value could be written with its key."""
        if item.several and (not isinstance(value, list) or not value):
            return False
        name = path_text(path[len(sheet.prefix) :])
        if not storable(name):
            return False
        made: list[Row] = []
        for one in value if item.several else [value]:
            row = _key_row(name, item, one)
            if row is None:
                return False
            made.append(row)
        self.rows[sheet.name] += made
        return True

    def more(self, path: Location, value: Any) -> None:
        """Rows in the sheet More; a long group is split into its keys."""
        written = encoded("any", value, has_unit=True)
        if written is None and isinstance(value, dict | list):
            inner: Any = value.items() if isinstance(value, dict) else enumerate(value)
            for step, one in inner:
                self.more((*path, step), one)
            return
        if written is None:
            written = Written(str(value))  # nothing that a project file can hold comes here
        self.rows[MORE.name].append(_beside({KEY: Written(path_text(path))}, VALUE, UNIT, written))

    # -- tables

    def table_row(self, sheet: TableSheet, names: dict[str, str], entry: Any, path: Location) -> None:
        row: Row = {title: Written(name) for title, name in names.items()}
        left = _flat(sheet, entry, path)
        shared = _shared_units(sheet, left)
        for column in sheet.columns:
            if not column.key or column.key not in left or column.title in row:
                continue
            unit = shared.get(column.unit)
            written = encoded(column.kind, left[column.key], has_unit=bool(column.unit), shared=unit)
            if written is not None:
                _beside(row, column.title, column.unit, written)
                if unit:
                    row[column.unit] = Written(unit)
                del left[column.key]
        self.rows[sheet.name].append(row)
        for key, value in left.items():
            if UP not in key:
                self.left[(*path, *key)] = value
            else:
                self.left[(*path[:-2], *key[2:])] = value


def _key_row(name: str, item: Item, value: Any) -> Row | None:
    written = encoded(item.kind, value, has_unit=True)
    return None if written is None else _beside({KEY: Written(name)}, VALUE, UNIT, written)


def _beside(row: Row, title: str, unit: str, written: Written) -> Row:
    row[title] = Written(written.value, written.format)
    if written.unit:
        row[unit] = Written(written.unit)
    return row


def _leads_to_items(path: Location) -> bool:
    """Whether a sheet of keys has keys below ``path``."""
    for sheet in SHEETS:
        for item in sheet.items if isinstance(sheet, KeySheet) else ():
            whole = (*sheet.prefix, *item.path)  # type: ignore[union-attr]
            if len(whole) > len(path) and all(a in ("*", b) for a, b in zip(whole, path, strict=False)):
                return True
    return False


def _flat(sheet: TableSheet, entry: Any, path: Location) -> dict[Location, Any]:
    """Values of an entry by the keys of the columns; what has no column stands under its own key."""
    keys = [column.key for column in sheet.columns if column.key]
    found: dict[Location, Any] = {}
    inner: Any = (
        entry.items() if isinstance(entry, dict) else enumerate(entry) if isinstance(entry, list) else ()
    )
    for step, value in inner:
        if isinstance(step, tuple):  # of what the entry is in
            found[step] = value
            continue
        deeper = [key for key in keys if key[0] == step and len(key) > 1]
        if isinstance(value, dict) and deeper and value and all((step, k) in keys for k in value):
            found |= {(step, k): v for k, v in value.items()}
        else:
            found[(step,)] = value
    return found


def _shared_units(sheet: TableSheet, values: Mapping[Location, Any]) -> dict[str, str]:
    """For units that several columns share: that of most of them."""
    columns = [column for column in sheet.columns if column.unit]
    titles = [column.unit for column in columns]
    return {
        title: common_unit([values.get(c.key) for c in columns if c.unit == title])
        for title in dict.fromkeys(titles)
        if titles.count(title) > 1
    }


# -- entries of the tables -----------------------------------------------------------------------------------


def _tables(data: Mapping[str, Any]) -> Iterator[tuple[TableSheet, list[Entry]]]:
    materials = _list(data.get("materials"))
    yield (
        MATERIALS,
        [
            ({}, _without(entry, _ROWS), _place("materials", i, materials))
            for i, entry in enumerate(materials)
        ],
    )
    yield PROPERTIES, list(_properties(materials))
    walls = _group(data.get("walls"))
    yield LAYERS, list(_layers("wall", walls, ("walls",)))
    package = _group(data.get("package"))
    parts = _group(package.get("parts"))
    yield (
        PARTS,
        [
            ({"part": name}, _without(part, _inner_rows(part)), ("package", "parts", name))
            for name, part in parts.items()
        ],
    )
    yield PROFILES, list(_lists(parts, "points"))
    yield TRANSMISSION, list(_lists(parts, "transmission"))
    yield CLOSURES, list(_closures(parts))
    yield LABELS, list(_labels(_group(package.get("labels"))))
    yield STORAGE, [({}, stage, ("storage", i)) for i, stage in enumerate(_list(data.get("storage")))]
    rows = _list(_group(data.get("target")).get("transmission"))
    yield SPECIFICATION, [({}, row, ("target", "transmission", i)) for i, row in enumerate(rows)]


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _group(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _without(entry: Any, keys: tuple[str, ...]) -> dict[str, Any]:
    return {key: value for key, value in _group(entry).items() if key not in keys}


def _place(section: str, i: int, entries: list[Any]) -> Location:
    """Path of an entry: by its name where that is the only one, else by its number."""
    names = [entry.get("name") for entry in entries if isinstance(entry, dict)]
    name = _group(entries[i]).get("name")
    step: Step = (
        name if isinstance(name, str) and names.count(name) == 1 and read_path(name) == (name,) else i
    )
    return (section, step)


def _properties(materials: list[Any]) -> Iterator[Entry]:
    for i, entry in enumerate(materials):
        name = str(_group(entry).get("name"))
        for kind in _ROWS:
            for n, row in enumerate(_list(_group(entry).get(kind))):
                yield {"material": name, "property": kind}, row, (*_place("materials", i, materials), kind, n)


def _layers(title: str, groups: Mapping[str, Any], path: Location) -> Iterator[Entry]:
    for name, group in groups.items():
        for n, layer in enumerate(_list(_group(group).get("layers"))):
            yield {title: name}, layer, (*path, name, "layers", n)


def _inner_rows(part: Any) -> tuple[str, ...]:
    """Keys of a part that have a sheet of their own."""
    return tuple(
        key
        for key, value in _group(part).items()
        if (key in ("points", "transmission") and isinstance(value, list))
        or (key in ("pinhole", "gasket", "o_ring", "seal_edge", "valve") and isinstance(value, dict))
    )


def _lists(parts: Mapping[str, Any], key: str) -> Iterator[Entry]:
    for name, part in parts.items():
        for n, row in enumerate(_list(_group(part).get(key))):
            yield {"part": name}, row, ("package", "parts", name, key, n)


def _closures(parts: Mapping[str, Any]) -> Iterator[Entry]:
    for name, part in parts.items():
        for key in _inner_rows(part):
            if key not in ("points", "transmission"):
                yield {"part": name, "kind": key}, part[key], ("package", "parts", name, key)


def _labels(labels: Mapping[str, Any]) -> Iterator[Entry]:
    for name, label in labels.items():
        about = {(UP, UP, key): value for key, value in _group(label).items() if key != "layers"}
        for n, layer in enumerate(_list(_group(label).get("layers"))):
            both: Any = {**_group(layer), **(about if n == 0 else {})}
            yield {"label": name}, both, ("package", "labels", name, "layers", n)

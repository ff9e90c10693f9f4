"""The user's own rows, from table files and from entries in the project file, in the shape of ours.

Nearest wins: an entry of the project file over a table file, a later table over an earlier one, any of them
over the shipped table. It wins for the whole (material, gas): rows of different distance are never mixed into
one law.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from optimizer.catalog.cells import FILM_KINDS, GAS_KINDS, WATER_KINDS
from optimizer.catalog.records import (
    DiffusivityRecord,
    PermeabilityRecord,
    PolymerRecord,
    ScavengerRecord,
    read_row,
)
from optimizer.catalog.scavenger import read_scavenger
from optimizer.catalog.tables import Place, Row, Spot, Table, read_table
from optimizer.errors import InputError, Problem, UnitError
from optimizer.units import read, scale_of

#: path into the inline entries -> where it stands, e.g. (0, "permeability", 1, "value")
Locate = Callable[[tuple[str | int, ...]], Spot]

#: keys of an inline entry and the column of polymers.csv that they are
_PLAIN = {
    "name": "name",
    "family": "family",
    "density": "density",
    "price": "price",
    "pass_cost": "pass_cost",
    "coat_weight": "coat_weight",
    "recycled_content": "recycled_content",
    "glass_transition": "glass_transition",
    "recycling_family": "recycling_family",
    "food_contact": "food_contact",
    "note": "note",
}
_LISTS = ("roles", "aliases", "gauges", "contains", "carrier")
_ROWS = ("permeability", "diffusivity", "permeance")
_NOWHERE = Spot(0, 0)
_KEYS = (*_PLAIN, *_LISTS, *_ROWS, "gauge", "scavenger")


@dataclass(frozen=True)
class UserRows:
    """Checked rows of one origin, with ``rank`` (higher is nearer)."""

    rank: int
    polymers: tuple[tuple[Row, PolymerRecord], ...] = ()
    permeability: tuple[tuple[Row, PermeabilityRecord], ...] = ()
    diffusivity: tuple[tuple[Row, DiffusivityRecord], ...] = ()
    scavengers: tuple[tuple[Row, ScavengerRecord], ...] = ()


@dataclass
class _Reader:
    """Collects checked rows and problems of one origin."""

    rank: int
    polymers: list[tuple[Row, PolymerRecord]] = field(default_factory=list)
    permeability: list[tuple[Row, PermeabilityRecord]] = field(default_factory=list)
    diffusivity: list[tuple[Row, DiffusivityRecord]] = field(default_factory=list)
    scavengers: list[tuple[Row, ScavengerRecord]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def polymer(self, row: Row) -> None:
        record, wrong = read_row(PolymerRecord, row)
        self.problems += wrong
        if record is not None and not wrong:
            self.polymers.append((row, record))

    def permeation(self, row: Row) -> None:
        record, wrong = read_row(PermeabilityRecord, row)
        self.problems += wrong
        if record is not None and not wrong:
            self.permeability.append((row, record))

    def diffusion(self, row: Row) -> None:
        record, wrong = read_row(DiffusivityRecord, row)
        self.problems += wrong
        if record is not None and not wrong:
            self.diffusivity.append((row, record))

    def scavenger(self, row: Row) -> None:
        record, wrong = read_row(ScavengerRecord, row)
        self.problems += wrong
        if record is not None and not wrong:
            self.scavengers.append((row, record))

    def done(self) -> UserRows:
        return UserRows(
            self.rank,
            tuple(self.polymers),
            tuple(self.permeability),
            tuple(self.diffusivity),
            tuple(self.scavengers),
        )


def read_user_tables(
    paths: Sequence[str | Path], base_dir: Path | None, read: Callable[[Path], bytes] = Path.read_bytes
) -> tuple[list[UserRows], list[Problem]]:
    """Rows of the table files, in order of rank, and everything wrong in them."""
    found: list[UserRows] = []
    problems: list[Problem] = []
    for rank, given in enumerate(paths, start=1):
        path = Path(given) if base_dir is None else base_dir / given
        try:
            rows, wrong = user_table(read_table(path, str(given), read=read), rank)
        except InputError as error:
            problems += error.problems
            continue
        found.append(rows)
        problems += wrong
    return found, problems


def user_table(table: Table, rank: int = 1) -> tuple[UserRows, list[Problem]]:
    """Rows of one table file. Its columns say what it is: ``name`` a list of materials, ``material`` and
    ``gas`` permeabilities or, where the unit is one, diffusivities."""
    reader = _Reader(rank)
    if "name" in table.columns:
        for row in known_columns(table, PolymerRecord, reader.problems):
            reader.polymer(row)
    elif {"material", "gas"} <= set(table.columns):
        both = any(_is_diffusivity(row) for row in table.rows)
        for row in known_columns(
            table, DiffusivityRecord if both else PermeabilityRecord, reader.problems, both
        ):
            if _is_diffusivity(row):
                reader.diffusion(_for_model(row, DiffusivityRecord))
            else:
                reader.permeation(_for_model(row, PermeabilityRecord))
    else:
        close = get_close_matches("material", table.columns, n=1) or get_close_matches(
            "name", table.columns, n=1
        )
        hint = f"rename {close[0]!r}? " if close else ""
        reader.problems.append(
            Problem(
                "this is not a property table",
                file=table.file,
                line=1,
                hint=hint
                + "columns 'material' and 'gas' for permeabilities, or 'name' for a list of materials",
            )
        )
    return reader.done(), reader.problems


def known_columns(
    table: Table, model: type[BaseModel], problems: list[Problem], permeability_too: bool = False
) -> list[Row]:
    """The rows without columns that the model does not have; each such column is one problem, at its name."""
    known = list(model.model_fields) + (list(PermeabilityRecord.model_fields) if permeability_too else [])
    unknown = [column for column in table.columns if column not in known]
    for column in unknown:
        close = get_close_matches(column.lower(), known, n=1, cutoff=0.6)
        hint = f"did you mean {close[0]!r}?" if close else "columns: " + ", ".join(dict.fromkeys(known))
        problems.append(table.head.problem(column, "there is no such column", hint=hint))
    if not unknown and not permeability_too:
        return list(table.rows)
    return [
        replace(row, cells={k: v for k, v in row.cells.items() if k not in unknown}) for row in table.rows
    ]


def _for_model(row: Row, model: type[BaseModel]) -> Row:
    """A row of a table that mixes both kinds, without the other kind's columns where they are empty."""
    return replace(row, cells={k: v for k, v in row.cells.items() if v or k in model.model_fields})


def _is_diffusivity(row: Row) -> bool:
    if row.get("solubility") or row.get("solubility_unit"):
        return True
    unit = row.get("unit") or row.get("value").partition(" ")[2]
    try:
        scale_of(unit, "diffusivity")
    except UnitError:
        return False
    return True


def read_inline(
    entries: Sequence[Mapping[str, Any]], rank: int, file: str, locate: Locate | None
) -> tuple[UserRows, list[Problem]]:
    """Rows of the ``materials:`` entries of a project file (plain data, quantities as text)."""
    reader = _Reader(rank)
    seen: dict[str, int] = {}
    for index, entry in enumerate(entries):
        _read_entry(reader, entry, (index,), file, locate)
        name = " ".join(str(entry.get("name") or "").split()) if isinstance(entry, Mapping) else ""
        if name and name in seen:
            line, column, _ = locate((index, "name")) if locate else _NOWHERE
            message = f"the material {name!r} stands here twice; the first is entry {seen[name] + 1}"
            hint = "put the keys of both into one entry"
            reader.problems.append(Problem(message, file, line, column, "name", hint))
        seen.setdefault(name, index)
    return reader.done(), reader.problems


def _row(
    cells: Mapping[str, tuple[Any, tuple[str | int, ...]]],
    file: str,
    locate: Locate | None,
    home: tuple[str | int, ...],
) -> Row:
    paths = {name: path for name, (_, path) in cells.items()}

    def place(name: str) -> tuple[int, int]:
        return locate(paths.get(name, home))[:2] if locate else _NOWHERE[:2]

    texts = {name: "" if value is None else str(value).strip() for name, (value, _) in cells.items()}
    at: Place = place
    start = locate(home) if locate else _NOWHERE
    return Row(texts, file, start.line, at, start.cell)


def _read_entry(
    reader: _Reader, entry: Any, home: tuple[str | int, ...], file: str, locate: Locate | None
) -> None:
    def wrong(path: tuple[str | int, ...], message: str, hint: str = "") -> None:
        line, column, _ = locate(path) if locate else _NOWHERE
        shown = ".".join(str(p) for p in path[1:])
        reader.problems.append(Problem(message, file, line, column, shown, hint))

    if not isinstance(entry, Mapping):
        wrong(home, "an entry of materials must have keys", "name, density, permeability, ...")
        return
    cells: dict[str, tuple[Any, tuple[str | int, ...]]] = {}
    permeance: Any = None
    for key, value in entry.items():
        path = (*home, key)
        if key not in _KEYS:
            close = get_close_matches(str(key), _KEYS, n=1, cutoff=0.6)
            wrong(
                path,
                f"there is no key {key!r}",
                f"did you mean {close[0]}?" if close else "keys: " + ", ".join(_KEYS),
            )
        elif key in _PLAIN:
            if (isinstance(value, bool) and key == "food_contact") or no_group(value, path, wrong):
                cells[_PLAIN[key]] = (value, path)
        elif key in _LISTS:
            items = value if isinstance(value, list | tuple | set | frozenset) else [value]
            if all(no_group(item, path, wrong) for item in items):
                cells[key] = ("|".join(str(v) for v in items if v is not None), path)
        elif key == "gauge":
            _read_gauge(cells, value, path, wrong)
        elif key == "permeance":
            permeance = value
        elif key == "scavenger":
            given = read_scavenger(entry.get("name"), value, path, wrong)
            if given is not None and all([no_group(cell, at, wrong) for cell, at in given.values()]):
                reader.scavenger(_row(given, file, locate, path))
        else:
            _read_rows(reader, entry.get("name"), value, path, file, locate, wrong)
    if "name" not in cells:
        wrong(home, "a material needs a name")
        return
    if permeance is not None:
        rows = _per_layer(permeance, (*home, "permeance"), cells, wrong)
        _read_rows(reader, entry["name"], rows, (*home, "permeance"), file, locate, wrong)
    reader.polymer(_row(cells, file, locate, home))


def no_group(value: Any, path: tuple[str | int, ...], wrong: Callable[..., None]) -> bool:
    """Whether the value is one text or number, or empty; says so where it is not."""
    if value is None or (isinstance(value, str | int | float | date) and not isinstance(value, bool)):
        return True
    shown = str(value).lower() if isinstance(value, bool) else "a group of keys"
    wrong(path, f"expected one text, not {'a list' if isinstance(value, list) else shown}")
    return False


def _per_layer(
    value: Any,
    path: tuple[str | int, ...],
    cells: Mapping[str, tuple[Any, tuple[str | int, ...]]],
    wrong: Callable[..., None],
) -> list[Any]:
    """The rows of ``permeance``, each with the thickness of the layer that it is for."""
    if not isinstance(value, list | tuple):
        wrong(path, "expected a list of rows", "- {gas: O2, value: ..., temperature: ..., humidity: ...}")
        return []
    thickness = _one_thickness({name: cell for name, (cell, _) in cells.items()})
    if thickness is None:
        wrong(
            path,
            "needs the thickness of the layer, which has to be one",
            "give 'gauge: 0.05 um' beside it, or 'coat_weight: 1 g/m2' and the density",
        )
        return []
    rows = []
    for i, item in enumerate(value):
        if isinstance(item, Mapping) and "thickness" in item:
            wrong((*path, i, "thickness"), "is not needed: a permeance is that of the whole layer")
        elif isinstance(item, Mapping) and _is_permeability(item):
            wrong(
                (*path, i, "value"),
                "is a permeability, not the transmission of the layer",
                "give it under 'permeability', or in a unit such as cm3/(m2*day*bar)",
            )
        else:
            rows.append({**item, "thickness": thickness} if isinstance(item, Mapping) else item)
    return rows


def _one_thickness(cells: Mapping[str, Any]) -> str | None:
    """Thickness of the layer as text; None where it is not one, or not to be read."""
    low, high = cells.get("gauge_min"), cells.get("gauge_max")
    if low is not None and low == high:
        return str(low)
    try:
        weight = read(str(cells["coat_weight"]), "grammage").value
        return f"{weight / read(str(cells['density']), 'density').value!r} m"
    except (KeyError, UnitError, ZeroDivisionError):
        return None


def _is_permeability(row: Mapping[str, Any]) -> bool:
    gas = str(row.get("gas", "")).strip().upper()
    kinds = WATER_KINDS if gas == "H2O" else GAS_KINDS
    texts = [f"{row.get(k)} {row.get('unit', '')}".strip() for k in ("value", "value_low") if row.get(k)]
    for text in texts:
        try:
            return read(text, kinds, gas=gas).kind not in FILM_KINDS
        except (UnitError, ValueError):
            return False  # said where the row is read
    return False


def _read_gauge(
    cells: dict[str, Any], value: Any, path: tuple[str | int, ...], wrong: Callable[..., None]
) -> None:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        cells["gauge_min"] = cells["gauge_max"] = (value, path)
        return
    if not isinstance(value, Mapping):
        hint = "gauge: {min: 8 um, max: 300 um}, or gauge: 12 um"
        if isinstance(value, list):
            hint = "gauges: [12 um, 15 um] for a web that is bought in several"
        wrong(path, "expected a range or one thickness", hint)
        return
    for key, limit in value.items():
        if key in ("min", "max"):
            if no_group(limit, (*path, key), wrong):
                cells[f"gauge_{key}"] = (limit, (*path, key))
        else:
            wrong((*path, key), f"there is no key {key!r}", "min and max")


def _read_rows(
    reader: _Reader,
    name: Any,
    value: Any,
    path: tuple[str | int, ...],
    file: str,
    locate: Locate | None,
    wrong: Callable[..., None],
) -> None:
    if not isinstance(value, list | tuple):
        wrong(path, "expected a list of rows", "- {gas: O2, value: ..., temperature: ..., humidity: ...}")
        return
    for i, item in enumerate(value):
        here = (*path, i)
        if not isinstance(item, Mapping):
            wrong(here, "expected a row with keys", "gas, value, temperature, humidity")
            continue
        cells: dict[str, Any] = {key: (cell, (*here, key)) for key, cell in item.items() if key != "material"}
        if not all([no_group(cell, place, wrong) for cell, place in cells.values()]):
            continue
        cells["material"] = (name or "unnamed", here)
        row = _row(cells, file, locate, here)
        (reader.diffusion if path[-1] == "diffusivity" else reader.permeation)(row)

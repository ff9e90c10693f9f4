"""Find and read the shipped property table.

The packaged folder ``optimizer/_materials`` is looked for first (an installed wheel), then ``materials/``
beside the package (a source checkout). Cells stay text here: a row is checked when its material is asked for,
so that a command which needs three materials does not pay for all of them. ``lint`` and the tests check every
row.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

from optimizer.catalog.records import AnyRecord, read_row
from optimizer.catalog.tables import Row, Table, read_table
from optimizer.errors import InputError, MaterialError, Problem

#: Folders of one file per published source.
SOURCE_FOLDERS = ("permeability", "diffusivity")
#: Single tables.
TABLES = (
    "polymers",
    "families",
    "activation",
    "defaults",
    "bonding",
    "recycling",
    "references",
    "columns",
)


@dataclass(frozen=True)
class Shipped:
    """The table as read: single tables by name, source files by folder and source key."""

    folder: Path
    tables: Mapping[str, Table]
    sources: Mapping[str, Mapping[str, Table]]

    def rows(self, folder: str) -> Iterator[tuple[str, Row]]:
        """Source key and row, over all source files of a folder."""
        for key, table in self.sources[folder].items():
            for row in table.rows:
                yield key, row

    def citation(self, key: str) -> str:
        """Full citation of a source key; the key itself when it is not in references.csv."""
        return self._citations.get(key, key)

    def readable(self, text: str) -> str:
        """``text`` with the source keys in it replaced by a few words."""
        return self._keys.sub(lambda match: self._short[match[0]], text) if "_" in text else text

    @cached_property
    def _short(self) -> Mapping[str, str]:
        rows = self.tables["references"].rows
        return {row.get("key"): row.get("short") or row.get("citation") for row in rows}

    @cached_property
    def _keys(self) -> re.Pattern[str]:
        keys = sorted((re.escape(key) for key in self._short if "_" in key), key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(keys)})(?!\w)")

    @cached_property
    def _citations(self) -> Mapping[str, str]:
        return {row.get("key"): row.get("citation") for row in self.tables["references"].rows}


def find_materials() -> Path:
    """Folder of the shipped table; raises MaterialError when the installation is incomplete."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_materials", package.parent / "materials"):
        if (folder / "polymers.csv").is_file():
            return folder
    raise MaterialError("the shipped property table was not found", hint="reinstall the package")


def load_shipped(folder: Path | None = None) -> Shipped:
    """The shipped table, read once per process and folder."""
    return _load(folder or find_materials())


@lru_cache(maxsize=4)
def _load(folder: Path) -> Shipped:
    tables = {name: read_table(folder / f"{name}.csv", f"materials/{name}.csv") for name in TABLES}
    sources = {
        kind: {
            path.stem: read_table(path, f"materials/{kind}/{path.name}")
            for path in sorted((folder / kind).glob("*.csv"))
        }
        for kind in SOURCE_FOLDERS
    }
    return Shipped(folder, tables, sources)


def records(model: type[AnyRecord], table: Table) -> list[AnyRecord]:
    """Every row of a table as records; raises InputError with all problems."""
    found: list[AnyRecord] = []
    problems: list[Problem] = []
    for row in table.rows:
        record, wrong = read_row(model, row)
        problems += wrong
        if record is not None:
            found.append(record)
    if problems:
        raise InputError(problems)
    return found

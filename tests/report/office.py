"""A spreadsheet program without a window, for tests: LibreOffice where it is installed."""

from __future__ import annotations

import csv
from pathlib import Path

from tests.programs import converted

#: Comma, quotes, UTF-8, from line 1; numbers with all digits (not as shown); every sheet to its own file.
_CSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"


def _converted(data: bytes, to: str, folder: Path) -> Path:
    source = folder / "book.xlsx"
    source.write_bytes(data)
    return converted(source, to, folder)


def as_csv(data: bytes, folder: Path) -> dict[str, list[list[str]]]:
    """Rows of each sheet of a workbook as LibreOffice writes them to CSV, by name of the sheet."""
    out = _converted(data, _CSV, folder)
    sheets = {}
    for path in out.glob("book-*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            sheets[path.stem.removeprefix("book-")] = list(csv.reader(file))
    return sheets


def resaved(data: bytes, folder: Path) -> Path:
    """The workbook opened, worked out anew and saved by LibreOffice."""
    return _converted(data, "xlsx:Calc MS Excel 2007 XML", folder) / "book.xlsx"

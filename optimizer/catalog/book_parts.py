"""The parts of a workbook (.xlsx), a zip file of XML (ISO/IEC 29500), looked at before a library opens them.

A small file can hold more than any memory does, and a few letters in it can stand for millions of cells. So
every part is read through once, piece by piece, and what would take the library long is refused.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Mapping
from importlib import import_module
from io import BytesIO
from typing import IO
from xml.etree import ElementTree
from xml.parsers import expat

from optimizer.errors import InputError, Problem

#: Bytes that a file unpacks to, and one part of XML; parts of a file.
_MOST_BYTES, _MOST_XML, _MOST_PARTS = 100_000_000, 20_000_000, 2_000
#: Cells of a file, those merged into others among them: about 3 s of the library's time.
_MOST_CELLS = 150_000
#: Other marks, such as styles, links and rules: up to 0.05 ms each.
_MOST_MARKS = 200_000
#: What cells and texts are made of (ISO/IEC 29500-1, 18.3 and 18.4); the rest counts as marks.
_OF_CELLS = frozenset(("c", "v", "f", "is", "t", "si", "row", "r"))
#: Marks whose attribute ``ref`` the library follows cell by cell.
_SPANS = frozenset(("mergeCell", "hyperlink"))
#: XFD1048576 (ISO/IEC 29500-1, 18.3.1.13 and 18.3.1.73).
_LAST_COLUMN, _LAST_ROW = 16_384, 1_048_576
#: First bytes of XML in the encodings that expat reads; pictures and macros begin otherwise.
_XML = re.compile(rb"\xef\xbb\xbf|\xff\xfe|\xfe\xff|\s*<|\x00<")
_PIECE = 65_536
#: Names of the part with the names of the sheets, and of the sheets and texts, as all spreadsheet programs
#: write them.
_MAIN = re.compile(r"xl/workbook\d*\.xml")
_SHEETS = re.compile(r"xl/worksheets/[^/]*\.xml")
_SHARED = re.compile(r"xl/sharedStrings\d*\.xml")
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_CELL = re.compile(r"([A-Z]{1,3})\d+")
_HINT = "open and save it in a spreadsheet program; a password must be taken off"
_SMALLER = "delete what is not needed, empty cells with a format among it"


def look_at_the_parts(content: bytes, shown: str) -> None:
    """InputError for a file that is no zip file, is damaged, or holds what would take long to open."""
    try:
        with zipfile.ZipFile(BytesIO(content)) as file:
            parts = file.infolist()
            size = sum(part.file_size for part in parts)
            if size > _MOST_BYTES or len(parts) > _MOST_PARTS:
                raise _too_large(f"{len(parts)} parts, {size / 1e6:.0f} MB unpacked", shown)
            scan = _Scan(file, shown)
            for part in parts:
                if not part.flag_bits & 1:  # nobody can read what is encrypted
                    with file.open(part) as stream:
                        scan.read(part.filename, part.file_size, stream)
    except InputError:
        raise
    except Exception as error:  # a damaged zip file fails in many ways
        raise unreadable(first_line(error), shown) from None


class _Scan:
    """Counts through all parts of a file, and stops at what is too much."""

    def __init__(self, file: zipfile.ZipFile, shown: str) -> None:
        self.file, self.shown = file, shown
        self.cells = self.marks = 0

    def read(self, name: str, size: int, stream: IO[bytes]) -> None:
        """One part, if it is XML. What is no whole XML says so itself when somebody reads it."""
        start = stream.read(_PIECE)
        if not _XML.match(start) and start.strip():
            return
        if size > _MOST_XML:
            raise _too_large(f"{size / 1e6:.0f} MB of XML", self.place(name))
        parser = expat.ParserCreate()
        parser.StartElementHandler = lambda mark, given: self.count(name, mark.rpartition(":")[2], given)
        parser.StartDoctypeDeclHandler = lambda kind, *_: self.doctype(kind)
        parser.EntityDeclHandler = lambda *_: self.doctype("")
        try:
            while start:
                parser.Parse(start)
                start = stream.read(_PIECE)
        except expat.ExpatError:
            return

    def doctype(self, kind: str) -> None:
        """Drawings of the kind svg begin with a document type, and are harmless without entities."""
        if kind != "svg":
            raise unreadable("its XML declares a document type", self.shown)

    def count(self, name: str, mark: str, given: Mapping[str, str]) -> None:
        if mark == "c":
            self.cells += 1
        elif mark not in _OF_CELLS:
            self.marks += 1
            if mark in _SPANS:
                self.cells += _area(given.get("ref", ""))
        if self.cells > _MOST_CELLS:
            raise _too_large(
                f"more than {_MOST_CELLS} cells, formatted and merged ones among them", self.place(name)
            )
        if self.marks > _MOST_MARKS:
            raise _too_large(f"more than {_MOST_MARKS} styles, links and rules", self.place(name))

    def place(self, name: str) -> str:
        """'book.xlsx!Sheet' for the part of a sheet, else the name of the file."""
        try:
            title = _titles(self.file).get(name)
        except Exception:  # the names of the sheets may be what is damaged
            title = None
        return f"{self.shown}!{title}" if title else self.shown


def _area(ref: str) -> int:
    """Cells of a range such as A1:C7, B:C or 2:20; 0 for what the library refuses itself."""
    try:
        left, top, right, bottom = import_module("openpyxl.utils").range_boundaries(ref.rpartition("!")[2])
    except (ValueError, TypeError):
        return 0
    columns = int(right or _LAST_COLUMN) - int(left or 1) + 1
    return max(0, columns) * max(0, int(bottom or _LAST_ROW) - int(top or 1) + 1)


def _main(file: zipfile.ZipFile) -> str:
    (name,) = (part for part in set(file.namelist()) if _MAIN.fullmatch(part))
    return name


def _titles(file: zipfile.ZipFile) -> dict[str, str]:
    """Title of each sheet by the name of its part."""
    main = _main(file)
    links = ElementTree.fromstring(file.read(main.replace("xl/", "xl/_rels/", 1) + ".rels"))
    targets = {link.get("Id"): link.get("Target", "").removeprefix("/xl/") for link in links}
    sheets = ElementTree.fromstring(file.read(main)).iterfind(".//{*}sheets/{*}sheet")
    return {f"xl/{targets.get(sheet.get(_LINK))}": sheet.get("name", "") for sheet in sheets}


def sheet_titles(content: bytes, shown: str) -> tuple[str, ...]:
    """The names of the sheets, without opening the workbook. Raises InputError as ``open_workbook``."""
    look_at_the_parts(content, shown)
    try:
        with zipfile.ZipFile(BytesIO(content)) as file:
            sheets = ElementTree.fromstring(file.read(_main(file))).iterfind(".//{*}sheets/{*}sheet")
            return tuple(sheet.get("name", "") for sheet in sheets)
    except Exception as error:  # a damaged file fails in many ways
        raise unreadable(first_line(error), shown) from None


def sheet_rows(content: bytes, shown: str) -> Iterator[Iterator[dict[str, str]]]:
    """Of each sheet the rows that have cells: the text of each filled one by the letters of its column,
    numbers as they are stored. Raises InputError as ``open_workbook``."""
    look_at_the_parts(content, shown)
    try:
        with zipfile.ZipFile(BytesIO(content)) as file:
            names = file.namelist()
            shared = [
                _text(item)
                for name in filter(_SHARED.fullmatch, names)
                for item in ElementTree.fromstring(file.read(name)).iterfind("{*}si")
            ]
            for name in filter(_SHEETS.fullmatch, names):
                rows = ElementTree.fromstring(file.read(name)).iterfind("{*}sheetData/{*}row")
                yield ({column: text for column, text in _cells(row, shared) if text} for row in rows)
    except Exception as error:
        raise unreadable(first_line(error), shown) from None


def _cells(row: ElementTree.Element, shared: list[str]) -> Iterator[tuple[str, str]]:
    for number, cell in enumerate(row.iterfind("{*}c")):
        within = {child.tag.rpartition("}")[2]: child for child in cell}
        if not within:
            continue
        found = _CELL.fullmatch(cell.get("r", ""))
        column = found[1] if found else str(number)
        value = within["v"].text or "" if "v" in within else ""
        if "is" in within:
            yield column, _text(within["is"])
        elif cell.get("t") == "s":
            yield column, shared[int(value)] if value.isdecimal() and int(value) < len(shared) else ""
        else:
            yield column, value


def _text(item: ElementTree.Element) -> str:
    """The text of a cell; with several fonts it stands in several runs."""
    return "".join(run.text or "" for run in (*item.iterfind("{*}t"), *item.iterfind("{*}r/{*}t")))


def unreadable(reason: str, shown: str) -> InputError:
    return InputError(Problem(f"is no workbook that can be read: {reason}", shown, hint=_HINT))


def _too_large(much: str, shown: str) -> InputError:
    return InputError(Problem(f"is too large to be such a workbook: {much}", shown, hint=_SMALLER))


def first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]

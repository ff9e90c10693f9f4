"""The projects of a folder, and each with the files it refers to as a bundle that can travel.

The client reads the files and sends their bytes: a worker on another machine need not see the folder.
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from optimizer.catalog.book_parts import sheet_rows, sheet_titles
from optimizer.catalog.workbook import WORKBOOKS
from optimizer.errors import InputError, Problem
from optimizer.project.book_cells import clean
from optimizer.project.book_kind import other_than_project
from optimizer.project.book_layout import TableSheet
from optimizer.project.book_path import read_path
from optimizer.project.book_sheets import SHEETS
from optimizer.project.json_schema import file_keys
from optimizer.report.portfolio import NO_FORMAT

_SUFFIXES = (".yaml", ".yml")
#: Beginning of the name of a file that a spreadsheet program keeps while it has a workbook open.
_LOCK = "~$"
#: Why it is passed over.
LOCK = "kept by an open spreadsheet program"
#: A project file is known by its key ``format`` at the margin.
_FORMAT = re.compile(rb"""^(?:\xef\xbb\xbf)?\{?["']?format["']?[ \t]*:""", re.MULTILINE)
#: Longer words are text, not the name of a file.
_LONGEST_NAME = 1000
#: Size [bytes] of a project with the files that travel with it.
MOST_BYTES = 200_000_000
_SEPARATOR = re.compile(r"[/\\]")


@dataclass(frozen=True)
class Bundle:
    """A project on its way to a worker.

    shown: path of the project file as messages name it. files: name relative to the project file's folder
    and contents, the project file first. fixed: files named by an absolute path, which stay where they are,
    and their SHA-256.
    """

    shown: str
    files: tuple[tuple[str, bytes], ...]
    fixed: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Found:
    """projects: sorted. passed_over: other YAML files and workbooks, and why each is passed over."""

    projects: tuple[Path, ...]
    passed_over: Mapping[Path, str] = field(default_factory=dict)


def find_projects(folder: Path) -> Found:
    """The projects below ``folder``, YAML files and workbooks.

    Hidden folders are left out, links to folders are not followed. Raises InputError when there is none.
    """
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "there is no such folder"
        raise InputError(Problem(what, str(folder), hint="--projects takes a folder of project files"))
    reasons = {path: _other_than_project(path) for path in _files(folder)}
    projects = tuple(path for path, reason in reasons.items() if not reason)
    if not projects:
        hint = "a project is a .yaml file with the key 'format', or a workbook with sheets of the template"
        raise InputError(Problem("there is no project file in this folder", str(folder), hint=hint))
    return Found(projects, {path: reason for path, reason in reasons.items() if reason})


def _files(folder: Path) -> Iterator[Path]:
    found: list[Path] = []
    for place, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        found += [
            Path(place, name)
            for name in files
            if name.lower().endswith((*_SUFFIXES, *WORKBOOKS)) and not name.startswith(".")
        ]
    return iter(sorted(found))


def _other_than_project(path: Path) -> str:
    """Why a file is no project, '' for one; what cannot be opened is one: its row will say why."""
    if path.name.startswith(_LOCK):
        return LOCK
    try:
        content = path.read_bytes()
        if _is_book(path):
            return other_than_project(sheet_titles(content, str(path)))
    except (OSError, InputError):
        return ""
    return "" if _FORMAT.search(content) else NO_FORMAT


def _is_book(path: Path) -> bool:
    return path.suffix.lower() in WORKBOOKS


def bundle(path: Path) -> Bundle:
    """The project file at ``path`` with every file it names. Raises InputError when one cannot be read, and
    when they are more than travels."""
    content = _read(path)
    files = [(path.name, content)]
    fixed: list[tuple[str, str]] = []
    for name in references(content, path.parent, book=_is_book(path)):
        there = path.parent / name
        if Path(name).is_absolute():
            fixed.append((name, digest(_read(there))))
            continue
        _refuse_too_much(path, name, sum(len(known) for _, known in files))
        files.append((name, _read(there)))
    return Bundle(str(path), tuple(files), tuple(fixed))


def _refuse_too_much(project: Path, name: str, so_far: int) -> None:
    """InputError for a file that is too large to travel beside what the project has ``so_far``."""
    try:
        size = (project.parent / name).stat().st_size
    except OSError:  # reading it says why
        return
    if so_far + size > MOST_BYTES:
        total, most = (so_far + size) / 1e6, MOST_BYTES / 1e6
        message = f"makes {total:.0f} MB with the project and its other files; at most {most:.0f} MB travel"
        hint = "name it by an absolute path, the same on every worker, or run this project alone"
        raise InputError(Problem(message, str(project), field=name, hint=hint))


def references(content: bytes, base: Path, *, book: bool = False) -> tuple[str, ...]:
    """Names in a project, YAML text or a workbook, that are files, seen from ``base``.

    Only the values of those keys count that name files (``file_keys``), wherever they stand: nothing else of
    the machine travels because a title is called like it. What cannot be read names nothing; the worker will
    say what is wrong with it.
    """
    try:
        here = {_folded(name) for name in os.listdir(base)}
    except OSError:
        here = set()
    names: dict[str, None] = {}
    for value in _named_in_book(content) if book else _named(content):
        value = value.strip()
        first = _SEPARATOR.split(value, 1)[0]
        # "", "." and ".." lead elsewhere, "C:" does on some systems; any other start must be an entry here
        near = first in ("", ".", "..") or first.endswith(":") or _folded(first) in here
        if near and 0 < len(value) <= _LONGEST_NAME and "\0" not in value:
            try:
                if (base / value).is_file():
                    names[value] = None
            except OSError:  # too long a name, or a folder that may not be read
                continue
    return tuple(names)


def _folded(name: str) -> str:
    """The name as those file systems compare it that know no capitals and no composed letters."""
    return unicodedata.normalize("NFC", name).casefold()


def _named_in_book(content: bytes) -> Iterator[str]:
    """Texts below the heading of a key that names files, or in a row with such a key; and what is so named in
    cells that hold a group."""
    try:
        for sheet in sheet_rows(content, ""):
            columns: set[str] = set()
            for row in sheet:
                texts = {column: clean(text) for column, text in row.items()}
                whole_row = any(map(_is_file_key, texts.values()))
                for column, text in texts.items():
                    here = whole_row or column in columns
                    if text.startswith(("{", "[", '"', "'")):
                        yield from _named(text.encode(), alone=here)
                    elif here:
                        yield text
                columns |= {column for column, text in texts.items() if _plain(text) in _headings()}
    except InputError:
        return


def _is_file_key(text: str) -> bool:
    """Whether a cell is the path of a key that names files: package.parts.body.mesh."""
    path = read_path(text)
    return path is not None and len(path) > 1 and path[-1] in file_keys()


def _plain(heading: str) -> str:
    return " ".join(heading.lower().replace("_", " ").split())


@cache
def _headings() -> frozenset[str]:
    """Headings of the columns whose cells name files."""
    columns = (column for sheet in SHEETS if isinstance(sheet, TableSheet) for column in sheet.columns)
    return frozenset(c.title for c in columns if c.key and c.key[-1] in file_keys())


def _named(content: bytes, alone: bool = False) -> Iterator[str]:
    """Values of keys that name files in a YAML text, by the quick reader that comes with the cluster's
    libraries; ``alone``: the text is itself such a value.

    It stands beside ``project.source`` because that reader, exact about places, takes a third of the time of
    a whole prediction, and this one runs in the one process that feeds all the workers.
    """
    import yaml

    try:
        root = yaml.compose(content, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    except (yaml.YAMLError, ValueError, RecursionError):
        return
    if alone and isinstance(root, yaml.ScalarNode):
        yield root.value
    waiting, seen = [root], {id(root)}
    while waiting:
        node = waiting.pop()
        inner: list[yaml.Node] = []
        if isinstance(node, yaml.SequenceNode):
            inner = list(node.value)
        elif isinstance(node, yaml.MappingNode):
            inner = [value for _, value in node.value]
            for key, value in node.value:
                if isinstance(value, yaml.ScalarNode) and str(key.value).strip() in file_keys():
                    yield value.value
        waiting += [one for one in reversed(inner) if id(one) not in seen]
        seen.update(map(id, inner))


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(Problem(f"cannot be read: {error.strerror}", str(path))) from None

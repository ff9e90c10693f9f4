"""The project files of a folder, and each with the files it refers to as a bundle that can travel.

The client reads the files and sends their bytes: a worker on another machine need not see the folder.
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from optimizer.errors import InputError, Problem

_SUFFIXES = (".yaml", ".yml")
#: A project file is known by its key ``format`` at the margin.
_FORMAT = re.compile(rb"""^(?:\xef\xbb\xbf)?\{?["']?format["']?[ \t]*:""", re.MULTILINE)
#: Longer words are text, not the name of a file.
_LONGEST_NAME = 1000
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


def find_projects(folder: Path) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Project files below ``folder``, sorted, and the YAML files that are none.

    Hidden folders are left out, links to folders are not followed. Raises InputError when there is none.
    """
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "there is no such folder"
        raise InputError(Problem(what, str(folder), hint="--projects takes a folder of project files"))
    projects: list[Path] = []
    others: list[Path] = []
    for path in _yaml_files(folder):
        (projects if _is_project(path) else others).append(path)
    if not projects:
        hint = "a project file is a .yaml file with the key 'format'"
        raise InputError(Problem("there is no project file in this folder", str(folder), hint=hint))
    return tuple(projects), tuple(others)


def _yaml_files(folder: Path) -> Iterator[Path]:
    found: list[Path] = []
    for place, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        found += [
            Path(place, name)
            for name in files
            if name.lower().endswith(_SUFFIXES) and not name.startswith(".")
        ]
    return iter(sorted(found))


def _is_project(path: Path) -> bool:
    try:
        return bool(_FORMAT.search(path.read_bytes()))
    except OSError:
        return True  # its row will say why it cannot be read


def bundle(path: Path) -> Bundle:
    """The project file at ``path`` with every file it names. Raises InputError when it cannot be read."""
    content = _read(path)
    files = [(path.name, content)]
    fixed: list[tuple[str, str]] = []
    for name in references(content, path.parent):
        there = path.parent / name
        if Path(name).is_absolute():
            fixed.append((name, digest(_read(there))))
        else:
            files.append((name, _read(there)))
    return Bundle(str(path), tuple(files), tuple(fixed))


def references(content: bytes, base: Path) -> tuple[str, ...]:
    """Names in the project text that are files, seen from ``base``.

    Every value of the YAML text is looked at, whatever its key: a file too many does no harm. Text that is no
    YAML names nothing; the worker will say what is wrong with it.
    """
    try:
        here = {_folded(name) for name in os.listdir(base)}
    except OSError:
        here = set()
    names: dict[str, None] = {}
    for value in _values(content):
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


def _values(content: bytes) -> Iterator[str]:
    """Keys and values of a YAML text, by the quick reader that comes with the cluster's libraries.

    It stands beside ``project.source`` because that reader, exact about places, takes a third of the time of
    a whole prediction, and this one runs in the one process that feeds all the workers.
    """
    import yaml

    try:
        for event in yaml.parse(content, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader)):
            if isinstance(event, yaml.ScalarEvent):
                yield event.value
    except (yaml.YAMLError, ValueError, RecursionError):
        return


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(Problem(f"cannot be read: {error.strerror}", str(path))) from None

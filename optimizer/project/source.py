"""YAML text to plain data, with the line and column of every key and value; ``book`` does it for workbooks.

YAML 1.2 rules (``no`` is a word, ``1e3`` a number). Keys are always text. Everything is kept by path, a
tuple of keys and list positions such as ("walls", "bottle", "layers", 0, "thickness").
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from optimizer.catalog.workbook import letters
from optimizer.errors import InputError, Problem

Step = str | int
Location = tuple[Step, ...]

#: More nodes than this is no project file (and stops aliases that multiply without end).
_MOST_NODES = 50_000
#: Nesting beyond this is no project file.
_DEEPEST = 60
#: Endings of mesh files, which some give in place of the project.
_MESHES = (".stl", ".ply", ".obj", ".3mf", ".off", ".glb", ".gltf", ".step", ".stp")
#: A project file larger than this was not written by hand [bytes].
_MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class Mark:
    """Line and column, both from 1; in a quoted text the column of the first character inside the quotes.
    sheet: of a workbook, where line and column are those of a cell."""

    line: int
    column: int
    sheet: str = ""


@dataclass
class Source:
    """What was read. data: plain dict, list, str, int, float, bool, None. values and keys: mark by path;
    homes: where in a workbook something that is missing would stand.
    problems: what is wrong but leaves the rest readable (a key given twice, an unknown YAML tag);
    broken: the paths of their values, of which no more needs to be said."""

    file: str
    path: Path
    data: dict[str, Any]
    sha256: str
    values: dict[Location, Mark] = field(default_factory=dict)
    keys: dict[Location, Mark] = field(default_factory=dict)
    homes: dict[Location, Mark] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    broken: set[Location] = field(default_factory=set)

    def shorten(self, location: Iterable[Step]) -> Location:
        """The longest part of ``location`` that exists in the file."""
        path: Location = ()
        for step in location:
            if (*path, step) not in self.values:
                break
            path = (*path, step)
        return path

    def mark(self, location: Iterable[Step], *, key: bool = False) -> Mark:
        """Where ``location`` stands: its value, or its key; the nearest parent when it is not in the file."""
        place = tuple(location)
        path = self.shorten(place)
        for length in range(len(place), len(path), -1):
            if place[:length] in self.homes:
                return self.homes[place[:length]]
        if path != place or key:
            return self.keys.get(path) or self.values.get(path, Mark(1, 1))
        return self.values.get(path, Mark(1, 1))

    def cell(self, mark: Mark) -> str:
        """'book.xlsx!Materials!C7'; empty where the file is no workbook."""
        return f"{self.file}!{mark.sheet}!{letters(mark.column)}{mark.line}" if mark.sheet else ""

    def problem(
        self, location: Iterable[Step], message: str, hint: str = "", *, key: bool = False, offset: int = 0
    ) -> Problem:
        """A Problem at ``location``; ``offset`` counts characters into the value's text."""
        place = tuple(location)
        mark = self.mark(place, key=key)
        if mark.sheet:
            return Problem(message, self.cell(mark), field=dotted(place), hint=hint)
        exact = self.shorten(place) == place and not key
        column = mark.column + (offset if exact else 0)
        return Problem(message, self.file, mark.line, column, dotted(place), hint)


def dotted(location: Iterable[Step]) -> str:
    """walls.bottle.layers[0].thickness"""
    text = ""
    for step in location:
        if isinstance(step, int):
            text += f"[{step}]"
        else:
            text += f".{step}" if text else step
    return text


def read_source(
    path: Path, shown: str | None = None, *, read: Callable[[Path], bytes] = Path.read_bytes
) -> Source:
    """Read the project file at ``path``; ``shown`` is the name used in messages (default: the path as given),
    ``read`` gives its bytes.

    Raises InputError for a file that cannot be read, is no UTF-8, no YAML, empty or not a group of keys. Keys
    given twice are listed in ``problems``, so that they are reported together with everything else.
    """
    name = shown if shown is not None else str(path)
    if path.suffix.lower() in _MESHES:
        hint = "give it as the 'mesh' of a part; 'layerwright geometry' tells what it holds"
        raise InputError(Problem("is a mesh, not a project file", name, hint=hint))
    try:
        raw = read(path)
    except FileNotFoundError:
        raise InputError(Problem("there is no such file", name)) from None
    except IsADirectoryError:
        raise InputError(
            Problem("is a folder, not a project file", name, hint="give the .yaml file in it")
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(Problem(f"cannot be read: {reason}", name)) from None
    if len(raw) > _MOST_BYTES:
        raise InputError(Problem(f"is {len(raw)} bytes long, too long for a project file", name))
    text = _decode(raw, name)
    source = Source(name, path, {}, hashlib.sha256(raw).hexdigest())
    node = _compose(text, name)
    if node is None:
        raise InputError(
            Problem("the file is empty", name, 1, 1, hint="a project file starts with 'format: 1'")
        )
    if node.id != "mapping":
        raise InputError(
            Problem(
                "the file must be a group of 'key: value' lines",
                name,
                node.start_mark.line + 1,
                node.start_mark.column + 1,
                hint="it starts with 'format: 1', then 'product:', 'package:', ...",
            )
        )
    source.data = _Walker(source).visit(node, (), 0)
    return source


def read_value(text: str) -> Any:
    """The plain data of a short YAML text, such as ``{min: 8 um, max: 300 um}``. Raises InputError with
    everything that is wrong; its places count within ``text``."""
    source = Source("", Path(), {}, "")
    node = _compose(text, "")
    value = None if node is None else _Walker(source).visit(node, (), 0)
    if source.problems:
        raise InputError(source.problems)
    return value


def _decode(raw: bytes, name: str) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = len(before.rpartition(b"\n")[2].decode("utf-8", "replace")) + 1
        raise InputError(
            Problem("the file is not UTF-8 text", name, line, column, hint="save it with the encoding UTF-8")
        ) from None


def _compose(text: str, name: str) -> Any:
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    bad = re.search(r"[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", text)
    if bad:
        line = text.count("\n", 0, bad.start()) + 1
        column = bad.start() - (text.rfind("\n", 0, bad.start()) + 1) + 1
        raise InputError(
            Problem(f"the character U+{ord(bad.group()):04X} cannot stand in YAML", name, line, column)
        )
    try:
        return YAML(typ="safe", pure=True).compose(text)
    except MarkedYAMLError as error:
        raise InputError(_syntax_problem(error, name, text)) from None
    except YAMLError as error:
        raise InputError(Problem(f"is no valid YAML: {_first_line(error)}", name)) from None
    except RecursionError:
        raise InputError(Problem("is nested too deeply to be a project file", name)) from None
    except (ValueError, TypeError, AttributeError, IndexError, AssertionError, KeyError) as error:
        # ruamel lets a few of its own slips through on broken text (for example a damaged %YAML line)
        raise InputError(Problem(f"is no valid YAML: {_first_line(error)}", name)) from None


def _first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


def _syntax_problem(error: Any, name: str, text: str) -> Problem:
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
    said = (error.problem or error.context or "broken YAML").strip()
    lines = text.split("\n")
    here = lines[line - 1] if 0 < line <= len(lines) else ""
    hint = ""
    if "\\t" in said or "\t" in here[: max(column, 1)]:
        tabbed = here if "\t" in here else ""
        column = tabbed.index("\t") + 1 if tabbed else column
        return Problem(
            "a tab cannot be used to indent", name, line, column, hint="use spaces, two for each level"
        )
    if "mapping values are not allowed" in said:
        said = "a ': ' stands where a new key cannot start"
        hint = "check the indentation of this line, or put the text in quotes"
    elif "expected <block end>" in said or "could not find expected ':'" in said:
        said = "this line does not fit the lines above it"
        hint = "a key ends with ': ', and keys of one group start in the same column"
    elif "expected ',' or" in said:
        said = f"a bracket is not closed or a comma is missing before this place ({said})"
    elif "found another document" in said:
        said, hint = "a second document starts here", "one project per file: remove the line '---'"
    elif "undefined alias" in said:
        hint = "a * in front of a word refers to an & of the same name; put the text in quotes if it is text"
    elif "cannot start any token" in said:
        hint = "put the text in quotes"
    return Problem(f"is no valid YAML: {said}", name, line, column, hint=hint)


class _Walker:
    """Builds plain data from the node tree and notes every mark."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.count = 0
        self.last = ""
        self.open: set[int] = set()

    def visit(self, node: Any, path: Location, depth: int) -> Any:
        self.count += 1
        mark = _mark(node)
        self.source.values[path] = mark
        if self.count > _MOST_NODES or depth > _DEEPEST or id(node) in self.open:
            why = "too many values" if self.count > _MOST_NODES else "nested too deeply or within itself"
            if self.count <= _MOST_NODES + 1:
                self.report(mark, path, why, "check the & and * in this file")
                self.source.broken.add(path)
            return None
        if node.id == "scalar":
            return self.scalar(node, path)
        self.open.add(id(node))
        try:
            if node.id == "sequence":
                return [self.visit(item, (*path, i), depth + 1) for i, item in enumerate(node.value)]
            return self.mapping(node, path, depth)
        finally:
            self.open.discard(id(node))

    def mapping(self, node: Any, path: Location, depth: int) -> dict[str, Any]:
        data: dict[str, Any] = {}
        merged: list[Any] = []
        for key, value in node.value:
            if key.id != "scalar":
                self.report(_mark(key), path, "a key must be one word or text", "write 'key: value'")
                continue
            if key.tag == "tag:yaml.org,2002:merge":
                merged.append(value)
                continue
            name, mark = _whole(key.value), _mark(key)
            place = (*path, name)
            if name in data:
                first = self.source.keys[place].line
                self.report(mark, place, f"is given twice, first on line {first}", "keep one of them")
                continue
            if _alone(key, value) and self.split(name, mark, path, list(data)[-1:]):
                continue
            self.source.keys[place] = mark
            data[name] = self.visit(value, place, depth + 1)
        for value in merged:
            for group in value.value if value.id == "sequence" else [value]:
                if group.id != "mapping":
                    self.report(_mark(group), path, "'<<' needs a group of keys to take in", "")
                    continue
                self.merge(data, group, path, depth)
        return data

    def split(self, name: str, mark: Mark, path: Location, before: list[str]) -> bool:
        """A key alone in braces that is the rest of the value before it, or lacks a blank: then say so."""
        if name[:1].isdigit() and before and self.last[-1:].isdigit():
            self.report(
                mark, (*path, *before), "a comma splits this value in two", "use a decimal point, such as 0.5"
            )
            self.source.broken.add((*path, *before))
            return True
        if ":" in name.strip(":"):
            self.source.broken.add(path)
            self.report(mark, path, f"a blank is missing after the colon in '{name}'", "write 'key: value'")
            return True
        return False

    def merge(self, data: dict[str, Any], group: Any, path: Location, depth: int) -> None:
        """Take in the keys of ``group`` that are not given already (YAML merge key)."""
        if id(group) in self.open or depth > _DEEPEST:
            self.report(_mark(group), path, "is nested within itself", "check the & and * in this file")
            return
        self.open.add(id(group))
        kept_values, kept_keys = dict(self.source.values), dict(self.source.keys)
        taken = self.mapping(group, path, depth + 1)
        for name, value in taken.items():
            if name in data:
                own = (*path, name)
                for marks, kept in ((self.source.values, kept_values), (self.source.keys, kept_keys)):
                    for place in [p for p in marks if p[: len(own)] == own]:
                        if place in kept:
                            marks[place] = kept[place]
                        else:
                            del marks[place]
            else:
                data[name] = value
        self.open.discard(id(group))

    def scalar(self, node: Any, path: Location) -> Any:
        tag, text = node.tag, _whole(node.value)
        self.last = text
        kind = tag.rpartition(":")[2]
        if kind not in {"str", "int", "float", "bool", "null", "timestamp"} or not tag.startswith("tag:yaml"):
            self.report(
                _mark(node), path, f"the YAML tag {tag!r} is not known here", "remove the word with !"
            )
            return text
        if kind in {"str", "timestamp"}:
            return text
        if kind == "null":
            return None
        if kind == "bool":
            return text.lower() in {"true", "yes", "on"}
        try:
            return _number(text, kind)
        except ValueError:
            return text

    def report(self, mark: Mark, path: Location, message: str, hint: str) -> None:
        self.source.problems.append(
            Problem(message, self.source.file, mark.line, mark.column, dotted(path), hint)
        )


def _whole(text: str) -> str:
    """Text whose surrogate pairs (from \\u escapes) are joined; a lone surrogate becomes U+FFFD."""
    if text.isascii():
        return text
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _alone(key: Any, value: Any) -> bool:
    """A plain key with nothing behind it, not even null."""
    plain = key.style in (None, "")
    return plain and value.id == "scalar" and value.tag.endswith(":null") and value.value == ""


def _number(text: str, kind: str) -> int | float | str:
    """Number of a plain scalar; digits grouped by _ or in another base stay text, and are refused later."""
    if "_" in text or ":" in text:
        return text
    if kind == "int":
        plain = text.lstrip("+-").lower()
        if plain.startswith(("0x", "0o", "0b")) or len(text) > 300:
            return text
        return int(text, 10)
    lowered = text.lower().lstrip("+-")
    if lowered in {".inf", ".nan"}:
        return float(text.lower().replace(".", "", 1))
    return float(text)


def _mark(node: Any) -> Mark:
    quoted = node.id == "scalar" and node.style in {"'", '"'}
    return Mark(node.start_mark.line + 1, node.start_mark.column + 1 + (1 if quoted else 0))

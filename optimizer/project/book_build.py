"""From the rows of a workbook to the contents of a project file, with the cell of every key and value."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from optimizer.catalog.workbook import Cell, letters
from optimizer.errors import Problem
from optimizer.project.book_cells import Refused, clean, decoded
from optimizer.project.book_layout import KEY, UNIT, UP, VALUE, Column, KeySheet, Named, TableSheet
from optimizer.project.book_names import Names
from optimizer.project.book_path import read_path
from optimizer.project.book_sheets import HOMES, SECTIONS
from optimizer.project.source import Location, Mark, Source, Step, dotted

#: Stands in a cell that could not be read, which was said where it was read.
UNREAD = "\0"


@dataclass(frozen=True)
class Line:
    """A row with something in it: its cells by the title of their column."""

    row: int
    cells: Mapping[str, Cell]


@dataclass(frozen=True)
class Page:
    """A sheet as read. title: its name in the workbook; head: row of its headings; columns: their numbers by
    title."""

    sheet: KeySheet | TableSheet
    title: str
    head: int
    columns: Mapping[str, int]
    lines: tuple[Line, ...]

    def mark(self, line: Line, title: str) -> Mark:
        return Mark(line.row, self.columns.get(title, 1), self.title)


def assemble(pages: Iterable[Page], source: Source) -> None:
    """Fill ``source`` with the contents of the pages; what is wrong goes to its problems."""
    found = {page.sheet.name: page for page in pages}
    _note_homes(found, source)
    builder = _Builder(source)
    for page in found.values():
        if isinstance(page.sheet, TableSheet):
            parts = builder.find(("package", "parts")) if "Parts" in found else None
            listed = [str(part) for part in parts] if isinstance(parts, dict) else None
            names = Names(page.sheet, None if page.sheet.name == "Parts" else listed)
            _Rows(page, page.sheet, builder, names).read()
        elif page.sheet.name != "More":
            _read_keys(page, page.sheet, builder)
    if "More" in found:  # last, so that it finds the entries of the others
        more = found["More"].sheet
        assert isinstance(more, KeySheet)
        _read_keys(found["More"], more, builder)
    data = source.data
    source.data = {key: data[key] for key in (*SECTIONS, *data) if key in data}


def _note_homes(pages: Mapping[str, Page], source: Source) -> None:
    """Where sections begin, for those that are missing."""
    if not pages:
        return
    first = next(iter(pages.values()))
    source.values[()] = Mark(first.head, 1, first.title)
    for path, name in HOMES.items():
        page = pages.get(name)
        if page is not None:
            source.homes[path] = Mark(page.head, min(page.columns.values(), default=1), page.title)


def cell_name(mark: Mark) -> str:
    """'Parts!C7'"""
    return f"{mark.sheet}!{letters(mark.column)}{mark.line}"


class _Builder:
    """Puts values at their paths, and remembers from which cell they are."""

    def __init__(self, source: Source) -> None:
        self.source = source

    def refuse(self, mark: Mark, path: Location, message: str, hint: str = "") -> None:
        """A problem at a cell."""
        cell = f"{self.source.file}!{cell_name(mark)}"
        self.source.problems.append(Problem(message, cell, field=dotted(path), hint=hint))

    def lose(self, path: Location, mark: Mark) -> None:
        """A value that could not be read: it is there, and no more needs to be said of it."""
        if self.find(path) is _NOTHING:
            self.put(path, None, mark, mark)
        self.source.broken.add(path)

    def put(self, path: Location, value: Any, mark: Mark, key: Mark) -> None:
        """``value`` at ``path``; groups and lists on the way are made. A place that is taken is a problem."""
        at: Any = self.source.data
        for i, given in enumerate(path):
            here, last = path[: i + 1], i == len(path) - 1
            step: Any = self._step(at, given)
            if step is None or not isinstance(at, list if isinstance(step, int) else dict):
                self._no_way(path, i, at, key)
                return
            if isinstance(step, int) and step > len(at):
                self.refuse(key, path, f"there is no entry [{len(at)}] before it", "entries count from [0]")
                return
            if step != given:
                self.put((*path[:i], step, *path[i + 1 :]), value, mark, key)
                return
            taken = step in at if isinstance(at, dict) else int(step) < len(at)
            if last and taken:
                where = cell_name(self.source.values[here])
                self.refuse(key, path, f"is given already in {where}", "keep one of them")
                return
            if not taken:
                made = value if last else [] if isinstance(path[i + 1], int) else {}
                at.append(made) if isinstance(at, list) else at.__setitem__(step, made)
                self.source.values.setdefault(here, mark)
                self.source.keys.setdefault(here, key)
            at = at[step]
        self._mark_all(path, value, mark, key)

    def _step(self, at: Any, step: Step) -> Step | None:
        """A name in a list: the number of the entry of that name."""
        if not isinstance(at, list) or isinstance(step, int):
            return step
        found = [
            i for i, entry in enumerate(at) if isinstance(entry, dict) and str(entry.get("name")) == step
        ]
        return found[0] if len(found) == 1 else None

    def _no_way(self, path: Location, i: int, at: Any, key: Mark) -> None:
        if isinstance(at, list):
            message = f"'{dotted(path[:i])}' has no entry, or several, with the name '{path[i]}'"
            self.refuse(key, path, message, f"give its number, as {dotted(path[:i])}[0]")
        elif isinstance(at, dict):
            self.refuse(
                key, path, f"'{dotted(path[:i])}' is a group, not a list", "give a name, not a number"
            )
        else:
            where = cell_name(self.source.values.get(path[:i], key))
            self.refuse(key, path, f"{where} gives one value for '{dotted(path[:i])}'", "keep one of them")

    def _mark_all(self, path: Location, value: Any, mark: Mark, key: Mark) -> None:
        self.source.values.setdefault(path, mark)
        self.source.keys.setdefault(path, key)
        parts: list[tuple[Step, Any]] = []
        if isinstance(value, dict):
            parts = list(value.items())
        elif isinstance(value, list):
            parts = list(enumerate(value))
        for step, part in parts:
            self._mark_all((*path, step), part, mark, key)

    def find(self, path: Location) -> Any:
        """What stands at ``path``, or ``_NOTHING``."""
        at: Any = self.source.data
        for given in path:
            step: Any = self._step(at, given)
            try:
                at = at[step]
            except (KeyError, IndexError, TypeError):
                return _NOTHING
        return at


_NOTHING = object()


# -- sheets of keys ------------------------------------------------------------------------------------------


def _read_keys(page: Page, sheet: KeySheet, builder: _Builder) -> None:
    given: dict[Location, Mark] = {}
    for line in page.lines:
        key, cell = line.cells.get(KEY), line.cells.get(VALUE)
        if key is not None and key.value == UNREAD:
            continue
        if key is None:
            if cell is not None:
                builder.refuse(page.mark(line, VALUE), (), "a value without a key beside it")
            continue
        path = _path_of(str(key.value), sheet)
        where = page.mark(line, KEY)
        if path is None:
            builder.refuse(
                where, (), f"'{clean(str(key.value))}' is not the path of a key", "for example product.mass"
            )
            continue
        if cell is None:
            builder.source.homes.setdefault(path, page.mark(line, VALUE))
            continue
        item = sheet.item(path)
        if item is not None and item.several:
            before = builder.find(path)
            path = (*path, len(before) if isinstance(before, list) else 0)
        elif path in given:
            first = given[path]
            message = f"is given already in {cell_name(first)}"
            builder.refuse(where, path, message, "keep one of them")
            continue
        given[path] = page.mark(line, VALUE)
        column = Column(VALUE, kind=item.kind if item else "any", unit=UNIT)
        value = _value(page, line, column, path, builder, shared=False)
        if value is not _NOTHING:
            builder.put(path, value, page.mark(line, VALUE), where)


def _path_of(text: str, sheet: KeySheet) -> Location | None:
    """The whole path of a key as written, with or without the prefix of its sheet."""
    path = read_path(text.strip() if '"' in text else clean(text))
    if path is None or path[: len(sheet.prefix)] == sheet.prefix:
        return path
    return (*sheet.prefix, *path)


def _value(page: Page, line: Line, column: Column, path: Location, builder: _Builder, *, shared: bool) -> Any:
    """The value of a cell; ``_NOTHING``, and a problem, for one that cannot be taken."""
    beside = line.cells.get(column.unit) if column.unit else None
    unit = clean(str(beside.value)) if beside is not None else ""
    cell, mark = line.cells[column.title], page.mark(line, column.title)
    try:
        if cell.value != UNREAD and unit != UNREAD:
            return decoded(column.kind, cell, unit, shared=shared)
    except Refused as error:
        builder.refuse(mark, path, error.message, error.hint)
    builder.lose(path, mark)
    return _NOTHING


# -- tables --------------------------------------------------------------------------------------------------


class _Rows:
    """Reads one table."""

    def __init__(self, page: Page, sheet: TableSheet, builder: _Builder, names: Names) -> None:
        self.page, self.sheet, self.builder, self.names = page, sheet, builder, names
        self.above: dict[str, Cell] = {}
        units = [column.unit for column in sheet.columns if column.unit]
        self.shared = {unit for unit in units if units.count(unit) > 1}

    def read(self) -> None:
        for line in self.page.lines:
            if all(self._kind(title) in ("unit", "remark") for title in line.cells):
                continue  # a unit that waits for its number
            if self._is_remark(line):
                continue
            base = self._base(line)
            if base is not None and not self._is_there(line):
                self._entry(line, base)

    def _kind(self, title: str) -> str:
        return self.sheet.column(title).kind

    def _is_remark(self, line: Line) -> bool:
        """Whether only a name stands in a row that needs more, which is a problem."""
        first = self.sheet.columns[0].title
        given = [title for title in line.cells if self._kind(title) not in ("unit", "remark")]
        if given != [first] or not self.names.needs_more:
            return False
        text = line.cells[first].value
        if text != UNREAD:
            hint = "fill in the row, or begin a remark with #"
            self.builder.refuse(self.page.mark(line, first), (), f"nothing stands beside '{text}'", hint)
        return True

    def _base(self, line: Line) -> Location | None:
        """Path of the entry of the row; None, and a problem, where a name is missing."""
        path: Location = ()
        for step in self.sheet.base:
            if isinstance(step, str):
                path = (*path, step)
            elif isinstance(step, Named):
                name = self._name(line, step.title)
                if name is None:
                    return None
                path = (*path, name)
                self.builder.source.values.setdefault(path, self.page.mark(line, step.title))
            else:
                before = self.builder.find(path)
                path = (*path, len(before) if isinstance(before, list) else 0)
        return path

    def _name(self, line: Line, title: str) -> str | None:
        cell = line.cells.get(title)
        if cell is None and title in self.sheet.carry:
            cell = self.above.get(title)
        mark = self.page.mark(line, title)
        if cell is None:
            hint = (
                "empty means as in the row above; the first row needs it" if title in self.sheet.carry else ""
            )
            self.builder.refuse(mark, (), f"no {title} is named here", hint)
            return None
        if (
            title in self.sheet.carry and title in line.cells
        ):  # what was right of it in rows above holds no more
            for below in self.sheet.carry[self.sheet.carry.index(title) :]:
                self.above.pop(below, None)
        self.above[title] = cell
        if cell.value == UNREAD:
            return None
        try:
            name = str(decoded("text", cell))
        except Refused as error:
            self.builder.refuse(mark, (), error.message, error.hint)
            return None
        return name if self._is_right(title, name, mark) else None

    def _is_there(self, line: Line) -> bool:
        """Whether the name of an entry of a list stands in a row above, which is a problem."""
        cell = line.cells.get(self.sheet.once) if self.sheet.once else None
        if cell is None or cell.value == UNREAD or isinstance(cell.value, bool):
            return False
        name = str(decoded("text", cell))
        return not self._is_right(self.sheet.once, name, self.page.mark(line, self.sheet.once))

    def _is_right(self, title: str, name: str, mark: Mark) -> bool:
        """Whether a name may stand here; what is wrong with it is a problem."""
        message, hint = self.names.wrong(title, name, mark)
        if message:
            self.builder.refuse(mark, (), message, hint)
        return not message

    def _entry(self, line: Line, base: Location) -> None:
        source = self.builder.source
        start = next(iter(sorted(line.cells.values(), key=lambda cell: cell.column)))
        here = Mark(line.row, start.column, self.page.title)
        entry = self._made(base, line, here)
        if entry is None:
            return
        for column in self.sheet.columns:
            if column.kind in ("unit", "remark") or not column.key:
                continue
            path, mark = _below(entry, column.key), self.page.mark(line, column.title)
            if column.title not in line.cells:
                source.homes.setdefault(path, mark)
                continue
            value = _value(self.page, line, column, path, self.builder, shared=column.unit in self.shared)
            if value is not _NOTHING and not (UP in column.key and self._again(path, value)):
                self.builder.put(self._filled_up(path), value, mark, mark)

    def _made(self, base: Location, line: Line, here: Mark) -> Location | None:
        """The entry, made where it is not there yet; None, and a problem, where it cannot be."""
        kind: Any = [] if any(column.key[:1] == (0,) for column in self.sheet.columns) else {}
        if "materials" in base and Named("material") in self.sheet.base:
            base = self._material(base, line, here)
        found = self.builder.find(base)
        if found is _NOTHING:
            self.builder.put(base, kind, here, here)
            found = self.builder.find(base)
        elif isinstance(found, dict) and self.sheet.base[-1] == Named("kind"):
            self.builder.refuse(here, base, "is given already in a row above", "keep one of them")
            return None
        return base if isinstance(found, dict | list) else None

    def _material(self, base: Location, line: Line, here: Mark) -> Location:
        """The entry of the material that a row is about, made where the sheet of materials has none."""
        name = str(base[1])
        entries = self.builder.find(("materials",))
        known = [e.get("name") for e in entries if isinstance(e, dict)] if isinstance(entries, list) else []
        if name not in [str(other) for other in known]:
            mark = self.page.mark(line, "material")
            self.builder.put(("materials", len(known)), {}, mark, mark)
            self.builder.put(("materials", len(known), "name"), name, mark, mark)
        entries = self.builder.find(("materials",))
        place = next((i for i, e in enumerate(entries) if str(e.get("name")) == name), 0)
        path: Location = ("materials", place, *base[2:-1])
        self.builder.source.values.setdefault(path, self.page.mark(line, "property"))
        before = self.builder.find(path)
        return (*path, len(before) if isinstance(before, list) else 0)

    def _again(self, path: Location, value: Any) -> bool:
        """Whether the same stands in a row above already."""
        return bool(self.builder.find(path) == value)

    def _filled_up(self, path: Location) -> Location:
        """Of a pair of which the first is missing, the second still stands in the second place."""
        entry = self.builder.find(path[:-1])
        while isinstance(path[-1], int) and isinstance(entry, list) and len(entry) < path[-1]:
            entry.append(None)
        return path


def _below(base: Location, key: Location) -> Location:
    path = base
    ups = [step for step in key if step == UP]
    if ups:
        path = base[: -len(ups)]
    return (*path, *key[len(ups) :])

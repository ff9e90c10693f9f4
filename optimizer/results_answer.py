"""What every answer can do: as a plain dict, as tables of pandas, and as a short table in a notebook.

Nothing here computes. pandas is loaded only by ``to_dataframe``.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    import pandas

Row = dict[str, Any]

#: Rows of a table that a notebook shows.
_SHOWN = 20
#: Groups in rows that have other keys in every row, so that columns of them would be mostly empty.
_AS_TEXT = ("symbols",)
#: Plain values in a notebook; longer texts are left to the tables.
_LONGEST = 80


class Answer:
    """Base of the frozen results. main_table: the table that ``to_dataframe`` gives unless asked for another;
    shown: fields that a notebook shows above it."""

    main_table: ClassVar[str] = ""
    shown: ClassVar[tuple[str, ...]] = ()

    def as_dict(self) -> dict[str, Any]:
        """The JSON form of the answer; see docs/project-file.md."""
        return dict(plain(self))

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain dicts, lists, texts and numbers, as ``--json`` writes it."""
        return self.as_dict()

    def tables(self) -> tuple[str, ...]:
        """Names of the tables that ``to_dataframe`` can give."""
        return tuple(name for name, rows in self._tables().items() if rows)

    def _tables(self) -> dict[str, list[Row]]:
        """Rows by table; those of an answer within this one (of ``check``) as 'changed.limits'."""
        found: dict[str, list[Row]] = {}
        for key, value in self.to_dict().items():
            if isinstance(value, dict) and "command" in value:
                found |= {f"{key}.{inner}": _rows(item) for inner, item in value.items()}
            else:
                found[key] = _rows(value)
        return found

    def to_dataframe(self, table: str = "") -> pandas.DataFrame:
        """A table of the answer, one row for each item; a group of numbers in it becomes columns
        'group_name'. Raises ValueError with the names that exist for a table that does not."""
        import pandas

        wanted, tables = table or self.main_table, self._tables()
        if not tables.get(wanted) and wanted != self.main_table:
            known = ", ".join(self.tables())
            raise ValueError(f"there is no table {wanted!r} in this answer; there are: {known}")
        return pandas.DataFrame(tables.get(wanted, []))

    def _facts(self, record: Row) -> list[tuple[str, Any]]:
        return [(key, record[key]) for key in self.shown if record.get(key) is not None]

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        """What IPython shows in a terminal: the few lines of str().
        printer: has ``text(str)``; cycle: true while this very object is being shown."""
        if cycle:
            printer.text(f"{type(self).__name__}(...)")
            return
        printer.text(str(self))

    def __str__(self) -> str:
        """A few lines: key numbers and names of the tables; repr() gives every number of the answer."""
        record = self.to_dict()
        lines = [f"{type(self).__name__}: {record.get('title', '')}"]
        lines += [f"  {key}: {_plain_cell(value)}" for key, value in self._facts(record)]
        lines.append(f"  tables: {', '.join(self.tables())}")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        """What a notebook shows: the yes or no, the key numbers and the main table."""
        record = self.to_dict()
        head = f"<p><b>{_cell(record.get('title', ''))}</b></p>"
        facts = self._facts(record)
        table = "".join(f"<tr><th scope='row'>{_cell(k)}</th><td>{_cell(v)}</td></tr>" for k, v in facts)
        return f"<div>{head}<table>{table}</table>{_html_table(_rows(record.get(self.main_table)))}</div>"


def plain(value: Any) -> Any:
    """Dataclasses, tuples and mappings to what json.dumps takes."""
    if hasattr(value, "__dataclass_fields__"):
        return {k: plain(v) for k, v in value.__dict__.items()}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(v) for v in value]
    return value


def _rows(value: Any) -> list[Row]:
    """The rows in a list of groups, in lists by name (a time series) or in groups by name (structures)."""
    if isinstance(value, list):
        return [_flat(row) for row in value] if value and all(isinstance(x, dict) for x in value) else []
    if not isinstance(value, dict) or not value:
        return []
    columns = list(value.values())
    if all(isinstance(x, list) and x and all(isinstance(y, dict) for y in x) for x in columns):
        return [{"wall": name, **_flat(row)} for name, rows in value.items() for row in rows]
    if all(isinstance(x, list) for x in columns) and len({len(x) for x in columns}) == 1:
        return [dict(zip(value, row, strict=True)) for row in zip(*columns, strict=True)]
    return []


def _flat(row: Row) -> Row:
    """Groups in a row become columns; a structure becomes the text of its layers, symbols of an equation the
    text of the steps that they are from."""
    flat: Row = {}
    for key, value in row.items():
        if key in _AS_TEXT and isinstance(value, dict):
            flat[key] = ", ".join(f"{name} {item}" for name, item in value.items())
            continue
        if isinstance(value, dict) and any(isinstance(x, list) for x in value.values()):
            flat[key] = _structure(value)
        elif isinstance(value, dict):
            flat |= {f"{key}_{name}": item for name, item in value.items()}
        else:
            flat[key] = value
    return flat


def _structure(walls: Mapping[str, Sequence[Row]]) -> str:
    """'HDPE 320 | EVOH 32 12 | HDPE 200': materials and thicknesses [um], walls apart by semicolons."""
    told = []
    for name, layers in walls.items():
        own = " | ".join(f"{x.get('material')} {x.get('thickness_um', 0.0):.6g}" for x in layers)
        told.append(own if len(walls) == 1 else f"{name}: {own}")
    return "; ".join(told)


def _html_table(rows: Sequence[Row]) -> str:
    if not rows:
        return ""
    columns = [key for key in rows[0] if any(row.get(key) not in (None, "", []) for row in rows)]
    head = "".join(f"<th scope='col'>{_cell(key)}</th>" for key in columns)
    body = "".join(
        "<tr>" + "".join(f"<td>{_cell(row.get(key))}</td>" for key in columns) + "</tr>"
        for row in rows[:_SHOWN]
    )
    more = f"<p>{len(rows) - _SHOWN} more rows</p>" if len(rows) > _SHOWN else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"


def _cell(value: Any) -> str:
    return html.escape(_plain_cell(value))


def _plain_cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, dict):
        return ", ".join(f"{k} {_plain_cell(v)}" for k, v in value.items() if v is not None)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    text = str(value)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."

"""Tables of an answer as plain data, one for each sheet; no spreadsheet library is needed for them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from optimizer.report.excel.cells import Share, Value
from optimizer.report.page import Heading, Line, Page, Verdict
from optimizer.report.wording import limit_name
from optimizer.results import ChosenLayer

Row = Mapping[str, Value]
Structure = Mapping[str, Sequence[ChosenLayer]]

#: end of a key of the JSON answer -> unit
_ENDINGS = {
    "_mg_per_kg": "mg/kg",
    "_thickness_um": "um",
    "_kPa": "kPa",
    "_degC": "degC",
    "_pct": "%",
    "_um": "um",
    "_mm": "mm",
    "_cm2": "cm2",
    "_mL": "mL",
    "_ml": "mL",
    "_days": "days",
    "_deg": "deg",
    "_g": "g",
}
#: Keys whose numbers are shares of one: told in per cent, held as they are.
_SHARES = ("probability", "probability_error", "asked", "gap_asked", "index_error", "confidence", "scale")


@dataclass(frozen=True)
class Table:
    """One sheet. about: what it holds, in one sentence; rows: heading -> value, the same headings in all
    rows; units: heading -> unit, in brackets behind the headings (none: units stand in a column, or there
    are no numbers); even: one number format in each column."""

    about: str
    rows: tuple[Row, ...]
    units: Mapping[str, str] = field(default_factory=dict)
    even: bool = False

    @property
    def headings(self) -> tuple[str, ...]:
        """Of all rows, in the order in which they come."""
        return tuple(dict.fromkeys(heading for row in self.rows for heading in row))


def fact(what: str, value: Value, unit: str = "", remark: str = "") -> Row:
    """A row of facts: a name, its value, and the unit in its own column. A unit of one is left out, as it is
    of a share."""
    shown = "" if unit in ("1", "-") or isinstance(value, Share) else unit
    return {"item": what, "value": value, "unit": shown or None, "remark": remark or None}


def heading_of(key: str) -> tuple[str, str]:
    """'O2_pressure_kPa' -> ('O2 pressure', 'kPa'); no unit where the key has none."""
    if key == "days":
        return "time", "days"
    for ending, unit in _ENDINGS.items():
        if key.endswith(ending):
            name = key.removesuffix(ending) + ("_thickness" if ending == "_thickness_um" else "")
            return limit_name(name), unit
    return limit_name(key), ""


def facts_of(record: Mapping[str, Any], units: Mapping[str, str] | None = None) -> Iterator[Row]:
    """Every value of a nested record as a row, what is empty left out; names go down from the outside:
    'corrected to: oxygen gain'.

    units: key at the top -> unit, where the key itself does not tell.
    """
    for key, value in record.items():
        name, unit = heading_of(str(key))
        yield from _facts(name, value, (units or {}).get(str(key), unit), _is_share(str(key)))


def _facts(name: str, value: Any, unit: str, share: bool) -> Iterator[Row]:
    if hasattr(value, "__dataclass_fields__"):
        value = value.__dict__
    if isinstance(value, Mapping):
        for key, item in value.items():
            inner, own = heading_of(str(key))
            yield from _facts(f"{name}: {inner}", item, own or unit, share or _is_share(str(key)))
    elif isinstance(value, list | tuple | set | frozenset):
        for i, item in enumerate(value, 1):
            yield from _facts(name if len(value) == 1 else f"{name} {i}", item, unit, share)
    elif value is not None and value != "":
        yield fact(name, Share(value) if share and isinstance(value, float) else value, unit)


def _is_share(key: str) -> bool:
    return key in _SHARES or key == "reserve" or key.endswith(("_probability", "_probability_error"))


def record_rows(records: Iterable[Mapping[str, Any]]) -> tuple[tuple[Row, ...], dict[str, str]]:
    """Records with keys of the JSON as rows, and the units of their columns."""
    rows: list[Row] = []
    units: dict[str, str] = {}
    for record in records:
        row: dict[str, Value] = {}
        for key, value in record.items():
            name, unit = heading_of(str(key))
            if isinstance(value, Mapping | list | tuple):
                value = "; ".join(f"{r['item']}: {r['value']}" for r in _facts(name, value, unit, False))
            row[name] = value
            units |= {name: unit} if unit else {}
        rows.append(row)
    return tuple(rows), units


def layer_rows(structure: Structure, before: Row | None = None) -> Iterator[Row]:
    """A row for each layer, inside to outside; ``before``: columns that stand in front of it."""
    for wall, layers in structure.items():
        for i, layer in enumerate(layers, 1):
            yield {
                **(before or {}),
                "wall": wall,
                "layer": i,
                "material": layer.material,
                "thickness": layer.thickness_um,
                "mass": layer.mass_g,
                "share of cost": layer.cost_share_pct,
            }


#: Units of ``layer_rows``.
LAYER_UNITS = {"thickness": "um", "mass": "g", "share of cost": "%"}
#: Of these, what is not worked out for every structure.
_SOMETIMES = ("mass", "share of cost")


def listing(texts: Iterable[str], about: str, heading: str = "text") -> Table:
    """Numbered texts."""
    return Table(about, tuple({"no.": i, heading: text} for i, text in enumerate(texts, 1)))


def basis_tables(
    warnings: Iterable[str],
    assumptions: Iterable[str],
    cautions: Iterable[str],
    sources: Iterable[Mapping[str, str]],
) -> dict[str, Table]:
    """What an answer rests on, in full."""
    return {
        "Warnings": listing(warnings, "What is outside the range of its data, or missing."),
        "Assumptions": listing(assumptions, "What was assumed."),
        "Cautions": listing(cautions, "What to keep in mind before a decision rests on this."),
        "Sources": Table(
            "Where each property is from, as printed there, with its grade.",
            tuple({k: _printed(k, v) for k, v in row.items()} for row in sources),
        ),
    }


def _printed(key: str, value: str) -> Value:
    """The value of a property as a number where it is one; '0.17 x 1e-6' stays a text."""
    if key != "value":
        return value
    try:
        return float(value)
    except ValueError:
        return value


def said_facts(page: Page) -> Iterator[Row]:
    """Title, verdict and the sentences beside it, as they stand at the head of the page in the terminal."""
    names = iter(["title"])
    for block in page.blocks:
        if isinstance(block, Heading):
            return
        if isinstance(block, Verdict):
            yield fact("answer", block.text)
        elif isinstance(block, Line) and block.text.strip():
            yield fact(next(names, "in words"), block.text.strip())


class Answered(Protocol):
    """What every answer of a command has."""

    @property
    def command(self) -> str: ...
    @property
    def version(self) -> str: ...
    @property
    def inputs_sha256(self) -> str: ...
    @property
    def warnings(self) -> Iterable[str]: ...
    @property
    def assumptions(self) -> Iterable[str]: ...


def whole(
    result: Answered,
    page: Page,
    facts: Iterable[Row],
    own: Mapping[str, Table],
    *,
    about: str = "The answer.",
    last: Iterable[Row] = (),
    basis: Mapping[str, Table] | None = None,
) -> dict[str, Table]:
    """All sheets of an answer: the first with what ``page`` says, the key ``facts`` and what tells this
    answer from another, then its ``own``, then what it rests on; those that would hold nothing are left out.

    last: rows below those of the first sheet. basis: where it is more than ``result`` itself has.
    """
    identity = (
        fact("command", result.command),
        fact("version", result.version),
        fact("input checksum (SHA-256)", result.inputs_sha256),
    )
    answer = Table(about, (*said_facts(page), *facts, *identity, *last))
    return {"Answer": answer, **filled(own), **filled(basis_of(result) if basis is None else basis)}


def basis_of(result: Answered) -> dict[str, Table]:
    """What an answer itself says of what it rests on."""
    cautions, sources = getattr(result, "cautions", ()), getattr(result, "sources", ())
    return basis_tables(result.warnings, result.assumptions, cautions, sources)


def filled(tables: Mapping[str, Table]) -> dict[str, Table]:
    """Without the tables that hold nothing, and without columns on layers that no row of theirs fills."""
    return {name: _known(table) for name, table in tables.items() if table.rows}


def _known(table: Table) -> Table:
    unknown = {key for key in _SOMETIMES if all(row.get(key) is None for row in table.rows)}
    rows = tuple({k: v for k, v in row.items() if k not in unknown} for row in table.rows)
    return replace(table, rows=rows, units={k: v for k, v in table.units.items() if k not in unknown})


def side_by_side(of: Mapping[str, Mapping[str, Table]]) -> dict[str, Table]:
    """Tables of several packages joined sheet by sheet; the column ``package`` says whose a row is."""
    names = dict.fromkeys(name for tables in of.values() for name in tables)
    joined = {}
    for name in names:
        own = {package: tables[name] for package, tables in of.items() if name in tables}
        first = next(iter(own.values()))
        rows = tuple({"package": p, **row} for p, table in own.items() for row in table.rows)
        units = {heading: unit for table in own.values() for heading, unit in table.units.items()}
        joined[name] = Table(first.about, rows, units, first.even)
    return joined

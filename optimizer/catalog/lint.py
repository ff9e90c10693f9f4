"""What is wrong, or looks wrong, in a property table: the user's own, or the shipped one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optimizer.catalog.load import Shipped, load_shipped
from optimizer.catalog.merge import Locate, UserRows, known_columns, read_inline, read_user_tables
from optimizer.catalog.records import (
    BondRecord,
    DefaultRecord,
    DiffusivityRecord,
    EnergyRecord,
    FamilyRecord,
    PermeabilityRecord,
    PolymerRecord,
    RecyclingRecord,
    read_row,
)
from optimizer.catalog.store import Catalog, key_of
from optimizer.catalog.tables import Row
from optimizer.errors import MaterialError, Problem

#: A permeability this many times outside the range of its family is reported.
OUTSIDE = 10.0
#: Densities of packaging materials [kg/m3].
DENSITIES = (800.0, 2900.0)
#: Above this humidity the gas permeability of hydrophilic polymers rises with humidity; below it some have a
#: shallow minimum (from memory).
RISES_FROM = 0.40


@dataclass(frozen=True)
class Finding:
    """severity: 'error' (the table cannot be used as it is) or 'warning' (it looks wrong)."""

    severity: str
    problem: Problem

    def __str__(self) -> str:
        return f"{self.severity}: {self.problem}"


def lint_tables(paths: Sequence[str | Path], base_dir: Path | None = None) -> list[Finding]:
    """Findings in the user's own table files, read together."""
    user, problems = read_user_tables(paths, base_dir)
    catalog = Catalog(load_shipped(), user)
    found = [Finding("error", p) for p in problems]
    found += [Finding("error", p) for p in catalog.check_user_materials()]
    for origin in user:
        found += [Finding("warning", p) for p in _user_rows(catalog, origin)]
    return _sorted(found)


def lint_entries(
    catalog: Catalog, entries: Sequence[Mapping[str, Any]], file: str, locate: Locate
) -> list[Finding]:
    """What looks wrong in the ``materials`` entries of a project that was read with ``catalog``."""
    rows, problems = read_inline(entries, 1, file, locate)
    found = [Finding("error", p) for p in problems]
    return _sorted([*found, *(Finding("warning", p) for p in _user_rows(catalog, rows))])


def lint_shipped(folder: Path | None = None) -> list[Finding]:
    """Findings in the shipped table."""
    shipped = load_shipped(folder)
    problems: list[Problem] = []
    models: list[tuple[str, Any]] = [
        ("polymers", PolymerRecord),
        ("families", FamilyRecord),
        ("activation", EnergyRecord),
        ("defaults", DefaultRecord),
        ("bonding", BondRecord),
        ("recycling", RecyclingRecord),
    ]
    for name, model in models:
        for row in known_columns(shipped.tables[name], model, problems):
            problems += read_row(model, row)[1]
    permeability: list[tuple[Row, PermeabilityRecord]] = []
    kinds: list[tuple[str, Any]] = [("permeability", PermeabilityRecord), ("diffusivity", DiffusivityRecord)]
    for folder_name, kind in kinds:
        for table in shipped.sources[folder_name].values():
            for row in known_columns(table, kind, problems):
                record, wrong = read_row(kind, row)
                problems += wrong
                if isinstance(record, PermeabilityRecord) and not wrong:
                    permeability.append((row, record))
    if problems:
        return _sorted([Finding("error", p) for p in problems])
    catalog = Catalog(shipped)
    found = [Finding("error", p) for p in _keys(shipped)]
    found += [Finding("error", p) for p in _known_materials(catalog, permeability)]
    if not found:
        found += [Finding("error", p) for p in _duplicates(permeability)]
        found += [Finding("warning", p) for p in _humidity_points(catalog, permeability)]
        found += [
            Finding("warning", p) for p in _densities(catalog.polymer(n).record for n in catalog.names())
        ]
    return _sorted(found)


def _sorted(found: Iterable[Finding]) -> list[Finding]:
    unique = dict.fromkeys(found)
    return sorted(unique, key=lambda f: (f.problem.file, f.problem.line, f.problem.column, f.problem.field))


# the user's rows ----------------------------------------------------------------------------------


def _user_rows(catalog: Catalog, origin: UserRows) -> list[Problem]:
    rows = list(origin.permeability)
    checks: list[Callable[[Catalog, list[tuple[Row, PermeabilityRecord]]], list[Problem]]] = [
        _outside_family,
        _missing_conditions,
        _humidity_points,
    ]
    problems = [p for check in checks for p in check(catalog, rows)]
    problems += _duplicates(rows)
    problems += _spreads([*rows, *origin.diffusivity])
    sourced = [(row, r.source) for row, r in rows] + [(row, r.source) for row, r in origin.diffusivity]
    for row, source in sourced:
        if not source:
            problems.append(row.problem("source", "no source given", hint="e.g. the data sheet and its date"))
    named: dict[str, Row] = {}
    for row, facts in origin.polymers:
        first = named.setdefault(key_of(facts.name), row)
        if first is not row:
            problems.append(row.problem("name", f"{facts.name!r} stands already in {first.told}"))
        problems += _density(row, facts)
        if facts.family and facts.family not in catalog.bonding.families:
            known = ", ".join(sorted(catalog.bonding.families))
            problems.append(
                row.problem(
                    "family", f"the bonding table has no family {facts.family!r}", hint=f"it has {known}"
                )
            )
    return problems


def _known(catalog: Catalog, name: str) -> bool:
    try:
        catalog.resolve(name)
    except MaterialError:
        return False
    return True


def _outside_family(catalog: Catalog, rows: list[tuple[Row, PermeabilityRecord]]) -> list[Problem]:
    problems = []
    for row, record in rows:
        if not _known(catalog, record.material):
            continue
        family = catalog.polymer(record.material).record.family
        if record.best == 0.0 and family != "foil":
            hint = "below the detection limit? then give the limit"
            problems.append(row.problem("value", "0 makes the material impermeable", hint=hint))
        band = catalog.family_band(family, record.gas)
        if band is None or record.best == 0.0:
            continue
        over, under = record.best / band.high, band.low / record.best
        if max(over, under) > OUTSIDE:
            side = f"{over:.0f} times above" if over > OUTSIDE else f"{under:.0f} times below"
            problems.append(
                row.problem(
                    "value",
                    f"{side} every row of the family {family}",
                    hint="is it the unit, or the thickness, or the wrong column?",
                )
            )
    return problems


def _missing_conditions(catalog: Catalog, rows: list[tuple[Row, PermeabilityRecord]]) -> list[Problem]:
    problems = []
    for row, record in rows:
        if record.humidity is None and record.gas != "H2O":
            problems.append(
                row.problem("humidity", "no humidity given, it is taken as dry", hint="e.g. 50 %")
            )
    return problems


def _spreads(rows: Sequence[tuple[Row, PermeabilityRecord] | tuple[Row, DiffusivityRecord]]) -> list[Problem]:
    """A property has one spread, and no measurement is exact."""
    seen: dict[tuple[Any, ...], tuple[Row, float]] = {}
    problems = []
    for row, r in rows:
        if r.spread is None:
            continue
        if r.spread == 0.0:
            hint = "leave it empty where it is not known"
            problems.append(row.problem("spread", "0 % says that the value is exact", hint=hint))
        first, spread = seen.setdefault((type(r), key_of(r.material), r.gas), (row, r.spread))
        if spread != r.spread:
            message = f"{first.told} gives {100 * spread:g} % for the same property"
            problems.append(row.problem("spread", message, hint="the largest counts for all its rows"))
    return problems


# both ---------------------------------------------------------------------------------------------


def _duplicates(rows: list[tuple[Row, PermeabilityRecord]]) -> list[Problem]:
    seen: dict[tuple[Any, ...], Row] = {}
    problems = []
    for row, r in rows:
        key = (
            row.file,
            key_of(r.material),
            r.gas,
            r.temperature,
            r.humidity,
            r.humidity_far,
            r.thickness,
            r.note,
            r.source,
        )
        if key in seen:
            problems.append(
                row.problem("material", f"the same material, gas and conditions as {seen[key].told}")
            )
        seen.setdefault(key, row)
    return problems


def _humidity_points(catalog: Catalog, rows: list[tuple[Row, PermeabilityRecord]]) -> list[Problem]:
    groups: dict[tuple[Any, ...], list[tuple[Row, PermeabilityRecord]]] = {}
    for row, r in rows:
        if r.humidity is not None:
            far = r.humidity_far or 0.0
            groups.setdefault((row.file, key_of(r.material), r.gas, r.temperature, far), []).append((row, r))
    problems = []
    for group in groups.values():
        ordered = sorted(group, key=lambda pair: pair[1].humidity or 0.0)
        for (_, a), (row, b) in zip(ordered, ordered[1:], strict=False):
            dry, wet = a.humidity or 0.0, b.humidity or 0.0
            if wet <= dry or a.thickness != b.thickness:
                continue
            if b.gas == "H2O" and b.best * (wet - (b.humidity_far or 0)) <= a.best * (
                dry - (a.humidity_far or 0)
            ):
                problems.append(
                    row.problem("value", f"less water passes at {100 * wet:.0f} % than at {100 * dry:.0f} %")
                )
            elif b.gas != "H2O" and dry >= RISES_FROM and b.best < a.best * 0.999:
                problems.append(
                    row.problem(
                        "value",
                        f"lower at {100 * wet:.0f} %RH than at {100 * dry:.0f} %RH",
                        hint="swapped rows?",
                    )
                )
    return problems


def _density(row: Row, facts: PolymerRecord) -> list[Problem]:
    if facts.density is None or DENSITIES[0] <= facts.density <= DENSITIES[1]:
        return []
    return [
        row.problem(
            "density", f"{facts.density / 1e3:g} g/cm3 is unusual", hint="0.8 to 2.9 g/cm3 is expected"
        )
    ]


def _densities(facts: Iterable[PolymerRecord]) -> list[Problem]:
    problems = []
    for record in facts:
        low, density, high = record.density_low, record.density, record.density_high
        inside = density is not None and DENSITIES[0] <= density <= DENSITIES[1]
        if not inside or (low and high and density and not low <= density <= high):
            problems.append(
                Problem("density outside its band", file="materials/polymers.csv", field=record.name)
            )
    return problems


# the shipped table only ---------------------------------------------------------------------------


def _keys(shipped: Shipped) -> list[Problem]:
    known = {row.get("key") for row in shipped.tables["references"].rows}
    problems = []
    for folder, tables in shipped.sources.items():
        for key, table in tables.items():
            if key not in known:
                problems.append(
                    Problem("no such key in references.csv", file=table.file, field=folder, hint=key)
                )
            if table.fact("source") != key:
                problems.append(Problem("'# source:' differs from the file name", file=table.file))
            for fact in ("citation", "conversion", "transcribed"):
                if not table.fact(fact):
                    problems.append(Problem(f"the header line '# {fact}:' is missing", file=table.file))
    for name, column in (
        ("polymers", "density_source"),
        ("activation", "source"),
        ("bonding", "source"),
        ("recycling", "source"),
    ):
        for row in shipped.tables[name].rows:
            if row.get(column) not in known:
                problems.append(row.problem(column, f"no key {row.get(column)!r} in references.csv"))
    for row in shipped.tables["defaults"].rows:
        if row.get("use") not in known | {"evaluated"}:
            problems.append(row.problem("use", f"no key {row.get('use')!r} in references.csv"))
    return problems


def _known_materials(catalog: Catalog, rows: list[tuple[Row, PermeabilityRecord]]) -> list[Problem]:
    names = {key_of(name) for name in catalog.names()}
    families = {f"family:{name}".casefold() for name in catalog.families}
    found = [*((row, row.get("material")) for row, _ in rows)]
    found += [(row, row.get("material")) for _, row in catalog.shipped.rows("diffusivity")]
    found += [(row, row.get("material")) for row in catalog.shipped.tables["defaults"].rows]
    problems = [
        row.problem("material", f"there is no material {name!r} in polymers.csv")
        for row, name in found
        if key_of(name) not in names | families
    ]
    for row in catalog.shipped.tables["polymers"].rows:
        if row.get("family") not in catalog.families:
            problems.append(row.problem("family", f"no family {row.get('family')!r} in families.csv"))
    for row in catalog.shipped.tables["activation"].rows:
        if key_of(row.get("subject")) not in names | {key_of(f) for f in catalog.families}:
            problems.append(row.problem("subject", "neither a material nor a family"))
    return problems

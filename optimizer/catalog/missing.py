"""What is missing, or does not fit together, in the user's own materials once they lie over the table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import TYPE_CHECKING

from optimizer.catalog.build import COATING, NO_FAMILY, gauge_of
from optimizer.catalog.merge import UserRows
from optimizer.catalog.names import key_of
from optimizer.catalog.polymer import PolymerRecord
from optimizer.catalog.records import DiffusivityRecord, PermeabilityRecord
from optimizer.catalog.tables import Row
from optimizer.errors import Problem

if TYPE_CHECKING:
    from optimizer.catalog.store import Catalog


def missing_in(catalog: Catalog, user: Sequence[UserRows], names: Mapping[str, str]) -> list[Problem]:
    """Problems of the user's rows; ``names``: every known name, lower case, and the material it means."""
    problems: list[Problem] = []
    for origin in user:
        for row, record in origin.polymers:
            if catalog.is_user(record.name) and catalog.polymer(record.name).record.density is None:
                problems.append(
                    row.problem(
                        "density",
                        f"the new material {record.name!r} needs a density",
                        hint="for example 'density: 0.92 g/cm3'",
                    )
                )
            else:
                problems += _prices(catalog, row, record) + _carriers(catalog, row, record)
        rows: list[tuple[Row, PermeabilityRecord] | tuple[Row, DiffusivityRecord]] = []
        rows += [*origin.permeability, *origin.diffusivity]
        for row, entry in rows:
            if key_of(entry.material) not in names:
                close = get_close_matches(key_of(entry.material), names, n=1, cutoff=0.6)
                near = f"did you mean {names[close[0]]}? " if close else ""
                problems.append(
                    row.problem(
                        "material",
                        f"there is no material {entry.material!r}",
                        hint=near + "a new one also needs an entry with name and density",
                    )
                )
    return list(dict.fromkeys(problems))


def _prices(catalog: Catalog, row: Row, record: PolymerRecord) -> list[Problem]:
    """A price per area needs a fixed gauge; price and cost of a pass need one currency."""
    facts = catalog.polymer(record.name).record
    problems = []
    low, high = gauge_of(facts)
    if record.price is not None and record.price.kind == "price per area" and low != high:
        several = len(facts.gauges) > 1
        problems.append(
            row.problem(
                "price",
                "a price per m2 is that of one gauge"
                + (", and there are several" if several else ", and the gauge is not fixed"),
                hint="write one material for each gauge, or give the price per kg"
                if several
                else "add 'gauge: 12 um' or 'coat_weight: 3 g/m2' beside it, or give the price per kg",
            )
        )
    currencies = {p.currency for p in (facts.price, facts.pass_cost) if p is not None}
    here = next((c for c in ("pass_cost", "price") if row.get(c)), "")
    if len(currencies) > 1 and here and not (row.get("pass_cost") and row.get("price")):
        problems.append(
            row.problem(
                here, "price and pass_cost are in different currencies", hint="give both in one currency"
            )
        )
    return problems


def _carriers(catalog: Catalog, row: Row, record: PolymerRecord) -> list[Problem]:
    known = {*catalog.families, *(r.family for _, r in _polymers(catalog))} - {"", NO_FAMILY, COATING}
    problems = []
    for name in record.carrier:
        if name not in known:
            close = get_close_matches(name, known, n=1, cutoff=0.6)
            problems.append(
                row.problem(
                    "carrier",
                    f"there is no family {name!r}",
                    hint=f"did you mean {close[0]}?" if close else "families such as PET, PP, PA",
                )
            )
    return problems


def _polymers(catalog: Catalog) -> list[tuple[Row, PolymerRecord]]:
    return [pair for origin in catalog.user for pair in origin.polymers]

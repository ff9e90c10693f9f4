"""Text and JSON of the property table: the list, one material with all its rows, and what lint found."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from optimizer.constants import PERMEANTS, ZERO_CELSIUS
from optimizer.physics.material import Band, Material, SourceNote
from optimizer.report.cautions import shortened
from optimizer.report.page import Column, Page, number, word
from optimizer.report.trade import GAS_UNIT, WATER_UNIT, gas_permeability, water_transmission
from optimizer.report.wording import figure, in_units, printed, with_unit
from optimizer.shelflife.words import span
from optimizer.units.systems import SI, System

if TYPE_CHECKING:
    from optimizer.catalog import Catalog
    from optimizer.errors import Problem

#: Grades from the best to the worst; the user's own data are not judged.
_GRADES = ("user", "measured", "producer", "handbook", "memory", "estimate")
_GRADED = (
    "Grade: the weakest among the rows used for O2, CO2 and H2O. Typical values of generic polymers; "
    "data of your supplier come first."
)

_EVALUATED = "Evaluated between the published sources for this table; the basis stands with the value"


def weakest_grade(sources: Sequence[SourceNote]) -> str:
    """The weakest grade among the permeability sources of a material."""
    grades = [s.grade for s in sources if s.gas in PERMEANTS]
    return max(grades, key=lambda g: _GRADES.index(g) if g in _GRADES else len(_GRADES), default="")


def _conditions(units: System = SI) -> tuple[str, str]:
    gas, water = units.unit(GAS_UNIT), units.unit(WATER_UNIT)
    at = f"{_degrees(23.0, units)}, dry", f"{_degrees(38.0, units)}, 90 % RH against dry"
    return f"O2, CO2 in {gas} at {at[0]}; H2O in {water} at {at[1]}.", _GRADED


def _degrees(celsius: float, units: System) -> str:
    """The temperature of a test: '23 degC', '73.4 degF', '100.4 degF'."""
    return with_unit(celsius, "degC", 4, units)


def list_page(materials: Sequence[Material], *, units: System = SI) -> Page:
    """One line per material. units: that numbers are shown in; density in g/cm3 always."""
    page = Page().line(f"{len(materials)} materials", "bold").line()
    columns = [Column("name"), Column("family"), number("g/cm3"), number("O2"), number("CO2"), number("H2O")]
    page.table(
        [*columns, word("grade")],
        [
            [
                material.name,
                material.family,
                figure(material.density / 1e3),
                in_units(gas_permeability(material, "O2"), GAS_UNIT, units),
                in_units(gas_permeability(material, "CO2"), GAS_UNIT, units),
                in_units(water_transmission(material), WATER_UNIT, units),
                weakest_grade(material.sources),
            ]
            for material in materials
        ],
    )
    page.line()
    for text in _conditions(units):
        page.line(text)
    return page


def list_record(materials: Sequence[Material]) -> dict[str, Any]:
    """The list as plain data."""
    return {
        "command": "materials list",
        "assumptions": list(_conditions()),
        "materials": [_facts(material) for material in materials],
    }


def _facts(material: Material) -> dict[str, Any]:
    return {
        "name": material.name,
        "family": material.family,
        "density_kg_per_m3": material.density,
        "price_per_kg": material.price,
        "currency": material.currency,
        "gauge_um": [length * 1e6 for length in material.gauge],
        "roles": sorted(material.roles),
        "permeability": [
            *(
                {"gas": gas, "value": gas_permeability(material, gas), "unit": GAS_UNIT}
                for gas in PERMEANTS
                if gas in material.gases
            ),
            *(
                [{"gas": "H2O", "value": water_transmission(material), "unit": WATER_UNIT}]
                if material.water
                else []
            ),
        ],
        "grade": weakest_grade(material.sources),
    }


def show_page(catalog: Catalog, name: str, *, units: System = SI) -> Page:
    """One material: its facts, every row with the used ones marked, why they won, and the sources. units: of
    the facts; rows stand as their source prints them."""
    material = catalog.material(name)
    page = Page().line(f"{material.name}, family {material.family}", "bold").line()
    if material.name != name:
        page.line(f"({name} is another name for it)")
    page.table([Column("property"), Column("value")], _properties(material, units))
    cited: dict[str, str] = {}
    for gas in PERMEANTS:
        _candidates(page, catalog, material, gas, cited, units)
    _diffusivities(page, catalog, material, cited, units)
    page.bullets("Notes", shortened(material.notes))
    if units.name != SI.name:
        page.line().line("Values of sources, their conditions and notes keep the units of their source.")
    if cited:
        page.heading("Sources")
    for i, text in enumerate(cited.values(), start=1):
        page.hanging(f"[{i}]", text)
    return page


def _properties(material: Material, units: System) -> list[list[str]]:
    price = with_unit(material.price, f"{material.currency}/kg", 4, units)
    mild, hot = _degrees(23.0, units), _degrees(38.0, units)

    def gas(name: str, humidity: float = 0.0) -> str:
        return _known(gas_permeability(material, name, humidity), GAS_UNIT, units)

    return [
        ["density", f"{figure(material.density / 1e3, 4)} g/cm3"],
        ["gauge of one layer", _gauge(material, units)],
        ["roles", ", ".join(sorted(material.roles)) or "none"],
        ["price", "none: give your own" if material.price is None else price],
        [f"O2 at {mild}, dry", gas("O2")],
        *([[f"O2 at {mild}, 85 % RH", gas("O2", 0.85)]] if _responds(material) else []),
        [f"CO2 at {mild}, dry", gas("CO2")],
        [f"N2 at {mild}, dry", gas("N2")],
        [f"H2O at {hot}, 90 % RH", _known(water_transmission(material), WATER_UNIT, units)],
        *_scavenger(material, units),
    ]


def _gauge(material: Material, units: System) -> str:
    least, most = (units.value(length * 1e6, "um") for length in material.gauge)
    unit = units.unit("um")
    return f"{figure(least)} {unit} (fixed)" if least == most else span(least, most, unit)


def _known(value: float | None, unit: str, units: System) -> str:
    return "unknown" if value is None else with_unit(value, unit, units=units)


def _responds(material: Material) -> bool:
    """Whether humidity matters for the oxygen."""
    law = material.gases.get("O2")
    return law is not None and law.humidity_sensitive


def _scavenger(material: Material, units: System) -> list[list[str]]:
    """A row where the material uses up a gas."""
    found = {s.gas: f"{s.value} {s.unit}".strip() for s in material.sources}
    uses = material.scavenger
    if uses is None:
        return []
    what = f"{uses.gas} scavenger"
    rate = f"{found[what]} at {_degrees(uses.temperature - ZERO_CELSIUS, units)}"
    capacity = found.get(f"{what} capacity")
    return [[what, f"{rate}, up to {capacity}" if capacity else f"{rate}, without end"]]


def _spread_used(band: Band, units: System) -> str:
    return f"Spread used: {figure(100 * band.spread, 2)} % ({units.text(band.origin)})."


def _diffusivities(
    page: Page, catalog: Catalog, material: Material, cited: dict[str, str], units: System
) -> None:
    """The diffusivities that are used; a layer without one stores nothing of the gas."""
    found = {gas: catalog.diffusivity(material.name, gas) for gas in material.diffusivity}
    lines = []
    for gas, chosen in found.items():
        if chosen is not None:
            row, record, key, _ = chosen
            cited.setdefault(key, catalog.shipped.citation(key))
            value = printed(row.get("value"), row.get("unit"))
            at = f"[{list(cited).index(key) + 1}]"
            lines.append([gas, value, row.get("temperature"), record.grade, at])
    if not lines:
        return
    page.heading("Diffusivity")
    page.table([word(""), Column("value"), Column("conditions"), word("grade"), word("source")], lines)
    for gas in found:
        band = material.bands.get(f"{gas} diffusivity")
        if band is not None:
            page.indented(f"{gas}: {_spread_used(band, units)}")


def _candidates(
    page: Page, catalog: Catalog, material: Material, gas: str, cited: dict[str, str], units: System
) -> None:
    name = material.name
    rows = _rows(catalog, name, gas)
    if not rows:
        return
    cited.update({row["key"]: row["source"] for row in rows})
    page.heading(gas)
    page.table(
        [word(""), Column("value"), Column("conditions"), word("grade"), word("source")],
        [
            [
                "used" if row["used"] else "",
                printed(row["value"], row["unit"]),
                row["conditions"],
                row["grade"],
                f"[{list(cited).index(row['key']) + 1}]",
            ]
            for row in rows
        ],
    )
    selection = catalog.selection(name, gas)
    if selection is not None:
        page.indented(f"Used because: {selection.reason}.")
    band = catalog.band(name, gas)
    if band is not None and band.low < band.high:
        spread = band.high / band.low
        at = f" at {band.at}" if band.at else ""
        page.indented(f"Sources differ by a factor of {figure(spread, 2)}{at}.")
    if gas in material.bands:
        page.indented(_spread_used(material.bands[gas], units))


def _rows(catalog: Catalog, name: str, gas: str) -> list[dict[str, Any]]:
    """Every candidate row, the used ones first."""
    selection = catalog.selection(name, gas)
    chosen = selection.chosen if selection else ()
    others = [c for c in catalog.candidates(name, gas) if c not in chosen]
    return [
        {
            "gas": gas,
            "used": candidate in chosen,
            "value": candidate.printed,
            "unit": candidate.row.get("unit"),
            "conditions": candidate.conditions,
            "grade": candidate.grade,
            "key": candidate.source,
            "source": _EVALUATED
            if candidate.source == "evaluated"
            else catalog.shipped.citation(candidate.source),
            "note": catalog.shipped.readable(candidate.record.note),
            "place": candidate.row.where,
        }
        for candidate in (*chosen, *others)
    ]


def show_record(catalog: Catalog, name: str) -> dict[str, Any]:
    """One material as plain data."""
    material = catalog.material(name)
    selections = {gas: catalog.selection(material.name, gas) for gas in PERMEANTS}
    return {
        "command": "materials show",
        "title": material.name,
        "warnings": list(material.notes),
        "sources": [vars(note) for note in material.sources],
        **_facts(material),
        "rows": [row for gas in PERMEANTS for row in _rows(catalog, material.name, gas)],
        "spreads": {
            of: {"spread_pct": 100 * band.spread, "origin": band.origin, "source": band.source}
            for of, band in material.bands.items()
        },
        "reasons": {gas: s.reason for gas, s in selections.items() if s is not None},
    }


def lint_page(file: str, problems: Sequence[Problem], warnings: Sequence[Problem]) -> Page:
    """What is wrong in a table, then what looks odd; one line each, never wrapped."""
    page = Page()
    if not problems and not warnings:
        return page.verdict(f"GOOD: nothing wrong in {file}.", True)
    counts = [_count(len(problems), "problem"), _count(len(warnings), "warning")]
    head = "WRONG" if problems else "USABLE"
    page.verdict(f"{head}: {', '.join(c for c in counts if c)} in {file}.", not problems)
    for problem in problems:
        page.raw(f"  {problem}")
    for warning in warnings:
        page.raw(f"  warning: {warning}")
    return page


def _count(count: int, what: str) -> str:
    return "" if count == 0 else f"{count} {what}{'' if count == 1 else 's'}"


def lint_record(file: str, problems: Sequence[Problem], warnings: Sequence[Problem]) -> dict[str, Any]:
    """What lint found as plain data."""
    return {
        "command": "materials lint",
        "title": file,
        "warnings": [str(p) for p in warnings],
        "passes": not problems,
        "problems": [vars(p) for p in problems],
        "oddities": [vars(p) for p in warnings],
    }

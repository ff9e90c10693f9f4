"""One material of the physics from the catalogue's rows, with the source of every number and every
caution."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.catalog.choose import EVALUATED, Candidate, Selection
from optimizer.catalog.laws import ASSUMED_GAS_ENERGY, EnergyUsed, KnownEnergy, gas_law, water_law
from optimizer.catalog.polymer import PolymerRecord, may_touch_food
from optimizer.catalog.records import DiffusivityRecord
from optimizer.catalog.scavenger import scavenging
from optimizer.catalog.spread import diffusivity_band, permeability_band
from optimizer.catalog.tables import Row
from optimizer.constants import GASES
from optimizer.errors import MaterialError
from optimizer.physics.material import Band, DiffusionLaw, Material, SourceNote
from optimizer.physics.permeability import GasLaw, WaterLaw

if TYPE_CHECKING:
    from optimizer.catalog.store import Catalog, Polymer

#: Gauge of a user's material that states none [m].
ANY_GAUGE = (1e-6, 5e-3)
#: Family of a user's material that states none; the bonding table knows no such family.
NO_FAMILY = "unspecified"
#: Family of a user's coating that states none.
COATING = "coating"


def build_material(catalog: Catalog, name: str) -> Material:
    """Material ``name`` (its own name, not an alias)."""
    polymer = catalog.polymer(name)
    facts = polymer.record
    if facts.density is None:
        raise MaterialError(f"material {name!r} has no density", hint="add density, e.g. 0.92 g/cm3")
    family = facts.family or (COATING if facts.carrier else NO_FAMILY)
    notes = [] if family != NO_FAMILY else ["no family given: the bonding table has no rule for it"]
    where = polymer.sources.get("density", "")
    grade = "user" if "density" in polymer.user else _fact_grade(catalog, where)
    sources = [SourceNote(name, "density", f"{facts.density / 1e3:g}", "g/cm3", where, grade)]
    sensitive = catalog.humidity_sensitive(family)
    gases: dict[str, GasLaw] = {}
    bands: dict[str, Band] = {}
    for gas in GASES:
        selection = catalog.selection(name, gas)
        if selection is not None:
            known = catalog.energy(name, family, gas)
            gases[gas], energy, said = gas_law(gas, selection.chosen, known, sensitive)
            notes += said
            _note_band(bands, gas, permeability_band(selection), gases[gas].blocks)
            sources += _sources(catalog, name, gas, selection, energy, known)
    water: WaterLaw | None = None
    selection = catalog.selection(name, "H2O")
    if selection is not None:
        known = catalog.energy(name, family, "H2O")
        water, energy, said = water_law(selection.chosen, known, sensitive)
        notes += said
        _note_band(bands, "H2O", permeability_band(selection), water.blocks)
        sources += _sources(catalog, name, "H2O", selection, energy, known)
    diffusivity = _diffusion(catalog, name, sources, notes, bands)
    given = catalog.scavenger(name)
    uses = scavenging(*given, name, facts.density, gases, diffusivity) if given else None
    if uses is not None:
        notes += uses.notes
        sources += uses.sources
    if facts.glass_transition is not None:
        grade = "user" if "glass_transition" in polymer.user else "memory"
        celsius = f"{facts.glass_transition - 273.15:g}"
        where = polymer.sources["glass_transition"]
        sources.append(SourceNote(name, "glass transition", celsius, "degC", where, grade))
    gauge = gauge_of(facts)
    return Material(
        name=name,
        family=family,
        density=facts.density,
        gases=gases,
        water=water,
        price=_price(facts, gauge),
        currency=next((p.currency for p in (facts.price, facts.pass_cost) if p), ""),
        gauge=gauge,
        roles=facts.roles or (frozenset({"coating"}) if facts.carrier else frozenset()),
        diffusivity=diffusivity,
        glass_transition=facts.glass_transition,
        sources=tuple(sources),
        notes=tuple(dict.fromkeys(catalog.shipped.readable(note) for note in notes)),
        recycling_family=facts.recycling_family,
        gauges=tuple(sorted(facts.gauges)) if len(facts.gauges) > 1 else (),
        pass_cost=facts.pass_cost.value if facts.pass_cost else 0.0,
        recycled_content=facts.recycled_content or 0.0,
        food_contact=_food_contact(polymer),
        contains=catalog.contents(facts),
        carrier=frozenset(facts.carrier),
        bands=bands,
        scavenger=uses.scavenger if uses else None,
    )


def _note_band(bands: dict[str, Band], of: str, band: Band | None, blocks: bool) -> None:
    if band is not None and not blocks:
        bands[of] = band


def gauge_of(facts: PolymerRecord) -> tuple[float, float]:
    """Least and most thickness of one layer [m]."""
    if facts.gauges:
        return min(facts.gauges), max(facts.gauges)
    if facts.coat_weight is not None and facts.density:
        return (facts.coat_weight / facts.density,) * 2
    return facts.gauge_min or ANY_GAUGE[0], facts.gauge_max or max(ANY_GAUGE[1], facts.gauge_min or 0.0)


def _price(facts: PolymerRecord, gauge: tuple[float, float]) -> float | None:
    """Price per mass; one per area is that of the web or coat at its one gauge."""
    if facts.price is None:
        return None
    if facts.price.kind == "price per mass":
        return float(facts.price.value)
    if gauge[0] != gauge[1] or not facts.density:
        raise MaterialError(f"material {facts.name!r}: a price per m2 needs one fixed gauge")
    return float(facts.price.value) / (facts.density * gauge[0])


def _food_contact(polymer: Polymer) -> bool | None:
    """The user's own word; else what the table says of the generic polymer."""
    facts = polymer.record
    if "food_contact" in polymer.user:
        return may_touch_food(facts.food_contact)
    return {"yes": True, "no": False}.get(facts.contact_layer)


def _fact_grade(catalog: Catalog, citation: str) -> str:
    return "memory" if citation == catalog.shipped.citation("from_memory") else "handbook"


def citation_of(catalog: Catalog, candidate: Candidate) -> str:
    """Where a candidate comes from, in full, with its test conditions."""
    if candidate.source == EVALUATED:
        return f"evaluated: {catalog.shipped.readable(candidate.record.note)}; {candidate.conditions}"
    shown = catalog.shipped.citation(candidate.source)
    if candidate.rank and candidate.record.source:
        shown = f"{shown} ({candidate.row.where})"
    return f"{shown}; {candidate.conditions}"


def _sources(
    catalog: Catalog, name: str, gas: str, selection: Selection, energy: EnergyUsed, known: KnownEnergy | None
) -> list[SourceNote]:
    notes = [
        SourceNote(name, gas, c.printed, c.row.get("unit"), citation_of(catalog, c), c.grade)
        for c in selection.chosen
    ]
    what = f"{gas} activation energy"
    if energy.origin == "table" and known is not None:
        value, _, unit = known.printed.partition(" ")
        notes.append(SourceNote(name, what, value, unit, catalog.shipped.citation(known.source), known.grade))
    elif energy.origin == "assumed":
        notes.append(
            SourceNote(name, what, f"{energy.value / 1e3:g}", "kJ/mol", "assumed, no source", "estimate")
        )
    elif energy.value or energy.origin == "fitted":
        by = (
            "fitted to the rows of several temperatures"
            if energy.origin == "fitted"
            else "stated by the rows"
        )
        grade = selection.chosen[0].grade
        where = f"{by}: {citation_of(catalog, selection.chosen[0])}"
        notes.append(SourceNote(name, what, f"{energy.value / 1e3:.4g}", "kJ/mol", where, grade))
    return notes


def _other_diffusivities(catalog: Catalog, name: str, gas: str, used: DiffusivityRecord, rank: int) -> int:
    """How many values of the user's own, as near as the one that is used, are left out."""
    rows = [record for _, record, _, of in catalog.diffusivity_rows(name, gas) if of == rank]
    return sum((r.value, r.temperature) != (used.value, used.temperature) for r in rows)


def _printed(row: Row) -> str:
    value = f"{row.get('value')} {row.get('unit')}".strip()
    return f"{value} at {row.get('temperature')}"


def _diffusion(
    catalog: Catalog, name: str, sources: list[SourceNote], notes: list[str], bands: dict[str, Band]
) -> dict[str, DiffusionLaw]:
    laws = {}
    for gas in (*GASES, "H2O"):
        found = catalog.diffusivity(name, gas)
        if found is None:
            continue
        row, record, source, rank = found
        if record.value is None or record.temperature is None:
            continue
        energy = record.activation_energy
        if energy is None:
            energy = ASSUMED_GAS_ENERGY
            notes.append(f"{gas} diffusivity: activation energy assumed, {energy / 1e3:.0f} kJ/mol")
        if record.grade == "memory":
            notes.append(f"{gas} diffusivity: value from memory, confirm it")
        if rank > 0 and (others := _other_diffusivities(catalog, name, gas, record, rank)):
            left = f"{others} other value{'' if others == 1 else 's'}"
            notes.append(f"{gas} diffusivity: only {_printed(row)} is used, of what was given; not {left}")
        laws[gas] = DiffusionLaw(record.temperature, record.value.value, energy)
        _note_band(bands, f"{gas} diffusivity", diffusivity_band(record, source, rank), False)
        where = f"{catalog.shipped.citation(source)}; {row.get('temperature')}"
        sources.append(
            SourceNote(name, f"{gas} diffusivity", row.get("value"), row.get("unit"), where, record.grade)
        )
    return laws

"""The material that an offer describes: the one it replaces, with what the offer states in its place.

What an offer leaves open is taken over. Where it states a gas at one humidity only, the humidity response of
the material that it replaces is kept and scaled to the value, and likewise its activation energy: one value
from a data sheet says nothing of either, and a barrier polymer without its humidity response is told wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from optimizer.catalog.choose import Candidate
from optimizer.catalog.laws import EnergyUsed, KnownEnergy, gas_law, taken_as_dry, water_law
from optimizer.catalog.offers import Offer
from optimizer.catalog.store import Catalog
from optimizer.physics.material import Band, Material, SourceNote
from optimizer.physics.permeability import GasLaw, WaterLaw

#: A permeability this many times that of the material it replaces, or less than its inverse, is pointed out.
FAR_OFF = 20.0
_SAME = 1e-3
#: Humidity at which data sheets of barrier polymers usually give a second value (common practice, no source).
_USUAL = 0.65


def offered_material(catalog: Catalog, base: Material, offer: Offer) -> Material:
    """``base`` with the density, gauge, family, roles and permeabilities of the offer; the price is left."""
    facts, stated = offer.facts, offer.stated
    low = facts.gauge_min or base.gauge[0]
    high = facts.gauge_max or max(base.gauge[1], low)
    material = replace(
        base,
        density=facts.density or base.density,
        gauge=(low, high),
        family=facts.family or base.family,
        roles=facts.roles if "roles" in stated else base.roles,
    )
    if "density" in stated:
        note = SourceNote(
            base.name,
            "density",
            f"{material.density / 1e3:g}",
            "g/cm3",
            _whose(offer, offer.row.where),
            "producer",
        )
        kept = tuple(s for s in material.sources if s.gas != "density")
        material = replace(material, sources=(note, *kept))
    for gas in dict.fromkeys(record.gas for _, record in offer.permeability):
        material = _with_gas(catalog, material, base, offer, gas)
    return material


def _whose(offer: Offer, where: str) -> str:
    return f"offer of {offer.supplier} ({where})"


def _with_gas(catalog: Catalog, material: Material, base: Material, offer: Offer, gas: str) -> Material:
    chosen = [Candidate(row, record, "offer", 1) for row, record in offer.permeability if record.gas == gas]
    if gas == "H2O":
        water, energy, notes = _water(catalog, chosen, material.family, base)
        material = replace(material, water=water)
    else:
        law, energy, notes = _gas(catalog, chosen, material.family, base, gas)
        material = replace(material, gases={**material.gases, gas: law})
    about_it = (gas, f"{gas} activation energy")
    sources = [s for s in material.sources if s.gas not in about_it]
    for candidate in chosen:
        said = candidate.record.source
        where = _whose(offer, f"{said}, {candidate.row.where}" if said else candidate.row.where)
        source = f"{where}; {candidate.conditions}"
        unit = candidate.row.get("unit")
        sources.append(SourceNote(base.name, gas, candidate.printed, unit, source, "producer"))
    if energy.origin == "table":
        sources += [s for s in base.sources if s.gas == f"{gas} activation energy"]
    elif energy.value:
        origin = {"row": "stated by", "fitted": "fitted to the rows of", "assumed": "assumed for"}[
            energy.origin
        ]
        value = f"{energy.value / 1e3:.4g}"
        source = f"{origin} the {_whose(offer, chosen[0].row.where)}"
        grade = "estimate" if energy.origin == "assumed" else "producer"
        sources.append(SourceNote(base.name, f"{gas} activation energy", value, "kJ/mol", source, grade))
    left = (f"{gas} diffusivity", f"{gas} scavenger")
    kept = [n for n in material.notes if n.startswith(left) or n.split(":")[0].split(" ")[0] != gas]
    bands = {of: band for of, band in material.bands.items() if of != gas}
    spread = offer.spread.get(gas, offer.spread.get(""))
    if spread is not None:
        bands[gas] = Band(spread, chosen[0].record.source, f"stated in the {_whose(offer, offer.row.where)}")
    return replace(material, sources=tuple(sources), notes=(*kept, *notes), bands=bands)


def _known(
    catalog: Catalog, name: str, family: str, gas: str, old: GasLaw | WaterLaw | None
) -> KnownEnergy | None:
    """The activation energy of the law that is replaced, else the table's."""
    if old is None or old.blocks:
        return catalog.energy(name, family, gas)
    return KnownEnergy(old.activation_energy, "", "", "measured")


def _gas(
    catalog: Catalog, chosen: Sequence[Candidate], family: str, base: Material, gas: str
) -> tuple[GasLaw, EnergyUsed, list[str]]:
    old = base.gases.get(gas)
    shaped = old is not None and old.humidity_sensitive and _one([c.record.humidity or 0.0 for c in chosen])
    sensitive = catalog.humidity_sensitive(family) and not shaped
    law, energy, notes = gas_law(gas, chosen, _known(catalog, base.name, family, gas, old), sensitive)
    notes += _taken_over(gas, energy, old)
    if old is None or old.blocks or law.blocks:
        return law, energy, notes
    tested = chosen[0].record.humidity
    at = tested or 0.0
    ratio = float(law.at(law.temperature, at) / old.at(law.temperature, at))
    notes += _far_off(gas, ratio)
    if shaped:
        shape = old.at(law.temperature, list(old.activity))
        law = replace(law, activity=old.activity, permeability=tuple(float(ratio * p) for p in shape))
        notes.append(f"{gas}: humidity response of the material it replaces, scaled to the value offered")
        beyond = _off_the_curve(gas, tested, old)
        if beyond and tested is None:  # which says so too
            notes.remove(taken_as_dry(gas))
        notes += beyond
    return law, energy, notes


def _off_the_curve(gas: str, tested: float | None, old: GasLaw) -> list[str]:
    """A test outside the humidities where the response was measured meets it where it is held flat. What the
    material does there is not known, and the value in use is off by as much."""
    low, high = old.activity[0], old.activity[-1]
    at = tested or 0.0
    if low - _SAME <= at <= high + _SAME:
        return []
    drier, wetter = old.permeability[:2] if at < low else old.permeability[-2:]
    which = "overstated" if (drier < wetter) == (at < low) else "understated"
    was = "at a humidity not stated, taken as 0 %RH" if tested is None else f"at {100 * at:.3g} %RH"
    usual = "at 65 %RH, or " if low <= _USUAL <= high else ""
    return [
        f"{gas}: tested {was}, and the humidity response of the material it replaces is known from "
        f"{100 * low:.3g} to {100 * high:.3g} %RH only: the barrier in use may be {which}; ask for a value "
        f"{usual}near the humidity in use"
    ]


def _water(
    catalog: Catalog, chosen: Sequence[Candidate], family: str, base: Material
) -> tuple[WaterLaw, EnergyUsed, list[str]]:
    gas, old = "H2O", base.water
    wet = [1.0 if c.record.humidity is None else c.record.humidity for c in chosen]
    dry = [c.record.humidity_far or 0.0 for c in chosen]
    shaped = old is not None and old.humidity_sensitive and _one(wet) and _one(dry)
    sensitive = catalog.humidity_sensitive(family) and not shaped
    law, energy, notes = water_law(chosen, _known(catalog, base.name, family, gas, old), sensitive)
    notes += _taken_over(gas, energy, old)
    if old is None or old.blocks or law.blocks:
        return law, energy, notes
    through = float(law.potential(wet[0]) - law.potential(dry[0]))
    before = float((old.potential(wet[0]) - old.potential(dry[0])) * old.factor(law.temperature))
    ratio = through / before
    notes += _far_off(gas, ratio)
    if shaped:
        scale = ratio * float(old.factor(law.temperature))
        law = replace(law, activity=old.activity, phi=tuple(scale * p for p in old.phi))
        notes.append(f"{gas}: humidity response of the material it replaces, scaled to the value offered")
    return law, energy, notes


def _one(values: Sequence[float]) -> bool:
    return max(values) - min(values) < _SAME


def _taken_over(gas: str, energy: EnergyUsed, old: GasLaw | WaterLaw | None) -> list[str]:
    if energy.origin != "table" or old is None or old.blocks:
        return []
    return [f"{gas}: activation energy of the material it replaces ({energy.value / 1e3:.3g} kJ/mol)"]


def _far_off(gas: str, ratio: float) -> list[str]:
    if 1.0 / FAR_OFF <= ratio <= FAR_OFF:
        return []
    times = f"{ratio:.2g} times" if ratio > 1.0 else f"1/{1.0 / ratio:.2g} of"
    return [f"{gas}: {times} the permeability of the material it replaces; check the unit and the test"]

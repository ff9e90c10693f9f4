"""Why a material has the numbers it has: every candidate row, in a common unit, and what decided."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from optimizer.catalog.build import citation_of
from optimizer.catalog.choose import EVALUATED, Candidate
from optimizer.catalog.store import Band, Catalog
from optimizer.constants import PERMEANTS
from optimizer.physics.material import Material
from optimizer.units import convert

#: Common units; the vapour unit has a pressure in it, so it does not depend on the test condition.
GAS_UNIT, WATER_UNIT = "cm3*mm/(m2*day*atm)", "g*mm/(m2*day*kPa)"


@dataclass(frozen=True)
class ExplainedRow:
    """One candidate: as printed, and converted to ``common_unit`` at its own temperature and humidity."""

    gas: str
    printed: str
    unit: str
    conditions: str
    converted: float
    common_unit: str
    source: str
    grade: str
    note: str
    where: str
    chosen: bool


@dataclass(frozen=True)
class ExplainedGas:
    """One gas: the reason of the choice, the band of the sources in ``common_unit``, energy [kJ/mol] of the
    law."""

    gas: str
    reason: str
    common_unit: str
    band: tuple[float, float] | None
    band_basis: str
    activation_energy: float
    rows: tuple[ExplainedRow, ...]


@dataclass(frozen=True)
class Explanation:
    """Everything behind one material. aliases, recycling_family and food_contact as in the table."""

    name: str
    aliases: tuple[str, ...]
    material: Material
    recycling_family: str
    food_contact: str
    note: str
    gases: tuple[ExplainedGas, ...]

    def lines(self) -> Iterator[str]:
        """Plain text, line by line."""
        m = self.material
        yield f"{self.name}" + (f" (also {', '.join(self.aliases)})" if self.aliases else "")
        roles = ", ".join(sorted(m.roles)) or "none given"
        yield f"family {m.family}; density {m.density:g} kg/m3; roles {roles}"
        yield f"one layer from {m.gauge[0] * 1e6:g} to {m.gauge[1] * 1e6:g} um"
        for gas in self.gases:
            yield f"{gas.gas}: {gas.reason}; activation energy {gas.activation_energy:.3g} kJ/mol"
            if gas.band:
                low, high = gas.band
                yield f"  sources lie between {low:.3g} and {high:.3g} {gas.common_unit}: {gas.band_basis}"
            for row in gas.rows:
                mark = "->" if row.chosen else "  "
                common = f"{row.converted:.4g} {row.common_unit}"
                yield f"  {mark} {row.printed} {row.unit} ({row.conditions}) = {common}"
                yield f"       {row.grade}: {row.source}" + (f" [{row.note}]" if row.note else "")
        for note in m.notes:
            yield f"note: {note}"


def explain(catalog: Catalog, name: str) -> Explanation:
    """Explanation of a material by name or alias; MaterialError when there is none."""
    canonical = catalog.resolve(name)
    facts = catalog.polymer(canonical).record
    material = catalog.material(canonical)
    gases = tuple(g for gas in PERMEANTS if (g := _gas(catalog, material, gas)) is not None)
    return Explanation(
        canonical,
        facts.aliases,
        material,
        facts.recycling_family,
        facts.food_contact,
        catalog.shipped.readable(facts.note),
        gases,
    )


def _gas(catalog: Catalog, material: Material, gas: str) -> ExplainedGas | None:
    selection = catalog.selection(material.name, gas)
    if selection is None:
        return None
    unit = WATER_UNIT if gas == "H2O" else GAS_UNIT
    candidates = list(catalog.candidates(material.name, gas))
    candidates += [c for c in selection.chosen if c.source == EVALUATED]
    band = catalog.band(material.name, gas)
    law = material.water_law() if gas == "H2O" else material.gas_law(gas)
    return ExplainedGas(
        gas,
        selection.reason,
        unit,
        _band(band, gas, unit),
        band.basis if band else "",
        law.activation_energy / 1e3,
        tuple(_row(catalog, c, gas, unit, c in selection.chosen) for c in candidates),
    )


def _converted(permeability: float, gas: str, unit: str) -> float:
    kind = "vapour permeability" if gas == "H2O" else "gas permeability"
    return convert(permeability, kind, unit, gas=gas)


def _band(band: Band | None, gas: str, unit: str) -> tuple[float, float] | None:
    return (_converted(band.low, gas, unit), _converted(band.high, gas, unit)) if band else None


def _row(catalog: Catalog, candidate: Candidate, gas: str, unit: str, chosen: bool) -> ExplainedRow:
    return ExplainedRow(
        gas,
        candidate.printed,
        candidate.row.get("unit"),
        candidate.conditions,
        _converted(candidate.record.best, gas, unit),
        unit,
        citation_of(catalog, candidate),
        candidate.grade,
        catalog.shipped.readable(candidate.record.note),
        candidate.row.where,
        chosen,
    )

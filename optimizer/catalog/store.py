"""The catalogue: shipped table and the user's rows merged, asked for materials by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimizer.catalog.bonding import BondingTable
from optimizer.catalog.build import build_material
from optimizer.catalog.choose import Candidate, Selection, select, select_diffusivity
from optimizer.catalog.laws import KnownEnergy
from optimizer.catalog.load import Shipped, load_shipped, records
from optimizer.catalog.merge import Locate, UserRows, read_inline, read_user_tables
from optimizer.catalog.missing import missing_in
from optimizer.catalog.names import key_of as key_of
from optimizer.catalog.polymer import THICKNESS_COLUMNS
from optimizer.catalog.records import (
    BondRecord,
    DefaultRecord,
    DiffusivityRecord,
    EnergyRecord,
    FamilyRecord,
    PermeabilityRecord,
    PolymerRecord,
    RecyclingRecord,
    ScavengerRecord,
    read_row,
)
from optimizer.catalog.tables import Row
from optimizer.constants import PERMEANTS
from optimizer.errors import InputError, MaterialError, Problem
from optimizer.physics.material import Material

if TYPE_CHECKING:
    from optimizer.catalog.explain import Explanation


@dataclass(frozen=True)
class Band:
    """Range in which sources lie [mol m/(m2 s Pa)], and what it rests on; ``at``: the humidity of the tests
    in words, empty for a range over several."""

    low: float
    high: float
    basis: str
    at: str = ""


@dataclass(frozen=True)
class Polymer:
    """A material's own facts. sources: column -> where the value came from (a citation, or file and line)."""

    record: PolymerRecord
    sources: Mapping[str, str]
    user: frozenset[str] = frozenset()


class Catalog:
    """Materials by name. Built by ``load_catalog``; everything is read only."""

    def __init__(self, shipped: Shipped, user: Sequence[UserRows] = ()) -> None:
        self.shipped = shipped
        self.user = tuple(user)
        self._materials: dict[str, Material] = {}
        self._in_gauge: dict[str, Material] = {}
        self._canonical: dict[str, str] = {}
        self._rows: dict[str, tuple[Row, ...]] = {}
        self._shipped_polymers: dict[str, Row] = {}
        for row in shipped.tables["polymers"].rows:
            self._enter(row.get("name"), row.get("aliases").split("|"))
            self._shipped_polymers[key_of(row.get("name"))] = row
        for origin in self.user:
            for _, record in origin.polymers:
                self._enter(record.name, record.aliases)
        self._webs = {
            key_of(f"{name} {gauge * 1e6:g} um"): (record.name, gauge)
            for origin in self.user
            for _, record in origin.polymers
            for gauge in record.gauges
            for name in (record.name, self._canonical[key_of(record.name)])
        }

    def _enter(self, name: str, aliases: Sequence[str]) -> None:
        if key_of(name) not in self._canonical:
            self._canonical[key_of(name)] = name
        canonical = self._canonical[key_of(name)]
        for alias in aliases:
            if alias.strip():
                self._canonical.setdefault(key_of(alias), canonical)

    # names ----------------------------------------------------------------------------------------

    def names(self) -> tuple[str, ...]:
        """Every material's own name, in the order of the table, the user's new ones last."""
        return tuple(dict.fromkeys(self._canonical.values()))

    def resolve(self, name: str) -> str:
        """The table's own name of a material given by name or alias; MaterialError with near names."""
        found = self._canonical.get(key_of(name))
        if found is None:
            close = get_close_matches(key_of(name), self._canonical, n=3, cutoff=0.6)
            near = list(dict.fromkeys(self._canonical[c] for c in close))
            hint = "did you mean " + " or ".join(near) + "?" if near else "see: layerwright materials list"
            raise MaterialError(f"there is no material {name!r}", hint=hint)
        return found

    def is_user(self, name: str) -> bool:
        """True when the material comes from the user alone."""
        return key_of(self.resolve(name)) not in self._shipped_polymers

    # facts ----------------------------------------------------------------------------------------

    def polymer(self, name: str) -> Polymer:
        """Name, family, density and so on, the user's cells over ours."""
        canonical = self.resolve(name)
        row = self._shipped_polymers.get(key_of(canonical))
        values: dict[str, Any] = {}
        sources: dict[str, str] = {}
        user: set[str] = set()
        if row is not None:
            record = self._checked(PolymerRecord, row)
            values = {field: getattr(record, field) for field in PolymerRecord.model_fields}
            sources = {
                "density": self.shipped.citation(record.density_source),
                "gauge_min": self.shipped.citation(record.gauge_source),
                "gauge_max": self.shipped.citation(record.gauge_source),
                "glass_transition": self.shipped.citation("from_memory"),
            }
        for origin in sorted(self.user, key=lambda u: u.rank):
            for given_row, given in origin.polymers:
                if self._canonical[key_of(given.name)] != canonical:
                    continue
                stated = {f for f in given.model_fields_set - {"name"} if given_row.get(f)}
                if stated & THICKNESS_COLUMNS:
                    values |= {"gauges": (), "coat_weight": None}
                for field in stated:
                    values[field] = getattr(given, field)
                    sources[field] = given_row.where
                    user.add(field)
                if "density" in user:
                    values["density_low"] = values["density_high"] = None
        values["name"] = canonical
        return Polymer(PolymerRecord.model_construct(**values), sources, frozenset(user))

    @staticmethod
    def _checked(model: Any, row: Row) -> Any:
        record, wrong = read_row(model, row)
        if wrong or record is None:
            raise InputError(wrong)
        return record

    # candidates -----------------------------------------------------------------------------------

    @cached_property
    def _shipped_rows(self) -> Mapping[tuple[str, str, str], tuple[tuple[str, Row], ...]]:
        """(folder, material key, gas) -> (source key, row)."""
        index: dict[tuple[str, str, str], list[tuple[str, Row]]] = {}
        for folder in self.shipped.sources:
            for source, row in self.shipped.rows(folder):
                index.setdefault((folder, key_of(row.get("material")), row.get("gas")), []).append(
                    (source, row)
                )
        return {key: tuple(rows) for key, rows in index.items()}

    def candidates(self, name: str, gas: str) -> tuple[Candidate, ...]:
        """Every permeability row of a material (or ``family:NAME``) and gas, shipped and the user's."""
        canonical = name if name.startswith("family:") else self.resolve(name)
        found = [
            Candidate(row, self._checked(PermeabilityRecord, row), source)
            for source, row in self._shipped_rows.get(("permeability", key_of(canonical), gas), ())
        ]
        for origin in self.user:
            found += [
                Candidate(row, record, record.source or row.where, origin.rank)
                for row, record in origin.permeability
                if record.gas == gas and self._same(record.material, canonical)
            ]
        return tuple(found)

    def _same(self, given: str, canonical: str) -> bool:
        return self._canonical.get(key_of(given)) == canonical

    def default(self, name: str, gas: str) -> tuple[Row, DefaultRecord] | None:
        """The line of defaults.csv for a material and gas."""
        row = self._defaults.get((key_of(self.resolve(name)), gas))
        return None if row is None else (row, self._checked(DefaultRecord, row))

    @cached_property
    def _defaults(self) -> Mapping[tuple[str, str], Row]:
        return {(key_of(r.get("material")), r.get("gas")): r for r in self.shipped.tables["defaults"].rows}

    def selection(self, name: str, gas: str) -> Selection | None:
        """The rows that are used for a material and gas, and why."""
        found = select(self.candidates(name, gas), self.default(name, gas))
        return None if found is None else replace(found, reason=self.shipped.readable(found.reason))

    def diffusivity_rows(self, name: str, gas: str) -> list[tuple[Row, DiffusivityRecord, str, int]]:
        """Every diffusivity row: row, record, source, rank."""
        canonical = self.resolve(name)
        found = [
            (row, self._checked(DiffusivityRecord, row), source, 0)
            for source, row in self._shipped_rows.get(("diffusivity", key_of(canonical), gas), ())
        ]
        for origin in self.user:
            found += [
                (row, record, record.source or row.where, origin.rank)
                for row, record in origin.diffusivity
                if record.gas == gas and self._same(record.material, canonical)
            ]
        return found

    def diffusivity(self, name: str, gas: str) -> tuple[Row, DiffusivityRecord, str, int] | None:
        """The diffusivity row that is used."""
        return select_diffusivity(self.diffusivity_rows(name, gas))

    def scavenger(self, name: str) -> tuple[Row, ScavengerRecord] | None:
        """What the material uses up of a gas, by its nearest entry."""
        canonical = self.resolve(name)
        pairs = [pair for u in sorted(self.user, key=lambda u: u.rank) for pair in u.scavengers]
        return next((p for p in reversed(pairs) if self._same(p[1].material, canonical)), None)

    # energies and families ------------------------------------------------------------------------

    def energy(self, name: str, family: str, gas: str) -> KnownEnergy | None:
        """Activation energy of activation.csv: the material's own line, else its family's."""
        for subject in (key_of(name), key_of(family)):
            row = self._energies.get((subject, gas))
            if row is not None:
                record = self._checked(EnergyRecord, row)
                return KnownEnergy(record.energy, row.get("energy"), record.source, record.grade, record.note)
        return None

    @cached_property
    def _energies(self) -> Mapping[tuple[str, str], Row]:
        return {(key_of(r.get("subject")), r.get("gas")): r for r in self.shipped.tables["activation"].rows}

    @cached_property
    def families(self) -> Mapping[str, FamilyRecord]:
        """Families of the shipped table by name."""
        return {r.family: r for r in records(FamilyRecord, self.shipped.tables["families"])}

    def humidity_sensitive(self, family: str) -> bool:
        """True when water is known to change the gas permeability of the family."""
        known = self.families.get(family)
        return known is not None and known.humidity_sensitive == "yes"

    def contents(self, facts: PolymerRecord) -> frozenset[str] | None:
        """Which of foil, metallising and halogen a material contains: its own word, else its family's."""
        if facts.contains is not None:
            return facts.contains
        known = self.families.get(facts.family)
        return None if known is None else known.contains

    @cached_property
    def bonding(self) -> BondingTable:
        return BondingTable.of(records(BondRecord, self.shipped.tables["bonding"]))

    @cached_property
    def recycling(self) -> tuple[RecyclingRecord, ...]:
        return tuple(records(RecyclingRecord, self.shipped.tables["recycling"]))

    # bands ----------------------------------------------------------------------------------------

    def band(self, name: str, gas: str) -> Band | None:
        """Range of the sources for a material and gas: the line of defaults.csv, else the spread between the
        sources that tested at the same humidity; None where there is nothing to compare."""
        default = self.default(name, gas)
        if default is not None and default[1].low and default[1].high:
            row, record = default
            limits = [self._limit(row, text) for text in (record.low, record.high)]
            return Band(limits[0], limits[1], self.shipped.readable(record.basis), _humidity(row))
        return _between_sources(self.candidates(name, gas))

    def _limit(self, row: Row, text: str) -> float:
        cells = {k: v for k, v in row.cells.items() if k not in ("use", "low", "high", "basis")}
        stated = Row(cells | {"value": text, "grade": "estimate"}, row.file, row.line, row.place)
        return float(self._checked(PermeabilityRecord, stated).best)

    def family_band(self, family: str, gas: str) -> Band | None:
        """Range of every shipped row of a family (at the conditions of the rows), None when there are
        none."""
        members = [f"family:{family}"]
        members += [r.get("name") for r in self._shipped_polymers.values() if r.get("family") == family]
        found = [
            self._checked(PermeabilityRecord, row)
            for member in members
            for _, row in self._shipped_rows.get(("permeability", key_of(member), gas), ())
        ]
        return _spread(found, f"{len(found)} rows of the family {family}")

    # materials ------------------------------------------------------------------------------------

    def material(self, name: str) -> Material:
        """The material as the physics takes it; also one gauge of a web, 'PET film 12 um'. MaterialError with
        near names as hint."""
        if key_of(name) in self._webs and key_of(name) not in self._canonical:
            whole, gauge = self._webs[key_of(name)]
            web = self.material(whole)
            if gauge in (*web.gauges, *(web.gauge if web.fixed_gauge else ())):
                return self.in_gauge(web, gauge)
        canonical = self.resolve(name)
        if canonical not in self._materials:
            self._materials[canonical] = build_material(self, canonical)
        return self._materials[canonical]

    def in_gauge(self, web: Material, gauge: float) -> Material:
        """One of the gauges [m] of a web that is bought in several; the same object each time."""
        if gauge not in web.gauges:
            return web
        key = f"{web.name} {gauge!r}"
        if key not in self._in_gauge:
            self._in_gauge[key] = web.in_gauge(gauge)
        return self._in_gauge[key]

    def explain(self, name: str) -> Explanation:
        """Every candidate row of a material, and why the ones used were chosen."""
        from optimizer.catalog.explain import explain  # here, because explain builds on this module

        return explain(self, name)

    def gases(self, name: str) -> tuple[str, ...]:
        """Permeants for which the material has rows."""
        return tuple(gas for gas in PERMEANTS if self.candidates(name, gas) or self.default(name, gas))

    def check_user_materials(self) -> list[Problem]:
        """What is missing to use the user's own materials."""
        return missing_in(self, self.user, self._canonical)


def _humidity(row: Row) -> str:
    near, far = row.get("humidity"), row.get("humidity_far")
    return f"{near.replace(' %', ' %RH')}" + (f" against {far.replace(' %', ' %RH')}" if far else "")


def _between_sources(candidates: Sequence[Candidate]) -> Band | None:
    """Spread at the humidity that most sources tested at. Points of one source at several humidities are its
    humidity response, not a disagreement."""
    groups: dict[tuple[float, float], list[Candidate]] = {}
    for c in candidates:
        key = round(c.record.humidity or 0.0, 4), round(c.record.humidity_far or 0.0, 4)
        groups.setdefault(key, []).append(c)
    bands = []
    for group in groups.values():
        sources = {c.source for c in group}
        band = _spread([c.record for c in group], f"{len(sources)} sources") if len(sources) > 1 else None
        if band is not None:
            bands.append((len(sources), band.high / band.low, replace(band, at=_humidity(group[0].row))))
    return max(bands, key=lambda x: x[:2])[2] if bands else None


def _spread(rows: Sequence[PermeabilityRecord], basis: str) -> Band | None:
    lows = [r.low for r in rows if r.low > 0]
    return Band(min(lows), max(r.high for r in rows), basis) if lows else None


def load_catalog(
    extra_tables: Sequence[str | Path] = (),
    inline: Sequence[Mapping[str, Any]] = (),
    base_dir: str | Path | None = None,
    *,
    file: str = "",
    locate: Locate | None = None,
    folder: Path | None = None,
    read: Callable[[Path], bytes] = Path.read_bytes,
) -> Catalog:
    """The shipped table with the user's rows over it.

    extra_tables: CSV files, later ones nearer, paths relative to ``base_dir``. inline: the entries of
    ``materials:`` of a project file as plain data, nearest of all; ``file`` and ``locate`` (path from the
    list on, such as ``(0, "permeability", 1, "value")``, to its place) let problems point into it.
    folder: another shipped table. read: gives the bytes of a file. Raises InputError with every problem of
    the user's rows.
    """
    shipped = load_shipped(folder)
    user, problems = read_user_tables(extra_tables, None if base_dir is None else Path(base_dir), read)
    if inline:
        rows, wrong = read_inline(inline, len(extra_tables) + 1, file, locate)
        user.append(rows)
        problems += wrong
    catalog = Catalog(shipped, user)
    if not problems:
        problems = catalog.check_user_materials()
    if problems:
        raise InputError(problems)
    return catalog

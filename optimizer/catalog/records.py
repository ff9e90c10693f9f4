"""What one row says, checked and in SI: the only place of the catalogue where text becomes numbers.

pydantic reads the cells; each unreadable cell becomes a Problem at its own column, and the rules between
cells are checked afterwards, so that one run shows everything that is wrong.
"""

from __future__ import annotations

import math
import re
from difflib import get_close_matches
from typing import Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
)

from optimizer.catalog.cells import (
    FILM_KINDS,
    GAS_KINDS,
    RATE_KINDS,
    WATER_KINDS,
    Contents,
    Energy,
    Fraction,
    Gas,
    GradeText,
    Humidity,
    Length,
    Name,
    RequiredEnergy,
    Spread,
    Temperature,
    quantity,
)
from optimizer.catalog.polymer import PolymerRecord as PolymerRecord
from optimizer.catalog.polymer import Record
from optimizer.catalog.scavenger import ScavengerRecord as ScavengerRecord
from optimizer.catalog.tables import Row
from optimizer.constants import MOLAR_MASS
from optimizer.errors import Problem
from optimizer.physics.water import saturation_pressure
from optimizer.units import Quantity

_NUMBER = re.compile(r"\d+(\.\d+)?(e-?\d+)?")

#: Activation energies that are let in [J/mol].
ENERGIES = (-50e3, 200e3)


def _energy_problems(energy: float | None, row: Row) -> list[Problem]:
    if energy is None or ENERGIES[0] <= energy <= ENERGIES[1]:
        return []
    return [row.problem("activation_energy", "outside -50 to 200 kJ/mol", hint="20 to 70 kJ/mol is usual")]


class PermeabilityRecord(Record):
    """A permeability, or the transmission of a film of stated ``thickness``, of one material to one gas.

    value, value_low, value_high: SI of the kind named by ``unit`` (mol for gases and vapour per pressure, kg
    for vapour rates). temperature [K]; humidity on both faces for a gas, wet side for H2O with
    ``humidity_far`` on the other (0 when empty) [-]; activation_energy [J/mol]; spread: relative standard
    deviation of the permeability [-].
    """

    material: Name
    gas: Gas
    unit: str = ""
    value: Quantity | None = None
    value_low: Quantity | None = None
    value_high: Quantity | None = None
    thickness: Length = None
    temperature: Temperature = None
    humidity: Humidity = None
    humidity_far: Humidity = None
    activation_energy: Energy = None
    spread: Spread = None
    grade: GradeText = "user"
    source: str = ""
    note: str = ""

    @field_validator("value", "value_low", "value_high", mode="before")
    @classmethod
    def _with_unit(cls, text: object, info: ValidationInfo) -> object:
        if not isinstance(text, str):
            return text
        gas = info.data.get("gas")
        if not text or gas is None:
            return None
        unit = info.data.get("unit", "")
        kinds = WATER_KINDS if gas == "H2O" else GAS_KINDS
        return quantity(f"{text} {unit}".strip(), kinds, gas, len(text) if unit else 0)

    @property
    def kind(self) -> str:
        shown = self.value or self.value_low
        return shown.kind if shown else ""

    def permeability(self, given: Quantity) -> float:
        """The quantity as permeability [mol m/(m2 s Pa)]; for a vapour rate the mean over its humidity
        interval."""
        si = float(given.value)
        if given.kind in FILM_KINDS:
            si *= self.thickness or math.nan
        if given.kind in RATE_KINDS:
            si /= MOLAR_MASS["H2O"] * self.pressure_difference
        return si

    @property
    def pressure_difference(self) -> float:
        """Water-vapour pressure difference of the test [Pa]."""
        if self.temperature is None or self.humidity is None:
            return math.nan
        difference = self.humidity - (self.humidity_far or 0.0)
        return float(saturation_pressure(self.temperature)) * difference

    @property
    def ranged(self) -> bool:
        return self.value is None

    @property
    def best(self) -> float:
        """The value, or the geometric mean of the range [mol m/(m2 s Pa)]."""
        if self.value is not None:
            return self.permeability(self.value)
        return math.sqrt(self.low * self.high)

    @property
    def low(self) -> float:
        given = self.value_low or self.value
        return self.permeability(given) if given else math.nan

    @property
    def high(self) -> float:
        given = self.value_high or self.value
        return self.permeability(given) if given else math.nan

    def problems(self, row: Row) -> list[Problem]:
        """What is wrong between the cells of the row."""
        found = []
        if self.value is None and (self.value_low is None or self.value_high is None):
            found.append(row.problem("value", "no value", hint="give value, or value_low and value_high"))
            return found
        numbers = [q.value for q in (self.value_low, self.value, self.value_high) if q is not None]
        if sorted(numbers) != numbers:
            found.append(row.problem("value", "value_low, value and value_high do not increase"))
        if min(numbers) < 0 or (self.ranged and min(numbers) == 0):
            found.append(
                row.problem("value", "a permeability must be positive", hint="0 only for sound metal")
            )
        if self.kind in FILM_KINDS and self.thickness is None:
            found.append(
                row.problem(
                    "thickness",
                    "the value is the transmission of a film, so its thickness is needed",
                    hint="add a thickness, or give the value as permeability, e.g. cm3*mm/(m2*day*atm)",
                )
            )
        if self.thickness is not None and self.thickness <= 0:
            found.append(row.problem("thickness", "a thickness must be positive"))
        if self.temperature is None:
            found.append(
                row.problem("temperature", "the temperature of the test is missing", hint="e.g. 23 degC")
            )
        elif not 250.0 <= self.temperature <= 400.0:
            found.append(row.problem("temperature", "outside -23 to 127 degC", hint="is the unit right?"))
        found += _energy_problems(self.activation_energy, row)
        if self.kind in RATE_KINDS and self.humidity is None:
            found.append(
                row.problem(
                    "humidity",
                    "a water vapour rate needs the humidity of its test",
                    hint="e.g. 90 % on the wet side; the other is dry unless humidity_far is given",
                )
            )
        if self.gas == "H2O" and self.humidity is not None and self.humidity <= (self.humidity_far or 0.0):
            found.append(row.problem("humidity", "the wet side must be wetter than humidity_far"))
        return found


class DiffusivityRecord(Record):
    """Diffusivity [m2/s] and, if printed, solubility [mol/(m3 Pa)]; activation_energy of diffusion
    [J/mol]; spread: relative standard deviation of the diffusivity [-]."""

    material: Name
    gas: Gas
    unit: str = ""
    value: Quantity | None = None
    solubility_unit: str = ""
    solubility: Quantity | None = None
    temperature: Temperature = None
    activation_energy: Energy = None
    spread: Spread = None
    grade: GradeText = "user"
    source: str = ""
    note: str = ""

    @field_validator("value", "solubility", mode="before")
    @classmethod
    def _with_unit(cls, text: object, info: ValidationInfo) -> object:
        if not isinstance(text, str) or not text:
            return text or None
        name = "unit" if info.field_name == "value" else "solubility_unit"
        kind = "diffusivity" if info.field_name == "value" else "gas solubility"
        unit = info.data.get(name, "")
        return quantity(f"{text} {unit}".strip(), kind, info.data.get("gas"), len(text) if unit else 0)

    def problems(self, row: Row) -> list[Problem]:
        found = []
        if self.value is None:
            found.append(row.problem("value", "no value"))
        elif self.value.value <= 0:
            found.append(row.problem("value", "a diffusivity must be positive"))
        found += _energy_problems(self.activation_energy, row)
        if self.temperature is None:
            found.append(
                row.problem("temperature", "the temperature of the test is missing", hint="e.g. 23 degC")
            )
        return found


class DefaultRecord(Record):
    """Which candidate to use, and the band of the sources; see the header of defaults.csv."""

    material: Name
    gas: Gas
    use: str
    value: str = ""
    low: str = ""
    high: str = ""
    unit: str = ""
    thickness: str = ""
    temperature: str = ""
    humidity: str = ""
    humidity_far: str = ""
    basis: str = ""

    @property
    def band(self) -> tuple[float, float] | None:
        """Ends of the band as printed, None where there are not two."""
        return (float(self.low), float(self.high)) if self.low and self.high else None

    def problems(self, row: Row) -> list[Problem]:
        found = [] if self.use else [row.problem("use", "name a source key, or 'evaluated'")]
        for name in ("low", "high"):
            if not _NUMBER.fullmatch(getattr(self, name) or "0"):
                return [*found, row.problem(name, f"{getattr(self, name)!r} is not a plain number")]
        if self.band and not 0.0 < self.band[0] <= self.band[1]:
            found.append(row.problem("low", "low and high are not a band of positive numbers"))
        return found


class EnergyRecord(Record):
    """Activation energy of permeation of a material or a family [J/mol]."""

    subject: Name
    gas: Gas
    energy: RequiredEnergy
    energy_low: Energy = None
    energy_high: Energy = None
    source: str = ""
    grade: GradeText = "user"
    note: str = ""

    def problems(self, row: Row) -> list[Problem]:
        if not ENERGIES[0] <= self.energy <= ENERGIES[1]:
            return [row.problem("energy", "outside -50 to 200 kJ/mol")]
        return []


class BondRecord(Record):
    """Whether two families hold when they touch."""

    family_a: str
    family_b: str
    bonds: Literal["yes", "tie", "no"]
    by: str = ""
    source: str = ""
    grade: GradeText = "user"
    note: str = ""

    def problems(self, row: Row) -> list[Problem]:
        if (self.bonds == "tie") != bool(self.by):
            return [row.problem("by", "name the family that ties exactly when bonds is 'tie'")]
        return []


class RecyclingRecord(Record):
    """One line of recycling guidance; max_share: mass share of the package or None."""

    stream: str
    family: str
    max_share: Fraction = None
    verdict: Literal["compatible", "limited", "not compatible"]
    condition: str = ""
    year: str = ""
    source: str = ""

    def problems(self, row: Row) -> list[Problem]:
        return []


class FamilyRecord(Record):
    """A family, whether water changes its gas permeability, and what its members contain (None: that
    differs between them)."""

    family: str = Field(min_length=1)
    humidity_sensitive: Literal["yes", "no", "slightly"]
    contains: Contents = None
    note: str = ""

    def problems(self, row: Row) -> list[Problem]:
        return []


AnyRecord = TypeVar(
    "AnyRecord",
    PermeabilityRecord,
    DiffusivityRecord,
    PolymerRecord,
    ScavengerRecord,
    DefaultRecord,
    EnergyRecord,
    BondRecord,
    RecyclingRecord,
    FamilyRecord,
)


def read_row(model: type[AnyRecord], row: Row) -> tuple[AnyRecord | None, list[Problem]]:
    """The record of a row, and everything that is wrong with it (then the record may be None)."""
    try:
        record = model.model_validate(dict(row.cells))
    except ValidationError as error:
        return None, list(dict.fromkeys(_problem(model, row, e) for e in error.errors()))
    return record, record.problems(row)


def _problem(model: type[BaseModel], row: Row, error: Any) -> Problem:
    name = str(error["loc"][0]) if error["loc"] else ""
    ctx = error.get("ctx", {})
    if error["type"] == "extra_forbidden":
        close = get_close_matches(name, model.model_fields, n=1, cutoff=0.6)
        hint = f"did you mean {close[0]}?" if close else "columns: " + ", ".join(model.model_fields)
        return row.problem(name, f"there is no column {name!r}", hint=hint)
    if error["type"] == "missing":
        return row.problem(name, "is missing")
    if "said" in ctx:
        cell = ctx["cell"]
        if cell == "unit" and name == "solubility":
            cell = "solubility_unit"
        return row.problem(cell or name, ctx["said"], hint=ctx["hint"], offset=max(int(ctx["column"]) - 1, 0))
    return row.problem(name, str(error["msg"]).lower())

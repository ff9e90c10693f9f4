"""The ``scavenger`` of a material written in the project file: what it uses up of a gas, and how fast."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from optimizer.catalog.cells import Energy, Gas, Name, Temperature, quantity
from optimizer.catalog.polymer import Record
from optimizer.catalog.tables import Row
from optimizer.errors import Problem
from optimizer.physics.material import DiffusionLaw, Scavenger, SourceNote
from optimizer.physics.permeability import GasLaw
from optimizer.units import Quantity

#: Gases that a layer may use up.
SCAVENGED = ("O2", "CO2")
EXAMPLE = "{gas: O2, rate: 0.002 1/s, temperature: 23 degC, capacity: 3 cm3/g}"


def _rate(text: object) -> object:
    return quantity(text, "rate") if isinstance(text, str) and text else text or None


class ScavengerRecord(Record):
    """rate [1/s] of the first-order use of the dissolved gas at ``temperature`` [K]; capacity [mol/kg], None
    where it never runs out; activation_energy [J/mol]."""

    material: Name
    gas: Gas
    rate: Annotated[Quantity | None, BeforeValidator(_rate)] = None
    temperature: Temperature = None
    activation_energy: Energy = None
    capacity: Quantity | None = None
    source: str = ""
    note: str = ""

    @field_validator("gas", mode="after")
    @classmethod
    def _known(cls, gas: str) -> str:
        if gas not in SCAVENGED:
            said = {"said": f"{gas!r} cannot be scavenged", "hint": "O2 or CO2", "column": 0, "cell": ""}
            raise PydanticCustomError("value", "{said}", said)
        return gas

    @field_validator("capacity", mode="before")
    @classmethod
    def _of_the_gas(cls, text: object, info: ValidationInfo) -> object:
        if not isinstance(text, str) or not text:
            return text or None
        return quantity(text, "gas capacity", info.data.get("gas", "O2"))

    def problems(self, row: Row) -> list[Problem]:
        found = []
        if self.rate is None:
            found.append(row.problem("rate", "the rate of use is missing", hint="e.g. rate: 0.002 1/s"))
        elif self.rate.value <= 0.0:
            found.append(row.problem("rate", "a rate must be positive", hint="for example 0.002 1/s"))
        if self.temperature is None:
            message = "the temperature of the rate is missing"
            found.append(row.problem("temperature", message, hint="e.g. temperature: 23 degC"))
        if self.activation_energy is not None and not 0.0 <= self.activation_energy <= 200e3:
            found.append(row.problem("activation_energy", "outside 0 to 200 kJ/mol"))
        if self.capacity is not None and self.capacity.value <= 0.0:
            hint = "leave it out where it never runs out"
            found.append(row.problem("capacity", "a capacity must be positive", hint=hint))
        return found


@dataclass(frozen=True)
class Scavenging:
    """The scavenger of a material, where its numbers are from, and what a reader must know of it."""

    scavenger: Scavenger
    sources: Sequence[SourceNote]
    notes: Sequence[str]


def scavenging(
    row: Row,
    record: ScavengerRecord,
    name: str,
    density: float,
    gases: Mapping[str, GasLaw],
    diffusivity: Mapping[str, DiffusionLaw],
) -> Scavenging:
    """The scavenger of material ``name`` of ``density`` [kg/m3], with the capacity per volume."""
    gas, capacity, energy = record.gas, record.capacity, record.activation_energy
    what = f"{gas} scavenger"
    notes = []
    if gas not in gases or gas not in diffusivity:
        lacking = "permeability" if gas not in gases else "diffusivity"
        notes.append(f"{what}: no {gas} {lacking} is known, so the layer cannot be followed and uses nothing")
    if energy is None:
        notes.append(f"{what}: no activation energy given, the same rate at every temperature")
    if capacity is None:
        notes.append(f"{what}: no capacity given, it never runs out")
    where = f"{record.source or row.where}; {row.get('temperature')}"
    shown = ((what, record.rate), (f"{what} capacity", capacity))
    sources = [SourceNote(name, of, f"{q.number:g}", q.unit, where, "user") for of, q in shown if q]
    return Scavenging(
        Scavenger(
            gas,
            float(record.rate.value) if record.rate else 0.0,
            float(record.temperature or 0.0),
            energy or 0.0,
            float(capacity.value) * density if capacity else None,
        ),
        sources,
        notes,
    )


def read_scavenger(
    name: Any, value: Any, path: tuple[str | int, ...], wrong: Callable[..., None]
) -> dict[str, tuple[Any, tuple[str | int, ...]]] | None:
    """Cells of the group with their places; None where it is no group."""
    if not isinstance(value, Mapping):
        wrong(path, "expected a group of keys", EXAMPLE)
        return None
    known = [key for key in ScavengerRecord.model_fields if key != "material"]
    cells: dict[str, tuple[Any, tuple[str | int, ...]]] = {"material": (name or "unnamed", path)}
    for key, cell in value.items():
        if key in known:
            cells[key] = (cell, (*path, key))
            continue
        close = get_close_matches(str(key), known, n=1, cutoff=0.6)
        if close and close[0] not in value:  # is then not missing as well
            cells[close[0]] = (cell, (*path, key))
        hint = f"did you mean {close[0]}?" if close else "keys: " + ", ".join(known)
        wrong((*path, key), f"there is no key {key!r}", hint)
    return cells

"""``storage`` and ``target``: stages, horizon and specification limits as the simulation takes them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from optimizer.constants import ATMOSPHERE, YEAR
from optimizer.project import schema as given
from optimizer.project.check_usual import pressure_is_usual
from optimizer.project.reader import Reader
from optimizer.project.schema_storage import Stage as GivenStage
from optimizer.project.schema_storage import WeatherStage
from optimizer.project.source import Location
from optimizer.project.weather import weather_stages
from optimizer.shelflife.package import Stage, TransmissionLimit

#: How long to look without a target [s].
_FIVE_YEARS = 5 * YEAR


def build_stages(
    storage: Sequence[GivenStage | WeatherStage], base: Path, reader: Reader
) -> tuple[Stage, ...]:
    """Stages in order; a weather file becomes one stage for each of its steps, all of one name."""
    built: list[Stage] = []
    for i, stage in enumerate(storage):
        name = stage.name or f"stage {i + 1}"
        pressure = stage.pressure.value if stage.pressure else ATMOSPHERE
        if isinstance(stage, WeatherStage):
            built += weather_stages(stage, name, pressure, ("storage", i), base, reader)
        else:
            climate = stage.temperature.value, stage.humidity.value
            built.append(Stage(name, stage.duration.value, *climate, pressure))
    return tuple(built)


def mean_temperature(stages: Sequence[Stage]) -> float:
    """Temperature of the first stage [K]; the mean over its steps where it follows the weather."""
    first = [stage for stage in stages if stage.name == stages[0].name]
    if len(first) == 1:
        return first[0].temperature
    return sum(s.temperature * s.duration for s in first) / sum(s.duration for s in first)


def horizon(stages: Sequence[Stage], target: float | None) -> float:
    """How long to look [s]: three times the target (five years without one), at least the whole storage."""
    stored = sum(stage.duration for stage in stages)
    return max(_FIVE_YEARS if target is None else 3.0 * target, stored)


def build_specifications(target: given.Target, reader: Reader) -> tuple[TransmissionLimit, ...]:
    built = []
    for i, row in enumerate(target.transmission):
        place: Location = ("target", "transmission", i)
        maximum = _maximum(place, row, reader)
        far = row.humidity_far.value if row.humidity_far else 0.0
        if row.gas == "H2O" and row.humidity.value <= far:
            reader.refuse(
                (*place, "humidity"),
                "must be larger than the humidity on the far side",
                "the wet side comes first",
            )
        elif row.gas != "H2O" and row.humidity_far is not None:
            reader.refuse(
                (*place, "humidity_far"),
                f"is for H2O only; for {row.gas} 'humidity' holds on both faces",
                "remove it",
                key=True,
            )
        elif maximum is not None:
            built.append(
                TransmissionLimit(
                    row.gas, maximum, row.wall, row.temperature.value, row.humidity.value, far, row.max.text
                )
            )
    return tuple(built)


def _maximum(place: Location, row: given.TransmissionLimit, reader: Reader) -> float | None:
    """Permeance, conductance or vapour rate in SI; a flux is divided by its partial pressure."""
    flux = row.max.kind in ("gas flux", "package gas flow")
    if flux and row.partial_pressure is None:
        reader.refuse(
            (*place, "max"),
            "has no pressure in its unit",
            f"write '{row.max.text.strip()}' per pressure, such as '{given.example_of(row)}', "
            "or add 'partial_pressure: 1 atm'",
        )
        return None
    if row.partial_pressure is not None and not flux:
        reader.refuse(
            (*place, "partial_pressure"), f"is not needed for this unit of {row.gas}", "remove it", key=True
        )
        return None
    value = float(row.max.value)
    if row.partial_pressure is None:
        return value
    pressure_is_usual("transmission limit", row.gas, row.partial_pressure, reader)
    return value / row.partial_pressure.value

"""Plausibility of the storage."""

from __future__ import annotations

from optimizer.constants import YEAR
from optimizer.project.reader import Reader
from optimizer.project.schema import Sections
from optimizer.project.schema_storage import WeatherStage

#: Longest target where the storage ends with a weather file [years].
LONGEST_WEATHER = 20


def stages_have_their_own_names(sections: Sections, reader: Reader) -> None:
    seen: set[str] = set()
    for i, stage in enumerate(sections.storage or []):
        if stage.name in seen:
            reader.refuse(
                ("storage", i, "name"), f"'{stage.name}' names two stages", "give each its own name"
            )
        if stage.name:
            seen.add(stage.name)


def weather_is_not_looked_at_for_ages(sections: Sections, reader: Reader) -> None:
    """Weather at the end of the storage repeats for as long as is looked at: three times the target."""
    shelf_life = sections.target.shelf_life if sections.target else None
    last = sections.storage[-1] if sections.storage else None
    if shelf_life and isinstance(last, WeatherStage) and shelf_life.value > LONGEST_WEATHER * YEAR:
        reader.refuse(
            ("target", "shelf_life"),
            f"'{shelf_life.text}' is more than {LONGEST_WEATHER} years of hourly weather",
            "give stages of constant temperature and humidity",
        )

"""The two sets of units that answers are shown in: metric, and those common in the United States.

Results keep their metric units (their keys say which); only what people read is converted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Shown:
    """What a metric unit becomes: value * factor + offset in ``unit``."""

    unit: str
    factor: float
    offset: float = 0.0


@dataclass(frozen=True)
class System:
    """name: as the option --units takes it. table: metric unit -> what it becomes; others stay."""

    name: str
    table: Mapping[str, Shown] = field(default_factory=dict)

    def unit(self, unit: str) -> str:
        """The unit that values in ``unit`` are shown in."""
        found = self.table.get(unit)
        return unit if found is None else found.unit

    def value(self, value: float, unit: str) -> float:
        """A number in the metric ``unit`` as the number that is shown."""
        found = self.table.get(unit)
        return value if found is None else value * found.factor + found.offset


#: Metric units as everywhere in the results.
SI = System("si")

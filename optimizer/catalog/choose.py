"""Which of the candidate rows is used, and why.

Order: the user's rows (nearest first); then the line of defaults.csv, if there is one; then the grade
(measured, producer, handbook, memory, estimate); within a grade the source with more conditions, then a
single value before a range, then the source key in alphabetical order. All rows of the chosen source are used
together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.catalog.records import DefaultRecord, DiffusivityRecord, PermeabilityRecord, read_row
from optimizer.catalog.tables import Row
from optimizer.errors import InputError

EVALUATED = "evaluated"
#: Temperatures closer than this count as one [K].
SAME_TEMPERATURE = 0.5
_ORDER = {"measured": 0, "producer": 1, "handbook": 2, "memory": 3, "estimate": 4, "user": -1}


@dataclass(frozen=True)
class Candidate:
    """A permeability row with its origin. rank: 0 shipped, higher is nearer to the user."""

    row: Row
    record: PermeabilityRecord
    source: str
    rank: int = 0

    @property
    def grade(self) -> str:
        return self.record.grade

    @property
    def printed(self) -> str:
        """The value as printed, without its unit."""
        if self.row.get("value"):
            return self.row.get("value")
        return f"{self.row.get('value_low')}-{self.row.get('value_high')}"

    @property
    def conditions(self) -> str:
        """Thickness, temperature and humidity as printed."""
        humidity = self.row.get("humidity")
        far = self.row.get("humidity_far")
        wet = f"{humidity}RH" + (f" against {far}RH" if far else "") if humidity else "humidity not given"
        return ", ".join(t for t in (self.row.get("thickness"), self.row.get("temperature"), wet) if t)


@dataclass(frozen=True)
class Selection:
    """The rows used together, and the reason in words. ``default`` is the line of defaults.csv that
    decided."""

    chosen: tuple[Candidate, ...]
    reason: str
    default: DefaultRecord | None = None


def select(candidates: Sequence[Candidate], default: tuple[Row, DefaultRecord] | None) -> Selection | None:
    """Choose among the candidates of one material and gas; None when there is nothing to choose from."""
    nearest = max((c.rank for c in candidates), default=0)
    if nearest > 0:
        return Selection(tuple(c for c in candidates if c.rank == nearest), "given by the user, nearest wins")
    if default is not None:
        row, record = default
        if record.use == EVALUATED:
            return Selection((evaluated(row),), f"evaluated between the sources ({record.basis})", record)
        chosen = tuple(c for c in candidates if c.source == record.use)
        if chosen:
            return Selection(chosen, f"default of the table ({record.basis})", record)
    if not candidates:
        return None
    groups: dict[str, list[Candidate]] = {}
    for candidate in candidates:
        groups.setdefault(candidate.source, []).append(candidate)
    key = min(groups, key=lambda k: _merit(k, groups[k]))
    grade = min((c.grade for c in groups[key]), key=_ORDER.__getitem__)
    count = len(groups) - 1
    if count == 0:
        return Selection(tuple(groups[key]), f"the only source, grade {grade}")
    others = f"{count} other source{'' if count == 1 else 's'}"
    return Selection(tuple(groups[key]), f"best grade ({grade}), before {others}")


def _merit(key: str, group: Sequence[Candidate]) -> tuple[int, int, bool, str]:
    grade = min(_ORDER[c.grade] for c in group)
    conditions = {(c.record.temperature, c.record.humidity) for c in group}
    return grade, -len(conditions), any(c.record.ranged for c in group), key


def evaluated(row: Row) -> Candidate:
    """The value that a line of defaults.csv itself states, as a candidate of grade 'estimate'."""
    names = ("material", "gas", "value", "unit", "thickness", "temperature", "humidity", "humidity_far")
    cells = {name: row.get(name) for name in names} | {"grade": "estimate", "note": row.get("basis")}
    stated = Row(cells, row.file, row.line, row.place)
    record, wrong = read_row(PermeabilityRecord, stated)
    if record is None or wrong:
        raise InputError(wrong)
    return Candidate(stated, record, EVALUATED)


def select_diffusivity(
    candidates: Sequence[tuple[Row, DiffusivityRecord, str, int]],
) -> tuple[Row, DiffusivityRecord, str, int] | None:
    """Nearest, then best grade, then the source key."""
    if not candidates:
        return None
    return min(candidates, key=lambda c: (-c[3], _ORDER[c[1].grade], c[2]))

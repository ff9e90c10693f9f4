"""What is said where a user gives several values of one gas at one condition: their geometric mean counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from optimizer.catalog.cells import FILM_KINDS
from optimizer.catalog.choose import SAME_TEMPERATURE, Candidate
from optimizer.shelflife.words import listed
from optimizer.units.figures import figure

#: Values further apart than this factor are hardly of one material [-]; common practice, no source.
FAR_APART = 2.0
_NUMBERS = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


def averaged(gas: str, chosen: Sequence[Candidate]) -> list[str]:
    """One note for each condition at which several different values of the user are averaged."""
    notes = []
    for group in _conditions([c for c in chosen if c.rank]):
        values = [c.record.best for c in group]
        low, high = min(values), max(values)
        if low == 0.0 or high - low < 1e-9 * high:  # that a value of 0 counts is said elsewhere
            continue
        apart = f", a factor of {figure(high / low)} apart" if high > FAR_APART * low else ""
        many = _NUMBERS.get(len(group), str(len(group)))
        advice = " (keep the one that is right)" if apart else ""
        notes.append(
            f"{gas}: {many} values at {_condition(group[0])}{apart}, averaged (geometric mean): "
            f"{_as_given(group)}{advice}"
        )
    return notes


def _conditions(rows: Sequence[Candidate]) -> list[list[Candidate]]:
    """Rows of one temperature and humidity together, in the order of the first of each."""
    groups: list[list[Candidate]] = []
    for row in rows:
        for group in groups:
            if _alike(group[0], row):
                group.append(row)
                break
        else:
            groups.append([row])
    return groups


def _alike(a: Candidate, b: Candidate) -> bool:
    # as in the laws: dry unless the humidity is given, for water saturated
    none = 1.0 if a.record.gas == "H2O" else 0.0
    warmth = [c.record.temperature or 0.0 for c in (a, b)]
    wet = [none if c.record.humidity is None else c.record.humidity for c in (a, b)]
    far = [c.record.humidity_far or 0.0 for c in (a, b)]
    return abs(warmth[0] - warmth[1]) < SAME_TEMPERATURE and all(
        round(first, 4) == round(second, 4) for first, second in (wet, far)
    )


def _condition(row: Candidate) -> str:
    humidity, far = row.row.get("humidity"), row.row.get("humidity_far")
    wet = _rh(humidity) if humidity else "humidity not given"
    against = f" against {_rh(far)}" if far else ""
    return f"{row.row.get('temperature')}, {wet}{against}"


def _rh(text: str) -> str:
    return f"{text}RH" if text.endswith("%") else text


def _as_given(group: Sequence[Candidate]) -> str:
    """'50 and 60 cm3*mm/(m2*day*atm)'; each with its own unit where they differ, and one that is given more
    than once with how often it counts: '50 (twice) and 60'."""
    given = Counter(_number_and_unit(row) for row in group)
    often = {1: "", 2: " (twice)"}
    numbers = [f"{number}{often.get(n, f' ({n} times)')}" for (number, _), n in given.items()]
    units = [unit for _, unit in given]
    if len(set(units)) == 1:
        return f"{listed(numbers)} {units[0]}"
    return listed([f"{number} {unit}" for number, unit in zip(numbers, units, strict=True)])


def _number_and_unit(row: Candidate) -> tuple[str, str]:
    record = row.record
    ends = [q for q in ((record.value,) if record.value else (record.value_low, record.value_high)) if q]
    film = f" of {row.row.get('thickness')}" if record.kind in FILM_KINDS else ""
    return " to ".join(f"{q.number:g}" for q in ends), f"{ends[0].unit}{film}"

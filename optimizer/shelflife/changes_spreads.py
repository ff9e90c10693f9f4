"""What differs between the uncertainty of two cases, and between how their walls are simulated."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from optimizer.results import Change
from optimizer.shelflife.differences import differs, gases, number, percent
from optimizer.shelflife.package import Case, Surroundings, Uncertainty
from optimizer.shelflife.words import limit_name

#: field of ``Uncertainty`` keyed by name -> what each spread is of
_BY_NAME: dict[str, Callable[[Any], str]] = {
    "thickness": lambda name: f"thickness of {name}",
    "layers": lambda key: f"thickness of {key[1]} in wall {key[0]}",
    "durations": lambda name: f"duration of stage {name}",
    "limits": lambda name: f"limit {limit_name(name)}",
    "transmission": lambda key: f"{key[1]} transmission of {key[0]}",
}
#: field -> words
_SHARES = {
    "consumption": "spread of oxygen use",
    "isotherm": "spread of the isotherm",
    "headspace_oxygen": "spread of oxygen at closing",
    "humidity": "spread of humidity outside",
    "properties": "spread of properties without one of their own",
    "correlation": "correlation of properties from one source",
    "confidence": "confidence asked for",
}


def walls_followed(baseline: Case, case: Case) -> Iterator[Change]:
    """How the walls are simulated, and what they were stored in."""
    if baseline.wall != case.wall:
        yield Change("walls simulated", baseline.wall, case.wall)
    if differs(baseline.before, case.before):
        yield Change("walls before closing", _before(baseline.before), _before(case.before))


def _before(around: Surroundings) -> str:
    humidity = "humidity of the first stage" if around.humidity is None else percent(around.humidity)
    return f"{humidity}, {gases(around.gas)}"


def spreads(baseline: Case, case: Case) -> Iterator[Change]:
    """Spreads, their correlation and the confidence asked for; the number of samples is no difference."""
    old, new = baseline.uncertainty, case.uncertainty
    for field, words in _BY_NAME.items():
        yield from _by_name(getattr(old, field), getattr(new, field), words)
    for field, what in _SHARES.items():
        yield from number(what, _given(old, field), _given(new, field), percent)
    first, second = _given(old, "temperature"), _given(new, "temperature")
    yield from number("spread of temperature", first, second, lambda x: f"{x:.4g} K")


def _by_name(
    old: Mapping[Any, float], new: Mapping[Any, float], words: Callable[[Any], str]
) -> Iterator[Change]:
    for key in dict.fromkeys([*old, *new]):
        yield from number(f"spread of {words(key)}", old.get(key), new.get(key), percent)


def _given(uncertainty: Uncertainty, field: str) -> float | None:
    """A spread of 0 is none; a correlation of 0 is a value."""
    value: float | None = getattr(uncertainty, field)
    return None if value == 0.0 and field != "correlation" else value

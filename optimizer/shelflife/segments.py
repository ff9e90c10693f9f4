"""Time in pieces of constant surroundings: the stages of storage laid out to the end of the look."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DRY_AIR
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.package import Stage

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Segments:
    """Arrays (S,): start and duration [s], temperature [K], humidity (water activity outside) [-], total
    pressure
    [Pa]; stage: name of the stage that each segment belongs to; shares: dry mole shares of O2, N2 and CO2
    outside, (S,) each, None for air at all times."""

    start: Array
    duration: Array
    temperature: Array
    humidity: Array
    pressure: Array
    stage: tuple[str, ...]
    shares: Mapping[str, Array] | None = None

    def __len__(self) -> int:
        return len(self.start)

    @property
    def end(self) -> Array:
        return self.start + self.duration

    @cached_property
    def saturation(self) -> Array:
        """Saturation pressure of water (S,) [Pa]; worked out once, as every segment asks for it."""
        return saturation_pressure(self.temperature)

    def outside_pressure(self, gas: str) -> Array:
        """Partial pressure of O2, N2 or CO2 outside (S,) [Pa]."""
        value: Array = self.share(gas) * (self.pressure - self.humidity * self.saturation)
        return value

    def share(self, gas: str) -> Array | float:
        """Dry mole share of O2, N2 or CO2 outside, (S,) where it changes."""
        return DRY_AIR[gas] if self.shares is None else self.shares[gas]

    def take(self, index: NDArray[np.intp], start: Array, duration: Array) -> Segments:
        """Segments with the surroundings of ``index`` and new times."""
        return Segments(
            start,
            duration,
            self.temperature[index],
            self.humidity[index],
            self.pressure[index],
            tuple(self.stage[i] for i in index),
            None if self.shares is None else {g: x[index] for g, x in self.shares.items()},
        )


def last_run(storage: Sequence[Stage]) -> int:
    """Index of the first of the stages at the end that carry the last one's name (a year of weather, say)."""
    first = len(storage) - 1
    while first > 0 and storage[first - 1].name == storage[-1].name:
        first -= 1
    return first


def lay_out(storage: Sequence[Stage], until: float, cuts: Iterable[float] = ()) -> Segments:
    """Stages in order to ``until`` [s]; the last one (all stages at the end that share its name) repeats.

    Neighbours with equal surroundings and name are merged; ``cuts`` [s] are times at which a segment must
    end.
    """
    if not storage:
        raise ValueError("storage needs at least one stage")
    if not until > 0:
        raise ValueError("the time to look ahead must be positive")
    order = list(storage)
    tail = order[last_run(order) :]
    if not all(s.duration > 0 for s in order):
        raise ValueError("every stage needs a positive duration")
    rows: list[tuple[Stage, float]] = []
    elapsed = 0.0
    k = 0
    while elapsed < until * (1 - 1e-12):
        stage = order[k] if k < len(order) else tail[(k - len(order)) % len(tail)]
        width = min(stage.duration, until - elapsed)
        if k >= len(order) and len(tail) == 1:
            width = until - elapsed
        if rows and same_surroundings(rows[-1][0], stage):
            rows[-1] = (stage, rows[-1][1] + width)
        else:
            rows.append((stage, width))
        elapsed += width
        k += 1
    width_array = np.array([w for _, w in rows])
    start = np.concatenate([[0.0], np.cumsum(width_array)[:-1]])
    segments = Segments(
        start,
        width_array,
        np.array([s.temperature for s, _ in rows]),
        np.array([s.humidity for s, _ in rows]),
        np.array([s.pressure for s, _ in rows]),
        tuple(s.name for s, _ in rows),
        shares_of([s for s, _ in rows]),
    )
    return cut(segments, cuts)


def shares_of(stages: Sequence[Stage]) -> dict[str, Array] | None:
    """Dry mole shares around the package in each stage (S,), None where it is air in all of them."""
    if all(s.gas is None for s in stages):
        return None
    return {g: np.array([s.around.get(g, 0.0) for s in stages]) for g in DRY_AIR}


def same_surroundings(a: Stage, b: Stage) -> bool:
    """Whether two stages have one name and the same conditions."""
    return replace(a, duration=0.0) == replace(b, duration=0.0)


def cut(segments: Segments, times: Iterable[float]) -> Segments:
    """The same segments with further ends at ``times`` [s]."""
    end = segments.end
    inner = [
        t
        for t in times
        if segments.start[0] < t < end[-1]
        and np.min(np.abs(np.append(end, segments.start) - t)) > 1e-9 * end[-1]
    ]
    if not inner:
        return segments
    edges = np.unique(np.concatenate([segments.start, inner, end[-1:]]))
    index = np.searchsorted(segments.start, edges[:-1] * (1 + 1e-15), side="right") - 1
    return segments.take(index, edges[:-1], np.diff(edges))


def split(segments: Segments, pieces: int) -> Segments:
    """Each segment in ``pieces`` equal parts."""
    index = np.repeat(np.arange(len(segments)), pieces)
    width = segments.duration[index] / pieces
    start = segments.start[index] + width * np.tile(np.arange(pieces), len(segments))
    return segments.take(index, start, width)

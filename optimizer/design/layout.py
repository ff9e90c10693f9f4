"""How structures are laid out for the bound model: patterns, reachable states, position classes, ranks."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.design.problem import Environment, Problem, WallRules, most_sensitive_layers

State = tuple[int, int, int]  # slot, material, phase

#: Thickness unit of the optimiser [m].
UM = 1e-6


@dataclass(frozen=True)
class PositionClass:
    """Environments of one wall in which a layer has the same place: any of them gives the water ratios."""

    wall: int
    environments: tuple[int, ...]
    reference: Environment


def position_classes(problem: Problem) -> tuple[PositionClass, ...]:
    """Group the driven environments that the demands use, wall by wall."""
    found: dict[tuple[int, object], list[int]] = {}
    for demand in problem.demands:
        for term in demand.terms:
            env = problem.environments[term.environment]
            if not env.driven:
                continue
            key: object = env if problem.water_varies else round(env.temperature, 6)
            members = found.setdefault((term.wall, key), [])
            if term.environment not in members:
                members.append(term.environment)
    return tuple(
        PositionClass(w, tuple(members), problem.environments[members[0]])
        for (w, _), members in found.items()
    )


def ranks(problem: Problem) -> tuple[int, ...]:
    """How many sensitive layers each wall can hold at most, 0 where positions do not matter."""
    classes = position_classes(problem)
    return tuple(
        most_sensitive_layers(wall, problem.sensitive) if any(c.wall == w for c in classes) else 0
        for w, wall in enumerate(problem.walls)
    )


@dataclass(frozen=True)
class Pattern:
    """Humidity-sensitive layers of one wall from inside: ``known`` materials, and whether more may follow
    outside."""

    known: tuple[int, ...] = ()
    closed: bool = False

    def allows(self, material: int, phase: int) -> bool:
        """Whether ``material`` may stand in ``phase`` (an even phase holds no sensitive layer)."""
        rank = phase // 2
        if phase % 2 == 0 or rank >= len(self.known):
            return phase % 2 == 0 or not self.closed
        return self.known[rank] == material

    def may_end(self, phase: int) -> bool:
        return (phase + 1) // 2 >= len(self.known)


def _phase_after(
    phase: int, material: int, sensitive: NDArray[np.bool_], rank: int, pattern: Pattern
) -> int | None:
    """Phase of a layer of ``material`` outside a layer in ``phase``; None where the pattern forbids it."""
    if rank == 0:
        return 0
    if sensitive[material]:
        new = phase + 1 if phase % 2 == 0 else phase + 2
    else:
        new = phase if phase % 2 == 0 else phase + 1
    return new if new <= 2 * rank and pattern.allows(material, new) else None


def sequences_of(
    wall: WallRules, sensitive: NDArray[np.bool_], rank: int, pattern: Pattern, most: int
) -> list[tuple[int, ...]] | None:
    """Every allowed sequence of the pattern, or None if there are more than ``most``."""
    states = reachable(wall, sensitive, rank, pattern)
    found: list[tuple[int, ...]] = []
    near = wall.existing if wall.changes is not None else None
    blank = tuple(range(len(near) + 1)) if near is not None else ()
    open_: list[tuple[tuple[int, ...], int, tuple[int, ...]]] = [
        ((m,), p, _extended(near, blank, m)) for k, m, p in states if k == 0
    ]
    while open_:
        sequence, phase, row = open_.pop()
        if wall.resins is not None and len(set(sequence)) > wall.resins:
            continue
        if near is not None and wall.changes is not None and min(row) > wall.changes:
            continue
        last = sequence[-1]
        if wall.end[last] and (rank == 0 or pattern.may_end(phase)) and kept(wall, sequence):
            found.append(sequence)
            if len(found) > most:
                return None
        k = len(sequence)
        for b in np.flatnonzero(wall.touching[last]):
            new = _phase_after(phase, int(b), sensitive, rank, pattern)
            if new is not None and (k, int(b), new) in states:
                open_.append(((*sequence, int(b)), new, _extended(near, row, int(b))))
    return found


def _extended(near: tuple[int, ...] | None, row: tuple[int, ...], layer: int) -> tuple[int, ...]:
    """Next row of the table of edit distances to ``near``, for a sequence longer by one layer."""
    if near is None:
        return ()
    new = [row[0] + 1]
    for j, known in enumerate(near, 1):
        new.append(min(row[j] + 1, new[j - 1] + 1, row[j - 1] + (known != layer)))
    return tuple(new)


def reachable(
    wall: WallRules, sensitive: NDArray[np.bool_], rank: int, pattern: Pattern = Pattern()
) -> set[State]:
    """States that lie on some allowed path from the inside to a possible outermost layer."""
    count = len(sensitive)
    forward: list[set[tuple[int, int]]] = [set() for _ in range(wall.max_layers)]

    for m in range(count):
        if wall.start[m]:
            phase = _phase_after(0, m, sensitive, rank, pattern)
            if phase is not None:
                forward[0].add((m, phase))
    for k in range(1, wall.max_layers):
        for m, p in forward[k - 1]:
            for b in np.flatnonzero(wall.touching[m]):
                phase = _phase_after(p, int(b), sensitive, rank, pattern)
                if phase is not None:
                    forward[k].add((int(b), phase))
    alive: list[set[tuple[int, int]]] = [set() for _ in range(wall.max_layers)]
    for k in reversed(range(wall.max_layers)):
        for m, p in forward[k]:
            if (
                wall.end[m]
                and (rank == 0 or pattern.may_end(p))
                or k + 1 < wall.max_layers
                and any(
                    wall.touching[m, b] and (b, _phase_after(p, b, sensitive, rank, pattern)) in alive[k + 1]
                    for b, _ in alive[k + 1]
                )
            ):
                alive[k].add((m, p))
    return {(k, m, p) for k in range(wall.max_layers) for m, p in alive[k]}


def near(problem: Problem, sequences: tuple[tuple[int, ...], ...]) -> list[tuple[tuple[int, ...], ...]]:
    """Allowed choices of sequences that differ by one layer of one wall replaced, added or left out; in a
    symmetric wall by the pair."""
    found: list[tuple[tuple[int, ...], ...]] = []
    every = range(len(problem.materials))
    for w, (wall, whole) in enumerate(zip(problem.walls, sequences, strict=True)):
        sequence = whole[: len(whole) // 2 + 1] if wall.symmetric else whole
        tries = [sequence[:k] + sequence[k + 1 :] for k in range(len(sequence))]
        tries += [(*sequence[:k], m, *sequence[k + 1 :]) for k in range(len(sequence)) for m in every]
        tries += [(*sequence[:k], m, *sequence[k:]) for k in range(len(sequence) + 1) for m in every]
        for new in dict.fromkeys(tries):
            full = new + new[-2::-1] if wall.symmetric else new
            if full != whole and allowed(wall, full):
                found.append((*sequences[:w], full, *sequences[w + 1 :]))
    return found


def kept(wall: WallRules, sequence: Sequence[int]) -> bool:
    """Whether a sequence keeps the rules on its materials as a whole: those that must be present, the number
    of resins, and how far it may be from the existing one."""
    if not set(wall.keep) <= set(sequence) or any(set(g).isdisjoint(sequence) for g in wall.keep_any):
        return False
    if wall.resins is not None and len(set(sequence)) > wall.resins:
        return False
    if wall.existing is None or wall.changes is None:
        return True
    return changes_between(wall.existing, sequence) <= wall.changes


def changes_between(first: Sequence[int], second: Sequence[int]) -> int:
    """Fewest layers exchanged, added or left out that turn one sequence into the other (edit distance)."""
    row = list(range(len(second) + 1))
    for i, a in enumerate(first, 1):
        before, row[0] = row[0], i
        for j, b in enumerate(second, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (a != b))
    return row[-1]


def allowed(wall: WallRules, sequence: tuple[int, ...]) -> bool:
    """Whether the wall may have this sequence of materials."""
    if not sequence or len(sequence) > wall.max_layers or not kept(wall, sequence):
        return False
    ends = bool(wall.start[sequence[0]] and wall.end[sequence[-1]])
    return ends and all(wall.touching[a, b] for a, b in itertools.pairwise(sequence))

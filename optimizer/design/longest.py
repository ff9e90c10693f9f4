"""The end of the frontier: the longest shelf life that any structure of the candidates reaches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.constants import DAY
from optimizer.design.demands import build
from optimizer.design.frontier import Frontier
from optimizer.design.optimum import walls_of
from optimizer.design.problem import Choice
from optimizer.design.search import Search
from optimizer.shelflife.words import duration

#: The longest shelf life is located to this share of itself.
LONGEST_TOLERANCE = 0.005
#: Seconds for one question "is any structure possible?".
_QUESTION = 10.0
#: Any structure answers it: the search need not compare them.
_ANY = 0.99


@dataclass(frozen=True)
class End:
    """The longest-lived structure found and how long it lasts [s]; beyond [s]: a target shown to have none,
    or None; why: in words, where no wall at all would do."""

    choice: Choice
    life: float
    beyond: float | None
    why: tuple[str, ...]


def find_end(frontier: Frontier, beyond: float) -> End:
    """Where structures end, below ``beyond`` for which none was found; something must be known.

    The questions are asked with the limits linearised at the longest-lived structure known.
    """
    last = frontier.solved[-1]
    best, low, high = last.choice, max(last.target, frontier.life(last.choice, beyond)), beyond
    shown: float | None = None
    why: tuple[str, ...] = ()
    final = False
    while high > low * (1.0 + LONGEST_TOLERANCE) or (shown is None and not final):
        final = high <= low * (1.0 + LONGEST_TOLERANCE)
        middle = high if final else float(np.sqrt(low * high))
        frontier.go_on(f"longest shelf life: between {duration(low / DAY)} and {duration(high / DAY)}")
        found, none, words = _possible(frontier, middle, best)
        life = 0.0 if found is None else frontier.life(found, beyond)
        if found is not None and life > low:
            best, low = found, life
        if life < middle:
            high = middle
            if none:
                shown, why = middle, words
    return End(best, low, None if shown is not None and shown <= low else shown, why)


def _possible(frontier: Frontier, target: float, near: Choice) -> tuple[Choice | None, bool, tuple[str, ...]]:
    """Any structure for the target; whether there is none for sure; why, where no wall would do."""
    walls = walls_of(frontier.options, near)
    thickness = {w: x.thickness for w, x in walls.items()}
    demands = build(frontier.at(target), frontier.options, walls, thickness)
    if demands.beyond:
        return None, True, tuple(b.text for b in demands.beyond)
    frontier.searches += 1
    seconds = max(0.1, min(frontier.left, _QUESTION))
    outcome = Search(demands.problem).run(gap=_ANY, time_limit=seconds, stop=frontier.halt)
    return outcome.best, outcome.status == "infeasible", ()

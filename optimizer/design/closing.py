"""Known designs of a problem, and the closing of listed sequences against them.

A sequence is *closed* when its lower bound reaches the cutoff, or, where it is itself among the designs
wanted, when its bound is within the gap of its own best thicknesses.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box, resistivity_at
from optimizer.design.close import MOST_NODES, Closer
from optimizer.design.exact import ExactModel
from optimizer.design.lattice import StepPolisher
from optimizer.design.layout import UM, Pattern, ranks, sequences_of
from optimizer.design.polish import Sequences, gauges
from optimizer.design.problem import Choice, Problem
from optimizer.design.rows import Tangents
from optimizer.design.screen import Screen

Array = NDArray[np.float64]

#: Of the listed sequences the most promising are polished before any is closed, and each gets a short look
#: before a long one.
_POLISHED_FIRST, _FIRST_LOOK = 2, 20
#: A relaxed design is polished when its estimated objective is below this times the last one wanted.
_HOPE = 1.003
#: Above this value of a demand in the exact model a relaxed design says little.
_FAR_OFF = 1.05
#: Attempts at a sequence for which no thicknesses are found.
_FAILURES = 2
#: Seconds of closing between two lines of progress.
_PACE = 2.0


class Closing:
    """State shared by all nodes of a search: the designs wanted, the cutoff, and what is closed."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.exact = ExactModel(problem)
        self.polisher = StepPolisher(self.exact)
        self.closer = Closer(self.exact)
        self.solver, self.tables, self.classes = self.closer.solver, self.closer.tables, self.closer.classes
        self.tangents = Tangents(problem)
        self._first_tangents()
        self.wanted = 1
        self.gap = 1e-3
        self.over: Callable[[], bool] = lambda: False
        self.tell: Callable[[int, float], None] = lambda left, bound: None
        self._told, self._open = time.monotonic(), 0
        self.closer.say = lambda bound: self._say(self._open, bound)
        self.bounds: dict[Sequences, float] = {}
        self.failed: dict[Sequences, int] = {}
        self.relaxed: dict[Sequences, tuple[Array, Array]] = {}

    def begin(
        self,
        gap: float,
        over: Callable[[], bool],
        wanted: int = 1,
        tell: Callable[[int, float], None] = lambda left, bound: None,
    ) -> None:
        """tell: told the sequences left and the lowest bound, now and then."""
        self.gap, self.over, self.wanted = gap, over, wanted
        self.closer.over, self.tell = over, tell

    # -- designs ---------------------------------------------------------------------------------------------

    def designs(self) -> list[Choice]:
        """Every known design, cheapest first, one for each choice of sequences."""
        return sorted((c for c in self.polisher.solved.values() if c is not None), key=lambda c: c.objective)

    @property
    def best(self) -> Choice | None:
        known = [c for c in self.polisher.solved.values() if c is not None]
        return min(known, key=lambda c: c.objective, default=None)

    @property
    def dearest(self) -> float:
        """Objective of the last design wanted; inf while there are too few."""
        known = [c.objective for c in self.polisher.solved.values() if c is not None]
        return sorted(known)[self.wanted - 1] if len(known) >= self.wanted else np.inf

    @property
    def cutoff(self) -> float:
        """Sequences that cannot come below this are of no interest."""
        return self.dearest * (1 - self.gap)

    def target(self, sequences: Sequences) -> float:
        """Bound at which a sequence is closed."""
        own = self.polisher.solved.get(sequences)
        return min(self.cutoff, np.inf if own is None else own.objective * (1 - self.gap))

    def offer(self, choice: Choice) -> None:
        known = self.polisher.solved.get(choice.sequences)
        if known is None or choice.objective < known.objective:
            self.polisher.solved[choice.sequences] = choice
        self._tangents_at(choice.sequences, choice.flat)

    def polish(self, sequences: Sequences, x: Array) -> Choice | None:
        """Best thicknesses found from x [um], and from thicker starts where that fails at first."""
        first = sequences not in self.polisher.solved
        polished = self.polisher.best(sequences, [x])
        if polished is None and first:
            least, most = gauges(self.problem, sequences)
            for other in (1.3 * x, np.sqrt(least * most), 0.5 * (least + most)):
                if self.over():
                    break
                polished = polished or self.polisher.best(sequences, [other])
        if polished is not None:
            self._tangents_at(sequences, polished.flat)
        else:
            self.failed[sequences] = self.failed.get(sequences, 0) + 1
        return polished

    def promising(self, sequences: Sequences, x: Array, prices: Array) -> bool:
        """Whether thicknesses x [um], proposed by a relaxation, may be worth polishing: their objective and
        the price of the demands that they miss in the exact model, against the designs wanted and the
        sequence's own."""
        value = self.exact.value(sequences, x * UM)
        most = 0.0
        if self.problem.demands:
            demand = self.exact.demand_values(sequences, x[None, :] * UM)[0]
            most = float(demand.max())
            value += float(prices @ np.maximum(0.0, 1.0 - 1.0 / np.maximum(demand, 1e-9)))
        if most > 1.0 and self.failed.get(sequences, 0) >= _FAILURES:
            return False
        if most > _FAR_OFF and np.isfinite(self.dearest):
            return False
        own = self.polisher.solved.get(sequences)
        if own is not None:
            return value < own.objective * (1 - 0.5 * self.gap)
        return value < _HOPE * self.dearest

    # -- tangents --------------------------------------------------------------------------------------------

    def _first_tangents(self) -> None:
        """Along the temperature response of every candidate, so that the first bounds are not naive."""
        for d, demand in enumerate(self.problem.demands):
            weight = np.array([t.weight for t in demand.terms])
            for material in self.problem.materials:
                r = np.array(
                    [
                        resistivity_at(material, demand.gas, self.problem.environments[t.environment])
                        for t in demand.terms
                    ]
                )
                self.tangents.add(d, (weight / r) / np.sum(weight / r), 0.02)

    def _tangents_at(self, sequences: Sequence[Sequence[int]], thickness: Array) -> None:
        for d, share in enumerate(self.exact.shares_of_demand(sequences, thickness)):
            self.tangents.add(d, share, 1e-3)

    # -- closing ---------------------------------------------------------------------------------------------

    def all_sequences(self, most: int) -> list[Sequences] | None:
        """Every choice of sequences that the rules allow, or None if there are more than ``most``."""
        rank = ranks(self.problem)
        lists = []
        for wall, r in zip(self.problem.walls, rank, strict=True):
            # a wall that may change only a little is listed however many candidates there are
            limit = 50 * most if wall.changes is not None else most
            found = sequences_of(wall, self.problem.sensitive, r, Pattern((), r == 0), limit)
            if found is None:
                return None
            lists.append([s for s in found if not wall.symmetric or s == s[::-1]])
        if np.prod([float(len(x)) for x in lists]) > 50 * most:
            return None
        return list(itertools.product(*lists))

    def close_all(self, screen: Screen) -> float:
        """Close every sequence of a screen within its node, the most promising first; the lowest bound that
        is left."""
        shares = self.shares()
        listed = screen.sequences
        ranked: list[tuple[float, Sequences]] = []
        lowest = open_ = np.inf  # bounds of what is settled, and of what is ranked
        waiting = np.ones(len(listed), dtype=bool)
        while waiting.any():
            k = int(np.argmin(np.where(waiting, screen.bounds, np.inf)))
            if screen.bounds[k] >= self.cutoff:
                lowest = min(lowest, float(screen.bounds[k]))
                break
            screened = float(screen.bounds[k])
            if self.over():
                return min(lowest, open_, screened)
            self._say(int(waiting.sum()) + len(ranked), min(lowest, open_, screened))
            waiting[k] = False
            sequences = listed[k]
            if self.bounds.get(sequences, -np.inf) >= self.target(sequences):
                lowest = min(lowest, self._left(sequences, self.bounds[sequences]))
                continue
            bound, x, work = self.closer.first_bound(
                sequences, self.target(sequences), shares, screen.boxes(sequences)
            )
            bound = max(bound, screened)
            screen.learn_from(work)
            if bound >= self.target(sequences) or x is None:
                lowest = min(lowest, self._left(sequences, bound))
            else:
                self.relaxed[sequences] = (x, work.prices)
                ranked.append((bound, sequences))
                open_ = min(open_, bound)
        ranked.sort()
        for _, sequences in ranked[:_POLISHED_FIRST]:
            # a weak best design makes every proof longer
            x, prices = self.relaxed[sequences]
            if not self.over() and self.promising(sequences, x, prices):
                self.polish(sequences, x)
        for most_nodes in (_FIRST_LOOK, MOST_NODES):
            later: list[tuple[float, Sequences]] = []
            for done, (bound, sequences) in enumerate(ranked):
                if self.over():
                    return min([lowest, bound, *(b for b, _ in later)])
                self._open = len(ranked) - done + len(later)
                left = self._close(sequences, screen.boxes(sequences), most_nodes)
                if left >= self.target(sequences) or most_nodes == MOST_NODES:
                    lowest = min(lowest, self._left(sequences, left))
                else:
                    later.append((left, sequences))
            ranked = sorted(later)
        return lowest

    def _say(self, left: int, bound: float) -> None:
        if time.monotonic() - self._told > _PACE:
            self._told = time.monotonic()
            self.tell(left, bound)

    def _left(self, sequences: Sequences, bound: float) -> float:
        """What a closed sequence leaves as bound of the others: nothing, where several designs are wanted and
        it is one of them, proved within the gap of its own best thicknesses."""
        own = self.polisher.solved.get(sequences)
        proved = own is not None and bound >= own.objective * (1 - self.gap) * (1 - 1e-12)
        return np.inf if self.wanted > 1 and proved else bound

    def shares(self) -> list[tuple[int, Array]]:
        return list(zip(self.tangents.demand, self.tangents.shares, strict=True))

    def _close(self, sequences: Sequences, boxes: Mapping[tuple[int, int], Box], most_nodes: int) -> float:
        """Lower bound of the sequence in the boxes; below its target only where the proof was cut short."""

        def offer(x: Array, prices: Array) -> float:
            if not self.over() and self.promising(sequences, x, prices):
                self.polish(sequences, x)
            return self.target(sequences)

        bound = self.closer.close(
            sequences, self.target(sequences), self.shares(), offer, most_nodes, boxes
        ).bound
        if not boxes:
            self.bounds[sequences] = max(bound, self.bounds.get(sequences, -np.inf))
        return bound

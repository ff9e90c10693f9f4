"""Closing one sequence: a proved lower bound of its cost in the exact model.

Branch and bound over boxes of the places of its humidity-sensitive layers. In a box every layer counts with
the best resistivity it can have there (``boxes``), the box itself is a pair of linear rows per place,
demands are tangent rows, and the rest is a linear programme over the thicknesses. It ends when no box can
hold anything cheaper than the cutoff.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box
from optimizer.design.exact import ExactModel
from optimizer.design.layout import position_classes
from optimizer.design.polish import Sequences
from optimizer.design.sequence import Key, SequenceBound
from optimizer.design.small import SmallSolver
from optimizer.design.tables import Tables

Array = NDArray[np.float64]

#: Boxes examined at most for one sequence.
MOST_NODES = 3000


@dataclass(order=True)
class _Node:
    bound: float
    order: int
    boxes: dict[Key, Box] = field(compare=False)
    cuts: list[tuple[int, Array]] = field(compare=False)


@dataclass(frozen=True)
class Closed:
    """bound: no thicknesses of this sequence cost less (at most the cutoff it was asked for); nodes
    examined."""

    bound: float
    nodes: int


class Closer:
    """Closes sequences of one problem."""

    def __init__(self, exact: ExactModel) -> None:
        self.exact = exact
        self.problem = exact.problem
        self.classes = position_classes(self.problem)
        self.solver = SmallSolver()
        self.tables = Tables(self.problem, self.classes)
        #: Asked inside the programmes of one box, too.
        self.over: Callable[[], bool] = lambda: False
        #: Told the bound of every box before it is examined.
        self.say: Callable[[float], None] = lambda bound: None

    def first_bound(
        self,
        sequences: Sequences,
        cutoff: float,
        shares: Sequence[tuple[int, Array]],
        boxes: Mapping[Key, Box] | None = None,
    ) -> tuple[float, Array | None, SequenceBound]:
        """Bound from one relaxation in the given boxes (elsewhere the layers' places are open), the
        thicknesses [um] that attain it (None where the rules alone cannot be met), and the programme with its
        multipliers."""
        work = SequenceBound(self, sequences)
        bound, x = work.relax(work.within(shares, boxes), cutoff)
        return bound, x, work

    def close(
        self,
        sequences: Sequences,
        cutoff: float,
        shares: Sequence[tuple[int, Array]],
        offer: Callable[[Array, Array], float],
        most_nodes: int = MOST_NODES,
        boxes: Mapping[Key, Box] | None = None,
    ) -> Closed:
        """Lower bound of the sequence (within the given boxes), at most ``cutoff``.

        shares: (demand, shares of its terms) of tangents to start with. offer(x, prices) is called with
        thicknesses [um] that the relaxation proposes and the objective per unit of each demand there; it
        returns the (possibly lower) cutoff.
        """
        work = SequenceBound(self, sequences)
        region = work.within(shares, boxes)
        root = _Node(-np.inf, 0, region.boxes, region.cuts)
        queue, order, nodes, done = [root], 0, 0, np.inf
        while queue:
            node = heapq.heappop(queue)
            if node.bound >= cutoff:
                done = min(done, node.bound)
                continue
            if nodes >= most_nodes or self.over():
                return Closed(min(node.bound, done), nodes)
            nodes += 1
            self.say(node.bound)
            bound, x = work.relax(node, cutoff)
            node.bound = max(node.bound, bound)
            if node.bound >= cutoff or x is None:
                done = min(done, node.bound)
                continue
            if not work.contract(node, cutoff):
                done = min(done, cutoff)
                continue
            if nodes == 1 or work.whole:
                # contraction changes what the relaxation proposes
                bound, again = work.relax(node, cutoff, whole=work.whole)
                node.bound = max(node.bound, bound)
                if node.bound >= cutoff or (again is None and not work.whole):
                    done = min(done, node.bound)
                    continue
                # a whole-number programme cut short leaves a bound without a point
                x = x if again is None else again
            if nodes == 1 or nodes % 10 == 0:
                cutoff = min(cutoff, offer(x, work.prices))
            split = work.split(node, x)
            if split is None:
                # contraction may have left nothing to cut: the bound of what it left counts
                bound, again = work.relax(node, cutoff)
                node.bound = max(node.bound, bound)
                if again is not None and node.bound < cutoff:
                    cutoff = min(cutoff, offer(again, work.prices))
                    split = work.split(node, again)
            if split is None:
                done = min(done, node.bound)
                continue
            for key, box in split:
                order += 1
                heapq.heappush(queue, _Node(node.bound, order, {**node.boxes, key: box}, node.cuts))
        return Closed(min(done, cutoff), nodes)

"""A second engine: mixed-integer bound models alone, in Pyomo, solved by HiGHS.

Branch and bound over patterns: which humidity-sensitive layers a wall holds, from inside outwards. A node
fixes the first of them (more may follow) or all of them (closed). Its bound model only asks for structures
cheaper than the best known design less the gap; none left means that the node is done. What the model
proposes is polished in the exact model, tangent cuts are added at both points, and in a closed node the
boxes are made finer where the two lie.

It is slower than ``search`` and stops at a gap of some tenths of a percent where boxes cannot be made finer,
but its bounds share no code with those of ``search``: each is the other's test.
"""

from __future__ import annotations

import heapq
import itertools
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import resistivity_at
from optimizer.design.exact import ExactModel
from optimizer.design.highs import Proposal, Solver, Status
from optimizer.design.layout import UM, Pattern, position_classes, ranks
from optimizer.design.milp import BoundModel, Cut
from optimizer.design.places import BoxSet, places
from optimizer.design.polish import Polisher, Sequences
from optimizer.design.problem import Choice, Problem
from optimizer.design.search import Outcome

Array = NDArray[np.float64]
Progress = Callable[[str], None]

#: An open node is split anyway: its bound model need not be solved to the end.
_OPEN_GAP = 0.05


@dataclass(order=True)
class Node:
    """Part of the search: a pattern for every wall, the bound inherited so far, and its own boxes."""

    bound: float
    order: int
    patterns: tuple[Pattern, ...] = field(compare=False)
    boxes: BoxSet = field(compare=False)

    @property
    def closed(self) -> bool:
        return all(p.closed for p in self.patterns)


class RankedSearch:
    """One problem with its cuts and known designs."""

    def __init__(self, problem: Problem, *, progress: Progress | None = None) -> None:
        self.problem = problem
        self.exact = ExactModel(problem)
        self.polisher = Polisher(self.exact)
        self.progress = progress
        self.classes = position_classes(problem)
        self.ranks = ranks(problem)
        self.cuts: list[Cut] = []
        self.best: Choice | None = None
        self.log: list[str] = []
        self.stop: Callable[[], bool] = lambda: False
        self._first_cuts()

    # -- cuts ------------------------------------------------------------------------------------------------

    def _first_cuts(self) -> None:
        """Tangents along the temperature response of every candidate, so that the first model is not
        naive."""
        for d, demand in enumerate(self.problem.demands):
            weight = np.array([t.weight for t in demand.terms])
            for material in self.problem.materials:
                r = np.array(
                    [
                        resistivity_at(material, demand.gas, self.problem.environments[t.environment])
                        for t in demand.terms
                    ]
                )
                self._keep_cut(d, (weight / r) / np.sum(weight / r), 0.02)

    def _keep_cut(self, demand: int, share: Array, apart: float = 1e-4) -> None:
        share = np.maximum(share, 1e-9)
        share = share / share.sum()
        for cut in self.cuts:
            if cut.demand == demand and np.abs(np.array(cut.share) - share).max() < apart:
                return
        self.cuts.append(Cut(demand, tuple(float(v) for v in share)))

    def _cuts_at(self, sequences: Sequence[Sequence[int]], thickness: Array) -> None:
        for d, share in enumerate(self.exact.shares_of_demand(sequences, thickness)):
            self._keep_cut(d, share)

    # -- patterns --------------------------------------------------------------------------------------------

    def _root(self) -> Node:
        patterns = tuple(Pattern((), self.ranks[w] == 0) for w in range(len(self.problem.walls)))
        return Node(-np.inf, 0, patterns, BoxSet(self.classes, self.ranks))

    def _children(self, node: Node) -> list[tuple[Pattern, ...]]:
        """Split the first open wall: no further sensitive layer, or one more of each sensitive material."""
        w = next(i for i, p in enumerate(node.patterns) if not p.closed)
        known = node.patterns[w].known
        options = [Pattern(known, True)]
        if len(known) < self.ranks[w]:
            options += [
                Pattern((*known, int(m)), len(known) + 1 == self.ranks[w])
                for m in np.flatnonzero(self.problem.sensitive)
            ]
        return [(*node.patterns[:w], option, *node.patterns[w + 1 :]) for option in options]

    def pattern_of(self, sequences: Sequence[Sequence[int]]) -> tuple[Pattern, ...]:
        return tuple(
            Pattern(tuple(m for m in s if self.problem.sensitive[m]) if self.ranks[w] else (), True)
            for w, s in enumerate(sequences)
        )

    # -- loop ------------------------------------------------------------------------------------------------

    def run(
        self,
        *,
        gap: float = 1e-3,
        time_limit: float = 60.0,
        start: Choice | None = None,
        stop: Callable[[], bool] | None = None,
    ) -> Outcome:
        """Search until the gap is proved, the time [s] is up or ``stop`` says so; ``start`` is a design known
        to be feasible."""
        begin = time.monotonic()
        self.stop = stop or (lambda: False)
        self.best = start
        queue, done, order, rounds = [self._root()], np.inf, 0, 0
        while queue:
            left = time_limit - (time.monotonic() - begin)
            if rounds and (left <= 0 or self.stop()):
                break
            node = heapq.heappop(queue)
            cutoff = self._cutoff(gap)
            if node.bound >= cutoff:
                done = min(done, node.bound)
                continue
            rounds += 1
            proposal = self._bound(node, gap, left, cutoff)
            if proposal.status is Status.INFEASIBLE:
                done = min(done, max(node.bound, cutoff))
                continue
            node.bound = max(node.bound, proposal.bound)
            changed = self._learn(node, proposal)
            self._say(rounds, min([node.bound, done, *(n.bound for n in queue)]))
            if proposal.status is Status.TIME_LIMIT:
                heapq.heappush(queue, node)
                break
            if not node.closed:
                for patterns in self._children(node):
                    order += 1
                    heapq.heappush(queue, self._child(node, patterns, order))
            elif changed:
                order += 1
                node.order = order
                heapq.heappush(queue, node)
            else:
                done = min(done, node.bound)
        bound = min([done, *(n.bound for n in queue)])
        seconds = time.monotonic() - begin
        if self.best is None:
            status = "infeasible" if not queue and np.isinf(done) else "time_limit"
            return Outcome(status, None, float(bound), np.inf, rounds, seconds, self.log)
        bound = min(bound, self.best.objective)
        reached = (self.best.objective - bound) / max(abs(self.best.objective), 1e-300)
        status = "optimal" if reached <= gap * (1 + 1e-9) else "time_limit"
        return Outcome(status, self.best, float(bound), float(reached), rounds, seconds, self.log)

    def _over(self, deadline: float) -> bool:
        return time.monotonic() > deadline or self.stop()

    def _cutoff(self, gap: float) -> float:
        return self.best.objective * (1 - gap) if self.best else np.inf

    def _child(self, node: Node, patterns: tuple[Pattern, ...], order: int) -> Node:
        child = Node(node.bound, order, patterns, BoxSet(self.classes, self.ranks))
        if child.closed:
            for known in list(self.polisher.solved.values()):
                if known is not None and self.pattern_of(known.sequences) == patterns:
                    child.boxes.refine(self._places(known.sequences, known.flat))
        return child

    def _say(self, rounds: int, bound: float) -> None:
        if self.best is None:
            line = f"round {rounds}: no design yet, bound {bound:.6g}"
        else:
            reached = max(0.0, 1 - bound / self.best.objective)
            line = f"round {rounds}: best {self.best.objective:.6g}, bound {bound:.6g}"
            line += f", gap {100 * reached:.2f} %"
        self.log.append(line)
        if self.progress:
            self.progress(line)

    def _bound(self, node: Node, gap: float, time_left: float, cutoff: float) -> Proposal:
        """Solve the node; where symmetry is asked for, once for each odd number of layers."""
        odd = [
            list(range(1, wall.max_layers + 1, 2)) if wall.symmetric else [None]
            for wall in self.problem.walls
        ]
        boxes = node.boxes.table
        proposals = []
        for combination in itertools.product(*odd):
            fixed = {w: n for w, n in enumerate(combination) if n is not None}
            model = BoundModel(self.problem, boxes, patterns=node.patterns, cutoff=cutoff, fixed_layers=fixed)
            if model.empty:
                continue
            for cut in self.cuts:
                model.add_cut(cut)
            proposals.append(Solver(model, gap=0.2 * gap if node.closed else _OPEN_GAP).solve(time_left))
        alive = [p for p in proposals if p.status is not Status.INFEASIBLE]
        if not alive:
            return Proposal(Status.INFEASIBLE, np.inf, None, None, None)
        lowest = min(alive, key=lambda p: p.bound)
        found = [p for p in alive if p.value is not None]
        status = Status.TIME_LIMIT if any(p.status is Status.TIME_LIMIT for p in alive) else Status.OPTIMAL
        if not found:
            return Proposal(status, lowest.bound, None, None, None)
        first = min(found, key=lambda p: p.value or 0.0)
        return Proposal(status, lowest.bound, first.value, first.sequences, first.thickness)

    def _learn(self, node: Node, proposal: Proposal) -> bool:
        """Polish the proposal, keep the better design, cut and refine at both points; False if nothing is
        new."""
        if proposal.sequences is None or proposal.thickness is None:
            return False
        cuts_before = len(self.cuts)
        flat = np.array([t for wall in proposal.thickness for t in wall])
        polished = self._polish(proposal.sequences, flat)
        self._cuts_at(proposal.sequences, flat)
        changed = node.boxes.refine(self._places(proposal.sequences, flat))
        if polished is not None:
            self._cuts_at(polished.sequences, polished.flat)
            changed |= node.boxes.refine(self._places(polished.sequences, polished.flat))
        return changed or len(self.cuts) > cuts_before

    def _polish(self, sequences: Sequences, flat: Array) -> Choice | None:
        first = sequences not in self.polisher.solved
        polished = self.polisher.best(sequences, [flat / UM])
        if polished is None and first:
            polished = self.polisher.best(sequences, [1.3 * flat / UM])
        if polished is not None and (self.best is None or polished.objective < self.best.objective):
            self.best = polished
        return polished

    def _places(self, sequences: Sequences, flat: Array) -> list[tuple[tuple[int, int, int], float, float]]:
        return places(self.exact, self.classes, self.ranks, sequences, flat)

"""From bounds and local optima to a proved answer.

Branch and bound over patterns: which humidity-sensitive layers a wall holds, from inside outwards. A node fixes
the first of them (more may follow) or all of them (closed). Its bound model only asks for structures cheaper than
the best known design less the gap; none left means that the node is done. What the model proposes is polished in
the exact model, tangent cuts are added at both points, and in a closed node the boxes are made finer where the two
lie. Bounds never exceed the true optimum and designs are always real, so the search may stop at any time with the
gap it has reached.
"""

from __future__ import annotations

import heapq
import itertools
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box
from optimizer.design.exact import ExactModel
from optimizer.design.highs import Proposal, Solver, Status
from optimizer.design.milp import UM, BoundModel, Cut, Pattern, position_classes, ranks
from optimizer.design.polish import Polisher
from optimizer.design.problem import Choice, Problem

Array = NDArray[np.float64]
Progress = Callable[[str], None]

#: First edges of the place f: finer towards the outside, where dry barriers sit.
_START = (0.0, 0.25, 0.5, 0.75, 0.9, 0.97, 1.0)
#: Offsets at which a place is boxed in when it is refined.
_FINE = (-0.001, 0.003, 0.01, 0.04)
#: Narrowest box worth making.
_NARROW = 2e-5


@dataclass
class Outcome:
    """status: optimal | infeasible | time_limit. bound and best are in the problem's objective unit."""

    status: str
    best: Choice | None
    bound: float
    gap: float
    rounds: int
    seconds: float
    pool: list[Choice] = field(default_factory=list)
    log: list[str] = field(default_factory=list)


@dataclass(order=True)
class Node:
    """Part of the search: a pattern for every wall, the bound inherited so far, and its own boxes."""

    bound: float
    order: int
    patterns: tuple[Pattern, ...] = field(compare=False)
    boxes: BoxTree = field(compare=False)
    rounds: int = field(default=0, compare=False)

    @property
    def closed(self) -> bool:
        return all(p.closed for p in self.patterns)


class Search:
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
        self._first_cuts()

    # -- cuts ------------------------------------------------------------------------------------------------

    def _first_cuts(self) -> None:
        """Tangents along the temperature response of every candidate, so that the first model is not naive."""
        for d, demand in enumerate(self.problem.demands):
            weight = np.array([t.weight for t in demand.terms])
            for material in self.problem.materials:
                r = np.array([
                    BoundModel.resistivity_at(material, demand.gas, self.problem.environments[t.environment])
                    for t in demand.terms
                ])
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
        return Node(-np.inf, 0, patterns, BoxTree(self))

    def _children(self, node: Node) -> list[tuple[Pattern, ...]]:
        """Split the first open wall: no further sensitive layer, or one more of each sensitive material."""
        w = next(i for i, p in enumerate(node.patterns) if not p.closed)
        known = node.patterns[w].known
        options = [Pattern(known, True)]
        if len(known) < self.ranks[w]:
            options += [Pattern((*known, int(m)), len(known) + 1 == self.ranks[w]) for m in np.flatnonzero(self.problem.sensitive)]
        return [(*node.patterns[:w], option, *node.patterns[w + 1 :]) for option in options]

    def pattern_of(self, sequences: Sequence[Sequence[int]]) -> tuple[Pattern, ...]:
        return tuple(
            Pattern(tuple(m for m in s if self.problem.sensitive[m]) if self.ranks[w] else (), True)
            for w, s in enumerate(sequences)
        )

    # -- loop ------------------------------------------------------------------------------------------------

    def run(self, *, gap: float = 1e-3, time_limit: float = 60.0, start: Choice | None = None) -> Outcome:
        """Search until the gap is proved or the time is up; ``start`` is a design known to be feasible."""
        begin = time.monotonic()
        self.best = start
        queue, done, order, rounds = [self._root()], np.inf, 0, 0
        feasible_possible = False
        while queue:
            left = time_limit - (time.monotonic() - begin)
            if rounds and left <= 0:
                break
            node = heapq.heappop(queue)
            cutoff = self.best.objective * (1 - gap) if self.best else np.inf
            if node.bound >= cutoff:
                done = min(done, node.bound)
                continue
            rounds += 1
            node.rounds += 1
            proposal = self._bound(node, gap, left, cutoff)
            if proposal.status is Status.INFEASIBLE:
                done = min(done, max(node.bound, cutoff))
                continue
            feasible_possible = True
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
                heapq.heappush(queue, node)
            else:
                done = min(done, node.bound)
        bound = min([done, *(n.bound for n in queue)])
        seconds = time.monotonic() - begin
        if self.best is None:
            status = "time_limit" if queue or feasible_possible else "infeasible"
            return Outcome(status, None, float(bound), np.inf, rounds, seconds, [], self.log)
        bound = min(bound, self.best.objective)
        reached = (self.best.objective - bound) / max(abs(self.best.objective), 1e-300)
        status = "optimal" if reached <= gap * (1 + 1e-9) else "time_limit"
        pool = sorted((c for c in self.polisher.solved.values() if c is not None), key=lambda c: c.objective)
        return Outcome(status, self.best, float(bound), float(reached), rounds, seconds, pool, self.log)

    def _child(self, node: Node, patterns: tuple[Pattern, ...], order: int) -> Node:
        child = Node(node.bound, order, patterns, BoxTree(self))
        if child.closed:
            for known in self.polisher.solved.values():
                if known is not None and self.pattern_of(known.sequences) == patterns:
                    child.boxes.refine(known.sequences, known.flat)
        return child

    def _say(self, rounds: int, bound: float) -> None:
        if self.best is None:
            line = f"round {rounds}: no design yet, bound {bound:.6g}"
        else:
            reached = max(0.0, 1 - bound / self.best.objective)
            line = f"round {rounds}: best {self.best.objective:.6g}, bound {bound:.6g}, gap {100 * reached:.2f} %"
        self.log.append(line)
        if self.progress:
            self.progress(line)

    def _bound(self, node: Node, gap: float, time_left: float, cutoff: float) -> Proposal:
        """Solve the node; where symmetry is asked for, once for each odd number of layers."""
        odd = [
            list(range(1, wall.max_layers + 1, 2)) if wall.symmetric else [None] for wall in self.problem.walls
        ]
        boxes = node.boxes.all()
        proposals = []
        for combination in itertools.product(*odd):
            fixed = {w: n for w, n in enumerate(combination) if n is not None}
            model = BoundModel(
                self.problem, boxes, patterns=node.patterns, cutoff=cutoff, fixed_layers=fixed
            )
            if model.empty:
                continue
            for cut in self.cuts:
                model.add_cut(cut)
            proposals.append(Solver(model, gap=0.2 * gap if node.closed else 5 * gap).solve(time_left))
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
        """Polish the proposal, keep the better design, cut and refine at both points; False if nothing is new."""
        if proposal.sequences is None or proposal.thickness is None:
            return False
        cuts_before = len(self.cuts)
        flat = np.array([t for wall in proposal.thickness for t in wall])
        starts = [flat / UM] if proposal.sequences in self.polisher.solved else [flat / UM, 1.3 * flat / UM]
        polished = self.polisher.best(proposal.sequences, starts)
        if polished is not None and (self.best is None or polished.objective < self.best.objective):
            self.best = polished
        self._cuts_at(proposal.sequences, flat)
        changed = node.boxes.refine(proposal.sequences, flat)
        if polished is not None:
            self._cuts_at(polished.sequences, polished.flat)
            changed |= node.boxes.refine(polished.sequences, polished.flat)
        return changed or len(self.cuts) > cuts_before


class BoxTree:
    """The boxes of one node, by (wall, rank, class)."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.edges: dict[tuple[int, int, int], list[float]] = {}
        self.spans: dict[tuple[int, int, int], list[tuple[float, float, float]]] = {}
        for c, cls in enumerate(search.classes):
            for j in range(search.ranks[cls.wall]):
                self.edges[cls.wall, j, c] = list(_START)
                self.spans[cls.wall, j, c] = []

    def all(self) -> dict[tuple[int, int, int], list[Box]]:
        """All boxes: f intervals, each cut at the own shares s that were asked for there."""
        found: dict[tuple[int, int, int], list[Box]] = {}
        for key, edges in self.edges.items():
            row = []
            for low, high in itertools.pairwise(edges):
                cuts = sorted({0.0, 1.0, *(s for a, b, s in self.spans[key] if a < high and b > low)})
                row += [Box(low, high, a, b) for a, b in itertools.pairwise(cuts)]
            found[key] = [box for box in row if box.possible]
        return found

    def places(self, sequences: Sequence[Sequence[int]], thickness: Array) -> list[tuple[tuple[int, int, int], float, float]]:
        """(key, f, s) of every sensitive layer in every position class, in the exact model."""
        search = self.search
        found = []
        parts = search.exact.split(sequences, thickness[None, :])
        for c, cls in enumerate(search.classes):
            w = cls.wall
            if search.ranks[w] == 0:
                continue
            profile = search.exact.profile(w, sequences[w], parts[w])
            column = search.exact.used[w].index.index(cls.environments[0])
            faces = profile.faces[0, column]
            share = (faces[0] - faces) / (faces[0] - faces[-1])
            rank = 0
            for i, m in enumerate(sequences[w]):
                if search.problem.sensitive[m]:
                    place = 0.5 * (share[i] + share[i + 1])
                    found.append(((w, rank, c), float(place), float(share[i + 1] - share[i])))
                    rank += 1
        return found

    def refine(self, sequences: Sequence[Sequence[int]], thickness: Array) -> bool:
        """Finer boxes around where the layers lie; False when nothing could be split any more."""
        changed = False
        for key, f, s in self.places(sequences, thickness):
            edges = self.edges[key]
            reference = self.search.classes[key[2]].reference
            sign = 1.0 if reference.inside >= reference.outside else -1.0
            beyond = [e for e in edges if (e - f) * sign > 0]
            end = min(beyond, key=lambda e: abs(e - f)) if beyond else f
            for e in (f, *(f + sign * o for o in _FINE), 0.5 * (f + end)):
                if 0.0 < e < 1.0 and min(abs(e - o) for o in edges) > _NARROW:
                    edges.append(e)
                    changed = True
            edges.sort()
            near = [v for a, b, v in self.spans[key] if a <= f <= b]
            below = max([v for v in near if v <= s], default=0.0)
            above = min([v for v in near if v >= s], default=1.0)
            if above - below > max(_NARROW, 0.5 * s):
                for v in (0.8 * s, 1.25 * s):
                    if 1e-4 < v < 1.0 and all(abs(v - o) > 0.05 * v for o in near):
                        self.spans[key].append((max(0.0, f - 0.1), min(1.0, f + 0.1), v))
                        changed = True
        return changed

"""The certified search: which sequences of layers can still be the best, and the proof that no other is.

Branch and bound over *zonings*: which barriers a wall has, in order, with stretches of other layers between
them and a box for the place of each. A node is bounded by priced walks (``relax``); where few walks lie below
the best design, their sequences are listed and closed one by one (``closing``), else the node is split: by
the next barrier of a stretch, by the material of a layer, or at the place that the bound is most optimistic
about. Bounds never exceed the true optimum and designs are always real, so the search may stop at any time
with the gap it has reached.
"""

from __future__ import annotations

import heapq
import itertools
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.design.branch import by_barrier, by_material, first_open, halves, loose_layers, place_scores
from optimizer.design.closing import Closing
from optimizer.design.frame import Boxes, WallFrame, Zoning, key_groups
from optimizer.design.layout import allowed, near
from optimizer.design.polish import Sequences
from optimizer.design.problem import Choice, Problem, dearest
from optimizer.design.relax import Relaxation, Solved, proposal
from optimizer.design.rows import Multipliers, Rules, Walk
from optimizer.design.screen import Screen
from optimizer.design.select import select
from optimizer.design.walk import Walks

Array = NDArray[np.float64]
Progress = Callable[[str], None]

#: Walks listed at most from one node: before its programme is solved, when its places are known well
#: enough, and in the end.
_FIRST, _LISTED, _LISTED_LATE = 12, 150, 20_000
#: With at most this many sequences in all there is nothing to branch on.
_FEW = 400
#: Coverage of a demand by one layer of least gauge that makes a material a barrier to branch on.
_BARRIER = 0.25
#: Multipliers of earlier nodes tried on a new one.
_POOL = 4
#: Optimism about places (share of the objective) below which an open node is split by its next barrier, and
#: below which a mixture of materials is split before a place, and below which places are not split any more.
_OPEN_SCORE, _MIXED_SCORE, _CLOSED_SCORE = 0.02, 0.01, 2e-4
#: Optimism below which more than a few sequences of a node are closed one by one.
_SURE = 0.003
#: At the end designs this near the best, and at most so many, stand for selection; not in rough searches.
_NEAR, _SELECTED, _ROUGH = 0.02, 6, 0.1


@dataclass
class Outcome:
    """status: optimal | infeasible | time_limit. bound and best are in the problem's objective unit."""

    status: str
    best: Choice | None
    bound: float
    gap: float
    rounds: int
    seconds: float
    log: list[str] = field(default_factory=list)


@dataclass(order=True)
class _Node:
    bound: float
    order: int
    zonings: tuple[Zoning, ...] = field(compare=False)
    boxes: Boxes = field(compare=False)
    multipliers: tuple[Multipliers, ...] = field(compare=False, default=())
    splits: int = field(compare=False, default=0)


class Search:
    """One problem with its tangents, multipliers and known designs."""

    def __init__(self, problem: Problem, *, progress: Progress | None = None) -> None:
        self.problem, self.progress = problem, progress
        self.closing = Closing(problem)
        self.tangents, self.rules = self.closing.tangents, Rules(problem)
        self.frames = [
            WallFrame(problem, w, self.closing.tables, self.closing.classes)
            for w in range(len(problem.walls))
        ]
        self.groups = self._groups()
        self.barriers = frozenset(m for g in self.groups for m in g)
        self.unit = dearest(problem)
        self.log: list[str] = []
        self.pool: deque[Multipliers] = deque(maxlen=_POOL)
        self.stop: Callable[[], bool] = lambda: False
        self.deadline = np.inf
        self.counts = {"nodes": 0, "programmes": 0, "listed": 0, "deferred": 0, "given up": 0}

    # -- problem ---------------------------------------------------------------------------------------------

    def _groups(self) -> tuple[tuple[int, ...], ...]:
        """Barriers that are branched on, by family."""
        tables = []
        for frame in self.frames:
            low, high = np.zeros(len(frame.classes)), np.ones(len(frame.classes))
            tables.append(frame.stretch_resistivity(low, high))
        cover = [self.tangents.rows[:, frame.terms] for frame in self.frames]
        return key_groups(self.problem, tables, cover, _BARRIER)

    @property
    def best(self) -> Choice | None:
        return self.closing.best

    def _over(self) -> bool:
        return time.monotonic() > self.deadline or self.stop()

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
        self.deadline = begin + time_limit
        self.stop = stop or (lambda: False)
        closing = self.closing
        closing.begin(gap, self._over, tell=self._say_closing)
        if start is not None:
            closing.offer(start)
        few = closing.all_sequences(_FEW)
        bound, rounds = self._branch() if few is None else (closing.close_all(self._screen_of(few)), 1)
        if gap < _ROUGH:
            self._select()
        seconds = time.monotonic() - begin
        best = closing.best
        if best is None:  # no wall within the rules costs more than the unit: a bound above it leaves none
            status = "infeasible" if bound > self.unit else "time_limit"
            return Outcome(status, None, bound, np.inf, rounds, seconds, self.log)
        bound = min(bound, best.objective)
        reached = (best.objective - bound) / max(abs(best.objective), 1e-300)
        status = "optimal" if reached <= gap * (1 + 1e-9) else "time_limit"
        return Outcome(status, best, float(bound), float(reached), rounds, seconds, self.log)

    def _select(self) -> None:
        """Let the Pyomo model choose among the sequences that are still near the best."""
        designs = self.closing.designs()
        near_best = [c for c in designs if c.objective <= (1 + _NEAR) * designs[0].objective][:_SELECTED]
        left = self.deadline - time.monotonic()
        if near_best and left > 0:
            choice = select(self.closing.polisher, near_best, left)
            if choice is not None:
                self.closing.offer(choice)

    def _branch(self) -> tuple[float, int]:
        everything = Zoning((tuple(range(len(self.problem.materials))),))
        queue = [_Node(-np.inf, 0, tuple(everything for _ in self.frames), {})]
        late: list[_Node] = []
        done, order, rounds = np.inf, 0, 0
        while queue or late:
            if not queue:
                node, most = late.pop(), _LISTED_LATE
            else:
                node, most = heapq.heappop(queue), _LISTED
            if node.bound >= self.cutoff:
                done = min(done, node.bound)
                continue
            if rounds and self._over():
                queue.append(node)
                break
            rounds += 1
            left, children = self._expand(node, most)
            done = min(done, left)
            if children is None:
                late.append(node)
                self.counts["deferred"] += 1
            for child in children or ():
                order += 1
                child.order = order
                heapq.heappush(queue, child)
            if rounds % 10 == 0:
                self._tell(f"round {rounds}", min([done, *(n.bound for n in (*queue, *late))]))
        bound = min([done, *(n.bound for n in (*queue, *late))])
        self._tell(f"round {rounds}", bound)
        return float(bound), rounds

    @property
    def cutoff(self) -> float:
        """Only designs below this are looked for."""
        cut = self.closing.cutoff
        return cut if np.isfinite(cut) else self.unit * 1.000001

    def next_best(
        self, most: int, *, gap: float, seconds: float, stop: Callable[[], bool] | None = None
    ) -> tuple[list[Choice], float]:
        """The ``most`` best designs that differ in their sequences, cheapest first, and a bound: a design
        listed is within ``gap`` of the best of its own sequence, and every sequence that is not listed costs
        at least the bound.

        Designs above the bound are good but not proved next best (the time ran out).
        """
        begin = time.monotonic()
        self.deadline = begin + seconds
        self.stop = stop or (lambda: False)
        closing = self.closing
        closing.begin(gap, self._over, most)
        if closing.best is None:
            return [], -np.inf
        self._seed(most)
        few = closing.all_sequences(_FEW)
        if few is not None:
            bound = closing.close_all(self._screen_of(few))
        elif len(closing.designs()) >= most:
            bound, _ = self._branch()
        else:
            bound = -np.inf
        return closing.designs()[:most], float(bound)

    def _seed(self, most: int) -> None:
        """Designs near the best ones, so that there is a cutoff to search under."""
        closing = self.closing
        looked: set[Sequences] = set()
        for _ in range(3):
            for choice in closing.designs()[:2]:
                if len(closing.designs()) >= 2 * most or self._over():
                    return
                around = [s for s in near(self.problem, choice.sequences) if s not in looked]
                looked.update(around)
                if not around:
                    continue
                screen = self._screen_of(around, whole=False)
                for u in self.pool:
                    screen.learn(Multipliers(u.tangents, u.rules))
                order = np.argsort(screen.bounds)[: 2 * most]
                for k in order:
                    if self._over():
                        return
                    sequences = screen.sequences[int(k)]
                    _, x, _ = closing.closer.first_bound(sequences, np.inf, closing.shares())
                    if x is not None and sequences not in closing.polisher.solved:
                        closing.polish(sequences, x)

    @property
    def settled(self) -> int:
        """Sequences that were closed one by one."""
        return self.counts["listed"]

    def _say_closing(self, left: int, bound: float) -> None:
        self._tell(f"{left} layer order{'s' if left != 1 else ''} left to settle", bound)

    def _tell(self, where: str, bound: float) -> None:
        best = self.best
        line = f"{where}: no design yet"
        if best is not None:
            reached = min(1.0, max(0.0, 1 - bound / best.objective))
            proved = f"bound {max(bound, 0.0):.6g}, gap {100 * reached:.2f} %"
            line = f"{where}: best {best.objective:.6g}, {proved}"
        self.log.append(line)
        if self.progress:
            self.progress(line)

    # -- one node --------------------------------------------------------------------------------------------

    def _expand(self, node: _Node, most: int) -> tuple[float, list[_Node] | None]:
        """Bound of what is settled here, and the nodes that are left; None to come back to it at the end."""
        self.counts["nodes"] += 1
        if not self._complete(node):
            return np.inf, []
        relaxation = Relaxation(
            self.frames, self.rules, self.tangents, self.closing.solver, node.zonings, node.boxes
        )
        starts = list(dict.fromkeys([*node.multipliers, *self.pool]))
        known = self.best is not None
        if starts:
            walks, constant, bounds = relaxation.walks(starts)
            node.bound = max(node.bound, float(bounds.max()))
            if node.bound >= self.cutoff:
                return max(node.bound, self.cutoff), []
            if known:
                settled = self._list(relaxation, starts, walks, constant, _FIRST)
                if settled is not None:
                    return settled, []
        solved = relaxation.solve(starts[:3], self.cutoff, min(self.unit, 2 * self.cutoff))
        self.counts["programmes"] += 1
        node.bound = max(node.bound, solved.bound)
        if solved.multipliers is not None:
            self.pool.appendleft(solved.multipliers)
            starts = [solved.multipliers, *starts][:_POOL]
        if node.bound >= self.cutoff:
            return max(node.bound, self.cutoff), []
        self._try(solved)
        scores = place_scores(relaxation, solved) if solved.thickness else {}
        best = max(scores, key=lambda k: scores[k][0], default=None)
        optimism = scores[best][0] / min(self.cutoff, self.unit) if best else 0.0
        loose = loose_layers(relaxation, solved) if solved.thickness else {}
        loosest = max(loose, key=lambda k: loose[k], default=None)
        freedom = loose[loosest] / min(self.cutoff, self.unit) if loosest else 0.0
        opened = first_open(node.zonings, self.barriers)
        if self.best is not None or opened is None:
            walks, constant, bounds = relaxation.walks(starts)
            node.bound = max(node.bound, float(bounds.max()))
            if node.bound >= self.cutoff:
                return max(node.bound, self.cutoff), []
            limit = most if max(optimism, freedom) < _SURE or most > _LISTED else _FIRST
            settled = self._list(relaxation, starts, walks, constant, limit)
            if settled is not None:
                return settled, []
        kept_multipliers = tuple(starts[:2])
        if opened is not None and (optimism < _OPEN_SCORE or node.splits >= 2):
            options = by_barrier(node.zonings, node.boxes, opened, self.groups)
        else:
            options = []
            if loosest is not None and freedom >= max(optimism, _CLOSED_SCORE):
                options = by_material(node.zonings, node.boxes, solved, loosest)
            if not options and optimism < _MIXED_SCORE:
                options = by_material(node.zonings, node.boxes, solved)
            if not options and best is not None and optimism >= _CLOSED_SCORE:
                options = halves(relaxation, node.zonings, node.boxes, *best, scores[best][1])
            if not options:
                options = by_material(node.zonings, node.boxes, solved)
        if options:
            return np.inf, [
                _Node(node.bound, 0, z, boxes, tuple(map(shift, kept_multipliers)), node.splits + same)
                for z, boxes, shift, same in options
            ]
        if most < _LISTED_LATE:
            return np.inf, None
        self.counts["given up"] += 1
        return node.bound, []

    def _complete(self, node: _Node) -> bool:
        """Whether the materials that must be present still may be."""
        return all(
            set(f.wall.keep) <= {m for zone in z.members for m in zone}
            for f, z in zip(self.frames, node.zonings, strict=True)
        )

    def _try(self, solved: Solved) -> None:
        """Polish what the node's programme proposes."""
        if not solved.walks:
            return
        prices = np.zeros(len(self.problem.demands))
        for q, value in solved.multipliers.tangents if solved.multipliers else ():
            prices[self.tangents.demand[q]] += value
        for k in range(1 if self.best is not None else 3):
            if any(k >= len(walks) for walks in solved.walks):
                break
            proposed = proposal(self.problem, self.frames, solved, k)
            if proposed is None:
                continue
            sequences, x = proposed
            if self.best is None or self.closing.promising(sequences, x, prices):
                self.closing.polish(sequences, x)

    def _list(
        self,
        relaxation: Relaxation,
        many: Sequence[Multipliers],
        walks: Sequence[Walks],
        constant: Array,
        most: int,
    ) -> float | None:
        """List and close everything below the cutoff; what is left as bound, or None if it is too much."""
        total = sum(walk.best for walk in walks)
        lists: list[list[Walk]] = []
        for f, walk in zip(relaxation.frames, walks, strict=True):
            limits = self.cutoff - constant - (total - walk.best)
            found = walk.below(limits, most, f.wall.resins)
            if found is None:
                return None
            lists.append([x for x in found if allowed(f.wall, f.sequence(x))])
        if np.prod([float(len(x)) for x in lists]) > most:
            return None
        screen = Screen(relaxation, list(itertools.product(*lists)))
        self.counts["listed"] += len(screen.sequences)
        for u in many:
            screen.learn(u)
        return min(self.cutoff, self.closing.close_all(screen))

    def _screen_of(self, listed: Sequence[Sequences], whole: bool = True) -> Screen:
        """Sequences as one node without keys; ``whole``: every combination of the walls' sequences, else
        the listed ones alone."""
        frames = self.frames
        everything = Zoning((tuple(range(len(self.problem.materials))),))
        node = Relaxation(
            frames, self.rules, self.tangents, self.closing.solver, [everything for _ in frames], {}
        )
        if not whole:
            return Screen(node, [tuple(f.walk(s) for f, s in zip(frames, x, strict=True)) for x in listed])
        lists = [
            [f.walk(s) for s in dict.fromkeys(sequences[w] for sequences in listed)]
            for w, f in enumerate(frames)
        ]
        return Screen(node, list(itertools.product(*lists)))

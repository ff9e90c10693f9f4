"""The best structure as a function of the shelf life asked for.

What meets a longer shelf life also meets a shorter one, whatever the structure. So a longer-lived structure
that is cheaper takes the place of a dearer one, a lower bound for a shorter shelf life also holds for a
longer one, and a point between two others may need no search of its own. The others start from the
structures beside them.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.constants import DAY
from optimizer.design.demands import build
from optimizer.design.exact import ExactModel
from optimizer.design.explain import Explanation
from optimizer.design.halt import TIME, Halt
from optimizer.design.lattice import StepPolisher
from optimizer.design.layout import UM
from optimizer.design.optimise import optimise
from optimizer.design.optimum import Optimum, walls_of
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.design.rules import wall_rules
from optimizer.progress import step
from optimizer.results import PredictResult
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import Case
from optimizer.shelflife.predict import predict
from optimizer.shelflife.segments import lay_out
from optimizer.shelflife.simulate import simulate
from optimizer.shelflife.words import duration

Progress = Callable[[str], None]

#: A change of structure is located to this share of the shelf life.
KINK_TOLERANCE = 0.01
#: One search may take this share of the time left, but no less than so many seconds.
_SHARE, _LEAST = 0.25, 2.0
#: A reserve counts as kept to within this share of the permitted change [%], as in ``optimise``.
_RESERVE_SLACK = 0.01
#: A structure is used up to so much less than its life, so that it surely keeps its limits.
INSIDE = 2e-4
#: Step beyond the end of a structure's life, as a share of the tolerance of a change.
_STEP = 0.9
#: What counts as early: this share of the way from one target to the other.
_EARLY = 0.4
#: Objectives closer than this are the same.
_SAME = 1e-7


class Ended(Exception):
    """The time is up, or somebody said stop; ``reason`` as in ``halt``."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


@dataclass(frozen=True)
class Solved:
    """The best known structure for a target [s]; objective and bound in SI. ``searched``: by a search of its
    own, not taken over from a neighbour."""

    target: float
    choice: Choice
    objective: float
    bound: float
    predicted: PredictResult
    searched: bool = True

    @property
    def gap(self) -> float:
        return (self.objective - self.bound) / self.objective if self.objective > 0 else 0.0


def stretched(choice: Choice, factor: float) -> Choice:
    """All thicknesses times ``factor``, rules or not: a barrier that lasts about so much longer."""
    thickness = tuple(tuple(factor * t for t in wall) for wall in choice.thickness)
    return Choice(choice.sequences, thickness, factor * choice.objective)


class Frontier:
    """Targets solved so far, by target [s]."""

    def __init__(
        self,
        case: Case,
        options: DesignOptions,
        *,
        gap: float,
        deadline: float,
        halt: Halt,
        progress: Progress | None = None,
        version: str = "",
        inputs_sha256: str = "",
    ) -> None:
        self.case, self.options, self.gap = case, options, gap
        self.deadline, self.halt, self.progress = deadline, halt, progress
        self.version, self.sha = version, inputs_sha256
        self.known: dict[float, Solved] = {}
        self.searches = 0
        #: Targets at which the structure known there just runs out.
        self.run_out: set[float] = set()
        self.why: Explanation | None = None
        #: Largest share by which a bound exceeded the objective of a structure found at a longer target.
        self.contradiction = 0.0

    # -- one target ------------------------------------------------------------------------------------------

    @property
    def solved(self) -> list[Solved]:
        """By rising target."""
        return [self.known[t] for t in sorted(self.known)]

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    def at(self, target: float) -> Case:
        """The case with another target; the horizon as a project of that target has it."""
        stored = sum(stage.duration for stage in self.case.storage)
        return replace(self.case, target=target, horizon=max(3.0 * target, stored))

    def solve(self, target: float, explaining: bool = False) -> Solved | None:
        """The best structure for the target; None when none was found. Raises Ended."""
        if target not in self.known:
            self.go_on(f"shelf life {duration(target / DAY)}")
            shorter, longer = self.beside(target)
            found = self._taken_over(target, shorter, longer)
            if found is None:
                start = self._start(target, shorter, longer)
                found = self._searched(target, start, shorter, longer, explaining)
            if found is None:
                return None
            self.known[target] = found
        return self.known[target]

    def beside(self, target: float) -> tuple[Solved | None, Solved | None]:
        """The nearest known below and above."""
        below = [t for t in self.known if t < target]
        above = [t for t in self.known if t > target]
        return (
            self.known[max(below)] if below else None,
            self.known[min(above)] if above else None,
        )

    def _taken_over(self, target: float, shorter: Solved | None, longer: Solved | None) -> Solved | None:
        """A neighbour's structure, where the bound of the shorter one proves it good enough here."""
        if shorter is None:
            return None
        for one in sorted((s for s in (shorter, longer) if s), key=lambda s: s.objective):
            if one.objective - shorter.bound <= self.gap * one.objective:
                predicted = self.simulated(target, one.choice)
                if self.keeps(predicted):
                    return Solved(target, one.choice, one.objective, shorter.bound, predicted, searched=False)
        return None

    def _start(self, target: float, shorter: Solved | None, longer: Solved | None) -> Choice | None:
        """The better of the neighbours' structures, its thicknesses made to suit this target."""
        if shorter is None or longer is None:
            one = shorter or longer
            return stretched(one.choice, target / one.target) if one else None
        a, b = shorter.choice, longer.choice
        if a.sequences == b.sequences:
            middle = tuple(
                tuple(0.5 * (s + t) for s, t in zip(x, y, strict=True))
                for x, y in zip(a.thickness, b.thickness, strict=True)
            )
            return Choice(a.sequences, middle, 0.5 * (a.objective + b.objective))
        near = stretched(b, target / longer.target)
        return self._cheapest(target, near, (stretched(a, target / shorter.target), near)) or b

    def _cheapest(self, target: float, near: Choice, choices: Sequence[Choice]) -> Choice | None:
        """The cheapest of the choices with thicknesses made anew for the target, their layers as they are;
        limits linearised at ``near``. None where none of them meets the limits."""
        walls = walls_of(self.options, near)
        demands = build(self.at(target), self.options, walls, {w: x.thickness for w, x in walls.items()})
        if demands.beyond:
            return None
        polisher = StepPolisher(ExactModel(demands.problem))
        fits = [polisher.best(c.sequences, [c.flat / UM, 1.2 * c.flat / UM]) for c in choices]
        return min((f for f in fits if f), key=lambda c: c.objective, default=None)

    def _searched(
        self,
        target: float,
        start: Choice | None,
        shorter: Solved | None,
        longer: Solved | None,
        explaining: bool = False,
    ) -> Solved | None:
        """A search at the target; where a longer target has a better structure, that one."""
        best = self._optimum(target, start, explaining)
        if best.choice is not None and best.predicted is not None:
            found = Solved(target, best.choice, best.objective, best.bound, best.predicted)
        elif longer is not None:
            bound = shorter.bound if shorter else -np.inf
            predicted = self.simulated(target, longer.choice)
            found = Solved(target, longer.choice, longer.objective, bound, predicted, searched=False)
        else:
            self.why = best.why
            if best.status != "infeasible" and explaining:  # nothing known, and nothing shown either
                raise Ended(best.stopped_by or TIME)
            self.go_on()
            return None
        return found

    def _optimum(self, target: float, start: Choice | None, explaining: bool = False) -> Optimum:
        self.searches += 1
        return optimise(
            self.at(target),
            self.options,
            time_limit=self.left if explaining else min(self.left, max(_LEAST, _SHARE * self.left)),
            gap=self.gap,
            start=start,
            explaining=explaining,
            stop=self.halt,
            version=self.version,
            inputs_sha256=self.sha,
        )

    def add(self, target: float, start: Choice) -> None:
        """Solve a target for which ``start`` is known to do; if the search fails there, keep ``start``."""
        self.go_on(f"shelf life {duration(target / DAY)}")
        shorter, _ = self.beside(target)
        found = self._searched(target, start, shorter, None)
        if found is None:
            predicted = self.simulated(target, start)
            bound = shorter.bound if shorter else -np.inf
            found = Solved(target, start, self.cost(start), bound, predicted, searched=False)
        self.known[target] = found

    def simulated(self, target: float, choice: Choice) -> PredictResult:
        """Prediction of the choice at the target, with steady walls."""
        case = self.at(target)
        package = case.package.with_walls(walls_of(self.options, choice))
        steady = replace(case, package=package, wall="steady")
        return predict(steady, version=self.version, inputs_sha256=self.sha)

    def keeps(self, predicted: PredictResult) -> bool:
        """Whether the package passes with the reserve on every limit."""
        least = 100.0 * self.options.reserve - _RESERVE_SLACK
        return predicted.passes and all(
            x.margin_pct is None or x.margin_pct >= least for x in predicted.limits
        )

    def go_on(self, doing: str = "") -> None:
        if self.halt():
            raise Ended(self.halt.reason or "")
        if self.left <= 0:
            raise Ended(TIME)
        if self.progress and doing:
            self.progress(f"{doing}; shelf lives done: {len(self.known)}")

    # -- between targets -------------------------------------------------------------------------------------

    def fill(self, targets: list[float]) -> None:
        """Solve targets in the order of halving, so that most of them lie between two that are known."""
        waiting = [(0, len(targets) - 1)]
        ordered = [t for t in (targets[0], targets[-1])] if targets else []
        while waiting:
            first, last = waiting.pop(0)
            if last - first > 1:
                middle = (first + last) // 2
                ordered.append(targets[middle])
                waiting += [(first, middle), (middle, last)]
        for k, target in enumerate(ordered):
            self.count(k, len(ordered))
            self.solve(target)
        self.count(len(ordered), len(ordered))

    def count(self, done: int, total: int) -> None:
        if self.progress:
            step(self.progress, done, total, f"shelf lives done: {done} of {total}")

    def straighten(self) -> None:
        """Try the layers of a neighbour where they may do as well, so that no change is reported that need
        not be: one structure below and above another, or the same layers in another order."""
        for one in self.solved:
            for choice in self._rivals(one):
                fit = self._cheapest(one.target, one.choice, [choice])
                if fit is not None and fit.objective <= one.objective * (1.0 + _SAME):
                    self.go_on("comparing structures")
                    self._replace(one, fit)
                    break

    def _rivals(self, one: Solved) -> list[Choice]:
        """Structures of other targets that would make the frontier simpler at this one."""
        below = [s.choice for s in self.solved if s.target < one.target]
        above = {s.choice.sequences for s in self.solved if s.target > one.target}
        mine = one.choice.sequences
        found = {c.sequences: c for c in below if c.sequences in above and c.sequences != mine}
        if below and below[-1].sequences != mine:
            last = below[-1]
            if [sorted(s) for s in last.sequences] == [sorted(s) for s in mine]:
                found[last.sequences] = last
        return list(found.values())

    def _replace(self, one: Solved, fit: Choice) -> None:
        """Take the fit instead, where it costs no more and passes the simulation."""
        cost = self.cost(fit)
        if cost > one.objective * (1.0 + _SAME):
            return
        predicted = self.simulated(one.target, fit)
        if self.keeps(predicted):
            self.known[one.target] = replace(
                one, choice=fit, objective=cost, bound=min(one.bound, cost), predicted=predicted
            )

    def cost(self, choice: Choice) -> float:
        """Objective of a choice with the mass areas at its own thickness [SI]."""
        thickness = {w: sum(t) for w, t in zip(self.options.walls, choice.thickness, strict=True)}
        rules = wall_rules(self.case, self.options, thickness)
        return float(
            sum(
                rule.rate[list(sequence)] @ np.array(own) + rule.presence[list(sequence)].sum()
                for rule, sequence, own in zip(rules, choice.sequences, choice.thickness, strict=True)
            )
        )

    def make_monotone(self) -> None:
        """A longer life never costs less: cheaper longer-lived structures replace others, bounds are carried
        to longer targets."""
        rows = self.solved
        for i in reversed(range(len(rows) - 1)):
            mine, later = rows[i], rows[i + 1]
            if later.objective < mine.objective * (1.0 - _SAME):
                predicted = self.simulated(mine.target, later.choice)
                if self.keeps(predicted):
                    rows[i] = replace(
                        mine,
                        choice=later.choice,
                        objective=later.objective,
                        predicted=predicted,
                        searched=False,
                    )
        bound = -np.inf
        for row in rows:
            bound = max(bound, row.bound)
            if bound > row.objective:
                self.contradiction = max(self.contradiction, bound / row.objective - 1.0)
                bound = row.objective
            self.known[row.target] = replace(row, bound=bound)

    def wide_kinks(self) -> list[tuple[float, float]]:
        """Neighbouring targets with other materials or another order that are not yet close, widest first."""
        rows = self.solved
        found = [
            (a.target, b.target)
            for a, b in zip(rows, rows[1:], strict=False)
            if a.choice.sequences != b.choice.sequences and b.target > a.target * (1.0 + KINK_TOLERANCE)
        ]
        return sorted(found, key=lambda pair: pair[0] / pair[1])

    def locate_kinks(self) -> None:
        """Narrow every interval in which the structure changes down to the tolerance."""
        for _ in range(3):
            self.make_monotone()
            wide = self.wide_kinks()
            if not wide:
                return
            while wide:
                self.solve(self._probe(*wide[0]))
                wide = self.wide_kinks()
            self.straighten()

    def _probe(self, low: float, high: float) -> float:
        """A target between two with different structures: where the one of the shorter life runs out, then
        just beyond that; the middle where it runs out early (in whole gauge steps, say)."""
        if low in self.run_out:
            self.run_out.discard(low)
            return low * (1.0 + _STEP * KINK_TOLERANCE)
        life = self.life(self.known[low].choice, high) * (1.0 - INSIDE)
        if low * (high / low) ** _EARLY < life < high * (1.0 - 0.1 * KINK_TOLERANCE):
            self.run_out.add(life)
            return life
        return float(np.sqrt(low * high))

    def life(self, choice: Choice, until: float) -> float:
        """How long a structure keeps every limit of the product with its reserve [s], at most ``until``."""
        case, reserve = self.at(until), self.options.reserve
        case = replace(case, package=case.package.with_walls(walls_of(self.options, choice)))
        exchange = exchange_of(case, segments=lay_out(case.storage, until))
        closing = simulate(case.product, exchange, until=min(1.0, until), crossings=False).closing[0]
        limits = tuple(
            replace(x, value=float(c + (x.value - c) * (1.0 - reserve)))
            for x, c in zip(case.product.limits, closing, strict=True)
        )
        run = simulate(replace(case.product, limits=limits), exchange, until=until)
        return float(min(until, *run.crossing[0]))

"""Propose, prove, simulate: the certified best choice for a case, without the explanations around it.

The limits are linearised at a reference structure; each best structure found becomes the next reference
until nothing moves. What is returned has been simulated by ``predict`` with steady walls and passes;
``settled`` goes on from there to walls in transient.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import numpy as np

from optimizer.design.demands import GUARD, Demands, build
from optimizer.design.exact import ExactModel
from optimizer.design.explain import Explanation, explain
from optimizer.design.given import first_design, given_choice
from optimizer.design.halt import INTERRUPT, MEMORY, TIME, Stop
from optimizer.design.lattice import StepPolisher
from optimizer.design.layout import UM
from optimizer.design.optimum import Optimum, impossible, keeps, nothing, share_open, walls_of
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.design.reference import first_reference
from optimizer.design.search import Outcome, Search
from optimizer.results import PredictResult
from optimizer.shelflife.package import Case, Wall
from optimizer.shelflife.predict import predict

Progress = Callable[[str], None]

__all__ = ["DEFAULT_GAP", "DEFAULT_TIME", "Optimum", "keeps", "optimise", "walls_of"]

#: Seconds allowed when the user gives no limit.
DEFAULT_TIME = 600.0
#: Share of the objective within which the proof may stop.
DEFAULT_GAP = 1e-3
#: The search aims at this share of the gap asked for, so that the answer keeps it after rounding.
_AIM = 0.95
#: The first search may stop within five times the gap asked for, but not beyond this.
_LARGEST_ROUGH = 0.5
#: Share of the time for that search where a design is known: the bound told is that of the searches after it.
_ROUGH_SHARE = 0.5
#: Seconds for the bound of the design returned, when the search was told to stop before that.
_GRACE = 1.0
#: Rounds of taking the newest design as the reference of the limits.
_REFERENCES = 6
#: Of these rounds the lowest bound counts where the limits keep moving.
_LAST = 2
#: Largest change of a demand's value at the design, when its weights are taken anew, that is left standing.
_SETTLED = 2e-5
#: A design that settles at thicknesses dearer by this share has become another one.
_FAR = 0.05


def optimise(
    case: Case,
    options: DesignOptions,
    *,
    time_limit: float | None = None,
    gap: float = DEFAULT_GAP,
    start: Choice | None = None,
    explaining: bool = True,
    progress: Progress | None = None,
    stop: Stop | None = None,
    version: str = "",
    inputs_sha256: str = "",
) -> Optimum:
    """Best choice for the case, proved to within ``gap`` of its objective.

    time_limit [s]. start: a structure that is likely near the best, from a similar problem with the same
    order of candidates (saves most of the first search); it need not meet the limits. explaining: say why
    when infeasible (costs further searches). stop: asked between the steps; once it says True the best so
    far is returned, with the bound proved so far.
    """
    limit = DEFAULT_TIME if time_limit is None else time_limit
    run = _Run(case, options, limit, gap, progress, stop, version, inputs_sha256)
    return run.result(start, explaining)


class _Run:
    def __init__(
        self,
        case: Case,
        options: DesignOptions,
        time_limit: float,
        gap: float,
        progress: Progress | None,
        stop: Stop | None,
        version: str,
        sha: str,
    ) -> None:
        self.case, self.options, self.gap, self.progress = case, options, gap, progress
        self._stop = stop or (lambda: False)
        self._full = False
        self.deadline = time.monotonic() + time_limit
        self.version, self.sha = version, sha
        self.rounds = 0
        self.known: dict[Choice, Demands] = {}
        #: Bounds of the searches around designs.
        self.bounds: list[float] = []

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    def stop(self) -> bool:
        return self._full or self._stop()

    @property
    def over(self) -> bool:
        return self.left <= 0 or self.stop()

    @property
    def rough(self) -> float:
        """Gap of the first search, around a reference that is not a design."""
        return min(_LARGEST_ROUGH, max(5 * self.gap, 0.01))

    @property
    def stopped_by(self) -> str | None:
        """Why the work ended before its time, or that the time was up."""
        if self._full:
            return MEMORY
        if self._stop():
            return str(getattr(self._stop, "reason", None) or INTERRUPT)
        return TIME if self.left <= 0 else None

    def walls(self, choice: Choice) -> dict[str, Wall]:
        return walls_of(self.options, choice)

    def _say(self, text: str) -> None:
        if self.progress:
            self.progress(text)

    # -- rounds ----------------------------------------------------------------------------------------------

    def _first(self) -> Demands:
        """Weights around the structure given in the project, or a stand-in where that lets nothing
        through."""
        reference = first_reference(self.case, self.options)
        given = {w: self.case.package.walls[w].thickness for w in self.options.walls}
        return build(self.case, self.options, reference, given)

    def result(self, start: Choice | None, explaining: bool) -> Optimum:
        """The best choice; never dearer than the walls of the project where those pass."""
        found = self._rounds(start, explaining)
        if self.given is None or (found.choice is not None and found.objective <= self.given.objective):
            return found
        predicted = self._simulated(self.given)
        if not keeps(predicted, self.options):
            return found
        known = found.choice is not None
        objective = self.given.objective
        bound = min(found.bound, objective) if known else 0.0
        return replace(
            found,
            status=found.status if known else "time_limit",
            choice=self.given,
            objective=objective,
            bound=bound,
            gap=share_open(objective, bound),
            predicted=predicted,
            why=None,
        )

    @cached_property
    def given(self) -> Choice | None:
        """The walls of the project where they follow the rules; they need not meet the limits."""
        return given_choice(self.case, self.options)

    def _rounds(self, start: Choice | None, explaining: bool) -> Optimum:
        first = None if start is None else self._started(start)
        if first is None:
            found = self._from_scratch(explaining)
            if isinstance(found, Optimum):
                return found
            first = found
        choice = self._settle(first)
        demands: Demands | None = None
        outcome: Outcome | None = None
        search: Search | None = None
        settled = False
        for _ in range(_REFERENCES):
            demands = self._around(choice)
            if demands.beyond:
                return self._beyond(demands)
            search = self._search(demands)
            known = StepPolisher(ExactModel(demands.problem)).best(choice.sequences, [choice.flat / UM])
            if known is None and choice == self.given:
                known = choice  # it passes, if only within the guard
            outcome = self._searched(search, _AIM * self.gap, known)
            if outcome.best is None:
                break
            self.bounds.append(outcome.bound)
            settled = self._settled(outcome.best, demands)
            if settled or self.over:
                break
            choice = self._next(outcome.best)
        if outcome is None or outcome.best is None or demands is None or search is None:
            return nothing(self.stopped_by, self.rounds)
        return self._finish(outcome, demands, search, settled)

    def _started(self, start: Choice) -> Choice | None:
        """The start with thicknesses that meet the limits here, or None where its layer order cannot."""
        demands = self._around(start)
        if demands.beyond:
            return None
        problem = demands.problem
        return StepPolisher(ExactModel(problem)).best(
            start.sequences, [start.flat / UM, 1.2 * start.flat / UM]
        )

    def _from_scratch(self, explaining: bool) -> Choice | Optimum:
        demands = self._first()
        if demands.beyond:
            return self._beyond(demands)
        search = self._search(demands)
        start = first_design(search.closing.polisher, self.options, self.case.package.walls)
        if start is not None:
            self._say(f"the walls given, or thicker ones, pass: {start.objective:.6g} to begin with")
        rough = self._searched(search, self.rough, start, 1.0 if start is None else _ROUGH_SHARE)
        if rough.best is not None:
            return rough.best
        if rough.status != "infeasible":
            return nothing(self.stopped_by, self.rounds)
        if self.given is not None and keeps(self._simulated(self.given), self.options):
            return self.given
        if not explaining:
            return impossible(Explanation((), ""), self.rounds)
        why = self._explained(demands)
        rough = self._once_more(why, rough)
        return impossible(why, self.rounds) if rough.best is None else rough.best

    def _once_more(self, why: Explanation, before: Outcome) -> Outcome:
        """Search again with the limits taken at the nearest structure, before 'infeasible' is believed."""
        if why.choice is None or self.over:
            return before
        demands = self._around(why.choice)
        if demands.beyond:
            return before
        return self._searched(self._search(demands), self.rough)

    def _explained(self, demands: Demands) -> Explanation:
        self._say("nothing is possible: looking for what clashes")
        try:
            return explain(self.case, self.options, demands, self.left, self.walls, self.stop)
        except MemoryError:
            self._full = True
            return Explanation((), "")

    def _searched(
        self, search: Search, gap: float, start: Choice | None = None, share: float = 1.0
    ) -> Outcome:
        """The outcome of the search in that share of the time left. With a ``start`` it gets a moment even
        where the work must end, so that the answer comes with a bound."""
        seconds, stop = share * self.left, self.stop
        if start is not None and self.over:
            seconds, stop = min(_GRACE, max(self.left, 0.2)), lambda: self._full
        try:
            outcome = search.run(gap=gap, time_limit=seconds, start=start, stop=stop)
        except MemoryError:
            self._full = True
            best = search.best or start
            outcome = Outcome("time_limit", best, -np.inf, np.inf, 0, 0.0)
        self.rounds += outcome.rounds
        return outcome

    def _search(self, demands: Demands) -> Search:
        return Search(demands.problem, progress=self.progress)

    def _around(self, choice: Choice) -> Demands:
        if choice not in self.known:
            walls = self.walls(choice)
            self.known[choice] = build(
                self.case, self.options, walls, {w: wall.thickness for w, wall in walls.items()}
            )
        return self.known[choice]

    def _settle(self, choice: Choice) -> Choice:
        """Best thicknesses of the same sequences with weights taken at the structure itself."""
        for _ in range(4):
            demands = self._around(choice)
            if demands.beyond:
                return choice
            polisher = StepPolisher(ExactModel(demands.problem))
            better = polisher.best(choice.sequences, [choice.flat / UM])
            if better is None:
                return choice
            moved = float(np.max(np.abs(better.flat - choice.flat) / choice.flat))
            choice = better
            if moved < 1e-4:
                break
        return choice

    def _next(self, best: Choice) -> Choice:
        """Reference of the next round: the best design with its thicknesses settled, or as it is where that
        leads far away from it."""
        settled = self._settle(best)
        return settled if settled.objective <= best.objective * (1.0 + _FAR) else best

    def _settled(self, choice: Choice, before: Demands) -> bool:
        """Whether weights taken at this structure leave every demand that holds it where it was.

        A value above 1 would mean that the design fails, one well below that it is dearer than need be.
        """
        after = self._around(choice)
        if after.beyond:
            return True
        old, new = (self._values(d, choice) for d in (before, after))
        return (
            all(v <= 1.0 + _SETTLED for v in new.values())
            and all(abs(new[n] - v) <= 0.1 * self.gap for n, v in old.items() if v > 0.9 and n in new)
            and self._same_mass(choice, after)
        )

    @staticmethod
    def _values(demands: Demands, choice: Choice) -> dict[str, float]:
        """Value of every demand at the choice, by name."""
        values = ExactModel(demands.problem).demand_values(choice.sequences, choice.flat[None, :])[0]
        return {d.name: float(v) for d, v in zip(demands.problem.demands, values, strict=True)}

    def _same_mass(self, choice: Choice, demands: Demands) -> bool:
        value = ExactModel(demands.problem).value(choice.sequences, choice.flat)
        return abs(value / choice.objective - 1.0) < 0.1 * self.gap

    # -- answers ---------------------------------------------------------------------------------------------

    def _simulated(self, choice: Choice) -> PredictResult:
        package = self.case.package.with_walls(self.walls(choice))
        steady = replace(self.case, package=package, wall="steady")
        return predict(steady, version=self.version, inputs_sha256=self.sha)

    def _passing(self, choice: Choice) -> tuple[Choice, PredictResult]:
        """The choice as simulated; tightened a little, same sequences, while the simulation disagrees."""
        predicted = self._simulated(choice)
        tighten = 1.0
        for _ in range(6):
            if keeps(predicted, self.options):
                break
            tighten *= 1.0 + 1e-4
            problem = self._around(choice).problem.weighted(tighten)
            better = StepPolisher(ExactModel(problem)).best(choice.sequences, [1.001 * choice.flat / UM])
            if better is None:
                break
            choice = better
            predicted = self._simulated(choice)
        return choice, predicted

    def _finish(self, outcome: Outcome, demands: Demands, search: Search, settled: bool) -> Optimum:
        assert outcome.best is not None
        choice, predicted = self._passing(outcome.best)
        if not keeps(predicted, self.options):
            return nothing(self.stopped_by, self.rounds)
        objective = ExactModel(self._around(choice).problem).value(choice.sequences, choice.flat)
        # the demands are kept with a guard: without it the optimum may lie lower by as much
        least = outcome.bound if settled else min(self.bounds[-_LAST:])
        bound = min(max(0.0, least) * (1.0 - GUARD), objective)
        gap = share_open(objective, bound)
        # limits that move so little that the bounds of the last rounds agree leave nothing open
        proved = outcome.status == "optimal" and (settled or (gap <= self.gap and len(self.bounds) >= _LAST))
        return Optimum(
            status="optimal" if proved else "time_limit",
            choice=choice,
            objective=objective,
            bound=bound,
            gap=gap,
            settled=settled,
            rounds=self.rounds,
            predicted=predicted,
            demands=demands,
            search=search,
            stopped_by=None if proved else self.stopped_by,
        )

    def _beyond(self, demands: Demands) -> Optimum:
        return impossible(Explanation(tuple(b.text for b in demands.beyond), ""), self.rounds)

"""Propose, prove, simulate: the certified best choice for a case, without the explanations around it.

The limits are linearised at a reference structure; each best structure found becomes the next reference
until nothing moves. What is returned has been simulated by ``predict`` with steady walls and passes;
``settled`` goes on from there to walls in transient.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from optimizer.design.demands import GUARD, Demands, build
from optimizer.design.exact import ExactModel
from optimizer.design.explain import Explanation, explain
from optimizer.design.halt import INTERRUPT, MEMORY, TIME, Stop
from optimizer.design.layout import UM
from optimizer.design.options import DesignOptions
from optimizer.design.polish import Polisher
from optimizer.design.problem import Choice
from optimizer.design.reference import first_reference
from optimizer.design.search import Outcome, Search
from optimizer.results import LimitOutcome, PredictResult
from optimizer.shelflife.package import Case, Layer, Wall
from optimizer.shelflife.predict import predict

Progress = Callable[[str], None]

#: Seconds allowed when the user gives no limit.
DEFAULT_TIME = 600.0
#: Share of the objective within which the proof may stop.
DEFAULT_GAP = 1e-3
#: The search aims at this share of the gap asked for, so that the answer keeps it after rounding.
_AIM = 0.95
#: A reserve counts as kept to within this share of the permitted change [%].
_RESERVE_SLACK = 0.01
#: The first search may stop within five times the gap asked for, but not beyond this.
_LARGEST_ROUGH = 0.5
#: Seconds for the bound of the design returned, when the search was told to stop before that.
_GRACE = 1.0
#: Rounds of taking the newest design as the reference of the limits.
_REFERENCES = 6
#: Largest change of a demand's value at the design, when its weights are taken anew, that is left standing.
_SETTLED = 2e-5


@dataclass(frozen=True)
class Optimum:
    """status: optimal | infeasible | time_limit. choice has been simulated (``predicted``, with steady walls
    where it comes from ``optimise``) and passes, or is None. objective and bound in SI (currency, kg or m);
    gap = (objective - bound) / objective. demands and search: the last problem solved, None where no search
    ended with a design. why: set when infeasible. stopped_by: time | interrupt | memory where that ended the
    search before its proof, else None."""

    status: str
    choice: Choice | None
    objective: float
    bound: float
    gap: float
    settled: bool
    rounds: int
    predicted: PredictResult | None
    demands: Demands | None
    search: Search | None
    why: Explanation | None = None
    stopped_by: str | None = None


def walls_of(options: DesignOptions, choice: Choice) -> dict[str, Wall]:
    """The choice as walls of the package."""
    found = {}
    for name, sequence, thickness in zip(options.walls, choice.sequences, choice.thickness, strict=True):
        layers = tuple(Layer(options.candidates[m], t) for m, t in zip(sequence, thickness, strict=True))
        found[name] = Wall(name, layers)
    return found


def keeps(predicted: PredictResult, options: DesignOptions) -> bool:
    """Whether a simulated package passes with the reserve, or what the corrections make of it, on every
    limit."""
    return all(_kept(x, options) for x in predicted.limits)


def _kept(limit: LimitOutcome, options: DesignOptions) -> bool:
    if limit.margin_pct is None:
        return limit.passes
    least = 100.0 * (1.0 - options.allowed(limit.name))
    corrected = limit.name in options.corrections
    return (limit.passes or corrected) and limit.margin_pct >= least - _RESERVE_SLACK


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

    # -- rounds ----------------------------------------------------------------------------------------------

    def _first(self) -> Demands:
        """Weights around the structure given in the project, or a stand-in where that lets nothing
        through."""
        reference = first_reference(self.case, self.options)
        given = {w: self.case.package.walls[w].thickness for w in self.options.walls}
        return build(self.case, self.options, reference, given)

    def result(self, start: Choice | None, explaining: bool) -> Optimum:
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
            known = Polisher(ExactModel(demands.problem)).best(choice.sequences, [choice.flat / UM])
            outcome = self._searched(search, _AIM * self.gap, known)
            if outcome.best is None:
                break
            settled = self._settled(outcome.best, demands)
            if settled or self.over:
                break
            choice = self._settle(outcome.best)
        if outcome is None or outcome.best is None or demands is None or search is None:
            return self._unfinished()
        return self._finish(outcome, demands, search, settled)

    def _started(self, start: Choice) -> Choice | None:
        """The start with thicknesses that meet the limits here, or None where its layer order cannot."""
        demands = self._around(start)
        if demands.beyond:
            return None
        problem = demands.problem
        return Polisher(ExactModel(problem)).best(start.sequences, [start.flat / UM, 1.2 * start.flat / UM])

    def _from_scratch(self, explaining: bool) -> Choice | Optimum:
        demands = self._first()
        if demands.beyond:
            return self._beyond(demands)
        rough = self._searched(self._search(demands), self.rough)
        if rough.best is not None:
            return rough.best
        if rough.status != "infeasible":
            return self._unfinished()
        if not explaining:
            return self._infeasible(Explanation((), ""))
        why = self._explained(demands)
        rough = self._once_more(why, rough)
        return self._infeasible(why) if rough.best is None else rough.best

    def _once_more(self, why: Explanation, before: Outcome) -> Outcome:
        """Search again with the limits taken at the nearest structure, before 'infeasible' is believed."""
        if why.choice is None or self.over:
            return before
        demands = self._around(why.choice)
        if demands.beyond:
            return before
        return self._searched(self._search(demands), self.rough)

    def _explained(self, demands: Demands) -> Explanation:
        if self.progress:
            self.progress("nothing is possible: looking for what clashes")
        try:
            return explain(self.case, self.options, demands, self.left, self.walls, self.stop)
        except MemoryError:
            self._full = True
            return Explanation((), "")

    def _searched(self, search: Search, gap: float, start: Choice | None = None) -> Outcome:
        """The outcome of the search in the time left. With a ``start`` it gets a moment even where the work
        must end, so that the answer comes with a bound."""
        seconds, stop = self.left, self.stop
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
            polisher = Polisher(ExactModel(demands.problem))
            better = polisher.best(choice.sequences, [choice.flat / UM])
            if better is None:
                return choice
            moved = float(np.max(np.abs(better.flat - choice.flat) / choice.flat))
            choice = better
            if moved < 1e-4:
                break
        return choice

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
            better = Polisher(ExactModel(problem)).best(choice.sequences, [1.001 * choice.flat / UM])
            if better is None:
                break
            choice = better
            predicted = self._simulated(choice)
        return choice, predicted

    def _finish(self, outcome: Outcome, demands: Demands, search: Search, settled: bool) -> Optimum:
        assert outcome.best is not None
        choice, predicted = self._passing(outcome.best)
        if not keeps(predicted, self.options):
            return self._unfinished()
        objective = ExactModel(self._around(choice).problem).value(choice.sequences, choice.flat)
        # the demands are kept with a guard: without it the optimum may lie lower by as much
        bound = min(max(0.0, outcome.bound) * (1.0 - GUARD), objective)
        proved = outcome.status == "optimal" and settled
        return Optimum(
            status="optimal" if proved else "time_limit",
            choice=choice,
            objective=objective,
            bound=bound,
            gap=(objective - bound) / objective if objective > 0 else 0.0,
            settled=settled,
            rounds=self.rounds,
            predicted=predicted,
            demands=demands,
            search=search,
            stopped_by=None if proved else self.stopped_by,
        )

    def _beyond(self, demands: Demands) -> Optimum:
        return self._infeasible(Explanation(tuple(b.text for b in demands.beyond), ""))

    def _infeasible(self, why: Explanation) -> Optimum:
        return Optimum("infeasible", None, np.inf, np.inf, np.inf, False, self.rounds, None, None, None, why)

    def _unfinished(self) -> Optimum:
        return Optimum(
            status="time_limit",
            choice=None,
            objective=np.inf,
            bound=-np.inf,
            gap=np.inf,
            settled=False,
            rounds=self.rounds,
            predicted=None,
            demands=None,
            search=None,
            stopped_by=self.stopped_by,
        )

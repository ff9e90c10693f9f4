"""``design``: propose, prove, simulate, and say how near the best the answer is."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from importlib.metadata import version as package_version

import numpy as np
from numpy.typing import NDArray

from optimizer.design.binding import binding_of
from optimizer.design.demands import GUARD, Demands, build
from optimizer.design.exact import ExactModel
from optimizer.design.explain import Explanation, explain
from optimizer.design.layout import UM
from optimizer.design.options import DesignOptions
from optimizer.design.polish import Polisher
from optimizer.design.problem import Choice
from optimizer.design.reference import first_reference
from optimizer.design.search import Outcome, Search
from optimizer.results import Alternative, Binding, ChosenLayer, DesignResult, PredictResult
from optimizer.shelflife.package import Case, Layer, Wall
from optimizer.shelflife.predict import predict

Array = NDArray[np.float64]
Progress = Callable[[str], None]

#: Seconds allowed when the user gives no limit.
DEFAULT_TIME = 600.0
#: Share of the objective within which the proof may stop.
DEFAULT_GAP = 1e-3
#: Other structures listed with the answer.
_ALTERNATIVES = 5
#: Seconds spent at most on them.
_OTHERS_TIME = 3.0
#: The search aims at this share of the gap asked for, so that the answer keeps it after rounding.
_AIM = 0.95
#: A reserve counts as kept to within this share of the permitted change [%].
_RESERVE_SLACK = 0.01
#: Rounds of taking the newest design as the reference of the limits.
_REFERENCES = 6
#: Largest change of a demand's value at the design, when its weights are taken anew, that is left standing.
_SETTLED = 2e-5
_UNITS = {"mass": (1e3, "g/package"), "thickness": (1e6, "um")}


@dataclass
class _State:
    """What the rounds have found so far."""

    demands: Demands
    outcome: Outcome
    search: Search
    choice: Choice
    settled: bool = False


def solve_design(
    case: Case,
    options: DesignOptions,
    *,
    time_limit: float | None = None,
    gap: float = DEFAULT_GAP,
    progress: Progress | None = None,
    version: str = "",
    inputs_sha256: str = "",
) -> DesignResult:
    """Cheapest, lightest or thinnest walls that meet every limit and rule.

    time_limit [s]; gap: share of the objective within which the proof may stop. The returned structure has
    been simulated by ``predict`` and passes; otherwise the status is ``infeasible`` or ``time_limit``
    without one.
    """
    run = _Run(case, options, DEFAULT_TIME if time_limit is None else time_limit, gap, progress)
    return run.result(version, inputs_sha256)


class _Run:
    def __init__(
        self, case: Case, options: DesignOptions, time_limit: float, gap: float, progress: Progress | None
    ) -> None:
        self.case, self.options, self.gap, self.progress = case, options, gap, progress
        self.begin = time.monotonic()
        self.deadline = self.begin + time_limit
        self.rounds = 0
        self.known: dict[Choice, Demands] = {}

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    def walls(self, choice: Choice) -> dict[str, Wall]:
        """The choice as walls of the package."""
        found = {}
        for name, sequence, thickness in zip(
            self.options.walls, choice.sequences, choice.thickness, strict=True
        ):
            layers = tuple(
                Layer(self.options.candidates[m], t) for m, t in zip(sequence, thickness, strict=True)
            )
            found[name] = Wall(name, layers)
        return found

    # -- rounds ----------------------------------------------------------------------------------------------

    def start(self) -> Demands:
        """Weights around the structure given in the project, or a stand-in where that lets nothing
        through."""
        reference = first_reference(self.case, self.options)
        given = {w: self.case.package.walls[w].thickness for w in self.options.walls}
        return build(self.case, self.options, reference, given)

    def result(self, version: str, sha: str) -> DesignResult:
        demands = self.start()
        if demands.beyond:
            return self._infeasible(Explanation(tuple(b.text for b in demands.beyond), ""), version, sha)
        search = self._search(demands)
        rough = search.run(gap=max(5 * self.gap, 0.01), time_limit=self.left)
        self.rounds += rough.rounds
        if rough.best is None:
            if rough.status != "infeasible":
                return self._unfinished(version, sha)
            why = explain(self.case, self.options, demands, self.left, self.walls)
            rough = self._once_more(why, rough)
            if rough.best is None:
                return self._infeasible(why, version, sha)
        choice = self._settle(rough.best)
        state: _State | None = None
        settled = False
        for _ in range(_REFERENCES):
            demands = self._around(choice)
            if demands.beyond:
                return self._infeasible(Explanation(tuple(b.text for b in demands.beyond), ""), version, sha)
            search = self._search(demands)
            start = search.polisher.best(choice.sequences, [choice.flat / UM])
            outcome = search.run(gap=_AIM * self.gap, time_limit=max(0.2, self.left), start=start)
            self.rounds += outcome.rounds
            if outcome.best is None:
                break
            state = _State(demands, outcome, search, outcome.best)
            settled = self._settled(outcome.best, demands)
            if settled or self.left <= 0:
                break
            choice = self._settle(outcome.best)
        if state is None:
            return self._unfinished(version, sha)
        return self._finish(replace(state, settled=settled), version, sha)

    def _once_more(self, why: Explanation, before: Outcome) -> Outcome:
        """Search again with the limits taken at the nearest structure, before 'infeasible' is believed."""
        if why.choice is None or self.left <= 0:
            return before
        demands = self._around(why.choice)
        if demands.beyond:
            return before
        again = self._search(demands).run(gap=max(5 * self.gap, 0.01), time_limit=self.left)
        self.rounds += again.rounds
        return again

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
        rate = ExactModel(demands.problem).objective(choice.sequences)
        return abs(float(rate @ choice.flat) / choice.objective - 1.0) < 0.1 * self.gap

    # -- answers ---------------------------------------------------------------------------------------------

    def _simulated(self, choice: Choice, version: str, sha: str) -> PredictResult:
        package = self.case.package.with_walls(self.walls(choice))
        return predict(replace(self.case, package=package), version=version, inputs_sha256=sha)

    def _passing(self, state: _State, version: str, sha: str) -> tuple[Choice, PredictResult]:
        """The choice as simulated; tightened a little, same sequences, while the simulation disagrees."""
        choice = state.choice
        predicted = self._simulated(choice, version, sha)
        tighten = 1.0
        for _ in range(6):
            if self._keeps(predicted):
                break
            tighten *= 1.0 + 1e-4
            demands = self._around(choice)
            problem = demands.problem.weighted(tighten)
            better = Polisher(ExactModel(problem)).best(choice.sequences, [1.001 * choice.flat / UM])
            if better is None:
                break
            choice = better
            predicted = self._simulated(choice, version, sha)
        return choice, predicted

    def _keeps(self, predicted: PredictResult) -> bool:
        """Whether the simulated package passes with the reserve on every limit."""
        least = 100.0 * self.options.reserve - _RESERVE_SLACK
        return predicted.passes and all(
            x.margin_pct is None or x.margin_pct >= least for x in predicted.limits
        )

    def _finish(self, state: _State, version: str, sha: str) -> DesignResult:
        choice, predicted = self._passing(state, version, sha)
        if not self._keeps(predicted):
            return self._unfinished(version, sha)
        factor, unit = _UNITS.get(self.options.minimise, (1.0, f"{self._currency()}/package"))
        rates = ExactModel(self._around(choice).problem).objective(choice.sequences)
        objective = float(rates @ choice.flat)
        # the demands are kept with a guard: without it the optimum may lie lower by as much
        bound = min(state.outcome.bound * (1.0 - GUARD), objective)
        reached = (objective - bound) / objective if objective > 0 else 0.0
        proved = state.outcome.status == "optimal" and state.settled
        return DesignResult(
            title=self.case.title,
            version=version,
            inputs_sha256=sha,
            status="optimal" if proved else "time_limit",
            minimised=self.options.minimise,
            objective=objective * factor,
            objective_unit=unit,
            lower_bound=bound * factor,
            gap=reached,
            structure=self._structure(choice),
            predicted=predicted,
            binding=self._binding(choice, factor, unit),
            alternatives=self._alternatives(state, choice, factor),
            conflict=(),
            nearest="",
            warnings=() if proved else (self._unproved(state, reached),),
            assumptions=tuple(self._assumptions(state)),
            solver=self._solver(state),
        )

    @staticmethod
    def _unproved(state: _State, reached: float) -> str:
        if state.outcome.status == "optimal":
            return "stopped while the limits, taken anew at each design, were still moving a little"
        return f"stopped before the proof was complete: gap {100 * reached:.2f} %"

    def _currency(self) -> str:
        return next((m.currency for m in self.options.candidates if m.currency), "")

    def _structure(self, choice: Choice) -> dict[str, tuple[ChosenLayer, ...]]:
        return {
            name: tuple(
                ChosenLayer(self.options.candidates[m].name, round(t * 1e6, 6))
                for m, t in zip(sequence, thickness, strict=True)
            )
            for name, sequence, thickness in zip(
                self.options.walls, choice.sequences, choice.thickness, strict=True
            )
        }

    def _alternatives(self, state: _State, choice: Choice, factor: float) -> tuple[Alternative, ...]:
        rows: list[Alternative] = []
        for other in state.search.others(_ALTERNATIVES + 1, min(_OTHERS_TIME, max(0.0, self.left))):
            if other.sequences != choice.sequences and len(rows) < _ALTERNATIVES:
                excess = 100.0 * (other.objective / state.choice.objective - 1.0)
                rows.append(Alternative(self._structure(other), other.objective * factor, excess))
        return tuple(rows)

    def _binding(self, choice: Choice, factor: float, unit: str) -> tuple[Binding, ...]:
        if self.left <= 0:
            return ()
        return binding_of(self.case, self.options, choice, self.walls, factor, unit)

    def _assumptions(self, state: _State) -> list[str]:
        rows = [
            "The lower bound is proved for steady walls, with each shelf-life limit linearised at the "
            "structure returned (the course of its conductances over the storage) and with mid-wall areas "
            "at its thickness.",
            "The structure returned was simulated by the code of 'predict' and passes.",
            f"Each limit is kept with a guard of {100 * GUARD:g} % for the error of the simulation.",
            "Two layers of the same material are not placed next to each other.",
        ]
        if self.options.minimise == "thickness":
            rows.append("The objective is the sum of the nominal thicknesses of the designed walls.")
        else:
            rows.append("The objective counts the designed walls only; other parts are not part of it.")
        if self.options.reserve:
            rows.append(f"A reserve of {100 * self.options.reserve:g} % of every limit is kept.")
        if state.demands.idle:
            rows.append(
                "Met by any wall of the candidates and therefore left out: "
                + ", ".join(state.demands.idle)
                + "."
            )
        return rows

    def _solver(self, state: _State) -> Mapping[str, object]:
        return {
            "name": "HiGHS",
            "highspy": package_version("highspy"),
            "pyomo": package_version("pyomo"),
            "rounds": self.rounds,
            "sequences_settled_singly": state.search.listed + len(state.search.closed),
            "seconds": round(time.monotonic() - self.begin, 2),
            "gap_asked": self.gap,
        }

    def _infeasible(self, why: Explanation, version: str, sha: str) -> DesignResult:
        return self._empty("infeasible", why.conflict, why.nearest, (), version, sha)

    def _unfinished(self, version: str, sha: str) -> DesignResult:
        note = "no structure that passes was found in the time given; allow more with --time-limit"
        return self._empty("time_limit", (), "", (note,), version, sha)

    def _empty(
        self,
        status: str,
        conflict: tuple[str, ...],
        nearest: str,
        warnings: tuple[str, ...],
        version: str,
        sha: str,
    ) -> DesignResult:
        _, unit = _UNITS.get(self.options.minimise, (1.0, f"{self._currency()}/package"))
        return DesignResult(
            title=self.case.title,
            version=version,
            inputs_sha256=sha,
            status=status,
            minimised=self.options.minimise,
            objective=None,
            objective_unit=unit,
            lower_bound=None,
            gap=None,
            structure={},
            predicted=None,
            binding=(),
            alternatives=(),
            conflict=conflict,
            nearest=nearest,
            warnings=warnings,
            assumptions=(),
            solver={"seconds": round(time.monotonic() - self.begin, 2)},
        )

"""``design``: the certified choice, and what is said around it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from importlib.metadata import version as package_version

from optimizer.design.binding import binding_of
from optimizer.design.demands import GUARD
from optimizer.design.optimise import DEFAULT_GAP, DEFAULT_TIME, Optimum, optimise, walls_of
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.results import Alternative, Binding, ChosenLayer, DesignResult
from optimizer.shelflife.package import Case

Progress = Callable[[str], None]

#: Other structures listed with the answer.
_ALTERNATIVES = 5
#: Seconds spent at most on them.
_OTHERS_TIME = 3.0
_UNITS = {"mass": (1e3, "g/package"), "thickness": (1e6, "um")}


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
    begin = time.monotonic()
    limit = DEFAULT_TIME if time_limit is None else time_limit
    best = optimise(
        case,
        options,
        time_limit=limit,
        gap=gap,
        progress=progress,
        version=version,
        inputs_sha256=inputs_sha256,
    )
    return Answer(case, options, best, gap, begin, limit).result(version, inputs_sha256)


def objective_unit(options: DesignOptions) -> tuple[float, str]:
    """Factor from SI, and the unit in which the objective is shown."""
    currency = next((m.currency for m in options.candidates if m.currency), "")
    return _UNITS.get(options.minimise, (1.0, f"{currency}/package"))


class Answer:
    """The result of ``design`` for an optimum."""

    def __init__(
        self, case: Case, options: DesignOptions, best: Optimum, gap: float, begin: float, limit: float
    ) -> None:
        self.case, self.options, self.best, self.gap = case, options, best, gap
        self.begin, self.deadline = begin, begin + limit
        self.factor, self.unit = objective_unit(options)

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    def result(self, version: str, sha: str) -> DesignResult:
        best = self.best
        if best.choice is None or best.predicted is None:
            conflict = best.why.conflict if best.why else ()
            nearest = best.why.nearest if best.why else ""
            note = "no structure that passes was found in the time given; allow more with --time-limit"
            warnings = (note,) if best.status == "time_limit" else ()
            return self._empty(best.status, conflict, nearest, warnings, version, sha)
        proved = best.status == "optimal"
        return DesignResult(
            title=self.case.title,
            version=version,
            inputs_sha256=sha,
            status=best.status,
            minimised=self.options.minimise,
            objective=best.objective * self.factor,
            objective_unit=self.unit,
            lower_bound=best.bound * self.factor,
            gap=best.gap,
            structure=self._structure(best.choice),
            predicted=best.predicted,
            binding=self._binding(best.choice),
            alternatives=self._alternatives(best.choice),
            conflict=(),
            nearest="",
            warnings=() if proved else (self._unproved(),),
            assumptions=tuple(self._assumptions()),
            solver=self._solver(),
        )

    def _unproved(self) -> str:
        if not self.best.settled and self.left > 0:
            return "stopped while the limits, taken anew at each design, were still moving a little"
        return f"stopped before the proof was complete: gap {100 * self.best.gap:.2f} %"

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

    def _alternatives(self, choice: Choice) -> tuple[Alternative, ...]:
        if self.best.search is None:
            return ()
        rows: list[Alternative] = []
        for other in self.best.search.others(_ALTERNATIVES + 1, min(_OTHERS_TIME, max(0.0, self.left))):
            if other.sequences != choice.sequences and len(rows) < _ALTERNATIVES:
                excess = 100.0 * (other.objective / self.best.objective - 1.0)
                rows.append(Alternative(self._structure(other), other.objective * self.factor, excess))
        return tuple(rows)

    def _binding(self, choice: Choice) -> tuple[Binding, ...]:
        if self.left <= 0:
            return ()
        return binding_of(
            self.case, self.options, choice, lambda c: walls_of(self.options, c), self.factor, self.unit
        )

    def _assumptions(self) -> list[str]:
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
        idle = self.best.demands.idle if self.best.demands else ()
        if idle:
            rows.append("Met by any wall of the candidates and therefore left out: " + ", ".join(idle) + ".")
        return rows

    def _solver(self) -> Mapping[str, object]:
        search = self.best.search
        settled = search.listed + len(search.closed) if search else 0
        return {
            "name": "HiGHS",
            "highspy": package_version("highspy"),
            "pyomo": package_version("pyomo"),
            "rounds": self.best.rounds,
            "sequences_settled_singly": settled,
            "seconds": round(time.monotonic() - self.begin, 2),
            "gap_asked": self.gap,
        }

    def _empty(
        self,
        status: str,
        conflict: tuple[str, ...],
        nearest: str,
        warnings: tuple[str, ...],
        version: str,
        sha: str,
    ) -> DesignResult:
        return DesignResult(
            title=self.case.title,
            version=version,
            inputs_sha256=sha,
            status=status,
            minimised=self.options.minimise,
            objective=None,
            objective_unit=self.unit,
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

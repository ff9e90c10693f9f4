"""``design``: the certified choice, and what is said around it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from importlib.metadata import version as package_version
from typing import Any

from optimizer.design.binding import Held, binding_of, chosen
from optimizer.design.confidence import confident, percent
from optimizer.design.demands import GUARD
from optimizer.design.halt import INTERRUPT, MEMORY, Halt, Stop
from optimizer.design.judge import ByPrediction
from optimizer.design.nested import design_in_outer_pack
from optimizer.design.optimise import DEFAULT_GAP, DEFAULT_TIME
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.design.settled import Settled, settle
from optimizer.design.work import Work
from optimizer.errors import InputError, Problem
from optimizer.results import Alternative, DesignResult
from optimizer.shelflife.nested import alone_only
from optimizer.shelflife.package import Case

Progress = Callable[[str], None]

#: Other structures listed with the answer.
_ALTERNATIVES = 5
#: Seconds spent at most on them.
_OTHERS_TIME = 10.0
#: Seconds spent at most on what holds the design, and the share of the time that is left.
BINDING_TIME, _BINDING_SHARE = 10.0, 0.7
#: Kept of the time for the answer once the search has ended: at most so many seconds, this share of all.
_KEPT, _KEPT_SHARE = 5.0, 0.1
#: Why the search ended, and what helps, in words.
_UNTIL = {
    None: "in the rounds allowed",
    "time": "in the time given",
    "interrupt": "before it was interrupted",
    "memory": "in the memory given",
}
_HELP = {
    None: "accept a wider --gap",
    "time": "allow more with --time-limit",
    "interrupt": "let it run longer",
    "memory": "allow more with --memory-limit",
}
_HEDGED = (
    "So that materials of different spread are compared fairly, permeabilities in the certified problem are "
    "multiplied by what their own spread adds at the confidence asked for"
)
_NONE_PASSES = (
    "no structure that passes was found: those that steady walls allow fail with walls in transient, or at "
    "the confidence asked for; that there is none is not proved"
)
_UNSETTLED = (
    "corrections of the limits, for walls in transient or for the confidence, did not settle: this is the "
    "best of the structures that pass among those tried, and the bound is that of looser limits"
)
_OF_THE_CORRECTED = (
    "that no structure meets the limits is proved for steady walls under corrected limits; the corrections "
    "are those of the structures looked at"
)
_UNITS = {"mass": (1e3, "g/package"), "thickness": (1e6, "um")}


def solve_design(
    case: Case,
    options: DesignOptions,
    *,
    time_limit: float | None = None,
    gap: float = DEFAULT_GAP,
    progress: Progress | None = None,
    stop: Stop | None = None,
    memory_limit: float | None = None,
    confidence: float | None = None,
    binding_time: float = BINDING_TIME,
    version: str = "",
    inputs_sha256: str = "",
) -> DesignResult:
    """Cheapest, lightest or thinnest walls that meet every limit and rule.

    time_limit [s]; gap: share of the objective within which the proof may stop. The returned structure has
    been simulated by ``predict`` and passes; otherwise the status is ``infeasible`` or ``time_limit``
    without one. stop: asked between the steps of the search; once it says True, or more than memory_limit
    [bytes] is resident, the best so far is returned with what is proved of it. confidence [-]: least
    probability of passing of the structure, by default that of the case's uncertainty, if any. binding_time
    [s]: at most for what holds the design. Raises InputError for a confidence without a target or without a
    limit of the product.
    """
    begin = time.monotonic()
    limit = DEFAULT_TIME if time_limit is None else time_limit
    if case.outer is not None:
        if confidence is not None or case.uncertainty.confidence is not None:
            alone_only(case, "a design with a confidence")

        def once(around: Case, options: DesignOptions, seconds: float) -> DesignResult:
            return solve_design(
                replace(around, outer=None),
                options,
                time_limit=seconds,
                gap=gap,
                progress=progress,
                stop=stop,
                memory_limit=memory_limit,
                binding_time=0.0,
                version=version,
                inputs_sha256=inputs_sha256,
            )

        return design_in_outer_pack(case, options, limit, once)
    halt = Halt(stop, memory_limit)
    asked = case.uncertainty.confidence if confidence is None else confidence
    if asked is not None:
        _confidence_has_a_meaning(case)
    end = begin + limit - min(_KEPT, _KEPT_SHARE * limit)
    work = Work(case, options, gap, end, halt, progress, version, inputs_sha256)
    found = _found(work, asked)
    answer = Answer(work, found, begin, limit, halt, binding_time)
    return answer.result(version, inputs_sha256)


@dataclass(frozen=True)
class _Found:
    """settled: the optimum; searches: run for it; told and warnings: of the confidence, None and empty
    without one."""

    settled: Settled
    searches: int
    told: Mapping[str, Any] | None = None
    warnings: tuple[str, ...] = ()


def _found(work: Work, asked: float | None) -> _Found:
    plain = settle(work, ByPrediction(work))
    if asked is None:
        return _Found(plain, plain.searches)
    if plain.optimum.choice is None:
        return _Found(plain, plain.searches, {"asked": asked})
    sure = confident(work, plain, asked)
    searches = plain.searches + int(sure.told["searches"])
    return _Found(sure.settled, searches, sure.told, sure.warnings)


def _confidence_has_a_meaning(case: Case) -> None:
    if case.target is None:
        hint = "add target: {shelf_life: 9 months}"
        raise InputError(Problem("a confidence needs a target", field="target.shelf_life", hint=hint))
    if not case.product.limits:
        hint = "add for example oxygen_gain: 5 mg/kg"
        message = "a confidence needs a limit of the product: limits on transmission are judged as given"
        raise InputError(Problem(message, field="product.limits", hint=hint))


def objective_unit(options: DesignOptions) -> tuple[float, str]:
    """Factor from SI, and the unit in which the objective is shown."""
    currency = next((m.currency for m in options.candidates if m.currency), "")
    return _UNITS.get(options.minimise, (1.0, f"{currency}/package"))


class Answer:
    """The result of ``design`` for an optimum."""

    def __init__(
        self, work: Work, found: _Found, begin: float, limit: float, halt: Halt, binding_time: float
    ) -> None:
        self.found, self.corrections = found, found.settled.corrections
        self.options = options = found.settled.options
        self.case, self.best, self.gap = work.case, found.settled.optimum, work.gap
        self.begin, self.deadline = begin, begin + limit
        self.halt, self.binding_time, self.progress = halt, binding_time, work.progress
        self.factor, self.unit = objective_unit(options)

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    def result(self, version: str, sha: str) -> DesignResult:
        best = self.best
        if best.choice is None or best.predicted is None:
            conflict = best.why.conflict if best.why else ()
            nearest = best.why.nearest if best.why else ""
            return self._empty(best.status, conflict, nearest, self._open(), version, sha)
        held, alternatives = self._held(), self._alternatives(best.choice)
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
            structure=chosen(self.options, best.choice),
            predicted=best.predicted,
            binding=held.rows,
            alternatives=alternatives,
            conflict=(),
            nearest="",
            warnings=self._open(),
            assumptions=tuple(self._assumptions()),
            solver=self._solver(),
            stopped_by=best.ended_by,
            binding_notes=(*held.notes, *self._kept_corrections(held)),
            confidence=self._confidence(),
        )

    def _confidence(self) -> dict[str, Any] | None:
        """What is told of the confidence, in the units of the result."""
        if self.found.told is None:
            return None
        told = dict(self.found.told)
        for key in ("objective_without", "price", "highest_objective"):
            if key in told:
                told[key] *= self.factor
        return told

    def _kept_corrections(self, held: Held) -> tuple[str, ...]:
        if not self.corrections or not held.rows:
            return ()
        return (
            "The corrections of the limits, stated under Assumptions, are the same in every design compared.",
        )

    def _open(self) -> tuple[str, ...]:
        """What was left open, as warnings."""
        return (*self._open_ends(), *self.found.warnings)

    def _open_ends(self) -> tuple[str, ...]:
        best = self.best
        if best.status == "infeasible":
            smallest = best.why is None or best.why.smallest
            cut = () if smallest else ("the conflict was not made as small as it may be: no time was left",)
            return (*cut, *((_OF_THE_CORRECTED,) if self.corrections else ()))
        if best.choice is None and best.stopped_by is None and self.found.settled.searches > 1:
            return (_NONE_PASSES,)
        if best.choice is None:
            return (
                f"no structure that passes was found {_UNTIL[best.stopped_by]}; {_HELP[best.stopped_by]}",
            )
        if best.status != "optimal":
            return (self._unproved(),)
        if self.halt.reason is not None:
            return (f"what holds the design and what comes next was cut short {_UNTIL[self.halt.reason]}",)
        return ()

    def _unproved(self) -> str:
        reason = self.best.stopped_by
        if reason is None and self.found.searches > 1:
            return _UNSETTLED
        if reason is None:
            return "stopped while the limits, taken anew at each design, were still moving a little"
        return f"stopped before the proof was complete, {_UNTIL[reason]}: gap {100 * self.best.gap:.2f} %"

    def _alternatives(self, choice: Choice) -> tuple[Alternative, ...]:
        if self.best.search is None or self._cut:
            return ()
        rows: list[Alternative] = []
        others, bound = self.best.search.next_best(
            _ALTERNATIVES + 1,
            gap=self.gap,
            seconds=min(_OTHERS_TIME, max(0.0, self.left)),
            stop=self.halt,
        )
        for other in others:
            if other.sequences != choice.sequences and len(rows) < _ALTERNATIVES:
                excess = 100.0 * (other.objective / self.best.objective - 1.0)
                proved = other.objective * (1.0 - self.gap) <= bound * (1.0 + 1e-9)
                structure = chosen(self.options, other)
                rows.append(Alternative(structure, other.objective * self.factor, excess, proved))
        return tuple(rows)

    @property
    def _cut(self) -> bool:
        """Whether nothing more may be computed around the design."""
        return self.best.stopped_by in (INTERRUPT, MEMORY) or self.halt()

    def _held(self) -> Held:
        seconds = min(self.binding_time, _BINDING_SHARE * self.left)
        if seconds <= 0 or self._cut:
            return Held(notes=("Not looked at: no time was left.",) if seconds <= 0 else ())
        try:
            return binding_of(
                self.case,
                self.options,
                self.best,
                self.factor,
                self.unit,
                seconds=seconds,
                stop=self.halt,
                progress=self.progress,
            )
        except MemoryError:
            self.halt.reason = MEMORY
            return Held()

    def _assumptions(self) -> list[str]:
        rows = [
            "The lower bound is proved for steady walls, with each shelf-life limit linearised at the "
            "structure returned (the course of its conductances over the storage) and with mid-wall areas "
            "at its thickness.",
            *self._of_corrections(),
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
        rows += self.options.assumptions
        idle = self.best.demands.idle if self.best.demands else ()
        if idle:
            rows.append("Met by any wall of the candidates and therefore left out: " + ", ".join(idle) + ".")
        return rows

    def _of_corrections(self) -> list[str]:
        """What the proof is of where limits were corrected."""
        if not self.corrections:
            return []
        shares = ", ".join(
            f"{name.replace('_', ' ')} {percent(self.options.allowed(name))}" for name in self.corrections
        )
        why = [
            *(["walls in transient"] if self._transient else []),
            *(["the confidence"] if self.found.told else []),
        ]
        hedges = (self.found.told or {}).get("hedged") or {}
        hedged = "; ".join(f"{name} {factor:.3g}" for name, factor in hedges.items())
        return [
            *([f"{_HEDGED}: {hedged}."] if hedged else []),
            f"Limits are corrected for {' and '.join(why)}: steady walls may use these shares of what they "
            f"permit, the reserve included: {shares}. The lower bound is proved for the limits so corrected; "
            "the corrections are those that the structure returned asks for, and another structure may ask "
            "for others.",
        ]

    @property
    def _transient(self) -> bool:
        predicted = self.best.predicted
        return predicted is not None and predicted.wall_model == "transient"

    def _solver(self) -> Mapping[str, object]:
        search = self.best.search
        settled = search.settled if search else 0
        allowed = {name: self.options.allowed(name) for name in self.corrections}
        extra = {"searches": self.found.searches, "corrected_to": allowed} if allowed else {}
        return {
            "name": "HiGHS",
            "highspy": package_version("highspy"),
            "pyomo": package_version("pyomo"),
            "rounds": self.best.rounds,
            "sequences_settled_singly": settled,
            **extra,
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
            warnings=(*warnings, *self.case.warnings),
            assumptions=(),
            solver={"seconds": round(time.monotonic() - self.begin, 2)},
            stopped_by=self.best.ended_by,
            confidence=self._confidence(),
        )

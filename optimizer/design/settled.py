"""Corrections of the certified problem, until the structure that it returns also holds where walls are in
transient, or uncertain.

The certified problem knows steady walls only. What a ``Judge`` says of a structure (it passes or not, and
which share of each limit steady walls of that structure may use so that it just passes) becomes the
correction of the limits, and the search is run again, until the structure found asks for the correction that
it was found under.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

import numpy as np

from optimizer.design.given import given_choice
from optimizer.design.judge import LEAST, Judge, Stopped, Verdict
from optimizer.design.optimum import Optimum, nothing
from optimizer.design.options import DesignOptions
from optimizer.design.polish import Sequences
from optimizer.design.problem import Choice
from optimizer.design.work import Corrections, Work

#: Searches under corrections, and steps of thicknesses alone between two of them.
_ROUNDS, _STEPS = 6, 14
#: A correction settles within this share, where the gap asked for is not wider.
_SETTLED = 2e-4
#: Use of a limit, as a share of what its correction leaves, below which the correction does not matter.
_USED = 0.9
#: Next best layers looked at where no thickness of the best ones passes, and seconds to find them.
_NEXT, _LOOKING = 8, 20.0
#: Slopes of a correction in itself that a step of Aitken is taken with.
_FLATTEST, _STEEPEST = -3.0, 0.9
#: Objectives this near are equal.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Settled:
    """optimum: of the corrected problem, with ``predicted`` by the case's own model of the walls; options: of
    that problem; corrections: by limit, empty where none were needed; searches: run for it; verdict: of its
    structure, None without one."""

    optimum: Optimum
    options: DesignOptions
    corrections: Corrections = field(default_factory=dict)
    searches: int = 1
    verdict: Verdict | None = None


def settle(work: Work, judge: Judge, *, first: Settled | None = None, start: Choice | None = None) -> Settled:
    """The optimum under the corrections that its own structure asks for.

    first: an optimum of the same problem to go on from; or start: a structure whose corrections the first
    search is run under. Where the rounds do not settle, the best structure that passes, with what is proved
    of it."""
    return _Rounds(work, judge).run(first, start)


@dataclass(frozen=True)
class _Passing:
    choice: Choice
    corrections: Corrections
    verdict: Verdict


class _Rounds:
    def __init__(self, work: Work, judge: Judge) -> None:
        self.work, self.judge = work, judge
        self.tolerance = max(work.gap, _SETTLED)
        self.solved: list[tuple[Corrections, Optimum]] = []
        self.given = 0
        self.passing: list[_Passing] = []
        self.verdicts: dict[Choice, Verdict] = {}
        #: Layers that no thicknesses were found for that pass.
        self.rejected: set[Sequences] = set()

    def run(self, first: Settled | None, start: Choice | None) -> Settled:
        corrections = dict(first.corrections) if first else {}
        try:
            if start is not None:
                start, corrections = self._balanced(start, corrections)
            optimum = first.optimum if first else self.work.optimise(corrections, start)
            self.solved.append((corrections, optimum))
            self.given = 1 if first else 0
            for _ in range(_ROUNDS):
                if optimum.choice is None:
                    again = self._from_elsewhere(optimum, corrections)
                    if again is None:
                        break
                    start = None
                    corrections = again
                else:
                    verdict = self._judged(optimum.choice, corrections)
                    if self._holds(verdict, corrections):
                        if self._given_passes(corrections, below=optimum.objective):
                            break
                        return self._answer(optimum, corrections, verdict)
                    start, corrections = self._balanced(optimum.choice, corrections)
                    if not self._passed(optimum.choice.sequences):
                        if self.passing and optimum.choice.sequences in self.rejected:
                            break
                        self.rejected.add(optimum.choice.sequences)
                        start, corrections = self._others(optimum) or (start, corrections)
                if self.work.over:
                    break
                self.work.say("searching again with limits corrected for transient or uncertain walls")
                optimum = self.work.optimise(corrections, start)
                self.solved.append((corrections, optimum))
        except Stopped:
            pass
        return self._best()

    def _given_passes(self, corrections: Corrections, below: float = np.inf) -> bool:
        """Whether the walls of the project follow the rules, cost less than ``below`` by more than rounding,
        and pass; they are remembered then."""
        given = given_choice(self.work.case, self.work.corrected(corrections))
        if given is None or given.objective >= below * (1.0 - _ROUNDING):
            return False
        verdict = self._judged(given, corrections)
        if verdict.passes:
            self.passing.append(_Passing(given, corrections, verdict))
        return verdict.passes

    def _judged(self, choice: Choice, corrections: Corrections) -> Verdict:
        if choice not in self.verdicts:
            self.verdicts[choice] = self.judge(self.work.structure(choice), corrections, choice)
        return self.verdicts[choice]

    def _holds(self, verdict: Verdict, corrections: Corrections) -> bool:
        """Whether the structure passes, and asks for no looser corrections than those it was found under."""
        return verdict.passes and all(
            new <= old * (1.0 + self.tolerance) for old, new in self._mattering(verdict, corrections)
        )

    def _mattering(self, verdict: Verdict, corrections: Corrections) -> Sequence[tuple[float, float]]:
        """Corrections now and asked for, of the limits that hold the structure under one of them."""
        room = 1.0 - self.work.options.reserve
        pairs = [(corrections.get(n, 1.0), verdict.wanted.get(n, 1.0), u) for n, u in verdict.used.items()]
        return [(old, new) for old, new, used in pairs if used >= _USED * room * min(old, new)]

    # -- thicknesses alone -----------------------------------------------------------------------------------

    def _balanced(self, choice: Choice, corrections: Corrections) -> tuple[Choice, dict[str, float]]:
        """The same layers with thicknesses that ask for the corrections they were made under, as far as that
        goes, and those corrections; remembers what passes on the way."""
        corrections = dict(corrections)
        before: tuple[Corrections, Corrections] | None = None
        for _ in range(_STEPS):
            verdict = self._judged(choice, corrections)
            wanted = {n: verdict.wanted.get(n, 1.0) for n in verdict.used}
            if verdict.passes:
                self.passing.append(_Passing(choice, corrections, verdict))
            pairs = self._mattering(verdict, corrections)
            if all(abs(new - old) <= self.judge.still * old for old, new in pairs) and verdict.passes:
                break
            step = _aitken(corrections, wanted, before)
            before = (corrections, wanted)
            better = self.work.refitted(choice, step)
            corrections = step
            if better is None or (self.passing and self.work.over):
                break
            choice = better
        return choice, corrections

    def _passed(self, sequences: Sequences) -> bool:
        return any(p.choice.sequences == sequences for p in self.passing)

    def _others(self, optimum: Optimum) -> tuple[Choice, dict[str, float]] | None:
        """The first of the next best layers that pass with thicknesses of their own, and their corrections;
        None where none of them does."""
        if optimum.search is None or self.work.over:
            return None
        self.work.say("no thickness of these layers passes: looking at the next best")
        seconds = min(_LOOKING, self.work.left)
        found, _ = optimum.search.next_best(
            _NEXT + 1, gap=self.work.gap, seconds=seconds, stop=self.work.stop
        )
        corrections = self.solved[-1][0]
        for other in found:
            if other.sequences not in self.rejected:
                balanced = self._balanced(other, corrections)
                if self._passed(other.sequences):
                    return balanced
                self.rejected.add(other.sequences)
        return None

    # -- without a structure ---------------------------------------------------------------------------------

    def _from_elsewhere(self, optimum: Optimum, corrections: Corrections) -> dict[str, float] | None:
        """Corrections that the structure nearest to the limits asks for, or the one given in the project,
        where they are looser somewhere than those without a structure; None where there are none."""
        if optimum.status != "infeasible" or self.work.over:
            return None
        nearest = optimum.why.choice if optimum.why else None
        cases = [self.work.case] if nearest is None else [self.work.structure(nearest), self.work.case]
        for case in cases:
            wanted = self.judge(case, corrections, None).wanted
            looser = {n: w for n, w in wanted.items() if w > corrections.get(n, 1.0) * (1.0 + self.tolerance)}
            if looser and not self._tried(wanted):
                return dict(wanted)
        return None

    def _tried(self, corrections: Corrections) -> bool:
        """Whether a problem as loose as this was shown to have no structure."""
        return any(o.choice is None and _as_loose(old, corrections) for old, o in self.solved)

    # -- answers ---------------------------------------------------------------------------------------------

    def _answer(self, optimum: Optimum, corrections: Corrections, verdict: Verdict) -> Settled:
        rounds = sum(o.rounds for _, o in self.solved)
        optimum = replace(optimum, predicted=verdict.predicted, rounds=rounds)
        return Settled(optimum, self.work.corrected(corrections), corrections, self.searches, verdict)

    @property
    def searches(self) -> int:
        return len(self.solved) - self.given

    def _best(self) -> Settled:
        """The best structure that passes, with the bound of the problems solved that are as loose as its
        own; without one, the last problem's answer."""
        corrections, last = self.solved[-1] if self.solved else ({}, nothing(self.work.ended_by))
        for tried, optimum in self.solved:
            verdict = self.verdicts.get(optimum.choice) if optimum.choice else None
            if optimum.choice and verdict and verdict.passes:
                self.passing.append(_Passing(optimum.choice, tried, verdict))
        with suppress(Stopped):
            if not self.passing:
                self._given_passes(corrections)
        if not self.passing:
            if last.choice is not None:
                last = nothing(last.stopped_by or self.work.ended_by)
            return Settled(last, self.work.corrected(corrections), corrections, self.searches)
        best = min(self.passing, key=lambda p: p.choice.objective)
        looser = [o for old, o in self.solved if _as_loose(old, best.corrections) and o.search is not None]
        bound = min(max((o.bound for o in looser), default=-np.inf), best.choice.objective)
        objective = best.choice.objective
        source = looser[-1] if looser else last
        answer = Optimum(
            status="time_limit",
            choice=best.choice,
            objective=objective,
            bound=bound if np.isfinite(bound) else 0.0,
            gap=(objective - max(bound, 0.0)) / objective if objective > 0.0 else 0.0,
            settled=False,
            rounds=sum(o.rounds for _, o in self.solved),
            predicted=best.verdict.predicted,
            demands=source.demands,
            search=source.search,
            stopped_by=last.stopped_by or self.work.ended_by,
        )
        options = self.work.corrected(best.corrections)
        return Settled(answer, options, best.corrections, self.searches, best.verdict)


def _as_loose(old: Corrections, new: Corrections) -> bool:
    """Whether the old corrections are nowhere tighter than the new."""
    return all(old.get(n, 1.0) >= new.get(n, 1.0) * (1.0 - 1e-9) for n in {*old, *new})


def _aitken(
    now: Corrections, wanted: Corrections, before: tuple[Corrections, Corrections] | None
) -> dict[str, float]:
    """The next corrections: what is wanted, or once two steps show how that moves with the correction, where
    both would agree if it went on in a straight line."""
    found = {}
    for name, new in wanted.items():
        old = now.get(name, 1.0)
        slope = 0.0
        if before is not None:
            moved = old - before[0].get(name, 1.0)
            if abs(moved) > 1e-9:
                slope = (new - before[1].get(name, 1.0)) / moved
        slope = min(max(slope, _FLATTEST), _STEEPEST)
        found[name] = max(old + (new - old) / (1.0 - slope), LEAST)
    return found

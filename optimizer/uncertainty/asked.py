"""What a user asks of the samples and of a search, checked; and telling how far the samples are."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from numbers import Integral, Real
from typing import Any

from optimizer.errors import InputError, Problem
from optimizer.progress import step
from optimizer.shelflife.package import Case
from optimizer.shelflife.variation import Outcomes, Variation

#: Fewest and most samples that are let in, and the largest seed.
SAMPLES = (16, 1_000_000)
LARGEST_SEED = 2**32 - 1
#: The least confidence that may be asked for is above this, the largest below 1.
LEAST_CONFIDENCE = 0.5
#: Longest shelf life that may be asked for, 1000 years [s], and most packages a year.
LONGEST, MOST_PACKAGES = 1000.0 * 365.25 * 86400.0, 1e15
#: The verdict is close where the probability lies within this many standard errors of the confidence.
_CLOSE = 2.0

Say = Callable[[str], None]


@dataclass(frozen=True)
class Asked:
    """samples, seed: None as the project says; confidence [-]: None as the project says."""

    samples: int | None = None
    seed: int | None = None
    confidence: float | None = None

    def __bool__(self) -> bool:
        """Whether anything is asked of samples."""
        return any(x is not None for x in (self.samples, self.seed, self.confidence))

    def refuse_nonsense(self, target: float | None) -> None:
        """Raises InputError with everything that cannot be asked for. target [s] or None."""
        problems = [
            *_whole("--samples", self.samples, *SAMPLES),
            *_whole("--seed", self.seed, 0, LARGEST_SEED),
            *_confidence(self.confidence),
        ]
        if self.confidence is not None and target is None:
            hint = "add target: {shelf_life: 9 months} to the project"
            problems.append(Problem("needs a target shelf life", field="--confidence", hint=hint))
        if problems:
            raise InputError(problems)

    def confidence_for(self, case: Case) -> float | None:
        """The confidence asked for here or in the project; None without a target, which it needs."""
        asked = case.uncertainty.confidence if self.confidence is None else self.confidence
        return None if case.target is None else asked


@dataclass(frozen=True)
class Search:
    """What bounds a search; None: not given. gap: share of the objective [-]; time_limit [s]; memory_limit
    [bytes]; confidence [-]; points: of a trade-off, from ``start`` to ``end`` [s]; volume: packages per
    year."""

    gap: float | None = None
    time_limit: float | None = None
    memory_limit: float | None = None
    confidence: float | None = None
    points: int | None = None
    start: float | None = None
    end: float | None = None
    volume: float | None = None

    def refuse_nonsense(self) -> None:
        """Raises InputError with everything that cannot be asked for."""
        problems = [*_confidence(self.confidence)]
        if self.gap is not None and not (_number(self.gap) and 0.0 <= self.gap < 1.0):
            problems.append(
                Problem(f"must lie from 0 % to below 100 %, not at {_share(self.gap)}", field="--gap")
            )
        if self.points is not None and not isinstance(self.points, Integral):
            problems.append(Problem(f"must be a whole number, not {self.points!r}", field="--points"))
        for option, value, most, at_most in (
            ("--time-limit", self.time_limit, math.inf, ""),
            ("--memory-limit", self.memory_limit, math.inf, ""),
            ("--from", self.start, LONGEST, " and at most 1000 years"),
            ("--to", self.end, LONGEST, " and at most 1000 years"),
            ("--volume", self.volume, MOST_PACKAGES, f" and at most {MOST_PACKAGES:g}"),
        ):
            if value is not None and not (_number(value) and 0.0 < value <= most):
                problems.append(Problem(f"must be more than 0{at_most}, not {value!r}", field=option))
        if problems:
            raise InputError(problems)


def _number(value: Any) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)


def _share(value: Any) -> str:
    return f"{100.0 * value:g} %" if _number(value) else repr(value)


def _whole(option: str, value: Any, least: int, most: int) -> Iterator[Problem]:
    whole = isinstance(value, Integral) and not isinstance(value, bool)
    if value is not None and not (whole and least <= value <= most):
        yield Problem(f"must lie from {least} to {most}, not {value}", field=option)


def _confidence(value: Any) -> Iterator[Problem]:
    if value is not None and not (_number(value) and LEAST_CONFIDENCE < value < 1.0):
        yield Problem(f"must lie above 50 % and below 100 %, not at {_share(value)}", field="--confidence")


def warnings_of(case: Case, confidence: float | None, probability: float | None, error: float) -> list[str]:
    """What to know of a verdict at a confidence, in words."""
    if case.target is None and case.uncertainty.confidence is not None:
        return ["The project asks for a confidence, which needs a target shelf life: it was left out"]
    if confidence is None or probability is None or abs(probability - confidence) > _CLOSE * error:
        return []
    return [
        "The probability of passing lies within twice its sampling error of the confidence asked for: more "
        "samples would tell on which side it is"
    ]


class Counting:
    """Simulates samples and tells how many are done, of each of ``packages`` in turn.

    ``simulate`` is a ``run.Simulator``, ``progress`` that of ``run.Setup``."""

    def __init__(self, say: Say, packages: tuple[str, ...] = ("",)) -> None:
        self._say, self._packages = say, packages
        self._at = self._done = self._total = 0

    def simulate(self, case: Case, variation: Variation, *, wall: str) -> Outcomes:
        from optimizer.shelflife.samples import simulate_samples

        if 0 < self._total <= self._done:  # the package before is finished
            self._at, self._done, self._total = self._at + 1, 0, 0
        return simulate_samples(
            case, variation, wall=wall, say=self._say, progress=lambda done: self._tell(self._done + done)
        )

    def progress(self, done: int, total: int) -> None:
        self._done, self._total = done, total
        self._tell(done)

    def _tell(self, done: int) -> None:
        what = self._packages[min(self._at, len(self._packages) - 1)]
        if self._total:
            step(self._say, done, self._total, f"{done} of {self._total} samples{what} simulated")
        else:
            self._say(f"{done} samples{what} simulated")

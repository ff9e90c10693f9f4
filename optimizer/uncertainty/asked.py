"""What a user asks of the samples, checked; and telling how far they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from optimizer.errors import InputError, Problem
from optimizer.progress import step
from optimizer.shelflife.package import Case
from optimizer.shelflife.variation import Outcomes, Variation

#: Fewest and most samples that are let in, and the largest seed.
SAMPLES = (16, 1_000_000)
LARGEST_SEED = 2**32 - 1
#: The least confidence that may be asked for is above this, the largest below 1.
LEAST_CONFIDENCE = 0.5
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
        problems = []
        if self.samples is not None and not SAMPLES[0] <= self.samples <= SAMPLES[1]:
            message = f"must lie from {SAMPLES[0]} to {SAMPLES[1]}, not {self.samples}"
            problems.append(Problem(message, field="--samples"))
        if self.seed is not None and not 0 <= self.seed <= LARGEST_SEED:
            message = f"must lie from 0 to {LARGEST_SEED}, not {self.seed}"
            problems.append(Problem(message, field="--seed"))
        if self.confidence is not None and not LEAST_CONFIDENCE < self.confidence < 1.0:
            message = f"must lie above 50 % and below 100 %, not at {100.0 * self.confidence:g} %"
            problems.append(Problem(message, field="--confidence"))
        if self.confidence is not None and target is None:
            hint = "add target: {shelf_life: 9 months} to the project"
            problems.append(Problem("needs a target shelf life", field="--confidence", hint=hint))
        if problems:
            raise InputError(problems)

    def confidence_for(self, case: Case) -> float | None:
        """The confidence asked for here or in the project; None without a target, which it needs."""
        asked = case.uncertainty.confidence if self.confidence is None else self.confidence
        return None if case.target is None else asked


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

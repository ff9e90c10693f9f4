"""``check`` with samples: both packages on common random numbers, and the lightest at a confidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from optimizer.results import CheckResult
from optimizer.results_uncertainty import UncertaintyResult
from optimizer.shelflife.check import POINT_ESTIMATES, at_scale, check, no_scale, scaled, walls_to_scale
from optimizer.shelflife.memory import model_of
from optimizer.shelflife.package import Case
from optimizer.uncertainty.asked import Asked, Counting, Say, warnings_of
from optimizer.uncertainty.lightest import Lightest, lightest
from optimizer.uncertainty.predicted import enough
from optimizer.uncertainty.run import Comparison, Passing, Simulator, compare_on_common_numbers
from optimizer.uncertainty.run import probability_of_passing as passing_of
from optimizer.uncertainty.scramble import fresh_seed

COMMON_NUMBERS = (
    "Both packages are compared on the same random numbers for every spread that they share; each is held "
    "against its own limits."
)


def checked(
    case: Case,
    baseline: Case,
    asked: Asked,
    *,
    version: str = "",
    inputs_sha256: str = "",
    baseline_sha256: str = "",
    designed: Sequence[str] = (),
    say: Say | None = None,
    simulate: Simulator | None = None,
) -> CheckResult:
    """As ``shelflife.check``; with samples or a confidence asked for, here or in the project, also with
    probabilities and percentiles of both packages.

    With a confidence ``passes`` needs that probability too, and ``lightest_passing`` is the lightest that has
    it. simulate: None for ``simulate_samples``. Raises InputError for what cannot be asked for."""
    asked.refuse_nonsense(case.target)
    tell = say or _quiet
    answer = check(
        case,
        baseline,
        version=version,
        inputs_sha256=inputs_sha256,
        baseline_sha256=baseline_sha256,
        designed=designed,
        progress=tell,
    )
    if not asked and case.uncertainty.confidence is None:
        return answer
    counting = Counting(tell, (" of the changed package", " of the baseline"))
    found = compare_on_common_numbers(
        case,
        baseline,
        samples=asked.samples,
        seed=asked.seed,
        wall=answer.changed.wall_model,
        baseline_wall=answer.baseline.wall_model,
        simulate=simulate or counting.simulate,
        progress=counting.progress,
    )
    confidence = asked.confidence_for(case)
    light = answer.lightest_passing
    if confidence is not None and light is not None:
        names = walls_to_scale(baseline, case, designed)
        search = _Search(case, names, confidence, found.now, simulate, tell)
        light = search.lightest(light)
    return _sampled(answer, found, confidence, light, case)


def _sampled(
    answer: CheckResult,
    found: Comparison,
    confidence: float | None,
    light: Mapping[str, Any] | None,
    case: Case,
) -> CheckResult:
    now = found.now
    passes = answer.passes and enough(now.probability, confidence)
    close = warnings_of(case, confidence, now.probability, now.probability_error or 0.0)
    if any(change.what.startswith("spread of ") for change in answer.changes):
        close.append("The two projects state different spreads; each package is drawn with its own")
    assumptions = [COMMON_NUMBERS if x == POINT_ESTIMATES else x for x in answer.assumptions]
    return replace(
        answer,
        passes=passes,
        confidence=now.probability,
        confidence_asked=confidence,
        shelf_life_days={key: now.shelf_life_days.get(key) for key in ("p05", "p50", "p95")},
        at_least_as_long=found.at_least_as_long,
        at_least_as_long_error=found.error,
        changed=replace(answer.changed, passes=passes, uncertainty=now, confidence_asked=confidence),
        baseline=replace(answer.baseline, uncertainty=found.before),
        lightest_passing=light,
        warnings=(*answer.warnings, *close),
        assumptions=tuple(assumptions),
    )


@dataclass(frozen=True)
class _Search:
    """For the lightest at a confidence: the walls to scale, on the numbers of the check itself."""

    case: Case
    names: tuple[str, ...]
    confidence: float
    drawn: UncertaintyResult
    simulate: Simulator | None
    say: Say

    def lightest(self, point: Mapping[str, Any]) -> Mapping[str, Any]:
        """point: the lightest with the properties as given. The answer is never lighter: that one keeps the
        limits on transmission too, which are outside the probability."""
        if point["scale"] is None:
            return {**point, "confidence": self.confidence}
        found = lightest(
            self.at,
            self.confidence,
            samples=self.drawn.samples,
            seed=self.drawn.seed,
            simulate=self.simulate,
            say=self.say,
        )
        if found.scale is None:
            return no_scale(found.note, self.confidence)
        if found.scale < point["scale"]:
            found = self.passing_at(point["scale"])
        assert found.scale is not None
        answer = at_scale(self.case, self.names, found.scale, found.note, self.confidence)
        return answer | _numbers("", found.passing) | _numbers("fresh_", found.fresh)

    def at(self, scale: float) -> Case:
        """The case at a scale, its walls simulated as ``predict`` would."""
        case = scaled(self.case, self.names, scale)
        return replace(case, wall=model_of(case))

    def passing_at(self, scale: float) -> Lightest:
        note = "the limits with the properties as given, those on transmission included, need this thickness."
        here, fresh = (
            passing_of(
                self.at(scale),
                samples=self.drawn.samples,
                seed=seed,
                simulate=self.simulate,
                confidence=self.confidence,
            )
            for seed in (self.drawn.seed, fresh_seed(self.drawn.seed))
        )
        return Lightest(scale, here, fresh, note)


def _numbers(kind: str, passing: Passing | None) -> dict[str, float | None]:
    """Probability of passing and its error; ``fresh``: on numbers that the search did not see."""
    keys = f"{kind}probability", f"{kind}probability_error"
    values = (None, None) if passing is None else passing[:2]
    return dict(zip(keys, values, strict=True))


def _quiet(text: str) -> None:
    pass

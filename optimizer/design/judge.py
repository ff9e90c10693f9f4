"""What is said of a structure that the certified problem proposes: does it pass, and which corrections of the
limits does it ask for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from optimizer.design.optimum import keeps
from optimizer.design.problem import Choice
from optimizer.design.work import Corrections, Work
from optimizer.results import PredictResult
from optimizer.shelflife.package import Case
from optimizer.shelflife.predict import predict

#: Kept inside every limit for the last steps of the corrections.
_INSIDE = 5e-5
#: Smallest correction.
LEAST = 1e-3


@dataclass(frozen=True)
class Verdict:
    """What a judge says of one structure.

    passes: with the reserve, and with the confidence where one was asked for; used: by limit, share of the
    permitted change that steady walls use [-]; wanted: by limit, the correction under which the structure
    would just pass; predicted: by the case's own model of the walls."""

    passes: bool
    used: Mapping[str, float]
    wanted: Corrections
    predicted: PredictResult


class Judge(Protocol):
    """still: steps of thicknesses alone end when no correction that matters moves by more than this share."""

    still: float

    def __call__(self, case: Case, corrections: Corrections, choice: Choice | None) -> Verdict:
        """Of the case with the structure in question, which was found under ``corrections``; choice: None for
        one that is not made of the candidates."""


class Stopped(Exception):
    """A judge was told to stop."""


class ByPrediction:
    """Judges by ``predict`` with the case's own model of the walls."""

    still = 5e-5

    def __init__(self, work: Work) -> None:
        self.work = work

    def __call__(self, case: Case, corrections: Corrections, choice: Choice | None = None) -> Verdict:
        work = self.work
        predicted = predict(case, version=work.version, inputs_sha256=work.sha, say=work.say)
        passes = keeps(predicted, work.options)
        own = used_shares(predicted)
        if predicted.wall_model == "steady" and not work.hedged:
            return Verdict(passes, own, {}, predicted)
        steady = used_shares(predict(work.certified(case)))
        room = 1.0 - work.options.reserve
        wanted = {
            name: corrected(use, own[name], room * (1.0 - _INSIDE)) / room
            for name, use in steady.items()
            if name in own
        }
        return Verdict(passes, steady, wanted, predicted)


def used_shares(predicted: PredictResult) -> dict[str, float]:
    """Share of what each limit of the product permits that is used up to the target [-]."""
    return {
        x.name: 1.0 - x.margin_pct / 100.0
        for x in predicted.limits
        if x.margin_pct is not None and x.status not in ("met", "exceeded")
    }


def corrected(steady: float, own: float, room: float) -> float:
    """Use by steady walls at which the own model uses ``room``, if their difference stays as it is; where
    that leaves little or nothing, half of what their ratio says."""
    difference = room - (own - steady)
    half = 0.5 * room * steady / own if own > steady else 0.0
    return max(difference, half, LEAST)

"""What a certified search answers, and whether a simulated package keeps what was asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.design.demands import Demands
from optimizer.design.explain import Explanation
from optimizer.design.halt import UNSETTLED
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.results import LimitOutcome, PredictResult
from optimizer.shelflife.package import Layer, Wall

if TYPE_CHECKING:
    from optimizer.design.search import Search

#: A reserve counts as kept to within this share of the permitted change [%].
_RESERVE_SLACK = 0.01


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

    @property
    def ended_by(self) -> str | None:
        """stopped_by, or unsettled where nothing from outside kept the proof from being complete."""
        return UNSETTLED if self.status == "time_limit" and self.stopped_by is None else self.stopped_by


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


def share_open(objective: float, bound: float) -> float:
    """The gap: the share of the objective between it and its bound."""
    return (objective - bound) / objective if objective > 0.0 else 0.0


def impossible(why: Explanation, rounds: int) -> Optimum:
    """The answer that nothing meets the limits and rules."""
    far = np.inf
    return Optimum("infeasible", None, far, far, far, False, rounds, None, None, None, why)


def nothing(stopped_by: str | None, rounds: int = 0) -> Optimum:
    """An answer without a structure, and without a proof that there is none."""
    far = np.inf
    return Optimum("time_limit", None, far, -far, far, False, rounds, None, None, None, None, stopped_by)

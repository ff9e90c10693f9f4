"""Judges structures by samples of the uncertain inputs, for ``confidence``.

Samples tell by which factor each quantity at the target differs from that of steady walls with nominal
values. Steady walls may then use one over a quantile of that factor of what a limit permits: the same
quantile for all limits, such that so many samples as asked keep all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.design.judge import ByPrediction, Stopped, Verdict
from optimizer.design.problem import Choice
from optimizer.design.work import Corrections, Work
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.package import Case
from optimizer.shelflife.simulate import simulate
from optimizer.shelflife.variation import Outcomes, Variation
from optimizer.uncertainty.draw import draw, rounded
from optimizer.uncertainty.outcome import Share, passing, share_of
from optimizer.uncertainty.run import Setup, Simulator, simulated
from optimizer.uncertainty.sources import Input, inputs_of

Array = NDArray[np.float64]

#: Kept inside every limit for the error of the samples' simulation.
_INSIDE = 5e-5
#: A limit holds a structure when steady walls use this share of what its correction leaves.
_HELD = 0.98


@dataclass(frozen=True)
class Reached:
    """The highest probability seen, and of which structure."""

    share: Share
    choice: Choice


class BySamples:
    """Judges by ``predict`` and by samples with the case's own model of the walls.

    aim: probability that the samples must show; best: the highest that one of the structures showed."""

    still = 3e-4

    def __init__(self, work: Work, aim: float, simulator: Simulator | None) -> None:
        self.work, self.aim, self.simulator = work, aim, simulator
        given = work.case.uncertainty
        self.samples, self.seed = rounded(given.samples), given.seed
        self.nominal = ByPrediction(work)
        self.best: Reached | None = None
        self.wall = ""

    def follow(self, work: Work) -> None:
        """Judge for this work from now on."""
        self.work, self.nominal = work, ByPrediction(work)

    def __call__(self, case: Case, corrections: Corrections, choice: Choice | None) -> Verdict:
        nominal = self.nominal(case, corrections)
        case, outcomes, variation = self.outcomes(case, nominal.predicted.wall_model)
        assert case.target is not None
        share = share_of(passing(outcomes, case.target))
        if choice is not None and nominal.passes and (self.best is None or share > self.best.share):
            self.best = Reached(share, choice)
        names = [limit.name for limit in case.product.limits]
        uses = dict(zip(names, uses_of(case, outcomes, variation).T, strict=True))
        wanted = self._wanted(uses, nominal, corrections)
        passes = nominal.passes and share.probability >= self.aim
        return Verdict(passes, nominal.used, wanted, nominal.predicted)

    def outcomes(
        self, case: Case, wall: str, change: Callable[[Variation], Variation] = lambda v: v
    ) -> tuple[Case, Outcomes, Variation]:
        """The case as it is sampled, and its samples up to the target, changed before they are simulated."""
        case = sampled_case(case, self.work.options.walls)
        self.wall = wall
        inputs = _inputs(case, wall)
        variation = draw(inputs, self.samples, self.seed, correlation=case.uncertainty.correlation)
        variation = change(variation)
        setup = Setup(simulate=self.simulator)
        short = replace(case, horizon=case.target or case.horizon)
        return case, simulated(short, variation, wall, setup, self._count), variation

    def _count(self, samples: int) -> None:
        if self.work.over:
            raise Stopped

    def _wanted(
        self, uses: Mapping[str, Array], nominal: Verdict, corrections: Corrections
    ) -> dict[str, float]:
        """Corrections under which so many samples as aimed at keep every limit, with factors as in these."""
        names = [n for n, u in nominal.used.items() if n in uses and u > 0.0]
        if not names:
            return dict(nominal.wanted)
        room = 1.0 - self.work.options.reserve
        most = {n: nominal.wanted.get(n, 1.0) * room for n in names}
        factors = np.stack([uses[n] / nominal.used[n] for n in names], axis=1)
        ordered = np.sort(factors, axis=0)
        used = np.array([nominal.used[n] for n in names])
        now = np.array([corrections.get(n, 1.0) * room for n in names])
        held = used >= _HELD * np.minimum(now, [most[n] for n in names])

        def allowed(rank: int) -> Array:
            quantile = np.maximum(ordered[rank], 1e-12)
            shares: Array = np.minimum((1.0 - _INSIDE) / quantile, [most[n] for n in names])
            return shares

        def enough(rank: int) -> bool:
            use = np.where(held, allowed(rank), np.minimum(used, allowed(rank)))
            return bool(np.mean(np.all(factors * use <= 1.0, axis=1)) >= self.aim)

        low, high = max(0, math.ceil(self.aim * self.samples) - 1), self.samples - 1
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if enough(middle) else (middle + 1, high)
        return {**nominal.wanted, **dict(zip(names, (allowed(low) / room).tolist(), strict=True))}


def uses_of(case: Case, outcomes: Outcomes, variation: Variation) -> Array:
    """Share of what a limit permits, the sample's own, that each sample uses up to the target (B, L)."""
    closing = _closing(case)
    columns = []
    for k, limit in enumerate(case.product.limits):
        own = limit.value * variation.limit.get(limit.name, np.ones(variation.size))
        sign = sign_of(limit.name)
        room = sign * (own - closing[k])
        use = sign * (outcomes.extreme[:, k] - closing[k])
        columns.append(np.where(room > 0.0, use / np.where(room > 0.0, room, 1.0), np.inf))
    uses: Array = np.stack(columns, axis=1)
    return uses


def _inputs(case: Case, wall: str) -> tuple[Input, ...]:
    """Inputs that the wall model knows: a steady wall has no diffusivity."""
    return tuple(x for x in inputs_of(case) if wall != "steady" or x.kind != "diffusivity")


def _closing(case: Case) -> Array:
    """Quantities of the limits just after closing (L,), which no wall changes."""
    run = simulate(case.product, exchange_of(case), until=case.target or case.horizon, crossings=False)
    closing: Array = run.closing[0]
    return closing


def sampled_case(case: Case, walls: tuple[str, ...]) -> Case:
    """The case with the spread of a material's layers in every designed wall, wherever it was given: the
    walls that are designed may get layers that those of the project lack."""
    given = dict(case.uncertainty.layers)
    for (_, material), size in case.uncertainty.layers.items():
        for wall in walls:
            given.setdefault((wall, material), size)
    return replace(case, uncertainty=replace(case.uncertainty, layers=given))

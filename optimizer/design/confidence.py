"""The cheapest structure that passes with a confidence asked for.

``settled`` repeats the search under corrections that samples of the uncertain inputs ask for (see
``by_samples``), all on the same random numbers, until that stands. The probability that is told is that on
numbers which the search has not seen.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from optimizer.design.by_samples import BySamples, Reached, sampled_case
from optimizer.design.explain import Explanation
from optimizer.design.hedge import factors_of, hedged
from optimizer.design.judge import Stopped, used_shares
from optimizer.design.optimum import Optimum, walls_of
from optimizer.design.problem import Choice
from optimizer.design.settled import Settled, settle
from optimizer.design.work import Corrections, Work
from optimizer.results_uncertainty import UncertaintyResult
from optimizer.shelflife.package import Case
from optimizer.shelflife.predict import predict
from optimizer.shelflife.variation import Outcomes, Variation
from optimizer.uncertainty.draw import rounded
from optimizer.uncertainty.outcome import passing, share_of
from optimizer.uncertainty.run import Simulator, assess
from optimizer.uncertainty.scramble import fresh_seed

#: Halvings between a correction with a structure and one without, to tell what can be reached.
_HALVINGS = 7
#: Seconds at most for that.
_LOOKING = 30.0
#: Times that the limits are tightened where a fresh sample shows less than asked for.
_AGAIN = 3
#: Failures that a sample must be likely to show before it tells much about them.
_FEW = 10
#: Factor on permeability that stands for walls that let nothing through.
_TIGHT = 1e-6


@dataclass(frozen=True)
class Sure:
    """settled: the optimum at the confidence, infeasible where there is none; told: what the answer says of
    the confidence; warnings: in words."""

    settled: Settled
    told: Mapping[str, Any]
    warnings: tuple[str, ...] = ()


def confident(work: Work, plain: Settled, asked: float, *, simulate: Simulator | None = None) -> Sure:
    """The optimum whose structure passes with the probability ``asked`` [-].

    plain: the optimum without a confidence, which has a structure. simulate: of samples, by default
    ``simulate_samples``."""

    def telling(case: Case, variation: Variation, *, wall: str) -> Outcomes:
        from optimizer.shelflife.samples import simulate_samples

        return simulate_samples(case, variation, wall=wall, say=work.say)

    return _Search(work, plain, asked, simulate or telling).run()


class _Search:
    def __init__(self, work: Work, plain: Settled, asked: float, simulator: Simulator | None) -> None:
        self.work, self.plain, self.asked, self.simulator = work, plain, asked, simulator
        self.judge = BySamples(work, asked, simulator)
        self.searches = 0

    def run(self) -> Sure:
        self.work.say(f"looking for a probability of {percent(self.asked)}")
        found = self._enough() or self._first()
        if found.optimum.choice is None:
            return self._none(found)
        seed = fresh_seed(self.judge.seed)
        proof = self._proved(found, seed)
        notes = []
        for _ in range(_AGAIN):
            if proof is None or _probability(proof) >= self.asked:
                break
            again = self._tightened(found, proof)
            if again is None:
                break
            notes.append(
                f"On a fresh sample {percent(_probability(proof))} passed: the limits were tightened once "
                "more, and another fresh sample was drawn"
            )
            found, seed = again, fresh_seed(seed)
            proof = self._proved(found, seed)
        return self._told(found, proof, seed, notes)

    def _enough(self) -> Settled | None:
        """The optimum without a confidence, where it passes with the one asked for; None where it does not or
        there was no time to see."""
        choice = self.plain.optimum.choice
        assert choice is not None
        try:
            verdict = self.judge(self.work.structure(choice), self.plain.corrections, choice)
        except Stopped:
            return None
        return replace(self.plain, verdict=verdict) if verdict.passes else None

    def _first(self) -> Settled:
        with suppress(Stopped):  # the searches that follow end by themselves
            self.work = replace(self.work, hedged=hedged(self.judge, self.plain, self.asked))
        self.judge.follow(self.work)
        return self._settled(start=self.plain.optimum.choice)

    def _settled(self, first: Settled | None = None, start: Choice | None = None) -> Settled:
        found = settle(self.work, self.judge, first=first, start=start)
        self.searches += found.searches
        return found

    def _tightened(self, found: Settled, proof: UncertaintyResult) -> Settled | None:
        """At a probability higher by what was missing and its standard error; None where that ends without a
        structure."""
        missing = self.asked - _probability(proof) + (proof.probability_error or 0.0)
        self.judge.aim = min(self.judge.aim + missing, 1.0 - 1.0 / self.judge.samples)
        again = self._settled(found)
        return again if again.optimum.choice is not None else None

    def _proved(self, found: Settled, seed: int) -> UncertaintyResult | None:
        """All about the structure on a fresh sample; None where there was no time for it."""
        assert found.optimum.choice is not None and found.verdict is not None
        case = sampled_case(self.work.structure(found.optimum.choice), self.work.options.walls)
        self.work.say("proving the probability on a fresh sample")

        def progress(done: int, total: int) -> None:
            if done < total and self.work.over:
                raise Stopped

        try:
            return assess(
                case,
                samples=self.judge.samples,
                seed=seed,
                wall=found.verdict.predicted.wall_model,
                simulate=self.simulator,
                progress=progress,
                indices=False,
            )
        except Stopped:
            return None

    # -- answers ---------------------------------------------------------------------------------------------

    def _told(self, found: Settled, proof: UncertaintyResult | None, seed: int, notes: list[str]) -> Sure:
        optimum = found.optimum
        predicted = optimum.predicted
        assert predicted is not None
        warnings = []
        if proof is None:
            warnings.append("the probability was not proved on a fresh sample: no time was left")
            optimum = replace(optimum, status="time_limit", stopped_by=self.work.ended_by)
        else:
            enough = _probability(proof) >= self.asked
            optimum = replace(
                optimum,
                predicted=replace(
                    predicted,
                    uncertainty=proof,
                    confidence_asked=self.asked,
                    passes=predicted.passes and enough,
                ),
            )
            if not enough:
                shown = percent(_probability(proof))
                warnings.append(
                    f"the fresh sample shows {shown}, less than the {percent(self.asked)} asked for"
                )
        if (1.0 - self.asked) * self.judge.samples < _FEW:
            least = rounded(math.ceil(_FEW / (1.0 - self.asked)))
            warnings.append(
                f"{self.judge.samples} samples tell little about a probability of {percent(self.asked)}: "
                f"give uncertainty.samples, {least} or more"
            )
        told = self._common() | {
            "probability": None if proof is None else proof.probability,
            "probability_error": None if proof is None else proof.probability_error,
            "fresh_seed": seed,
            "wall": self.judge.wall,
            "reserve": self._reserve(optimum),
            "hedged": self._hedges(optimum),
            "price": optimum.objective - self.plain.optimum.objective,
            "notes": tuple(notes),
        }
        return Sure(replace(found, optimum=optimum), told, tuple(warnings))

    def _common(self) -> dict[str, Any]:
        return {
            "asked": self.asked,
            "samples": self.judge.samples,
            "seed": self.judge.seed,
            "searches": self.searches,
            "objective_without": self.plain.optimum.objective,
        }

    def _reserve(self, optimum: Optimum) -> dict[str, float]:
        """By limit, the share of what it permits that is left unused with nominal values [-]."""
        assert optimum.predicted is not None
        return {name: 1.0 - used for name, used in used_shares(optimum.predicted).items()}

    def _hedges(self, optimum: Optimum) -> dict[str, float]:
        """Factors on the permeability of the materials of the structure in the certified problem, by material
        and gas."""
        assert optimum.choice is not None
        used = dict.fromkeys(m for sequence in optimum.choice.sequences for m in sequence)
        return (
            {
                f"{gas} of {plain.name}": factor
                for plain, other in ((self.work.options.candidates[m], self.work.hedged[m]) for m in used)
                for gas, factor in factors_of(plain, other).items()
            }
            if self.work.hedged
            else {}
        )

    # -- none at this confidence -----------------------------------------------------------------------------

    def _none(self, found: Settled) -> Sure:
        """No structure: the highest probability reached, and what even perfect walls would reach."""
        if found.optimum.status == "infeasible":
            self._halve(found.corrections)
        optimum, most, reached = found.optimum, self._perfect(), self.judge.best
        told = self._common() | {"wall": self.judge.wall, "perfect_walls_probability": most, "notes": ()}
        if reached is not None:
            told |= {
                "highest_probability": reached.share.probability,
                "highest_probability_error": reached.share.error,
                "highest_objective": reached.choice.objective,
            }
        conflict = [f"a probability of passing of {percent(self.asked)}"]
        if most is not None and most < self.asked:
            conflict.append(f"designed walls that let nothing through pass with {percent(most)} only")
            optimum = replace(optimum, status="infeasible", stopped_by=None)
        elif optimum.why is not None:
            conflict += optimum.why.conflict
        if optimum.status == "infeasible":
            why = Explanation(tuple(conflict), "" if reached is None else self._nearest(reached))
            optimum = replace(optimum, why=why)
            return Sure(replace(found, optimum=optimum), told)
        warnings = () if reached is None else (self._nearest(reached),)
        return Sure(replace(found, optimum=optimum), told, warnings)

    def _nearest(self, reached: Reached) -> str:
        """In words."""
        walls = walls_of(self.work.options, reached.choice)
        layers = "; ".join(
            f"{name}: " + " / ".join(f"{x.material.name} {x.thickness * 1e6:.4g} um" for x in wall.layers)
            for name, wall in walls.items()
        )
        return f"Nearest: {layers}, which passes with {percent(reached.share.probability)}."

    def _halve(self, without: Corrections) -> None:
        """Structures between the one without a confidence and none, judged; ``judge`` remembers the best."""
        start = self.plain.optimum.choice
        assert start is not None
        room = 1.0 - self.work.options.reserve
        used = used_shares(predict(self.work.certified(self.work.structure(start))))
        good, bad = {name: use / room for name, use in used.items()}, dict(without)
        work = replace(self.work, deadline=min(self.work.deadline, time.monotonic() + _LOOKING))
        try:
            for _ in range(_HALVINGS):
                if work.over:
                    return
                middle = {
                    n: math.sqrt(good.get(n, 1.0) * bad.get(n, 1.0)) for n in dict.fromkeys([*good, *bad])
                }
                found = work.optimise(middle, start, explaining=False)
                self.searches += 1
                if found.choice is None:
                    bad = middle
                    continue
                self.judge(self.work.structure(found.choice), middle, found.choice)
                good, start = middle, found.choice
        except Stopped:
            return

    def _perfect(self) -> float | None:
        """Probability of passing with designed walls that let nothing through, None where time is up."""
        choice = self.plain.optimum.choice
        assert choice is not None
        case = self.work.structure(choice)
        layers = [x.material for w in self.work.options.walls for x in case.package.walls[w].layers]
        keys = {(m.name, g) for m in layers for g in (*m.gases, *(["H2O"] if m.water else []))}

        def blocked(v: Variation) -> Variation:
            return replace(v, permeability={**v.permeability, **dict.fromkeys(keys, np.full(v.size, _TIGHT))})

        model = self.plain.verdict.predicted.wall_model if self.plain.verdict else "steady"
        try:
            case, outcomes, _ = self.judge.outcomes(case, model, blocked)
        except Stopped:
            return None
        assert case.target is not None
        return share_of(passing(outcomes, case.target)).probability


def _probability(proof: UncertaintyResult) -> float:
    return 0.0 if proof.probability is None else proof.probability


def percent(share: float) -> str:
    return f"{100.0 * share:.4g} %"

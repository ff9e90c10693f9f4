"""How uncertain the answer of a case is (``assess``), also of a changed package against its baseline."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, Protocol

import numpy as np

from optimizer.results_uncertainty import Influence, UncertaintyResult
from optimizer.shelflife.memory import model_of
from optimizer.shelflife.nested import alone_only
from optimizer.shelflife.package import Case
from optimizer.shelflife.variation import Outcomes, Variation
from optimizer.uncertainty import outcome, sensitivity
from optimizer.uncertainty.draw import REPLICATES, draw, rounded, variation_of
from optimizer.uncertainty.outcome import Share
from optimizer.uncertainty.sources import Input, inputs_of, notes_of

#: Samples handed to the simulator together. Fixed, so that no result depends on the number of threads.
BLOCK = 2048
#: The indices take this share of the samples for each of their two samples, and then for every input.
_INDEX_SHARE = 8
#: Shelf lives closer than this share count as equal.
_SAME = 1e-9

Progress = Callable[[int, int], None]


class Simulator(Protocol):
    """``shelflife.samples.simulate_samples`` or one like it."""

    def __call__(self, case: Case, variation: Variation, *, wall: str) -> Outcomes: ...


class Passing(NamedTuple):
    """Probability of passing at the target, its standard error, and by how much the worst quantity at the
    target lies beyond its limit, as a share of it, in the sample at the confidence asked for."""

    probability: float
    error: float
    excess: float


class Comparison(NamedTuple):
    """Both answers on the same numbers, and the probability that the changed package lasts at least as long
    as its baseline (as far as both are looked at), with its standard error."""

    now: UncertaintyResult
    before: UncertaintyResult
    at_least_as_long: float
    error: float


@dataclass(frozen=True)
class Setup:
    """How samples are drawn and simulated. samples, seed: None as the case says; wall: steady | lag-corrected
    | transient, None for the model that ``predict`` takes; simulate: None for ``simulate_samples``;
    progress(done, total) after every block."""

    samples: int | None = None
    seed: int | None = None
    wall: str | None = None
    simulate: Simulator | None = None
    progress: Progress | None = None

    def resolved(self, case: Case) -> _Draw:
        given = case.uncertainty
        samples = rounded(given.samples if self.samples is None else self.samples)
        seed = given.seed if self.seed is None else self.seed
        return _Draw(samples, seed, self.wall or model_of(case))


class _Draw(NamedTuple):
    samples: int
    seed: int
    wall: str


def assess(
    case: Case,
    *,
    samples: int | None = None,
    seed: int | None = None,
    wall: str | None = None,
    simulate: Simulator | None = None,
    progress: Progress | None = None,
    indices: bool = True,
) -> UncertaintyResult:
    """Percentiles of shelf life, probability of passing and, with ``indices``, what explains the variance.

    samples: rounded up to a power of two. The other arguments as in ``Setup``."""
    setup = Setup(samples, seed, wall, simulate, progress)
    return _assess(case, setup, (), indices)[0]


def compare_on_common_numbers(
    case: Case,
    baseline: Case,
    *,
    samples: int | None = None,
    seed: int | None = None,
    wall: str | None = None,
    baseline_wall: str | None = None,
    simulate: Simulator | None = None,
    progress: Progress | None = None,
    indices: bool = False,
) -> Comparison:
    """Both packages with the same numbers for every input that both have.

    samples and seed: by default those of ``case``, for both. progress: counts each package from 0. indices:
    of the changed package."""
    plan = Setup(samples, seed, wall, simulate, progress).resolved(case)
    inputs, others = _used(case, plan.wall), _used(baseline, baseline_wall or model_of(baseline))
    one = Setup(plan.samples, plan.seed, plan.wall, simulate, progress)
    two = replace(one, wall=baseline_wall or model_of(baseline))
    now, lives = _assess(case, one, others, indices)
    before, old = _assess(baseline, two, inputs, False)
    end = min(_looked_at(case), _looked_at(baseline))
    longer = lives.life >= np.minimum(old.life, end) * (1.0 - _SAME)
    return Comparison(now, before, *outcome.share_of(longer))


def probability_of_passing(
    case: Case,
    *,
    samples: int | None = None,
    seed: int | None = None,
    wall: str | None = None,
    simulate: Simulator | None = None,
    confidence: float = 0.95,
    common: Sequence[Input] = (),
) -> Passing:
    """Only whether the case passes: nothing is simulated beyond the target.

    confidence: for ``Passing.excess``. common: inputs of cases that share the numbers. ValueError without a
    target."""
    if case.target is None:
        raise ValueError("a probability of passing needs a target")
    short = replace(case, horizon=case.target)
    setup = Setup(samples, seed, wall, simulate)
    plan = setup.resolved(case)
    inputs = _used(short, plan.wall)
    correlation = case.uncertainty.correlation
    variation = draw(inputs, plan.samples, plan.seed, correlation=correlation, common=common)
    found = simulated(short, variation, plan.wall, setup)
    passed = outcome.share_of(outcome.passing(found, case.target))
    return Passing(*passed, outcome.worst_excess(found, confidence))


def simulated(
    case: Case,
    variation: Variation,
    wall: str,
    setup: Setup,
    count: Callable[[int], None] | None = None,
    block: int = BLOCK,
) -> Outcomes:
    """Outcomes of all samples, in blocks; count(samples) after each. Raises InputError for packages in an
    outer pack."""
    alone_only(case, "samples")
    run = setup.simulate or _simulator()
    pieces = [
        variation.take(slice(k, min(k + block, variation.size))) for k in range(0, variation.size, block)
    ]
    found = []
    for piece in pieces:
        found.append(run(case, piece, wall=wall))
        if count is not None:
            count(piece.size)
    return outcome.joined(found)


def _simulator() -> Simulator:
    from optimizer.shelflife.samples import simulate_samples

    return simulate_samples


def _looked_at(case: Case) -> float:
    return max(case.horizon, case.target or 0.0)


def _used(case: Case, wall: str) -> tuple[Input, ...]:
    """Inputs that the wall model knows: a steady wall has no diffusivity."""
    return tuple(x for x in inputs_of(case) if wall != "steady" or x.kind != "diffusivity")


class _Counter:
    """Turns samples done into calls of progress(done, total)."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self.progress, self.total, self.done = progress, total, 0

    def __call__(self, samples: int) -> None:
        self.done += samples
        if self.progress is not None:
            self.progress(self.done, self.total)


def _assess(
    case: Case, setup: Setup, common: Sequence[Input], indices: bool
) -> tuple[UncertaintyResult, Outcomes]:
    plan = setup.resolved(case)
    case = replace(case, horizon=_looked_at(case))
    inputs = _used(case, plan.wall)
    correlation = case.uncertainty.correlation
    groups = sensitivity.groups_of(inputs) if indices else ()
    base = plan.samples // _INDEX_SHARE
    runs = (len(groups) + 2) * base if groups else 0
    count = _Counter(setup.progress, plan.samples + runs)
    variation = draw(inputs, plan.samples, plan.seed, correlation=correlation, common=common)
    found = simulated(case, variation, plan.wall, setup, count)
    influences: tuple[Influence, ...] = ()
    details: dict[str, Any] = {"replicates": REPLICATES}
    if groups:
        z = sensitivity.plan(inputs, groups, base, plan.seed)
        more = simulated(case, variation_of(inputs, z, runs, correlation), plan.wall, setup, count)
        output, words = sensitivity.output_of(more, case.horizon)
        shares = sensitivity.indices(output, groups, z)
        influences = sensitivity.influences(groups, shares)
        details |= {"indices_of": words, "index_runs": runs, "index_error": shares.error}
    return _result(case, plan, inputs, found, influences, details), found


def _result(
    case: Case,
    plan: _Draw,
    inputs: Sequence[Input],
    found: Outcomes,
    influences: tuple[Influence, ...],
    details: dict[str, Any],
) -> UncertaintyResult:
    limits = case.product.limits
    passed = None if case.target is None else outcome.share_of(outcome.passing(found, case.target))
    rows = outcome.percentiles(found, limits)
    return UncertaintyResult(
        samples=plan.samples,
        seed=plan.seed,
        wall=plan.wall,
        probability=None if passed is None else passed.probability,
        probability_error=None if passed is None else passed.error,
        shelf_life_days={f"p{r.percentile:02d}": r.shelf_life_days for r in rows},
        percentiles=rows,
        ended_by=outcome.ended_by(found, limits),
        influences=influences,
        spreads=tuple(x.note() for x in inputs),
        notes=(*_notes(case, passed), *notes_of(case)),
        life_days=outcome.thinned(found),
        details=details,
    )


def _notes(case: Case, passed: Share | None) -> Iterator[str]:
    if passed is None:
        return
    yield (
        f"The standard error of the probability is the scatter of {REPLICATES} independently scrambled parts "
        "of the sample, and at least one sample"
    )
    if case.transmission_limits:
        yield "Limits on transmission are judged with the properties as given, outside the probability"
    if math.isclose(passed.probability, 1.0):
        yield "Every sample passes: the probability of failing is too small for this number of samples"

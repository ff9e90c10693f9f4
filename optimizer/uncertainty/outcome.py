"""From simulated samples to numbers: percentiles, probability of passing, what ends the life."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DAY
from optimizer.results_uncertainty import PercentileEnd
from optimizer.shelflife.package import Limit
from optimizer.shelflife.variation import Outcomes
from optimizer.uncertainty.draw import REPLICATES

Array = NDArray[np.float64]

PERCENTILES = (5, 25, 50, 75, 95)
#: Name of what ends the life where no limit is reached.
NO_LIMIT = "none"
#: A target that is met to within this share counts as met, as in ``predict``.
_SLACK = 1e-9
#: Samples within this share of the ranks around a percentile tell what ends it.
_NEAR = 0.02
#: Most points of the distribution that are kept.
_POINTS = 512


class Share(NamedTuple):
    """Share of the samples for which something holds, and its standard error."""

    probability: float
    error: float


def passing(outcomes: Outcomes, target: float) -> NDArray[np.bool_]:
    """Whether a sample keeps every limit, its own, to the target [s] (B,)."""
    life = outcomes.life
    return (life > 0.0) & (life >= target * (1.0 - _SLACK))


def share_of(holds: NDArray[np.bool_], replicates: int = REPLICATES) -> Share:
    """Share of samples that hold, with the standard error that the scatter of the replicates gives.

    Never below one sample: that all samples agree does not say that there are no others."""
    means = holds.reshape(replicates, -1).mean(axis=1)
    scatter = float(np.std(means, ddof=1)) / math.sqrt(replicates)
    return Share(float(holds.mean()), max(scatter, 1.0 / len(holds)))


def percentile(ordered: Array, share: float) -> float | None:
    """Quantile of ascending values (B,), straight between the middles of the ranks; None where it is
    infinite."""
    place = min(max(share * len(ordered) - 0.5, 0.0), len(ordered) - 1.0)
    low = math.floor(place)
    part = place - low
    value = float(ordered[low])
    if part > 0.0:
        value += part * (float(ordered[low + 1]) - value) if math.isfinite(value) else 0.0
    return value if math.isfinite(value) else None


def percentiles(outcomes: Outcomes, limits: Sequence[Limit]) -> tuple[PercentileEnd, ...]:
    """Percentiles of shelf life, and the limit that most samples around each end by."""
    order = np.argsort(outcomes.life, kind="stable")
    ordered, ends = outcomes.life[order], outcomes.ended_by[order]
    found = []
    for p in PERCENTILES:
        life = percentile(ordered, p / 100.0)
        by = None if life is None else _commonest(ends, p / 100.0, limits)
        found.append(PercentileEnd(p, None if life is None else life / DAY, by))
    return tuple(found)


def _commonest(ends: NDArray[np.intp], share: float, limits: Sequence[Limit]) -> str | None:
    count = len(ends)
    low = max(0, math.floor((share - _NEAR) * count))
    high = min(count, max(math.ceil((share + _NEAR) * count), low + 1))
    near = ends[low:high]
    near = near[near >= 0]
    return limits[int(np.bincount(near).argmax())].name if near.size else None


def ended_by(outcomes: Outcomes, limits: Sequence[Limit]) -> Mapping[str, float]:
    """Share of the samples that each limit ends first, and of those that reach none."""
    ends = outcomes.ended_by
    shares = {limit.name: float(np.mean(ends == k)) for k, limit in enumerate(limits)}
    return {**shares, NO_LIMIT: float(np.mean(ends < 0))}


def thinned(outcomes: Outcomes) -> tuple[float, ...]:
    """Shelf life [days], ascending, of evenly spaced quantiles, at most 512; those beyond the time looked at
    are left out, so that each stands for the same share of the samples."""
    ordered = np.sort(outcomes.life)
    count = min(len(ordered), _POINTS)
    values = (percentile(ordered, (k + 0.5) / count) for k in range(count))
    return tuple(v / DAY for v in values if v is not None)


def worst_excess(outcomes: Outcomes, share: float) -> float:
    """By how much the worst quantity at the target lies beyond its limit, as a share of the limit, in the
    sample that ``share`` of the samples do not exceed; not positive where that many pass."""
    if outcomes.excess.shape[1] == 0:
        return -math.inf
    ordered = np.sort(outcomes.excess.max(axis=1))
    return float(ordered[min(max(math.ceil(share * len(ordered)) - 1, 0), len(ordered) - 1)])


def joined(pieces: Sequence[Outcomes]) -> Outcomes:
    """Outcomes of blocks one after the other."""
    return Outcomes(
        np.concatenate([p.crossing for p in pieces]),
        np.concatenate([p.extreme for p in pieces]),
        np.concatenate([p.excess for p in pieces]),
    )

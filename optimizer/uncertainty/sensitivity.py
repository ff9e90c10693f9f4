"""Which input explains how much of the variance: first-order and total indices of Sobol.

Two independent samples A and B of the normals, and for every group i of them A with the columns of the group
from B. With f at these points,

    first order  S_i = mean(f_B (f_ABi - f_A)) / V    (Saltelli et al., Comput. Phys. Commun. 181 (2010) 259)
    total        T_i = mean((f_A - f_ABi)^2) / (2 V)  (Jansen, Comput. Phys. Commun. 117 (1999) 35)

with f centred. ln(shelf life) is nearly linear in the normals. The estimates for the linear function g that
fits f best are known exactly, so that the error made for g is taken off the estimate for f (a control
variate).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.results_uncertainty import Influence
from optimizer.shelflife.variation import Outcomes
from optimizer.uncertainty.draw import columns_of, normals, shared
from optimizer.uncertainty.sources import Input

Array = NDArray[np.float64]

#: Share of the samples that must reach a limit for the indices to be of ln(shelf life).
_REACHED = 0.95
#: Shelf lives below this share of the time looked at count as that: a logarithm needs a floor.
_SHORTEST = 1e-3
_AGAIN = "again: "


@dataclass(frozen=True)
class Group:
    """Columns of the draw that are moved together, under one name."""

    name: str
    columns: tuple[str, ...]


def groups_of(inputs: Sequence[Input]) -> tuple[Group, ...]:
    """One group for each input, and one for what the inputs of a source have in common. A source with a
    single input is no matter of its own."""
    members: dict[str, list[Input]] = {}
    for item in inputs:
        if item.source:
            members.setdefault(item.source, []).append(item)
    alone = {items[0].key: source for source, items in members.items() if len(items) == 1}
    groups = [Group(x.name, (x.key, shared(alone[x.key])) if x.key in alone else (x.key,)) for x in inputs]
    common = [Group(f"shared: source {s}", (shared(s),)) for s, items in members.items() if len(items) > 1]
    return (*groups, *common)


def plan(inputs: Sequence[Input], groups: Sequence[Group], samples: int, seed: int) -> dict[str, Array]:
    """Normals by column, ((G + 2) samples,): those of A, of B, and of A with each group from B.

    samples: a power of two."""
    columns = columns_of(inputs)
    z = normals((*columns, *(f"{_AGAIN}{c}" for c in columns)), samples, seed, replicates=1)
    found = {}
    for column in columns:
        a, b = z[column], z[f"{_AGAIN}{column}"]
        found[column] = np.concatenate([a, b, *(b if column in g.columns else a for g in groups)])
    return found


class Indices(NamedTuple):
    """First-order and total index of each group (G,), and the largest standard error of any of them, as plain
    sampling would have it."""

    first: Array
    total: Array
    error: float


def indices(output: Array, groups: Sequence[Group], z: Mapping[str, Array]) -> Indices:
    """From f at the points of ``plan``; zeros where f does not vary."""
    count = len(groups)
    if not np.ptp(output) > 1e-12 * float(np.abs(output).max()):
        return Indices(np.zeros(count), np.zeros(count), 0.0)
    rows = 2 * len(output) // (count + 2)
    points = np.stack(list(z.values()), axis=1)
    fitted = np.column_stack([np.ones(rows), points[:rows]])
    slope = np.linalg.lstsq(fitted, output[:rows], rcond=None)[0][1:]
    square = dict(zip(z, slope**2, strict=True))
    exact = np.array([sum(square[c] for c in g.columns) for g in groups])
    found, linear = contributions(output, count), contributions(points @ slope, count)
    variance = found[0] - linear[0] + float((slope**2).sum())
    beyond = np.stack([f - g for f, g in zip(found[1:], linear[1:], strict=True)]) / variance
    first, total = beyond.mean(axis=2) + exact / variance
    error = float(beyond.std(axis=2).max()) / math.sqrt(beyond.shape[2])
    return Indices(first, total, error)


def contributions(output: Array, groups: int) -> tuple[float, Array, Array]:
    """Variance of f, and what each sample says of the first-order and of the total part of each group (G,
    samples): their means are the estimates in the head times V."""
    rows = output.reshape(groups + 2, -1)
    centred = rows - rows[:2].mean()
    a, b, mixed = centred[0], centred[1], centred[2:]
    return float(rows[:2].var()), b * (mixed - a), 0.5 * (a - mixed) ** 2


def output_of(outcomes: Outcomes, horizon: float) -> tuple[Array, str]:
    """What the indices are of (B,), and in words: ln(shelf life) where nearly all samples reach a limit, else
    the logarithm of the worst quantity at the target against its limit."""
    life = outcomes.life
    usable = np.isfinite(life) & (life > 0.0)
    if usable.mean() >= _REACHED:
        return np.log(np.clip(life, _SHORTEST * horizon, horizon)), "ln(shelf life)"
    worst = outcomes.excess.max(axis=1) if outcomes.excess.shape[1] else np.zeros(len(life))
    if (worst > -1.0).all():
        return np.log1p(worst), "ln(worst quantity at the target / its limit)"
    return worst, "the worst quantity at the target against its limit"


def influences(groups: Sequence[Group], found: Indices) -> tuple[Influence, ...]:
    """By falling total index; an index below 0 is sampling error."""
    first, total = (np.maximum(x, 0.0).tolist() for x in found[:2])
    rows = [Influence(group.name, s, t) for group, s, t in zip(groups, first, total, strict=True)]
    return tuple(sorted(rows, key=lambda r: -r.total))

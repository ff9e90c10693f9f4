"""Packages in a second pack: the space between becomes the surroundings of one package.

The space is followed together with one package (``nested_space``) at the structures as listed, and then cut
into slices of constant surroundings, short where it changes quickly. Every simulation of the package then
works as in open storage, with walls steady or transient, for one sample or many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.nested_space import GASES, SpaceStage, space_between
from optimizer.shelflife.package import Case, Stage
from optimizer.shelflife.segments import lay_out

Array = NDArray[np.float64]

#: Slices over the horizon, at least and in all; points of each over which its mean is taken.
_LEAST, _SLICES, _MEAN = 3, 160, 5


def surrounded(case: Case) -> Case:
    """The case with the space inside its outer pack as its storage; itself where it has no outer pack.

    Raises MaterialError, InputError or SolverError. ``outer.storage`` keeps what surrounds the outer pack, so
    that a case can be surrounded anew after its walls have changed.
    """
    outer = case.outer
    if outer is None:
        return case
    storage = outer.storage or case.storage
    stages = _laid_out(storage, case.horizon)
    found = space_between(replace(case, storage=tuple(storage)), outer, stages)
    slices = [x for part, share in zip(found, _shares(found), strict=True) for x in _cut(part, share)]
    return replace(case, storage=tuple(slices), outer=replace(outer, storage=tuple(storage)))


def _laid_out(storage: Sequence[Stage], until: float) -> list[Stage]:
    """The stages one after the other to ``until`` [s], the last repeated."""
    segments = lay_out(storage, until)
    columns = (segments.duration, segments.temperature, segments.humidity, segments.pressure)
    return [
        Stage(name, *row)
        for name, row in zip(segments.stage, zip(*(c.tolist() for c in columns), strict=True), strict=True)
    ]


def _shares(found: Sequence[SpaceStage]) -> list[int]:
    """Number of slices of each stage, by how far the space moves in it."""
    moves = np.array([_movement(part)[1][-1] for part in found])
    total = float(moves.sum()) or 1.0
    return [max(_LEAST, round(_SLICES * float(m) / total)) for m in moves]


def _movement(part: SpaceStage) -> tuple[Array, Array]:
    """Times (n,) and the distance (n,) that pressures and activity have come since the stage began, each as a
    share of its own range; time itself counts a little."""
    times = np.unique(np.concatenate([part.steps, np.linspace(part.start, part.end, 200)]))
    pressure, activity = part.at(times)
    rows = np.concatenate([pressure / 1e5, activity[None, :]])
    moved = np.abs(np.diff(rows, axis=1)).sum(axis=0)
    slow = 0.05 * np.diff(times) / (part.end - part.start)
    return times, np.concatenate([[0.0], np.cumsum(moved + slow)])


def _cut(part: SpaceStage, count: int) -> list[Stage]:
    """Slices between which the space moves equally far, each with its mean over time."""
    times, moved = _movement(part)
    edges = np.interp(np.linspace(0.0, moved[-1], count + 1), moved, times)
    edges[0], edges[-1] = part.start, part.end
    edges = np.unique(edges)
    nodes, weights = np.polynomial.legendre.leggauss(_MEAN)
    psat = float(saturation_pressure(part.stage.temperature))
    slices = []
    for begin, end in zip(edges[:-1], edges[1:], strict=True):
        pressure, activity = part.at(begin + (end - begin) * 0.5 * (nodes + 1.0))
        p, a = pressure @ weights / 2.0, float(activity @ weights / 2.0)
        dry = float(p.sum())
        shares = {g: float(x) / dry for g, x in zip(GASES, p, strict=False)}
        slices.append(
            replace(part.stage, duration=float(end - begin), humidity=a, pressure=dry + a * psat, gas=shares)
        )
    return slices

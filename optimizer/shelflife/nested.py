"""Packages in a second pack: the space between becomes the surroundings of one package.

The space is followed together with one package (``nested_space``) at the structures as listed, and then cut
into slices of constant surroundings, short where it changes quickly. Every simulation of the package then
works as in open storage, with walls steady or transient.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import InputError, Problem, SolverError
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.nested_space import GASES, SpaceStage, space_between
from optimizer.shelflife.package import Case, Stage
from optimizer.shelflife.segments import lay_out

Array = NDArray[np.float64]

#: Slices over the horizon, at least of a stage and in all; points of each over which its mean is taken.
_LEAST, _SLICES, _MEAN = 3, 240, 5
#: Points of the history that is told.
_TOLD = 200

COLLAPSED = (
    "The outer pack loses its gas until it lies against the packages; a thousandth of the space at closing "
    "is kept from then on"
)


def surrounded(case: Case) -> Case:
    """The case with the space inside its outer pack as its storage; itself where it has no outer pack.

    Raises MaterialError, InputError or SolverError. ``outer.storage`` keeps what surrounds the outer pack, so
    that a case can be surrounded anew after its walls or its horizon have changed: the slices belong to both.
    """
    outer = case.outer
    if outer is None:
        return case
    storage = outer.storage or case.storage
    stages = _laid_out(storage, case)
    found = space_between(replace(case, storage=tuple(storage)), outer, stages)
    ways = _movements(found)
    total = sum(float(moved[-1]) for _, moved in ways) or 1.0
    slices: list[Stage] = []
    for part, (times, moved) in zip(found, ways, strict=True):
        slices += _cut(part, times, moved, max(_LEAST, round(_SLICES * float(moved[-1]) / total)))
    warnings = case.warnings
    if any(part.collapsed for part in found) and COLLAPSED not in warnings:
        warnings = (*warnings, COLLAPSED)
    around = replace(outer, storage=tuple(storage), history=_history(found))
    return replace(case, storage=tuple(slices), outer=around, warnings=warnings)


def in_open_storage(case: Case) -> Case:
    """The case as if every package stood alone where its outer pack stands."""
    return case if case.outer is None else replace(case, storage=case.outer.storage, outer=None)


def alone_only(case: Case, what: str) -> None:
    """Raise InputError for what is not done for packages in an outer pack."""
    if case.outer is None:
        return
    hint = "remove package.outer to see the packages alone, or use predict, check and design without samples"
    raise InputError(
        Problem(f"{what} cannot follow the gas inside an outer pack", field="package.outer", hint=hint)
    )


def _laid_out(storage: Sequence[Stage], case: Case) -> list[Stage]:
    """The stages one after the other to the horizon, the last repeated, with a cut at the target."""
    segments = lay_out(storage, case.horizon, () if case.target is None else (case.target,))
    columns = (segments.duration, segments.temperature, segments.humidity, segments.pressure)
    return [
        Stage(name, *row)
        for name, row in zip(segments.stage, zip(*(c.tolist() for c in columns), strict=True), strict=True)
    ]


def _movements(found: Sequence[SpaceStage]) -> list[tuple[Array, Array]]:
    """Times (n,) of every stage, and how far (n,) the space has come since it began: pressures of O2, N2, CO2
    and the activity, each as a share of its range over all stages; time itself counts a little."""
    times = [np.unique(np.concatenate([p.steps, np.linspace(p.start, p.end, 200)])) for p in found]
    rows = []
    for part, t in zip(found, times, strict=True):
        pressure, activity = part.at(t)
        rows.append(np.concatenate([pressure[:3] / 1e5, activity[None, :]]))
    span = np.ptp(np.concatenate(rows, axis=1), axis=1)
    ways = []
    for part, t, row in zip(found, times, rows, strict=True):
        moved = (np.abs(np.diff(row, axis=1)) / np.maximum(span, 1e-3)[:, None]).sum(axis=0)
        slow = 0.05 * np.diff(t) / (part.end - part.start)
        ways.append((t, np.concatenate([[0.0], np.cumsum(moved + slow)])))
    return ways


def _cut(part: SpaceStage, times: Array, moved: Array, count: int) -> list[Stage]:
    """Slices between which the space moves equally far, each with its mean over time."""
    edges = np.interp(np.linspace(0.0, moved[-1], count + 1), moved, times)
    edges[0], edges[-1] = part.start, part.end
    edges = np.unique(edges)
    nodes, weights = np.polynomial.legendre.leggauss(_MEAN)
    psat = float(saturation_pressure(part.stage.temperature))
    slices = []
    for begin, end in zip(edges[:-1], edges[1:], strict=True):
        pressure, activity = part.at(begin + (end - begin) * 0.5 * (nodes + 1.0))
        p, a = pressure @ weights / 2.0, float(activity @ weights / 2.0)
        # rounding of the integration can leave an amount a little below zero
        p = np.maximum(p, 0.0)
        dry = float(p.sum())
        if not (-1e-6 < a < 1.0 + 1e-6 and dry > 0.0):
            raise SolverError("the gas between the packs could not be followed; please report this case")
        a = min(max(a, 0.0), 1.0)
        shares = {g: float(x) / dry for g, x in zip(GASES, p, strict=False)}
        slices.append(
            replace(part.stage, duration=float(end - begin), humidity=a, pressure=dry + a * psat, gas=shares)
        )
    return slices


def _history(found: Sequence[SpaceStage]) -> tuple[tuple[float, float, float, float], ...]:
    """What is told of the space over time, see ``OuterPack``."""
    rows = []
    whole = found[-1].end
    for part in found:
        count = max(3, round(_TOLD * (part.end - part.start) / whole))
        times = np.linspace(part.start, part.end, count)
        pressure, activity = part.at(times)
        dry = pressure.sum(axis=0)
        total = dry + activity * float(saturation_pressure(part.stage.temperature))
        columns = (times, pressure[0] / dry, activity, total)
        rows += list(zip(*(c.tolist() for c in columns), strict=True))
    return tuple(rows)

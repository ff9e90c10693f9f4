"""The storage as it goes on to the horizon, and the layers of the walls: what pictures of an answer need."""

from __future__ import annotations

from itertools import groupby

import numpy as np

from optimizer.constants import DAY, DRY_AIR, ZERO_CELSIUS
from optimizer.results import ChosenLayer, StageSpan
from optimizer.shelflife.breakdown import shown_walls
from optimizer.shelflife.package import Case, Package
from optimizer.shelflife.segments import lay_out


def storage_spans(case: Case) -> tuple[StageSpan, ...]:
    """The stages to the horizon; neighbours of one name are one span with the means over its time."""
    segments = lay_out(case.storage, case.horizon)
    outside = {gas: segments.outside_pressure(gas) for gas in DRY_AIR}
    outside["H2O"] = segments.humidity * segments.saturation
    spans = []
    for name, run in groupby(range(len(segments)), key=lambda i: segments.stage[i]):
        own = np.array(list(run))
        weight = segments.duration[own] / segments.duration[own].sum()
        spans.append(
            StageSpan(
                stage=name,
                from_days=float(segments.start[own[0]]) / DAY,
                to_days=float(segments.end[own[-1]]) / DAY,
                temperature_degC=float(weight @ segments.temperature[own]) - ZERO_CELSIUS,
                humidity_pct=100.0 * float(weight @ segments.humidity[own]),
                outside_kPa={gas: 1e-3 * float(weight @ p[own]) for gas, p in outside.items()},
            )
        )
    return tuple(spans)


def structure_of(package: Package) -> dict[str, tuple[ChosenLayer, ...]]:
    """Layers of the walls that tables show, inside to outside, by the name that they have there."""
    return {
        name: tuple(ChosenLayer(x.material.name, x.thickness * 1e6) for x in package.walls[wall].layers)
        for wall, name in shown_walls(package).items()
    }

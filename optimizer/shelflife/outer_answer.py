"""What is told of an outer pack: its own walls, and the gas between it and the packages."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DAY
from optimizer.results import OuterPackAnswer
from optimizer.shelflife.breakdown import bill_of
from optimizer.shelflife.package import Case

Array = NDArray[np.float64]


def outer_answer(case: Case) -> OuterPackAnswer | None:
    """None where packages stand alone."""
    outer = case.outer
    if outer is None:
        return None
    bill = bill_of(outer.package)
    asked = case.horizon if case.target is None else min(case.target, case.horizon)
    oxygen, humidity = (float(x[0]) for x in _between(case, np.array([asked])))
    return OuterPackAnswer(
        packages=outer.count,
        space_mL=outer.volume * 1e6,
        walls="rigid" if outer.rigid else "flexible",
        mass_g=bill.mass * 1e3,
        mass_per_package_g=bill.mass * 1e3 / outer.count,
        cost=bill.cost,
        cost_per_package=None if bill.cost is None else bill.cost / outer.count,
        currency=bill.currency,
        at_days=asked / DAY,
        oxygen_pct=oxygen,
        humidity_pct=humidity,
    )


def between_series(case: Case, times: Array) -> dict[str, Any]:
    """Oxygen [% of the dry gas] and humidity [%] between the packs at ``times`` [s]; empty without an outer
    pack."""
    if case.outer is None:
        return {}
    oxygen, humidity = _between(case, times)
    return {
        "outer_pack_oxygen_pct": tuple(oxygen.tolist()),
        "outer_pack_humidity_pct": tuple(humidity.tolist()),
    }


def _between(case: Case, times: Array) -> tuple[Array, Array]:
    """Linear between the middles of the slices."""
    width = np.array([s.duration for s in case.storage])
    middle = np.cumsum(width) - 0.5 * width
    oxygen = np.array([100.0 * (s.gas or {}).get("O2", 0.0) for s in case.storage])
    humidity = np.array([100.0 * s.humidity for s in case.storage])
    return np.interp(times, middle, oxygen), np.interp(times, middle, humidity)

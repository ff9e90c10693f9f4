"""What is told of an outer pack: its own walls, and the gas between it and the packages."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DAY
from optimizer.results import OuterPackAnswer
from optimizer.shelflife.breakdown import bill_of
from optimizer.shelflife.package import Case
from optimizer.shelflife.valves import opened, surroundings

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


def outer_warnings(case: Case) -> Iterator[str]:
    """Of the outer pack's valves, as far as the gas between would open them, and of its cost."""
    outer = case.outer
    if outer is None:
        return
    missing = bill_of(outer.package).missing
    if missing:
        yield f"Outer pack: {missing}"
    if outer.rigid and outer.package.opening_pressure:
        when, _, _, total = np.array(outer.history).T
        excess = total - surroundings(outer.storage, when)[1]
        for text in opened(outer.package.opening_pressure, when, excess, "between the packs"):
            yield f"Outer pack, {text}"


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
    """As the space was followed."""
    assert case.outer is not None
    when, oxygen, activity, _ = np.array(case.outer.history).T
    return 100.0 * np.interp(times, when, oxygen), 100.0 * np.interp(times, when, activity)

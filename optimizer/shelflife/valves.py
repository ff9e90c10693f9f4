"""One-way valves: whether the pressure inside would open them. Venting itself is not simulated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ATMOSPHERE, DAY
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import headspace_gas
from optimizer.shelflife.package import Case, Stage
from optimizer.shelflife.simulate import Trajectory
from optimizer.shelflife.words import duration

Array = NDArray[np.float64]


def opening_warnings(case: Case, run: Trajectory) -> Iterator[str]:
    """A warning for each valve that the simulated pressure of a rigid package would open, with the time at
    which that is first so and the largest overpressure."""
    valves = case.package.opening_pressure
    if valves and case.product.headspace.rigid and len(run.times):
        yield from opened(valves, run.times, overpressure(case, run), "inside")


def opened(valves: Mapping[str, float], times: Array, excess: Array, where: str) -> Iterator[str]:
    """A warning for each valve (opening pressure [Pa] by name) that an overpressure (N,) [Pa] ``where`` it is
    would open."""
    for name, opens in valves.items():
        if excess.max() > opens:
            first = float(times[int(np.argmax(excess > opens))])
            yield (
                f"{name}: the pressure {where} is up to {excess.max() / 100:.4g} mbar above that outside, "
                f"and the valve opens at {opens / 100:.4g} mbar, which is passed first after "
                f"{duration(first / DAY)}; gas that it lets out is not simulated"
            )


def overpressure(case: Case, run: Trajectory) -> Array:
    """Total pressure inside a rigid package less that outside [Pa], at the times of the run (N,).

    A gas that is not followed keeps its amount from closing; it follows the temperature. The pressures of one
    run are taken (its first sample)."""
    temperature, outside = surroundings(case.storage, run.times)
    product = case.product
    vapour = run.activity[0] * saturation_pressure(temperature)
    start = product.closing_temperature
    dry = ATMOSPHERE - float(run.activity[0, 0]) * float(saturation_pressure(start))
    total = vapour - outside
    for values in run.pressures.values():
        total = total + values[0]
    for gas, share in headspace_gas(product).items():
        if gas not in run.pressures:
            total = total + share * dry * temperature / start
    excess: Array = total
    return excess


def surroundings(storage: Sequence[Stage], times: Array) -> tuple[Array, Array]:
    """Temperature [K] and total pressure [Pa] outside at the times (N,); the last stage goes on."""
    ends = np.cumsum([s.duration for s in storage])
    stage = np.minimum(np.searchsorted(ends, times, side="right"), len(ends) - 1)
    rows = np.array([(s.temperature, s.pressure) for s in storage])[stage]
    return rows[:, 0], rows[:, 1]

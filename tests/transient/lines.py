"""The same finite volumes (``network``) given to general software: LSODA, Radau and the matrix exponential.

LSODA is the rival in the benchmark (it gets its unknowns in banded order, as a careful user would do);
Radau at a tight tolerance with a sparse Jacobian gives the reference values; where everything is linear the
matrix exponential has no error in time at all.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from optimizer.shelflife.package import Case
from transient.network import Network
from transient.states import observe, scales, slope, start, step
from transient.volumes import rows_to_arrays

Array = NDArray[np.float64]


def solve(
    case: Case,
    times: Iterable[float],
    *,
    cells: int = 20,
    rtol: float = 1e-6,
    method: str = "LSODA",
    tight: float = 1e-3,
) -> dict[str, Array]:
    """As ``volumes.solve``, by ``solve_ivp`` with ``method``, one call per segment. tight: absolute tolerance
    over rtol and the size of each unknown."""
    net = Network(case, cells)
    wanted, rows = np.array(list(times), dtype=float), []
    y = start(net)
    if len(wanted) and wanted[0] <= 0.0:
        rows.append(observe(net, 0.0, y))
        wanted = wanted[1:]
    size = scales(net)[net.order]
    settings: dict[str, Any] = {"method": method, "rtol": rtol, "atol": tight * rtol * size}
    if method == "LSODA":
        settings |= {"lband": net.band, "uband": net.band}
    else:
        settings |= {"jac_sparsity": net.pattern()}

    def rhs(time: float, x: Array) -> Array:
        state = x[net.back]
        return (net.rate(time, state) / slope(net, state))[net.order]

    for k in range(len(net.segments)):
        if k:
            y = step(net, y, k)
        begin, end = float(net.segments.start[k]), float(net.segments.end[k])
        here = wanted[wanted <= end * (1 + 1e-12)]
        stops = np.unique(np.append(np.minimum(here, end), end))
        done = solve_ivp(rhs, (begin, end), y[net.order], t_eval=stops, **settings)
        if not done.success:
            raise RuntimeError(done.message)
        for time, column in zip(done.t[: len(here)], done.y.T[: len(here)], strict=True):
            rows.append(observe(net, float(time), column[net.back]))
        wanted = wanted[len(here) :]
        y = done.y[:, -1][net.back]
        if not len(wanted):
            break
    return rows_to_arrays(rows)


def radau(case: Case, times: Iterable[float], *, cells: int = 20, rtol: float = 1e-10) -> dict[str, Array]:
    """The tight reference in time."""
    return solve(case, times, cells=cells, rtol=rtol, method="Radau", tight=1e-2)


def exponential(case: Case, times: Iterable[float], *, cells: int = 20) -> dict[str, Array]:
    """As ``solve`` without an error in time, for a case in which every law is linear: rigid, no creep, water
    inside fixed, no reaction but of first order, no humidity dependence, no capacity of a scavenger."""
    net = Network(case, cells)
    wanted, rows = list(times), []
    y = start(net)
    size = scales(net)
    for k in range(len(net.segments)):
        if k:
            y = step(net, y, k)
        # nothing anywhere, all of every scavenger there
        empty = np.zeros(net.size)
        for m, _, _ in net.scavengers:
            empty[net.at[f"s {m}"]] = 1.0
        base = net.rate(0.0, empty)
        columns = [net.rate(0.0, empty + size[i] * np.eye(1, net.size, i)[0]) - base for i in range(net.size)]
        augmented = np.zeros((net.size + 1, net.size + 1))
        weight = slope(net, y) * size
        augmented[:-1, :-1] = np.array(columns).T / weight[:, None]
        augmented[:-1, -1] = base / weight - augmented[:-1, :-1] @ (empty / size)
        time, end = float(net.segments.start[k]), float(net.segments.end[k])
        while time < end:
            at = min(wanted[0], end) if wanted else end
            y = size * (expm(augmented * (at - time)) @ np.append(y / size, 1.0))[:-1]
            time = at
            if wanted and wanted[0] <= time * (1 + 1e-12):
                rows.append(observe(net, time, y))
                wanted.pop(0)
        if not wanted:
            break
    return rows_to_arrays(rows)

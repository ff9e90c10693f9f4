"""Finite volumes in space (``network``) and TR-BDF2 in time for a whole package: the project's own check.

TR-BDF2 (Bank et al., IEEE Trans. Electron Devices 32 (1985) 1992; Hosea and Shampine, Appl. Numer. Math. 20
(1996) 21): trapezoidal rule over gamma h with gamma = 2 - sqrt 2, then BDF2; one matrix for both, L-stable,
second order, with an error estimate of third order. It works on the amounts, not on the unknowns, so moles
are kept to the tolerance of Newton's method.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from optimizer.shelflife.package import Case
from transient.network import Network
from transient.states import amount, observe, scales, slope, start, step

Array = NDArray[np.float64]
Rate = Callable[[float, Array], Array]

GAMMA = 2.0 - math.sqrt(2.0)
#: First step of a segment [s], and the least.
FIRST, LEAST = 1.0, 1e-6


def banded_jacobian(f: Callable[[Array], Array], y: Array, base: Array, band: int, typical: Array) -> Array:
    """Jacobian in the layout of ``solve_banded`` (2 band + 1, n), by differences over groups of columns."""
    n, width = len(y), 2 * band + 1
    jacobian = np.zeros((width, n))
    move = 1e-7 * np.maximum(np.abs(y), typical * 1e-2)
    rows = np.arange(n)
    for group in range(min(width, n)):
        columns = np.arange(group, n, width)
        shifted = y.copy()
        shifted[columns] += move[columns]
        change = f(shifted) - base
        # the column that a row sees in this group
        owner = group + width * np.round((rows - group) / width).astype(int)
        good = (owner >= 0) & (owner < n)
        r, c = rows[good], owner[good]
        jacobian[band + r - c, c] = change[r] / move[c]
    return jacobian


class Stepper:
    """TR-BDF2 on M(y)' = f(t, y), unknowns in banded order."""

    def __init__(self, net: Network, rtol: float) -> None:
        self.net, self.rtol, self.band = net, rtol, net.band
        self.scale = scales(net)[net.order]
        self.jacobian: Array | None = None
        self.evaluations = self.steps = 0

    def rate(self, time: float, y: Array) -> Array:
        self.evaluations += 1
        return self.net.rate(time, y[self.net.back])[self.net.order]

    def _mass(self, y: Array) -> Array:
        return amount(self.net, y[self.net.back])[self.net.order]

    def _mass_slope(self, y: Array) -> Array:
        return slope(self.net, y[self.net.back])[self.net.order]

    def _matrix(self, y: Array, d: float) -> Array:
        matrix = -d * self.jacobian
        matrix[self.band] += self._mass_slope(y)
        return matrix

    def _weight(self, y: Array) -> Array:
        return self.rtol * (np.abs(y) + 0.1 * self.scale)

    def _solve(self, matrix: Array, right: Array) -> Array:
        return solve_banded((self.band, self.band), matrix, right, check_finite=False)

    def _newton(self, time: float, y: Array, known: Array, d: float) -> Array | None:
        """y with M(y) - d f(y) = known, or None where Newton's method does not get there."""
        before = math.inf
        for _ in range(8):
            matrix = self._matrix(y, d)
            change = self._solve(matrix, known - self._mass(y) + d * self.rate(time, y))
            y = y + change
            size = float(np.max(np.abs(change) / self._weight(y)))
            if size < 1e-3:
                return y
            if not size < 2.0 * before:
                return None
            before = size
        return None

    def _fresh(self, time: float, y: Array) -> None:
        base = self.rate(time, y)
        self.jacobian = banded_jacobian(lambda x: self.rate(time, x), y, base, self.band, self.scale)

    def run(self, y: Array, begin: float, end: float, first: float = FIRST) -> Array:
        """State at ``end`` from that at ``begin`` [s]; the surroundings do not change between."""
        time, h, fresh = begin, min(first, end - begin), False
        self._fresh(time, y)
        f0 = self.rate(time, y)
        while time < end * (1 - 1e-14):
            h = min(h, end - time)
            if end - time < 1.5 * h and end - time > h:
                h = 0.5 * (end - time)
            done = self._try(time, h, y, f0)
            if done is None:
                if fresh:
                    h *= 0.25
                    if h < LEAST:
                        raise RuntimeError(f"TR-BDF2 does not converge at {time:g} s")
                self._fresh(time, y)
                fresh = True
                continue
            new, f1, error = done
            if error <= 1.0:
                time, y, f0 = time + h, new, f1
                self.steps += 1
                fresh = False
                if self.steps % 5 == 0:
                    self._fresh(time, y)
            h *= min(4.0, max(0.2, 0.85 * error ** (-1.0 / 3.0)))
        return y

    def _try(self, time: float, h: float, y: Array, f0: Array) -> tuple[Array, Array, float] | None:
        """One step: state, rates and error in units of the tolerance; None where Newton fails."""
        d, m0 = 0.5 * GAMMA * h, self._mass(y)
        middle = self._newton(time + GAMMA * h, y, m0 + d * f0, d)
        if middle is None:
            return None
        m1 = self._mass(middle)
        f1 = self.rate(time + GAMMA * h, middle)
        known = (m1 - (1 - GAMMA) ** 2 * m0) / (GAMMA * (2 - GAMMA))
        new = self._newton(time + h, middle + (middle - y) * (1 - GAMMA) / GAMMA, known, d)
        if new is None:
            return None
        f2 = self.rate(time + h, new)
        k = (-3 * GAMMA**2 + 4 * GAMMA - 2) / (12 * (2 - GAMMA))
        gap = 2 * k * h * (f0 / GAMMA - f1 / (GAMMA * (1 - GAMMA)) + f2 / (1 - GAMMA))
        error = self._solve(self._matrix(new, d), gap)
        return new, f2, max(float(np.max(np.abs(error) / self._weight(new))), 1e-8)


def rows_to_arrays(rows: Sequence[dict[str, float]]) -> dict[str, Array]:
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def solve(case: Case, times: Iterable[float], *, cells: int = 20, rtol: float = 1e-6) -> dict[str, Array]:
    """What ``states.observe`` tells at ``times`` [s] (increasing, the end of a segment belongs to it), each
    (N,), by finite volumes with ``cells`` per layer and TR-BDF2 at the relative tolerance ``rtol``."""
    net = Network(case, cells)
    wanted, rows = list(times), []
    y = start(net)
    if wanted and wanted[0] <= 0.0:
        rows.append(observe(net, 0.0, y))
        wanted = wanted[1:]
    stepper = Stepper(net, rtol)
    for k in range(len(net.segments)):
        if k:
            y = step(net, y, k)
        time, end, first = float(net.segments.start[k]), float(net.segments.end[k]), FIRST
        while wanted and wanted[0] <= end * (1 + 1e-12):
            at = min(wanted.pop(0), end)
            if at > time:
                y = stepper.run(y[net.order], time, at, first)[net.back]
                first = max(FIRST, 0.02 * (at - time))
                time = at
            rows.append(observe(net, time, y))
        if not wanted:
            break
        if end > time:
            y = stepper.run(y[net.order], time, end, first)[net.back]
    return rows_to_arrays(rows)


def extrapolated(
    solver: Callable[..., dict[str, Array]], case: Case, times: Sequence[float], cells: int, **settings: float
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Richardson's limit of a solver's answers at ``cells``, 2 and 4 times as many, for an error of even
    powers of the width, and the change that the last level made: the size of what is left is below that."""
    a, b, c = (solver(case, times, cells=n, **settings) for n in (cells, 2 * cells, 4 * cells))
    best, doubt = {}, {}
    for name in a:
        coarse, fine = b[name] + (b[name] - a[name]) / 3, c[name] + (c[name] - b[name]) / 3
        best[name] = fine + (fine - coarse) / 15
        doubt[name] = np.abs(best[name] - fine)
    return best, doubt

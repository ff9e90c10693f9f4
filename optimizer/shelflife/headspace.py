"""Small algebra behind the balances: room of a flexible headspace, elimination for up to four unknowns.

Values are floats or arrays (B,).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

Value = Any
State = list[Value]


def headspace_room(n: State, dissolving: tuple[float, ...], dry: Value, floor: float) -> Value:
    """v = V/(RT) [mol/Pa] with sum n_g / (v + h_g) = dry [Pa], not below ``floor``.

    1/sum is concave and increasing in v, so Newton's method on it comes in from below after one step.
    """
    v = sum(n) / dry
    if not any(dissolving):
        return _at_least(v, floor)
    v = _at_least(v, floor)
    for _ in range(40):
        w = [1.0 / (v + h) for h in dissolving]
        terms = [x * u for x, u in zip(n, w, strict=True)]
        f = sum(terms)
        q = sum(x * u for x, u in zip(terms, w, strict=True))
        step = f * (f / dry - 1.0) / (q + 1e-300)
        new = _at_least(v + step, floor)
        change = abs(new - v)
        done = change <= 4e-15 * new if isinstance(new, float) else bool(np.all(change <= 4e-15 * new))
        v = new
        if done:
            break
    return v


def _at_least(v: Value, floor: float) -> Value:
    if isinstance(v, float):
        return v if v > floor else floor
    return np.maximum(v, floor)


def eliminate(matrix: list[State]) -> Callable[[State], State]:
    """LU factors of a small matrix (rows of values) without pivoting; it is diagonally dominant by
    construction
    (an M-matrix), so none is needed. Returns the solver."""
    n = len(matrix)
    rows = [list(r) for r in matrix]
    for k in range(n):
        rows[k][k] = 1.0 / rows[k][k]
        for i in range(k + 1, n):
            rows[i][k] = rows[i][k] * rows[k][k]
            for j in range(k + 1, n):
                rows[i][j] = rows[i][j] - rows[i][k] * rows[k][j]

    def solve(b: State) -> State:
        x = list(b)
        for i in range(n):
            for j in range(i):
                x[i] = x[i] - rows[i][j] * x[j]
        for i in range(n - 1, -1, -1):
            for j in range(i + 1, n):
                x[i] = x[i] - rows[i][j] * x[j]
            x[i] = x[i] * rows[i][i]
        return x

    return solve

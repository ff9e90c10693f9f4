"""Conductances over the inside water activity, as a cubic spline on an equidistant grid.

The same formula serves one sample (floats) and a batch (arrays of shape (B,)).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Value = Any
#: Segments whose splines are set up together.
_BLOCK = 64


class Cells(NamedTuple):
    """The table of one sample, laid open: coefficients of the cells met so far, a row after the other, and a
    call that brings those of another; lowest activity, inverse spacing, number of cells."""

    known: dict[int, list[float]]
    fetch: Callable[[int], list[float]]
    low: float
    inverse: float
    cells: int


class Evaluate(NamedTuple):
    """values(a) -> one value per row; with_slopes(a) -> the same and their slopes over a."""

    values: Callable[[Value], list[Value]]
    with_slopes: Callable[[Value], tuple[list[Value], list[Value]]]
    cells: Cells | None = None


@lru_cache(maxsize=16)
def spline_slopes(points: int) -> Array:
    """Matrix (M, M) from values on an equidistant grid of spacing 1 to the slopes of the not-a-knot cubic
    spline.

    de Boor, A Practical Guide to Splines (1978), chapter IV.
    """
    left, right = np.zeros((points, points)), np.zeros((points, points))
    for i in range(1, points - 1):
        left[i, i - 1 : i + 2] = (1.0, 4.0, 1.0)
        right[i, i - 1], right[i, i + 1] = -3.0, 3.0
    left[0, :2] = (1.0, 2.0)
    right[0, :3] = (-2.5, 2.0, 0.5)
    left[-1, -2:] = (2.0, 1.0)
    right[-1, -3:] = (-0.5, -2.0, 2.5)
    matrix = np.linalg.solve(left, right)
    matrix.setflags(write=False)
    return np.asarray(matrix, dtype=np.float64)


def _slopes(values: Array) -> Array:
    points = values.shape[-1]
    slope: Array = (values.reshape(-1, points) @ spline_slopes(points).T).reshape(values.shape)
    return slope


def spline_cells(values: Array) -> Array:
    """Coefficients (..., M - 1, 4) of the spline through ``values`` (..., M), powers of t in 0..1 in each
    cell."""
    slope = _slopes(values)
    return _cells(values[..., :-1], values[..., 1:], slope[..., :-1], slope[..., 1:])


def _cells(y0: Array, y1: Array, m0: Array, m1: Array) -> Array:
    """Coefficients (..., 4) from the values and slopes (...) at the two ends of each cell."""
    rise = y1 - y0
    cells = np.empty((*rise.shape, 4))
    cells[..., 0], cells[..., 1] = y0, m0
    cells[..., 2], cells[..., 3] = 3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise
    return cells


class Tables:
    """Rows of every segment. grid: (M,), or None for a fixed activity; tables: (Bt, S, M) each; factors:
    (Bs, S) each, or None. The splines of one sample are set up for many segments at once."""

    def __init__(
        self, grid: Array | None, tables: Sequence[Array], factors: Sequence[Array | None], scalar: bool
    ) -> None:
        self._grid, self._tables, self._factors, self._scalar = grid, tables, factors, scalar
        self._block, self._cells = -1, np.zeros(0)
        self._scale = (0.0, 0.0, 0) if grid is None else _scale(grid)

    def at(self, segment: int) -> Evaluate:
        if self._grid is None or not self._scalar:
            tables = [t[:, segment] for t in self._tables]
            factors = [None if f is None else f[:, segment] for f in self._factors]
            if self._grid is None:
                return fixed_rows(tables, factors, self._scalar)
            return moving_rows(self._grid, tables, factors, False)
        block, k = divmod(segment, _BLOCK)
        if block != self._block:
            at = slice(block * _BLOCK, (block + 1) * _BLOCK)
            rows = [
                t[0, at] if f is None else t[0, at] * f[0, at, None]
                for t, f in zip(self._tables, self._factors, strict=True)
            ]
            self._block, self._cells = block, _by_cell(np.stack(rows, axis=1))
        return _one(self._cells[k], *self._scale)


def _scale(grid: Array) -> tuple[float, float, int]:
    """Lowest point, inverse spacing and number of cells of an equidistant grid."""
    return float(grid[0]), 1.0 / float(grid[1] - grid[0]), len(grid) - 1


def fixed_rows(tables: Sequence[Array], factors: Sequence[Array | None], scalar: bool) -> Evaluate:
    """Rows for a fixed activity. tables: (Bt, 1) each; factors: (Bs,) each, or None."""
    rows: list[Value] = []
    for table, factor in zip(tables, factors, strict=True):
        value = table[:, 0] if factor is None else table[:, 0] * factor
        rows.append(float(value[0]) if scalar or value.shape[0] == 1 else value)
    zeros: list[Value] = [0.0] * len(rows)
    return Evaluate(lambda a: rows, lambda a: (rows, zeros))


def moving_rows(
    grid: Array, tables: Sequence[Array], factors: Sequence[Array | None], scalar: bool
) -> Evaluate:
    """Rows for a moving activity. grid: (M,); tables: (Bt, M) each; factors: (Bs,) each, or None."""
    if scalar:
        stacked = np.stack([t[0] if f is None else t[0] * f[0] for t, f in zip(tables, factors, strict=True)])
        return _one(_by_cell(stacked), *_scale(grid))
    return _many([spline_cells(t) for t in tables], factors, *_scale(grid))


def _by_cell(values: Array) -> Array:
    """Spline coefficients (..., M - 1, rows * 4) of ``values`` (..., rows, M): those of a cell together."""
    y, m = values.swapaxes(-1, -2), _slopes(values).swapaxes(-1, -2)
    cells = _cells(y[..., :-1, :], y[..., 1:, :], m[..., :-1, :], m[..., 1:, :])
    return cells.reshape(*cells.shape[:-2], -1)


def _one(by_cell: Array, low: float, inverse: float, cells: int) -> Evaluate:
    """by_cell: coefficients (M - 1, rows * 4)."""
    known: dict[int, list[float]] = {}
    top = cells - 1
    starts = range(0, by_cell.shape[1], 4)

    def fetch(k: int) -> list[float]:
        # with its neighbours: the activity moves on
        first = max(k - 2, 0)
        known.update(enumerate(by_cell[first : k + 4].tolist(), first))
        return known[k]

    def values(a: Value) -> list[Value]:
        u = (a - low) * inverse
        k = int(u) if 0.0 <= u < cells else top if u > 0.0 else 0
        t = u - k
        c = known.get(k) or fetch(k)
        return [c[i] + t * (c[i + 1] + t * (c[i + 2] + t * c[i + 3])) for i in starts]

    def with_slopes(a: Value) -> tuple[list[Value], list[Value]]:
        u = (a - low) * inverse
        k = int(u) if 0.0 <= u < cells else top if u > 0.0 else 0
        t = u - k
        c = known.get(k) or fetch(k)
        return (
            [c[i] + t * (c[i + 1] + t * (c[i + 2] + t * c[i + 3])) for i in starts],
            [inverse * (c[i + 1] + t * (2.0 * c[i + 2] + t * (3.0 * c[i + 3]))) for i in starts],
        )

    return Evaluate(values, with_slopes, Cells(known, fetch, low, inverse, cells))


def _many(
    coefficients: list[Array], factors: Sequence[Array | None], low: float, inverse: float, cells: int
) -> Evaluate:
    samples = max(c.shape[0] for c in coefficients)
    rows = len(coefficients)
    # (4, rows, samples or 1, cells) laid flat, so that one gather fetches everything
    table = np.stack([np.broadcast_to(c, (samples, *c.shape[1:])) for c in coefficients])
    flat = np.ascontiguousarray(table.transpose(3, 0, 1, 2)).reshape(4 * rows, samples * cells)
    offset = np.arange(samples) * cells if samples > 1 else 0
    top = cells - 1.0
    scaled = any(f is not None for f in factors)
    width = max([samples, *(f.shape[0] for f in factors if f is not None)])
    factor = np.stack([np.broadcast_to(1.0 if f is None else f, (width,)) for f in factors])

    def find(a: Array) -> tuple[Array, Array]:
        u = (a - low) * inverse
        k = np.floor(np.minimum(np.maximum(u, 0.0), top))
        picked = flat.take(k.astype(np.intp) + offset, axis=1, mode="clip").reshape(4, rows, -1)
        return picked, u - k

    def values(a: Value) -> list[Value]:
        (c0, c1, c2, c3), t = find(a)
        v = c0 + t * (c1 + t * (c2 + t * c3))
        return list(v * factor if scaled else v)

    def with_slopes(a: Value) -> tuple[list[Value], list[Value]]:
        (c0, c1, c2, c3), t = find(a)
        v = c0 + t * (c1 + t * (c2 + t * c3))
        s = inverse * (c1 + t * (2.0 * c2 + t * (3.0 * c3)))
        return (list(v * factor), list(s * factor)) if scaled else (list(v), list(s))

    return Evaluate(values, with_slopes)

"""Best resistivities of humidity-sensitive layers in boxes of their place, for all conditions at once.

The same bounds as ``boxes``, arranged for the search: one call serves every pair (activity inside, activity
outside) that a problem knows. ``ceiling`` bounds the local resistivity anywhere between two places,
``slopes`` the local water permeability likewise, ``best_mean`` and ``mean_slopes`` the mean over a layer
whose centre and own share of the water resistance lie in a box. Values are at the laws' reference
temperatures.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box
from optimizer.physics.permeability import GasLaw, ResistivityTable, WaterLaw, resistivity_table

Array = NDArray[np.float64]
#: One place for all conditions, or one for each (P,).
Place = float | Array

#: Cells of activity in which the largest and smallest local values are known.
_CELLS = 1024
#: Strips into which the own share is cut for the bound of the mean.
_STRIPS = 32
#: Relative safety on every bound, far above rounding.
_SAFETY = 1e-9


class Extremes:
    """Largest value of several functions over any run of cells, two look-ups each (sparse table)."""

    def __init__(self, values: Array) -> None:
        """values: (functions, cells)."""
        self.levels = [values]
        width = 1
        while 2 * width <= values.shape[1]:
            last = self.levels[-1]
            self.levels.append(np.maximum(last[:, :-width], last[:, width:]))
            width *= 2

    def largest(self, first: NDArray[np.intp], last: NDArray[np.intp]) -> Array:
        """Over the cells first..last, both included (P,); shape (functions, P)."""
        level = np.log2(last - first + 1.0).astype(int)
        found = np.empty((len(self.levels[0]), len(first)))
        for k in np.unique(level):
            here = level == k
            table = self.levels[k]
            found[:, here] = np.maximum(table[:, first[here]], table[:, last[here] + 1 - (1 << int(k))])
        return found


class GasCurves:
    """Humidity-sensitive gas laws of a problem, each with its material's water law."""

    def __init__(self, laws: list[tuple[GasLaw, WaterLaw]], inside: Array, outside: Array) -> None:
        """inside, outside: (P,) activities of the conditions."""
        self.inside, self.drop = inside, inside - outside
        self.tables: list[ResistivityTable] = [resistivity_table(g, w) for g, w in laws]
        edges = np.linspace(0.0, 1.0, _CELLS + 1)
        tops = []
        self.rising: list[int] = []
        for table in self.tables:
            log_r = table.log_resistivity
            cell = np.clip((table.grid * _CELLS).astype(int), 0, _CELLS - 1)
            top = np.maximum(
                np.interp(edges[:-1], table.grid, log_r), np.interp(edges[1:], table.grid, log_r)
            )
            np.maximum.at(top, cell, log_r)
            tops.append(np.exp(top) * (1 + _SAFETY))
            change = np.diff(log_r)
            self.rising.append(1 if np.all(change >= -1e-12) else -1 if np.all(change <= 1e-12) else 0)
        self.extremes = Extremes(np.array(tops)) if tops else None
        self._means: dict[tuple[int, Box], Array] = {}

    def _cells(self, y_low: Place, y_high: Place) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        return activity_cells(self.inside, self.drop, y_low, y_high)

    def ceiling(self, y_low: Place, y_high: Place) -> Array:
        """Largest local resistivity between two places, (laws, P)."""
        assert self.extremes is not None
        return self.extremes.largest(*self._cells(y_low, y_high))

    def best_mean(self, law: int, box: Box) -> Array:
        """Largest mean resistivity of a layer in the box (P,); 0 where none fits."""
        key = (law, box)
        if key not in self._means:
            if len(self._means) > 200_000:
                self._means.clear()
            self._means[key] = self._best_mean(law, box) * (1 + _SAFETY)
        return self._means[key]

    def _best_mean(self, law: int, box: Box) -> Array:
        table = self.tables[law]
        edges = np.linspace(box.s_low, box.s_high, _STRIPS + 1)
        low, high = edges[:-1], edges[1:]
        centre_high = np.minimum(box.f_high, 1 - low / 2)
        centre_low = np.maximum(box.f_low, low / 2)
        fits = centre_high >= centre_low
        if not fits.any():
            return np.zeros(len(self.inside))
        low, high, centre_low, centre_high = low[fits], high[fits], centre_low[fits], centre_high[fits]
        inside, drop = self.inside[:, None], self.drop[:, None]
        # resistivity rises along the place where it rises with activity and activity rises outwards
        grows = self.rising[law] * np.sign(-self.drop)
        cells = self._cells(max(0.0, box.f_low - box.s_high / 2), min(1.0, box.f_high + box.s_high / 2))
        assert self.extremes is not None
        best = self.extremes.largest(*cells)[law]
        if self.rising[law]:
            up = (grows > 0)[:, None]
            first = np.where(up, centre_high - low / 2, np.maximum(0.0, centre_low - high / 2))
            second = np.where(up, np.minimum(1.0, centre_high + high / 2), centre_low + low / 2)
            mean = table.mean(inside - first * drop, inside - second * drop).max(axis=1)
            found: Array = np.where(self.drop == 0, best, np.minimum(best, mean))
            return found
        wide_1, wide_2 = np.clip(box.f_low - high / 2, 0, 1), np.clip(box.f_high + high / 2, 0, 1)
        core_1, core_2 = np.clip(box.f_high - low / 2, 0, 1), np.clip(box.f_low + low / 2, 0, 1)
        if np.any(core_2 <= core_1 + 1e-9):
            return np.asarray(best)
        psi = table.integrals(inside - wide_1 * drop)[0] - table.integrals(inside - wide_2 * drop)[0]
        phi = table.integrals(inside - core_1 * drop)[1] - table.integrals(inside - core_2 * drop)[1]
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.max(np.abs(psi) / np.abs(phi), axis=1)
        least: Array = np.where(self.drop == 0, best, np.fmin(best, ratio))
        return least


class WaterCurves:
    """Water laws whose permeability depends on activity."""

    def __init__(self, laws: list[WaterLaw], inside: Array, outside: Array) -> None:
        self.laws = laws
        self.inside, self.drop = inside, inside - outside
        edges = np.linspace(0.0, 1.0, _CELLS + 1)
        top, bottom = [], []
        for law in laws:
            most, least = law.slope_at(edges[:-1]), law.slope_at(edges[:-1])
            for knot, before, after in zip(law.activity[1:-1], law.slopes[:-1], law.slopes[1:], strict=True):
                cell = min(int(knot * _CELLS), _CELLS - 1)
                most[cell] = max(most[cell], before, after)
                least[cell] = min(least[cell], before, after)
            top.append(most)
            bottom.append(-least)
        self.top = Extremes(np.array(top)) if laws else None
        self.bottom = Extremes(np.array(bottom)) if laws else None
        self._means: dict[tuple[int, Box], tuple[Array, Array]] = {}

    def slopes(self, y_low: Place, y_high: Place) -> tuple[Array, Array]:
        """Least and largest local water permeability between two places, each (laws, P)."""
        assert self.top is not None and self.bottom is not None
        cells = activity_cells(self.inside, self.drop, y_low, y_high)
        return -self.bottom.largest(*cells) * (1 - _SAFETY), self.top.largest(*cells) * (1 + _SAFETY)

    def mean_slopes(self, law: int, box: Box) -> tuple[Array, Array]:
        """Least and largest mean water permeability of a layer in the box, each (P,)."""
        key = (law, box)
        if key not in self._means:
            if len(self._means) > 200_000:
                self._means.clear()
            self._means[key] = self._mean_slopes(law, box)
        return self._means[key]

    def _mean_slopes(self, law: int, box: Box) -> tuple[Array, Array]:
        y_low, y_high = max(0.0, box.f_low - box.s_high / 2), min(1.0, box.f_high + box.s_high / 2)
        least, most = (table[law] for table in self.slopes(y_low, y_high))
        edges = np.linspace(box.s_low, box.s_high, 9)
        low, high = edges[:-1], edges[1:]
        core_1 = np.clip(box.f_high - low / 2, 0, 1)
        core_2 = np.clip(box.f_low + low / 2, 0, 1)
        wide_1, wide_2 = np.clip(box.f_low - high / 2, 0, 1), np.clip(box.f_high + high / 2, 0, 1)
        if low[0] <= 1e-9 or np.any(core_2 <= core_1 + 1e-9) or np.any(self.drop == 0):
            return least, most
        inside, drop = self.inside[:, None], self.drop[:, None]
        water = self.laws[law]
        core = np.abs(water.potential(inside - core_1 * drop) - water.potential(inside - core_2 * drop))
        wide = np.abs(water.potential(inside - wide_1 * drop) - water.potential(inside - wide_2 * drop))
        below = (core / (high * np.abs(drop))).min(axis=1)
        above = (wide / (low * np.abs(drop))).max(axis=1)
        return np.maximum(least, below * (1 - _SAFETY)), np.minimum(most, above * (1 + _SAFETY))


def activity_cells(
    inside: Array, drop: Array, y_low: Place, y_high: Place
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last cell of activity that the places y_low..y_high reach, (P,) each."""
    a, b = inside - y_low * drop, inside - y_high * drop
    low, high = np.minimum(a, b), np.maximum(a, b)
    first = np.clip(np.floor(low * _CELLS - 1e-7), 0, _CELLS - 1).astype(np.intp)
    last = np.clip(np.floor(high * _CELLS + 1e-7), 0, _CELLS - 1).astype(np.intp)
    return first, np.maximum(first, last)

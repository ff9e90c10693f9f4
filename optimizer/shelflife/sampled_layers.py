"""What passes the walls of a batch at the activity inside of the moment, in numpy arrays (see ``laminate``).

Shapes: B samples, G gases, L layers of all walls, W walls.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.shelflife.sampled_walls import LOOKUP, NO_PASSAGE, NOTHING, TABLE, Walls

Array = NDArray[np.float64]


class Passed(NamedTuple):
    """Water flow outwards [mol/s] and its slope over the activity (B,); of each gas (G, B) conductance and
    its slope, the moments of what the walls hold, integral S w and integral S w^2, and the slope of the
    second."""

    flow: Array
    slope: Array
    conductance: Array
    steep: Array
    mean: Array
    square: Array
    bend: Array


class Layers:
    """The layers of a batch under conditions that ``lay`` sets."""

    def __init__(self, walls: Walls, lagged: bool, samples: int) -> None:
        self.walls, self.lagged, self.samples = walls, lagged, samples
        self.gases, self.count = walls.kind.shape
        self.any_live = bool(walls.live.any())
        self.width: Array = np.zeros((samples, self.count))
        self.fixed: Array = np.zeros((self.gases, samples, self.count))
        self.held, self.held_before = np.zeros_like(self.fixed), np.zeros_like(self.fixed)
        self.share = np.zeros((self.gases, self.count + len(walls.live), samples))
        self.share_before = self.share
        #: Flux of a bent wall, its slope, and the activity at which they were found.
        self.flux: list[tuple[Array, Array, Array] | None] = [None] * len(walls.live)

    def nothing(self) -> Passed:
        none = [np.zeros((self.gases, self.samples)) for _ in range(5)]
        return Passed(np.zeros(self.samples), np.zeros(self.samples), *none)

    def thermal(self) -> Sequence[Array]:
        """What ``lay`` wants picked at each sample's condition: of water, then of each gas twice."""
        return [self.walls.water, *self.walls.permeability, *self.walls.solubility]

    def lay(self, picked: Sequence[Array]) -> None:
        """New conditions; ``picked`` as ``thermal`` but (B, L) each."""
        walls, g = self.walls, self.gases
        self.held_before, self.share_before = self.held, self.share
        self.share = np.zeros_like(self.share)
        self.width = walls.thickness / (picked[0] * walls.water_scale)
        blocked = walls.kind == NOTHING
        passes = [np.where(blocked[k], 1.0, picked[1 + k] * walls.gas_scale[:, k]) for k in range(g)]
        self.fixed = np.array(
            [walls.thickness * np.where(blocked[k], NO_PASSAGE, 1.0 / passes[k]) for k in range(g)]
        ).reshape(self.fixed.shape)
        if self.lagged:
            store = np.repeat(walls.store, np.diff(walls.start), axis=1) * walls.thickness
            self.held = np.array(
                [picked[1 + g + k] * walls.solubility_scale[:, k] * store for k in range(g)]
            ).reshape(self.fixed.shape)
        self.flux = [None] * len(walls.live)

    def passed(self, a: Array, out: Array, saturation: Array, *, live: bool) -> Passed:
        """Sum over the walls that are live, or over the others; a, out: activities (B,)."""
        walls, total = self.walls, self.nothing()
        flow, slope = total.flow, total.slope
        for w in range(len(walls.live)):
            if walls.live[w] != live:
                continue
            first, last, area = int(walls.start[w]), int(walls.start[w + 1]), walls.area[:, w]
            faces = rise = np.zeros((last - first + 1, self.samples))
            if walls.profiled[w]:
                flux, slow, faces, rise = self._profile(w, first, last, a, out)
                flow += area * saturation * flux
                slope += area * saturation * slow
            for g in range(self.gases):
                r, d, mean, square, bend = self._gas(w, g, first, last, faces, rise)
                conductance = area / r
                total.conductance[g] += conductance
                total.steep[g] -= conductance * d / r
                total.mean[g] += mean
                total.square[g] += square
                total.bend[g] += bend
        return total

    def kept(self, *, opens: bool) -> tuple[tuple[Array, Array], Array, Array]:
        """(integral S w of now, the same with the S of before), integral S w^2 of now, integral of S before,
        w before and w now; each (G, B). opens: what was before does not matter, it is all of now."""
        sums = [np.zeros((self.gases, self.samples)) for _ in range(4)]
        held = self.held if opens else self.held_before
        for w in range(len(self.walls.live)):
            for i in range(self.walls.start[w], self.walls.start[w + 1]):
                a, b = self.share[:, i + w], self.share[:, i + w + 1]
                c, d = self.share_before[:, i + w], self.share_before[:, i + w + 1]
                sums[0] += self.held[:, :, i] * 0.5 * (a + b)
                sums[1] += held[:, :, i] * 0.5 * (a + b)
                sums[2] += self.held[:, :, i] * (a * a + a * b + b * b) / 3.0
                sums[3] += held[:, :, i] * ((a * c + b * d) / 3.0 + (a * d + b * c) / 6.0)
        return (sums[0], sums[1]), sums[2], sums[3]

    def _profile(
        self, w: int, first: int, last: int, a: Array, out: Array
    ) -> tuple[Array, Array, Array, Array]:
        """Flux and its slope over a (B,), activities at the faces and their slopes over a (n + 1, B)."""
        walls = self.walls
        width = self.width[:, first:last].T
        slopes = np.array([walls.slope[walls.knot_start[i]] for i in range(first, last)])
        part = width / slopes[:, None]
        total = part.sum(axis=0)
        if not walls.bent[w]:
            share = np.concatenate([np.zeros((1, self.samples)), np.cumsum(part, axis=0) / total])
            share[-1] = 1.0
            return (a - out) / total, 1.0 / total, a + (out - a) * share, 1.0 - share
        known = self.flux[w]
        # exact as long as no activity passes a knot
        flux = (a - out) / total if known is None else known[0] + known[1] * (a - known[2])
        lo, hi = np.full(self.samples, -np.inf), np.full(self.samples, np.inf)
        for _ in range(100):
            faces, p, s = self._through(first, last, a, width, flux)
            miss = faces[-1] - out
            open_ = np.abs(miss) > 1e-12
            if not open_.any():
                break
            lo, hi = np.where(miss > 0.0, flux, lo), np.where(miss > 0.0, hi, flux)
            new = flux - miss / s[-1]
            outside = ~((new > lo) & (new < hi)) & np.isfinite(lo) & np.isfinite(hi)
            if outside.any():
                new = np.where(outside, 0.5 * (lo + hi), new)
            flux = np.where(open_ & (np.abs(new - flux) > 1e-15 * np.abs(flux)), new, flux)
        slow = -p[-1] / s[-1]
        self.flux[w] = (flux, slow, a)
        rise = p + s * slow
        return flux, slow, np.clip(faces, np.minimum(a, out), np.maximum(a, out)), rise

    def _through(
        self, first: int, last: int, a: Array, width: Array, flux: Array
    ) -> tuple[Array, Array, Array]:
        """Activities at the faces for a flux, and their slopes over a and over the flux, each (n + 1, B)."""
        walls = self.walls
        faces, p, s = [a], [np.ones_like(a)], [np.zeros_like(a)]
        for i in range(first, last):
            at = slice(walls.knot_start[i], walls.knot_start[i + 1])
            knots, phi, slope = walls.knots[at], walls.phi[at], walls.slope[at]
            k = np.searchsorted(knots[1:-1], faces[-1], side="right")
            potential = phi[k] + slope[k] * (faces[-1] - knots[k]) - flux * width[i - first]
            m = np.searchsorted(phi[1:-1], potential, side="right")
            faces.append(knots[m] + (potential - phi[m]) / slope[m])
            p.append(p[-1] * slope[k] / slope[m])
            s.append((slope[k] * s[-1] - width[i - first]) / slope[m])
        return np.array(faces), np.array(p), np.array(s)

    def _gas(
        self, w: int, g: int, first: int, last: int, faces: Array, rise: Array
    ) -> tuple[Array, Array, Array, Array, Array]:
        """Resistance and its slope, the two moments and the slope of the second, each (B,)."""
        walls, n = self.walls, last - first
        resist, steep = self.fixed[g, :, first:last].T.copy(), np.zeros((n, self.samples))
        for k in range(n):
            if walls.kind[g, first + k] == TABLE:
                mean, bend = self._mean(int(walls.table[g, first + k]), faces[k : k + 2], rise[k : k + 2])
                steep[k] = resist[k] * bend
                resist[k] *= mean
        total, change = resist.sum(axis=0), steep.sum(axis=0)
        none = np.zeros(self.samples)
        if not self.lagged:
            return total, change, none, none, none
        outer = np.zeros((n + 1, self.samples))
        moves = np.zeros_like(outer)
        outer[:-1] = np.cumsum(resist[::-1], axis=0)[::-1] / total
        moves[:-1] = np.cumsum(steep[::-1], axis=0)[::-1] / total
        moves -= outer * (change / total)
        self.share[g, first + w : last + w + 1] = outer
        held, a, b = self.held[g, :, first:last].T, outer[:-1], outer[1:]
        mean = (held * 0.5 * (a + b)).sum(axis=0)
        square = (held * (a * a + a * b + b * b) / 3.0).sum(axis=0)
        bend = (held * ((2.0 * a + b) * moves[:-1] + (2.0 * b + a) * moves[1:]) / 3.0).sum(axis=0)
        return total, change, mean, square, bend

    def _mean(self, table: int, faces: Array, rise: Array) -> tuple[Array, Array]:
        """Mean 1/P between two faces at the reference temperature, and its slope over the activity inside."""
        walls = self.walls
        start, last = walls.table_start[table], walls.table_start[table + 1] - 2
        x = np.clip(faces, 0.0, 1.0)
        k = start + walls.lookup[table][np.minimum((x * LOOKUP).astype(np.int64), LOOKUP - 1)]
        while True:
            behind = (k < last) & (walls.grid[k + 1] <= x)
            if not behind.any():
                break
            k = k + behind
        d = x - walls.grid[k]
        r, steep, weight = walls.resistivity[k], walls.steepness[k], walls.weight[k]
        t = steep * d
        e = 1.0 + t * (0.5 + t * (1.0 / 6.0 + t * (1.0 / 24.0 + t * (1.0 / 120.0))))
        psi, mass, here = walls.psi[k] + weight * r * d * e, walls.mass[k] + weight * d, r * (1.0 + t * e)
        weight = np.where((faces >= 0.0) & (faces <= 1.0), weight, 0.0)
        across = mass[0] - mass[1]
        flat = (np.abs(faces[0] - faces[1]) < 1e-9) | (across == 0.0)
        inverse = 1.0 / np.where(flat, 1.0, across)
        mean = np.where(flat, 0.5 * (here[0] + here[1]), (psi[0] - psi[1]) * inverse)
        moved = weight * (here - mean) * rise
        bend = np.where(flat, 0.5 * here[0] * steep[0] * (rise[0] + rise[1]), (moved[0] - moved[1]) * inverse)
        return mean, bend

"""Shortest walks through the layers of one wall.

A walk lays materials down one by one from an anchor side. It passes through *zones* in order: open
stretches, where any number of the allowed materials may follow each other, and single places that hold
exactly one given layer. With a price for every (zone, material) the cheapest completion from every state
comes from one backward pass over the slots; it bounds every walk, and it lets all walks below a price be
listed without meeting a dead end.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Zones:
    """allowed (Z, M): materials of each zone; stretch (Z,): open stretch (any number, also none) or a single
    layer; final: materials that may come last (M,); first: that may come first."""

    allowed: Mask
    stretch: Mask
    first: Mask
    final: Mask

    @property
    def count(self) -> int:
        return len(self.stretch)

    def next(self, zone: int) -> list[int]:
        """Zones of the layer after one in ``zone`` (-1 before the first layer)."""
        found = [zone] if zone >= 0 and self.stretch[zone] else []
        for z in range(zone + 1, self.count):
            found.append(z)
            if not self.stretch[z]:
                break
        return found

    def may_end(self, zone: int) -> bool:
        return bool(np.all(self.stretch[zone + 1 :]))


class Walks:
    """Backward values of one or several prices at once: prices (S, Z, M), slots at most ``slots``.

    after[k][s, z, m]: cheapest way on from a layer m in zone z laid in slot k, its own price left out.
    """

    def __init__(self, zones: Zones, touching: Mask, slots: int, prices: Array) -> None:
        self.zones, self.touching, self.slots = zones, touching, slots
        self.prices = np.where(zones.allowed, prices, np.inf)
        s, z, m = self.prices.shape
        ends = np.array([zones.may_end(i) for i in range(z)])
        last = np.where(ends[:, None] & zones.final, 0.0, np.inf)
        closed = np.where(touching, 0.0, np.inf)
        follow = [zones.next(i) for i in range(z)]
        after = [np.broadcast_to(last, (s, z, m))]
        for _ in range(slots - 1):
            total = self.prices + after[-1]
            best = np.stack([total[:, f].min(axis=1, initial=np.inf) for f in follow], axis=1)
            on = (best[:, :, None, :] + closed).min(axis=-1)
            after.append(np.minimum(last, on))
        self.after = after[::-1]
        start = zones.next(-1)
        opening = np.full((s, z, m), np.inf)
        opening[:, start] = np.where(zones.first, (self.prices + self.after[0])[:, start], np.inf)
        self.opening = opening
        self.best: Array = opening.min(axis=(1, 2))

    def cheapest(self, which: int = 0) -> list[tuple[int, int]] | None:
        """States (zone, material) of one cheapest walk under price ``which``; None if there is no walk."""
        if not np.isfinite(self.best[which]):
            return None
        z, m = np.unravel_index(int(np.argmin(self.opening[which])), self.opening[which].shape)
        states = [(int(z), int(m))]
        for k in range(self.slots - 1):
            here, last = states[-1]
            ends = self.zones.may_end(here) and self.zones.final[last]
            total = self.prices[which] + self.after[k + 1][which]
            best, following = np.inf, None
            for zone in self.zones.next(here):
                row = np.where(self.touching[last], total[zone], np.inf)
                b = int(np.argmin(row))
                if row[b] < best:
                    best, following = float(row[b]), (zone, b)
            if following is None or (ends and best >= 0.0):
                break
            states.append(following)
        return states

    def below(
        self, limits: Array, most: int, resins: int | None = None
    ) -> list[list[tuple[int, int]]] | None:
        """Every walk whose price is below ``limits`` (S,) for every one of the prices; None beyond
        ``most``."""
        found: list[list[tuple[int, int]]] = []
        for walk in self._grow(limits, resins):
            found.append(walk)
            if len(found) > most:
                return None
        return found

    def _grow(self, limits: Array, resins: int | None) -> Iterator[list[tuple[int, int]]]:
        zones, touching = self.zones, self.touching
        rests = [self.prices + after for after in self.after]
        follow = {z: zones.next(z) for z in range(-1, zones.count)}
        # (slot, zone, material, price before this layer, walk so far)
        open_: list[tuple[int, int, int, Array, list[tuple[int, int]]]] = []
        fits = np.all(self.opening < limits[:, None, None], axis=0)
        for z, m in np.argwhere(fits):
            open_.append((0, int(z), int(m), np.zeros(len(limits)), []))
        while open_:
            k, z, m, before, walk = open_.pop()
            spent = before + self.prices[:, z, m]
            here = [*walk, (z, m)]
            if resins is not None and len({x for _, x in here}) > resins:
                continue
            if zones.may_end(z) and zones.final[m] and np.all(spent < limits):
                yield here
            if k + 1 >= self.slots:
                continue
            rest = rests[k + 1]
            for zone in follow[z]:
                fits = touching[m] & np.all(spent[:, None] + rest[:, zone] < limits[:, None], axis=0)
                for b in np.flatnonzero(fits):
                    open_.append((k + 1, zone, int(b), spent, here))

"""Many listed sequences of one node at once: lower bounds from multipliers that other sequences left behind.

Any nonnegative multipliers of a node's rows give, for every walk listed in it, the Lagrangian bound

    constant + sum over its layers of  min over the gauge of (price - multipliers * coefficients) * thickness

which is a table look-up and a sum. The multipliers come from the linear programmes of other sequences.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box
from optimizer.design.polish import Sequences
from optimizer.design.relax import Relaxation
from optimizer.design.rows import Multipliers, PlaceRow, Walk
from optimizer.design.sequence import SequenceBound

Array = NDArray[np.float64]

#: Bounds are lowered by this share, far above rounding.
_SAFETY = 1e-9


class Screen:
    """Choices of one walk per wall, and their bounds in the node."""

    def __init__(self, node: Relaxation, chosen: Sequence[Sequence[Walk]]) -> None:
        self.node = node
        frames = node.frames
        sizes = [z.count * f.count for z, f in zip(node.zones, frames, strict=True)]
        offset = np.cumsum([0, *sizes])
        self.blank = int(offset[-1])
        width = sum(f.slots for f in frames)
        self.sequences: list[Sequences] = [
            tuple(f.sequence(walk) for f, walk in zip(frames, walks, strict=True)) for walks in chosen
        ]
        self._walks = {sequences: walks for sequences, walks in zip(self.sequences, chosen, strict=True)}
        self.columns = np.full((len(chosen), width), self.blank)
        for k, walks in enumerate(chosen):
            flat = [int(offset[w]) + z * frames[w].count + m for w, walk in enumerate(walks) for z, m in walk]
            self.columns[k, : len(flat)] = flat
        self.bounds: Array = np.full(len(chosen), -np.inf)

    def learn(self, u: Multipliers) -> None:
        """Raise the bounds with one more set of multipliers."""
        prices, constant = self.node.reduced(u)
        flat = np.concatenate([*(p.ravel() for p in prices), [0.0]])
        values = flat[self.columns].sum(axis=1) + constant
        size = np.abs(flat)[self.columns].sum(axis=1) + abs(constant)
        self.bounds = np.maximum(self.bounds, values - _SAFETY * size)

    def learn_from(self, work: SequenceBound) -> None:
        """The multipliers of one sequence's last linear programme."""
        if work.multipliers is None:
            return
        cuts, rule_dual, cut_dual, place_dual = work.multipliers
        node = self.node
        numbers: dict[int, float] = {}
        for (demand, share), value in zip(cuts, cut_dual, strict=True):
            if value > 0:
                q = node.tangents.add(demand, share, 1e-3)
                numbers[q] = numbers.get(q, 0.0) + float(value)
        places: dict[PlaceRow, float] = {}
        keys = {place: key for key, place in self._key_layers(work.sequences).items()}
        for ((layer, c), kind), value in place_dual.items():
            if layer in keys:
                w, j = keys[layer]
                frame = node.frames[w]
                k = frame.classes.index(c)
                # the programme of the sequence measures water in its own units
                places[w, j, k, kind] = value * float(frame.unit[k])
        self.learn(
            Multipliers(
                tuple(numbers.items()),
                node.rules.multipliers(work.sequences, rule_dual),
                tuple(places.items()),
            )
        )

    def _key_layers(self, sequences: Sequences) -> dict[tuple[int, int], int]:
        """Layer (counted over all walls) of every single of the node, by (wall, number of the single)."""
        found: dict[tuple[int, int], int] = {}
        first = 0
        for w, (frame, walk) in enumerate(zip(self.node.frames, self._walks[sequences], strict=True)):
            layers = len(sequences[w])
            if not frame.wall.symmetric:
                for k, (z, _) in enumerate(walk):
                    if z % 2 == 1:
                        found[w, z // 2] = first + (layers - 1 - k if frame.inward else k)
            first += layers
        return found

    def boxes(self, sequences: Sequences) -> dict[tuple[int, int], Box]:
        """The node's boxes by layer (counted over all walls) and position class."""
        found: dict[tuple[int, int], Box] = {}
        for (w, j), layer in self._key_layers(sequences).items():
            for c in self.node.frames[w].classes:
                box = self.node.boxes.get((w, j, c))
                if box is not None:
                    found[layer, c] = box
        return found

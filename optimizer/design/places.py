"""Where the humidity-sensitive layers of a structure lie, and the boxes that one node of the search uses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box
from optimizer.design.exact import ExactModel
from optimizer.design.layout import PositionClass

Array = NDArray[np.float64]
BoxKey = tuple[int, int, int]  # wall, rank, position class

#: First edges of the place f for thin layers: finer towards the outside, where dry barriers sit.
_START = (0.0, 0.25, 0.5, 0.75, 0.9, 0.97, 1.0)
#: Own share of the water resistance above which a layer counts as thick in the first boxes.
_THICK = 0.05
#: Offsets at which a place is boxed in when it is refined.
_FINE = (-0.01, 0.0, 0.004, 0.03)
#: Narrowest box worth making, and the most boxes of one place, so that the bound model stays small.
_NARROW, _MOST = 2e-3, 18


def places(
    exact: ExactModel,
    classes: Sequence[PositionClass],
    ranks: Sequence[int],
    sequences: Sequence[Sequence[int]],
    thickness: Array,
) -> list[tuple[BoxKey, float, float]]:
    """(key, f, s) of every sensitive layer in every position class, in the exact model; thickness (n,)
    [m]."""
    found = []
    parts = exact.split(sequences, thickness[None, :])
    for c, cls in enumerate(classes):
        w = cls.wall
        if ranks[w] == 0:
            continue
        profile = exact.profile(w, sequences[w], parts[w])
        column = exact.used[w].index.index(cls.environments[0])
        faces = profile.faces[0, column]
        share = (faces[0] - faces) / (faces[0] - faces[-1])
        rank = 0
        for i, m in enumerate(sequences[w]):
            if exact.problem.sensitive[m]:
                place = 0.5 * (share[i] + share[i + 1])
                found.append(((w, rank, c), float(place), float(share[i + 1] - share[i])))
                rank += 1
    return found


class BoxSet:
    """Boxes that tile the square of (f, s) for every place of one node."""

    def __init__(self, classes: Sequence[PositionClass], ranks: Sequence[int]) -> None:
        self.outward = [1.0 if c.reference.inside >= c.reference.outside else -1.0 for c in classes]
        thin = [Box(a, b, 0.0, _THICK) for a, b in zip(_START, _START[1:], strict=False)]
        thick = [Box(0.0, 0.5, _THICK, 1.0), Box(0.5, 1.0, _THICK, 1.0)]
        self.table: dict[BoxKey, list[Box]] = {
            (cls.wall, j, c): [*thin, *thick] for c, cls in enumerate(classes) for j in range(ranks[cls.wall])
        }

    def refine(self, found: Sequence[tuple[BoxKey, float, float]]) -> bool:
        """Cut the boxes that hold the given places; False when nothing could be cut any more."""
        changed = False
        for key, f, s in found:
            boxes = self.table[key]
            if len(boxes) >= _MOST:
                continue
            index = next((i for i, b in enumerate(boxes) if b.holds(f, s)), None)
            if index is None:
                continue
            box = boxes.pop(index)
            cut = max(2.0 * s, 1e-4)
            if box.s_high > 2.0 * cut and box.s_low < cut:
                boxes.append(replace(box, s_low=cut))
                box = replace(box, s_high=cut)
                changed = True
            edges = sorted({f + self.outward[key[2]] * o for o in _FINE})
            for edge in edges:
                if box.f_low + _NARROW < edge < box.f_high - _NARROW:
                    boxes.append(replace(box, f_high=edge))
                    box = replace(box, f_low=edge)
                    changed = True
            boxes.append(box)
            boxes[:] = [b for b in boxes if b.possible]
        return changed

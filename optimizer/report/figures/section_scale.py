"""How high each layer of a section drawing is: to scale where that can be seen, else wider, or cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from optimizer.report.figures.ticks import sound

#: Least height of a layer that can be seen, height of one that is cut and of the drawing [px].
LEAST, CUT = 6.0, 64.0
#: What is as bad as drawing one layer wider: cutting 1 / 0.9 layers.
_COST_OF_CUT = 0.9
#: Highest that a layer to scale is beside one that is cut, which has to look thicker.
_BESIDE_CUT = 0.85 * CUT

#: Thinner than that is no thickness.
_NOTHING = 1e-100

Kind = Literal["scale", "wider", "cut"]


@dataclass(frozen=True)
class Layout:
    """heights [px] and how each was drawn; scale: px for a unit of thickness of those to scale, None where
    there are none."""

    heights: tuple[float, ...]
    kinds: tuple[Kind, ...]
    scale: float | None


def layout(thickness: Sequence[float], height: float) -> Layout:
    """Layers from inside to outside in a drawing of about that height [px]. Thick layers are cut where that
    spares more thin ones from being drawn wider, and where two layers at least stay to scale."""
    known = [x if sound([x]) and x > _NOTHING else 0.0 for x in thickness]
    best = _with_cuts(known, frozenset(), height)
    for least in sorted({x for x in known if x > 0.0}, reverse=True):
        cut = frozenset(k for k, x in enumerate(known) if x >= least)
        tried = _with_cuts(known, cut, height)
        if tried.kinds.count("scale") >= 2 and _honest(known, tried) and _cost(tried) < _cost(best) - 1e-9:
            best = tried
    return best


def _cost(found: Layout) -> float:
    return found.kinds.count("wider") + _COST_OF_CUT * found.kinds.count("cut")


def _honest(known: Sequence[float], found: Layout) -> bool:
    """Whether what is cut would really be higher than it is drawn."""
    scale = found.scale or 0.0
    return all(scale * x > CUT for x, kind in zip(known, found.kinds, strict=True) if kind == "cut")


def _with_cuts(known: Sequence[float], cut: frozenset[int], height: float) -> Layout:
    """The largest scale at which all fits; layers too thin at it are drawn wider and count no more."""
    whole = {k for k, x in enumerate(known) if x > 0.0 and k not in cut}
    while whole:
        wider = len(known) - len(whole) - len(cut)
        room = height - CUT * len(cut) - LEAST * wider
        scale = max(room, LEAST * len(whole)) / sum(known[k] for k in whole)
        if cut:
            scale = min(scale, _BESIDE_CUT / max(known[k] for k in whole))
        thin = {k for k in whole if scale * known[k] < LEAST}
        if not thin:
            break
        whole -= thin
    kinds: list[Kind] = ["cut" if k in cut else "scale" if k in whole else "wider" for k in range(len(known))]
    heights = [
        CUT if kind == "cut" else LEAST if kind == "wider" else scale * x
        for kind, x in zip(kinds, known, strict=True)
    ]
    return Layout(tuple(heights), tuple(kinds), scale if whole else None)


def bar_length(scale: float, longest: float) -> float:
    """Length of a scale bar in units of thickness: the longest 1, 2 or 5 times a power of ten that is at most
    ``longest`` px."""
    most = longest / scale
    power = 10.0 ** math.floor(math.log10(most) + 1e-12)
    return max(x * power for x in (1.0, 2.0, 5.0) if x * power <= most * (1 + 1e-9))

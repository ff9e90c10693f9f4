"""Local thickness of every part and layer, of a changed package against its baseline."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import SequenceMatcher

from optimizer.results import LayerThickness, PartThickness
from optimizer.shelflife.package import Case, Layer, WallPart


def thickness_of_parts(baseline: Case, case: Case) -> tuple[PartThickness, ...]:
    """One row for each part of a wall in either case, those of ``case`` first."""
    old, new = _wall_parts(baseline), _wall_parts(case)
    return tuple(_row(name, old.get(name), new.get(name)) for name in dict.fromkeys([*new, *old]))


class _Local:
    """Layers of a part with their mean thickness over its area [um], and the part's thinnest place."""

    def __init__(self, part: WallPart, layers: tuple[Layer, ...]) -> None:
        nominal = sum(x.thickness for x in layers)
        found = part.unevenness
        mean = part.mean_ratio(nominal) if found is None else found.mean
        self.names = [x.material.name for x in layers]
        self.layers = [1e6 * mean * x.thickness for x in layers]
        self.total = 1e6 * mean * nominal
        # patches stand for classes of thickness: the thinnest place is thinner than the thinnest of them
        found = part.unevenness
        thinnest = min(p.ratio for p in part.patches) if found is None else found.least
        self.least = 1e6 * thinnest * nominal


def _wall_parts(case: Case) -> dict[str, _Local]:
    walls = case.package.walls
    parts = [p for p in case.package.parts if isinstance(p, WallPart) and not p.seal]
    return {p.name: _Local(p, walls[p.wall].layers) for p in parts}


def _row(name: str, old: _Local | None, new: _Local | None) -> PartThickness:
    before, now = (None if x is None else x.total for x in (old, new))
    thin, thinner = (None if x is None else x.least for x in (old, new))
    return PartThickness(name, before, now, _change(before, now), thin, thinner, tuple(_layers(old, new)))


def _layers(old: _Local | None, new: _Local | None) -> Iterator[LayerThickness]:
    """Layers that follow each other in both are the same; the others were added or removed."""
    a, b = ([] if x is None else list(zip(x.names, x.layers, strict=True)) for x in (old, new))
    match = SequenceMatcher(None, [n for n, _ in a], [n for n, _ in b], autojunk=False)
    for _, i, i_end, j, j_end in match.get_opcodes():
        same = [n for n, _ in a[i:i_end]] == [n for n, _ in b[j:j_end]]
        if same:
            for (material, before), (_, now) in zip(a[i:i_end], b[j:j_end], strict=True):
                yield LayerThickness(material, before, now, _change(before, now))
            continue
        yield from (LayerThickness(n, before, None, None) for n, before in a[i:i_end])
        yield from (LayerThickness(n, None, now, None) for n, now in b[j:j_end])


def _change(before: float | None, now: float | None) -> float | None:
    return None if before is None or now is None else 100.0 * (now / before - 1.0)

"""What differs between two cases in seals, valves and labels."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.results import Change
from optimizer.shelflife.differences import ABSENT, differs, number, percent, um
from optimizer.shelflife.package import Case, Cover, WallPart

#: A label given by its area covers another share of a part whose wall has another thickness, by this at most.
_SHARE = 5e-3


def closures(baseline: Case, case: Case) -> Iterator[Change]:
    """Seals by part, opening pressures of valves, and labels."""
    old, new = seals(baseline), seals(case)
    for name in dict.fromkeys([*old, *new]):
        a, b = _seal(old.get(name), baseline), _seal(new.get(name), case)
        if a != b:
            yield Change(f"part {name}", a, b)
    before, now = baseline.package.opening_pressure, case.package.opening_pressure
    for name in dict.fromkeys([*before, *now]):
        what = f"opening pressure of {name}"
        yield from number(what, before.get(name), now.get(name), lambda x: f"{x / 100:.4g} mbar")
    first = {cover.name: cover for cover in baseline.package.covers}
    second = {cover.name: cover for cover in case.package.covers}
    for name in dict.fromkeys([*first, *second]):
        yield from _label(name, first.get(name), second.get(name))


def seals(case: Case) -> dict[str, WallPart]:
    """Parts that are seals, by name."""
    return {p.name: p for p in case.package.parts if isinstance(p, WallPart) and p.seal}


def _seal(part: WallPart | None, case: Case) -> str:
    """Kind, material, and what gas goes through: area and way."""
    if part is None:
        return ABSENT
    wall = case.package.walls[part.wall]
    area, way = part.area(wall.thickness) * 1e6, wall.thickness * 1e3
    return f"{part.seal} of {wall.layers[0].material.name}, {area:.4g} mm2 over {way:.4g} mm"


def _label(name: str, a: Cover | None, b: Cover | None) -> Iterator[Change]:
    if a is None or b is None or a.part != b.part or _stack(a) != _stack(b):
        yield Change(f"label {name}", _words(a), _words(b))
    elif differs(a.share, b.share, _SHARE):
        yield from number(f"label {name}, share of {b.part}", a.share, b.share, percent)


def _words(cover: Cover | None) -> str:
    return ABSENT if cover is None else f"{_stack(cover)} on {percent(cover.share)} of {cover.part}"


def _stack(cover: Cover) -> str:
    return " / ".join(f"{layer.material.name} {um(layer.thickness)}" for layer in cover.layers)

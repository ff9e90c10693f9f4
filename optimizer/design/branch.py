"""How to split a node of the search: by its barriers, by materials, or at the place that its bound is most
optimistic about."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box
from optimizer.design.frame import WHOLE, Boxes, Key, WallFrame, Zoning
from optimizer.design.relax import Relaxation, Solved
from optimizer.design.rows import Multipliers

Array = NDArray[np.float64]
Shift = Callable[[Multipliers], Multipliers]
#: Zonings and boxes of a child, how multipliers carry over, and 1 where the zonings are the parent's.
Option = tuple[tuple[Zoning, ...], Boxes, Shift, int]

#: A material counts as chosen in part when its walks weigh more than this and less than the rest.
_PART = 0.02
#: Boxes are not split below this width.
_NARROW = 1e-3

#: Boxes are widened by this much after linking, far above rounding.
_GUARD = 1e-9


def place_scores(node: Relaxation, solved: Solved) -> dict[tuple[Key, str], tuple[float, float]]:
    """For every key's box (key, ``f`` or ``s``): what its width is worth in the objective, and where the
    programme's point lies in it."""
    assert solved.multipliers is not None
    found: dict[tuple[Key, str], tuple[float, float]] = {}
    for w, (frame, pattern) in enumerate(zip(node.frames, node.zonings, strict=True)):
        if not pattern.singles or not frame.classes:
            continue
        worth = _worth(node, w, solved.multipliers)
        amount = _amounts(solved, w, pattern.zones, frame.count)
        low, high = frame.waters(pattern, node.boxes)
        middle = 0.5 * (low + high)
        water = middle * amount
        total = water.sum(axis=(1, 2))
        loose = (high - low) * amount
        term_class = frame.class_of[frame.environment]
        for j in range(pattern.singles):
            z = 2 * j + 1
            used = [m for m in pattern.members[z] if amount[z, m] > 0]
            inner = frame.inside_of(pattern, j)
            for c in range(len(frame.classes)):
                if total[c] <= 0:
                    continue
                f = float((inner[:, None] * water[c]).sum() / total[c])
                s = float(water[c, z].sum() / total[c])
                box = frame.key_box(node.boxes, j, c)
                f, s = min(max(f, box.f_low), box.f_high), min(max(s, box.s_low), box.s_high)
                terms = term_class == c
                key = (w, j, frame.classes[c])
                gain_f = gain_s = 0.0
                narrow = replace(box, s_high=max(box.s_low, min(box.s_high, s)))
                for m in used:
                    if not frame.moves[:, m].any():
                        continue
                    now = node.table[w][terms, z, m]
                    point = _key_at(frame, m, replace(box, f_low=f, f_high=f), c)[terms]
                    gain_f += float(worth[terms] @ np.maximum(now - point, 0.0)) * amount[z, m]
                    if narrow.possible and box.s_high > s:
                        thin = _key_at(frame, m, narrow, c)[terms]
                        gain_s += float(worth[terms] @ np.maximum(now - thin, 0.0)) * amount[z, m]
                gain_f += _stretch_gain(node, w, pattern, j, c, f, terms, worth, amount)
                gain_f += 0.05 * float(loose[c].sum() / total[c]) * abs(solved.value)
                found[key, "f"] = (gain_f, f)
                found[key, "s"] = (gain_s, s)
    return found


def loose_layers(node: Relaxation, solved: Solved) -> dict[tuple[int, int, int], float]:
    """For every humidity-sensitive material that the programme uses in a stretch (wall, zone, material): what
    not knowing its place is worth in the objective."""
    assert solved.multipliers is not None
    found: dict[tuple[int, int, int], float] = {}
    for w, (frame, zoning) in enumerate(zip(node.frames, node.zonings, strict=True)):
        if frame.wall.symmetric or not frame.classes:
            continue
        used = [
            (z, m, x)
            for (v, z, m), x in solved.thickness.items()
            if v == w and z % 2 == 0 and x > 0 and frame.moves[:, m].any()
        ]
        if not used:
            continue
        worth = _worth(node, w, solved.multipliers)
        amount = _amounts(solved, w, zoning.zones, frame.count)
        low, high = frame.waters(zoning, node.boxes)
        water = (0.5 * (low + high) * amount).sum(axis=2)
        total = np.maximum(water.sum(axis=1), 1e-300)
        for z, m, x in used:
            before = water[:, :z].sum(axis=1) / total
            own = water[:, z] / total
            middle = before + 0.5 * own
            place = 1.0 - middle if frame.inward else middle
            point = frame.stretch_resistivity(place, place)
            gap = np.maximum(node.table[w][:, z, m] - point[:, m], 0.0)
            found[w, z, m] = float(worth @ gap) * x
    return found


def _amounts(solved: Solved, w: int, zones: int, materials: int) -> Array:
    """Thickness [um] of every material in every zone of wall ``w`` in the programme (zones, materials)."""
    amount = np.zeros((zones, materials))
    for (wall, z, m), x in solved.thickness.items():
        if wall == w:
            amount[z, m] += x
    return amount


def _worth(node: Relaxation, w: int, u: Multipliers) -> Array:
    """Objective per unit of resistance of every term of the wall."""
    frame = node.frames[w]
    total = np.zeros(len(frame.terms))
    for q, value in u.tangents:
        total += value * node.tangents.rows[q, frame.terms]
    return total


def _key_at(frame: WallFrame, m: int, box: Box, c: int) -> Array:
    boxes = [box if i == c else WHOLE for i in range(len(frame.classes))]
    return frame.key_resistivity(m, boxes)


def _stretch_gain(
    node: Relaxation,
    w: int,
    pattern: Zoning,
    j: int,
    c: int,
    f: float,
    terms: NDArray[np.bool_],
    worth: Array,
    amount: Array,
) -> float:
    """What the stretches beside key ``j`` gain from not knowing its place in class ``c``."""
    frame = node.frames[w]
    key = (w, j, frame.classes[c])
    pinned = {**node.boxes, key: replace(frame.key_box(node.boxes, j, c), f_low=f, f_high=f)}
    gain = 0.0
    for z in (2 * j, 2 * j + 2):
        used = np.flatnonzero(amount[z] > 0)
        if not len(used) or not frame.moves[:, used].any():
            continue
        table = frame.stretch_resistivity(*frame.edges(pattern, pinned, z // 2))
        gap = np.maximum(node.table[w][terms][:, z, used] - table[terms][:, used], 0.0)
        gain += float(worth[terms] @ gap @ amount[z, used])
    return gain


def linked_boxes(node: Relaxation, boxes: dict[Key, Box], key: Key) -> dict[Key, Box] | None:
    """Boxes of the same layer in the other classes, as far as one box tells of the others; None if empty.

    Water resistivities of two temperatures differ by a factor of the material: with the factors of all
    materials on the inner side between r1 and r2, and on the outer side between r3 and r4, the ratio
    inner / outer changes by a factor between r1 / r4 and r2 / r3.
    """
    w, j, chosen = key
    frame, pattern = node.frames[w], node.zonings[w]
    c = frame.classes.index(chosen)
    low, high = frame.waters(pattern, boxes)
    inner = frame.inside_of(pattern, j)
    allowed = node.zones[w].allowed
    if np.any(frame.blocking & allowed.any(axis=0)):
        return boxes
    here = boxes[key]
    found = dict(boxes)
    for k in range(len(frame.classes)):
        if k == c:
            continue
        least, most = low[k] / np.maximum(high[c], 1e-300), high[k] / np.maximum(low[c], 1e-300)
        sides = []
        for side in (inner > 0, inner < 1):
            mask = allowed & side[:, None]
            sides.append((least[mask].min(), most[mask].max()))
        (in_low, in_high), (out_low, out_high) = sides
        other = (w, j, frame.classes[k])
        box = found.get(other, WHOLE)
        f_low = max(box.f_low, _moved(here.f_low, in_low / out_high) - _GUARD)
        f_high = min(box.f_high, _moved(here.f_high, in_high / out_low) + _GUARD)
        if f_low > f_high:
            return None
        found[other] = replace(box, f_low=float(f_low), f_high=float(f_high))
    return found


def _moved(f: float, factor: float) -> float:
    """Place whose ratio inside / outside is ``factor`` times that of ``f``."""
    return f * factor / (f * factor + 1.0 - f) if 0.0 < f < 1.0 else f


def first_open(zonings: Sequence[Zoning], barriers: frozenset[int]) -> tuple[int, int] | None:
    """(wall, zone) of the first stretch that may hold barriers."""
    for w, zoning in enumerate(zonings):
        for z in range(0, zoning.zones, 2):
            if not barriers.isdisjoint(zoning.members[z]):
                return w, z
    return None


def by_barrier(
    zonings: tuple[Zoning, ...], boxes: Boxes, at: tuple[int, int], groups: Sequence[Sequence[int]]
) -> list[Option]:
    """The first barrier along a stretch: none, or one of a group, with everything possible after it."""
    w, z = at
    members = zonings[w].members
    here = set(members[z])
    present = [tuple(m for m in group if m in here) for group in groups]
    barriers = {m for group in present for m in group}
    plain = tuple(m for m in members[z] if m not in barriers)
    options: list[Option] = [(_with(zonings, w, (*members[:z], plain, *members[z + 1 :])), boxes, _same, 0)]
    for group in present:
        if group:
            options.append(_inserted(zonings, boxes, w, z, plain, group))
    return options


def by_material(
    zonings: tuple[Zoning, ...], boxes: Boxes, solved: Solved, at: tuple[int, int, int] | None = None
) -> list[Option]:
    """Split at a material (wall, zone, material), or at the one whose presence the programme leaves open
    most: by the material of a single, or by the first such layer in a stretch. Empty where every choice is
    made."""
    best: tuple[int, int, int] | None = None
    worst = 0.5 - _PART
    for w, walks in enumerate(solved.walks):
        share: dict[tuple[int, int], float] = {}
        for walk, weight in walks:
            for state in set(walk):
                share[state] = share.get(state, 0.0) + weight
        for (z, m), value in share.items():
            if len(zonings[w].members[z]) > 1 and abs(value - 0.5) < worst:
                best, worst = (w, z, m), abs(value - 0.5)
    best = at or best
    if best is None:
        return []
    w, z, m = best
    members = zonings[w].members
    rest = tuple(x for x in members[z] if x != m)
    without = (_with(zonings, w, (*members[:z], rest, *members[z + 1 :])), boxes, _same, 0)
    if z % 2:
        return [(_with(zonings, w, (*members[:z], (m,), *members[z + 1 :])), boxes, _same, 0), without]
    return [_inserted(zonings, boxes, w, z, rest, (m,)), without]


def _with(zonings: tuple[Zoning, ...], w: int, members: tuple[tuple[int, ...], ...]) -> tuple[Zoning, ...]:
    return (*zonings[:w], Zoning(members), *zonings[w + 1 :])


def _same(u: Multipliers) -> Multipliers:
    return u


def _inserted(
    zonings: tuple[Zoning, ...],
    boxes: Boxes,
    w: int,
    z: int,
    before: tuple[int, ...],
    single: tuple[int, ...],
) -> Option:
    """A stretch cut by its first layer out of ``single``; singles behind it are counted on by one."""
    members = zonings[w].members
    new = _with(zonings, w, (*members[:z], before, single, members[z], *members[z + 1 :]))
    number = z // 2

    def moved(wall: int, j: int) -> int:
        return j + 1 if wall == w and j >= number else j

    def shift(u: Multipliers) -> Multipliers:
        places = tuple(((v, moved(v, j), c, kind), value) for (v, j, c, kind), value in u.places)
        return replace(u, places=places)

    return new, {(v, moved(v, j), c): box for (v, j, c), box in boxes.items()}, shift, 0


def halves(
    relaxation: Relaxation, zonings: tuple[Zoning, ...], boxes: Boxes, key: Key, kind: str, at: float
) -> list[Option]:
    """One box cut in two near the programme's point."""
    box = boxes.get(key, WHOLE)
    low, high = (box.f_low, box.f_high) if kind == "f" else (box.s_low, box.s_high)
    if high - low < _NARROW:
        return []
    if kind == "s":
        cut = 0.5 * (low + high) if low > 0 else max(low + 0.1 * (high - low), min(2.0 * at, 0.5 * high))
        parts = [replace(box, s_high=cut), replace(box, s_low=cut)]
    else:
        cut = 0.5 * (0.5 * (low + high) + at)
        cut = min(max(cut, low + 0.2 * (high - low)), high - 0.2 * (high - low))
        parts = [replace(box, f_high=cut), replace(box, f_low=cut)]
    options: list[Option] = []
    for part in parts:
        linked = linked_boxes(relaxation, {**boxes, key: part}, key) if part.possible else None
        if linked is not None:
            options.append((zonings, linked, _same, 1))
    return options

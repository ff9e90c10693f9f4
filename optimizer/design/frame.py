"""What the search knows about one wall: resistivities of every material in every zone of a pattern.

A pattern lays out a wall in zones, in the order of a walk from its anchor side, the drier one. A zone is a
*stretch* (any number of layers, also none) or a *single* layer, each of a set of materials; stretches and
singles alternate. Each single has a box of its place for every position class; a stretch lies between the
boxes of its neighbours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.design.boxes import Box, depends_on_place
from optimizer.design.curves import GasCurves, WaterCurves
from optimizer.design.layout import UM, PositionClass
from optimizer.design.problem import Problem
from optimizer.design.tables import Tables
from optimizer.design.walk import Zones

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Key = tuple[int, int, int]  # wall, number of the single along the walk, position class
Boxes = Mapping[Key, Box]

WHOLE = Box(0.0, 1.0)
#: A layer that blocks water counts with this many times the largest other water resistivity.
_BLOCK = 1e7


@dataclass(frozen=True)
class Zoning:
    """Materials allowed in every zone of a wall in walking order: stretch, single, stretch, ..., stretch."""

    members: tuple[tuple[int, ...], ...]

    @property
    def zones(self) -> int:
        return len(self.members)

    @property
    def singles(self) -> int:
        return len(self.members) // 2


class WallFrame:
    """Tables of one wall. terms: numbers of the demand terms that look at it, in their global order."""

    def __init__(self, problem: Problem, w: int, tables: Tables, classes: Sequence[PositionClass]) -> None:
        self.w, self.problem, self.wall = w, problem, problem.walls[w]
        self.count = len(problem.materials)
        places = tables.places
        self.terms = np.array([t for t, (wall, _) in enumerate(places) if wall == w], dtype=int)
        everything = [(d.gas, t.environment) for d in problem.demands for t in d.terms]
        used = sorted({everything[t][1] for t in self.terms})
        self.environment = np.array([used.index(everything[t][1]) for t in self.terms], dtype=int)
        env = [problem.environments[e] for e in used]
        inside, outside = np.array([e.inside for e in env]), np.array([e.outside for e in env])
        temperature = np.array([e.temperature for e in env])
        self.classes = [c for c, cls in enumerate(classes) if cls.wall == w]
        where = {e: i for i, c in enumerate(self.classes) for e in classes[c].environments}
        #: position class (number within the wall) of every environment, -1 where none
        self.class_of = np.array([where.get(e, -1) for e in used], dtype=int)
        self.base = tables.resistivity[self.terms]
        self.moves = tables.moves[self.terms]
        self._gases([everything[t][0] for t in self.terms], inside, outside, temperature)
        self._waters(classes, tables)
        heavy = sum(
            t.weight
            * (
                1
                if problem.environments[t.environment].inside >= problem.environments[t.environment].outside
                else -1
            )
            / max(sum(abs(x.weight) for x in d.terms), 1e-300)
            for d in problem.demands
            for t in d.terms
            if t.wall == w
        )
        #: walk from the outside inwards where the inside is the wetter side
        self.inward = bool(heavy >= 0)
        self._stretches: dict[tuple[bytes, bytes], Array] = {}

    # -- gases -----------------------------------------------------------------------------------------------

    def _gases(self, gas: list[str], inside: Array, outside: Array, temperature: Array) -> None:
        materials = self.problem.materials
        laws: dict[tuple[object, object], int] = {}
        shape = (len(self.terms), self.count)
        self.law = np.full(shape, -1)
        self.water_law = np.full(self.count, -1)
        self.scale = np.zeros(shape)
        water_laws: list[object] = []
        for m, material in enumerate(materials):
            water = material.water_law()
            if depends_on_place(material, "H2O") and not water.blocks:
                self.water_law[m] = len(water_laws)
                water_laws.append(water)
            for t in range(len(self.terms)):
                if not self.moves[t, m]:
                    continue
                at = temperature[self.environment[t]]
                if gas[t] == "H2O":
                    self.scale[t, m] = UM / float(water.factor(at))
                else:
                    law = material.gas_law(gas[t])
                    self.law[t, m] = laws.setdefault((law, water), len(laws))
                    self.scale[t, m] = UM / float(law.factor(at))
        self.is_water = np.array([g == "H2O" for g in gas], dtype=bool)
        self.gas_curves = GasCurves(list(laws), inside, outside)  # type: ignore[arg-type]
        self.water_curves = WaterCurves(water_laws, inside, outside)  # type: ignore[arg-type]
        self.moving_gas = np.argwhere(self.law >= 0)
        self.moving_water = np.argwhere(self.moves & self.is_water[:, None])

    def _waters(self, classes: Sequence[PositionClass], tables: Tables) -> None:
        """Water resistivity per um of every material in every class, in units of a typical one."""
        own = [classes[c] for c in self.classes]
        base = tables.water[self.classes] if own else np.zeros((0, self.count))
        self.class_scale = np.ones((len(own), self.count))
        varying = [m for m in range(self.count) if self.water_law[m] >= 0]
        for c, cls in enumerate(own):
            for m in varying:
                law = self.problem.materials[m].water_law()
                self.class_scale[c, m] = UM / float(law.factor(cls.reference.temperature))
        inside = np.array([c.reference.inside for c in own])
        outside = np.array([c.reference.outside for c in own])
        self.class_curves = WaterCurves(self.water_curves.laws, inside, outside)
        self.blocking = np.array([m.water_law().blocks for m in self.problem.materials], dtype=bool)
        plain = base[:, ~self.blocking & (self.water_law < 0)]
        self.unit = np.median(plain, axis=1) * 100.0 if plain.size else np.ones(len(own))
        base = base / self.unit[:, None]
        most = base[:, ~self.blocking].max(initial=0.01)
        self.water = np.where(self.blocking, _BLOCK * most, base)

    # -- zones -----------------------------------------------------------------------------------------------

    @property
    def slots(self) -> int:
        """Layers of a walk at most; a symmetric wall is walked to its middle."""
        layers = self.wall.max_layers
        return (layers + 1) // 2 if self.wall.symmetric else layers

    @property
    def times(self) -> Array:
        """How many layers of the wall one of the walk stands for, by zone."""
        return np.array([2.0, 1.0]) if self.wall.symmetric else np.ones(2 * self.slots + 3)

    def sequence(self, walk: Sequence[tuple[int, int]]) -> tuple[int, ...]:
        """Materials from inside to outside."""
        materials = tuple(m for _, m in walk)
        if self.wall.symmetric:
            return materials + materials[-2::-1]
        return materials[::-1] if self.inward else materials

    def walk(self, sequence: Sequence[int]) -> list[tuple[int, int]]:
        """The walk of a sequence through a pattern without keys."""
        if self.wall.symmetric:
            half = len(sequence) // 2
            return [(0, m) for m in sequence[:half]] + [(1, sequence[half])]
        return [(0, m) for m in (reversed(sequence) if self.inward else sequence)]

    def zones(self, pattern: Zoning) -> Zones:
        if self.wall.symmetric:
            # pairs of layers from the faces, then the one in the middle
            both = np.ones((2, self.count), dtype=bool)
            ends = self.wall.start & self.wall.end
            return Zones(both, np.array([True, False]), ends, np.ones(self.count, dtype=bool))
        allowed = np.zeros((pattern.zones, self.count), dtype=bool)
        for z, members in enumerate(pattern.members):
            allowed[z, list(members)] = True
        stretch = np.arange(pattern.zones) % 2 == 0
        first, final = self.wall.start, self.wall.end
        return Zones(allowed, stretch, final if self.inward else first, first if self.inward else final)

    @property
    def touching(self) -> Mask:
        """touching[a, b]: b may follow a along the walk."""
        return self.wall.touching.T if self.inward else self.wall.touching

    def key_box(self, boxes: Boxes, j: int, c: int) -> Box:
        return boxes.get((self.w, j, self.classes[c]), WHOLE)

    def edges(self, pattern: Zoning, boxes: Boxes, z: int) -> tuple[Array, Array]:
        """Least and largest place in stretch number ``z``, by class (C,)."""
        count = len(self.classes)
        low, high = np.zeros(count), np.ones(count)
        before, after = z - 1, z
        outer, inner = (before, after) if self.inward else (after, before)
        for c in range(count):
            if 0 <= outer < pattern.singles:
                high[c] = self.key_box(boxes, outer, c).f_high
            if 0 <= inner < pattern.singles:
                low[c] = self.key_box(boxes, inner, c).f_low
        return np.minimum(low, high), high

    def _spread(self, by_class: Array, otherwise: float) -> Array:
        """From classes to environments."""
        if not len(by_class):
            return np.full(len(self.class_of), otherwise)
        found: Array = np.where(self.class_of >= 0, by_class[self.class_of], otherwise)
        return found

    def resistivities(self, pattern: Zoning, boxes: Boxes) -> Array:
        """(terms, zones, materials) best resistivity per um; a key zone only at its own material."""
        if self.wall.symmetric:
            anywhere = self.stretch_resistivity(*self.edges(pattern, boxes, 0))
            return np.stack([anywhere, anywhere], axis=1)
        found = np.empty((len(self.terms), pattern.zones, self.count))
        for z in range(0, pattern.zones, 2):
            found[:, z] = self.stretch_resistivity(*self.edges(pattern, boxes, z // 2))
        for j in range(pattern.singles):
            found[:, 2 * j + 1] = 0.0
            by_class = [self.key_box(boxes, j, c) for c in range(len(self.classes))]
            for m in pattern.members[2 * j + 1]:
                found[:, 2 * j + 1, m] = self.key_resistivity(m, by_class)
        return found

    def stretch_resistivity(self, low: Array, high: Array) -> Array:
        """(terms, materials) best resistivity per um of layers between the places low and high, by class."""
        key = (low.tobytes(), high.tobytes())
        if key in self._stretches:
            return self._stretches[key]
        table: Array = self.base.copy()
        y_low, y_high = self._spread(low, 0.0), self._spread(high, 1.0)
        if len(self.moving_gas):
            top = self.gas_curves.ceiling(y_low, y_high)
            t, m = self.moving_gas.T
            table[t, m] = top[self.law[t, m], self.environment[t]] * self.scale[t, m]
        if len(self.moving_water):
            least, _ = self.water_curves.slopes(y_low, y_high)
            t, m = self.moving_water.T
            table[t, m] = self.scale[t, m] / least[self.water_law[m], self.environment[t]]
        if len(self._stretches) > 5000:
            self._stretches.clear()
        self._stretches[key] = table
        return table

    def key_resistivity(self, m: int, by_class: Sequence[Box]) -> Array:
        """(terms,) best resistivity per um of one layer with a box for every class."""
        row: Array = self.base[:, m].copy()
        moving = np.flatnonzero(self.moves[:, m])
        if not len(moving):
            return row
        cls = self.class_of[self.environment[moving]]
        for box in dict.fromkeys(by_class):
            same = np.array([b == box for b in by_class])
            here = moving[same[cls]]
            for law in np.unique(self.law[here, m]):
                t = here[self.law[here, m] == law]
                e = self.environment[t]
                if law >= 0:
                    row[t] = self.gas_curves.best_mean(int(law), box)[e] * self.scale[t, m]
                else:
                    least = self.water_curves.mean_slopes(int(self.water_law[m]), box)[0]
                    row[t] = self.scale[t, m] / least[e]
        return row

    # -- water -----------------------------------------------------------------------------------------------

    def waters(self, pattern: Zoning, boxes: Boxes) -> tuple[Array, Array]:
        """Least and largest water resistivity (classes, zones, materials), in units of ``unit``."""
        low = np.repeat(self.water[:, None, :], pattern.zones, axis=1)
        varying = np.flatnonzero(self.water_law >= 0)
        if not len(varying) or not len(self.classes):
            return low, low
        high = low.copy()
        law = self.water_law[varying]
        scale = self.class_scale[:, varying] / self.unit[:, None]
        for z in range(0, pattern.zones, 2):
            least, most = self.class_curves.slopes(*self.edges(pattern, boxes, z // 2))
            low[:, z, varying] = scale / most[law].T
            high[:, z, varying] = scale / least[law].T
        for j in range(pattern.singles):
            for m in pattern.members[2 * j + 1]:
                if self.water_law[m] < 0:
                    continue
                for c in range(len(self.classes)):
                    box = self.key_box(boxes, j, c)
                    least, most = self.class_curves.mean_slopes(int(self.water_law[m]), box)
                    factor = self.class_scale[c, m] / self.unit[c]
                    low[c, 2 * j + 1, m], high[c, 2 * j + 1, m] = factor / most[c], factor / least[c]
        return low, high

    def inside_of(self, pattern: Zoning, j: int) -> Array:
        """(zones,) 1 on the inner side of single ``j``, 1/2 for the single itself, else 0."""
        z = np.arange(pattern.zones)
        own = 2 * j + 1
        inner = z > own if self.inward else z < own
        return np.where(z == own, 0.5, inner.astype(float))


def key_groups(
    problem: Problem, tables: Sequence[Array], cover: Sequence[Array], threshold: float
) -> tuple[tuple[int, ...], ...]:
    """Barriers that the search branches on, by family.

    A material is a key when one layer of its least gauge already covers ``threshold`` of some demand: it
    cannot be bought in part, and a relaxation that mixes walls with and without it is weak. Materials that
    must be present are keys of their own. tables: by wall, (terms, materials) best resistivity per um
    anywhere; cover: by wall, (tangents, terms).
    """
    found = np.zeros(len(problem.materials), dtype=bool)
    must: set[int] = set()
    for wall, table, tangents in zip(problem.walls, tables, cover, strict=True):
        share = (tangents @ table) * (wall.least / UM)
        found |= share.max(axis=0, initial=0.0) >= threshold
        must |= set(wall.keep)
    groups: dict[object, list[int]] = {}
    for m, material in enumerate(problem.materials):
        if m in must:
            groups[m] = [m]
        elif found[m]:
            groups.setdefault((material.family, material.water_law().blocks), []).append(m)
    return tuple(tuple(g) for g in groups.values())

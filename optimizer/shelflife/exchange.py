"""What a package lets through, as the simulator needs it: conductances over the inside water activity.

Shapes: B samples, S segments of time, M points of inside water activity (1 when it does not move).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.errors import MaterialError
from optimizer.physics.laminate import humidity_profile, layer_resistances
from optimizer.physics.leaks import hole_conductance
from optimizer.physics.permeability import arrhenius
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import activity_range, inside_activity, simulated_gases, water_matters
from optimizer.shelflife.package import Case, ClosurePart, HolePart, Package, Part, Product, Wall, WallPart
from optimizer.shelflife.segments import Segments, lay_out, split

Array = NDArray[np.float64]

#: Points of inside activity where it moves. The cubic spline through them is good to 1e-7 of the
#: conductance where the
#: wall is smooth, and to 1e-6 of a crossing time where a barrier's water permeability jumps at a measured
#: humidity.
GRID_POINTS = 129
#: Fewer points where there would be very many tables: hourly weather, or a large batch of thicknesses.
_COARSE_POINTS, _MANY_TABLES = 65, 400
#: P(N2) / P(O2) where a material has no N2 value: the ratio 1 to 4 usual in polymers (common practice, no
#: source).
NITROGEN_SHARE = 0.25


@dataclass(frozen=True)
class Exchange:
    """activity: (M,) grid of inside water activity. conductance: per gas [mol/(s Pa)], shape (Bt, S, M).
    water: outward water flow [mol/s], (Bt, S, M), or None where water is not followed. outside: partial
    pressure
    per gas (S,) [Pa]. multiplier: per gas and ``H2O``, (Bs, S), applied on top; Bt and Bs are 1 or B.
    """

    segments: Segments
    activity: Array
    conductance: Mapping[str, Array]
    water: Array | None
    outside: Mapping[str, Array]
    multiplier: Mapping[str, Array]

    @property
    def gases(self) -> tuple[str, ...]:
        return tuple(self.conductance)

    @property
    def size(self) -> int:
        """Number of samples B."""
        tables = [t.shape[0] for t in self.conductance.values()]
        if self.water is not None:
            tables.append(self.water.shape[0])
        return int(max([1, *tables, *(m.shape[0] for m in self.multiplier.values())]))

    def scaled(self, multipliers: Mapping[str, ArrayLike]) -> Exchange:
        """A batch whose conductances are multiplied: {gas or 'H2O': scalar, (B,) , (B, 1) or (B, S)}."""
        result = dict(self.multiplier)
        for gas, value in multipliers.items():
            m = np.asarray(value, dtype=float)
            if m.ndim < 2:
                m = m.reshape(-1, 1)
            m = np.broadcast_to(m, (m.shape[0], len(self.segments)))
            result[gas] = m * result[gas] if gas in result else m
        new = replace(self, multiplier=result)
        sizes = {t.shape[0] for t in (*result.values(), *self.conductance.values())} - {1}
        if len(sizes) > 1:
            raise ValueError(f"multipliers and tables have different batch sizes: {sorted(sizes)}")
        return new

    def split(self, pieces: int) -> Exchange:
        """The same exchange with every segment in ``pieces`` equal slices."""
        index = np.repeat(np.arange(len(self.segments)), pieces)
        return self._picked(index, split(self.segments, pieces))

    def _picked(self, index: NDArray[np.intp], segments: Segments) -> Exchange:
        return Exchange(
            segments,
            self.activity,
            {g: t[:, index] for g, t in self.conductance.items()},
            None if self.water is None else self.water[:, index],
            {g: p[index] for g, p in self.outside.items()},
            {g: m[:, index] for g, m in self.multiplier.items()},
        )

    def sample(self, index: int) -> Exchange:
        """One sample of the batch."""

        def one(table: Array) -> Array:
            return table if table.shape[0] == 1 else table[index : index + 1]

        return replace(
            self,
            conductance={g: one(t) for g, t in self.conductance.items()},
            water=None if self.water is None else one(self.water),
            multiplier={g: one(m) for g, m in self.multiplier.items()},
        )


def stack(exchanges: Sequence[Exchange]) -> Exchange:
    """One batch from exchanges of the same storage, product and activity grid."""
    first = exchanges[0]
    if any(not np.array_equal(e.activity, first.activity) for e in exchanges):
        raise ValueError("exchanges of one batch need the same grid of inside activity")
    if any(not np.array_equal(e.segments.start, first.segments.start) for e in exchanges):
        raise ValueError("exchanges of one batch need the same segments of time")

    def joined(tables: Iterable[tuple[Array, int]]) -> Array:
        return np.concatenate([np.broadcast_to(t, (b, *t.shape[1:])) for t, b in tables])

    keys = dict.fromkeys(g for e in exchanges for g in e.multiplier)
    ones = np.ones((1, len(first.segments)))
    return Exchange(
        first.segments,
        first.activity,
        {g: joined((e.conductance[g], e.size) for e in exchanges) for g in first.conductance},
        None if first.water is None else joined((e.water, e.size) for e in exchanges if e.water is not None),
        first.outside,
        {g: joined((e.multiplier.get(g, ones), e.size) for e in exchanges) for g in keys},
    )


def has_law(package: Package, gas: str) -> bool:
    """Whether every material in use has a permeability to ``gas`` (or to water, for ``H2O``)."""
    return all(
        (layer.material.water is not None) if gas == "H2O" else (gas in layer.material.gases)
        for wall in walls_in_use(package)
        for layer in wall.layers
    )


def walls_in_use(package: Package) -> list[Wall]:
    """Walls that some part is made of, in order of first use."""
    names = dict.fromkeys(p.wall for p in package.parts if isinstance(p, WallPart))
    return [package.walls[name] for name in names]


def closures_without_nitrogen(package: Package) -> list[str]:
    """Names of the closures that have an oxygen transmission and none for nitrogen."""
    return [
        part.name
        for part in package.parts
        if isinstance(part, ClosurePart) and "N2" not in part.transmission and "O2" in part.transmission
    ]


def materials_without_nitrogen(package: Package) -> list[str]:
    """Names of materials in use that have an oxygen permeability and none for nitrogen."""
    materials = [layer.material for wall in walls_in_use(package) for layer in wall.layers]
    return list(dict.fromkeys(m.name for m in materials if "N2" not in m.gases and "O2" in m.gases))


def with_nitrogen(package: Package) -> Package:
    """The package with N2 taken as a quarter of O2 where a material or a closure has no N2 value (``predict``
    warns)."""
    closures = closures_without_nitrogen(package)
    if closures:
        package = replace(package, parts=tuple(_closure_with_nitrogen(p, closures) for p in package.parts))
    if not materials_without_nitrogen(package):
        return package
    walls = {}
    for name, wall in package.walls.items():
        layers = []
        for layer in wall.layers:
            m = layer.material
            if "N2" not in m.gases and "O2" in m.gases:
                oxygen = m.gases["O2"]
                quarter = tuple(p * NITROGEN_SHARE for p in oxygen.permeability)
                law = replace(oxygen, gas="N2", permeability=quarter)
                layer = replace(layer, material=replace(m, gases={**m.gases, "N2": law}))
            layers.append(layer)
        walls[name] = replace(wall, layers=tuple(layers))
    return replace(package, walls=walls)


def _closure_with_nitrogen(part: Part, names: Sequence[str]) -> Part:
    if not isinstance(part, ClosurePart) or part.name not in names:
        return part
    oxygen = part.transmission["O2"]
    quarter = replace(oxygen, conductance=oxygen.conductance * NITROGEN_SHARE)
    return replace(part, transmission={**part.transmission, "N2": quarter})


def exchange_of(
    case: Case,
    *,
    segments: Segments | None = None,
    thickness: Mapping[str, ArrayLike] | None = None,
    gases: Sequence[str] | None = None,
) -> Exchange:
    """Exchange of the case's package over its storage.

    segments: default the storage laid out to the horizon, with a cut at the target. thickness: wall name ->
    (B, n) layer thicknesses [m], inside to outside, for a batch of variants. gases: default those that the
    product's limits need.
    """
    if segments is None:
        segments = lay_out(case.storage, case.horizon, () if case.target is None else (case.target,))
    product = case.product
    wanted = tuple(gases) if gases is not None else simulated_gases(product)
    follow_water = water_matters(product) or has_law(case.package, "H2O")
    unique, inverse = _conditions(segments)
    variants = 1 if not thickness else max(np.atleast_2d(np.asarray(t)).shape[0] for t in thickness.values())
    grid = _grid(product, segments, 1 if variants == 1 else len(unique[0]) * variants)
    package = with_nitrogen(case.package) if "N2" in wanted else case.package
    by_part = part_exchange(package, grid, unique, wanted, water=follow_water, thickness=thickness)
    total: dict[str, Array] = {}
    for values in by_part.values():
        for gas, table in values.items():
            total[gas] = total[gas] + table if gas in total else table
    return Exchange(
        segments,
        grid,
        {g: total[g][:, inverse] for g in wanted},
        total["H2O"][:, inverse] if follow_water else None,
        {g: segments.outside_pressure(g) for g in wanted},
        {},
    )


def _conditions(segments: Segments) -> tuple[tuple[Array, Array, Array], NDArray[np.intp]]:
    """Different conditions (temperature, humidity, pressure), each (U,), and which of them each segment
    has."""
    rows = np.stack([segments.temperature, segments.humidity, segments.pressure], axis=1)
    unique, inverse = np.unique(rows, axis=0, return_inverse=True)
    return (unique[:, 0], unique[:, 1], unique[:, 2]), inverse.reshape(-1)


def _grid(product: Product, segments: Segments, tables: int) -> Array:
    if product.moisture is None:
        return np.array([inside_activity(product)])
    low, high = activity_range(product, segments.humidity)
    return np.linspace(low, high, GRID_POINTS if tables <= _MANY_TABLES else _COARSE_POINTS)


def part_exchange(
    package: Package,
    activity: Array,
    conditions: tuple[Array, Array, Array],
    gases: Sequence[str],
    *,
    water: bool,
    thickness: Mapping[str, ArrayLike] | None = None,
    pairwise: bool = False,
) -> dict[str, dict[str, Array]]:
    """part name -> {gas: conductance [mol/(s Pa)], 'H2O': outward water flow [mol/s]}, each (B, U, M).

    conditions: temperature [K], humidity outside [-] and total pressure [Pa], each (U,). With ``pairwise``
    the
    activity has shape (U,) and belongs to the conditions one by one; the answer then has shape (B, U, 1).
    """
    t, out, pressure = (np.asarray(c, dtype=float)[:, None] for c in conditions)
    inside = activity[:, None] if pairwise else activity[None, :]
    drive = saturation_pressure(t) * (inside - out)
    walls: dict[str, dict[str, Array]] = {}
    result: dict[str, dict[str, Array]] = {}
    for part in package.parts:
        if isinstance(part, WallPart):
            wall = package.walls[part.wall]
            given = None if thickness is None else thickness.get(part.wall)
            layers = np.atleast_2d(
                np.array([x.thickness for x in wall.layers])
                if given is None
                else np.asarray(given, dtype=float)
            )
            if part.wall not in walls:
                walls[part.wall] = _wall_exchange(wall, layers, t, inside, out, gases, water)
            area = np.array([part.permeation_area(float(x)) for x in layers.sum(axis=1)])[:, None, None]
            result[part.name] = {g: area * v for g, v in walls[part.wall].items()}
        else:
            result[part.name] = {g: _fixed(part, g, t, pressure, drive.shape)[None] for g in gases}
            if water:
                result[part.name]["H2O"] = (_fixed(part, "H2O", t, pressure, drive.shape) * drive)[None]
    return result


def _fixed(part: Part, gas: str, t: Array, pressure: Array, shape: tuple[int, ...]) -> Array:
    """Conductance of a closure or a hole [mol/(s Pa)], broadcast to ``shape``."""
    if isinstance(part, HolePart):
        value = part.count * hole_conductance(gas, part.diameter, part.length, t, pressure)
        return np.broadcast_to(value, shape)
    if isinstance(part, ClosurePart) and gas in part.transmission:
        given = part.transmission[gas]
        return np.broadcast_to(
            given.conductance * arrhenius(given.activation_energy, t, given.temperature), shape
        )
    return np.zeros(shape)


def _wall_exchange(
    wall: Wall, layers: Array, t: Array, inside: Array, out: Array, gases: Sequence[str], water: bool
) -> dict[str, Array]:
    """Per square metre: {gas: permeance [mol/(m2 s Pa)], 'H2O': water flux outwards [mol/(m2 s)]}, (B, U,
    M)."""
    materials = [layer.material for layer in wall.layers]
    shape = np.broadcast_shapes(t.shape, inside.shape)
    sensitive = any(m.gas_law(g).humidity_sensitive for g in gases for m in materials)
    stacked = layers[:, None, None, :]
    values: dict[str, Array] = {}
    faces = np.zeros((1, *shape, len(materials) + 1))
    if water or sensitive:
        try:
            profile = humidity_profile(materials, stacked, t[None], inside[None], out[None])
        except MaterialError as error:
            raise MaterialError(f"wall {wall.name!r}: {error.message}", hint=error.hint) from None
        faces = profile.faces
        if water:
            values["H2O"] = profile.flux * saturation_pressure(t)
    for gas in gases:
        if any(m.gas_law(gas).humidity_sensitive for m in materials):
            resistance = layer_resistances(materials, stacked, gas, t[None], faces).sum(axis=-1)
        else:
            # the same at every inside activity: one column, spread without computing it again
            flat = np.zeros((layers.shape[0], *t.shape, len(materials) + 1))
            column = layer_resistances(materials, stacked, gas, t[None], flat).sum(axis=-1)
            resistance = np.broadcast_to(column, (layers.shape[0], *shape))
        values[gas] = 1.0 / resistance
    return values

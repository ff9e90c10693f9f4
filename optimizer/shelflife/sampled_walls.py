"""The walls of every sample of a batch as plain arrays, for the two ways of simulating a batch.

Shapes: B samples, T = B where the temperature differs between samples and 1 elsewhere, U conditions, W walls,
G gases, L layers of all walls one after the other, inside to outside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import MaterialError
from optimizer.physics.material import Material
from optimizer.physics.permeability import BLOCKED, GasLaw, ResistivityTable, WaterLaw, resistivity_table
from optimizer.shelflife.exchange import walls_in_use
from optimizer.shelflife.package import Layer, Package, Wall, WallPart
from optimizer.shelflife.variation import Variation

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: Kinds of a gas law: lets nothing through, the same at every humidity, by a table over activity.
NOTHING, CONSTANT, TABLE = 0, 1, 2
#: Equal steps of activity that lead to the cell of a table.
LOOKUP = 2048


class Walls(NamedTuple):
    """start (W + 1,): first layer of each wall; profiled (W,): its humidity profile is needed; live (W,):
    what passes it is not simply proportional as the activity inside moves; bent (W,): some layer's
    permeability to water depends on humidity. thickness (B, L) [m]; area, store (B, W): for permeation and
    for what the wall holds [m2].

    knot_start (L + 1,): where a layer's water law begins in knots, phi, slope (see ``WaterLaw``);
    water (T, U, L): factor on it by temperature; water_scale (B, L): by sample.

    kind (G, L); permeability (G, T, U, L): of a constant law, or the temperature factor of a table;
    gas_scale (B, G, L). table (G, L): number of the table; table_start: where it begins in grid, resistivity,
    steepness, weight, psi, mass (its Phi); lookup (tables, LOOKUP): cell in which each equal step begins.

    solubility (G, T, U, L) [mol/(m3 Pa)], 0 where nothing is stored; solubility_scale (B, G, L)."""

    start: Whole
    profiled: Flags
    live: Flags
    bent: Flags
    thickness: Array
    area: Array
    store: Array
    knot_start: Whole
    knots: Array
    phi: Array
    slope: Array
    water: Array
    water_scale: Array
    kind: Whole
    permeability: Array
    gas_scale: Array
    table: Whole
    table_start: Whole
    grid: Array
    resistivity: Array
    steepness: Array
    weight: Array
    psi: Array
    mass: Array
    lookup: Whole
    solubility: Array
    solubility_scale: Array


def walls_of(
    package: Package,
    original: Package,
    variation: Variation,
    gases: Sequence[str],
    temperature: Array,
    *,
    tracked: bool,
    moving: bool,
    lagged: bool,
) -> Walls:
    """package: with the nitrogen laws that ``original`` may lack; temperature (T, U) [K]; tracked: the water
    flow is needed; moving: the activity inside moves; lagged: whether the walls hold gas.

    Raises MaterialError where a material lacks a law that is needed.
    """
    walls = walls_in_use(package)
    layers = [(wall, layer) for wall in walls for layer in wall.layers]
    size = variation.size
    start = np.concatenate([[0], np.cumsum([len(w.layers) for w in walls])]).astype(np.int64)
    sensitive = [
        any(x.material.gas_law(g).humidity_sensitive for g in gases for x in w.layers) for w in walls
    ]
    profiled = np.array([tracked or s for s in sensitive], dtype=bool)
    thickness = np.array([layer.thickness for _, layer in layers]) * np.ones((size, 1))
    for i, (wall, layer) in enumerate(layers):
        _scale(thickness[:, i], variation.thickness.get(wall.name))
        _scale(thickness[:, i], variation.layer_thickness.get((wall.name, layer.material.name)))
    area, store = _areas(package, walls, thickness, start, variation)
    laws = [_water_law(wall, layer) if profiled[walls.index(wall)] else None for wall, layer in layers]
    bent = np.array(
        [
            any(law is not None and law.humidity_sensitive for law in laws[start[w] : start[w + 1]])
            for w in range(len(walls))
        ],
        dtype=bool,
    )
    flat = [x if x is not None else WaterLaw.constant(300.0, 1.0, 0.0) for x in laws]
    water_scale = np.ones((size, len(layers)))
    for i, (_, layer) in enumerate(layers):
        _scale(water_scale[:, i], variation.permeability.get((layer.material.name, "H2O")))
    gas = _gases(layers, original, variation, gases, temperature, lagged)
    return Walls(
        start=start,
        profiled=profiled,
        live=np.array([moving and (s or b) for s, b in zip(sensitive, bent, strict=True)], dtype=bool),
        bent=bent,
        thickness=thickness,
        area=area,
        store=store,
        knot_start=np.concatenate([[0], np.cumsum([len(x.activity) for x in flat])]).astype(np.int64),
        knots=_joined([np.asarray(x.activity) for x in flat]),
        phi=_joined([np.concatenate([[0.0], np.cumsum(x.slopes * np.diff(x.activity))]) for x in flat]),
        slope=_joined([np.append(x.slopes, x.slopes[-1]) for x in flat]),
        water=_stacked([x.factor(temperature) for x in flat], temperature.shape),
        water_scale=water_scale,
        **gas,
    )


def _scale(values: Array, factor: Array | None) -> None:
    if factor is not None:
        values *= factor


def _joined(parts: Sequence[Array]) -> Array:
    return np.concatenate(parts).astype(float) if parts else np.zeros(0)


def _stacked(parts: Sequence[Array], shape: tuple[int, ...]) -> Array:
    """(..., L) from one array (...) per layer."""
    return np.ascontiguousarray(np.stack(parts, axis=-1)) if parts else np.zeros((*shape, 0))


def _water_law(wall: Wall, layer: Layer) -> WaterLaw:
    try:
        return layer.material.water_law()
    except MaterialError as error:
        raise MaterialError(f"wall {wall.name!r}: {error.message}", hint=error.hint) from None


def _areas(
    package: Package, walls: Sequence[Wall], thickness: Array, start: Whole, variation: Variation
) -> tuple[Array, Array]:
    """For permeation and for what is held (B, W) [m2], summed over the parts made of each wall."""
    area = np.zeros((len(thickness), len(walls)))
    store = np.zeros_like(area)
    place = {wall.name: k for k, wall in enumerate(walls)}
    for part in package.parts:
        if not isinstance(part, WallPart):
            continue
        k = place[part.wall]
        total = thickness[:, start[k] : start[k + 1]].sum(axis=1)
        for patch in part.patches:
            ratio = patch.ratio * variation.part_thickness.get(part.name, np.ones(len(thickness)))
            t = total * ratio
            here = patch.area + patch.slope * t + patch.curvature * t * t
            area[:, k] += here / ratio
            store[:, k] += here * ratio
    return area, store


def _gases(
    layers: Sequence[tuple[Wall, Layer]],
    original: Package,
    variation: Variation,
    gases: Sequence[str],
    temperature: Array,
    lagged: bool,
) -> dict[str, Any]:
    """The fields of ``Walls`` on gases."""
    count, size, shape = len(layers), variation.size, temperature.shape
    named = {x.material.name: x.material for w in original.walls.values() for x in w.layers}
    kind, table = (np.zeros((len(gases), count), dtype=np.int64) for _ in range(2))
    permeability, solubility = (np.zeros((len(gases), *shape, count)) for _ in range(2))
    gas_scale, solubility_scale = (np.ones((size, len(gases), count)) for _ in range(2))
    tables: dict[tuple[GasLaw, WaterLaw], int] = {}
    factors: dict[tuple[float, float], Array] = {}
    for g, gas in enumerate(gases):
        for i, (wall, layer) in enumerate(layers):
            m = layer.material
            law = m.gas_law(gas)
            # nitrogen made from oxygen varies with it
            source = gas if gas in named[m.name].gases else "O2"
            _scale(gas_scale[:, g, i], variation.permeability.get((m.name, source)))
            key = (law.activation_energy, law.temperature)
            if key not in factors:
                factors[key] = law.factor(temperature)
            if law.blocks:
                kind[g, i] = NOTHING
            elif law.humidity_sensitive:
                kind[g, i] = TABLE
                table[g, i] = tables.setdefault((law, _water_law(wall, layer)), len(tables))
                permeability[g, :, :, i] = factors[key]
            else:
                kind[g, i] = CONSTANT
                permeability[g, :, :, i] = law.permeability[0] * factors[key]
            held = m.solubility(gas, temperature) if lagged else None
            if held is not None:
                solubility[g, :, :, i] = held
                solubility_scale[:, g, i] = gas_scale[:, g, i]
                given = variation.diffusivity.get((m.name, gas))
                if given is not None:
                    solubility_scale[:, g, i] /= given
    return {
        "kind": kind,
        "permeability": permeability,
        "gas_scale": gas_scale,
        "table": table,
        "solubility": solubility,
        "solubility_scale": solubility_scale,
        **_tables([resistivity_table(*key) for key in tables]),
    }


def _tables(tables: Sequence[ResistivityTable]) -> dict[str, Any]:
    """The tables one after the other; a last point of 0 where a table has one value per cell."""
    steps = np.arange(LOOKUP) / LOOKUP
    lookup = [np.searchsorted(t.grid, steps, side="right") - 1 for t in tables]
    return {
        "table_start": np.concatenate([[0], np.cumsum([len(t.grid) for t in tables])]).astype(np.int64),
        "grid": _joined([t.grid for t in tables]),
        "resistivity": _joined([np.exp(t.log_resistivity) for t in tables]),
        "steepness": _joined([np.append(t.slope, 0.0) for t in tables]),
        "weight": _joined([np.append(t.weight, 0.0) for t in tables]),
        "psi": _joined([t.psi for t in tables]),
        "mass": _joined([t.phi for t in tables]),
        "lookup": np.array(lookup, dtype=np.int64).reshape(len(tables), LOOKUP),
    }


def with_scavenger(package: Package, gases: Mapping[str, object] | Sequence[str]) -> list[Material]:
    """Materials in use that use one of ``gases`` up."""
    materials = [x.material for wall in walls_in_use(package) for x in wall.layers]
    found = [m for m in materials if m.scavenger is not None and m.scavenger.gas in gases]
    return list({id(m): m for m in found}.values())


#: Resistivity of a layer that lets nothing through, for both ways.
NO_PASSAGE = BLOCKED

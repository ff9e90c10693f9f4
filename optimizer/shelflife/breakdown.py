"""Where the gas comes through: tables per stage, part, wall and layer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.geometry.surface import Patch
from optimizer.physics.laminate import humidity_profile, layer_resistances
from optimizer.results import FilmTransmission, LayerState, Transmission
from optimizer.shelflife.contents import inside_activity, simulated_gases
from optimizer.shelflife.exchange import has_law, part_exchange, walls_in_use, with_nitrogen
from optimizer.shelflife.package import Case, HolePart, Package, Stage, Wall, WallPart
from optimizer.shelflife.specification import GAS_TRADE, WATER_TRADE

Array = NDArray[np.float64]


@dataclass(frozen=True)
class NamedStage:
    """A stage as the user named it: one set of conditions, or many (hourly weather), with their weights."""

    name: str
    temperature: Array
    humidity: Array
    pressure: Array
    weight: Array


def named_stages(storage: tuple[Stage, ...]) -> list[NamedStage]:
    """Stages by name in order of first use; equal conditions of one name are joined."""
    groups: dict[str, dict[tuple[float, float, float], float]] = {}
    for s in storage:
        row = groups.setdefault(s.name, {})
        key = (s.temperature, s.humidity, s.pressure)
        row[key] = row.get(key, 0.0) + s.duration
    named = []
    for name, rows in groups.items():
        table = np.array(list(rows))
        weight = np.array(list(rows.values()))
        named.append(NamedStage(name, table[:, 0], table[:, 1], table[:, 2], weight / weight.sum()))
    return named


def reported_gases(case: Case) -> tuple[str, ...]:
    """Gases (without water) that the tables show: those simulated and those every material has a value
    for."""
    simulated = simulated_gases(case.product)
    water = has_law(case.package, "H2O")
    chosen = []
    for gas in ("O2", "CO2", "N2"):
        sensitive = any(
            gas in x.material.gases and x.material.gases[gas].humidity_sensitive
            for w in walls_in_use(case.package)
            for x in w.layers
        )
        known = has_law(case.package, gas) and (water or not sensitive) and gas != "N2"
        if gas in simulated or known:
            chosen.append(gas)
    return tuple(chosen)


def _means(
    package: Package, stage: NamedStage, inside: float, gases: tuple[str, ...], water: bool
) -> dict[str, dict[str, float]]:
    """part -> {gas: mean over the stage's conditions}; gases in mol/(s Pa), water outwards in mol/s."""
    conditions = (stage.temperature, stage.humidity, stage.pressure)
    parts = part_exchange(package, np.array([inside]), conditions, gases, water=water)
    return {
        part: {g: float(v[0, :, 0] @ stage.weight) for g, v in values.items()}
        for part, values in parts.items()
    }


def transmission_tables(case: Case) -> tuple[tuple[Transmission, ...], tuple[FilmTransmission, ...]]:
    """Per stage, part and gas with its share; and per square metre of each wall. Inside at its closing
    activity; a stage with many conditions (hourly weather) shows the mean over its time."""
    gases = reported_gases(case)
    water = has_law(case.package, "H2O")
    package = with_nitrogen(case.package) if "N2" in gases else case.package
    inside = inside_activity(case.product)
    shown = shown_walls(package)
    films = Package(tuple(WallPart(name, name, (Patch(1.0),)) for name in shown), package.walls)
    groups = {p.name: p.group for p in package.parts if isinstance(p, WallPart | HolePart) and p.group}
    rows: list[Transmission] = []
    sheets: list[FilmTransmission] = []
    keys = [*gases, "H2O"] if water else list(gases)
    for stage in named_stages(case.storage):
        means = _means(package, stage, inside, gases, water)
        for gas in keys:
            factor = WATER_TRADE if gas == "H2O" else GAS_TRADE
            unit = "g/(package*day)" if gas == "H2O" else "cm3(STP)/(package*day*atm)"
            total = sum(v[gas] for v in means.values())
            by_name: dict[str, float] = {}
            for part, values in means.items():
                name = groups.get(part, part)
                by_name[name] = by_name.get(name, 0.0) + values[gas]
            for name, value in by_name.items():
                share = abs(value / total) if total else 0.0
                rows.append(Transmission(stage.name, name, gas, abs(value) * factor, unit, share))
        for wall, values in _means(films, stage, inside, gases, water).items():
            for gas in keys:
                factor = WATER_TRADE if gas == "H2O" else GAS_TRADE
                unit = "g/(m2*day)" if gas == "H2O" else "cm3(STP)/(m2*day*atm)"
                sheets.append(FilmTransmission(shown[wall], stage.name, gas, abs(values[gas]) * factor, unit))
    return tuple(rows), tuple(sheets)


@dataclass(frozen=True)
class WallState:
    """faces: water activity at the n + 1 faces from inside to outside (..., n + 1); mid: at half thickness of
    each layer (..., n); resistance: gas -> resistance of each layer (..., n) [m2 s Pa/mol]."""

    faces: Array
    mid: Array
    resistance: dict[str, Array]


def wall_state(
    wall: Wall, gases: tuple[str, ...], temperature: ArrayLike, inside: float, outside: ArrayLike
) -> WallState:
    """Humidity and resistances inside a wall whose materials all have a water permeability.

    temperature [K] and outside activity [-] broadcast to (...).
    """
    materials = [layer.material for layer in wall.layers]
    thickness = np.array([layer.thickness for layer in wall.layers])
    t = np.asarray(temperature, dtype=float)
    faces = humidity_profile(materials, thickness, t, inside, outside).faces
    mid = np.stack(
        [
            law.activity_of(0.5 * (law.potential(faces[..., i]) + law.potential(faces[..., i + 1])))
            for i, law in enumerate(m.water_law() for m in materials)
        ],
        axis=-1,
    )
    resistance = {g: layer_resistances(materials, thickness, g, t, faces) for g in gases}
    return WallState(faces, mid, resistance)


def shown_walls(package: Package) -> dict[str, str]:
    """Walls that the tables show, to the name they have there: not those of seals, and of several that lie
    under one label at different thickness only the one with the largest area."""
    found: dict[str, str] = {}
    largest: dict[str, tuple[float, str]] = {}
    for part in package.parts:
        if isinstance(part, WallPart) and part.group:
            largest[part.group] = max(largest.get(part.group, (0.0, "")), (part.area(0.0), part.wall))
        elif isinstance(part, WallPart) and not part.seal:
            found[part.wall] = part.wall
    several = {
        group: sum(isinstance(p, WallPart) and p.group == group for p in package.parts) > 1
        for group in largest
    }
    return found | {
        wall: f"{group}, at its commonest thickness" if several[group] else group
        for group, (_, wall) in largest.items()
    }


def layer_table(case: Case) -> tuple[LayerState, ...]:
    """Humidity in every layer and its share of the wall's resistance, per wall and stage.

    A stage with many conditions (hourly weather) shows the mean humidity over its time, and shares weighted
    with the gas that passes. Empty where a material has no water permeability.
    """
    if not has_law(case.package, "H2O"):
        return ()
    gases = reported_gases(case)
    package = with_nitrogen(case.package) if "N2" in gases else case.package
    inside = inside_activity(case.product)
    stages = named_stages(case.storage)
    rows = []
    for wall, name in ((package.walls[key], name) for key, name in shown_walls(package).items()):
        for stage in stages:
            state = wall_state(wall, gases, stage.temperature, inside, stage.humidity)
            faces, mid = stage.weight @ state.faces, stage.weight @ state.mid
            shares = {g: _passing_share(r, stage.weight) for g, r in state.resistance.items()}
            for i, layer in enumerate(wall.layers):
                rows.append(
                    LayerState(
                        wall=name,
                        stage=stage.name,
                        index=i + 1,
                        material=layer.material.name,
                        thickness_um=layer.thickness * 1e6,
                        humidity_inside_face_pct=100.0 * float(faces[i]),
                        humidity_mid_pct=100.0 * float(mid[i]),
                        humidity_outside_face_pct=100.0 * float(faces[i + 1]),
                        resistance_share_pct={g: 100.0 * float(share[i]) for g, share in shares.items()},
                    )
                )
    return tuple(rows)


def _passing_share(resistance: Array, weight: Array) -> Array:
    """Share of every layer (n,) in the fall of pressure, from resistances (U, n) [m2 s Pa/mol] and the weight
    of each condition (U,), averaged over what passes: a warm hour counts more than a cold one."""
    total = resistance.sum(axis=-1)
    passing = weight / total
    share: Array = (passing / total) @ resistance / passing.sum()
    return share


@dataclass(frozen=True)
class Bill:
    """mass [kg] in all and by material; cost [currency] per package or None; currency; why there is no
    cost."""

    mass: float
    by_material: dict[str, float]
    cost: float | None
    currency: str
    missing: str = ""


def bill_of(package: Package) -> Bill:
    """Mass and material cost of the walls of one package, with the passes that layers cost. Closures are not
    weighed."""
    mass: dict[str, float] = {}
    passes = 0.0
    price: dict[str, tuple[float | None, str]] = {}
    for part in package.parts:
        if not isinstance(part, WallPart):
            continue
        wall = package.walls[part.wall]
        area = part.mass_area(wall.thickness)
        for layer in wall.layers:
            m = layer.material
            mass[m.name] = mass.get(m.name, 0.0) + area * layer.thickness * m.density
            price[m.name] = (m.price, m.currency)
            passes += m.pass_cost * part.area(wall.thickness)
    unpriced = [name for name, (p, _) in price.items() if p is None]
    currencies = list(dict.fromkeys(c for p, c in price.values() if p is not None))
    missing = ""
    if unpriced:
        missing = f"No cost: no price for {', '.join(unpriced)}"
    elif len(currencies) > 1:
        missing = (
            f"No cost: prices are in different currencies ({', '.join(c or '(none)' for c in currencies)})"
        )
    cost = None
    if not missing and mass:
        cost = passes + sum(m * (price[name][0] or 0.0) for name, m in mass.items())
    return Bill(sum(mass.values()), mass, cost, currencies[0] if len(currencies) == 1 else "", missing)

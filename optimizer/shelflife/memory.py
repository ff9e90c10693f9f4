"""Whether walls may be taken as steady: their time lag, and the gas that they hold, against what matters.

``auto`` takes walls in transient where the lag of one passes 5 % of the time looked at, or where the walls
hold more than 5 % of what a limit allows; a layer that uses a gas up and a bottle that creeps are always
transient.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ATMOSPHERE, DAY, DRY_AIR, GAS_CONSTANT, MOLAR_MASS
from optimizer.physics.climate import effective_temperature
from optimizer.physics.material import Material
from optimizer.shelflife.breakdown import named_stages, reported_gases, wall_state
from optimizer.shelflife.contents import (
    carbonation_amount,
    carbonation_pressure,
    contents_of,
    headspace_gas,
    inside_activity,
    simulated_gases,
)
from optimizer.shelflife.covered import expanded
from optimizer.shelflife.exchange import exchange_of, has_law, part_exchange, walls_in_use, with_nitrogen
from optimizer.shelflife.lag import unknown_diffusivity, wall_memory
from optimizer.shelflife.package import Case, Package, Stage, Wall, WallPart
from optimizer.shelflife.simulate import Trajectory, simulate
from optimizer.shelflife.words import amount as in_moles
from optimizer.shelflife.words import duration, listed

Array = NDArray[np.float64]

#: Share of the shelf life (lag) or of the allowed amount (stored gas) from which a steady wall is doubtful.
MATTERS = 0.05
#: Activation energy for the effective temperature of a stage with many conditions [J/mol].
_USUAL_ENERGY = 40e3


@dataclass(frozen=True)
class WallChoice:
    """model: steady or transient; reason: why, in words; warnings: what the choice leaves out."""

    model: str
    reason: str
    warnings: tuple[str, ...] = ()

    @property
    def transient(self) -> bool:
        return self.model == "transient"


@dataclass(frozen=True)
class Memory:
    """doubts: why steady walls are doubtful, in words, empty where they are not; lacking: material names
    without a diffusivity, by gas; largest: largest lag of a wall that matters [s]; share: largest share of an
    allowance that the walls hold; known: whether any diffusivity is known."""

    doubts: tuple[str, ...]
    lacking: dict[str, list[str]]
    largest: float
    share: float
    known: bool = True


def uses_gas(case: Case) -> list[str]:
    """Names of the materials in use that use up a gas which is followed."""
    gases = simulated_gases(case.product)
    return list(dict.fromkeys(m.name for m in _materials(case) if any(m.uses_up(g) for g in gases)))


def _materials(case: Case) -> list[Material]:
    return [layer.material for wall in walls_in_use(case.package) for layer in wall.layers]


def choose(case: Case, shelf_life: float | None) -> WallChoice:
    """How to simulate the walls; shelf_life [s] of the steady answer, or None. With ``auto`` see the
    module."""
    memory = memory_of(case, shelf_life)
    missing, resistances = _missing(memory), _resistances(case, memory)
    active, creeps = uses_gas(case), bool(case.product.headspace.creep)
    if case.wall == "steady":
        return WallChoice("steady", "asked for", (*memory.doubts, *missing))
    if case.wall == "transient":
        return WallChoice("transient", "asked for", resistances)
    if active:
        return WallChoice("transient", f"{listed(active)} uses up gas inside the wall", resistances)
    if creeps:
        return WallChoice("transient", "the package creeps", resistances)
    if memory.doubts:
        why = []
        if memory.largest > 0.0:
            why.append(
                f"a time lag of {duration(memory.largest / DAY)} is more than 5 % of the time looked at"
            )
        if memory.share > MATTERS:
            why.append(f"the wall holds {100 * memory.share:.0f} % of what a limit allows")
        return WallChoice("transient", ", and because ".join(why), resistances)
    if memory.lacking and not memory.known:
        return WallChoice("steady", "no diffusivity is known, so that nothing tells against it", missing)
    known = "as far as diffusivities are known, " if memory.lacking else ""
    return WallChoice(
        "steady", f"{known}lag and gas held by the walls are below 5 % of what matters", missing
    )


def _resistances(case: Case, memory: Memory) -> tuple[str, ...]:
    """What walls in transient rest on where a diffusivity is missing."""
    found = []
    if memory.lacking:
        parts = "; ".join(f"{gas}: {', '.join(names)}" for gas, names in memory.lacking.items())
        found.append(f"No diffusivity for {parts}; there the wall is a resistance that holds nothing")
    gases = simulated_gases(case.product)
    slow = [
        m.name
        for m in _materials(case)
        if any(g in m.gases and m.gases[g].humidity_sensitive for g in gases) and "H2O" not in m.diffusivity
    ]
    if slow:
        found.append(
            f"No H2O diffusivity for {listed(list(dict.fromkeys(slow)))}: taken to follow the humidity "
            "around it at once. A barrier that stays damp for weeks after a humid stage lets more through "
            "than predicted, one that is slow to get damp less"
        )
    return tuple(found)


def _missing(memory: Memory) -> tuple[str, ...]:
    if not memory.lacking:
        return ()
    parts = "; ".join(f"{gas}: {', '.join(names)}" for gas, names in memory.lacking.items())
    return (f"Time lag and gas stored in the wall could not be judged, no diffusivity for {parts}",)


def memory_of(case: Case, shelf_life: float | None) -> Memory:
    """Lag of each wall against the shelf life, and gas stored in the walls against what the limits allow."""
    gases = [g for g in simulated_gases(case.product) if g in ("O2", "CO2")]
    package = with_nitrogen(case.package)
    longest = shelf_life if shelf_life is not None else case.target or case.horizon
    stage = _first_stage(case)
    doubts: list[str] = []
    lacking: dict[str, list[str]] = {}
    largest = share_held = 0.0
    for gas in gases:
        stored = 0.0
        shares = _shares(package, gas, stage, inside_activity(case.product))
        for wall in walls_in_use(package):
            unknown = unknown_diffusivity(wall, gas)
            if unknown:
                lacking.setdefault(gas, []).extend(x for x in unknown if x not in lacking.get(gas, []))
            memory = wall_memory(wall, gas, stage.temperature, _resistance(case, wall, gas, stage))
            if memory.lag > MATTERS * longest and shares[wall.name] > MATTERS:
                largest = max(largest, memory.lag)
                doubts.append(
                    f"Wall {wall.name!r}, {100 * shares[wall.name]:.0f} % of the {gas} flow: the time lag "
                    f"({duration(memory.lag / DAY)}) is more than 5 % of the time looked at; the steady-wall "
                    "answer is doubtful early on"
                )
            stored += memory.stored * _area(package, wall)
        allowed = _allowed(case, gas)
        amount = stored * _difference(case, gas)
        if allowed and amount > MATTERS * allowed:
            share_held = max(share_held, amount / allowed)
            verb = "releases" if gas == "O2" else "takes up"
            doubts.append(
                f"The wall itself {verb} about {in_moles(amount)} {gas} that the steady-wall answer leaves "
                f"out: {100 * amount / allowed:.0f} % of what the limit allows"
            )
    known = any(g in m.diffusivity for g in gases for m in _materials(case))
    return Memory(tuple(doubts), lacking, largest, share_held, known)


def _first_stage(case: Case) -> Stage:
    """The first stage; one with many conditions (hourly weather) at its effective temperature and mean
    humidity."""
    first = named_stages(case.storage)[0]
    return Stage(
        first.name,
        1.0,
        effective_temperature(first.temperature, _USUAL_ENERGY, first.weight),
        float(first.humidity @ first.weight),
        float(first.pressure @ first.weight),
    )


def _area(package: Package, wall: Wall) -> float:
    """Area times thickness ratio [m2]: what the wall holds goes with its volume."""
    return sum(
        p.mass_area(wall.thickness) for p in package.parts if isinstance(p, WallPart) and p.wall == wall.name
    )


def _shares(package: Package, gas: str, stage: Stage, inside: float) -> dict[str, float]:
    """Share of each wall in the package's conductance for ``gas`` in a stage."""
    conditions = np.array([stage.temperature]), np.array([stage.humidity]), np.array([stage.pressure])
    parts = part_exchange(package, np.array([inside]), conditions, (gas,), water=False)
    total = sum(float(values[gas].sum()) for values in parts.values())
    found: dict[str, float] = {wall.name: 0.0 for wall in walls_in_use(package)}
    for part in package.parts:
        if isinstance(part, WallPart) and total > 0.0:
            found[part.wall] += float(parts[part.name][gas].sum()) / total
    return found


def _resistance(case: Case, wall: Wall, gas: str, stage: Stage) -> Array:
    if gas in reported_gases(case) and has_law(case.package, "H2O"):
        return wall_state(
            wall, (gas,), stage.temperature, inside_activity(case.product), stage.humidity
        ).resistance[gas]
    return np.array(
        [
            x.thickness * float(x.material.mean_resistivity(gas, stage.temperature, 0.0, 0.0))
            for x in wall.layers
        ]
    )


def _difference(case: Case, gas: str) -> float:
    """Difference between the pressure that the walls are used to and that inside at closing [Pa]."""
    product = case.product
    inside = headspace_gas(product).get(gas, 0.0) * ATMOSPHERE
    if gas == "CO2":
        inside += carbonation_pressure(product)
        return abs(inside - DRY_AIR["CO2"] * ATMOSPHERE)
    return max(case.before.gas.get(gas, 0.0) * ATMOSPHERE - inside, 0.0)


def _allowed(case: Case, gas: str) -> float | None:
    """Amount of gas that the tightest limit lets in (O2) or out (CO2) [mol]."""
    product = case.product
    allowed = []
    for limit in product.limits:
        if gas == "O2" and limit.name == "oxygen_gain":
            allowed.append(limit.value * product.mass / MOLAR_MASS["O2"])
        elif gas == "O2" and limit.name == "headspace_oxygen":
            room = ATMOSPHERE * product.headspace.volume / (GAS_CONSTANT * product.closing_temperature)
            allowed.append(max(limit.value - headspace_gas(product).get("O2", 0.0), 0.0) * room)
        elif gas == "CO2" and limit.name == "co2_loss":
            total = contents_of(product, ("CO2",), False).amounts["CO2"] or carbonation_amount(product)
            allowed.append(limit.value * total)
    return min(allowed) if allowed else None


def model_of(case: Case) -> str:
    """steady or transient: how ``predict`` simulates the walls of this case."""
    if case.wall in ("steady", "transient"):
        return case.wall
    case = expanded(case)
    run = simulate(case.product, exchange_of(case), until=case.horizon)
    return choose_after(case, run).model


def choose_after(case: Case, steady: Trajectory) -> WallChoice:
    """``choose`` with the life that steady walls give; one that is over at closing says nothing of the
    time."""
    life = float(steady.crossing.min()) if steady.crossing.size else np.inf
    return choose(case, life if 0.0 < life < np.inf else None)

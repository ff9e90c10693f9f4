"""All that a batch of varied cases needs, as plain arrays worked out once for many samples.

Shapes: B samples, T and P = B where temperature (T), or temperature or humidity (P), differ between samples
and 1 elsewhere; U different conditions outside, R rows of time, N names of stages, G gases, K limits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ATMOSPHERE, DRY_AIR, GAS_CONSTANT, MOLAR_MASS
from optimizer.errors import InputError, Problem, SolverError
from optimizer.physics.leaks import hole_conductance
from optimizer.physics.permeability import arrhenius
from optimizer.physics.sorption import GAB, Henderson, Isotherm, Oswin, TableIsotherm
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import (
    contents_of,
    inside_activity,
    simulated_gases,
    solubility,
    water_matters,
)
from optimizer.shelflife.exchange import with_nitrogen
from optimizer.shelflife.flexible import COLLAPSED
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.package import Case, ClosurePart, HolePart, Package, Product, Stage
from optimizer.shelflife.sampled_walls import Walls, walls_of, with_scavenger
from optimizer.shelflife.segments import last_run, same_surroundings
from optimizer.shelflife.terms import ZERO_ORDER_HALF_PRESSURE
from optimizer.shelflife.variation import Variation
from optimizer.shelflife.varied import closing_shares, held_humidity, held_temperature

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

LIMITS = (
    "water_gain",
    "water_loss",
    "water_activity_max",
    "water_activity_min",
    "co2_loss",
    "headspace_oxygen",
    "oxygen_gain",
)
#: Kinds of isotherm; 0 for a fixed activity inside.
FIXED, GAB_LAW, OSWIN, HENDERSON, BY_TABLE, OTHER = range(6)
#: Least dry pressure in a flexible package, as a share of the total: a sample far out in the tail of a hot
#: climate would else inflate without end.
_LEAST_DRY = 1e-3


class Times(NamedTuple):
    """Rows of time: condition (R,) and base duration (R,) [s], without end for a last row that goes on; name
    (R,): number of the stage's name; stretch (B, N): factors on durations; horizon and target [s], the same
    where there is no target."""

    condition: Whole
    base: Array
    name: Whole
    stretch: Array
    horizon: float
    target: float


class Inside(NamedTuple):
    """Contents and surroundings. oxygen: place of O2 among the gases, or -1; reacts: whether it is used up.

    room (T, U): V/RT [mol/Pa]; floor (B,): least room of a flexible headspace that has nearly no gas
    [mol/Pa]; saturation (T, U) [Pa]; total (U,) [Pa]; humidity (P, U); outside (G, P, U) [Pa]; dissolving (G,
    T, U) [mol/Pa]; fixed (G + 1, B or 1, U): closures and holes, water last [mol/(s Pa)]; use_pressure,
    use_amount, use_most (B or 1, U), half: see ``terms.Reaction``.

    At closing: water (B,), amounts (B, G), dissolved (B,) [mol]; activity; before (G, P) [Pa] of the gases
    that the walls are in equilibrium with. per_mole (B,): content of the isotherm per mole of water;
    isotherm, its kind and numbers. limit_kind (K,): place in ``LIMITS``; limit (B, K); sign (K,); per_oxygen,
    per_water: [kg/mol] over the mass of product [kg]; scales: sizes of the state, for the tolerance [mol]."""

    rigid: bool
    tracked: bool
    moving: bool
    lagged: bool
    oxygen: int
    reacts: bool
    room: Array
    floor: Array
    saturation: Array
    total: Array
    humidity: Array
    outside: Array
    dissolving: Array
    fixed: Array
    use_pressure: Array
    use_amount: Array
    use_most: Array
    half: float
    water: Array
    amounts: Array
    dissolved: Array
    activity: float
    before: Array
    per_mole: Array
    isotherm: int
    numbers: Array
    limit_kind: Whole
    limit: Array
    sign: Array
    per_oxygen: float
    per_water: float
    scales: Array


class Plan(NamedTuple):
    """A batch: rows of time, walls, contents."""

    times: Times
    walls: Walls
    inside: Inside


def plan_of(case: Case, variation: Variation, times: Times, conditions: Array, *, lagged: bool) -> Plan:
    """Arrays for the samples of ``variation``. times, conditions: see ``rows_of``; lagged: the walls hold
    gas.

    Raises MaterialError where a law is missing.
    """
    product = case.product
    gases = simulated_gases(product)
    tracked, moving = water_matters(product), product.moisture is not None
    package = with_nitrogen(case.package) if "N2" in gases else case.package
    temperature = conditions[0][None, :]
    if variation.temperature is not None:
        temperature = held_temperature(temperature + variation.temperature[:, None])
    humidity = conditions[1][None, :]
    if variation.humidity is not None:
        humidity = held_humidity(humidity + variation.humidity[:, None])
    walls = walls_of(
        package, case.package, variation, gases, temperature, tracked=tracked, moving=moving, lagged=lagged
    )
    lagged = lagged and bool(np.any(walls.solubility))
    share = dict(zip(DRY_AIR, conditions[3:], strict=True))
    inside = _inside(
        case, package, variation, gases, temperature, humidity, conditions[2], share, lagged, tracked
    )
    first = times.condition[0]
    before = _before(case, gases, temperature[:, first], humidity[:, first])
    return Plan(times, walls, inside._replace(before=before))


def rows_of(case: Case, variation: Variation) -> tuple[Times, Array]:
    """Rows of time, enough for every sample to reach the horizon, and the different conditions (6, U):
    temperature [K], humidity and pressure [Pa] without offsets, dry shares of O2, N2 and CO2 outside."""
    storage = case.storage
    names = list(dict.fromkeys(s.name for s in storage))
    stretch = np.ones((variation.size, len(names)))
    for k, name in enumerate(names):
        if name in variation.duration:
            stretch[:, k] = variation.duration[name]
    if not (np.all(stretch > 0.0) and all(s.duration > 0 for s in storage) and case.horizon > 0):
        raise ValueError("stages and the time to look ahead need positive durations")
    least = stretch.min(axis=0)
    tail = list(storage[last_run(storage) :])
    rows: list[Stage] = []
    width: list[float] = []
    elapsed = np.zeros(())
    for k in range(10**9):
        if elapsed >= case.horizon or (k >= len(storage) and len(tail) == 1):
            break
        s = storage[k] if k < len(storage) else tail[(k - len(storage)) % len(tail)]
        elapsed = elapsed + s.duration * least[names.index(s.name)]
        if rows and same_surroundings(rows[-1], s):
            width[-1] += s.duration
        else:
            rows.append(s)
            width.append(s.duration)
    if len(tail) == 1 and same_surroundings(rows[-1], tail[0]):
        width[-1] = np.inf
    table = np.array(
        [(s.temperature, s.humidity, s.pressure, *(s.around.get(g, 0.0) for g in DRY_AIR)) for s in rows]
    )
    unique, condition = np.unique(table, axis=0, return_inverse=True)
    target = case.horizon if case.target is None else min(case.target, case.horizon)
    number = np.array([names.index(s.name) for s in rows], dtype=np.int64)
    index = condition.reshape(-1).astype(np.int64)
    times = Times(index, np.array(width), number, stretch, float(case.horizon), float(target))
    return times, np.ascontiguousarray(unique.T)


def refuse_scavengers(case: Case) -> None:
    """Raise where a layer uses up a gas that is simulated: its profile is not that of a steady wall."""
    found = with_scavenger(case.package, simulated_gases(case.product))
    if found:
        names = ", ".join(repr(m.name) for m in found)
        raise SolverError(
            f"a wall with a layer that uses gas up ({names}) cannot be simulated lag-corrected; "
            "simulate it transient"
        )


def _before(case: Case, gases: Sequence[str], temperature: Array, humidity: Array) -> Array:
    """Pressure (G, P) [Pa] of each gas that the walls are in equilibrium with until closing."""
    given = case.before.humidity
    activity = humidity if given is None else np.array([given])
    dry = ATMOSPHERE - activity * saturation_pressure(temperature)
    return np.array([case.before.gas.get(g, 0.0) * dry for g in gases]).reshape(len(gases), len(dry))


def _inside(
    case: Case,
    package: Package,
    variation: Variation,
    gases: Sequence[str],
    temperature: Array,
    humidity: Array,
    total: Array,
    share: Mapping[str, Array],
    lagged: bool,
    tracked: bool,
) -> Inside:
    product, size = case.product, variation.size
    saturation = saturation_pressure(temperature)
    drier = total - humidity * saturation
    _refuse_inflating(product, saturation, total)
    contents = contents_of(product, tuple(gases), tracked)
    amounts, dissolved = _closing(product, gases, variation)
    isotherm = None if product.moisture is None else product.moisture.isotherm
    more = np.ones(size) if variation.isotherm is None else variation.isotherm
    dry_mass = 1.0 if product.moisture is None else product.moisture.dry_mass
    dissolving = np.array([product.volume * solubility(product, g, temperature) for g in gases])
    pressure, amount, most, half = _use(case, variation, gases, temperature, dissolving)
    collapsed = 1e-12 * amounts.sum(axis=1) / ATMOSPHERE
    limits = np.array([x.value for x in product.limits]) * np.ones((size, 1))
    for k, x in enumerate(product.limits):
        if x.name in variation.limit:
            limits[:, k] *= variation.limit[x.name]
    return Inside(
        rigid=product.headspace.rigid,
        tracked=tracked,
        moving=product.moisture is not None,
        lagged=lagged,
        oxygen=gases.index("O2") if "O2" in gases else -1,
        reacts=contents.reacts,
        room=product.headspace.volume / (GAS_CONSTANT * temperature),
        floor=collapsed,
        saturation=saturation,
        total=np.asarray(total, dtype=float),
        humidity=np.ascontiguousarray(np.broadcast_to(humidity, drier.shape)),
        outside=np.array([share[g] * drier for g in gases]).reshape(len(gases), *drier.shape),
        dissolving=dissolving.reshape(len(gases), *temperature.shape),
        fixed=_fixed(package, case.package, variation, (*gases, "H2O"), temperature, total),
        use_pressure=pressure,
        use_amount=amount,
        use_most=most,
        half=half,
        water=contents.water * more,
        amounts=amounts,
        dissolved=dissolved,
        activity=float(inside_activity(product)),
        before=np.zeros((0, 0)),
        per_mole=MOLAR_MASS["H2O"] / dry_mass / more,
        isotherm=isotherm_kind(isotherm),
        numbers=_numbers(isotherm),
        limit_kind=np.array([LIMITS.index(x.name) for x in product.limits], dtype=np.int64),
        limit=limits,
        sign=np.array([sign_of(x.name) for x in product.limits], dtype=float),
        per_oxygen=MOLAR_MASS["O2"] / product.mass,
        per_water=MOLAR_MASS["H2O"] / product.mass,
        scales=np.array(contents.scales(), dtype=float),
    )


def _refuse_inflating(product: Product, saturation: Array, total: Array) -> None:
    highest = 1.0 if product.moisture is not None else inside_activity(product)
    if not product.headspace.rigid and np.any(np.median(saturation, axis=0) * highest >= total):
        raise InputError(
            Problem(
                "the water vapour inside a flexible package reaches the pressure outside, so that it would "
                "inflate without end",
                field="storage",
                hint="use rigid walls or a lower temperature",
            )
        )


def _closing(product: Product, gases: Sequence[str], variation: Variation) -> tuple[Array, Array]:
    """Amounts at closing (B, G) and oxygen dissolved in the product (B,) [mol]; see ``contents_of``."""
    factor = np.ones(variation.size) if variation.headspace_oxygen is None else variation.headspace_oxygen
    contents = contents_of(product, tuple(gases), False)
    shares, closing = closing_shares(product, factor), product.closing_temperature
    dry = max(ATMOSPHERE - inside_activity(product) * float(saturation_pressure(closing)), 0.0)
    nominal = closing_shares(product, np.ones(()))
    room = product.headspace.volume / (GAS_CONSTANT * closing)
    dissolved = contents.dissolved_oxygen * factor
    amounts = np.empty((variation.size, len(gases)))
    for k, gas in enumerate(gases):
        amounts[:, k] = contents.amounts[gas]
        moved = dry * (shares.get(gas, 0.0) - nominal.get(gas, 0.0))
        amounts[:, k] += moved * room
        if gas == "O2":
            amounts[:, k] += dissolved - contents.dissolved_oxygen
        elif gas != "CO2" or product.carbonation is None:
            amounts[:, k] += moved * product.volume * float(solubility(product, gas, closing))
    return amounts, dissolved


def _use(
    case: Case, variation: Variation, gases: Sequence[str], temperature: Array, dissolving: Array
) -> tuple[Array, Array, Array, float]:
    """The terms of ``terms.Reaction`` (B or 1, U), the half pressure one for all; see ``reactions_at``."""
    c = case.product.oxygen.consumption
    if c is None or "O2" not in gases:
        none = np.zeros((1, temperature.shape[1]))
        return none, none, none, 1.0
    rate = c.rate * arrhenius(c.activation_energy, temperature, c.temperature)
    if variation.consumption is not None:
        rate = rate * variation.consumption[:, None]
    none = np.zeros_like(rate)
    if c.order != 1:
        return none, none, rate, ZERO_ORDER_HALF_PRESSURE if c.order == 0 else c.half_pressure
    held = dissolving[gases.index("O2")]
    if np.any(held > 0.0):
        return rate * held, none, none, 1.0
    return none, rate, none, 1.0


def _fixed(
    package: Package,
    original: Package,
    variation: Variation,
    gases: Sequence[str],
    temperature: Array,
    total: Array,
) -> Array:
    """Conductance of closures and holes (G, B or 1, U) [mol/(s Pa)]."""
    before = {p.name: p for p in original.parts}
    size = max(len(temperature), variation.size if variation.transmission else 1)
    result = np.zeros((len(gases), size, temperature.shape[1]))
    for part in package.parts:
        for k, gas in enumerate(gases):
            if isinstance(part, HolePart):
                result[k] += part.count * hole_conductance(
                    gas, part.diameter, part.length, temperature, total
                )
            elif isinstance(part, ClosurePart) and gas in part.transmission:
                given, was = part.transmission[gas], before[part.name]
                # nitrogen made from oxygen varies with it
                source = gas if isinstance(was, ClosurePart) and gas in was.transmission else "O2"
                factor = variation.transmission.get((part.name, source))
                value = given.conductance * arrhenius(given.activation_energy, temperature, given.temperature)
                result[k] += value if factor is None else value * factor[:, None]
    return result


def isotherm_kind(isotherm: Isotherm | None) -> int:
    """Which of the kinds of isotherm it is; ``OTHER`` for one that only numpy can follow."""
    kinds = {type(None): FIXED, GAB: GAB_LAW, Oswin: OSWIN, Henderson: HENDERSON, TableIsotherm: BY_TABLE}
    return kinds.get(type(isotherm), OTHER)


def _numbers(isotherm: Isotherm | None) -> Array:
    """Of an isotherm: its constants, or a table's cells (start, a, three powers, start) one after the
    other."""
    if isinstance(isotherm, GAB):
        return np.array([isotherm.monolayer, isotherm.c, isotherm.k])
    if isinstance(isotherm, Oswin):
        return np.array([isotherm.a, isotherm.b])
    if isinstance(isotherm, Henderson):
        return np.array([isotherm.k * (isotherm.temperature_celsius + isotherm.c), isotherm.n])
    if isinstance(isotherm, TableIsotherm):
        return np.array(isotherm._cells, dtype=float).reshape(-1)
    return np.zeros(0)


#: What a flexible package keeps when it has collapsed, and the least dry pressure in it.
FOLDS, LEAST_DRY = COLLAPSED, _LEAST_DRY

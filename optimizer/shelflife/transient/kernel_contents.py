"""Contents, limits and the samples' own factors, as the compiled march takes them."""

from __future__ import annotations

from typing import Any

import numpy as np

from optimizer.constants import ATMOSPHERE, MOLAR_MASS
from optimizer.physics.material import Material
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import activity_range, inside_activity, solubility
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.terms import ZERO_ORDER_HALF_PRESSURE
from optimizer.shelflife.transient.kernel_data import Floats
from optimizer.shelflife.transient.laws import SETTLING
from optimizer.shelflife.transient.march import FLOOR
from optimizer.shelflife.transient.plan import Plan, opening_amounts

Value = Any
#: Cells of the product's isotherm over the activities that can be met.
_CELLS = 512
_KIND = {
    "water_gain": 0,
    "water_loss": 0,
    "water_activity_max": 1,
    "water_activity_min": 1,
    "co2_loss": 2,
    "headspace_oxygen": 3,
    "oxygen_gain": 4,
}
_LIMITED = {"co2_loss": "CO2", "headspace_oxygen": "O2", "oxygen_gain": "O2"}


def species_of(plan: Plan) -> tuple[str, ...]:
    return ("H2O", *plan.contents.gases)


def diffuses(material: Material, species: str) -> bool:
    """Whether a layer stores: its diffusivity is known, and something passes."""
    if species not in material.diffusivity:
        return False
    if species == "H2O":
        return material.water is not None and not material.water_law().blocks
    return not material.gas_law(species).blocks


def isotherm_of(plan: Plan, segments: Segments) -> tuple[Floats, float, float]:
    """Cubics (cells, 4) of the product's water [mol] in each cell of activity, the first activity, and cells
    per activity; nothing where its activity is fixed."""
    product, v = plan.contents.product, plan.variation
    moisture = product.moisture
    if moisture is None:
        return np.zeros((1, 4)), 0.0, 1.0
    shift = np.zeros(1) if v is None or v.humidity is None else v.humidity
    seen = np.array([segments.humidity.min() + shift.min(), segments.humidity.max() + shift.max()])
    low, high = activity_range(product, np.clip(seen, 0.0, 1.0))
    a = np.linspace(low, high, _CELLS + 1)
    per_mole = MOLAR_MASS["H2O"] / moisture.dry_mass
    inverse = _CELLS / (high - low)
    content = np.asarray(moisture.isotherm.content(a), dtype=float) / per_mole
    steep = np.asarray(moisture.isotherm.slope(a), dtype=float) / (per_mole * inverse)
    rise, m0, m1 = np.diff(content), steep[:-1], steep[1:]
    rows = [content[:-1], m0, 3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise]
    return np.stack(rows, axis=1), float(low), float(inverse)


def half_pressure(plan: Plan) -> float:
    c = plan.contents.product.oxygen.consumption
    if c is None or c.order == 1:
        return 1.0
    return ZERO_ORDER_HALF_PRESSURE if c.order == 0 else float(c.half_pressure)


def opening_activity(plan: Plan) -> float:
    return float(inside_activity(plan.contents.product))


def floors_of(plan: Plan) -> list[float]:
    """Floors of the error scales: water, gases, oxygen used."""
    scales = [FLOOR * x for x in plan.contents.scales()]
    water = [scales.pop(0)] if plan.water is not None else [0.0]
    gases = scales[: len(plan.gases)]
    return [*water, *gases, *(scales[len(plan.gases) :] or [0.0])]


def limits_of(plan: Plan) -> tuple[list[int], list[int], list[float], list[float]]:
    """Of each limit: kind, place of its gas, sign, and factor on what it counts."""
    names = [x.name for x in plan.contents.product.limits]
    gases = [plan.contents.gases.index(_LIMITED[n]) if n in _LIMITED else 0 for n in names]
    return [_KIND[n] for n in names], gases, [sign_of(n) for n in names], [_scale(plan, n) for n in names]


def _scale(plan: Plan, name: str) -> float:
    mass = plan.contents.product.mass
    if name in ("water_gain", "water_loss"):
        return MOLAR_MASS["H2O"] / mass * (1.0 if name == "water_gain" else -1.0)
    return MOLAR_MASS["O2"] / mass if name == "oxygen_gain" else 1.0


def counts_all_oxygen(plan: Plan) -> bool:
    """Whether a gain of oxygen counts all that is inside: where none dissolves and none is used."""
    product = plan.contents.product
    dissolves = "O2" in plan.contents.gases and (
        product.volume * float(solubility(product, "O2", product.closing_temperature)) > 0.0
    )
    return not dissolves and not plan.contents.reacts


def starts_of(plan: Plan) -> list[Value]:
    """What each limit on a change counts from [mol]."""
    opening, v = opening_amounts(plan), plan.variation
    more = 1.0 if v is None or v.headspace_oxygen is None else v.headspace_oxygen
    found: list[Value] = []
    for x in plan.contents.product.limits:
        if x.name in ("water_gain", "water_loss"):
            found.append(opening[0])
        elif x.name == "co2_loss" or (x.name == "oxygen_gain" and counts_all_oxygen(plan)):
            found.append(opening[1 + plan.contents.gases.index(_LIMITED[x.name])])
        else:
            found.append(plan.contents.dissolved_oxygen * more)
    return found


def values_of(plan: Plan) -> list[Value]:
    """The limits' values, by sample."""
    changed = {} if plan.variation is None else plan.variation.limit
    return [x.value * changed.get(x.name, 1.0) for x in plan.contents.product.limits]


def before_closing(plan: Plan, segments: Segments) -> list[Value]:
    """What the walls were in equilibrium with until closing: activity, pressures of the gases [Pa]."""
    given, v = plan.case.before, plan.variation
    shift: Value = 0.0 if v is None or v.humidity is None else v.humidity
    warmer: Value = 0.0 if v is None or v.temperature is None else v.temperature
    humidity: Value = np.clip(segments.humidity[0] + shift, 0.0, 1.0)
    if given.humidity is not None:
        humidity = given.humidity
    dry = ATMOSPHERE - humidity * saturation_pressure(segments.temperature[0] + warmer)
    return [humidity, *(given.gas.get(g, 0.0) * dry for g in plan.contents.gases)]


def layers_of(plan: Plan) -> tuple[list[Value], list[Value]]:
    """Factors on the permeability and the solubility of each layer of each species: geometry and
    variation."""
    conduct: list[Value] = []
    store: list[Value] = []
    for name in species_of(plan):
        for c in plan.columns:
            factors = plan.factors(c, name)
            for material, length, (more, quicker) in zip(c.materials, c.lengths, factors, strict=True):
                conduct.append(2.0 * c.area * more / length)
                slower = 1.0 / quicker if diffuses(material, name) else SETTLING / (length * length)
                store.append(0.5 * c.area * length * more * slower)
    return conduct, store


def passes_of(plan: Plan) -> list[Value]:
    """Factor on each closure or hole for each species."""
    given = {} if plan.variation is None else plan.variation.transmission
    return [given.get((part.name, name), 1.0) for part in plan.fixed for name in species_of(plan)]


def own_of(plan: Plan) -> list[Value]:
    """Offsets on temperature [K] and humidity, factors on the use of oxygen and on the product's water."""
    v = plan.variation
    if v is None:
        return [0.0, 0.0, 1.0, 1.0]
    given = (v.temperature, v.humidity, v.consumption, v.isotherm)
    return [otherwise if x is None else x for x, otherwise in zip(given, (0.0, 0.0, 1.0, 1.0), strict=True)]

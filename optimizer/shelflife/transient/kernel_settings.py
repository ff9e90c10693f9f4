"""What the compiled march needs at each temperature, as a table of settings."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from optimizer.physics.leaks import hole_conductance
from optimizer.physics.material import Material
from optimizer.physics.permeability import arrhenius
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import solubility
from optimizer.shelflife.package import HolePart
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.transient.kernel_data import Floats, Integers
from optimizer.shelflife.transient.laws import arrhenius_of, diffusivity, gas_permeability
from optimizer.shelflife.transient.plan import Plan

#: Rows of the table in a kelvin, where temperatures differ from sample to sample; cubics between them are
#: good to 1e-9 of a value.
ROWS_PER_KELVIN = 5


class Settings(NamedTuple):
    """table: (rows, columns of ``at``); row: (S,) of each segment, its own (exact) or the first of those for
    its pressure, which begin at ``coldest`` [K] and are ``ROWS_PER_KELVIN`` apart."""

    table: Floats
    row: Integers
    exact: bool
    coldest: float


def settings_of(plan: Plan, segments: Segments, materials: list[Material]) -> Settings:
    v, t, count = plan.variation, segments.temperature, len(segments)
    if v is None or v.temperature is None:
        return Settings(at(plan, materials, t, segments.pressure), np.arange(count), True, 0.0)
    # a row to spare below and two above, for the cubics
    coldest = float(t.min() + v.temperature.min()) - 2.0 / ROWS_PER_KELVIN
    rows = int((float(t.max() + v.temperature.max()) - coldest) * ROWS_PER_KELVIN) + 4
    grid = coldest + np.arange(rows) / ROWS_PER_KELVIN
    pressures, which = np.unique(segments.pressure, return_inverse=True)
    if not any(isinstance(part, HolePart) for part in plan.fixed):
        # only holes depend on the pressure
        pressures, which = pressures[:1], np.zeros(count, dtype=np.int64)
    tables = [at(plan, materials, grid, np.full(rows, p)) for p in pressures]
    return Settings(np.concatenate(tables), which * rows, False, coldest)


def at(plan: Plan, materials: list[Material], t: Floats, pressure: Floats) -> Floats:
    """Rows for temperatures [K] and pressures [Pa]. Columns: saturation pressure [Pa]; H V_product of each
    gas [mol/Pa]; linear_pressure, linear_amount and most of the reaction; conductance of each closure or hole
    for each species [mol/(s Pa)]; then for each species the permeability of each material at its driest point
    (times the saturation pressure for water), and its solubility, P / D (P without a D)."""
    product, gases = plan.contents.product, plan.contents.gases
    psat = saturation_pressure(t)
    dissolving = {g: product.volume * solubility(product, g, t) for g in gases}
    columns = [psat, *dissolving.values(), *_reaction(plan, t, dissolving.get("O2", np.zeros(len(t))))]
    for part in plan.fixed:
        for species in ("H2O", *gases):
            if isinstance(part, HolePart):
                columns.append(
                    part.count * hole_conductance(species, part.diameter, part.length, t, pressure)
                )
            elif species in part.transmission:
                given = part.transmission[species]
                columns.append(given.conductance * arrhenius(given.activation_energy, t, given.temperature))
            else:
                columns.append(np.zeros(len(t)))
    for species in ("H2O", *gases):
        found = [_laws(m, species, t, psat, plan.water is not None) for m in materials]
        columns += [p for p, _ in found]
        columns += [s for _, s in found]
    return np.stack(columns, axis=1)


def _reaction(plan: Plan, t: Floats, dissolving: Floats) -> list[Floats]:
    """The product's use of oxygen, as ``terms.reactions_at``."""
    nothing = np.zeros(len(t))
    c = plan.contents.product.oxygen.consumption
    if c is None or not plan.contents.reacts:
        return [nothing, nothing, nothing]
    rate = c.rate * arrhenius(c.activation_energy, t, c.temperature)
    if c.order != 1:
        return [nothing, nothing, rate]
    dissolves = dissolving > 0.0
    return [np.where(dissolves, rate * dissolving, 0.0), np.where(dissolves, 0.0, rate), nothing]


def _laws(material: Material, species: str, t: Floats, psat: Floats, wet: bool) -> tuple[Floats, Floats]:
    if species == "H2O":
        if not wet:
            return np.zeros(len(t)), np.zeros(len(t))
        law = material.water_law()
        p = psat * arrhenius_of(law.activation_energy, t, law.temperature)
        d = None if law.blocks else diffusivity(material, species, t)
    else:
        p = np.broadcast_to(gas_permeability(material, species, t), t.shape)
        d = diffusivity(material, species, t)
    return p, p if d is None else p / d

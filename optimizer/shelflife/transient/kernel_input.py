"""From a plan to the arrays of the compiled march."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optimizer.constants import MOLAR_MASS
from optimizer.physics.material import Material
from optimizer.physics.spectral import lobatto
from optimizer.shelflife.contents import activity_range, inside_activity
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.transient.kernel_data import Asked, Climate, Contents, Floats, Laws, Layout
from optimizer.shelflife.transient.laws import potential_of, response_of
from optimizer.shelflife.transient.march import FLOOR
from optimizer.shelflife.transient.plan import Plan
from optimizer.shelflife.transient.surroundings import Surroundings
from optimizer.shelflife.variation import Variation

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


def fits(plan: Plan) -> bool:
    """Whether the compiled march can follow this package."""
    product = plan.contents.product
    sinks = any(place.used >= 0 for place in plan.gases)
    return product.headspace.rigid and not product.headspace.creep and not sinks


def _table(value: Any) -> Floats:
    """One row: (1, 1) or (1, B)."""
    return np.ascontiguousarray(np.atleast_1d(np.asarray(value, dtype=float)).reshape(1, -1))


def _rows(values: Sequence[Any]) -> Floats:
    """(n, 1) where no value differs from sample to sample, else (n, B)."""
    rows = [np.atleast_1d(np.asarray(v, dtype=float)).reshape(-1) for v in values]
    width = max((len(r) for r in rows), default=1)
    return np.ascontiguousarray(np.stack([np.broadcast_to(r, (width,)) for r in rows])) if rows else np.zeros((0, 1))


def materials_of(plan: Plan) -> list[Material]:
    return list({id(m): m for c in plan.columns for m in c.materials}.values())


def layout_of(plan: Plan) -> tuple[Layout, int]:
    """Layout, and nodes of the largest element."""
    materials = {id(m): k for k, m in enumerate(materials_of(plan))}
    counts = [len(e.weights) for c in plan.columns for e in c.elements]
    largest = max(counts, default=2)
    weights = np.zeros((largest, largest))
    conduct = np.zeros((largest, largest, largest))
    points = np.zeros((largest, largest, largest, largest))
    for n in set(counts):
        e = lobatto(n - 1)
        stiffness = e.stiffness()
        weights[n - 1, :n] = e.weights
        conduct[n - 1, :n, :n] = stiffness.sum(axis=0)
        points[n - 1, :n, :n, :n] = stiffness
    first, at, place = [0], [], 0
    for c in plan.columns:
        first.append(first[-1] + len(c.materials))
        for e_ref in c.elements:
            at.append(place)
            place += len(e_ref.weights) - 1
        place -= 1  # the outermost face is no unknown
    return (
        Layout(
            np.array(first),
            np.array(counts, dtype=np.int64),
            np.array(at, dtype=np.int64),
            np.array([materials[id(m)] for c in plan.columns for m in c.materials], dtype=np.int64),
            weights,
            conduct,
            points,
            _rows([x for c in plan.columns for x in c.lengths]),
            _rows([c.area for c in plan.columns]),
            plan.water is not None,
            place,
        ),
        largest,
    )


def laws_of(plan: Plan) -> Laws:
    materials, gases = materials_of(plan), plan.contents.gases
    v = plan.variation
    k, g = len(materials), len(gases)
    water = np.zeros((k, 6))
    pieces = 1
    if plan.water is not None:
        pieces = max(len(m.water_law().slopes) for m in materials) if materials else 1
    knots, slopes, levels = np.zeros((k, pieces)), np.ones((k, pieces)), np.zeros((k, pieces))
    gas = np.zeros((g, k, 6))
    table = np.full((g, k), -1, dtype=np.int64)
    responses = []
    for j, m in enumerate(materials):
        if plan.water is not None:
            law = m.water_law()
            p = potential_of(law)
            n = 1 if p.straight else len(p.slopes)
            d = None if law.blocks else m.diffusivity.get("H2O")
            water[j] = (
                law.activation_energy,
                law.temperature,
                0.0 if d is None else d.diffusivity,
                0.0 if d is None else d.activation_energy,
                1.0 if d is None else d.temperature,
                n,
            )
            knots[j, :n], slopes[j, :n], levels[j, :n] = p.knots[:n], p.slopes[:n], p.levels[:n]
        for i, name in enumerate(gases):
            own = m.gas_law(name)
            d = None if own.blocks else m.diffusivity.get(name)
            gas[i, j] = (
                own.permeability[0],
                own.activation_energy,
                own.temperature,
                0.0 if d is None else d.diffusivity,
                0.0 if d is None else d.activation_energy,
                1.0 if d is None else d.temperature,
            )
            response = response_of(own)
            if response is not None:
                table[i, j] = len(responses)
                responses.append(response.table)

    def factors(of: Any, species: str) -> Floats:
        return _rows([of.get((m.name, species), 1.0) for m in materials])

    def stacked(of: Any) -> Floats:
        tables = [factors(of, name) for name in gases]
        width = max((t.shape[1] for t in tables), default=1)
        return np.ascontiguousarray([np.broadcast_to(t, (k, width)) for t in tables]).reshape(g, k, width)

    more = {} if v is None else v.permeability
    quicker = {} if v is None else v.diffusivity
    return Laws(
        water,
        knots,
        slopes,
        levels,
        gas,
        table,
        np.array(responses) if responses else np.zeros((1, 2)),
        factors(more, "H2O"),
        factors(quicker, "H2O"),
        stacked(more),
        stacked(quicker),
    )


def climate_of(plan: Plan, segments: Segments, surroundings: Surroundings) -> Climate:
    v, contents = plan.variation, plan.contents
    s = len(segments)

    def two(x: Any) -> Floats:
        x = np.asarray(x, dtype=float)
        return np.ascontiguousarray(x[:, None] if x.ndim == 1 else x)

    def three(rows: list[Any]) -> Floats:
        tables = [two(x) for x in rows]
        width = max((t.shape[1] for t in tables), default=1)
        joined = [np.broadcast_to(t, (s, width)) for t in tables]
        return np.ascontiguousarray(joined).reshape(len(rows), s, width)

    duration = segments.duration[:, None]
    if v is not None and v.duration:
        factors = [v.duration.get(name) for name in segments.stage]
        duration = np.stack([d * (np.ones(v.size) if f is None else f) for d, f in zip(duration, factors, strict=True)])

    def reaction(name: str) -> Floats:
        if not contents.reacts:
            return np.zeros((s, 1))
        return two([np.asarray(getattr(r, name), dtype=float) for r in surroundings.reactions])

    return Climate(
        np.ascontiguousarray(duration),
        two(surroundings.temperature),
        two(surroundings.humidity),
        two(surroundings.saturation),
        two(surroundings.water),
        reaction("linear_pressure"),
        reaction("linear_amount"),
        reaction("most"),
        three(surroundings.outside),
        three(surroundings.dissolving),
        three(surroundings.conductance),
    )


def contents_for(plan: Plan, surroundings: Surroundings) -> Contents:
    contents, v = plan.contents, plan.variation
    product = contents.product
    moisture = product.moisture
    content, steep = np.zeros(2), np.zeros(2)
    low, inverse = 0.0, 1.0
    if moisture is not None:
        low, high = activity_range(product, np.asarray(surroundings.humidity).reshape(-1))
        a = np.linspace(low, high, _CELLS + 1)
        per_mole = MOLAR_MASS["H2O"] / moisture.dry_mass
        content = np.asarray(moisture.isotherm.content(a), dtype=float) / per_mole
        steep = np.asarray(moisture.isotherm.slope(a), dtype=float) / per_mole
        inverse = _CELLS / (high - low)
    gas, humidity = surroundings.before()
    reaction = next((r for r in surroundings.reactions if r is not None), None)
    return Contents(
        product.headspace.volume,
        moisture is not None,
        np.ascontiguousarray(content),
        np.ascontiguousarray(steep),
        low,
        inverse,
        _table(1.0 if v is None or v.isotherm is None else v.isotherm),
        inside_activity(product),
        1.0 if reaction is None else reaction.half,
        contents.gases.index("O2") if contents.reacts else -1,
        _rows(opening_amounts(plan)),
        _rows([humidity, *gas]),
        np.array(_floors(plan)),
    )


def opening_amounts(plan: Plan) -> list[Any]:
    """Water and gases inside at closing [mol], by sample."""
    contents, v = plan.contents, plan.variation
    water: Any = contents.water if contents.product.moisture is not None else 0.0
    if v is not None and v.isotherm is not None and contents.product.moisture is not None:
        water = water * v.isotherm
    amounts: list[Any] = [contents.amounts[g] for g in contents.gases]
    if v is not None and v.headspace_oxygen is not None and "O2" in contents.gases:
        k = contents.gases.index("O2")
        amounts[k] = amounts[k] * v.headspace_oxygen
    return [water, *amounts]


def _floors(plan: Plan) -> list[float]:
    scales = [FLOOR * x for x in plan.contents.scales()]
    water = [scales.pop(0)] if plan.water is not None else [0.0]
    gases = scales[: len(plan.gases)]
    used = scales[len(plan.gases) :] or [0.0]
    return [*water, *gases, *used]


def asked_of(
    plan: Plan, *, target: float, end: float, times: ArrayLike, rtol: float, steps: int
) -> Asked:
    contents, v = plan.contents, plan.variation
    product = contents.product
    names = [x.name for x in product.limits]
    opening = opening_amounts(plan)
    dissolves = any(float(x) > 0.0 for x in _oxygen_dissolving(plan))
    whole = not dissolves and not contents.reacts
    scales, gas, start = [], [], []
    for name in names:
        place, scale, begin = 0, 1.0, 0.0
        if name in ("water_gain", "water_loss"):
            scale = MOLAR_MASS["H2O"] / product.mass * (1.0 if name == "water_gain" else -1.0)
            begin = opening[0]
        elif name == "co2_loss":
            place = contents.gases.index("CO2")
            begin = opening[1 + place]
        elif name in ("headspace_oxygen", "oxygen_gain"):
            place = contents.gases.index("O2")
            scale = MOLAR_MASS["O2"] / product.mass
            more = 1.0 if v is None or v.headspace_oxygen is None else v.headspace_oxygen
            begin = opening[1 + place] if whole else contents.dissolved_oxygen * more
        scales.append(scale)
        gas.append(place)
        start.append(begin)
    values = [x.value * (1.0 if v is None else v.limit.get(x.name, 1.0)) for x in product.limits]
    return Asked(
        np.array([_KIND[n] for n in names], dtype=np.int64),
        np.array([sign_of(n) for n in names]),
        _rows(values),
        np.array(scales),
        np.array(gas, dtype=np.int64),
        _rows(start),
        whole,
        target,
        end,
        np.ascontiguousarray(np.asarray(times, dtype=float)),
        rtol,
        steps,
    )


def _oxygen_dissolving(plan: Plan) -> list[float]:
    from optimizer.shelflife.contents import solubility

    product = plan.contents.product
    if "O2" not in plan.contents.gases:
        return []
    return [float(solubility(product, "O2", product.closing_temperature)) * product.volume]


def inputs(
    plan: Plan, segments: Segments, *, target: float, end: float, times: ArrayLike, rtol: float, steps: int
) -> tuple[int, Layout, Laws, Climate, Contents, Asked]:
    """Everything ``kernel.march_all`` reads."""
    surroundings = Surroundings(plan, segments)
    layout, largest = layout_of(plan)
    asked = asked_of(plan, target=target, end=end, times=times, rtol=rtol, steps=steps)
    climate = climate_of(plan, segments, surroundings)
    return largest, layout, laws_of(plan), climate, contents_for(plan, surroundings), asked


def samples_of(variation: Variation | None) -> int:
    return 1 if variation is None else variation.size

"""From a plan to the memory of the compiled march; its layout is in ``kernel_data``."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optimizer.constants import DRY_AIR
from optimizer.physics.material import Material
from optimizer.physics.spectral import lobatto
from optimizer.shelflife.segments import Segments
from optimizer.shelflife.transient import kernel_contents as inside
from optimizer.shelflife.transient import kernel_data as at
from optimizer.shelflife.transient.kernel_data import LANES, Floats, Integers, March, blocks_of
from optimizer.shelflife.transient.kernel_settings import ROWS_PER_KELVIN, settings_of
from optimizer.shelflife.transient.laws import potential_of, response_of
from optimizer.shelflife.transient.plan import Plan, opening_amounts


def fits(plan: Plan) -> bool:
    """Whether the compiled march can follow this package."""
    product = plan.contents.product
    sinks = any(place.used >= 0 for place in plan.gases)
    rigid = product.headspace.rigid and not product.headspace.creep
    in_air = all(stage.gas is None for stage in plan.case.storage)
    return bool(rigid and in_air and not sinks and plan.columns)


class Memory:
    """o and t as they grow, and the slots of w; ``header`` is the start of o."""

    def __init__(self) -> None:
        self.header = np.zeros(at.HEADER, dtype=np.int64)
        self._counts: list[Integers] = [self.header]
        self._numbers: list[Floats] = []
        self._count, self._number, self._slot = at.HEADER, 0, 0

    def counts(self, values: ArrayLike) -> int:
        """Place in o of further integers."""
        row = np.array(values, dtype=np.int64).reshape(-1)
        self._counts.append(row)
        self._count += len(row)
        return self._count - len(row)

    def numbers(self, values: ArrayLike) -> int:
        """Place in t of further floats."""
        row = np.asarray(values, dtype=float).reshape(-1)
        self._numbers.append(row)
        self._number += len(row)
        return self._number - len(row)

    def slots(self, count: int) -> int:
        """First of so many further slots of w."""
        self._slot += count
        return self._slot - count

    def arrays(self) -> tuple[Integers, Floats]:
        self.header[at.ROOM] = self._slot
        return np.concatenate(self._counts), np.concatenate(self._numbers)


def inputs(
    plan: Plan,
    segments: Segments,
    *,
    target: float,
    end: float,
    times: ArrayLike,
    rtol: float,
    steps: int,
    method: int,
    brief: float,
) -> March:
    """Everything that ``kernel.march_blocks`` reads, and room for its answer."""
    memory = Memory()
    head = memory.header
    when = np.asarray(times, dtype=float).reshape(-1)
    blocks = blocks_of(plan.samples)
    head[at.TIMES], head[at.WHEN] = len(when), memory.numbers(when)
    head[at.STEPS], head[at.METHOD] = steps, method
    materials = list({id(m): m for c in plan.columns for m in c.materials}.values())
    _count(head, plan)
    _walls(memory, plan, materials)
    scalars = {at.TARGET: target, at.END: end, at.RTOL: rtol, at.BRIEF: brief}
    scalars[at.ROWS_PER_KELVIN] = ROWS_PER_KELVIN
    scalars |= _climate(memory, plan, segments, materials)
    scalars |= _inside(memory, plan, segments)
    head[at.SCALARS] = memory.numbers([scalars[k] for k in range(at.COUNT_OF_SCALARS)])
    _work(memory)
    spread = _spread(memory, plan, segments)
    limits = int(head[at.LIMITS])
    for k, name in enumerate((at.CROSSING, at.EXTREME, at.CLOSING, at.RECOVERED)):
        head[name] = memory.slots(limits)
        assert k == 0 or head[name] == head[name - 1] + limits
    o, t = memory.arrays()
    record = np.full((blocks, len(when), int(head[at.SEEN]) + limits, LANES), np.nan)
    return March(
        o, t, spread, np.zeros((blocks, 4 * limits, LANES)), record, np.zeros(blocks, dtype=np.int64)
    )


def _count(head: Integers, plan: Plan) -> None:
    contents = plan.contents
    species = 1 + len(contents.gases)
    head[at.SPECIES], head[at.SEEN], head[at.LIMITS] = species, 1 + 2 * species, len(contents.product.limits)
    head[at.COLUMNS], head[at.FIXED] = len(plan.columns), len(plan.fixed)
    head[at.LAYERS] = sum(len(c.materials) for c in plan.columns)
    head[at.WET], head[at.MOVING] = plan.water is not None, contents.product.moisture is not None
    head[at.OXYGEN] = contents.gases.index("O2") if contents.reacts else -1
    head[at.WHOLE] = inside.counts_all_oxygen(plan)


def _walls(memory: Memory, plan: Plan, materials: list[Material]) -> None:
    """Elements, laws and records of the layers; room of the state."""
    head = memory.header
    layers = [(m, len(e.weights)) for c in plan.columns for m, e in zip(c.materials, c.elements, strict=True)]
    head[at.FIRST] = memory.counts(np.cumsum([0, *(len(c.materials) for c in plan.columns)]))
    head[at.NODES], head[at.MATERIALS] = max(n for _, n in layers), len(materials)
    elements = {n: _element(memory, n) for n in sorted({n for _, n in layers})}
    place = {id(m): k for k, m in enumerate(materials)}
    water = [_potential(memory, m) if plan.water is not None else (0, 0) for m in materials]
    answers = [any(m.gas_law(g).humidity_sensitive for g in plan.contents.gases) for m in materials]
    inner = [
        n - 1 - (k + 1 in np.cumsum([len(c.materials) for c in plan.columns]))
        for k, (_, n) in enumerate(layers)
    ]
    starts = np.concatenate([[0], np.cumsum(inner)])
    size = int(starts[-1])
    species = inside.species_of(plan)
    state = len(species) * size + len(species) + 1
    head[at.STATE] = state
    memory.slots(7 * state)
    each = at.PULL + int(head[at.NODES]) ** 2
    head[at.RECORDS] = memory.slots(each * len(species) * len(layers))
    rows = []
    for k, name in enumerate(species):
        responses = [_response(memory, m, name) for m in materials]
        for e, (m, n) in enumerate(layers):
            i = place[id(m)]
            row = [n, k * size + starts[e], head[at.RECORDS] + each * (k * len(layers) + e), elements[n]]
            rows.append([*row, *responses[i], inside.diffuses(m, name), *water[i], answers[i], i])
    head[at.CELLS] = memory.counts(rows)


def _element(memory: Memory, nodes: int) -> int:
    e = lobatto(nodes - 1)
    stiffness = e.stiffness()
    return memory.numbers([*e.weights, *stiffness.sum(axis=0).reshape(-1), *stiffness.reshape(-1)])


def _potential(memory: Memory, material: Material) -> tuple[int, int]:
    """Count of pieces of a material's potential, and their place."""
    p = potential_of(material.water_law())
    n = 1 if p.straight else len(p.slopes)
    return n, memory.numbers([*p.knots[:n], *p.slopes[:n], *p.levels[:n]])


def _response(memory: Memory, material: Material, species: str) -> tuple[int, int]:
    """Place of a gas law's response to humidity (of each cell of activity 0..1 the factor on P at its start,
    and the change of its logarithm), -1 for none; count of cells."""
    response = None if species == "H2O" else response_of(material.gas_law(species))
    if response is None:
        return -1, 1
    rows = np.stack([np.exp(response.table[:-1]), np.diff(response.table)], axis=1)
    return memory.numbers(rows), len(rows)


def _climate(memory: Memory, plan: Plan, segments: Segments, materials: list[Material]) -> dict[int, float]:
    head = memory.header
    head[at.SEGMENTS] = len(segments)
    names = {name: k for k, name in enumerate(dict.fromkeys(segments.stage))}
    settings = settings_of(plan, segments, materials)
    head[at.DURATION], head[at.TEMPERATURE] = (
        memory.numbers(segments.duration),
        memory.numbers(segments.temperature),
    )
    head[at.HUMIDITIES], head[at.PRESSURE] = (
        memory.numbers(segments.humidity),
        memory.numbers(segments.pressure),
    )
    head[at.DURATION_OF], head[at.ROW_OF] = (
        memory.counts([names[x] for x in segments.stage]),
        memory.counts(settings.row),
    )
    head[at.SETTING], head[at.SETTINGS] = memory.numbers(settings.table), settings.table.shape[1]
    head[at.EXACT] = settings.exact
    head[at.AIR] = memory.numbers([DRY_AIR[g] for g in plan.contents.gases])
    return {at.COLDEST: settings.coldest}


def _inside(memory: Memory, plan: Plan, segments: Segments) -> dict[int, float]:
    head = memory.header
    isotherm, low, inverse = inside.isotherm_of(plan, segments)
    head[at.ISOTHERM], head[at.ISOTHERM_CELLS] = memory.numbers(isotherm), len(isotherm)
    head[at.FLOORS] = memory.numbers(inside.floors_of(plan))
    kinds, gases, signs, scales = inside.limits_of(plan)
    head[at.KINDS], head[at.GASES] = memory.counts(kinds), memory.counts(gases)
    head[at.SIGNS], head[at.SCALES] = memory.numbers(signs), memory.numbers(scales)
    volume = float(plan.contents.product.headspace.volume)
    found = {at.LOW: low, at.INVERSE: inverse, at.VOLUME: volume}
    return found | {at.OPENING: inside.opening_activity(plan), at.HALF: inside.half_pressure(plan)}


def _work(memory: Memory) -> None:
    """Slots of what a block works with."""
    head = memory.header
    layers, nodes, seen, limits = (int(head[k]) for k in (at.LAYERS, at.NODES, at.SEEN, at.LIMITS))
    for name, count in (
        (at.ALPHA, layers),
        (at.BETA, layers),
        (at.JOINTS, layers + 1),
        (at.KEPT, layers + 1),
        (at.ACTIVITY, layers * nodes),
        (at.MATRIX, nodes * nodes),
        (at.ROW, nodes),
        (at.NOW, int(head[at.SETTINGS])),
        (at.HERE, 5 + 4 * int(head[at.SPECIES])),
        (at.VIEW, 4 * seen),
        (at.LIMITED, 4 * limits),
        (at.CLOCK, 4),
        (at.CAPACITY, 1),
        (at.LATER, int(head[at.STATE]) + layers + 1),
        (at.EARLIER, int(head[at.STATE])),
        (at.FOUND, limits + 1),
    ):
        head[name] = memory.slots(count)


def _spread(memory: Memory, plan: Plan, segments: Segments) -> Floats:
    """What differs from sample to sample (blocks, ., 8); the last sample fills up the last block."""
    head, v = memory.header, plan.variation
    conduct, store = inside.layers_of(plan)
    stages = dict.fromkeys(segments.stage)
    lasting = [1.0 if v is None else v.duration.get(name, 1.0) for name in stages]
    warmer, moister, consumes, holds = inside.own_of(plan)
    head[at.SPREAD] = memory.slots(0)
    rows: list[Any] = []
    for name, values in (
        (at.CONDUCT, conduct),
        (at.STORE, store),
        (at.TRANSMISSION, inside.passes_of(plan)),
        (at.LASTING, lasting),
        (at.WARMER, [warmer]),
        (at.MOISTER, [moister]),
        (at.CONSUMES, [consumes]),
        (at.HOLDS, [holds]),
        (at.AMOUNTS, opening_amounts(plan)),
        (at.BEFORE, inside.before_closing(plan, segments)),
        (at.VALUES, inside.values_of(plan)),
        (at.STARTS, inside.starts_of(plan)),
    ):
        head[name] = memory.slots(len(values))
        rows += values
    head[at.WIDTH_OF_SPREAD] = len(rows)
    blocks = blocks_of(plan.samples)
    table = np.empty((len(rows), blocks * LANES))
    for row, value in zip(table, rows, strict=True):
        row[: plan.samples] = value
    table[:, plan.samples :] = table[:, plan.samples - 1 : plan.samples]
    return np.ascontiguousarray(np.moveaxis(table.reshape(len(rows), blocks, LANES), 1, 0))

"""The compiled way of simulating a batch: one sample at closing, and as its surroundings change."""

from __future__ import annotations

from math import inf, nan
from typing import Any

from optimizer.shelflife.sampled_kernel import (
    AMOUNTS,
    AREA,
    BASE,
    DISSOLVING,
    FIRST_GAS,
    FIXED,
    FLAGS,
    FLOW,
    FLUX,
    GAS,
    GASES,
    HELD,
    HELD_BEFORE,
    HERE,
    LAGGED,
    LIMIT,
    MOVING,
    NOW,
    NUMBERS,
    OUTSIDE,
    OUTSIDE_BEFORE,
    PRESSURE,
    SHARE,
    SHARE_BEFORE,
    SIGN,
    START,
    STATE,
    WALLS,
    WIDTH,
    WORST,
    compiled,
    sorbed,
    sum_walls,
)
from optimizer.shelflife.sampled_plan import FOLDS
from optimizer.shelflife.sampled_walls import CONSTANT, NO_PASSAGE, TABLE


@compiled
def begin(sample: int, walls: Any, inside: Any, z: Any) -> None:
    """What stays the same for one sample."""
    for w in range(len(walls.live)):
        z[AREA, w] = walls.area[sample, w]
    for g in range(inside.amounts.shape[1]):
        z[AMOUNTS, g] = inside.amounts[sample, g]
    for k in range(len(inside.sign)):
        z[LIMIT, k], z[SIGN, k], z[WORST, k] = inside.limit[sample, k], inside.sign[k], -inf
    for k in range(len(inside.numbers)):
        z[NUMBERS, k] = inside.numbers[k]
    for i in range(len(inside.scales)):
        z[STATE, i] = 0.0
    if inside.tracked:
        z[STATE, 0] = inside.water[sample]
    z[HERE, 8], z[HERE, 9], z[HERE, 10] = inside.half, inside.per_mole[sample], inside.activity
    z[HERE, 11], z[HERE, 12] = inside.water[sample], inside.dissolved[sample]
    z[HERE, 13], z[HERE, 14] = inside.per_oxygen, inside.per_water


@compiled
def _lay(sample: int, u: int, walls: Any, inside: Any, z: Any) -> None:
    """Conditions ``u`` and the layers under them, of one sample."""
    t = sample if inside.room.shape[0] > 1 else 0
    o = sample if inside.humidity.shape[0] > 1 else 0
    e = sample if inside.use_most.shape[0] > 1 else 0
    c = sample if inside.fixed.shape[1] > 1 else 0
    count = inside.amounts.shape[1]
    z[HERE, 0], z[HERE, 1] = inside.saturation[t, u], inside.humidity[o, u]
    z[HERE, 2], z[HERE, 3] = inside.total[u], inside.room[t, u]
    z[HERE, 4] = max(FOLDS * inside.room[t, u], inside.floor[sample])
    z[HERE, 5], z[HERE, 6] = inside.use_pressure[e, u], inside.use_amount[e, u]
    z[HERE, 7] = inside.use_most[e, u]
    for g in range(count):
        z[OUTSIDE, g], z[DISSOLVING, g] = inside.outside[g, o, u], inside.dissolving[g, t, u]
        z[BASE, g] = inside.fixed[g, c, u]
    z[FLOW, 3] = inside.fixed[count, c, u] * z[HERE, 0]
    for w in range(len(walls.live)):
        z[FLUX, w] = nan
        for i in range(walls.start[w], walls.start[w + 1]):
            thick = walls.thickness[sample, i]
            z[WIDTH, i] = thick / (walls.water[t, u, i] * walls.water_scale[sample, i])
            for g in range(count):
                if walls.kind[g, i] == CONSTANT or walls.kind[g, i] == TABLE:
                    z[FIXED + g, i] = thick / (walls.permeability[g, t, u, i] * walls.gas_scale[sample, g, i])
                else:
                    z[FIXED + g, i] = thick * NO_PASSAGE
                if inside.lagged:
                    held = walls.solubility[g, t, u, i] * walls.solubility_scale[sample, g, i]
                    z[HELD + g, i] = held * thick * walls.store[sample, w]


@compiled
def enter(
    sample: int,
    u: int,
    at: int,
    opens: bool,
    walls: Any,
    inside: Any,
    z: Any,
    q: Any,
    knots: Any,
    cells: Any,
    lookup: Any,
) -> None:
    """Begin a row of time at condition ``u``: moles are kept, also those in the walls; at: rows of the state
    at hand; opens: this is the closing of the package."""
    count, first, layers = q[FLAGS, GASES], q[FLAGS, FIRST_GAS], walls.thickness.shape[1]
    for g in range(count):
        z[OUTSIDE_BEFORE, g] = z[OUTSIDE, g]
        inner = z[PRESSURE + 2 * at, g] * (z[NOW + at, 2] + z[DISSOLVING, g])
        z[STATE, first + g] = z[AMOUNTS, g] if opens else inner
        if q[FLAGS, LAGGED]:
            for i in range(layers):
                z[HELD_BEFORE + g, i] = z[HELD + g, i]
            for i in range(layers + q[FLAGS, WALLS]):
                z[SHARE_BEFORE + g, i] = z[SHARE + g, i]
    _lay(sample, u, walls, inside, z)
    a = inside.activity
    if q[FLAGS, MOVING]:
        a, _ = sorbed(z[STATE, 0] * z[HERE, 9], z, q)
    z[FLOW, 0] = z[FLOW, 1] = 0.0
    for g in range(count):
        z[GAS, g] = z[BASE, g]
        for j in range(1, 5):
            z[GAS + j, g] = 0.0
    sum_walls(0, a, z, q, knots, cells, lookup)
    for g in range(count):
        for j in range(5):
            z[BASE + j, g] = z[GAS + j, g]
    # a wall that is not live passes water in proportion to the difference, or the activity inside is fixed
    z[FLOW, 2] = 0.0
    z[FLOW, 3] += z[FLOW, 1]
    if not q[FLAGS, MOVING]:
        z[FLOW, 2] = z[FLOW, 0] - z[FLOW, 1] * (a - z[HERE, 1])
    if q[FLAGS, LAGGED]:
        sum_walls(1, a, z, q, knots, cells, lookup)
        o = sample if inside.before.shape[1] > 1 else 0
        for g in range(count):
            if opens:
                moles = inside.before[g, o] * z[GAS + 2, g]
            else:
                moles = _kept(g, z[PRESSURE + 2 * at, g] - z[OUTSIDE_BEFORE, g], z, q)
            z[STATE, first + g] += moles - z[OUTSIDE, g] * (z[GAS + 2, g] - z[GAS + 3, g])


@compiled
def _kept(g: int, drive: float, z: Any, q: Any) -> float:
    """Integral of w c dx over the walls, with w of now and the concentrations of before."""
    moles = 0.0
    for w in range(q[FLAGS, WALLS]):
        for i in range(q[START, w], q[START, w + 1]):
            a, b = z[SHARE + g, i + w], z[SHARE + g, i + w + 1]
            c, d = z[SHARE_BEFORE + g, i + w], z[SHARE_BEFORE + g, i + w + 1]
            cross = (a * c + b * d) / 3.0 + (a * d + b * c) / 6.0
            moles += z[HELD_BEFORE + g, i] * (z[OUTSIDE_BEFORE, g] * 0.5 * (a + b) + drive * cross)
    return moles

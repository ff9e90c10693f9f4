"""What the compiled march reads and where it works: named tuples of arrays, which numba takes as they are.

A table (.., B) has one column where all samples share it. Counts: C columns, E layers of all columns, K materials,
G gases, S segments, L limits, N nodes of the largest element, W nodes of all columns between outermost faces.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


class Layout(NamedTuple):
    """first: (C + 1,) first layer of each column; nodes: (E,); at: (E,) place of the first inner node of each
    layer among the W; material: (E,); weights: (N, N), conduct: (N, N, N), points: (N, N, N, N): of an element
    with n nodes at index n - 1; lengths: (E, B); areas: (C, B); wet: whether water is followed; size: W."""

    first: Integers
    nodes: Integers
    at: Integers
    material: Integers
    weights: Floats
    conduct: Floats
    points: Floats
    lengths: Floats
    areas: Floats
    wet: bool
    size: int


class Laws(NamedTuple):
    """water: (K, 6) energy, reference temperature, D (0 unknown), its energy and temperature, count of pieces;
    knots, slopes, levels: (K, .) of the potential; gas: (G, K, 6) P, energy, temperature, D, energy, temperature;
    table: (G, K) of the response, -1 for none; responses: (., cells + 1); water_factor, water_speed: (K, B);
    gas_factor, gas_speed: (G, K, B)."""

    water: Floats
    knots: Floats
    slopes: Floats
    levels: Floats
    gas: Floats
    table: Integers
    responses: Floats
    water_factor: Floats
    water_speed: Floats
    gas_factor: Floats
    gas_speed: Floats


class Climate(NamedTuple):
    """Each (S, B): duration [s], temperature, humidity, saturation, dry (total pressure less vapour), vapour
    conductance of closures and holes, and the reaction's linear (per pressure), amount (per mole) and most; each
    (G, S, B): outside pressure, dissolving, conductance."""

    duration: Floats
    temperature: Floats
    humidity: Floats
    saturation: Floats
    leak: Floats
    linear: Floats
    amount: Floats
    most: Floats
    outside: Floats
    dissolving: Floats
    conductance: Floats


class Contents(NamedTuple):
    """volume: of the headspace [m3]; moving: the product's water moves; content, steep: table of its water [mol]
    over activity and the slope; low, inverse: first activity and inverse spacing; hold: (1, B) factor on it;
    activity: at closing; half: of the reaction; oxygen: place of the gas that reacts, -1 for none; amounts: (1 +
    G, B) water and gases inside at closing [mol]; before: (1 + G, B) activity and pressures in the walls; floors:
    (2 + G,) of the error scales: water, gases, oxygen used."""

    volume: float
    moving: bool
    content: Floats
    steep: Floats
    low: float
    inverse: float
    hold: Floats
    activity: float
    half: float
    oxygen: int
    amounts: Floats
    before: Floats
    floors: Floats


class Asked(NamedTuple):
    """kind: (L,) 0 water, 1 activity, 2 CO2 loss, 3 share of oxygen, 4 oxygen gain; sign: (L,); value: (L, B);
    scale: (L,) factor of kinds 0 and 4; gas: (L,) place of its gas; start: (L, B) of kinds 0, 2 and 4; whole:
    whether kind 4 counts all oxygen inside; target, end [s]; times: (T,) to record; rtol; steps: fixed steps of
    each segment, 0 for as many as the error asks for."""

    kind: Integers
    sign: Floats
    value: Floats
    scale: Floats
    gas: Integers
    start: Floats
    whole: bool
    target: float
    end: float
    times: Floats
    rtol: float
    steps: int


class Work(NamedTuple):
    """Room of one sample; see ``kernel``."""

    wet: Floats
    dry: Floats
    wet_rates: Floats
    dry_rates: Floats
    wet_hist: Floats
    dry_hist: Floats
    total: Floats
    total_rates: Floats
    total_hist: Floats
    stored: Floats
    conduction: Floats
    keeps: Integers
    wet_stored: Floats
    wet_conduction: Floats
    wet_keeps: Integers
    wet_faces: Floats
    wet_pull: Floats
    wet_inverse: Floats
    faces: Floats
    pull: Floats
    inverse: Floats
    joints: Floats
    alpha: Floats
    beta: Floats
    heads: Floats
    activity: Floats
    matrix: Floats
    row: Floats
    pressure: Floats
    sums: Floats


def workspace(c: int, e: int, n: int, g: int, w: int) -> Any:
    """Shapes of ``Work`` in order."""
    m = max(n - 2, 1)
    return (
        (w,), (g, w), (5, w), (5, g, w), (w,), (g, w), (g + 2,), (5, g + 2), (g + 2,),
        (g, e), (g, e), (g, e), (e,), (e,), (e,),
        (e, 3), (e, 2, m), (e, m, m), (g, e, 3), (g, e, 2, m), (g, e, m, m),
        (e + c,), (g, e + c), (g, e + c), (g, e, 2), (e, n), (n, n), (n,), (g,), (g, 2),
    )  # fmt: skip

"""One gas in one column during one segment: reduced to its inner face, then filled in again.

Unknowns are partial pressures at the nodes. ``hist`` is the amount [mol] at each node between the two
outermost faces that a stage of the integrator starts from, in the order of the nodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from optimizer.shelflife.transient.columns import Column
from optimizer.shelflife.transient.element import (
    Condensed,
    Matrix,
    Reference,
    Row,
    condense,
    joined,
    leaving,
    leaving_of_points,
    matrix,
    matrix_of_points,
)
from optimizer.shelflife.transient.laws import (
    Response,
    diffusivity,
    gas_permeability,
    response_of,
    storage_of,
)
from optimizer.shelflife.transient.scavenging import Sink, sink_of

Value = Any


class Layer(NamedTuple):
    """storage at the nodes [mol/Pa]; conduction area P 2 / length [mol/(s Pa)] at the driest point; response
    to activity, or None; sink, or None; stores: False for a layer whose diffusivity is not known."""

    storage: Row
    conduction: Value
    response: Response | None
    element: Reference
    sink: Sink | None
    stores: bool


def gas_layers(
    column: Column, gas: str, temperature: Value, factors: Sequence[tuple[Value, Value]]
) -> list[Layer]:
    """factors: on permeability and diffusivity of each layer."""
    found = []
    for material, length, element, (more, quicker) in zip(
        column.materials, column.lengths, column.elements, factors, strict=True
    ):
        p = gas_permeability(material, gas, temperature) * more
        d = diffusivity(material, gas, temperature)
        s = storage_of(p, None if d is None else d * quicker, length)
        half = 0.5 * column.area * length
        storage = [half * s * w for w in element.weights]
        law = material.gas_law(gas)
        sink = None
        if material.scavenger is not None and material.uses_up(gas):
            sink = sink_of(material.scavenger, temperature, s, half, element)
        found.append(
            Layer(storage, 2.0 * column.area * p / length, response_of(law), element, sink, d is not None)
        )
    return found


class Solved(NamedTuple):
    """rates: of the amounts at the nodes between the outermost faces [mol/s]; inner: what leaves the inside
    into the wall [mol/s]; outer: what leaves the wall through its outer face; pressures: by layer, at its
    nodes; used: what sinks take up [mol/s]; spent: rates of the sinks' shares, by layer with a capacity."""

    rates: Row
    inner: Value
    outer: Value
    pressures: list[Row]
    used: Value
    spent: list[Row]


class GasLane:
    """activity: (set by the caller before ``reduce``) water activity at the nodes of each layer, where any
    layer responds to it."""

    def __init__(self, layers: list[Layer], outside: Value) -> None:
        self.layers, self.outside = layers, outside
        self.sensitive = any(x.response is not None for x in layers)
        self.sinks = any(x.sink is not None and x.sink.capacity is not None for x in layers)
        self.face = layers[0].storage[0]
        self.count = sum(len(x.storage) - 1 for x in layers) - 1
        self._fixed: list[Condensed | None] = []
        self._share: Value = 0.0
        self._condensed: list[Condensed] = []
        self._steps: list[tuple[Value, Value]] = []
        self.conductions: list[Row | None] = [None] * len(layers)
        self._inner: list[Row] = []
        self._sunk: list[tuple[Row, Row] | None] = [None] * len(layers)

    def factor(self, share: Value) -> None:
        """Prepare for stages that treat ``share`` [s] implicitly."""
        self._share = share
        self._fixed = [
            None
            if x.response is not None or (x.sink is not None and x.sink.capacity is not None)
            else condense(self._add_sink(matrix(x.storage, x.conduction, share, x.element), x, None))
            for x in self.layers
        ]

    def _add_sink(self, e: Matrix, layer: Layer, slopes: Row | None) -> Matrix:
        if layer.sink is not None:
            rate = layer.sink.first_order if slopes is None else slopes
            for i, r in enumerate(rate):
                e[i][i] = e[i][i] + self._share * r
        return e

    def set_activity(self, activity: list[Row]) -> None:
        self.conductions = [
            None if x.response is None else [x.conduction * x.response(a) for a in row]
            for x, row in zip(self.layers, activity, strict=True)
        ]

    def reduce(self, hist: Row, left: list[Row], guess: list[Row]) -> tuple[Value, Value]:
        """(s, r): what the wall adds to the balance of the inside, s p_inside - r [mol]. left: shares of the
        sinks' capacities that the stage starts from; guess: pressures near the solution, for sinks that run
        out."""
        share, layers = self._share, self.layers
        self._condensed, self._inner, self._sunk = [], [], []
        heads: list[tuple[Value, Value]] = []
        at = 0
        for k, x in enumerate(layers):
            n = len(x.storage) - 2
            inner = hist[at : at + n]
            at += n + 1
            fixed, sunk = self._fixed[k], None
            add: Row | None = None
            if fixed is None:
                c = self.conductions[k]
                e = (
                    matrix(x.storage, x.conduction, share, x.element)
                    if c is None
                    else matrix_of_points(x.storage, c, share, x.element)
                )
                if x.sink is not None and x.sink.capacity is not None:
                    uses, slopes = x.sink.at(guess[k], left[k], share)
                    sunk = (uses, slopes)
                    add = [share * (s * p - u) for u, s, p in zip(uses, slopes, guess[k], strict=True)]
                    e = self._add_sink(e, x, slopes)
                elif x.sink is not None:
                    e = self._add_sink(e, x, None)
                fixed = condense(e)
            self._condensed.append(fixed)
            self._sunk.append(sunk)
            if add is not None:
                inner = [h + a for h, a in zip(inner, add[1:-1], strict=True)]
            self._inner.append(inner)
            first, last = fixed.to_faces(inner)
            if add is not None:
                first, last = first + add[0], last + add[-1]
            heads.append((first, last))
        return self._eliminate(hist, heads)

    def _eliminate(self, hist: Row, heads: list[tuple[Value, Value]]) -> tuple[Value, Value]:
        """From the outside to the inside: v_i = alpha_i + beta_i v_(i-1)."""
        alpha: Value = self.outside
        beta: Value = 0.0
        steps = []
        at = self.count
        for k in range(len(self.layers) - 1, 0, -1):
            outer, inner = self._condensed[k].faces, self._condensed[k - 1].faces
            at -= len(self.layers[k].storage) - 1
            pivot = 1.0 / (outer[0] + inner[3] + outer[1] * beta)
            rhs = hist[at] + heads[k][0] + heads[k - 1][1]
            alpha, beta = (rhs - outer[1] * alpha) * pivot, -inner[2] * pivot
            steps.append((alpha, beta))
        self._steps = steps[::-1]
        first = self._condensed[0].faces
        return first[0] + first[1] * beta, heads[0][0] - first[1] * alpha

    def fill(self, inside: Value) -> list[Row]:
        """Pressures at the nodes of each layer, for that of the inside."""
        faces = [inside]
        for alpha, beta in self._steps:
            faces.append(alpha + beta * faces[-1])
        faces.append(self.outside)
        return [
            [a, *c.inside(inner, a, b), b]
            for c, inner, a, b in zip(self._condensed, self._inner, faces[:-1], faces[1:], strict=True)
        ]

    def rates(self, pressures: list[Row], left: list[Row]) -> Solved:
        """What moves at those pressures. left: shares of the sinks' capacities there."""
        flows: list[Row] = []
        used: Value = 0.0
        spent: list[Row] = []
        for k, (x, u) in enumerate(zip(self.layers, pressures, strict=True)):
            c = self.conductions[k]
            out = leaving(x.conduction, u, x.element) if c is None else leaving_of_points(c, u, x.element)
            lost: Row = []
            if x.sink is not None:
                takes = x.sink.rates(u, left[k])
                out = [o + t for o, t in zip(out, takes, strict=True)]
                for t in takes:
                    used = used + t
                if x.sink.capacity is not None:
                    lost = [-t / c for t, c in zip(takes, x.sink.capacity, strict=True)]
            spent.append(lost)
            flows.append(out)
        inner, between, outer = joined(flows)
        return Solved([-f for f in between], inner, -outer, pressures, used, spent)

    def start(self, pressure: Value) -> tuple[Row, Value]:
        """Amounts at the nodes, and at the inner face, of a wall at one pressure everywhere."""
        _, between, _ = joined([x.storage for x in self.layers])
        return [m * pressure for m in between], self.face * pressure

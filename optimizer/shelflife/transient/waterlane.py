"""Water in one column during one segment. Inside a layer the potential u = Phi(a) obeys a linear equation,

    d(c u)/dt = d/dx(kappa du/dx),   kappa = psat f(T),  c = kappa / D,

so that the inner nodes of every layer are taken out once per step; activities at the interfaces, where the
potentials of two layers meet, are found by Newton's method.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from optimizer.shelflife.transient.columns import Column
from optimizer.shelflife.transient.element import Condensed, Reference, Row, condense, joined, leaving, matrix
from optimizer.shelflife.transient.laws import (
    Potential,
    arrhenius_of,
    diffusivity,
    potential_of,
    storage_of,
)

Value = Any


class WetLayer(NamedTuple):
    """storage at the nodes and conduction, per potential [mol/(mol m/(m2 s Pa))] and so on; stores: False for
    a layer without a diffusivity."""

    storage: Row
    conduction: Value
    potential: Potential
    element: Reference
    stores: bool


def water_layers(
    column: Column, temperature: Value, saturation: Value, factors: Sequence[tuple[Value, Value]]
) -> list[WetLayer]:
    """factors: on permeability and diffusivity of each layer."""
    found = []
    for material, length, element, (more, quicker) in zip(
        column.materials, column.lengths, column.elements, factors, strict=True
    ):
        law = material.water_law()
        kappa = saturation * arrhenius_of(law.activation_energy, temperature, law.temperature) * more
        d = None if law.blocks else diffusivity(material, "H2O", temperature)
        c = storage_of(kappa, None if d is None else d * quicker, length)
        half = 0.5 * column.area * length
        found.append(
            WetLayer(
                [half * c * w for w in element.weights],
                2.0 * column.area * kappa / length,
                potential_of(law),
                element,
                d is not None,
            )
        )
    return found


class Wet(NamedTuple):
    """rates [mol/s] at the nodes between the outermost faces; inner: what leaves the inside into the wall;
    outer: what leaves through the outer face."""

    rates: Row
    inner: Value
    outer: Value


class WaterLane:
    """faces: activities at the interfaces, from the inside to the outside, as last found."""

    def __init__(self, layers: list[WetLayer], outside: Value) -> None:
        self.layers, self.outside = layers, outside
        self.count = sum(len(x.storage) - 1 for x in layers) - 1
        self.faces: Row = []
        self._condensed: list[Condensed] = []
        self._inner: list[Row] = []
        self._rhs: Row = []
        self._first: Value = 0.0
        self._steps: list[tuple[Value, Value]] = []

    def factor(self, share: Value) -> None:
        """Prepare for stages that treat ``share`` [s] implicitly."""
        self._condensed = [condense(matrix(x.storage, x.conduction, share, x.element)) for x in self.layers]

    def load(self, hist: Row) -> None:
        """Amounts [mol] at the nodes that a stage starts from."""
        self._inner, self._rhs = [], []
        at = 0
        carried: Value = 0.0
        for k, (x, c) in enumerate(zip(self.layers, self._condensed, strict=True)):
            n = len(x.storage) - 2
            inner = hist[at : at + n]
            at += n + 1
            first, last = c.to_faces(inner)
            self._inner.append(inner)
            if k == 0:
                self._first = first
            else:
                self._rhs.append(hist[at - n - 2] + carried + first)
            carried = last

    def linearise(self, inside: Value) -> tuple[Value, Value]:
        """(residual [mol], slope) that the wall adds to the balance of the inside at its present faces and
        the activity ``inside``, with the interfaces already moved by Newton's step for it."""
        a = [inside, *self.faces[1:-1], self.outside]
        potentials = [
            (x.potential.at(p), x.potential.at(q)) for x, p, q in zip(self.layers, a, a[1:], strict=False)
        ]
        alpha: Value = 0.0
        beta: Value = 0.0
        steps = []
        for k in range(len(self.layers) - 1, 0, -1):
            outer, inner = self._condensed[k].faces, self._condensed[k - 1].faces
            (u0, s0), (u1, s1) = potentials[k]
            (v0, t0), (v1, t1) = potentials[k - 1]
            residual = outer[0] * u0 + outer[1] * u1 + inner[2] * v0 + inner[3] * v1 - self._rhs[k - 1]
            pivot = 1.0 / (outer[0] * s0 + inner[3] * t1 + outer[1] * s1 * beta)
            alpha = (-residual - outer[1] * s1 * alpha) * pivot
            beta = -inner[2] * t0 * pivot
            steps.append((alpha, beta))
        self._steps = steps[::-1]
        first = self._condensed[0].faces
        (u0, s0), (u1, s1) = potentials[0]
        residual = first[0] * u0 + first[1] * u1 - self._first + first[1] * s1 * alpha
        return residual, first[0] * s0 + first[1] * s1 * beta

    def move(self, inside: Value, step: Value) -> Value:
        """Take Newton's step, with that of the inside; the largest change of activity at an interface."""
        faces = [inside + step]
        d = step
        most: Value = abs(step)
        for (alpha, beta), old in zip(self._steps, self.faces[1:-1], strict=True):
            d = alpha + beta * d
            faces.append(old + d)
            size = abs(d)
            most = most + size
        self.faces = [*faces, self.outside]
        return most

    def potentials(self) -> list[Row]:
        """u at the nodes of each layer."""
        found = []
        for x, c, inner, p, q in zip(
            self.layers, self._condensed, self._inner, self.faces[:-1], self.faces[1:], strict=True
        ):
            a, b = x.potential.at(p)[0], x.potential.at(q)[0]
            found.append([a, *c.inside(inner, a, b), b])
        return found

    def activities(self, potentials: list[Row]) -> list[Row]:
        """Water activity at the nodes of each layer."""
        return [
            [p, *(x.potential.activity(u) for u in row[1:-1]), q]
            for x, row, p, q in zip(self.layers, potentials, self.faces[:-1], self.faces[1:], strict=True)
        ]

    def rates(self, potentials: list[Row]) -> Wet:
        inner, between, outer = joined(
            [leaving(x.conduction, u, x.element) for x, u in zip(self.layers, potentials, strict=True)]
        )
        return Wet([-f for f in between], inner, -outer)

    def start(self, activity: Value) -> Row:
        """Amounts at the nodes of a wall at one activity everywhere; the faces are set to it."""
        held = []
        for x in self.layers:
            u = x.potential.at(activity)[0]
            held.append([m * u for m in x.storage])
        self.faces = [activity] * len(self.layers) + [self.outside]
        return joined(held)[1]

    def inner_face(self, inside: Value) -> tuple[Value, Value]:
        """Water held at the inner face [mol] at an activity, and its slope."""
        x = self.layers[0]
        u, s = x.potential.at(inside)
        return x.storage[0] * u, x.storage[0] * s

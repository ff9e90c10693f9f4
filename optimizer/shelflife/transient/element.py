"""One element in one step of time: its inner nodes taken out, what remains joins its two faces.

For a step that treats a share g [s] of the time implicitly the element has the matrix E = diag(m) + g K, with
m the storage at its nodes and K its conduction. Values are floats (one sample) or arrays (B,); matrices are
lists of lists of such values, faces first and last.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

from optimizer.physics.spectral import lobatto

Value = Any
Row = list[Value]
Matrix = list[Row]


class Reference(NamedTuple):
    """Of a degree, as plain floats: weights (n,); derivative (n, n); conduction (n, n) of a permeability of
    1; at (n, n, n): the same by point of quadrature, first index."""

    weights: tuple[float, ...]
    derivative: tuple[tuple[float, ...], ...]
    conduction: tuple[tuple[float, ...], ...]
    at: tuple[tuple[tuple[float, ...], ...], ...]
    positions: tuple[float, ...]


@lru_cache(maxsize=32)
def reference(degree: int) -> Reference:
    """positions: of the nodes, from 0 at the inside face to 1."""
    e = lobatto(degree)
    s = e.stiffness()
    plain = tuple(tuple(tuple(r) for r in m) for m in s.tolist())
    return Reference(
        tuple(e.weights.tolist()),
        tuple(tuple(r) for r in e.derivative.tolist()),
        tuple(tuple(r) for r in s.sum(axis=0).tolist()),
        plain,
        tuple((0.5 * (1.0 + e.nodes)).tolist()),
    )


class Condensed(NamedTuple):
    """faces: (E_00, E_0N, E_N0, E_NN) left on the faces; pull (2, n - 2): inner hist to the faces; inverse
    (n - 2, n - 2) of the inner block."""

    faces: tuple[Value, Value, Value, Value]
    pull: Matrix
    inverse: Matrix

    def to_faces(self, inner: Row) -> tuple[Value, Value]:
        """What the right-hand side at the inner nodes adds to that of the two faces."""
        first: Value = 0.0
        last: Value = 0.0
        for a, b, x in zip(self.pull[0], self.pull[1], inner, strict=True):
            first = first - a * x
            last = last - b * x
        return first, last

    def inside(self, inner: Row, first: Value, last: Value) -> Row:
        """Solution at the inner nodes from their right-hand side and the values at the faces."""
        found = []
        for row, a, b in zip(self.inverse, self.pull[0], self.pull[1], strict=True):
            u = -a * first - b * last
            for c, x in zip(row, inner, strict=True):
                u = u + c * x
            found.append(u)
        return found


def matrix(storage: Row, conduction: Value, share: Value, ref: Reference) -> Matrix:
    """E of an element of one permeability. conduction: area P 2 / length [mol/(s Pa)]."""
    c = share * conduction
    rows: Matrix = []
    for i, line in enumerate(ref.conduction):
        row = [c * x for x in line]
        row[i] = row[i] + storage[i]
        rows.append(row)
    return rows


def matrix_of_points(storage: Row, conduction: Row, share: Value, ref: Reference) -> Matrix:
    """E of an element whose conduction differs from point to point of quadrature (n,)."""
    weighted = [share * c for c in conduction]
    n = len(storage)
    rows: Matrix = [[0.0] * n for _ in range(n)]
    for i in range(n):
        for j in range(i, n):
            total: Value = 0.0
            for w, table in zip(weighted, ref.at, strict=True):
                total = total + w * table[i][j]
            rows[i][j] = rows[j][i] = total
        rows[i][i] = rows[i][i] + storage[i]
    return rows


def condense(e: Matrix) -> Condensed:
    """Take the inner nodes out of the symmetric matrix of an element."""
    last = len(e) - 1
    if last == 1:
        return Condensed((e[0][0], e[0][1], e[1][0], e[1][1]), [[], []], [])
    inverse = _inverse([row[1:last] for row in e[1:last]])
    pull = []
    for face in (e[0][1:last], e[last][1:last]):
        pull.append([_dot(face, column) for column in inverse])
    faces = (
        e[0][0] - _dot(pull[0], e[0][1:last]),
        e[0][last] - _dot(pull[0], e[last][1:last]),
        e[last][0] - _dot(pull[1], e[0][1:last]),
        e[last][last] - _dot(pull[1], e[last][1:last]),
    )
    return Condensed(faces, pull, inverse)


def _dot(a: Row, b: Row) -> Value:
    total: Value = 0.0
    for x, y in zip(a, b, strict=True):
        total = total + x * y
    return total


def _inverse(a: Matrix) -> Matrix:
    """Inverse of a small symmetric positive matrix."""
    n = len(a)
    if n == 1:
        return [[1.0 / a[0][0]]]
    if n == 2:
        (p, q), (_, r) = a
        d = 1.0 / (p * r - q * q)
        return [[r * d, -q * d], [-q * d, p * d]]
    # Gauss and Jordan; no pivoting, the matrix is positive definite
    rows = [[*row, *(1.0 if i == j else 0.0 for j in range(n))] for i, row in enumerate(a)]
    for k in range(n):
        pivot = 1.0 / rows[k][k]
        rows[k] = [x * pivot for x in rows[k]]
        for i in range(n):
            if i != k:
                f = rows[i][k]
                rows[i] = [x - f * y for x, y in zip(rows[i], rows[k], strict=True)]
    return [row[n:] for row in rows]


def leaving(conduction: Value, u: Row, ref: Reference) -> Row:
    """Rates K u at the nodes [mol/s] with one ``conduction``; they sum to nothing."""
    rates: Row = [0.0] * len(u)
    for w, d in zip(ref.weights, ref.derivative, strict=True):
        slope: Value = 0.0
        for x, y in zip(d, u, strict=True):
            slope = slope + x * y
        flow = conduction * (w * slope)
        rates = [r + x * flow for r, x in zip(rates, d, strict=True)]
    return rates


def leaving_of_points(conduction: Row, u: Row, ref: Reference) -> Row:
    """The same with a conduction for each point of quadrature."""
    rates: Row = [0.0] * len(u)
    for c, w, d in zip(conduction, ref.weights, ref.derivative, strict=True):
        slope: Value = 0.0
        for x, y in zip(d, u, strict=True):
            slope = slope + x * y
        flow = c * (w * slope)
        rates = [r + x * flow for r, x in zip(rates, d, strict=True)]
    return rates


def joined(layers: list[Row]) -> tuple[Value, Row, Value]:
    """Values at the nodes of each layer put together, where neighbours share a node: at the innermost face,
    at the nodes between the two outermost faces, at the outermost face."""
    found: Row = []
    for k, row in enumerate(layers):
        if k:
            found[-1] = found[-1] + row[0]
            found += row[1:]
        else:
            found += row
    return found[0], found[1:-1], found[-1]

"""Pieces of the compiled march: the same equations as ``element``, ``laws`` and ``inside``, for eight
samples.

o, t, w: see ``kernel_data``; c: place in o of the record of a layer of a species; r: slot of its record in w.
"""

from __future__ import annotations

import math
from typing import Any

from numba import njit

from optimizer.shelflife.transient.kernel_data import (
    CONDUCTION,
    COUNT,
    FACES,
    INVERSE,
    ISOTHERM,
    ISOTHERM_CELLS,
    LAW,
    LOW,
    MATRIX,
    PIECES,
    PULL,
    RECORD,
    REFERENCE,
    RESPONSE,
    RESPONSE_CELLS,
    ROW,
    SCALARS,
    STORED,
)
from optimizer.shelflife.transient.kernel_lanes import gather, lanes, root, size, where_ge, where_gt, whole

#: Divisions are not checked and multiplications may be fused, as in numpy. Only the march itself is kept on
#: disk.
OPTIONS: Any = {"error_model": "numpy", "fastmath": {"contract", "nsz", "arcp", "reassoc"}}
compiled = njit(**OPTIONS)


@compiled
def clipped(a, low, high):
    a = where_gt(a, low, a, low)
    return where_gt(a, high, high, a)


@compiled
def potential(o, t, c, a):
    """Phi and its slope at activity a."""
    n, law = o[c + PIECES], o[c + LAW]
    slope = lanes(t[law + n])
    value = t[law + 2 * n] + slope * (a - t[law])
    for k in range(1, n):
        x, s = t[law + k], t[law + n + k]
        slope = where_ge(a, x, s, slope)
        value = where_ge(a, x, t[law + 2 * n + k] + s * (a - x), value)
    return value, slope


@compiled
def activity_of(o, t, c, u):
    n, law = o[c + PIECES], o[c + LAW]
    value = t[law] + (u - t[law + 2 * n]) * (1.0 / t[law + n])
    for k in range(1, n):
        low = t[law + 2 * n + k]
        value = where_ge(u, low, t[law + k] + (u - low) * (1.0 / t[law + n + k]), value)
    return value


@compiled
def respond(o, t, c, a):
    """Factor on a permeability at activity a: exp of a logarithm that is straight within a cell."""
    table, cells = o[c + RESPONSE], float(o[c + RESPONSE_CELLS])
    x = clipped(a * cells, 0.0, cells)
    k = clipped(whole(x), 0.0, cells - 1.0)
    d = (x - k) * gather(t, table + 1, 2.0 * k)
    # the cells are so narrow that the series is exact to rounding
    return gather(t, table, 2.0 * k) * (1.0 + d * (1.0 + d * (0.5 + d * (1.0 / 6.0 + d * (1.0 / 24.0)))))


@compiled
def hold(o, t, scale, a):
    """Water in the product [mol] at activity a, and its slope: cubic in each cell, straight outside."""
    table, cells, s = o[ISOTHERM], float(o[ISOTHERM_CELLS]), o[SCALARS]
    x = (a - t[s + LOW]) * t[s + INVERSE]
    inner = clipped(x, 0.0, cells)
    k = clipped(whole(inner), 0.0, cells - 1.0)
    d, k = inner - k, 4.0 * k
    c0, c1, c2, c3 = (
        gather(t, table, k),
        gather(t, table + 1, k),
        gather(t, table + 2, k),
        gather(t, table + 3, k),
    )
    slope = c1 + d * (2.0 * c2 + d * (3.0 * c3))
    value = c0 + d * (c1 + d * (c2 + d * c3)) + (x - inner) * slope
    return scale * value, scale * slope * t[s + INVERSE]


@compiled
def saturating(a, most, half, q):
    """The root of a p + most p / (|p| + half) = q."""
    absolute = size(q)
    b = a * half + most - absolute
    r = root(b * b + 4.0 * a * absolute * half)
    positive = where_gt(b, 0.0, b + r, 1.0)
    p = where_gt(b, 0.0, 2.0 * absolute * half / positive, (r - b) / (2.0 * a))
    return where_ge(q, 0.0, p, -p)


@compiled
def element(o, t, w, c, share):
    """diag(m) + g K of one permeability into the matrix (its upper half)."""
    n, reference, matrix, r = o[c + COUNT], o[c + REFERENCE], o[MATRIX], o[c + RECORD]
    stored, conduction = w[r + STORED], share * w[r + CONDUCTION]
    for i in range(n):
        for j in range(i, n):
            w[matrix + i * n + j] = conduction * t[reference + n + i * n + j]
        w[matrix + i * n + i] += stored * t[reference + i]


@compiled
def element_of_points(o, t, w, c):
    """The same with a conduction for each point (times the share) in ROW."""
    n, reference, matrix, row = o[c + COUNT], o[c + REFERENCE], o[MATRIX], o[ROW]
    stored = w[o[c + RECORD] + STORED]
    for i in range(n):
        for j in range(i, n):
            at = reference + n + n * n + i * n + j
            total = w[row] * t[at]
            for q in range(1, n):
                total += w[row + q] * t[at + q * n * n]
            w[matrix + i * n + j] = total
        w[matrix + i * n + i] += stored * t[reference + i]


@compiled
def condense(o, w, c):
    """Take the inner nodes out of the matrix: see ``element.condense``."""
    n, e, r = o[c + COUNT], o[MATRIX], o[c + RECORD]
    m, last = n - 2, n - 1
    turned = r + PULL + 2 * m
    if m == 1:
        w[turned] = 1.0 / w[e + n + 1]
    elif m == 2:
        x, y, z = w[e + n + 1], w[e + n + 2], w[e + 2 * n + 2]
        d = 1.0 / (x * z - y * y)
        w[turned], w[turned + 1], w[turned + 2], w[turned + 3] = z * d, -y * d, -y * d, x * d
    elif m > 2:
        invert(w, e, n, turned)
    f00, f01, f11 = w[e], w[e + last], w[e + last * n + last]
    for j in range(m):
        a, b = lanes(0.0), lanes(0.0)
        for i in range(m):
            x = w[turned + i * m + j]
            a += w[e + i + 1] * x
            b += w[e + (i + 1) * n + last] * x
        w[r + PULL + j], w[r + PULL + m + j] = a, b
        f00 -= a * w[e + j + 1]
        f01 -= a * w[e + (j + 1) * n + last]
        f11 -= b * w[e + (j + 1) * n + last]
    w[r + FACES], w[r + FACES + 1], w[r + FACES + 2] = f00, f01, f11


@compiled
def invert(w, e, n, turned):
    """Inverse of the inner block by Gauss and Jordan, in place; it is positive definite."""
    m = n - 2
    for i in range(m):
        for j in range(i, m):
            x = w[e + (i + 1) * n + j + 1]
            w[turned + i * m + j], w[turned + j * m + i] = x, x
    for p in range(m):
        pivot = 1.0 / w[turned + p * m + p]
        w[turned + p * m + p] = 1.0
        for j in range(m):
            w[turned + p * m + j] = w[turned + p * m + j] * pivot
        for i in range(m):
            if i != p:
                f = w[turned + i * m + p]
                w[turned + i * m + p] = 0.0
                for j in range(m):
                    w[turned + i * m + j] -= f * w[turned + p * m + j]


@compiled
def hermite(q0, q1, s0, s1, quadratic, t):
    """Between the ends of a step, t from 0 to 1; slopes over that. quadratic: s0 is not known."""
    if quadratic:
        # curved only where that keeps it monotone; else straight
        c = s1 - (q1 - q0)
        if abs(c) > abs(q1 - q0):
            c = 0.0
        return q0 + t * (q1 - q0 - c) + t * t * c
    one = 1.0 - t
    return (1.0 + 2.0 * t) * one * one * q0 + t * t * (3.0 - 2.0 * t) * q1 + t * one * (one * s0 - t * s1)


@compiled
def hermite_root(q0, q1, s0, s1, quadratic, high):
    """Where it rises through zero, from below at 0 to above at ``high``."""
    low = 0.0
    for _ in range(60):
        t = 0.5 * (low + high)
        if hermite(q0, q1, s0, s1, quadratic, t) < 0.0:
            low = t
        else:
            high = t
    return 0.5 * (low + high)


@compiled
def hermite_top(q0, q1, s0, s1):
    """Where the cubic is highest: within the step where it rises at the start and falls at the end, else at
    its end."""
    if not (s0 > 0.0 and s1 < 0.0):
        return 1.0
    a, b = 3.0 * (s0 + s1 - 2.0 * (q1 - q0)), 2.0 * (3.0 * (q1 - q0) - 2.0 * s0 - s1)
    return min(1.0, 2.0 * s0 / (math.sqrt(max(b * b - 4.0 * a * s0, 0.0)) - b))

"""Pieces of the compiled march: the same equations as ``element``, ``gaslane``, ``waterlane`` and ``inside``.

Arrays belong to one sample; e counts the layers of all columns, n its nodes. Only ``kernel`` imports this, and only
``sampled`` imports that: numba is optional.
"""

from __future__ import annotations

import math

from numba import njit

GAS_CONSTANT = 8.31446261815324

#: Divisions are not checked and multiplications may be fused, as in numpy; the compiled code is kept on disk.
OPTIONS = {"cache": True, "error_model": "numpy", "fastmath": {"contract", "nsz", "arcp", "reassoc"}}
compiled = njit(**OPTIONS)


@compiled
def factor(energy, temperature, reference):
    return math.exp(-energy / GAS_CONSTANT * (1.0 / temperature - 1.0 / reference))


@compiled
def potential(knots, slopes, levels, count, a):
    """Phi and its slope at activity a."""
    k = 0
    while k < count - 1 and a >= knots[k + 1]:
        k += 1
    return levels[k] + slopes[k] * (a - knots[k]), slopes[k]


@compiled
def activity_of(knots, slopes, levels, count, u):
    k = 0
    while k < count - 1 and u >= levels[k + 1]:
        k += 1
    return knots[k] + (u - levels[k]) / slopes[k]


@compiled
def respond(table, a):
    """exp of the table of log permeability over activity 0..1."""
    cells = table.shape[0] - 1
    x = a * cells
    if x <= 0.0:
        return math.exp(table[0])
    k = int(x)
    if k >= cells:
        return math.exp(table[cells])
    return math.exp(table[k] + (x - k) * (table[k + 1] - table[k]))


@compiled
def hold(content, steep, low, inverse, scale, a):
    """Water in the product [mol] at activity a, and its slope: cubic in each cell, straight outside."""
    cells = content.shape[0] - 1
    x = (a - low) * inverse
    if x <= 0.0:
        return scale * (content[0] + (a - low) * steep[0]), scale * steep[0]
    if x >= cells:
        rest = a - low - cells / inverse
        return scale * (content[cells] + rest * steep[cells]), scale * steep[cells]
    k = int(x)
    t = x - k
    h = 1.0 / inverse
    y0, y1, m0, m1 = content[k], content[k + 1], h * steep[k], h * steep[k + 1]
    c2, c3 = 3.0 * (y1 - y0) - 2.0 * m0 - m1, m0 + m1 - 2.0 * (y1 - y0)
    value = y0 + t * (m0 + t * (c2 + t * c3))
    slope = (m0 + t * (2.0 * c2 + t * 3.0 * c3)) * inverse
    return scale * value, scale * slope


@compiled
def saturating(a, most, half, q):
    """The root of a p + most p / (|p| + half) = q."""
    size = abs(q)
    b = a * half + most - size
    root = math.sqrt(b * b + 4.0 * a * size * half)
    p = 2.0 * size * half / (b + root) if b > 0.0 else (root - b) / (2.0 * a)
    return p if q >= 0.0 else -p


@compiled
def condense(e, n, faces, pull, inverse):
    """Take the inner nodes out of the symmetric matrix e (n, n): see ``element.condense``."""
    last = n - 1
    m = n - 2
    if m == 1:
        inverse[0, 0] = 1.0 / e[1, 1]
    elif m == 2:
        d = 1.0 / (e[1, 1] * e[2, 2] - e[1, 2] * e[1, 2])
        inverse[0, 0] = e[2, 2] * d
        inverse[1, 1] = e[1, 1] * d
        inverse[0, 1] = -e[1, 2] * d
        inverse[1, 0] = -e[1, 2] * d
    elif m > 2:
        for i in range(m):
            for j in range(m):
                inverse[i, j] = e[i + 1, j + 1]
        # Gauss and Jordan in place
        for k in range(m):
            pivot = 1.0 / inverse[k, k]
            inverse[k, k] = 1.0
            for j in range(m):
                inverse[k, j] *= pivot
            for i in range(m):
                if i != k:
                    f = inverse[i, k]
                    inverse[i, k] = 0.0
                    for j in range(m):
                        inverse[i, j] -= f * inverse[k, j]
    f00, f01, f11 = e[0, 0], e[0, last], e[last, last]
    for j in range(m):
        a = 0.0
        b = 0.0
        for i in range(m):
            a += e[0, i + 1] * inverse[i, j]
            b += e[last, i + 1] * inverse[i, j]
        pull[0, j] = a
        pull[1, j] = b
        f00 -= a * e[0, j + 1]
        f01 -= a * e[last, j + 1]
        f11 -= b * e[last, j + 1]
    faces[0], faces[1], faces[2] = f00, f01, f11


@compiled
def element(storage, conduction, share, weights, conduct, n, e):
    """diag(m) + share K into e, of one permeability. storage: of the element per weight."""
    c = share * conduction
    for i in range(n):
        for j in range(n):
            e[i, j] = c * conduct[i, j]
        e[i, i] += storage * weights[i]


@compiled
def element_of_points(storage, conduction, share, weights, at, n, e):
    """The same with a conduction for each point (n,)."""
    for i in range(n):
        for j in range(i, n):
            total = 0.0
            for q in range(n):
                total += conduction[q] * at[q, i, j]
            e[i, j] = share * total
            e[j, i] = share * total
        e[i, i] += storage * weights[i]


@compiled
def hermite_root(q0, q1, s0, s1, quadratic):
    """Where a cubic (q0 < 0 <= q1, slopes over 0..1) is zero; without s0 the quadratic through q0, q1, s1."""
    low, high = 0.0, 1.0
    for _ in range(60):
        t = 0.5 * (low + high)
        if hermite(q0, q1, s0, s1, quadratic, t) < 0.0:
            low = t
        else:
            high = t
    return 0.5 * (low + high)


@compiled
def hermite(q0, q1, s0, s1, quadratic, t):
    if quadratic:
        # curved only where that keeps it monotone; else straight
        c = s1 - (q1 - q0)
        if abs(c) > abs(q1 - q0):
            c = 0.0
        return q0 + t * (q1 - q0 - c) + t * t * c
    one = 1.0 - t
    return (1.0 + 2.0 * t) * one * one * q0 + t * t * (3.0 - 2.0 * t) * q1 + t * one * (one * s0 - t * s1)


@compiled
def pick(table, row, sample):
    """table (rows, 1 or B) at a sample."""
    return table[row, sample if table.shape[1] > 1 else 0]


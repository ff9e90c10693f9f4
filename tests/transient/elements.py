"""Unsteady permeation through a flat laminate by finite elements of scikit-fem: an oracle from outside.

Quadratic elements on the layers (P and S constant in each), p continuous, so that the fluxes match by the
weak form. Time by Alexander's third-order L-stable SDIRK (SIAM J. Numer. Anal. 14 (1977) 1006; coefficients
from memory, its order is tested), steps that grow from the start of the change.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import skfem
from numpy.typing import NDArray
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

Array = NDArray[np.float64]

#: Alexander's three-stage scheme: diagonal, the root of x^3 - 3 x^2 + 3/2 x - 1/6 between 1/6 and 1/2.
_X = float(next(r.real for r in np.roots([1, -3, 1.5, -1 / 6]) if 1 / 6 < r.real < 0.5))
_STAGES = (
    (_X,),
    ((1 - _X) / 2, _X),
    (-(6 * _X**2 - 16 * _X + 1) / 4, (6 * _X**2 - 20 * _X + 5) / 4, _X),
)


class Answer(NamedTuple):
    """At the wanted times (N,): pressure in the closed vessel inside (or the held one) [Pa], amount in the
    wall per area [mol/m2], flow per area out of the outer face since the start [mol/m2]."""

    inside: Array
    wall: Array
    passed: Array


def _matrices(
    thickness: Sequence[float], permeability: Sequence[float], solubility: Sequence[float], elements: int
) -> tuple[csc_matrix, csc_matrix, int, int]:
    """Storage, conduction, and the places of the inner and outer face."""
    faces = np.concatenate([[0.0], np.cumsum(thickness)])
    steps = np.linspace(0, 1, elements + 1)
    steps = steps - 0.85 * np.sin(2 * np.pi * steps) / (2 * np.pi)
    nodes = np.concatenate(
        [[0.0]] + [a + (b - a) * steps[1:] for a, b in zip(faces[:-1], faces[1:], strict=True)]
    )
    nodes[elements::elements] = faces[1:]
    mesh = skfem.MeshLine(nodes)
    basis = skfem.Basis(mesh, skfem.ElementLineP2(), intorder=6)
    middle = mesh.p[0][mesh.t].mean(axis=0)
    layer = np.clip(np.searchsorted(faces, middle) - 1, 0, len(thickness) - 1)

    @skfem.BilinearForm
    def store(u, v, w):  # type: ignore[no-untyped-def]
        return np.asarray(solubility)[layer][:, None] * u * v

    @skfem.BilinearForm
    def conduct(u, v, w):  # type: ignore[no-untyped-def]
        return np.asarray(permeability)[layer][:, None] * u.grad[0] * v.grad[0]

    at = basis.doflocs[0]
    first, last = int(np.argmin(at)), int(np.argmax(at))
    return csc_matrix(store.assemble(basis)), csc_matrix(conduct.assemble(basis)), first, last


def laminate(
    thickness: Sequence[float],
    permeability: Sequence[float],
    solubility: Sequence[float],
    times: Sequence[float],
    *,
    outside: float,
    inside: float,
    wall: float,
    vessel: float | None,
    elements: int = 12,
    steps: int = 60,
) -> Answer:
    """Layers inside to outside, SI; pressures [Pa] outside (held), inside and in the wall at first; vessel:
    storage of the closed inside per area [mol/(m2 Pa)], None where the pressure inside is held. steps: per
    tenfold of time, from a millionth of the first time on; times [s] increase."""
    mass, stiff, first, last = _matrices(thickness, permeability, solubility, elements)
    n = mass.shape[0]
    own = mass @ np.ones(n)
    content = wall * own
    if vessel is not None:
        mass = mass.tolil()
        mass[first, first] += vessel
        mass = csc_matrix(mass)
        content[first] += vessel * inside
    held = {last: outside} if vessel is not None else {last: outside, first: inside}
    free = np.setdiff1d(np.arange(n), list(held))
    fixed = np.array(list(held), dtype=int)
    values = np.array([held[k] for k in fixed])
    m, k = mass[free][:, free], stiff[free][:, free]
    load = -stiff[free][:, fixed] @ values
    # the pressure jumps at the faces: its projection on the elements keeps the moles
    p = np.empty(n)
    p[fixed] = values
    p[free] = splu(csc_matrix(m)).solve(content[free] - mass[free][:, fixed] @ values)
    grid = np.concatenate([[0.0], np.geomspace(times[0] * 1e-6, times[0], 6 * steps)])
    for a, b in zip(times[:-1], times[1:], strict=True):
        count = max(8, round(steps * 4 * np.log10(b / a)))
        grid = np.concatenate([grid, np.linspace(a, b, count + 1)[1:]])
    rows, passed, x = [], 0.0, p[free]
    flux = stiff[last]
    for begin, end in zip(grid[:-1], grid[1:], strict=True):
        h = end - begin
        solver = splu(csc_matrix(m + _X * h * k))
        slopes: list[Array] = []
        for row in _STAGES:
            base = x + h * sum((c * s for c, s in zip(row[:-1], slopes, strict=True)), np.zeros(len(x)))
            slopes.append(solver.solve(load - k @ base))
            y = base + _X * h * slopes[-1]
            p[free] = y
            passed += (
                h
                * _STAGES[-1][len(slopes) - 1]
                * -float((flux @ p)[0] + (mass[last][:, free] @ slopes[-1])[0])
            )
        x = y
        if np.any(np.isclose(end, times, rtol=1e-12)):
            p[free] = x
            rows.append((float(p[first]), float(own @ p), passed))
    return Answer(*(np.array(c) for c in zip(*rows, strict=True)))

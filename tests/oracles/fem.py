"""Steady diffusion through a wall by finite elements of scikit-fem, for the tests of uneven walls.

A section of the wall is a map from (s, e), s along the wall and e from 0 at its inner to 1 at its outer face,
to places; elements are of second order, and so are their sides, so that the energy converges with the fourth
power of their size. Faces other than e = 0 and e = 1 let nothing through.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import skfem
from numpy.typing import NDArray
from skfem.helpers import dot, grad

Array = NDArray[np.float64]
Section = Callable[[Array, Array], tuple[Array, Array]]


def section_conductance(
    place: Section,
    along: Array,
    across: Sequence[float] = (0.0, 0.5, 1.0),
    permeability: Sequence[float] | None = None,
    around: bool = False,
) -> float:
    """Conductance per unit permeability and metre of depth, or of the body of revolution.

    place: (s, e) to (x, y), with ``around`` to (radius, height). along, across: borders of the elements in s
    and e; permeability: of the elements between two values of ``across``, 1 where left out.
    """
    flat = skfem.MeshQuad.init_tensor(along, np.asarray(across))
    inner, outer = (flat.facets_satisfying(lambda x, e=e: np.abs(x[1] - e) < 1e-9) for e in (0.0, 1.0))
    given = np.ones(len(across) - 1) if permeability is None else np.asarray(permeability)
    middle = flat.p[1, flat.t].mean(axis=0)
    k = given[np.searchsorted(across, middle) - 1]
    curved = skfem.MeshQuad2.from_mesh(flat)
    curved = replace(curved, doflocs=np.stack(place(*curved.doflocs)))
    basis = skfem.Basis(curved, skfem.ElementQuad2(), intorder=7)
    return _energy(basis, basis.with_element(skfem.ElementQuad0()).interpolate(k), inner, outer, around)


def solid_conductance(points: Array, cells: NDArray[np.int64], inner: Array, outer: Array) -> float:
    """As above in three dimensions: points (3, n), hexahedra (8, m) of second order on straight edges.

    inner, outer (n,): which points lie on these faces."""
    mesh = skfem.MeshHex(points, cells)
    sides = [np.flatnonzero(which[mesh.facets].all(axis=0)) for which in (inner, outer)]
    basis = skfem.Basis(mesh, skfem.ElementHex2(), intorder=4)
    one = basis.with_element(skfem.ElementHex0()).interpolate(np.ones(cells.shape[1]))
    return _energy(basis, one, sides[0], sides[1], False)


def _energy(basis: skfem.Basis, k: Array, inner: Array, outer: Array, around: bool) -> float:
    @skfem.BilinearForm
    def flow(u, v, w):
        return w["k"] * (2 * math.pi * w.x[0] if around else 1.0) * dot(grad(u), grad(v))

    stiffness = flow.assemble(basis, k=k)
    high, low = basis.get_dofs(outer).flatten(), basis.get_dofs(inner).flatten()
    u = basis.zeros()
    u[high] = 1.0
    u = skfem.solve(*skfem.condense(stiffness, x=u, D=np.union1d(high, low)))
    return float(u @ (stiffness @ u))

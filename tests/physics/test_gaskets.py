"""Shape factors of seals against closed forms, finite elements and another solution of Laplace's equation."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.physics.gaskets import (
    SealPath,
    flat_ring,
    flat_width,
    o_ring,
    seal_edge,
    section_shape,
    valve_seat,
)

Array = NDArray[np.float64]
NODES, WEIGHTS = np.polynomial.legendre.leggauss(200)
COMPRESSIONS = (0.05, 0.08, 0.15, 0.2, 0.25, 0.33, 0.4)


def test_gas_crosses_a_flat_ring_as_heat_crosses_a_hollow_cylinder() -> None:
    # J. Crank, The Mathematics of Diffusion, 2nd ed., section 5.3.1: 2 pi h P / ln(b/a); from memory
    assert flat_ring(28e-3, 2.5e-3, 1e-3).shape == pytest.approx(
        2 * math.pi * 1e-3 / math.log(33 / 28), rel=1e-14
    )


@given(st.floats(5e-3, 0.5), st.floats(1e-4, 0.1), st.floats(1e-4, 1e-2))
def test_a_flat_ring_is_the_sum_of_its_thin_rings(inner: float, width: float, height: float) -> None:
    radius = 0.5 * inner + 0.5 * width * (NODES + 1.0)
    resistance = float(np.sum(0.5 * width * WEIGHTS / (2.0 * math.pi * radius * height)))
    volume = float(np.sum(0.5 * width * WEIGHTS * 2.0 * math.pi * radius * height))
    ring = flat_ring(inner, width, height)
    assert ring.shape * resistance == pytest.approx(1.0, rel=1e-9)
    assert ring.volume == pytest.approx(volume, rel=1e-12)


@pytest.mark.parametrize(
    "path",
    [
        flat_ring(0.02, 0.003, 0.001),
        o_ring(0.03, 0.002, 0.2),
        seal_edge(0.6, 0.008, 1e-4),
        valve_seat(0.012, 0.002, 2e-5),
    ],
)
def test_the_flat_layer_has_the_conductance_and_the_volume_of_the_seal(path: SealPath) -> None:
    assert path.area / path.length == pytest.approx(path.shape, rel=1e-14)
    assert path.area * path.length == pytest.approx(path.volume, rel=1e-14)


def test_a_straight_edge_is_a_flat_layer_as_it_is() -> None:
    edge = seal_edge(0.6, 0.008, 1e-4)
    assert edge.length == pytest.approx(0.008, rel=1e-14)
    assert edge.area == pytest.approx(0.6 * 1e-4, rel=1e-14)


def test_a_valve_seat_is_near_the_ring_that_it_is() -> None:
    # pi D against 2 pi / ln((D + w)/(D - w)) w: (w/D)^2 / 3 apart
    for width, error in ((1e-3, 2.4e-3), (2e-3, 9.5e-3)):
        ring = flat_ring(12e-3 - width, width, 20e-6)
        assert valve_seat(12e-3, width, 20e-6).shape == pytest.approx(ring.shape, rel=error)


# -- O-rings -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("compression", COMPRESSIONS)
def test_a_squeezed_cord_keeps_its_section(compression: float) -> None:
    h = 1.0 - compression
    assert flat_width(compression) * h * h + 0.25 * math.pi * h * h == pytest.approx(
        0.25 * math.pi, rel=1e-14
    )


@given(st.floats(0.05, 0.4))
def test_an_o_ring_lies_between_the_bounds_of_rayleigh(compression: float) -> None:
    """Cuts along the way can only lower the conductance, perfectly conducting sheets across only raise it."""
    b = flat_width(compression)
    angle = (np.arange(2000) + 0.5) * math.pi / 2000
    strips = float(np.sum(0.5 * np.sin(angle) / (b + np.sin(angle))) * math.pi / 2000)
    assert strips < section_shape(compression) < 1.0 / b


@given(st.floats(0.05, 0.4), st.floats(0.05, 0.4))
def test_more_compression_leaks_less(one: float, other: float) -> None:
    low, high = sorted((one, other))
    if high - low > 1e-9:
        assert o_ring(0.03, 0.002, high).shape < o_ring(0.03, 0.002, low).shape


@pytest.mark.parametrize("compression", COMPRESSIONS)
def test_the_section_is_that_of_a_solution_with_poles_at_the_contact_lines(compression: float) -> None:
    """f = u + iv analytic, odd, real on the axis; u = 1 on the half circle, v = half the flow on the flat."""
    b = flat_width(compression)
    corner = 0.5 * b + 0.5j
    t = np.logspace(-14, 0, 900)
    arc = corner + 0.5 * (np.exp(0.5j * math.pi * (1.0 - t)) - 1j)
    flat = corner - 0.5 * b * t
    z = np.concatenate([arc, flat])
    columns = [(z / (0.5 * b + 0.5)) ** (2 * k + 1) for k in range(28)]
    for distance in 0.8 * np.exp(-4.0 * (math.sqrt(60) - np.sqrt(np.arange(1, 61)))):
        for c in (1.0, 1j):
            columns.append(
                sum(_pole(s * z, q, d) * s * distance for s in (1, -1) for q, d in _pair(corner, distance, c))
            )
    a = np.array(columns).T
    n = len(arc)
    rows = np.vstack(
        [np.hstack([a[:n].real, np.zeros((n, 1))]), np.hstack([a[n:].imag, -np.ones((len(flat), 1))])]
    )
    wanted = np.concatenate([np.ones(n), np.zeros(len(flat))])
    scale = np.linalg.norm(rows, axis=0)
    found = np.linalg.lstsq(rows / scale, wanted, rcond=1e-15)[0] / scale
    assert np.abs(rows @ found - wanted).max() < 2e-6
    assert section_shape(compression) == pytest.approx(found[-1], rel=1.2e-6)


def _pair(corner: complex, distance: float, c: complex) -> list[tuple[complex, complex]]:
    pole = corner + 1j * distance
    return [(pole, c), (pole.conjugate(), complex(c).conjugate())]


def _pole(z: NDArray[np.complex128], at: complex, c: complex) -> NDArray[np.complex128]:
    return c / (z - at)


@pytest.mark.parametrize("compression", [0.05, 0.2, 0.4])
def test_the_section_is_that_of_finite_elements(compression: float) -> None:
    """A quarter of the section in scikit-fem, refined towards the contact line."""
    skfem = pytest.importorskip("skfem")
    b = flat_width(compression)
    height = 0.5 * np.sin(np.linspace(0.0, 0.5 * math.pi, 9))
    mesh = skfem.MeshTri.init_tensor(np.linspace(0.0, 1.0, 7), height)
    x, y = mesh.p
    mesh = skfem.MeshTri(np.array([x * (0.5 * b + np.sqrt(np.maximum(0.25 - y * y, 0.0))), y]), mesh.t)
    for _ in range(3):
        mesh = _on_circle(mesh.refined(), b)
    for _ in range(16):
        centres = mesh.p[:, mesh.t].mean(axis=1)
        distance = np.hypot(centres[0] - 0.5 * b, centres[1] - 0.5)
        sizes = np.sqrt(np.abs(skfem.Basis(mesh, skfem.ElementTriP0()).dx.sum(axis=1)))
        mesh = _on_circle(mesh.refined(np.flatnonzero(sizes > 0.1 * distance + 1e-5)), b)
    basis = skfem.Basis(mesh, skfem.ElementTriP2())
    stiffness = skfem.BilinearForm(_gradients).assemble(basis)
    middle = basis.get_dofs(lambda p: p[0] < 1e-12)
    free = basis.get_dofs(mesh.facets_satisfying(lambda p: _off_the_flats(p, b), boundaries_only=True))
    u = basis.zeros()
    u[free] = 1.0
    u = skfem.solve(*skfem.condense(stiffness, x=u, D=np.union1d(middle.flatten(), free.flatten())))
    # two quarters beside each other, two halves after each other
    assert section_shape(compression) == pytest.approx(float(u @ (stiffness @ u)), rel=1e-3)


def _off_the_flats(p: Array, b: float) -> NDArray[np.bool_]:
    """Points of the boundary that are not on the axes and not where the cord touches the face."""
    found: NDArray[np.bool_] = (
        (p[0] > 1e-12) & (p[1] > 1e-12) & ((p[1] < 0.5 - 1e-12) | (p[0] > 0.5 * b + 1e-12))
    )
    return found


def _on_circle(mesh: Any, b: float) -> Any:
    """The mesh with the corners along the free side moved onto its half circle."""
    corners = np.unique(
        mesh.facets[:, mesh.facets_satisfying(lambda p: _off_the_flats(p, b), boundaries_only=True)]
    )
    points = mesh.p.copy()
    away = points[:, corners] - np.array([[0.5 * b], [0.0]])
    points[:, corners] = np.array([[0.5 * b], [0.0]]) + 0.5 * away / np.hypot(*away)
    return type(mesh)(points, mesh.t)


def _gradients(u: Any, v: Any, _w: Any) -> Any:
    return u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1]


def test_an_o_ring_is_near_the_estimate_of_vacuum_handbooks() -> None:
    # L = 0.7 F D P Q (1 - S)^2 with F in cm3 cm/(cm2 s bar), D in inch, P in psi and Q near 1 for a dry ring:
    # a rule of vacuum handbooks, from memory; good for the order of magnitude
    inch, psi = 2.54, 1.0 / 14.504
    for compression in (0.1, 0.2, 0.3):
        own = math.pi * inch * section_shape(compression) * psi
        assert 0.4 < 0.7 * (1.0 - compression) ** 2 / own < 2.5


# -- edges ---------------------------------------------------------------------------------------------------


def test_an_edge_by_its_middle_line_counts_a_little_too_much_at_the_corners() -> None:
    """A sealed frame in scikit-fem: between the edge by its inner and by its middle line."""
    skfem = pytest.importorskip("skfem")
    across, along, width = 50.0, 75.0, 8.0  # a quarter, mm
    x = np.concatenate(
        [np.linspace(0, across - width, 12), across - width + width * np.linspace(0, 1, 13)[1:]]
    )
    y = np.concatenate([np.linspace(0, along - width, 12), along - width + width * np.linspace(0, 1, 13)[1:]])
    grid = skfem.MeshQuad.init_tensor(x, y)
    inside = lambda p: (p[0] < across - width - 1e-9) & (p[1] < along - width - 1e-9)  # noqa: E731
    mesh = grid.remove_elements(np.flatnonzero(inside(grid.p[:, grid.t].mean(axis=1))))
    mesh = mesh.refined(2)
    basis = skfem.Basis(mesh, skfem.ElementQuad2())
    stiffness = skfem.BilinearForm(_gradients).assemble(basis)
    hole = lambda p: (  # noqa: E731
        (np.abs(p[0] - (across - width)) < 1e-9) & (p[1] < along - width + 1e-9)
        | (np.abs(p[1] - (along - width)) < 1e-9) & (p[0] < across - width + 1e-9)
    )
    inner = basis.get_dofs(hole)
    outer = basis.get_dofs(lambda p: (np.abs(p[0] - across) < 1e-9) | (np.abs(p[1] - along) < 1e-9))
    u = basis.zeros()
    u[inner] = 1.0
    u = skfem.solve(*skfem.condense(stiffness, x=u, D=np.union1d(inner.flatten(), outer.flatten())))
    frame = 4.0 * float(u @ (stiffness @ u))
    line = 4.0 * (across + along - 2.0 * width)
    by_inner = seal_edge(line * 1e-3, width * 1e-3, 1e-3).shape * 1e3
    by_middle = seal_edge((line + 4.0 * width) * 1e-3, width * 1e-3, 1e-3).shape * 1e3
    assert by_inner < frame < by_middle
    # shape factor of an edge where two walls meet, 0.54 per length (textbooks of heat transfer, from memory)
    assert (frame - by_inner) / 4.0 == pytest.approx(0.54, abs=0.03)
    assert by_middle == pytest.approx(frame, rel=0.04)


# -- errors --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: flat_ring(0.0, 1e-3, 1e-3), "inner_diameter"),
        (lambda: flat_ring(1e-2, -1e-3, 1e-3), "width"),
        (lambda: o_ring(1e-3, 2e-3, 0.2), "ring_diameter"),
        (lambda: o_ring(3e-2, 2e-3, 0.04), "compression"),
        (lambda: o_ring(3e-2, 2e-3, 0.41), "compression"),
        (lambda: seal_edge(0.6, 8e-3, math.nan), "thickness"),
        (lambda: valve_seat(2e-3, 2e-3, 1e-5), "seat_width"),
    ],
)
def test_a_seal_that_cannot_be_is_refused_with_the_size_at_fault(make: Any, field: str) -> None:
    with pytest.raises(GeometryError) as error:
        make()
    assert error.value.field == field

"""Legendre-Gauss-Lobatto points of a layer: nodes, weights and derivatives for unsteady diffusion.

A layer is one spectral element of degree N. With its own nodes as points of quadrature the matrix of storage
is diagonal, and integrals of polynomials up to degree 2N - 1 are exact. Source: Canuto, Hussaini, Quarteroni
and Zang, Spectral Methods: Fundamentals in Single Domains (2006), 2.3.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Element:
    """On -1..1 with n = degree + 1 nodes: nodes (n,) increasing; weights (n,), their sum 2; derivative (n,
    n): row q gives the derivative at node q of a polynomial from its values at the nodes."""

    nodes: Array
    weights: Array
    derivative: Array

    @property
    def degree(self) -> int:
        return len(self.nodes) - 1

    def stiffness(self) -> Array:
        """(n, n, n): weight_q D_qi D_qj, over q first; summed with a permeability at each q it is the matrix
        of conduction of the element, times 2/length."""
        d = self.derivative
        value: Array = self.weights[:, None, None] * d[:, :, None] * d[:, None, :]
        return value


@lru_cache(maxsize=32)
def lobatto(degree: int) -> Element:
    """The element of ``degree`` (1 to 24)."""
    if not 1 <= degree <= 24:
        raise ValueError("the degree of an element must be from 1 to 24")
    n = degree
    series = np.zeros(n + 1)
    series[n] = 1.0
    inner = legendre.legroots(legendre.legder(series)) if n > 1 else np.zeros(0)
    x = np.concatenate([[-1.0], np.sort(inner.real), [1.0]])
    x = 0.5 * (x - x[::-1])
    # Newton on (1 - x^2) P_n' at the inner nodes takes the last digits
    for _ in range(3):
        p, dp = legendre.legval(x, series), legendre.legval(x, legendre.legder(series))
        step = np.zeros_like(x)
        step[1:-1] = (1.0 - x[1:-1] ** 2) * dp[1:-1] / (n * (n + 1) * p[1:-1])
        x = x + step
    value = legendre.legval(x, series)
    weights = 2.0 / (n * (n + 1) * value**2)
    difference = x[:, None] - x[None, :] + np.eye(n + 1)
    derivative = (value[:, None] / value[None, :]) / difference
    np.fill_diagonal(derivative, 0.0)
    # rows sum to nothing: the derivative of a constant, to the last digit
    np.fill_diagonal(derivative, -derivative.sum(axis=1))
    for table in (x, weights, derivative):
        table.setflags(write=False)
    return Element(x, weights, derivative)

"""Closed forms of diffusion in walls, as functions of numpy arrays. Dimensionless time tau = D t / l^2.

Sources: Crank, The Mathematics of Diffusion, 2nd ed. (1975), chapters 4, 5 and 14 (from memory for the
numbers of the equations); Carslaw and Jaeger, Conduction of Heat in Solids (the slab that feeds a vessel);
laminates: see ``laminate_lag``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]

#: Terms of a series; what is left out is below 1e-16 for tau above 1e-5.
TERMS = 2000


def _modes(tau: ArrayLike, terms: int = TERMS) -> tuple[Array, Array]:
    """n = 1, 2, ... (terms,) against tau (..., 1)."""
    return np.arange(1, terms + 1, dtype=float), np.asarray(tau, dtype=float)[..., None]


def slab_flux(tau: ArrayLike) -> Array:
    """J l / (D c1) out of a slab, empty at first, c1 at one face and 0 at the other:
    1 + 2 sum (-1)^n exp(-n^2 pi^2 tau). Crank, ch. 4."""
    n, t = _modes(tau)
    return 1.0 + 2.0 * np.sum((-1.0) ** n * np.exp(-(n**2) * np.pi**2 * t), axis=-1)


def slab_passed(tau: ArrayLike) -> Array:
    """Q / (l c1) that has passed that slab: tau - 1/6 - 2/pi^2 sum (-1)^n / n^2 exp(-n^2 pi^2 tau).
    Crank, ch. 4; the time lag is l^2/(6 D) (Daynes 1920, Barrer 1939)."""
    n, t = _modes(tau)
    series = np.sum((-1.0) ** n / n**2 * np.exp(-(n**2) * np.pi**2 * t), axis=-1)
    value: Array = np.asarray(tau, dtype=float) - 1.0 / 6.0 - 2.0 / np.pi**2 * series
    return value


def slab_share_time(share: float) -> float:
    """tau at which the flux is ``share`` of the steady one: root of ``slab_flux``."""
    return float(brentq(lambda t: float(slab_flux(t)) - share, 0.01, 5.0, xtol=1e-14))


def stored_film_lag(ratio: float) -> float:
    """Lag D/l^2 of a film that holds c0 = ratio c1 everywhere: 1/6 - c0/(2 c1). Crank, ch. 4."""
    return 1.0 / 6.0 - 0.5 * ratio


def swept_film_lag() -> float:
    """The same in air on one side, swept on the other, in equilibrium with the air at first (c0 = c1):
    -1/3."""
    return stored_film_lag(1.0)


def cylinder(inner: float, outer: float) -> tuple[float, float]:
    """Steady flow per length 2 pi D / ln(b/a) and lag [a^2 - b^2 + (a^2 + b^2) ln(b/a)] / [4 D ln(b/a)], for
    D = 1 and a drop of 1. Crank, ch. 5."""
    log = np.log(outer / inner)
    lag = (inner**2 - outer**2 + (inner**2 + outer**2) * log) / (4 * log)
    return float(2 * np.pi / log), float(lag)


def sphere(inner: float, outer: float) -> tuple[float, float]:
    """Steady flow 4 pi D a b / (b - a) and lag (b - a)^2 / (6 D), for D = 1 and a drop of 1. Crank, ch.
    6."""
    return 4 * np.pi * inner * outer / (outer - inner), (outer - inner) ** 2 / 6


def laminate_lag(
    thickness: Sequence[float], diffusivity: Sequence[float], solubility: Sequence[float]
) -> float:
    """Time lag of layers in series: R sum_i S_i P_i [r^2/(2 R) - r^3/(3 R^2)] between the resistances r at
    the two faces of layer i, P = D S, R = sum l/P. (Weighted integral R int S w (1 - w) dx, written with
    dx = P dr; for two layers the result of Ash, Barrer and Palmer, Br. J. Appl. Phys. 16 (1965) 873, from
    memory.)"""
    width, d, s = (np.asarray(x, dtype=float) for x in (thickness, diffusivity, solubility))
    p = d * s
    edges = np.concatenate([[0.0], np.cumsum(width / p)])
    total = edges[-1]

    def integral(r: Array) -> Array:
        return r**2 / (2 * total) - r**3 / (3 * total**2)

    return float(total * np.sum(s * p * (integral(edges[1:]) - integral(edges[:-1]))))


def laminate_flux(
    thickness: Sequence[float], diffusivity: Sequence[float], solubility: Sequence[float]
) -> float:
    """Steady flux for a drop of pressure of 1: 1 / sum l/P."""
    layers = zip(thickness, diffusivity, solubility, strict=True)
    return float(1.0 / sum(width / (d * s) for width, d, s in layers))


def two_layer_lag(
    thickness: Sequence[float], diffusivity: Sequence[float], solubility: Sequence[float]
) -> float:
    """[(l1^2/D1)(R1/6 + R2/2) + (l2^2/D2)(R2/6 + R1/2)] / (R1 + R2)."""
    (l1, l2), (d1, d2) = thickness, diffusivity
    r1, r2 = (x / (d * s) for x, d, s in zip(thickness, diffusivity, solubility, strict=True))
    return (l1**2 / d1 * (r1 / 6 + r2 / 2) + l2**2 / d2 * (r2 / 6 + r1 / 2)) / (r1 + r2)


def sheet_uptake(tau: ArrayLike) -> Array:
    """M_t/M_inf of a sheet of thickness l from both faces:
    1 - 8/pi^2 sum 1/(2n+1)^2 exp(-(2n+1)^2 pi^2 tau). Crank, ch. 4."""
    n, t = _modes(tau)
    odd = 2 * n - 1
    return 1.0 - 8 / np.pi**2 * np.sum(np.exp(-(odd**2) * np.pi**2 * t) / odd**2, axis=-1)


def sheet_uptake_early(tau: ArrayLike) -> Array:
    """4 sqrt(tau / pi). Crank, ch. 4."""
    value: Array = 4 * np.sqrt(np.asarray(tau, dtype=float) / np.pi)
    return value


def sheet_time(share: float) -> float:
    """tau at which the uptake is ``share``."""
    return float(brentq(lambda t: float(sheet_uptake(t)) - share, 1e-4, 5.0, xtol=1e-15))


def _roots(f: Callable[[float], float], first: float, count: int) -> Array:
    """One root in each interval from (first + n) pi to half of pi more, n = 0, 1, ..."""
    small = 1e-12
    return np.array(
        [
            brentq(f, (first + n) * np.pi + small, (first + n + 0.5) * np.pi - small, xtol=1e-14, rtol=1e-14)
            for n in range(count)
        ]
    )


def bath_roots(alpha: float, count: int = 400) -> Array:
    """Positive roots of tan q = -alpha q."""
    # between (n + 1/2) pi and (n + 1) pi the tangent rises from minus infinity to 0
    return _roots(lambda q: np.sin(q) + alpha * q * np.cos(q), 0.5, count)


def bath_uptake(tau: ArrayLike, alpha: float) -> Array:
    """M_t/M_inf of a sheet (half thickness l) in a stirred bath, alpha = bath volume/(K sheet volume):
    1 - sum 2 alpha (1 + alpha)/(1 + alpha + alpha^2 q^2) exp(-q^2 tau), tan q = -alpha q. Crank, ch. 4."""
    q, t = bath_roots(alpha), np.asarray(tau, dtype=float)[..., None]
    weight = 2 * alpha * (1 + alpha) / (1 + alpha + alpha**2 * q**2)
    return 1.0 - np.sum(weight * np.exp(-(q**2) * t), axis=-1)


def headspace_roots(h: float, count: int = 400) -> Array:
    """Positive roots of beta tan beta = h."""
    return _roots(lambda b: b * np.sin(b) - h * np.cos(b), 0.0, count)


def headspace_fill(tau: ArrayLike, h: float) -> Array:
    """p2/p1 of a vessel behind a slab, both empty at first, p1 outside, h = A l S R T / V:
    1 - sum 2 sin b/(b + sin b cos b) exp(-b^2 tau), b tan b = h. Carslaw and Jaeger, section 3.13 (from
    memory)."""
    b, t = headspace_roots(h), np.asarray(tau, dtype=float)[..., None]
    weight = 2 * np.sin(b) / (b + np.sin(b) * np.cos(b))
    return 1.0 - np.sum(weight * np.exp(-(b**2) * t), axis=-1)


def headspace_from(tau: ArrayLike, h: float, wall: float = 0.0, start: float = 0.0) -> Array:
    """p2/p1 of that vessel when the slab holds ``wall`` p1 everywhere at first and the vessel ``start`` p1.

    The deficit u = 1 - p/p1 is 0 at x = 0 (outside) and follows (1/h) du/dtau = -du/dx at x = 1, so it is a
    sum of sin(b x) exp(-b^2 tau) over the same roots; these are orthogonal under the weight 1 on the slab and
    1/h at x = 1. With an empty slab and vessel it is ``headspace_fill``.
    """
    b, t = headspace_roots(h), np.asarray(tau, dtype=float)[..., None]
    norm = 0.5 - np.sin(2 * b) / (4 * b) + np.sin(b) ** 2 / h
    slab = (1 - np.cos(b)) / b * np.sin(b) / norm
    vessel = np.sin(b) ** 2 / h / norm
    return 1.0 - np.sum(((1.0 - wall) * slab + (1.0 - start) * vessel) * np.exp(-(b**2) * t), axis=-1)


def headspace_quasi_steady(tau: ArrayLike, h: float) -> Array:
    """1 - exp(-h (tau - 1/6)), with the lag of a slab."""
    value: Array = -np.expm1(-h * (np.asarray(tau, dtype=float) - 1.0 / 6.0))
    return value


def reacting_transmission(phi: ArrayLike) -> Array:
    """Share that passes a film with first-order use inside, phi = l sqrt(k/D): phi / sinh phi. Crank, ch. 14;
    the same modulus as Thiele's."""
    f = np.asarray(phi, dtype=float)
    value: Array = f / np.sinh(f)
    return value


def reacting_uptake(phi: ArrayLike) -> Array:
    """Flux into that film at its face over the flux without reaction: phi / tanh phi."""
    f = np.asarray(phi, dtype=float)
    value: Array = f / np.tanh(f)
    return value

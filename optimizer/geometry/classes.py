"""A field of wall thickness as a few thickness classes: a Gauss rule of its own distribution.

Every layer is scaled by the local ratio r = thickness / nominal thickness. A piece of area A lets through A /
r times what a square metre of the nominal wall does, and holds A r times its material. The classes are the
nodes of the Gauss quadrature of the measure A / r: with n of them every sum of (A / r) r**j is exact for j
from 0 to 2 n - 1, so steady transmission (j = 0), area (1) and mass (2) are those of the whole field from two
classes on. What the classes approximate is the response in time, a function of r**2 in the one variable D t /
l**2: its error is found on the field itself, against the closed form of a slab (J. Crank, The Mathematics of
Diffusion, 2nd ed. 1975, eq. 4.24; formula from memory, checked in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Largest error of the response in time that the classes may make, as a share of the steady transmission or
#: of what the wall holds.
TOLERANCE = 1e-4
#: More classes than this are not made, whatever the error: it is reported.
MOST_CLASSES = 12
#: Bins of equal width in log(ratio) that stand for the field while its error is sought: 1e-6 of their own.
_BINS = 600
#: Ratios closer together than this are one class: its mean is then good to the square of it.
_EVEN = 1e-6
_TIMES = 120
#: Terms of the slab's series; before _EARLY it is replaced by its limit for short times, good to 1e-9.
_TERMS, _EARLY = 20, 5e-3


@dataclass(frozen=True)
class Classes:
    """ratio, area (k,): of each class, thinnest first; error: largest error of the response in time, as a
    share of its steady value."""

    ratio: Array
    area: Array
    error: float


def classes_of(ratio: Array, area: Array, tolerance: float = TOLERANCE, most: int = MOST_CLASSES) -> Classes:
    """The fewest classes whose error is within ``tolerance``, or ``most`` of them.

    ratio, area: (n,), above zero. Raises ValueError for others.
    """
    if not (np.all(ratio > 0) and np.all(area > 0) and np.all(np.isfinite(ratio)) and len(ratio)):
        raise ValueError("thickness classes need ratios and areas above zero")
    points, weights = binned(ratio, area / ratio)
    times = _times(points)
    exact = response(points, weights, times)
    rule = Gauss(ratio, area / ratio, most)
    uneven = float(ratio.max()) > float(ratio.min()) * (1.0 + _EVEN)
    for count in range(2 if uneven else 1, rule.most + 1):
        nodes, shares = rule.of(count)
        error = float(np.abs(response(nodes, shares, times) - exact).max()) if uneven else 0.0
        if error <= tolerance:
            break
    return Classes(nodes, shares * nodes, error)


class Gauss:
    """Gauss rules of a discrete positive measure, points and weights (n,), with up to ``most`` nodes.

    most: as asked, or the number of different points where that is less: that rule is the measure itself.
    Recurrence by the discretised Stieltjes procedure, nodes from the Jacobi matrix (G. Golub and J. Welsch,
    1969; W. Gautschi, Orthogonal Polynomials, 2004; from memory).
    """

    def __init__(self, points: Array, weights: Array, most: int) -> None:
        self.total = float(weights.sum())
        self.middle = dot(weights, points) / self.total
        self.scale = float(np.max(np.abs(points - self.middle))) or 1.0
        self.diagonal: list[float] = []
        self.beside: list[float] = []
        x = (points - self.middle) / self.scale
        before, now = np.zeros_like(x), np.full_like(x, self.total**-0.5)
        for _ in range(most):
            alpha = dot(weights * now, x * now)
            follow = (x - alpha) * now - (self.beside[-1] * before if self.beside else 0.0)
            size = dot(weights * follow, follow) ** 0.5
            self.diagonal.append(alpha)
            self.beside.append(size)
            if size < 1e-9:
                break
            before, now = now, follow / size
        self.most = len(self.diagonal)

    def of(self, count: int) -> tuple[Array, Array]:
        """Nodes, increasing, and weights of the rule with ``count`` nodes (count,)."""
        beside = self.beside[: count - 1]
        jacobi = np.diag(self.diagonal[:count]) + np.diag(beside, 1) + np.diag(beside, -1)
        nodes, vectors = np.linalg.eigh(jacobi)
        return self.middle + self.scale * nodes, self.total * vectors[0] ** 2


def dot(one: Array, two: Array) -> float:
    """Sum of products of long vectors (n,). ``@`` would share them out among threads, which on a machine with
    other work takes several times as long."""
    return float((one * two).sum())


def binned(points: Array, weights: Array) -> tuple[Array, Array]:
    """A measure gathered into narrow bins, each at its mean; as it is where it has few points."""
    if len(points) <= _BINS:
        return points, weights
    place = np.log(points)
    low, high = float(place.min()), float(place.max())
    index = np.minimum(((place - low) * (_BINS / max(high - low, 1e-300))).astype(int), _BINS - 1)
    total: Array = np.asarray(np.bincount(index, weights, _BINS), dtype=float)
    mean: Array = np.asarray(np.bincount(index, weights * points, _BINS), dtype=float)
    full = total > 0
    return mean[full] / total[full], total[full]


def response(points: Array, weights: Array, times: Array) -> Array:
    """(2, len(times)): what passes into the package after a step outside, as a share of the steady
    transmission, and what the wall still holds after being emptied from both faces, as a share of all.
    times in units of l**2 / D at ratio 1."""
    through, left = _slab(times[:, None] / points[None, :] ** 2)
    held = weights * points**2
    return np.stack([through @ weights / weights.sum(), left @ held / held.sum()])


def _times(points: Array) -> Array:
    return np.geomspace(0.02 * float(points.min()) ** 2, 1.5 * float(points.max()) ** 2, _TIMES)


def _slab(tau: Array) -> tuple[Array, Array]:
    """Flow out of the far face over its steady value, and share that remains of a full slab, at Fourier
    number ``tau``."""
    n = np.arange(1, _TERMS + 1)
    late = tau >= _EARLY
    # the terms of odd n, with n**2 below, are those of the slab that empties
    decay = np.exp(-((n * np.pi) ** 2) * tau[late][:, None])
    through, left = np.zeros(tau.shape), 1.0 - 4.0 * np.sqrt(tau / np.pi)
    through[late] = 1.0 + 2.0 * decay @ (-1.0) ** n
    left[late] = decay[:, ::2] @ (8.0 / (np.pi * n[::2]) ** 2)
    return through, left

"""Water sorption isotherms of products.

Every isotherm has ``content(a)`` [kg water/kg dry] of water activity a [-], its inverse ``activity(X)`` and
``slope(a)`` = dX/da, each for a float or an array of any shape (the answer has the same shape), and
``valid``,
the range of activity in which it may be trusted. Outside it the formulas go on without an error, so that an
integrator may try a step; callers warn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ZERO_CELSIUS
from optimizer.physics.interpolation import pchip_slopes

#: A Python float or a numpy array of floats.
Value = Any

#: Activities are held this far from 0 and 1 where a formula has no value there.
_EDGE = 1e-12


class Isotherm(Protocol):
    """Water content X [kg water/kg dry] as an increasing function of water activity a [-]."""

    @property
    def valid(self) -> tuple[float, float]: ...

    def content(self, a: Value) -> Value: ...

    def activity(self, content: Value) -> Value: ...

    def slope(self, a: Value) -> Value: ...


def _log(x: Value) -> Value:
    return math.log(x) if isinstance(x, float) else np.log(x)


def _exp(x: Value) -> Value:
    return math.exp(x) if isinstance(x, float) else np.exp(x)


def _clip(x: Value, low: float, high: float) -> Value:
    if isinstance(x, int | float):
        return low if x < low else high if x > high else float(x)
    return np.clip(x, low, high)


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} of the isotherm must be a positive number, not {value!r}")


@dataclass(frozen=True)
class GAB:
    """X = m C K a / [(1 - K a)(1 - K a + C K a)]; monolayer m [kg/kg dry], c [-], k [-].

    Guggenheim-Anderson-de Boer; van den Berg and Bruin (1981). Valid below a = 1/K.
    """

    monolayer: float
    c: float
    k: float
    valid: tuple[float, float] = field(init=False, default=(0.0, 1.0))
    # least content with an activity: below it the square root has none, where c < 1
    _least: float = field(init=False, repr=False, compare=False, default=-math.inf)

    def __post_init__(self) -> None:
        _positive(monolayer=self.monolayer, c=self.c, k=self.k)
        if self.c < 1.0:
            least = -self.monolayer * self.c / (1.0 + math.sqrt(1.0 - self.c)) ** 2
            object.__setattr__(self, "_least", (1.0 - 1e-9) * least)
        object.__setattr__(self, "valid", (0.0, min(1.0, 0.999 / self.k)))

    def content(self, a: Value) -> Value:
        u = self.k * _clip(a, -1.0, (1.0 - 1e-9) / self.k)
        return self.monolayer * self.c * u / ((1.0 - u) * (1.0 + (self.c - 1.0) * u))

    def activity(self, content: Value) -> Value:
        x = content if self.c >= 1.0 else _clip(content, self._least, math.inf)
        b = self.monolayer * self.c - (self.c - 2.0) * x
        root = (b * b + (4.0 * (self.c - 1.0)) * x * x) ** 0.5
        return (2.0 / self.k) * x / (b + root)

    def slope(self, a: Value) -> Value:
        u = self.k * _clip(a, -1.0, (1.0 - 1e-9) / self.k)
        c1 = self.c - 1.0
        denominator = (1.0 - u) * (1.0 + c1 * u)
        return self.monolayer * self.c * self.k * (1.0 + c1 * u * u) / (denominator * denominator)


@dataclass(frozen=True)
class Oswin:
    """X = a0 (aw / (1 - aw))^b; a [kg/kg dry], b [-]. Oswin, J. Soc. Chem. Ind. 65 (1946) 419."""

    a: float
    b: float
    valid: tuple[float, float] = field(init=False, default=(0.01, 0.98))

    def __post_init__(self) -> None:
        _positive(a=self.a, b=self.b)

    def content(self, a: Value) -> Value:
        w = _clip(a, _EDGE, 1.0 - _EDGE)
        return self.a * (w / (1.0 - w)) ** self.b

    def activity(self, content: Value) -> Value:
        ratio = (_clip(content, 1e-12 * self.a, 1e6 * self.a) / self.a) ** (1.0 / self.b)
        return ratio / (1.0 + ratio)

    def slope(self, a: Value) -> Value:
        w = _clip(a, _EDGE, 1.0 - _EDGE)
        return self.b * self.a * (w / (1.0 - w)) ** self.b / (w * (1.0 - w))


@dataclass(frozen=True)
class Henderson:
    """1 - a = exp(-k (t + c) M^n), M in percent dry basis, t in degC (given as ``temperature_celsius``).

    Modified Henderson equation of ASAE D245.5 (Thompson, Peart and Foster, 1968).
    """

    k: float
    n: float
    c: float
    temperature_celsius: float
    valid: tuple[float, float] = field(init=False, default=(0.01, 0.99))

    def __post_init__(self) -> None:
        _positive(k=self.k, n=self.n)
        if not self.temperature_celsius + self.c > 0:
            raise ValueError("temperature + c of the Henderson isotherm must be positive")

    @property
    def _rate(self) -> float:
        return self.k * (self.temperature_celsius + self.c)

    def content(self, a: Value) -> Value:
        w = _clip(a, _EDGE, 1.0 - _EDGE)
        return 0.01 * (-_log(1.0 - w) / self._rate) ** (1.0 / self.n)

    def activity(self, content: Value) -> Value:
        m = 100.0 * _clip(content, 1e-9, 1e3)
        return 1.0 - _exp(-self._rate * m**self.n)

    def slope(self, a: Value) -> Value:
        w = _clip(a, _EDGE, 1.0 - _EDGE)
        return self.content(w) / (self.n * -_log(1.0 - w) * (1.0 - w))


@dataclass(frozen=True)
class TableIsotherm:
    """Measured points ((a, X), ...), both increasing; activity is a monotone cubic in X between them.

    The slope at the ends goes on outside the points.
    """

    points: tuple[tuple[float, float], ...]
    valid: tuple[float, float] = field(init=False, default=(0.0, 1.0))
    _cells: tuple[tuple[float, ...], ...] = field(init=False, repr=False, compare=False, default=())

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise ValueError("an isotherm table needs at least two points")
        a = np.array([p[0] for p in self.points], dtype=float)
        x = np.array([p[1] for p in self.points], dtype=float)
        if not (np.all(np.isfinite(a)) and np.all(np.isfinite(x))):
            raise ValueError("an isotherm table must hold finite numbers")
        if a[0] < 0 or a[-1] > 1 or x[0] < 0:
            raise ValueError("an isotherm table needs water activities from 0 to 1 and contents not below 0")
        if np.any(np.diff(a) <= 0) or np.any(np.diff(x) <= 0):
            raise ValueError("water activity and water content of an isotherm table must both increase")
        slope = pchip_slopes(x, a)
        # a flat end or a flat knot would have no inverse: keep a hundredth of the neighbouring chord
        chord = np.diff(a) / np.diff(x)
        least = 0.01 * np.minimum(np.append(chord, chord[-1]), np.insert(chord, 0, chord[0]))
        slope = np.maximum(slope, least)
        h = np.diff(x)
        c2 = (3 * chord - 2 * slope[:-1] - slope[1:]) / h
        c3 = (slope[:-1] + slope[1:] - 2 * chord) / (h * h)
        cells = [(-math.inf, a[0] - 0.0, slope[0], 0.0, 0.0, x[0])]
        cells += [(x[i], a[i], slope[i], c2[i], c3[i], x[i]) for i in range(len(h))]
        cells += [(x[-1], a[-1], slope[-1], 0.0, 0.0, x[-1])]
        object.__setattr__(self, "_cells", tuple(tuple(float(v) for v in c) for c in cells))
        object.__setattr__(self, "valid", (float(a[0]), float(a[-1])))

    def _pieces(self, content: Value) -> tuple[Value, Value, Value, Value, Value]:
        if isinstance(content, float):
            cell = next(c for c in reversed(self._cells) if content >= c[0])
            return content - cell[5], cell[1], cell[2], cell[3], cell[4]
        x = np.asarray(content, dtype=float)
        table = np.array(self._cells)
        k = np.searchsorted(table[1:, 0], x, side="right")
        return x - table[k, 5], table[k, 1], table[k, 2], table[k, 3], table[k, 4]

    def activity(self, content: Value) -> Value:
        t, c0, c1, c2, c3 = self._pieces(content)
        return c0 + t * (c1 + t * (c2 + t * c3))

    def content(self, a: Value) -> Value:
        w = np.asarray(a, dtype=float)
        table = np.array(self._cells)
        k = np.searchsorted(table[1:, 1], w, side="right")
        low, (c0, c1, c2, c3) = table[k, 5], table[k, 1:5].T
        high = np.append(table[1:, 5], np.inf)[k]
        t = (w - c0) / c1
        inner = (k > 0) & (k < len(table) - 1)
        lo, hi = np.where(inner, 0.0, t), np.where(inner, high - low, t)
        # bisection on a monotone cubic: 60 halvings reach the last bit
        for _ in range(60):
            t = 0.5 * (lo + hi)
            above = c0 + t * (c1 + t * (c2 + t * c3)) > w
            lo, hi = np.where(above, lo, t), np.where(above, t, hi)
        value: NDArray[np.float64] = low + 0.5 * (lo + hi)
        return float(value) if value.ndim == 0 else value

    def slope(self, a: Value) -> Value:
        t, _, c1, c2, c3 = self._pieces(self.content(a))
        return 1.0 / (c1 + t * (2.0 * c2 + 3.0 * t * c3))


def gab_at(
    temperature: float, monolayer: tuple[float, float], c: tuple[float, float], k: tuple[float, float]
) -> GAB:
    """GAB at ``temperature`` [K] from pairs (p0, q) with parameter = p0 exp(q / T)."""
    return GAB(*(p0 * math.exp(q / temperature) for p0, q in (monolayer, c, k)))


def henderson_at(temperature: float, k: float, n: float, c: float) -> Henderson:
    """Modified Henderson isotherm at ``temperature`` [K]."""
    return Henderson(k, n, c, temperature - ZERO_CELSIUS)

"""Boxes over the place of a humidity-sensitive layer in the wall, and what is the best it can do in each.

The place is  f = (share of the total water resistance that lies inside the layer) + half its own share s.
The activity at water-resistance share y is  a(y) = a_in - y (a_in - a_out)  for any material, because the
water flux is the same everywhere. A box holds f in [f_low, f_high] and s in [s_low, s_high]; the layer's
faces are f - s/2 and f + s/2. For a layer anywhere in the box this module gives

* an upper bound of its mean gas resistivity (integral of 1/P over the layer, weighted by its own P_w), and
* lower and upper bounds of its water resistivity (1 / mean P_w between its faces).

Both are exact in the limit of a small box. If 1/P rises along y, the mean rises with either face, so the
largest mean in a box sits at the largest faces; s is cut into fine strips so that the two faces stay
consistent.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from optimizer.design.problem import Environment
from optimizer.physics.material import Material
from optimizer.physics.permeability import BLOCKED, GasLaw, ResistivityTable, WaterLaw, resistivity_table

Array = NDArray[np.float64]

#: Strips into which the own share s is cut for the bound of the mean.
_STRIPS = 256
#: Relative safety on every bound, far above rounding and far below the gap aimed at.
_SAFETY = 1e-9


@dataclass(frozen=True)
class Box:
    f_low: float
    f_high: float
    s_low: float = 0.0
    s_high: float = 1.0

    def holds(self, f: float, s: float) -> bool:
        return self.f_low <= f <= self.f_high and self.s_low <= s <= self.s_high

    @property
    def possible(self) -> bool:
        """Whether any layer fits: its faces must lie within the wall."""
        return min(self.f_high, 1 - self.s_low / 2) >= max(self.f_low, self.s_low / 2)


def depends_on_place(material: Material, gas: str) -> bool:
    """Whether the material's permeability to ``gas`` (or to water, for ``H2O``) depends on humidity."""
    law = material.water_law() if gas == "H2O" else material.gas_law(gas)
    return bool(law.humidity_sensitive)


def resistivity_at(material: Material, gas: str, environment: Environment) -> float:
    """Resistivity [m2 s Pa/(mol m)] in the middle of the humidity range; for layers whose place does not
    matter."""
    middle = 0.5 * (environment.inside + environment.outside)
    if gas == "H2O":
        law = material.water_law()
        if law.blocks:
            return BLOCKED
        return 1.0 / (float(law.slope_at(middle)) * float(law.factor(environment.temperature)))
    return float(material.mean_resistivity(gas, environment.temperature, middle, middle))


@lru_cache(maxsize=200_000)
def largest_resistivity(material: Material, gas: str, environment: Environment, box: Box) -> float:
    """Upper bound of the layer's mean 1/P for ``gas`` [m2 s Pa/(mol m)] anywhere in the box."""
    law = material.gas_law(gas)
    if not law.humidity_sensitive:
        return float(material.mean_resistivity(gas, environment.temperature, 0.5, 0.5))
    water = material.water_law()
    best = _largest_mean(law, water, environment, box)
    return best * (1 + _SAFETY) / float(law.factor(environment.temperature))


def _largest_mean(law: GasLaw, water: WaterLaw, environment: Environment, box: Box) -> float:
    table = resistivity_table(law, water)
    drop = environment.inside - environment.outside

    def activity(y: Array) -> Array:
        return environment.inside - y * drop

    y_low, y_high = max(0.0, box.f_low - box.s_high / 2), min(1.0, box.f_high + box.s_high / 2)
    ends = activity(np.array([y_low, y_high]))
    inner = table.grid[(table.grid > ends.min()) & (table.grid < ends.max())]
    along = np.concatenate([[ends[0]], inner if drop < 0 else inner[::-1], [ends[1]]])
    r = table.resistivity(along)
    change = np.diff(r)
    ceiling = float(r.max())
    edges = np.linspace(box.s_low, box.s_high, _STRIPS + 1)
    low, high = edges[:-1], edges[1:]
    centre_high = np.minimum(box.f_high, 1 - low / 2)
    centre_low = np.maximum(box.f_low, low / 2)
    fits = centre_high >= centre_low
    if not fits.any():
        return 0.0
    tiny = 1e-12 * ceiling
    if np.all(change >= -tiny):
        first, second = centre_high - low / 2, np.minimum(1.0, centre_high + high / 2)
    elif np.all(change <= tiny):
        first, second = np.maximum(0.0, centre_low - high / 2), centre_low + low / 2
    else:
        return min(ceiling, _largest_ratio(table, activity, box, edges))
    return min(ceiling, float(table.mean(activity(first[fits]), activity(second[fits])).max()))


def _largest_ratio(table: ResistivityTable, activity: object, box: Box, edges: Array) -> float:
    """Bound without monotonicity: integral over the widest layer over the Phi of the narrowest, per strip."""
    low, high = edges[:-1], edges[1:]
    wide_1, wide_2 = np.clip(box.f_low - high / 2, 0, 1), np.clip(box.f_high + high / 2, 0, 1)
    core_1, core_2 = np.clip(box.f_high - low / 2, 0, 1), np.clip(box.f_low + low / 2, 0, 1)
    psi = table.integrals(activity(wide_1))[0] - table.integrals(activity(wide_2))[0]  # type: ignore[operator]
    phi = table.integrals(activity(core_1))[1] - table.integrals(activity(core_2))[1]  # type: ignore[operator]
    good = core_2 > core_1 + 1e-9
    if not good.all():
        return np.inf
    return float(np.max(np.abs(psi) / np.abs(phi)))


@lru_cache(maxsize=200_000)
def water_resistivities(material: Material, environment: Environment, box: Box) -> tuple[float, float]:
    """Least and largest water resistivity  (a1 - a2)/(Phi(a1) - Phi(a2))  of a layer in the box, divided by
    the temperature factor; units of 1/P_w."""
    law = material.water_law()
    factor = float(law.factor(environment.temperature))
    slopes = law.slopes
    if not law.humidity_sensitive:
        value = 1.0 / float(slopes[0]) / factor
        return value, value
    drop = environment.inside - environment.outside
    y_low, y_high = max(0.0, box.f_low - box.s_high / 2), min(1.0, box.f_high + box.s_high / 2)
    ends = sorted((environment.inside - y_low * drop, environment.inside - y_high * drop))
    knots = np.asarray(law.activity)
    inside = [s for s, a, b in zip(slopes, knots[:-1], knots[1:], strict=True) if b > ends[0] and a < ends[1]]
    if ends[1] >= knots[-1] or not inside:
        inside.append(float(slopes[-1]))
    least, most = float(min(inside)), float(max(inside))
    edges = np.linspace(box.s_low, box.s_high, 17)
    bounds = [_mean_slope(law, environment, box, a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]
    least = max(least, min(b[0] for b in bounds))
    most = min(most, max(b[1] for b in bounds))
    return (1 - _SAFETY) / most / factor, (1 + _SAFETY) / least / factor


def _mean_slope(
    law: WaterLaw, environment: Environment, box: Box, low: float, high: float
) -> tuple[float, float]:
    """Bounds of the mean P_w between the faces for own share in [low, high]; (0, inf) where none follow."""
    drop = environment.inside - environment.outside
    core = (min(1.0, max(0.0, box.f_high - low / 2)), max(0.0, min(1.0, box.f_low + low / 2)))
    wide = (max(0.0, box.f_low - high / 2), min(1.0, box.f_high + high / 2))
    if core[1] <= core[0] + 1e-9 or low <= 1e-9:
        return 0.0, np.inf
    phi_core = abs(
        float(
            law.potential(environment.inside - core[0] * drop)
            - law.potential(environment.inside - core[1] * drop)
        )
    )
    phi_wide = abs(
        float(
            law.potential(environment.inside - wide[0] * drop)
            - law.potential(environment.inside - wide[1] * drop)
        )
    )
    return phi_core / (high * abs(drop)), phi_wide / (low * abs(drop))

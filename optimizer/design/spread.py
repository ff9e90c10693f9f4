"""Whether two offers can be told apart: the spread of measured permeabilities carried to the optimised value.

Each permeability that counts is one quantity x with a relative standard deviation s. The package is
optimised anew at exp(+-t) times its value, t = sqrt(ln(1 + s^2)) (the lognormal with that deviation); half
the difference is the standard deviation that x gives to the value. Quantities are independent. One that two
offers share (a property that both take from the project) moves both, so that only the difference of its two
effects counts. Thicknesses are free here even where the project asks for steps: a step would hide a small
effect or double it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from optimizer.design.contender import Contender
from optimizer.physics.material import Material
from optimizer.uncertainty.sources import BETWEEN_LABORATORIES

#: Half-width of the central 95 % of a normal distribution in standard deviations.
Z95 = 1.959964

#: What is uncertain: whose measurement (the project's or one offer's), material, gas.
Quantity = tuple[str, str, str]
PROJECT = "project"


@dataclass(frozen=True)
class Effects:
    """Standard deviation of the value by quantity, in its unit. unsure: what could not be worked out as
    meant, in words; complete: whether there is a deviation for every quantity."""

    by: Mapping[Quantity, float]
    unsure: tuple[str, ...] = ()
    complete: bool = True


def quantities(
    contender: Contender, used: Iterable[int], gases: Iterable[str], offered: Iterable[int]
) -> dict[Quantity, tuple[tuple[int, ...], float]]:
    """The uncertain quantities of a structure: indices of the candidates that each is about, and its relative
    standard deviation. used: indices in the structure; offered: those that any offer replaces."""
    found: dict[Quantity, tuple[tuple[int, ...], float]] = {}
    candidates = contender.options.candidates
    for i in sorted(set(used) & set(offered)):
        name = _web(candidates[i])
        same = tuple(k for k, m in enumerate(candidates) if _web(m) == name)
        for gas in gases:
            own = i in contender.replaced and gas in contender.stated
            whose = contender.name if own else PROJECT
            spread = contender.stated[gas] if own else BETWEEN_LABORATORIES
            if spread > 0.0:
                found[whose, name, gas] = same, spread
    return found


def _web(material: Material) -> str:
    return material.web or material.name


def effects(
    contender: Contender,
    uncertain: Mapping[Quantity, tuple[tuple[int, ...], float]],
    value: Callable[[Contender], float | None],
) -> Effects:
    """value: the optimised value of a contender, None where no structure meets the limits (or none was
    found)."""
    free = replace(contender, options=replace(contender.options, gauge_step=None))
    found: dict[Quantity, float] = {}
    unsure = []
    middle: float | None = None
    for quantity, (indices, spread) in uncertain.items():
        step = math.sqrt(math.log1p(spread * spread))
        high, low = (value(_scaled(free, indices, quantity[2], math.exp(sign * step))) for sign in (1, -1))
        if high is None and low is not None:
            middle = value(free) if middle is None else middle
            high = None if middle is None else 2.0 * middle - low
            unsure.append(
                f"{quantity[1]}: with {quantity[2]} one standard deviation higher nothing meets the target"
            )
        if high is not None and low is not None:
            found[quantity] = 0.5 * (high - low)
        else:
            unsure.append(f"{quantity[1]}: the effect of the spread of {quantity[2]} was not worked out")
    return Effects(found, tuple(unsure), len(found) == len(uncertain))


def deviation(one: Effects, two: Effects) -> float:
    """Standard deviation of the difference of two values."""
    keys = {*one.by, *two.by}
    return math.sqrt(sum((one.by.get(k, 0.0) - two.by.get(k, 0.0)) ** 2 for k in keys))


def _scaled(contender: Contender, indices: Iterable[int], gas: str, factor: float) -> Contender:
    """The permeability of these candidates to one gas times ``factor``, at all conditions."""
    changed = {i: _scaled_material(contender.options.candidates[i], gas, factor) for i in indices}
    return contender.with_materials(changed)


def _scaled_material(m: Material, gas: str, factor: float) -> Material:
    if gas == "H2O":
        return (
            m
            if m.water is None
            else replace(m, water=replace(m.water, phi=tuple(factor * p for p in m.water.phi)))
        )
    law = m.gases.get(gas)
    if law is None:
        return m
    return replace(
        m, gases={**m.gases, gas: replace(law, permeability=tuple(factor * p for p in law.permeability))}
    )

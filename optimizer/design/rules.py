"""The user's rules in numbers, wall by wall."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from optimizer.design.options import DesignOptions
from optimizer.design.problem import Share, WallRules
from optimizer.errors import InputError
from optimizer.errors import Problem as InputProblem
from optimizer.shelflife.package import Case, WallPart

Array = NDArray[np.float64]


def wall_rules(case: Case, options: DesignOptions, thickness: Mapping[str, float]) -> tuple[WallRules, ...]:
    """Rules in numbers for every designed wall; ``thickness`` by wall name sets the mid-wall areas [m]."""
    materials = options.candidates
    count = len(materials)
    touching = np.zeros((count, count), dtype=bool)
    for a, first in enumerate(materials):
        for b, second in enumerate(materials):
            allowed = options.touching is None or (first.name, second.name) in options.touching
            touching[a, b] = a != b and allowed
    glue = np.array([m.roles == frozenset({"bond"}) for m in materials])
    start = np.array([options.inside_role is None or options.inside_role in m.roles for m in materials])
    end = np.array([options.outside_role is None or options.outside_role in m.roles for m in materials])
    shares = tuple(
        Share.of(
            rule.family,
            [i for i, m in enumerate(materials) if rule.family in (m.family, m.name)],
            count,
            rule.least,
            rule.most,
        )
        for rule in options.shares
    )
    least = np.array([m.gauge[0] for m in materials])
    most = np.array([m.gauge[1] for m in materials])
    low, high = options.total_thickness
    return tuple(
        WallRules(
            name=name,
            max_layers=options.max_layers,
            start=start & ~glue,
            end=end & ~glue,
            touching=touching,
            least=least,
            most=most,
            rate=_rates(case, options, name, thickness[name]),
            thickness=(low or 0.0, np.inf if high is None else high),
            shares=shares,
            keep=tuple(i for i, m in enumerate(materials) if m.name in options.keep),
            step=options.gauge_step,
            symmetric=options.symmetric,
        )
        for name in options.walls
    )


def _rates(case: Case, options: DesignOptions, wall: str, thickness: float) -> Array:
    """Objective per metre of thickness: currency, kg or m per package."""
    area = sum(
        p.mass_area(thickness) for p in case.package.parts if isinstance(p, WallPart) and p.wall == wall
    )
    density = np.array([m.density for m in options.candidates])
    if options.minimise == "thickness":
        return np.ones(len(density))
    if options.minimise == "mass":
        weight: Array = area * density
        return weight
    unpriced = [m.name for m in options.candidates if m.price is None]
    if unpriced:
        raise InputError(
            InputProblem(
                "no price for " + ", ".join(unpriced),
                field="design.choose_from",
                hint="give each a price such as 1.30 EUR/kg, or minimise mass",
            )
        )
    cost: Array = area * density * np.array([m.price or 0.0 for m in options.candidates])
    return cost

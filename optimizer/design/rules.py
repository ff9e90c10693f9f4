"""The user's rules in numbers, wall by wall."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.design.options import DesignOptions
from optimizer.design.problem import LayerRule, Share, WallRules
from optimizer.errors import InputError
from optimizer.errors import Problem as InputProblem
from optimizer.physics.material import Material
from optimizer.shelflife.package import Case, WallPart

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def wall_rules(case: Case, options: DesignOptions, thickness: Mapping[str, float]) -> tuple[WallRules, ...]:
    """Rules in numbers for every designed wall; ``thickness`` by wall name sets the mid-wall areas [m]."""
    materials = options.candidates
    layer_rules = layer_rules_of(options)
    shares = tuple(
        Share(rule.family, tuple(rule.content(m) for m in materials), rule.least, rule.most)
        for rule in options.shares
    )
    groups = [tuple(i for i, m in enumerate(materials) if m.known_as(name)) for name in options.keep]
    low, high = options.total_thickness
    found = []
    for name in options.walls:
        area, mass_area = _areas(case, name, thickness[name])
        wall = WallRules(
            name=name,
            max_layers=options.max_layers,
            start=layer_rules[0].start,
            end=layer_rules[0].end,
            touching=layer_rules[0].touching,
            least=np.array([m.gauge[0] for m in materials]),
            most=np.array([m.gauge[1] for m in materials]),
            rate=_rates(options, mass_area),
            thickness=(low or 0.0, np.inf if high is None else high),
            shares=shares,
            keep=tuple(group[0] for group in groups if len(group) == 1),
            keep_any=tuple(group for group in groups if len(group) > 1),
            step=options.gauge_step,
            symmetric=options.symmetric,
            fixed=_passes(options, area),
            grammage=_grammage(options, mass_area),
            resins=options.max_resins,
            existing=None if options.existing is None else options.existing[name],
            changes=options.changes,
        )
        found.append(wall.with_layer_rules(layer_rules))
    return tuple(found)


# -- which layers may lie where ------------------------------------------------------------------------------


def layer_rules_of(options: DesignOptions) -> tuple[LayerRule, ...]:
    """The rules on single layers and neighbours. The first, without a text, holds always: no layer twice in a
    row, glue and coatings not on the surface, coatings on their carriers."""
    materials = options.candidates
    count = len(materials)
    found = [_always(materials)]

    def rule(text: str, start: Sequence[bool], end: Sequence[bool], touching: Mask | None = None) -> None:
        pairs = np.ones((count, count), dtype=bool) if touching is None else touching
        found.append(LayerRule(text, np.array(start, dtype=bool), np.array(end, dtype=bool), pairs))

    anything = [True] * count
    if options.touching is not None:
        pairs = options.touching
        bonded = [[(a.name, b.name) in pairs or _laid(a, b) for b in materials] for a in materials]
        rule("the bonding table (which materials may touch)", anything, anything, np.array(bonded))
    inside, outside = options.inside_role, options.outside_role
    if inside is not None:
        sealing = [inside in m.roles for m in materials]
        rule(f"innermost layer with the role '{inside}'", sealing, anything)
    if outside is not None:
        printed = [outside in m.roles for m in materials]
        rule(f"outermost layer with the role '{outside}'", anything, printed)
    if options.inner_only:
        inner = [m.name not in options.inner_only for m in materials]
        rule(" and ".join(options.inner_only) + " only inside the wall", inner, inner)
    if options.food_contact:
        listed = [m.food_contact is True for m in materials]
        rule("innermost layer listed for food contact", listed, anything)
    for asked, text, forbidden in (
        (options.foil_free, "no metal foil", {"foil"}),
        (options.metal_free, "neither foil nor metallising", {"foil", "metallising"}),
        (options.halogen_free, "no halogen", {"halogen"}),
    ):
        if asked:
            free = np.array([m.contains is not None and not m.contains & forbidden for m in materials])
            rule(text, list(free), list(free), np.logical_and.outer(free, free))
    return tuple(found)


def _laid(inner: Material, outer: Material) -> bool:
    """Whether one of two neighbours is a coating that was laid on the other."""
    on_inner = outer.carrier_side != "outside" and inner.family in outer.carrier
    return on_inner or (inner.carrier_side != "inside" and outer.family in inner.carrier)


def _always(materials: Sequence[Material]) -> LayerRule:
    count = len(materials)
    glue = np.array([m.roles == frozenset({"bond"}) for m in materials])
    coating = np.array([bool(m.carrier) for m in materials])
    sealing = np.array(["seal" in m.roles for m in materials])
    printed = np.array(["print" in m.roles for m in materials])
    start = ~glue & (~coating | sealing)
    end = ~glue & (~coating | printed)
    touching = ~np.eye(count, dtype=bool)
    for i, m in enumerate(materials):
        if m.carrier:
            carries = np.array([x.family in m.carrier and not x.carrier for x in materials])
            if m.carrier_side == "inside":
                touching[:, i] &= carries
                start[i] = False
            elif m.carrier_side == "outside":
                touching[i, :] &= carries
                end[i] = False
            # a coating does not lie between two layers of itself, whatever its side
            touching[i, [k for k, x in enumerate(materials) if x.name == m.name]] = False
    return LayerRule("", start, end, touching)


# -- objective and quantities --------------------------------------------------------------------------------


def _areas(case: Case, wall: str, thickness: float) -> tuple[float, float]:
    """Area of all parts of a wall, and the area that its mass counts with [m2]."""
    parts = [p for p in case.package.parts if isinstance(p, WallPart) and p.wall == wall]
    return sum(p.area(thickness) for p in parts), sum(p.mass_area(thickness) for p in parts)


def _rates(options: DesignOptions, mass_area: float) -> Array:
    """Objective per metre of thickness: currency, kg or m per package."""
    density = np.array([m.density for m in options.candidates])
    if options.minimise == "thickness":
        return np.ones(len(density))
    if options.minimise == "mass":
        weight: Array = mass_area * density
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
    price = np.array([m.price or 0.0 for m in options.candidates])
    cost: Array = mass_area * density * price / (1.0 - options.scrap)
    return cost


def _passes(options: DesignOptions, area: float) -> Array | None:
    """Objective for the presence of a layer: the pass that it costs, scrap included; None where there is
    none."""
    passes = np.array([m.pass_cost for m in options.candidates])
    if options.minimise != "cost" or not passes.any():
        return None
    charge: Array = area * passes / (1.0 - options.scrap)
    return charge


def _grammage(options: DesignOptions, mass_area: float) -> tuple[float, float]:
    """Least and largest mass per area [kg/m2], from both ways of asking for it."""
    low = [x for x in (options.grammage[0], _per_area(options.mass[0], mass_area)) if x is not None]
    high = [x for x in (options.grammage[1], _per_area(options.mass[1], mass_area)) if x is not None]
    return max(low, default=0.0), min(high, default=np.inf)


def _per_area(mass: float | None, area: float) -> float | None:
    return None if mass is None else mass / area

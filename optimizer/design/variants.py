"""Every limit and rule one step looser, and one step tighter: what ``binding`` solves anew.

A step is what somebody can ask for: a month, a degree, a micrometre of gauge, a per cent of share, one more
layer, a rule left out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from optimizer.constants import DAY, MONTH
from optimizer.design.demands import specification_name
from optimizer.design.options import DesignOptions
from optimizer.physics.material import Material
from optimizer.shelflife.limits import sign_of
from optimizer.shelflife.package import Case

Asked = tuple[Case, DesignOptions]
Change = Callable[[Case, DesignOptions], Asked]

#: Steps: share of what a limit allows, mass share, temperature [K], gauge of a layer and of a wall [m], share
#: of the mass that a wall may have.
LIMIT_STEP, SHARE_STEP, DEGREE, GAUGE_STEP, WALL_STEP, MASS_STEP = 0.1, 0.01, 1.0, 1e-6, 1e-5, 0.01


@dataclass(frozen=True)
class Rule:
    """A limit or rule with one step of relaxation, and one step the other way where there is one.

    shape: whether the step lets in other materials, orders or numbers of layers that thicknesses alone
    cannot show. asked: whether it is what people ask first.
    """

    name: str
    looser: str
    loosen: Change
    tighter: str = ""
    tighten: Change | None = None
    shape: bool = False
    asked: bool = False


def rules_of(case: Case, options: DesignOptions) -> list[Rule]:
    """All that can be loosened, in the order in which people ask for it."""
    quantities = [*_shares(options), *_thickness(options), *_masses(options), *_gauges(options)]
    return [*_storage(case), *_limits(case, options), *quantities, *_counts(options), *_left_out(options)]


def _stepped(
    name: str, looser: str, tighter: str, change: Callable[..., Asked], step: float, **extra: bool
) -> Rule:
    """A rule loosened by ``change(step, case, options)`` and tightened by the same with -step."""
    return Rule(name, looser, partial(change, step), tighter, partial(change, -step), **extra)


def _with(case: Case, options: DesignOptions, **values: Any) -> Asked:
    return case, replace(options, **values)


# -- what is asked of the package ----------------------------------------------------------------------------


def _storage(case: Case) -> list[Rule]:
    less, more = "1 degC less in every stage", "1 degC more in every stage"
    warmth = _stepped("storage temperature", less, more, _warmer, -DEGREE, asked=True)
    for name, step in (("month", MONTH), ("day", DAY)):
        if case.target is not None and case.target > 1.5 * step:
            life = _stepped("shelf life", f"1 {name} less", f"1 {name} more", _later, -step, asked=True)
            return [life, warmth]
    return [warmth]


def _later(seconds: float, case: Case, options: DesignOptions) -> Asked:
    target = (case.target or 0.0) + seconds
    return replace(case, target=target, horizon=max(case.horizon, target)), options


def _warmer(kelvin: float, case: Case, options: DesignOptions) -> Asked:
    storage = tuple(replace(s, temperature=s.temperature + kelvin) for s in case.storage)
    return replace(case, storage=storage), options


def _limits(case: Case, options: DesignOptions) -> list[Rule]:
    found = []
    for limit in case.product.limits:
        change = partial(_limit, limit.name)
        found.append(_stepped(limit.name, "10 % looser limit", "10 % tighter limit", change, LIMIT_STEP))
    for k, asked in enumerate(case.transmission_limits):
        name, change = specification_name(asked), partial(_specification, k)
        found.append(_stepped(name, "10 % higher limit", "10 % lower limit", change, LIMIT_STEP))
    if options.reserve > 0:
        found.append(_stepped("reserve", "1 % less", "1 % more", _reserve, -SHARE_STEP))
    return found


def _limit(name: str, share: float, case: Case, options: DesignOptions) -> Asked:
    """``share`` looser (tighter where negative)."""
    factor = 1.0 + share * sign_of(name)
    limits = tuple(replace(x, value=x.value * factor) if x.name == name else x for x in case.product.limits)
    return replace(case, product=replace(case.product, limits=limits)), options


def _specification(k: int, share: float, case: Case, options: DesignOptions) -> Asked:
    limits = list(case.transmission_limits)
    limits[k] = replace(limits[k], maximum=limits[k].maximum * (1.0 + share))
    return replace(case, transmission_limits=tuple(limits)), options


def _reserve(share: float, case: Case, options: DesignOptions) -> Asked:
    return _with(case, options, reserve=max(0.0, options.reserve + share))


# -- quantities of the rules ---------------------------------------------------------------------------------


def _shares(options: DesignOptions) -> list[Rule]:
    less, more = "1 % (of mass) less", "1 % (of mass) more"
    found = []
    for k, rule in enumerate(options.shares):
        if rule.most < 1:
            largest = _stepped(f"share of {rule.family}", more, less, partial(_share, k, "most"), SHARE_STEP)
            found.append(largest if rule.most > SHARE_STEP else replace(largest, tighten=None))
        if rule.least > 0:
            name, change = f"least share of {rule.family}", partial(_share, k, "least")
            found.append(_stepped(name, less, more, change, -SHARE_STEP))
    return found


def _share(k: int, side: str, share: float, case: Case, options: DesignOptions) -> Asked:
    shares = list(options.shares)
    value = min(1.0, max(0.0, getattr(shares[k], side) + share))
    shares[k] = replace(shares[k], **{side: value})
    return _with(case, options, shares=tuple(shares))


def _thickness(options: DesignOptions) -> list[Rule]:
    step = max(WALL_STEP, options.gauge_step or 0.0)
    less, more = f"{1e6 * step:g} um less", f"{1e6 * step:g} um more"
    low, high = options.total_thickness
    found = []
    if low:
        found.append(_stepped("least total thickness", less, more, partial(_total, 0), -step))
    if high is not None:
        found.append(_stepped("largest total thickness", more, less, partial(_total, 1), step))
    return found


def _total(side: int, step: float, case: Case, options: DesignOptions) -> Asked:
    both = list(options.total_thickness)
    both[side] = max(0.0, (both[side] or 0.0) + step)
    return _with(case, options, total_thickness=tuple(both))


def _masses(options: DesignOptions) -> list[Rule]:
    """Mass of the wall, per area and in one package."""
    found = []
    for field, words in (("grammage", "mass per area"), ("mass", "mass of the wall")):
        low, high = getattr(options, field)
        if low:
            change = partial(_mass, field, 0)
            found.append(_stepped(f"least {words}", "1 % less", "1 % more", change, -MASS_STEP))
        if high is not None:
            change = partial(_mass, field, 1)
            found.append(_stepped(f"largest {words}", "1 % more", "1 % less", change, MASS_STEP))
    return found


def _mass(field: str, side: int, share: float, case: Case, options: DesignOptions) -> Asked:
    both = list(getattr(options, field))
    both[side] *= 1.0 + share
    return _with(case, options, **{field: tuple(both)})


def _gauges(options: DesignOptions) -> list[Rule]:
    """Smallest and largest gauge of every candidate that has a range; with whole gauge steps, one of them."""
    step = max(GAUGE_STEP, options.gauge_step or 0.0)
    less, more = f"{1e6 * step:g} um less", f"{1e6 * step:g} um more"
    found = []
    for k, material in enumerate(options.candidates):
        if not material.fixed_gauge:
            smallest, largest = f"smallest gauge of {material.name}", f"largest gauge of {material.name}"
            found.append(_stepped(smallest, less, more, partial(_gauge, k, 0), -step))
            found.append(_stepped(largest, more, less, partial(_gauge, k, 1), step))
    return found


def _gauge(k: int, side: int, step: float, case: Case, options: DesignOptions) -> Asked:
    candidates: list[Material] = list(options.candidates)
    gauge = list(candidates[k].gauge)
    gauge[side] = max(1e-8, gauge[side] + step)
    candidates[k] = replace(candidates[k], gauge=(gauge[0], max(gauge)))
    return _with(case, options, candidates=tuple(candidates))


# -- rules that shut out whole structures --------------------------------------------------------------------


def _counts(options: DesignOptions) -> list[Rule]:
    found = []
    for field, name, what, least in (
        ("max_layers", "number of layers", "layer", 1),
        ("max_resins", "number of resins", "resin", 1),
        ("changes", "changes against the wall as it is", "layer", 0),
    ):
        most = getattr(options, field)
        if most is not None:
            more, less = f"1 {what} more", f"1 {what} less"
            rule = _stepped(name, more, less, partial(_count, field), 1, shape=True)
            found.append(rule if most > least else replace(rule, tighten=None))
    return found


def _count(field: str, more: int, case: Case, options: DesignOptions) -> Asked:
    return _with(case, options, **{field: getattr(options, field) + more})


def _left_out(options: DesignOptions) -> list[Rule]:
    """Rules left out one by one, the bonding table last: it shuts out most."""
    found = [
        Rule(f"keep {name}", "may be left out", partial(_drop, name), shape=True) for name in options.keep
    ]

    def rule(asked: object, name: str, words: str, shape: bool = True, **values: Any) -> None:
        if asked:
            found.append(Rule(name, words, lambda c, o: _with(c, o, **values), shape=shape))

    inner = " and ".join(options.inner_only) + " only inside the wall"
    rule(options.symmetric, "symmetric wall", "any wall", symmetric=False)
    rule(options.inside_role, f"inside: {options.inside_role}", "any role", inside_role=None)
    rule(options.outside_role, f"outside: {options.outside_role}", "any role", outside_role=None)
    rule(options.inner_only, inner, "anywhere", inner_only=())
    rule(options.food_contact, "innermost layer listed for food contact", "left out", food_contact=False)
    rule(options.foil_free, "no metal foil", "left out", foil_free=False)
    rule(options.metal_free, "neither foil nor metallising", "left out", metal_free=False)
    rule(options.halogen_free, "no halogen", "left out", halogen_free=False)
    rule(options.gauge_step, "steps of gauge", "any thickness", shape=False, gauge_step=None)
    rule(options.touching is not None, "bonding table", "any pair may touch", touching=None)
    return found


def _drop(name: str, case: Case, options: DesignOptions) -> Asked:
    return _with(case, options, keep=tuple(k for k in options.keep if k != name))

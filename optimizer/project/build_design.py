"""``design``: what may be changed, and under which rules."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.catalog import Catalog
from optimizer.design.options import DesignOptions, ShareRule
from optimizer.physics.material import Material
from optimizer.project import schema as given
from optimizer.project.reader import Reader
from optimizer.project.suggest import did_you_mean

_PLACE = ("design", "rules")


def build_design(
    design: given.Design, materials: Mapping[str, Material], catalog: Catalog, reader: Reader
) -> DesignOptions | None:
    """None when something is wrong, with the problems noted; unknown materials are reported elsewhere."""
    before = len(reader.problems)
    rules = design.rules
    keep = tuple(materials[n].name for n in rules.keep if n in materials)
    avoid = tuple(materials[n].name for n in rules.avoid if n in materials)
    chosen = {materials[n].name: materials[n] for n in (*design.choose_from, *rules.keep) if n in materials}
    candidates = tuple(m for name, m in chosen.items() if name not in avoid)
    thickness = rules.total_thickness
    options = DesignOptions(
        walls=tuple(design.walls),
        minimise=design.minimise,
        candidates=candidates,
        max_layers=rules.max_layers,
        gauge_step=rules.gauge_step.value if rules.gauge_step else None,
        total_thickness=(
            thickness.min.value if thickness and thickness.min else None,
            thickness.max.value if thickness and thickness.max else None,
        ),
        inside_role=None if rules.inside == "any" else rules.inside,
        outside_role=None if rules.outside == "any" else rules.outside,
        shares=tuple(_shares(rules)),
        touching=_touching(candidates, catalog) if rules.bonding == "table" else None,
        symmetric=rules.symmetric,
        keep=keep,
        avoid=avoid,
        reserve=rules.reserve.value if rules.reserve else 0.0,
    )
    _check(design, materials, candidates, reader)
    return options if len(reader.problems) == before else None


def _shares(rules: given.Rules) -> list[ShareRule]:
    return [
        ShareRule(name, share.min.value if share.min else 0.0, share.max.value if share.max else 1.0)
        for name, share in rules.share.items()
    ]


def _touching(candidates: tuple[Material, ...], catalog: Catalog) -> frozenset[tuple[str, str]]:
    """Pairs of candidates that the bonding table lets lie next to each other, both orders."""
    bonding = catalog.bonding
    return frozenset(
        (a.name, b.name) for a in candidates for b in candidates if bonding.may_touch(a.family, b.family)
    )


def _check(
    design: given.Design, materials: Mapping[str, Material], candidates: tuple[Material, ...], reader: Reader
) -> None:
    rules = design.rules
    for i, name in enumerate(rules.keep):
        if name in rules.avoid:
            reader.refuse(
                (*_PLACE, "keep", i), f"'{name}' is also in 'avoid'", "remove it from one of the two"
            )
    thickness = rules.total_thickness
    if thickness and thickness.min and thickness.max and thickness.min.value > thickness.max.value:
        reader.refuse(
            (*_PLACE, "total_thickness", "min"), "is larger than 'max'", "exchange the two, or correct one"
        )
    known = {m.family for m in candidates} | {m.name for m in candidates}
    for name, share in rules.share.items():
        if share.min is None and share.max is None:
            reader.refuse((*_PLACE, "share", name), "needs 'min' or 'max'", "for example {max: 5 %}")
        elif share.min and share.max and share.min.value > share.max.value:
            reader.refuse(
                (*_PLACE, "share", name, "min"), "is larger than 'max'", "exchange the two, or correct one"
            )
        if name not in known and candidates:
            reader.refuse(
                (*_PLACE, "share", name),
                "is neither a family nor a material of choose_from",
                did_you_mean(name, sorted(known), "known"),
                key=True,
            )
    if sum(s.min.value for s in rules.share.values() if s.min) > 1.0:
        reader.refuse(
            (*_PLACE, "share"), "the smallest shares add up to more than 100 %", "lower one of them", key=True
        )
    if not candidates:
        reader.refuse(
            ("design", "choose_from"), "nothing is left to choose from", "add a material that 'avoid' allows"
        )
        return
    for side, role in (("inside", rules.inside), ("outside", rules.outside)):
        if role != "any" and not any(role in m.roles for m in candidates):
            hint = "add one to choose_from, or write '" + side + ": any'"
            reader.refuse((*_PLACE, side), f"no material of choose_from has the role '{role}'", hint)
    if design.minimise == "cost":
        for i, name in enumerate(design.choose_from):
            material = materials.get(name)
            if material in candidates and material is not None and material.price is None:
                reader.refuse(
                    ("design", "choose_from", i),
                    f"'{name}' has no price, and the cost is to be minimised",
                    f"add {{name: {name}, price: 1.30 EUR/kg}}, say, under 'materials', or minimise mass",
                )
        currencies = sorted({m.currency for m in candidates if m.price is not None})
        if len(currencies) > 1:
            reader.refuse(
                ("design", "choose_from"),
                "the prices are in different currencies: " + ", ".join(currencies),
                "give all prices in one currency",
            )

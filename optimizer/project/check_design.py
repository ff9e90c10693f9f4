"""Whether the rules of a design can be meant as they stand: one problem for each that cannot."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.design.options import DesignOptions
from optimizer.physics.material import Material
from optimizer.project import schema_design as given
from optimizer.project.reader import Reader
from optimizer.project.source import Location
from optimizer.project.suggest import did_you_mean
from optimizer.units import Quantity

_PLACE = ("design", "rules")
_SWAP = "exchange the two, or correct one"


def check_design(
    design: given.Design, materials: Mapping[str, Material], options: DesignOptions, reader: Reader
) -> None:
    """Note every problem of the design's rules in ``reader``."""
    rules, candidates = design.rules, options.candidates
    for i, name in enumerate(rules.keep):
        if name in rules.avoid:
            reader.refuse(
                (*_PLACE, "keep", i), f"'{name}' is also in 'avoid'", "remove it from one of the two"
            )
    _ranges(rules, reader)
    _shares(rules, candidates, reader)
    if not candidates:
        reader.refuse(
            ("design", "choose_from"), "nothing is left to choose from", "add a material that 'avoid' allows"
        )
        return
    for side, role in (("inside", rules.inside), ("outside", rules.outside)):
        if role != "any" and not any(role in m.roles for m in candidates):
            hint = "add one to choose_from, or write '" + side + ": any'"
            reader.refuse((*_PLACE, side), f"no material of choose_from has the role '{role}'", hint)
    _mono_material(rules, candidates, reader)
    _recycled(rules, candidates, reader)
    _contents(rules, candidates, reader)
    _food_contact(rules, candidates, reader)
    if rules.symmetric and any(m.carrier for m in candidates):
        reader.refuse(
            (*_PLACE, "symmetric"),
            "a wall with a coating on one side of its carrier is not symmetric",
            "leave the coating out of choose_from, or 'symmetric' out of the rules",
        )
    if design.minimise == "cost":
        _prices(design, materials, candidates, reader)


def _in_order(place: Location, low: Quantity | None, high: Quantity | None, reader: Reader) -> None:
    if low is not None and high is not None and low.kind == high.kind and low.value > high.value:
        reader.refuse((*place, "min"), "is larger than 'max'", _SWAP)


def _ranges(rules: given.Rules, reader: Reader) -> None:
    if rules.total_thickness:
        _in_order((*_PLACE, "total_thickness"), rules.total_thickness.min, rules.total_thickness.max, reader)
    if rules.total_mass:
        place = (*_PLACE, "total_mass")
        _in_order(place, rules.total_mass.min, rules.total_mass.max, reader)
        if rules.total_mass.min is None and rules.total_mass.max is None:
            reader.refuse(place, "needs 'min' or 'max'", "for example {max: 85 g/m2}", key=True)
    if rules.regrind:
        share = rules.regrind.share
        _in_order((*_PLACE, "regrind", "share"), share.min, share.max, reader)


def _shares(rules: given.Rules, candidates: tuple[Material, ...], reader: Reader) -> None:
    known = {name for m in candidates for name in (m.family, m.name, m.web)} - {""}
    for name, share in rules.share.items():
        if share.min is None and share.max is None:
            reader.refuse((*_PLACE, "share", name), "needs 'min' or 'max'", "for example {max: 5 %}")
        _in_order((*_PLACE, "share", name), share.min, share.max, reader)
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


def _mono_material(rules: given.Rules, candidates: tuple[Material, ...], reader: Reader) -> None:
    asked = rules.mono_material
    if asked is None:
        return
    place = (*_PLACE, "mono_material")
    plain = [m for m in candidates if m.roles != frozenset({"bond"}) and not m.carrier]
    plain = plain or list(candidates)
    families = list(dict.fromkeys(m.family.removeprefix("coated ").removeprefix("tie ") for m in plain))
    if not isinstance(asked, given.MonoMaterial):
        reader.refuse(
            place,
            "needs the family that most of the wall is to be of",
            f"write {{family: {families[0]}, min: {asked.text}}}, say; choose_from has {', '.join(families)}",
        )
    elif not any(asked.family in m.polymers for m in candidates):
        reader.refuse(
            (*place, "family"),
            f"no material of choose_from is '{asked.family}'",
            did_you_mean(asked.family, families, "choose_from has"),
        )


def _recycled(rules: given.Rules, candidates: tuple[Material, ...], reader: Reader) -> None:
    asked = rules.recycled_content
    if asked is None or any(m.recycled_content >= asked.min.value for m in candidates):
        return
    reader.refuse(
        (*_PLACE, "recycled_content", "min"),
        f"no material of choose_from has a recycled content of {asked.min.text} or more",
        "add one, with 'recycled_content: 50 %', say, under 'materials'",
    )


_FREE = {
    "foil_free": ("metal foil", "foil"),
    "metal_free": ("metal", "metallising"),
    "halogen_free": ("halogen", "halogen"),
}


def _contents(rules: given.Rules, candidates: tuple[Material, ...], reader: Reader) -> None:
    """What a material contains is never guessed: coated webs of one family differ."""
    for rule, (what, word) in _FREE.items():
        if not getattr(rules, rule):
            continue
        unknown = list(dict.fromkeys(m.web or m.name for m in candidates if m.contains is None))
        for name in unknown:
            reader.refuse(
                (*_PLACE, rule),
                f"nothing says whether '{name}' contains {what}",
                f"add {{name: {name}, contains: none}} under 'materials', or 'contains: [{word}]' if it does",
            )


def _food_contact(rules: given.Rules, candidates: tuple[Material, ...], reader: Reader) -> None:
    if rules.food_contact != "listed":
        return
    inner = [m for m in candidates if rules.inside == "any" or rules.inside in m.roles]
    if inner and not any(m.food_contact for m in inner):
        role = "" if rules.inside == "any" else f" with the role '{rules.inside}'"
        reader.refuse(
            (*_PLACE, "food_contact"),
            f"no material of choose_from{role} is marked for contact with food",
            "add 'food_contact: true' under 'materials' to the grade whose supplier declares it",
        )


def _with_unread_prices(reader: Reader) -> set[str]:
    """Names of the materials whose price stands in a cell that could not be read, which is told there."""
    broken = [p[1] for p in reader.source.broken if p[:1] == ("materials",) and p[2:] == ("price",)]
    entries = reader.source.data.get("materials", ())
    return {str(entries[i].get("name")) for i in broken if isinstance(i, int)}


def _prices(
    design: given.Design,
    materials: Mapping[str, Material],
    candidates: tuple[Material, ...],
    reader: Reader,
) -> None:
    present = {m.web or m.name for m in candidates} | {m.name for m in candidates}
    unread = _with_unread_prices(reader)
    for i, name in enumerate(design.choose_from):
        material = materials.get(name)
        if material is None or material.name not in present or material.price is not None:
            continue
        if not {name, material.name, material.web} & unread:
            reader.refuse(
                ("design", "choose_from", i),
                f"'{name}' has no price, and the cost is to be minimised",
                f"add {{name: {name}, price: 1.30 EUR/kg}}, say, under 'materials', or minimise mass",
            )
    chosen = {materials[n].name for n in design.choose_from if n in materials}
    for m in candidates:
        if m.price is None and not {m.name, m.web} & (chosen | unread) and not m.name.endswith(" regrind"):
            place = _named_at(design, materials, m)
            reader.refuse(
                place,
                f"'{m.web or m.name}' has no price, and the cost is to be minimised",
                f"add {{name: {m.web or m.name}, price: 1.30 EUR/kg}}, say, under 'materials'",
            )
    currencies = sorted({m.currency for m in candidates if m.price is not None})
    if len(currencies) > 1:
        reader.refuse(
            ("design", "choose_from"),
            "the prices are in different currencies: " + ", ".join(currencies),
            "give all prices in one currency",
        )


def _named_at(design: given.Design, materials: Mapping[str, Material], m: Material) -> Location:
    """Where a candidate outside choose_from comes from."""
    for i, name in enumerate(design.rules.keep):
        if name in materials and m.known_as(materials[name].name):
            return (*_PLACE, "keep", i)
    return (*_PLACE, "change_at_most")

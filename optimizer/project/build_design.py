"""``design``: what may be changed, and under which rules."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from optimizer.catalog import Catalog
from optimizer.design.options import DesignOptions, ShareRule
from optimizer.physics.material import Material
from optimizer.project import schema_design as given
from optimizer.project.base import shown
from optimizer.project.check_design import check_design
from optimizer.project.design_notes import notes_on
from optimizer.project.reader import Reader
from optimizer.project.schema_package import Wall
from optimizer.project.suggest import did_you_mean

_PLACE = ("design", "rules")
#: A layer given in a web's gauge: within this share of it.
_SAME_GAUGE = 1e-3


def build_design(
    design: given.Design,
    materials: Mapping[str, Material],
    catalog: Catalog,
    reader: Reader,
    walls: Mapping[str, Wall] | None = None,
) -> DesignOptions | None:
    """None when something is wrong, with the problems noted; unknown materials are reported elsewhere.

    walls: as the project gives them, for the rule on how many layers may change.
    """
    before = len(reader.problems)
    rules = design.rules
    candidates = _candidates(design, materials, catalog, walls or {})
    regrind = _regrind(design, materials, candidates, reader)
    if regrind is not None:
        candidates = (*candidates, regrind)
    grammage, mass = _masses(rules.total_mass)
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
        shares=tuple(_shares(rules, regrind)),
        touching=_touching(candidates, catalog) if rules.bonding == "table" else None,
        symmetric=rules.symmetric,
        keep=tuple(materials[n].name for n in rules.keep if n in materials),
        avoid=tuple(materials[n].name for n in rules.avoid if n in materials),
        reserve=rules.reserve.value if rules.reserve else 0.0,
        grammage=grammage,
        mass=mass,
        scrap=rules.scrap.value if rules.scrap else 0.0,
        max_resins=rules.max_resins,
        inner_only=(regrind.name,) if regrind else (),
        foil_free=rules.foil_free,
        metal_free=rules.metal_free,
        halogen_free=rules.halogen_free,
        food_contact=rules.food_contact == "listed",
        existing=_existing(design, materials, candidates, walls, reader),
        changes=rules.change_at_most,
    )
    check_design(design, materials, options, reader)
    if len(reader.problems) > before:
        return None
    return replace(options, assumptions=notes_on(options, catalog.bonding))


# -- candidates ----------------------------------------------------------------------------------------------


def _candidates(
    design: given.Design, materials: Mapping[str, Material], catalog: Catalog, walls: Mapping[str, Wall]
) -> tuple[Material, ...]:
    """Everything that may be a layer: a web in each of its gauges, a coating with its carrier on either
    side."""
    names = [*design.choose_from, *design.rules.keep]
    if design.rules.change_at_most is not None:
        names += [x.material for w in design.walls if w in walls for x in walls[w].layers]
    avoid = {materials[n].name for n in design.rules.avoid if n in materials}
    found: dict[tuple[str, str], Material] = {}
    for name in names:
        for m in _as_layers(materials[name], catalog) if name in materials else ():
            if not avoid & {m.name, m.web}:
                found.setdefault((m.name, m.carrier_side), m)
    return tuple(found.values())


def _as_layers(material: Material, catalog: Catalog) -> Iterable[Material]:
    for gauge in material.gauges or (None,):
        one = material if gauge is None else catalog.in_gauge(material, gauge)
        if one.carrier:
            yield from (replace(one, carrier_side=side) for side in ("inside", "outside"))
        else:
            yield one


def _touching(candidates: tuple[Material, ...], catalog: Catalog) -> frozenset[tuple[str, str]]:
    """Pairs of candidates that the bonding table lets lie next to each other, both orders."""
    bonding = catalog.bonding
    return frozenset(
        (a.name, b.name) for a in candidates for b in candidates if bonding.may_touch(a.family, b.family)
    )


def _regrind(
    design: given.Design,
    materials: Mapping[str, Material],
    candidates: tuple[Material, ...],
    reader: Reader,
) -> Material | None:
    """The candidate that ``rules.regrind`` adds: the resin once more, inside the wall only."""
    asked = design.rules.regrind
    if asked is None:
        return None
    names = [n for n in design.choose_from if n in materials]
    by_name = {key: materials[n] for n in names for key in (n, materials[n].name)}
    base = by_name.get(asked.of)
    if base is None or base not in candidates:
        near = did_you_mean(asked.of, [n for n in names if materials[n] in candidates], "it has")
        if len(names) == len(design.choose_from):  # else the unknown name is reported by itself
            reader.refuse((*_PLACE, "regrind", "of"), f"{shown(asked.of)} is not in choose_from", near)
        return None
    if base.fixed_gauge or base.carrier:
        reader.refuse(
            (*_PLACE, "regrind", "of"),
            f"'{base.name}' is not extruded on the line: its gauge is fixed",
            "name the resin whose trim is run again",
        )
        return None
    name = f"{base.name} regrind"
    if any(m.name == name for m in candidates):
        reader.refuse(
            (*_PLACE, "regrind"), f"choose_from has a material called '{name}' already", "rename it", key=True
        )
        return None
    price = asked.price
    if price is None and design.minimise == "cost":
        reader.refuse(
            (*_PLACE, "regrind"),
            "has no price, and the cost is to be minimised",
            "add 'price: 0.20 EUR/kg', what grinding and feeding it back costs",
            key=True,
        )
    return replace(
        base,
        name=name,
        price=price.value if price else base.price,
        currency=price.currency if price else base.currency,
        roles=frozenset({"core"}),
        food_contact=False,
        recycled_content=0.0,
        pass_cost=0.0,
        notes=(),
    )


# -- quantities ----------------------------------------------------------------------------------------------


def _shares(rules: given.Rules, regrind: Material | None) -> list[ShareRule]:
    found = [
        ShareRule(name, share.min.value if share.min else 0.0, share.max.value if share.max else 1.0)
        for name, share in rules.share.items()
    ]
    mono = rules.mono_material
    if isinstance(mono, given.MonoMaterial):
        label = f"{mono.family} (mono-material)"
        found.append(ShareRule(label, mono.min.value, counts="polymer", of=mono.family))
    if rules.recycled_content is not None:
        found.append(ShareRule("recycled content", rules.recycled_content.min.value, counts="recycled"))
    if regrind is not None and rules.regrind is not None:
        share = rules.regrind.share
        if share.min or share.max:
            low, high = share.min, share.max
            found.append(ShareRule(regrind.name, low.value if low else 0.0, high.value if high else 1.0))
    return found


Range = tuple[float | None, float | None]


def _masses(asked: given.MassRange | None) -> tuple[Range, Range]:
    """Least and most per area [kg/m2], and in one package [kg]."""

    def of_kind(kind: str) -> Range:
        sides = (asked.min, asked.max) if asked else (None, None)
        low, high = (x.value if x is not None and x.kind == kind else None for x in sides)
        return low, high

    return of_kind("grammage"), of_kind("mass")


# -- the wall as it is ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Layer:
    """A layer of today's wall with the families on either side of it."""

    material: Material
    thickness: float
    inner: str
    outer: str

    def is_one_of(self, m: Material) -> bool:
        """Whether the candidate ``m`` is this layer."""
        if not m.known_as(self.material.name):
            return False
        if m.web and abs(m.gauge[0] - self.thickness) > _SAME_GAUGE * m.gauge[0]:
            return False
        if m.carrier_side:
            on_inner = self.inner in m.carrier or self.outer not in m.carrier
            return (m.carrier_side == "inside") == on_inner
        return True


def _existing(
    design: given.Design,
    materials: Mapping[str, Material],
    candidates: tuple[Material, ...],
    walls: Mapping[str, Wall] | None,
    reader: Reader,
) -> dict[str, tuple[int, ...]] | None:
    """Today's layers as indices into the candidates, -1 for one that ``avoid`` rules out."""
    if design.rules.change_at_most is None or walls is None:
        return None
    found: dict[str, tuple[int, ...]] = {}
    for name in design.walls:
        layers = walls[name].layers if name in walls else []
        if any(layer.material not in materials for layer in layers):
            continue  # reported elsewhere
        stack = [materials[layer.material] for layer in layers]
        families = ["", *(m.family for m in stack), ""]
        indices = []
        for i, (layer, material) in enumerate(zip(layers, stack, strict=True)):
            here = _Layer(material, layer.thickness.value, families[i], families[i + 2])
            same = [k for k, m in enumerate(candidates) if here.is_one_of(m)]
            if material.gauges and not same and any(m.web == material.name for m in candidates):
                gauges = ", ".join(f"{g * 1e6:g} um" for g in material.gauges)
                reader.refuse(
                    ("walls", name, "layers", i, "thickness"),
                    f"'{material.name}' is not bought in {layer.thickness.text}",
                    f"it comes in {gauges}; 'change_at_most' counts from the wall as it is",
                )
            indices.append(same[0] if same else -1)
        found[name] = tuple(indices)
    return found

"""What differs between two cases, in words and trade units."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLAR_VOLUME, ZERO_CELSIUS
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.results import Change, PredictResult
from optimizer.shelflife.package import Case, ClosurePart, HolePart, Limit, Part, Stage, Wall, WallPart
from optimizer.shelflife.words import apart, duration, duration_unit, limit_name

#: Relative difference below which two numbers are the same.
SAME = 1e-9
ABSENT = "none"


def changed_walls(baseline: Case, case: Case) -> tuple[str, ...]:
    """Names of the walls in use in ``case`` that are not built as in the baseline: other materials,
    thicknesses, or data behind the laws. A price, a gauge or a role does not change a wall."""
    old = baseline.package.walls
    used = {part.wall for part in case.package.parts if isinstance(part, WallPart)}
    return tuple(
        name
        for name, wall in case.package.walls.items()
        if name in used and (name not in old or _built_differently(wall, old[name]))
    )


def _built_differently(a: Wall, b: Wall) -> bool:
    def built(wall: Wall) -> list[tuple[Any, ...]]:
        return [
            (x.thickness, x.material.name, x.material.density, dict(x.material.gases), x.material.water)
            for x in wall.layers
        ]

    return _differs(built(a), built(b))


def changes(baseline: Case, case: Case, before: PredictResult, now: PredictResult) -> tuple[Change, ...]:
    """Every difference of structure, material, part, product, limit, storage, target; mass and cost last."""
    found = [
        *_walls(baseline, case),
        *_materials(baseline, case),
        *_parts(baseline, case),
        *_product(baseline, case),
        *_limits(baseline, case),
        *_storage(baseline, case),
        *_target(baseline.target, case.target),
        *_number("mass of the package", before.mass_g, now.mass_g, lambda g: f"{g:.4g} g"),
    ]
    old_cost, new_cost = _cost(before), _cost(now)
    if old_cost != new_cost:
        found.append(Change("cost of the package", old_cost, new_cost))
    return tuple(found)


def _target(old: float | None, new: float | None) -> Iterator[Change]:
    """Both in the unit that suits the new one, with the digits that tell them apart."""
    if not _differs(old, new):
        return
    unit, length = duration_unit((new or old or 0.0) / DAY)
    texts = apart(*(None if x is None else x / DAY / length for x in (old, new)))
    yield Change("target shelf life", *(ABSENT if x == "-" else f"{x} {unit}" for x in texts))


def _walls(baseline: Case, case: Case) -> Iterator[Change]:
    old, new = baseline.package.walls, case.package.walls
    for name in dict.fromkeys([*old, *new]):
        if name not in old or name not in new:
            yield Change(f"wall {name}", _structure(old.get(name)), _structure(new.get(name)))
            continue
        a, b = old[name].layers, new[name].layers
        if [x.material.name for x in a] != [x.material.name for x in b]:
            yield Change(f"wall {name}", _structure(old[name]), _structure(new[name]))
            continue
        for i, (first, second) in enumerate(zip(a, b, strict=True), start=1):
            yield from _number(
                f"wall {name}, layer {i} {second.material.name}", first.thickness, second.thickness, _um
            )
        yield from _number(f"wall {name}, total", old[name].thickness, new[name].thickness, _um)


def _materials(baseline: Case, case: Case) -> Iterator[Change]:
    """Materials of the same name whose data differ."""
    old, new = _used(baseline), _used(case)
    for name in old:
        if name not in new:
            continue
        a, b = old[name], new[name]
        yield from _number(f"material {name}, density", a.density, b.density, lambda x: f"{x:.4g} kg/m3")
        if a.price != b.price or (a.price is not None and a.currency != b.currency):
            yield Change(f"material {name}, price", _price(a), _price(b))
        for gas in dict.fromkeys([*a.gases, *b.gases]):
            if _differs(a.gases.get(gas), b.gases.get(gas)):
                yield Change(f"material {name}, {gas} permeability", *_data(a, b, gas))
        if _differs(a.water, b.water):
            yield Change(f"material {name}, H2O permeability", *_data(a, b, "H2O"))


def _used(case: Case) -> dict[str, Material]:
    return {
        layer.material.name: layer.material for wall in case.package.walls.values() for layer in wall.layers
    }


def _data(a: Material, b: Material, gas: str) -> tuple[str, str]:
    """The data behind one property as printed in their sources; with the activation energy where the
    printed values are the same."""
    texts = _printed(a, gas), _printed(b, gas)
    if texts[0] == texts[1]:
        return _with_energy(texts[0], a, gas), _with_energy(texts[1], b, gas)
    return texts


def _law(material: Material, gas: str) -> GasLaw | WaterLaw | None:
    return material.water if gas == "H2O" else material.gases.get(gas)


def _printed(material: Material, gas: str) -> str:
    notes = [f"{s.value} {s.unit}" for s in material.sources if s.gas == gas]
    return "; ".join(notes) or ("given" if _law(material, gas) else ABSENT)


def _with_energy(text: str, material: Material, gas: str) -> str:
    law = _law(material, gas)
    return text if law is None else f"{text}, activation energy {law.activation_energy / 1e3:.4g} kJ/mol"


def _parts(baseline: Case, case: Case) -> Iterator[Change]:
    old = {part.name: part for part in baseline.package.parts}
    new = {part.name: part for part in case.package.parts}
    for name in dict.fromkeys([*old, *new]):
        a, b = old.get(name), new.get(name)
        if a is None or b is None or type(a) is not type(b):
            yield Change(f"part {name}", _part(a, baseline), _part(b, case))
        elif isinstance(a, WallPart) and isinstance(b, WallPart):
            if a.wall != b.wall:
                yield Change(f"part {name}, wall", a.wall, b.wall)
            yield from _number(
                f"part {name}, area", a.area(0.0), b.area(0.0), lambda x: f"{x * 1e4:.4g} cm2", tolerance=1e-6
            )
            if not _differs(a.area(0.0), b.area(0.0), 1e-6) and _differs(a.patches, b.patches, 1e-6):
                yield Change(f"part {name}", "shape or thickness ratio as before", "changed")
        elif _differs(a, b):
            yield Change(f"part {name}", _part(a, baseline), _part(b, case))


def _part(part: Part | None, case: Case) -> str:
    if part is None:
        return ABSENT
    if isinstance(part, WallPart):
        return f"{part.area(0.0) * 1e4:.4g} cm2 of wall {part.wall}"
    if isinstance(part, HolePart):
        size = f"{part.diameter * 1e6:.4g} um wide, {part.length * 1e6:.4g} um long"
        return f"hole {size}" if part.count == 1 else f"{part.count:g} holes {size}"
    assert isinstance(part, ClosurePart)
    return "closure: " + ", ".join(_transmission(g, c.conductance) for g, c in part.transmission.items())


def _transmission(gas: str, conductance: float) -> str:
    """A conductance [mol/(s Pa)] in trade units."""
    if gas == "H2O":
        return f"H2O {conductance * MOLAR_MASS['H2O'] * 1e6 * DAY:.3g} g/(day*kPa)"
    return f"{gas} {conductance * STP_MOLAR_VOLUME * 1e6 * DAY * ATMOSPHERE:.3g} cm3/(day*atm)"


#: product field -> (words, how to write it)
_PRODUCT: dict[str, tuple[str, Callable[[Any], str]]] = {
    "mass": ("product mass", lambda x: f"{x * 1e3:.4g} g"),
    "volume": ("product volume", lambda x: f"{x * 1e6:.4g} mL"),
    "water_activity": ("product water activity", lambda x: f"{x:.3g}"),
    "closing_temperature": ("closing temperature", lambda x: _celsius(x)),
}


def _product(baseline: Case, case: Case) -> Iterator[Change]:
    old, new = baseline.product, case.product
    for name, (words, write) in _PRODUCT.items():
        yield from _number(words, getattr(old, name), getattr(new, name), write)
    yield from _number(
        "headspace volume", old.headspace.volume, new.headspace.volume, lambda x: f"{x * 1e6:.4g} mL"
    )
    if old.headspace.rigid != new.headspace.rigid:
        walls = {True: "rigid", False: "flexible"}
        yield Change("headspace walls", walls[old.headspace.rigid], walls[new.headspace.rigid])
    if _differs(dict(old.headspace.gas), dict(new.headspace.gas)):
        yield Change("headspace gas", _gas(old.headspace.gas), _gas(new.headspace.gas))
    for name, words in {
        "oxygen": "oxygen in the product",
        "moisture": "moisture of the product",
        "carbonation": "carbonation",
    }.items():
        a, b = getattr(old, name), getattr(new, name)
        if _differs(a, b):
            yield Change(words, _brief(a, b), _brief(b, a))


#: field of a model of the product -> how to write it
_FIELDS: dict[str, Callable[[float], str]] = {
    "temperature": lambda x: _celsius(x),
    "activation_energy": lambda x: f"{x / 1e3:.4g} kJ/mol",
    "half_pressure": lambda x: f"{x / 1e3:.4g} kPa",
    "dry_mass": lambda x: f"{x * 1e3:.4g} g",
    "dissolved_at_closing": lambda x: f"{x * MOLAR_MASS['O2'] * 1e3:.4g} mg/L",
    "solubility": lambda x: f"{x * MOLAR_MASS['O2'] * ATMOSPHERE * 1e3:.4g} mg/(L atm)",
}


def _brief(value: Any, other: Any) -> str:
    """The fields of ``value`` that differ from ``other``, in trade units."""
    if value is None:
        return ABSENT
    parts = []
    for f in fields(value):
        own = getattr(value, f.name)
        if f.name == "valid":  # the range of an isotherm, which is no input
            continue
        if other is None or _differs(own, getattr(other, f.name)):
            words = f.name.replace("_", " ")
            if is_dataclass(own) and not isinstance(own, type):
                parts.append(f"{words}: {_brief(own, getattr(other, f.name, None))}")
            elif other is None and own in (None, 0.0):
                continue
            elif own is None:
                parts.append(f"{words}: {ABSENT}")
            elif isinstance(own, bool) or not isinstance(own, int | float | str):
                parts.append(f"{words} changed")
            else:
                parts.append(f"{words} {_field(value, f.name, own)}")
    return ", ".join(parts)


def _field(value: Any, name: str, own: float | str) -> str:
    if isinstance(own, str):
        return own
    if name == "rate":
        per_day = own * DAY
        first_order = getattr(value, "order", None) == 1
        return f"{per_day:.4g} 1/day" if first_order else f"{per_day * MOLAR_MASS['O2'] * 1e6:.4g} mg/day"
    return _FIELDS[name](own) if name in _FIELDS else f"{own:.4g}"


def _limits(baseline: Case, case: Case) -> Iterator[Change]:
    old = {limit.name: limit for limit in baseline.product.limits}
    new = {limit.name: limit for limit in case.product.limits}
    for name in dict.fromkeys([*old, *new]):
        if _differs(old.get(name), new.get(name)):
            yield Change(f"limit {limit_name(name)}", _limit(old.get(name)), _limit(new.get(name)))
    before = {(t.gas, t.wall): t for t in baseline.transmission_limits}
    after = {(t.gas, t.wall): t for t in case.transmission_limits}
    for key in dict.fromkeys([*before, *after]):
        a, b = before.get(key), after.get(key)
        if _differs(a, b):
            where = f" of wall {key[1]}" if key[1] else " of the package"
            yield Change(
                f"limit {key[0]} transmission{where}",
                a.text or "given" if a else ABSENT,
                b.text or "given" if b else ABSENT,
            )


def _limit(limit: Limit | None) -> str:
    if limit is None:
        return ABSENT
    if limit.name == "oxygen_gain":
        return f"{limit.value * 1e6:.4g} mg/kg"
    if limit.name.startswith("water_activity"):
        return f"{limit.value:.4g}"
    return f"{limit.value * 100:.4g} %"


def _storage(baseline: Case, case: Case) -> Iterator[Change]:
    old, new = baseline.storage, case.storage
    if len(old) != len(new) or len(new) > 12:
        if _differs(old, new):
            yield Change("storage", _stages(old), _stages(new))
        return
    for i, (a, b) in enumerate(zip(old, new, strict=True), start=1):
        if _differs(a, b):
            yield Change(f"storage stage {i}", _stage(a), _stage(b))


def _stages(stages: tuple[Stage, ...]) -> str:
    if len(stages) > 6:
        return f"{len(stages)} stages over {_days(sum(s.duration for s in stages))}"
    return "; ".join(_stage(s) for s in stages)


def _stage(stage: Stage) -> str:
    text = (
        f"{stage.name}: {_days(stage.duration)}, {_celsius(stage.temperature)}, {stage.humidity * 100:.3g} %"
    )
    return text if stage.pressure == 101325.0 else f"{text}, {stage.pressure / 100:.4g} hPa"


def _structure(wall: Wall | None) -> str:
    if wall is None:
        return ABSENT
    return " / ".join(f"{layer.material.name} {_um(layer.thickness)}" for layer in wall.layers)


def _gas(shares: Any) -> str:
    return ", ".join(f"{gas} {share * 100:.3g} %" for gas, share in shares.items())


def _price(material: Material) -> str:
    return ABSENT if material.price is None else f"{material.price:.4g} {material.currency}/kg"


def _cost(result: PredictResult) -> str:
    return (
        ABSENT
        if result.cost_per_package is None
        else f"{result.cost_per_package:.4g} {result.currency}".strip()
    )


def _um(x: float) -> str:
    return f"{x * 1e6:.4g} um"


def _days(seconds: float) -> str:
    return duration(seconds / DAY)


def _celsius(kelvin: float) -> str:
    return f"{kelvin - ZERO_CELSIUS:.4g} degC"


def _number(
    what: str, old: float | None, new: float | None, write: Callable[[Any], str], *, tolerance: float = SAME
) -> Iterator[Change]:
    if _differs(old, new, tolerance):
        yield Change(what, ABSENT if old is None else write(old), ABSENT if new is None else write(new))


def _differs(a: Any, b: Any, tolerance: float = SAME) -> bool:
    """Whether two values of the model differ, numbers beyond ``tolerance``; source notes do not count."""
    if isinstance(a, bool) or isinstance(b, bool):
        return bool(a != b)
    if isinstance(a, int | float) and isinstance(b, int | float):
        return abs(a - b) > tolerance * max(abs(a), abs(b))
    if type(a) is not type(b):
        return True
    if is_dataclass(a):
        skip = {"sources", "notes", "text", "measured_temperature", "energy_assumed"}
        return any(
            _differs(getattr(a, f.name), getattr(b, f.name), tolerance)
            for f in fields(a)
            if f.name not in skip
        )
    if isinstance(a, tuple | list):
        return len(a) != len(b) or any(_differs(x, y, tolerance) for x, y in zip(a, b, strict=True))
    if isinstance(a, dict):
        return a.keys() != b.keys() or any(_differs(a[k], b[k], tolerance) for k in a)
    if hasattr(a, "tolist"):
        return _differs(a.tolist(), b.tolist(), tolerance)
    return bool(a != b)

"""What differs between two cases, in words and trade units."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from itertools import groupby
from typing import Any

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLAR_VOLUME, ZERO_CELSIUS
from optimizer.results import Change, PredictResult
from optimizer.shelflife.changes_closures import closures, seals
from optimizer.shelflife.changes_materials import built_differently, materials
from optimizer.shelflife.changes_spreads import spreads, walls_followed
from optimizer.shelflife.differences import ABSENT, celsius, days, differs, gases, number, percent, um
from optimizer.shelflife.package import (
    Case,
    ClosurePart,
    HolePart,
    Limit,
    OuterPack,
    Part,
    Stage,
    Wall,
    WallPart,
)
from optimizer.shelflife.words import apart, duration_unit, limit_name


def changed_walls(baseline: Case, case: Case) -> tuple[str, ...]:
    """Names of the walls in use in ``case`` that are not built as in the baseline: other materials,
    thicknesses, or data behind the laws. A price, a gauge or a role does not change a wall."""
    old = baseline.package.walls
    used = {part.wall for part in case.package.parts if isinstance(part, WallPart) and not part.seal}
    return tuple(
        name
        for name, wall in case.package.walls.items()
        if name in used and (name not in old or built_differently(wall, old[name]))
    )


def locally_changed(baseline: Case, case: Case) -> tuple[WallPart, ...]:
    """Parts of a wall, without seals, that are not as thick from place to place as in the baseline, or not
    there, or made of another wall there. Mean and ends are compared, so that an area may change."""
    old = {part.name: part for part in baseline.package.parts if isinstance(part, WallPart)}
    found = []
    for part in case.package.parts:
        if isinstance(part, WallPart) and not part.seal:
            before = old.get(part.name)
            same = before is not None and before.wall == part.wall
            if before is None or not same or differs(_ratios(before, baseline), _ratios(part, case), 1e-6):
                found.append(part)
    return tuple(found)


def _ratios(part: WallPart, case: Case) -> tuple[float, ...]:
    """Mean, least and largest local thickness over the nominal."""
    uneven = part.unevenness
    if uneven is not None:
        return uneven.mean, uneven.least, uneven.most
    ends = [p.ratio for p in part.patches]
    return part.mean_ratio(case.package.walls[part.wall].thickness), min(ends), max(ends)


def changes(baseline: Case, case: Case, before: PredictResult, now: PredictResult) -> tuple[Change, ...]:
    """Every difference of structure, material, part, product, limit, storage, target; mass and cost last."""
    found = [
        *_walls(baseline, case),
        *materials(baseline, case),
        *_parts(baseline, case),
        *closures(baseline, case),
        *_product(baseline, case),
        *_limits(baseline, case),
        *_storage(baseline, case),
        *_outer(baseline, case),
        *walls_followed(baseline, case),
        *spreads(baseline, case),
        *_target(baseline.target, case.target),
        *number("mass of the package", before.mass_g, now.mass_g, lambda g: f"{g:.4g} g"),
    ]
    old_cost, new_cost = _cost(before), _cost(now)
    if old_cost != new_cost:
        found.append(Change("cost of the package", old_cost, new_cost))
    return tuple(found)


def _target(old: float | None, new: float | None) -> Iterator[Change]:
    """Both in the unit that suits the new one, with the digits that tell them apart."""
    if not differs(old, new):
        return
    unit, length = duration_unit((new or old or 0.0) / DAY)
    texts = apart(*(None if x is None else x / DAY / length for x in (old, new)))
    yield Change("target shelf life", *(ABSENT if x == "-" else f"{x} {unit}" for x in texts))


def _walls(baseline: Case, case: Case) -> Iterator[Change]:
    old, new = baseline.package.walls, case.package.walls
    own = {part.wall for c in (baseline, case) for part in seals(c).values()}
    for name in (x for x in dict.fromkeys([*old, *new]) if x not in own):
        if name not in old or name not in new:
            yield Change(f"wall {name}", _structure(old.get(name)), _structure(new.get(name)))
            continue
        a, b = old[name].layers, new[name].layers
        if [x.material.name for x in a] != [x.material.name for x in b]:
            yield Change(f"wall {name}", _structure(old[name]), _structure(new[name]))
            continue
        for i, (first, second) in enumerate(zip(a, b, strict=True), start=1):
            yield from number(
                f"wall {name}, layer {i} {second.material.name}", first.thickness, second.thickness, um
            )
        yield from number(f"wall {name}, total", old[name].thickness, new[name].thickness, um)


def _parts(baseline: Case, case: Case) -> Iterator[Change]:
    old = {part.name: part for part in baseline.package.parts if part.name not in seals(baseline)}
    new = {part.name: part for part in case.package.parts if part.name not in seals(case)}
    for name in dict.fromkeys([*old, *new]):
        a, b = old.get(name), new.get(name)
        if a is None or b is None or type(a) is not type(b):
            yield Change(f"part {name}", _part(a, baseline), _part(b, case))
        elif isinstance(a, WallPart) and isinstance(b, WallPart):
            if a.wall != b.wall:
                yield Change(f"part {name}, wall", a.wall, b.wall)
            yield from number(
                f"part {name}, area", a.area(0.0), b.area(0.0), lambda x: f"{x * 1e4:.4g} cm2", tolerance=1e-6
            )
            under, now_under = (sum(p.area for p in x.sealed) for x in (a, b))
            yield from number(
                f"part {name}, area under the seal",
                under,
                now_under,
                lambda x: f"{x * 1e4:.4g} cm2",
                tolerance=1e-6,
            )
            if not differs(a.area(0.0), b.area(0.0), 1e-6) and differs(a.patches, b.patches, 1e-6):
                before, now = _local(a, baseline), _local(b, case)
                if before == now:
                    before, now = "as before", "changed from place to place"
                yield Change(f"part {name}, local thickness", before, now)
        elif differs(a, b):
            yield Change(f"part {name}", _part(a, baseline), _part(b, case))


def _local(part: WallPart, case: Case) -> str:
    """Mean, thinnest and thickest place of a part's wall."""
    nominal = case.package.walls[part.wall].thickness
    mean, least, most = _ratios(part, case)
    low, high = um(least * nominal), um(most * nominal)
    return um(mean * nominal) if low == high else f"{um(mean * nominal)} ({low} to {high})"


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
    "closing_temperature": ("closing temperature", lambda x: celsius(x)),
}


def _product(baseline: Case, case: Case) -> Iterator[Change]:
    old, new = baseline.product, case.product
    for name, (words, write) in _PRODUCT.items():
        yield from number(words, getattr(old, name), getattr(new, name), write)
    yield from number(
        "headspace volume", old.headspace.volume, new.headspace.volume, lambda x: f"{x * 1e6:.4g} mL"
    )
    if old.headspace.rigid != new.headspace.rigid:
        walls = {True: "rigid", False: "flexible"}
        yield Change("headspace walls", walls[old.headspace.rigid], walls[new.headspace.rigid])
    if differs(dict(old.headspace.gas), dict(new.headspace.gas)):
        yield Change("headspace gas", gases(old.headspace.gas), gases(new.headspace.gas))
    if differs(old.headspace.creep, new.headspace.creep):
        yield Change("creep of the package", _creep(old.headspace.creep), _creep(new.headspace.creep))
    for name, words in {
        "oxygen": "oxygen in the product",
        "moisture": "moisture of the product",
        "carbonation": "carbonation",
    }.items():
        a, b = getattr(old, name), getattr(new, name)
        if differs(a, b):
            yield Change(words, _brief(a, b), _brief(b, a))


def _creep(points: Sequence[tuple[float, float]]) -> str:
    return ", ".join(f"{percent(growth)} at {days(time)}" for time, growth in points if time > 0.0) or ABSENT


#: field of a model of the product -> how to write it
_FIELDS: dict[str, Callable[[float], str]] = {
    "temperature": lambda x: celsius(x),
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
        if other is None or differs(own, getattr(other, f.name)):
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
        if differs(old.get(name), new.get(name)):
            yield Change(f"limit {limit_name(name)}", _limit(old.get(name)), _limit(new.get(name)))
    before = {(t.gas, t.wall): t for t in baseline.transmission_limits}
    after = {(t.gas, t.wall): t for t in case.transmission_limits}
    for key in dict.fromkeys([*before, *after]):
        a, b = before.get(key), after.get(key)
        if differs(a, b):
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
    """Stage by stage; one of weather, many steps of one name, counts as one."""
    old, new = (_runs(x.storage if x.outer is None else x.outer.storage) for x in (baseline, case))
    if len(old) != len(new):
        yield Change("storage", _stages(old), _stages(new))
        return
    for i, (a, b) in enumerate(zip(old, new, strict=True), start=1):
        if differs(a, b):
            yield Change(f"storage stage {i}", _run(a), _run(b))


def _outer(baseline: Case, case: Case) -> Iterator[Change]:
    """The pack around several packages: its own walls and parts, and what it holds."""
    a, b = baseline.outer, case.outer
    if a is None or b is None:
        if a is not b:
            yield Change("outer pack", _pack(a), _pack(b))
        return
    own = [(x.count, x.volume, x.rigid, tuple(x.gas.items()), x.humidity) for x in (a, b)]
    if differs(own[0], own[1]):
        yield Change("outer pack", _pack(a), _pack(b))
    old, new = replace(baseline, package=a.package), replace(case, package=b.package)
    for change in (*_walls(old, new), *_parts(old, new)):
        yield replace(change, what=f"outer pack, {change.what}")


def _pack(outer: OuterPack | None) -> str:
    if outer is None:
        return ABSENT
    kept = "rigid" if outer.rigid else "flexible"
    closed = "" if outer.humidity is None else f", {outer.humidity * 100:.3g} %RH"
    return f"{outer.count} packages, {outer.volume * 1e6:.4g} mL of {gases(outer.gas)}{closed}, {kept}"


def _runs(stages: Sequence[Stage]) -> list[tuple[Stage, ...]]:
    return [tuple(run) for _, run in groupby(stages, key=lambda stage: stage.name)]


def _stages(runs: Sequence[tuple[Stage, ...]]) -> str:
    if len(runs) > 6:
        return f"{len(runs)} stages over {days(sum(s.duration for run in runs for s in run))}"
    return "; ".join(map(_run, runs))


def _run(run: tuple[Stage, ...]) -> str:
    """A stage, or the span and the mean of the steps of weather."""
    if len(run) == 1:
        return _stage(run[0])
    whole = sum(s.duration for s in run)
    celsius_of = [s.temperature - ZERO_CELSIUS for s in run]
    mean = sum(s.duration * t for s, t in zip(run, celsius_of, strict=True)) / whole
    damp = sum(s.duration * s.humidity for s in run) / whole
    span = f"{min(celsius_of):.3g} to {max(celsius_of):.3g} degC, mean {mean:.4g} degC"
    return f"{run[0].name}: {days(whole)} in {len(run)} steps, {span}, {damp * 100:.3g} %"


def _stage(stage: Stage) -> str:
    text = f"{stage.name}: {days(stage.duration)}, {celsius(stage.temperature)}, {stage.humidity * 100:.3g} %"
    return text if stage.pressure == 101325.0 else f"{text}, {stage.pressure / 100:.4g} hPa"


def _structure(wall: Wall | None) -> str:
    if wall is None:
        return ABSENT
    return " / ".join(f"{layer.material.name} {um(layer.thickness)}" for layer in wall.layers)


def _cost(result: PredictResult) -> str:
    return (
        ABSENT
        if result.cost_per_package is None
        else f"{result.cost_per_package:.4g} {result.currency}".strip()
    )

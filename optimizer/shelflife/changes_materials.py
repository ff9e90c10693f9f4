"""What differs between the materials of two cases, in words and trade units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from optimizer.constants import STP_MOLAR_VOLUME
from optimizer.physics.material import Band, Material, Scavenger
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.results import Change
from optimizer.shelflife.differences import ABSENT, celsius, differs, number, percent
from optimizer.shelflife.package import Case, Wall


def built_differently(a: Wall, b: Wall) -> bool:
    """Other materials, thicknesses, or data behind what passes, is held or is used up. A price, a gauge, a
    role or a spread does not change a wall."""
    return differs(_built(a), _built(b))


def _built(wall: Wall) -> list[tuple[Any, ...]]:
    return [
        (
            x.thickness,
            x.material.name,
            x.material.density,
            dict(x.material.gases),
            x.material.water,
            dict(x.material.diffusivity),
            x.material.scavenger,
        )
        for x in wall.layers
    ]


def materials(baseline: Case, case: Case) -> Iterator[Change]:
    """Materials of the same name whose data differ."""
    old, new = _used(baseline), _used(case)
    for name in old:
        if name in new:
            yield from _material(name, old[name], new[name])


def _used(case: Case) -> dict[str, Material]:
    stacks = [wall.layers for wall in case.package.walls.values()]
    stacks += [cover.layers for cover in case.package.covers]
    return {layer.material.name: layer.material for layers in stacks for layer in layers}


def _material(name: str, a: Material, b: Material) -> Iterator[Change]:
    yield from number(f"material {name}, density", a.density, b.density, lambda x: f"{x:.4g} kg/m3")
    if a.price != b.price or (a.price is not None and a.currency != b.currency):
        yield Change(f"material {name}, price", _price(a), _price(b))
    for gas in dict.fromkeys([*a.gases, *b.gases]):
        if differs(a.gases.get(gas), b.gases.get(gas)):
            yield Change(f"material {name}, {gas} permeability", *_data(a, b, gas))
    if differs(a.water, b.water):
        yield Change(f"material {name}, H2O permeability", *_data(a, b, "H2O"))
    for gas in dict.fromkeys([*a.diffusivity, *b.diffusivity]):
        if differs(a.diffusivity.get(gas), b.diffusivity.get(gas)):
            yield Change(f"material {name}, {gas} diffusivity", _diffusivity(a, gas), _diffusivity(b, gas))
    for key in dict.fromkeys([*a.bands, *b.bands]):
        what = key if " " in key else f"{key} permeability"
        yield from number(f"material {name}, spread of {what}", *_spreads(a, b, key), percent)
    if differs(a.scavenger, b.scavenger):
        yield Change(f"material {name}, scavenger", _scavenger(a.scavenger), _scavenger(b.scavenger))


def _spreads(a: Material, b: Material, key: str) -> tuple[float | None, float | None]:
    def of(band: Band | None) -> float | None:
        return None if band is None else band.spread

    return of(a.bands.get(key)), of(b.bands.get(key))


def _scavenger(s: Scavenger | None) -> str:
    if s is None:
        return ABSENT
    text = f"{s.gas}, {s.rate:.4g} 1/s at {celsius(s.temperature)}, {s.activation_energy / 1e3:.4g} kJ/mol"
    if s.capacity is None:
        return f"{text}, never runs out"
    return f"{text}, holds {s.capacity * STP_MOLAR_VOLUME:.4g} cm3 per cm3"


def _diffusivity(material: Material, gas: str) -> str:
    law = material.diffusivity.get(gas)
    if law is None:
        return ABSENT
    energy = f"{law.activation_energy / 1e3:.4g} kJ/mol"
    return f"{law.diffusivity:.4g} m2/s at {celsius(law.temperature)}, {energy}"


def _data(a: Material, b: Material, gas: str) -> tuple[str, str]:
    """The data behind one permeability as printed in their sources; with the activation energy where the
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


def _price(material: Material) -> str:
    return ABSENT if material.price is None else f"{material.price:.4g} {material.currency}/kg"

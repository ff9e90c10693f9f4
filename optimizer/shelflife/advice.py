"""Warnings of a prediction: where a number leaves the range it was measured in, or a simplification may
matter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from optimizer.constants import GAS_CONSTANT, MOLAR_MASS, PERMEANTS, ZERO_CELSIUS
from optimizer.physics.material import Material
from optimizer.physics.solubility import OXYGEN_VALID
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.breakdown import wall_state
from optimizer.shelflife.contents import (
    ORDER,
    carbonation_pressure,
    contents_of,
    inside_activity,
    is_liquid,
    simulated_gases,
    solubility,
    water_matters,
)
from optimizer.shelflife.exchange import (
    closures_without_nitrogen,
    has_law,
    materials_without_nitrogen,
    walls_in_use,
    with_nitrogen,
)
from optimizer.shelflife.flexible import COLLAPSED
from optimizer.shelflife.headspace import headspace_room
from optimizer.shelflife.memory import WallChoice
from optimizer.shelflife.package import Case, ClosurePart, HolePart, Product, Stage, WallPart
from optimizer.shelflife.words import figure, span

#: A condition this far outside the measured temperatures is warned about [K].
_OUTSIDE_MEASURED = 10.0
#: Likewise for water activity.
_OUTSIDE_HUMIDITY = 0.02
#: Error of the thickness classes over a transient, as a share of the steady transmission, that is told.
_CLASSES_MATTER = 1e-3
#: Growth of the headspace of a flexible carbonated package that is told.
_SWOLLEN = 1.5


def _celsius(t: float) -> str:
    return f"{t - ZERO_CELSIUS:.4g} degC"


def materials_in_use(case: Case) -> list[Material]:
    """Materials of the walls in use, each once."""
    found = {x.material.name: x.material for w in walls_in_use(case.package) for x in w.layers}
    return list(found.values())


def followed(case: Case) -> tuple[str, ...]:
    """Gases and H2O that the limits depend on."""
    gases = simulated_gases(case.product)
    sensitive = any(
        g in m.gases and m.gases[g].humidity_sensitive for g in gases for m in materials_in_use(case)
    )
    return (*gases, "H2O") if water_matters(case.product) or sensitive else gases


def warnings_of(case: Case, wall: WallChoice) -> list[str]:
    """Everything worth a warning; wall: how the walls were simulated."""
    found = [*_materials(case), *_humidity(case), *_parts(case), *_contents(case), *_unreachable(case)]
    found += _storage(case)
    found += _classes(case) if wall.transient else ()
    found += wall.warnings
    return list(dict.fromkeys(found))


def warnings_of_outer_pack(case: Case) -> list[str]:
    """What there is to say of the materials and closures of an outer pack, in its own storage."""
    around = outer_pack(case)
    if around is None:
        return []
    return [f"Outer pack: {text}" for text in dict.fromkeys([*_materials(around), *_parts(around)])]


def outer_pack(case: Case) -> Case | None:
    """The outer pack as if it were the package, in its own storage; None without one."""
    if case.outer is None:
        return None
    return replace(case, package=case.outer.package, storage=case.outer.storage, outer=None)


def _materials(case: Case) -> Iterator[str]:
    coldest = min(s.temperature for s in case.storage)
    hottest = max(s.temperature for s in case.storage)
    keys = followed(case)
    for m in materials_in_use(case):
        for note in m.notes:
            about = note.split(":")[0].split(" ")[0]
            if about in PERMEANTS and about not in keys:
                continue
            yield note if m.name in note else f"{m.name}: {note}"
        for key in keys:
            law = m.water if key == "H2O" else m.gases.get(key)
            if law is None or law.blocks:
                continue
            low, high = law.measured_temperature
            if hottest > high + _OUTSIDE_MEASURED or coldest < low - _OUTSIDE_MEASURED:
                worst = hottest if hottest > high + _OUTSIDE_MEASURED else coldest
                measured = _celsius(low) if low == high else f"{_celsius(low)} to {_celsius(high)}"
                yield (
                    f"{m.name}: {key} permeability was measured at {measured}; storage at "
                    f"{_celsius(worst)} is more "
                    "than 10 K outside, so it rests on the activation energy"
                )
            t = m.glass_transition
            if t is not None and (min(coldest, law.temperature) < t < max(hottest, law.temperature)):
                yield (
                    f"{m.name}: its glass transition ({_celsius(t)}) lies between the temperature of "
                    f"the {key} value "
                    f"({_celsius(law.temperature)}) and a storage temperature; one activation energy "
                    f"does not hold there"
                )
    if "N2" in simulated_gases(case.product):
        missing = [*materials_without_nitrogen(case.package), *closures_without_nitrogen(case.package)]
        if missing:
            yield f"N2 assumed a quarter of O2 for {', '.join(missing)} (common practice, no source)"


def _humidity(case: Case) -> Iterator[str]:
    if not has_law(case.package, "H2O"):
        lacking = [m.name for m in materials_in_use(case) if m.water is None]
        yield f"Humidity inside the wall is not shown: no H2O permeability for {', '.join(lacking)}"
        return
    gases = simulated_gases(case.product)
    inside = inside_activity(case.product)
    told: set[tuple[str, str]] = set()
    for wall in walls_in_use(case.package):
        if not any(
            g in x.material.gases and x.material.gases[g].humidity_sensitive
            for g in gases
            for x in wall.layers
        ):
            continue
        for stage in _extreme_stages(case.storage):
            faces = wall_state(wall, (), stage.temperature, inside, stage.humidity).faces
            for i, layer in enumerate(wall.layers):
                for gas in gases:
                    law = layer.material.gases.get(gas)
                    if law is None or not law.humidity_sensitive or (layer.material.name, gas) in told:
                        continue
                    low, high = sorted((float(faces[i]), float(faces[i + 1])))
                    if (
                        low < law.activity[0] - _OUTSIDE_HUMIDITY
                        or high > law.activity[-1] + _OUTSIDE_HUMIDITY
                    ):
                        told.add((layer.material.name, gas))
                        yield (
                            f"{layer.material.name} in wall {wall.name!r} is at "
                            f"{span(100 * low, 100 * high, '%RH', 2)} "
                            f"in stage {stage.name!r}; its {gas} permeability was measured from "
                            f"{100 * law.activity[0]:.0f} to {100 * law.activity[-1]:.0f} %RH and is "
                            f"held flat outside"
                        )


def _extreme_stages(storage: tuple[Stage, ...]) -> list[Stage]:
    """Driest and most humid stage: enough for a range check when there are thousands."""
    return list(
        {
            id(s): s for s in (min(storage, key=lambda s: s.humidity), max(storage, key=lambda s: s.humidity))
        }.values()
    )


def _parts(case: Case) -> Iterator[str]:
    gases = simulated_gases(case.product)
    keys = (*gases, "H2O") if water_matters(case.product) else gases
    for part in with_nitrogen(case.package).parts:
        if isinstance(part, ClosurePart):
            absent = [g for g in keys if g not in part.transmission]
            if absent:
                yield f"{part.name}: no transmission given for {', '.join(absent)}; taken as zero"
            assumed = [g for g in keys if g in part.transmission and part.transmission[g].energy_assumed]
            if assumed:
                energies = [f"{part.transmission[g].activation_energy / 1e3:.4g}" for g in assumed]
                yield (
                    f"{part.name}: activation energy of {', '.join(assumed)} assumed, "
                    f"{', '.join(dict.fromkeys(energies))} kJ/mol"
                )
        elif isinstance(part, HolePart) and case.product.carbonation is not None:
            yield (
                f"{part.name}: flow through the hole driven by the pressure inside is not modelled, "
                "only diffusion"
            )


def _classes(case: Case) -> Iterator[str]:
    """A wall of many thicknesses is simulated as a few, which in a transient are not exactly the wall."""
    for part in case.package.parts:
        if isinstance(part, WallPart) and part.unevenness and part.unevenness.class_error > _CLASSES_MATTER:
            found = part.unevenness
            yield (
                f"{part.name}: its uneven wall is simulated as {found.classes} thicknesses; while the wall "
                "fills or empties, what passes may be off by "
                f"{figure(100.0 * found.class_error, 2)} % of the steady transmission"
            )


def _contents(case: Case) -> Iterator[str]:
    product = case.product
    gases = simulated_gases(product)
    if product.carbonation is not None:
        pressure = carbonation_pressure(product)
        yield (
            f"CO2 is taken as an ideal gas ({pressure / 1e5:.1f} bar at closing), which is about 2 % off at "
            "4 bar"
        )
        if not product.headspace.rigid:
            yield from _swelling(case)
        elif not product.headspace.creep:
            yield "Creep of the bottle is not given and taken as none; it adds volume and lowers the pressure"
    if "O2" in gases and product.oxygen.solubility is None:
        temperatures = [s.temperature for s in case.storage]
        if product.oxygen.dissolves_like == "oil":
            yield (
                "Oxygen in oil is an estimate: 5.5 times its solubility in water at 25 degC, at every "
                "temperature"
            )
        elif is_liquid(product) and (
            min(temperatures) < OXYGEN_VALID[0] or max(temperatures) > OXYGEN_VALID[1]
        ):
            yield "Solubility of oxygen in water is extrapolated outside 0 to 40 degC"
    if product.moisture is not None:
        low, high = product.moisture.isotherm.valid
        out = [s.humidity for s in case.storage] + [product.moisture.initial_activity]
        if min(out) < low - 1e-9 or max(out) > high + 1e-9:
            yield (
                f"The moisture isotherm holds from water activity {low:.3g} to {high:.3g}; the "
                f"conditions reach from "
                f"{min(out):.3g} to {max(out):.3g}"
            )


def _swelling(case: Case) -> Iterator[str]:
    """Where walls give way, gas of a carbonated product comes out until the pressure is that outside."""
    product = case.product
    stage = max(case.storage, key=lambda s: s.temperature)
    amounts = contents_of(product, ORDER, False).amounts
    rt = GAS_CONSTANT * stage.temperature
    held = tuple(product.volume * float(solubility(product, gas, stage.temperature)) for gas in amounts)
    dry = stage.pressure - inside_activity(product) * float(saturation_pressure(stage.temperature))
    if dry <= 0.0:
        return
    closing = product.headspace.volume
    volume = rt * float(headspace_room(list(amounts.values()), held, dry, COLLAPSED * closing / rt))
    if volume > _SWOLLEN * closing:
        yield (
            f"The flexible package holds no pressure: in stage {stage.name!r} CO2 comes out of the product, "
            f"and its headspace grows from {figure(closing * 1e6)} mL to as much as "
            f"{figure(volume * 1e6)} mL"
        )


def _unreachable(case: Case) -> Iterator[str]:
    """An oxygen gain that the package cannot have: where none is used up, it ends in balance with air."""
    product = case.product
    limit = next((x for x in product.limits if x.name == "oxygen_gain"), None)
    if limit is None or not product.headspace.rigid or product.oxygen.consumption is not None:
        return
    most = _balance(case, _richest(case.storage))
    if limit.value >= most:
        held = "dissolves" if _dissolves(product) else "holds in its headspace"
        yield (
            f"The limit on oxygen gain, {figure(limit.value * 1e6)} mg/kg, cannot be reached: a package that "
            f"uses no oxygen up {held} at most {figure(max(most, 0.0) * 1e6)} mg/kg more, in balance with air"
        )


def _dissolves(product: Product) -> bool:
    return float(solubility(product, "O2", product.closing_temperature)) > 0.0


def _balance(case: Case, stage: Stage) -> float:
    """Oxygen gain in balance with the air of a stage [kg/kg]."""
    product = case.product
    vapour = stage.humidity * float(saturation_pressure(stage.temperature))
    pressure = 0.2095 * max(stage.pressure - vapour, 0.0)
    if _dissolves(product):
        capacity = product.volume * float(solubility(product, "O2", stage.temperature))
        start = product.oxygen.dissolved_at_closing * product.volume
    else:
        capacity = product.headspace.volume / (GAS_CONSTANT * stage.temperature)
        start = contents_of(product, ("O2",), False).amounts["O2"]
    return (pressure * capacity - start) * MOLAR_MASS["O2"] / product.mass


def _richest(storage: tuple[Stage, ...]) -> Stage:
    """Conditions of most oxygen: as cold, as dry and at as high a pressure as in any stage."""
    return Stage(
        "richest in oxygen",
        sum(s.duration for s in storage),
        min(s.temperature for s in storage),
        min(s.humidity for s in storage),
        max(s.pressure for s in storage),
    )


def _storage(case: Case) -> Iterator[str]:
    if min(s.temperature for s in case.storage) < ZERO_CELSIUS and "H2O" in followed(case):
        yield "Below 0 degC the vapour pressure is that of supercooled water and freezing is not modelled"

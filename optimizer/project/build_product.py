"""``product``: what is in the package, as the simulation takes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any

from optimizer.constants import ATMOSPHERE, GASES, MOLAR_MASS, ZERO_CELSIUS
from optimizer.physics.sorption import GAB, Henderson, Isotherm, Oswin, TableIsotherm
from optimizer.project import schema_product as given
from optimizer.project.check_product import isotherm_is_per_gram, walls_hold_the_pressure, water_fits_the_mass
from optimizer.project.check_usual import use_of_oxygen_is_usual
from optimizer.project.reader import Reader
from optimizer.project.source import Location
from optimizer.shelflife.contents import carbonation_pressure
from optimizer.shelflife.package import (
    Carbonation,
    Consumption,
    Headspace,
    Limit,
    MoistureModel,
    OxygenModel,
    Product,
    Surroundings,
)
from optimizer.units import Quantity

#: Activation energy of the product's oxygen uptake where none is given [J/mol]: none, said as an assumption.
_NO_ENERGY = 0.0
#: Mole shares may miss 100 % by this much; they are then scaled to it.
SHARE_TOLERANCE = 0.005
#: Water activity taken where nothing depends on it.
_ANY_ACTIVITY = 0.5
WATER_LIMITS = ("water_gain", "water_loss", "water_activity_max", "water_activity_min")


def build_product(
    product: given.Product, first_temperature: float, sensitive: tuple[str, ...], reader: Reader
) -> Product | None:
    """first_temperature [K]: of the first stage; sensitive: materials in the walls that follow humidity.

    None when something is wrong, with the problems noted.
    """
    before = len(reader.problems)
    carbonation = None
    if product.carbonation:
        carbonation = Carbonation(product.carbonation.volumes, product.carbonation.temperature.value)
    moisture = _moisture(product.moisture, reader) if product.moisture else None
    if moisture is not None:
        water_fits_the_mass(product, moisture, reader)
    built = Product(
        mass=product.mass.value,
        volume=product.volume.value,
        headspace=_headspace(product.headspace, carbonation is not None, reader),
        water_activity=_water_activity(product, sensitive, reader),
        oxygen=_oxygen(product, reader),
        moisture=moisture,
        carbonation=carbonation,
        closing_temperature=carbonation.temperature if carbonation else first_temperature,
        limits=tuple(_limits(product.limits)),
    )
    if carbonation:
        _carbonation_holds_the_gas(built, reader)
        walls_hold_the_pressure(built, reader)
    else:
        reader.assume(
            f"The package is closed at {first_temperature - ZERO_CELSIUS:.4g} degC, as in the first stage."
        )
    return built if len(reader.problems) == before else None


def _carbonation_holds_the_gas(product: Product, reader: Reader) -> None:
    """CO2 over a carbonated product is that in equilibrium with it. A share of CO2 that is more than that
    contradicts the carbonation, which is taken."""
    given = product.headspace.gas.get("CO2", 0.0)
    holds = carbonation_pressure(product) / ATMOSPHERE
    if given > holds:
        reader.warn(
            f"The share of CO2 in headspace.gas, {100 * given:.3g} % of 1 atm at closing, is more than the "
            f"{holds:.2g} atm in equilibrium with product.carbonation: the carbonation is taken"
        )


def _limits(limits: given.Limits) -> list[Limit]:
    values = {name: getattr(limits, name) for name in type(limits).model_fields}
    return [Limit(n, v if isinstance(v, float) else v.value) for n, v in values.items() if v is not None]


def _headspace(headspace: given.Headspace, carbonated: bool, reader: Reader) -> Headspace:
    built = Headspace(headspace.volume.value, headspace.walls == "rigid", creep=_creep(headspace, reader))
    if headspace.gas is not None:
        shares = mole_shares(("product", "headspace", "gas"), headspace.gas, reader)
        return replace(built, gas=shares) if shares else built
    if carbonated:
        return replace(built, gas={})  # what is taken instead is said with the prediction
    reader.assume("Headspace gas not given: air taken (20.95 % O2, the rest counted as N2).")
    return built


def mole_shares(place: Location, gas: Mapping[str, Quantity], reader: Reader) -> dict[str, float] | None:
    """Mole shares that add up to 1; None where they do not by far."""
    shares = {name: share.value for name, share in gas.items()}
    total = sum(shares.values())
    if abs(total - 1.0) > SHARE_TOLERANCE:
        named = " and ".join(g for g in GASES if g not in shares) or "one of them"
        reader.refuse(
            place,
            f"the shares add up to {100 * total:.6g} %, not 100 %",
            f"correct a share, or add {named}",
        )
        return None
    return {name: share / total for name, share in shares.items()}


def _creep(headspace: given.Headspace, reader: Reader) -> tuple[tuple[float, float], ...]:
    """Points from closing on, where the growth is 0 by definition of the volume."""
    place: Location = ("product", "headspace", "creep")
    if headspace.creep is None:
        return ()
    if headspace.walls != "rigid":
        hint = "the volume of a flexible package follows its gas; remove it, or write 'walls: rigid'"
        reader.refuse(place, "is for rigid walls only", hint, key=True)
    points = [(time.value, growth.value) for time, growth in headspace.creep]
    if points[0][0] > 0.0:
        points.insert(0, (0.0, 0.0))
    elif points[0][1] > 0.0:
        reader.refuse((*place, 0, 1), "must be 0 % at closing", "the headspace's volume is that at closing")
    skipped = len(points) - len(headspace.creep)
    for i, (first, second) in enumerate(pairwise(points), start=1 - skipped):
        if second[0] <= first[0]:
            reader.refuse((*place, i, 0), "is not later than the point before it", "times must increase")
        if second[1] < first[1]:
            reader.refuse((*place, i, 1), "is less than at the point before it", "a wall does not creep back")
    return tuple(points)


def build_before(before: given.BeforeClosing | None, wall: str, reader: Reader) -> Surroundings:
    """What the walls were in equilibrium with until closing; ``wall``: how they are simulated."""
    humidity = before.humidity if before else None
    gas = before.gas if before else None
    if before is not None and humidity is None and gas is None:
        reader.refuse(
            ("before_closing",), "says nothing", "give 'humidity: 50 %', or 'gas', or both", key=True
        )
    if humidity is None and (gas is not None or wall == "transient"):
        reader.assume("Humidity around the walls before closing not given: that of the first stage taken.")
    if gas is None and (humidity is not None or wall == "transient"):
        reader.assume("Gas around the walls before closing not given: air taken.")
    built = Surroundings(None if humidity is None else humidity.value)
    shares = mole_shares(("before_closing", "gas"), gas, reader) if gas is not None else None
    return replace(built, gas=shares) if shares else built


def _water_activity(product: given.Product, sensitive: tuple[str, ...], reader: Reader) -> float | None:
    """The fixed water activity inside, or None when ``moisture`` gives it."""
    if product.moisture:
        if product.water_activity is not None:
            reader.refuse(
                ("product", "water_activity"),
                "cannot stand beside 'moisture', which follows the water activity",
                "keep one of them",
                key=True,
            )
        return None
    if product.water_activity is not None:
        return product.water_activity
    liquid = product.carbonation is not None or (
        product.oxygen is not None and product.oxygen.dissolves_like == "water"
    )
    if liquid:
        reader.assume("Water activity of the product not given: 1 taken, as for a liquid.")
        return 1.0
    limits = [n for n in WATER_LIMITS if getattr(product.limits, n) is not None]
    if sensitive or limits:
        why = f"the limit '{limits[0]}'" if limits else f"the humidity-sensitive layer '{sensitive[0]}'"
        reader.refuse(
            ("product", "water_activity"),
            f"is missing, and {why} needs it",
            "for example 'water_activity: 0.5'",
        )
    else:
        reader.assume(
            f"Water activity of the product not given, and nothing depends on it: {_ANY_ACTIVITY:g} taken."
        )
    return _ANY_ACTIVITY


def _oxygen(product: given.Product, reader: Reader) -> OxygenModel:
    oxygen = product.oxygen
    if oxygen is None:
        if product.limits.oxygen_gain is not None or product.limits.headspace_oxygen is not None:
            reader.assume("Oxygen in the product not given: it neither dissolves nor uses oxygen.")
        return OxygenModel()
    like, solubility = "custom", None
    if isinstance(oxygen.dissolves_like, str):
        like = oxygen.dissolves_like
    else:
        solubility = oxygen.dissolves_like.value
    dissolved = 0.0
    if oxygen.dissolved_at_closing is not None:
        amount = oxygen.dissolved_at_closing.value
        if oxygen.dissolved_at_closing.kind == "mass share":
            amount *= product.mass.value / product.volume.value
        dissolved = amount / MOLAR_MASS["O2"]
        if like == "nothing" and dissolved > 0:
            reader.refuse(
                ("product", "oxygen", "dissolved_at_closing"),
                "is given, but the product dissolves nothing",
                "add 'dissolves_like: water' (or oil), or remove this line",
                key=True,
            )
    elif like != "nothing":
        reader.assume("Oxygen dissolved in the product at closing not given: 0 taken.")
    consumption = _consumption(oxygen.consumption, product, reader) if oxygen.consumption else None
    return OxygenModel(like, solubility, dissolved, oxygen.solubility_factor, consumption)


def _consumption(
    consumption: given.Consumption, product: given.Product, reader: Reader
) -> Consumption | None:
    place: Location = ("product", "oxygen", "consumption")
    rate, half = consumption.rate.value, consumption.half_pressure
    if consumption.order == 1:
        use_of_oxygen_is_usual(consumption.rate, reader)
    else:
        scale = {"mass rate": 1.0, "mass rate per mass": product.mass.value}
        rate *= scale.get(consumption.rate.kind, product.volume.value) / MOLAR_MASS["O2"]
    saturating = consumption.order == "michaelis-menten"
    if saturating and half is None:
        reader.refuse(
            (*place, "half_pressure"),
            "is missing for 'order: michaelis-menten'",
            "for example 'half_pressure: 1 kPa'",
        )
        return None
    if half is not None and not saturating:
        reader.refuse(
            (*place, "half_pressure"),
            f"does not go with 'order: {consumption.order}'",
            "remove it, or write 'order: michaelis-menten'",
            key=True,
        )
        return None
    energy = consumption.activation_energy
    if energy is None:
        reader.warn(
            "no activation energy given for the product's use of oxygen: the same rate at every temperature"
        )
    return Consumption(
        order=consumption.order,
        rate=rate,
        temperature=consumption.temperature.value,
        activation_energy=energy.value if energy else _NO_ENERGY,
        half_pressure=half.value if half else 0.0,
    )


def _moisture(moisture: given.Moisture, reader: Reader) -> MoistureModel | None:
    place: Location = ("product", "moisture")
    isotherm = _isotherm(moisture.isotherm, reader)
    initial = moisture.initial
    if (initial.water_activity is None) == (initial.content is None):
        reader.refuse(
            (*place, "initial"),
            "needs exactly one of 'water_activity' and 'content'",
            "for example {water_activity: 0.15}",
        )
        return None
    if isotherm is None or not isotherm_is_per_gram(isotherm, reader):
        return None
    if initial.water_activity is not None:
        activity, key = initial.water_activity, "water_activity"
    else:
        activity, key = float(isotherm.activity(float(initial.content or 0.0))), "content"
    low, high = isotherm.valid
    if not 0.0 <= activity <= high + 1e-9:
        reader.refuse(
            (*place, "initial", key),
            f"lies beyond the isotherm (water activity {activity:.3g}, at most {high:.3g})",
            "check the isotherm's constants and this value",
        )
        return None
    if activity < low - 1e-9:
        reader.warn(
            f"the product's initial water activity {activity:.3g} lies below the isotherm ({low:.3g})"
        )
    return MoistureModel(moisture.dry_mass.value, isotherm, activity)


def _isotherm(isotherm: Any, reader: Reader) -> Isotherm | None:
    try:
        if isinstance(isotherm, given.Gab):
            return GAB(isotherm.monolayer, isotherm.c, isotherm.k)
        if isinstance(isotherm, given.Oswin):
            return Oswin(isotherm.a, isotherm.b)
        if isinstance(isotherm, given.Henderson):
            celsius = isotherm.temperature.value - ZERO_CELSIUS
            return Henderson(isotherm.k, isotherm.n, isotherm.c, celsius)
        return TableIsotherm(isotherm.table)
    except ValueError as error:
        reader.refuse(("product", "moisture", "isotherm"), str(error))
        return None

"""Assumptions and cautions of a prediction: the modelling choices that matter to a case, in words."""

from __future__ import annotations

from optimizer.constants import DRY_AIR
from optimizer.shelflife.contents import (
    headspace_gas,
    inside_activity,
    is_liquid,
    limit_names,
    simulated_gases,
    water_matters,
)
from optimizer.shelflife.memory import WallChoice
from optimizer.shelflife.package import Case, ClosurePart, HolePart, Limit, Product
from optimizer.shelflife.words import apart, listed

#: Largest water activity of a dry product: nothing grows below it (common practice, no source).
DRY = 0.6


def cautions_of(case: Case) -> list[str]:
    """The usual cautions, where they apply."""
    product = case.product
    found = [
        "A prediction is for screening: verify by a test of the whole package before a decision rests on it."
    ]
    found.append("Food-contact and recycling rules are local and are not checked here.")
    low_oxygen = headspace_gas(product).get("O2", 0.0) < 0.02 and product.carbonation is None
    wet = inside_activity(product) > 0.93
    if low_oxygen and wet and limit_names(product) & {"oxygen_gain", "headspace_oxygen"}:
        found.append(
            "Packs low in oxygen can let pathogens such as Clostridium botulinum grow in moist, "
            "low-acid, chilled "
            "products; shelf life by oxygen says nothing about safety."
        )
    if product.carbonation is not None:
        found.append(
            "Pressurised bottles need a burst, drop and creep check; a thinner wall that keeps CO2 may "
            "still fail."
        )
    if product.moisture is not None and product.moisture.initial_activity <= DRY:
        found.append(
            "If it is a medicine: stability studies under the rules that apply are needed; this does not "
            "replace them."
        )
    return found


def assumptions_of(case: Case, wall: WallChoice) -> list[str]:
    """The modelling choices that matter to this case, in words. wall: how the walls were simulated."""
    product, names = case.product, limit_names(case.product)
    gases = simulated_gases(product)
    found = [
        *_wall_texts(case, wall),
        "A month is 30.4375 days and a year 365.25 days; cm3(STP) is at 0 degC and 1 atm.",
        "The last stage of storage goes on if the time looked at is longer.",
        "Each limit is checked at the worst value of its quantity from closing on.",
    ]
    activity = inside_activity(product)
    if product.moisture is None and product.water_activity is None:
        why = "a liquid" if is_liquid(product) else "not given"
        found.append(f"Water activity inside assumed {activity:.3g} ({why}).")
    moving = " at closing" if product.moisture is not None else ""
    found.append(f"Tables of transmission and humidity are for water activity {activity:.3g}{moving} inside.")
    if gases:
        air = "around the outer pack" if case.outer is not None else "outside"
        found.append(f"Air {air} is 20.95 % O2, 78.08 % N2 and 0.04 % CO2 of the dry part at 1 atm in all.")
        found.append("Headspace and product are in equilibrium at all times (Henry's law).")
        found += _headspace_texts(product)
        if not product.headspace.rigid:
            found.append(
                "A flexible headspace that shrinks to a thousandth keeps that volume: it has collapsed."
            )
    if "O2" in gases:
        if product.oxygen.dissolves_like == "water" and product.oxygen.solubility is None:
            found.append("Oxygen in water after Benson and Krause (1984).")
        consumption = product.oxygen.consumption
        if consumption is not None and consumption.order == 0:
            found.append("Order-0 use of oxygen fades out below an oxygen pressure of 10 Pa.")
        if consumption is not None and consumption.order == 1 and product.oxygen.dissolves_like == "nothing":
            found.append(
                "First-order use of oxygen acts on the oxygen of the headspace: the product dissolves none."
            )
    if "oxygen_gain" in names:
        found.append(_oxygen_gain_text(case))
    if "co2_loss" in names:
        found.append(
            "CO2 loss is what left headspace and product, as a share of all CO2 in them at closing; "
            + (
                "what the wall takes up is part of it."
                if wall.transient
                else "wall sorption is not part of it."
            )
        )
    if product.carbonation is not None:
        found.append(
            "CO2 and N2 in water after Sander (2023); the headspace starts at the CO2 pressure of the liquid."
        )
    if product.moisture is not None:
        found.append("The moisture isotherm is used at every temperature as given; the product is uniform.")
    for part in case.package.parts:
        if isinstance(part, ClosurePart):
            shown = [g for g in ("O2", "H2O") if g not in part.transmission]
            unasked = [g for g in shown if g not in gases and not (g == "H2O" and water_matters(product))]
            if unasked:
                found.append(
                    f"No transmission of '{part.name}' given for {listed(unasked)}, which no limit follows: "
                    "the tables count zero."
                )
    if any(isinstance(p, HolePart) for p in case.package.parts):
        found.append(
            "Holes: diffusion with one hole radius added to the length, molecular and Knudsen "
            "resistance in series."
        )
    return found


def over_at_closing(limit: Limit, closing: float) -> str:
    """Why no wall keeps a limit that is exceeded at closing; closing: its quantity then, as in ``Limit``."""
    if limit.name == "oxygen_gain":
        return (
            "oxygen of the headspace dissolves in the product at once (equilibrium): no wall helps, less "
            "oxygen in the headspace does"
        )
    percent = limit.name == "headspace_oxygen"
    unit, scale = (" %", 100.0) if percent else ("", 1.0)
    found, allowed = apart(scale * closing, scale * limit.value)
    what = "oxygen in the headspace at closing" if percent else "initial water activity"
    low = limit.name == "water_activity_min"
    helps = "less oxygen at closing" if percent else f"a {'moister' if low else 'drier'} product"
    return (
        f"{what} {found}{unit} is {'below' if low else 'above'} the limit {allowed}{unit}: "
        f"no wall helps, {helps} does"
    )


def _headspace_texts(product: Product) -> list[str]:
    carbonated = product.carbonation is not None
    found = []
    if not product.headspace.gas:
        found.append(f"Headspace gas not given: {'no air, only CO2' if carbonated else 'air'} assumed.")
    elif carbonated and "CO2" in product.headspace.gas:
        found.append(
            "CO2 in the headspace at closing is that in equilibrium with the carbonated product; its share "
            "in headspace.gas adds none."
        )
    rigid = product.headspace.rigid
    walls = "rigid: its volume is kept" if rigid else "flexible: the pressure outside is kept"
    if not carbonated:
        closed = "; at closing it is at 1 atm including water vapour"
    elif headspace_gas(product):
        closed = "; at closing the gases beside CO2 are at their shares of 1 atm including water vapour"
    else:
        closed = ""
    return [*found, f"Headspace {walls}{closed}."]


def _wall_texts(case: Case, wall: WallChoice) -> list[str]:
    if not wall.transient:
        why = "" if case.wall == "steady" else f" ({wall.reason})"
        return [
            f"Walls are at steady state at every moment{why}; conditions change at once from stage to stage."
        ]
    found = [
        f"Walls are followed in transient: {wall.reason}. Conditions change at once from stage to stage."
    ]
    asked = case.wall == "transient"
    if case.before.humidity is None and not asked:
        found.append("Humidity around the walls before closing not given: that of the first stage taken.")
    if case.before.gas == DRY_AIR and not asked:
        found.append("Gas around the walls before closing not given: air taken.")
    found.append("Solubility of gases in the walls does not depend on humidity; no diffusivity: no storage.")
    return found


def _oxygen_gain_text(case: Case) -> str:
    product = case.product
    dissolves = product.oxygen.dissolves_like != "nothing" or product.oxygen.solubility is not None
    if dissolves or product.oxygen.consumption is not None:
        return (
            "Oxygen gain is oxygen taken up by the product, dissolved plus used up, less what was "
            "dissolved at closing."
        )
    return (
        "Oxygen gain is all oxygen that came into the package, as the product neither dissolves nor uses it."
    )

"""What a product says of itself twice, and what its package cannot do: water against mass, pressure against
walls that give way."""

from __future__ import annotations

from optimizer.constants import ATMOSPHERE
from optimizer.physics.sorption import GAB, Isotherm
from optimizer.physics.water import saturation_pressure
from optimizer.project import schema_product as given
from optimizer.project.reader import Reader
from optimizer.project.source import Location
from optimizer.shelflife.contents import carbonation_pressure, inside_activity
from optimizer.shelflife.package import MoistureModel, Product
from optimizer.units.figures import figure

#: Dry mass and water at closing against the mass: told beyond the first, refused where they are more than
#: the second times it.
MASS_WARNING, MASS_ERROR = 1.05, 1.5
#: Water that a product holds at the water activity below [kg/kg dry]: told from the first, refused from the
#: second on. Foods hold 0.05 to 0.5 there, gels and salts more (common practice, no source).
CONTENT_WARNING, CONTENT_ERROR = 1.5, 10.0
_JUDGED_AT = 0.8
#: Pressure at closing from which on a carbonated product is plainly one for a bottle [atm]; what swells below
#: it is told with the answer.
PRESSURE_ERROR = 2.0

_PER_GRAM = "water is counted in g per g of dry product: if it is in g per 100 g, write 0.16 for 16 %"
_MOISTURE: Location = ("product", "moisture")


def isotherm_is_per_gram(isotherm: Isotherm, reader: Reader) -> bool:
    """Isotherms are often printed in g per 100 g. False where it was refused."""
    activity = min(_JUDGED_AT, isotherm.valid[1])
    content = float(isotherm.content(activity))
    said = f"{figure(content)} g of water per g of dry product at water activity {activity:.3g}"
    hint = f"{_PER_GRAM}, or '16 %'" if isinstance(isotherm, GAB) else _PER_GRAM
    if content > CONTENT_ERROR:
        reader.refuse((*_MOISTURE, "isotherm"), f"gives {said}", hint)
        return False
    if content > CONTENT_WARNING:
        reader.warn(f"the isotherm gives {said}, where 0.05 to 0.5 are usual: {hint}")
    return True


def water_fits_the_mass(product: given.Product, built: MoistureModel, reader: Reader) -> None:
    """The dry mass and its water at closing are the mass of the product."""
    if product.moisture is None or product.moisture.dry_mass.value > product.mass.value:  # the latter is said
        return
    dry, mass = product.moisture.dry_mass, product.mass
    content = float(built.isotherm.content(float(built.initial_activity)))
    whole = dry.value * (1.0 + content)
    if whole > MASS_ERROR * mass.value:
        reader.refuse(
            (*_MOISTURE, "isotherm"),
            f"gives {figure(content)} g of water per g of dry product at closing: with the dry mass of "
            f"{dry.text} the product would have {figure(whole * 1e3)} g, and its mass is {mass.text}",
            _PER_GRAM if content > 0.1 else "the dry mass is the product without its water",
        )
    elif max(whole / mass.value, mass.value / whole) > MASS_WARNING:
        part = "; or only a part of the product takes up water: then nothing is wrong"
        reader.warn(
            f"the dry mass of {dry.text} and its water at closing, {figure(dry.value * content * 1e3)} g, "
            f"make {figure(whole * 1e3)} g, and the product's mass is {mass.text}: check dry_mass, the "
            f"isotherm and the state at closing{part if whole < mass.value else ''}"
        )


def walls_hold_the_pressure(product: Product, reader: Reader) -> None:
    """A package that gives way holds no pressure: a drink for a bottle would blow it up to many times its
    size."""
    if product.carbonation is None or product.headspace.rigid:
        return
    vapour = inside_activity(product) * float(saturation_pressure(product.closing_temperature))
    pressure = (carbonation_pressure(product) + vapour) / ATMOSPHERE
    if pressure > PRESSURE_ERROR:
        reader.refuse(
            ("product", "headspace", "walls"),
            f"flexible walls cannot hold this carbonated product, whose gas is at {figure(pressure)} atm",
            "write 'walls: rigid' for a bottle, can or keg; a pouch would swell until the gas has come out",
        )

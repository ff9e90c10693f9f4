"""Values that can be, and hardly are: one warning each, with what is usual.

What is usual is common practice without a source, unless a line says where it is from.
"""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.catalog import Catalog
from optimizer.catalog.build import NO_FAMILY
from optimizer.constants import DAY
from optimizer.physics.material import Material
from optimizer.project import schema_closures as seals
from optimizer.project.reader import Reader
from optimizer.units import Quantity
from optimizer.units.figures import figure

#: Thickest layer that is still usual [m].
THICK = 20e-3
#: Pressure differences of tests of transmission [Pa]: closures of carbonated drinks are tested at 4 bar.
TEST_PRESSURES = 1e3, 1e6
#: Quickest first-order use of oxygen [1/s]: half of it is gone in ten minutes.
QUICK = 100.0 / DAY
#: Mass over volume of products [kg/m3]: from freeze-dried cakes to powders of metals.
DENSITIES = 10.0, 8000.0
#: Thickest sealant of both webs together, oil film of a valve, gasket and cord of an O-ring [m]. Cords of
#: ISO 3601-1 are 1.8 to 7 mm (from memory).
SEALANT, FILM, GASKET, CORD = 1e-3, 1e-3, 10e-3, 10e-3
#: A gasket higher than this many times its width would not stand.
_SLENDER = 2.0
#: A permeability this many times the highest of its family in the table is told, and one this many times the
#: highest of all: units that are mistaken for each other are a factor of 1000 apart.
_BEYOND_FAMILY, _BEYOND_ALL = 100.0, 30.0
#: Temperature at which the table's rows are compared [K].
_COMPARED_AT = 298.15
#: Rounding of units.
_SLACK = 1.0 + 1e-6

_UNIT = "is the unit right?"


def pressure_is_usual(said: str, gas: str, pressure: Quantity, reader: Reader) -> None:
    """said: where the pressure stands, in words."""
    low, high = TEST_PRESSURES
    air = "air, 0.2095 atm of oxygen, or with " if gas == "O2" else ""
    if not low / _SLACK <= pressure.value <= high * _SLACK:
        reader.warn(
            f"{said}, {gas}: a partial pressure of {pressure.text} is unusual for a test, which is done with "
            f"{air}the pure gas, 1 atm; {_UNIT}"
        )


def use_of_oxygen_is_usual(rate: Quantity, reader: Reader) -> None:
    """rate: of order 1."""
    if rate.value > QUICK * _SLACK:
        reader.warn(
            f"the product's use of oxygen, {rate.text}, is unusually quick: 0.001 to 10 1/day are usual; "
            f"{_UNIT}"
        )


def density_is_usual(mass: Quantity, volume: Quantity, reader: Reader) -> None:
    density = mass.value / volume.value
    low, high = DENSITIES
    if not low / _SLACK <= density <= high * _SLACK:
        reader.warn(
            f"{mass.text} in {volume.text} is a density of {figure(density * 1e-3)} g/mL, and products have "
            f"{low * 1e-3:g} to {high * 1e-3:g} g/mL: check mass and volume"
        )


def permeability_is_usual(material: Material, catalog: Catalog, reader: Reader) -> None:
    """Values of the user's own that are far beyond their family, or beyond every polymer of the table. Paper,
    board and whatever else the table has no family of let through what they do."""
    if material.family not in (*catalog.families, NO_FAMILY):
        return
    own = [note for note in material.sources if note.grade == "user"]
    gases = [g for g in dict.fromkeys(note.gas for note in own) if g in material.gases or g == "H2O"]
    found = []
    for gas in gases:
        beyond = _beyond(material, gas, catalog) if gas != "H2O" or material.water else ""
        given = [f" of {note.value} {note.unit}".rstrip() for note in own if note.gas == gas]
        if beyond:
            found.append(f"its {gas} permeability{given[0] if len(given) == 1 else ''} is {beyond}")
    if found:
        reader.warn(f"material '{material.name}': {', and '.join(found)}; {_UNIT}")


def _beyond(material: Material, gas: str, catalog: Catalog) -> str:
    """'50 times that of ...' where a permeability is out of all proportion, else ''."""
    value, family = _most(material, gas), material.family
    band = catalog.family_band(family, gas)
    if band is not None and value > _BEYOND_FAMILY * _SLACK * band.high:
        return f"{figure(value / band.high, 2)} times that of the most permeable row of the family {family}"
    high, top = 0.0, ""
    for name in catalog.families:
        band = catalog.family_band(name, gas)
        if band is not None and band.high > high:
            high, top = band.high, name
        if value <= _BEYOND_ALL * _SLACK * high:
            return ""
    return f"{figure(value / high, 2)} times that of {top}, which of all in the table lets most through"


def _most(material: Material, gas: str) -> float:
    """Largest permeability that was given [mol m/(m2 s Pa)]: of water the mean from 0 to a humidity."""
    law = material.water
    if gas != "H2O":
        own = material.gases[gas]
        return max(own.permeability) * float(own.factor(_COMPARED_AT))
    assert law is not None
    means = [phi / a for a, phi in zip(law.activity, law.phi, strict=True) if a > 0.0]
    return max(means) * float(law.factor(_COMPARED_AT))


def seal_is_usual(name: str, seal: object, reader: Reader) -> None:
    """The size of a closure that is given in um and read in mm, or the other way round."""
    for text in _oversized(seal):
        reader.warn(f"part '{name}': {text}; {_UNIT}")


def _oversized(seal: object) -> Iterator[str]:
    if isinstance(seal, seals.SealEdge):
        if seal.thickness.value > min(SEALANT, seal.width.value) * _SLACK:
            yield (
                f"a sealant {seal.thickness.text} thick in an edge {seal.width.text} wide is unusual: "
                "20 to 300 um for both webs together are usual"
            )
    elif isinstance(seal, seals.Valve):
        if seal.film.value > min(FILM, seal.seat_width.value) * _SLACK:
            yield (
                f"a film {seal.film.text} thick on a seat {seal.seat_width.text} wide is unusual: "
                "5 to 100 um are usual"
            )
    elif isinstance(seal, seals.Gasket):
        if seal.height.value > min(GASKET, _SLENDER * seal.width.value) * _SLACK:
            yield (
                f"a gasket {seal.height.text} high and {seal.width.text} wide is unusual: "
                "0.3 to 5 mm high, and not higher than wide, are usual"
            )
    elif isinstance(seal, seals.ORing) and seal.cord.value > CORD * _SLACK:
        yield f"a cord of {seal.cord.text} is unusual: 1.8 to 7 mm are usual"

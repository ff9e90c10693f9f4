"""The kinds of quantity that a project file holds, each with its SI unit, its dimension and examples.

In the gas kinds a volume in the numerator is an amount of gas at STP (0 degC, 1 atm); in a package geometry
it is a volume. That is why every reading names its kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from optimizer.units.table import NONE, VOLUME, Dim, dim


@dataclass(frozen=True)
class Kind:
    """A kind of quantity.

    description: with its article, "a length". si_unit: of ``Quantity.value``. examples: texts that can be
    read; the first is shown in messages. default: (upper limit in SI, unit) in which values are written,
    the last one without limit. dims: dimensions accepted. carrier: "amount" or "mass" when the numerator
    names a substance, and in which of the two the value is kept. free_volume: an untagged volume in the
    numerator is gas at STP. untagged_mass: g may be turned into mol with the gas given by the caller. gas:
    fixed substance. cancels: bases that may stand above and below the slash; must_cancel: those that have
    to. shares: %-like units accepted. bare: a bare number is accepted.
    """

    description: str
    si_unit: str
    examples: tuple[str, ...]
    default: tuple[tuple[float, str], ...]
    dims: tuple[Dim, ...] = ()
    carrier: str = ""
    free_volume: bool = False
    untagged_mass: bool = False
    gas: str = ""
    cancels: frozenset[str] = frozenset()
    must_cancel: frozenset[str] = frozenset()
    shares: frozenset[str] = frozenset()
    bare: bool = False
    note: str = field(default="", compare=False)


_ANY = float("inf")
_LENGTH, _MASS = frozenset({"length"}), frozenset({"mass"})
_PERMEABILITY = dim(amount=1, length=-1, time=-1, pressure=-1)
_PERMEANCE = dim(amount=1, length=-2, time=-1, pressure=-1)
_STP = "a volume of gas is at STP, 0 degC and 1 atm"


def _unit(*steps: tuple[float, str] | str) -> tuple[tuple[float, str], ...]:
    return tuple((_ANY, step) if isinstance(step, str) else step for step in steps)


def _or_per_package(**powers: int) -> tuple[Dim, ...]:
    return dim(**powers), dim(**powers, package=-1)


_GAS: dict[str, Kind] = {
    "gas permeability": Kind(
        "a gas permeability", "mol*m/(m2*s*Pa)",
        ("0.4 cm3*mm/(m2*day*atm)", "450 cm3*mil/(100 in2*day*atm)", "2.5 Barrer",
         "1.5 cm3*20um/(m2*day*atm)"),
        _unit("cm3(STP)*mm/(m2*day*atm)"), (_PERMEABILITY,), "amount", True, cancels=_LENGTH, note=_STP,
    ),
    "gas permeance": Kind(
        "a gas permeance", "mol/(m2*s*Pa)", ("2 cm3/(m2*day*atm)", "0.5 cc/(100 in2*day*atm)", "0.1 GPU"),
        _unit("cm3(STP)/(m2*day*atm)"), (_PERMEANCE,), "amount", True, note=_STP,
    ),
    "gas flux": Kind(
        "a gas flux", "mol/(m2*s)", ("2 cm3/(m2*day)", "0.1 cc/(100 in2*24h)"),
        _unit("cm3(STP)/(m2*day)"), (dim(amount=1, length=-2, time=-1),), "amount", True,
        note="the driving pressure is stated elsewhere",
    ),
    "package gas conductance": Kind(
        "a gas transmission of a whole package per pressure", "mol/(s*Pa)",
        ("0.05 cm3/(package*day*atm)", "0.01 cm3/(day*0.21 atm)"), _unit("cm3(STP)/(package*day*atm)"),
        _or_per_package(amount=1, time=-1, pressure=-1), "amount", True, note=_STP,
    ),
    "package gas flow": Kind(
        "a gas transmission of a whole package", "mol/s", ("0.0012 cm3/day", "0.02 mL/(pack*day)"),
        _unit("cm3(STP)/(package*day)"), _or_per_package(amount=1, time=-1), "amount", True,
        note="the driving pressure is stated elsewhere",
    ),
    "gas solubility": Kind(
        "a gas solubility", "mol/(m3*Pa)", ("0.03 cm3(STP)/(cm3*atm)", "1.3e-5 mol/(m3*Pa)"),
        _unit("cm3(STP)/(cm3*atm)"), (dim(amount=1, length=-3, pressure=-1),), "amount", True, True,
    ),
    "gas capacity": Kind(
        "an amount of gas per mass of a material", "mol/kg",
        ("3 cm3/g", "0.1 mol/kg", "4 mg(O2)/g"), _unit("cm3(STP)/g"), (dim(amount=1, mass=-1),),
        "amount", True, True, note=_STP,
    ),
    "vapour permeability rate": Kind(
        "a water vapour rate times thickness", "kg*m/(m2*s)",
        ("1.5 g*mil/(100 in2*day)", "0.6 g*mm/(m2*day)"),
        _unit("g*mm/(m2*day)"), (dim(mass=1, length=-1, time=-1),), "mass", gas="H2O", cancels=_LENGTH,
        note="needs the temperature and humidity of its test",
    ),
    "vapour transmission rate": Kind(
        "a water vapour transmission rate", "kg/(m2*s)", ("8 g/(m2*day)", "0.5 g/(100 in2*24h)"),
        _unit("g/(m2*day)"), (dim(mass=1, length=-2, time=-1),), "mass", gas="H2O",
        note="needs the temperature and humidity of its test",
    ),
    "package vapour rate": Kind(
        "a water vapour rate of a whole package", "kg/s", ("0.01 g/(package*day)", "5 mg/day"),
        _unit("g/(package*day)"), _or_per_package(mass=1, time=-1), "mass", gas="H2O",
        note="needs the temperature and humidity of its test",
    ),
    "vapour permeability": Kind(
        "a water vapour permeability with a pressure in its unit", "mol*m/(m2*s*Pa)",
        ("0.2 g*mm/(m2*day*kPa)", "1e-13 mol*m/(m2*s*Pa)"), _unit("g*mm/(m2*day*kPa)"),
        (_PERMEABILITY,), "amount", gas="H2O", cancels=_LENGTH,
    ),
    "vapour permeance": Kind(
        "a water vapour permeance", "mol/(m2*s*Pa)", ("0.5 g/(m2*day*mmHg)", "57 ng/(s*m2*Pa)"),
        _unit("g/(m2*day*kPa)"), (_PERMEANCE,), "amount", gas="H2O",
    ),
    "package vapour conductance": Kind(
        "a water vapour transmission of a whole package per pressure", "mol/(s*Pa)",
        ("0.01 g/(package*day*kPa)",), _unit("g/(package*day*kPa)"),
        _or_per_package(amount=1, time=-1, pressure=-1), "amount", gas="H2O",
    ),
}  # fmt: skip

_SHARES = frozenset({"%", "‰", "ppm", "ppb", "vol%", "mol%"})

_GENERAL: dict[str, Kind] = {
    "length": Kind("a length", "m", ("300 um", "75 mm", "2 mil"),
                   _unit((1e-3, "um"), (2.0, "mm"), "m"), (dim(length=1),)),
    "area": Kind("an area", "m2", ("18 cm2", "0.06 m2", "100 in2"), _unit((0.1, "cm2"), "m2"),
                 (dim(length=2),)),
    "volume": Kind("a volume", "m3", ("30 mL", "1.0 L", "500 cm3"), _unit((1e-3, "mL"), "L"), (VOLUME,)),
    "mass": Kind("a mass", "kg", ("200 g", "1.03 kg"), _unit((1e-3, "mg"), (1.0, "g"), "kg"), (dim(mass=1),)),
    "duration": Kind("a duration", "s", ("4 months", "5 days", "24 h"),
                     _unit((3600.0, "s"), (86400.0, "h"), "days"), (dim(time=1),)),
    "temperature": Kind("a temperature", "K", ("23 degC", "73.4 degF", "296.15 K"), _unit("degC"),
                        (dim(temperature=1),)),
    "temperature difference": Kind("a temperature difference", "K", ("10 K", "10 degC"), _unit("K"),
                                   (dim(temperature=1),)),
    "pressure": Kind("a pressure", "Pa", ("1 atm", "0.2095 atm", "101.325 kPa"), _unit("kPa"),
                     (dim(pressure=1),)),
    "fraction": Kind("a fraction", "-", ("5 %", "0.05", "50 %RH"), _unit("%"),
                     shares=_SHARES | {"%RH"}, bare=True),
    "relative humidity": Kind("a relative humidity", "-", ("50 %", "0.5", "50 %RH"), _unit("%"),
                              shares=frozenset({"%", "%RH"}), bare=True),
    "ratio": Kind("a ratio", "-", ("1.4", "140 %"), _unit(""), shares=frozenset({"%"}), bare=True),
    "count": Kind("a count", "-", ("7",), _unit(""), bare=True),
    "density": Kind("a density", "kg/m3", ("0.92 g/cm3", "920 kg/m3"), _unit("kg/m3"),
                    (dim(mass=1, length=-3),)),
    "grammage": Kind("a mass per area", "kg/m2", ("3 g/m2", "85 g/m2"), _unit("g/m2"),
                     (dim(mass=1, length=-2),)),
    "concentration": Kind("a concentration", "kg/m3", ("0.3 mg/L", "0.25 mol(O2)/m3"), _unit("mg/L"),
                          (dim(mass=1, length=-3),), "mass"),
    "mass share": Kind("a mass share", "kg/kg", ("5 mg/kg", "5 ppm", "2 %"), _unit("mg/kg"), (NONE,), "mass",
                       cancels=_MASS, must_cancel=_MASS,
                       shares=frozenset({"%", "‰", "ppm", "ppb", "wt%"})),
    "price per mass": Kind("a price per mass", "1/kg", ("1.30 EUR/kg",), _unit("kg"),
                           (dim(currency=1, mass=-1),)),
    "price per area": Kind("a price per area", "1/m2", ("0.25 EUR/m2",), _unit("m2"),
                           (dim(currency=1, length=-2),)),
    "activation energy": Kind("an activation energy", "J/mol", ("40 kJ/mol", "9.5 kcal/mol"),
                              _unit("kJ/mol"), (dim(energy=1, amount=-1),)),
    "rate": Kind("a rate", "1/s", ("0.05 1/day", "0.05 /day"), _unit("1/day"), (dim(time=-1),)),
    "diffusivity": Kind("a diffusivity", "m2/s", ("4.5e-11 m2/s", "1e-8 cm2/s"), _unit("m2/s"),
                        (dim(length=2, time=-1),)),
    "mass rate": Kind("a mass rate", "kg/s", ("2 mg/day",), _unit("mg/day"),
                      _or_per_package(mass=1, time=-1), "mass"),
    "mass rate per mass": Kind("a mass rate per mass of product", "1/s", ("0.5 mg/(kg*day)",),
                               _unit("mg/(kg*day)"), (dim(time=-1),), "mass",
                               cancels=_MASS, must_cancel=_MASS),
    "mass rate per volume": Kind("a mass rate per volume of product", "kg/(m3*s)", ("0.5 mg/(L*day)",),
                                 _unit("mg/(L*day)"), (dim(mass=1, length=-3, time=-1),), "mass"),
}  # fmt: skip

#: Kind of quantity by its name.
KINDS: Mapping[str, Kind] = MappingProxyType({**_GENERAL, **_GAS})

_NEEDS_CONDITIONS = frozenset({"vapour permeability rate", "vapour transmission rate", "package vapour rate"})


def vapour_rate_needs_conditions(kind: str) -> bool:
    """True for vapour rates without a pressure in the unit, which need test temperature and humidity to mean
    anything."""
    return kind in _NEEDS_CONDITIONS


def indistinguishable(kinds: tuple[str, ...]) -> tuple[str, str] | None:
    """The first two of ``kinds`` that one text could both be, or None when the unit always decides."""
    for i, first in enumerate(kinds):
        for second in kinds[i + 1 :]:
            a, b = KINDS[first], KINDS[second]
            same_dim = bool(set(a.dims) & set(b.dims))
            told_apart = bool((a.must_cancel - b.cancels) | (b.must_cancel - a.cancels))
            if (same_dim and not told_apart) or (a.bare and b.bare) or (a.shares & b.shares):
                return first, second
    return None

"""The two sets of units that answers are shown in: metric, and those common in the United States.

Results keep their metric units (their keys say which); only what people read is converted.

Choices for the United States (common practice of its packaging trade, no source): thickness in mil, other
lengths in in, areas of packages in in2 and of surfaces in ft2, volumes in fl oz, packages weighed in oz,
transmission per 100 in2, prices of materials per lb and per ft2. Kept as they are, because the trade there
writes them too: density in g/cm3, permeation of a package in cm3(STP) or g, mg/kg, days.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from optimizer.units.reader import scale_of
from optimizer.units.texts import Shown, rewritten

#: 'EUR/kg': three letters of a currency, and the mass or the area that is paid for.
_PRICE = re.compile(r"([A-Z]{3})/(\w+)")


@dataclass(frozen=True)
class System:
    """name: as the option --units takes it. table: metric unit -> what it becomes; others stay. prices: the
    same for what stands below the slash of a price, in any currency. texts: the same for units that stand
    in sentences only."""

    name: str
    table: Mapping[str, Shown] = field(default_factory=dict)
    prices: Mapping[str, Shown] = field(default_factory=dict)
    texts: Mapping[str, Shown] = field(default_factory=dict)

    def unit(self, unit: str) -> str:
        """The unit that values in ``unit`` are shown in."""
        found = self._shown(unit)
        return unit if found is None else found.unit

    def value(self, value: float, unit: str) -> float:
        """A number in the metric ``unit`` as the number that is shown."""
        found = self._shown(unit)
        return value if found is None else value * found.factor + found.offset

    def text(self, text: str, names: Collection[str] = ()) -> str:
        """A sentence with its quantities in the units shown; see ``units.texts``. names: given by the user,
        which stay as they are. A difference of temperatures is one in K, or '1 degC less', 'by 1 degC'."""
        if not self.table:
            return text
        named = {f"{price[1]}/{price[2]}" for price in _PRICE.finditer(text) if price[2] in self.prices}
        units = {**self.table, **self.texts}
        for unit in named:
            price = self._shown(unit)
            units |= {} if price is None else {unit: price}
        return rewritten(text, units, self.table.get("K"), names)

    def _shown(self, unit: str) -> Shown | None:
        found = self.table.get(unit)
        price = _PRICE.fullmatch(unit) if found is None else None
        per = None if price is None else self.prices.get(price[2])
        return found if price is None or per is None else Shown(f"{price[1]}/{per.unit}", per.factor)


@dataclass(frozen=True)
class _Pair:
    """A metric unit and what it becomes. read: the latter as ``read`` knows it, where the text shown is not
    read because it has several meanings (oz); parts: how many of the unit shown are one of that."""

    metric: str
    kind: str
    unit: str
    read: str = ""
    parts: float = 1.0

    def shown(self) -> Shown:
        """From the factors of the unit table, so that there is one set of numbers."""
        metric, own = scale_of(self.metric, self.kind), scale_of(self.read or self.unit, self.kind)
        factor = metric.multiply * own.divide / (metric.divide * own.multiply) * self.parts
        offset = (metric.offset - own.offset) * own.divide / own.multiply * self.parts
        return Shown(self.unit, _clean(factor), _clean(offset))


def _clean(value: float) -> float:
    """Without the noise of the quotients in the last digit: 1.8, not 1.7999999999999998."""
    return float(f"{value:.15g}")


# By definition: 16 oz in a pound (avoirdupois); 128 fl oz in a US gallon of 231 in3, so 128/231 in one in3
# (NIST Handbook 44, Appendix C; from memory).
_PAIRS = (
    _Pair("um", "length", "mil"),
    _Pair("mm", "length", "in"),
    _Pair("cm2", "area", "in2"),
    _Pair("m2", "area", "ft2"),
    _Pair("mL", "volume", "fl oz", read="in3", parts=128.0 / 231.0),
    _Pair("g", "mass", "oz", read="lb", parts=16.0),
    _Pair("kg", "mass", "lb"),
    _Pair("kPa", "pressure", "psi"),
    _Pair("degC", "temperature", "degF"),
    # The key of a difference of two temperatures: nothing is shown in kelvin as such.
    _Pair("K", "temperature difference", "degF"),
    _Pair("cm3(STP)/(m2*day*atm)", "gas permeance", "cm3(STP)/(100 in2*day*atm)"),
    _Pair("g/(m2*day)", "vapour transmission rate", "g/(100 in2*day)"),
    _Pair("cm3(STP)*mm/(m2*day*atm)", "gas permeability", "cm3(STP)*mil/(100 in2*day*atm)"),
    _Pair("g*mm/(m2*day)", "vapour permeability rate", "g*mil/(100 in2*day)"),
)
# In sentences only. A density stays metric, in the unit that the tables have.
_IN_TEXTS = (
    _Pair("cm", "length", "in"),
    _Pair("m", "length", "ft"),
    _Pair("mm2", "area", "in2"),
    _Pair("cm3", "volume", "in3"),
    _Pair("L", "volume", "fl oz", read="in3", parts=128.0 / 231.0),
    *(_Pair(unit, "pressure", "psi") for unit in ("MPa", "bar", "mbar", "hPa")),
    _Pair("kg/m3", "density", "g/cm3"),
    _Pair("g/m2", "grammage", "oz/ft2", read="lb/ft2", parts=16.0),
)
#: Units that a whole package or a whole pack has: what stands after the slash stays.
_PER_PACKAGE = ("g",)


def _us() -> System:
    table = {pair.metric: pair.shown() for pair in _PAIRS}
    for unit in _PER_PACKAGE:
        own = table[unit]
        table[f"{unit}/package"] = Shown(f"{own.unit}/package", own.factor, own.offset)
    # The factor of a price does not depend on the currency; XXX is the code of none (ISO 4217).
    prices = {
        "kg": Shown("lb", _Pair("XXX/kg", "price per mass", "XXX/lb").shown().factor),
        "m2": Shown("ft2", _Pair("XXX/m2", "price per area", "XXX/ft2").shown().factor),
    }
    texts = {pair.metric: pair.shown() for pair in (*_IN_TEXTS, *_permeation())}
    return System("us", MappingProxyType(table), MappingProxyType(prices), MappingProxyType(texts))


def _permeation() -> Iterator[_Pair]:
    """As tables of materials spell it: a volume of gas without 'STP', lengths in um, pressures in bar."""
    for gas in ("cm3", "cm3(STP)"):
        for pressure in ("atm", "bar"):
            yield _Pair(f"{gas}/(m2*day*{pressure})", "gas permeance", f"{gas}/(100 in2*day*atm)")
            for length in ("um", "mm"):
                metric = f"{gas}*{length}/(m2*day*{pressure})"
                yield _Pair(metric, "gas permeability", f"{gas}*mil/(100 in2*day*atm)")
    yield _Pair("g*um/(m2*day)", "vapour permeability rate", "g*mil/(100 in2*day)")


#: Metric units as everywhere in the results.
SI = System("si")
#: Units common in the United States.
US = _us()


def system(name: str) -> System:
    """'si' or 'us' to its units; ValueError for any other name."""
    for known in (SI, US):
        if name == known.name:
            return known
    raise ValueError(f"'{name}' is not a set of units; known: {SI.name}, {US.name}")

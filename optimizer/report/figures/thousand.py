"""Costs that are too small for one package: told for a thousand, as prices of packaging are (common practice,
no source)."""

from __future__ import annotations

from optimizer.units.systems import SI, System

_ONE = "/package"
#: Currencies have codes of three letters (ISO 4217).
_CODE = 3


def thousand(value: float, unit: str, units: System = SI) -> tuple[float, str]:
    """A difference and its unit as they are shown: 0.00066 EUR/package is 0.66 EUR/1000 packages; others stay
    for one package."""
    paid = unit.removesuffix(_ONE)
    if unit.endswith(_ONE) and len(paid) == _CODE and paid.isupper():
        return 1000.0 * value, f"{paid}/1000 packages"
    return units.value(value, unit), units.unit(unit)

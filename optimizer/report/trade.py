"""Properties of a material at the trade's usual test conditions, in the trade's units."""

from __future__ import annotations

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLAR_VOLUME, ZERO_CELSIUS
from optimizer.physics.material import Material
from optimizer.physics.water import saturation_pressure

#: Conditions of the table: gases at 23 degC; water vapour at 38 degC, 90 % RH against a dry side.
GAS_TEMPERATURE = ZERO_CELSIUS + 23.0
WATER_TEMPERATURE = ZERO_CELSIUS + 38.0
WATER_HUMIDITY = 0.9

GAS_UNIT = "cm3(STP)*mm/(m2*day*atm)"
WATER_UNIT = "g*mm/(m2*day)"

#: mol m/(m2 s Pa) -> cm3(STP) mm/(m2 day atm)
_GAS_FACTOR = STP_MOLAR_VOLUME * 1e6 * 1e3 * DAY * ATMOSPHERE


def gas_permeability(material: Material, gas: str, humidity: float = 0.0) -> float | None:
    """Permeability at 23 degC and ``humidity`` on both faces [cm3(STP) mm/(m2 day atm)], None if unknown."""
    law = material.gases.get(gas)
    return None if law is None else float(law.at(GAS_TEMPERATURE, humidity)) * _GAS_FACTOR


def water_transmission(material: Material) -> float | None:
    """Water-vapour transmission of 1 mm at 38 degC, 90 % RH against dry [g mm/(m2 day)]; None when unknown.

    Rate times thickness: [Phi(0.9) - Phi(0)] psat(T), as in ``physics.permeability``.
    """
    law = material.water
    if law is None:
        return None
    phi = 0.0 if law.blocks else float(law.potential(WATER_HUMIDITY)) * float(law.factor(WATER_TEMPERATURE))
    molar = phi * float(saturation_pressure(WATER_TEMPERATURE))
    return molar * MOLAR_MASS["H2O"] * 1e3 * 1e3 * DAY

"""Physical constants and reference states, each with unit and source."""

from __future__ import annotations

#: Molar gas constant [J/(mol K)]; SI 2019, exact.
GAS_CONSTANT = 8.31446261815324
#: 0 degC [K]; exact.
ZERO_CELSIUS = 273.15
#: Standard atmosphere [Pa]; exact.
ATMOSPHERE = 101325.0
#: Volume of one mole at STP (0 degC and 1 atm) [m3/mol]: R T / p.
STP_MOLAR_VOLUME = GAS_CONSTANT * ZERO_CELSIUS / ATMOSPHERE
#: Amount of gas in one cubic metre at STP [mol/m3].
STP_MOLES_PER_M3 = 1.0 / STP_MOLAR_VOLUME

#: Seconds in a day [s].
DAY = 86400.0
#: A month is 30.4375 days here (a twelfth of 365.25 days) [s].
MONTH = 30.4375 * DAY
#: A year is 365.25 days here [s].
YEAR = 365.25 * DAY

#: Mole fractions of dry air [-]; US Standard Atmosphere 1976, rounded as the packaging trade does (O2
#: 0.2095).
DRY_AIR = {"O2": 0.2095, "N2": 0.7808, "CO2": 0.0004}

#: Molar masses [kg/mol]; IUPAC 2021 abridged atomic weights.
MOLAR_MASS = {"O2": 31.998e-3, "CO2": 44.009e-3, "N2": 28.014e-3, "H2O": 18.015e-3}

#: The gases that the permeation model knows; water is carried as activity, the others as partial pressure.
GASES = ("O2", "CO2", "N2")
PERMEANTS = ("O2", "CO2", "N2", "H2O")

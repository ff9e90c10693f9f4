"""Vapour pressure, dissolved gases, molecular speeds, leaks and isotherms."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from optimizer.constants import ATMOSPHERE, DAY, GAS_CONSTANT, STP_MOLAR_VOLUME
from optimizer.physics.leaks import hole_conductance, mean_speed
from optimizer.physics.solubility import henry_water, oxygen_saturation
from optimizer.physics.sorption import gab_at, henderson_at
from optimizer.physics.water import saturation_pressure
from published.registry import check

# --- saturation pressure ----------------------------------------------------------------------------------
VAPOUR = "Water vapour pressure"


def _saturation(kelvin: float) -> float:
    return float(saturation_pressure(kelvin))


for _k, _pascal in ((300, 3536.58941), (500, 2638897.76), (600, 12344314.6)):
    check(
        VAPOUR,
        f"W{_k}",
        f"Saturation pressure at {_k} K",
        "IAPWS R7-97(2012), table 35",
        _pascal,
        "Pa",
        percent=1e-6,
    )(partial(_saturation, float(_k)))

check(
    VAPOUR,
    "W73F",
    "Saturation pressure at 73 degF",
    "Test note on an ASTM E96-12 water-method test",
    2771.8,
    "Pa",
    percent=0.1,
)(partial(_saturation, (73 - 32) / 1.8 + 273.15))

for _c, _pascal in ((5, 871.74), (20, 2332.60), (40, 7367.46)):
    check(
        VAPOUR,
        f"W{_c}C",
        f"Saturation pressure at {_c} degC",
        "WMO Magnus formula, 611.2 exp[17.62 t/(243.12 + t)]",
        _pascal,
        "Pa",
        percent=0.4,
        kind="worked out",
    )(partial(_saturation, _c + 273.15))

# --- dissolved gases --------------------------------------------------------------------------------------
DISSOLVED = "Gases dissolved in water"


def _oxygen(celsius: float) -> float:
    return 1e3 * float(oxygen_saturation(celsius + 273.15))


for _c, _mg in ((0, 14.6), (5, 12.8), (10, 11.3), (15, 10.1), (20, 9.09), (25, 8.26), (30, 7.56)):
    check(
        DISSOLVED,
        f"O{_c}",
        f"O2 in fresh water under air at {_c} degC",
        "EN 25814, table of oxygen saturation",
        _mg,
        "mg/L",
        within=0.05 if _c < 20 else 0.005,
    )(partial(_oxygen, float(_c)))


def _four_volumes(celsius: float) -> float:
    """Pressure of CO2 over water that holds 4 volumes (STP) of it [bar]."""
    return 4.0 / STP_MOLAR_VOLUME / float(henry_water("CO2", celsius + 273.15)) / 1e5


for _c, _bar in ((0, 2.546), (5, 3.023), (10, 3.513), (15.6, 4.077)):
    check(
        DISSOLVED,
        f"C{_c}",
        f"CO2 pressure over 4 volumes in the liquid at {_c} degC",
        "Brewers' carbonation chart, polynomial printed in a 2012 forum thread (valid for cold beer)",
        _bar,
        "bar",
        percent=2.5,
        kind="worked out",
    )(partial(_four_volumes, _c))

# --- leaks ------------------------------------------------------------------------------------------------
LEAKS = "Holes"
COURSE = "Debeaufort, open course on food packaging (FitNESS), unit 4.6, 2020"

for _gas, _speed in (("O2", 444.0), ("N2", 474.8), ("CO2", 378.8), ("H2O", 592.1)):
    check(
        LEAKS, f"L-{_gas}", f"Mean molecular speed of {_gas} at 25 degC", COURSE, _speed, "m/s", percent=0.2
    )(partial(lambda gas: float(mean_speed(gas, 298.15)), _gas))

#: The tray of the course: headspace [m3], O2 pressure difference [Pa], path [m], time [s].
_HEAD, _DRIVE, _PATH, _MONTH = 37.5e-6, 0.20 * ATMOSPHERE, 190e-6, 30 * DAY


def _rise_by_wall_collisions(diameter: float) -> float:
    """Rise of O2 in the tray with the Knudsen resistance alone [%]."""
    t = 298.15
    molecular = float(hole_conductance("O2", diameter, _PATH, t, knudsen=False, end_radii=0.0))
    both = float(hole_conductance("O2", diameter, _PATH, t, end_radii=0.0))
    alone = 1.0 / (1.0 / both - 1.0 / molecular)
    return 100 * alone * _DRIVE * _MONTH * STP_MOLAR_VOLUME / _HEAD


check(
    LEAKS,
    "L1",
    "Tray, one 1 um hole, 30 days: rise of O2 by wall collisions alone (the course's model; it overstates)",
    COURSE,
    0.8,
    "%",
    within=0.05,
)(partial(_rise_by_wall_collisions, 1e-6))
check(
    LEAKS,
    "L2",
    "The same, one 0.1 um hole",
    COURSE,
    0.0008,
    "%",
    within=0.00005,
)(partial(_rise_by_wall_collisions, 1e-7))


def _hole_rate(diameter: float, length: float) -> float:
    """cm3 of O2 at 23 degC per day under 1 atm, molecular diffusion with one radius of end correction."""
    t = 296.15
    g = float(hole_conductance("O2", diameter * 1e-6, length * 1e-6, t, knudsen=False))
    return g * DAY * GAS_CONSTANT * t * 1e6


for _d, _l, _cm3 in ((10, 12, 8.185), (20, 9, 29.29), (50, 30, 63.25), (100, 30, 173.9), (200, 30, 428.1)):
    check(
        LEAKS,
        f"L-{_d}-{_l}",
        f"O2 through a {_d} um hole in a {_l} um film, 1 atm, 23 degC",
        "Q = D A dc/(length + radius): Ghosh and Anantheswaran, IFT 2000, abstract 14A-28; D from memory",
        _cm3,
        "cm3/day",
        percent=0.1,
        kind="worked out",
    )(partial(_hole_rate, _d, _l))

# --- isotherms --------------------------------------------------------------------------------------------
ISOTHERMS = "Moisture isotherms"
#: primary source, degC, (p0, q) of monolayer, C and K with parameter = p0 exp(q/T), content at activity 0.6
_GAB = (
    ("Pasta", "Andrieu 1985", 25, (0.0017, 1135.3), (2.8339e-8, 6545.8), (1.8320, -238.49), 0.1498),
    ("Semolina", "Erbas 2005", 25, (1.3841e-5, 2642.8), (1.2762e12, -7864.2), (2.1566, -348.98), 0.1227),
    ("Potato", "Kiranoudis 1993", 30, (0.0560, 167.2), (0.017, 2405.6), (0.94, -110.7), 0.1547),
    ("Extruded pasta", "Waananen 1989", 40, (4.40e-3, 822.7), (2.86e-9, 7216.7), (0.1313, 591.8), 0.1233),
)


def _gab(celsius: float, *sets: tuple[float, float]) -> Callable[[], float]:
    return lambda: float(gab_at(celsius + 273.15, *sets).content(0.6))


for _name, _by, _c, *_sets, _x in _GAB:
    check(
        ISOTHERMS,
        f"G-{_by.split()[0]}",
        f"{_name} at water activity 0.6, {_c} degC (GAB)",
        f"{_by}, constants",
        _x,
        "kg/kg dry",
        within=1e-4,
        kind="worked out",
    )(_gab(_c, *_sets))

for _name, _k5, _n, _c0, _m in (
    ("Shelled corn", 8.6541, 1.8634, 49.810, 14.26),
    ("Hard wheat", 2.3007, 2.2857, 55.815, 15.07),
):
    check(
        ISOTHERMS,
        f"H-{_name.split()[-1]}",
        f"{_name} at 60 %RH, 25 degC (modified Henderson)",
        "ASAE D245.5, constants from memory",
        _m,
        "% dry basis",
        within=0.01,
        kind="from memory",
    )(partial(lambda k, n, c: 100 * float(henderson_at(298.15, k, n, c).content(0.6)), _k5 * 1e-5, _n, _c0))


def _no_end_correction() -> float:
    """How many times too much a thin film with a wide hole passes without the end correction."""
    bare, real = (float(hole_conductance("O2", 2e-4, 3e-5, 296.15, end_radii=e)) for e in (0.0, 1.0))
    return bare / real


check(
    LEAKS,
    "L3",
    "Error of leaving out the end correction, 200 um hole in 30 um film",
    "(length + radius)/length",
    1 + 100 / 30,
    "times",
    percent=0.1,
    kind="worked out",
)(_no_end_correction)

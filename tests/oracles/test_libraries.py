"""Property functions against general libraries of chemistry and numerics."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from optimizer.constants import ATMOSPHERE, GAS_CONSTANT, MOLAR_MASS, STP_MOLAR_VOLUME, ZERO_CELSIUS
from optimizer.physics.interpolation import pchip
from optimizer.physics.water import saturation_pressure

CELSIUS = (0.01, 5, 10, 20, 23, 25, 30, 37.8, 38, 40, 60, 90)


@pytest.mark.parametrize("celsius", CELSIUS)
def test_saturation_pressure_is_that_of_the_iapws_library(celsius: float) -> None:
    iapws97 = pytest.importorskip("iapws.iapws97")
    t = celsius + ZERO_CELSIUS
    # the same equation, coded by others
    assert float(saturation_pressure(t)) == pytest.approx(1e6 * iapws97._PSat_T(t), rel=1e-10)


@pytest.mark.parametrize("celsius", CELSIUS)
def test_saturation_pressure_is_that_of_the_reference_equation_in_chemicals(celsius: float) -> None:
    iapws = pytest.importorskip("chemicals.iapws")
    t = celsius + ZERO_CELSIUS
    # IAPWS-95; the two formulations differ by up to 1e-4 here
    assert float(saturation_pressure(t)) == pytest.approx(iapws.iapws95_Psat(t), rel=1.2e-4)


@pytest.mark.parametrize("celsius", CELSIUS)
def test_saturation_pressure_is_that_of_coolprop(celsius: float) -> None:
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    t = celsius + ZERO_CELSIUS
    assert float(saturation_pressure(t)) == pytest.approx(
        coolprop.PropsSI("P", "T", t, "Q", 0, "Water"), rel=1.2e-4
    )


@pytest.mark.parametrize(
    ("gas", "atoms"),
    [("O2", {"O": 2}), ("N2", {"N": 2}), ("CO2", {"C": 1, "O": 2}), ("H2O", {"H": 2, "O": 1})],
)
def test_molar_masses_are_those_of_chemicals(gas: str, atoms: dict[str, int]) -> None:
    elements = pytest.importorskip("chemicals.elements")
    assert MOLAR_MASS[gas] == pytest.approx(elements.molecular_weight(atoms) * 1e-3, rel=5e-5)


def test_constants_are_those_of_scipy() -> None:
    from scipy import constants

    assert pytest.approx(constants.R, rel=1e-12) == GAS_CONSTANT
    assert constants.atm == ATMOSPHERE
    assert constants.zero_Celsius == ZERO_CELSIUS
    codata = constants.value("molar volume of ideal gas (273.15 K, 101.325 kPa)")
    assert pytest.approx(codata, rel=1e-9) == STP_MOLAR_VOLUME


@given(st.lists(st.tuples(st.floats(0.01, 1.0), st.floats(-30.0, 30.0)), min_size=2, max_size=12))
@settings(deadline=None)
def test_monotone_interpolation_is_that_of_scipy(points: list[tuple[float, float]]) -> None:
    x = np.cumsum([step for step, _ in points])
    y = np.array([value for _, value in points])
    at = np.linspace(x[0], x[-1], 57)
    size = max(1.0, float(np.abs(y).max()))
    assert pchip(x, y, at) == pytest.approx(PchipInterpolator(x, y)(at), rel=1e-9, abs=1e-9 * size)


def test_oxygen_in_dry_air_is_the_ideal_gas_of_coolprop() -> None:
    # the ideal gas is what the permeation model works with: 23 degC and 1 atm, within 0.1 % of the real one
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    real = coolprop.PropsSI("DMOLAR", "T", 296.15, "P", ATMOSPHERE, "Oxygen")
    assert math.isclose(ATMOSPHERE / (GAS_CONSTANT * 296.15), real, rel_tol=1e-3)

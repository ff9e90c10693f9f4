"""Every printed form of a permeability or transmission against its SI factor and against pint.

The literal factors follow from exact definitions (0 degC and 101325 Pa, inch 25.4 mm, R of the SI 2019); pint
does the same arithmetic independently, fed with its own spelling and with cm3_STP defined as an amount.
"""

from typing import Any

import pytest

from optimizer.units import convert, read

O2 = 31.998e-3

# (our text, mol m/(m2 s Pa), cm3 mm/(m2 day atm), pint's spelling)
PERMEABILITY = [
    ("mol m/(m2 s Pa)", 1.0, 1.96223e17, "mol*m/(m**2*s*Pa)"),
    ("nmol m/(m2 s GPa)", 1e-18, 0.196223, "nmol*m/(m**2*s*GPa)"),
    ("nmol/(m s GPa)", 1e-18, 0.196223, "nmol/(m*s*GPa)"),
    ("Barrer", 3.346403e-16, 65.664, "1e-10*cm3_STP*cm/(cm**2*s*cmHg)"),
    ("cm3(STP) cm/(cm2 s cmHg)", 3.346403e-6, 6.5664e11, "cm3_STP*cm/(cm**2*s*cmHg)"),
    ("cm3(STP) cm/(cm2 s Pa)", 4.461503e-3, 8.75448e14, "cm3_STP*cm/(cm**2*s*Pa)"),
    ("1e-13 cm3(STP) cm/(cm2 s Pa)", 4.461503e-16, 87.5448, "1e-13*cm3_STP*cm/(cm**2*s*Pa)"),
    ("cm3(STP) cm/(cm2 s atm)", 4.403161e-8, 8.64e9, "cm3_STP*cm/(cm**2*s*atm)"),
    ("m3(STP) m/(m2 s Pa)", 44.61503, 8.75448e18, "1e6*cm3_STP*m/(m**2*s*Pa)"),
    ("cm3 mm/(m2 day atm)", 5.096252e-18, 1.0, "cm3_STP*mm/(m**2*day*atm)"),
    ("cm3 mm/(m2 day bar)", 5.163777e-18, 1.01325, "cm3_STP*mm/(m**2*day*bar)"),
    ("cm3 um/(m2 day atm)", 5.096252e-21, 0.001, "cm3_STP*um/(m**2*day*atm)"),
    ("cm3 um/(m2 day bar)", 5.163777e-21, 0.00101325, "cm3_STP*um/(m**2*day*bar)"),
    ("cm3 um/(m2 day kPa)", 5.163777e-19, 0.101325, "cm3_STP*um/(m**2*day*kPa)"),
    ("cm3 20um/(m2 day atm)", 1.019250e-19, 0.02, "cm3_STP*20*um/(m**2*day*atm)"),
    ("cm3 25um/(m2 day atm)", 1.274063e-19, 0.025, "cm3_STP*25*um/(m**2*day*atm)"),
    ("cm3 100um/(m2 day bar)", 5.163777e-19, 0.101325, "cm3_STP*100*um/(m**2*day*bar)"),
    ("cm3 mil/(100 in2 day atm)", 2.006398e-18, 0.393701, "cm3_STP*thou/(100*inch**2*day*atm)"),
    ("cm3 mil/(m2 day atm)", 1.294448e-19, 0.0254, "cm3_STP*thou/(m**2*day*atm)"),
    ("kg(O2) m/(m2 s Pa)", 1.0 / O2, 1.0 / O2 / 5.096252e-18, f"kg*m/(m**2*s*Pa)/({O2}*kg/mol)"),
]

# (our text, kind, SI factor, pint's spelling of the same, pint's spelling of the SI unit)
OTHERS = [
    ("GPU", "gas permeance", 3.346403e-10, "1e-6*cm3_STP/(cm**2*s*cmHg)", "mol/(m**2*s*Pa)"),
    ("cm3/(m2 day atm)", "gas permeance", 5.096252e-15, "cm3_STP/(m**2*day*atm)", "mol/(m**2*s*Pa)"),
    (
        "cm3/(m2*day*0.21 atm)",
        "gas permeance",
        5.096252e-15 / 0.21,
        "cm3_STP/(m**2*day*0.21*atm)",
        "mol/(m**2*s*Pa)",
    ),
    ("cm3(STP)/(m2 day)", "gas flux", 5.163777e-10, "cm3_STP/(m**2*day)", "mol/(m**2*s)"),
    (
        "cc/(100 in2 24 h)",
        "gas flux",
        15.50003 * 5.163777e-10,
        "cm3_STP/(100*inch**2*24*hour)",
        "mol/(m**2*s)",
    ),
    (
        "cm3/(package*day*atm)",
        "package gas conductance",
        5.096252e-16 * 10,
        "cm3_STP/(day*atm)",
        "mol/(s*Pa)",
    ),
    ("mL/(pack day)", "package gas flow", 5.163777e-10, "cm3_STP/day", "mol/s"),
    ("cm3(STP)/(cm3 atm)", "gas solubility", 44.61503 / 101325, "cm3_STP/(cm**3*atm)", "mol/(m**3*Pa)"),
    ("cm3/(cm3 bar)", "gas solubility", 44.61503e-5, "cm3_STP/(cm**3*bar)", "mol/(m**3*Pa)"),
    (
        "g mil/(100 in2 day)",
        "vapour permeability rate",
        0.393701 / 86400e6,
        "g*thou/(100*inch**2*day)",
        "kg*m/(m**2*s)",
    ),
    ("g mm/(m2 day)", "vapour permeability rate", 1 / 86400e6, "g*mm/(m**2*day)", "kg*m/(m**2*s)"),
    ("g 25um/(m2 day)", "vapour permeability rate", 0.025 / 86400e6, "g*25*um/(m**2*day)", "kg*m/(m**2*s)"),
    ("g/(m2 24h)", "vapour transmission rate", 1 / 86400e3, "g/(m**2*24*hour)", "kg/(m**2*s)"),
    ("g/(100 in2 day)", "vapour transmission rate", 15.50003 / 86400e3, "g/(100*inch**2*day)", "kg/(m**2*s)"),
    ("mg/(bottle day)", "package vapour rate", 1 / 86400e6, "mg/day", "kg/s"),
    (
        "ng/(s m2 Pa)",
        "vapour permeance",
        1e-12 / 18.015e-3,
        "ng/(s*m**2*Pa)/(18.015*g/mol)",
        "mol/(m**2*s*Pa)",
    ),
    (
        "g/(m2 day mmHg)",
        "vapour permeance",
        86.81269e-12 / 18.015e-3,
        "g/(m**2*day*mmHg)/(18.015*g/mol)",
        "mol/(m**2*s*Pa)",
    ),
    (
        "grain/(h ft2 inHg)",
        "vapour permeance",
        57.21350e-12 / 18.015e-3,
        "grain/(hour*foot**2*inHg)/(18.015*g/mol)",
        "mol/(m**2*s*Pa)",
    ),
    (
        "g mm/(m2 day kPa)",
        "vapour permeability",
        1e-6 / 86400e3 / 18.015e-3,
        "g*mm/(m**2*day*kPa)/(18.015*g/mol)",
        "mol*m/(m**2*s*Pa)",
    ),
    ("mil", "length", 25.4e-6, "thou", "m"),
    ("100 in2", "area", 0.064516, "100*inch**2", "m**2"),
    ("ft2", "area", 0.09290304, "foot**2", "m**2"),
    ("in3", "volume", 1.6387064e-5, "inch**3", "m**3"),
    ("lb", "mass", 0.45359237, "pound", "kg"),
    ("psi", "pressure", 6894.757, "psi", "Pa"),
    ("mbar", "pressure", 100.0, "mbar", "Pa"),
    ("Torr", "pressure", 133.3224, "torr", "Pa"),
    ("kcal/mol", "activation energy", 4184.0, "kcal/mol", "J/mol"),
    ("1/day", "rate", 1 / 86400, "1/day", "1/s"),
    ("years", "duration", 365.25 * 86400, "julian_year", "s"),
    ("cm2/s", "diffusivity", 1e-4, "cm**2/s", "m**2/s"),
    ("g/cm3", "density", 1000.0, "g/cm**3", "kg/m**3"),
    ("mg/(L day)", "mass rate per volume", 1e-3 / 86400, "mg/(liter*day)", "kg/(m**3*s)"),
    ("mg/(kg day)", "mass rate per mass", 1e-6 / 86400, "mg/(kg*day)", "1/s"),
]


@pytest.fixture(scope="module")
def pint_registry() -> Any:
    pint = pytest.importorskip("pint")
    registry = pint.UnitRegistry(cache_folder=None)
    moles = 101325.0 * 1e-6 / (8.31446261815324 * 273.15)
    registry.define(f"cm3_STP = {moles!r} * mol")
    return registry


@pytest.mark.parametrize(("unit", "si", "trade"), [row[:3] for row in PERMEABILITY])
def test_each_printed_permeability_unit_has_its_factor(unit: str, si: float, trade: float) -> None:
    value = read(f"1 {unit}", "gas permeability").value
    assert value == pytest.approx(si, rel=5e-7)
    assert convert(value, "gas permeability", "cm3 mm/(m2 day atm)") == pytest.approx(trade, rel=4e-6)


@pytest.mark.parametrize(("unit", "theirs"), [(row[0], row[3]) for row in PERMEABILITY])
def test_each_permeability_unit_agrees_with_pint(unit: str, theirs: str, pint_registry: Any) -> None:
    oracle = pint_registry.parse_expression(theirs).to("mol*m/(m**2*s*Pa)").magnitude
    # pint's mercury column is 1.4e-7 above atm/760
    assert read(f"2.5 {unit}", "gas permeability").value == pytest.approx(2.5 * oracle, rel=3e-7)


@pytest.mark.parametrize(("unit", "kind", "si"), [row[:3] for row in OTHERS])
def test_each_other_unit_has_its_factor(unit: str, kind: str, si: float) -> None:
    assert convert(si, kind, unit) == pytest.approx(1.0, rel=2e-6)  # literals carry six or seven digits


@pytest.mark.parametrize(("unit", "kind", "theirs", "si"), [(r[0], r[1], r[3], r[4]) for r in OTHERS])
def test_each_other_unit_agrees_with_pint(
    unit: str, kind: str, theirs: str, si: str, pint_registry: Any
) -> None:
    oracle = pint_registry.parse_expression(theirs).to(si).magnitude
    assert 1.0 / convert(1.0, kind, unit) == pytest.approx(oracle, rel=3e-7)


# --- published conversions ---------------------------------------------------------------------------


def test_barrer_as_the_textbook_prints_it() -> None:
    # "Permeability of thermoplastics", doi 10.1201/b13623-11: 1 Barrer = 7.5e-14 cm3 cm/(cm2 Pa s)
    #                                                                    = 1e-10 cm3 cm/(cm2 s cmHg)
    barrer = read("1 Barrer", "gas permeability").value
    assert convert(barrer, "gas permeability", "cm3 cm/(cm2 Pa s)") == pytest.approx(7.5e-14, rel=1e-3)
    assert convert(barrer, "gas permeability", "cm3 cm/(cm2 s cmHg)") == pytest.approx(1e-10, rel=1e-12)


def test_barrer_and_gpu_in_si_as_the_encyclopedia_prints_them() -> None:
    # Encyclopedia article "Barrer": 3.35e-16 mol m/(m2 s Pa);
    # 1 GPU = 3.35e-10 mol/(m2 s Pa) = 7.501e-12 m3(STP)/(m2 s Pa)
    assert read("1 Barrer", "gas permeability").value == pytest.approx(3.35e-16, rel=2e-3)
    gpu = read("1 GPU", "gas permeance").value
    assert gpu == pytest.approx(3.35e-10, rel=2e-3)
    assert convert(gpu, "gas permeance", "m3(STP)/(m2 s Pa)") == pytest.approx(7.501e-12, rel=1e-4)


def test_the_two_perms_written_out_as_the_encyclopedia_prints_them() -> None:
    # Encyclopedia article "Perm (unit)": 1 US perm = 0.659045 metric perm = 57.2135 ng/(s m2 Pa);
    # 1 metric perm = 86.8127 ng/(s m2 Pa)
    us = read("1 grain/(h*ft2*inHg)", "vapour permeance").value
    assert convert(us, "vapour permeance", "g/(m2*day*mmHg)") == pytest.approx(0.659045, rel=1e-6)
    assert convert(us, "vapour permeance", "ng/(s*m2*Pa)") == pytest.approx(57.2135, rel=1e-6)
    metric = read("1 g/(m2*day*mmHg)", "vapour permeance").value
    assert convert(metric, "vapour permeance", "ng/(s*m2*Pa)") == pytest.approx(86.8127, rel=1e-6)


def test_one_cc_per_hundred_square_inches_is_fifteen_and_a_half_per_square_metre() -> None:
    # trade glossaries on oxygen transmission: 1 cc/(100 in2 24 h) = 15.5 cc/(m2 24 h); common practice
    flux = read("1 cc/(100 in2 24 h)", "gas flux").value
    assert convert(flux, "gas flux", "cc/(m2 24 h)") == pytest.approx(15.5, rel=1e-4)


def test_metric_to_imperial_permeability_is_two_point_five_four_exactly() -> None:
    # closed form: (1 mm / 0.0254 mm per mil) * 0.064516 m2 per 100 in2 = 2.54
    metric = read("1 cm3*mm/(m2*day*atm)", "gas permeability").value
    assert convert(metric, "gas permeability", "cm3*mil/(100 in2*day*atm)") == pytest.approx(2.54, rel=1e-12)


def test_si_units_of_the_standard_for_gas_transmission_are_read() -> None:
    # ASTM D1434-82: permeance in mol/(m2 s Pa), permeability in mol/(m s Pa)
    assert read("3e-15 mol/(m2*s*Pa)", "gas permeance").value == 3e-15
    assert read("3e-18 mol/(m*s*Pa)", "gas permeability").value == 3e-18


def test_a_stated_reference_state_replaces_0_degc_and_1_atm() -> None:
    # ideal gas: the same volume at 23 degC holds 273.15/296.15 of the amount
    at_stp = read("1 cm3(STP)/(m2*day)", "gas flux").value
    at_23 = read("1 cm3(23 degC, 1 atm)/(m2*day)", "gas flux").value
    assert at_23 / at_stp == pytest.approx(273.15 / 296.15, rel=1e-12)
    at_100kpa = read("1 cm3(0 °C; 100 kPa)/(m2*day)", "gas flux").value
    assert at_100kpa / at_stp == pytest.approx(100.0 / 101.325, rel=1e-12)


def test_a_printed_barrer_conversion_that_is_wrong_is_not_reproduced() -> None:
    # A university lecture ("Diffusion and permeability") prints "1 Barrer = 846 mL mm/(cm2 day bar)";
    # by definition it is 64.81 cm3 mm/(m2 day bar).
    barrer = read("1 Barrer", "gas permeability").value
    assert convert(barrer, "gas permeability", "cm3 mm/(m2 day bar)") == pytest.approx(64.81, rel=1e-4)
    assert convert(barrer, "gas permeability", "mL mm/(cm2 day bar)") == pytest.approx(64.81e-4, rel=1e-4)

"""The table against numbers that were published elsewhere than in the rows that it uses.

Units of the comparison: cm3(STP) mm/(m2 day atm) for gases, g mm/(m2 day) at 38 degC and 90 %RH for vapour.
"""

from __future__ import annotations

import math

import pytest

from optimizer.catalog import Catalog, load_catalog
from optimizer.catalog.records import DiffusivityRecord, read_row
from optimizer.constants import GAS_CONSTANT, MOLAR_MASS
from optimizer.physics.laminate import permeance
from optimizer.physics.water import saturation_pressure
from optimizer.units import convert, read

ROOM = 296.15


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def gas(
    catalog: Catalog, name: str, which: str = "O2", activity: float = 0.0, temperature: float = ROOM
) -> float:
    si = float(catalog.material(name).gas_law(which).at(temperature, activity))
    return convert(si, "gas permeability", "cm3*mm/(m2*day*atm)", gas=which)


def vapour(catalog: Catalog, name: str) -> float:
    law = catalog.material(name).water_law()
    si = float(law.potential(0.9)) * float(law.factor(311.15)) * float(saturation_pressure(311.15))
    return convert(si * MOLAR_MASS["H2O"], "vapour permeability rate", "g*mm/(m2*day)")


# Bao, Dorgan, Knauss, Hait, Oliveira, Marrucho 2006, J. Membrane Science: P, D and S of PLA were printed side
# by side.
@pytest.mark.parametrize(("which", "tolerance"), [("O2", 0.10), ("N2", 0.10), ("CO2", 0.02)])
def test_diffusivity_times_solubility_of_pla_is_its_permeability(
    catalog: Catalog, which: str, tolerance: float
) -> None:
    (row, record), *_ = [
        (row, read_row(DiffusivityRecord, row)[0])
        for key, row in catalog.shipped.rows("diffusivity")
        if key == "bao_2006" and row.get("gas") == which
    ]
    assert record is not None and record.value is not None and record.solubility is not None
    printed = {"O2": 0.26, "N2": 0.05, "CO2": 1.10}[which]
    barrer = convert(record.value.value * record.solubility.value, "gas permeability", "Barrer", gas=which)
    assert barrer == pytest.approx(printed, rel=tolerance), row.where
    at_30 = float(catalog.material("PLA").gas_law(which).at(303.15, 0.0))
    assert convert(at_30, "gas permeability", "Barrer", gas=which) == pytest.approx(printed, rel=1e-6)


def test_pla_film_has_the_time_lag_of_its_published_diffusivity(catalog: Catalog) -> None:
    """l^2/(6 D) of 25 um at 30 degC with D = 5.7e-8 cm2/s (Bao et al. 2006): 18.3 s."""
    d = float(catalog.material("PLA").diffusivity["O2"].at(303.15))
    assert (25e-6) ** 2 / (6 * d) == pytest.approx(18.3, rel=0.005)


def test_a_bottle_wall_with_mxd6_in_series_passes_the_published_share(catalog: Catalog) -> None:
    """Bottle test of the MXD6 producer (page Laminated bottles and blended bottles, name withheld): 600 mL,
    wall 400 um, 10 wt% MXD6: 0.0075 against 0.027 cm3/(bottle day) without, ratio 0.278. The film table that
    our rows come from is another experiment. Tolerance 15 %."""
    pet, mxd6 = catalog.material("PET"), catalog.material("MXD6 oriented")
    share = 0.10 / mxd6.density / (0.10 / mxd6.density + 0.90 / pet.density)
    barrier = 400e-6 * share
    skin = (400e-6 - barrier) / 2
    for humidity in (0.60, 0.80):
        plain = float(permeance([pet], [400e-6], "O2", ROOM, humidity, humidity))
        layered = float(permeance([pet, mxd6, pet], [skin, barrier, skin], "O2", ROOM, humidity, humidity))
        assert layered / plain == pytest.approx(0.278, rel=0.15)


# Rows of the film test of the MXD6 producer (Gas Barrier Properties, Table 3, name withheld): cm3/(m2 day
# atm), 20 um, 23 degC at 60, 80 and 90 %RH; used as input, so only the arithmetic is checked here (1e-4).
@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("EVOH 32", (0.5, 4.5, 50.0)),
        ("EVOH 44", (2.0, 8.5, 42.5)),
        ("PET", (80, 80, 80)),
        ("PP oriented", (2500,) * 3),
    ],
)
def test_a_20_um_film_transmits_what_the_film_test_printed(
    catalog: Catalog, name: str, printed: tuple[float, ...]
) -> None:
    for humidity, expected in zip((0.6, 0.8, 0.9), printed, strict=True):
        si = float(permeance([catalog.material(name)], [20e-6], "O2", ROOM, humidity, humidity))
        assert convert(si, "gas permeance", "cm3/(m2*day*atm)", gas="O2") == pytest.approx(expected, rel=1e-4)


def test_evoh_32_is_the_better_barrier_below_about_88_percent_and_the_worse_above(catalog: Catalog) -> None:
    """Same table: the curves of 32 and 44 mol% cross between 80 and 90 %RH."""
    low = [h / 100 for h in range(86)]
    assert all(gas(catalog, "EVOH 32", activity=h) < gas(catalog, "EVOH 44", activity=h) for h in low)
    assert gas(catalog, "EVOH 32", activity=0.90) > gas(catalog, "EVOH 44", activity=0.90)
    crossing = next(
        h / 1000
        for h in range(800, 900)
        if gas(catalog, "EVOH 32", activity=h / 1000) >= gas(catalog, "EVOH 44", activity=h / 1000)
    )
    assert 0.86 <= crossing <= 0.90


def test_evoh_grades_need_the_published_shares_for_one_barrier(catalog: Catalog) -> None:
    """Brochure of another EVOH producer (name withheld), 100 um PE film: equal barrier with 3.4, 5.2 and 7.6
    wt% of 27, 29 and 32 mol%. Tolerance 20 % (the condition of the brochure is not printed; 60 %RH here)."""
    need = {
        n: gas(catalog, f"EVOH {n}", activity=0.6) * catalog.material(f"EVOH {n}").density
        for n in (27, 29, 32)
    }
    assert need[32] / need[27] == pytest.approx(7.6 / 3.4, rel=0.2)
    assert need[29] / need[27] == pytest.approx(5.2 / 3.4, rel=0.2)
    assert need[27] < need[29] < need[32]


def test_metallising_lowers_every_permeation_to_a_few_percent(catalog: Catalog) -> None:
    """Investigation of gas permeation through Al-metallized film for vacuum insulation panels (journal
    abstract): 33 nm aluminium on 12 um PET passes 4.1 % of the plain film for N2, O2, CO2 and H2O. Our row is
    a converter's better web, so only the order is checked: 1 to 4.1 %, with 10 % on the upper limit."""
    for which in ("O2", "N2", "CO2"):
        ratio = gas(catalog, "metallised PET", which) / gas(catalog, "PET", which)
        assert 0.01 < ratio < 0.041 * 1.1, which
    assert 0.01 < vapour(catalog, "metallised PET") / vapour(catalog, "PET") < 0.041 * 1.1


def test_three_publishers_agree_on_pan_copolymer(catalog: Catalog) -> None:
    """0.28 (converter table), 0.30 (Pocas lecture 2020), 0.34 (film test): our value is within 15 % of
    0.30."""
    assert gas(catalog, "PAN copolymer", activity=0.5) == pytest.approx(0.30, rel=0.15)
    found = {
        c.source: c.record.best
        for c in catalog.candidates("PAN copolymer", "O2")
        if (c.record.humidity or 0) <= 0.6
    }
    assert len(found) == 3 and max(found.values()) < 1.25 * min(found.values())


# Biosystems Engineering (handbook), chapter Food Package Engineering, Table 11.2, converted by 0.393701; our
# O2 defaults come from other sources (lecture, film test). LDPE also 182 after Mathlouthi 1986.
@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("LDPE", 118, 236),
        ("HDPE", 39.4, 98.4),
        ("PP", 59.1, 98.4),
        ("PP oriented", 39.4, 63.0),
        ("PET", 1.18, 2.36),
        ("PVC rigid", 1.97, 5.91),
        ("PVDC", 0.039, 0.787),
    ],
)
def test_oxygen_defaults_lie_in_the_textbook_ranges(
    catalog: Catalog, name: str, low: float, high: float
) -> None:
    assert low <= gas(catalog, name, temperature=298.15) <= high * 1.05


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("LDPE", 0.394, 0.787),
        ("HDPE", 0.118, 0.236),
        ("PP", 0.236, 0.276),
        ("PP oriented", 0.079, 0.197),
        ("PET", 0.394, 0.787),
        ("PVC rigid", 0.787, 1.97),
        ("PA6", 3.94, 7.87),
        ("PVDC", 0.0079, 0.236),
    ],
)
def test_vapour_defaults_lie_in_the_textbook_ranges(
    catalog: Catalog, name: str, low: float, high: float
) -> None:
    assert low <= vapour(catalog, name) <= high


def test_hdpe_vapour_agrees_between_lecture_and_converter(catalog: Catalog) -> None:
    """0.37 g mil/(100 in2 day) (converter table, 100 degF) and 0.145 g mm/(m2 day) (Pocas lecture): 2 %
    apart."""
    assert vapour(catalog, "HDPE") == pytest.approx(0.37 * 0.0254 / 0.064516, rel=0.02)


# Moyls et al. 1998 (doi 10.13031/2013.17279), The Philippine Agricultural Scientist (PE and PP films for
# MAP), Polymer International 30 (1993) 109: three laboratories.
@pytest.mark.parametrize(
    ("which", "low", "high"), [("O2", 28.0, 36.6), ("CO2", 32.4, 37.4), ("H2O", 25.9, 26.1)]
)
def test_energies_of_polyethylene_lie_in_the_published_bands(
    catalog: Catalog, which: str, low: float, high: float
) -> None:
    material = catalog.material("LDPE")
    law = material.water_law() if which == "H2O" else material.gas_law(which)
    assert low <= law.activation_energy / 1e3 <= high


def test_the_ratio_of_co2_to_o2_through_polyethylene_falls_as_measured(catalog: Catalog) -> None:
    """Moyls et al. 1998: 5.93 at 0 degC, 5.26 at 23.2 degC; the factor between them within 3 %."""
    o2, co2 = (catalog.material("LDPE").gas_law(g) for g in ("O2", "CO2"))
    cold, warm = (float(co2.factor(t)) / float(o2.factor(t)) for t in (273.15, 296.35))
    assert warm / cold == pytest.approx(5.26 / 5.93, rel=0.03)


def test_q10_of_oriented_polypropylene_is_the_published_one(catalog: Catalog) -> None:
    """The Philippine Agricultural Scientist: 38.1 kJ/mol printed beside Q10 (10 to 20 degC) 1.74."""
    law = catalog.material("PP oriented").gas_law("O2")
    assert float(law.factor(293.15)) / float(law.factor(283.15)) == pytest.approx(1.74, abs=0.01)


def test_pet_stays_in_the_published_band_from_5_to_40_degrees(catalog: Catalog) -> None:
    """Auras, Harte, Selke 2004: 1e-19 to 6e-19 kg m/(m2 s Pa) over 5 to 40 degC. Our row is another film and
    the energy is from memory, so this checks the mass unit and the temperature response together."""
    low, high = (read(f"{v} kg(O2)*m/(m2*s*Pa)", "gas permeability").value for v in ("1e-19", "6e-19"))
    for celsius in range(5, 41, 5):
        assert low <= float(catalog.material("PET").gas_law("O2").at(273.15 + celsius, 0.0)) <= high


def test_pla_lies_in_the_published_band_at_room_temperature_and_above(catalog: Catalog) -> None:
    """Auras, Harte, Selke 2004: 2e-18 to 12e-18 kg m/(m2 s Pa) over 5 to 40 degC. The film of Bao et al.
    2006, which we use, is a better barrier: it lies in the band from about 18 degC up and falls below it in
    the cold."""
    low, high = (read(f"{v} kg(O2)*m/(m2*s*Pa)", "gas permeability").value for v in ("2e-18", "12e-18"))
    law = catalog.material("PLA").gas_law("O2")
    assert all(low <= float(law.at(273.15 + c, 0.0)) <= high for c in (20, 23, 30, 40))
    assert 0.5 * low < float(law.at(278.15, 0.0)) < low


# RecyClass: PE film with EVOH, Nov 2019 (5 %), rigid PP with EVOH, July 2021 (6 %). European PET Bottle
# Platform: MXD6 up to 6 wt% in three layers without tie.
@pytest.mark.parametrize(
    ("stream", "family", "share", "verdict", "year"),
    [
        ("PE flexible", "EVOH", 0.05, "limited", "2019"),
        ("PP rigid", "EVOH", 0.06, "compatible", "2021"),
        ("PET bottle clear", "MXD6", 0.06, "compatible", ""),
    ],
)
def test_recycling_limits_are_those_of_the_associations(
    catalog: Catalog, stream: str, family: str, share: float, verdict: str, year: str
) -> None:
    rules = [r for r in catalog.recycling if (r.stream, r.family) == (stream, family)]
    assert any(r.max_share == pytest.approx(share) and r.verdict == verdict and r.year == year for r in rules)


def test_the_energy_ladder_is_in_joules_per_mole(catalog: Catalog) -> None:
    """8.73 kcal/mol (Moyls et al. 1998) is 36.5 kJ/mol: the thermochemical calorie, 4.184 J."""
    law = catalog.material("HDPE").gas_law("O2")
    assert law.activation_energy == pytest.approx(8.73 * 4184.0, rel=1e-9)
    step = math.exp(-law.activation_energy / GAS_CONSTANT * (1 / 283.15 - 1 / 296.15))
    assert float(law.factor(283.15)) / float(law.factor(296.15)) == pytest.approx(step, rel=1e-12)

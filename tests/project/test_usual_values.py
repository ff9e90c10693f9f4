"""Values that can be, and hardly are: one warning each that names the value and what is usual, and no other
warning for usual ones. What is usual is common practice without a source, unless a line says otherwise."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.project import load_project
from optimizer.project.book import read_book
from optimizer.shelflife.package import Case
from optimizer.shelflife.predict import predict
from tests.project.books import FIRST, changed, put

ISOTHERM = "{table: [[0.0, 0.0], [0.8, 0.16]]}"
MOISTURE = f"moisture: {{dry_mass: 194 g, isotherm: {ISOTHERM}, initial: {{water_activity: 0.15}}}}"
PULP = "permeability: [{gas: O2, value: 2 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}]"
CLOSURES = """\
    edge: {seal_edge: {material: LDPE, length: 298 mm, width: 4 mm, thickness: 100 um}}
    ring: {o_ring: {material: EPDM, ring_diameter: 300 mm, cord: 7 mm, compression: 20 %}}
    liner: {gasket: {material: EPDM, inner_diameter: 56 mm, width: 2.5 mm, height: 1 mm}}
    valve: {valve: {material: silicone oil, seat_diameter: 12 mm, seat_width: 2 mm, film: 20 um}}
    cap: {transmission: [{gas: O2, value: 0.001 cm3/day, temperature: 23 degC, partial_pressure: 0.2095 atm}]}
"""
TEXT = f"""\
format: 1
title: Tub with closures (invented)
materials: [{{name: resin, family: PET, density: 1380 kg/m3, {PULP}}}]
product:
  mass: 200 g
  volume: 220 mL
  water_activity: 0.6
  headspace: {{volume: 40 mL}}
  oxygen:
    dissolves_like: oil
    consumption: {{order: 1, rate: 0.5 1/day, temperature: 23 degC, activation_energy: 50 kJ/mol}}
  limits: {{oxygen_gain: 20 mg/kg}}
package:
  parts:
    body: {{area: 200 cm2, wall: tub}}
{CLOSURES}walls:
  tub: {{layers: [{{material: resin, thickness: 300 um}}]}}
storage: [{{name: shop, duration: 6 months, temperature: 23 degC, humidity: 50 %}}]
target:
  transmission: [{{gas: O2, max: 2 cm3/day, partial_pressure: 1 atm, temperature: 23 degC, humidity: 50 %}}]
"""
FIZZY = ("water_activity: 0.6", "carbonation: {volumes: 4, temperature: 4 degC}")
CO2 = ("oxygen_gain: 20 mg/kg", "co2_loss: 15 %")
DRIED = (("water_activity: 0.6", MOISTURE), ("oxygen_gain: 20 mg/kg", "water_activity_max: 0.4"))


def load(folder: Path, *changes: tuple[str, str]) -> Case:
    text = TEXT
    for before, after in changes:
        assert text.count(before) >= 1, before
        text = text.replace(before, after, 1)
    path = folder / "project.yaml"
    path.write_text(text, encoding="utf-8")
    return load_project(path).case


def dry(folder: Path, *changes: tuple[str, str]) -> Case:
    """A dry product in a material with a water permeability."""
    water = "{gas: H2O, value: 0.5 g*mm/(m2*day), temperature: 23 degC, humidity: 90 %}, {gas: O2"
    return load(folder, *DRIED, ("[{gas: O2", f"[{water}"), (CLOSURES, ""), *changes)


def test_usual_values_are_not_warned_of(tmp_path: Path) -> None:
    assert load(tmp_path).warnings == () and dry(tmp_path).warnings == ()


@pytest.mark.parametrize(
    ("before", "after", "value", "usual"),
    [
        ("thickness: 300 um}", "thickness: 300 mm}", "300 mm", "1 um to 5 mm"),
        ("partial_pressure: 0.2095 atm", "partial_pressure: 20.95 atm", "20.95 atm", "0.2095 atm"),
        ("partial_pressure: 1 atm", "partial_pressure: 20.95 atm", "20.95 atm", "0.2095 atm"),
        ("rate: 0.5 1/day", "rate: 5 1/s", "5 1/s", "0.001 to 10 1/day"),
        ("mass: 200 g", "mass: 1.1 g", "0.005 g/mL", "0.01 to 8 g/mL"),
        ("thickness: 100 um", "thickness: 20 mm", "20 mm", "20 to 300 um"),
        ("width: 4 mm, thickness: 100 um", "width: 80 um, thickness: 100 um", "80 um", "20 to 300 um"),
        ("cord: 7 mm", "cord: 70 mm", "70 mm", "1.8 to 7 mm"),  # ISO 3601-1, from memory
        ("height: 1 mm", "height: 800 mm", "800 mm", "0.3 to 5 mm"),
        ("film: 20 um", "film: 20 mm", "20 mm", "5 to 100 um"),
    ],
)
def test_an_unusual_value_is_warned_of_once_with_what_is_usual(
    tmp_path: Path, before: str, after: str, value: str, usual: str
) -> None:
    (said,) = load(tmp_path, (before, after)).warnings
    assert value in said and usual in said


@pytest.mark.parametrize(
    ("value", "than"),
    [
        # PET lets 1 to 4 cm3*mm/(m2*day*atm) of oxygen through (materials/permeability)
        ("2000 cm3*mm/(m2*day*atm)", "the most permeable row of the family PET"),
        # silicone: 600 Barrer = 39400 cm3*mm/(m2*day*atm) (W. L. Robb 1968, from memory)
        ("2000 cm3*m/(m2*day*atm)", "silicone"),
    ],
)
def test_a_permeability_beyond_its_family_or_beyond_silicone_is_warned_of(
    tmp_path: Path, value: str, than: str
) -> None:
    changes = [("2 cm3*mm/(m2*day*atm)", value)]
    if than == "silicone":
        changes.append(("family: PET, ", ""))
    (said,) = load(tmp_path, *changes).warnings
    assert value in said and than in said
    if than == "silicone":
        # 2 000 000 over 39 400, both near 25 degC; 40 kJ/mol assumed from 23 to 25 degC add 11 %
        ratio = 2e6 / (600 * 65.664) * math.exp(40e3 / 8.314462 * (1 / 296.15 - 1 / 298.15))
        assert f"{ratio:.2g} times" in said


def test_an_isotherm_in_per_cent_is_refused_and_the_right_way_of_writing_said(tmp_path: Path) -> None:
    for wrong in ("{table: [[0.0, 0.0], [0.8, 16]]}", "{model: GAB, monolayer: 4.5, c: 12, k: 0.93}"):
        with pytest.raises(InputError, match=r"if it is in g per 100 g, write 0\.16 for 16 %") as caught:
            dry(tmp_path, ("{table: [[0.0, 0.0], [0.8, 0.16]]}", wrong))
        (problem,) = caught.value.problems
        assert problem.field == "product.moisture.isotherm"
        assert ("or '16 %'" in problem.hint) is ("GAB" in wrong)
    right = dry(
        tmp_path, ("{table: [[0.0, 0.0], [0.8, 0.16]]}", "{model: GAB, monolayer: 4.5 %, c: 12, k: 0.93}")
    )
    assert right.warnings == ()


def test_a_little_water_in_per_cent_is_found_by_the_mass_of_the_product(tmp_path: Path) -> None:
    """3 % at 0.8, written 3: at 0.15 that is 0.5625 g/g, and 194 g of dry product would have 303 g."""
    with pytest.raises(
        InputError, match=r"0\.562 g of water per g .* would have 303 g, and its mass is 200 g"
    ):
        dry(tmp_path, ("[0.8, 0.16]", "[0.8, 3]"))


def test_a_dry_mass_that_misses_the_mass_is_warned_of_from_5_per_cent_on(tmp_path: Path) -> None:
    """With 0.03 g/g at closing 194 g are 199.8 g, and 20 g are 20.6 g; with 0.1 g/g 194 g are 213.4 g."""
    assert dry(tmp_path, ("dry_mass: 194 g", "dry_mass: 186 g")).warnings == ()
    (said,) = dry(tmp_path, ("dry_mass: 194 g", "dry_mass: 184 g")).warnings  # 189.52 g
    assert "190 g" in said and "or only a part of the product takes up water: then nothing is wrong" in said
    (said,) = dry(tmp_path, ("dry_mass: 194 g", "dry_mass: 20 g")).warnings
    assert "20.6 g" in said and "mass is 200 g" in said
    (said,) = dry(tmp_path, ("{water_activity: 0.15}", "{water_activity: 0.5}")).warnings
    assert "213 g" in said and "only a part" not in said


def test_a_dry_mass_with_its_water_beyond_one_and_a_half_times_the_mass_is_refused(tmp_path: Path) -> None:
    """194 g with 0.54 g/g are 298.8 g, with 0.56 g/g 302.6 g; the product has 200 g."""
    moist = ("{water_activity: 0.15}", "{water_activity: 0.8}")
    assert len(dry(tmp_path, moist, ("[0.8, 0.16]", "[0.8, 0.54]")).warnings) == 1
    with pytest.raises(InputError, match="would have 303 g, and its mass is 200 g"):
        dry(tmp_path, moist, ("[0.8, 0.16]", "[0.8, 0.56]"))


def test_much_water_at_a_low_activity_is_warned_of(tmp_path: Path) -> None:
    assert dry(tmp_path, ("[0.8, 0.16]", "[0.15, 0.03], [0.8, 1.49]")).warnings == ()
    (said,) = dry(tmp_path, ("[0.8, 0.16]", "[0.15, 0.03], [0.8, 1.51]")).warnings
    assert "1.51 g of water per g" in said and "0.05 to 0.5" in said
    (said,) = dry(tmp_path, ("[0.8, 0.16]", "[0.15, 0.03], [0.8, 9.9]")).warnings
    assert "if it is in g per 100 g, write 0.16 for 16 %" in said
    with pytest.raises(InputError, match=r"gives 10\.1 g of water per g"):
        dry(tmp_path, ("[0.8, 0.16]", "[0.15, 0.03], [0.8, 10.1]"))


def test_flexible_walls_are_refused_for_a_carbonated_drink(tmp_path: Path) -> None:
    """4 volumes are 178.5 mol/m3, and H at 4 degC is 6.07e-4 mol/(m3 Pa) (Sander 2023): 2.90 atm."""
    with pytest.raises(
        InputError, match=r"flexible walls cannot hold .* 2\.9\d? atm .*walls: rigid"
    ) as caught:
        load(tmp_path, FIZZY, CO2, ("volume: 40 mL", "volume: 40 mL, walls: flexible"))
    assert "product.headspace.walls" in [p.field for p in caught.value.problems]


def test_the_headspace_of_a_flexible_package_swells_by_the_gas_that_comes_out(tmp_path: Path) -> None:
    """1.3 volumes at 4 degC stay below 1 atm. At 30 degC: V = n R T / p - H R T V_liquid with p = 1 atm less
    the vapour (42.47 hPa, IAPWS-IF97) and H = 2.95e-4 mol/(m3 Pa) (3.3e-4 at 25 degC, factor
    exp(2400 K (1/T - 1/T0)); Sander 2023)."""
    flexible = ("volume: 40 mL", "volume: 40 mL, walls: flexible, gas: {CO2: 100 %}")
    weak = ("water_activity: 0.6", "carbonation: {volumes: 1.3, temperature: 4 degC}")
    more = [weak, CO2, flexible, ("gas: O2, value: 2 ", "gas: CO2, value: 2 "), (CLOSURES, "")]
    gases = "[{gas: O2, value: 2 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}, {gas: CO2"
    more.append(("[{gas: CO2", gases))
    cold = load(
        tmp_path,
        *more,
        ("temperature: 23 degC, humidity: 50 %}]\ntarget", "temperature: 4 degC, humidity: 50 %}]\ntarget"),
    )
    assert not [w for w in predict(cold).warnings if "holds no pressure" in w]
    warm = load(
        tmp_path,
        *more,
        ("temperature: 23 degC, humidity: 50 %}]\ntarget", "temperature: 30 degC, humidity: 50 %}]\ntarget"),
    )
    (said,) = [w for w in predict(warm).warnings if "holds no pressure" in w]

    def henry(t: float) -> float:
        return 3.3e-4 * math.exp(2400 * (1 / t - 1 / 298.15))

    r = 8.314462
    dissolved = 1.3 * 101325 / (r * 273.15)
    moles = dissolved * 220e-6 + dissolved / henry(277.15) * 40e-6 / (r * 277.15)
    volume = moles * r * 303.15 / (101325 - 4247) - henry(303.15) * r * 303.15 * 220e-6
    told = float(said.split("as much as ")[1].split(" mL")[0])
    assert told == pytest.approx(volume * 1e6, rel=0.03) and told > 60
    assert not [w for w in predict(warm).warnings if "Creep" in w]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            (("water_activity_max: 0.4", "water_activity_max: 0.1"),),
            "initial water activity 0.15 is above the limit 0.1: no wall helps, a drier product does",
        ),
        (
            (("water_activity_max: 0.4", "water_activity_min: 0.2"),),
            "initial water activity 0.15 is below the limit 0.2: no wall helps, a moister product does",
        ),
        (
            (("water_activity_max: 0.4", "headspace_oxygen: 2 %"), ("    dissolves_like: oil\n", "")),
            "oxygen in the headspace at closing 20.9 % is above the limit 2 %: no wall helps, less oxygen at "
            "closing does",
        ),
        (
            (("water_activity_max: 0.4", "oxygen_gain: 0.01 mg/kg"),),
            "oxygen of the headspace dissolves in the product at once (equilibrium): no wall helps, less "
            "oxygen in the headspace does",
        ),
    ],
)
def test_a_limit_exceeded_at_closing_says_that_no_wall_helps(
    tmp_path: Path, changes: tuple[tuple[str, str], ...], said: str
) -> None:
    outcome = predict(dry(tmp_path, *changes)).limits[0]
    assert outcome.status == "exceeded at closing" and outcome.note.startswith(said)


def test_a_retort_in_the_storage_is_refused_with_advice(tmp_path: Path) -> None:
    stage = (
        "storage: [{",
        "storage: [{name: retort, duration: 1 h, temperature: 121 degC, humidity: 100 %}, {",
    )
    with pytest.raises(InputError, match="leave a retort or hot filling out of the storage") as caught:
        load(tmp_path, stage)
    (problem,) = caught.value.problems
    assert problem.field == "storage[0].temperature" and "docs/cautions.md" in problem.hint
    page = (Path(__file__).parents[2] / "docs" / "cautions.md").read_text("utf-8")
    assert "retort shock" in page
    assert load(
        tmp_path,
        ("temperature: 23 degC, humidity: 50 %}]\ntarget", "temperature: 80 degC, humidity: 50 %}]\ntarget"),
    )


def test_the_sealant_of_an_edge_has_a_unit_of_its_own_in_a_workbook(tmp_path: Path) -> None:
    rim = {"part": "rim", "kind": "seal_edge", "material": "LDPE", "length": 298, "width": 4, "unit": "mm"}
    named, sealed = put("Parts", FIRST + 3, part="rim"), put("Closures", FIRST, thickness=20, **rim)
    own = put("Closures", FIRST, thickness_unit="um")
    path = changed(tmp_path, lambda book: [change(book) for change in (named, sealed, own)])
    seal = read_book(path).data["package"]["parts"]["rim"]["seal_edge"]
    assert (seal["width"], seal["thickness"]) == ("4 mm", "20 um")
    with pytest.raises(InputError, match="has no unit"):
        load_project(changed(tmp_path, lambda book: [change(book) for change in (named, sealed)]))

"""Which inputs of a case are uncertain, and by how much."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.constants import DAY
from optimizer.geometry.surface import Patch
from optimizer.physics.material import Band, DiffusionLaw, Material
from optimizer.shelflife.package import (
    Case,
    ClosurePart,
    GivenConductance,
    Layer,
    Limit,
    Package,
    Uncertainty,
    Wall,
    WallPart,
)
from optimizer.uncertainty.sources import Input, inputs_of, notes_of
from tests.shelflife.builders import case_of, dry_powder, plain, polyolefin, sensitive, still

GAIN = Limit("oxygen_gain", 5e-6)


def laminate(*materials: Material, closures: tuple[ClosurePart, ...] = ()) -> Package:
    wall = Wall("body wall", tuple(Layer(m, 20e-6) for m in materials))
    part = WallPart("bottle", "body wall", (Patch(0.05),))
    return Package(
        (part, *closures), {"body wall": wall, "unused": Wall("unused", (Layer(plain("other"), 1e-5),))}
    )


def case_with(package: Package, given: Uncertainty | None = None, rigid: bool = True) -> Case:
    base = case_of(dry_powder((GAIN,), rigid=rigid), package, still(), target=100 * DAY)
    return replace(base, uncertainty=given or Uncertainty())


def named(case: Case) -> dict[str, Input]:
    return {x.name: x for x in inputs_of(case)}


def test_a_permeability_takes_its_band_then_what_the_project_says_then_the_standing_assumption() -> None:
    banded = replace(polyolefin(), bands={"O2": Band(0.2, "table one", "band of the table")})
    found = named(case_with(laminate(banded, sensitive())))
    oxygen = found["O2 permeability of skin"]
    assert (oxygen.size, oxygen.origin, oxygen.source) == (0.2, "band of the table", "table one")
    assumed = found["O2 permeability of barrier"]
    assert assumed.size == 0.05 and assumed.origin.startswith("assumed")
    given = named(case_with(laminate(banded, sensitive()), Uncertainty(properties=0.12)))
    assert given["O2 permeability of skin"].size == 0.2
    assert given["O2 permeability of barrier"].size == 0.12
    assert given["O2 permeability of barrier"].note().size == pytest.approx(12.0)


def test_only_materials_and_gases_that_matter_are_uncertain() -> None:
    found = {x.of for x in inputs_of(case_with(laminate(polyolefin()))) if x.kind == "permeability"}
    assert found == {"skin/O2", "skin/H2O"}  # neither "other" of the unused wall nor CO2


def test_a_spread_of_nothing_drops_out() -> None:
    exact = replace(polyolefin(), bands={"O2": Band(0.0, "", "exact"), "H2O": Band(0.0, "", "exact")})
    assert inputs_of(case_with(laminate(exact))) == ()


def test_a_foil_that_nothing_passes_has_no_uncertain_permeability() -> None:
    skin = polyolefin()
    oxygen = replace(skin.gases["O2"], permeability=(0.0,))
    foil = replace(skin, name="foil", gases={"O2": oxygen}, water=None)
    found = {x.of for x in inputs_of(case_with(laminate(skin, foil)))}
    assert found == {"skin/O2", "skin/H2O"}


def test_nitrogen_that_is_taken_from_oxygen_is_no_input_of_its_own() -> None:
    """A flexible package follows N2: a quarter of O2 where there is no value (common practice, no source)."""
    skin = polyolefin()
    without = replace(skin, name="bare", gases={"O2": skin.gases["O2"]})
    found = named(case_with(laminate(skin, without), rigid=False))
    assert found["O2 permeability of bare"].targets == (("bare", "O2"),)
    assert "N2 permeability of bare" not in found and "N2 permeability of skin" in found


def test_gauges_of_one_web_are_one_stuff() -> None:
    web = replace(plain("web"), gauge=(10e-6, 50e-6))
    found = named(case_with(laminate(web.in_gauge(12e-6), web.in_gauge(23e-6))))
    assert found["O2 permeability of web"].targets == (("web 12 um", "O2"), ("web 23 um", "O2"))


def test_diffusivity_counts_where_it_has_a_band() -> None:
    law = {"O2": DiffusionLaw(296.15, 1e-12, 40e3)}
    band = {"O2 diffusivity": Band(0.3, "s", "fit")}
    found = named(case_with(laminate(replace(polyolefin(), diffusivity=law, bands=band))))
    assert found["O2 diffusivity of skin"].targets == (("skin", "O2"),)
    assert not any(
        x.kind == "diffusivity"
        for x in inputs_of(case_with(laminate(replace(polyolefin(), diffusivity=law))))
    )


def test_thickness_is_of_a_wall_a_part_within_it_or_a_layer() -> None:
    given = Uncertainty(
        thickness={"body wall": 0.08, "bottle": 0.05, "elsewhere": 0.5},
        layers={("body wall", "barrier"): 0.15, ("unused", "other"): 0.3},
    )
    rows = {
        (x.kind, x.targets): x.size for x in inputs_of(case_with(laminate(polyolefin(), sensitive()), given))
    }
    assert rows["thickness", ("body wall",)] == 0.08
    assert rows["part_thickness", ("bottle",)] == 0.05
    assert rows["layer_thickness", (("body wall", "barrier"),)] == 0.15
    assert len([k for k in rows if "thickness" in k[0]]) == 3


def test_contents_storage_and_limits_are_named_in_plain_words() -> None:
    given = Uncertainty(
        durations={"store": 0.2, "no such stage": 0.2},
        limits={"oxygen_gain": 0.1, "water_gain": 0.1},
        consumption=0.2,
        isotherm=0.05,
        headspace_oxygen=0.1,
        temperature=1.0,
        humidity=0.03,
    )
    rows = {x.name: (x.note().size, x.unit) for x in inputs_of(case_with(laminate(polyolefin()), given))}
    assert rows["duration of stage 'store'"] == (20.0, "%")
    assert rows["limit on oxygen gain"] == (10.0, "%")
    assert rows["rate at which the product uses oxygen"] == (20.0, "%")
    assert rows["water that the product holds at a humidity"] == (5.0, "%")
    assert rows["oxygen at closing"] == (10.0, "%")
    assert rows["temperature of storage"] == (1.0, "K")
    assert rows["humidity of storage"] == (3.0, "%RH")
    assert len(rows) == 9  # with O2 and H2O of the one material, and nothing that is not in the case


def test_a_closure_without_a_spread_is_said_to_be_exact() -> None:
    cap = ClosurePart("cap", {"O2": GivenConductance(1e-15, 296.15, 0.0)})
    package = laminate(polyolefin(), closures=(cap,))
    assert "cap" in notes_of(case_with(package))[0]
    given = case_with(package, Uncertainty(transmission={("cap", "O2"): 0.2}))
    assert notes_of(given) == ()
    assert named(given)["O2 transmission of 'cap'"].size == 0.2

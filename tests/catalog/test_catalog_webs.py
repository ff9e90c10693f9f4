"""Webs by gauge and area, adhesives by coat weight, coatings by permeance, and what a material contains."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from optimizer.catalog import Catalog, load_catalog
from optimizer.catalog.lint import lint_tables
from optimizer.catalog.polymer import DENIALS, may_touch_food
from optimizer.constants import STP_MOLAR_VOLUME
from optimizer.errors import InputError, MaterialError


def catalog_of(*entries: dict[str, Any]) -> Catalog:
    return load_catalog(inline=entries)


def refused(*entries: dict[str, Any]) -> str:
    with pytest.raises(InputError) as caught:
        catalog_of(*entries)
    return str(caught.value)


# -- prices --------------------------------------------------------------------------------------------------


def test_a_price_per_area_is_that_per_mass_over_density_and_gauge() -> None:
    """0.086 EUR/m2 of 12 um PET, 1.38 g/cm3: 16.56 g/m2, hence 5.193 EUR/kg (by hand)."""
    web = catalog_of({"name": "metallised PET", "price": "0.086 EUR/m2"}).material("metallised PET")
    assert web.price == pytest.approx(0.086 / (1380 * 12e-6), rel=1e-12) == pytest.approx(5.193, rel=1e-4)
    assert web.currency == "EUR"


@pytest.mark.parametrize(
    "thickness", [{"gauge": "12 um"}, {"gauges": ["12 um"]}, {"coat_weight": "16.56 g/m2"}]
)
def test_one_thickness_may_be_given_in_three_ways(thickness: dict[str, Any]) -> None:
    film = catalog_of({"name": "PET", "price": "0.05 EUR/m2", **thickness}).material("PET")
    assert film.gauge == pytest.approx((12e-6, 12e-6)) and film.fixed_gauge and film.gauges == ()
    assert film.price == pytest.approx(0.05 / 16.56e-3)


def test_a_pass_is_charged_per_area_and_needs_no_price_beside_it() -> None:
    glue = catalog_of({"name": "PU adhesive", "pass_cost": "0.02 EUR/m2"}).material("PU adhesive")
    assert (glue.pass_cost, glue.price, glue.currency) == (pytest.approx(0.02), None, "EUR")
    assert load_catalog().material("PU adhesive").pass_cost == 0.0


def test_a_price_in_one_place_and_a_pass_in_another_are_of_one_currency(tmp_path: Path) -> None:
    (tmp_path / "prices.csv").write_text("name,price\nPU adhesive,5 USD/kg\n", encoding="utf-8")
    with pytest.raises(InputError, match="different currencies"):
        load_catalog(["prices.csv"], [{"name": "PU adhesive", "pass_cost": "0.02 EUR/m2"}], tmp_path)


# -- gauges --------------------------------------------------------------------------------------------------


def test_a_web_in_several_gauges_is_one_material_for_each() -> None:
    catalog = catalog_of({"name": "PET", "price": "2.30 EUR/kg", "gauges": ["23 um", "12 um"]})
    web = catalog.material("PET")
    assert web.gauges == pytest.approx((12e-6, 23e-6)) and web.gauge == pytest.approx((12e-6, 23e-6))
    thin = catalog.material("pet  12 um")
    assert (thin.name, thin.web, thin.gauge) == ("PET 12 um", "PET", (12e-6, 12e-6))
    assert catalog.material("PET 12 um") is thin is catalog.in_gauge(web, 12e-6)
    assert thin.gases == web.gases and thin.price == web.price
    assert "PET 12 um" not in catalog.names()
    for wrong in ("PET 15 um", "HDPE 12 um"):
        with pytest.raises(MaterialError):
            catalog.material(wrong)


def test_the_nearest_word_on_thickness_wins_as_a_whole(tmp_path: Path) -> None:
    (tmp_path / "webs.csv").write_text(
        "name,gauges,coat_weight\nPET,12 um|15 um,\nPU adhesive,,3 g/m2\n", "utf-8"
    )
    table = load_catalog(["webs.csv"], base_dir=tmp_path)
    assert table.material("PET").gauges == pytest.approx((12e-6, 15e-6))
    assert table.material("PU adhesive").gauge[0] == pytest.approx(3e-3 / 1120)
    inline = [
        {"name": "PET", "gauge": {"min": "10 um", "max": "50 um"}},
        {"name": "PU adhesive", "gauge": "2 um"},
    ]
    nearer = load_catalog(["webs.csv"], inline, tmp_path)
    assert nearer.material("PET").gauges == () and nearer.material("PET").gauge == pytest.approx((1e-5, 5e-5))
    assert nearer.material("PU adhesive").gauge == pytest.approx((2e-6, 2e-6))
    with pytest.raises(MaterialError):
        nearer.material("PET 12 um")
    # and the gauges that the shipped table gives are replaced by a coat weight
    assert load_catalog().material("PU adhesive").gauge == pytest.approx((1.5e-6, 5e-6))


def test_a_table_of_webs_has_nothing_wrong(tmp_path: Path) -> None:
    file = tmp_path / "webs.csv"
    file.write_text("name,price,gauges\nPET,2.3 EUR/kg,12 um|15 um\nmetallised PET,0.08 EUR/m2,\n", "utf-8")
    assert lint_tables([file]) == []
    file.write_text("name,price,gauges\nPET,0.05 EUR/m2,12 um|15 um\n", "utf-8")
    assert any("several" in str(finding) for finding in lint_tables([file]))


# -- coatings ------------------------------------------------------------------------------------------------


def coating(**more: Any) -> dict[str, Any]:
    rows = [
        {"gas": "O2", "value": "1.2 cm3/(m2*day*bar)", "temperature": "23 degC", "humidity": "50 %"},
        {"gas": "H2O", "value": "0.9 g/(m2*day)", "temperature": "38 degC", "humidity": "90 %"},
    ]
    return {"name": "oxide", "carrier": ["PET"], "density": "3 g/cm3", "permeance": rows, **more}


@pytest.mark.parametrize("thickness", [{"gauge": "0.05 um"}, {"coat_weight": "0.15 g/m2"}])
def test_the_permeance_of_a_coating_is_that_of_its_whole_thickness(thickness: dict[str, Any]) -> None:
    """1.2 cm3(STP)/(m2 day bar) in SI by hand; the thickness cancels."""
    oxide = catalog_of(coating(**thickness)).material("oxide")
    through = float(oxide.gases["O2"].at(296.15, 0.5)) / oxide.gauge[0]
    assert through == pytest.approx(1.2e-6 / STP_MOLAR_VOLUME / 86400 / 1e5, rel=1e-9)
    assert oxide.gauge[0] == pytest.approx(5e-8)
    assert (oxide.family, oxide.roles, oxide.carrier) == ("coating", {"coating"}, {"PET"})
    thicker = catalog_of(coating(gauge="5 um")).material("oxide")
    assert float(thicker.gases["O2"].at(296.15, 0.5)) / thicker.gauge[0] == pytest.approx(through)


def test_a_coating_holds_to_an_adhesive_and_to_nothing_else() -> None:
    bonding = load_catalog().bonding
    assert bonding.may_touch("coating", "adhesive")
    assert not any(bonding.may_touch("coating", family) for family in bonding.families - {"adhesive"})


def test_a_permeance_needs_one_thickness_and_the_unit_of_a_layer() -> None:
    assert "needs the thickness" in refused(coating())
    assert "needs the thickness" in refused(coating(gauge={"min": "1 um", "max": "2 um"}))
    rows = [{"gas": "O2", "value": "1 cm3*mm/(m2*day*bar)", "temperature": "23 degC"}]
    assert "is a permeability" in refused(coating(gauge="1 um", permeance=rows))
    assert "expected a list" in refused(coating(gauge="1 um", permeance="1 cm3/(m2*day*bar)"))
    assert "expected a row" in refused(coating(gauge="1 um", permeance=["1 cm3/(m2*day*bar)"]))


# -- what is in it -------------------------------------------------------------------------------------------

CONTENTS = {
    "HDPE": set(),
    "PVC rigid": {"halogen"},
    "PVDC": {"halogen"},
    "PCTFE": {"halogen"},
    "aluminium foil": {"foil"},
    "metallised PET": {"metallising"},
    "SiOx PET": set(),
    "AlOx PET": set(),
    "PVDC-coated PET": {"halogen"},
    "PVDC-coated PA6 oriented": {"halogen"},
    "PVOH-coated PET": set(),
}


@pytest.mark.parametrize("name", CONTENTS)
def test_what_a_material_of_the_table_contains(name: str) -> None:
    """From the chemistry of the polymers: PVC, PVDC and PCTFE hold chlorine, PCTFE fluorine as well."""
    assert load_catalog().material(name).contains == CONTENTS[name]


def test_every_material_of_the_table_says_what_it_contains() -> None:
    catalog = load_catalog()
    assert [n for n in catalog.names() if catalog.material(n).contains is None] == []


def test_a_coated_web_of_ones_own_says_it_itself() -> None:
    web = {"name": "coated film", "family": "coated PET", "density": "1.38 g/cm3", "gauge": "12 um"}
    assert catalog_of(web).material("coated film").contains is None
    assert catalog_of({**web, "contains": "none"}).material("coated film").contains == frozenset()
    both = catalog_of({**web, "contains": ["metallising", "halogen"]}).material("coated film")
    assert both.contains == {"metallising", "halogen"}
    assert "none, by itself" in refused({**web, "contains": ["none", "foil"]})


def test_only_polymers_that_a_rule_lists_are_marked_for_food_contact() -> None:
    """US 21 CFR 177.1520 olefin polymers, 177.1630 polyethylene phthalate, 177.1640 polystyrene (read in the
    code); an adhesive under 175.105 is none of them."""
    catalog = load_catalog()
    for name in ("LDPE", "HDPE", "PP", "PET", "PS", "EVA", "PA6"):
        assert catalog.material(name).food_contact is True, name
    for name in ("PU adhesive", "tie PE", "aluminium foil", "metallised PET"):
        assert catalog.material(name).food_contact is None, name
    for name in catalog.names():
        if catalog.material(name).food_contact:
            assert "21 CFR 177." in catalog.polymer(name).record.food_contact
            assert "(from memory)" not in catalog.polymer(name).record.food_contact.split(";")[0]


@pytest.mark.parametrize(
    ("given", "meant"),
    [
        (True, True),
        (False, False),
        ("no", False),
        (" YES ", True),
        ("False", False),
        ("EU 10/2011", True),
        ("declaration of 3 March", True),
        ("10/2011", True),
        ("notified under US 21 CFR 177.1520", True),
    ],
)
def test_the_users_word_on_food_contact_wins(given: object, meant: bool) -> None:
    for name in ("HDPE", "PU adhesive"):
        assert catalog_of({"name": name, "food_contact": given}).material(name).food_contact is meant


@pytest.mark.parametrize(
    "given",
    [
        *("nein", "x", "ok", "0", 1, "1.0", "35 %", "2026", "to be confirmed", "supplier's declaration"),
        *("EU 10/2011, not for fatty food", "EU 10/2011: No", "it isn't 10/2011"),
    ],
)
def test_a_word_that_does_not_say_what_it_rests_on_is_no_yes_to_food_contact(
    given: object, tmp_path: Path
) -> None:
    """Common practice, no source: what is not known to be allowed must not touch food."""
    expected = f"food_contact: {str(given)!r} does not say whether the grade may touch food"
    with pytest.raises(InputError) as caught:
        catalog_of({"name": "HDPE", "food_contact": given})
    assert expected in str(caught.value) and "such as 'EU 10/2011'" in str(caught.value)
    quote = '"' if "," in str(given) else ""
    (tmp_path / "mine.csv").write_text(f"name,food_contact\nHDPE,{quote}{given}{quote}\n", "utf-8")
    (found,) = lint_tables([tmp_path / "mine.csv"])
    assert found.severity == "error" and expected in str(found.problem)
    assert (found.problem.line, found.problem.column) == (2, 6 + len(quote))


DENYING = """
    no not non none never without n/a na nor neither except excluding lacks lacking missing refused rejected
    denied failed fails forbidden prohibited unlisted unapproved noncompliant unsuitable pending awaiting
    awaited waiting review request requested confirm confirmed confirmation silent expected planned draft open
    unknown unclear tbc tbd tba expired withdrawn revoked suspended
    """


@pytest.mark.parametrize("word", DENYING.split())
def test_a_rule_named_beside_a_word_of_denial_or_waiting_is_no_yes_to_food_contact(word: str) -> None:
    assert set(DENYING.split()) == DENIALS
    for text in (f"EU 10/2011: {word}", f"{word.upper()} (21 CFR)", word):
        assert may_touch_food(text) is (False if text == "no" else None), text


def test_recycled_content_is_none_unless_it_is_said() -> None:
    assert load_catalog().material("HDPE").recycled_content == 0.0
    assert catalog_of({"name": "HDPE", "recycled_content": "35 %"}).material("HDPE").recycled_content == 0.35


@pytest.mark.parametrize(
    ("name", "counts"),
    [
        ("HDPE", {"PE"}),
        ("tie PE", {"PE", "tie PE"}),
        ("EVA", {"EVA", "PE"}),
        ("metallised PP oriented", {"PP", "coated PP", "metallised"}),
        ("EVOH 32", {"EVOH"}),
    ],
)
def test_the_polymers_for_which_a_material_counts(name: str, counts: set[str]) -> None:
    assert load_catalog().material(name).polymers == counts

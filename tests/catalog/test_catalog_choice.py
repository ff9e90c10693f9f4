"""Which row wins, what is shown about it, and which families may touch."""

from __future__ import annotations

import pytest

from optimizer.catalog import BondingTable, Catalog, load_catalog
from optimizer.catalog.records import BondRecord
from optimizer.errors import MaterialError
from optimizer.units import convert


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def test_the_line_of_defaults_wins_over_a_better_grade(catalog: Catalog) -> None:
    """PET O2: a measured band (Auras et al. 2004) exists, but it is a range over 5 to 40 degC."""
    selection = catalog.selection("PET", "O2")
    assert selection is not None and {c.source for c in selection.chosen} == {"mxd6_producer_gas_barrier"}
    assert "measured" in {c.grade for c in catalog.candidates("PET", "O2")}
    assert "default of the table" in selection.reason


def test_without_a_default_the_grade_decides(catalog: Catalog) -> None:
    selection = catalog.selection("PP", "CO2")
    assert selection is not None and catalog.default("PP", "CO2") is None
    assert {c.grade for c in catalog.candidates("PP", "CO2")} == {"handbook", "memory"}
    assert {c.source for c in selection.chosen} == {"food_package_engineering"}


def test_memory_goes_before_an_estimate_only_where_nothing_is_published(catalog: Catalog) -> None:
    for name in catalog.names():
        for gas in ("O2", "CO2", "N2", "H2O"):
            selection = catalog.selection(name, gas)
            assert selection is not None
            published = {c.grade for c in catalog.candidates(name, gas)} & {
                "measured",
                "producer",
                "handbook",
            }
            used = {c.grade for c in selection.chosen}
            if published and not used & published:
                assert selection.default is not None, (name, gas)  # then defaults.csv says why
                assert len(selection.default.basis) > 20


def test_the_explanation_lists_every_candidate_and_marks_the_winner(catalog: Catalog) -> None:
    shown = catalog.explain("pet-oriented".replace("-", " "))
    assert shown.name == "PET"
    for gas in shown.gases:
        assert len(gas.rows) >= len(catalog.candidates("PET", gas.gas))
        assert any(r.chosen for r in gas.rows) and gas.reason
    o2 = next(g for g in shown.gases if g.gas == "O2")
    assert {round(r.converted, 2) for r in o2.rows if r.chosen} == {1.60}
    assert next(r.converted for r in o2.rows if r.printed == "105") == pytest.approx(105 * 0.012, rel=1e-6)
    assert o2.band == pytest.approx((1.2, 2.4), rel=1e-6)
    text = "\n".join(shown.lines())
    assert "-> 80 cm3/(m2*day*atm) (20 um, 23 degC, 60 %RH) = 1.6 cm3*mm/(m2*day*atm)" in text
    assert "PET (also PET oriented" in text and "note: " in text


def test_every_material_can_be_explained(catalog: Catalog) -> None:
    for name in catalog.names():
        assert len(list(catalog.explain(name).lines())) > 8


def test_an_unknown_material_cannot_be_explained(catalog: Catalog) -> None:
    with pytest.raises(MaterialError):
        catalog.explain("unobtainium")


def test_the_band_of_a_family_spans_its_rows(catalog: Catalog) -> None:
    band = catalog.family_band("PE", "O2")
    assert band is not None
    low, high = (convert(v, "gas permeability", "cm3*mm/(m2*day*atm)") for v in (band.low, band.high))
    # HDPE from memory 26.3 (Polymer Handbook, 0.30e-13), textbook LDPE up to 236
    assert low == pytest.approx(26.3, rel=0.005) and high == pytest.approx(236.2, rel=0.005)
    assert catalog.family_band("no such family", "O2") is None


def test_the_evoh_band_includes_the_ranges_over_grades(catalog: Catalog) -> None:
    band = catalog.family_band("EVOH", "O2")
    assert band is not None
    low = convert(band.low, "gas permeability", "cm3*mil/(100 in2*day*atm)")
    assert low == pytest.approx(0.0007, rel=1e-6)  # textbook, 0 %RH


@pytest.mark.parametrize(
    ("a", "b", "holds", "tie"),
    [
        ("PE", "EVOH", False, "tie PE"),
        ("EVOH", "tie PE", True, None),
        ("PE", "tie PE", True, None),
        ("PP", "EVOH", False, "tie PP"),
        ("PP", "PA", False, "tie PP"),
        ("PP", "tie PE", False, None),
        ("PA", "EVOH", True, None),
        ("PET", "MXD6", True, None),
        ("PE", "PE", True, None),
        ("PE", "PP", False, "adhesive"),
        ("PE", "PET", False, "adhesive"),
        ("PE", "EVA", True, None),
        ("PVDC", "PE", False, "EVA"),
        ("PE", "foil", False, "tie PE"),
        ("coated PET", "PE", False, "adhesive"),
        ("adhesive", "foil", True, None),
        ("adhesive", "adhesive", False, None),
        ("unspecified", "PE", False, None),
    ],
)
def test_which_families_hold_and_through_what(
    catalog: Catalog, a: str, b: str, holds: bool, tie: str | None
) -> None:
    """Tie layers: J. Plastic Film and Sheeting, doi 10.1177/87560879211063475 (anhydride-grafted polyolefin
    bonds PA and EVOH); MXD6 in PET bottles without tie: European PET Bottle Platform; the rest is common
    practice, no source."""
    for first, second in ((a, b), (b, a)):
        assert catalog.bonding.may_touch(first, second) is holds
        if tie != "adhesive" or a != "PP":
            assert catalog.bonding.tie(first, second) == tie


def test_every_family_of_a_material_is_in_the_bonding_table(catalog: Catalog) -> None:
    assert {catalog.material(n).family for n in catalog.names()} <= catalog.bonding.families


def test_the_order_of_a_pair_does_not_matter_and_an_unlisted_pair_does_not_hold() -> None:
    table = BondingTable.of([BondRecord(family_a="B", family_b="A", bonds="yes")])
    assert table.may_touch("A", "B") and table.may_touch("B", "A") and not table.may_touch("A", "A")


def test_recycling_families_are_those_of_the_materials(catalog: Catalog) -> None:
    known = {catalog.polymer(n).record.recycling_family for n in catalog.names()}
    assert {rule.family for rule in catalog.recycling} <= known


def test_a_humidity_response_is_no_disagreement_between_sources(catalog: Catalog) -> None:
    # one source at 60, 80 and 90 %RH, a factor of 100 apart
    assert len(catalog.candidates("EVOH 32", "CO2")) == 3
    assert catalog.band("EVOH 32", "CO2") is None


def test_sources_are_compared_at_one_humidity(catalog: Catalog) -> None:
    band = catalog.band("PET", "CO2")
    assert band is not None and band.at == "0 %RH" and band.basis == "2 sources"
    # printed range 15 to 25 cm3 mil/(100 in2 day atm); remembered 0.118e-13 cm3 cm/(cm2 s Pa), which is 26.24
    low, high = (convert(v, "gas permeability", "cm3*mil/(100 in2*day*atm)") for v in (band.low, band.high))
    assert (low, high) == (pytest.approx(15.0), pytest.approx(26.24, rel=1e-3))
    default = catalog.band("EVOH 32", "O2")
    assert default is not None and default.at == "60 %RH"


def test_no_source_key_stands_in_what_people_read(catalog: Catalog) -> None:
    keys = [row.get("key") for row in catalog.shipped.tables["references"].rows if "_" in row.get("key")]
    for row in catalog.shipped.tables["references"].rows:
        assert row.get("short") and "_" not in row.get("short"), row.where
    for name in catalog.names():
        text = "\n".join(catalog.explain(name).lines())
        assert not [key for key in keys if key in text], name
        for note in (*catalog.material(name).notes, *(s.source for s in catalog.material(name).sources)):
            assert not [key for key in keys if key in note], (name, note)
    assert "textbook on modified-atmosphere packaging" in "".join(catalog.material("EVOH 32").notes)

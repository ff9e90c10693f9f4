"""How uncertain a property is: the row's own spread, the band of the table, or nothing."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from typing import Any

import pytest

from optimizer.catalog import Catalog, load_catalog
from optimizer.catalog.lint import lint_shipped, lint_tables
from optimizer.catalog.load import find_materials
from optimizer.catalog.offered import offered_material
from optimizer.catalog.offers import read_offers
from optimizer.catalog.spread import spread_of
from optimizer.errors import InputError
from optimizer.physics.material import Band
from optimizer.report.materials import show_page, show_record

HEAD = "material,gas,value,unit,temperature,humidity,spread,source\n"
UNIT = "cm3*mm/(m2*day*atm)"


def table(folder: Path, rows: str, name: str = "mine.csv") -> Path:
    path = folder / name
    path.write_text(HEAD + rows, "utf-8")
    return path


def inline(**row: Any) -> dict[str, Any]:
    o2 = {"gas": "O2", "value": f"30 {UNIT}", "temperature": "23 degC", "humidity": "0 %"} | row
    return {"name": "LDPE", "permeability": [o2]}


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def test_95_percent_of_a_lognormal_with_the_spread_lie_in_the_band() -> None:
    """Quantiles by scipy.stats.lognorm."""
    from scipy.stats import lognorm

    for low, high in ((118.0, 236.0), (0.5, 5.5), (0.0025, 0.08)):
        spread = spread_of(low, high)
        factor = lognorm(math.sqrt(math.log1p(spread**2)), scale=math.sqrt(low * high))
        assert factor.ppf([0.025, 0.975]) == pytest.approx([low, high], rel=1e-6)
        assert factor.std() / factor.mean() == pytest.approx(spread)


def test_a_shipped_value_has_the_band_of_the_table(catalog: Catalog) -> None:
    """s = ln(236 / 118) / (2 * 1.959964) = 0.693147 / 3.919928 = 0.176826; sqrt(exp(s^2) - 1) = 0.178218."""
    band = catalog.material("LDPE").bands["O2"]
    assert band.spread == pytest.approx(0.178218, rel=1e-5)
    assert band.source == "pocas_lecture_2020"
    assert band.origin == "band of the table, 118 to 236 cm3*mm/(m2*day*atm)"


def test_a_band_of_a_web_names_its_gauge(catalog: Catalog) -> None:
    origin = catalog.material("metallised PET").bands["O2"].origin
    assert origin == "band of the table, 0.5 to 5.5 cm3/(m2*day*atm) of 12 um"


def test_without_a_band_in_the_table_there_is_none(catalog: Catalog) -> None:
    assert "CO2" not in catalog.material("LDPE").bands  # no line in defaults.csv
    assert "O2" not in catalog.material("EVOH 38").bands  # a line without low and high
    assert catalog.material("aluminium foil").bands == {}


def test_values_evaluated_between_sources_share_nothing(catalog: Catalog) -> None:
    assert catalog.material("PET").bands["H2O"].source == ""
    assert catalog.material("PET").bands["O2"].source == "mxd6_producer_gas_barrier"


def test_every_band_of_the_shipped_table_is_that_of_its_line(catalog: Catalog) -> None:
    rows = [r for r in catalog.shipped.tables["defaults"].rows if r.get("low") and r.get("high")]
    for row in rows:
        band = catalog.material(row.get("material")).bands[row.get("gas")]
        half = math.log(float(row.get("high")) / float(row.get("low"))) / 2
        assert math.sqrt(math.log1p(band.spread**2)) * 1.959964 == pytest.approx(half, rel=1e-6), row.where
    assert len(rows) > 40
    assert sum(len(catalog.material(n).bands) for n in catalog.names()) == len(rows)


def test_the_users_value_without_a_spread_has_no_band() -> None:
    """The band is that of the table's value."""
    material = load_catalog(inline=[inline()]).material("LDPE")
    assert "O2" not in material.bands and "H2O" in material.bands


def test_the_spread_of_the_users_row_counts_with_its_source() -> None:
    material = load_catalog(inline=[inline(spread="15 %", source="test report 17")]).material("LDPE")
    assert material.bands["O2"] == Band(pytest.approx(0.15), "test report 17", "stated with the value")
    unnamed = load_catalog(inline=[inline(spread="15 %")]).material("LDPE")
    assert unnamed.bands["O2"].source == ""


def test_of_several_rows_the_largest_spread_counts(tmp_path: Path) -> None:
    rows = f"LDPE,O2,10,{UNIT},23 degC,0 %,5 %,a\nLDPE,O2,20,{UNIT},35 degC,0 %,12 %,a\n"
    band = load_catalog([table(tmp_path, rows)]).material("LDPE").bands["O2"]
    assert band == Band(pytest.approx(0.12), "a", "the largest stated with the value")


def test_a_diffusivity_has_a_spread_only_where_it_is_stated(tmp_path: Path, catalog: Catalog) -> None:
    assert not any("diffusivity" in key for n in catalog.names() for key in catalog.material(n).bands)
    rows = "LDPE,O2,4.5e-11,m2/s,23 degC,,30 %,sheet\n"
    bands = load_catalog([table(tmp_path, rows)]).material("LDPE").bands
    assert bands["O2 diffusivity"] == Band(pytest.approx(0.3), "sheet", "stated with the value")
    assert bands["O2"].source == "pocas_lecture_2020"


def test_a_spread_of_a_value_that_blocks_is_left_out(tmp_path: Path) -> None:
    rows = f"aluminium foil,O2,0,{UNIT},23 degC,0 %,10 %,a\n"
    assert "O2" not in load_catalog([table(tmp_path, rows)]).material("aluminium foil").bands


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("0.15", "write '15 %'"),
        ("15", "write 15 % if percent is meant"),
        ("201 %", "out of range"),
        ("-1 %", "out of range"),
        ("15 um", "expected a fraction"),
    ],
)
def test_a_wrong_spread_is_found_at_its_cell(tmp_path: Path, cell: str, words: str) -> None:
    other = "LDPE,H2O,1,g*mm/(m2*day),38 degC,90 %,x,a\n"
    path = table(tmp_path, f"LDPE,O2,10,{UNIT},23 degC,0 %,{cell},a\n{other}")
    with pytest.raises(InputError) as caught:
        load_catalog([path])
    first, second = caught.value.problems
    column = len(f"LDPE,O2,10,{UNIT},23 degC,0 %,") + 1
    assert (first.line, first.field) == (2, "spread") and column <= first.column < column + len(cell) + 1
    assert words in str(first) and second.line == 3
    assert [f.severity for f in lint_tables([path])] == ["error", "error"]


def test_lint_warns_of_two_spreads_of_one_property_and_of_an_exact_value(tmp_path: Path) -> None:
    rows = f"LDPE,O2,10,{UNIT},23 degC,0 %,5 %,a\nLDPE,O2,20,{UNIT},35 degC,0 %,12 %,a\n"
    (found,) = lint_tables([table(tmp_path, rows)])
    assert found.severity == "warning" and "line 2 gives 5 % for the same property" in str(found)
    assert lint_tables([table(tmp_path, rows.replace("12 %", "5 %"))]) == []
    (exact,) = lint_tables([table(tmp_path, f"LDPE,O2,100,{UNIT},23 degC,0 %,0 %,a\n")])
    assert exact.severity == "warning" and "the value is exact" in str(exact)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [("180,118,236", "180,236,118", "not a band"), ("180,118,236", "180,118,many", "not a plain number")],
)
def test_a_wrong_band_in_the_shipped_table_is_found(tmp_path: Path, old: str, new: str, words: str) -> None:
    folder = tmp_path / "materials"
    shutil.copytree(find_materials(), folder)
    text = (folder / "defaults.csv").read_text("utf-8")
    assert old in text
    (folder / "defaults.csv").write_text(text.replace(old, new, 1), "utf-8")
    assert any(words in str(f) for f in lint_shipped(folder))


def test_the_spread_of_an_offer_is_that_of_its_material(tmp_path: Path, catalog: Catalog) -> None:
    """The band of the material that it replaces belongs to another value."""
    sheet = tmp_path / "offers.csv"
    head = "supplier,material,gas,value,unit,temperature,humidity,spread,source\n"
    row = "Resins of the North (invented),LDPE,O2,170,cm3*mm/(m2*day*atm),23 degC,0 %,{},sheet 4\n"
    sheet.write_text(head + row.format("6 %"), "utf-8")
    base = catalog.material("LDPE")
    (offer,) = read_offers(sheet)
    bands = offered_material(catalog, base, offer).bands
    assert bands["O2"].spread == pytest.approx(0.06) and bands["O2"].source == "sheet 4"
    assert "Resins of the North" in bands["O2"].origin and bands["H2O"] == base.bands["H2O"]
    sheet.write_text(head + row.format(""), "utf-8")
    (offer,) = read_offers(sheet)
    assert "O2" not in offered_material(catalog, base, offer).bands


def test_show_prints_the_spread_that_is_used_and_where_it_is_from(tmp_path: Path) -> None:
    rows = "LDPE,CO2,4.5e-11,m2/s,23 degC,,30 %,sheet\n"
    catalog = load_catalog([table(tmp_path, rows)])
    text = show_page(catalog, "LDPE").text()
    assert "Spread used: 18 % (band of the table, 118 to 236 cm3*mm/(m2*day*atm))." in text
    assert "CO2: Spread used: 30 % (stated with the value)." in text
    spreads = show_record(catalog, "LDPE")["spreads"]
    assert spreads["O2"]["spread_pct"] == pytest.approx(17.8218, rel=1e-5)
    assert spreads["CO2 diffusivity"] == {
        "spread_pct": pytest.approx(30.0),
        "origin": "stated with the value",
        "source": "sheet",
    }


def test_show_prints_a_scavenger() -> None:
    uses = {"gas": "O2", "rate": "0.002 1/s", "temperature": "23 degC", "capacity": "3 cm3/g"}
    catalog = load_catalog(inline=[{"name": "LDPE", "scavenger": uses}])
    assert "0.002 1/s at 23 degC, up to 3 cm3/g" in show_page(catalog, "LDPE").text()
    del uses["capacity"]
    catalog = load_catalog(inline=[{"name": "LDPE", "scavenger": uses}])
    assert "0.002 1/s at 23 degC, without end" in show_page(catalog, "LDPE").text()

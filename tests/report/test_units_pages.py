"""Pages in units of the United States: the same answers, other numbers.

Expected numbers are divided by hand: mil 25.4 um, oz 28.349523125 g, 100 in2 0.064516 m2, lb 0.45359237 kg
(international agreement of 1959).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.catalog import load_catalog
from optimizer.report.answers import page_of
from optimizer.report.compare import compare_page
from optimizer.report.design import design_page
from optimizer.report.geometry import geometry_page
from optimizer.report.materials import list_page, list_record, show_page
from optimizer.report.page import Page
from optimizer.report.portfolio import portfolio_page
from optimizer.report.predict import predict_page
from optimizer.report.record import to_json
from optimizer.report.tradeoff import tradeoff_page
from optimizer.report.wording import change, in_units, with_unit
from optimizer.units.systems import SI, US

from .samples import CHECKED, DESIGNED, INFEASIBLE, PASSING
from .stress import MESH, PAGES, comparison, frontier, portfolio
from .stress import PREDICTED as STRESSED


def flat(page: Page) -> str:
    return " ".join(page.text().split())


def test_si_is_what_a_page_shows_unless_asked_otherwise() -> None:
    assert predict_page(PASSING).text() == predict_page(PASSING, units=SI).text()
    assert "stated in" not in predict_page(PASSING).text()


def test_walls_rates_and_masses_are_converted() -> None:
    text = flat(predict_page(PASSING, units=US))
    assert "Wall bottle, 21.26 mil, inside to outside" in text  # 540 um
    assert "material mil mid RH" in text
    assert "EVOH 32 0.4724" in text  # 12 um
    assert "O2 through the wall: 0.0303 cm3(STP)/(100 in2*day*atm)" in text  # 0.47 * 0.064516
    assert "H2O through the wall: 0.0581 g/(100 in2*day)" in text  # 0.9 * 0.064516
    assert "1.002 oz: HDPE 0.956 oz" in text  # 28.42 g, 27.1 g
    assert " um" not in text.replace("0.5 cm3*20um", "")


def test_life_limits_package_rates_and_money_stay() -> None:
    metric, other = (flat(predict_page(PASSING, units=units)) for units in (SI, US))
    for text in (
        "PASSES: lasts 14.2 months, target 9 months (58 % longer); ended by oxygen gain.",
        "oxygen gain 5 3.16 mg/kg 14.2 months holds, 37 % left",
        "0.0258 cm3(STP)/(package*day*atm)",
        "material cost 0.05235 EUR",
        "0.5 cm3*20um/(m2*day*atm)",
    ):
        assert text in metric and text in other


@pytest.mark.parametrize("name", [n for n in PAGES if not n.startswith(("geometry", "portfolio"))])
def test_the_end_of_a_page_says_which_texts_keep_their_units(name: str) -> None:
    said = "sources keep the units that they are stated in."
    assert said in flat(PAGES[name](US))
    assert said not in flat(PAGES[name](SI))


def test_a_limit_on_a_wall_is_converted_with_its_value() -> None:
    row = replace(PASSING.limits[0], name="transmission O2", unit="cm3(STP)/(m2*day*atm)", status="met")
    row = replace(row, limit=2.0, at_target=1.55, wall="bottle")
    text = flat(predict_page(replace(PASSING, limits=(row,)), units=US))
    assert "0.129 0.1 cm3(STP)/(100" in text and "in2*day*atm)" in text  # 2 and 1.55 times 0.064516


def test_spreads_of_temperature_are_differences() -> None:
    assert "temperature of storage 2.22 degF" in flat(predict_page(STRESSED, units=US))  # 1.234567 K
    assert "offsets in degF and %RH are normal" in flat(predict_page(STRESSED, units=US))


def test_a_design_converts_structure_objective_and_savings() -> None:
    heavy = replace(DESIGNED, minimised="mass", objective=28.4, lower_bound=28.1, objective_unit="g/package")
    saving = replace(
        DESIGNED.binding[0], saves=2.0, saves_unit="g/package", tighter="1 mg/kg less", costs=4.0
    )
    text = flat(design_page(replace(heavy, binding=(saving,)), units=US))
    assert "OPTIMAL: mass 1.002 oz/package." in text
    assert "(lower bound 0.9912 oz/package)" in text
    assert "Wall bottle, 12.38 mil, inside to outside material mil HDPE 11.81" in text  # 314.5 and 300 um
    assert "oxygen gain 1 mg/kg more 0.0705 oz/package" in text  # 2 g
    assert "oxygen gain 1 mg/kg less 0.141 oz/package" in text  # 4 g
    assert "HDPE 11.8 / tie PE 0.315 / EVOH 32 0.256" in text
    thin = replace(DESIGNED, minimised="thickness", objective=254.0, lower_bound=254.0, objective_unit="um")
    assert "OPTIMAL: thickness 10 mil." in flat(design_page(thin, units=US))


def test_sentences_of_the_search_are_converted() -> None:
    text = flat(page_of(INFEASIBLE, US))
    assert "total thickness at most 11.8 mil" in text  # 300 um
    assert "Names, quotations and sources keep the units that they are stated in." in text


def test_a_check_converts_both_packages_alike() -> None:
    text = flat(page_of(CHECKED, US))
    assert "mass 1 1 oz same" in text
    assert "wall bottle, 12.91 mil: HDPE 12.6 / EVOH 32 0.3" in text  # 327.81, 320.2 and 7.61 um
    assert "of wall bottle: 1.003 oz (+0.07 % against" in text  # 28.44 g
    assert "wall bottle, layer 3 EVOH 32 0.47 mil 0.3 mil" in text  # 12 and 7.6 um


def test_a_comparison_converts_prices_in_any_currency() -> None:
    text = flat(compare_page(comparison("mass"), units=US))
    assert "EUR/lb" in text and "EUR/ft2" in text
    assert "5600" in text  # 12345.678901 EUR/kg
    assert "1147" in text  # 12345.678901 EUR/m2
    assert "Differences in oz/package" in text
    assert "LIGHTEST: " in text and "3.567 oz/package." in text  # 101.123456 g
    assert "/kg" not in text.replace("mg/kg", "")


def test_a_frontier_converts_points_and_kinks() -> None:
    text = flat(tradeoff_page(frontier("mass"), units=US))
    assert "months oz/package more EUR in all gap mil" in text
    assert "3.638 to 3.967 oz/package" in text  # 103.123456 and 112.469126 g
    assert "at 3.7 to 3.74 oz/package: a layer added" in text  # 105 and 106 g
    assert "oz in all" in flat(tradeoff_page(frontier("cost"), units=US))


def test_a_mesh_is_told_in_inches_and_fluid_ounces() -> None:
    text = flat(geometry_page(MESH, units=US))
    assert "2.761 x 2.76 x 8.385 in (x, y, z), with one unit of the file as 1 mm" in text
    assert "70.8 in2 of both faces, 35.4 in2 of wall" in text  # 456.789 and 228.3945 cm2
    assert "34.23 fl oz, openings closed by flat lids" in text  # 1012.34567 mL over 29.5735 mL
    assert "diameter in area in2 height in" in text
    assert "Wall thickness, mil" in text


def test_a_portfolio_names_the_unit_once_or_with_each_number() -> None:
    one = flat(portfolio_page(portfolio("g/package"), units=US))
    assert "ended by oz gap %" in one and "43.55" in one  # 1234.56789 g
    two = flat(portfolio_page(portfolio("g/package", "um"), units=US))
    assert "43.55 oz" in two and "48.61 mil" in two


def test_the_property_table_is_told_per_mil_and_100_square_inches() -> None:
    catalog = load_catalog()
    material = catalog.material("HDPE")
    metric, other = (flat(list_page([material], units=units)) for units in (SI, US))
    assert "O2, CO2 in cm3(STP)*mm/(m2*day*atm) at 23 degC, dry" in metric
    assert "O2, CO2 in cm3(STP)*mil/(100 in2*day*atm) at 73.4 degF, dry" in other
    assert "H2O in g*mil/(100 in2*day) at 100.4 degF, 90 % RH" in other
    assert "0.955" in other  # density stays in g/cm3
    one = flat(show_page(catalog, "HDPE", units=US))
    assert "O2 at 73.4 degF, dry" in one and "gauge of one layer" in one and " mil" in one
    assert list_record([material])["assumptions"][0].startswith("O2, CO2 in cm3(STP)*mm/(m2*day*atm)")


def test_no_unit_that_is_converted_is_left_on_a_page() -> None:
    """1 mm is that of a mesh file, 90 um stands in a sentence of the search, which ``page_of`` converts."""
    for name in ("predict", "design", "tradeoff, mass", "compare, thickness", "geometry"):
        head = PAGES[name](US).text().partition("\nWarnings\n")[0].replace("1 mm", "").replace("90 um", "")
        assert [
            u for u in (" um", " g ", " g\n", " mm", " cm2", "/m2", "(m2", " mL", "EUR/kg") if u in head
        ] == []


def test_the_record_knows_nothing_of_units() -> None:
    before = to_json(STRESSED)
    predict_page(STRESSED, units=US).text()
    assert to_json(STRESSED) == before


def test_helpers_write_a_dash_for_what_is_not_there() -> None:
    nan = float("nan")
    assert with_unit(597.0, "um", units=US) == "23.5 mil"
    assert with_unit(None, "um", units=US) == with_unit(nan, "um", units=US) == "-"
    assert in_units(None, "um", US) == in_units(nan, "um", US) == "-"
    assert with_unit(0.3, "-", units=US) == "0.3"
    assert change(nan, 1.0) == change(1.0, nan) == change(1.0, float("inf")) == ""

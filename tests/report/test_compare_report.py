"""The report of a comparison, on an answer made by hand (invented offers and numbers)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from optimizer.report.compare import compare_page
from optimizer.report.figures.model import BarChart, SectionDrawing
from optimizer.report.figures.offers import pairs_chart, price_chart, price_per_kg, value_chart
from optimizer.report.html.compare import compare_report
from optimizer.report.html.model import Report
from optimizer.results import ChosenLayer
from optimizer.results_compare import CompareResult, OfferOutcome, Pair
from optimizer.units.systems import SI, US, System

NOW = datetime(2026, 11, 28, 10, 0)
HOSTILE = '<img src=x onerror="alert(1)"> & </svg>\x07'


def offer(
    name: str, rank: int, value: float, price: float, ties: float | None, **more: object
) -> OfferOutcome:
    fields: dict[str, object] = {
        "name": name,
        "supplier": name,
        "material": "MXD6 oriented",
        "grade": "",
        "baseline": name == "project as it is",
        "status": "optimal",
        "rank": rank,
        "structure": {"bottle": (ChosenLayer("PET", 108.0), ChosenLayer("MXD6 oriented", 3.0 + rank))},
        "value": value,
        "lower_bound": 0.999 * value,
        "gap": 0.001,
        "cost_per_package": value,
        "cost_per_year": value * 1e6,
        "mass_g": 17.0,
        "offered_g": 0.2,
        "shelf_life_days": 92.0,
        "price": price,
        "price_unit": "EUR/kg",
        "break_even_price": ties,
    }
    return OfferOutcome(**{**fields, **more})  # type: ignore[arg-type]


ALDER = offer("Alder", 1, 0.0200, 9.0, 10.0, rival="Cedar", plus_minus=0.0002, distinguishable=False)
CEDAR = offer(
    "Cedar",
    2,
    0.0201,
    10.0,
    8.0,
    rival="Alder",
    plus_minus=0.0002,
    distinguishable=False,
    price_unit="USD/kg",
)
BASE = offer("project as it is", 3, 0.0210, 9.5, None, rival="Alder", break_even_note="never ties")
LOST = replace(
    offer("Dogwood", 0, 0.0, 5.0, None),
    rank=None, value=None, structure={}, status="infeasible", conflict=("the limit on co2_loss",),
    nearest="Nearest: 60 days", cost_per_package=None, cost_per_year=None, mass_g=None, offered_g=None,
)  # fmt: skip
COMPARED = CompareResult(
    title="Sparkling-water bottle (invented)",
    version="0.0.0",
    inputs_sha256="ab" * 32,
    status="done",
    minimised="cost",
    objective_unit="EUR/package",
    currency="EUR",
    target_days=84.0,
    volume_per_year=1e6,
    offers=(ALDER, CEDAR, BASE, LOST),
    pairs=(
        Pair("Alder", "Cedar", 0.0001, 0.0002, False, 0.5),
        Pair("Cedar", "project as it is", 0.0009, None, None),
        Pair("Alder", "project as it is", 0.001, 0.0002, True),
    ),
    gases=("O2", "CO2", "H2O"),
    rates={"USD/EUR": 0.9},
    warnings=("Alder: something to look into",),
    assumptions=("1 USD is 0.9 EUR, as given.",),
    sources=(),
    cautions=("Ask for the declaration.",),
    solver={"name": "HiGHS", "optimised": 9, "gap_asked": 0.001, "seconds": 1.5},
)
NONE = replace(COMPARED, status="infeasible", offers=(LOST,), pairs=())


def made(result: CompareResult, units: System = SI) -> Report:
    return compare_report(result, units=units, created=NOW)


def bars(chart: BarChart | None) -> BarChart:
    assert chart is not None
    return chart


# -- values --------------------------------------------------------------------------------------------------


def test_each_offer_has_a_bar_as_long_as_its_value_and_the_infeasible_none() -> None:
    chart = bars(value_chart(COMPARED))
    assert chart.rows == ("Alder", "Cedar", "project as it is")
    totals = [sum(part.values[i] for part in chart.parts) for i in range(3)]
    assert totals == pytest.approx([0.02, 0.0201, 0.021])
    assert chart.whisker == (0.0002, 0.0002, None)
    assert chart.labels == ("0.02 EUR/package", "0.0201 EUR/package", "0.021 EUR/package")


def test_the_offered_material_has_its_mass_times_its_price() -> None:
    """By hand: 0.2 g at 9 EUR/kg; 0.2 g at 10 USD/kg of 0.9 EUR; 0.2 g at 9.5 EUR/kg."""
    own, rest = bars(value_chart(COMPARED)).parts
    assert own.values == pytest.approx([0.0018, 0.0018, 0.0019])
    assert rest.values == pytest.approx([0.0182, 0.0183, 0.0191])


@pytest.mark.parametrize(
    "change", [{"offered_g": None}, {"price_unit": "EUR/m2"}, {"price": 900.0}, {"price_unit": "JPY/kg"}],
    ids=["mass unknown", "by the area", "more than all", "no rate"],
)  # fmt: skip
def test_what_cannot_be_split_is_one_bar(change: dict[str, object]) -> None:
    chart = bars(value_chart(replace(COMPARED, offers=(replace(ALDER, **change), CEDAR, BASE))))  # type: ignore[arg-type]
    assert len(chart.parts) == 1 and chart.parts[0].values == pytest.approx([0.02, 0.0201, 0.021])


def test_prices_by_the_tonne_and_the_pound_become_prices_by_the_kilogram() -> None:
    """1 lb is 0.45359237 kg by definition."""
    found = [
        price_per_kg(replace(ALDER, price=p, price_unit=u), "EUR", {"USD/EUR": 0.9})
        for p, u in ((1900.0, "USD/t"), (2.0, "EUR/lb"), (3.0, "EUR/kg"), (3.0, "EUR/m2"), (3.0, ""))
    ]
    assert found == [pytest.approx(1.71), pytest.approx(2.0 / 0.45359237), 3.0, None, None]


def test_of_the_lightest_the_parts_are_masses() -> None:
    light = tuple(replace(o, value=o.mass_g) for o in (ALDER, CEDAR))
    chart = bars(value_chart(replace(COMPARED, minimised="mass", objective_unit="g/package", offers=light)))
    assert chart.parts[0].values == (0.2, 0.2) and chart.parts[1].values == pytest.approx([16.8, 16.8])


# -- pairs and prices ----------------------------------------------------------------------------------------


def test_pairs_say_in_words_whether_they_can_be_told_apart_and_those_of_the_best_stand_first() -> None:
    chart = bars(pairs_chart(COMPARED))
    assert chart.rows == (
        "Alder ahead of Cedar",
        "Alder ahead of project as it is",
        "Cedar ahead of project as it is",
    )
    assert chart.labels == ("cannot be told apart", "told apart", "not worked out")
    # for 1000 packages
    assert chart.parts[0].values == pytest.approx([0.1, 1.0, 0.9])
    assert chart.whisker == (pytest.approx(0.2), pytest.approx(0.2), None)
    assert "Alder ahead of Cedar by 0.1 +-0.2, cannot be told apart" in chart.description


def test_many_pairs_are_cut_and_said_to_be() -> None:
    many = tuple(Pair("Cedar", f"offer {i}", 0.001, None, None) for i in range(20))
    chart = bars(pairs_chart(replace(COMPARED, pairs=(*many, COMPARED.pairs[0]))))
    assert len(chart.rows) == 12 and chart.rows[0] == "Alder ahead of Cedar"
    assert "9 more pairs are in the JSON answer" in chart.description


def test_a_price_below_the_one_to_tie_is_below_a_hundred_per_cent() -> None:
    """By hand: 9 of 10 and 10 of 8."""
    chart = bars(price_chart(COMPARED))
    assert chart.rows == ("Alder", "Cedar")
    assert chart.parts[0].values == pytest.approx([90.0, 125.0])
    assert chart.rules[0].value == 100.0 and chart.rules[0].axis == "x"
    assert chart.labels == ("9, ties at 10 EUR/kg (+11 %)", "10, ties at 8 USD/kg (-20 %)")
    assert "Alder 9, ties at 10 EUR/kg (+11 %), ahead of Cedar" in chart.description
    assert "At no price: project as it is." in chart.description


# -- the report ----------------------------------------------------------------------------------------------


def test_the_first_page_says_who_is_ahead_by_how_much_and_up_to_which_price() -> None:
    report = made(COMPARED)
    facts = {f.name: f for f in report.facts}
    assert (facts["Cheapest"].value, facts["Cheapest"].remark) == ("Alder", "0.02 EUR/package")
    assert facts["Distance to the next"].value == "0.5 %"
    assert facts["Distance to the next"].remark == "0.1 EUR/1000 packages to Cedar; cannot be told apart"
    assert facts["Saved in a year"].value == "1000 EUR"
    assert facts["Alder ties at"].value == "10 EUR/kg"
    assert facts["Without a structure"].value == "1 of 4"
    assert report.good is None and report.verdict.startswith("CHEAPEST: Alder")
    assert report.question == (
        "Which of 3 offers, and of the project as it is, makes the cheapest package for 84 days?"
    )


def test_a_lead_within_the_spread_is_said_in_the_verdict() -> None:
    assert made(COMPARED).verdict == (
        "CHEAPEST: Alder for MXD6 oriented, 0.02 EUR/package; it cannot be told apart from Cedar."
    )
    apart = tuple(replace(p, distinguishable=True) for p in COMPARED.pairs)
    assert "told apart" not in made(replace(COMPARED, pairs=apart)).verdict
    unknown = tuple(replace(p, distinguishable=None) for p in COMPARED.pairs)
    assert "told apart" not in made(replace(COMPARED, pairs=unknown)).verdict


def test_of_many_that_cannot_be_told_apart_the_verdict_names_two_and_counts_the_rest() -> None:
    more = [replace(CEDAR, name=name, rank=3 + k) for k, name in enumerate(("Elm", "Fir", "Gum"))]
    close = [Pair("Alder", o.name, 0.0001, 0.0002, False) for o in more]
    report = made(replace(COMPARED, offers=(ALDER, CEDAR, *more), pairs=(*COMPARED.pairs, *close)))
    assert report.verdict.endswith("; it cannot be told apart from Cedar, Elm and 2 others.")


def test_an_offer_without_a_price_stands_last_with_the_price_to_tie() -> None:
    elm = replace(
        offer("Elm", 0, 0.0, 0.0, 8.5, rival="Alder"),
        rank=None, value=None, lower_bound=None, gap=None, price=None,
        cost_per_package=None, cost_per_year=None,
    )  # fmt: skip
    result = replace(COMPARED, offers=(ALDER, CEDAR, BASE, elm, LOST))
    page = compare_page(result).text()
    flat = " ".join(page.split())
    said = "Elm for MXD6 oriented has no price and is not ranked; it would tie with Alder at 8.5 EUR/kg."
    assert said in flat and "Elm no price" in flat and "Elm - 8.5 EUR/kg Alder" in flat
    assert "No structure meets the target - Dogwood" in flat
    report = made(result)
    assert said in report.limits and report.verdict.startswith("CHEAPEST: Alder")
    assert {f.name: f.value for f in report.facts}["Without a structure"] == "1 of 5"
    alone = compare_page(replace(COMPARED, offers=(replace(elm, break_even_price=None),), pairs=())).text()
    assert "NOT RANKED: no offer that meets the target has a price." in alone


def test_where_the_gauge_binds_the_page_says_that_the_barrier_is_not_used() -> None:
    def thin(o: OfferOutcome) -> OfferOutcome:
        layers = (ChosenLayer("PET", 108.0), ChosenLayer("MXD6 oriented", 5.0))
        return replace(o, structure={"bottle": layers}, plus_minus=0.0, barrier_unused=True)

    pairs = tuple(replace(p, plus_minus=0.0, distinguishable=True, left_open=2e-7) for p in COMPARED.pairs)
    offers = (thin(ALDER), thin(CEDAR), thin(BASE), LOST)
    flat = " ".join(compare_page(replace(COMPARED, offers=offers, pairs=pairs)).text().split())
    assert "no effect of the spread of the measurements, for both stand at the thinnest gauge" in flat
    assert "the proofs leave 2.0e-07 EUR/package open" in flat and "+-" not in flat.replace("+- 95 %", "")
    assert "has no effect: every offer stands at its thinnest gauge." in flat
    assert (
        "The barrier of MXD6 oriented is not used to the full: with Alder, Cedar and the project as it is it "
        "stands at the thinnest gauge it may have, 5 um" in flat
    )
    assert "they differ by price and density only" in flat
    assert "barrier of MXD6" not in compare_page(COMPARED).text()

    def told(minimised: str, *found: OfferOutcome) -> str:
        result = replace(COMPARED, offers=found, pairs=pairs, minimised=minimised)
        return " ".join(compare_page(result).text().split()).replace("- ", "-")

    assert "they differ by density only" in told("mass", *offers)
    assert "they differ" not in told("thickness", *offers)
    wider = replace(offers[1], structure={"bottle": (ChosenLayer("MXD6 oriented", 9.0),)})
    flat = told("cost", offers[0], wider)
    assert "with Alder and Cedar it stands at the thinnest gauge of each, and the" in flat
    assert "they differ" not in flat


def test_that_there_is_nothing_to_tie_with_is_no_condition() -> None:
    alone = replace(BASE, rank=1, rival="", break_even_note="there is nothing to tie with")
    assert "nothing to tie with" not in compare_page(replace(COMPARED, offers=(alone,), pairs=())).text()
    assert "The project as it is: never ties." in compare_page(COMPARED).text()


def test_warnings_about_the_best_and_those_close_to_it_stand_first() -> None:
    warnings = ("Something of the project", "Dogwood: lost", "Cedar: close", "Alder: best")
    page = compare_page(replace(COMPARED, warnings=warnings)).text()
    found = [line.strip("- ") for line in page.partition("\nWarnings\n")[2].splitlines()[:4]]
    assert found == ["Alder: best", "Cedar: close", "Something of the project", "Dogwood: lost"]


def test_the_first_page_holds_the_best_against_the_next_and_against_the_project_as_it_is() -> None:
    limits = made(COMPARED).limits
    assert [x.partition(": ")[0] for x in limits[:2]] == [
        "0.0001 EUR/package (0.5 %) cheaper than Cedar",
        "0.001 EUR/package (4.8 %) cheaper than the project as it is",
    ]


def test_walls_stand_side_by_side_and_the_best_is_on_the_first_page() -> None:
    report = made(COMPARED)
    walls = next(s for s in report.sections if s.key == "walls")
    assert [f.title.partition(":")[0] for f in walls.figures] == ["Alder", "Cedar", "Project as it is"]
    assert isinstance(report.drawings[0], SectionDrawing)
    assert [x.thickness for x in report.drawings[0].layers] == [108.0, 4.0]


def test_an_offer_that_cannot_meet_the_target_is_said_in_words() -> None:
    report = made(COMPARED)
    section = next(s for s in report.sections if s.key == "none")
    assert section.page is not None and "CO2 loss" in section.page.text()
    assert any(x.startswith("No structure meets the target: Dogwood") for x in report.limits)


def test_without_any_structure_the_report_says_no_and_draws_nothing() -> None:
    report = made(NONE)
    assert report.good is False and report.verdict.startswith("INFEASIBLE")
    assert report.drawings == () and report.facts == ()
    assert not any(s.figures for s in report.sections)


def test_one_offer_alone_has_no_pairs() -> None:
    report = made(replace(COMPARED, offers=(replace(ALDER, rival="", plus_minus=None),), pairs=()))
    assert [len(s.figures) for s in report.sections if s.key == "ranking"] == [1]
    assert "Distance to the next" not in {f.name for f in report.facts}


def test_what_it_rests_on_is_what_the_page_says() -> None:
    basis = made(COMPARED).basis
    assert basis.assumptions == ("1 USD is 0.9 EUR, as given.",)
    assert basis.cautions == ("Ask for the declaration.",)
    assert basis.warnings == ("Alder: something to look into",) and basis.gases == ("O2", "CO2", "H2O")


def test_hostile_names_come_through_as_they_are_but_for_signs_that_no_page_takes() -> None:
    bad = replace(COMPARED, offers=(replace(ALDER, name=HOSTILE), CEDAR), title=HOSTILE, pairs=())
    report = made(bad)
    assert report.title == HOSTILE and report.facts[0].value == HOSTILE
    assert bars(value_chart(bad)).rows[0] == HOSTILE


def test_in_american_units_prices_are_by_the_pound_and_layers_in_mil() -> None:
    report = made(COMPARED, US)
    assert isinstance(report.drawings[0], SectionDrawing) and report.drawings[0].unit == "mil"
    # 10 EUR/kg times 0.45359237 kg
    assert {f.name: f.value for f in report.facts}["Alder ties at"] == "4.536 EUR/lb"

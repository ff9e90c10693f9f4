"""Comparison of offers against closed forms: a wall of one layer costs price * density * area * thickness.

The project tests/data/offers/slab.yaml is held by its specification: 40 cm3 um/(m2 day atm) over 2
cm3/(m2 day atm) asks for 20 um, so that every cost and every price to tie follows by hand.
"""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import pytest

import optimizer
from optimizer.design.breakeven import Line, break_even
from optimizer.design.compare_answer import Apart, Compared, apart
from optimizer.design.spread import Effects
from optimizer.report.compare import compare_page
from optimizer.results_compare import CompareResult, OfferOutcome

SLAB = (Path(__file__).parents[1] / "data/offers/slab.yaml").read_text(encoding="utf-8")
#: g of 20 um of 1000 kg/m3 on 400 cm2, and what it costs at 2 EUR/kg.
GRAMS, COST = 0.8, 1.6e-3
#: A second way to the same barrier, so that the slab is given up when it becomes dear.
PLAIN = """\
  - name: plain
    density: 900 kg/m3
    price: 1.5 EUR/kg
    family: PE
    gauge: {min: 20 um, max: 900 um}
    roles: [seal, print, core]
    permeability:
      - {gas: O2, value: "200 cm3*um/(m2*day*atm)", temperature: 23 degC, humidity: 0 %}
      - {gas: H2O, value: "1 g*um/(m2*day)", temperature: 38 degC, humidity: 90 %}
"""
HEAD = "supplier,material,grade,price,currency,density,min_gauge,gas,value,temperature,humidity,spread\n"
#: Optimised costs agree with the closed form to the gap and the guard of the limits.
CLOSE = 1e-3


def project(folder: Path, *changes: tuple[str, str]) -> Path:
    """The slab project with texts replaced."""
    text = SLAB
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "project.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def two_materials(folder: Path) -> Path:
    return project(folder, ("[slab]", "[slab, plain]"), ("product:\n", PLAIN + "product:\n"))


def compared(path: Path, rows: str, **options: object) -> CompareResult:
    sheet = path.parent / "offers.csv"
    sheet.write_text(HEAD + rows, encoding="utf-8")
    return optimizer.compare(path, sheet, **options)  # type: ignore[arg-type]


def offer(result: CompareResult, name: str) -> OfferOutcome:
    return next(o for o in result.offers if o.name == name)


def o2(value: float, spread: str = "") -> str:
    return f"O2,{value} cm3*um/(m2*day*atm),23 degC,0 %,{spread}"


# -- costs and prices to tie ---------------------------------------------------------------------------------


def test_a_single_layer_costs_price_times_density_times_volume(tmp_path: Path) -> None:
    result = compared(project(tmp_path), f"A,slab,,3 EUR/kg,,,,{o2(20)}\n", volume=2e6)
    a, base = offer(result, "A"), offer(result, "project as it is")
    assert base.cost_per_package == pytest.approx(COST, rel=CLOSE)
    assert base.mass_g == pytest.approx(GRAMS, rel=CLOSE)
    # half the permeability, half the thickness, at 3 instead of 2 EUR/kg
    assert a.cost_per_package == pytest.approx(COST * 0.5 * 1.5, rel=CLOSE)
    assert a.cost_per_year == pytest.approx(COST * 0.5 * 1.5 * 2e6, rel=CLOSE)
    assert [layer.thickness_um for layer in a.structure["film"]] == pytest.approx([10.0], rel=CLOSE)
    assert (a.rank, base.rank, a.rival) == (1, 2, "project as it is")


@pytest.mark.parametrize("value", [10.0, 20.0, 32.0, 60.0])
def test_the_break_even_price_of_a_single_layer_is_the_inverse_ratio_of_the_permeabilities(
    tmp_path: Path, value: float
) -> None:
    """Equal cost: p' rho A t' = p rho A t with t'/t = P'/P."""
    result = compared(project(tmp_path), f"A,slab,,2.2 EUR/kg,,,,{o2(value)}\n")
    assert offer(result, "A").break_even_price == pytest.approx(2.0 * 40.0 / value, rel=CLOSE)
    assert offer(result, "project as it is").break_even_price == pytest.approx(2.2 * value / 40.0, rel=CLOSE)


def test_a_tenth_of_the_permeability_is_worth_what_the_least_gauge_lets_it_save(tmp_path: Path) -> None:
    """2 um would do, 5 um is the least that the project runs: 20/5 of the price and not ten times it."""
    result = compared(project(tmp_path), f"A,slab,,2 EUR/kg,,,,{o2(4)}\nB,slab,,2 EUR/kg,,,2 um,{o2(4)}\n")
    a, b = offer(result, "A"), offer(result, "B")
    assert a.cost_per_package == pytest.approx(COST * 5 / 20, rel=CLOSE)
    assert b.cost_per_package == pytest.approx(COST * 2 / 20, rel=CLOSE)
    assert a.rival == "B" and a.break_even_price == pytest.approx(2.0 * 2 / 5, rel=CLOSE)
    assert b.rival == "A" and b.break_even_price == pytest.approx(2.0 * 5 / 2, rel=CLOSE)


def test_a_lighter_grade_ties_at_the_inverse_ratio_of_the_densities(tmp_path: Path) -> None:
    result = compared(project(tmp_path), "A,slab,,2 EUR/kg,,900 kg/m3,,,,,,\n")
    a = offer(result, "A")
    assert a.mass_g == pytest.approx(0.9 * GRAMS, rel=CLOSE)
    assert a.break_even_price == pytest.approx(2.0 / 0.9, rel=1e-6)


def test_prices_per_tonne_and_in_another_currency_are_compared_at_the_rate_given(tmp_path: Path) -> None:
    rows = "A,slab,,1.9,EUR/kg,,,,,,,\nB,slab,,2000,USD/t,,,,,,,\n"
    result = compared(project(tmp_path), rows, rates=["USD=0.9 EUR"])
    b = offer(result, "B")
    assert b.rank == 1 and b.cost_per_package == pytest.approx(COST * 1.8 / 2.0, rel=CLOSE)
    # it ties with A, 1.9 EUR/kg = 1900 / 0.9 USD/t
    assert (b.price, b.price_unit) == (2000.0, "USD/t")
    assert b.break_even_price == pytest.approx(1900.0 / 0.9, rel=1e-6)
    assert "1 USD is 0.9 EUR, as given." in result.assumptions


def test_the_replaced_material_is_replaced_in_walls_that_are_not_designed_too(tmp_path: Path) -> None:
    """A second panel of 100 um, half the area, stays as thick; it is bought from the same supplier."""
    panel = "    panel: {area: 400 cm2, wall: film}\n"
    path = project(
        tmp_path,
        (panel, panel + "    rim: {area: 200 cm2, wall: edge}\n"),
        ("storage:\n", "  edge: {layers: [{material: slab, thickness: 100 um}]}\nstorage:\n"),
    )
    a = offer(compared(path, "A,slab,,1 EUR/kg,,,,,,,,\n"), "A")
    rim = 1000 * 0.02 * 100e-6
    assert a.cost_per_package == pytest.approx(1.0 * (GRAMS * 1e-3 + rim), rel=CLOSE)
    assert a.offered_g == a.mass_g == pytest.approx(GRAMS + 1e3 * rim, rel=CLOSE)


def test_scrap_and_passes_are_part_of_the_cost_and_of_the_price_to_tie(tmp_path: Path) -> None:
    """A fifth of what is bought is scrap: everything costs 1/0.8. The pass of 0.01 EUR/m2 over 400 cm2 is the
    same for both, so that the price still ties at the inverse ratio of the permeabilities."""
    path = project(
        tmp_path,
        ("    price: 2 EUR/kg\n", "    price: 2 EUR/kg\n    pass_cost: 0.01 EUR/m2\n"),
        ("choose_from: [slab]\n", "choose_from: [slab]\n  rules: {scrap: 20 %}\n"),
    )
    a = offer(compared(path, f"A,slab,,3 EUR/kg,,,,{o2(20)}\n"), "A")
    assert a.cost_per_package == pytest.approx((0.4e-3 * 3 + 0.04 * 0.01) / 0.8, rel=CLOSE)
    assert a.offered_g == a.mass_g == pytest.approx(GRAMS / 2, rel=CLOSE)
    assert a.break_even_price == pytest.approx(4.0, rel=CLOSE)


def test_an_offer_for_a_web_replaces_it_in_every_gauge(tmp_path: Path) -> None:
    """20 um would do and 25 um is bought; at half the permeability 10 um would do and 12 um is bought."""
    path = project(
        tmp_path,
        ("    gauge: {min: 5 um, max: 500 um}\n", "    gauges: [12 um, 25 um, 50 um]\n"),
        ("thickness: 40 um", "thickness: 25 um"),
    )
    result = compared(path, f"A,slab,,1.9 EUR/kg,,,,{o2(20)}\n")
    a, base = offer(result, "A"), offer(result, "project as it is")
    assert [layer.thickness_um for layer in a.structure["film"]] == [12.0]
    assert a.cost_per_package == pytest.approx(1000 * 0.04 * 12e-6 * 1.9)
    assert a.break_even_price == pytest.approx(2.0 * 25 / 12)
    assert base.break_even_price == pytest.approx(1.9 * 12 / 25)


def test_an_identical_offer_under_a_new_name_ties_at_its_own_price_and_cannot_be_told_apart(
    tmp_path: Path,
) -> None:
    result = compared(project(tmp_path), "A,slab,,2 EUR/kg,,,,,,,,\nB,slab,,2 EUR/kg,,,,,,,,\n")
    assert {o.rank for o in result.offers} == {1}
    for o in result.offers:
        assert o.break_even_price == o.price == 2.0
        assert (o.difference, o.distinguishable) == (0.0, False)


def test_a_cheaper_price_for_the_same_material_is_certain_whatever_the_spread(tmp_path: Path) -> None:
    """Both rest on one measurement, which moves both alike: only the prices differ."""
    a = offer(compared(project(tmp_path), "A,slab,,1.99 EUR/kg,,,,,,,,\n"), "A")
    assert a.rank == 1 and a.distinguishable is True
    assert a.difference == pytest.approx(-0.005 * COST, rel=1e-3)
    # the spread of 5 % acts on the difference only
    assert a.plus_minus == pytest.approx(1.96 * 0.05 * 0.005 * COST, rel=0.02)


def test_an_offer_that_cannot_meet_the_target_has_no_rank(tmp_path: Path) -> None:
    """100 times the permeability asks for 2000 um; the gauge ends at 500 um."""
    result = compared(project(tmp_path), f"A,slab,,1 EUR/kg,,,,{o2(4000)}\n")
    a = offer(result, "A")
    assert (a.status, a.rank, a.cost_per_package, a.break_even_price) == ("infeasible", None, None, None)
    assert a.conflict and not result.feasible and result.status == "infeasible"
    assert offer(result, "project as it is").rank == 1


def test_an_offer_without_a_price_is_not_ranked_and_told_where_it_would_tie(tmp_path: Path) -> None:
    """Half the permeability, half the thickness: twice the price of the best of the others, B at 1.5."""
    rows = f"A,slab,,,,,,{o2(20)}\nB,slab,,1.5 EUR/kg,,,,,,,,\n"
    result = compared(project(tmp_path), rows, volume=2e6)
    a, b = offer(result, "A"), offer(result, "B")
    assert [o.name for o in result.offers] == ["B", "project as it is", "A"]
    assert a.unpriced and a.rival == "B" and (a.rank, a.price, a.value) == (None, None, None)
    assert (a.cost_per_package, a.cost_per_year, a.difference, a.lower_bound) == (None, None, None, None)
    assert (a.break_even_price, a.price_unit) == (pytest.approx(2 * 1.5, rel=CLOSE), "EUR/kg")
    assert [layer.thickness_um for layer in a.structure["film"]] == pytest.approx([10.0], rel=CLOSE)
    # it is nobody's rival, and no pair holds it
    assert b.rival == "project as it is" and b.break_even_price == pytest.approx(2.0, rel=CLOSE)
    assert [(p.first, p.second) for p in result.pairs] == [("B", "project as it is")]


def test_where_mass_is_minimised_the_price_of_the_project_is_not_that_of_an_offer_without_one(
    tmp_path: Path,
) -> None:
    path = project(tmp_path, ("minimise: cost", "minimise: mass"))
    result = compared(path, f"A,slab,,,,,,{o2(20)}\n")
    a, base = offer(result, "A"), offer(result, "project as it is")
    assert a.rank == 1 and base.cost_per_package is not None
    assert (a.price, a.cost_per_package, a.break_even_price) == (None, None, None)
    assert (base.break_even_price, base.break_even_note) == (None, "A has no price")
    assert "no price" in compare_page(result).text().partition("At equal")[2].partition("Price at")[0]


def test_a_sheet_without_any_price_says_where_each_ties_with_the_project(tmp_path: Path) -> None:
    result = compared(project(tmp_path), f"A,slab,,,,,,{o2(20)}\nB,slab,,,,,,{o2(60)}\n")
    ties = [offer(result, name).break_even_price for name in "AB"]
    assert ties == pytest.approx([2 * 40 / 20, 2 * 40 / 60], rel=CLOSE)
    assert result.feasible and result.status == "done" and result.offers[0].baseline


def test_an_offer_without_a_price_that_alone_meets_the_target_has_nothing_to_tie_with(tmp_path: Path) -> None:
    """The slab of the project needs 20 um and ends at 15 um."""
    path = project(tmp_path, ("max: 500 um", "max: 15 um"))
    result = compared(path, f"A,slab,,,,,,{o2(20)}\n")
    a, base = offer(result, "A"), offer(result, "project as it is")
    assert result.feasible and a.unpriced and (base.rank, a.rank, a.rival) == (None, None, "")
    assert (a.break_even_price, a.break_even_note) == (None, "there is nothing to tie with")
    assert "NOT RANKED: no offer that meets the target has a price." in compare_page(result).text()


def test_offers_with_the_same_properties_keep_their_own_sources(tmp_path: Path) -> None:
    """A states no humidity, B the one that is taken then: one law, one structure, two data sheets."""
    tested = "O2,20 cm3*um/(m2*day*atm),23 degC"
    result = compared(
        project(tmp_path), f"A,slab,,2 EUR/kg,,,,{tested},,\nB,slab,,2 EUR/kg,,,,{tested},0 %,\n"
    )
    assert offer(result, "A").value == offer(result, "B").value
    told = [row["source"] for row in result.sources if row["source"].startswith("offer of")]
    assert [text[:10] for text in told] == ["offer of A", "offer of B"]
    assert told[0].endswith("humidity not given") and told[1].endswith("0 %RH")


def test_with_mass_to_minimise_the_lighter_wins_and_the_dearer_is_told(tmp_path: Path) -> None:
    path = project(tmp_path, ("minimise: cost", "minimise: mass"))
    a = offer(compared(path, f"A,slab,,5 EUR/kg,,,,{o2(20)}\n"), "A")
    assert a.rank == 1 and a.value == a.mass_g == pytest.approx(GRAMS / 2, rel=CLOSE)
    assert a.cost_per_package == pytest.approx(COST * 0.5 * 2.5, rel=CLOSE)
    assert a.break_even_price == pytest.approx(4.0, rel=CLOSE)


# -- the optimised cost over the price -----------------------------------------------------------------------


def test_cost_rises_with_the_price_and_is_concave_until_the_material_is_given_up(tmp_path: Path) -> None:
    """Slab alone: 0.8 g; plain alone: 100 um of 900 kg/m3 at 1.5 EUR/kg = 5.4e-3 EUR. Both: never better, as
    the resistances add: t_slab/40 + t_plain/200 = 1/2. So C(p) = min(0.8e-3 p, 5.4e-3), bent at 6.75."""
    prices = [1.0, 3.0, 5.0, 6.5, 7.0, 9.0]
    rows = "".join(f"S{p:g},slab,,{p} EUR/kg,,,,,,,,\n" for p in prices)
    result = compared(two_materials(tmp_path), rows)
    costs = [offer(result, f"S{p:g}").cost_per_package or 0.0 for p in prices]
    assert costs == pytest.approx([min(0.8e-3 * p, 5.4e-3) for p in prices], rel=CLOSE)
    assert all(b >= a for a, b in pairwise(costs))
    slopes = [(d - c) / (q - p) for (p, q), (c, d) in zip(pairwise(prices), pairwise(costs), strict=True)]
    assert all(b <= a * (1 + 1e-6) for a, b in pairwise(slopes))
    given_up = offer(result, "S9")
    assert given_up.offered_g == 0.0 and given_up.break_even_price == pytest.approx(1.0, rel=CLOSE)


def test_an_offer_that_is_not_used_ties_where_it_would_come_into_use(tmp_path: Path) -> None:
    """Ten times the permeability asks for 200 um, 8 g: at 9 EUR/kg the plain material is cheaper, and 8 g
    cost as much as 0.8 g of the project at 2 EUR/kg when the kg costs 0.2 EUR."""
    rows = f"A,slab,,6 EUR/kg,,,,,,,,\nB,slab,,9 EUR/kg,,,,{o2(400)}\n"
    result = compared(two_materials(tmp_path), rows)
    a, b = offer(result, "A"), offer(result, "B")
    assert a.cost_per_package == pytest.approx(0.8e-3 * 6, rel=CLOSE)
    assert b.offered_g == 0.0 and b.cost_per_package == pytest.approx(5.4e-3, rel=CLOSE)
    assert b.break_even_price == pytest.approx(0.2, rel=CLOSE)


def test_an_offer_that_is_given_up_before_it_ties_never_does(tmp_path: Path) -> None:
    """With a density of 9000 kg/m3 in the project the slab would cost 14.4e-3 and is not used: the project
    costs the 5.4e-3 of the plain material, and so does any offer that is too dear to be used."""
    path = two_materials(tmp_path)
    path.write_text(path.read_text("utf-8").replace("density: 1000", "density: 9000"), encoding="utf-8")
    result = compared(path, f"A,slab,,0.1 EUR/kg,,,,{o2(40)}\nB,slab,,0.2 EUR/kg,,,,{o2(40)}\n")
    a, b = offer(result, "A"), offer(result, "B")
    # 7.2 g of either; they tie with each other, and with the project at 5.4e-3 EUR / 7.2 g
    assert (a.rank, b.rank) == (1, 2)
    assert a.break_even_price == pytest.approx(0.2, rel=CLOSE)
    assert b.break_even_price == pytest.approx(0.1, rel=CLOSE)
    alone = offer(compared(path, f"A,slab,,0.1 EUR/kg,,,,{o2(40)}\n"), "A")
    assert alone.break_even_price == pytest.approx(0.75, rel=CLOSE)


def envelope(*lines: tuple[float, float]) -> list[Line]:
    return [Line(other, kg) for other, kg in lines]


@pytest.mark.parametrize("start", [0.0, 0.5, 1.0, 2.5, 4.0, 10.0, 1e6])
@pytest.mark.parametrize("target", [0.5, 2.0, 3.9, 4.5, 5.5])
def test_newton_finds_the_root_of_any_concave_envelope_from_anywhere(start: float, target: float) -> None:
    """C(p) = min(2p, 2 + p, 4 + 0.4 p, 6): roots by hand."""
    lines = envelope((0.0, 2.0), (2.0, 1.0), (4.0, 0.4), (6.0, 0.0))
    roots = {0.5: 0.25, 2.0: 1.0, 3.9: 1.95, 4.5: 2.5, 5.5: 3.75}
    found = break_even(lambda p: min(lines, key=lambda x: x.cost(p)), start, target)
    assert found.price == pytest.approx(roots[target], rel=1e-6)
    assert found.solved <= 6


def test_without_a_root_the_reason_is_told() -> None:
    lines = envelope((1.0, 2.0), (3.0, 0.0))

    def solve(p: float) -> Line:
        return min(lines, key=lambda x: x.cost(p))

    assert break_even(solve, 0.5, 4.0).price is None
    assert "ahead at any price" in break_even(solve, 0.5, 4.0).why
    assert break_even(solve, 0.5, 0.9).price is None
    assert "cost nothing" in break_even(solve, 5.0, 0.9).why
    assert "time" in break_even(lambda p: None, 1.0, 2.0).why


def test_where_the_cost_is_flat_at_the_target_the_price_is_that_at_which_it_gets_there() -> None:
    lines = envelope((0.0, 2.0), (3.0, 0.0))
    found = break_even(lambda p: min(lines, key=lambda x: (x.cost(p), x.kg)), 9.0, 3.0)
    assert found.price == pytest.approx(1.5)


# -- what can be told apart ----------------------------------------------------------------------------------


def test_the_interval_of_a_single_layer_is_that_of_its_permeability(tmp_path: Path) -> None:
    """Cost is proportional to permeability: 10 % and 5 % of each cost, independent, times 1.96."""
    result = compared(project(tmp_path), f"A,slab,,2 EUR/kg,,,,{o2(38, '10 %')}\n")
    a = offer(result, "A")
    wanted = 1.96 * math.hypot(0.10 * 0.95 * COST, 0.05 * COST)
    assert a.plus_minus == pytest.approx(wanted, rel=0.02)
    assert a.difference == pytest.approx(-0.05 * COST, rel=0.02)
    assert a.distinguishable is False
    (pair,) = result.pairs
    assert pair.spread_needed == pytest.approx(0.05 * COST / wanted, rel=0.03)
    assert a.spread_pct == {"O2": 10.0}


def test_at_the_least_gauge_the_spread_has_no_effect_and_the_barrier_is_not_used(tmp_path: Path) -> None:
    """2 um would do and 5 um is the least: no measurement moves either wall, and only the prices differ."""
    rows = f"A,slab,,2 EUR/kg,,,,{o2(4)}\nB,slab,,2.1 EUR/kg,,,,{o2(3.9)}\n"
    result = compared(project(tmp_path), rows)
    a, b, base = (offer(result, name) for name in ("A", "B", "project as it is"))
    assert (a.barrier_unused, b.barrier_unused, base.barrier_unused) == (True, True, False)
    first = result.pairs[0]
    assert (first.first, first.second, first.plus_minus, first.distinguishable) == ("A", "B", 0.0, True)
    assert first.difference == pytest.approx(0.1 / 2.0 * COST * 5 / 20, rel=CLOSE)


@pytest.mark.parametrize(("bound", "told"), [(1.0002, True), (1.0, False), (0.9999, False)])
def test_what_the_proofs_leave_open_cannot_be_told_apart_where_no_measurement_matters(
    bound: float, told: bool
) -> None:
    """0.1 % apart: the dearer may cost as little as its lower bound, the cheaper no more than 1."""
    better, other = (
        Compared(None, None, None, value, low, Effects({}))  # type: ignore[arg-type]
        for value, low in ((1.0, 0.9995), (1.001, bound))
    )
    found = apart(better, other, price_only=False)
    assert (found.half, found.told) == (0.0, told)
    assert found.difference - found.certain == pytest.approx(min(1.001 - bound, 0.001))


def test_rounding_is_no_difference_and_no_interval() -> None:
    better, other = (
        Compared(None, None, None, value, value, Effects({("project", "slab", "O2"): effect}))  # type: ignore[arg-type]
        for value, effect in ((0.0146, 3e-16), (0.0146 + 8e-15, -2e-16))
    )
    assert apart(better, other, price_only=False) == Apart(0.0, 0.0, 0.0)


def test_without_a_stated_spread_that_between_laboratories_is_assumed_and_said(tmp_path: Path) -> None:
    result = compared(
        project(tmp_path), f"A,slab,,2 EUR/kg,,,,{o2(30)}\nB,slab,,2 EUR/kg,,,,{o2(30, '0 %')}\n"
    )
    a, b = offer(result, "A"), offer(result, "B")
    assert (a.spread_pct, b.spread_pct) == ({"O2": 5.0}, {"O2": 0.0})
    assert any("four laboratories" in text for text in result.assumptions)
    # A and B cost the same; only A's value is uncertain, to 5 % of 30/40 of the cost
    assert a.plus_minus == pytest.approx(1.96 * 0.05 * 0.75 * COST, rel=0.02)


def test_a_large_difference_is_told_apart_in_spite_of_the_spread(tmp_path: Path) -> None:
    result = compared(project(tmp_path), f"A,slab,,2 EUR/kg,,,,{o2(28, '10 %')}\n")
    assert offer(result, "A").distinguishable is True

"""``layerwright compare``: what it prints, what it writes, how it ends."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.cli.options import read_volume
from optimizer.report.compare import compare_page
from optimizer.results import ChosenLayer
from optimizer.results_compare import CompareResult, OfferOutcome, Pair

Invoke = Callable[..., int]
Answers = Callable[..., None]

SLAB = Path(__file__).parents[1] / "data/offers/slab.yaml"
WALL = {"film": (ChosenLayer("slab", 20.0),)}


def outcome(name: str, rank: int | None, cost: float, price: float | None, **more: object) -> OfferOutcome:
    base = OfferOutcome(
        name=name,
        supplier=name,
        material="slab",
        grade="",
        baseline=False,
        status="optimal",
        rank=rank,
        structure=WALL,
        value=cost,
        lower_bound=cost,
        gap=0.0,
        cost_per_package=cost,
        cost_per_year=cost * 2e6,
        mass_g=0.8,
        offered_g=0.8,
        shelf_life_days=200.0,
        price=price,
        price_unit="EUR/kg",
    )
    return replace(base, **more)  # type: ignore[arg-type]


AHEAD = outcome(
    "Alder of a name that is rather long", 1, 1.5e-3, 1.9, break_even_price=2.0, rival="project as it is"
)
BASE = outcome("project as it is", 2, 1.6e-3, 2.0, baseline=True, break_even_price=1.9, rival=AHEAD.name)
NEVER = outcome(
    "Birch", 3, 1.7e-3, 3.0, rival=AHEAD.name, break_even_note="it would not tie even if it were free"
)
OUT = outcome(
    "Cedar", None, 0.0, 1.0, status="infeasible", structure={}, conflict=("oxygen_gain",), nearest="Less."
)
RESULT = CompareResult(
    title="Pouch (invented)",
    version="1",
    inputs_sha256="0",
    status="done",
    minimised="cost",
    objective_unit="EUR/package",
    currency="EUR",
    target_days=180.0,
    volume_per_year=2e6,
    offers=(AHEAD, BASE, NEVER, OUT),
    pairs=(
        Pair(AHEAD.name, BASE.name, 1e-4, 2e-4, False, 0.5),
        Pair(AHEAD.name, NEVER.name, 2e-4, 1e-4, True),
        Pair(BASE.name, NEVER.name, 1e-4, 2e-4, False, 0.5),
    ),
    gases=("O2", "H2O"),
    rates={},
    warnings=("slab: O2: value from memory, confirm it",),
    assumptions=("One.",),
    sources=(
        {"material": "slab", "gas": "O2", "value": "1", "unit": "Barrer", "source": "x", "grade": "memory"},
    ),
    cautions=("Ask.",),
    solver={"name": "HiGHS", "optimised": 9, "gap_asked": 1e-3, "seconds": 1.0},
)
NONE = replace(RESULT, offers=(replace(BASE, rank=1), OUT), pairs=(), status="infeasible")


def test_the_status_says_whether_any_offer_meets_the_target(invoke: Invoke, answers: Answers) -> None:
    answers(compare=RESULT)
    assert invoke("compare", "p.yaml", "--offers", "o.csv") == 0
    answers(compare=NONE)
    assert invoke("compare", "p.yaml", "--offers", "o.csv") == 1


def test_the_page_keeps_to_eighty_columns_and_says_who_wins_by_how_much() -> None:
    text = compare_page(RESULT).text()
    assert all(len(line) <= 80 for line in text.splitlines())
    flat = " ".join(text.split())
    assert (
        "CHEAPEST: Alder of a name that is rather long for slab, 0.0015 EUR/package; "
        "it cannot be told apart from the project as it is." in flat
    )
    assert "0.0001 EUR/package (6.2 %) cheaper than the project as it is: 200 EUR a year at 2000000" in flat
    assert "The two cannot be told apart" in flat and "CANNOT be told apart" in flat
    assert "stays ahead of the project as it is up to 2 EUR/kg (now 1.9 EUR/kg)" in flat
    assert "Birch: it would not tie even if it were free." in flat
    assert "the spreads would have to be 50 % of what they are" in flat
    assert "Cedar for slab: oxygen gain. Less." in flat
    assert "Also cannot be told apart: the project as it is and Birch." in flat


def test_without_an_offer_that_works_the_page_says_so_first() -> None:
    lines = compare_page(NONE).text().splitlines()
    assert lines[2] == "INFEASIBLE: no offer can meet the target."
    late = replace(NONE, status="time_limit", offers=(replace(OUT, status="time_limit"),))
    text = compare_page(late).text()
    assert text.splitlines()[2].startswith("TIME LIMIT") and "none was found in the time given" in text


def test_other_objectives_are_ranked_and_worded_in_their_own_unit() -> None:
    light = replace(RESULT, minimised="mass", objective_unit="g/package")
    assert "LIGHTEST" in compare_page(light).text() and "lighter than" in compare_page(light).text()
    thin = replace(RESULT, minimised="thickness", objective_unit="um")
    assert "THINNEST" in compare_page(thin).text()


@pytest.mark.parametrize("text", ["2000000", "2 000 000", "2e6", "2_000_000", " 2000000.0 "])
def test_a_volume_is_a_plain_number(text: str) -> None:
    assert read_volume(text) == 2e6


@pytest.mark.parametrize("text", ["0", "-1", "two", "2,000,000", "2 00", "inf", "", "1e999"])
def test_anything_else_is_no_volume(invoke: Invoke, text: str) -> None:
    with pytest.raises(ValueError, match="number of packages"):
        read_volume(text)
    assert invoke("compare", "p.yaml", "--offers", "o.csv", f"--volume={text}") == 2


def test_a_whole_run_prints_and_writes_the_answer(
    invoke: Invoke, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "offers.csv"
    sheet.write_text(
        "supplier,material,price,gas,value,temperature,humidity,spread\n"
        "Alder,slab,2.1 EUR/kg,O2,38 cm3*um/(m2*day*atm),23 degC,0 %,10 %\n"
        "Birch,slab,1.5 USD/kg,,,,,\n",
        encoding="utf-8",
    )
    target = tmp_path / "answer.json"
    run = ["compare", str(SLAB), "--offers", str(sheet), "--volume", "1e6", "--json", str(target)]
    assert invoke(*run, "--rate", "USD=0.9 EUR") == 0
    out, _ = capsys.readouterr()
    assert "CHEAPEST: Birch for slab, 0.00108 EUR/package." in out
    answer = json.loads(target.read_text(encoding="utf-8"))
    assert (answer["command"], answer["status"], answer["currency"]) == ("compare", "done", "EUR")
    assert list(answer)[:7] == [
        "command",
        "title",
        "version",
        "inputs_sha256",
        "warnings",
        "assumptions",
        "sources",
    ]
    first = answer["offers"][0]
    assert (first["supplier"], first["material"], first["rank"]) == ("Birch", "slab", 1)
    # 20 um of 1000 kg/m3 on 400 cm2 at 1.35 EUR/kg
    assert first["cost_per_package"] == pytest.approx(0.8e-3 * 1.35, rel=1e-3)
    assert first["cost_per_year"] == pytest.approx(0.8e-3 * 1.35 * 1e6, rel=1e-3)
    assert first["structure"]["film"][0]["thickness_um"] == pytest.approx(20.0, rel=1e-3)
    alder = next(o for o in answer["offers"] if o["supplier"] == "Alder")
    # at 38/40 of the thickness it ties at 40/38 of 1.35 EUR/kg
    assert alder["break_even_price"] == pytest.approx(1.35 * 40 / 38, rel=1e-3)
    assert alder["distinguishable"] is True and alder["spread_pct"] == {"O2": 10.0}


def test_wrong_input_ends_with_two_and_names_the_cell(
    invoke: Invoke, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "offers.csv"
    sheet.write_text("supplier,material,price\nAlder,slab,1.5\nBirch,slob,1 EUR/kg\n", encoding="utf-8")
    assert invoke("compare", str(SLAB), "--offers", str(sheet)) == 2
    _, err = capsys.readouterr()
    assert f"{sheet}:2:15: price: a unit is missing" in err
    sheet.write_text("supplier,material,price\nAlder,slab,1.5 USD/kg\n", encoding="utf-8")
    assert invoke("compare", str(SLAB), "--offers", str(sheet), "--rate", "USD=cheap") == 2
    assert "--rate: 'USD=cheap' is no exchange rate" in capsys.readouterr().err
    plain = tmp_path / "project.yaml"
    text = SLAB.read_text(encoding="utf-8")
    plain.write_text(text[: text.index("design:")], encoding="utf-8")
    assert invoke("compare", str(plain), "--offers", str(sheet)) == 2
    assert "the project has no design section" in capsys.readouterr().err

"""The text and the table of a frontier, on an answer made by hand (invented numbers)."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from optimizer.report.record import to_json
from optimizer.report.tradeoff import tradeoff_csv, tradeoff_page
from optimizer.results import ChosenLayer
from optimizer.results_tradeoff import Kink, TradeoffPoint, TradeoffResult

MONTH = 30.4375
FIVE = {
    "bottle": tuple(ChosenLayer(m, t) for m, t in (("HDPE", 510.0), ("tie PE", 6.0), ("EVOH 32", 6.123456)))
}
FOUR = {"bottle": (ChosenLayer("HDPE", 570.0), ChosenLayer("PA6", 10.0))}


def point(
    months: float, objective: float, structure: dict[str, tuple[ChosenLayer, ...]], gap: float = 1e-3
) -> TradeoffPoint:
    return TradeoffPoint(
        shelf_life_days=months * MONTH,
        reached_days=None if months < 4 else 1.1 * months * MONTH,
        objective=objective,
        unit="EUR/package",
        lower_bound=objective * (1 - gap),
        gap=gap,
        structure=structure,
        limited_by=None if months < 4 else "oxygen_gain",
        mass_g=40.0 + months,
        cost_per_package=2 * objective,
    )


KINK = Kink((8.8 * MONTH, 8.9 * MONTH), "tie PE replaced by PA6", FIVE, FOUR, 0.0621, 0.0622, "EUR/package")
FRONTIER = TradeoffResult(
    title="Oat-drink bottle, 1 L (invented)",
    version="0.0.0",
    inputs_sha256="ab" * 32,
    status="complete",
    minimised="cost",
    unit="EUR/package",
    target_days=6 * MONTH,
    points=(
        point(3, 0.05, FIVE),
        point(6, 0.06, FIVE, 9.7e-4),
        point(9, 0.0625, FOUR, 2e-5),
        point(12.2, 0.075, FOUR, 0.0),
    ),
    kinks=(KINK,),
    kink_tolerance=0.01,
    from_days=3 * MONTH,
    to_days=18 * MONTH,
    longest_days=12.2 * MONTH,
    beyond_days=12.3 * MONTH,
    longest_because=("the limit on oxygen gain", "total thickness at most 900 um"),
    limits=("oxygen_gain", "transmission H2O"),
    conflict=(),
    nearest="",
    warnings=("PA6: O2: value from memory, confirm it",),
    assumptions=("Walls are at steady state at every moment.",),
    cautions=(),
    sources=(),
    currency="EUR",
    solver={"name": "HiGHS", "searches": 9, "taken_over": 1, "gap_asked": 0.001, "seconds": 1.5},
)
EMPTY = replace(FRONTIER, points=(), kinks=(), longest_days=None, beyond_days=None, longest_because=())
IMPOSSIBLE = replace(
    EMPTY, status="infeasible", conflict=("the limit on oxygen_gain",), nearest="Nearest: bottle: PA6 90 um."
)
PAGES = {
    "whole": FRONTIER,
    "stopped": replace(FRONTIER, status="time", longest_days=None),
    "empty": replace(EMPTY, status="interrupt"),
    "impossible": IMPOSSIBLE,
    "mass": replace(FRONTIER, minimised="mass", unit="g/package"),
    "two walls": replace(FRONTIER, points=(point(3, 0.05, {**FIVE, "lid": FOUR["bottle"]}),), kinks=()),
    "long names": replace(
        FRONTIER,
        points=(
            point(3, 0.05, {"bottle": tuple(ChosenLayer(f"a very long name {i}", 10.5) for i in range(9))}),
        ),
        kinks=(),
    ),
}


def flat(result: TradeoffResult) -> str:
    return " ".join(tradeoff_page(result).text().split())


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [80, 60])
def test_no_line_is_longer_than_asked_for(name: str, width: int) -> None:
    lines = tradeoff_page(PAGES[name]).text(width=width).splitlines()
    assert max(len(line) for line in lines) <= width
    assert all(line == line.rstrip() for line in lines)


def test_the_first_lines_say_span_cost_proof_and_end() -> None:
    text = flat(FRONTIER)
    assert "FRONTIER: 4 points from 3 to 12.2 months: cost 0.05 to 0.075 EUR/package." in text
    # the widest gap, rounded up
    assert "is more than 0.1 % cheaper." in text
    assert "The longest possible is 12.2 months; for 12.3 months there is no structure." in text
    assert "It is held there by: the limit on oxygen gain, total thickness at most 900 um." in text


def test_a_gap_is_never_rounded_in_favour_of_the_claim() -> None:
    points = tuple(replace(p, gap=0.00101) for p in FRONTIER.points)
    assert "more than 0.11 % cheaper" in flat(replace(FRONTIER, points=points))


def test_every_point_has_its_letter_and_the_letters_are_explained() -> None:
    lines = tradeoff_page(FRONTIER).text().splitlines()
    rows = [line.split() for line in lines if "%" in line and "/" in line and "Proved" not in line]
    assert [[w for w in row if w in ("A", "B")] for row in rows] == [["A"], ["A"], ["B"], ["B"]]
    assert "  A HDPE / tie PE / EVOH 32" in lines and "  B HDPE / PA6" in lines
    assert [row[-1] for row in rows] == ["510/6/6.12", "target", "570/10", "longest"]
    assert any("A to B between 8.8 and 8.9 months" in line for line in lines)


def test_a_small_gap_is_not_called_zero() -> None:
    text = tradeoff_page(FRONTIER).text()
    assert "<0.01 %" in text and " 0 %" in text


def test_the_end_of_the_span_is_not_called_the_longest() -> None:
    whole = (*FRONTIER.points, point(18, 0.1, FOUR))
    text = flat(replace(FRONTIER, points=whole, longest_days=None, beyond_days=None, longest_because=()))
    assert "Structures exist to the end of the span; longer than 18 months was not looked at." in text


def test_without_the_end_of_the_span_nothing_is_said_of_the_longest() -> None:
    text = flat(replace(FRONTIER, status="time", longest_days=None, beyond_days=None))
    assert "How long any structure can last was not found out before it ended." in text


def test_an_end_that_was_only_not_found_is_not_called_impossible() -> None:
    text = flat(replace(FRONTIER, beyond_days=None))
    assert "The longest found is 12.2 months." in text and "longest possible" not in text


@pytest.mark.parametrize(
    ("status", "word"), [("time", "TIME LIMIT"), ("interrupt", "INTERRUPTED"), ("memory", "MEMORY LIMIT")]
)
def test_a_run_that_ended_early_says_so_first(status: str, word: str) -> None:
    assert f"{word}: 4 points" in flat(replace(FRONTIER, status=status))
    assert f"{word}: no structure that passes was found" in flat(replace(EMPTY, status=status))


def test_an_impossible_span_names_the_conflict_and_the_nearest() -> None:
    text = flat(IMPOSSIBLE)
    assert (
        "INFEASIBLE: no structure of these candidates meets all limits and rules even for 3 months." in text
    )
    assert "- the limit on oxygen gain" in text and "Bottle: PA6 90 um." in text


def test_a_point_without_a_bound_is_not_called_proved() -> None:
    points = (replace(FRONTIER.points[0], gap=None, lower_bound=None),)
    assert "Not every point has a proved bound." in flat(replace(FRONTIER, points=points))


def test_mass_is_shown_beside_cost_and_cost_beside_mass() -> None:
    assert "g in all" in tradeoff_page(FRONTIER).text()
    assert "EUR in all" in tradeoff_page(PAGES["mass"]).text()


def test_the_table_has_units_in_its_header_and_a_row_for_each_point() -> None:
    rows = list(csv.reader(io.StringIO(tradeoff_csv(FRONTIER))))
    assert rows[0] == [
        "shelf life [days]",
        "predicted life [days]",
        "cost minimised [EUR/package]",
        "lower bound [EUR/package]",
        "gap [%]",
        "mass of package [g]",
        "cost of package [EUR/package]",
        "life ended by",
        "structure, inside to outside [um]",
        "change since the row before",
    ]
    assert len(rows) == 5 and {len(row) for row in rows} == {10}
    assert [float(row[0]) for row in rows[1:]] == pytest.approx([p.shelf_life_days for p in FRONTIER.points])
    assert rows[1][1] == "" and rows[1][7] == "" and rows[2][7] == "oxygen gain"
    assert rows[1][8] == "HDPE 510 / tie PE 6 / EVOH 32 6.123456"
    assert [row[9] for row in rows[1:]] == ["", "", "tie PE replaced by PA6", ""]
    assert float(rows[2][4]) == pytest.approx(0.097)


def test_the_record_has_the_common_keys_first_and_those_of_the_contract() -> None:
    record = json.loads(to_json(FRONTIER))
    assert list(record)[:7] == [
        "command",
        "title",
        "version",
        "inputs_sha256",
        "warnings",
        "assumptions",
        "sources",
    ]
    assert record["command"] == "tradeoff" and record["longest_days"] == pytest.approx(12.2 * MONTH)
    assert set(record["points"][0]) == {
        "shelf_life_days",
        "reached_days",
        "objective",
        "unit",
        "lower_bound",
        "gap",
        "structure",
        "limited_by",
        "mass_g",
        "cost_per_package",
    }
    assert record["points"][0]["structure"]["bottle"][0]["material"] == "HDPE"
    assert record["kinks"][0]["between_days"] == pytest.approx([8.8 * MONTH, 8.9 * MONTH])
    assert record["kinks"][0]["change"] == "tie PE replaced by PA6"

"""``layerwright tradeoff`` as users run it."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import optimizer
from optimizer.constants import DAY, MONTH
from optimizer.results_tradeoff import TradeoffPoint, TradeoffResult

from .projects import write

Invoke = Callable[..., int]
Answers = Callable[..., None]
RULES = "design: {walls: [film], minimise: cost, choose_from: [slab]}\n"
POINT = TradeoffPoint(90.0, 91.0, 0.05, "EUR/package", 0.0499, 0.002, {"film": ()}, None, 4.0, None)
FOUND = TradeoffResult(
    title="Pouch (invented)",
    version="0",
    inputs_sha256="",
    status="complete",
    minimised="cost",
    unit="EUR/package",
    target_days=90.0,
    points=(POINT,),
    kinks=(),
    kink_tolerance=0.01,
    from_days=30.0,
    to_days=180.0,
    longest_days=None,
    beyond_days=None,
    longest_because=(),
    limits=("oxygen_gain",),
    conflict=(),
    nearest="",
    warnings=(),
    assumptions=(),
    cautions=(),
    sources=(),
    currency="EUR",
    solver={"name": "HiGHS", "searches": 1, "taken_over": 0, "gap_asked": 0.001, "seconds": 0.1},
)


@pytest.fixture
def pouch(tmp_path: Path) -> str:
    """Oxygen comes in through 400 cm2 of one slab; the buyer's limit asks for at least 20 um of it."""
    path = Path(write(tmp_path, "pouch.yaml"))
    text = path.read_text(encoding="utf-8").replace("walls: flexible", "walls: rigid")
    path.write_text(text + RULES, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("result", "status"),
    [
        (FOUND, 0),
        (replace(FOUND, status="time"), 0),
        (replace(FOUND, status="infeasible", points=()), 1),
        (replace(FOUND, status="time", points=()), 1),
        (replace(FOUND, status="interrupt"), 130),
    ],
    ids=["complete", "time with points", "infeasible", "time without", "interrupted"],
)
def test_the_status_says_whether_a_frontier_was_found(
    invoke: Invoke, answers: Answers, result: TradeoffResult, status: int
) -> None:
    answers(tradeoff=result)
    assert invoke("tradeoff", "p.yaml") == status


def test_the_options_reach_the_function_in_si(
    invoke: Invoke, answers: Answers, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: dict[str, Any] = {}

    def remember(project: object, **options: object) -> TradeoffResult:
        given.update(options)
        return FOUND

    answers()
    monkeypatch.setattr(optimizer, "tradeoff", remember)
    arguments = ["--points", "12", "--from", "3 months", "--to", "540 days", "--minimise", "mass"]
    assert invoke("tradeoff", "p.yaml", *arguments, "--time-limit", "20 s", "--gap", "0.2 %") == 0
    assert (given["points"], given["minimise"], given["time_limit"]) == (12, "mass", 20.0)
    assert given["start"] == pytest.approx(3 * MONTH) and given["end"] == pytest.approx(540 * DAY)
    assert given["gap"] == pytest.approx(0.002)
    assert callable(given["stop"]) and given["stop"]() is False


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--from", "3"], "--from"),
        (["--from", "3 um"], "--from"),
        (["--to", "-2 months"], "--to"),
        (["--to", "soon"], "--to"),
        (["--points", "1"], "--points"),
        (["--points", "many"], "--points"),
        (["--points", "100000"], "--points"),
        (["--minimise", "weight"], "--minimise"),
        (["--from", "8 months", "--to", "4 months"], "--from, --to"),
        (["--csv", "-", "--json", "-"], "--csv"),
        (["--csv", "/nowhere/at/all.csv"], "does not exist"),
        (["--gap", "0.1"], "--gap"),
    ],
    ids=lambda x: " ".join(x) if isinstance(x, list) else None,
)
def test_wrong_options_end_with_two_and_are_named(
    invoke: Invoke, pouch: str, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("tradeoff", pouch, *arguments) == 2
    out, err = capsys.readouterr()
    assert out == "" and said in err and "Traceback" not in err


def test_a_project_without_a_design_section_is_wrong_input(
    invoke: Invoke, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("tradeoff", write(tmp_path, "pouch.yaml")) == 2
    assert "no design section" in capsys.readouterr().err


def test_text_table_and_record_of_one_run_agree(
    invoke: Invoke, pouch: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table, record = tmp_path / "f.csv", tmp_path / "f.json"
    arguments = [
        "--points",
        "3",
        "--from",
        "2 months",
        "--to",
        "1 year",
        "--csv",
        str(table),
        "--json",
        str(record),
    ]
    assert invoke("tradeoff", pouch, *arguments) == 0
    text = capsys.readouterr().out
    assert text.splitlines()[2].startswith("FRONTIER: 3 points from 2 to 12 months: cost ")
    assert max(len(line) for line in text.splitlines()) <= 80
    answer = json.loads(record.read_text(encoding="utf-8"))
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8"))))
    assert answer["command"] == "tradeoff" and answer["status"] == "complete"
    assert len(answer["inputs_sha256"]) == 64 and answer["version"] == optimizer.__version__
    assert len(rows) == len(answer["points"]) == 3
    for row, point in zip(rows, answer["points"], strict=True):
        assert float(row["shelf life [days]"]) == pytest.approx(point["shelf_life_days"])
        assert float(row["cost minimised [EUR/package]"]) == pytest.approx(point["objective"])
        (layer,) = point["structure"]["film"]
        # 400 cm2, 1000 kg/m3, 2 EUR/kg
        assert point["objective"] == pytest.approx(0.04 * 1000 * 2 * layer["thickness_um"] * 1e-6, rel=1e-6)
    # 40 cm3 um/(m2 day atm) and at most 2 cm3/(m2 day atm): 20 um at least, whatever the shelf life
    assert answer["points"][0]["structure"]["film"][0]["thickness_um"] == pytest.approx(20.0, rel=1e-3)


def test_a_dash_sends_the_table_alone_to_standard_output(
    invoke: Invoke, pouch: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("tradeoff", pouch, "--points", "2", "--csv", "-") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("shelf life [days],predicted life [days],cost minimised [EUR/package],")
    assert len(lines) == 3


def test_two_runs_differ_only_in_the_seconds_they_took(
    invoke: Invoke, pouch: str, capsys: pytest.CaptureFixture[str]
) -> None:
    records = []
    for _ in range(2):
        assert invoke("tradeoff", pouch, "--points", "3", "--json", "-") == 0
        record = json.loads(capsys.readouterr().out)
        record["solver"].pop("seconds")
        records.append(record)
    assert records[0] == records[1]

"""The table of a portfolio."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from typing import Any

import pytest

from optimizer.report.portfolio import (
    NO_FORMAT,
    Portfolio,
    ProjectRow,
    portfolio_csv,
    portfolio_json,
    portfolio_page,
    row_of,
)

ABOUT: dict[str, Any] = {"project": "a/p.yaml", "status": "", "messages": [], "seconds": 0.25}
PREDICTED: dict[str, Any] = {
    "command": "predict",
    "title": "Pouch, dry",
    "warnings": ["w"],
    "inputs_sha256": "ab",
    "passes": True,
    "shelf_life_days": 300.0,
    "target_days": 270.0,
    "limited_by": "oxygen_gain",
    "limits": [
        {"name": "oxygen_gain", "passes": False, "wall": None},
        {"name": "transmission O2", "passes": False, "wall": "film"},
        {"name": "water_loss", "passes": True, "wall": None},
    ],
    "mass_g": 4.5,
    "cost_per_package": 0.01,
    "currency": "EUR",
    "portfolio": ABOUT,
}
DESIGNED: dict[str, Any] = {
    **PREDICTED,
    "command": "design",
    "status": "optimal",
    "objective": 0.0592,
    "objective_unit": "EUR/package",
    "gap": 0.00097,
    "conflict": [],
}
ROW = row_of(PREDICTED)


def table(*rows: ProjectRow, **changes: Any) -> Portfolio:
    made = Portfolio("predict", "packs", "packs/results", "1", rows, len(rows), {}, 2, 3.5)
    return replace(made, **changes)


def failed(status: str, *messages: str) -> ProjectRow:
    about = {**ABOUT, "status": status, "messages": list(messages)}
    return row_of(
        {"command": "predict", "title": "", "warnings": [], "inputs_sha256": "", "portfolio": about}
    )


def test_a_row_holds_the_answer_in_short() -> None:
    assert (ROW.project, ROW.title, ROW.status, ROW.passes) == ("a/p.yaml", "Pouch, dry", "passes", True)
    assert (ROW.shelf_life_days, ROW.limited_by, ROW.seconds) == (300.0, "oxygen_gain", 0.25)
    assert (ROW.warnings, ROW.messages) == (1, ())


def test_a_package_that_fails_says_which_limits_are_not_met() -> None:
    row = row_of({**PREDICTED, "passes": False})
    assert (row.status, row.messages) == ("fails", ("not met: oxygen gain and transmission O2 of film",))


def test_a_shelf_life_that_is_too_short_is_told_when_no_limit_is_listed() -> None:
    row = row_of({**PREDICTED, "passes": False, "limits": [], "shelf_life_days": 182.625})
    assert row.messages == ("lasts 6 months, target 8.87 months",)


@pytest.mark.parametrize(
    ("changes", "status", "passes", "message"),
    [
        ({}, "optimal", True, None),
        ({"status": "time_limit", "stopped_by": "time"}, "time limit", True, None),
        ({"status": "time_limit", "stopped_by": "memory"}, "memory limit", True, None),
        ({"status": "time_limit", "stopped_by": "unsettled"}, "not settled", True, None),
        (
            {"status": "infeasible", "conflict": ["oxygen_gain <= 1", "at most 3 layers"]},
            *("infeasible", False, "cannot hold together: oxygen gain <= 1 and at most 3 layers"),
        ),
        (
            {"status": "time_limit", "passes": False, "objective": None, "limits": []},
            *("time limit", False, "no structure that passes was found before the search was stopped"),
        ),
    ],
)
def test_a_design_has_the_status_of_its_search(
    changes: dict[str, Any], status: str, passes: bool, message: str | None
) -> None:
    row = row_of({**DESIGNED, **changes})
    assert (row.status, row.passes) == (status, passes)
    assert row.messages == (() if message is None else (message,))
    assert row.gap_pct == pytest.approx(0.097)


def test_csv_has_a_line_for_each_project_and_text_comes_back() -> None:
    wrong = failed("input error", 'p.yaml:1:1: "x", wrong', "p.yaml:2:1: y; wrong")
    rows = list(csv.DictReader(io.StringIO(portfolio_csv(table(ROW, wrong)))))
    assert [row["project"] for row in rows] == ["a/p.yaml", "a/p.yaml"]
    assert rows[0]["title"] == "Pouch, dry"
    assert (rows[0]["passes"], rows[1]["passes"]) == ("yes", "no")
    assert float(rows[0]["shelf_life_days"]) == 300.0
    assert (rows[0]["objective"], rows[1]["shelf_life_days"]) == ("", "")
    assert rows[1]["messages"] == 'p.yaml:1:1: "x", wrong; p.yaml:2:1: y; wrong'


def test_json_starts_with_the_common_keys_and_holds_every_row() -> None:
    text = portfolio_json(table(ROW, failed("failed", "crash")))
    record = json.loads(text)
    keys = ["command", "title", "version", "inputs_sha256", "warnings", "assumptions", "sources"]
    assert list(record)[:7] == keys
    assert record["passing"] == 1
    assert [row["status"] for row in record["projects"]] == ["passes", "failed"]
    assert record["projects"][1]["messages"] == ["crash"]


def test_the_checksum_of_the_table_follows_those_of_the_projects() -> None:
    sums = {
        json.loads(portfolio_json(table(ROW, replace(ROW, inputs_sha256=each))))["inputs_sha256"]
        for each in ("ab", "cd")
    }
    assert len(sums) == 2


@pytest.mark.parametrize(
    ("rows", "verdict"),
    [
        ([ROW], "PASSES: the only project."),
        ([ROW, ROW], "PASSES: all 2 projects."),
        ([ROW, row_of({**PREDICTED, "passes": False})], "1 of 2 projects pass; 1 fails."),
        (
            [ROW, row_of({**DESIGNED, "status": "infeasible"}), failed("input error"), failed("failed")],
            "1 of 4 projects pass; 1 infeasible, 1 with wrong input, 1 not brought to an end.",
        ),
    ],
)
def test_the_page_starts_with_a_verdict(rows: list[ProjectRow], verdict: str) -> None:
    lines = portfolio_page(table(*rows)).text().splitlines()
    joined = " ".join(line for line in lines[2:5] if line)
    assert joined.startswith(verdict)


def test_the_page_fits_the_terminal_whatever_the_names() -> None:
    long = replace(row_of(DESIGNED), project="a_rather_long_folder/another/and_a_long_name_of_a_project.yaml")
    wrong = failed("input error", *[f"packs/a/p.yaml:{i}:1: {'words and ' * 20}" for i in range(5)])
    strange = dict.fromkeys(("b.yaml", "c.yaml"), NO_FORMAT)
    text = portfolio_page(table(long, wrong, passed_over=strange)).text(width=80)
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert "and 2 more" in words
    assert "no key 'format': b.yaml and c.yaml" in words
    assert "The whole answer for each project is in packs/results." in words


def test_the_page_tells_what_was_kept_from_an_earlier_run() -> None:
    assert "2 kept from an earlier run; 3.5 s." in portfolio_page(table(ROW, ROW, computed=0)).text()
    some = portfolio_page(table(ROW, ROW, computed=1, workers=1)).text()
    assert "1 computed by 1 worker; 1 kept from an earlier run; 3.5 s." in some


def test_the_page_says_in_one_line_which_workbooks_were_passed_over() -> None:
    others = {"a.xlsx": "with an answer", "b.xlsx": "with an answer", "~$c.xlsx": "kept by an open program"}
    text = portfolio_page(table(ROW, passed_over={"s.yaml": NO_FORMAT, **others})).text()
    assert "3 workbooks passed over: 2 with an answer, 1 kept by an open program." in text
    assert "no key 'format': s.yaml" in text
    assert "workbook" not in portfolio_page(table(ROW)).text()


def test_a_yaml_file_and_a_workbook_of_the_same_name_are_told_apart() -> None:
    both = [replace(ROW, project=name) for name in ("packs/a.yaml", "packs/a.xlsx", "packs/b.yaml")]
    lines = portfolio_page(table(*both)).text().splitlines()
    names = [line.split()[0] for line in lines if line.startswith("  packs/")]
    assert names == ["packs/a.yaml", "packs/a.xlsx", "packs/b"]

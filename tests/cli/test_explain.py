"""``layerwright explain`` from the command line: text in 80 columns, JSON, units, wrong limits."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.projects import write

ROOT = Path(__file__).parents[2]
EXAMPLE = str(ROOT / "examples" / "sparkling_bottle" / "project.yaml")


def test_the_case_is_printed_step_by_step_and_agrees(
    invoke: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("explain", EXAMPLE) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    assert out.splitlines()[2].startswith("AGREES: the limit on CO2 loss is reached after 88.5")
    assert "The hand calculation is exact" in out and "Day on which the limit is reached" in out
    # a shape with dimensions is worked out by its formula
    assert "Given face of body, profile" in out


def test_the_json_holds_every_step_with_those_that_it_uses(
    invoke: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("explain", EXAMPLE, "--json", "-") == 0
    record = json.loads(capsys.readouterr().out)
    assert list(record)[:4] == ["command", "title", "version", "inputs_sha256"]
    assert record["command"] == "explain" and record["agrees"] is True
    last = record["steps"][-1]
    assert last["value"] == record["hand"] and last["unit"] == "days"
    assert sorted(last["uses"]) == sorted(set(last["symbols"].values()))
    assert abs(record["hand"] / record["compared"] - 1) < 1e-4 < abs(record["program"] / record["hand"] - 1)


def test_a_limit_can_be_chosen(
    invoke: Callable[..., int], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    project = str(ROOT / "examples" / "cracker_pouch" / "project.yaml")
    assert invoke("explain", project, "--limit", "water_activity_max") == 0
    out = capsys.readouterr().out
    assert "the limit on highest water activity is reached" in out
    assert "the isotherm of the product is curved" in out


def test_a_limit_that_is_not_there_is_a_wrong_input(
    invoke: Callable[..., int], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert invoke("explain", write(tmp_path, "a.yaml"), "--limit", "co2_loss") == 2
    told = capsys.readouterr()
    assert "'co2_loss' is not a limit of this project" in told.err and "oxygen_gain" in told.err
    assert told.out == ""


def test_other_units_change_the_stages_and_not_the_steps(
    invoke: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("explain", EXAMPLE) == 0
    metric = capsys.readouterr().out
    assert invoke("explain", EXAMPLE, "--units", "us") == 0
    american = capsys.readouterr().out
    assert "degF" in american.split("Stages up to then")[1].split("\n")[1]
    assert "degF" not in metric
    start = "Areas of the parts"
    assert metric.split(start)[1].split("\nWarnings")[0] == american.split(start)[1].split("\nWarnings")[0]

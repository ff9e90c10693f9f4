"""Where answers go: report, workbook and JSON are written together or not at all, in the units asked for."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import lxml.html
import openpyxl
import pytest

from optimizer.cli.outputs import Outputs
from optimizer.errors import InputError
from optimizer.files import now
from tests.cli.projects import SLAB

Invoke = Callable[..., int]


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    (tmp_path / "pouch.yaml").write_text(SLAB, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return "pouch.yaml"


def test_one_call_writes_report_workbook_and_json(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("predict", project, "--report", "a.html", "--excel", "a.xlsx", "--json", "a.json") in (0, 1)
    title = "Dry-soup pouch (invented)"
    assert capsys.readouterr().out.startswith(title)
    assert json.loads(Path("a.json").read_text())["title"] == title
    assert lxml.html.parse("a.html").getroot().findtext(".//h1").strip() == title
    book = openpyxl.load_workbook(BytesIO(Path("a.xlsx").read_bytes()))
    assert "Answer" in book.sheetnames


def test_a_report_beside_json_on_standard_output_is_written_too(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    invoke("predict", project, "--report", "a.html", "--json", "-")
    assert json.loads(capsys.readouterr().out)["command"] == "predict"
    assert Path("a.html").stat().st_size > 10_000


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--report", "a.pdf"], "'a.pdf' is not the name of an HTML file"),
        (["--excel", "a.xls"], "'a.xls' is not the name of a workbook"),
        (["--report", "-"], "'-' is not the name of an HTML file"),
        (["--report", "nowhere/a.html"], "the folder nowhere does not exist"),
        (["--excel", "nowhere/a.xlsx"], "the folder nowhere does not exist"),
        (["--json", "pouch.yaml"], "would be written over: it is read here"),
        (["--report", "a.html", "--json", "./a.html"], "--json and --report need different files"),
    ],
    ids=" ".join,
)
def test_a_file_that_cannot_be_written_is_told_before_any_work(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    before = sorted(Path().iterdir())
    assert invoke("predict", project, *arguments) == 2
    output = capsys.readouterr()
    assert said in output.err and output.out == ""
    assert sorted(Path().iterdir()) == before


@pytest.mark.parametrize(
    "call",
    [
        ["predict", "coffee.yaml", "--json"],
        ["explain", "coffee.yaml", "--json"],
        ["check", "pouch.yaml", "--against", "coffee.yaml", "--json"],
        ["tradeoff", "coffee.yaml", "--csv"],
        ["materials", "list", "--project", "coffee.yaml", "--json"],
        ["materials", "lint", "coffee.yaml", "--json"],
        ["materials", "lint", "own.csv", "--json"],
        ["template", "b.xlsx", "--from", "coffee.yaml", "--json"],
    ],
    ids=" ".join,
)
def test_a_table_that_the_project_reads_is_not_written_over(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str], call: list[str]
) -> None:
    table = "name,price,gauges,coat_weight,pass_cost\nPET,2.30 EUR/kg,12 um|15 um,,\n"
    Path("own.csv").write_text(table, encoding="utf-8")
    Path("coffee.yaml").write_text(
        SLAB.replace("materials:\n", "materials:\n  - {table: own.csv}\n"), encoding="utf-8"
    )
    assert invoke(*call, "own.csv") == 2
    assert f"own.csv: {call[-1]}: would be written over: it is read here" in " ".join(
        capsys.readouterr().err.split()
    )
    assert Path("own.csv").read_text(encoding="utf-8") == table


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="permissions of POSIX, not as root")
def test_a_folder_in_which_no_file_can_be_made_is_told_before_any_work(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("shut").mkdir()
    Path("shut/a.json").write_text("{}", encoding="utf-8")
    Path("shut").chmod(0o555)
    assert invoke("predict", project, "--json", "shut/a.json") == 2
    assert "no file can be made in shut" in capsys.readouterr().err


@pytest.mark.parametrize("call", [["tradeoff", "pouch.yaml"], ["predict", "--projects", "."]], ids=" ".join)
def test_standard_output_takes_one_of_them(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str], call: list[str]
) -> None:
    assert invoke(*call, "--csv", "-", "--json", "-") == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "--csv: only one of --csv and --json can go to standard output" in said


def test_every_wrong_output_is_told_at_once(project: str) -> None:
    with pytest.raises(InputError) as found:
        Outputs("nowhere/a.json", "a.pdf", "a.csv").check(project)
    assert len(found.value.problems) == 3


def test_when_one_file_cannot_be_made_none_is_written(
    project: str, invoke: Invoke, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> bytes:
        raise RuntimeError("no workbook today")

    monkeypatch.setattr("optimizer.report.answers.workbook_of", broken)
    assert invoke("predict", project, "--report", "a.html", "--excel", "a.xlsx", "--json", "a.json") == 3
    assert sorted(path.name for path in Path().iterdir()) == ["pouch.yaml"]
    assert capsys.readouterr().out == ""


def test_units_change_what_is_read_and_not_what_programs_read(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = {}
    for units in ("si", "us"):
        invoke("predict", project, "--units", units, "--json", f"{units}.json", "--report", f"{units}.html")
        shown[units] = capsys.readouterr().out
    assert Path("si.json").read_text() == Path("us.json").read_text()
    # 40 um are 1.57 mil (1 mil = 25.4 um by definition: 0.001 in, and 1 in = 25.4 mm)
    assert "Wall film, 40 um" in shown["si"] and "Wall film, 1.575 mil" in shown["us"]
    assert "mil" in lxml.html.parse("us.html").getroot().text_content()


def test_a_folder_of_projects_has_no_single_report(
    project: str, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("predict", "--projects", ".", "--report", "a.html") == 2
    assert "this is for one PROJECT, not for --projects" in " ".join(capsys.readouterr().err.split())


def test_the_time_of_a_report_can_be_fixed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    assert now() == datetime(2023, 11, 14, 22, 13, 20, tzinfo=UTC)  # from memory: the usual example
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    assert abs((now() - datetime.now(tz=UTC)).total_seconds()) < 60.0


def test_the_same_input_at_the_same_time_gives_the_same_files(
    project: str, invoke: Invoke, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    for name in ("a", "b"):
        invoke("predict", project, "--report", f"{name}.html", "--excel", f"{name}.xlsx")
    assert Path("a.html").read_bytes() == Path("b.html").read_bytes()
    assert Path("a.xlsx").read_bytes() == Path("b.xlsx").read_bytes()

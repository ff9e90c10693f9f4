"""``--projects`` on the command line."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from optimizer.cli.app import app
from optimizer.portfolio import ClusterLost, Stopped

from .projects import ROOT, answer, fill, project, single, write
from .test_table import ROW, failed, table

pytest.importorskip("distributed")


def invoke(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        app(list(arguments), prog_name="layerwright")
    assert isinstance(stop.value.code, int)
    return stop.value.code


@pytest.fixture
def portfolio(monkeypatch: pytest.MonkeyPatch) -> Callable[[Any], dict[str, Any]]:
    """Let a portfolio end as given; the arguments that it was called with."""

    def install(end: Any) -> dict[str, Any]:
        given: dict[str, Any] = {}

        def stand_in(folder: str, command: str, **arguments: Any) -> Any:
            given.update(arguments, folder=folder, command=command)
            if isinstance(end, BaseException):
                raise end
            return end

        monkeypatch.setattr("optimizer.portfolio.run_portfolio", stand_in)
        return given

    return install


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["predict", "p.yaml", "--projects", "packs"], "either PROJECT or --projects, not both"),
        (["design"], "give a project file, or a folder with --projects"),
        (["predict", "p.yaml", "--workers", "2"], "--workers: this goes with --projects only"),
        (["design", "p.yaml", "--fresh"], "--fresh: this goes with --projects only"),
        (["predict", "p.yaml", "--csv", "t.csv"], "--csv: this goes with --projects only"),
        (
            ["predict", "--projects", "packs", "--scheduler", "tcp://x:1", "--workers", "2"],
            "the scheduler has workers of its own",
        ),
        (["predict", "--projects", "packs", "--workers", "0"], "greater than or equal to 1"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_wrong_usage_is_one_message(
    arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke(*arguments) == 2
    assert message in " ".join(capsys.readouterr().err.split())


def test_options_reach_the_portfolio(portfolio: Any) -> None:
    given = portfolio(table(ROW))
    limits = ["--time-limit", "2 min", "--gap", "1 %", "--memory-limit", "1 GB", "--confidence", "95 %"]
    folder = ["--projects", "packs", "--results", "there", "--fresh", "--workers", "3"]
    assert invoke("design", *folder, *limits) == 0
    assert given.pop("progress") is not None
    assert given == {
        "folder": "packs",
        "command": "design",
        "results": "there",
        "fresh": True,
        "workers": 3,
        "scheduler": None,
        "options": {
            "time_limit": 120.0,
            "gap": pytest.approx(0.01),
            "memory_limit": 1e9,
            "confidence": pytest.approx(0.95),
        },
    }


@pytest.mark.parametrize(
    ("rows", "status"),
    [
        ([ROW], 0),
        ([ROW, failed("fails")], 1),
        ([ROW, failed("infeasible")], 1),
        ([failed("infeasible"), failed("input error")], 2),
        ([failed("input error"), failed("failed"), ROW], 3),
    ],
)
def test_the_exit_status_is_that_of_the_worst_project(portfolio: Any, rows: Any, status: int) -> None:
    portfolio(table(*rows))
    assert invoke("predict", "--projects", "packs") == status


def test_the_table_goes_to_the_terminal_csv_and_json(
    portfolio: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    portfolio(table(ROW, failed("input error", "p.yaml:1:1: no")))
    files = ["--csv", str(tmp_path / "t.csv"), "--json", str(tmp_path / "t.json")]
    assert invoke("predict", "--projects", "packs", *files) == 2
    text = capsys.readouterr().out
    assert "1 of 2 projects pass; 1 with wrong input." in text
    assert [row["status"] for row in csv.DictReader(io.StringIO((tmp_path / "t.csv").read_text()))] == [
        "passes",
        "input error",
    ]
    record = json.loads((tmp_path / "t.json").read_text())
    assert [row["status"] for row in record["projects"]] == ["passes", "input error"]
    assert invoke("predict", "--projects", "packs", "--json", "-") == 2
    assert json.loads(capsys.readouterr().out) == record


def test_a_file_that_cannot_be_written_is_refused_before_the_work(
    portfolio: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = portfolio(table(ROW))
    assert invoke("predict", "--projects", "packs", "--csv", str(tmp_path)) == 2
    assert "--csv needs the name of a file" in capsys.readouterr().err
    assert given == {}


@pytest.mark.parametrize(
    ("end", "status", "message"),
    [
        (Stopped(3, 6, Path("packs/results")), 130, "Stopped; 3 of 6 answers are kept in packs/results."),
        (ClusterLost("there has been no worker"), 3, "there has been no worker."),
    ],
)
def test_an_early_end_says_what_is_kept(
    portfolio: Any, end: BaseException, status: int, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    portfolio(end)
    assert invoke("predict", "--projects", "packs") == status
    assert capsys.readouterr() == ("", f"{message} The same command goes on from there.\n")


def test_without_the_optional_package_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fill(tmp_path, 1)
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *rest: None if name == "distributed" else find(name, *rest)
    )
    assert invoke("predict", "--projects", str(tmp_path)) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "needs the package 'distributed'" in err and "pip install 'layerwright[cluster]'" in err


def test_one_project_needs_nothing_of_the_cluster(tmp_path: Path) -> None:
    path = write(tmp_path, "p.yaml", project())
    code = (
        "import sys; from optimizer.cli.app import app\n"
        f"try: app(['predict', {str(path)!r}])\nexcept SystemExit: pass\n"
        "names = ('distributed', 'dask', 'yaml', 'optimizer.portfolio')\n"
        "print('LOADED', *[name for name in names if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.stdout.splitlines()[-1] == "LOADED", done.stderr


def start(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    """The command in a process group of its own, as a terminal would start it."""
    command = [sys.executable, "-W", "error", "-m", "optimizer", "predict", "--projects", "packs", *arguments]
    return subprocess.Popen(
        command,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def in_group(group: int) -> list[int]:
    """Processes of a process group that still run."""
    psutil = pytest.importorskip("psutil")
    found = []
    for process in psutil.process_iter():
        try:
            if os.getpgid(process.pid) == group and process.status() != psutil.STATUS_ZOMBIE:
                found.append(process.pid)
        except (OSError, psutil.Error):
            continue
    return found


@pytest.mark.slow
def test_a_key_stops_the_workers_keeps_the_answers_and_the_next_run_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = fill(tmp_path / "packs", 60)
    results = tmp_path / "packs/results"
    running = start(tmp_path, "--workers", "2")
    end = time.monotonic() + 120
    while len(list(results.rglob("*.json"))) < 3 and time.monotonic() < end:
        time.sleep(0.02)
    os.killpg(running.pid, signal.SIGINT)
    out, err = running.communicate(timeout=120)
    assert running.returncode == 130
    assert out == ""
    kept = {str(path.relative_to(results)): answer(path) for path in results.rglob("*.json")}
    assert 3 <= len(kept) < 60
    said = re.fullmatch(
        r"Stopped; (\d+) of 60 answers are kept in packs/results\. The same command goes on from there\.\n",
        err,
    )
    assert said, err
    assert int(said[1]) in (len(kept), len(kept) - 1)  # the key may come between the file and the count
    assert in_group(running.pid) == []
    assert [path for path in results.rglob("*") if path.is_file() and path.suffix != ".json"] == []

    running = start(tmp_path, "--workers", "2", "--csv", "table.csv")
    out, err = running.communicate(timeout=600)
    assert (running.returncode, err) == (1, "")
    assert f"{60 - len(kept)} computed by 2 workers; {len(kept)} kept from an earlier run" in out
    assert max(map(len, out.splitlines())) <= 80
    rows = list(csv.DictReader(io.StringIO((tmp_path / "table.csv").read_text())))
    assert [row["project"] for row in rows] == names
    monkeypatch.chdir(tmp_path)
    for name in names[::7]:
        assert answer(results / name.replace(".yaml", ".predict.json")) == single(Path("packs", name))

"""What happens to one project on a worker, here without a cluster."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

import optimizer
from optimizer.errors import InputError, SolverError
from optimizer.portfolio.collect import Bundle, bundle
from optimizer.portfolio.work import Task, WrongVersion, lay_out, work

from .projects import DESIGN, project, single, write

pytest.importorskip("yaml")


def task(path: Path, command: str = "predict", **options: Any) -> Task:
    return Task(command, options, path.name, optimizer.__version__, bundle(path))


def answered(path: Path, command: str = "predict", **options: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """The answer, and what the portfolio says of it."""
    record = json.loads(work(task(path, command, **options)))
    about = record.pop("portfolio")
    record.get("solver", {}).pop("seconds", None)
    return record, about


def test_the_answer_is_that_of_a_single_run(tmp_path: Path) -> None:
    path = write(tmp_path, "pouch.yaml", project())
    record, about = answered(path)
    assert record == single(path)
    assert (about["status"], about["messages"], about["options"]) == ("", [], {})
    assert about["seconds"] > 0.0


def test_a_design_takes_its_options_along(tmp_path: Path) -> None:
    path = write(tmp_path, "pouch.yaml", project() + DESIGN)
    record, about = answered(path, "design", time_limit=30.0, gap=0.01)
    assert record["status"] == "optimal"
    assert record["gap"] <= 0.01
    assert about["options"] == {"time_limit": 30.0, "gap": 0.01}


def test_tables_beside_and_above_the_project_travel_with_it(tmp_path: Path) -> None:
    write(tmp_path, "quotes.csv", "name,price\nHDPE,1.7 EUR/kg\n")
    write(tmp_path, "packs/own.csv", "name,price\nLDPE,1.9 EUR/kg\n")
    materials = "  - table: ../quotes.csv\n  - table: own.csv\n"
    text = project(materials=materials).replace("material: slab", "material: HDPE")
    path = write(tmp_path, "packs/pouch.yaml", text)
    record, about = answered(path)
    assert record == single(path)
    assert record["cost_per_package"] == pytest.approx(record["mass_g"] * 1.7e-3, rel=1e-12)
    assert list(about["files"]) == ["pouch.yaml", "../quotes.csv", "own.csv"]


def test_mistakes_are_reported_where_the_user_has_the_file(tmp_path: Path) -> None:
    write(tmp_path, "packs/own.csv", "name,price\nHDPE,cheap\n")
    materials = "  - table: own.csv\n  - table: none.csv\n"
    path = write(tmp_path, "packs/pouch.yaml", project("40", materials=materials))
    with pytest.raises(InputError) as expected:
        optimizer.load_project(path)
    record, about = answered(path)
    assert about["status"] == "input error"
    assert about["messages"] == [str(problem) for problem in expected.value.problems]
    assert any(message.startswith(f"{tmp_path}/packs/own.csv:2") for message in about["messages"])
    assert record["inputs_sha256"] == ""


def test_names_of_files_are_as_given_from_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path, "pouch.yaml", project("40"))
    monkeypatch.chdir(tmp_path)
    _, about = answered(Path("pouch.yaml"))
    assert about["messages"][0].startswith("pouch.yaml:")


@pytest.mark.parametrize(
    ("error", "message"),
    [
        (ZeroDivisionError("division by zero"), "internal error: ZeroDivisionError: division by zero"),
        (SolverError("no licence"), "no licence"),
        (MemoryError(), "internal error: MemoryError: "),
    ],
)
def test_a_crash_becomes_part_of_the_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, message: str
) -> None:
    def crash(project: object) -> None:
        raise error

    monkeypatch.setattr(optimizer, "predict", crash)
    _, about = answered(write(tmp_path, "pouch.yaml", project()))
    assert (about["status"], about["messages"]) == ("failed", [message])
    assert ("in crash" in about.get("traceback", "")) == message.startswith("internal")


def test_a_worker_of_another_version_refuses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = task(write(tmp_path, "pouch.yaml", project()))
    monkeypatch.setattr(optimizer, "__version__", "99.0", raising=False)
    with pytest.raises(WrongVersion, match=r"a worker has layerwright 99\.0, not "):
        work(asked)


def test_an_absolute_file_must_be_the_same_on_the_worker(tmp_path: Path) -> None:
    quotes = write(tmp_path, "quotes.csv", "name,price\nHDPE,1.7 EUR/kg\n")
    text = project(materials=f"  - table: {quotes}\n").replace("material: slab", "material: HDPE")
    path = write(tmp_path, "packs/pouch.yaml", text)
    asked = task(path)
    assert asked.bundle.files == (("pouch.yaml", text.encode()),)
    assert json.loads(work(asked))["inputs_sha256"] == optimizer.load_project(path).sha256
    for change in (lambda: quotes.write_text("name,price\nHDPE,1.8 EUR/kg\n"), quotes.unlink):
        change()
        about = json.loads(work(asked))["portfolio"]
        assert about["status"] == "failed"
        assert "is not the same file on the worker as here" in about["messages"][0]


@pytest.mark.parametrize(
    "name", ["a.csv", "../a.csv", "../../x/a.csv", "x/../../a.csv", "x/../a.csv", "./x/y/../../../a.csv"]
)
def test_files_stay_within_the_folder_that_was_made_for_them(tmp_path: Path, name: str) -> None:
    root = tmp_path / "root"
    root.mkdir()
    base = lay_out(Bundle("p.yaml", (("p.yaml", b"1"), (name, b"2"))), root)
    assert (base / name).read_bytes() == b"2"
    assert (base / "p.yaml").read_bytes() == b"1"
    assert (base / name).resolve().is_relative_to(root.resolve())
    assert sorted(os.listdir(tmp_path)) == ["root"]


def test_nothing_is_left_in_the_folder_for_temporary_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    answered(write(tmp_path, "pouch.yaml", project()))
    assert os.listdir(tmp_path / "temporary") == []

"""``layerwright template``: a file to start from, and a project in the other form."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from optimizer.cli.guard import DONE, WRONG_INPUT, guarded
from optimizer.cli.run_template import run
from optimizer.files import write_atomically
from optimizer.project.load import load_project
from optimizer.project.starting import starting_data

OAT = Path(__file__).parents[2] / "examples/oat_drink_bottle/project.yaml"


@pytest.mark.parametrize("name", ["start.yaml", "start.yml", "START.XLSX"])
def test_a_file_to_start_from_is_a_whole_project(name: str, tmp_path: Path) -> None:
    assert run(str(tmp_path / name)) == DONE
    assert load_project(tmp_path / name).data == starting_data()


def test_the_yaml_file_says_that_it_is_invented(tmp_path: Path) -> None:
    run(str(tmp_path / "p.yaml"))
    assert (tmp_path / "p.yaml").read_text(encoding="utf-8").startswith("# Invented example")


def test_there_and_back_is_the_same_project(tmp_path: Path) -> None:
    book, text = tmp_path / "p.xlsx", tmp_path / "p.yaml"
    assert run(str(book), str(OAT)) == run(str(text), str(book)) == DONE
    assert load_project(text).data == load_project(OAT).data


def test_a_folder_is_no_target(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "book.xlsx").mkdir()
    assert guarded(lambda: run(str(tmp_path / "book.xlsx"), None, force=True)) == WRONG_INPUT
    assert capsys.readouterr().err.endswith("is a folder (give the name of a file)\n")


def test_a_file_that_exists_is_kept_unless_it_is_to_be_replaced(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "p.yaml"
    path.write_text("mine", encoding="utf-8")
    assert guarded(lambda: run(str(path))) == WRONG_INPUT
    assert "exists already (give another name, or --force to replace it)" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"
    assert run(str(path), None, force=True) == DONE
    assert load_project(path).data == starting_data()


@pytest.mark.parametrize(
    ("target", "message"),
    [
        ("p.json", "is neither YAML nor a workbook by its name (give a name that ends in .yaml or .xlsx)"),
        ("none/p.yaml", "does not exist"),
        ("p.ods", "is neither YAML nor a workbook by its name"),
        (".xlsx", "is neither YAML nor a workbook by its name"),
    ],
)
def test_a_target_that_cannot_be_is_said(
    target: str, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert guarded(lambda: run(str(tmp_path / target))) == WRONG_INPUT
    assert message in capsys.readouterr().err


def test_a_source_with_mistakes_is_not_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.yaml").write_text("format: 1\n", encoding="utf-8")
    assert guarded(lambda: run(str(tmp_path / "p.xlsx"), str(tmp_path / "bad.yaml"))) == WRONG_INPUT
    assert "product: is missing" in capsys.readouterr().err
    assert not (tmp_path / "p.xlsx").exists()


def test_files_that_have_to_come_along_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    coffee = Path(__file__).parents[2] / "examples/coffee_sachet/project.yaml"
    run(str(tmp_path / "p.xlsx"), str(coffee))
    assert capsys.readouterr().out.endswith("copy them along: webs.csv\n")


def test_a_file_is_whole_or_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "p.bin"
    write_atomically(path, b"first")
    path.chmod(0o640)

    def broken(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(os, "replace", broken)
    with pytest.raises(OSError, match="disk full"):
        write_atomically(path, b"second")
    monkeypatch.undo()
    assert path.read_bytes() == b"first" and list(tmp_path.iterdir()) == [path]
    write_atomically(path, b"third")
    assert path.read_bytes() == b"third" and path.stat().st_mode & 0o777 == 0o640


def test_the_contents_go_to_json_as_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(tmp_path / "a.xlsx"), json="-") == 0
    record = json.loads(capsys.readouterr().out)
    assert record["command"] == "template" and record["project"] == starting_data()
    assert run(str(tmp_path / "b.yaml"), json=str(tmp_path / "b.json")) == 0
    assert json.loads((tmp_path / "b.json").read_text())["file"].endswith("b.yaml")

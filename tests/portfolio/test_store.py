"""Saved answers: whole or absent, and used again only while they hold."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from optimizer.errors import InputError
from optimizer.portfolio.store import Store

from .projects import write

HASH = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"  # FIPS 180 sum of "test"


def store(folder: Path, command: str = "predict", version: str = "1", **options: Any) -> Store:
    made = Store(folder / "results", command, options, version)
    made.prepare()
    return made


def record(**changes: Any) -> dict[str, Any]:
    about = {"project": "a/p.yaml", "status": "", "options": {}, "files": {"p.yaml": HASH}}
    whole = {"command": "predict", "version": "1", "portfolio": about}
    for key, value in changes.items():
        (about if key in about else whole)[key] = value
    return whole


def kept(folder: Path, given: dict[str, Any] | str, **of: Any) -> bool:
    project = write(folder, "a/p.yaml", "test")
    made = store(folder, **of)
    made.save("a/p.yaml", given if isinstance(given, str) else json.dumps(given))
    return made.kept("a/p.yaml", project) is not None


def test_an_answer_holds_while_nothing_changed(tmp_path: Path) -> None:
    assert kept(tmp_path, record())
    write(tmp_path, "shared.csv", "test")
    assert kept(tmp_path, record(files={"p.yaml": HASH, "../shared.csv": HASH}))


@pytest.mark.parametrize(
    "given",
    [
        record(files={"p.yaml": HASH[::-1]}),
        record(files={"p.yaml": HASH, "none.csv": HASH}),
        record(files={}),
        record(version="2"),
        record(command="design"),
        record(options={"gap": 0.01}),
        record(project="b/p.yaml"),
        record(status="failed"),
        record(status="input error"),
        {"command": "predict", "version": "1"},
        json.dumps(record())[:-10],
        "[]",
        "null",
        "",
    ],
    ids=lambda given: str(given)[:60],
)
def test_an_answer_to_something_else_does_not_hold(tmp_path: Path, given: Any) -> None:
    assert not kept(tmp_path, given)


def test_other_options_and_versions_want_another_answer(tmp_path: Path) -> None:
    assert not kept(tmp_path, record(), version="2")
    assert not kept(tmp_path, record(), gap=0.01)
    assert kept(tmp_path, record(options={"gap": 0.01}), gap=0.01)


def test_commands_and_files_have_answers_of_their_own(tmp_path: Path) -> None:
    names = ("a.yaml", "a.yml", "a.xlsx", "b/a.yaml")
    paths = {store(tmp_path, command).path(name) for name in names for command in ("predict", "design")}
    assert len(paths) == 8
    assert store(tmp_path).path("b/a.yaml") == tmp_path / "results/b/a.predict.json"


def test_a_save_that_fails_leaves_the_old_answer_and_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = store(tmp_path)
    made.save("p.yaml", "old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OSError):
        made.save("p.yaml", "new")
    assert os.listdir(made.folder) == ["p.predict.json"]
    assert made.path("p.yaml").read_text() == "old"


def test_a_folder_that_cannot_be_made_is_wrong_input(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be made.*--results"):
        Store(tmp_path / "file/results", "predict", {}, "1").prepare()


def test_a_folder_without_leave_to_write_is_wrong_input(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        os, "access", lambda *_: False
    )  # root, who runs some test machines, may write anywhere
    with pytest.raises(InputError, match="no answers can be written here.*--results"):
        store(tmp_path)

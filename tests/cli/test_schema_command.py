"""``layerwright schema``, and what the shell is told for completion."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from optimizer.project.json_schema import json_schema

ROOT = Path(__file__).parents[2]
Invoke = Callable[..., int]


def test_the_schema_is_printed(invoke: Invoke, capsys: pytest.CaptureFixture[str]) -> None:
    assert invoke("schema") == 0
    assert json.loads(capsys.readouterr().out) == json_schema()


def test_the_schema_goes_to_a_file(
    invoke: Invoke, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    target = tmp_path / "project.schema.json"
    assert invoke("schema", "--json", str(target)) == 0
    assert capsys.readouterr().out == ""
    assert json.loads(target.read_text(encoding="utf-8")) == json_schema()


def test_a_folder_that_is_not_there_is_refused(invoke: Invoke, capsys: pytest.CaptureFixture[str]) -> None:
    assert invoke("schema", "--json", "nowhere/a.json") == 2
    assert "the folder nowhere does not exist" in capsys.readouterr().err


def completed(words: str) -> list[str]:
    """What a shell offers for the last of the words."""
    said = {"COMP_WORDS": words, "COMP_CWORD": str(len(words.split(" ")) - 1)}
    environment = {**os.environ, **said, "_LAYERWRIGHT_COMPLETE": "complete_bash"}
    command = [sys.executable, "-m", "optimizer"]
    done = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, encoding="utf-8", timeout=120
    )
    return done.stdout.splitlines()


def test_the_shell_completes_commands_options_and_materials() -> None:
    assert {"predict", "explain", "template"} <= set(completed("layerwright "))
    assert {"--report", "--excel", "--units"} <= set(completed("layerwright predict --"))
    assert completed("layerwright predict --units u") == ["us"]
    assert {"EVOH 32", "EVA"} <= set(completed("layerwright materials show EV"))


def test_the_shell_can_be_shown_the_script() -> None:
    # which shell is at work is asked of the process above, which is none where tests run without a terminal
    told = {**os.environ, "_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "optimizer", "--show-completion", "bash"],
        cwd=ROOT,
        env=told,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert "_LAYERWRIGHT_COMPLETE=complete_bash" in done.stdout

"""Where answers go: nothing but JSON on standard output when asked, files whole or not at all."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from optimizer.cli import progress
from optimizer.errors import InputError
from optimizer.files import write_atomically

from .samples import CHECKED, DESIGNED, PASSING

ROOT = Path(__file__).parents[2]
Invoke = Callable[..., int]
Answers = Callable[..., None]


@pytest.mark.parametrize(
    "arguments",
    [["predict", "p.yaml"], ["design", "p.yaml"], ["check", "p.yaml", "--against", "b.yaml"]],
    ids=["predict", "design", "check"],
)
def test_json_on_standard_output_stands_alone(
    invoke: Invoke, answers: Answers, arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=PASSING, solve_design=DESIGNED, check=CHECKED)
    invoke(*arguments, "--json", "-")
    assert json.loads(capsys.readouterr().out)["command"] == arguments[0]


def test_json_file_comes_with_the_text(
    invoke: Invoke, answers: Answers, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=PASSING)
    target = tmp_path / "answer.json"
    assert invoke("predict", "p.yaml", "--json", str(target)) == 0
    assert json.loads(target.read_text(encoding="utf-8"))["passes"] is True
    assert "PASSES: lasts 14.2 months" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == [target]


def test_no_file_is_left_when_the_work_fails(invoke: Invoke, answers: Answers, tmp_path: Path) -> None:
    answers(predict=InputError([]))
    assert invoke("predict", "p.yaml", "--json", str(tmp_path / "answer.json")) == 2
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_old_file_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "answer.json"
    target.write_text("old")

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OSError):
        write_atomically(target, "new")
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.skipif(os.name != "posix", reason="permission bits are those of POSIX")
def test_the_file_keeps_its_permissions_and_its_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    write_atomically(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_a_json_file_that_cannot_be_written_is_refused_before_the_work(
    invoke: Invoke, answers: Answers, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=AssertionError("the work was done"))
    assert invoke("predict", "p.yaml", "--json", str(tmp_path)) == 2
    assert invoke("predict", "p.yaml", "--json", str(tmp_path / "none" / "a.json")) == 2
    err = capsys.readouterr().err
    assert "is a folder" in err and "does not exist" in err


def test_no_colour_and_at_most_80_columns_when_piped(
    invoke: Invoke, answers: Answers, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=PASSING)
    invoke("predict", "p.yaml")
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert max(len(line) for line in out.splitlines()) <= 80


@pytest.mark.skipif(os.name != "posix", reason="pipes of POSIX")
def test_a_reader_that_leaves_is_no_error() -> None:
    read, write = os.pipe()
    os.close(read)
    code = "from optimizer.cli.output import put; put('x' * 100000)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, stdout=write, stderr=subprocess.PIPE, timeout=120
    )
    os.close(write)
    assert done.stderr == b""
    assert done.returncode == 0


def test_progress_is_silent_in_a_log_until_two_seconds_have_passed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    now = [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    with progress.Progress() as say:
        for now[0] in (0.0, 1.9, 2.1, 3.0, 7.2):
            say(f"at {now[0]} s")
    out, err = capsys.readouterr()
    assert (out, err) == ("", "at 2.1 s\nat 7.2 s\n")


def test_progress_on_a_terminal_is_silent_for_two_seconds_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it shows afterwards is in test_progress.py."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    with progress.Progress() as say:
        say("bound 12 %")
        say.step(1, 2, "bound 3 %")
    assert capsys.readouterr() == ("", "")

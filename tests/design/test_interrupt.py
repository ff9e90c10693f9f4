"""Ctrl-C, the time and the memory: the best so far comes back, proved as far as it is, and nothing is half
written.

The searches here are of an invented project with far too many structures to be proved within any test.
"""

from __future__ import annotations

import json
import os
import re
import select
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import optimizer
from optimizer.design import halt, optimise
from optimizer.design.halt import Halt, memory_in_use
from optimizer.design.search import Search
from optimizer.project import Project
from optimizer.results import DesignResult
from optimizer.shelflife.package import Layer, Wall
from optimizer.shelflife.predict import predict

from .crowd import crowd
from .test_solve import project

ROOT = Path(__file__).parents[2]
#: Smaller than any proof reaches [-].
GAP = 1e-7
#: Longest search [s]: nothing here is proved by then.
LIMIT = 600.0
#: Time for what ends in about a second here [s]: far more than a slow and busy machine takes, and far less
#: than LIMIT.
SOON = 120.0
posix = pytest.mark.skipif(os.name != "posix", reason="signals and terminals of POSIX")


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("crowd") / "crowd.yaml"
    path.write_text(crowd(8, 5), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def loaded(file: Path) -> Project:
    return optimizer.load_project(file)


class FirstDesign:
    """Listens to the progress; ``found`` as soon as a design was reported, ``at`` when."""

    def __init__(self) -> None:
        self.at: float | None = None

    def __call__(self, line: str) -> None:
        if self.at is None and "best" in line:
            self.at = time.monotonic()

    def found(self) -> bool:
        return self.at is not None


def check_best_so_far(result: DesignResult, loaded: Project, reason: str) -> None:
    """A real design with a bound that is one, and words that say how it came about."""
    assert (result.status, result.stopped_by) == ("time_limit", reason)
    assert result.predicted is not None and result.predicted.passes
    assert result.objective is not None and result.lower_bound is not None and result.gap is not None
    assert 0 <= result.lower_bound < result.objective
    assert result.gap == pytest.approx(1 - result.lower_bound / result.objective)
    assert loaded.design is not None
    by_name = {m.name: m for m in loaded.design.candidates}
    walls = {
        name: Wall(name, tuple(Layer(by_name[x.material], x.thickness_um * 1e-6) for x in layers))
        for name, layers in result.structure.items()
    }
    assert predict(replace(loaded.case, package=loaded.case.package.with_walls(walls))).passes
    assert any("before the proof was complete" in w for w in result.warnings)


# -- from Python ---------------------------------------------------------------------------------------------


def test_stop_returns_the_best_so_far_soon(loaded: Project) -> None:
    first = FirstDesign()
    result = optimizer.solve_design(loaded, gap=GAP, time_limit=LIMIT, progress=first, stop=first.found)
    assert first.at is not None
    assert time.monotonic() - first.at < SOON
    check_best_so_far(result, loaded, "interrupt")


def test_stop_before_anything_is_known_returns_without_a_structure_or_with_one_that_passes(
    loaded: Project,
) -> None:
    begin = time.monotonic()
    result = optimizer.solve_design(loaded, gap=GAP, time_limit=LIMIT, stop=lambda: True)
    assert time.monotonic() - begin < SOON
    assert (result.status, result.stopped_by) == ("time_limit", "interrupt")
    assert result.predicted is None or result.predicted.passes
    assert result.warnings


def test_more_memory_than_allowed_ends_the_search(loaded: Project, monkeypatch: pytest.MonkeyPatch) -> None:
    first = FirstDesign()
    monkeypatch.setattr(halt, "memory_in_use", lambda: 5e9 if first.found() else 3e9)
    result = optimizer.solve_design(loaded, gap=GAP, time_limit=LIMIT, progress=first, memory_limit=4e9)
    check_best_so_far(result, loaded, "memory")
    assert any("in the memory given" in w for w in result.warnings)


def test_memory_that_runs_out_ends_the_search(loaded: Project, monkeypatch: pytest.MonkeyPatch) -> None:
    first = FirstDesign()

    class Hungry(Search):
        def run(self, **keywords: Any) -> Any:
            super().run(**{**keywords, "stop": first.found})
            raise MemoryError

    monkeypatch.setattr(optimise, "Search", Hungry)
    result = optimizer.solve_design(loaded, gap=GAP, time_limit=LIMIT, progress=first)
    check_best_so_far(result, loaded, "memory")
    assert result.lower_bound == 0


def test_the_time_given_is_kept_by_a_search_that_would_go_on(loaded: Project) -> None:
    """The work that follows the end of the time is that which an answer without time takes too."""
    begin = time.process_time()
    optimizer.solve_design(loaded, gap=GAP, stop=lambda: True)
    rest = time.process_time() - begin
    begin = time.process_time()
    result = optimizer.solve_design(loaded, gap=GAP, time_limit=2.0)
    assert time.process_time() - begin <= 2.0 + 10.0 * rest
    assert (result.status, result.stopped_by) == ("time_limit", "time")
    assert result.predicted is None or result.predicted.passes


def test_a_proof_that_is_complete_is_not_called_stopped(tmp_path: Path) -> None:
    """Stopped while what holds the design is looked at: the design is proved, and the rest is cut short."""
    path = tmp_path / "small.yaml"
    path.write_text(crowd(3, 2), encoding="utf-8")
    reached: list[str] = []

    def listen(line: str) -> None:
        if line.startswith("what holds"):
            reached.append(line)

    result = optimizer.solve_design(path, progress=listen, stop=lambda: bool(reached))
    assert reached
    assert (result.status, result.stopped_by) == ("optimal", None)
    assert any("cut short" in w for w in result.warnings)
    assert any(note.startswith("Not looked at in the time") for note in result.binding_notes)


def test_an_explanation_that_was_stopped_does_not_call_its_conflict_smallest(tmp_path: Path) -> None:
    p = project(
        tmp_path,
        ("max: 900 um}\n    share", "max: 260 um}\n    share"),
        ("water_loss: 0.4 %", "water_loss: 0.1 %"),
    )
    whole = optimizer.solve_design(p)
    assert whole.status == "infeasible" and not whole.warnings
    said: list[str] = []
    cut = optimizer.solve_design(p, progress=said.append, stop=lambda: any("clashes" in x for x in said))
    assert (cut.status, cut.stopped_by) == ("infeasible", None)
    assert any("not made as small" in w for w in cut.warnings)
    assert set(whole.conflict) < set(cut.conflict)


def test_memory_in_use_follows_what_is_allocated() -> None:
    before = memory_in_use()
    assert before is not None and before > 1e7
    block = np.ones(25_000_000)
    after = memory_in_use()
    assert after is not None and after - before > 0.9 * block.nbytes


def test_the_reason_that_came_first_stays() -> None:
    asked = [False]
    stops = Halt(lambda: asked[0], memory_limit=1.0)
    assert stops() and stops.reason == "memory"
    asked[0] = True
    assert stops() and stops.reason == "memory"
    assert not Halt(memory_limit=1e15)()
    assert not Halt()()


# -- from the keyboard ---------------------------------------------------------------------------------------


class Running:
    """``layerwright design`` in a process of its own, with a terminal for its progress. before: code that
    runs first."""

    def __init__(self, file: Path, folder: Path, *options: str, before: str = "") -> None:
        import pty

        self.target = folder / "answer.json"
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", f"{before}\nfrom optimizer.__main__ import main; main()",
             "design", str(file), "--gap", f"{100 * GAP:.7f} %",
             "--time-limit", f"{LIMIT} s", "--json", str(self.target), *options],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=slave,
        )  # fmt: skip
        os.close(slave)
        self.said = ""

    def wait_for(self, pattern: str, seconds: float = SOON) -> None:
        """Read standard error until it has said ``pattern``."""
        end = time.monotonic() + seconds
        while not re.search(pattern, self.said):
            ready, _, _ = select.select([self._master], [], [], max(0.0, end - time.monotonic()))
            assert ready, f"{pattern!r} did not come in time: {self.said!r}"
            try:
                self.said += os.read(self._master, 4096).decode()
            except OSError:  # the other end is closed
                out, _ = self.process.communicate(timeout=SOON)
                status = self.process.returncode
                raise AssertionError(
                    f"ended with {status} before {pattern!r}: {self.said!r}, {out!r}"
                ) from None

    def interrupt(self) -> None:
        self.process.send_signal(signal.SIGINT)

    def end(self) -> tuple[int, str]:
        """Status and standard output."""
        try:
            out, _ = self.process.communicate(timeout=SOON)
        finally:
            self.process.kill()
            os.close(self._master)
        return self.process.returncode, out.decode("utf-8")


@posix
def test_ctrl_c_prints_and_saves_the_best_so_far_and_says_so_by_its_status(
    file: Path, loaded: Project, tmp_path: Path
) -> None:
    running = Running(file, tmp_path)
    running.wait_for("best")
    running.interrupt()
    running.wait_for("finishing with the best so far")
    status, text = running.end()
    assert status == 130
    assert "INTERRUPTED: best found so far: cost " in text
    assert "Proved so far: no structure" in text or "No bound was proved" in text
    assert [p.name for p in tmp_path.iterdir()] == ["answer.json"]
    saved = json.loads(running.target.read_text(encoding="utf-8"))
    assert (saved["status"], saved["stopped_by"], saved["passes"]) == ("time_limit", "interrupt", True)
    assert 0 <= saved["lower_bound"] < saved["objective"]
    assert set(saved["structure"]) == {"tray", "lid"}


@pytest.mark.slow
@posix
def test_a_second_ctrl_c_ends_at_once_and_leaves_the_old_file(file: Path, tmp_path: Path) -> None:
    """Here the search does not hear the first, or it might be over before the second."""
    deaf = "from optimizer.cli.interrupt import Interrupt; Interrupt.asked = lambda self: False"
    running = Running(file, tmp_path, before=deaf)
    running.target.write_text("old", encoding="utf-8")
    running.wait_for("best")
    running.interrupt()
    running.wait_for("finishing with the best so far")
    running.interrupt()
    status, text = running.end()
    assert (status, text) == (130, "")
    assert running.target.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["answer.json"]


@pytest.mark.slow
@posix
def test_the_memory_limit_of_the_command_line_ends_the_search(file: Path, tmp_path: Path) -> None:
    """1 MB is less than the program itself takes."""
    running = Running(file, tmp_path, "--memory-limit", "1 MB")
    status, text = running.end()
    saved = json.loads(running.target.read_text(encoding="utf-8"))
    assert (saved["status"], saved["stopped_by"]) == ("time_limit", "memory")
    assert "MEMORY LIMIT: " in text
    assert status == (0 if saved["passes"] else 1)

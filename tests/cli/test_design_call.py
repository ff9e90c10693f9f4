"""What the public ``solve_design`` hands to the solver, and what it adds to the answer."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import optimizer
from optimizer.results import ChosenLayer, DesignResult

from .conftest import unread
from .projects import write
from .samples import DESIGNED, INFEASIBLE, OUT_OF_TIME

DESIGN = """
design:
  walls: [film]
  minimise: cost
  choose_from: [slab]
"""


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Puts a recorder in the place of the solver."""
    made: list[dict[str, Any]] = []

    def record(case: Any, options: Any, **keywords: Any) -> DesignResult:
        made.append({"case": case, "options": options, **keywords})
        return replace(DESIGNED, structure={"film": (ChosenLayer("slab", 20.0),)})

    module = ModuleType("optimizer.design.solve")
    module.solve_design = record  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, module.__name__, module)
    return made


def project(folder: Path) -> str:
    path = Path(write(folder, "pouch.yaml"))
    path.write_text(path.read_text(encoding="utf-8") + DESIGN, encoding="utf-8")
    return str(path)


def test_the_solver_gets_case_options_and_what_was_asked(tmp_path: Path, calls: list[dict[str, Any]]) -> None:
    optimizer.solve_design(project(tmp_path), time_limit=5.0, gap=0.01)
    (call,) = calls
    assert call["case"].title == "Dry-soup pouch (invented)"
    assert call["options"].walls == ("film",)
    assert (call["time_limit"], call["gap"]) == (5.0, 0.01)
    assert call["version"] == optimizer.__version__
    assert len(call["inputs_sha256"]) == 64


def test_without_a_gap_the_solver_keeps_its_own(tmp_path: Path, calls: list[dict[str, Any]]) -> None:
    optimizer.solve_design(project(tmp_path))
    assert "gap" not in calls[0]


def test_the_layers_of_the_answer_are_weighed(tmp_path: Path, calls: list[dict[str, Any]]) -> None:
    (layer,) = optimizer.solve_design(project(tmp_path)).structure["film"]
    assert layer.mass_g == pytest.approx(0.8)  # 400 cm2 x 20 um x 1000 kg/m3
    assert layer.cost_share_pct == pytest.approx(100.0)


def test_stop_and_memory_limit_reach_the_solver(tmp_path: Path, calls: list[dict[str, Any]]) -> None:
    def stop() -> bool:
        return False

    optimizer.solve_design(project(tmp_path), stop=stop, memory_limit=4e9)
    (call,) = calls
    assert call["stop"] is stop and call["memory_limit"] == 4e9


# -- the command ---------------------------------------------------------------------------------------------

STOPPED = replace(DESIGNED, status="time_limit")


@pytest.mark.parametrize(
    ("result", "status", "words"),
    [
        (replace(STOPPED, stopped_by="interrupt"), 130, "INTERRUPTED: best found so far: cost 0.05235 EUR."),
        (replace(STOPPED, stopped_by="memory"), 0, "MEMORY LIMIT: best found so far: cost 0.05235 EUR."),
        (replace(STOPPED, stopped_by="time"), 0, "TIME LIMIT: best found so far: cost 0.05235 EUR."),
        (
            replace(OUT_OF_TIME, stopped_by="interrupt"),
            130,
            "INTERRUPTED: no structure that passes was found",
        ),
        (replace(OUT_OF_TIME, stopped_by="memory"), 1, "MEMORY LIMIT: no structure that passes was found"),
        (replace(INFEASIBLE, stopped_by=None), 1, "INFEASIBLE: "),
    ],
)
def test_the_status_and_the_first_words_say_how_the_search_ended(
    invoke: Callable[..., int],
    answers: Callable[..., None],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    result: DesignResult,
    status: int,
    words: str,
) -> None:
    answers(solve_design=result)
    target = tmp_path / "answer.json"
    assert invoke("design", "p.yaml", "--json", str(target)) == status
    assert words in capsys.readouterr().out
    saved = json.loads(target.read_text(encoding="utf-8"))
    assert (saved["status"], saved["stopped_by"]) == (result.status, result.stopped_by)


def test_memory_is_given_with_its_unit(
    invoke: Callable[..., int], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    given: list[Any] = []

    def solve(*_: Any, **keywords: Any) -> DesignResult:
        given.append(keywords["memory_limit"])
        assert keywords["stop"]() is False
        return DESIGNED

    monkeypatch.setattr(optimizer, "load_project", unread)
    monkeypatch.setattr(optimizer, "solve_design", solve)
    for text in ("4 GB", "1.5 MiB", "500MB"):
        assert invoke("design", "p.yaml", "--memory-limit", text) == 0
    assert given == [4e9, 1.5 * 2**20, 5e8]
    for text in ("4", "4 apples", "0 GB"):
        assert invoke("design", "p.yaml", "--memory-limit", text) == 2
        assert "--memory-limit" in capsys.readouterr().err


def test_memory_that_runs_out_elsewhere_is_said_without_a_traceback(
    invoke: Callable[..., int], answers: Callable[..., None], capsys: pytest.CaptureFixture[str]
) -> None:
    answers(solve_design=MemoryError())
    assert invoke("design", "p.yaml") == 3
    assert capsys.readouterr().err.startswith("Not enough memory.")


def test_the_help_says_what_the_statuses_are(
    invoke: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    assert invoke("design", "--help") == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "130 interrupted: Ctrl-C ends the search, prints and saves the best so far" in text

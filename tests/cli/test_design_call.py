"""What the public ``solve_design`` hands to the solver, and what it adds to the answer."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import optimizer
from optimizer.results import ChosenLayer, DesignResult

from .projects import write
from .samples import DESIGNED

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

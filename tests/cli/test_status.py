"""Exit statuses and what is said on standard error."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from optimizer.errors import InputError, Problem, SolverError
from optimizer.results import DesignResult

from .samples import CHECKED, DESIGNED, FAILING, INFEASIBLE, OUT_OF_TIME, PASSING

Invoke = Callable[..., int]
Answers = Callable[..., None]


def test_predict_says_by_its_status_whether_the_package_passes(invoke: Invoke, answers: Answers) -> None:
    answers(predict=PASSING)
    assert invoke("predict", "p.yaml") == 0
    answers(predict=FAILING)
    assert invoke("predict", "p.yaml") == 1


@pytest.mark.parametrize(
    ("result", "status"),
    [
        (DESIGNED, 0),
        (replace(DESIGNED, status="time_limit"), 0),
        (replace(DESIGNED, predicted=FAILING), 1),
        (INFEASIBLE, 1),
        (OUT_OF_TIME, 1),
    ],
    ids=["optimal", "time limit with a structure", "structure fails", "infeasible", "time limit without"],
)
def test_design_ends_with_one_unless_a_structure_passes(
    invoke: Invoke, answers: Answers, result: DesignResult, status: int
) -> None:
    answers(solve_design=result)
    assert invoke("design", "p.yaml") == status


def test_check_ends_with_one_when_the_changed_package_fails(invoke: Invoke, answers: Answers) -> None:
    answers(check=CHECKED)
    assert invoke("check", "p.yaml", "--against", "b.yaml") == 1
    answers(check=replace(CHECKED, passes=True, changed=PASSING))
    assert invoke("check", "p.yaml", "--against", "b.yaml") == 0


def test_every_input_problem_is_printed_on_its_own_line(
    invoke: Invoke, answers: Answers, capsys: pytest.CaptureFixture[str]
) -> None:
    problems = [
        Problem("unit missing", "p.yaml", 7, 3, "product.mass", "write 1 kg"),
        Problem("unknown material 'EVHO'", "p.yaml", 4, 12),
    ]
    answers(predict=InputError(problems))
    assert invoke("predict", "p.yaml") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == [
        "2 problems in p.yaml:",
        "  p.yaml:4:12: unknown material 'EVHO'",
        "  p.yaml:7:3: product.mass: unit missing (write 1 kg)",
    ]


def test_a_bug_is_one_sentence_without_traceback(
    invoke: Invoke, answers: Answers, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=ZeroDivisionError("division by zero"))
    assert invoke("predict", "p.yaml") == 3
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "ZeroDivisionError: division by zero" in err and "--debug" in err


def test_debug_shows_the_traceback(
    invoke: Invoke, answers: Answers, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=ZeroDivisionError("division by zero"))
    assert invoke("predict", "p.yaml", "--debug") == 3
    assert "Traceback (most recent call last)" in capsys.readouterr().err


def test_a_failing_solver_is_not_called_wrong_input(invoke: Invoke, answers: Answers) -> None:
    answers(solve_design=SolverError("no licence"))
    assert invoke("design", "p.yaml") == 3


def test_the_keyboard_stops_it_quietly(
    invoke: Invoke, answers: Answers, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=KeyboardInterrupt())
    assert invoke("predict", "p.yaml") == 130
    assert capsys.readouterr().err == "Stopped.\n"


def test_a_missing_file_is_wrong_input(
    invoke: Invoke, answers: Answers, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(predict=FileNotFoundError(2, "No such file or directory", "p.yaml"))
    assert invoke("predict", "p.yaml") == 2
    assert capsys.readouterr().err == "p.yaml: no such file or directory\n"


@pytest.mark.parametrize(
    "arguments",
    [
        ["predict"],
        ["predict", "p.yaml", "--jason", "x"],
        ["check", "p.yaml"],
        ["design", "p.yaml", "--time-limit", "soon"],
        ["design", "p.yaml", "--time-limit", "0"],
        ["design", "p.yaml", "--gap", "0.1"],
        ["materials", "show"],
    ],
    ids=" ".join,
)
def test_wrong_usage_ends_with_two(
    invoke: Invoke, answers: Answers, arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    answers(solve_design=DESIGNED)
    assert invoke(*arguments) == 2
    assert "Error" in capsys.readouterr().err


def test_time_limit_and_gap_reach_the_solver(
    invoke: Invoke, monkeypatch: pytest.MonkeyPatch, answers: Answers
) -> None:
    import optimizer

    given = {}

    def remember(project: object, **options: object) -> DesignResult:
        given.update(options)
        return DESIGNED

    answers()
    monkeypatch.setattr(optimizer, "solve_design", remember)
    assert invoke("design", "p.yaml", "--time-limit", "2 min", "--gap", "0.1 %") == 0
    assert given["time_limit"] == 120.0
    assert given["gap"] == pytest.approx(0.001)

"""The progress bar: on a terminal only."""

from __future__ import annotations

import sys

import pytest

from optimizer.report.bar import bar


def test_nothing_is_shown_without_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    with bar("predict") as advance:
        advance(1, 5, "a.yaml")
    assert capsys.readouterr() == ("", "")


def test_a_terminal_shows_how_far_it_is_on_standard_error(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    with bar("predict") as advance:
        advance(0, 5, "starting 2 workers")
        advance(2, 5, "[red]a.yaml" + "x" * 200)
    out, err = capsys.readouterr()
    assert out == ""
    assert "2/5" in err and "predict" in err
    assert "[red]a.yaml" in err  # names are not markup

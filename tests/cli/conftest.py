"""The command line run inside the test process, on answers made by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import optimizer
from optimizer.cli.app import app


@pytest.fixture
def invoke() -> Callable[..., int]:
    """Run the command line with these arguments; the exit status."""

    def run(*arguments: str) -> int:
        with pytest.raises(SystemExit) as stop:
            app(list(arguments), prog_name="layerwright")
        assert isinstance(stop.value.code, int)
        return stop.value.code

    return run


def unread(path: str) -> SimpleNamespace:
    """Stands for a loaded project where the answer is given anyway."""
    return SimpleNamespace(path=Path(path), files=(Path(path),), data={})


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let the public functions return (or raise) what is given: answers(predict=..., check=...)."""

    def install(**results: Any) -> None:
        monkeypatch.setattr(optimizer, "load_project", unread)
        for name, result in results.items():

            def stand_in(*_: Any, result: Any = result, **__: Any) -> Any:
                if isinstance(result, BaseException):
                    raise result
                return result

            monkeypatch.setattr(optimizer, name, stand_in)

    return install

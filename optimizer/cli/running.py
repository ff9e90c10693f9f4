"""From a command's options to its body, which is imported only then; standard library and typer."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

import typer

from optimizer.cli.guard import guarded

EXIT = "Exit status: 0 yes or done; 1 the package fails or no structure meets the limits; 2 wrong input."


def read_option(option: str, reader: Callable[[str], float], text: str | None) -> float | None:
    """What an option with a unit says; a usage error where it cannot be read."""
    if text is None:
        return None
    try:
        return reader(text)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint=option) from None


def run_body(module: str, debug: bool, **arguments: Any) -> None:
    """Run ``optimizer.cli.<module>.run`` and end with its status."""

    def action() -> int:
        return int(import_module(f"optimizer.cli.{module}").run(**arguments))

    raise typer.Exit(guarded(action, debug=debug))

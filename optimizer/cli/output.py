"""Where the answer goes: text to standard output, JSON to a file or to standard output."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.cli.guard import silence_stdout
from optimizer.cli.outputs import STDOUT
from optimizer.files import write_atomically

if TYPE_CHECKING:
    from optimizer.report.page import Page

WIDTH = 80
#: Tables cannot be read in fewer columns.
NARROWEST = 60


def deliver(page: Page, record: str, target: str | None) -> None:
    """Print the page, and write the JSON text ``record``; with target '-' only the JSON is printed."""
    if target not in (None, STDOUT):
        write_atomically(Path(str(target)), record)
    if target == STDOUT:
        put(record)
    else:
        put_page(page)


def put_page(page: Page) -> None:
    """Print the page. Colours only on a terminal that wants them.

    NO_COLOR and CLICOLOR: the conventions of no-color.org and bixense.com/clicolors, from memory.
    """
    terminal = sys.stdout.isatty()
    said = os.environ
    plain = bool(said.get("NO_COLOR")) or said.get("CLICOLOR") == "0" or said.get("TERM") == "dumb"
    put(page.text(width=_width(terminal), colour=terminal and not plain))


def put(text: str) -> None:
    """Write to standard output in one go, as UTF-8; a reader that has left is not an error."""
    try:
        buffer = getattr(sys.stdout, "buffer", None)
        if buffer is None or sys.stdout.isatty():
            sys.stdout.write(text)
        else:
            sys.stdout.flush()
            buffer.write(text.encode("utf-8"))
        sys.stdout.flush()
    except BrokenPipeError:
        silence_stdout()


def _width(terminal: bool) -> int:
    if not terminal:
        return WIDTH
    try:
        columns = os.get_terminal_size(sys.stdout.fileno()).columns
        return max(NARROWEST, min(WIDTH, columns or WIDTH))
    except (OSError, ValueError):
        return WIDTH

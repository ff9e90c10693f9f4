"""Where the answer goes: text to standard output, JSON to a file or to standard output."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.cli.guard import silence_stdout
from optimizer.errors import InputError, Problem

if TYPE_CHECKING:
    from optimizer.report.page import Page

STDOUT = "-"
WIDTH = 80
#: Tables cannot be read in fewer columns.
NARROWEST = 60


def check_target(target: str | None, option: str = "--json") -> None:
    """Refuse a file that cannot be written, before any work is done."""
    if target is None or target == STDOUT:
        return
    path = Path(target)
    if path.is_dir():
        raise InputError(
            Problem(f"is a folder; {option} needs the name of a file, or - for standard output", target)
        )
    if not path.parent.is_dir():
        raise InputError(Problem(f"the folder {path.parent} does not exist", target))
    if not os.access(path.parent, os.W_OK) and not (path.exists() and os.access(path, os.W_OK)):
        raise InputError(Problem("cannot be written", target))


def deliver(page: Page, record: str, target: str | None) -> None:
    """Print the page, and write the JSON text ``record``; with target '-' only the JSON is printed."""
    if target == STDOUT:
        put(record)
        return
    if target is not None:
        write_atomically(Path(target), record)
    terminal = sys.stdout.isatty()
    plain = "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"
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


def write_atomically(path: Path, text: str) -> None:
    """Write a text file so that it is either complete or as it was before."""
    path = path.resolve()
    if path.exists() and not path.is_file():  # a device or a pipe: nothing to replace
        path.write_text(text, encoding="utf-8", newline="\n")
        return
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with open(descriptor, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
        os.chmod(name, path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _width(terminal: bool) -> int:
    if not terminal:
        return WIDTH
    try:
        columns = os.get_terminal_size(sys.stdout.fileno()).columns
        return max(NARROWEST, min(WIDTH, columns or WIDTH))
    except (OSError, ValueError):
        return WIDTH

"""From what went wrong to one clear message and an exit status. Imports nothing heavy."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable
from contextlib import suppress

from optimizer.errors import InputError, LayerwrightError, SolverError

#: The answer is yes, or the work is done.
DONE = 0
#: The package fails its target, or no structure can meet it: a normal answer.
FAILED = 1
#: The input is wrong.
WRONG_INPUT = 2
#: Something that should not happen, and that is not the user's fault.
BROKEN = 3
#: Stopped from the keyboard (128 + SIGINT, as shells report it), with the best so far or without.
INTERRUPTED = 130


def guarded(action: Callable[[], int], *, debug: bool = False) -> int:
    """Run ``action`` and return its status; errors become text on standard error, or a traceback too."""
    try:
        return action()
    except KeyboardInterrupt:
        _say("Stopped.")
        return INTERRUPTED
    except BrokenPipeError:
        silence_stdout()
        return DONE
    except Exception as error:
        if debug:
            import traceback

            traceback.print_exc()
        return _explain(error)


def silence_stdout() -> None:
    """Send what is still buffered nowhere, so that the interpreter does not complain when it closes."""
    with suppress(OSError, ValueError):  # no real file behind standard output
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _explain(error: Exception) -> int:
    if isinstance(error, InputError):
        _say(heading(error))
        for problem in error.problems:
            _say(f"  {problem}")
        return WRONG_INPUT
    if isinstance(error, SolverError):
        _say(f"The solver failed: {error}")
        return BROKEN
    if isinstance(error, MemoryError):
        _say("Not enough memory. Close other programs, or ask for less.")
        return BROKEN
    if isinstance(error, LayerwrightError):
        _say(str(error))
        return WRONG_INPUT
    if isinstance(error, OSError) and error.filename:
        _say(f"{error.filename}: {(error.strerror or str(error)).lower()}")
        return WRONG_INPUT
    _say(
        f"Internal error, not your fault: {type(error).__name__}: {error}. "
        "Please run again with --debug and report what it prints."
    )
    return BROKEN


#: The sheet and cell behind the name of a workbook.
_CELL = re.compile(r"(\.xls[xm])!.*")


def heading(error: InputError) -> str:
    """'2 problems in bottle.yaml:'"""
    count = len(error.problems)
    files = list(dict.fromkeys(_CELL.sub(r"\1", p.file) for p in error.problems if p.file))
    where = f" in {', '.join(files)}" if files else ""
    return f"{count} problem{'' if count == 1 else 's'}{where}:"


def _say(text: str) -> None:
    with suppress(OSError):  # nobody listens any more
        print(text, file=sys.stderr, flush=True)

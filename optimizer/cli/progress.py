"""One line of progress on standard error, where somebody is likely to be waiting for it."""

from __future__ import annotations

import sys
import time
from types import TracebackType

#: Nothing is said in a log before the work has taken this long [s].
PATIENCE = 2.0
#: Least time between two lines in a log [s].
PACE = 5.0


class Progress:
    """Call it with a line of text. On a terminal the line is overwritten; elsewhere lines come seldom."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()
        self._start = time.monotonic()
        self._last = float("-inf")
        self._shown = 0

    def __call__(self, text: str) -> None:
        now = time.monotonic()
        if self._terminal:
            line = text[:79]
            self._write("\r" + line.ljust(self._shown))
            self._shown = len(line)
        elif now - self._start > PATIENCE and now - self._last > PACE:
            self._write(text + "\n")
            self._last = now

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._shown:
            self._write("\r" + " " * self._shown + "\r")
            self._shown = 0

    @staticmethod
    def _write(text: str) -> None:
        try:
            sys.stderr.write(text)
            sys.stderr.flush()
        except OSError:
            pass
